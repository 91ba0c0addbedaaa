// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"fmt"
	"strings"
)

// is tells whether the chip is meant by a label or a name.
func (c Chip) is(name string) bool { return c.Label == name || c.Name == name || c.Path == name }

// find looks a place up among the chips. The error is a sentence for whoever
// wires the board.
func find(chips []Chip, p Place) (Chip, LineInfo, error) {
	type hit struct {
		chip Chip
		line LineInfo
	}
	var hits []hit
	var named []string
	for _, c := range chips {
		if p.Chip != "" && !c.is(p.Chip) {
			continue
		}
		named = append(named, c.Name)
		for _, l := range c.Lines {
			if p.Name != "" && l.Name == p.Name || p.Name == "" && l.Offset == p.Offset {
				hits = append(hits, hit{c, l})
			}
		}
	}
	switch {
	case p.Name == "" && p.Chip == "":
		return Chip{}, LineInfo{}, fmt.Errorf("neither the name of a line nor a chip is given")
	case len(chips) == 0:
		return Chip{}, LineInfo{}, fmt.Errorf("this board has no GPIO chip, so there is no %s", p)
	case len(named) == 0:
		return Chip{}, LineInfo{}, fmt.Errorf("there is no GPIO chip %s; this board has %s", p.Chip, describe(chips))
	case len(named) > 1 && p.Name == "":
		return Chip{}, LineInfo{}, fmt.Errorf("%d chips are called %s: name it by the kernel's name (%s)", len(named), p.Chip, strings.Join(named, ", "))
	case len(hits) == 0 && p.Name != "":
		return Chip{}, LineInfo{}, fmt.Errorf("there is no line %s; this board has %s", p, describe(chips))
	case len(hits) == 0:
		return Chip{}, LineInfo{}, fmt.Errorf("there is no %s; this board has %s", p, describe(chips))
	case len(hits) > 1:
		var where []string
		for _, h := range hits {
			where = append(where, fmt.Sprintf("line %d of %s (%s)", h.line.Offset, h.chip.Label, h.chip.Name))
		}
		return Chip{}, LineInfo{}, fmt.Errorf("%d lines are called %s: %s; name chip and offset", len(hits), p.Name, strings.Join(where, ", "))
	}
	return hits[0].chip, hits[0].line, nil
}

// shown is how many line names of a chip a sentence holds.
const shown = 64

// describe lists chips and the names of their lines in one sentence.
func describe(chips []Chip) string {
	var all []string
	for _, c := range chips {
		var names []string
		for _, l := range c.Lines {
			if l.Name != "" {
				names = append(names, l.Name)
			}
		}
		more := ""
		if len(names) > shown {
			more = fmt.Sprintf(" and %d more", len(names)-shown)
			names = names[:shown]
		}
		lines := "no named lines"
		if len(names) > 0 {
			lines = strings.Join(names, ", ") + more
		}
		all = append(all, fmt.Sprintf("%s with %d lines (%s)", c.Label, len(c.Lines), lines))
	}
	return strings.Join(all, "; ")
}

// busy says in words who holds a line.
func busy(p Place, l LineInfo) error {
	who := "another program or the kernel, which does not tell its name"
	if l.Consumer != "" {
		who = l.Consumer
	}
	return fmt.Errorf("%s is in use by %s", p, who)
}
