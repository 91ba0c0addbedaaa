// SPDX-License-Identifier: Apache-2.0

package rules

import (
	"fmt"
	"go/ast"
	"go/token"
	"path"
	"slices"
	"strings"
)

// A use is a name of another package standing in a file, called or not.
type use struct {
	name   string
	pos    token.Pos
	inMain bool // inside func main of a program
}

// uses lists what a file uses of one package, whatever name it imports it
// under. A dot import gives the use named ".", since it hides all others.
func (t *Tree) uses(f *File, importPath string) []use {
	if f.Go == nil {
		return nil
	}
	var local []string
	var all []use
	for _, spec := range f.Go.Imports {
		if strings.Trim(spec.Path.Value, "`\"") != importPath {
			continue
		}
		switch {
		case spec.Name == nil:
			local = append(local, path.Base(importPath))
		case spec.Name.Name == ".":
			all = append(all, use{name: ".", pos: spec.Pos()})
		case spec.Name.Name != "_":
			local = append(local, spec.Name.Name)
		}
	}
	if len(local) == 0 {
		return all
	}
	for _, d := range f.Go.Decls {
		fn, _ := d.(*ast.FuncDecl)
		inMain := fn != nil && fn.Recv == nil && fn.Name.Name == "main" && f.Go.Name.Name == "main"
		ast.Inspect(d, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if id, ok := sel.X.(*ast.Ident); ok && slices.Contains(local, id.Name) {
				all = append(all, use{sel.Sel.Name, sel.Pos(), inMain})
			}
			return true
		})
	}
	return all
}

// CheckCall reports uses of a function outside the packages that may. A
// variable that hides a package's name is reported as the package would be:
// rename the variable.
func (t *Tree) CheckCall(c Call) []Finding {
	var found []Finding
	for _, f := range t.Files {
		if c.Tests && f.test() {
			continue
		}
		may := underAny(f.Path, c.By) != ""
		if may && !c.Main {
			continue
		}
		for _, u := range t.uses(f, c.Package) {
			switch {
			case u.name == ".":
				found = append(found, Finding{f.Path, t.line(u.pos), "dot import of " + c.Package, c.Why})
			case slices.Contains(c.Names, u.name) && !(may && u.inMain):
				found = append(found, Finding{f.Path, t.line(u.pos),
					fmt.Sprintf("%s.%s, which %s", path.Base(c.Package), u.name, c.alone()), c.Why})
			}
		}
	}
	return found
}

func (c Call) alone() string {
	if c.Main {
		return "only func main in " + strings.Join(c.By, " and ") + " may use"
	}
	if len(c.By) == 0 {
		return "nobody may use"
	}
	return "only " + strings.Join(c.By, " and ") + " may use"
}
