// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/report"
	"tallyhood/console/report/page"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// papers gathers what a paper says and lets package report write it.
type papers struct{ *api }

const (
	rowsAtOnce = 2000    // of a CSV in memory
	mostSheet  = 100_000 // rows of a workbook, which lies in memory whole
	mostPaper  = 1000    // people on slips and in a summary
	byHand     = "________"
)

// Print implements Printer.
func (p papers) Print(ctx context.Context, w io.Writer, of Paper) error {
	switch of.Kind {
	case RecordPDF, RecordJSON, CardPDF, CardPNG:
		return p.record(ctx, w, of)
	case PeopleCSV:
		return csvOf(w, "people", func(row func([]string) error) error { return p.cfg.Desk.PeopleRows(ctx, row) })
	case RunsCSV:
		return csvOf(w, "records", func(row func([]string) error) error { return p.cfg.Desk.RunRows(ctx, "", row) })
	case PeopleXLSX:
		return xlsxOf(w, "people", func(row func([]string) error) error { return p.cfg.Desk.PeopleRows(ctx, row) })
	case RunsXLSX:
		return xlsxOf(w, "records", func(row func([]string) error) error { return p.cfg.Desk.RunRows(ctx, "", row) })
	case DueICS:
		return p.calendar(ctx, w, of.By)
	case LabelPDF, SheetPDF:
		return p.batch(ctx, w, of)
	case RemindersPDF:
		return p.reminders(ctx, w, of.Lang)
	case SummaryPDF:
		return p.summary(ctx, w)
	}
	return ErrNotThere
}

func (p papers) how(ctx context.Context) (report.Paperwork, error) {
	policy, err := p.cfg.Desk.Policy(ctx)
	now, _ := p.cfg.Now()
	return report.Paperwork{Paper: report.A4, Site: policy.Site, Made: now}, err
}

// record prints a run that has ended.
func (p papers) record(ctx context.Context, w io.Writer, of Paper) error {
	s, err := p.sheet(ctx, of.Run)
	if err != nil {
		return err
	}
	if s.View.Record == nil {
		return problem(http.StatusConflict, WhyRunOpen, "The run is open. There is no record before its end.")
	}
	switch of.Kind {
	case RecordPDF:
		err = report.RecordPDF(w, s, report.A4)
	case RecordJSON:
		return json.NewEncoder(w).Encode(s.View.Record)
	case CardPDF, CardPNG:
		s.Language, s.Own = p.printed(of.Lang, s.Person.Languages)
		if of.Kind == CardPDF {
			err = report.CardPDF(w, s)
		} else {
			err = report.CardPNG(w, s)
		}
	}
	return printable(err)
}

// printable turns why something is not printed into a refusal.
func printable(err error) error {
	var glyph *page.MissingGlyph
	if errors.As(err, &glyph) {
		return problem(http.StatusConflict, "characters", glyph.Error())
	}
	for _, no := range []struct {
		err error
		why string
	}{
		{report.ErrCardPractice, "practice"}, {report.ErrCardOutcome, "not_a_pass"}, {report.ErrCardRecalled, "recalled"}, {report.ErrCardProof, "proof"},
		{report.ErrCardDate, "date_unknown"}, {report.ErrCardErased, WhyErased}, {report.ErrCardFacepiece, "facepiece_unknown"}, {report.ErrCardName, "no_name"},
		{report.ErrCardLater, "later_test"}, {report.ErrCardFailed, "failed_since"}, {report.ErrCardTrigger, "trigger_since"}, {report.ErrCardChanged, "piece_changed"},
		{report.ErrCardGone, "piece_gone"}, {report.ErrCardRules, "other_rules"},
	} {
		if errors.Is(err, no.err) {
			return problem(http.StatusConflict, no.why, no.err.Error())
		}
	}
	return err
}

// sheet gathers what a record says.
func (p papers) sheet(ctx context.Context, run string) (report.Sheet, error) {
	var s report.Sheet
	var err error
	if s.View, err = archive.Run(ctx, p.cfg.Journal, p.cfg.Names, run); err != nil || s.View.Record == nil {
		return s, err
	}
	st, _, err := archive.Folded(ctx, p.cfg.Journal, run)
	if err != nil {
		return s, err
	}
	policy, err := p.cfg.Desk.Policy(ctx)
	if err != nil {
		return s, err
	}
	s.Rules, s.Facepiece, s.Site = st.Opened.Rules, st.Opened.Facepiece, policy.Site
	s.Hood = st.Opened.Hood
	for _, t := range st.Took {
		s.Kit = append(s.Kit, t.Kit)
	}
	wearer, err := p.cfg.Desk.OpenWearer(ctx, st.Opened.Wearer)
	if errors.Is(err, sealing.ErrErased) {
		s.Person.Erased, err = true, nil
	}
	if err != nil {
		return s, err
	}
	s.Person.Name = wearer.Name
	person, err := p.cfg.Desk.Person(ctx, wearer.ID)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return s, err
	}
	s.Person.Number, s.Person.Job, s.Person.Languages = person.Number, person.Job, person.Languages

	r, err := p.cfg.Desk.Run(ctx, run)
	if err != nil {
		return s, err
	}
	for _, a := range r.Amended {
		s.Amendments = append(s.Amendments, report.Amendment{Field: a.Field, From: a.From, To: a.To, Reason: a.Reason, By: a.By, At: a.At, Quality: a.Quality})
	}
	if r.Recalled != "" {
		s.Recalled = &report.Recall{Reason: r.Recalled}
		if r.Recall != nil {
			s.Recalled.At, s.Recalled.Quality, s.Recalled.By = r.Recall.At, r.Recall.Quality, r.Recall.By
		}
	}
	for _, drawn := range r.Signed {
		signature := report.Signature{Who: drawn.Who, Name: s.View.Tester, How: drawn.How, At: drawn.At, Quality: drawn.Quality, Holds: drawn.Holds}
		if drawn.Who == "wearer" {
			signature.Name = s.Person.Name
		}
		text, err := p.cfg.Desk.Strokes(ctx, r, drawn)
		if err == nil {
			signature.Strokes, err = strokesOf(text)
		}
		if err != nil && !errors.Is(err, store.ErrNotFound) { // it goes with the person
			return s, err
		}
		s.Signatures = append(s.Signatures, signature)
	}
	stands, err := p.cfg.Desk.Stands(ctx, run)
	if err != nil {
		return s, err
	}
	s.Due = dueOf(r, stands)
	if r.Outcome == procedure.Pass {
		s.Void = NoCard(stands)
	}
	if p.cfg.Evidence != nil && !r.Practice {
		claim, err := p.cfg.Evidence.Claim(ctx, run)
		switch {
		case err == nil:
			s.Head, s.Proof, s.Claim = claim.Head, claim.Proof, claim.Text
		case problemOf(err).Status >= http.StatusInternalServerError && !errors.Is(err, ErrNotThere):
			return s, err
		}
	}
	return s, nil
}

// NoCard is why a pass that was one has no card and no claim now, from what
// Stands says of it; nil when it counts.
func NoCard(d programme.Due) error {
	if d.Counts() {
		return nil
	}
	switch d.Why {
	case programme.Later:
		return report.ErrCardLater
	case "failed":
		return report.ErrCardFailed
	case "recalled":
		return report.ErrCardRecalled
	case "trigger":
		return report.ErrCardTrigger
	case "changed":
		return report.ErrCardChanged
	case "gone", "not_allowed":
		return report.ErrCardGone
	case "other_rules":
		return report.ErrCardRules
	case "date_unknown":
		return report.ErrCardDate
	case programme.NotKnown:
		return report.ErrCardErased
	}
	return report.ErrCardOutcome
}

// dueOf is when the person is to be tested again with the facepiece of a run, as
// the desk has it.
func dueOf(r programme.Run, d programme.Due) report.Due {
	switch {
	case r.Practice || r.Outcome != procedure.Pass:
		return report.Due{Why: "only a pass counts until a next test"}
	case d.Counts() && d.On == "":
		return report.Due{Why: "neither rule nor policy sets a time"}
	case d.Counts():
		return report.Due{On: d.On}
	case d.Why == "date_unknown":
		return report.Due{Why: "the box's clock could not be trusted"}
	case d.Why == "recalled": // not this run: it would be no pass
		return report.Due{Why: "a later test with this facepiece was recalled"}
	case d.Why == programme.NotKnown:
		return report.Due{Why: "the person is not on this box's list"}
	}
	return report.Due{Why: strings.TrimPrefix(NoCard(d).Error(), "no card: ")}
}

// Bounds of a drawn signature.
const (
	mostLines  = 300
	mostPoints = 20_000
)

// strokesOf reads a drawn signature: lines of points [x, y], each from 0 to 1,
// downwards, in a field three times as wide as tall.
func strokesOf(text []byte) ([][]page.Point, error) {
	var lines [][][2]float64
	d := json.NewDecoder(bytes.NewReader(text))
	if err := d.Decode(&lines); err != nil || d.More() {
		return nil, errors.New("a signature is a list of lines of points")
	}
	var out [][]page.Point
	n := 0
	for _, l := range lines {
		var points []page.Point
		for _, at := range l {
			if at[0] < 0 || at[0] > 1 || at[1] < 0 || at[1] > 1 {
				return nil, errors.New("the points of a signature lie between 0 and 1")
			}
			points = append(points, page.Point{X: at[0], Y: at[1]})
		}
		n += len(points)
		out = append(out, points)
	}
	if n == 0 || n > mostPoints || len(lines) > mostLines {
		return nil, fmt.Errorf("a signature has 1 to %d points in up to %d lines", mostPoints, mostLines)
	}
	return out, nil
}

// tableOf makes a table of text, of which the first row is the titles.
func tableOf(name string, titles []string) report.Table {
	t := report.Table{Name: name}
	for _, title := range titles {
		t.Columns = append(t.Columns, report.Column{Name: title})
	}
	return t
}

func cells(row []string) (out []report.Cell) {
	for _, s := range row {
		out = append(out, report.TextCell(s))
	}
	return out
}

// csvOf writes a list of any length, some rows at a time.
func csvOf(w io.Writer, name string, rows func(func([]string) error) error) error {
	var t report.Table
	begun := false
	flush := func() error {
		if !begun {
			begun = true
			return report.CSV(w, t, report.Spreadsheet)
		}
		var b bytes.Buffer
		if err := report.CSV(&b, t, report.Spreadsheet); err != nil {
			return err
		}
		_, rest, _ := bytes.Cut(b.Bytes(), []byte("\r\n")) // the titles stand there already
		_, err := w.Write(rest)
		return err
	}
	err := rows(func(row []string) error {
		if t.Columns == nil {
			t = tableOf(name, row)
			return nil
		}
		if t.Rows = append(t.Rows, cells(row)); len(t.Rows) < rowsAtOnce {
			return nil
		}
		err := flush()
		t.Rows = nil
		return err
	})
	if err == nil && (!begun || len(t.Rows) > 0) {
		err = flush()
	}
	return err
}

func xlsxOf(w io.Writer, name string, rows func(func([]string) error) error) error {
	var t report.Table
	err := rows(func(row []string) error {
		if t.Columns == nil {
			t = tableOf(name, row)
			return nil
		}
		if len(t.Rows) == mostSheet {
			return problem(http.StatusConflict, "too_many", fmt.Sprintf("A workbook holds up to %d rows here. Take the CSV.", mostSheet))
		}
		t.Rows = append(t.Rows, cells(row))
		return nil
	})
	if err != nil {
		return err
	}
	err = report.XLSX(w, t)
	if errors.Is(err, errors.ErrUnsupported) {
		return ErrNotThere
	}
	return err
}

func (p papers) calendar(ctx context.Context, w io.Writer, by string) error {
	labels, err := p.labels(ctx)
	if err != nil {
		return err
	}
	policy, err := p.cfg.Desk.Policy(ctx)
	if err != nil {
		return err
	}
	now, _ := p.cfg.Now()
	var all []report.DueDate
	for after, first := "", true; first || after != ""; first = false {
		due, next, err := p.cfg.Desk.DuePage(ctx, cmp.Or(by, "9999-12-31"), after, 500)
		if err != nil {
			return err
		}
		for _, d := range due {
			name, err := p.name(ctx, d.Person)
			if err != nil {
				return err
			}
			on := d.On
			if on == programme.DueNow {
				on = now.Format(time.DateOnly)
			}
			all = append(all, report.DueDate{UID: d.Person + "-" + d.Facepiece + "@tallyhood", On: on, Summary: "Fit test: " + name + ", " + labels[d.Facepiece], Place: policy.Site})
		}
		if next != "" && next <= after {
			return errors.New("the list of what is due does not go on")
		}
		if after = next; len(all) > mostSheet {
			return problem(http.StatusConflict, "too_many", "These are too many days for a calendar. Name a last day.")
		}
	}
	return report.Calendar(w, "Fit tests due", now, all)
}

// batch prints the label of a batch, or a recipe to make one by.
func (p papers) batch(ctx context.Context, w io.Writer, of Paper) error {
	how, err := p.how(ctx)
	if err != nil {
		return err
	}
	b := report.Batch{Site: how.Site, Printed: how.Made, ML: float64(of.ML)}
	if of.Kind == LabelPDF {
		all, err := p.cfg.Desk.Solutions(ctx)
		if err != nil {
			return err
		}
		for _, s := range all {
			if s.ID == of.Solution {
				b.Agent, b.Strength, b.Lot, b.Made, b.Expires, b.Who = s.Agent, s.Strength, s.Lot, s.Made, s.Expires, s.Who
				b.Recipe, b.Source = s.Recipe, s.Source
				return printable(report.LabelPDF(w, b))
			}
		}
		return store.ErrNotFound
	}
	recipes, err := programme.Recipes()
	if err != nil {
		return err
	}
	for _, r := range recipes {
		if r.Agent != of.Agent || r.Strength != of.Strength || of.Recipe != "" && of.Recipe != r.ID {
			continue
		}
		made := r
		if of.ML > 0 {
			if made, err = r.Scaled(float64(of.ML)); err != nil {
				return err
			}
		}
		b.Agent, b.Strength, b.Recipe, b.Source, b.Mark, b.ForML = r.Agent, r.Strength, r.Text, r.Source, r.Mark, r.VolumeML
		b.Lot, b.Made, b.Expires, b.Who = byHand, byHand, byHand, byHand // there is no batch yet
		b.Equipment = strings.Join(made.Cautions, " ")
		for _, part := range r.Parts {
			b.Parts = append(b.Parts, report.Part{What: part.What, Amount: part.Amount, Unit: part.Unit})
		}
		return printable(report.BatchPDF(w, b, how.Paper))
	}
	return store.ErrNotFound
}

// today is a day's list without the people beyond what a paper holds.
func (p papers) today(ctx context.Context) (programme.Day, error) {
	d, err := p.day(ctx, "")
	if len(d.Expected) > mostPaper {
		d.Expected = d.Expected[:mostPaper]
	}
	return d, err
}

func clockOf(instant string) string {
	t, err := time.Parse(time.RFC3339, instant)
	if err != nil {
		return ""
	}
	return t.Format("15:04")
}

func (p papers) reminders(ctx context.Context, w io.Writer, lang string) error {
	how, err := p.how(ctx)
	if err != nil {
		return err
	}
	d, err := p.today(ctx)
	if err != nil {
		return err
	}
	var slips []report.Reminder
	for _, e := range d.Expected {
		if e.State == programme.DayDone || e.SlotAt == "" {
			continue
		}
		person, err := p.cfg.Desk.Person(ctx, e.Person)
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
		code, own := p.printed(lang, person.Languages)
		slips = append(slips, report.Reminder{Person: cmp.Or(e.Name, e.Number), Day: d.Day, At: clockOf(e.SlotAt), Place: how.Site, From: clockOf(e.StopEating), Rules: e.AbstainRules, Minutes: (e.AbstainS + 59) / 60, Language: code, Own: own})
	}
	if len(slips) == 0 {
		return problem(http.StatusConflict, "nobody", "Nobody is expected who would have to be reminded.")
	}
	return printable(report.RemindersPDF(w, slips, how))
}

func (p papers) summary(ctx context.Context, w io.Writer) error {
	how, err := p.how(ctx)
	if err != nil {
		return err
	}
	d, err := p.today(ctx)
	if err != nil {
		return err
	}
	labels, err := p.labels(ctx)
	if err != nil {
		return err
	}
	tested := tableOf("tested", []string{"Name", "Number", "Facepiece", "Outcome", "Run"})
	open := tableOf("open", []string{"Name", "Number", "Why"})
	practice := false
	count := map[procedure.Outcome]int{}
	for _, e := range d.Expected {
		if e.Run == "" {
			var why []string
			for _, due := range e.Due {
				why = append(why, labels[due.Facepiece]+": "+strings.ReplaceAll(due.Why, "_", " "))
			}
			open.Rows = append(open.Rows, cells([]string{e.Name, e.Number, strings.Join(why, "; ")}))
			continue
		}
		r, err := p.cfg.Desk.Run(ctx, e.Run)
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
		practice = practice || r.Practice
		count[e.Outcome]++
		tested.Rows = append(tested.Rows, cells([]string{e.Name, e.Number, r.Make + " " + r.Model + ", " + r.Size, strings.ReplaceAll(string(e.Outcome), "_", " "), e.Run}))
	}
	lines := []string{
		fmt.Sprintf("%s: %d passed, %d failed, %d not valid, %d could not taste.", d.Day, count[procedure.Pass], count[procedure.Fail], count[procedure.NotValid], count[procedure.CannotTaste]),
	}
	var sections []report.Section
	if len(tested.Rows) > 0 {
		sections = append(sections, report.Section{Heading: "Tested, last run of the day", Table: tested})
	}
	if len(open.Rows) > 0 {
		sections = append(sections, report.Section{Heading: "Expected and not tested", Table: open})
	}
	return printable(report.SummaryPDF(w, "Summary of the day", lines, sections, practice, how))
}
