// SPDX-License-Identifier: Apache-2.0

package archive_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/memory"
)

func newDesk(t *testing.T, s *memory.Store) *programme.Desk {
	t.Helper()
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	d, err := programme.New(t.Context(), programme.Config{
		Store: s, Ring: sealing.NewRing(s.Table(sealing.Table), rand.Reader), Rules: rules, Random: rand.Reader,
		Now: func() (time.Time, bool) { return time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC), true },
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// ends writes a run with an outcome, and what came after it.
func ends(t *testing.T, s *memory.Store, d *programme.Desk, run string, outcome procedure.Outcome, after ...procedure.Fact) {
	t.Helper()
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	facts := append([]procedure.Fact{
		procedure.RunOpened{Run: run, Rules: rules["us-osha"], Agent: "bitter", Tester: "Agnes Thorley", Wall: "2026-09-14T09:00:00Z", WallQuality: "confirmed"},
		procedure.Ended{Outcome: outcome, At: time.Minute},
	}, after...)
	var drafts []store.Draft
	for i, f := range facts {
		b, err := procedure.Encode(procedure.Dated{At: time.Duration(i) * time.Minute, Fact: f})
		if err != nil {
			t.Fatal(err)
		}
		drafts = append(drafts, store.Draft{Stream: run, Kind: f.Kind(), Version: 1, Body: b})
	}
	if _, err := s.Append(t.Context(), drafts...); err != nil {
		t.Fatal(err)
	}
	if err := d.Ended(t.Context(), run); err != nil {
		t.Fatal(err)
	}
}

// Whoever reads a run back gets it as it is now: a recalled pass is none, from
// a journal alone and from one that is followed, before and after a later recall.
func TestARecalledRunIsNotValidWhereverItIsRead(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	followed := archive.Follow(s)
	for n := 1; n <= 3; n++ {
		ends(t, s, d, fmt.Sprintf("r00000%d", n), procedure.Pass)
	}
	check := func(want string) {
		t.Helper()
		for name, j := range map[string]store.Journal{"journal": s, "followed": followed} {
			got := ""
			lines, err := archive.List(t.Context(), j, nil, 10)
			if err != nil {
				t.Fatal(err)
			}
			for _, l := range lines {
				v, err := archive.Run(t.Context(), j, nil, l.Run)
				if err != nil {
					t.Fatal(err)
				}
				if v.Outcome != l.Outcome || v.Record.Outcome != l.Outcome || v.Record.Reason != l.Reason || (l.Outcome == procedure.Pass) != (v.Recalled == nil && v.Record.Recalled == nil) {
					t.Errorf("%s, %s: the list has %s %s, the record %s %s", name, l.Run, l.Outcome, l.Reason, v.Record.Outcome, v.Record.Reason)
				}
				got += string(l.Outcome) + " "
				if l.Recalled != nil && (l.Recalled.Outcome != procedure.Pass || l.Recalled.Why != "nebuliser found clogged" || l.Recalled.At == "") {
					t.Errorf("%s, %s: %+v", name, l.Run, l.Recalled)
				}
				if l.Outcome == procedure.NotValid && v.Next == "proof" {
					t.Errorf("%s, %s: next is %s", name, l.Run, v.Next)
				}
			}
			if got = strings.TrimSpace(got); got != want {
				t.Errorf("%s: newest first %s, want %s", name, got, want)
			}
		}
	}
	recall := func(runs ...string) {
		t.Helper()
		f := programme.RunsRecalled{Runs: runs, Reason: "nebuliser found clogged", At: "2026-09-14T16:00:00Z", Quality: "confirmed", By: "Agnes Thorley"}
		if err := d.Do(t.Context(), f); err != nil {
			t.Fatal(err)
		}
	}
	check("pass pass pass")
	recall("r000002")
	check("pass not_valid pass")
	recall("r000001", "r000003")
	check("not_valid not_valid not_valid")
}

// A recall that this program cannot read is an error: its runs might be taken
// for passes.
func TestARecallOfALaterFormIsNotPassedOver(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	ends(t, s, d, "r000001", procedure.Pass)
	if _, err := s.Append(t.Context(), store.Draft{Stream: programme.Stream, Kind: (programme.RunsRecalled{}).Kind(), Version: programme.VersionOf((programme.RunsRecalled{}).Kind()) + 1, Body: []byte(`{}`)}); err != nil {
		t.Fatal(err)
	}
	for name, j := range map[string]store.Journal{"journal": s, "followed": archive.Follow(s)} {
		if _, err := archive.Run(context.Background(), j, nil, "r000001"); err == nil || !strings.Contains(err.Error(), "newer program") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A proof that was begun and never answered is a remark: the pass stands.
func TestAProofWithoutAnAnswer(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	ends(t, s, d, "r000001", procedure.Pass, procedure.ProofBegun{})
	ends(t, s, d, "r000002", procedure.Pass, procedure.ProofBegun{}, procedure.ProofGiven{Tasted: true})
	ends(t, s, d, "r000003", procedure.Pass, procedure.ProofBegun{}, procedure.ProofGiven{})
	for run, want := range map[string]string{"r000001": "pass not_answered", "r000002": "pass tasted", "r000003": "not_valid not_tasted"} {
		v, err := archive.Run(t.Context(), s, nil, run)
		if err != nil {
			t.Fatal(err)
		}
		if got := string(v.Record.Outcome) + " " + *v.Record.Proof; got != want {
			t.Errorf("%s: %s, want %s", run, got, want)
		}
	}
}
