// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"tallyhood/device"
	contacts "tallyhood/device/contact"
)

// What an identifier can stand for. A line of ours is contact plus its place
// in names.
const (
	undeclared uint8 = iota
	other
	contact
)

// maxIDBytes bounds the memory that long identifiers take together.
const maxIDBytes = 4 << 20

// Options say how to read a capture.
type Options struct {
	// Invert names the lines whose contact is closed at level 0. It concerns
	// 0 and 1 only: a line whose level is unknown is open either way.
	Invert []device.Line
}

// A Reader delivers the edges and notes of one capture. It is for one
// goroutine.
type Reader struct {
	s        *scanner
	mul, div uint64 // nanoseconds = ticks * mul / div; one of them is 1
	depth    int    // scopes open in the header
	own      bool   // made by a Writer, so that every line has its end
	seen     []string

	one     [256]uint8
	two     [1 << 16]uint8
	long    map[string]uint8
	count   int
	idBytes int

	have   [lineCount]bool
	invert [lineCount]bool
	closed [lineCount]bool

	ticks   uint64
	now     time.Duration
	block   string // the $dump section that is open
	blockAt place
	note    []byte
	gap     bool // to be given next, dated gapAt
	off     bool // the recording is, since offAt, and a gap is given when it is on again
	offAt   time.Duration
	gapAt   time.Duration
	after   Item // the change that showed that it is on again, to be given after the gap
	late    bool // there is one
	err     error
}

// Open reads the header of a capture. The error is an *Error for bad input,
// that of r when it cannot be read, and another one when Invert names a line
// that the capture does not have.
func Open(r io.Reader, o Options) (*Reader, error) {
	c := &Reader{s: newScanner(r), long: make(map[string]uint8)}
	if err := c.header(); err != nil {
		return nil, wrap(err)
	}
	for _, l := range o.Invert {
		if !c.has(l) {
			return nil, fmt.Errorf("capture: cannot invert %s: the capture has %v", quote(string(l)), c.Lines())
		}
		c.invert[index(string(l))] = true
	}
	return c, nil
}

// wrap says what was attempted when the source failed.
func wrap(err error) error {
	if _, bad := err.(*Error); bad || err == io.EOF {
		return err
	}
	return fmt.Errorf("capture: read: %w", err)
}

// Lines are the contacts that the capture declares, in the order of
// device.Lines.
func (r *Reader) Lines() []device.Line {
	var l []device.Line
	for i, n := range names {
		if r.have[i] {
			l = append(l, n)
		}
	}
	return l
}

// End is the last time stamp read so far; after io.EOF, the end of the capture.
func (r *Reader) End() time.Duration { return r.now }

// Next is the next change of a contact or the next note, in the order of the
// file. All contacts are open before the capture begins; a value that leaves a
// contact as it is gives no item, two changes at one instant give two. Changes
// before the first time stamp are at 0. The error is io.EOF at the end of a
// whole capture, an *Error for bad input, else that of the source; it stays.
func (r *Reader) Next() (Item, error) {
	if r.err != nil {
		return Item{}, r.err
	}
	it, err := r.next()
	if err != nil {
		r.err = wrap(err)
	}
	return it, r.err
}

func (r *Reader) next() (Item, error) {
	s := r.s
	for {
		if r.gap {
			r.gap = false
			return Item{At: r.gapAt, Gap: true}, nil
		}
		if r.late {
			r.late = false
			return r.after, nil
		}
		tok, err := s.token()
		if err == io.EOF && r.block != "" {
			return Item{}, s.there().errorf("the file ends inside %s, which begins at line %d", r.block, r.blockAt.line)
		}
		if err == io.EOF && r.off {
			r.on()
			continue
		}
		if err != nil {
			return Item{}, err
		}
		if s.cut {
			if err := r.whole(); err != nil {
				return Item{}, err
			}
		}
		value := tok[0]
		id := tok[1:]
		switch value {
		case '#':
			if err := r.stamp(id); err != nil {
				return Item{}, err
			}
			continue
		case '0', '1', 'x', 'X', 'z', 'Z':
		case 'b', 'B', 'r', 'R', 's', 'S':
			if value, id, err = r.wide(tok); err != nil {
				return Item{}, err
			}
		case 'u', 'U', 'w', 'W', 'l', 'L', 'h', 'H', '-':
			// Levels of nine-valued simulators: only signals that are not ours
			// may have them.
		case '$':
			note, err := r.section(tok)
			if err != nil {
				return Item{}, err
			}
			if note != "" {
				return Item{At: r.now, Note: note}, nil
			}
			continue
		case 'p':
			return Item{}, s.errorf("%s: changes of ports (extended dumps) are not read", quote(tok))
		default:
			return Item{}, r.garbage(tok)
		}
		kind := r.lookup(id)
		if s.cut && len(id) > 0 && r.isPrefix(id) {
			return Item{}, s.errorf("the file ends in mid-line: %s can be the beginning of another identifier", quote(id))
		}
		switch kind {
		case other:
			continue
		case undeclared:
			if len(id) == 0 {
				return Item{}, s.errorf("value %s without an identifier", quote(tok))
			}
			if strings.IndexByte("uUwWlLhH-", value) >= 0 {
				return Item{}, r.garbage(tok)
			}
			return Item{}, s.errorf("the identifier %s is not declared", quote(id))
		}
		line := kind - contact
		closed := false
		switch value {
		case '0':
			closed = r.invert[line]
		case '1':
			closed = !r.invert[line]
		case 'x', 'X', 'z', 'Z':
		default:
			return Item{}, s.errorf("%s has the value %s: a contact has 0, 1, x or z", names[line], quote(tok[:1]))
		}
		if closed == r.closed[line] {
			continue
		}
		r.closed[line] = closed
		it := Item{At: r.now, Edge: device.Edge{At: r.now, Line: names[line], Closed: closed}}
		if r.off && r.block == "" { // a recording that goes on without $dumpon
			r.on()
			r.after, r.late = it, true
			continue
		}
		return it, nil
	}
}

func (r *Reader) garbage(tok []byte) error {
	return r.s.errorf("%s is neither a time stamp, a value change nor a section", quote(tok))
}

// lookup tells what an identifier stands for.
func (r *Reader) lookup(id []byte) uint8 {
	switch len(id) {
	case 0:
		return undeclared
	case 1:
		return r.one[id[0]]
	case 2:
		return r.two[uint16(id[0])<<8|uint16(id[1])]
	}
	return r.long[string(id)]
}

// isPrefix reports whether a longer identifier begins with id.
func (r *Reader) isPrefix(id []byte) bool {
	if len(id) == 1 {
		row := int(id[0]) << 8
		if slices.Max(r.two[row:row+256]) != undeclared {
			return true
		}
	}
	for k := range r.long {
		if len(k) > len(id) && strings.HasPrefix(k, string(id)) {
			return true
		}
	}
	return false
}

// whole refuses the last word of a file made by a Writer when its line end is
// lost: it can be a shorter number or identifier than was meant. Files of other
// programs may lack their last line end.
func (r *Reader) whole() error {
	if r.own && r.s.cut {
		return r.s.there().errorf("the file ends in mid-line")
	}
	return nil
}

// stamp takes the number of a time stamp.
func (r *Reader) stamp(number []byte) error {
	if r.block != "" {
		return r.s.errorf("a time stamp inside %s, which begins at line %d and lacks its $end", r.block, r.blockAt.line)
	}
	if len(number) == 0 {
		return r.s.errorf("# without a number")
	}
	var t uint64
	for _, c := range number {
		d := uint64(c - '0')
		if d > 9 {
			if number[0] == '-' {
				return r.s.errorf("the time stamp %s is negative", quote(number))
			}
			return r.s.errorf("the time stamp %s is not a whole number", quote(number))
		}
		if t > (math.MaxUint64-d)/10 {
			return r.s.errorf("the time stamp %s is too large", quote(number))
		}
		t = t*10 + d
	}
	if t < r.ticks {
		return r.s.errorf("time goes back from %d to %d", r.ticks, t)
	}
	ns := t
	if r.div > 1 {
		ns = t / r.div
	}
	if ns > math.MaxInt64/r.mul {
		return r.s.errorf("the time stamp %s lies beyond 2^63 nanoseconds", quote(number))
	}
	r.ticks, r.now = t, time.Duration(ns*r.mul)
	return nil
}

// wide reads a change of a vector, a real or a string, which has its
// identifier in a word of its own. A vector of one digit counts as a scalar.
func (r *Reader) wide(tok []byte) (value byte, id []byte, err error) {
	s := r.s
	at, value, digits := s.here(), tok[0], len(tok)-1
	if digits == 0 && value != 's' && value != 'S' {
		return 0, nil, s.errorf("%s without a value", quote(tok))
	}
	first := byte(0)
	if digits > 0 {
		first = tok[1]
	}
	id, err = s.token()
	if err == io.EOF {
		return 0, nil, s.there().errorf("the file ends inside a value change: its identifier is missing")
	}
	if err != nil {
		return 0, nil, err
	}
	if s.cut {
		if err := r.whole(); err != nil {
			return 0, nil, err
		}
	}
	switch kind := r.lookup(id); {
	case kind == undeclared && string(id) == "$end":
		return 0, nil, s.errorf("$end stands where the identifier of a value change is due")
	case kind < contact:
		return value, id, nil
	case value != 'b' && value != 'B':
		return 0, nil, at.errorf("%s has a real or a string as its value: a contact has 0, 1, x or z", names[kind-contact])
	case digits != 1:
		return 0, nil, at.errorf("%s has a value of %d bits: a contact is one bit", names[kind-contact], digits)
	case strings.IndexByte("01xXzZ", first) < 0:
		return 0, nil, at.errorf("%s has the value %q: a contact has 0, 1, x or z", names[kind-contact], first)
	}
	return first, id, nil
}

// section takes a word that begins with $ in the body. The text is that of a
// note, or empty.
func (r *Reader) section(tok []byte) (note string, err error) {
	s := r.s
	at := s.here()
	switch string(tok) {
	case "$comment":
		return r.comment(at)
	case "$end":
		switch r.block {
		case "":
			return "", at.errorf("$end without a section before it")
		case "$dumpoff":
			no, nc := index(string(device.TasteNO)), index(string(device.TasteNC))
			switch {
			case !r.have[no] || !r.have[nc] || r.closed[no] || r.closed[nc]:
				r.gap, r.gapAt, r.off = true, r.now, false
			case !r.off:
				r.off, r.offAt = true, r.now
			}
		}
		r.block = ""
		return "", nil
	case "$dumpvars", "$dumpall", "$dumpon", "$dumpoff":
		if r.block != "" {
			return "", at.errorf("%s stands inside %s, which begins at line %d and lacks its $end", tok, r.block, r.blockAt.line)
		}
		r.block, r.blockAt = string(tok), at
		if r.block == "$dumpon" && r.off {
			r.on()
		}
		return "", nil
	}
	if isHeaderWord(tok) {
		return "", at.errorf("%s stands after $enddefinitions", tok)
	}
	return "", at.errorf("%s is not a section that a dump of four values has after its header", quote(tok))
}

// on gives the gap of a recording that was off and is on again: dated by its
// begin, so that nothing that waits for the open pair goes past it. A pair that
// was open for longer than CableGrace is a cable that is out, which comes first.
func (r *Reader) on() {
	r.off, r.gap, r.gapAt = false, true, r.offAt
	if r.now-r.offAt > contacts.CableGrace {
		r.gapAt = r.now
	}
}

// comment reads a comment of the body. One whose first word is noteMark is a
// note; a note that cannot be taken is an error, for a command lost in silence
// would give another record.
func (r *Reader) comment(at place) (note string, err error) {
	s := r.s
	tok, err := r.within("$comment", at)
	switch {
	case err != nil:
		return "", err
	case string(tok) == noteMark:
		r.note, err = s.until(r.note[:0], "$end", MaxNote+64)
		if err == io.EOF {
			return "", s.there().errorf("the file ends inside $comment, which begins at line %d", at.line)
		}
		if err != nil {
			return "", err
		}
		note = strings.TrimSpace(string(r.note))
		// The word alone is another program's comment: no Writer makes it.
		if what := checkText(note); note != "" && what != "" {
			return "", at.errorf("the note of this comment %s", what)
		}
	case string(tok) != "$end":
		if err := r.skip("$comment", at, false); err != nil {
			return "", err
		}
	}
	return note, r.whole()
}
