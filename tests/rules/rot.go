// SPDX-License-Identifier: Apache-2.0

package rules

import (
	"slices"
	"strings"
)

// named lists the folders that the rules speak of, each with who speaks of it.
func (t *Tree) named() map[string]string {
	all := map[string]string{}
	for _, p := range Pure {
		all[p] = "Pure"
	}
	for _, l := range Layers {
		all[l.In] = "Layers"
		for _, p := range l.Never {
			if rest, ours := strings.CutPrefix(p, "./"); ours && rest != "" {
				all[rest] = "Layers"
			}
		}
	}
	for _, k := range Keepers {
		if rest, ours := strings.CutPrefix(k.Library, t.Module+"/"); ours {
			all[rest] = "Keepers"
		}
		for _, p := range k.By {
			all[p] = "Keepers"
		}
	}
	for _, c := range Calls {
		for _, p := range c.By {
			all[p] = "Calls"
		}
	}
	return all
}

// CheckRot reports rules that speak of packages which are gone, and marks of
// planned packages which are there or which no rule names.
func (t *Tree) CheckRot(planned []string) []Finding {
	const why = "a rule about nothing looks as if it held something"
	named := t.named()
	var found []Finding
	for p, by := range named {
		there, mark := t.Has(p), slices.Contains(planned, p)
		switch {
		case !there && !mark:
			found = append(found, Finding{Path: p, What: "named in " + by + ", but no Go source lies there", Why: why})
		case there && mark:
			found = append(found, Finding{Path: p, What: "is marked planned, but it is there: remove the mark", Why: why})
		}
	}
	for _, p := range planned {
		if named[p] == "" {
			found = append(found, Finding{Path: p, What: "is marked planned, but no rule names it", Why: why})
		}
	}
	slices.SortFunc(found, func(a, b Finding) int { return strings.Compare(a.Path, b.Path) })
	return found
}
