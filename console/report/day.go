// SPDX-License-Identifier: Apache-2.0

package report

import (
	"errors"
	"io"
	"strconv"
	"time"

	"tallyhood/console/report/page"
)

// A Reminder is a slip for one person before a test.
type Reminder struct {
	Person  string
	Day     string // in words or 2006-01-02
	At      string // time of day
	Place   string
	From    string // since when nothing but water, in words; worked out by the caller from the rules
	Rules   string // id of the rule set that asks for it; without words for that nothing is said
	Minutes int    // for how long it asks
	// Language of this slip, and its words by the keys of Carried; nil: those of
	// the set.
	Language string
	Own      Catalogue
}

// Paperwork says how a set of sheets is printed.
type Paperwork struct {
	Paper    Paper
	Site     string
	Language string
	Made     time.Time // for the PDF's own date; may be zero
}

// RemindersPDF writes slips to cut out, eight to a page.
func RemindersPDF(w io.Writer, all []Reminder, how Paperwork) error {
	set, err := wordsOf(how.Language)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return errors.New("nobody is to be reminded")
	}
	const cols, rows = 2, 4
	sw, sh := how.Paper.W/cols, how.Paper.H/rows
	dash := page.Pen{Width: 0.2, Color: page.Soft, Dash: []float64{2, 2}}
	var pages []*page.Drawing
	for i, r := range all {
		say := set
		if r.Own != nil {
			if say, err = wordsIn(r.Language, r.Own); err != nil {
				return err
			}
		}
		if i%(cols*rows) == 0 {
			d := page.New(how.Paper.W, how.Paper.H)
			d.Line(sw, 4, sw, how.Paper.H-4, dash)
			for k := 1; k < rows; k++ {
				d.Line(4, float64(k)*sh, how.Paper.W-4, float64(k)*sh, dash)
			}
			pages = append(pages, d)
		}
		d := pages[len(pages)-1]
		k := i % (cols * rows)
		x, y := float64(k%cols)*sw+9, float64(k/cols)*sh+9
		scale := 1.0
		for ; slip(page.New(how.Paper.W, how.Paper.H), x, y, sw-18, scale, say, r, how.Site) > float64(k/cols+1)*sh-4; scale -= 0.05 {
			if scale < 0.8 && r.Own != nil { // longer words are no reason to remind nobody
				say, r.Own, scale = set, nil, 1
			}
			if scale < 0.8 {
				return errors.New("the words of a reminder do not fit on its slip")
			}
		}
		slip(d, x, y, sw-18, scale, say, r, how.Site)
	}
	return page.PDF(w, page.Info{Title: set.say("reminder.title"), Language: set.lang, Made: how.Made}, pages...)
}

// slip writes a reminder from the top left corner and gives where it ends.
func slip(d *page.Drawing, x, y, w, scale float64, say words, r Reminder, site string) float64 {
	put := func(what, text string, size float64, strong bool) {
		st := page.Style{Size: size * scale, Bold: strong, Color: page.Ink}
		d.In = what
		for _, line := range page.Wrap(text, st, w) {
			y += tall(st)
			d.Text(x, y-0.25*tall(st), line, st)
		}
	}
	put(say.say("name"), join(": ", say.say("reminder.title"), r.Person), 11, true)
	put(say.say("date"), join(", ", r.Day, r.At, r.Place), 10, false)
	y += 1.5
	put(say.say("reminder.title"), say.say("reminder.water", r.From), 10, true)
	for _, key := range []string{"reminder.no", "reminder.shave", "reminder.bring", "reminder.unwell"} {
		put("", say.say(key), 8.2, false)
	}
	if rules := "card.rules." + r.Rules; has(rules) {
		put("", say.say("reminder.rule", strconv.Itoa(r.Minutes), say.say(rules)), 8.2, false)
	}
	put(say.say("site"), site, 7, false)
	return y
}

// A Section of a summary is a heading, words, and a table.
type Section struct {
	Heading string
	Text    []string
	Table   Table
	// Shares are the widths of the columns in parts; empty: all the same.
	Shares []float64
}

// SummaryPDF writes a summary for the employer from the caller's tables.
func SummaryPDF(w io.Writer, title string, lines []string, sections []Section, practice bool, how Paperwork) error {
	say, err := wordsOf(how.Language)
	if err != nil {
		return err
	}
	f := newFlow(how.Paper, func(f *flow) {
		f.d.Text(f.left(), f.y, title, page.Style{Size: 8, Bold: true, Color: page.Ink})
		f.y += 1.6
		f.d.Line(f.left(), f.y, f.right(), f.y, inkLine)
		f.y += 2
	})
	f.y += 3
	f.d.Text(f.left(), f.y, title, page.Style{Size: 15, Bold: true, Color: page.Ink})
	f.y += 2
	f.d.Line(f.left(), f.y, f.right(), f.y, inkLine)
	f.y += 2
	if how.Site != "" {
		f.para(how.Site, bold)
	}
	for _, l := range lines {
		f.para(l, plain)
	}
	for _, s := range sections {
		f.heading(s.Heading, 16)
		f.d.In = s.Heading
		for _, l := range s.Text {
			f.para(l, plain)
		}
		if len(s.Table.Columns) == 0 {
			continue
		}
		if err := s.Table.check(); err != nil {
			return err
		}
		if len(s.Table.Rows) == 0 {
			f.para(say.say("summary.empty"), plain)
			continue
		}
		var cols []column
		for i, c := range s.Table.Columns {
			col := column{c.Name, 1, c.Kind == Integer || c.Kind == Number}
			if i < len(s.Shares) {
				col.part = s.Shares[i]
			}
			cols = append(cols, col)
		}
		var rows [][]string
		for _, r := range s.Table.Rows {
			row := make([]string, len(r))
			for i, c := range r {
				row[i] = c.Text()
				if c.kind == Bool {
					row[i] = say.say(map[bool]string{true: "yes", false: "no"}[c.i != 0])
				}
			}
			rows = append(rows, row)
		}
		f.table(f.left(), f.wide(), cols, rows)
	}
	if f.err != nil {
		return f.err
	}
	pageNumbers(f, say)
	pages := f.pages
	if practice {
		pages = nil
		for _, d := range f.pages {
			under := page.New(d.W, d.H)
			practiceFrame(under, say.say("practice"))
			pages = append(pages, d.Over(under))
		}
	}
	return page.PDF(w, page.Info{Title: title, Language: say.lang, Made: how.Made}, pages...)
}
