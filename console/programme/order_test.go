// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// between is a store in which a run ends just before each commit of facts.
type between struct {
	*memory.Store
	run func() []store.Draft
}

func (b *between) Commit(ctx context.Context, drafts []store.Draft, pairs []store.Pair) ([]store.Entry, error) {
	if len(drafts) > 0 && b.run != nil {
		if _, err := b.Append(ctx, b.run()...); err != nil {
			return nil, err
		}
	}
	return b.Store.Commit(ctx, drafts, pairs)
}

// A run that ends between the look at the views and the commit stands before the
// fact in the journal, and so it does in the views.
func TestARunEndsInBetween(t *testing.T) {
	s := &between{Store: memory.New()}
	d := newDesk(t, s)
	ctx := t.Context()
	withKit(t, d)
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	person, err := d.Enter(ctx, programme.PersonForm{Name: "Ana", Facepieces: []string{"corrie-m"}, Rules: "us-osha"}, who)
	must(t, err)
	n := 0
	s.run = func() []store.Draft {
		n++
		return played{
			run: fmt.Sprintf("r%06d", n), person: person, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass, strong: "n-strong", weak: "n-weak", screening: 4,
		}.drafts(t, ruleSets(t))
	}
	must(t, d.Do(ctx, programme.MistChecked{ID: "n-strong", Good: true, At: at(0), By: who})) // after r000001
	must(t, d.Do(ctx, programme.NebuliserFilled{ID: "n-weak", Solution: "s-weak", At: at(0), By: who}))
	must(t, d.Do(ctx, programme.Triggered{Person: person, Trigger: programme.TriggerDental, On: today.Format(time.DateOnly), By: who}))
	s.run = nil
	sweep, err := d.Sweep(ctx, "n-strong")
	if err != nil || len(sweep.Runs) != 2 || sweep.Runs[0].Run != "r000002" {
		t.Errorf("since the good check: %+v, %v", sweep.Runs, err)
	}
	all, err := d.Nebulisers(ctx)
	must(t, err)
	if all[1].ID != "n-weak" || all[1].Squeezes != 4 { // of r000003 alone
		t.Errorf("squeezes since the filling: %+v", all[1])
	}
	if p, err := d.Person(ctx, person); err != nil || p.Due[0].Why != "trigger" {
		t.Errorf("due: %+v, %v", p.Due, err)
	}
	sameMadeAnew(t, s, d)
}

// Everything at once: nothing is lost, and the views are those of the journal.
func TestAtOnce(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	ctx := t.Context()
	withKit(t, d)
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	const each = 20
	var wg sync.WaitGroup
	var mu sync.Mutex
	errs := []error{}
	try := func(err error) {
		if err != nil {
			mu.Lock()
			errs = append(errs, err)
			mu.Unlock()
		}
	}
	rules := ruleSets(t)
	for w := range 4 {
		wg.Go(func() {
			for i := range each {
				id, err := d.Enter(ctx, programme.PersonForm{Name: fmt.Sprintf("Person %d %d", w, i), Facepieces: []string{"corrie-m"}}, who)
				try(err)
				_, err = s.Append(ctx, played{run: fmt.Sprintf("r%d%05d", w, i), person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass}.drafts(t, rules)...)
				try(err)
				try(d.Ended(ctx, ""))
			}
		})
		wg.Go(func() {
			for i := range each {
				try(d.Do(ctx, programme.PolicySet{Policy: programme.Policy{Rules: "us-osha", RetestMonths: 1 + i%12}, By: who}))
				_, err := d.Find(ctx, "person", 5)
				try(err)
				d.Nebuliser("A-weak")
				_, err = d.Sweep(ctx, "n-weak")
				try(err)
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		t.Error(err)
	}
	due, err := d.DueBy(ctx, "9999-12-31", 1000)
	must(t, err)
	if len(due) != 4*each {
		t.Errorf("%d are due, want %d", len(due), 4*each)
	}
	for _, x := range due {
		if x.Why != "interval" {
			t.Errorf("%+v after a pass", x)
		}
	}
	sameMadeAnew(t, s, d)
}

func TestWarnings(t *testing.T) {
	cfg := config(t, memory.New())
	now, trusted := today, true
	cfg.Now = func() (time.Time, bool) { return now, trusted }
	d, err := programme.New(t.Context(), cfg)
	must(t, err)
	ctx := t.Context()
	withKit(t, d) // filled an hour ago, expires 2026-09-21
	must(t, d.Do(ctx,
		programme.HoodEntered{ID: "h-1", Form: programme.HoodForm{Mark: "1", AcrossMM: 305, TallMM: 356}, By: who},
		programme.HoodEntered{ID: "h-2", Form: programme.HoodForm{Mark: "2", AcrossMM: 305, TallMM: 400}, By: who},
		programme.HoodEntered{ID: "h-4", Form: programme.HoodForm{Mark: "4", AcrossMM: 335, TallMM: 391}, By: who}, // 10 % more is 335.5 by 391.6
		programme.HoodEntered{ID: "h-3", Form: programme.HoodForm{Mark: "3", AcrossMM: 400, TallMM: 356, Gone: true}, By: who}))
	got := func() string {
		all, err := d.Warnings(ctx)
		must(t, err)
		var out []string
		for _, w := range all {
			if w.What != programme.WarnOversized {
				out = append(out, fmt.Sprintf("%s %s %d", w.What, w.ID, w.InS))
			} else if w.ID != "h-2" {
				t.Errorf("oversized: %+v", w)
			}
		}
		return strings.Join(out, ", ")
	}
	for _, c := range []struct {
		after   time.Duration
		trusted bool
		want    string
	}{
		{0, true, ""},
		{165*time.Minute - time.Second, true, ""},
		{165 * time.Minute, true, "filling_stale_soon n-strong 900, filling_stale_soon n-weak 900"},
		{3 * time.Hour, true, "filling_stale n-strong 0, filling_stale n-weak 0"},
		{0, false, "filling_age_unknown n-strong 0, filling_age_unknown n-weak 0"},
		{-2 * time.Hour, true, "filling_age_unknown n-strong 0, filling_age_unknown n-weak 0"},
		{4 * 24 * time.Hour, true, "filling_stale n-strong 0, filling_stale n-weak 0, solution_expires_soon s-strong 0, solution_expires_soon s-weak 0"},
		{8 * 24 * time.Hour, true, "filling_stale n-strong 0, filling_stale n-weak 0, solution_expired s-strong 0, solution_expired s-weak 0"},
	} {
		if now, trusted = today.Add(c.after), c.trusted; got() != c.want {
			t.Errorf("after %v: %s, want %s", c.after, got(), c.want)
		}
	}
	now, trusted = today, true
	must(t, d.Recall(ctx, programme.MistChecked{ID: "n-weak", At: at(0), By: who}, nil))
	must(t, d.Do(ctx, programme.NebuliserFilled{ID: "n-strong", Solution: "s-strong", At: at(0), By: who}))
	if g := got(); g != "mist_not_checked n-strong 0, mist_check_failed n-weak 0" {
		t.Errorf("after a bad check and a filling: %s", g)
	}
	full := corrie
	full.Type = procedure.FullFace
	if r := d.RefusedBy(full); len(r) != 1 || !strings.Contains(r["uk-hse"], "full face") {
		t.Errorf("full face with a fit factor of 10: %v", r)
	}
}

// What was recalled stays so when the run gets its proof afterwards.
func TestProofAfterARecall(t *testing.T) {
	s, d, person := withPerson(t)
	ctx := t.Context()
	play(t, s, d, played{run: "r000001", person: person, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	must(t, d.Do(ctx, programme.RunsRecalled{Runs: []string{"r000001"}, Reason: "clogged", At: "2026-09-14T16:00:00Z", Quality: "network", By: who}))
	if _, err := s.Append(ctx, proof(t, "r000001", true)); err != nil {
		t.Fatal(err)
	}
	must(t, d.Ended(ctx, "r000001"))
	r, err := d.Run(ctx, "r000001")
	if err != nil || r.Outcome != procedure.NotValid || r.Recalled != "clogged" || r.First != procedure.Pass {
		t.Errorf("the run: %+v, %v", r, err)
	}
	if p, err := d.Person(ctx, person); err != nil || len(p.Tested) != 0 || p.Due[0].Why != "recalled" {
		t.Errorf("the person: %+v, %v", p, err)
	}
}

// What comes after the end of a run is its last entry in the views as well, so
// that a record is signed as it is shown.
func TestEntriesAfterTheEnd(t *testing.T) {
	s, d, person := withPerson(t)
	ctx := t.Context()
	play(t, s, d, played{run: "r000001", person: person, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	body, err := procedure.Encode(procedure.Dated{At: time.Hour, Fact: procedure.ProofBegun{}})
	must(t, err)
	d = newDesk(t, s) // which has not seen the run begin
	after, err := s.Append(ctx, store.Draft{Stream: "r000001", Kind: "proof_begun", Version: procedure.FactVersion, Body: body})
	must(t, err)
	must(t, d.Ended(ctx, ""))
	r, err := d.Run(ctx, "r000001")
	if err != nil || r.Number != after[0].Number || r.Hash != fmt.Sprintf("%x", after[0].Hash) || r.Outcome != procedure.Pass {
		t.Errorf("the run: %+v, %v", r, err)
	}
	must(t, d.Sign(ctx, "r000001", "tester", r.Hash, []byte("M0 0L1 1"), programme.Drawn, who))
	if p, err := d.Person(ctx, person); err != nil || len(p.Tested) != 1 || p.Fails["corrie-m"] != 0 {
		t.Errorf("the person: %+v, %v", p, err)
	}
}

// A search a part at a time finds everybody once, in the order of the whole.
func TestFindPages(t *testing.T) {
	d := newDesk(t, memory.New())
	ctx := t.Context()
	var forms []programme.PersonForm
	for i := range 300 {
		forms = append(forms, programme.PersonForm{Name: fmt.Sprintf("Ana Anders %d", i%7), Number: fmt.Sprintf("HS %d", i)})
	}
	_, err := d.EnterAll(ctx, forms[:10], who)
	must(t, err)
	_, err = d.Find(ctx, "ana", 1) // from here on the words are in memory
	must(t, err)
	_, err = d.EnterAll(ctx, forms[10:], who)
	must(t, err)
	for query, want := range map[string]int{"an": 300, "an hs": 300, "hs 299": 1, "an b": 0} {
		whole, err := d.Find(ctx, query, 1000)
		must(t, err)
		var parts []programme.Person
		for after := ""; ; {
			some, next, err := d.FindPage(ctx, query, after, 7)
			must(t, err)
			parts = append(parts, some...)
			if after = next; next == "" {
				break
			}
		}
		if len(whole) != want {
			t.Errorf("%s: %d people, want %d", query, len(whole), want)
		}
		if len(parts) != len(whole) {
			t.Fatalf("%s: %d in parts, %d as a whole", query, len(parts), len(whole))
		}
		seen := map[string]bool{}
		for i, p := range parts {
			if p.ID != whole[i].ID || seen[p.ID] {
				t.Fatalf("%s: place %d is %s, as a whole %s", query, i, p.ID, whole[i].ID)
			}
			seen[p.ID] = true
		}
	}
}
