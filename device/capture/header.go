// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"

	"tallyhood/device"
)

// isHeaderWord tells the keywords that begin a section of the header. None of
// them can stand in the text of a $date or $version, so finding one there
// tells of a lost $end.
func isHeaderWord(tok []byte) bool {
	switch string(tok) {
	case "$comment", "$date", "$enddefinitions", "$scope", "$timescale", "$upscope", "$var", "$version":
		return true
	}
	return false
}

// header reads up to and including the $end of $enddefinitions.
func (r *Reader) header() error {
	s := r.s
	first := true
	for {
		tok, err := s.token()
		if err == io.EOF && first {
			return s.there().errorf("the file is empty")
		}
		if err == io.EOF {
			return s.there().errorf("the file ends inside its header: there is no $enddefinitions")
		}
		if err != nil {
			return err
		}
		if tok[0] != '$' {
			if first {
				return s.errorf("%s: a value change dump begins with a section such as $timescale", quote(tok))
			}
			return s.errorf("%s stands outside every section of the header ($enddefinitions is missing, or misplaced)", quote(tok))
		}
		first = false
		at := s.here()
		switch string(tok) {
		case "$enddefinitions":
			if err := r.close("$enddefinitions", at); err != nil {
				return err
			}
			return r.checkHeader(at)
		case "$timescale":
			err = r.timescale(at)
		case "$var":
			err = r.variable(at)
		case "$scope":
			r.depth++
			err = r.skip("$scope", at, true)
		case "$upscope":
			if r.depth == 0 {
				return at.errorf("$upscope without a $scope before it")
			}
			r.depth--
			err = r.close("$upscope", at)
		case "$version":
			err = r.version(at)
		case "$comment":
			err = r.skip("$comment", at, false)
		case "$end":
			return at.errorf("$end without a section before it")
		case "$dumpvars", "$dumpall", "$dumpon", "$dumpoff":
			return at.errorf("%s stands before $enddefinitions", tok)
		case "$date":
			err = r.skip("$date", at, true)
		default:
			// Sections that other programs add.
			err = r.skip(quote(tok), at, true)
		}
		if err != nil {
			return err
		}
	}
}

// checkHeader judges the header as a whole; at is the place of
// $enddefinitions.
func (r *Reader) checkHeader(at place) error {
	if r.mul == 0 {
		return at.errorf("$timescale is missing")
	}
	if what := checkLines(r.has); what != "" {
		if len(r.seen) > 0 {
			what += fmt.Sprintf(" (names match exactly; the capture has %s)", strings.Join(r.seen, ", "))
		}
		return at.errorf("%s", what)
	}
	return r.whole()
}

// timescale reads what follows $timescale: 1, 10 or 100 and a unit, in one
// word or two.
func (r *Reader) timescale(at place) error {
	if r.mul != 0 {
		return at.errorf("a second $timescale")
	}
	var text []byte
	where := at
	for words := 0; ; words++ {
		tok, err := r.inside("$timescale", at)
		if err != nil {
			return err
		}
		if string(tok) == "$end" {
			break
		}
		if words == 0 {
			where = r.s.here()
		}
		// Two words of sense are far shorter; the rest only shows in the message.
		if words < 4 {
			text = append(text, tok[:min(len(tok), 64)]...)
		}
	}
	digits := len(text) - len(bytes.TrimLeft(text, "0123456789"))
	number := 0
	switch string(text[:digits]) {
	case "1":
		number = 1
	case "10":
		number = 10
	case "100":
		number = 100
	}
	unit := map[string]int{"s": 9, "ms": 6, "us": 3, "ns": 0, "ps": -3, "fs": -6}
	power, ok := unit[string(text[digits:])]
	if number == 0 || !ok {
		return where.errorf("$timescale %s is not 1, 10 or 100 and one of s, ms, us, ns, ps, fs", quote(text))
	}
	r.mul, r.div = uint64(number), 1
	for ; power > 0; power-- {
		r.mul *= 10
	}
	for ; power < 0; power++ {
		if r.mul > 1 {
			r.mul /= 10
		} else {
			r.div *= 10
		}
	}
	return nil
}

// variable reads what follows $var: type, size, identifier, reference.
func (r *Reader) variable(at place) error {
	s := r.s
	parts := [...]string{"type", "size", "identifier", "name"}
	var kind, id, name string
	var size uint64
	var sizeAt, idAt, nameAt place
	for _, part := range parts {
		tok, err := r.within("$var", at)
		if err != nil {
			return err
		}
		if string(tok) == "$end" {
			return s.errorf("$var without its %s", part)
		}
		switch part {
		case "type":
			kind = shorten(tok)
		case "size":
			sizeAt = s.here()
			if size, err = strconv.ParseUint(string(tok), 10, 32); err != nil {
				return sizeAt.errorf("the size %s of a variable is not a number of bits", quote(tok))
			}
		case "identifier":
			idAt = s.here()
			for _, c := range tok {
				if c > '~' {
					return idAt.errorf("the identifier %s has a byte that is not printable ASCII", quote(tok))
				}
			}
			id = string(tok)
		case "name":
			nameAt = s.here()
			name = string(tok)
		}
	}
	line, name, err := r.reference(name, at)
	if err != nil {
		return err
	}
	if size == 1 && line < 0 && len(r.seen) < 8 {
		r.seen = append(r.seen, quote(name))
	}
	if line >= 0 {
		switch {
		case kind == "real" || kind == "realtime" || kind == "string" || kind == "event" || kind == "port":
			return nameAt.errorf("%s is declared with the type %s: a contact is one bit", names[line], kind)
		case size != 1:
			return sizeAt.errorf("%s is declared %d bits wide: a contact is one bit", names[line], size)
		}
	}
	return r.declare(id, line, idAt)
}

// reference reads the rest of a $var, whose first word is name, and tells
// which line it names, or -1, and its text. The name counts as it stands,
// whatever scope it is in; a leading backslash (escaped identifier) and the
// select of one bit are no part of it.
func (r *Reader) reference(name string, at place) (line int, text string, err error) {
	nameAt := r.s.here()
	var rest, spaced string
	for {
		tok, err := r.inside("$var", at)
		if err != nil {
			return -1, "", err
		}
		if string(tok) == "$end" {
			break
		}
		if len(rest) < 64 {
			rest += shorten(tok)
			spaced += " " + shorten(tok)
		}
	}
	text = shorten([]byte(name)) + spaced
	name = strings.TrimPrefix(name, `\`)
	if i := strings.IndexByte(name, '['); i >= 0 && index(name[:i]) >= 0 {
		name, rest = name[:i], name[i:]+rest
	}
	line = index(name)
	if line < 0 || rest == "" {
		return line, text, nil
	}
	body, left := strings.CutPrefix(rest, "[")
	body, right := strings.CutSuffix(body, "]")
	if !left || !right || strings.ContainsAny(body, "[]") {
		return -1, text, nil // a name of several words, which is not ours
	}
	high, low, isRange := strings.Cut(body, ":")
	h, errHigh := strconv.ParseUint(high, 10, 32)
	l, errLow := h, error(nil)
	if isRange {
		l, errLow = strconv.ParseUint(low, 10, 32)
	}
	if errHigh != nil || errLow != nil || h != l {
		return -1, "", nameAt.errorf("%s does not select one bit", quote(text))
	}
	return line, text, nil
}

// declare binds an identifier to a line, or to other when line < 0.
func (r *Reader) declare(id string, line int, at place) error {
	old := r.lookup([]byte(id))
	if line < 0 {
		if old == undeclared {
			return r.bind(id, other, at)
		}
		return nil
	}
	mine := contact + uint8(line)
	switch {
	case old == mine:
		return nil
	case r.have[line]:
		return at.errorf("%s is declared twice, with different identifiers", names[line])
	case old >= contact:
		return at.errorf("%s and %s have the same identifier %s: two contacts cannot be one wire",
			names[old-contact], names[line], quote(id))
	}
	r.have[line] = true
	return r.bind(id, mine, at)
}

// bind stores what an identifier stands for.
func (r *Reader) bind(id string, kind uint8, at place) error {
	if r.lookup([]byte(id)) == undeclared {
		r.count++
		r.idBytes += len(id)
	}
	if r.count > MaxIdentifiers || r.idBytes > maxIDBytes {
		return at.errorf("more than %d variables are declared, or their identifiers are too long to hold", MaxIdentifiers)
	}
	switch len(id) {
	case 1:
		r.one[id[0]] = kind
	case 2:
		r.two[uint16(id[0])<<8|uint16(id[1])] = kind
	default:
		r.long[id] = kind
	}
	return nil
}

// version reads a $version and notes whether a Writer made the capture.
func (r *Reader) version(at place) error {
	tok, err := r.inside("$version", at)
	if err != nil || string(tok) == "$end" {
		return err
	}
	r.own = string(tok) == noteMark
	return r.skip("$version", at, true)
}

// skip reads up to the $end of a section. With strict the keyword of another
// section of the header is an error.
func (r *Reader) skip(section string, at place, strict bool) error {
	for {
		tok, err := r.within(section, at)
		if err != nil || string(tok) == "$end" {
			return err
		}
		if strict && tok[0] == '$' && isHeaderWord(tok) {
			return r.s.errorf("%s stands inside %s, which begins at line %d and lacks its $end", tok, section, at.line)
		}
	}
}

// close reads the $end of a section that holds nothing.
func (r *Reader) close(section string, at place) error {
	tok, err := r.within(section, at)
	if err == nil && string(tok) != "$end" {
		err = r.s.errorf("%s stands where the $end of %s is due", quote(tok), section)
	}
	return err
}

// inside is the next word of a section whose words are read; within is that of
// one whose words may be anything.
func (r *Reader) inside(section string, at place) ([]byte, error) {
	tok, err := r.within(section, at)
	if err == nil && tok[0] == '$' && isHeaderWord(tok) {
		return nil, r.s.errorf("%s stands inside %s, which begins at line %d and lacks its $end", tok, section, at.line)
	}
	return tok, err
}

func (r *Reader) within(section string, at place) ([]byte, error) {
	tok, err := r.s.token()
	if err == io.EOF {
		return nil, r.s.there().errorf("the file ends inside %s, which begins at line %d", section, at.line)
	}
	return tok, err
}

// shorten copies a word for a message or a comparison with short words.
func shorten(tok []byte) string {
	return string(tok[:min(len(tok), 40)])
}

// has reports whether a line is declared.
func (r *Reader) has(l device.Line) bool {
	i := index(string(l))
	return i >= 0 && r.have[i]
}
