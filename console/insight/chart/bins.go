// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"strings"

	"tallyhood/console/insight"
)

// Bins draws, for each agent, at which squeeze the taste was reported.
func (d Drawer) Bins(agents []insight.AgentBins) Chart {
	c := Chart{Title: d.say("bins.title"), Say: d.say("bins.none")}
	c.Table.Columns = append([]Column{{d.say("col.agent"), ""}, {d.say("col.bin"), ""}, {d.say("col.people"), d.say("tests")}}, d.shareColumns("col.binshare")...)
	c.Table.Columns = append(c.Table.Columns, Column{d.say("col.remark"), ""})
	var items []string
	var shown []insight.AgentBins
	for _, a := range agents {
		for i := range 4 {
			e := a.Share(i)
			row := append([]Cell{text(d.agent(a.Agent)), text(d.binName(i)), whole(e.K)}, d.share(e)...)
			c.Table.Rows = append(c.Table.Rows, append(row, d.fewCell(e.Few())))
		}
		if a.Insensitive.Known {
			shown = append(shown, a)
			items = append(items, d.say("bins.item", d.agent(a.Agent), d.percentFine(a.Insensitive.Share), d.kOfN(a.Insensitive)))
		}
	}
	if len(shown) == 0 {
		return c
	}
	c.Say = d.say("bins.say", strings.Join(items, ", "))
	c.Notes = []string{d.say("bins.note")}
	const panel, tall = 182.0, 82.0
	p := &pen{id: "bins", w: d.width(), h: panel*float64(len(shown)) + 30, d: d}
	p.rect(0.5, 0.5, p.w-1, p.h-1, "sheet", "line", ` rx="4"`)
	// Thirty bars in three blocks, and one for nothing, over equal widths.
	x0, gap := 18.0, 10.0
	lastWide := 0.16 * p.w
	bar := (p.w - 2*x0 - 3*gap - lastWide) / 30
	x := func(squeeze int) float64 { return x0 + float64(squeeze-1)*bar + float64((squeeze-1)/10)*gap }
	for i, a := range shown {
		top := panel*float64(i) + 12
		base := top + 62 + tall
		name := cut(d.agent(a.Agent), 16, p.w/2)
		p.bold(x0, top+16, 16, left, "ink", name)
		p.text(x0+1.1*wide(name, 16)+10, top+16, axisSize, left, "soft", count(a.Insensitive.N)+" "+d.say("col.people"))
		most := a.None
		for _, n := range a.Exact {
			most = max(most, n)
		}
		for b := range 4 {
			from, to := x(10*b+1), x(10*b+1)+10*bar
			if b == 3 {
				from = x(30) + bar + gap
				to = from + lastWide
			}
			e := a.Share(b)
			p.group(d.agent(a.Agent) + ", " + d.binName(b) + ": " + d.kOfN(e) + ", " + d.interval(e))
			p.line(from, base, to, base, "ink", 1.6, "")
			head, fine := d.binName(b), d.percentFine(e.Share)
			if b == 3 && wide(head, axisSize) > to-from {
				head = d.say("none")
			}
			p.text(from, top+38, axisSize, left, "soft", head)
			p.bold(from, top+54, bodySize, left, "accent", fine)
			if b < 3 {
				for s := 10*b + 1; s <= 10*b+10; s++ {
					h := tall * float64(a.Exact[s]) / float64(max(1, most))
					p.rect(x(s)+bar*0.12, base-h, bar*0.76, h, "ink", "", "")
				}
			} else {
				h := tall * float64(a.None) / float64(max(1, most))
				p.rect(from+lastWide*0.35, base-h, lastWide*0.3, h, "sheet", "ink", "")
			}
			p.end()
		}
		for _, s := range []int{1, 10, 11, 20, 21, 30} {
			at, anchor := x(s), left
			if s%10 == 0 {
				at, anchor = x(s)+bar, right
			}
			p.text(at, base+16, axisSize, anchor, "soft", count(s))
		}
	}
	p.text(x0, p.h-10, axisSize, left, "soft", d.say("bins.squeeze"))
	c.SVG = p.svg(c.Title, d.say("bins.desc"))
	return c
}

// agent has a word in the catalogue, or stands by its id.
func (d Drawer) agent(id string) string {
	if s := d.say("agent." + id); s != "agent."+id {
		return s
	}
	return id
}

func (d Drawer) binName(i int) string {
	if i == 3 {
		return d.say("bins.nothing")
	}
	return d.say("bins.bin", count(10*i+10))
}

// percentFine has one digit more, for small shares.
func (d Drawer) percentFine(share float64) string { return d.say("percent", d.num(share*100, 1)) }
