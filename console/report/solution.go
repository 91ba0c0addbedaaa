// SPDX-License-Identifier: Apache-2.0

package report

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/report/page"
)

// A Batch is a batch of solution, for its sheet and its label.
type Batch struct {
	Agent    string // sweet or bitter
	Strength string // procedure.Weak or procedure.Strong
	Lot      string
	Made     string // day it was made or opened
	Expires  string // day
	Who      string
	Site     string

	Recipe    string // as published, in words
	Source    string // where it stands
	Mark      string // how its figures were come by, as in a rule set
	ForML     float64
	Parts     []Part  // of the published recipe; may be empty
	ML        float64 // wanted; 0: as published
	Language  string
	Printed   time.Time // for the PDF's own date; may be zero
	Equipment string    // further words for the sheet; may be empty
}

// A Part of a recipe is an amount of something. Amounts are multiplied for a
// larger or smaller batch of the same recipe, and never worked out from another.
type Part struct {
	What   string
	Amount float64
	Unit   string
}

// The label of a bottle.
const labelW, labelH = 62.0, 29.0

var errBatch = errors.New("a batch needs agent, strength (weak or strong), lot and the day after which it is not used")

func (b Batch) check() error {
	if b.Agent == "" || b.Lot == "" || b.Expires == "" || b.Strength != procedure.Weak && b.Strength != procedure.Strong {
		return errBatch
	}
	if b.ML < 0 || b.ForML < 0 || b.ML > 0 && b.ForML == 0 && len(b.Parts) > 0 {
		return errors.New("a batch can be scaled only from a recipe that says how much it makes")
	}
	return nil
}

// amount writes a scaled amount with four figures at most, trailing zeros gone.
func amount(v float64, unit string) string {
	return join(" ", strconv.FormatFloat(round4(v), 'f', -1, 64), unit)
}

func round4(v float64) float64 {
	text := strconv.FormatFloat(v, 'g', 4, 64)
	out, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return v
	}
	return out
}

// BatchPDF writes the sheet of a batch: the recipe as published, the amounts
// for this batch, cautions, and lines to sign.
func BatchPDF(w io.Writer, b Batch, paper Paper) error {
	if err := b.check(); err != nil {
		return err
	}
	say, err := wordsOf(b.Language)
	if err != nil {
		return err
	}
	title := join(" ", say.say("batch.title"), b.Lot)
	f := newFlow(paper, func(f *flow) {
		f.d.Text(f.left(), f.y, title, page.Style{Size: 8, Bold: true, Color: page.Ink})
		f.y += 3
	})
	f.y += 3
	f.d.In = say.say("label.lot")
	f.d.Text(f.left(), f.y, title, page.Style{Size: 15, Bold: true, Color: page.Ink})
	f.y += 2
	f.d.Line(f.left(), f.y, f.right(), f.y, inkLine)
	f.y += 3
	h := 17.0
	strengthFrame(f.d, f.left(), f.y, f.wide(), h, b.Strength)
	ink := page.Ink
	if b.Strength == procedure.Strong {
		ink = page.White
	}
	f.d.Text(f.left()+5, f.y+11, say.say("label."+b.Strength), page.Style{Size: 22, Bold: true, Color: ink})
	f.d.Text(f.left()+60, f.y+7.5, say.say("agent."+b.Agent), page.Style{Size: 11, Bold: true, Color: ink})
	f.d.Text(f.left()+60, f.y+12.5, say.say("label.for."+b.Strength), page.Style{Size: 10, Color: ink})
	f.y += h + 3
	f.twoColumns([]field{{name: say.say("label.lot"), value: b.Lot, strong: true}, {name: say.say("label.made"), value: b.Made}, {name: say.say("label.expires"), value: b.Expires, strong: true}},
		[]field{{name: say.say("label.who"), value: b.Who}, {name: say.say("site"), value: b.Site}})
	f.heading(say.say("batch.recipe"), 10)
	f.d.In = say.say("batch.recipe")
	f.para(b.Recipe, plain)
	source := b.Source
	for _, m := range []string{"M", "H", "CP"} {
		if containsMark(b.Mark, m) {
			source = join("; ", source, say.say("mark."+m))
		}
	}
	f.para(say.say("batch.source")+": "+source, soft)
	if len(b.Parts) > 0 {
		want, k := b.ForML, 1.0
		if b.ML > 0 {
			want, k = b.ML, b.ML/b.ForML
		}
		f.heading(say.say("batch.scaled"), 20)
		var rows [][]string
		for _, p := range b.Parts {
			rows = append(rows, []string{p.What, amount(p.Amount, p.Unit), amount(p.Amount*k, p.Unit), ""})
		}
		f.table(f.left(), f.wide(), []column{{say.say("batch.part"), 3.4, false}, {say.say("batch.published", amount(b.ForML, "")), 2, true}, {say.say("batch.this", amount(want, "")), 2, true}, {say.say("batch.weighed"), 2, false}}, rows)
	}
	if b.Equipment != "" {
		f.y += 2
		f.para(b.Equipment, plain)
	}
	f.heading(say.say("batch.cautions"), 20)
	for i := 1; i <= 6; i++ {
		f.para("• "+say.say(fmt.Sprintf("batch.c%d", i)), plain)
	}
	f.para("• "+say.say("prevails"), bold)
	f.need(24)
	f.y += 18
	half := (f.wide() - 8) / 2
	for i, key := range []string{"batch.signed", "batch.checked"} {
		x := f.left() + float64(i)*(half+8)
		f.d.Line(x, f.y, x+half, f.y, inkLine)
		f.d.Text(x, f.y+3.2, say.say(key), soft)
	}
	pageNumbers(f, say)
	return page.PDF(w, page.Info{Title: title, Language: say.lang, Made: b.Printed}, f.pages...)
}

func containsMark(marks, m string) bool {
	for i := 0; i+len(m)+2 <= len(marks); i++ {
		if marks[i:i+len(m)+2] == "["+m+"]" {
			return true
		}
	}
	return false
}

// strengthFrame tells weak from strong without colour: an open frame or a
// solid one.
func strengthFrame(d *page.Drawing, x, y, w, h float64, strength string) {
	if strength == procedure.Strong {
		ink := page.Ink
		d.Rect(x, y, w, h, &ink, page.Pen{})
		return
	}
	d.Rect(x+0.3, y+0.3, w-0.6, h-0.6, nil, page.Pen{Width: 0.6, Color: page.Ink})
}

// LabelPDF writes the label of a bottle, 62 x 29 mm.
func LabelPDF(w io.Writer, b Batch) error {
	d, say, err := label(b)
	if err != nil {
		return err
	}
	return page.PDF(w, page.Info{Title: join(" ", say.say("batch.title"), b.Lot), Language: say.lang, Made: b.Printed}, d)
}

// LabelPNG writes the label as a picture of 300 dots per inch.
func LabelPNG(w io.Writer, b Batch) error {
	d, _, err := label(b)
	if err != nil {
		return err
	}
	return d.PNG(w, cardDPI)
}

func label(b Batch) (*page.Drawing, words, error) {
	if err := b.check(); err != nil {
		return nil, words{}, err
	}
	say, err := wordsOf(b.Language)
	if err != nil {
		return nil, words{}, err
	}
	d := page.New(labelW, labelH)
	const head = 9.5
	strengthFrame(d, 1, 1, labelW-2, head, b.Strength)
	ink := page.Ink
	if b.Strength == procedure.Strong {
		ink = page.White
	}
	d.Text(2.6, 1+6.7, say.say("label."+b.Strength), page.Style{Size: 15, Bold: true, Color: ink})
	x := 2.6 + page.Width(say.say("label."+b.Strength), page.Style{Size: 15, Bold: true}) + 2.5
	for i, text := range []string{say.say("agent." + b.Agent), say.say("label.for." + b.Strength)} {
		st := page.Style{Size: 6.4, Bold: i == 0, Color: ink}
		for page.Width(text, st) > labelW-x-1.8 {
			if st.Size -= 0.2; st.Size < 4.6 {
				return nil, words{}, errors.New("the agent's name does not fit on the label")
			}
		}
		d.Text(x, 1+4.2+3.1*float64(i), text, st)
	}
	y := 1 + head + 0.6
	name := page.Style{Size: 5.6, Color: page.Soft}
	for _, l := range []struct {
		key, text string
		bold      bool
	}{{"label.lot", b.Lot, true}, {"label.made", b.Made, false}, {"label.expires", b.Expires, true}, {"label.who", b.Who, false}} {
		st := page.Style{Size: 7, Bold: l.bold, Color: page.Ink}
		for page.Width(l.text, st) > labelW-22 && st.Size > 4.5 {
			st.Size -= 0.25
		}
		if page.Width(l.text, st) > labelW-22 {
			return nil, words{}, fmt.Errorf("%q does not fit on the label", say.say(l.key))
		}
		y += 3.15
		d.In = say.say(l.key)
		d.Text(2, y, say.say(l.key), name)
		d.Text(20, y, l.text, st)
	}
	d.Text(2, labelH-1.6, say.say("label.caution"), page.Style{Size: 5.8, Bold: true, Color: page.Ink})
	return d, say, d.Err()
}

// pageNumbers writes "1 of 2" at the foot of every page.
func pageNumbers(f *flow, say words) {
	for i, d := range f.pages {
		d.Text(f.right(), d.H-10, say.say("page", i+1, len(f.pages)), page.Style{Size: 6.8, Color: page.Ink, Align: page.Right})
		d.Text(f.left(), d.H-10, say.say("prevails"), page.Style{Size: 6.8, Color: page.Ink})
	}
}
