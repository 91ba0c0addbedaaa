// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"encoding/base64"
	"encoding/csv"
	"fmt"
	"image/png"
	"strings"
	"testing"
	"time"

	ical "github.com/arran4/golang-ical"
	"github.com/xuri/excelize/v2"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
)

// The papers are those of package report, filled from the desk and the journal.
func TestPapers(t *testing.T) {
	s := newSite(t, nil)
	person := s.enter()
	other := exampleForm()
	other.Name, other.Number = "=HYPERLINK(1)", "HS-052"
	s.ask("POST", "/people", object{"form": other, "by": agnes}).is(200, nil)
	s.play("r000200", person, procedure.Fail)
	s.play("r000100", person, procedure.Pass)
	s.play("r000300", person, "")
	var run struct{ Run struct{ Hash string } }
	s.ask("GET", "/runs/r000100", nil).is(200, &run)
	strokes := base64.StdEncoding.EncodeToString([]byte("[[[0.1,0.2],[0.3,0.4]]]"))
	s.ask("POST", "/runs/r000100/sign", object{"who": "tester", "strokes": strokes, "record": run.Run.Hash, "by": agnes}).is(200, nil)

	for _, path := range []string{
		"/runs/r000100/record.pdf", "/runs/r000200/record.pdf", "/runs/r000100/card.pdf", "/solutions/bitter-strong-260901/label.pdf", "/day/reminders.pdf", "/day/summary.pdf",
		"/recipes/sweet/strong/sheet.pdf", "/recipes/sweet/weak/sheet.pdf?ml=200&recipe=sweet-weak-diluted", "/recipes/bitter/weak/sheet.pdf?ml=50",
	} {
		g := s.ask("GET", path, nil).is(200, nil)
		if g.header.Get("Content-Type") != typePDF || !bytes.HasPrefix(g.body, []byte("%PDF-")) || !bytes.Contains(g.body[len(g.body)-32:], []byte("%%EOF")) {
			t.Errorf("%s: %s, %d bytes", path, g.header.Get("Content-Type"), len(g.body))
		}
	}
	if _, err := png.Decode(bytes.NewReader(s.ask("GET", "/runs/r000100/card.png", nil).is(200, nil).body)); err != nil {
		t.Errorf("card: %v", err)
	}
	s.ask("GET", "/runs/r000200/card.png", nil).why(409, "not_a_pass")
	s.ask("GET", "/runs/r000300/record.pdf", nil).why(409, WhyRunOpen)
	s.ask("GET", "/runs/r000999/record.pdf", nil).why(404, WhyNotKnown)
	s.ask("GET", "/solutions/none/label.pdf", nil).why(404, WhyNotKnown)
	s.ask("GET", "/recipes/sweet/weak/sheet.pdf?recipe=none", nil).why(404, WhyNotKnown)
	s.ask("GET", "/recipes/sweet/weak/sheet.pdf?ml=1", nil).why(409, "volume")
	var record struct{ Schema, Outcome string }
	s.ask("GET", "/runs/r000100/record.json", nil).is(200, &record)
	if record.Schema != "tallyhood.record/1" || record.Outcome != "pass" {
		t.Errorf("record %+v", record)
	}

	people := s.ask("GET", "/people.csv", nil).is(200, nil)
	rows := semicolons(t, people.body)
	if len(rows) != 3 || !strings.Contains(string(people.body), "Tomasz Zieliński") || strings.Contains(string(people.body), "\n=HYPERLINK") {
		t.Errorf("people %q", people.body)
	}
	if rows := semicolons(t, s.ask("GET", "/runs.csv", nil).is(200, nil).body); len(rows) != 3 || rows[1][0] != "r000100" {
		t.Errorf("runs %v", rows)
	}
	for _, path := range []string{"/people.xlsx", "/runs.xlsx"} {
		f, err := excelize.OpenReader(bytes.NewReader(s.ask("GET", path, nil).is(200, nil).body))
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if rows, err := f.GetRows(f.GetSheetName(0)); err != nil || len(rows) != 3 {
			t.Errorf("%s: %d rows, %v", path, len(rows), err)
		}
	}
	c, err := ical.ParseCalendar(bytes.NewReader(s.ask("GET", "/due.ics", nil).is(200, nil).body))
	if err != nil || len(c.Events()) != 2 {
		t.Errorf("calendar %v, %v", c, err)
	}

	// A person who was erased has a record without a name, and no card.
	s.ask("POST", "/people/"+person+"/erase", object{"reason": "asked for", "by": agnes}).is(200, nil)
	s.ask("GET", "/runs/r000100/record.pdf", nil).is(200, nil)
	s.ask("GET", "/runs/r000100/card.pdf", nil).why(409, WhyErased)
}

// A pass that does not count any more has no card, and its record no day until
// which it would be good.
func TestPapersOfAPassThatDoesNotCount(t *testing.T) {
	for name, c := range map[string]struct {
		do        func(s *site, person string)
		why, says string
		counts    string
	}{
		"it counts":    {func(*site, string) {}, "", "2027-09-14", ""},
		"a later pass": {func(s *site, person string) { s.play("r000200", person, procedure.Pass) }, "later_test", "a later test with this facepiece counts instead", programme.Later},
		"a later fail": {func(s *site, person string) { s.play("r000200", person, procedure.Fail) }, "failed_since", "a later test with this facepiece showed a leak", "failed"},
		"a later fail, recalled": {func(s *site, person string) {
			s.play("r000200", person, procedure.Fail)
			must(t, s.desk.Do(t.Context(), programme.RunsRecalled{Runs: []string{"r000200"}, Reason: programme.Clogged, At: today.Format(time.RFC3339), By: agnes}))
		}, "recalled", "a later test with this facepiece was recalled", "recalled"},
		"something happened": {func(s *site, person string) {
			must(t, s.desk.Do(t.Context(), programme.Triggered{Person: person, Trigger: programme.TriggerDental, On: "2026-09-14", By: agnes}))
		}, "trigger_since", "something happened since", "trigger"},
		"another size": {func(s *site, _ string) {
			f := exampleFacepieceForm()
			f.Size = "XL"
			must(t, s.desk.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: f, By: agnes}))
		}, "piece_changed", "entered otherwise now", "changed"},
		"not used any more": {func(s *site, _ string) {
			f := exampleFacepieceForm()
			f.Gone = true
			must(t, s.desk.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: f, By: agnes}))
		}, "piece_gone", "not used any more", "gone"},
		"other rules": {func(s *site, _ string) {
			must(t, s.desk.Do(t.Context(), programme.PolicySet{Policy: programme.Policy{Rules: "uk-hse"}, By: agnes}))
		}, "other_rules", "under other rules", "other_rules"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t, nil)
			person := s.enter()
			form := exampleForm()
			form.Rules = ""
			must(t, s.desk.Do(t.Context(), programme.PersonEntered{Person: person, Form: form, By: agnes}, programme.PolicySet{Policy: programme.Policy{Rules: "us-osha"}, By: agnes}))
			s.play("r000100", person, procedure.Pass)
			c.do(s, person)
			for _, card := range []string{"card.pdf", "card.png"} {
				g := s.ask("GET", "/runs/r000100/"+card, nil)
				if c.why == "" {
					g.is(200, nil)
				} else {
					g.why(409, c.why)
				}
			}
			var page RunPage
			s.ask("GET", "/runs/r000100", nil).is(200, &page)
			if page.Counts != c.counts {
				t.Errorf("the page is told %q, want %q", page.Counts, c.counts)
			}
			sheet, err := papers{s.handler.(*api)}.sheet(t.Context(), "r000100")
			must(t, err)
			if got := sheet.Due.On + sheet.Due.Why; !strings.Contains(got, c.says) || (sheet.Void == nil) != (c.why == "") {
				t.Errorf("due: %q, void %v; want %q", got, sheet.Void, c.says)
			}
		})
	}
}

func semicolons(t *testing.T, text []byte) [][]string {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))))
	r.Comma = ';'
	rows, err := r.ReadAll()
	if err != nil {
		t.Errorf("%q: %v", text, err)
	}
	return rows
}

// A list of more rows than lie in memory at once has its titles once.
func TestLongCSV(t *testing.T) {
	for _, n := range []int{0, 1, rowsAtOnce - 1, rowsAtOnce, rowsAtOnce + 1, 2 * rowsAtOnce, 2*rowsAtOnce + 7} {
		var b bytes.Buffer
		must(t, csvOf(&b, "x", func(row func([]string) error) error {
			if err := row([]string{"Number", "Name"}); err != nil {
				return err
			}
			for i := range n {
				if err := row([]string{fmt.Sprint(i), "a;\r\n\"b"}); err != nil {
					return err
				}
			}
			return nil
		}))
		rows := semicolons(t, b.Bytes())
		if len(rows) != n+1 || n > 0 && rows[n][0] != fmt.Sprint(n-1) || rows[0][0] != "Number" {
			t.Errorf("%d rows: %d came", n, len(rows)-1)
		}
	}
}

// What other programs write is imported right.
func TestImportOfFiles(t *testing.T) {
	s := newSite(t, nil)
	s.enter()
	octets := set("Content-Type", typeBytes)
	file := []byte("\xff\xfe") // UTF-16, a line without text, semicolons
	for _, r := range "Numer;Imię i nazwisko;Maska\r\n\r\nHS-060;Łucja Wójcik;Corrie medium\r\nHS-061;Jan Kowal;nothing\r\n" {
		file = append(file, byte(r), byte(r>>8))
	}
	var preview Preview
	s.ask("POST", "/people/import/preview?name=lista.csv", file, octets).is(200, &preview)
	if preview.Encoding != "utf-16le" || preview.Delimiter != ";" || preview.Guess["name"] != 1 || preview.Guess["facepieces"] != 2 {
		t.Errorf("preview %+v", preview)
	}
	var out programme.Imported
	s.ask("POST", "/people/import", object{
		"token": preview.Token, "encoding": preview.Encoding, "delimiter": preview.Delimiter, "sheet": "", "mapping": preview.Guess, "dry_run": false, "by": agnes,
	}).is(200, &out)
	if out.New != 1 || len(out.Refused) != 1 || out.Refused[0].Row != 4 {
		t.Errorf("import %+v", out)
	}
	// The page counts rows from 2, since the titles are row 1.
	if r := preview.Rows[out.Refused[0].Row-2]; r[1] != "Jan Kowal" {
		t.Errorf("refused is row %d, and there stands %v", out.Refused[0].Row, r)
	}
	var people People
	s.ask("GET", "/people?find=wojcik", nil).is(200, &people)
	if len(people.People) != 1 || people.People[0].Name != "Łucja Wójcik" || len(people.People[0].Facepieces) != 1 {
		t.Errorf("found %+v", people)
	}
	s.ask("POST", "/people/import/preview?name=x.pdf", "%PDF-1.7", octets).why(422, "file")
	s.ask("POST", "/people/import/preview?name=x.csv", " ", octets).why(422, "file")
	s.ask("POST", "/people/import/preview?name=x.csv&delimiter=%22", "a;b", octets).why(422, WhyMalformed)
	s.ask("POST", "/people/import/preview?name=x.xlsx", "PK\x03\x04 no workbook", octets).why(422, "file")
}

// The hood that a run was opened with is on its record page, in lists and on the
// printed record. The record's JSON is a contract without it, and the outcome is
// what it is with any hood.
func TestHoodOfARun(t *testing.T) {
	s := newSite(t, nil)
	person := s.enter() // hood-2 is 400 mm across: larger than the published one
	s.play("r000100", person, procedure.Pass)
	want := procedure.Hood{ID: "hood-2", Mark: "H2", AcrossMM: 400, TallMM: 356, Oversized: true}
	var page struct {
		Run struct {
			Hood, Outcome string
			Oversized     bool
		}
		View struct {
			Hood *procedure.Hood
		}
	}
	s.ask("GET", "/runs/r000100", nil).is(200, &page)
	if page.Run.Hood != "hood-2" || !page.Run.Oversized || page.Run.Outcome != "pass" || page.View.Hood == nil || *page.View.Hood != want {
		t.Errorf("run %+v, view %+v; want the hood %+v and a pass", page.Run, page.View.Hood, want)
	}
	if g := s.ask("GET", "/runs/r000100/record.json", nil).is(200, nil); bytes.Contains(g.body, []byte(`"hood"`)) {
		t.Errorf("the record's JSON has a hood: %s", g.body)
	}
	sheet, err := papers{s.handler.(*api)}.sheet(t.Context(), "r000100")
	if err != nil || sheet.Hood == nil || *sheet.Hood != want {
		t.Errorf("the sheet has the hood %+v, %v", sheet.Hood, err)
	}
	// It was another one's size that was entered wrongly: the run keeps what it was told.
	form := programme.HoodForm{Mark: "H2", AcrossMM: 305, TallMM: 356, Gone: true}
	s.ask("PUT", "/hoods/hood-2", object{"form": form, "by": agnes}).is(200, nil)
	s.ask("GET", "/runs/r000100", nil).is(200, &page)
	if page.View.Hood == nil || *page.View.Hood != want {
		t.Errorf("after the hood was entered anew the run has %+v", page.View.Hood)
	}
}
