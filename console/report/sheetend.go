// SPDX-License-Identifier: Apache-2.0

package report

import (
	"strconv"
	"strings"
	"time"

	"tallyhood/console/record"
	"tallyhood/console/report/page"
)

// before lists the answers given before the test, and those to being asked by
// name.
func (p printed) before() {
	f := p.f
	f.heading(p.t("before"), 10)
	if len(p.View.Answers) == 0 {
		f.para(p.t("before.none"), plain)
	} else {
		p.answers()
	}
	for _, n := range p.View.Record.Names {
		said, look := p.t("named.yes"), plain
		if !n.Yes {
			said, look = p.t("named.no"), bold
		}
		at := p.t("correction.before")
		if n.AtS != nil {
			at = p.t("correction.at", fixed(*n.AtS))
		}
		f.para(p.t("named", said, p.who(n.By), at), look)
	}
}

func (p printed) answers() {
	f := p.f
	var a, b []field
	for i, q := range p.View.Answers {
		key := "question." + q.Question
		name := q.Question
		if has(key) {
			name = p.t(key)
		}
		answer := p.t("no")
		if q.Yes {
			answer = p.t("yes")
		}
		answer = p.amended(q.Question, answer)
		by := ""
		if q.By != "" && q.By != p.View.Tester {
			by = p.t("by", q.By)
		}
		l := field{name: answer, value: name + by, in: p.t("before")}
		if i < (len(p.View.Answers)+1)/2 {
			a = append(a, l)
		} else {
			b = append(b, l)
		}
	}
	w := (f.wide() - 6) / 2
	const nameW = 9
	h := max(heightOf(w, nameW, a), heightOf(w, nameW, b))
	f.need(h)
	fields(f.d, f.left(), f.y, w, nameW, a)
	fields(f.d, f.left()+w+6, f.y, w, nameW, b)
	f.y += h
}

// who is by whom something was said or done.
func (p printed) who(by string) string {
	switch by {
	case "":
		return p.t("by.unknown")
	case "wearer":
		return p.t("by.wearer")
	}
	return by
}

// changes lists corrections of counts, remarks, amendments of labels, and faults; the
// first value stays visible in each.
func (p printed) changes() {
	f, r := p.f, p.View.Record
	f.heading(p.t("corrections"), 8)
	f.d.In = p.t("corrections")
	for _, c := range r.Corrections {
		where := p.t("part." + string(c.Part))
		if c.TopUp > 0 {
			where = p.t("part.top_up", c.TopUp)
		}
		at, what, by := p.t("correction.before"), p.t("added"), ""
		if c.AtS != nil {
			at = p.t("correction.at", fixed(*c.AtS))
		}
		if c.Delta < 0 {
			what = p.t("taken")
		}
		if c.By != "" {
			by = p.t("by", c.By)
		}
		f.para(p.t("correction", at, what, where, c.Reason, by), plain)
	}
	for _, k := range r.Remarks {
		text := p.t("remark." + k)
		if k == record.RemarkTry {
			text = p.t("remark."+k, r.Try)
		}
		f.para(text, bold)
	}
	for _, a := range p.Amendments {
		name := a.Field
		for _, key := range []string{"field." + a.Field, "question." + a.Field} {
			if has(key) {
				name = p.t(key)
			}
		}
		f.para(p.t("amendment", name, a.From, a.To, strings.TrimRight(a.Reason, ". "), a.By, p.onMoment(a.At, a.Quality)), plain)
	}
	for _, text := range r.Inputs.Faults {
		what, detail, _ := strings.Cut(text, ": ")
		text = what
		if has("fault." + what) {
			text = p.t("fault." + what)
		}
		if detail != "" {
			text += " (" + detail + ")"
		}
		f.para(p.t("fault", text), plain)
	}
	switch {
	case len(r.Inputs.Faults) > 0:
	case len(r.Corrections)+len(p.Amendments) == 0:
		f.para(p.t("no_corrections"), plain)
	default:
		f.para(p.t("no_faults"), plain)
	}
	f.d.In = "the page"
}

// kit names nebulisers, lots, the box and its timing.
func (p printed) kit() {
	f, v, in := p.f, p.View, p.View.Record.Inputs
	f.heading(p.t("kit"), 14)
	if len(p.Kit) == 0 {
		f.para(p.t("kit.none"), plain)
	} else {
		var rows [][]string
		for _, k := range p.Kit {
			checked := p.t("no")
			if k.Checked {
				checked = p.t("yes")
			}
			rows = append(rows, []string{k.Mark, p.code("role.", k.Role), p.code("agent.", k.Agent), k.Lot, hours(k.Age), checked})
		}
		f.table(f.left(), f.wide(), []column{{p.t("mark"), 1.4, false}, {p.t("role"), 2.4, false}, {p.t("agent"), 2.8, false}, {p.t("lot"), 1.8, false}, {p.t("age"), 1.3, false}, {p.t("checked"), 1.1, false}}, rows)
	}
	f.y += 1
	f.list([]field{p.hood()})
	f.heading(p.t("box"), 14)
	button := p.t("button.single")
	if in.Supervised {
		button = p.t("button.pair")
	}
	wiring := p.t("wiring.none")
	if m := minute(v.WiringChecked); m != "" {
		wiring = m
	}
	sound := p.t("sound.none")
	if v.SoundMS > 0 {
		sound = p.t("sound.is", v.SoundMS)
	}
	var parts []string
	for _, b := range v.Box {
		text := p.t("part.state", b.Name, p.code("state.", b.State))
		if b.Reason != "" {
			text += " (" + b.Reason + ")"
		}
		parts = append(parts, text)
	}
	f.twoColumns(
		[]field{{name: p.t("button"), value: button}, {name: p.t("contacts"), value: p.t("contacts.are", in.Squeeze, in.Taste, in.Step, in.NoiseEdges)}, {name: p.t("wiring"), value: wiring}, {name: p.t("sound"), value: sound}},
		[]field{{name: p.t("clock"), value: p.or(p.code("quality.", v.WallQuality))}, {name: p.t("time_source"), value: p.or(v.TimeSource)}, {name: p.t("version"), value: p.or(v.Version)}, {name: p.t("parts"), value: p.or(strings.Join(parts, "; "))}})
}

// hood names the hood with its size; one larger than the published hood is said
// to be so, since the mist was thinner in it.
func (p printed) hood() field {
	h := p.Hood
	if h == nil {
		return field{name: p.t("hood"), value: p.t("hood.none")}
	}
	across, tall := p.t("hood.across", h.AcrossMM), p.t("hood.tall", h.TallMM)
	if h.AcrossMM == 0 {
		across = p.t("hood.across.none")
	}
	if h.TallMM == 0 {
		tall = p.t("hood.tall.none")
	}
	out := field{name: p.t("hood"), value: p.t("hood.is", h.Mark, across, tall)}
	if h.AcrossMM == 0 && h.TallMM == 0 {
		out.value = p.t("hood.unmeasured", h.Mark)
	}
	if h.Oversized {
		out.value, out.strong = p.t("hood.oversized", out.value), true
	}
	return out
}

func hours(d time.Duration) string {
	d = d.Round(time.Minute)
	return strconv.Itoa(int(d.Hours())) + " h " + strconv.Itoa(int(d.Minutes())%60) + " min"
}

// signatures shows what was drawn, or lines to sign on paper. Practice is not
// signed.
func (p printed) signatures() {
	if p.practice() {
		return
	}
	f := p.f
	f.heading(p.t("signatures"), 27)
	const h, gap = 17.0, 6.0
	w := (f.wide() - gap) / 2
	for i, who := range []string{"tester", "wearer"} {
		x := f.left() + float64(i)*(w+gap)
		drawn := -1
		for j, s := range p.Signatures {
			if s.Who == who {
				drawn = j // the last one
			}
		}
		f.d.In = p.t("signatures")
		foot := []string{p.t("signed." + who), p.t("signed.none") + " " + p.t("sign_here")}
		if drawn >= 0 {
			s := p.Signatures[drawn]
			p.strokes(x, f.y+1, w, h-2, s)
			name := s.Name
			if who == "wearer" && p.Person.Erased {
				name = p.t("erased")
			}
			key := "signed.stale"
			if s.Holds {
				key = "signed.holds"
			}
			if s.How == "drawn" || s.How == "typed" {
				key += "." + s.How
			}
			foot = []string{join(", ", p.t("signed."+who), name, p.moment(s.At, s.Quality)), p.t(key)}
		}
		f.d.Line(x, f.y+h, x+w, f.y+h, inkLine)
		y := f.y + h
		for _, text := range foot {
			for _, line := range page.Wrap(text, soft, w) {
				y += tall(soft)
				f.d.Text(x, y-0.2, line, soft)
			}
		}
	}
	f.d.In = "the page"
	f.y += h + 4*tall(soft)
}

func (p printed) strokes(x, y, w, h float64, s Signature) {
	ratio := s.Ratio
	if ratio <= 0 {
		ratio = 3
	}
	if w > h*ratio {
		w = h * ratio
	} else {
		h = w / ratio
	}
	unit := func(v float64) float64 { return min(1, max(0, v)) }
	for _, line := range s.Strokes {
		var at []page.Point
		for _, q := range line {
			at = append(at, page.Point{X: x + unit(q.X)*w, Y: y + unit(q.Y)*h})
		}
		if len(at) == 1 {
			ink := page.Ink
			p.f.d.Circle(at[0].X, at[0].Y, 0.25, &ink, page.Pen{})
		}
		p.f.d.Polyline(at, page.Pen{Width: 0.4, Color: page.Ink})
	}
}

func (p printed) cautions() {
	p.f.heading(p.t("cautions"), 16)
	p.f.para(p.prevails(), bold)
	for _, key := range []string{"caution.1", "caution.2", "caution.3"} {
		p.f.para(p.t(key), plain)
	}
}

// prevails is the rule set's own sentence where it says more than ours.
func (p printed) prevails() string {
	ours := p.t("prevails")
	if v := strings.TrimSpace(p.View.Prevails); v != "" && v != ours {
		return ours + " " + v
	}
	return ours
}

func (p printed) evidence() {
	f := p.f
	f.heading(p.t("evidence"), 18)
	f.list([]field{{name: p.t("entry"), value: strconv.FormatUint(p.View.Number, 10)}, {name: p.t("hash"), value: p.View.Hash}})
	lines := func(name string, all []string) {
		f.list([]field{{name: name, value: all[0], in: name}})
		for _, l := range all[1:] {
			f.list([]field{{value: l, in: name}})
		}
	}
	if head := split(p.Head); len(head) > 0 {
		lines(p.t("head"), head)
	} else {
		lines(p.t("head"), []string{p.t("head.none")})
	}
	if len(p.Proof) > 0 {
		lines(p.t("inclusion"), p.Proof)
	}
	f.para(p.t("attached"), soft)
}

// split gives the lines of a text that hold something.
func split(text string) []string {
	var out []string
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// sources says where the figures of the rules stand.
func (p printed) sources() {
	f, r := p.f, p.Rules
	if r.ID == "" {
		return
	}
	f.heading(p.t("sources"), 20)
	seconds := func(v float64) string {
		if v >= 60 && v != 60 {
			return p.t("unit.min", strconv.FormatFloat(v/60, 'f', -1, 64))
		}
		return p.t("unit.s", strconv.FormatFloat(v, 'f', -1, 64))
	}
	number := func(key string) func(float64) string {
		return func(v float64) string { return p.t(key, strconv.FormatFloat(v, 'f', -1, 64)) }
	}
	var rows [][]string
	add := func(name string, value float64, in func(float64) string, source, mark string) {
		for _, m := range []string{"M", "H", "CP"} {
			if strings.Contains(mark, "["+m+"]") {
				source = join("; ", source, p.t("mark."+m))
			}
		}
		rows = append(rows, []string{p.t(name), in(value), source})
	}
	g := r.Figures
	add("figure.abstinence", g.Abstinence.Value, seconds, g.Abstinence.Source, g.Abstinence.Mark)
	add("figure.wear", g.Wear.Value, seconds, g.Wear.Source, g.Wear.Mark)
	add("figure.screening", g.ScreeningMost.Value, number("unit.squeezes"), g.ScreeningMost.Source, g.ScreeningMost.Mark)
	add("figure.exercise", g.Exercise.Value, seconds, g.Exercise.Source, g.Exercise.Mark)
	add("figure.interval", g.TopUpInterval.Value, seconds, g.TopUpInterval.Source, g.TopUpInterval.Mark)
	if r.Retest != nil {
		add("figure.retest", r.Retest.Value, number("unit.months"), r.Retest.Source, r.Retest.Mark)
	}
	if r.Keep != nil {
		add("figure.keep", r.Keep.Value, number("unit.months"), r.Keep.Source, r.Keep.Mark)
	}
	f.table(f.left(), f.wide(), []column{{p.t("figure"), 2, false}, {p.t("value"), 1.2, false}, {p.t("source"), 6.5, false}}, rows)
}
