// SPDX-License-Identifier: Apache-2.0

// Package rules holds the project to its layout: who may import whom, who may
// read a clock, the environment or end the process, what stands in the root,
// and what every source file carries. Each entry gives its reason, and an
// entry that names a package which is gone fails. The rules look at source
// text alone; they never build or run it, and must not change a file.
package rules

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"sort"
	"strings"
)

// A Finding is one place where a rule is broken.
type Finding struct {
	Path string // from the root, with slashes
	Line int    // 0 when it is about the whole file or folder
	What string // what was found
	Why  string // the rule's reason
}

func (f Finding) String() string {
	place := f.Path
	if f.Line > 0 {
		place = fmt.Sprintf("%s:%d", f.Path, f.Line)
	}
	return fmt.Sprintf("%s: %s (%s)", place, f.What, f.Why)
}

// A File is one file of the tree.
type File struct {
	Path string
	Text string
	Go   *ast.File // nil unless it is Go source that parses
}

// A Tree is the project as git sees it: what is tracked, and what is new and
// not ignored.
type Tree struct {
	Module string // module path in go.mod
	Files  []*File
	Set    *token.FileSet
	Broken []Finding // Go files that do not parse
}

// Load reads the tree at root. It needs git, and an error tells what failed.
func Load(root string) (*Tree, error) {
	list := exec.Command("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
	list.Dir = root
	out, err := list.Output()
	if err != nil {
		return nil, fmt.Errorf("list the files of %s: %w", root, err)
	}
	texts := map[string]string{}
	folders := map[string]bool{".": true}
	for name := range strings.SplitSeq(strings.TrimSuffix(string(out), "\x00"), "\x00") {
		full := filepath.Join(root, filepath.FromSlash(name))
		info, err := os.Lstat(full)
		if os.IsNotExist(err) || err == nil && !info.Mode().IsRegular() {
			continue // deleted and not yet committed, or a link
		}
		text, err := os.ReadFile(full)
		if err != nil {
			return nil, err
		}
		texts[name] = string(text)
		folders[path.Dir(name)] = true
	}
	// Git's answer is no input that the test cache knows of; what it reads
	// itself is, so a new file in a folder makes it run the rules again.
	for folder := range folders {
		if _, err := os.ReadDir(filepath.Join(root, filepath.FromSlash(folder))); err != nil {
			return nil, err
		}
	}
	return Parse(texts), nil
}

// Parse makes a tree of file texts by path.
func Parse(texts map[string]string) *Tree {
	t := &Tree{Module: "tallyhood", Set: token.NewFileSet()}
	for name, text := range texts {
		f := &File{Path: name, Text: text}
		if strings.HasSuffix(name, ".go") && !data(name) {
			parsed, err := parser.ParseFile(t.Set, name, text, parser.ParseComments|parser.SkipObjectResolution)
			if err != nil {
				t.Broken = append(t.Broken, Finding{Path: name, What: err.Error(), Why: "the rules read what parses"})
			} else {
				f.Go = parsed
			}
		}
		t.Files = append(t.Files, f)
	}
	sort.Slice(t.Files, func(i, j int) bool { return t.Files[i].Path < t.Files[j].Path })
	return t
}

// Has tells whether Go source lies in the folder or beneath it.
func (t *Tree) Has(folder string) bool {
	for _, f := range t.Files {
		if strings.HasSuffix(f.Path, ".go") && !data(f.Path) && under(f.Path, folder) {
			return true
		}
	}
	return false
}

func (t *Tree) line(p token.Pos) int { return t.Set.Position(p).Line }

// package of a file, as its folder from the root.
func (f *File) folder() string { return path.Dir(f.Path) }

// test tells whether a file is test code, which no binary holds: a _test file,
// the folder tests, or the gate's own tools in a dot-folder.
func (f *File) test() bool {
	return strings.HasSuffix(f.Path, "_test.go") || under(f.Path, "tests") || strings.HasPrefix(f.Path, ".")
}

// data tells whether a file only looks like source: it is read by a test.
func data(name string) bool {
	return strings.Contains("/"+name, "/testdata/")
}

// under tells whether a path is the folder or lies beneath it. It cuts at
// slashes, so that storefront is not under store.
func under(name, folder string) bool {
	return name == folder || strings.HasPrefix(name, folder+"/")
}

// underAny returns the first folder that name lies under, or "".
func underAny(name string, folders []string) string {
	for _, folder := range folders {
		if under(name, folder) {
			return folder
		}
	}
	return ""
}
