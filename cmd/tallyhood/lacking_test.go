// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var hole = regexp.MustCompile(`\\\{\w+\\\}`)

// The pages say in their language which part does not work, by finding the
// English phrase that the part's reason fits. A reason reworded in a driver
// alone would be shown in English; so each phrase has to stand in a driver, and
// each plain reason of a driver has to have a phrase.
func TestThePagesKnowThePlainReasonsOfAPart(t *testing.T) {
	raw, err := os.ReadFile("../../console/web/page/lang/en/run.json")
	if err != nil {
		t.Fatal(err)
	}
	var book map[string]any
	if err := json.Unmarshal(raw, &book); err != nil {
		t.Fatal(err)
	}
	phrases := map[string]*regexp.Regexp{}
	texts := map[string]string{}
	for key, phrase := range book {
		if strings.HasPrefix(key, "run.lacking_whys.") {
			texts[key] = phrase.(string)
			phrases[key] = regexp.MustCompile("^" + hole.ReplaceAllString(regexp.QuoteMeta(phrase.(string)), ".+") + "$")
		}
	}
	if len(phrases) < 20 {
		t.Fatalf("%d phrases under run.lacking_whys", len(phrases))
	}

	var literals []string
	plain := 0
	for _, pattern := range []string{"../../device/pedal/*.go", "../../device/bulb/*.go", "../../device/gpio/*.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(files), err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if text, ok := literal(n); ok {
					literals = append(literals, text)
				}
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				if f, ok := call.Fun.(*ast.SelectorExpr); !ok || f.Sel.Name != "say" && f.Sel.Name != "miss" && f.Sel.Name != "fail" {
					return true
				}
				for _, arg := range call.Args {
					reason, ok := literal(arg)
					if !ok || reason == "" {
						continue
					}
					plain++
					for piece := range strings.SplitSeq(reason, "; ") {
						if !fitsOne(phrases, piece) {
							t.Errorf("%s: %q has no phrase under run.lacking_whys: add one, in every language", name, piece)
						}
					}
				}
				return true
			})
		}
	}
	if plain < 6 {
		t.Errorf("only %d plain reasons were found in the sources", plain)
	}
	for key, text := range texts {
		if !stands(literals, hole.Split(regexp.QuoteMeta(text), -1)) {
			t.Errorf("%s: %q stands in no driver: word it as the driver does, or take it out", key, text)
		}
	}
}

func literal(n ast.Node) (string, bool) {
	l, ok := n.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(l.Value)
	return text, err == nil
}

func fitsOne(phrases map[string]*regexp.Regexp, text string) bool {
	for _, p := range phrases {
		if p.MatchString(text) {
			return true
		}
	}
	return false
}

// stands tells whether the quoted parts of a phrase follow each other in one of
// the literals, with nothing but a verb of fmt between them.
func stands(literals, parts []string) bool {
	whole := regexp.MustCompile(strings.TrimSuffix(strings.Join(parts, `%[a-z]`), `%[a-z]`))
	for _, l := range literals {
		if whole.MatchString(l) {
			return true
		}
	}
	return false
}
