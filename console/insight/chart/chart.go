// SPDX-License-Identifier: Apache-2.0

// Package chart draws the figures of package insight as SVG and sets the same
// figures as a table to print beneath. It is pure: the same figures give the
// same bytes. Colours are classes with a value for paper, so that a page can
// turn them; every word comes from a catalogue. It must not compute a figure of
// its own, show a name of a person or tester, or say by colour alone.
package chart

import (
	"html"
	"math"
	"strconv"
	"strings"
	"time"

	"tallyhood/console/insight"
)

// CSS turns the charts' colours with the page's: it stands in its style sheet.
const CSS = `.chart{display:block;width:100%;height:auto}
.chart text{font-family:"Inter","DejaVu Sans",sans-serif;font-variant-numeric:tabular-nums}
.chart .f-ink{fill:var(--ink)}.chart .f-soft{fill:var(--soft)}.chart .f-line{fill:var(--line)}
.chart .f-accent{fill:var(--accent)}.chart .f-tint{fill:var(--accent-soft)}.chart .f-sheet{fill:var(--sheet)}
.chart .s-ink{stroke:var(--ink)}.chart .s-soft{stroke:var(--soft)}.chart .s-line{stroke:var(--line)}
.chart .s-accent{stroke:var(--accent)}.chart text.halo{stroke:var(--sheet)}
`

// The colours by class, and their values on paper.
var paper = map[string]string{
	"ink": "#211d16", "soft": "#6b6353", "line": "#d9d0bd", "accent": "#0b5563", "tint": "#cfe3e4", "sheet": "#fffdf7",
}

// A Chart is a drawing with what it says in words and in numbers.
type Chart struct {
	Title, Say string // heading, and the sentence beneath
	SVG        string // empty when there is nothing to draw
	Table      Table
	Notes      []string // what the reader has to know, sources of method among it
}

// A Table has a row of cells under its columns.
type Table struct {
	Columns []Column
	Rows    [][]Cell
}

// A Column has a name and a unit, which may be empty.
type Column struct{ Name, Unit string }

// A Cell is a text; when Number, Value is the figure itself in the column's
// unit. An unknown figure has a text alone.
type Cell struct {
	Text   string
	Value  float64
	Number bool
}

// A Drawer makes charts in one language for one width.
type Drawer struct {
	Words Words
	Width float64 // of the drawing; 0 for 720, under 560 labels stand above their rows
}

func (d Drawer) width() float64 {
	if d.Width <= 0 {
		return 720
	}
	return d.Width
}

func (d Drawer) narrow() bool { return d.width() < 560 }

// say is a sentence of the catalogue.
func (d Drawer) say(key string, args ...string) string {
	if d.Words == nil {
		return English(key, args...)
	}
	return d.Words(key, args...)
}

// num is a number with the language's decimal mark.
func (d Drawer) num(x float64, digits int) string {
	return strings.Replace(strconv.FormatFloat(x, 'f', digits, 64), ".", d.say("decimal"), 1)
}

func (d Drawer) percent(share float64) string { return d.say("percent", d.num(share*100, 0)) }

func count(n int) string { return strconv.Itoa(n) }

func (d Drawer) kOfN(e insight.Estimate) string { return d.say("of", count(e.K), count(e.N)) }

func text(s string) Cell { return Cell{Text: s} }

func whole(n int) Cell { return Cell{Text: count(n), Value: float64(n), Number: true} }

func (d Drawer) number(x float64, digits int) Cell {
	return Cell{Text: d.num(x, digits), Value: x, Number: true}
}

// share cells: percent, and the two ends of its interval; words without tests.
func (d Drawer) share(e insight.Estimate) []Cell {
	if !e.Known {
		return []Cell{text(d.say("unknown")), text(""), text("")}
	}
	return []Cell{d.number(100*e.Share, 1), d.number(100*e.Lo, 1), d.number(100*e.Hi, 1)}
}

func (d Drawer) shareColumns(key string) []Column {
	return []Column{
		{d.say(key), "%"}, {d.say("col.low"), "%"}, {d.say("col.high"), "%"},
	}
}

// fewCell says so when there are too few.
func (d Drawer) fewCell(few bool) Cell {
	if few {
		return text(d.say("few"))
	}
	return text("")
}

// clock is a time as minutes and seconds.
func clock(t time.Duration) string {
	s := int(t.Round(time.Second) / time.Second)
	sec := strconv.Itoa(s % 60)
	if len(sec) == 1 {
		sec = "0" + sec
	}
	return strconv.Itoa(s/60) + ":" + sec
}

// a pen writes one SVG.
type pen struct {
	b    strings.Builder
	id   string
	w, h float64
	d    Drawer
}

func px(x float64) string {
	x = math.Round(x*10) / 10
	if x == 0 {
		x = 0 // no minus before nothing
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

func (p *pen) raw(parts ...string) {
	for _, s := range parts {
		p.b.WriteString(s)
	}
	p.b.WriteByte('\n')
}

func fill(class string) string {
	if class == "" {
		return ` fill="none"`
	}
	return ` class="f-` + class + `" fill="` + paper[class] + `"`
}

// paint has a fill and a stroke; either may be empty.
func paint(in, line string, width float64) string {
	var class []string
	out := ` fill="none"`
	if in != "" {
		class = append(class, "f-"+in)
		out = ` fill="` + paper[in] + `"`
	}
	if line != "" {
		class = append(class, "s-"+line)
		out += ` stroke="` + paper[line] + `" stroke-width="` + px(width) + `"`
	}
	return ` class="` + strings.Join(class, " ") + `"` + out
}

const dashed = ` stroke-dasharray="5 4"`

func (p *pen) line(x1, y1, x2, y2 float64, class string, width float64, more string) {
	p.raw(`<line x1="`, px(x1), `" y1="`, px(y1), `" x2="`, px(x2), `" y2="`, px(y2), `"`, paint("", class, width), more, `/>`)
}

func (p *pen) rect(x, y, w, h float64, in, line string, more string) {
	p.raw(`<rect x="`, px(x), `" y="`, px(y), `" width="`, px(max(0, w)), `" height="`, px(max(0, h)), `"`, paint(in, line, 1.6), more, `/>`)
}

func (p *pen) dot(x, y, r float64, in, line string) {
	p.raw(`<circle cx="`, px(x), `" cy="`, px(y), `" r="`, px(r), `"`, paint(in, line, 2), `/>`)
}

func (p *pen) path(points []float64, class string, width float64, more string) {
	if len(points) < 4 {
		return
	}
	p.raw(`<polyline points="`, joined(points), `"`, paint("", class, width), ` stroke-linejoin="round"`, more, `/>`)
}

func joined(points []float64) string {
	var b strings.Builder
	for i, v := range points {
		if i > 0 {
			b.WriteByte(" ,"[i%2])
		}
		b.WriteString(px(v))
	}
	return b.String()
}

// Anchors of text.
const (
	left   = "start"
	middle = "middle"
	right  = "end"
)

func (p *pen) text(x, y, size float64, anchor, class, s string) {
	p.label(x, y, size, anchor, class, "", s)
}

func (p *pen) bold(x, y, size float64, anchor, class, s string) {
	p.label(x, y, size, anchor, class, ` font-weight="600"`, s)
}

// halo keeps a text readable where lines run behind it.
func halo(weight string) string {
	return ` font-weight="` + weight + `" stroke="` + paper["sheet"] + `" stroke-width="4" paint-order="stroke" stroke-linejoin="round"`
}

func (p *pen) label(x, y, size float64, anchor, class, more, s string) {
	if s == "" {
		return
	}
	in := fill(class)
	if strings.Contains(more, "paint-order") {
		in = strings.Replace(in, `class="`, `class="halo `, 1)
	}
	p.raw(`<text x="`, px(x), `" y="`, px(y), `" font-size="`, px(size), `" text-anchor="`, anchor, `"`, in, more,
		` font-family="Inter, 'DejaVu Sans', sans-serif">`, html.EscapeString(s), `</text>`)
}

// group has a hint for pointer and reader.
func (p *pen) group(hint string) { p.raw(`<g><title>`, html.EscapeString(hint), `</title>`) }
func (p *pen) end()              { p.raw(`</g>`) }

// svg closes the drawing with its title and description.
func (p *pen) svg(title, desc string) string {
	return `<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" viewBox="0 0 ` + px(p.w) + ` ` + px(p.h) +
		`" width="` + px(p.w) + `" height="` + px(p.h) + `" aria-labelledby="` + p.id + `-t ` + p.id + `-d">` + "\n" +
		`<title id="` + p.id + `-t">` + html.EscapeString(title) + `</title>` +
		`<desc id="` + p.id + `-d">` + html.EscapeString(desc) + `</desc>` + "\n" +
		p.b.String() + "</svg>\n"
}

// wide is a cautious guess at the width of a text.
func wide(s string, size float64) float64 {
	var em float64
	for _, r := range s {
		switch {
		case strings.ContainsRune(" .,:;'|!ijl()[]", r):
			em += 0.36
		case r >= 'A' && r <= 'Z' || r == 'm' || r == 'w' || r == '%':
			em += 0.78
		case r >= 0x2E80: // full-width scripts
			em += 1.05
		default:
			em += 0.61
		}
	}
	return em * size
}

// cut shortens a text to a width, before its last part, which is the size of a
// facepiece; the whole stands in the hint and the table.
func cut(s string, size, most float64) string {
	if wide(s, size) <= most {
		return s
	}
	tail := ""
	if i := strings.LastIndex(s, ", "); i > 0 && wide(s[i:], size) < most/2 {
		s, tail = s[:i], s[i:]
	}
	r := []rune(s)
	for len(r) > 1 && wide(string(r)+"…"+tail, size) > most {
		r = r[:len(r)-1]
	}
	return strings.TrimRight(string(r), " ,") + "…" + tail
}
