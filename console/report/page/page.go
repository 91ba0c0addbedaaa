// SPDX-License-Identifier: Apache-2.0

// Package page draws text and shapes on sheets of paper, and writes them as PDF
// or as pixels: the same glyphs at the same places in both. A drawing is a list
// of marks in millimetres from the top left corner; text is shaped and ordered
// when it is put there, so a character that the font lacks is an error before
// anything is written. The same drawing gives the same bytes. It must not know
// what it draws, read a clock or a file, or leave an empty box where a
// character should stand.
package page

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// A Color is red, green and blue from 0 to 1.
type Color [3]float64

// The colours of printed pages.
var (
	Ink    = Color{0x21 / 255.0, 0x1d / 255.0, 0x16 / 255.0}
	Soft   = Color{0x55 / 255.0, 0x4e / 255.0, 0x40 / 255.0}
	Rule   = Color{0xc4 / 255.0, 0xba / 255.0, 0xa4 / 255.0}
	Accent = Color{0x0b / 255.0, 0x55 / 255.0, 0x63 / 255.0}
	Pale   = Color{0xcf / 255.0, 0xe3 / 255.0, 0xe4 / 255.0}
	Stop   = Color{0xa8 / 255.0, 0x23 / 255.0, 0x1b / 255.0}
	White  = Color{1, 1, 1}
)

// MM is a point of 1/72 inch in millimetres.
const MM = 25.4 / 72

// A Style is how text looks.
type Style struct {
	Size  float64 // points
	Bold  bool
	Color Color
	Align Align
}

// An Align says which end of the text stands at the given place.
type Align int

// The alignments.
const (
	Left Align = iota
	Right
	Center
)

// A Point is a place in millimetres from the top left corner, downwards.
type Point struct{ X, Y float64 }

// A Line style is a pen; the zero value draws nothing.
type Pen struct {
	Width float64 // millimetres
	Color Color
	Dash  []float64 // millimetres on, off
}

// A MissingGlyph is the error of a text that holds a character which the fonts
// lack.
type MissingGlyph struct {
	Rune rune
	In   string // which part of the page, in words; never the text itself
}

func (e *MissingGlyph) Error() string {
	return fmt.Sprintf("%s holds a character that cannot be printed: %q (U+%04X); write it in Latin, Greek, Cyrillic, Hebrew or Arabic letters", e.In, e.Rune, e.Rune)
}

// A Drawing is one side of a sheet. Its methods put marks on it; the first
// error stays and is given when it is written.
type Drawing struct {
	W, H float64 // millimetres
	// In names the part that is drawn, for errors.
	In    string
	marks []mark
	err   error
}

// New gives an empty side of the given size in millimetres.
func New(w, h float64) *Drawing { return &Drawing{W: w, H: h, In: "the page"} }

// Err is the first error.
func (d *Drawing) Err() error { return d.err }

func (d *Drawing) fail(err error) {
	if d.err == nil && err != nil {
		d.err = err
	}
}

// A mark is a shape or a line of text.
type mark struct {
	// text
	run  []glyph
	bold bool
	size float64
	at   Point
	// shape
	paths [][]Point
	close bool
	fill  *Color
	pen   Pen
	round bool // each path is a circle: centre, and the radius as X of the second point

	color Color
}

// Text puts a line of text with its base line at y and gives its width.
func (d *Drawing) Text(x, y float64, text string, s Style) float64 {
	run, err := shape(text, s.Bold)
	if err != nil {
		d.fail(d.named(err))
		return 0
	}
	w := width(run, s.Size)
	switch s.Align {
	case Right:
		x -= w
	case Center:
		x -= w / 2
	}
	if len(run) > 0 {
		d.marks = append(d.marks, mark{run: run, bold: s.Bold, size: s.Size, at: Point{x, y}, color: s.Color})
	}
	return w
}

func (d *Drawing) named(err error) error {
	var m *MissingGlyph
	if errors.As(err, &m) {
		return &MissingGlyph{m.Rune, d.In}
	}
	return err
}

// Width is the width of a line of text in millimetres; 0 for one that cannot
// be printed, which Text then reports.
func Width(text string, s Style) float64 {
	run, err := shape(text, s.Bold)
	if err != nil {
		return 0
	}
	return width(run, s.Size)
}

// Wrap breaks text into lines no wider than the width in millimetres: at
// spaces, and within a word where the word alone is wider.
func Wrap(text string, s Style, most float64) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(Clean(text)) {
		try := word
		if line != "" {
			try = line + " " + word
		}
		if Width(try, s) <= most {
			line = try
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		for Width(word, s) > most {
			n := fits(word, s, most)
			out = append(out, word[:n])
			word = word[n:]
		}
		line = word
	}
	return append(out, line)
}

// fits is how many bytes of a word, one character at least, are no wider.
func fits(word string, s Style, most float64) int {
	_, last := utf8.DecodeRuneInString(word)
	for i := range word {
		if i > 0 && Width(word[:i], s) > most {
			break
		}
		if i > 0 {
			last = i
		}
	}
	return last
}

// Polyline draws straight lines from point to point.
func (d *Drawing) Polyline(points []Point, pen Pen) {
	if len(points) > 1 {
		d.marks = append(d.marks, mark{paths: [][]Point{points}, pen: pen})
	}
}

// Line draws a straight line.
func (d *Drawing) Line(x1, y1, x2, y2 float64, pen Pen) {
	d.Polyline([]Point{{x1, y1}, {x2, y2}}, pen)
}

// Polygon draws a closed shape; fill may be nil.
func (d *Drawing) Polygon(points []Point, fill *Color, pen Pen) {
	d.marks = append(d.marks, mark{paths: [][]Point{points}, close: true, fill: fill, pen: pen})
}

// Rect draws a rectangle by its top left corner; fill may be nil.
func (d *Drawing) Rect(x, y, w, h float64, fill *Color, pen Pen) {
	d.Polygon([]Point{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}, fill, pen)
}

// Rects fills many rectangles given as x, y, w, h, as one shape.
func (d *Drawing) Rects(all [][4]float64, fill Color) {
	m := mark{close: true, fill: &fill}
	for _, r := range all {
		x, y, w, h := r[0], r[1], r[2], r[3]
		m.paths = append(m.paths, []Point{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}})
	}
	d.marks = append(d.marks, m)
}

// Circle draws a circle; fill may be nil.
func (d *Drawing) Circle(x, y, r float64, fill *Color, pen Pen) {
	d.marks = append(d.marks, mark{paths: [][]Point{{{x, y}, {r, 0}}}, close: true, fill: fill, pen: pen, round: true})
}

// corners gives a circle as a polygon fine enough for print.
func corners(c Point, r float64) []Point {
	const n = 72
	out := make([]Point, n)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		out[i] = Point{c.X + r*cos, c.Y + r*sin}
	}
	return out
}

// Over gives the drawing with another one of its size under it.
func (d *Drawing) Over(under *Drawing) *Drawing {
	out := &Drawing{W: d.W, H: d.H, In: d.In, err: d.err}
	if out.err == nil {
		out.err = under.err
	}
	out.marks = append(append(out.marks, under.marks...), d.marks...)
	return out
}
