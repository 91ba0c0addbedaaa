// SPDX-License-Identifier: Apache-2.0

package report

import (
	"errors"
	"math"

	"tallyhood/console/report/page"
)

// A Paper is a size of sheet in millimetres.
type Paper struct{ W, H float64 }

// The papers.
var (
	A4     = Paper{210, 297}
	Letter = Paper{215.9, 279.4}
)

const (
	marginX = 17.0
	marginT = 15.0
	marginB = 17.0
	small   = 7.2
	body    = 8.4
)

var (
	plain    = page.Style{Size: body, Color: page.Ink}
	bold     = page.Style{Size: body, Color: page.Ink, Bold: true}
	soft     = page.Style{Size: small, Color: page.Soft}
	hair     = page.Pen{Width: 0.15, Color: page.Rule}
	inkLine  = page.Pen{Width: 0.3, Color: page.Ink}
	leading  = 1.28
	fieldGap = 0.5
)

// tall is the height of a line of a style in millimetres.
func tall(s page.Style) float64 { return s.Size * page.MM * leading }

// A flow puts parts below each other and begins a page when one does not fit.
type flow struct {
	paper Paper
	pages []*page.Drawing
	d     *page.Drawing
	y     float64
	// begin draws what stands on top of every page after the first.
	begin func(*flow)
	err   error
}

func newFlow(p Paper, begin func(*flow)) *flow {
	f := &flow{paper: p, begin: begin}
	f.next()
	return f
}

func (f *flow) next() {
	in := ""
	if f.d != nil {
		in = f.d.In
	}
	f.d = page.New(f.paper.W, f.paper.H)
	if in != "" {
		f.d.In = in
	}
	f.pages = append(f.pages, f.d)
	f.y = marginT
	if f.begin != nil && len(f.pages) > 1 {
		f.begin(f)
	}
}

func (f *flow) left() float64  { return marginX }
func (f *flow) right() float64 { return f.paper.W - marginX }
func (f *flow) wide() float64  { return f.paper.W - 2*marginX }

// need begins a page when less than h is left on this one.
func (f *flow) need(h float64) {
	if f.y+h > f.paper.H-marginB && f.y > marginT+20 {
		f.next()
	}
}

func (f *flow) heading(text string, keep float64) {
	f.need(9 + keep)
	f.y += 4.6
	f.d.Text(f.left(), f.y, text, page.Style{Size: 10, Bold: true, Color: page.Accent})
	f.y += 1.4
	f.d.Line(f.left(), f.y, f.right(), f.y, hair)
	f.y += 0.8
}

// para writes text over the whole width.
func (f *flow) para(text string, s page.Style) {
	for _, line := range page.Wrap(text, s, f.wide()) {
		f.need(tall(s))
		f.y += tall(s)
		f.d.Text(f.left(), f.y-0.25*tall(s), line, s)
	}
}

// A field is a name and what stands for it.
type field struct {
	name, value string
	strong      bool
	in          string // for errors
}

// fields writes names and values below each other in a column and gives the
// height.
func fields(d *page.Drawing, x, y, w, nameW float64, list []field) float64 {
	top := y
	for _, l := range list {
		st := plain
		if l.strong {
			st = bold
		}
		d.In = l.in
		if d.In == "" {
			d.In = l.name
		}
		lines := page.Wrap(l.value, st, w-nameW)
		names := page.Wrap(l.name, soft, nameW-2)
		for i, line := range names {
			d.Text(x, y+float64(i+1)*tall(st)-0.25*tall(st), line, soft)
		}
		for i, line := range lines {
			d.Text(x+nameW, y+float64(i+1)*tall(st)-0.25*tall(st), line, st)
		}
		y += float64(max(len(lines), len(names)))*tall(st) + fieldGap
	}
	d.In = "the page"
	return y - top
}

func heightOf(w, nameW float64, list []field) float64 {
	// Measured on a drawing that is thrown away, so that both always agree.
	return fields(page.New(w, 10), 0, 0, w, nameW, list)
}

// twoColumns writes two lists side by side.
func (f *flow) twoColumns(a, b []field) {
	w := (f.wide() - 6) / 2
	const nameW = 31
	h := math.Max(heightOf(w, nameW, a), heightOf(w, nameW, b))
	if h < f.paper.H-marginT-marginB-40 {
		f.need(h)
		fields(f.d, f.left(), f.y, w, nameW, a)
		fields(f.d, f.left()+w+6, f.y, w, nameW, b)
		f.y += h
		return
	}
	f.list(a)
	f.list(b)
}

// list writes fields over the whole width, page by page.
func (f *flow) list(all []field) {
	const nameW = 31
	for _, l := range all {
		st := plain
		if l.strong {
			st = bold
		}
		f.d.In = l.in
		if f.d.In == "" {
			f.d.In = l.name
		}
		lines := page.Wrap(l.value, st, f.wide()-nameW)
		for i, line := range lines {
			f.need(tall(st))
			if i == 0 {
				for j, name := range page.Wrap(l.name, soft, nameW-2) {
					f.d.Text(f.left(), f.y+float64(j)*tall(st)+0.75*tall(st), name, soft)
				}
			}
			f.y += tall(st)
			f.d.Text(f.left()+nameW, f.y-0.25*tall(st), line, st)
		}
		if n := len(page.Wrap(l.name, soft, nameW-2)); n > len(lines) {
			f.y += float64(n-len(lines)) * tall(st)
		}
		f.y += fieldGap
	}
	f.d.In = "the page"
}

// A column of a printed table.
type column struct {
	head  string
	part  float64 // share of the width
	right bool
}

// table writes rows with their head on every page.
func (f *flow) table(x, w float64, cols []column, rows [][]string) {
	total := 0.0
	for _, c := range cols {
		total += c.part
	}
	st := plain
	st.Size = 7.8
	hd := page.Style{Size: 6.8, Color: page.Soft, Bold: true}
	pad := 1.2
	row := func(cells []string, s page.Style) (lines [][]string, h float64) {
		n := 1
		for i, c := range cols {
			l := page.Wrap(cells[i], s, w*c.part/total-2*pad)
			lines = append(lines, l)
			n = max(n, len(l))
		}
		return lines, float64(n)*tall(s) + 0.9
	}
	put := func(cells []string, s page.Style) {
		lines, h := row(cells, s)
		at := x
		for i, c := range cols {
			cw := w * c.part / total
			f.d.In = c.head
			for j, l := range lines[i] {
				y := f.y + 0.3 + float64(j+1)*tall(s) - 0.25*tall(s)
				if c.right {
					s.Align = page.Right
					f.d.Text(at+cw-pad, y, l, s)
					s.Align = page.Left
				} else {
					f.d.Text(at+pad, y, l, s)
				}
			}
			at += cw
		}
		f.y += h
		f.d.Line(x, f.y, x+w, f.y, hair)
	}
	heads := make([]string, len(cols))
	for i, c := range cols {
		heads[i] = c.head
	}
	f.need(14)
	put(heads, hd)
	for _, r := range rows {
		_, h := row(r, st)
		if h > f.paper.H-marginT-marginB-25 && f.err == nil {
			f.err = errors.New("a row of a printed table is taller than a page")
		}
		before := len(f.pages)
		f.need(h)
		if len(f.pages) != before {
			put(heads, hd)
		}
		put(r, st)
	}
	f.d.In = "the page"
}
