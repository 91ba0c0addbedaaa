// SPDX-License-Identifier: Apache-2.0

package rules

import (
	"fmt"
	"path"
	"reflect"
	"strings"
	"testing"
)

// A rule that cannot fail holds nothing, so each is shown an offence here, and
// something like it that is none.

const head = "// SPDX-License-Identifier: Apache-2.0\n\n"

// source makes a Go file that imports a path; the import is on line 5.
func source(importPath string) string {
	return head + "package x\n\nimport _ \"" + importPath + "\"\n"
}

// using makes a Go file whose function of the given name uses pkg.name under
// an alias, on line 8.
func using(importPath, name, pkg, fn string) string {
	return head + "package " + pkg + "\n\nimport alias \"" + importPath + "\"\n\nfunc " + fn + "() {\n\t_ = alias." + name + "\n}\n"
}

func one(name, text string) *Tree { return Parse(map[string]string{name: text}) }

func expect(t *testing.T, what string, found []Finding, line int) {
	t.Helper()
	for _, f := range found {
		if f.Line == line && f.Why != "" {
			return
		}
	}
	t.Errorf("%s: not found at line %d; found %v", what, line, found)
}

func clean(t *testing.T, what string, found []Finding) {
	t.Helper()
	if len(found) > 0 {
		t.Errorf("%s: found %v, want nothing", what, found)
	}
}

func TestLayersBite(t *testing.T) {
	for _, l := range Layers {
		for _, never := range l.Never {
			p := never
			if rest, ours := strings.CutPrefix(never, "./"); ours {
				p = path.Join("tallyhood", rest)
			}
			what := l.In + " importing " + p
			expect(t, what, one(l.In+"/x.go", source(p)).CheckLayer(l), 5)
			expect(t, what+"/sub", one(l.In+"/sub/x.go", source(p+"/sub")).CheckLayer(l), 5)
			clean(t, what+" in a test", one(l.In+"/x_test.go", source(p)).CheckLayer(l))
			clean(t, what+" elsewhere", one(l.In+"x/x.go", source(p)).CheckLayer(l))
			clean(t, what+"x", one(l.In+"/x.go", source(p+"x")).CheckLayer(l))
		}
		clean(t, l.In+" importing its own part", one(l.In+"/x.go", source("tallyhood/"+l.In+"/part")).CheckLayer(l))
	}
}

func TestKeepersBite(t *testing.T) {
	for _, k := range Keepers {
		expect(t, k.Library, one("elsewhere/x.go", source(k.Library)).CheckKeeper(k), 5)
		expect(t, k.Library+"/sub", one("elsewhere/x.go", source(k.Library+"/sub")).CheckKeeper(k), 5)
		clean(t, k.Library+"x", one("elsewhere/x.go", source(k.Library+"x")).CheckKeeper(k))
		for _, by := range k.By {
			clean(t, k.Library+" in "+by, one(by+"/x.go", source(k.Library)).CheckKeeper(k))
			expect(t, k.Library+" in "+by+"x", one(by+"x/x.go", source(k.Library)).CheckKeeper(k), 5)
		}
		found := one("elsewhere/x_test.go", source(k.Library)).CheckKeeper(k)
		if k.Tests {
			clean(t, k.Library+" in a test", found)
		} else {
			expect(t, k.Library+" in a test", found, 5)
		}
	}
}

func TestCallsBite(t *testing.T) {
	for _, c := range Calls {
		for _, name := range c.Names {
			what := c.Package + "." + name
			text := using(c.Package, name, "x", "f")
			expect(t, what, one("elsewhere/x.go", text).CheckCall(c), 8)
			found := one("elsewhere/x_test.go", text).CheckCall(c)
			if c.Tests {
				clean(t, what+" in a test", found)
			} else {
				expect(t, what+" in a test", found, 8)
			}
			for _, by := range c.By {
				expect(t, what+" in "+by+"x", one(by+"x/x.go", text).CheckCall(c), 8)
				if c.Main {
					expect(t, what+" outside main", one(by+"/x.go", using(c.Package, name, "main", "f")).CheckCall(c), 8)
					expect(t, what+" in no program", one(by+"/x.go", using(c.Package, name, "x", "main")).CheckCall(c), 8)
					clean(t, what+" in main", one(by+"/x.go", using(c.Package, name, "main", "main")).CheckCall(c))
				} else {
					clean(t, what+" in "+by, one(by+"/x.go", text).CheckCall(c))
				}
			}
		}
		dot := head + "package x\n\nimport . \"" + c.Package + "\"\n"
		expect(t, "dot import of "+c.Package, one("elsewhere/x.go", dot).CheckCall(c), 5)
		clean(t, "harmless use of "+c.Package, one("elsewhere/x.go", using(c.Package, "Harmless", "x", "f")).CheckCall(c))
	}
	// A function handed on without a call reads the clock as well, and so does
	// one at package level.
	value := head + "package x\n\nimport \"time\"\n\nvar now = time.Now\n"
	expect(t, "time.Now as a value", one("elsewhere/x.go", value).CheckCall(Calls[0]), 7)
	own := head + "package x\n\nimport \"tallyhood/device/clock\"\n\nvar _ = clock.Now\n"
	clean(t, "another package's Now", one("elsewhere/x.go", own).CheckCall(Calls[0]))
}

func TestPureBites(t *testing.T) {
	for _, folder := range Pure {
		for _, p := range append([]string{"tallyhood", "tallyhood/store", "gonum.org/v1/gonum", "os/exec", "net/http", "math/rand/v2"}, notPure...) {
			expect(t, folder+" importing "+p, one(folder+"/x.go", source(p)).CheckPure(folder), 5)
			clean(t, "a test of "+folder+" importing "+p, one(folder+"/x_test.go", source(p)).CheckPure(folder))
		}
		for _, p := range []string{"math", "time", "sort", "fmt", "errors", "encoding/json"} {
			clean(t, folder+" importing "+p, one(folder+"/x.go", source(p)).CheckPure(folder))
		}
		for _, c := range []struct{ what, text string }{
			{"goroutine", "func f() {\n\tgo f()\n}\n"},
			{"channel", "func f() {\n\tvar _ chan int\n}\n"},
			{"select", "func f() {\n\tselect {}\n}\n"},
			{"print", "func f() {\n\tprintln()\n}\n"},
		} {
			expect(t, c.what+" in "+folder, one(folder+"/x.go", head+"package x\n\n"+c.text).CheckPure(folder), 6)
		}
		for _, c := range []struct{ pkg, name string }{{"fmt", "Println"}, {"fmt", "Scanln"}, {"time", "Local"}, {"time", "LoadLocation"}} {
			expect(t, c.pkg+"."+c.name+" in "+folder, one(folder+"/x.go", using(c.pkg, c.name, "x", "f")).CheckPure(folder), 8)
		}
		for _, c := range []struct{ pkg, name string }{{"fmt", "Sprintf"}, {"time", "Second"}} {
			clean(t, c.pkg+"."+c.name+" in "+folder, one(folder+"/x.go", using(c.pkg, c.name, "x", "f")).CheckPure(folder))
		}
	}
}

func TestRotBites(t *testing.T) {
	full := map[string]string{}
	whole := one("x.go", head+"package x\n")
	for p := range whole.named() {
		full[p+"/x.go"] = head + "package x\n"
	}
	clean(t, "all there", Parse(full).CheckRot(nil))
	for p := range whole.named() {
		less := map[string]string{}
		for name, text := range full {
			if !under(name, p) {
				less[name] = text
			}
		}
		less[p+"/testdata/x.go"] = head + "package x\n" // data is no package
		less[p+"/notes.md"] = "text\n"
		missing := func(planned ...string) (found bool) {
			for _, f := range Parse(less).CheckRot(planned) {
				found = found || f.Path == p
			}
			return found
		}
		if !missing() {
			t.Errorf("%s gone: not found", p)
		}
		if missing(p) {
			t.Errorf("%s planned and not there: found", p)
		}
		if len(Parse(full).CheckRot([]string{p})) != 1 {
			t.Errorf("%s planned and there: not found", p)
		}
	}
	if len(Parse(full).CheckRot([]string{"no/rule/names/this"})) != 1 {
		t.Error("a mark that no rule names: not found")
	}
}

// example is a tree with an offence, and the same without it.
type example struct {
	name       string
	check      func(*Tree) []Finding
	bad, clean map[string]string
	line       int
}

func examples() []example {
	const x = head + "// Package x is for x. It must not be y.\npackage x\n"
	joined := func(w Word) string { return strings.Join(w.Parts, "") }
	all := []example{
		{"CheckRoot file", (*Tree).CheckRoot, map[string]string{"notes.txt": ""}, map[string]string{"README.md": "", ".gitignore": "", ".ci/run": ""}, 0},
		{"CheckRoot folder", (*Tree).CheckRoot, map[string]string{"internal/x.go": x}, map[string]string{"store/internal/x.go": x}, 0},
		{"CheckRoot name", (*Tree).CheckRoot, map[string]string{"README.md.orig": ""}, map[string]string{"LICENSE": ""}, 0},

		{"CheckLicence go", (*Tree).CheckLicence, map[string]string{"x.go": "package x\n"}, map[string]string{"x.go": x}, 1},
		{"CheckLicence later line", (*Tree).CheckLicence, map[string]string{"x.go": "package x\n" + head}, map[string]string{"x/testdata/x.go": "package x\n"}, 1},
		{"CheckLicence another licence", (*Tree).CheckLicence, map[string]string{"x.go": "// " + spdx + "MIT\n\npackage x\n"}, map[string]string{"x.go": x}, 1},
		{"CheckLicence js", (*Tree).CheckLicence, map[string]string{"x.js": "export {};\n"}, map[string]string{"x.js": "// " + spdx + "Apache-2.0\n"}, 1},
		{"CheckLicence mjs", (*Tree).CheckLicence, map[string]string{"x.mjs": "export {};\n"}, map[string]string{"x.mjs": "/* " + spdx + "Apache-2.0 */\n"}, 1},
		{"CheckLicence css", (*Tree).CheckLicence, map[string]string{"x.css": "a {}\n"}, map[string]string{"x.css": "/* " + spdx + "Apache-2.0 */\n"}, 1},
		{"CheckLicence vendor", (*Tree).CheckLicence, map[string]string{"p/vendor/x.js": ""}, map[string]string{"p/vendor/x.js": "", "p/vendor/LICENSE": ""}, 0},

		{"CheckSize", (*Tree).CheckSize, map[string]string{"x.go": x + strings.Repeat("//\n", maxSource/3)}, map[string]string{"x.go": x, "x.css": strings.Repeat("\n", maxSource+1)}, 0},

		{"CheckComments none", (*Tree).CheckComments, map[string]string{"x/x.go": head + "package x\n"}, map[string]string{"x/x.go": x, "x/y.go": head + "package x\n"}, 0},
		{"CheckComments two", (*Tree).CheckComments, map[string]string{"x/x.go": x, "x/y.go": x}, map[string]string{"x/x.go": x, "x/x_test.go": head + "package x\n"}, 3},
		{"CheckComments licence taken for one", (*Tree).CheckComments, map[string]string{"x/x.go": strings.TrimSuffix(head, "\n") + "package x\n"}, map[string]string{"x/x.go": x}, 1},
		{"CheckComments in a test", (*Tree).CheckComments, map[string]string{"x/x.go": head + "package x\n", "x/x_test.go": x}, map[string]string{"tests/x/x_test.go": x}, 3},
		{"CheckComments beginning", (*Tree).CheckComments, map[string]string{"x/x.go": head + "// This is not it.\npackage x\n"}, map[string]string{"cmd/x/x.go": head + "// Command x runs. It must not walk.\npackage main\n"}, 3},
		{"CheckComments ending", (*Tree).CheckComments, map[string]string{"x/x.go": head + "// Package x is no y.\n//\n// It is x.\npackage x\n"}, map[string]string{"x/x.go": head + "// Package x is x.\n//\n// It is never y.\npackage x\n"}, 3},
	}
	for _, name := range vague {
		all = append(all, example{"CheckNames " + name, (*Tree).CheckNames,
			map[string]string{"store/" + name + "/x.go": x}, map[string]string{"store/" + name + "x/x.go": x}, 0})
	}
	for _, w := range Words {
		bad, good := "notes.md", "notes.bin"
		if w.In != "" {
			bad, good = "a/"+w.In, "a/other.json"
		}
		text := "first\nsee " + joined(w) + " there\n"
		if w.In == "" {
			all = append(all, example{"CheckWords binary " + joined(w), (*Tree).CheckWords,
				map[string]string{bad: text}, map[string]string{good: text + "\x00"}, 2})
		} else {
			all = append(all, example{"CheckWords only in its file " + joined(w), (*Tree).CheckWords,
				map[string]string{bad: text}, map[string]string{good: text}, 2})
		}
		if joined(w)[0] == '/' {
			all = append(all, example{"CheckWords path " + joined(w), (*Tree).CheckWords,
				map[string]string{bad: "a" + joined(w) + "\n\"" + joined(w) + "\"\n"}, map[string]string{bad: "some" + joined(w) + " x\n"}, 2})
		}
	}
	return all
}

func TestFilesBite(t *testing.T) {
	for _, e := range examples() {
		t.Run(e.name, func(t *testing.T) {
			expect(t, fmt.Sprint(e.bad), e.check(Parse(e.bad)), e.line)
			clean(t, fmt.Sprint(e.clean), e.check(Parse(e.clean)))
		})
	}
	if broken := one("x.go", "pack\n").Broken; len(broken) != 1 {
		t.Errorf("Go source that does not parse: found %v", broken)
	}
}

// A check that came later has an offence to show as well.
func TestEveryCheckIsShown(t *testing.T) {
	shown := map[string]bool{
		"CheckLayer": true, "CheckKeeper": true, "CheckCall": true, "CheckPure": true, "CheckRot": true, // above
	}
	for _, e := range examples() {
		name, _, _ := strings.Cut(e.name, " ")
		shown[name] = true
	}
	tree := reflect.TypeFor[*Tree]()
	checks := 0
	for i := range tree.NumMethod() {
		name := tree.Method(i).Name
		if !strings.HasPrefix(name, "Check") {
			continue
		}
		checks++
		if !shown[name] {
			t.Errorf("%s: no example shows that it can fail", name)
		}
	}
	if checks == 0 {
		t.Error("no check at all")
	}
}
