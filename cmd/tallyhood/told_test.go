// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"tallyhood/console/drill"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
)

// phrasesUnder are the pages' English phrases under a prefix, by the rest of the key.
func phrasesUnder(t *testing.T, area, prefix string) map[string]string {
	t.Helper()
	raw, err := os.ReadFile("../../console/web/page/lang/en/" + area + ".json")
	if err != nil {
		t.Fatal(err)
	}
	var book map[string]any
	if err := json.Unmarshal(raw, &book); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for key, phrase := range book {
		if rest, ok := strings.CutPrefix(key, area+"."+prefix+"."); ok {
			out[rest] = phrase.(string)
		}
	}
	if len(out) == 0 {
		t.Fatalf("no phrase under %s.%s", area, prefix)
	}
	return out
}

// hasPhrase says whether one of the phrases is the text, its holes filled.
func hasPhrase(all map[string]string, text string) bool {
	for _, p := range all {
		if regexp.MustCompile("^" + hole.ReplaceAllString(regexp.QuoteMeta(p), "(?s:.+)") + "$").MatchString(text) {
			return true
		}
	}
	return false
}

// The pages tell in their language what the box wrote in English by the phrase
// that it fits. What is data in the program has to have such a phrase, and one
// for each key of a drill.
func TestThePagesKnowWhatTheBoxSays(t *testing.T) {
	need := func(all map[string]string, area, text string) {
		t.Helper()
		if !hasPhrase(all, text) {
			t.Errorf("%q has no phrase under %s: add one, in every language", text, area)
		}
	}
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	names, refusals, prevails := phrasesUnder(t, "run", "rule_names"), phrasesUnder(t, "run", "rule_refusals"), phrasesUnder(t, "run", "prevails_told")
	for _, r := range rules {
		need(names, "run.rule_names", r.Name)
		need(names, "run.rule_names", r.Short)
		need(prevails, "run.prevails_told", r.Prevails)
		for _, factor := range []int{10, 500} {
			if ok, why := r.MayTest(procedure.FullFace, factor); !ok {
				need(refusals, "run.rule_refusals", why)
			}
		}
	}

	ruled, assumes, costs := phrasesUnder(t, "drill", "ruled"), phrasesUnder(t, "drill", "assumes"), phrasesUnder(t, "drill", "costs")
	for _, w := range drill.Weights {
		need(ruled, "drill.ruled", w.Rule)
		if costs[w.Key] != w.Why {
			t.Errorf("drill.costs.%s is %q, the box says %q: write it alike, in every language", w.Key, costs[w.Key], w.Why)
		}
	}
	for _, a := range drill.Assumptions() {
		if assumes[a.Key] != a.Says {
			t.Errorf("drill.assumes.%s is %q, the box says %q: write it alike, in every language", a.Key, assumes[a.Key], a.Says)
		}
	}

	recipes, err := programme.Recipes()
	if err != nil {
		t.Fatal(err)
	}
	titles, parts, texts, sources := phrasesUnder(t, "office", "recipe_names"), phrasesUnder(t, "office", "recipe_parts"), phrasesUnder(t, "office", "recipe_texts"), phrasesUnder(t, "office", "recipe_sources")
	for _, r := range recipes {
		need(titles, "office.recipe_names", r.Name)
		need(texts, "office.recipe_texts", r.Text)
		for _, p := range r.Parts {
			need(parts, "office.recipe_parts", p.What)
		}
		if !strings.HasPrefix(r.Source, "29 CFR") || strings.Contains(r.Source, ",  ") {
			t.Errorf("%q is no citation", r.Source)
		}
		if strings.Contains(r.Source, "from memory") {
			need(sources, "office.recipe_sources", r.Source)
		}
	}

	said := phrasesUnder(t, "office", "plan_told")
	for _, past := range [][]programme.Run{nil, manyRuns()} {
		for _, text := range programme.Plan(programme.PlanInput{People: 3, Hoods: 1, Rules: rules["us-osha"], Past: past, Tries: 2}).Said {
			need(said, "office.plan_told", text)
		}
	}
}

// manyRuns are enough past runs for a plan to rest on.
func manyRuns() []programme.Run {
	var out []programme.Run
	for range 60 {
		out = append(out, programme.Run{First: procedure.Pass, StagesS: map[string]int{"ready": 100, "screening": 50, "clearing": 100, "donning": 300, "dosing": 20, "running": 420}})
	}
	return out
}

// A phrase that stands for what a driver or the box says of its parts has to be
// worded as it is said there: reworded in one place alone it would be shown in
// English.
func TestWhatPartsSayIsWordedAsTheySayIt(t *testing.T) {
	var literals []string
	for _, top := range []string{".", "../../device", "../../audio", "../../console/programme"} {
		err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if text, ok := literal(n); ok {
					literals = append(literals, text)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	// A verb of fmt stands where a page puts a value; a line of two parts is said in two.
	verb := regexp.MustCompile(`%[-+.0-9]*[a-zA-Z]`)
	var all []string
	for _, l := range literals {
		l = verb.ReplaceAllStringFunc(l, func(v string) string {
			if v == "%q" {
				return `"` + "\x00" + `"`
			}
			return "\x00"
		})
		all = append(all, strings.ReplaceAll(l, "%%", "%"))
	}
	value := regexp.MustCompile(`\\\{\w+\\\}`)
	for _, of := range [][2]string{{"run", "part_names"}, {"run", "part_whys"}, {"run", "lost_whys"}, {"run", "time_sources"}, {"office", "import_whys"}, {"office", "details"}, {"inputs", "learned_is"}, {"inputs", "bulb_whys"}} {
		for key, phrase := range phrasesUnder(t, of[0], of[1]) {
			pattern := regexp.MustCompile("(^|; )" + value.ReplaceAllString(regexp.QuoteMeta(phrase), "\x00") + "(;|$)")
			found := false
			for _, l := range all {
				found = found || pattern.MatchString(l)
			}
			if _, assembled := assembled[of[1]+"."+key]; found == assembled {
				t.Errorf("%s.%s.%s: %q stands in no source: word it as the box does, or take it out", of[0], of[1], key, phrase)
			}
		}
	}
}

// assembled are phrases whose text is put together from several places, which
// no single literal holds.
var assembled = map[string]string{
	"part_whys.no_sound":       "audio.NoSound and what the sound card says",
	"part_whys.sound_lost":     "audio.Lost and what the sound card says",
	"part_names.pedal_taste":   "the name of the line is a value",
	"part_names.contact_taste": "the name of the line is a value",
	"learned_is.squeeze":       "the name of the line is a value",
	"learned_is.step":          "the name of the line is a value",
}
