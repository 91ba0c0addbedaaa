// SPDX-License-Identifier: Apache-2.0

package report

import (
	"slices"
	"strconv"
	"time"

	"tallyhood/console/hoodlevel"
	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/report/page"
)

// outcomeMark draws the shape of an outcome in a square of side s: each can be
// told from the others without colour and without its word.
func outcomeMark(d *page.Drawing, x, y, s float64, o procedure.Outcome) {
	c := page.Point{X: x + s/2, Y: y + s/2}
	at := func(u, v float64) page.Point { return page.Point{X: x + u*s, Y: y + v*s} }
	pen := page.Pen{Width: s * 0.08, Color: page.Ink}
	switch o {
	case procedure.Pass: // a tick in a ring
		d.Circle(c.X, c.Y, s*0.46, nil, pen)
		pen.Width = s * 0.11
		d.Polyline([]page.Point{at(0.26, 0.52), at(0.43, 0.69), at(0.75, 0.32)}, pen)
	case procedure.Fail: // a white cross in a solid square
		d.Rect(x, y, s, s, &page.Stop, page.Pen{})
		white := page.Pen{Width: s * 0.13, Color: page.White}
		d.Polyline([]page.Point{at(0.24, 0.24), at(0.76, 0.76)}, white)
		d.Polyline([]page.Point{at(0.76, 0.24), at(0.24, 0.76)}, white)
	case procedure.NotValid: // a ring struck through
		pen.Width = s * 0.12
		d.Circle(c.X, c.Y, s*0.44, nil, pen)
		d.Polyline([]page.Point{at(0.2, 0.8), at(0.8, 0.2)}, pen)
	default: // a broken square with a bar
		pen.Width = s * 0.06
		pen.Dash = []float64{s * 0.12, s * 0.08}
		d.Rect(x+s*0.05, y+s*0.05, s*0.9, s*0.9, nil, pen)
		d.Polyline([]page.Point{at(0.28, 0.5), at(0.72, 0.5)}, page.Pen{Width: s * 0.1, Color: page.Ink})
	}
}

// outcomeFrame draws the frame around the outcome, another for each.
func outcomeFrame(d *page.Drawing, x, y, w, h float64, o procedure.Outcome) {
	pen := page.Pen{Width: 0.5, Color: page.Ink}
	switch o {
	case procedure.Fail:
		pen = page.Pen{Width: 1.4, Color: page.Stop}
	case procedure.NotValid:
		pen.Dash = []float64{3, 1.6}
	case procedure.CannotTaste:
		pen.Dash = []float64{0.7, 1.3}
	}
	d.Rect(x, y, w, h, nil, pen)
}

// practiceFrame stripes the border of a page and writes the word over all of
// it, so that neither can be cropped away.
func practiceFrame(d *page.Drawing, word string) {
	const band, stripe = 6.0, 4.0
	ink := page.Ink
	for x := -band; x < d.W+band; x += 2 * stripe {
		for _, y := range []float64{0, d.H - band} {
			d.Polygon([]page.Point{{X: x + band, Y: y}, {X: x + band + stripe, Y: y}, {X: x + stripe, Y: y + band}, {X: x, Y: y + band}}, &ink, page.Pen{})
		}
	}
	for y := 0.0; y < d.H; y += 2 * stripe {
		for _, x := range []float64{0, d.W - band} {
			d.Polygon([]page.Point{{X: x, Y: y + band}, {X: x + band, Y: y}, {X: x + band, Y: y + stripe}, {X: x, Y: y + band + stripe}}, &ink, page.Pen{})
		}
	}
	pale := page.Style{Size: 84, Bold: true, Color: page.Color{0.89, 0.87, 0.82}, Align: page.Center}
	if w := page.Width(word, pale); w > d.W-2*band-8 {
		pale.Size *= (d.W - 2*band - 8) / w
	}
	for _, part := range []float64{0.26, 0.52, 0.78} {
		d.Text(d.W/2, d.H*part, word, pale)
	}
}

// stripHeight is the height of a strip in millimetres.
const stripHeight = 38.0

// strip draws the course of a run on one time axis: a pip per squeeze due, the
// modelled level under them, exercises on the axis, a line where the run ended.
func strip(d *page.Drawing, x0, y0, w float64, s Sheet, say words) {
	r := s.View.Record
	f := r.Fit
	length := s.Rules.Length()
	block := s.Rules.Figures.Exercise.Duration()
	const left, before, after = 13.0, 24 * time.Second, 6 * time.Second
	x := func(t time.Duration) float64 {
		return x0 + left + float64(t+before)/float64(length+before+after)*(w-left-1)
	}
	base := y0 + 28.0
	y := func(l float64) float64 { return base - min(l, 1.3)*11.5 }
	thin := page.Pen{Width: 0.2, Color: page.Rule}
	edge := page.Pen{Width: 0.35, Color: page.Ink}
	tiny := page.Style{Size: 6.2, Color: page.Soft, Align: page.Center}
	name := page.Style{Size: 7.4, Color: page.Ink, Align: page.Center}

	end := time.Duration(-1)
	if f.DurationS != nil {
		end = time.Duration(*f.DurationS)
	}
	level(d, x, y, base, f, end)
	for i := 0; i <= len(s.Rules.Exercises); i++ {
		at := time.Duration(i) * block
		pen := thin
		if i == 0 || i == len(s.Rules.Exercises) {
			pen = edge
		}
		d.Line(x(at), y0+1, x(at), base, pen)
		d.Text(x(at), base+8.6, wholeMinutes(at), tiny)
		if i < len(s.Rules.Exercises) {
			mid := at + block/2
			d.Line(x(mid), y0+12, x(mid), base, page.Pen{Width: 0.2, Color: page.Rule, Dash: []float64{0.4, 0.9}})
			d.Text(x(mid), base+4.6, say.say("short."+s.Rules.Exercises[i].ID), name)
		}
	}
	d.Line(x(0), y(1), x(length), y(1), page.Pen{Width: 0.2, Color: page.Accent, Dash: []float64{0.3, 1.1}})
	label := page.Style{Size: 6.2, Color: page.Accent}
	d.Text(x0, y(1)+0.8, say.say("full"), label)
	d.Text(x0, y(0.5)+0.8, say.say("half"), label)
	label.Color = page.Soft
	d.Text(x0, base+0.6, say.say("modelled.short"), label)
	d.Line(x(0), base, x(length), base, page.Pen{Width: 0.35, Color: page.Ink})

	in := f.Initial
	perRow := 5
	if in.Required > 10 {
		perRow = 10
	}
	const pitch = 1.9
	pips(d, x(0)-1.6-float64(min(perRow, in.Required)-1)*pitch, y0+4.4, pitch, perRow, in.Required, in.Given, end >= 0 || in.Given < in.Required)
	for _, t := range f.TopUps {
		shut := end >= time.Duration(t.DueS)+s.Rules.House.WindowAfter.Duration()
		at := x(time.Duration(t.DueS)) + 1.3
		pips(d, at, y0+4.4, pitch, 5, t.Required, t.Given, shut)
		for i := range min(t.Extra, 5) {
			ink := page.Ink
			d.Circle(at+float64(i)*pitch, y0+2.1, 0.45, &ink, page.Pen{})
		}
		if t.Extra > 5 {
			d.Text(at+4*pitch+0.8, y0+2.7, "+"+strconv.Itoa(t.Extra-5), page.Style{Size: 5, Color: page.Ink})
		}
	}
	if end >= 0 {
		d.Line(x(end), y0, x(end), base+1.2, page.Pen{Width: 0.6, Color: page.Ink})
		side := x(end) + 1
		if end > length-block/2 {
			side = x(end) - 5.2
		}
		outcomeMark(d, side, base-5.4, 4.2, s.shape())
	}
}

func pips(d *page.Drawing, x, y, pitch float64, perRow, required, given int, shut bool) {
	pen := page.Pen{Width: 0.22, Color: page.Ink}
	ink := page.Ink
	for i := range required {
		cx, cy := x+float64(i%perRow)*pitch, y+float64(i/perRow)*2.05
		if i < given {
			d.Circle(cx, cy, 0.72, &ink, pen)
			continue
		}
		d.Circle(cx, cy, 0.72, nil, pen)
		if shut {
			d.Line(cx-0.8, cy-0.8, cx+0.8, cy+0.8, pen)
			d.Line(cx-0.8, cy+0.8, cx+0.8, cy-0.8, pen)
		}
	}
}

// level draws the modelled level up to the end of the run.
func level(d *page.Drawing, x func(time.Duration) float64, y func(float64) float64, base float64, f *record.Fit, end time.Duration) {
	if end < 0 || f.Initial.Required == 0 || len(f.SqueezesS) == 0 {
		return
	}
	var sq []time.Duration
	for _, s := range f.SqueezesS {
		sq = append(sq, time.Duration(s))
	}
	slices.Sort(sq)
	m := hoodlevel.Model{}
	var points []page.Point
	put := func(t time.Duration, l float64) {
		points = append(points, page.Point{X: x(max(t, -24*time.Second)), Y: y(l)})
	}
	for _, s := range sq {
		if s >= 0 {
			break
		}
		before, _ := m.At(sq, f.Initial.Required, s-1)
		after, _ := m.At(sq, f.Initial.Required, s)
		put(s, before)
		put(s, after)
	}
	if curve, ok := m.Curve(sq, f.Initial.Required, end); ok {
		for _, p := range curve {
			put(p.T, p.Before)
			if p.After != p.Before {
				put(p.T, p.After)
			}
		}
	}
	if len(points) < 2 {
		return
	}
	area := append(slices.Clone(points), page.Point{X: points[len(points)-1].X, Y: base}, page.Point{X: points[0].X, Y: base})
	pale := page.Pale
	d.Polygon(area, &pale, page.Pen{})
	d.Polyline(points, page.Pen{Width: 0.32, Color: page.Accent})
}
