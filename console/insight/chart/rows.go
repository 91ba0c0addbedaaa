// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"strings"

	"tallyhood/console/insight"
)

// rows is the frame of the charts that have one row a thing: labels to the
// left, or above in a narrow drawing, a scale in the middle, a word at the
// right.
type rows struct {
	*pen
	x0, x1   float64 // of the scale
	top, row float64
	n        int
	lo, hi   float64 // of the scale's figures
}

const (
	bodySize = 14.0
	axisSize = 12.0
)

// newRows lays out n rows for labels and notes of such widths.
func (d Drawer) newRows(id string, n int, labels, notes []string) *rows {
	p := &pen{id: id, w: d.width(), d: d}
	var label, note float64
	for _, s := range labels {
		label = max(label, wide(s, bodySize))
	}
	for _, s := range notes {
		note = max(note, wide(s, axisSize))
	}
	r := &rows{pen: p, top: 30, row: 30, n: n, lo: 0, hi: 1}
	if d.narrow() {
		r.x0, r.x1, r.row = 24, p.w-30, 46
	} else {
		r.x0 = 16 + min(label, 0.34*p.w)
		r.x1 = p.w - 22 - note
	}
	p.h = r.top + float64(n)*r.row + 34
	p.rect(0.5, 0.5, p.w-1, p.h-1, "sheet", "line", ` rx="4"`)
	return r
}

func (r *rows) x(v float64) float64 { return r.x0 + (r.x1-r.x0)*(v-r.lo)/(r.hi-r.lo) }

// y is the middle of a row's mark.
func (r *rows) y(i int) float64 {
	y := r.top + float64(i)*r.row + r.row/2
	if r.d.narrow() {
		y += 9
	}
	return y
}

func (r *rows) bottom() float64 { return r.top + float64(r.n)*r.row + 4 }

// tick draws a line of the scale with its figure.
func (r *rows) tick(v float64, s string) {
	x := r.x(v)
	r.line(x, r.top, x, r.bottom(), "line", 1, "")
	r.text(x, r.bottom()+18, axisSize, middle, "soft", s)
}

// names writes the label and the note of a row.
func (r *rows) names(i int, label, note string) {
	if r.d.narrow() {
		y := r.top + float64(i)*r.row + 15
		r.label(14, y, bodySize, left, "ink", halo("400"), cut(label, bodySize, r.w-28-wide(note, axisSize)-8))
		r.label(r.w-14, y, axisSize, right, "soft", halo("400"), note)
		return
	}
	r.text(r.x0-12, r.y(i)+5, bodySize, right, "ink", cut(label, bodySize, r.x0-16))
	r.text(r.w-10, r.y(i)+4, axisSize, right, "soft", note)
}

// span draws a share with its interval.
func (r *rows) span(i int, at, lo, hi float64, few bool) {
	y := r.y(i)
	more := ""
	if few {
		more = dashed
	}
	r.line(r.x(lo), y, r.x(hi), y, "ink", 2, more)
	if !few {
		r.line(r.x(lo), y-5, r.x(lo), y+5, "ink", 2, "")
		r.line(r.x(hi), y-5, r.x(hi), y+5, "ink", 2, "")
	}
	in := "ink"
	if few {
		in = "sheet"
	}
	r.dot(r.x(at), y, 5, in, "ink")
}

func (r *rows) percents() {
	for _, v := range []float64{0, 0.25, 0.5, 0.75, 1} {
		r.tick(v, r.d.percent(v))
	}
}

// mean draws the site's share as a line through all rows.
func (r *rows) mean(e insight.Estimate) {
	if !e.Known {
		return
	}
	x := r.x(e.Share)
	r.line(x, r.top-4, x, r.bottom(), "accent", 1.6, dashed)
	s := r.d.say("site", r.d.percent(e.Share))
	half := wide(s, axisSize) / 2
	r.bold(min(max(x, half+8), r.w-half-8), r.top-11, axisSize, middle, "accent", s)
}

func (d Drawer) facepiece(g insight.Facepiece) string {
	var parts []string
	if s := strings.TrimSpace(g.Make + " " + g.Model); s != "" {
		parts = append(parts, s)
	}
	for _, s := range []string{g.Size, g.Style} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if len(parts) == 0 {
		return d.say("facepiece.any")
	}
	return strings.Join(parts, ", ")
}

func faceCells(g insight.Facepiece) []Cell {
	return []Cell{text(g.Make), text(g.Model), text(g.Size), text(g.Style)}
}

func (d Drawer) faceColumns() []Column {
	return []Column{{d.say("col.make"), ""}, {d.say("col.model"), ""}, {d.say("col.size"), ""}, {d.say("col.style"), ""}}
}

// Models draws the share of passes by facepiece. Site is the mean of all.
func (d Drawer) Models(groups []insight.Group, site insight.Counts) Chart {
	all := site.Passing()
	c := Chart{Title: d.say("models.title"), Say: d.say("models.none")}
	c.Table.Columns = append(d.faceColumns(), Column{d.say("col.pass"), d.say("tests")}, Column{d.say("col.valid"), d.say("tests")})
	c.Table.Columns = append(c.Table.Columns, d.shareColumns("col.share")...)
	c.Table.Columns = append(c.Table.Columns, Column{d.say("col.notvalid"), d.say("tests")}, Column{d.say("col.remark"), ""})
	var shown []insight.Group
	var labels, notes []string
	for _, g := range groups {
		e := g.Passing()
		row := append(faceCells(g.Facepiece), whole(e.K), whole(e.N))
		row = append(row, d.share(e)...)
		c.Table.Rows = append(c.Table.Rows, append(row, whole(g.NotValid), d.fewCell(e.Few())))
		if e.Known {
			shown = append(shown, g)
			labels, notes = append(labels, d.facepiece(g.Facepiece)), append(notes, d.kOfN(e))
		}
	}
	if !all.Known || len(shown) == 0 {
		return c
	}
	c.Say = d.say("models.say", d.percent(all.Share), d.kOfN(all))
	c.Notes = []string{d.say("intervals", count(insight.Few))}
	r := d.newRows("models", len(shown), labels, notes)
	r.percents()
	r.mean(all)
	for i, g := range shown {
		e := g.Passing()
		r.group(labels[i] + ": " + notes[i] + ", " + d.interval(e))
		r.names(i, labels[i], notes[i])
		r.span(i, e.Share, e.Lo, e.Hi, e.Few())
		r.end()
	}
	c.SVG = r.svg(c.Title, d.say("models.desc"))
	return c
}

func (d Drawer) interval(e insight.Estimate) string {
	s := d.percent(e.Share) + " (" + d.percent(e.Lo) + " – " + d.percent(e.Hi) + ")"
	if e.Few() {
		s += ", " + d.say("few")
	}
	return s
}

// Advice draws which facepiece to try first.
func (d Drawer) Advice(a insight.Advice) Chart {
	c := Chart{Title: d.say("advice.title"), Say: d.say("advice.nothing")}
	c.Table.Columns = append(d.faceColumns(), Column{d.say("col.pass"), d.say("tests")}, Column{d.say("col.first"), d.say("tests")})
	c.Table.Columns = append(c.Table.Columns, d.shareColumns("col.mean")...)
	c.Table.Columns = append(c.Table.Columns, Column{d.say("col.best"), "%"}, Column{d.say("col.remark"), ""})
	if len(a.Candidates) == 0 {
		return c
	}
	var labels, notes []string
	for _, x := range a.Candidates {
		c.Table.Rows = append(c.Table.Rows, append(faceCells(x.Facepiece), whole(x.Pass), whole(x.Tests),
			d.number(100*x.Mean, 1), d.number(100*x.Lo, 1), d.number(100*x.Hi, 1), d.number(100*x.Best, 0), d.fewCell(x.Few)))
		labels = append(labels, d.facepiece(x.Facepiece))
		notes = append(notes, d.say("of", count(x.Pass), count(x.Tests))+" · "+d.say("advice.best", d.percent(x.Best)))
	}
	first := a.Candidates[0]
	c.Say = d.say("advice."+string(a.Say), labels[0], d.say("of", count(first.Pass), count(first.Tests)))
	c.Notes = []string{d.say("advice.note", count(insight.PriorTests), d.percent(a.Prior.Mean())), d.say("intervals.few", count(insight.Few))}
	r := d.newRows("advice", len(labels), labels, notes)
	r.percents()
	r.mean(insight.Estimate{Share: a.Prior.Mean(), Known: true})
	for i, x := range a.Candidates {
		r.group(labels[i] + ": " + notes[i])
		r.names(i, labels[i], notes[i])
		r.span(i, x.Mean, x.Lo, x.Hi, x.Few)
		r.end()
	}
	c.SVG = r.svg(c.Title, d.say("advice.desc"))
	return c
}
