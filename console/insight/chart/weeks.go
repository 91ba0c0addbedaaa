// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"cmp"
	"slices"

	"tallyhood/console/insight"
)

// A Measure is a share of a tester's week.
type Measure string

// The measures.
const (
	Invalid Measure = "invalid"
	Remark  Measure = "remark"
)

func (m Measure) of(c insight.Counts) insight.Estimate {
	if m == Remark {
		return c.WithRemark()
	}
	return c.Invalid()
}

// The most that is drawn; the table holds all.
const (
	mostWeeks   = 26
	mostTesters = 8
)

// Weeks draws a share by tester and week.
func (d Drawer) Weeks(m Measure, weeks []insight.TesterWeek) Chart {
	c := Chart{Title: d.say("weeks." + string(m) + ".title"), Say: d.say("weeks.none")}
	name := map[Measure]string{Invalid: "col.invalid", Remark: "col.remarked"}[m]
	c.Table.Columns = append([]Column{{d.say("col.tester"), ""}, {d.say("col.week"), ""}, {d.say("col.notvalid"), d.say("tests")}, {d.say("col.tests"), d.say("tests")}}, d.shareColumns(name)...)
	if m == Remark {
		c.Table.Columns[2].Name = d.say("col.remarked")
	}
	c.Table.Columns = append(c.Table.Columns, Column{d.say("col.remark"), ""})
	if len(weeks) == 0 {
		return c
	}
	last := weeks[0].Week
	var all insight.Estimate
	for _, w := range weeks {
		e := m.of(w.Counts)
		row := append([]Cell{text(w.Letter), text(d.week(w.Week)), whole(e.K), whole(e.N)}, d.share(e)...)
		c.Table.Rows = append(c.Table.Rows, append(row, d.fewCell(e.Few())))
		last = max(last, w.Week)
		all.K, all.N = all.K+e.K, all.N+e.N
	}
	all = insight.Wilson(all.K, all.N, insight.Level)
	c.Say = d.say("weeks.say", d.percent(all.Share), d.kOfN(all))
	c.Notes = []string{d.say("intervals", count(insight.Few)), d.say("names")}
	if m == Remark {
		c.Notes = append(c.Notes, d.say("weeks.remarks"))
	}

	first := last - mostWeeks + 1
	type tester struct {
		letter string
		weeks  []insight.TesterWeek
		sum    insight.Estimate
	}
	var testers []*tester
	cutOff := false
	for _, w := range weeks {
		if w.Week < first {
			cutOff = true
			continue
		}
		if len(testers) == 0 || testers[len(testers)-1].letter != w.Letter {
			testers = append(testers, &tester{letter: w.Letter})
		}
		t := testers[len(testers)-1]
		e := m.of(w.Counts)
		t.weeks, t.sum.K, t.sum.N = append(t.weeks, w), t.sum.K+e.K, t.sum.N+e.N
	}
	if len(testers) > mostTesters {
		cutOff = true
		least := slices.SortedStableFunc(slices.Values(testers), func(a, b *tester) int { return cmp.Compare(b.sum.N, a.sum.N) })[mostTesters:]
		testers = slices.DeleteFunc(testers, func(t *tester) bool { return slices.Contains(least, t) })
	}
	if cutOff {
		c.Notes = append(c.Notes, d.say("weeks.cut", count(mostWeeks), count(mostTesters)))
	}
	// A scale for all: the highest share drawn, one that few tests make left out.
	top := 0.1
	for _, t := range testers {
		for _, w := range t.weeks {
			if e := m.of(w.Counts); e.Known && !e.Few() {
				top = max(top, e.Share*1.2)
			}
		}
		if t.sum.N > 0 {
			top = max(top, 1.3*float64(t.sum.K)/float64(t.sum.N))
		}
	}
	top = min(1, nice(top))

	const row = 80.0
	p := &pen{id: "weeks-" + string(m), w: d.width(), h: 18 + row*float64(len(testers)) + 44, d: d}
	p.rect(0.5, 0.5, p.w-1, p.h-1, "sheet", "line", ` rx="4"`)
	x0, x1 := 88.0, p.w-18
	x := func(w insight.Week) float64 { return x0 + (x1-x0)*(float64(w-first)+0.5)/mostWeeks }
	bottom := 18 + row*float64(len(testers))
	every := insight.Week(4)
	if d.narrow() {
		every = 8
	}
	for w := first; w <= last; w++ {
		if _, n := w.ISO(); (last-w)%every == 0 {
			p.line(x(w), 12, x(w), bottom, "line", 1, "")
			p.text(min(x(w), p.w-30), bottom+17, axisSize, middle, "soft", d.say("weeks.short", count(n)))
		}
	}
	y0, _ := first.ISO()
	y1, _ := last.ISO()
	p.text(x0, bottom+34, axisSize, left, "soft", count(y0))
	if y1 != y0 {
		p.text(x1, bottom+34, axisSize, right, "soft", count(y1))
	}
	for i, t := range testers {
		base := 18 + row*float64(i+1) - 10
		y := func(s float64) float64 { return base - (row-26)*min(s, top)/top }
		p.line(x0, base, x1, base, "ink", 1, "")
		p.line(x0, y(top), x1, y(top), "line", 1, "")
		p.text(x0-8, base+4, axisSize, right, "soft", d.percent(0))
		p.text(x0-8, y(top)+4, axisSize, right, "soft", d.percent(top))
		p.bold(24, base-row/2+18, 20, middle, "ink", t.letter)
		mean := insight.Wilson(t.sum.K, t.sum.N, insight.Level)
		if mean.Known {
			p.line(x0, y(mean.Share), x1, y(mean.Share), "accent", 1.4, dashed)
		}
		for _, w := range t.weeks {
			e := m.of(w.Counts)
			if !e.Known {
				continue
			}
			p.group(t.letter + ", " + d.week(w.Week) + ": " + d.kOfN(e) + ", " + d.interval(e))
			in, line, thick := "ink", "ink", 2.0
			if e.Few() {
				in, line, thick = "sheet", "soft", 0.8
			}
			p.line(x(w.Week), y(e.Lo), x(w.Week), y(e.Hi), line, thick, "")
			if e.Share > top {
				p.above(x(w.Week), y(top), in)
			} else {
				p.dot(x(w.Week), y(e.Share), 3.5, in, "ink")
			}
			p.end()
		}
	}
	c.SVG = p.svg(c.Title, d.say("weeks.desc"))
	return c
}

// above marks a share over the scale by a peak.
func (p *pen) above(x, y float64, in string) {
	p.raw(`<polygon points="`, joined([]float64{x - 5, y + 3, x + 5, y + 3, x, y - 6}), `"`, paint(in, "ink", 1.6), `/>`)
}

func (d Drawer) week(w insight.Week) string {
	y, n := w.ISO()
	return d.say("weeks.week", count(y), two(n))
}

func two(n int) string {
	if n < 10 {
		return "0" + count(n)
	}
	return count(n)
}

const mostMonths = 24

// Months draws the share of passes by month.
func (d Drawer) Months(months []insight.Month) Chart {
	c := Chart{Title: d.say("months.title"), Say: d.say("months.none")}
	c.Table.Columns = append([]Column{{d.say("col.month"), ""}, {d.say("col.pass"), d.say("tests")}, {d.say("col.valid"), d.say("tests")}}, d.shareColumns("col.share")...)
	c.Table.Columns = append(c.Table.Columns, Column{d.say("col.tests"), d.say("tests")}, Column{d.say("col.remark"), ""})
	most := 0
	for _, m := range months {
		e := m.Passing()
		row := append([]Cell{text(d.month(m)), whole(e.K), whole(e.N)}, d.share(e)...)
		c.Table.Rows = append(c.Table.Rows, append(row, whole(m.Tests()), d.fewCell(e.Few())))
	}
	if len(months) == 0 {
		return c
	}
	c.Notes = []string{d.say("intervals", count(insight.Few))}
	if len(months) > mostMonths {
		months = months[len(months)-mostMonths:]
		c.Notes = append(c.Notes, d.say("months.cut", count(mostMonths)))
	}
	for _, m := range months {
		most = max(most, m.Valid())
	}
	end := months[len(months)-1]
	if e := end.Passing(); e.Known {
		c.Say = d.say("months.say", d.month(end), d.percent(e.Share), d.kOfN(e))
	} else {
		c.Say = d.say("months.say", d.month(end), d.say("unknown"), d.kOfN(e))
	}
	p := &pen{id: "months", w: d.width(), h: 330, d: d}
	p.rect(0.5, 0.5, p.w-1, p.h-1, "sheet", "line", ` rx="4"`)
	x0, x1, y0, y1 := 58.0, p.w-18, 18.0, 218.0
	wide := (x1 - x0) / float64(len(months))
	x := func(i int) float64 { return x0 + wide*(float64(i)+0.5) }
	y := func(s float64) float64 { return y1 - (y1-y0)*s }
	for _, s := range []float64{0, 0.25, 0.5, 0.75, 1} {
		p.line(x0, y(s), x1, y(s), "line", 1, "")
		p.text(x0-8, y(s)+4, axisSize, right, "soft", d.percent(s))
	}
	// The line joins neighbours only: a month without tests is a gap.
	var run []float64
	for i, m := range months {
		if e := m.Passing(); e.Known {
			run = append(run, x(i), y(e.Share))
		} else {
			p.path(run, "accent", 1.6, "")
			run = nil
		}
	}
	p.path(run, "accent", 1.6, "")
	base, tall := p.h-44, 44.0
	p.line(x0, base, x1, base, "ink", 1, "")
	p.text(x0-8, base+4, axisSize, right, "soft", "0")
	if most > 0 {
		p.text(x0-8, base-tall+6, axisSize, right, "soft", count(most))
	}
	p.text(x1, p.h-8, axisSize, right, "soft", d.say("months.bars"))
	every := 1
	for float64(every)*wide < 34 {
		every++
	}
	for i, m := range months {
		e := m.Passing()
		p.group(d.month(m) + ": " + d.kOfN(e) + ", " + d.interval(e))
		if most > 0 {
			h := tall * float64(m.Valid()) / float64(most)
			p.rect(x(i)-wide*0.3, base-h, wide*0.6, h, "tint", "", "")
		}
		if e.Known {
			p.line(x(i), y(e.Lo), x(i), y(e.Hi), "ink", 2, "")
			in := "ink"
			if e.Few() {
				in = "sheet"
			}
			p.dot(x(i), y(e.Share), 4.5, in, "ink")
		}
		p.end()
		if i%every == 0 {
			p.text(x(i), base+17, axisSize, middle, "soft", d.say("month."+count(m.Month)))
		}
		if i == 0 || m.Month == 1 {
			p.bold(x(i), base+34, axisSize, middle, "soft", count(m.Year))
		}
	}
	c.SVG = p.svg(c.Title, d.say("months.desc"))
	return c
}

func (d Drawer) month(m insight.Month) string { return d.say("month", count(m.Year), two(m.Month)) }
