// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A house with kit and a person, and a run with both nebulisers in its entries:
// opened, weak one taken, sensitivity test, five squeezes, bin, strong one taken,
// dosing, verdict.
func aHouse(t *testing.T, s store.Store) (*programme.Desk, string) {
	t.Helper()
	d := newDesk(t, s)
	withKit(t, d)
	must(t, d.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	id, err := d.Enter(t.Context(), programme.PersonForm{Name: "Ilse Brandvold", Facepieces: []string{"corrie-m"}, Rules: "us-osha"}, who)
	must(t, err)
	return d, id
}

func entriesOf(t *testing.T, run, person string, outcome procedure.Outcome) []store.Draft {
	t.Helper()
	return played{
		run: run, person: person, facepiece: "corrie-m", form: corrie, at: today, outcome: outcome, weak: "n-weak", strong: "n-strong", batches: true, screening: 5,
	}.drafts(t, ruleSets(t))
}

func kinds(drafts []store.Draft, kind string) (at []int) {
	for i, d := range drafts {
		if d.Kind == kind {
			at = append(at, i)
		}
	}
	return at
}

// What befalls a nebuliser or its batch while a run has it in use takes the
// ground from under the pass (29 CFR 1910.134 App. A I.B.3: a nebuliser found
// clogged at the end makes the test not valid), and a good check later does not
// give it back.
func TestKitSpoiltInARun(t *testing.T) {
	ctx := context.Background()
	bad := func(id string) func(*testing.T, *programme.Desk) {
		return func(t *testing.T, d *programme.Desk) {
			s, err := d.Sweep(ctx, id)
			must(t, err)
			var shown []string
			for _, r := range s.Runs {
				shown = append(shown, r.Run)
			}
			must(t, d.Recall(ctx, programme.MistChecked{ID: id, At: at(0), By: who}, shown))
		}
	}
	do := func(facts ...programme.Fact) func(*testing.T, *programme.Desk) {
		return func(t *testing.T, d *programme.Desk) { must(t, d.Do(ctx, facts...)) }
	}
	good := func(role string) func(*testing.T, *programme.Desk) {
		return do(programme.NebuliserFilled{ID: "n-" + role, Solution: "s-" + role, At: at(0), By: who}, programme.MistChecked{ID: "n-" + role, Good: true, At: at(0), By: who})
	}
	batch := func(role string, change func(*programme.SolutionForm)) func(*testing.T, *programme.Desk) {
		f := solution("sweet", role)
		change(&f)
		return do(programme.SolutionEntered{ID: "s-" + role, Form: f, By: who})
	}
	expires := func(day string) func(*programme.SolutionForm) {
		return func(f *programme.SolutionForm) { f.Expires = day }
	}
	type step = func(*testing.T, *programme.Desk)
	// Entries of the run before which something happens.
	const opened, screening, waiting, dosing, over = 1, 4, 9, 10, 12
	for name, c := range map[string]struct {
		before int
		steps  []step
		want   string
	}{
		"the strong one gave no mist in the dose":      {11, []step{bad("n-strong"), good(procedure.Strong)}, programme.Clogged},
		"the strong one, just after it was named":      {dosing, []step{bad("n-strong")}, programme.Clogged},
		"the weak one gave no mist":                    {screening, []step{bad("n-weak"), good(procedure.Weak)}, programme.Clogged},
		"the weak one, found out later in the run":     {dosing, []step{bad("n-weak"), good(procedure.Weak)}, programme.Clogged},
		"the strong one filled anew in the dose":       {11, []step{good(procedure.Strong)}, programme.Changed},
		"the weak one filled anew in its part":         {screening, []step{good(procedure.Weak)}, programme.Changed},
		"the weak one filled for the next person":      {dosing, []step{good(procedure.Weak)}, ""},
		"another strong one filled and checked before": {waiting, []step{bad("n-strong"), good(procedure.Strong)}, ""},
		"before the run had any":                       {opened, []step{good(procedure.Strong), good(procedure.Weak)}, ""},
		"found out that the strong batch is the weak":  {11, []step{batch(procedure.Strong, func(f *programme.SolutionForm) { f.Strength = procedure.Weak })}, programme.BatchChanged},
		"found out that it is the other agent":         {11, []step{batch(procedure.Strong, func(f *programme.SolutionForm) { f.Agent = "bitter" })}, programme.BatchChanged},
		"found out that it was past its date":          {11, []step{batch(procedure.Strong, expires("2026-09-13"))}, programme.BatchChanged},
		"it is good until today and no longer":         {11, []step{batch(procedure.Strong, expires("2026-09-14"))}, ""},
		"only the lot was written wrongly":             {11, []step{batch(procedure.Strong, func(f *programme.SolutionForm) { f.Lot = "L-77" })}, ""},
		"after its end a sweep has to show it":         {over, nil, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := memory.New()
			d, id := aHouse(t, s)
			all := entriesOf(t, "r000100", id, procedure.Pass)
			if at := kinds(all, "took"); !slices.Equal(at, []int{1, 9}) || len(all) != over || !slices.Equal(kinds(all, "bin_set"), []int{8}) {
				t.Fatalf("the run has its entries elsewhere: %v of %d", at, len(all))
			}
			_, err := s.Append(ctx, all[:c.before]...)
			must(t, err)
			for _, step := range c.steps {
				step(t, d)
			}
			if c.before < over {
				_, err = s.Append(ctx, all[c.before:]...)
				must(t, err)
			}
			must(t, d.Ended(ctx, "r000100"))
			check := func() {
				t.Helper()
				r, err := d.Run(ctx, "r000100")
				must(t, err)
				p, err := d.Person(ctx, id)
				must(t, err)
				due := p.Due[0].Why
				if c.want == "" {
					if r.Outcome != procedure.Pass || r.Recalled != "" || due != "interval" {
						t.Errorf("%s, recalled %q, due %s; want the pass to count", r.Outcome, r.Recalled, due)
					}
					return
				}
				if r.Outcome != procedure.NotValid || r.Reason != procedure.MistCheckFailed || r.First != procedure.Pass || r.Recalled != c.want || r.Recall == nil || r.Recall.By != who || due != "recalled" || len(p.Tested) > 0 {
					t.Errorf("%s for %s, first %s, recalled %q %+v, due %s, tested %v; want it recalled: %s", r.Outcome, r.Reason, r.First, r.Recalled, r.Recall, due, p.Tested, c.want)
				}
				back, err := d.CallBack(ctx, 10)
				if err != nil || len(back) != 1 || back[0].Person != id {
					t.Errorf("to be called back: %v, %v", back, err)
				}
			}
			check()
			// The journal says it too, once.
			said := 0
			must(t, s.ReadStream(ctx, programme.Stream, func(e store.Entry) error {
				if e.Kind == "runs_recalled" {
					said++
				}
				return nil
			}))
			if said != map[bool]int{false: 1}[c.want == ""] {
				t.Errorf("the journal holds %d recalls", said)
			}
			// A proof afterwards and the journal read anew change nothing of it.
			_, err = s.Append(ctx, proof(t, "r000100", true))
			must(t, err)
			must(t, d.Ended(ctx, "r000100"))
			check()
			sameMadeAnew(t, s, d)
			check()
		})
	}
}

// A nebuliser that is named again after a wait is in use from there.
func TestKitNamedAgain(t *testing.T) {
	s := memory.New()
	d, id := aHouse(t, s)
	ctx := t.Context()
	all := entriesOf(t, "r000100", id, procedure.Pass)
	took := all[9]
	_, err := s.Append(ctx, all[:10]...)
	must(t, err)
	must(t, d.Recall(ctx, programme.MistChecked{ID: "n-strong", At: at(0), By: who}, nil))
	must(t, d.Do(ctx, programme.NebuliserFilled{ID: "n-strong", Solution: "s-strong", At: at(0), By: who}, programme.MistChecked{ID: "n-strong", Good: true, At: at(0), By: who}))
	_, err = s.Append(ctx, append([]store.Draft{took}, all[10:]...)...)
	must(t, err)
	must(t, d.Ended(ctx, "r000100"))
	if r, err := d.Run(ctx, "r000100"); err != nil || r.Outcome != procedure.Pass {
		t.Errorf("%s, recalled %q, %v", r.Outcome, r.Recalled, err)
	}
}

// A run that ended while the box was down is recalled at the start, in the
// journal as well: who reads records without the views has to know.
func TestKitSpoiltBeforeAPowerCut(t *testing.T) {
	s := memory.New()
	d, id := aHouse(t, s)
	ctx := t.Context()
	all := entriesOf(t, "r000100", id, procedure.Pass)
	_, err := s.Append(ctx, all[:11]...)
	must(t, err)
	must(t, d.Recall(ctx, programme.MistChecked{ID: "n-strong", At: at(0), By: who}, nil))
	_, err = s.Append(ctx, all[11:]...)
	must(t, err)
	for range 2 {
		newDesk(t, s)
		var said []string
		must(t, s.ReadStream(ctx, programme.Stream, func(e store.Entry) error {
			if e.Kind == "runs_recalled" {
				said = append(said, string(e.Body))
			}
			return nil
		}))
		if len(said) != 1 || !strings.Contains(said[0], `"nebuliser":"n-strong","runs":["r000100"],"reason":"nebuliser found clogged"`) {
			t.Fatalf("the journal holds the recalls %v", said)
		}
	}
}

// A batch that turns out to be another takes the runs with it along, once they
// were seen.
func TestBatchTurnsOutToBeAnother(t *testing.T) {
	ctx := context.Background()
	weak := solution("sweet", procedure.Weak)
	bitter := solution("bitter", procedure.Strong)
	until := func(day string) programme.SolutionForm {
		f := solution("sweet", procedure.Strong)
		f.Expires = day
		return f
	}
	for name, c := range map[string]struct {
		form programme.SolutionForm
		want string
	}{
		"the weak one":             {weak, "[r000100 r000200 r000400]"},
		"the other agent":          {bitter, "[r000100 r000200 r000400]"},
		"past its date then":       {until("2026-09-13"), "[r000200 r000400]"}, // r000100 was on the 12th, r000400 nobody knows when
		"past its date before all": {until("2026-09-10"), "[r000100 r000200 r000400]"},
		"good for a day less":      {until("2026-09-20"), "[r000400]"},
		"good for longer":          {until("2027-09-20"), "[]"},
	} {
		t.Run(name, func(t *testing.T) {
			s := memory.New()
			d, id := aHouse(t, s)
			for i, p := range []played{
				{at: today.AddDate(0, 0, -2), outcome: procedure.Pass}, {at: today, outcome: procedure.Fail}, {at: today, outcome: procedure.NotValid}, {at: today, outcome: procedure.Pass, quality: "unset"},
				{at: today, outcome: procedure.Pass, practice: true},
			} {
				p.run, p.person, p.facepiece, p.form, p.weak, p.strong, p.batches, p.screening = fmt.Sprintf("r000%d00", i+1), id, "corrie-m", corrie, "n-weak", "n-strong", true, 5
				play(t, s, d, p)
			}
			fact := programme.SolutionEntered{ID: "s-strong", Form: c.form, By: who}
			sweep, err := d.SweepBatch(ctx, "s-strong", c.form)
			must(t, err)
			shown := []string{}
			for _, r := range sweep.Runs {
				shown = append(shown, r.Run)
			}
			if fmt.Sprint(shown) != c.want || sweep.Solution != "s-strong" {
				t.Fatalf("the sweep shows %v, want %s", shown, c.want)
			}
			last, _ := s.Last()
			if len(shown) > 0 {
				if !slices.Equal(sweep.People, []string{id}) {
					t.Errorf("to be called back: %v", sweep.People)
				}
				if err := d.Do(ctx, fact); !isRefused(err, "not_shown") {
					t.Errorf("not shown: %v", err)
				}
				if err := d.EnterBatch(ctx, fact, nil); !isRefused(err, "not_shown") {
					t.Errorf("not shown: %v", err)
				}
			}
			if err := d.EnterBatch(ctx, fact, append([]string{"r000300"}, shown...)); !isRefused(err, "changed") {
				t.Errorf("other runs were shown: %v", err)
			}
			if now, _ := s.Last(); now != last {
				t.Error("something was written")
			}
			must(t, d.EnterBatch(ctx, fact, shown))
			for _, run := range []string{"r000100", "r000200", "r000300", "r000400", "r000500"} {
				r, err := d.Run(ctx, run)
				must(t, err)
				if want := slices.Contains(shown, run); (r.Recalled == programme.BatchChanged) != want || want && (r.Outcome != procedure.NotValid || r.Recall == nil || r.Recall.At == "") {
					t.Errorf("%s: %s, recalled %q %+v", run, r.Outcome, r.Recalled, r.Recall)
				}
			}
			if again, err := d.SweepBatch(ctx, "s-strong", solution("bitter", procedure.Weak)); err != nil || slices.ContainsFunc(again.Runs, func(r programme.Run) bool { return slices.Contains(shown, r.Run) }) {
				t.Errorf("recalled twice: %+v, %v", again, err)
			}
			sameMadeAnew(t, s, d)
		})
	}
}

// Whoever has runs under way is told at once, after it is on the disk: of a
// nebuliser or a batch by its id, since marks change and nebulisers are filled
// anew while a run goes on.
func TestSpoiledIsTold(t *testing.T) {
	s := memory.New()
	cfg := config(t, s)
	var told []string
	var d *programme.Desk
	cfg.OnSpoiled = func(x programme.Spoilt) {
		d.Nebuliser("A-weak") // it may ask
		_, err := d.Sweep(context.Background(), "n-weak")
		must(t, err)
		last, _ := s.Last()
		told = append(told, fmt.Sprint(x.Nebuliser, x.Batch, " ", first(x.Why, fmt.Sprint(x.Seen)), " ", last))
	}
	d, err := programme.New(t.Context(), cfg)
	must(t, err)
	withKit(t, d)
	ctx := t.Context()
	second := solution("sweet", procedure.Strong)
	second.Lot = "L-2"
	must(t, d.Do(ctx, programme.SolutionEntered{ID: "s-second", Form: second, By: who}))
	told = nil
	n, _ := s.Last()
	strong := programme.NebuliserForm{Mark: "S 1 blue", Role: procedure.Strong, Agent: "sweet"}
	gone := strong
	gone.Gone = true
	longer, weak, old := solution("sweet", procedure.Strong), solution("sweet", procedure.Weak), second
	longer.Expires = "2027-01-01"
	old.Gone = true
	for _, f := range []programme.Fact{
		programme.NebuliserEntered{ID: "n-strong", Form: strong, By: who},                   // another mark alone
		programme.MistChecked{ID: "n-weak", Good: true, At: at(0), By: who},                 // told that it gives mist
		programme.NebuliserFilled{ID: "n-strong", Solution: "s-second", At: at(0), By: who}, // told
		programme.SolutionEntered{ID: "s-strong", Form: longer, By: who},                    //
		programme.SolutionEntered{ID: "s-strong", Form: weak, By: who},                      // told, though nothing holds it now
		programme.SolutionEntered{ID: "s-second", Form: old, By: who},                       // an empty bottle was a good one
		programme.SolutionEntered{ID: "s-second", Form: old, By: who},                       //
		programme.NebuliserEntered{ID: "n-strong", Form: gone, By: who},                     // told
		programme.SolutionEntered{ID: "s-third", Form: old, By: who},                        // new ones that nobody has
		programme.NebuliserEntered{ID: "n-third", Form: gone, By: who},                      //
		programme.NebuliserEntered{ID: "n-strong", Form: strong, By: who},                   // in use again
	} {
		must(t, d.Do(ctx, f))
	}
	must(t, d.Recall(ctx, programme.MistChecked{ID: "n-weak", At: at(0), By: who}, nil))
	if err := d.Do(ctx, programme.NebuliserFilled{ID: "n-strong", Solution: "s-none", At: at(0), By: who}); err == nil {
		t.Error("filled from nothing")
	}
	want := []string{
		fmt.Sprint("n-weak true ", n+2), fmt.Sprint("n-strong ", programme.Changed, " ", n+3), fmt.Sprint("s-strong ", programme.BatchChanged, " ", n+5),
		fmt.Sprint("n-strong ", programme.Changed, " ", n+8), fmt.Sprint("n-weak ", programme.Clogged, " ", n+12),
	}
	if !slices.Equal(told, want) {
		t.Errorf("told\n%s\nwant\n%s", strings.Join(told, "\n"), strings.Join(want, "\n"))
	}
}

// A crossed store is one to which something else is written just before a commit
// with a kind of fact: the writer of a run asks no desk.
type crossed struct {
	*memory.Store
	kind string
	do   func()
}

func (c *crossed) Commit(ctx context.Context, drafts []store.Draft, pairs []store.Pair) ([]store.Entry, error) {
	for _, d := range drafts {
		if d.Kind == c.kind && c.do != nil {
			do := c.do
			c.do = nil
			do()
		}
	}
	return c.Store.Commit(ctx, drafts, pairs)
}

// A run that ends while its kit is being found bad was in no sweep that was shown
// and is not under way either; it is recalled all the same, at once and in the
// journal. One that ended before the last good check stays what it was.
func TestRunThatEndsWhileItsKitIsFoundBad(t *testing.T) {
	for name, c := range map[string]struct {
		kind string
		do   func(*programme.Desk, []string) error
		want string
	}{
		"no mist": {"mist_checked", func(d *programme.Desk, shown []string) error {
			return d.Recall(t.Context(), programme.MistChecked{ID: "n-strong", At: at(0), By: who}, shown)
		}, programme.Clogged},
		"another batch": {"solution_entered", func(d *programme.Desk, shown []string) error {
			return d.EnterBatch(t.Context(), programme.SolutionEntered{ID: "s-strong", Form: solution("sweet", procedure.Weak), By: who}, shown)
		}, programme.BatchChanged},
		"a batch past its date": {"solution_entered", func(d *programme.Desk, shown []string) error {
			f := solution("sweet", procedure.Strong)
			f.Expires = "2026-09-13"
			return d.EnterBatch(t.Context(), programme.SolutionEntered{ID: "s-strong", Form: f, By: who}, shown)
		}, programme.BatchChanged},
		"a batch that was good until then": {"solution_entered", func(d *programme.Desk, shown []string) error {
			f := solution("sweet", procedure.Strong)
			f.Expires = "2026-09-14"
			return d.EnterBatch(t.Context(), programme.SolutionEntered{ID: "s-strong", Form: f, By: who}, shown)
		}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			ctx := t.Context()
			s := &crossed{Store: memory.New()}
			d, id := aHouse(t, s)
			// Older ones: before the last good check, and after it.
			play(t, s, d, played{run: "r000010", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass, weak: "n-weak", strong: "n-strong", screening: 5})
			must(t, d.Do(ctx, programme.MistChecked{ID: "n-strong", Good: true, At: at(0), By: who}))
			play(t, s, d, played{run: "r000020", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass, weak: "n-weak", strong: "n-strong", batches: true, screening: 5})
			all := entriesOf(t, "r000100", id, procedure.Pass)
			_, err := s.Append(ctx, all[:11]...) // in the dose
			must(t, err)
			s.kind, s.do = c.kind, func() {
				_, err := s.Append(ctx, all[11:]...) // it ends as a pass
				must(t, err)
			}
			var shown []string
			if c.want != "" {
				shown = []string{"r000020"}
			}
			must(t, c.do(d, shown))
			if s.do != nil {
				t.Fatal("nothing came in between")
			}
			said := map[string]int{}
			count := func() {
				clear(said)
				must(t, s.ReadStream(ctx, programme.Stream, func(e store.Entry) error {
					if e.Kind == "runs_recalled" {
						for _, run := range []string{"r000010", "r000020", "r000100"} {
							said[run] += strings.Count(string(e.Body), run)
						}
					}
					return nil
				}))
			}
			check := func() {
				t.Helper()
				count()
				for run, want := range map[string]string{"r000010": "", "r000020": c.want, "r000100": c.want} {
					r, err := d.Run(ctx, run)
					must(t, err)
					if r.Recalled != want || (r.Outcome == procedure.Pass) != (want == "") || (said[run] == 1) != (want != "") {
						t.Errorf("%s: %s, recalled %q, %d times in the journal; want it recalled for %q", run, r.Outcome, r.Recalled, said[run], want)
					}
				}
				due, err := d.Stands(ctx, "r000100")
				must(t, err)
				if due.Counts() != (c.want == "") {
					t.Errorf("the pass counts: %t", due.Counts())
				}
			}
			check()
			must(t, d.Ended(ctx, "r000100"))
			check()
			sameMadeAnew(t, s, d)
			check()
		})
	}
}

// What a run itself says after it was recalled takes nothing back: the person has
// to come again, and the pass of another day does not stand in for this one.
func TestTheRecallOutlastsWhatTheRunSays(t *testing.T) {
	later := func(f procedure.Fact) store.Draft {
		body, err := procedure.Encode(procedure.Dated{At: time.Hour, Fact: f})
		must(t, err)
		return store.Draft{Stream: "r000020", Kind: f.Kind(), Version: procedure.FactVersion, Body: body}
	}
	for name, f := range map[string]procedure.Fact{"kit spoiled": procedure.KitSpoiled{Mark: "S1"}, "nothing tasted": procedure.ProofGiven{}} {
		for _, atOnce := range []bool{false, true} {
			t.Run(fmt.Sprint(name, ", read with its end: ", atOnce), func(t *testing.T) {
				ctx := t.Context()
				s := memory.New()
				d, id := aHouse(t, s)
				old := played{run: "r000010", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass, weak: "n-weak", strong: "n-strong", screening: 5}
				play(t, s, d, old)
				must(t, d.Do(ctx, programme.MistChecked{ID: "n-strong", Good: true, At: at(0), By: who}))
				young := old
				young.run = "r000020"
				if atOnce {
					// Found clogged in the run, of which the desk hears only when it is over.
					all := young.drafts(t, ruleSets(t))
					_, err := s.Append(ctx, all[:11]...)
					must(t, err)
					must(t, d.Recall(ctx, programme.MistChecked{ID: "n-strong", At: at(0), By: who}, nil))
					_, err = s.Append(ctx, append(all[11:], later(f))...)
					must(t, err)
					must(t, d.Ended(ctx, "r000020"))
				} else {
					play(t, s, d, young)
					must(t, d.Recall(ctx, programme.MistChecked{ID: "n-strong", At: at(0), By: who}, []string{"r000020"}))
					_, err := s.Append(ctx, later(f))
					must(t, err)
					must(t, d.Ended(ctx, "r000020"))
				}
				check := func() {
					t.Helper()
					r, err := d.Run(ctx, "r000020")
					must(t, err)
					due, err := d.Stands(ctx, "r000010")
					must(t, err)
					if r.Outcome != procedure.NotValid || due.Counts() {
						t.Errorf("the run is %s, recalled %q; the older pass counts: %t", r.Outcome, r.Recalled, due.Counts())
					}
				}
				check()
				sameMadeAnew(t, s, d)
				check()
			})
		}
	}
}

// Views of an older form may hold a pass that a bad mist check should have taken
// along. They are made anew at the start, and the journal then says that it does
// not count.
func TestAPassThatOlderViewsLeftStanding(t *testing.T) {
	ctx := t.Context()
	s := memory.New()
	d, id := aHouse(t, s)
	_, err := s.Append(ctx, entriesOf(t, "r000100", id, procedure.Pass)...)
	must(t, err)
	must(t, d.Ended(ctx, "r000100"))
	body, err := programme.Encode(programme.MistChecked{ID: "n-strong", At: at(0), By: who}, nil)
	must(t, err)
	_, err = s.Append(ctx, store.Draft{Stream: programme.Stream, Kind: "mist_checked", Version: 1, Body: body})
	must(t, err)
	last, _ := s.Last()
	_, err = s.Commit(ctx, nil, []store.Pair{{Table: "views", Key: "form", Value: []byte("7")}, {Table: "views", Key: "at", Value: fmt.Append(nil, last)}})
	must(t, err)
	d = newDesk(t, s)
	r, err := d.Run(ctx, "r000100")
	must(t, err)
	due, err := d.Stands(ctx, "r000100")
	must(t, err)
	if r.Outcome != procedure.NotValid || r.Recalled != programme.Clogged || due.Counts() {
		t.Errorf("%s, recalled %q, it counts: %t", r.Outcome, r.Recalled, due.Counts())
	}
	if now, _ := s.Last(); now != last+1 {
		t.Errorf("%d entries say so", now-last)
	}
}

// The day of a pass is doubted once the clock was set back behind it, whichever
// way that comes to light.
func TestAWrongYear(t *testing.T) {
	s := memory.New()
	cfg := config(t, s)
	now, known := today.AddDate(1, 0, 0), true // confirmed by somebody who wrote the wrong year
	cfg.Now = func() (time.Time, bool) { return now, known }
	d, err := programme.New(t.Context(), cfg)
	must(t, err)
	ctx := t.Context()
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	enter := func(name string) string {
		id, err := d.Enter(ctx, programme.PersonForm{Name: name, Facepieces: []string{"corrie-m"}, Rules: "us-osha"}, who)
		must(t, err)
		return id
	}
	ana, bo, cem := enter("Ana"), enter("Bo"), enter("Cem")
	due := func(id string) string {
		p, err := d.Person(ctx, id)
		must(t, err)
		return p.Due[0].On + " " + p.Due[0].Why
	}
	run := func(n int, person, quality string) {
		play(t, s, d, played{run: fmt.Sprintf("r%06d", n), person: person, facepiece: "corrie-m", form: corrie, at: now, quality: quality, outcome: procedure.Pass})
	}
	run(1, ana, "confirmed")
	if got := due(ana); got != "2028-09-14 interval" {
		t.Fatalf("due %s", got)
	}
	// The clock is put right: the pass lies ahead, and any fact brings it to light.
	now = today
	must(t, d.Do(ctx, programme.PersonCleared{Person: bo, On: "2026-09-14", Who: "Dr Holm", By: who}))
	if got := due(ana); got != "0000-00-00 date_unknown" {
		t.Errorf("a pass of next year: due %s", got)
	}
	// A person's word against a person's word: nobody knows which is right, until
	// the network says so.
	run(2, bo, "confirmed")
	run(3, cem, "network")
	now = today.AddDate(1, 0, 1)
	must(t, d.RedoDue(ctx))
	if got := due(ana); got != "0000-00-00 date_unknown" {
		t.Errorf("a year later: due %s", got)
	}
	for _, id := range []string{bo, cem} {
		if got := due(id); got != "2027-09-14 interval" {
			t.Errorf("tested on the right day: due %s", got)
		}
	}
	must(t, d.Rebuild(ctx))
	if got := due(ana); got != "0000-00-00 date_unknown" {
		t.Errorf("made anew: due %s", got)
	}
}

// Whether a pass counts: the last one with the facepiece, and nothing since.
func TestStands(t *testing.T) {
	ctx := context.Background()
	for name, c := range map[string]struct {
		after func(t *testing.T, s *memory.Store, d *programme.Desk, id string)
		want  string
	}{
		"nothing since": {func(*testing.T, *memory.Store, *programme.Desk, string) {}, "2027-09-14 interval"},
		"a later fail": {func(t *testing.T, s *memory.Store, d *programme.Desk, id string) {
			play(t, s, d, played{run: "r000200", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Fail})
		}, "0000-00-00 failed"},
		"a later pass": {func(t *testing.T, s *memory.Store, d *programme.Desk, id string) {
			play(t, s, d, played{run: "r000200", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
		}, "0000-00-00 later_test"},
		"a later fail that was recalled": {func(t *testing.T, s *memory.Store, d *programme.Desk, id string) {
			play(t, s, d, played{run: "r000200", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Fail})
			must(t, d.Do(ctx, programme.RunsRecalled{Runs: []string{"r000200"}, Reason: programme.Clogged, At: at(0), By: who}))
		}, "0000-00-00 recalled"},
		"recalled": {func(t *testing.T, _ *memory.Store, d *programme.Desk, _ string) {
			must(t, d.Do(ctx, programme.RunsRecalled{Runs: []string{"r000100"}, Reason: programme.Clogged, At: at(0), By: who}))
		}, "0000-00-00 recalled"},
		"the proof was not tasted": {func(t *testing.T, s *memory.Store, _ *programme.Desk, _ string) { // and nobody told the desk
			_, err := s.Append(ctx, proof(t, "r000100", false))
			must(t, err)
		}, "0000-00-00 not_a_pass"},
		"a change of weight": {func(t *testing.T, _ *memory.Store, d *programme.Desk, id string) {
			must(t, d.Do(ctx, programme.Triggered{Person: id, Trigger: programme.TriggerWeight, On: "2026-09-14", By: who}))
		}, "0000-00-00 trigger"},
		"another size": {func(t *testing.T, _ *memory.Store, d *programme.Desk, _ string) {
			f := corrie
			f.Size = "large"
			must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: f, By: who}))
		}, "0000-00-00 changed"},
		"erased": {func(t *testing.T, _ *memory.Store, d *programme.Desk, id string) {
			must(t, d.Erase(ctx, id, "asked for", who))
		}, "0000-00-00 not_known"},
		"left": {func(t *testing.T, _ *memory.Store, d *programme.Desk, id string) {
			must(t, d.Do(ctx, programme.PersonLeft{Person: id, On: "2026-09-14", By: who}))
		}, "2027-09-14 interval"},
		"the job asks for it no more": {func(t *testing.T, _ *memory.Store, d *programme.Desk, id string) {
			must(t, d.Do(ctx, programme.PersonEntered{Person: id, Form: programme.PersonForm{Name: "I", Rules: "us-osha"}, By: who}))
		}, "2027-09-14 interval"},
	} {
		t.Run(name, func(t *testing.T) {
			s := memory.New()
			d, id := aHouse(t, s)
			_, err := s.Append(ctx, entriesOf(t, "r000100", id, procedure.Pass)...)
			must(t, err)
			must(t, d.Ended(ctx, "r000100"))
			c.after(t, s, d, id)
			due, err := d.Stands(ctx, "r000100")
			if got := due.On + " " + due.Why; err != nil || got != c.want || due.Counts() == (due.On == programme.DueNow) {
				t.Errorf("%s, %v; want %s", got, err, c.want)
			}
		})
	}
	d, _ := aHouse(t, memory.New())
	if _, err := d.Stands(ctx, "r000999"); err == nil {
		t.Error("a run that nobody knows")
	}
}
