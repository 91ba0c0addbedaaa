// SPDX-License-Identifier: Apache-2.0

// Package capture turns value change dumps of logic analysers (VCD, IEEE
// 1364-2005 clause 18) into levels of a board's contacts, and writes a board's
// contacts as such a dump. It holds a file of any length in bounded memory.
// It must not judge what an edge means, debounce it, or read a clock.
package capture

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"tallyhood/device"
)

// Bounds of what a capture may hold; beyond them it is bad input.
const (
	MaxToken       = 64 << 10  // bytes between two white spaces
	MaxNote        = 16 << 10  // bytes of a note
	MaxIdentifiers = 256 << 10 // different identifier codes declared
)

// noteMark is the first word of a body comment that is a note, and of the
// $version of a capture that a Writer made.
const noteMark = "tallyhood"

// names fixes the order of the lines inside this package; there are lineCount.
var names = device.Lines()

const lineCount = 5

// An Item is one thing that happened in a capture: a gap when Gap is set, a note
// when Note is not empty, else an edge.
type Item struct {
	// At is the instant in nanoseconds from time 0 of the capture. Time units
	// below a nanosecond are cut off towards zero, so that items of one
	// nanosecond can share At; their order is that of the file.
	At time.Duration
	// Edge is a change of level, At included. Seq is always zero.
	Edge device.Edge
	// Note is the text of a body comment "tallyhood TEXT".
	Note string
	// Gap: the recording was switched off ($dumpoff) at At, so that edges may be
	// missing. Where that left both contacts of a pair open it comes when the
	// recording is on again or ends, still dated by its begin; after more than
	// contact.CableGrace by its end, since by then the cable is out.
	Gap bool
}

// An Error says what is wrong with a capture and where. Columns count bytes.
type Error struct {
	Line, Column int // from 1
	What         string
}

// Error is one line of printable text.
func (e *Error) Error() string {
	return fmt.Sprintf("line %d, column %d: %s", e.Line, e.Column, e.What)
}

// quote makes foreign bytes fit to stand in a one-line message.
func quote[T string | []byte](b T) string {
	const most = 40
	if len(b) > most {
		return fmt.Sprintf("%+q...", b[:most])
	}
	return fmt.Sprintf("%+q", b)
}

// checkText says why text cannot stand inside a comment of one line, or "".
func checkText(text string) string {
	switch {
	case text == "":
		return "is empty"
	case len(text) > MaxNote:
		return fmt.Sprintf("is longer than %d bytes", MaxNote)
	case !utf8.ValidString(text):
		return "is not UTF-8"
	case strings.TrimSpace(text) != text:
		return "begins or ends with white space"
	case strings.ContainsFunc(text, breaksLine):
		return "holds a line break or another control character"
	case strings.Contains(text, "$end"):
		return "holds $end"
	}
	return ""
}

func breaksLine(c rune) bool { return unicode.In(c, unicode.Cc, unicode.Zl, unicode.Zp) }

// checkLines says in words what keeps a set of lines from being a board, or
// "". A wearer's button is a pair or a single contact, never both.
func checkLines(have func(device.Line) bool) string {
	var missing []string
	for _, l := range []device.Line{device.Squeeze, device.Step} {
		if !have(l) {
			missing = append(missing, string(l))
		}
	}
	no, nc, single := have(device.TasteNO), have(device.TasteNC), have(device.Taste)
	switch {
	case single && (no || nc):
		return "both taste and a contact of the pair taste_no, taste_nc are declared: only one kind of button can be meant"
	case no && !nc:
		missing = append(missing, "taste_nc (the other half of the pair)")
	case nc && !no:
		missing = append(missing, "taste_no (the other half of the pair)")
	case !no && !single:
		missing = append(missing, "taste or the pair taste_no, taste_nc")
	}
	if len(missing) == 0 {
		return ""
	}
	return "missing: " + strings.Join(missing, "; ")
}

// index is the place of a line in names, or -1.
func index[T string | []byte](line T) int {
	for i, n := range names {
		if string(n) == string(line) {
			return i
		}
	}
	return -1
}
