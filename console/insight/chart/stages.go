// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"time"

	"tallyhood/console/insight"
)

// Stages draws the time of each stage as boxes.
func (d Drawer) Stages(times []insight.StageTime) Chart {
	c := Chart{Title: d.say("stages.title"), Say: d.say("stages.some")}
	c.Table.Columns = []Column{{d.say("col.stage"), ""}, {d.say("col.tests"), d.say("tests")}}
	for _, k := range []string{"col.p5", "col.q1", "col.median", "col.q3", "col.p95", "col.resolution"} {
		c.Table.Columns = append(c.Table.Columns, Column{d.say(k), "s"})
	}
	var labels, notes []string
	var most float64
	for _, t := range times {
		row := []Cell{text(d.say("stage." + string(t.Stage))), whole(t.N)}
		for _, s := range []insight.Span{t.P5, t.Q1, t.Median, t.Q3, t.P95} {
			row = append(row, d.spanCell(s))
		}
		c.Table.Rows = append(c.Table.Rows, append(row, d.number((t.Median.To-t.Median.From).Seconds(), 0)))
		labels, notes = append(labels, d.say("stage."+string(t.Stage))), append(notes, d.spanClock(t.Median))
		most = max(most, t.P95.Mid().Minutes())
		if t.Stage == insight.Whole {
			c.Say = d.say("stages.say", d.spanClock(t.Median))
		}
	}
	if len(times) == 0 {
		return c
	}
	c.Notes = []string{d.say("stages.note", insight.Resolution(time.Minute).String(), insight.Resolution(11*time.Minute).String())}
	r := d.newRows("stages", len(times), labels, notes)
	r.hi = most * 1.03
	for v, step := 0.0, nice(r.hi/6); v <= r.hi; v += step {
		r.tick(v, d.num(v, decimals(step)))
	}
	r.text(r.x1, r.top-11, axisSize, right, "soft", d.say("minutes"))
	for i, t := range times {
		at := func(s insight.Span) float64 { return r.x(s.Mid().Minutes()) }
		y := r.y(i)
		r.group(labels[i] + ": " + d.spanClock(t.P5) + " · " + d.spanClock(t.Q1) + " · " + d.spanClock(t.Median) + " · " + d.spanClock(t.Q3) + " · " + d.spanClock(t.P95))
		r.names(i, labels[i], notes[i])
		r.line(at(t.P5), y, at(t.P95), y, "ink", 1.6, "")
		r.rect(at(t.Q1), y-8, max(1.5, at(t.Q3)-at(t.Q1)), 16, "tint", "ink", "")
		r.line(at(t.Median), y-8, at(t.Median), y+8, "accent", 4, "")
		r.end()
	}
	c.SVG = r.svg(c.Title, d.say("stages.desc"))
	return c
}

func (d Drawer) spanCell(s insight.Span) Cell {
	if s.Over {
		return text(d.say("stages.over"))
	}
	return d.number(s.Mid().Seconds(), 1)
}

func (d Drawer) spanClock(s insight.Span) string {
	if s.Over {
		return d.say("stages.over")
	}
	return clock(s.From)
}

// nice is a round step of at least the given one.
func nice(step float64) float64 {
	unit := 1.0
	for unit < step {
		unit *= 10
	}
	for unit/10 >= step && unit > 1e-9 {
		unit /= 10
	}
	for _, part := range []float64{0.1, 0.2, 0.5} {
		if unit*part >= step {
			return unit * part
		}
	}
	return unit
}

func decimals(step float64) int {
	n := 0
	for ; step < 1 && n < 6; n++ {
		step *= 10
	}
	return n
}
