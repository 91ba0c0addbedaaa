// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"

	"tallyhood/console/report/table"
)

func people() Table {
	return Table{
		Name:    "People: [all]",
		Columns: []Column{{"Name", Text}, {"Runs", Integer}, {"Share", Number}, {"Here", Bool}, {"Due", Day}, {"Seen", Instant}},
		Rows: [][]Cell{
			{TextCell("Zażółć; \"Gęślą\""), IntegerCell(3), NumberCell(0.25), BoolCell(true), DayCell("2027-11-23"), InstantCell("2026-11-23T09:30:00Z")},
			{TextCell("=HYPERLINK(\"x\")"), IntegerCell(-4), NumberCell(-0.5), BoolCell(false), DayCell(""), InstantCell("")},
			{TextCell("two\nlines <&> \x01"), {}, {}, {}, DayCell("1899-01-01"), {}},
		},
	}
}

func TestCSV(t *testing.T) {
	var b bytes.Buffer
	if err := CSV(&b, people(), Spreadsheet); err != nil {
		t.Fatal(err)
	}
	text, ok := strings.CutPrefix(b.String(), "\uFEFF")
	if !ok || !strings.Contains(text, "\r\n") {
		t.Errorf("no byte order mark, or lines end otherwise than RFC 4180 asks: %q", b.String())
	}
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = ';'
	got, err := r.ReadAll()
	want := [][]string{
		{"Name", "Runs", "Share", "Here", "Due", "Seen"}, {`Zażółć; "Gęślą"`, "3", "0.25", "true", "2027-11-23", "2026-11-23T09:30:00Z"},
		{`'=HYPERLINK("x")`, "-4", "-0.5", "false", "", ""}, {"two\nlines <&> \x01", "", "", "", "1899-01-01", ""},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("read back %q (%v)", got, err)
	}
	for _, s := range []string{"=1", "+1", "-1", "@x", "\t=1", "\r=1", " =1", "\uFF1D1", "\u00A0@x"} {
		if guard(s) != "'"+s {
			t.Errorf("%q is not guarded", s)
		}
	}
	for _, s := range []string{"", "x=1", "Ilse", "'=1"} {
		if guard(s) != s {
			t.Errorf("%q is guarded", s)
		}
	}
	b.Reset()
	if err := CSV(&b, people(), CSVStyle{Semicolon: true, DecimalComma: true}); err != nil || !strings.Contains(b.String(), ";0,25;") {
		t.Errorf("decimal comma: %q (%v)", b.String(), err)
	}
	if CSV(&b, people(), CSVStyle{DecimalComma: true}) == nil {
		t.Error("a decimal comma between commas was written")
	}
}

// What is written can be imported again: by our own reader, of which the
// workbook's is a library's.
func TestExportComesBack(t *testing.T) {
	for name, write := range map[string]func(*bytes.Buffer) error{
		"csv":  func(b *bytes.Buffer) error { return CSV(b, people(), Spreadsheet) },
		"xlsx": func(b *bytes.Buffer) error { return XLSX(b, people(), people()) },
	} {
		var b, again bytes.Buffer
		if err := errors.Join(write(&b), write(&again)); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(b.Bytes(), again.Bytes()) {
			t.Errorf("%s: the same table gave other bytes", name)
		}
		keep(t, "people."+name, b.Bytes())
		got, err := table.Read(b.Bytes(), table.Options{})
		if errors.Is(err, errors.ErrUnsupported) {
			t.Logf("%s: %v", name, err)
			continue
		}
		if err != nil || len(got.Rows) != 4 {
			t.Fatalf("%s: %+v (%v)", name, got, err)
		}
		row := got.Rows[1].Cells
		if row[0] != `Zażółć; "Gęślą"` || row[1] != "3" || row[2] != "0.25" || row[4] != "2027-11-23" || row[5] != "2026-11-23T09:30:00Z" {
			t.Errorf("%s: row 1 came back as %q", name, row)
		}
		if name == "xlsx" {
			if !reflect.DeepEqual(got.Sheets, []string{"People   all", "People   all 2"}) {
				t.Errorf("sheets %q", got.Sheets)
			}
			if got.Rows[2].Cells[0] != `=HYPERLINK("x")` || got.Rows[3].Cells[0] != "two\nlines <&> " || got.Rows[3].Cells[4] != "1899-01-01" {
				t.Errorf("rows %v", got.Rows)
			}
		}
	}
}

// A list written row by row as text is the list written whole.
func TestRows(t *testing.T) {
	all := people()
	for name, c := range map[string]struct {
		whole func(*bytes.Buffer) error
		begin func(*bytes.Buffer) (*Rows, error)
	}{
		"csv":  {func(b *bytes.Buffer) error { return CSV(b, all, Spreadsheet) }, func(b *bytes.Buffer) (*Rows, error) { return NewCSV(b, all.Columns, Spreadsheet) }},
		"xlsx": {func(b *bytes.Buffer) error { return XLSX(b, all) }, func(b *bytes.Buffer) (*Rows, error) { return NewXLSX(b, all.Name, all.Columns) }},
	} {
		var whole, rows bytes.Buffer
		if err := c.whole(&whole); err != nil {
			t.Fatal(err)
		}
		out, err := c.begin(&rows)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range all.Rows {
			var text []string
			for _, cell := range r {
				text = append(text, cell.Text())
			}
			if err := out.AddText(text); err != nil {
				t.Fatal(err)
			}
		}
		for _, bad := range [][]string{{"a"}, {"a", "x", "", "", "", ""}, {"a", "1", "NaN", "", "", ""}, {"a", "", "", "perhaps", "", ""}, {"a", "", "", "", "soon", ""}, {"a", "", "", "", "", "noon"}} {
			if out.AddText(bad) == nil {
				t.Errorf("%s: took %q", name, bad)
			}
		}
		if err := out.Close(); err != nil || !bytes.Equal(whole.Bytes(), rows.Bytes()) {
			t.Errorf("%s: row by row gave other bytes (%v)", name, err)
		}
	}
}

func TestBadTables(t *testing.T) {
	col := []Column{{"a", Number}}
	for what, bad := range map[string]Table{
		"no column": {}, "ragged": {Columns: col, Rows: [][]Cell{{}}}, "other kind": {Columns: col, Rows: [][]Cell{{TextCell("x")}}},
		"no number": {Columns: col, Rows: [][]Cell{{NumberCell(math.NaN())}}}, "no day": {Columns: []Column{{"d", Day}}, Rows: [][]Cell{{DayCell("23.11.2026")}}},
	} {
		var b bytes.Buffer
		if CSV(&b, bad, CSVStyle{}) == nil || XLSX(&b, bad) == nil || b.Len() > 0 {
			t.Errorf("%s: written", what)
		}
	}
	if columnName(0) != "A" || columnName(25) != "Z" || columnName(26) != "AA" || columnName(701) != "ZZ" || columnName(702) != "AAA" {
		t.Error("columns are misnamed")
	}
}

func TestCalendar(t *testing.T) {
	stamp := time.Date(2026, 11, 23, 10, 0, 0, 0, time.UTC)
	due := []DueDate{
		{UID: "p-0001.f-2@tallyhood", On: "2027-11-23", Summary: "Fit test: Zażółć Gęślą, Corrie Half Mask C2; medium", About: "One\nTwo, " + strings.Repeat("žluťoučký ", 20), Place: "North Quarry"},
		{UID: "p-0002.f-2@tallyhood", On: "2028-02-29", Summary: "محمد الأمين \\ \x07"},
	}
	var b bytes.Buffer
	if err := Calendar(&b, "Fit tests due", stamp, due); err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(strings.TrimSuffix(b.String(), "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsRune(line, '\n') || strings.ContainsRune(line, '\uFFFD') || strings.ToValidUTF8(line, "?") != line {
			t.Errorf("a line of %d octets, or one cut within a character (RFC 5545, 3.1): %q", len(line), line)
		}
	}
	cal, err := ics.ParseCalendar(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	events := cal.Events()
	if len(events) != 2 {
		t.Fatalf("%d events", len(events))
	}
	at, err := events[0].GetAllDayStartAt()
	if err != nil || at.Format("2006-01-02") != "2027-11-23" {
		t.Errorf("begins %v (%v)", at, err)
	}
	end, err := events[1].GetAllDayEndAt()
	if err != nil || end.Format("2006-01-02") != "2028-03-01" {
		t.Errorf("ends %v (%v), want the day after (RFC 5545, 3.6.1)", end, err)
	}
	for i, want := range []string{due[0].Summary, "محمد الأمين \\ "} {
		if got := events[i].GetProperty(ics.ComponentPropertySummary).Value; got != want {
			t.Errorf("summary %d came back as %q, want %q", i, got, want)
		}
	}
	if got := events[0].GetProperty(ics.ComponentPropertyDescription).Value; got != due[0].About {
		t.Errorf("description came back as %q", got)
	}
	for what, bad := range map[string][]DueDate{"no day": {{UID: "a", On: "soon"}}, "no UID": {{On: "2027-01-01"}}, "twice": {{UID: "a", On: "2027-01-01"}, {UID: "a", On: "2027-01-02"}}} {
		if Calendar(&bytes.Buffer{}, "", stamp, bad) == nil {
			t.Errorf("%s: written", what)
		}
	}
	if Calendar(&bytes.Buffer{}, "", time.Time{}, due) == nil {
		t.Error("written without an instant")
	}
}
