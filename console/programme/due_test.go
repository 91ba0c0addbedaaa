// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// a desk with one facepiece and one person whose job requires it.
func withPerson(t *testing.T) (*memory.Store, *programme.Desk, string) {
	t.Helper()
	s := memory.New()
	d := newDesk(t, s)
	must(t, d.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	id, err := d.Enter(t.Context(), programme.PersonForm{Name: "Tomasz Zieliński", Number: "HS-021", Facepieces: []string{"corrie-m"}, Rules: "us-osha"}, who)
	must(t, err)
	return s, d, id
}

func onDay(day string) time.Time {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	return at.Add(9 * time.Hour)
}

// What follows a pass, step by step, with the days worked out by hand
// (29 CFR 1910.134(f)(2): at least yearly; a policy may only shorten it).
func TestDue(t *testing.T) {
	type step func(t *testing.T, s store.Store, d *programme.Desk, id string)
	n := 0
	run := func(day, quality string, o procedure.Outcome, practice bool) step {
		return func(t *testing.T, s store.Store, d *programme.Desk, id string) {
			n++
			play(t, s, d, played{run: fmt.Sprintf("r%06d", n), person: id, facepiece: "corrie-m", form: corrie, at: onDay(day), quality: quality, outcome: o, practice: practice})
		}
	}
	do := func(f func(id string) programme.Fact) step {
		return func(t *testing.T, s store.Store, d *programme.Desk, id string) { must(t, d.Do(t.Context(), f(id))) }
	}
	trigger := func(on string) step {
		return do(func(id string) programme.Fact {
			return programme.Triggered{Person: id, Trigger: programme.TriggerWeight, On: on, By: who}
		})
	}
	left := func(on string) step {
		return do(func(id string) programme.Fact { return programme.PersonLeft{Person: id, On: on, By: who} })
	}
	form := func(f programme.PersonForm) step {
		return do(func(id string) programme.Fact {
			f.Name = "T"
			return programme.PersonEntered{Person: id, Form: f, By: who}
		})
	}
	policy := func(rules string, months int) step {
		return do(func(string) programme.Fact {
			return programme.PolicySet{Policy: programme.Policy{Rules: rules, RetestMonths: months}, By: who}
		})
	}
	piece := func(change func(*programme.FacepieceForm)) step {
		f := corrie
		change(&f)
		return do(func(string) programme.Fact { return programme.FacepieceEntered{ID: "corrie-m", Form: f, By: who} })
	}
	recall := func(t *testing.T, s store.Store, d *programme.Desk, id string) {
		must(t, d.Do(t.Context(), programme.RunsRecalled{Runs: []string{fmt.Sprintf("r%06d", n)}, Reason: "clogged", At: "2026-09-14T16:00:00Z", Quality: "network", By: who}))
	}
	pass := func(day string) step { return run(day, "confirmed", procedure.Pass, false) }
	under := func(rules string) step {
		return func(t *testing.T, s store.Store, d *programme.Desk, id string) {
			n++
			play(t, s, d, played{run: fmt.Sprintf("r%06d", n), person: id, facepiece: "corrie-m", form: corrie, at: onDay("2026-03-02"), outcome: procedure.Pass, rules: rules})
		}
	}
	uk := programme.PersonForm{Facepieces: []string{"corrie-m"}, Rules: "uk-hse"}
	for name, c := range map[string]struct {
		steps []step
		want  string // "day why", empty for nothing
	}{
		"nothing":                             {nil, "0000-00-00 never_tested"},
		"a pass":                              {[]step{pass("2026-03-02")}, "2027-03-02 interval"},
		"the leap day":                        {[]step{pass("2024-02-29")}, "2025-02-28 interval"},
		"the last day of a month":             {[]step{policy("us-osha", 6), pass("2026-08-31")}, "2027-02-28 interval"},
		"a stricter policy afterwards":        {[]step{pass("2026-03-02"), policy("us-osha", 6)}, "2026-09-02 interval"},
		"a longer policy of another rule set": {[]step{pass("2026-03-02"), policy("uk-hse", 36)}, "2027-03-02 interval"},
		"no rule and no policy":               {[]step{form(uk), under("uk-hse")}, ""},
		"no rule but a policy":                {[]step{form(uk), under("uk-hse"), policy("uk-hse", 24)}, "2028-03-02 interval"},
		"practice":                            {[]step{run("2026-03-02", "confirmed", procedure.Pass, true)}, "0000-00-00 never_tested"},
		"not valid":                           {[]step{run("2026-03-02", "confirmed", procedure.NotValid, false)}, "0000-00-00 never_tested"},
		"cannot taste":                        {[]step{run("2026-03-02", "confirmed", procedure.CannotTaste, false)}, "0000-00-00 never_tested"},
		"not valid after a pass":              {[]step{pass("2026-03-02"), run("2026-03-03", "confirmed", procedure.NotValid, false)}, "2027-03-02 interval"},
		"a fail after a pass":                 {[]step{pass("2026-03-02"), run("2026-03-03", "confirmed", procedure.Fail, false)}, "0000-00-00 failed"},
		"a failed practice after a pass":      {[]step{pass("2026-03-02"), run("2026-03-03", "confirmed", procedure.Fail, true)}, "2027-03-02 interval"},
		"a pass after a fail":                 {[]step{run("2026-03-02", "confirmed", procedure.Fail, false), pass("2026-03-03")}, "2027-03-03 interval"},
		"a clock that nobody has set":         {[]step{run("2026-03-02", "unset", procedure.Pass, false)}, "0000-00-00 date_unknown"},
		"a clock after a power cut":           {[]step{run("2026-03-02", "restored", procedure.Pass, false)}, "0000-00-00 date_unknown"},
		"a trigger later":                     {[]step{pass("2026-03-02"), trigger("2026-03-05")}, "0000-00-00 trigger"},
		"a trigger before, entered late":      {[]step{pass("2026-03-02"), trigger("2026-03-01")}, "2027-03-02 interval"},
		"a trigger on the day, before":        {[]step{trigger("2026-03-02"), pass("2026-03-02")}, "2027-03-02 interval"},
		"a trigger on the day, after":         {[]step{pass("2026-03-02"), trigger("2026-03-02")}, "0000-00-00 trigger"},
		"an older trigger after a newer one":  {[]step{pass("2026-03-02"), trigger("2026-03-05"), trigger("2026-03-01")}, "0000-00-00 trigger"},
		"left":                                {[]step{left("2026-03-02")}, ""},
		"left and back":                       {[]step{pass("2026-03-02"), left("2026-03-03"), left("")}, "2027-03-02 interval"},
		"recalled":                            {[]step{pass("2026-03-02"), recall}, "0000-00-00 recalled"},
		"recalled with an older pass":         {[]step{pass("2026-03-02"), pass("2026-06-02"), recall}, "0000-00-00 recalled"},
		"a recalled fail brings no pass back": {[]step{pass("2026-03-02"), run("2026-03-03", "confirmed", procedure.Fail, false), recall}, "0000-00-00 recalled"},
		"a pass after a recall":               {[]step{pass("2026-03-02"), recall, pass("2026-03-09")}, "2027-03-09 interval"},
		"the facepiece is another model":      {[]step{pass("2026-03-02"), piece(func(f *programme.FacepieceForm) { f.Size = "large" })}, "0000-00-00 changed"},
		"its stock changed":                   {[]step{pass("2026-03-02"), piece(func(f *programme.FacepieceForm) { f.Stock = 3 })}, "2027-03-02 interval"},
		"it is gone":                          {[]step{pass("2026-03-02"), piece(func(f *programme.FacepieceForm) { f.Gone = true })}, "0000-00-00 gone"},
		"the job requires it no more":         {[]step{form(programme.PersonForm{})}, ""},
		"required again, the old pass counts": {[]step{under("uk-hse"), form(programme.PersonForm{}), form(uk), policy("uk-hse", 12)}, "2027-03-02 interval"},
		// App. A asks for 15 minutes without food before, INDG479 for 30; the other
		// way round INDG479 allows another try with the same facepiece after a fail.
		"a test under other rules":        {[]step{pass("2026-03-02"), form(uk)}, "0000-00-00 other_rules"},
		"and the other way round":         {[]step{under("uk-hse")}, "0000-00-00 other_rules"},
		"the house goes by other rules":   {[]step{form(programme.PersonForm{Facepieces: []string{"corrie-m"}}), pass("2026-03-02"), policy("uk-hse", 12)}, "0000-00-00 other_rules"},
		"no rules are named anywhere":     {[]step{form(programme.PersonForm{Facepieces: []string{"corrie-m"}}), under("uk-hse")}, ""},
		"it is of another type":           {[]step{pass("2026-03-02"), piece(func(f *programme.FacepieceForm) { f.Type = procedure.Disposable })}, "0000-00-00 changed"},
		"more protection is needed of it": {[]step{pass("2026-03-02"), piece(func(f *programme.FacepieceForm) { f.FitFactor = 100 })}, "0000-00-00 changed"},
		// 29 CFR 1910.134(f)(6): by taste only up to a fit factor of 100.
		"no taste test may be done with it":    {[]step{pass("2026-03-02"), piece(func(f *programme.FacepieceForm) { f.Type, f.FitFactor = procedure.FullFace, 500 })}, "0000-00-00 not_allowed"},
		"a day that is still to come":          {[]step{pass("2027-03-02")}, "0000-00-00 date_unknown"},
		"tomorrow's, where it is already":      {[]step{pass("2026-09-15")}, "2027-09-15 interval"},
		"two fails":                            {[]step{run("2026-03-02", "confirmed", procedure.Fail, false), run("2026-03-02", "confirmed", procedure.Fail, false)}, "0000-00-00 failed"},
		"a wearer without an instant of a day": {[]step{pass("2026-03-02"), pass("2026-03-01")}, "2027-03-01 interval"},
	} {
		t.Run(name, func(t *testing.T) {
			s, d, id := withPerson(t)
			for _, step := range c.steps {
				step(t, s, d, id)
			}
			due, err := d.DueBy(t.Context(), "9999-12-31", 10)
			must(t, err)
			got := ""
			for _, x := range due {
				got += x.On + " " + x.Why
			}
			if got != c.want {
				t.Errorf("due %q, want %q", got, c.want)
			}
		})
	}
}

// A facepiece that the job requires anew was never tested, whatever the others say.
func TestAnotherFacepieceIsDue(t *testing.T) {
	s, d, id := withPerson(t)
	play(t, s, d, played{run: "r000001", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	tarn := corrie
	tarn.Model = "Tarn"
	must(t, d.Do(t.Context(), programme.FacepieceEntered{ID: "tarn-m", Form: tarn, By: who}))
	must(t, d.Do(t.Context(), programme.PersonEntered{Person: id, Form: programme.PersonForm{Name: "T", Facepieces: []string{"corrie-m", "tarn-m"}, Rules: "us-osha"}, By: who}))
	due, err := d.DueBy(t.Context(), "9999-12-31", 10)
	must(t, err)
	want := []programme.Due{{Person: id, Facepiece: "tarn-m", On: programme.DueNow, Why: "never_tested"}, {Person: id, Facepiece: "corrie-m", On: "2027-09-14", Why: "interval"}}
	if fmt.Sprint(due) != fmt.Sprint(want) {
		t.Errorf("due %v, want %v", due, want)
	}
}

// Reckoning due days anew that is cut short goes on where it was, also after a
// restart.
func TestRedoDueGoesOn(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	must(t, d.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	var forms []programme.PersonForm
	for i := range 1200 {
		forms = append(forms, programme.PersonForm{Name: fmt.Sprint("Person ", i), Facepieces: []string{"corrie-m"}, Rules: "us-osha"})
	}
	ids, err := d.EnterAll(t.Context(), forms, who)
	must(t, err)
	for i, id := range ids {
		if i%10 == 0 {
			play(t, s, d, played{run: fmt.Sprintf("r%06d", i+1), person: id, facepiece: "corrie-m", form: corrie, at: onDay("2026-03-02"), outcome: procedure.Pass})
		}
	}
	interval := func(d *programme.Desk) map[string]int {
		due, err := d.DueBy(t.Context(), "9999-12-31", 5000)
		must(t, err)
		out := map[string]int{}
		for _, x := range due {
			out[x.On]++
		}
		return out
	}
	if got := fmt.Sprint(interval(d)); got != "map[0000-00-00:1080 2027-03-02:120]" {
		t.Fatalf("due %v", got)
	}
	// The context ends in the middle: at the third look into the table.
	cut := &cutShort{Context: t.Context(), left: 900}
	if err := d.Do(cut, programme.PolicySet{Policy: programme.Policy{Rules: "us-osha", RetestMonths: 6}, By: who}); err == nil {
		t.Fatal("it was not cut short")
	}
	if got := interval(d); got["2027-03-02"] == 0 || got["2026-09-02"] == 0 {
		t.Fatalf("cut short it is all or nothing: %v", got)
	}
	d = newDesk(t, s)
	if got := fmt.Sprint(interval(d)); got != "map[0000-00-00:1080 2026-09-02:120]" {
		t.Errorf("due after going on: %v", got)
	}
}

// cutShort is a context that ends after it was asked so many times.
type cutShort struct {
	context.Context
	left int
}

func (c *cutShort) Err() error {
	if c.left--; c.left < 0 {
		return context.Canceled
	}
	return nil
}

// A rule set that this program does not know any more never makes a test due
// later than those it knows.
func TestMonthsOfAnUnknownRuleSet(t *testing.T) {
	d := newDesk(t, memory.New())
	for _, c := range []struct {
		rules        string
		policy, want int
	}{
		{"us-osha", 0, 12}, {"us-osha", 6, 6}, {"us-osha", 24, 12}, {"uk-hse", 0, 0}, {"uk-hse", 24, 24}, {"gone", 0, 12}, {"gone", 24, 12}, {"gone", 3, 3},
	} {
		if got := d.Months(c.rules, programme.Policy{RetestMonths: c.policy}); got != c.want {
			t.Errorf("%s with a policy of %d: %d months, want %d", c.rules, c.policy, got, c.want)
		}
	}
}
