// SPDX-License-Identifier: Apache-2.0

package onefile

import (
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"strings"
)

var (
	importing = regexp.MustCompile(`(?m)^import \{([^}]*)\} from "([^"]+)";$`)
	exported  = regexp.MustCompile(`(?m)^export (?:async function|function\*?|const|let|class) ([A-Za-z_$][\w$]*)`)
	listed    = regexp.MustCompile(`export\{([^}]*)\};?`) // as the vendored library ends
	mapped    = regexp.MustCompile(`(?m)^//# sourceMappingURL=.*$`)
	leftOver  = regexp.MustCompile(`(?m)^(?:import|export)\b.*$`)
	told      = regexp.MustCompile(`(?s)/\*\*.*?\*/`) // types for the checker; the library's licence is in one too
	naming    = regexp.MustCompile(`^([\w$]+)(?: as ([\w$]+))?$`)
)

// link joins a module and all that it imports into one script without imports.
// It knows the forms that the pages' modules have, and refuses any other: a
// script that is not whole must not be given away. Modules must not import each
// other in a circle, and what they export must not be assigned anew later.
func link(pages fs.FS, entry string) (string, error) {
	l := linker{pages: pages, names: map[string]string{}}
	if _, err := l.add(entry, nil); err != nil {
		return "", err
	}
	return l.out.String(), nil
}

type linker struct {
	pages fs.FS
	names map[string]string // of the variable that holds a module's exports
	out   strings.Builder
}

func (l *linker) add(file string, above []string) (string, error) {
	if name, done := l.names[file]; done {
		return name, nil
	}
	for _, a := range above {
		if a == file {
			return "", fmt.Errorf("page module %s imports itself by way of %s; take one of the imports away", file, strings.Join(above, ", "))
		}
	}
	source, err := fs.ReadFile(l.pages, file)
	if err != nil {
		return "", fmt.Errorf("page module %s cannot be read; the program was built without it: %w", file, err)
	}
	text := mapped.ReplaceAllString(string(source), "")
	if !strings.Contains(file, "vendor/") {
		text = told.ReplaceAllString(text, "")
	}
	var failed error
	text = importing.ReplaceAllStringFunc(text, func(line string) string {
		m := importing.FindStringSubmatch(line)
		from, err := l.add(path.Join(path.Dir(file), m[2]), append(above, file))
		if err != nil {
			failed = err
			return ""
		}
		names, err := names(m[1], ": ")
		if err != nil {
			failed = fmt.Errorf("page module %s: %w", file, err)
		}
		return "const { " + strings.Join(names, ", ") + " } = " + from + ";"
	})
	if failed != nil {
		return "", failed
	}
	var gives []string
	text = exported.ReplaceAllStringFunc(text, func(line string) string {
		gives = append(gives, exported.FindStringSubmatch(line)[1])
		return strings.TrimPrefix(line, "export ")
	})
	text = listed.ReplaceAllStringFunc(text, func(line string) string {
		all, err := names(listed.FindStringSubmatch(line)[1], "")
		if err != nil {
			failed = fmt.Errorf("page module %s: %w", file, err)
		}
		for _, n := range all {
			inner, outer, _ := strings.Cut(n, " ")
			gives = append(gives, outer+": "+inner)
		}
		return ""
	})
	if failed != nil {
		return "", failed
	}
	if line := leftOver.FindString(text); line != "" {
		return "", fmt.Errorf("page module %s has a form of import or export that cannot be joined; write it as the other modules do: %s", file, line)
	}
	name := "m" + fmt.Sprint(len(l.names)+1)
	l.names[file] = name
	fmt.Fprintf(&l.out, "// %s\nconst %s = (() => {\n%s\nreturn { %s };\n})();\n", file, name, text, strings.Join(gives, ", "))
	return name, nil
}

// names reads a list such as "a, b as c". With a separator it gives "a" and
// "b: c"; without one always both names, "a a" and "b c".
func names(list, separator string) ([]string, error) {
	var out []string
	for n := range strings.SplitSeq(list, ",") {
		n = strings.Join(strings.Fields(n), " ")
		if n == "" {
			continue
		}
		m := naming.FindStringSubmatch(n)
		switch {
		case m == nil:
			return nil, fmt.Errorf("%q is no name to import or export; write it as the other modules do", n)
		case separator == "" && m[2] == "":
			out = append(out, m[1]+" "+m[1])
		case separator == "":
			out = append(out, m[1]+" "+m[2])
		case m[2] == "":
			out = append(out, m[1])
		default:
			out = append(out, m[1]+separator+m[2])
		}
	}
	return out, nil
}
