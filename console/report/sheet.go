// SPDX-License-Identifier: Apache-2.0

package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"tallyhood/console/hoodlevel"
	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/report/page"
)

// RecordPDF writes a record as PDF/A-3b on the given paper, with the record's
// JSON attached. A character that cannot be printed is a *page.MissingGlyph
// that names the field and the character.
func RecordPDF(w io.Writer, s Sheet, paper Paper) error {
	if s.View.Record == nil {
		return errNoVerdict
	}
	say, err := wordsOf(s.Language)
	if err != nil {
		return err
	}
	s = s.settled()
	data, err := s.View.Record.JSON()
	if err != nil {
		return fmt.Errorf("record %s: %w", s.View.Run, err)
	}
	p := printed{s, say, newFlow(paper, nil)}
	p.f.begin = p.running
	p.whole()
	if p.f.err != nil {
		return p.f.err
	}
	for i, d := range p.f.pages {
		p.foot(d, i+1, len(p.f.pages))
	}
	pages := p.f.pages
	if s.practice() {
		pages = nil
		for _, d := range p.f.pages {
			under := page.New(d.W, d.H)
			practiceFrame(under, say.say("practice"))
			pages = append(pages, d.Over(under))
		}
	}
	return page.PDF(w, page.Info{
		Title: say.say("title") + " " + s.View.Run, Subject: say.say("run", s.View.Run), Language: say.lang, Made: s.opened(),
		Attached: []page.File{{Name: "record.json", Type: "application/json", About: record.Schema, Data: append(data, '\n')}},
	}, pages...)
}

type printed struct {
	Sheet
	say words
	f   *flow
}

func (p printed) t(key string, args ...any) string { return p.say.say(key, args...) }

// running stands on top of every page after the first.
func (p printed) running(f *flow) {
	f.d.Text(f.left(), f.y, p.t("title"), page.Style{Size: 8, Bold: true, Color: page.Ink})
	f.d.Text(f.right(), f.y, join(", ", p.t("run", p.View.Run), p.name(), p.outcomeWord()), page.Style{Size: 8, Color: page.Ink, Align: page.Right})
	f.y += 1.6
	f.d.Line(f.left(), f.y, f.right(), f.y, inkLine)
	f.y += 2
}

func (p printed) foot(d *page.Drawing, n, of int) {
	y := d.H - 10.5
	d.Line(marginX, y-3.4, d.W-marginX, y-3.4, hair)
	st := page.Style{Size: 6.8, Color: page.Ink}
	d.Text(marginX, y, p.t("prevails"), st)
	st.Align = page.Right
	d.Text(d.W-marginX, y, p.t("page", n, of), st)
	st.Align, st.Color = page.Left, page.Soft
	d.Text(marginX, y+3, join("  ", p.t("run", p.View.Run), p.t("hash.short", p.View.Hash)), page.Style{Size: 5.6, Color: page.Soft})
	if p.practice() {
		d.Text(d.W/2+40, y, p.t("practice"), page.Style{Size: 8, Bold: true, Color: page.Ink, Align: page.Center})
	}
}

func (p printed) name() string {
	if p.Person.Erased {
		return p.t("erased")
	}
	// A name too long for a running line stands whole in its field.
	if n := []rune(p.Person.Name); len(n) > 40 {
		return string(n[:39]) + "…"
	}
	return p.Person.Name
}

func (p printed) whole() {
	f := p.f
	f.y += 3
	f.d.Text(f.left(), f.y, p.t("title"), page.Style{Size: 15, Bold: true, Color: page.Ink})
	f.d.Text(f.right(), f.y, p.t("run", p.View.Run), page.Style{Size: 9.5, Color: page.Ink, Align: page.Right})
	f.y += 2
	f.d.Line(f.left(), f.y, f.right(), f.y, inkLine)
	f.y += 2
	if p.practice() {
		f.para(p.t("practice.line", p.code("practice.", p.View.Practice)), page.Style{Size: 9.5, Bold: true, Color: page.Ink})
		f.y += 1.5
	}
	p.outcome()
	p.facts()
	p.strip()
	p.doses()
	p.before()
	p.changes()
	p.kit()
	p.signatures()
	p.cautions()
	p.evidence()
	p.sources()
}

// code gives the words of a code, or the code itself.
func (p printed) code(prefix, code string) string {
	if code == "" || !has(prefix+code) {
		return strings.ReplaceAll(code, "_", " ")
	}
	return p.t(prefix + code)
}

func (p printed) outcome() {
	f, o := p.f, p.Outcome()
	var lines []string
	if p.Recalled != nil {
		lines = append(lines, p.t("recalled", p.Recalled.Reason, p.t("outcome."+string(p.View.Record.First()))),
			p.t("recalled.by", p.Recalled.By, p.onMoment(p.Recalled.At, p.Recalled.Quality)))
	} else if p.View.Record.Reason != "" {
		lines = append(lines, p.t("reason."+string(p.View.Record.Reason)))
	}
	word := p.outcomeWord()
	if p.inDoubt() {
		o = p.shape()
		lines = append(lines, p.t("meaning.doubt"))
	} else {
		lines = append(lines, p.t("meaning."+string(o)))
	}
	st := page.Style{Size: 9.2, Color: page.Ink}
	big := page.Style{Size: 19, Bold: true, Color: page.Ink}
	if o == procedure.Fail {
		big.Color = page.Stop
	}
	const shape = 13.0
	wordW := page.Width(word, big)
	textX := f.left() + shape + wordW + 15
	var wrapped []string
	for _, l := range lines {
		wrapped = append(wrapped, page.Wrap(l, st, f.right()-textX-3)...)
	}
	h := max(shape+6, float64(len(wrapped))*tall(st)+5)
	f.need(h)
	outcomeFrame(f.d, f.left(), f.y, f.wide(), h, o)
	outcomeMark(f.d, f.left()+4, f.y+(h-shape)/2, shape, o)
	f.d.Text(f.left()+shape+8, f.y+h/2+2.4, word, big)
	y := f.y + (h-float64(len(wrapped))*tall(st))/2
	f.d.In = p.t("result")
	for _, l := range wrapped {
		y += tall(st)
		f.d.Text(textX, y-0.25*tall(st), l, st)
	}
	f.d.In = "the page"
	f.y += h + 1
}

func (p printed) stands() bool { return p.Outcome() == procedure.Pass && !p.inDoubt() }

func (p printed) outcomeWord() string {
	word := p.t("outcome." + string(p.Outcome()))
	if p.inDoubt() {
		word = p.t("outcome.doubt")
	}
	if p.practice() {
		word = p.t("practice") + ": " + word
	}
	return word
}

// moment is when something was done, with how far the clock could be trusted.
func (p printed) moment(rfc3339, quality string) string {
	at := minute(rfc3339)
	if at != "" && quality != "" {
		at = p.t("clock.was", at, p.code("quality.", quality))
	}
	return at
}

// onMoment is the same within a sentence.
func (p printed) onMoment(rfc3339, quality string) string {
	if at := p.moment(rfc3339, quality); at != "" {
		return p.t("on", at)
	}
	return ""
}

// amended gives a label with its first value where it was corrected.
func (p printed) amended(id, first string) string {
	now := first
	seen := false
	for _, a := range p.Amendments {
		if a.Field == id {
			if !seen {
				first, seen = a.From, true
			}
			now = a.To
		}
	}
	if !seen {
		return now
	}
	return p.t("corrected.first", now, first)
}

func (p printed) or(text string) string {
	if strings.TrimSpace(text) == "" {
		return p.t("not_stated")
	}
	return text
}

func (p printed) facts() {
	f, v, r := p.f, p.View, p.View.Record
	person := []field{{name: p.t("name"), value: p.or(p.Person.Name), strong: true}, {name: p.t("number"), value: p.or(p.Person.Number)}}
	if p.Person.Job != "" {
		person = append(person, field{name: p.t("job"), value: p.Person.Job})
	}
	if p.Person.Erased {
		person = []field{{name: p.t("name"), value: p.t("erased.long"), strong: true}}
	}
	person = append(person, field{name: p.t("site"), value: p.or(p.Site)})
	piece := []field{
		{name: p.t("make"), value: p.or(p.Facepiece.Make), strong: true}, {name: p.t("model"), value: p.or(p.Facepiece.Model), strong: true},
		{name: p.t("style"), value: p.or(p.Facepiece.Style)}, {name: p.t("size"), value: p.or(p.Facepiece.Size), strong: true},
		{name: p.t("type"), value: p.or(p.code("kind.", string(p.Facepiece.Type)))},
		{name: p.t("whose"), value: p.or(p.amended("whose", join("", p.Facepiece.Whose)))},
	}
	if n := p.Facepiece.FitFactor; n > 0 {
		piece = append(piece, field{name: p.t("fit_factor"), value: strconv.Itoa(n)})
	}
	date := minute(v.Opened)
	switch {
	case date == "":
		date = p.t("date.none")
	case !p.trusted():
		date = p.t("date.untrusted", date)
	}
	due := p.t("due.unknown")
	switch {
	case p.practice():
		due = p.t("due.none", p.t("practice"))
	case p.Due.Why != "":
		due = p.t("due.none", p.Due.Why)
	case !p.stands():
		// A day for the next test is reckoned from a pass that stands, only.
		due = p.t("due.none", p.t("due.no_pass"))
	case !p.trusted():
		due = p.t("due.none", p.t("date.untrusted", day(v.Opened)))
	case p.Due.On != "":
		due = p.Due.On
	}
	test := []field{
		{name: p.t("date"), value: date, strong: true}, {name: p.t("method"), value: p.t("method.is", p.code("agent.", r.Agent))},
		{name: p.t("rules"), value: p.or(join(" ", v.RulesName))}, {name: p.t("tester"), value: p.or(p.amended("tester", v.Tester))},
		{name: p.t("due"), value: due, strong: true},
	}
	w := (f.wide() - 6) / 2
	head := func(x float64, text string) {
		f.d.Text(x, f.y+4, text, page.Style{Size: 10, Bold: true, Color: page.Accent})
		f.d.Line(x, f.y+5.4, x+w, f.y+5.4, hair)
	}
	f.need(30)
	head(f.left(), p.t("person"))
	head(f.left()+w+6, p.t("facepiece"))
	f.y += 6.2
	// Person and test stand beside the facepiece where they fit.
	f.twoColumns(person, piece)
	f.heading(p.t("test"), 20)
	f.twoColumns(test[:3], append(test[3:], p.measured()...))
}

// measured is what the run came to in numbers.
func (p printed) measured() []field {
	r := p.View.Record
	d := ""
	if r.Screening.Doubtful > 0 {
		d = p.t("doubtful", r.Screening.Doubtful)
	}
	one := ""
	if r.Screening.Squeezes == 1 {
		one = ".one"
	}
	out := []field{{name: p.t("screening"), value: p.t("screening.none"+one, r.Screening.Squeezes, d)}}
	if r.Screening.Bin > 0 {
		out[0].value = p.t("screening.bin"+one, r.Screening.Squeezes, d, r.Screening.Bin)
	}
	return out
}

func (p printed) strip() {
	f, r := p.f, p.View.Record
	if r.Fit == nil {
		f.heading(p.t("strip"), 8)
		f.para(p.t("no_fit"), plain)
		return
	}
	f.heading(p.t("strip"), stripHeight+12)
	f.y += 1
	strip(f.d, f.left(), f.y, f.wide(), p.Sheet, p.say)
	f.y += stripHeight
	f.para(p.t("strip.caption"), soft)
	f.para(p.t("modelled", int(hoodlevel.DefaultHalfLife/time.Second)), soft)
	if r.Fit.DurationS == nil {
		f.para(p.t("no_clock"), bold)
	}
}

func (p printed) doses() {
	f, r := p.f, p.View.Record
	if r.Fit == nil {
		return
	}
	fit := r.Fit
	f.heading(p.t("doses")+", "+strings.ToLower(p.t("exercises")), 30)
	left := []field{{name: p.t("initial"), value: join(", ", p.t("of", fit.Initial.Given, fit.Initial.Required), p.remarks(fit.Initial.Remarks, 0, fit.Initial.Doubtful, fit.Initial.Added, fit.Initial.Taken))},
		{name: p.t("squeezes_total"), value: strconv.Itoa(fit.SqueezesTotal)}}
	var right []field
	if fit.DurationS != nil {
		right = append(right, field{name: p.t("duration"), value: p.t("seconds", fixed(*fit.DurationS))})
	} else {
		right = append(right, field{name: p.t("duration"), value: p.t("no_clock")})
	}
	if fit.TasteS != nil && fit.TasteExercise != nil {
		right = append(right, field{name: p.t("tasted_at"), value: p.t("tasted_at.is", fixed(*fit.TasteS), p.t("exercise."+*fit.TasteExercise)), strong: true})
	}
	if fit.Level != nil {
		right = append(right, field{name: p.t("level"), value: p.t("level.is", fit.Level.Mean, fit.Level.Min)})
	}
	if r.Proof != nil {
		said := p.t("proof." + *r.Proof)
		if l := r.ProofLeft; l != nil {
			said = p.t("proof."+l.Why, p.who(l.By))
		}
		left = append(left, field{name: p.t("proof"), value: said, strong: *r.Proof != "tasted"})
	}
	f.twoColumns(left, right)
	var rows [][]string
	for _, t := range fit.TopUps {
		rows = append(rows, []string{strconv.Itoa(t.N), fixed(t.DueS), p.t("top_ups.of", t.Given, t.Required), optional(t.FirstS), optional(t.DoneS),
			join(", ", p.short(t), p.remarks(t.Remarks, t.Extra, t.Doubtful, t.Added, t.Taken))})
	}
	var ex [][]string
	begun := map[string]record.Exercise{}
	for _, e := range fit.Exercises {
		begun[e.ID] = e
	}
	for _, e := range p.Rules.Exercises {
		row := []string{p.t("exercise." + e.ID), "", p.t("exercise.not_begun")}
		if b, ok := begun[e.ID]; ok {
			row[1] = wholeMinutes(time.Duration(b.StartS)) + " - " + clock(b.EndS)
			row[2] = p.t("exercise.done")
			if time.Duration(b.EndS-b.StartS) < p.Rules.Figures.Exercise.Duration() {
				row[2] = p.t("exercise.cut")
			}
		}
		ex = append(ex, row)
	}
	// Side by side: top-ups and exercises are about as tall.
	f.need(8 + 4.6*float64(max(len(rows), len(ex))))
	top, pages := f.y, len(f.pages)
	doseW := f.wide() * 0.55
	if len(rows) > 0 {
		f.table(f.left(), doseW, []column{{p.t("top_up"), 1, true}, {p.t("due_s"), 1.5, true}, {p.t("given"), 2, false}, {p.t("first_s"), 1.6, true}, {p.t("done_s"), 1.6, true}, {p.t("remarks"), 4.2, false}}, rows)
	}
	bottom := f.y
	x, w := f.left()+doseW+5, f.wide()-doseW-5
	if len(rows) == 0 || len(f.pages) != pages {
		x, w = f.left(), f.wide()
	} else {
		f.y = top
	}
	f.table(x, w, []column{{p.t("exercise"), 3.6, false}, {p.t("from_to"), 1.9, false}, {p.t("course"), 1.9, false}}, ex)
	f.y = max(f.y, bottom)
}

func (p printed) short(t record.TopUp) string {
	if t.DoneS == nil && t.Given < t.Required {
		return p.t("remark.short")
	}
	return ""
}

func (p printed) remarks(list []string, extra, doubtful, added, taken int) string {
	var out []string
	for _, r := range list {
		if r == "extra" && extra > 0 {
			out = append(out, p.t("remark.extras", extra))
			continue
		}
		out = append(out, p.t("remark."+r))
	}
	for _, n := range []struct {
		n   int
		key string
	}{{doubtful, "doubtful"}, {added, "added"}, {taken, "taken"}} {
		if n.n > 0 {
			out = append(out, p.t("remark."+n.key, n.n))
		}
	}
	return strings.Join(out, ", ")
}

// fixed writes seconds to a tenth.
func fixed(s record.Seconds) string {
	return strconv.FormatFloat(time.Duration(s).Seconds(), 'f', 1, 64)
}

func optional(s *record.Seconds) string {
	if s == nil {
		return ""
	}
	return fixed(*s)
}

// clock writes seconds as minutes, seconds and tenths.
func clock(s record.Seconds) string {
	d := time.Duration(s).Round(100 * time.Millisecond)
	if d%time.Second == 0 {
		return wholeMinutes(d)
	}
	return fmt.Sprintf("%d:%04.1f", int(d.Minutes()), (d % time.Minute).Seconds())
}

// wholeMinutes writes a duration as minutes and seconds.
func wholeMinutes(d time.Duration) string {
	return fmt.Sprintf("%d:%02d", int(d.Minutes()), int((d%time.Minute)/time.Second))
}
