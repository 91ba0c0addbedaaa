// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"math"
	"strconv"
	"strings"

	"tallyhood/console/insight"
)

// TesterFunnel draws testers, by letter, against the mean of all.
func (d Drawer) TesterFunnel(fn insight.Funnel) Chart {
	names := make([]string, len(fn.Points))
	return d.funnel("testers", fn, names)
}

// FacepieceFunnel draws facepieces against the mean of all; a letter in the
// drawing stands for the one in the table.
func (d Drawer) FacepieceFunnel(fn insight.Funnel, groups []insight.Group) Chart {
	names := make([]string, len(fn.Points))
	points := make([]insight.FunnelPoint, len(fn.Points))
	for i, p := range fn.Points {
		p.Key = strconv.Itoa(i + 1)
		points[i] = p
		if i < len(groups) {
			names[i] = d.facepiece(groups[i].Facepiece)
		}
	}
	fn.Points = points
	return d.funnel("facepieces", fn, names)
}

func (d Drawer) funnel(of string, fn insight.Funnel, names []string) Chart {
	c := Chart{Title: d.say("funnel.title." + of), Say: d.say("funnel.none")}
	c.Table.Columns = []Column{{d.say("col.key"), ""}, {d.say("col.what"), ""}, {d.say("col.pass"), d.say("tests")}, {d.say("col.valid"), d.say("tests")}, {d.say("col.share"), "%"}}
	for _, k := range []string{"col.inner", "col.outer"} {
		c.Table.Columns = append(c.Table.Columns, Column{d.say(k) + ", " + d.say("col.low"), "%"}, Column{d.say(k) + ", " + d.say("col.high"), "%"})
	}
	c.Table.Columns = append(c.Table.Columns, Column{d.say("col.place"), ""})
	if of == "testers" { // the letter says it all
		c.Table.Columns = append(c.Table.Columns[:1], c.Table.Columns[2:]...)
	}
	var out []string
	for i, p := range fn.Points {
		row := []Cell{text(p.Key)}
		if of != "testers" {
			row = append(row, text(names[i]))
		}
		row = append(row, whole(p.K), whole(p.N), d.number(100*float64(p.K)/float64(p.N), 1))
		for _, level := range []float64{insight.InnerLevel, insight.OuterLevel} {
			lo, hi := fn.Limits(p.N, level)
			row = append(row, d.number(100*lo, 1), d.number(100*hi, 1))
		}
		c.Table.Rows = append(c.Table.Rows, append(row, text(d.place(p.At))))
		if p.At != insight.Within {
			what := p.Key
			if names[i] != "" {
				what = names[i]
			}
			out = append(out, what+" ("+d.place(p.At)+")")
		}
	}
	if !fn.Mean.Known {
		return c
	}
	c.Say = d.say("funnel.within")
	if len(out) > 0 {
		c.Say = d.say("funnel.outside", strings.Join(out, ", "))
	}
	c.Notes = []string{d.say("funnel.note")}
	if of == "testers" {
		c.Notes = append(c.Notes, d.say("names"))
	}
	p := &pen{id: "funnel-" + of, w: d.width(), h: 380, d: d}
	d.drawFunnel(p, fn)
	c.SVG = p.svg(c.Title, d.say("funnel.desc"))
	return c
}

func (d Drawer) place(at insight.Place) string { return d.say("place." + strconv.Itoa(int(at))) }

func (d Drawer) drawFunnel(p *pen, fn insight.Funnel) {
	name := d.say("funnel.mean", d.percent(fn.Mean.Share))
	x0, x1, y0, y1 := 58.0, p.w-18-1.12*wide(name, axisSize), 22.0, p.h-78
	most, low := 10, fn.Mean.Share
	for _, q := range fn.Points {
		most = max(most, q.N)
		low = min(low, float64(q.K)/float64(q.N))
	}
	// The scale holds every point and the outer limit of a mid-sized one.
	mid, _ := fn.Limits(max(8, most/12), insight.OuterLevel)
	low = max(0, math.Floor((min(low, mid)-0.03)*10)/10)
	edge := float64(most) * 1.06
	x := func(n float64) float64 { return x0 + (x1-x0)*n/edge }
	y := func(s float64) float64 { return y1 - (y1-y0)*(s-low)/(1-low) }

	p.rect(0.5, 0.5, p.w-1, p.h-1, "sheet", "line", ` rx="4"`)
	step := 0.1
	if low < 0.4 {
		step = 0.2
	}
	for s := 1.0; s > low-1e-9; s -= step {
		p.line(x0, y(s), x1, y(s), "line", 1, "")
		p.text(x0-8, y(s)+4, axisSize, right, "soft", d.percent(s))
	}
	gap := nice(edge / (p.w / 110))
	for n := 0.0; n <= edge; n += gap {
		p.line(x(n), y1, x(n), y1+5, "line", 1, "")
		p.text(x(n), y1+19, axisSize, middle, "soft", d.num(n, 0))
	}
	p.text(x1, y1+36, axisSize, right, "soft", d.say("funnel.x"))

	p.raw(`<clipPath id="`, p.id, `-c"><rect x="`, px(x0), `" y="`, px(y0-3), `" width="`, px(x1-x0), `" height="`, px(y1-y0+3), `"/></clipPath>`)
	p.raw(`<g clip-path="url(#`, p.id, `-c)">`)
	for _, l := range []struct {
		level float64
		more  string
	}{{insight.InnerLevel, dashed}, {insight.OuterLevel, ""}} {
		var below, above []float64
		last := 0
		for i := 0; i <= 120; i++ {
			// closer together where the limits bend
			n := int(math.Round(edge * math.Pow(float64(i)/120, 2)))
			if n <= last {
				continue
			}
			last = n
			lo, hi := fn.Limits(n, l.level)
			below, above = append(below, x(float64(n)), y(lo)), append(above, x(float64(n)), y(hi))
		}
		p.path(below, "soft", 1.4, l.more)
		p.path(above, "soft", 1.4, l.more)
	}
	p.end()
	p.line(x0, y(fn.Mean.Share), x1, y(fn.Mean.Share), "accent", 1.6, "")
	// The right end names the lines; close ones are moved apart.
	inLo, _ := fn.Limits(int(edge), insight.InnerLevel)
	outLo, _ := fn.Limits(int(edge), insight.OuterLevel)
	ys := []float64{y(fn.Mean.Share), y(inLo), y(outLo)}
	for i := 1; i < len(ys); i++ {
		ys[i] = max(ys[i], ys[i-1]+14)
	}
	p.bold(x1+6, ys[0]+4, axisSize, left, "accent", name)
	p.text(x1+6, ys[1]+4, axisSize, left, "soft", d.say("funnel.inner"))
	p.text(x1+6, ys[2]+4, axisSize, left, "soft", d.say("funnel.outer"))

	var taken []box
	for _, q := range fn.Points {
		taken = append(taken, around(x(float64(q.N)), y(float64(q.K)/float64(q.N)), 8, 8))
	}
	for _, q := range fn.Points {
		cx, cy := x(float64(q.N)), y(float64(q.K)/float64(q.N))
		p.group(q.Key + ": " + d.interval(insight.Wilson(q.K, q.N, insight.Level)) + ", " + d.say("of", count(q.K), count(q.N)) + ", " + d.place(q.At))
		lx, ly, far := free(&taken, cx, cy, wide(q.Key, 13), box{x0, y0 - 8, x1, y1})
		if far {
			p.line(cx, cy, lx, ly, "soft", 1, "")
		}
		p.mark(cx, cy, q.At)
		p.label(lx, ly+4.5, 13, middle, "ink", halo("600"), q.Key)
		p.end()
	}
	p.key(p.h - 16)
}

// mark: a ring within, a ring in a ring outside the inner limits, a full dot
// outside the outer.
func (p *pen) mark(x, y float64, at insight.Place) {
	switch at {
	case insight.Within:
		p.dot(x, y, 4.5, "sheet", "ink")
	case insight.Below, insight.Above:
		p.dot(x, y, 7, "sheet", "ink")
		p.dot(x, y, 2.5, "ink", "ink")
	default:
		p.dot(x, y, 6, "ink", "ink")
	}
}

// key explains the marks.
func (p *pen) key(y float64) {
	x := 10.0
	for _, k := range []struct {
		at  insight.Place
		key string
	}{{insight.Within, "within"}, {insight.Below, "inner"}, {insight.FarBelow, "outer"}} {
		s := p.d.say("funnel.key." + k.key)
		p.mark(x+8, y-4, k.at)
		p.text(x+22, y, axisSize, left, "soft", s)
		x += 32 + wide(s, axisSize)
	}
}

type box struct{ x0, y0, x1, y1 float64 }

func around(x, y, w, h float64) box { return box{x - w, y - h, x + w, y + h} }

func (b box) meets(o box) bool { return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1 }

// free finds a place for a word near a point that nothing else has taken, and
// takes it; far: so far off that a line has to lead there.
func free(taken *[]box, x, y, w float64, within box) (lx, ly float64, far bool) {
	try := func(r float64) bool {
		for _, a := range []float64{0, 0.5, 1.5, 1, 0.25, 1.75, 0.75, 1.25} {
			lx, ly = x+(r+w/2)*math.Cos(a*math.Pi), y+r*math.Sin(a*math.Pi)
			b := around(lx, ly, w/2+1, 8)
			if b.x0 < within.x0 || b.x1 > within.x1 || b.y0 < within.y0 || b.y1 > within.y1 {
				continue
			}
			ok := true
			for _, t := range *taken {
				ok = ok && !b.meets(t)
			}
			if ok {
				*taken = append(*taken, b)
				return true
			}
		}
		return false
	}
	for r := 12.0; r < 90; r += 9 {
		if try(r) {
			return lx, ly, r > 24
		}
	}
	return x + 12 + w/2, y, false
}
