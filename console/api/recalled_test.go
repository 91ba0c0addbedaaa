// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/review"
)

// A pass that was recalled is a pass in nothing that the box gives away.
func TestARecalledRunIsNoPassAnywhere(t *testing.T) {
	s := newSite(t, func(c *Config) { c.Pages = os.DirFS("../web/page") })
	s.play("r000100", s.enter(), procedure.Pass)
	var before record.Record
	s.ask("GET", "/runs/r000100/record.json", nil).is(200, &before)
	if before.Outcome != procedure.Pass || before.Recalled != nil {
		t.Fatalf("before: %s, %+v", before.Outcome, before.Recalled)
	}
	s.ask("POST", "/nebulisers/bitter-strong-1/mist", object{"good": false, "shown": []string{"r000100"}, "by": agnes}).is(200, nil)

	check := func(what string, outcome procedure.Outcome, reason procedure.Reason, c *record.Recalled) {
		t.Helper()
		if outcome != procedure.NotValid || reason != procedure.MistCheckFailed || c == nil || c.Outcome != procedure.Pass || c.Reason != "" || c.At == "" {
			t.Errorf("%s: %s %s, recalled %+v", what, outcome, reason, c)
		}
	}
	var r record.Record
	g := s.ask("GET", "/runs/r000100/record.json", nil).is(200, &r)
	check("record.json", r.Outcome, r.Reason, r.Recalled)
	if r.Recalled == nil || r.Recalled.Why == "" || r.Recalled.By != agnes {
		t.Errorf("record.json: %s", g.body)
	}
	var page RunPage
	s.ask("GET", "/runs/r000100", nil).is(200, &page)
	check("the record's page", page.View.Outcome, page.View.Reason, page.View.Recalled)
	check("the record of the page", page.View.Record.Outcome, page.View.Record.Reason, page.View.Record.Recalled)

	var seq review.Sequence
	s.ask("GET", "/runs/r000100/review?names=true", nil).is(200, &seq)
	check("review", seq.Outcome, seq.Reason, seq.Recalled)
	if v := seq.Frames[len(seq.Frames)-1].Run.Verdict; v == nil || v.Outcome != procedure.NotValid {
		t.Errorf("the review ends with %+v", v)
	}
	g = s.ask("GET", "/runs/r000100/review.html", nil).is(200, nil)
	if !bytes.Contains(g.body, []byte(`"outcome":"not_valid","reason":"mist_check_failed","recalled":{"outcome":"pass"`)) || bytes.Contains(g.body, []byte(agnes)) {
		t.Error("the one file does not begin with the recall, or names somebody")
	}

	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(s.ask("GET", "/runs.csv", nil).is(200, nil).body, []byte("\ufeff")))).ReadAll()
	if err != nil || len(rows) != 2 {
		rows = semicolons(t, s.ask("GET", "/runs.csv", nil).is(200, nil).body)
	}
	cell := func(rows [][]string, title string) string { return rows[1][slices.Index(rows[0], title)] }
	f, err := excelize.OpenReader(bytes.NewReader(s.ask("GET", "/runs.xlsx", nil).is(200, nil).body))
	if err != nil {
		t.Fatal(err)
	}
	sheet, err := f.GetRows(f.GetSheetName(0))
	if err != nil {
		t.Fatal(err)
	}
	for name, rows := range map[string][][]string{"CSV": rows, "XLSX": sheet} {
		if cell(rows, "Outcome") != "not_valid" || cell(rows, "First outcome") != "pass" || cell(rows, "Recalled") == "" {
			t.Errorf("%s: %v", name, rows[1])
		}
	}
	var all struct {
		Runs []struct{ View json.RawMessage }
	}
	s.ask("GET", "/people/"+page.Run.Person+"/export", nil).is(200, &all)
	if len(all.Runs) != 1 || strings.Contains(string(all.Runs[0].View), `"schema":"tallyhood.record/1","outcome":"pass"`) {
		t.Errorf("everything about the person: %s", all.Runs)
	}
}
