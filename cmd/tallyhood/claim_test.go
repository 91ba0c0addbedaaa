// SPDX-License-Identifier: Apache-2.0

package main

import (
	"crypto/rand"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"tallyhood/console/evidence"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/device/clock"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A claim is signed for a pass that counts, with all that stands in the journal
// of it, and a card that was given before is found out at the box.
func TestClaimOnlyForAPassThatCounts(t *testing.T) {
	ctx := t.Context()
	const by = "Agnes Thorley"
	now := time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC)
	form := programme.FacepieceForm{Make: "Fellside", Model: "Corrie", Style: "half mask, rubber", Size: "medium", Type: procedure.HalfMask, FitFactor: 10}
	type office struct {
		t      *testing.T
		s      *memory.Store
		desk   *programme.Desk
		n      *notary
		person string
	}
	must := func(t *testing.T, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	write := func(o *office, run string, facts ...procedure.Fact) {
		o.t.Helper()
		var drafts []store.Draft
		for i, f := range facts {
			body, err := procedure.Encode(procedure.Dated{At: time.Duration(i) * time.Second, Fact: f})
			must(o.t, err)
			drafts = append(drafts, store.Draft{Stream: run, Kind: f.Kind(), Version: procedure.FactVersion, Body: body})
		}
		_, err := o.s.Append(ctx, drafts...)
		must(o.t, err)
	}
	rules, err := procedure.Rules()
	must(t, err)
	test := func(o *office, run string, outcome procedure.Outcome) {
		write(o, run,
			procedure.RunOpened{Run: run, Rules: rules["us-osha"], Agent: "sweet", Tester: by, Wall: now.Format(time.RFC3339), WallQuality: "network", Wearer: procedure.Wearer{ID: o.person}, Facepiece: programme.Facepiece{ID: "corrie-m", FacepieceForm: form}.ForRun()},
			procedure.Ended{Outcome: outcome, At: time.Second})
	}
	for name, c := range map[string]struct {
		do  func(o *office)
		why string
	}{
		"it counts": {func(o *office) {
			_, err := o.desk.Enter(ctx, programme.PersonForm{Name: "Ben Quarles", Rules: "us-osha"}, by)
			must(o.t, err)
		}, ""},
		"a later pass": {func(o *office) { test(o, "r000200", procedure.Pass) }, "a later test with this facepiece counts"},
		"a later fail": {func(o *office) { test(o, "r000200", procedure.Fail) }, "a later test with this facepiece showed a leak"},
		"something happened": {func(o *office) {
			must(o.t, o.desk.Do(ctx, programme.Triggered{Person: o.person, Trigger: programme.TriggerDental, On: "2026-09-14", By: by}))
		}, "something happened since"},
		"another size": {func(o *office) {
			f := form
			f.Size = "large"
			must(o.t, o.desk.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: f, By: by}))
		}, "entered otherwise"},
		"recalled": {func(o *office) {
			must(o.t, o.desk.Do(ctx, programme.RunsRecalled{Runs: []string{"r000100"}, Reason: programme.Clogged, At: now.Format(time.RFC3339), By: by}))
		}, programme.Clogged},
		"its nebuliser was found worthless":   {func(o *office) { write(o, "r000100", procedure.KitSpoiled{Mark: "S1"}) }, "mist_check_failed"},
		"nothing tasted with the seal broken": {func(o *office) { write(o, "r000100", procedure.ProofGiven{Tasted: false}) }, "mist_check_failed"},
	} {
		t.Run(name, func(t *testing.T) {
			o := &office{t: t, s: memory.New()}
			ring := sealing.NewRing(o.s.Table(sealing.Table), rand.Reader)
			var err error
			o.desk, err = programme.New(ctx, programme.Config{
				Store: o.s, Ring: ring, Rules: rules, Random: rand.Reader, Now: func() (time.Time, bool) { return now, true }, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
			})
			must(t, err)
			signer, err := evidence.NewSigner(rand.Reader, "box-000001")
			must(t, err)
			o.n = &notary{log: evidence.New(o.s, signer), signer: signer, journal: o.s, desk: o.desk, wall: clock.NewWall(now)}
			must(t, o.desk.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: form, By: by}))
			o.person, err = o.desk.Enter(ctx, programme.PersonForm{Name: "Ilse Brandvold", Facepieces: []string{"corrie-m"}, Rules: "us-osha"}, by)
			must(t, err)
			test(o, "r000100", procedure.Pass)
			given, err := o.n.Claim(ctx, "r000100")
			must(t, err)
			if got, err := o.n.Check(ctx, given.Text); err != nil || !got.Holds || got.Due != "2027-09-14" {
				t.Fatalf("a card that was just given: %+v, %v", got, err)
			}
			c.do(o)
			// Nobody has told the desk of what stands in the journal.
			if _, err := o.n.Claim(ctx, "r000100"); (err == nil) != (c.why == "") {
				t.Errorf("a claim: %v", err)
			}
			// What is under a head of the box's key is claimed without a new one,
			// however far the journal has grown. A new key signs its own.
			if heads, err := o.s.Table(evidence.HeadsTable).Keys(ctx, ""); err != nil || len(heads) != 1 {
				t.Errorf("heads %v, %v: want that of the first claim alone", heads, err)
			}
			if c.why == "" {
				fresh, err := evidence.NewSigner(rand.Reader, "box-000002")
				must(t, err)
				n := &notary{log: evidence.New(o.s, fresh), signer: fresh, journal: o.s, desk: o.desk, wall: o.n.wall}
				anew, err := n.Claim(ctx, "r000100")
				must(t, err)
				if got, err := n.Check(ctx, anew.Text); err != nil || !got.Holds {
					t.Errorf("a card from a new key: %+v, %v", got, err)
				}
			}
			got, err := o.n.Check(ctx, given.Text)
			must(t, err)
			if got.Holds != (c.why == "") || !strings.Contains(got.Why, c.why) {
				t.Errorf("the box says of its card: %v, %q; want %q", got.Holds, got.Why, c.why)
			}
		})
	}
}

// The verdict alone bears no claim: a proof that was not tasted takes it away.
func TestVerdictWithAllThatFollowed(t *testing.T) {
	ctx := t.Context()
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	opened := procedure.RunOpened{Run: "r000100", Rules: rules["us-osha"]}
	practice := opened
	practice.Practice = "simulated board"
	for name, c := range map[string]struct {
		facts []procedure.Fact
		bears bool
	}{
		"a pass":                   {[]procedure.Fact{opened, procedure.Ended{Outcome: procedure.Pass, At: time.Second}}, true},
		"a pass, proof tasted":     {[]procedure.Fact{opened, procedure.Ended{Outcome: procedure.Pass, At: time.Second}, procedure.ProofBegun{}, procedure.ProofGiven{Tasted: true}}, true},
		"a pass, proof not tasted": {[]procedure.Fact{opened, procedure.Ended{Outcome: procedure.Pass, At: time.Second}, procedure.ProofBegun{}, procedure.ProofGiven{}}, false},
		"a pass, mist worthless":   {[]procedure.Fact{opened, procedure.Ended{Outcome: procedure.Pass, At: time.Second}, procedure.KitSpoiled{Mark: "S1"}}, false},
		"a fail":                   {[]procedure.Fact{opened, procedure.Ended{Outcome: procedure.Fail, At: time.Second}}, false},
		"practice":                 {[]procedure.Fact{practice, procedure.Ended{Outcome: procedure.Pass, At: time.Second}}, false},
		"open":                     {[]procedure.Fact{opened}, false},
	} {
		s := memory.New()
		for i, f := range c.facts {
			body, err := procedure.Encode(procedure.Dated{At: time.Duration(i) * time.Second, Fact: f})
			if err == nil {
				_, err = s.Append(ctx, store.Draft{Stream: "r000100", Kind: f.Kind(), Version: procedure.FactVersion, Body: body})
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		n, err := verdictOf(ctx, s, "r000100")
		if (err == nil) != c.bears || c.bears && n != 2 {
			t.Errorf("%s: entry %s, %v", name, fmt.Sprint(n), err)
		}
	}
}
