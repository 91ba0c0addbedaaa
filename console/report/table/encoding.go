// SPDX-License-Identifier: Apache-2.0

package table

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	enc16 "golang.org/x/text/encoding/unicode"
)

// The names of the encodings.
const (
	UTF8    = "utf-8"
	UTF16LE = "utf-16le"
	UTF16BE = "utf-16be"
)

// A page is a code page with the letters beyond ASCII that its users write most.
type page struct {
	name   string
	decode encoding.Encoding
	usual  string
}

const (
	central = "ąćęłńóśźżáčďéěíňřšťúůýžľĺŕôőűöüäßăâîđşţ"
	western = "äöüßéèêëàâáãåæøçñíìîïóòôõúùûýœ"
)

// pages in the order in which a tie is broken.
var pages = []page{
	{"windows-1252", charmap.Windows1252, western},
	{"windows-1250", charmap.Windows1250, central},
	{"iso-8859-2", charmap.ISO8859_2, central},
	{"windows-1251", charmap.Windows1251, "абвгдежзийклмнопрстуфхцчшщъыьэюяёіїєґўћђјљњџ"},
	{"windows-1253", charmap.Windows1253, "αβγδεζηθικλμνξοπρσςτυφχψωάέήίόύώϊϋΐΰ"},
}

// Encodings lists the names that Options takes.
func Encodings() []string {
	out := []string{UTF8, UTF16LE, UTF16BE}
	for _, p := range pages {
		out = append(out, p.name)
	}
	return out
}

func decoder(name string) (encoding.Encoding, error) {
	switch name {
	case UTF8:
		return enc16.UTF8, nil
	case UTF16LE:
		return enc16.UTF16(enc16.LittleEndian, enc16.IgnoreBOM), nil
	case UTF16BE:
		return enc16.UTF16(enc16.BigEndian, enc16.IgnoreBOM), nil
	}
	for _, p := range pages {
		if p.name == name {
			return p.decode, nil
		}
	}
	return nil, fmt.Errorf("the encoding %q is not known; one of %s", name, strings.Join(Encodings(), ", "))
}

// decode gives a file as text and says in t how it was read.
func decode(raw []byte, want string, t *Table) (string, error) {
	if want == "" {
		want, t.Sure = outright(raw)
	} else {
		t.Sure = 1
	}
	if want == "" {
		want = guess(raw, t)
	}
	e, err := decoder(want)
	if err != nil {
		return "", err
	}
	t.Encoding = want
	if want == UTF8 && !utf8.Valid(bytes.TrimPrefix(raw, bomUTF8)) {
		return "", fmt.Errorf("the file is not %s", UTF8)
	}
	out, err := e.NewDecoder().Bytes(raw)
	if err != nil {
		return "", fmt.Errorf("read as %s: %w", want, err)
	}
	text := strings.TrimPrefix(string(out), "\uFEFF")
	if i := strings.IndexByte(text, 0); i >= 0 {
		return "", fmt.Errorf("line %d holds a zero byte: this is no text, or not in %s", 1+strings.Count(text[:i], "\n"), want)
	}
	return text, nil
}

var bomUTF8 = []byte("\xEF\xBB\xBF")

// outright gives an encoding that the bytes leave no doubt about.
func outright(raw []byte) (string, float64) {
	switch {
	case bytes.HasPrefix(raw, bomUTF8) && utf8.Valid(raw):
		return UTF8, 1
	case bytes.HasPrefix(raw, []byte("\xFF\xFE")):
		return UTF16LE, 1
	case bytes.HasPrefix(raw, []byte("\xFE\xFF")):
		return UTF16BE, 1
	}
	// Text of European lists in UTF-16 has a zero in nearly every other byte.
	head := raw[:min(len(raw), 4096)&^1]
	var zero [2]int
	for i, c := range head {
		if c == 0 {
			zero[i%2]++
		}
	}
	if half := len(head) / 2; half > 0 {
		switch {
		case zero[1] > half*6/10 && zero[0] == 0:
			return UTF16LE, 0.95
		case zero[0] > half*6/10 && zero[1] == 0:
			return UTF16BE, 0.95
		}
	}
	if utf8.Valid(raw) {
		return UTF8, 1
	}
	return "", 0
}

// guess weighs the code pages by the letters that they would make of the bytes.
func guess(raw []byte, t *Table) string {
	sample := high(raw)
	type weighed struct {
		page  page
		score float64
		text  string
	}
	var all []weighed
	n := 0
	for _, p := range pages {
		out, err := p.decode.NewDecoder().Bytes(sample)
		if err != nil {
			continue
		}
		text := string(out)
		s, k := score(text, p.usual)
		n = max(n, k)
		all = append(all, weighed{p, s, text})
	}
	slices.SortStableFunc(all, func(a, b weighed) int {
		switch {
		case a.score > b.score:
			return -1
		case a.score < b.score:
			return 1
		}
		return 0
	})
	best := all[0]
	t.Sure = 1
	first := true
	for _, w := range all[1:] {
		if w.text == best.text {
			continue // it reads the same, so nothing hangs on it
		}
		if first {
			t.Sure = min(1, 0.5+0.5*(best.score-w.score)/float64(max(1, n)))
			first = false
		}
		if len(t.Others) < 3 {
			t.Others = append(t.Others, Candidate{w.page.name, piece(w.text)})
		}
	}
	return best.page.name
}

// high gives the lines that hold bytes beyond ASCII, up to 64 kB of them.
func high(raw []byte) []byte {
	var out []byte
	for line := range bytes.Lines(raw) {
		if bytes.ContainsFunc(line, func(r rune) bool { return r >= 0x80 }) {
			out = append(out, line[:min(len(line), 4096)]...)
		}
		if len(out) > 64<<10 {
			break
		}
	}
	return out
}

// score is how much a text reads like names and words, and how many of its
// characters tell.
func score(text, usual string) (sum float64, n int) {
	rs := []rune(text)
	letter := func(i int) bool { return i >= 0 && i < len(rs) && unicode.IsLetter(rs[i]) }
	for i, r := range rs {
		if r < 0x80 {
			continue
		}
		n++
		switch {
		case r == utf8.RuneError || unicode.IsControl(r):
			sum -= 5
		case unicode.IsLetter(r):
			if strings.ContainsRune(usual, unicode.ToLower(r)) {
				sum++
			}
			// A capital within small letters is no word.
			if unicode.IsUpper(r) && i > 0 && unicode.IsLower(rs[i-1]) {
				sum -= 1.5
			}
			// Letters of two alphabets in one word are none either.
			if r >= 0x370 && (letter(i-1) && rs[i-1] < 0x80 || letter(i+1) && rs[i+1] < 0x80) {
				sum -= 1.5
			}
		case letter(i-1) || letter(i+1):
			sum--
		}
	}
	return sum, n
}

// piece is a short piece of text around its first character beyond ASCII.
func piece(text string) string {
	i := strings.IndexFunc(text, func(r rune) bool { return r >= 0x80 })
	if i < 0 {
		return ""
	}
	from := strings.LastIndexAny(text[:i], "\n;,\t|") + 1
	rs := []rune(text[from:])
	if k := slices.IndexFunc(rs, func(r rune) bool { return strings.ContainsRune("\r\n;\t|", r) }); k >= 0 {
		rs = rs[:k]
	}
	return string(rs[:min(len(rs), 40)])
}
