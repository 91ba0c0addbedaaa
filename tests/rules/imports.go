// SPDX-License-Identifier: Apache-2.0

package rules

import (
	"fmt"
	"go/ast"
	"go/token"
	"strconv"
	"strings"
)

// An imported path and the place of its import line.
type imported struct {
	path string
	line int
}

func (t *Tree) imports(f *File) []imported {
	var all []imported
	if f.Go == nil {
		return nil
	}
	for _, spec := range f.Go.Imports {
		if p, err := strconv.Unquote(spec.Path.Value); err == nil {
			all = append(all, imported{p, t.line(spec.Pos())})
		}
	}
	return all
}

// matches tells whether an import path falls under a pattern of a Layer.
func (t *Tree) matches(p, pattern string) bool {
	if rest, ours := strings.CutPrefix(pattern, "./"); ours {
		if rest == "" {
			return under(p, t.Module)
		}
		return under(p, t.Module+"/"+rest)
	}
	return under(p, pattern)
}

// CheckLayer reports imports that a layer never makes.
func (t *Tree) CheckLayer(l Layer) []Finding {
	var found []Finding
	for _, f := range t.Files {
		if f.test() || !under(f.Path, l.In) {
			continue
		}
		for _, im := range t.imports(f) {
			for _, never := range l.Never {
				if t.matches(im.path, never) && !under(im.path, t.Module+"/"+l.In) {
					found = append(found, Finding{f.Path, im.line, fmt.Sprintf("%s imports %s", l.In, im.path), l.Why})
				}
			}
		}
	}
	return found
}

// CheckKeeper reports a library imported elsewhere than by its keepers.
func (t *Tree) CheckKeeper(k Keeper) []Finding {
	var found []Finding
	for _, f := range t.Files {
		if underAny(f.Path, k.By) != "" || k.Tests && f.test() {
			continue
		}
		for _, im := range t.imports(f) {
			if under(im.path, k.Library) {
				found = append(found, Finding{f.Path, im.line,
					fmt.Sprintf("imports %s, which %s", im.path, alone(k.By)), k.Why})
			}
		}
	}
	return found
}

func alone(by []string) string {
	if len(by) == 0 {
		return "nobody may"
	}
	return "only " + strings.Join(by, " and ") + " may"
}

// CheckPure reports what makes a package of the functional core impure:
// imports, clocks, goroutines, channels and output.
func (t *Tree) CheckPure(folder string) []Finding {
	var found []Finding
	for _, f := range t.Files {
		if f.Go == nil || f.test() || !under(f.Path, folder) {
			continue
		}
		add := func(p token.Pos, what string) {
			found = append(found, Finding{f.Path, t.line(p), what + " in a pure package", whyPure})
		}
		for _, im := range t.imports(f) {
			first, _, _ := strings.Cut(im.path, "/")
			switch {
			case under(im.path, t.Module),
				strings.Contains(first, "."), // a library from elsewhere
				underAny(im.path, notPure) != "":
				found = append(found, Finding{f.Path, im.line, "import of " + im.path + " in a pure package", whyPure})
			}
		}
		ast.Inspect(f.Go, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				add(n.Pos(), "a goroutine")
			case *ast.ChanType:
				add(n.Pos(), "a channel")
			case *ast.SelectStmt:
				add(n.Pos(), "a select")
			case *ast.CallExpr:
				if id, ok := n.Fun.(*ast.Ident); ok && (id.Name == "print" || id.Name == "println") {
					add(n.Pos(), "output")
				}
			}
			return true
		})
		for _, use := range t.uses(f, "fmt") {
			if strings.HasPrefix(use.name, "Print") || strings.HasPrefix(use.name, "Scan") {
				add(use.pos, "fmt."+use.name)
			}
		}
		for _, use := range t.uses(f, "time") {
			if use.name == "Local" || use.name == "LoadLocation" {
				add(use.pos, "time."+use.name)
			}
		}
	}
	return found
}
