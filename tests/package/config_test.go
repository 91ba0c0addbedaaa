// SPDX-License-Identifier: Apache-2.0

package deb

import (
	"bufio"
	"context"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

const shipped = "cmd/package/tallyhood.toml"

// parserKeys reads from the parser's source what it knows: board.kind for a
// key, contact.*.line for one of a table under any name.
func parserKeys(t *testing.T) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(project, "cmd/tallyhood/config.go"), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	structs := map[string]*ast.StructType{}
	ast.Inspect(file, func(n ast.Node) bool {
		if spec, ok := n.(*ast.TypeSpec); ok {
			if s, ok := spec.Type.(*ast.StructType); ok {
				structs[spec.Name.Name] = s
			}
		}
		return true
	})
	var keys []string
	var walk func(prefix string, s *ast.StructType)
	walk = func(prefix string, s *ast.StructType) {
		for _, f := range s.Fields.List {
			if f.Tag == nil {
				continue
			}
			tag, err := strconv.Unquote(f.Tag.Value)
			if err != nil {
				t.Fatal(err)
			}
			name, _, _ := strings.Cut(reflect.StructTag(tag).Get("toml"), ",")
			at, kind := prefix+name, f.Type
			if m, ok := kind.(*ast.MapType); ok {
				at, kind = at+".*", m.Value
			}
			if id, ok := kind.(*ast.Ident); ok && structs[id.Name] != nil {
				kind = structs[id.Name]
			}
			if inner, ok := kind.(*ast.StructType); ok {
				walk(at+".", inner)
			} else {
				keys = append(keys, at)
			}
		}
	}
	if structs["config"] == nil {
		t.Fatal("there is no struct config in cmd/tallyhood/config.go")
	}
	walk("", structs["config"])
	slices.Sort(keys)
	return keys
}

var (
	tableLine = regexp.MustCompile(`^#?\[([a-z_.]+)\]$`)
	keyLine   = regexp.MustCompile(`^#?([a-z_]+) = `)
)

// Every key of the parser stands in the shipped file and in its man page, and
// the file has no other.
func TestConfigurationIsWhole(t *testing.T) {
	want := parserKeys(t)
	if len(want) < 25 {
		t.Fatalf("the parser knows only %q", want)
	}
	page := read(t, filepath.Join(project, "cmd/package/tallyhood.toml.5"))
	stands := map[string]bool{}
	table, said := "", false
	for line := range strings.Lines(read(t, filepath.Join(project, shipped))) {
		line = strings.TrimSuffix(line, "\n")
		if m := tableLine.FindStringSubmatch(line); m != nil {
			table = m[1]
			if top, _, many := strings.Cut(table, "."); many {
				table = top + ".*"
			}
			continue
		}
		if m := keyLine.FindStringSubmatch(line); m != nil {
			key := table + "." + m[1]
			if !stands[key] && !said && !strings.HasSuffix(key, ".line") && !strings.HasSuffix(key, ".chip") {
				// Two keys explained together stand in one block.
				if m[1] != "offset" && m[1] != "key" && m[1] != "address" {
					t.Errorf("%s has no words above it", key)
				}
			}
			stands[key] = true
			said = false
			continue
		}
		said = strings.HasPrefix(line, "# ")
	}
	if got := slices.Sorted(maps.Keys(stands)); !slices.Equal(got, want) {
		t.Errorf("the file has\n%q\nthe parser knows\n%q", got, want)
	}
	for _, key := range want {
		if last := key[strings.LastIndexByte(key, '.')+1:]; !regexp.MustCompile(`(?m)^\.B.*\b` + last + `\b`).MatchString(page) {
			t.Errorf("%s is not in tallyhood.toml.5", key)
		}
	}
}

// allOn switches every setting of the shipped file on.
func allOn(text string) string {
	return regexp.MustCompile(`(?m)^#([a-z_\[])`).ReplaceAllString(text, "$1")
}

// serves tells whether the program starts with a configuration; what it said
// is in the error.
func serves(t *testing.T, program, conf string) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, program, "serve", "--config", conf, "--board", "sim", "--sound", "off",
		"--addr", "127.0.0.1:0", "--store", filepath.Join(t.TempDir(), "store"))
	c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var said strings.Builder
	c.Stderr = &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ready := false
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "tallyhood is ready on ") {
			ready = true
			cancel()
		}
	}
	err = c.Wait()
	if !ready {
		return fmt.Errorf("%w: %s", err, said.String())
	}
	return nil
}

func TestConfigurationIsAccepted(t *testing.T) {
	root := unpacked(t)
	program, conf := filepath.Join(root, "usr/bin/tallyhood"), filepath.Join(root, "etc/tallyhood/tallyhood.toml")
	if err := serves(t, program, conf); err != nil {
		t.Errorf("as it is shipped: %v", err)
	}
	text := read(t, conf)
	write := func(name, text string) string {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	on := allOn(text)
	if strings.Count(on, "\n[contact.") != 4 || strings.Count(on, "\n[output.") != 2 {
		t.Fatalf("not all is on:\n%s", on)
	}
	if err := serves(t, program, write("on.toml", on)); err != nil {
		t.Errorf("with everything on: %v", err)
	}
	// The check bites: one letter more is refused.
	err := serves(t, program, write("wrong.toml", strings.Replace(on, "\nkind = ", "\nkindx = ", 1)))
	if err == nil || !strings.Contains(err.Error(), "kindx") || !strings.Contains(err.Error(), "exit status 2") {
		t.Errorf("with an unknown key: %v", err)
	}
}
