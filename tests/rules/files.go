// SPDX-License-Identifier: Apache-2.0

package rules

import (
	"fmt"
	"path"
	"slices"
	"strings"
)

// CheckRoot reports what stands in the root and is not on the list.
func (t *Tree) CheckRoot() []Finding {
	var found []Finding
	seen := map[string]bool{}
	for _, f := range t.Files {
		first, _, _ := strings.Cut(f.Path, "/")
		if seen[first] || strings.HasPrefix(first, ".") || slices.Contains(Root, first) {
			continue
		}
		seen[first] = true
		found = append(found, Finding{Path: first, What: "stands in the root", Why: "the root reads in one minute; its folders are fixed"})
	}
	return found
}

const spdx = "SPDX-License-Identifier: "

// CheckLicence reports source without its licence on the first line. A file
// of others' in a folder named vendor stays as it came, so its licence lies
// beside it instead.
func (t *Tree) CheckLicence() []Finding {
	const why = "each file says by itself under which terms it may be used"
	beside := map[string]bool{} // folders with a licence file
	for _, f := range t.Files {
		if strings.HasPrefix(path.Base(f.Path), "LICENSE") {
			beside[f.folder()] = true
		}
	}
	var found []Finding
	for _, f := range t.Files {
		var want []string
		switch path.Ext(f.Path) {
		case ".go":
			want = []string{"// " + spdx + "Apache-2.0"}
		case ".js", ".mjs", ".ts":
			want = []string{"// " + spdx + "Apache-2.0", "/* " + spdx + "Apache-2.0 */"}
		case ".css":
			want = []string{"/* " + spdx + "Apache-2.0 */"}
		default:
			continue
		}
		if data(f.Path) {
			continue
		}
		if strings.Contains("/"+f.Path, "/vendor/") {
			if !beside[f.folder()] {
				found = append(found, Finding{Path: f.Path, What: "no LICENSE file beside it", Why: why})
			}
			continue
		}
		first, _, _ := strings.Cut(f.Text, "\n")
		if !slices.Contains(want, strings.TrimSuffix(first, "\r")) {
			found = append(found, Finding{Path: f.Path, Line: 1, What: fmt.Sprintf("the first line is not %q", want[0]), Why: why})
		}
	}
	return found
}

// CheckSize reports Go source files that are too long to read.
func (t *Tree) CheckSize() []Finding {
	var found []Finding
	for _, f := range t.Files {
		if strings.HasSuffix(f.Path, ".go") && len(f.Text) > maxSource {
			found = append(found, Finding{Path: f.Path, What: fmt.Sprintf("%d bytes, more than %d", len(f.Text), maxSource),
				Why: "a file is read in one sitting; split it by what its parts are for"})
		}
	}
	return found
}

// CheckNames reports folders of Go source whose name says nothing.
func (t *Tree) CheckNames() []Finding {
	var found []Finding
	seen := map[string]bool{}
	for _, f := range t.Files {
		folder := f.folder()
		if f.Go == nil || seen[folder] {
			continue
		}
		seen[folder] = true
		if slices.Contains(vague, path.Base(folder)) {
			found = append(found, Finding{Path: folder, What: "the name tells nothing", Why: "a package is named for a thing"})
		}
	}
	return found
}

// CheckComments reports packages without exactly one package comment, and
// comments that do not end with what the package must not do.
func (t *Tree) CheckComments() []Finding {
	const why = "one place says what a package is for, and last what it must not do"
	type docs struct {
		first    string
		comments []*File
		plain    bool // has files other than tests
	}
	all := map[string]*docs{}
	var order []string
	for _, f := range t.Files {
		if f.Go == nil {
			continue
		}
		d := all[f.folder()]
		if d == nil {
			d = &docs{first: f.Path}
			all[f.folder()] = d
			order = append(order, f.folder())
		}
		if !strings.HasSuffix(f.Path, "_test.go") {
			d.plain = true
		}
		if f.Go.Doc != nil {
			d.comments = append(d.comments, f)
		}
	}
	var found []Finding
	for _, folder := range order {
		d := all[folder]
		for _, f := range d.comments {
			text := f.Go.Doc.Text()
			line := t.line(f.Go.Doc.Pos())
			add := func(what string) {
				found = append(found, Finding{f.Path, line, what, why})
			}
			switch {
			case strings.HasPrefix(text, "SPDX"):
				add("no blank line after the licence line, so it is taken for a package comment")
			case d.plain && strings.HasSuffix(f.Path, "_test.go"):
				add("the package comment stands in a test file")
			case !strings.HasPrefix(text, "Package "+f.Go.Name.Name+" ") && !(f.Go.Name.Name == "main" && strings.HasPrefix(text, "Command ")):
				add("the package comment does not begin with Package " + f.Go.Name.Name)
			case !f.test() && !refuses(text):
				add("the package comment does not end with what the package must not do")
			}
		}
		switch n := len(d.comments); {
		case n == 0:
			found = append(found, Finding{Path: folder, What: "no package comment", Why: why})
		case n > 1:
			for _, f := range d.comments[1:] {
				found = append(found, Finding{f.Path, t.line(f.Go.Doc.Pos()), "a second package comment, beside " + d.comments[0].Path, why})
			}
		}
	}
	return found
}

// refuses tells whether the last paragraph of a comment denies something.
func refuses(text string) bool {
	paragraphs := strings.Split(strings.TrimSpace(text), "\n\n")
	for _, word := range strings.FieldsFunc(strings.ToLower(paragraphs[len(paragraphs)-1]), func(r rune) bool {
		return r < 'a' || r > 'z'
	}) {
		switch word {
		case "not", "never", "no", "nothing", "neither", "nor", "none", "nobody", "without", "cannot":
			return true
		}
	}
	return false
}

// CheckWords reports words of one machine or network in any text.
func (t *Tree) CheckWords() []Finding {
	var found []Finding
	for _, f := range t.Files {
		if strings.ContainsRune(f.Text, 0) {
			continue // not text
		}
		for _, w := range Words {
			word := strings.Join(w.Parts, "")
			if w.In != "" && path.Base(f.Path) != w.In || !strings.Contains(f.Text, word) {
				continue
			}
			n := 0
			for line := range strings.Lines(f.Text) {
				n++
				if stands(line, word) {
					found = append(found, Finding{f.Path, n, "holds " + word, w.Why})
				}
			}
		}
	}
	return found
}

// stands tells whether a word stands in a line by itself. One that begins with
// a slash is an absolute path, so a name right before it makes it another.
func stands(line, word string) bool {
	for rest, at := line, 0; ; {
		i := strings.Index(rest, word)
		if i < 0 {
			return false
		}
		at += i
		if word[0] != '/' || at == 0 || !nameByte(line[at-1]) {
			return true
		}
		at += len(word)
		rest = line[at:]
	}
}

func nameByte(b byte) bool {
	return b == '_' || b == '-' || b == '.' || '0' <= b && b <= '9' || 'a' <= b && b <= 'z' || 'A' <= b && b <= 'Z'
}
