// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
)

// ran writes a run of a person that has ended, as the daemon takes it in.
func (h *house) ran(run, person string, outcome procedure.Outcome) {
	h.t.Helper()
	rules, err := procedure.Rules()
	if err != nil {
		h.t.Fatal(err)
	}
	w, err := h.desk.SealWearer(h.t.Context(), person, "Ana Ionescu")
	if err != nil {
		h.t.Fatal(err)
	}
	h.facts(run, 0,
		procedure.RunOpened{
			Run: run, Rules: rules["us-osha"], Agent: "bitter", Wearer: w, Tester: "Agnes Thorley", Wall: "2026-09-14T09:00:00Z", WallQuality: "confirmed",
			Facepiece: procedure.Facepiece{ID: "corrie-m", Make: "Corrie", Model: "Half 2", Style: "half mask", Size: "medium", Type: procedure.HalfMask},
		},
		procedure.Entered{Stage: procedure.Screening}, procedure.Squeezed{Part: procedure.PartScreening}, procedure.BinSet{Squeezes: 1, Bin: 10},
		procedure.Entered{Stage: procedure.Dosing}, procedure.Ended{Outcome: outcome, At: time.Minute})
}

// facts writes facts of a run, a second apart.
func (h *house) facts(run string, at time.Duration, facts ...procedure.Fact) {
	h.t.Helper()
	var drafts []store.Draft
	for i, f := range facts {
		b, err := procedure.Encode(procedure.Dated{At: at + time.Duration(i)*time.Second, Fact: f})
		if err != nil {
			h.t.Fatal(err)
		}
		drafts = append(drafts, store.Draft{Stream: run, Kind: f.Kind(), Version: 1, Body: b})
	}
	if _, err := h.store.Append(h.t.Context(), drafts...); err != nil {
		h.t.Fatal(err)
	}
	if err := h.desk.Ended(h.t.Context(), run); err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) do(facts ...programme.Fact) {
	h.t.Helper()
	if err := h.desk.Do(h.t.Context(), facts...); err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) wears(name string) string {
	h.t.Helper()
	id, err := h.desk.Enter(h.t.Context(), programme.PersonForm{Name: name, Facepieces: []string{"corrie-m"}}, "Agnes Thorley")
	if err != nil {
		h.t.Fatal(err)
	}
	return id
}

func (h *house) corrie() {
	h.t.Helper()
	h.do(programme.FacepieceEntered{ID: "corrie-m", By: "Agnes Thorley", Form: programme.FacepieceForm{Make: "Corrie", Model: "Half 2", Style: "half mask", Size: "medium", Type: procedure.HalfMask}})
}

func recalled(runs ...string) programme.RunsRecalled {
	return programme.RunsRecalled{Runs: runs, Reason: programme.Clogged, At: "2026-09-14T16:00:00Z", Quality: "confirmed", By: "Agnes Thorley"}
}

// now is what a run comes to by the views and by the journal, and whether its
// person is due at once.
func (h *house) now(run string) (programme.Run, procedure.Outcome, bool) {
	h.t.Helper()
	r, err := h.desk.Run(h.t.Context(), run)
	if err != nil {
		h.t.Fatal(err)
	}
	v, err := archive.Run(h.t.Context(), h.store, nil, run)
	if err != nil {
		h.t.Fatal(err)
	}
	p, err := h.desk.Person(h.t.Context(), r.Person)
	if err != nil {
		h.t.Fatal(err)
	}
	return r, v.Outcome, slices.ContainsFunc(p.Due, func(d programme.Due) bool { return d.On == programme.DueNow })
}

// What undid a pass after the backup undoes it in the restored store: a recall,
// a proof that was not tasted, a later fail, a new reason for a test.
func TestRestoreBringsNoPassBack(t *testing.T) {
	for name, c := range map[string]struct {
		later   func(h *house, person string)
		outcome procedure.Outcome
		why     string
		says    string
	}{
		"a recall": {func(h *house, _ string) { h.do(recalled("r000100")) }, procedure.NotValid, programme.Clogged, "One test that did not count any more is not valid again."},
		"the proof": {func(h *house, _ string) {
			h.facts("r000100", time.Hour, procedure.ProofBegun{}, procedure.ProofGiven{Tasted: false})
		}, procedure.NotValid, programme.Undone, "One test"},
		"a fail": {func(h *house, p string) { h.ran("r000101", p, procedure.Fail) }, procedure.Pass, "", "due again"},
		"a new trigger": {func(h *house, p string) {
			h.do(programme.Triggered{Person: p, Trigger: programme.TriggerDental, On: "2026-09-14", By: "Agnes Thorley"})
		}, procedure.Pass, "", "due again"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "store")
			h := openHouse(t, path)
			h.corrie()
			ana := h.wears("Ana Ionescu")
			h.ran("r000100", ana, procedure.Pass)
			data := h.backup()
			if _, outcome, due := h.now("r000100"); outcome != procedure.Pass || due {
				t.Fatalf("at the backup: %s, due %v", outcome, due)
			}
			c.later(h, ana)
			h.close()
			out, err := restored(t, path, data, "--over", "--by", "Agnes Thorley")
			if err != nil {
				t.Fatal(err)
			}
			if !strings.Contains(out, c.says) || strings.Contains(out, "Nobody knows") {
				t.Errorf("it says %s", out)
			}
			h = openHouse(t, path)
			r, outcome, due := h.now("r000100")
			h.close()
			if r.Outcome != c.outcome || outcome != c.outcome || r.Recalled != c.why || !due {
				t.Errorf("restored: %s by the views, %s by the journal, recalled %q, due at once %v; want %s, %q, true", r.Outcome, outcome, r.Recalled, due, c.outcome, c.why)
			}
			if _, f := facts(t, path); f.Later != programme.LaterTaken {
				t.Errorf("the fact says %q", f.Later)
			}
		})
	}
}

// A pass that still counted in the replaced store counts in the restored one.
func TestRestoreKeepsAPassThatCounts(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, path)
	h.corrie()
	ana, ben := h.wears("Ana Ionescu"), h.wears("Ben Quarles")
	h.ran("r000100", ana, procedure.Pass)
	h.ran("r000101", ben, procedure.Pass)
	data := h.backup()
	h.facts("r000100", time.Hour, procedure.ProofBegun{}, procedure.ProofGiven{Tasted: true})
	h.do(recalled("r000101"))
	h.close()
	if _, err := restored(t, path, data, "--over"); err != nil {
		t.Fatal(err)
	}
	h = openHouse(t, path)
	defer h.close()
	for run, want := range map[string]procedure.Outcome{"r000100": procedure.Pass, "r000101": procedure.NotValid} {
		if _, outcome, due := h.now(run); outcome != want || due != (want != procedure.Pass) {
			t.Errorf("%s: %s, due at once %v; want %s", run, outcome, due, want)
		}
	}
}

// A recall in a store with another history is about another run of that number.
func TestRestoreTakesNoRecallOfAnotherBoxsRun(t *testing.T) {
	other := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, other)
	h.corrie()
	h.ran("r000100", h.wears("Ana Ionescu"), procedure.Pass)
	data := h.backup()
	h.close()

	path := filepath.Join(t.TempDir(), "store")
	h = openHouse(t, path)
	h.corrie()
	h.ran("r000100", h.wears("Ben Quarles"), procedure.Pass)
	h.do(recalled("r000100"))
	h.close()
	out, err := restored(t, path, data, "--over")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out, "Nobody knows") { // what happened to the other box's runs
		t.Errorf("it says %s", out)
	}
	h = openHouse(t, path)
	if r, outcome, _ := h.now("r000100"); outcome != procedure.Pass || r.Recalled != "" {
		t.Errorf("%s, recalled %q", outcome, r.Recalled)
	}
	h.close()
	if _, f := facts(t, path); f.Later != programme.LaterUnknown {
		t.Errorf("the fact says %q", f.Later)
	}
}

// Where nothing can tell what was recalled after the backup, it is said, with
// what is to be done.
func TestRestoreSaysThatLaterRecallsAreUnknown(t *testing.T) {
	for _, spoilt := range []bool{false, true} {
		path := filepath.Join(t.TempDir(), "store")
		h := openHouse(t, path)
		h.corrie()
		h.ran("r000100", h.wears("Ana Ionescu"), procedure.Pass)
		data := h.backup()
		h.close()
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if spoilt {
			if err := os.WriteFile(path, []byte("spoilt"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		out, err := restored(t, path, data, "--over")
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"Nobody knows which tests were recalled after this backup was made (2026-09-14T16:00:00Z)", "Go through the mist checks since that day"} {
			if !strings.Contains(out, want) {
				t.Errorf("spoilt %v: it says %s, want %q", spoilt, out, want)
			}
		}
		if _, f := facts(t, path); f.Later != programme.LaterUnknown {
			t.Errorf("spoilt %v: the fact says %q", spoilt, f.Later)
		}
	}
}

// The commands that read a stopped store show a recalled run as what it is.
func TestRecordsOfARecalledRun(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, path)
	h.corrie()
	ana := h.wears("Ana Ionescu")
	h.ran("r000100", ana, procedure.Pass)
	h.ran("r000101", ana, procedure.Pass)
	h.do(recalled("r000100"))
	h.close()
	run := func(args ...string) string {
		t.Helper()
		var out, errOut bytes.Buffer
		if code := command(t, &out, &errOut, append(append([]string{"records"}, args...), "--store", path)...); code != 0 {
			t.Fatalf("%v: %d %s", args, code, errOut.String())
		}
		return out.String()
	}
	const was = "recalled on 2026-09-14T16:00:00Z by Agnes Thorley, was pass: nebuliser found clogged"
	for line := range strings.Lines(run("list")) {
		if strings.HasPrefix(line, "r000100") && (!strings.Contains(line, "NOT VALID") || !strings.Contains(line, was)) || strings.HasPrefix(line, "r000101") && strings.Contains(line, "recalled") {
			t.Errorf("list has %s", line)
		}
	}
	if text := run("show", "r000100"); !strings.HasPrefix(text[strings.Index(text, "\n\n")+2:], "NOT VALID: ") || !strings.Contains(text, was) || strings.Contains(text, "PASS") {
		t.Errorf("show prints\n%s", text)
	}
	var v struct {
		Outcome procedure.Outcome
		Record  struct {
			Outcome  procedure.Outcome
			Reason   procedure.Reason
			Recalled *struct {
				Outcome procedure.Outcome
				Why, At string
			}
		}
	}
	if err := json.Unmarshal([]byte(run("show", "r000100", "--json")), &v); err != nil {
		t.Fatal(err)
	}
	if c := v.Record.Recalled; v.Outcome != procedure.NotValid || v.Record.Outcome != procedure.NotValid || v.Record.Reason != procedure.MistCheckFailed || c == nil || c.Outcome != procedure.Pass || c.At == "" || c.Why == "" {
		t.Errorf("as JSON: %+v", v)
	}
	var lines []archive.Line
	if err := json.Unmarshal([]byte(run("list", "--json")), &lines); err != nil || len(lines) != 2 || lines[1].Outcome != procedure.NotValid || lines[0].Outcome != procedure.Pass {
		t.Errorf("the list as JSON: %+v, %v", lines, err)
	}
}
