// SPDX-License-Identifier: Apache-2.0

// Package scenarios plays written scripts of what the contacts of a board do
// through the replay of captures, and compares what comes out with what the
// script says. It holds its own writer of captures and, in its tests, a second
// judge written from the trade's rules. Neither may use the engine's code.
package scenarios

import (
	"bytes"
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"time"
)

const ms = time.Millisecond

// A Change is the value that a line of a capture takes: 0, 1, x or z. One with
// a note instead is what a person said at a page.
type Change struct {
	At    time.Duration
	Line  string
	Value byte
	Note  string
}

// A Tape gathers what contacts do, in any order. 1 is a closed contact.
type Tape struct {
	Single  bool                     // the wearer's button is one contact
	Chatter map[string]time.Duration // after each change of a line
	Invert  map[string]bool          // lines written 0 when closed
	Bare    bool                     // no $dumpvars: unknown until the first change
	End     time.Duration            // 0: a minute after the last change
	Cut     time.Duration            // 0: none; what comes later is lost
	changes []Change
	rand    *rand.Rand
}

// Lines are the lines that the capture declares.
func (t *Tape) Lines() []string {
	if t.Single {
		return []string{"squeeze", "step", "taste"}
	}
	return []string{"squeeze", "step", "taste_no", "taste_nc"}
}

// Level sets a line; the contact chatters as the tape says.
func (t *Tape) Level(at time.Duration, line string, v byte) {
	t.changes = append(t.changes, Change{At: at, Line: line, Value: v})
	c := t.Chatter[line]
	if c == 0 {
		return
	}
	if t.rand == nil {
		t.rand = rand.New(rand.NewPCG(1, 2))
	}
	var toggles []time.Duration
	for range 2 * (1 + t.rand.IntN(4)) {
		toggles = append(toggles, time.Duration(1+t.rand.Int64N(c.Microseconds()))*time.Microsecond)
	}
	slices.Sort(toggles)
	for i, d := range toggles {
		w := v
		if i%2 == 0 {
			w ^= 1 // '0' and '1' differ in the last bit
		}
		t.changes = append(t.changes, Change{At: at + d, Line: line, Value: w})
	}
}

// Press closes a contact for a while.
func (t *Tape) Press(at time.Duration, line string, for_ time.Duration) {
	t.Level(at, line, '1')
	t.Level(at+for_, line, '0')
}

// Report presses the wearer's button for a while.
func (t *Tape) Report(at, for_ time.Duration) {
	if t.Single {
		t.Press(at, "taste", for_)
		return
	}
	t.Level(at, "taste_nc", '0')
	t.Level(at, "taste_no", '1')
	t.Level(at+for_, "taste_no", '0')
	t.Level(at+for_, "taste_nc", '1')
}

// Cable puts the pair into one of its states: out, in (at rest) or short.
func (t *Tape) Cable(at time.Duration, how string) error {
	v, ok := map[string]string{"out": "00", "in": "01", "short": "11"}[how]
	if !ok {
		return fmt.Errorf("cable %q is not out, in or short", how)
	}
	t.changes = append(t.changes, Change{At: at, Line: "taste_no", Value: v[0]}, Change{At: at, Line: "taste_nc", Value: v[1]})
	return nil
}

// Say adds what a person said at a page, as a note of the capture.
func (t *Tape) Say(at time.Duration, verb string) {
	t.changes = append(t.changes, Change{At: at, Note: `tallyhood input {"do":"` + verb + `"}`})
}

// A Scale is the time unit of a capture.
type Scale struct {
	Text     string
	mul, div int64 // ticks = nanoseconds * mul / div
}

// Scales by what stands in $timescale.
var Scales = map[string]Scale{
	"1 fs": {"1 fs", 1_000_000, 1}, "10 fs": {"10 fs", 100_000, 1}, "100 fs": {"100 fs", 10_000, 1},
	"1 ps": {"1 ps", 1000, 1}, "10 ps": {"10 ps", 100, 1}, "100 ps": {"100 ps", 10, 1},
	"1 ns": {"1 ns", 1, 1}, "10 ns": {"10 ns", 1, 10}, "100 ns": {"100 ns", 1, 100},
	"1 us": {"1us", 1, 1e3}, "10 us": {"10\n us", 1, 1e4}, "100 us": {"100 us", 1, 1e5},
	"1 ms": {"1 ms", 1, 1e6}, "10 ms": {"10 ms", 1, 1e7}, "100 ms": {"100 ms", 1, 1e8},
	"1 s": {"1 s", 1, 1e9},
}

// VCD writes the tape as a capture. An instant that the scale cannot say is an
// error.
func (t *Tape) VCD(s Scale) ([]byte, error) {
	changes := slices.Clone(t.changes)
	slices.SortStableFunc(changes, func(a, b Change) int { return cmp.Compare(a.At, b.At) })
	var b bytes.Buffer
	fmt.Fprintf(&b, "$comment a script $end\n$timescale %s $end\n$scope module board $end\n", s.Text)
	ids := map[string]string{}
	for i, l := range t.Lines() {
		ids[l] = string(rune('!' + i))
		fmt.Fprintf(&b, "$var wire 1 %s %s $end\n", ids[l], l)
	}
	b.WriteString("$upscope $end\n$enddefinitions $end\n#0\n")
	value := func(line string, v byte) byte {
		if t.Invert[line] && (v == '0' || v == '1') {
			return v ^ 1
		}
		return v
	}
	if !t.Bare {
		b.WriteString("$dumpvars\n")
		for _, l := range t.Lines() {
			v := byte('0')
			if l == "taste_nc" {
				v = '1'
			}
			fmt.Fprintf(&b, "%c%s\n", value(l, v), ids[l])
		}
		b.WriteString("$end\n")
	}
	now := int64(0)
	stamp := func(at time.Duration) error {
		if int64(at)%s.div != 0 {
			return fmt.Errorf("%v cannot be said in units of %s", at, s.Text)
		}
		if n := int64(at) / s.div * s.mul; n != now {
			now = n
			b.WriteString("#" + strconv.FormatInt(n, 10) + "\n")
		}
		return nil
	}
	end := t.End
	for _, c := range changes {
		if t.Cut > 0 && c.At > t.Cut {
			break
		}
		if err := stamp(c.At); err != nil {
			return nil, err
		}
		if c.Note != "" {
			fmt.Fprintf(&b, "$comment %s $end\n", c.Note)
			continue
		}
		id, ok := ids[c.Line]
		if !ok {
			return nil, fmt.Errorf("line %q is not in this capture", c.Line)
		}
		fmt.Fprintf(&b, "%c%s\n", value(c.Line, c.Value), id)
	}
	switch {
	case t.Cut > 0:
		end = t.Cut
	case end == 0 && len(changes) > 0:
		end = changes[len(changes)-1].At + time.Minute
	}
	if err := stamp(end); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
