// SPDX-License-Identifier: Apache-2.0

package chart

import "tallyhood/console/insight"

// Agreement is a table without a drawing: how far testers agree.
func (d Drawer) Agreement(a insight.Agreement) Chart {
	c := Chart{Title: d.say("agreement.title"), Notes: []string{d.say("agreement.note")}}
	c.Table.Columns = []Column{{d.say("col.pair"), ""}}
	for _, k := range []string{"col.bothpass", "col.firstfail", "col.secondfail", "col.bothfail"} {
		c.Table.Columns = append(c.Table.Columns, Column{d.say(k), d.say("tests")})
	}
	c.Table.Columns = append(c.Table.Columns, d.shareColumns("col.agree")...)
	c.Table.Columns = append(c.Table.Columns, Column{d.say("col.kappa"), ""}, Column{d.say("col.low"), ""}, Column{d.say("col.high"), ""}, Column{d.say("col.remark"), ""})
	row := func(name string, t insight.Table2, k insight.Kappa) {
		cells := append([]Cell{text(name), whole(t[0][0]), whole(t[1][0]), whole(t[0][1]), whole(t[1][1])}, d.share(k.Observed)...)
		if k.Defined {
			cells = append(cells, d.number(k.Kappa, 2), d.number(k.Lo, 2), d.number(k.Hi, 2))
		} else {
			cells = append(cells, text(d.say("agreement.undef")), text(""), text(""))
		}
		c.Table.Rows = append(c.Table.Rows, append(cells, d.fewCell(k.Few())))
	}
	k := a.Kappa
	row(d.say("agreement.all"), a.Table, k)
	for _, p := range a.ByPair {
		row(d.say("agreement.pair", p.A, p.B), p.Table, p.Kappa)
	}
	switch {
	case k.Pairs == 0:
		c.Say = d.say("agreement.none")
	case !k.Defined:
		c.Say = d.say("agreement.undefined", count(k.Pairs))
	case k.Few():
		c.Say = d.say("agreement.few", d.num(k.Kappa, 2), count(k.Pairs))
	default:
		c.Say = d.say("agreement.say", d.num(k.Kappa, 2), d.num(k.Lo, 2), d.num(k.Hi, 2), count(k.Pairs))
	}
	if a.Late > 0 {
		c.Notes = append(c.Notes, d.say("agreement.late", count(a.Late)))
	}
	return c
}

// Repeats is a table without a drawing: failures that came again, by model.
func (d Drawer) Repeats(r insight.Repeats) Chart {
	c := Chart{Title: d.say("repeats.title"), Say: d.say("repeats.none")}
	people := d.say("persons")
	c.Table.Columns = []Column{{d.say("col.make"), ""}, {d.say("col.model"), ""}, {d.say("col.failed"), people}, {d.say("col.twice"), people}}
	for _, m := range r.Models {
		c.Table.Rows = append(c.Table.Rows, []Cell{text(m.Make), text(m.Model), whole(m.Failed), whole(m.Twice)})
	}
	if r.Failed > 0 {
		c.Say = d.say("repeats.say", count(r.Failed), count(r.Twice), count(r.Same))
	}
	return c
}

// Reasons is a table without a drawing: why tests ended, of all tests.
func (d Drawer) Reasons(reasons []insight.ReasonCount, all insight.Counts) Chart {
	c := Chart{Title: d.say("reasons.title"), Say: d.say("reasons.none")}
	c.Table.Columns = append([]Column{{d.say("col.outcome"), ""}, {d.say("col.reason"), ""}, {d.say("col.tests"), d.say("tests")}}, d.shareColumns("col.ofall")...)
	for _, r := range reasons {
		e := insight.Wilson(r.Tests, all.Tests(), insight.Level)
		c.Table.Rows = append(c.Table.Rows, append([]Cell{text(d.say("outcome." + string(r.Outcome))), text(d.say("reason." + string(r.Reason))), whole(r.Tests)}, d.share(e)...))
	}
	if e := all.Invalid(); e.Known {
		c.Say = d.say("reasons.say", d.percent(e.Share), d.kOfN(e))
	}
	return c
}
