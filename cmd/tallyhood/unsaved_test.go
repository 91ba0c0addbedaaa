// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A pass of a run that was not saved whole is not valid from the next start on,
// and the word on it is not lost before the store has it.
func TestUnsavedRunsAreVoidAtTheNextStart(t *testing.T) {
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	j := memory.New()
	write := func(run string, facts ...procedure.Fact) {
		var drafts []store.Draft
		for _, f := range append([]procedure.Fact{procedure.RunOpened{Run: run, Rules: all["us-osha"], Agent: "sweet"}}, facts...) {
			b, err := procedure.Encode(procedure.Dated{At: time.Second, Fact: f})
			if err != nil {
				t.Fatal(err)
			}
			drafts = append(drafts, store.Draft{Stream: run, Kind: f.Kind(), Version: procedure.FactVersion, Body: b})
		}
		if _, err := j.Append(t.Context(), drafts...); err != nil {
			t.Fatal(err)
		}
	}
	pass := procedure.Ended{Outcome: procedure.Pass, At: time.Second}
	write("r000001", pass)
	write("r000002", pass)
	write("r000003", procedure.Ended{Outcome: procedure.Fail, Reason: procedure.Tasted, At: time.Second})
	write("r000004")

	path := filepath.Join(t.TempDir(), "store.db")
	u := unsavedBeside(path)
	if err := u.reserve(); err != nil {
		t.Fatal(err)
	}
	room, err := os.Stat(path + ".unsaved")
	if err != nil {
		t.Fatal(err)
	}
	if err := u.void(t.Context(), j); err != nil {
		t.Fatalf("without a file: %v", err)
	}
	for _, runs := range [][]string{{"r000002", "r000003"}, {"r000004", "r009999"}} {
		if err := u.add(runs); err != nil {
			t.Fatal(err)
		}
	}
	// A full card has no room for more than what was kept; what stands there stays.
	if err := u.reserve(); err != nil {
		t.Fatal(err)
	}
	if full, err := os.Stat(path + ".unsaved"); err != nil || full.Size() != room.Size() || room.Size() < 512 {
		t.Errorf("%d octets were kept, the note took %d, %v", room.Size(), full.Size(), err)
	}
	for range 2 { // the second start finds nothing to do
		if err := unsavedBeside(path).void(t.Context(), j); err != nil {
			t.Fatal(err)
		}
	}
	for run, want := range map[string]procedure.Outcome{"r000001": procedure.Pass, "r000002": procedure.NotValid, "r000003": procedure.Fail} {
		st, err := archive.State(t.Context(), j, run)
		if err != nil {
			t.Fatal(err)
		}
		if st.Verdict.Outcome != want {
			t.Errorf("%s: %+v, want %s", run, *st.Verdict, want)
		}
	}
	if st, err := archive.State(t.Context(), j, "r000004"); err != nil || st.Verdict != nil {
		t.Errorf("a run without a verdict: %+v, %v", st.Verdict, err)
	}
	if _, err := os.Stat(path + ".unsaved"); !os.IsNotExist(err) {
		t.Errorf("the file is still there: %v", err)
	}
	// A store that takes nothing leaves the file for the next start.
	if err := u.add([]string{"r000001"}); err != nil {
		t.Fatal(err)
	}
	if err := u.void(t.Context(), refusing{j}); err == nil {
		t.Error("nobody said that the store took nothing")
	}
	if _, err := os.Stat(path + ".unsaved"); err != nil {
		t.Errorf("the file is gone before the store has the word: %v", err)
	}
}

type refusing struct{ store.Journal }

func (refusing) Append(context.Context, ...store.Draft) ([]store.Entry, error) {
	return nil, errors.New("no space left")
}
