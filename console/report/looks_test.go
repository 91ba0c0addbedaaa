// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/report/page"
)

func read(t testing.TB, file string) []byte {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func batch() Batch {
	return Batch{
		Agent: "sweet", Strength: procedure.Strong, Lot: "B-2611-07", Made: "2026-11-23", Expires: "2026-11-30", Who: "Agnes Thorley", Site: "Harrowgate Stoneworks, North Quarry",
		Recipe: "Dissolve 83 g of sodium saccharin, USP, in 100 ml of warm water.", Source: "29 CFR 1910.134, Appendix A, Part I.B.3", Mark: "[1]",
		ForML: 100, Parts: []Part{{"sodium saccharin, USP", 83, "g"}, {"warm water", 100, "ml"}}, ML: 250,
	}
}

// A batch is scaled from its own recipe, says weak or strong, and warns.
func TestBatch(t *testing.T) {
	var sheet, label, weak, pic bytes.Buffer
	w := batch()
	w.Strength, w.Agent = procedure.Weak, "bitter"
	if err := errors.Join(BatchPDF(&sheet, batch(), A4), LabelPDF(&label, batch()), LabelPDF(&weak, w), LabelPNG(&pic, batch())); err != nil {
		t.Fatal(err)
	}
	keep(t, "label.png", pic.Bytes())
	keep(t, "batch.pdf", sheet.Bytes())
	keep(t, "label-weak.pdf", weak.Bytes())
	text := flat(textOf(t, sheet.Bytes()))
	for _, want := range []string{"STRONG", "sweet (sodium saccharin)", "83 g 207.5 g", "100 ml 250 ml", "gloves and eye protection", "safety data sheet", "Appendix A, Part I.B.3", "Local law"} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet does not hold %q: %s", want, text)
		}
	}
	text = flat(textOf(t, label.Bytes()))
	for _, want := range []string{"STRONG", "Lot B-2611-07", "Use by 2026-11-30", "Gloves, eye protection"} {
		if !strings.Contains(text, want) {
			t.Errorf("the label does not hold %q: %s", want, text)
		}
	}
	for what, change := range map[string]func(*Batch){
		"no lot": func(b *Batch) { b.Lot = "" }, "no end": func(b *Batch) { b.Expires = "" }, "half strong": func(b *Batch) { b.Strength = "medium" }, "scaled from nothing": func(b *Batch) { b.ForML = 0 },
	} {
		b := batch()
		change(&b)
		if BatchPDF(&bytes.Buffer{}, b, A4) == nil {
			t.Errorf("%s: printed", what)
		}
	}
	long := batch()
	long.Lot = strings.Repeat("LOT", 60)
	if LabelPDF(&bytes.Buffer{}, long) == nil {
		t.Error("a lot of 180 characters found place on a label")
	}
}

// The sheets of the day hold everybody, page by page.
func TestDaySheets(t *testing.T) {
	how := Paperwork{Paper: A4, Site: "Harrowgate Stoneworks, North Quarry"}
	var slips []Reminder
	rows := [][]Cell{}
	for i := range 90 {
		name := fmt.Sprintf("Wearer Number %d", i+1)
		if i < 19 {
			slips = append(slips, Reminder{Person: name, Day: "Tuesday 24 November 2026", At: fmt.Sprintf("%02d:%02d", 8+i/4, i%4*15), Place: "test room", From: fmt.Sprintf("%02d:%02d", 7+i/4, 30+i%2*15)})
		}
		rows = append(rows, []Cell{TextCell(name), TextCell("Corrie Half Mask C2, medium"), TextCell("pass"), DayCell("2027-11-23"), BoolCell(i%2 == 0)})
	}
	slips[3].Person = "محمد الأمين"
	var b bytes.Buffer
	if err := RemindersPDF(&b, slips, how); err != nil {
		t.Fatal(err)
	}
	keep(t, "reminders.pdf", b.Bytes())
	text := flat(textOf(t, b.Bytes()))
	if strings.Count(text, "nothing but plain water") != 19 || !strings.Contains(text, "Wearer Number 19") {
		t.Errorf("not 19 slips: %.300s", text)
	}
	b.Reset()
	sections := []Section{
		{Heading: "Tested today", Table: Table{Columns: []Column{{"Person", Text}, {"Facepiece", Text}, {"Outcome", Text}, {"Due", Day}, {"Card", Bool}}, Rows: rows}, Shares: []float64{2, 3, 1, 1.2, 0.8}},
		{Heading: "People to call back", Text: []string{"Nebuliser S2 was found clogged at 16:00."}, Table: Table{Columns: []Column{{"Person", Text}}}},
	}
	if err := SummaryPDF(&b, "Fit tests on 2026-11-23", []string{"Tester: Agnes Thorley. 90 people."}, sections, true, how); err != nil {
		t.Fatal(err)
	}
	keep(t, "summary.pdf", b.Bytes())
	text = flat(textOf(t, b.Bytes()))
	for _, want := range []string{"Wearer Number 1 ", "Wearer Number 90", "yes", "no", "Nothing to list.", "PRACTICE", "2 of 2"} {
		if !strings.Contains(text, want) {
			t.Errorf("the summary does not hold %q", want)
		}
	}
	if RemindersPDF(&b, nil, how) == nil {
		t.Error("nobody was reminded")
	}
}

// What people and programs may put into a field is printed, or refused by name
// and never a silent box.
func TestHostileText(t *testing.T) {
	long := strings.TrimSpace(strings.Repeat("Wolfeschlegelsteinhausenbergerdorff ", 9))
	for what, c := range map[string]struct{ name, want string }{
		"control characters":   {"Il\x00se\tBrand\r\nvold\x1b", "Il se Brand vold"},
		"an order turned over": {"Ilse\u202Edlovdnarb", "Ilsedlovdnarb"},
		"broken UTF-8":         {"Il\xffse", "Il\uFFFDse"},
		"300 characters":       {long, "Wolfeschlegelsteinhausenbergerdorff"},
		"one long word":        {strings.Repeat("x", 300), "xxxxxxxxxx"},
		"PDF operators":        {`(Tj) \) ET Q <</A>>`, `(Tj) \) ET Q <</A>>`},
		"decomposed":           {"Zo\u0065\u0308", "Zoë"},
		"nothing":              {"", "not stated"},
	} {
		s := sheetOf(t, courses["pass"])
		s.Person.Name, s.Signatures = c.name, nil
		raw := recordPDF(t, s, A4)
		keep(t, "hostile-"+strings.ReplaceAll(what, " ", "-")+".pdf", raw)
		if text := flat(textOf(t, raw)); !strings.Contains(text, c.want) {
			t.Errorf("%s: %q is not in %.300s", what, c.want, text)
		}
	}
	for _, r := range []rune{0x4E2D, 0x0E01, 0x1F9D1, 0x0905, 0xE000} {
		s := sheetOf(t, courses["pass"])
		s.Person.Name = "Ilse " + string(r)
		var b bytes.Buffer
		for what, err := range map[string]error{"sheet": RecordPDF(&b, s, A4), "card": CardPNG(&b, s)} {
			var m *page.MissingGlyph
			if !errors.As(err, &m) || m.Rune != r || m.In != "Name" || b.Len() > 0 {
				t.Errorf("%s with U+%04X: %v with %d bytes, want an error that names it", what, r, err, b.Len())
			}
			if err != nil && strings.Contains(err.Error(), "Ilse") {
				t.Errorf("the error gives the name away: %v", err)
			}
		}
	}
	s := sheetOf(t, courses["pass"])
	s.Language = "xx"
	if RecordPDF(&bytes.Buffer{}, s, A4) == nil {
		t.Error("printed in a language that there is not")
	}
	// Nothing of a record, however long, is lost beyond the foot of a page.
	s = sheetOf(t, courses["pass"])
	for i := range 60 {
		s.View.Record.Inputs.Faults = append(s.View.Record.Inputs.Faults, fmt.Sprintf("chatters: contact %d %s", i, strings.Repeat("again ", 20)))
		s.Proof = append(s.Proof, fmt.Sprintf("proof line %d", i))
	}
	at := record.Seconds(100 * time.Second)
	s.View.Record.Corrections = append(s.View.Record.Corrections, record.Correction{Part: procedure.PartTopUp, TopUp: 3, Delta: -1, Reason: "double", By: "Agnes Thorley", AtS: &at})
	raw := recordPDF(t, s, Letter)
	keep(t, "long.pdf", raw)
	text := flat(textOf(t, raw))
	for _, want := range []string{"contact 59", "proof line 59", "one squeeze taken back in top-up 3", "Cautions", "Figures of the rules", "5 of 5"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q of a long record is not printed", want)
		}
	}
}

// Every text of the catalogue can be printed.
func TestCatalogue(t *testing.T) {
	for lang, c := range Catalogues {
		for key, text := range c {
			if _, ok := english[key]; !ok {
				t.Errorf("%s: %s is not in English", lang, key)
			}
			d := page.New(100, 100)
			d.Text(0, 0, text, plain)
			d.Text(0, 0, text, bold)
			if d.Err() != nil {
				t.Errorf("%s: %s: %v", lang, key, d.Err())
			}
		}
	}
}

// The four outcomes can be told apart without colour: their shapes, drawn in
// grey, differ in a good part of their pixels.
func TestShapesDiffer(t *testing.T) {
	all := []procedure.Outcome{procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste}
	var pics [][]uint8
	for _, o := range all {
		d := page.New(20, 20)
		outcomeMark(d, 2, 2, 16, o)
		img, err := d.Pixels(100)
		if err != nil {
			t.Fatal(err)
		}
		var grey []uint8
		for i := 0; i < len(img.Pix); i += 4 {
			grey = append(grey, uint8((299*int(img.Pix[i])+587*int(img.Pix[i+1])+114*int(img.Pix[i+2]))/1000))
		}
		pics = append(pics, grey)
	}
	for i := range pics {
		for j := range i {
			other := 0
			for k := range pics[i] {
				if max(pics[i][k], pics[j][k])-min(pics[i][k], pics[j][k]) > 96 {
					other++
				}
			}
			if part := float64(other) / float64(len(pics[i])); part < 0.06 {
				t.Errorf("%s and %s differ in %.0f %% of their pixels", all[i], all[j], part*100)
			}
		}
	}
}

// Every PDF is drawn by a renderer without a word of complaint.
func TestRendered(t *testing.T) {
	ppm := tool(t, "pdftoppm", "poppler-utils")
	s := sheetOf(t, courses["pass"])
	s.Person.Name = "محمد الأمين Żółć Παπαδόπουλος Щукин"
	file := keep(t, "rendered.pdf", recordPDF(t, s, A4))
	if out, err := exec.Command(ppm, "-r", "50", "-png", file, strings.TrimSuffix(file, ".pdf")).CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v: %s", err, out)
	}
}

// Several people print at once.
func TestAtOnce(t *testing.T) {
	s := sheetOf(t, courses["pass"])
	s.Person.Name = "محمد الأمين Żółć"
	want := recordPDF(t, s, A4)
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			var b, c bytes.Buffer
			if err := errors.Join(RecordPDF(&b, s, A4), CardPNG(&c, s)); err != nil || !bytes.Equal(b.Bytes(), want) {
				t.Errorf("printed at once, the same record gave other bytes (%v)", err)
			}
		})
	}
	wait.Wait()
}

func BenchmarkRecordPDF(b *testing.B) {
	s := sheetOf(b, courses["pass"])
	var size int
	for b.Loop() {
		var out bytes.Buffer
		if err := RecordPDF(&out, s, A4); err != nil {
			b.Fatal(err)
		}
		size = out.Len()
	}
	b.ReportMetric(float64(size), "bytes")
}

func BenchmarkCardPNG(b *testing.B) {
	s := sheetOf(b, courses["pass"])
	for b.Loop() {
		if err := CardPNG(&bytes.Buffer{}, s); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkExport writes a list of a hundred thousand runs.
func BenchmarkExport(b *testing.B) {
	t := people()
	row := t.Rows[0]
	for len(t.Rows) < 100_000 {
		t.Rows = append(t.Rows, row)
	}
	b.Run("csv", func(b *testing.B) {
		for b.Loop() {
			if err := CSV(io.Discard, t, Spreadsheet); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("xlsx", func(b *testing.B) {
		for b.Loop() {
			if err := XLSX(io.Discard, t); err != nil {
				b.Fatal(err)
			}
		}
	})
}
