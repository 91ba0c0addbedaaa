// SPDX-License-Identifier: Apache-2.0

package page

import (
	"slices"

	"golang.org/x/text/unicode/bidi"
)

// A span is a stretch of text of one direction, its characters in the order in
// which they are read.
type span struct {
	text string
	rtl  bool
}

// visual gives the spans of a line in the order in which they stand from left
// to right. It is the algorithm of Unicode Standard Annex 9 for one line without
// embeddings, overrides and isolates, which Clean takes out; of the neutral
// rules it leaves out the one for brackets (N0).
func visual(text string) []span {
	runes := []rune(text)
	if len(runes) == 0 {
		return nil
	}
	level := levels(runes)
	order := make([]int, len(runes))
	top := 0
	for i := range order {
		order[i], top = i, max(top, level[i])
	}
	// L2: from the highest level down, turn every stretch at or above it.
	for l := top; l >= 1; l-- {
		for i := 0; i < len(runes); i++ {
			if level[order[i]] < l {
				continue
			}
			j := i
			for j < len(order) && level[order[j]] >= l {
				j++
			}
			slices.Reverse(order[i:j])
			i = j
		}
	}
	var out []span
	for i := 0; i < len(order); {
		j := i + 1
		for j < len(order) && level[order[j]] == level[order[i]] {
			j++
		}
		stretch := order[i:j]
		rtl := level[stretch[0]]%2 == 1
		part := make([]rune, 0, len(stretch))
		for k := range stretch {
			if rtl {
				k = len(stretch) - 1 - k
			}
			part = append(part, runes[stretch[k]])
		}
		out = append(out, span{string(part), rtl})
		i = j
	}
	return out
}

// levels resolves the embedding level of each character (P2 to L1).
func levels(runes []rune) []int {
	class := make([]bidi.Class, len(runes))
	first := make([]bidi.Class, len(runes))
	base := 0
	strong := false
	for i, r := range runes {
		p, _ := bidi.LookupRune(r)
		class[i] = p.Class()
		first[i] = class[i]
		if !strong && (class[i] == bidi.L || class[i] == bidi.R || class[i] == bidi.AL) {
			strong = true
			if class[i] != bidi.L {
				base = 1
			}
		}
	}
	side := bidi.L
	if base == 1 {
		side = bidi.R
	}
	weak(class, side)
	neutral(class, side)
	out := make([]int, len(runes))
	for i, c := range class { // I1, I2
		switch {
		case base == 0 && c == bidi.R, base == 1 && (c == bidi.L || c == bidi.EN || c == bidi.AN):
			out[i] = base + 1
		case base == 0 && (c == bidi.EN || c == bidi.AN):
			out[i] = 2
		default:
			out[i] = base
		}
	}
	for i := len(runes) - 1; i >= 0 && (first[i] == bidi.WS || first[i] == bidi.S || first[i] == bidi.B); i-- { // L1
		out[i] = base
	}
	return out
}

// weak resolves numbers and marks (W1 to W7).
func weak(class []bidi.Class, side bidi.Class) {
	last, strong := side, side
	for i, c := range class {
		if c == bidi.NSM { // W1
			c = last
		}
		switch c {
		case bidi.L, bidi.R, bidi.AL:
			strong = c
		case bidi.EN:
			if strong == bidi.AL { // W2
				c = bidi.AN
			}
		}
		class[i], last = c, c
	}
	for i, c := range class {
		switch {
		case c == bidi.AL: // W3
			class[i] = bidi.R
		case i > 0 && i+1 < len(class) && class[i-1] == class[i+1]: // W4
			if c == bidi.ES && class[i-1] == bidi.EN || c == bidi.CS && (class[i-1] == bidi.EN || class[i-1] == bidi.AN) {
				class[i] = class[i-1]
			}
		}
	}
	for i := 0; i < len(class); { // W5, W6
		if class[i] != bidi.ET {
			if class[i] == bidi.ES || class[i] == bidi.CS {
				class[i] = bidi.ON
			}
			i++
			continue
		}
		j := i
		for j < len(class) && class[j] == bidi.ET {
			j++
		}
		to := bidi.ON
		if i > 0 && class[i-1] == bidi.EN || j < len(class) && class[j] == bidi.EN {
			to = bidi.EN
		}
		for ; i < j; i++ {
			class[i] = to
		}
	}
	strong = side
	for i, c := range class { // W7
		switch c {
		case bidi.L, bidi.R:
			strong = c
		case bidi.EN:
			if strong == bidi.L {
				class[i] = bidi.L
			}
		}
	}
}

// neutral gives the rest the direction of what is around it (N1, N2).
func neutral(class []bidi.Class, side bidi.Class) {
	dir := func(c bidi.Class) (bidi.Class, bool) {
		switch c {
		case bidi.L:
			return bidi.L, true
		case bidi.R, bidi.EN, bidi.AN:
			return bidi.R, true
		}
		return 0, false
	}
	for i := 0; i < len(class); {
		if _, ok := dir(class[i]); ok {
			i++
			continue
		}
		j := i
		for j < len(class) {
			if _, ok := dir(class[j]); ok {
				break
			}
			j++
		}
		before, after := side, side
		if i > 0 {
			before, _ = dir(class[i-1])
		}
		if j < len(class) {
			after, _ = dir(class[j])
		}
		to := side
		if before == after {
			to = before
		}
		for ; i < j; i++ {
			class[i] = to
		}
	}
}
