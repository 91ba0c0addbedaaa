// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/memory"
)

func at(d time.Duration) string { return today.Add(d).Format(time.RFC3339) }

func solution(agent, strength string) programme.SolutionForm {
	return programme.SolutionForm{Agent: agent, Strength: strength, Lot: "L-" + strength, Made: "2026-09-07", Expires: "2026-09-21", Recipe: "as published", Source: "App. A", Who: who}
}

// withKit has a strong and a weak sweet nebuliser, filled and seen to mist an
// hour ago.
func withKit(t *testing.T, d *programme.Desk) {
	t.Helper()
	for _, role := range []string{procedure.Weak, procedure.Strong} {
		must(t, d.Do(t.Context(),
			programme.SolutionEntered{ID: "s-" + role, Form: solution("sweet", role), By: who},
			programme.NebuliserEntered{ID: "n-" + role, Form: programme.NebuliserForm{Mark: "A-" + role, Role: role, Agent: "sweet"}, By: who},
			programme.NebuliserFilled{ID: "n-" + role, Solution: "s-" + role, At: at(-time.Hour), By: who},
			programme.MistChecked{ID: "n-" + role, Good: true, At: at(-time.Hour), By: who},
		))
	}
}

// What a run is told of a nebuliser makes it refuse each thing that would thin
// the mist (29 CFR 1910.134 App. A for the four hours).
func TestNebuliserAsARunTakesIt(t *testing.T) {
	for name, c := range map[string]struct {
		facts   []programme.Fact
		now     time.Duration // later than today
		trusted bool
		want    procedure.Why
	}{
		"good":                     {nil, 0, true, ""},
		"four hours after filling": {nil, 3 * time.Hour, true, procedure.WhyStale},
		"just before":              {nil, 3*time.Hour - time.Second, true, ""},
		"no clock to go by":        {nil, 0, false, procedure.WhyStale},
		"the clock went back":      {nil, -2 * time.Hour, true, procedure.WhyStale},
		"filled anew, not checked": {[]programme.Fact{programme.NebuliserFilled{ID: "n-strong", Solution: "s-strong", At: at(0), By: who}}, 0, true, procedure.WhyMistNotChecked},
		"the batch was entered wrongly: it is the weak one": {[]programme.Fact{programme.SolutionEntered{ID: "s-strong", Form: solution("sweet", procedure.Weak), By: who}}, 0, true, procedure.WhyOtherRole},
		"the batch was entered wrongly: the other agent":    {[]programme.Fact{programme.SolutionEntered{ID: "s-strong", Form: solution("bitter", procedure.Strong), By: who}}, 0, true, procedure.WhyOtherAgent},
		"its batch is not used any more":                    {[]programme.Fact{programme.SolutionEntered{ID: "s-strong", Form: unused(solution("sweet", procedure.Strong)), By: who}}, 0, true, procedure.WhyNotFilled},
	} {
		t.Run(name, func(t *testing.T) {
			cfg := config(t, memory.New())
			now, trusted := today, true
			cfg.Now = func() (time.Time, bool) { return now, trusted }
			d, err := programme.New(t.Context(), cfg)
			must(t, err)
			if d.Kept() {
				t.Error("kit is kept before there is any")
			}
			withKit(t, d)
			must(t, d.Do(t.Context(), c.facts...))
			now, trusted = today.Add(c.now), c.trusted
			k := d.Nebuliser(" a-STRONG ")
			if k == nil || !d.Kept() {
				t.Fatal("the mark is not found")
			}
			if got := refusal(*k); got != c.want {
				t.Errorf("%+v: %q, want %q", *k, got, c.want)
			}
		})
	}
	d := newDesk(t, memory.New())
	withKit(t, d)
	if k := d.Nebuliser("A"); k != nil {
		t.Errorf("half a mark finds %+v", k)
	}
	// The last day of the batch is a good one; the next is not.
	must(t, d.Do(t.Context(), programme.SolutionEntered{ID: "s-strong", Form: func() programme.SolutionForm {
		f := solution("sweet", procedure.Strong)
		f.Expires = "2026-09-14"
		return f
	}(), By: who}))
	if k := d.Nebuliser("A-strong"); k.Expired {
		t.Error("expired on its last day")
	}
	must(t, d.Do(t.Context(), programme.SolutionEntered{ID: "s-strong", Form: func() programme.SolutionForm {
		f := solution("sweet", procedure.Strong)
		f.Expires = "2026-09-13"
		return f
	}(), By: who}))
	if k := d.Nebuliser("A-strong"); !k.Expired {
		t.Error("good after its last day")
	}
}

func unused(f programme.SolutionForm) programme.SolutionForm {
	f.Gone = true
	return f
}

// A batch whose last day ends between the naming and the dose is past its date
// for the dose, as it is for whoever names it then; one whose day is not over is not.
func TestBatchPastItsDateAfterTheNaming(t *testing.T) {
	for _, zone := range []*time.Location{time.UTC, time.FixedZone("", -5*3600), time.FixedZone("", 9*3600)} {
		cfg := config(t, memory.New())
		now := time.Date(2026, 9, 21, 23, 50, 0, 0, zone) // of the last good day of the batch
		cfg.Now = func() (time.Time, bool) { return now, true }
		d, err := programme.New(t.Context(), cfg)
		must(t, err)
		withKit(t, d)
		stamp := now.Add(-time.Hour).Format(time.RFC3339)
		must(t, d.Do(t.Context(), programme.NebuliserFilled{ID: "n-strong", Solution: "s-strong", At: stamp, By: who}, programme.MistChecked{ID: "n-strong", Good: true, At: stamp, By: who}))
		k := d.Nebuliser("A-strong")
		if k == nil || refusal(*k) != "" {
			t.Fatalf("%s: it may not be named: %+v", zone, k)
		}
		o := procedure.RunOpened{Run: "r1", Rules: ruleSets(t)["us-osha"], Agent: "sweet", Supervised: true, Strict: true, Kit: true}
		st := procedure.New(o, 0)
		at := time.Duration(0)
		for _, f := range []procedure.Fact{
			procedure.Entered{Stage: procedure.Screening}, procedure.Squeezed{Part: procedure.PartScreening}, procedure.Reported{By: "button"}, procedure.ButtonProven{},
			procedure.BinSet{Squeezes: 1, Bin: 10}, procedure.Took{Kit: *k}, procedure.Entered{Stage: procedure.Donning},
		} {
			at += time.Second
			st = procedure.Fold(st, procedure.Dated{At: at, Fact: f})
		}
		took := at - time.Second
		for _, after := range []time.Duration{8 * time.Minute, 10*time.Minute - time.Second, 10 * time.Minute, 20 * time.Minute} {
			now = time.Date(2026, 9, 21, 23, 50, 0, 0, zone).Add(after)
			want := refusal(*d.Nebuliser("A-strong"))
			if (want == procedure.WhyExpired) != (after >= 10*time.Minute) {
				t.Fatalf("%s: named %v later it is refused for %q", zone, after, want)
			}
			if why := st.Blocked(took + after); why != want {
				t.Errorf("%s: the dose %v later is refused for %q, want %q", zone, after, why, want)
			}
		}
	}
}

// What a run is told of a hood: as it is entered now, and nothing once it is not
// used any more. The published hood is 305 by 356 mm (29 CFR 1910.134 App. A);
// more than a tenth larger is this tool's limit.
func TestHoodAsARunNotesIt(t *testing.T) {
	d := newDesk(t, memory.New())
	must(t, d.Do(t.Context(),
		programme.HoodEntered{ID: "h-1", Form: programme.HoodForm{Mark: "H1", AcrossMM: 305, TallMM: 356}, By: who},
		programme.HoodEntered{ID: "h-2", Form: programme.HoodForm{Mark: "H2", AcrossMM: 305, TallMM: 392}, By: who}))
	for id, want := range map[string]*procedure.Hood{
		"h-1": {ID: "h-1", Mark: "H1", AcrossMM: 305, TallMM: 356}, "h-2": {ID: "h-2", Mark: "H2", AcrossMM: 305, TallMM: 392, Oversized: true},
		"H1": nil, "": nil, "h-9": nil,
	} {
		if got := d.Hood(id); (got == nil) != (want == nil) || got != nil && *got != *want {
			t.Errorf("%q: %+v, want %+v", id, got, want)
		}
	}
	must(t, d.Do(t.Context(), programme.HoodEntered{ID: "h-1", Form: programme.HoodForm{Mark: "H1", AcrossMM: 305, TallMM: 356, Gone: true}, By: who}))
	if got := d.Hood("h-1"); got != nil {
		t.Errorf("not used any more, and yet %+v", got)
	}
}

// refusal is what the procedure says to a nebuliser for the fit test with the
// sweet agent.
func refusal(k procedure.Kit) procedure.Why {
	switch {
	case k.Role != procedure.Strong:
		return procedure.WhyOtherRole
	case k.Agent != "sweet":
		return procedure.WhyOtherAgent
	case k.Solution == "":
		return procedure.WhyNotFilled
	case k.Expired:
		return procedure.WhyExpired
	case k.Age >= 4*time.Hour:
		return procedure.WhyStale
	case !k.Checked:
		return procedure.WhyMistNotChecked
	}
	return ""
}

// Facts that would do harm are refused, and nothing of them is written.
func TestRefusals(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	withKit(t, d)
	ctx := t.Context()
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	person, err := d.Enter(ctx, programme.PersonForm{Name: "Ana Ríos", Number: "HS-1"}, who)
	must(t, err)
	play(t, s, d, played{run: "r000001", person: person, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass, strong: "n-strong", weak: "n-weak"})
	play(t, s, d, played{run: "r000002", person: person, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass, practice: true})
	other := solution("bitter", procedure.Strong)
	old := solution("sweet", procedure.Strong)
	old.Expires = "2026-09-10"
	must(t, d.Do(ctx, programme.SolutionEntered{ID: "s-bitter", Form: other, By: who}, programme.SolutionEntered{ID: "s-old", Form: old, By: who}))
	r, err := d.Run(ctx, "r000001")
	must(t, err)
	last, _ := s.Last()
	for why, f := range map[string]programme.Fact{
		"nebuliser_of_other_role":  programme.NebuliserFilled{ID: "n-strong", Solution: "s-weak", At: at(0), By: who},
		"nebuliser_of_other_agent": programme.NebuliserFilled{ID: "n-strong", Solution: "s-bitter", At: at(0), By: who},
		"solution_expired":         programme.NebuliserFilled{ID: "n-strong", Solution: "s-old", At: at(0), By: who},
		"not_known":                programme.NebuliserFilled{ID: "n-strong", Solution: "s-none", At: at(0), By: who},
		"instant":                  programme.MistChecked{ID: "n-strong", Good: true, At: "now", By: who},
		"not_shown":                programme.MistChecked{ID: "n-strong", At: at(0), By: who},
		"mark_taken":               programme.NebuliserEntered{ID: "n-3", Form: programme.NebuliserForm{Mark: "a-STRONG", Role: procedure.Weak, Agent: "sweet"}, By: who},
		"role_fixed":               programme.NebuliserEntered{ID: "n-strong", Form: programme.NebuliserForm{Mark: "A-strong", Role: procedure.Weak, Agent: "sweet"}, By: who},
		"role":                     programme.NebuliserEntered{ID: "n-4", Form: programme.NebuliserForm{Mark: "x", Role: "middling", Agent: "sweet"}, By: who},
		"number_taken":             programme.PersonEntered{Person: mustEnter(t, d), Form: programme.PersonForm{Name: "B", Number: "hs-1"}, By: who},
		"twice":                    programme.PersonEntered{Person: person, Form: programme.PersonForm{Name: "A", Facepieces: []string{"corrie-m", "corrie-m"}}, By: who},
		"missing":                  programme.PersonEntered{Person: person, By: who},
		"future":                   programme.Triggered{Person: person, Trigger: programme.TriggerDental, On: "2062-09-14", By: who},
		"looser":                   programme.PolicySet{Policy: programme.Policy{Rules: "us-osha", RetestMonths: 13}, By: who},
		"no_runs":                  programme.RunsRecalled{Reason: "x", By: who},
		"field":                    programme.RunAmended{Run: "r000001", Field: "outcome", To: "pass", Reason: "x", By: who},
		"practice":                 programme.RunSigned{Run: "r000002", Who: "wearer", Record: r.Hash, Strokes: r.Hash, By: who},
		"changed":                  programme.RunSigned{Run: "r000001", Who: "wearer", Record: "", Strokes: r.Hash, By: who},
		"type":                     programme.FacepieceEntered{ID: "x", Form: programme.FacepieceForm{Make: "a", Model: "b", Style: "c", Size: "d", Type: "hat"}, By: who},
		"characters":               programme.PersonEntered{Person: person, Form: programme.PersonForm{Name: "A\x00B"}, By: who},
		"day":                      programme.DayListed{Person: person, Day: "today", By: who},
	} {
		before, _ := s.Last()
		if err := d.Do(ctx, f); !isRefused(err, why) {
			t.Errorf("%T: %v, want it refused for %q", f, err, why)
		}
		if n, _ := s.Last(); n != before {
			t.Errorf("%T: something was written", f)
		}
	}
	if n, _ := s.Last(); n != last+1 { // the one of mustEnter
		t.Errorf("%d entries were written", n-last)
	}
	if err := d.Recall(ctx, programme.MistChecked{ID: "n-strong", Good: true, At: at(0), By: who}, []string{"r000001"}); !isRefused(err, "good") {
		t.Errorf("a good check recalls: %v", err)
	}
	// UK guidance: never full face; 29 CFR 1910.134(f)(6): a fit factor up to 100.
	full := corrie
	full.Type, full.FitFactor = procedure.FullFace, 500
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "full", Form: full, By: who}))
	for _, rules := range []string{"uk-hse", "us-osha"} {
		if _, _, err := d.May(ctx, person, "full", rules); !isRefused(err, "facepiece_not_allowed") {
			t.Errorf("full face with a fit factor of 500 under %s: %v", rules, err)
		}
	}
	if _, f, err := d.May(ctx, person, "corrie-m", "uk-hse"); err != nil || f.Model != "Corrie" {
		t.Errorf("half mask: %+v, %v", f, err)
	}
}

func mustEnter(t *testing.T, d *programme.Desk) string {
	t.Helper()
	id, err := d.Enter(t.Context(), programme.PersonForm{Name: "Bo"}, who)
	must(t, err)
	return id
}

// A recall, a correction and a signature say when they were made and how far the
// clock could be trusted then; what was written before they did says neither.
func TestWhenRecordsAreTouched(t *testing.T) {
	ctx := t.Context()
	s := memory.New()
	c := config(t, s)
	c.Quality = func() string { return "restored" }
	c.Now = func() (time.Time, bool) { return today, false }
	d, err := programme.New(ctx, c)
	must(t, err)
	play(t, s, d, played{run: "r000001", person: "p-7kq2m9xd", facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	r, err := d.Run(ctx, "r000001")
	must(t, err)
	const at, quality = "2026-09-14T09:00:00Z", "restored"
	if err := d.Sign(ctx, "r000001", "tester", r.Hash, []byte("M0 0L1 1"), "stamped", who); !isRefused(err, "how") {
		t.Errorf("a stamp: %v", err)
	}
	must(t, d.Sign(ctx, "r000001", "tester", r.Hash, []byte("M0 0L1 1"), programme.Typed, who))
	must(t, d.Sign(ctx, "r000001", "wearer", r.Hash, []byte("M0 0L2 2"), "", who))
	must(t, d.Amend(ctx, "r000001", "tester", "Bram Okafor", "wrong name picked", who))
	// As an older tallyhood wrote them.
	for kind, body := range map[string]string{
		"run_amended":   `{"run":"r000001","field":"whose","from":"","to":"own","reason":"forgotten","by":"Agnes Thorley"}`,
		"runs_recalled": `{"nebuliser":"","runs":["r000001"],"reason":"clogged","by":"Agnes Thorley"}`,
	} {
		_, err := s.Append(ctx, store.Draft{Stream: programme.Stream, Kind: kind, Version: 1, Body: []byte(body)})
		must(t, err)
	}
	must(t, d.Rebuild(ctx))
	r, err = d.Run(ctx, "r000001")
	must(t, err)
	if len(r.Signed) != 2 || r.Signed[0].How != "typed" || r.Signed[0].At != at || r.Signed[0].Quality != quality || r.Signed[1].How != "" {
		t.Errorf("signed %+v", r.Signed)
	}
	if len(r.Amended) != 2 || r.Amended[0].At != at || r.Amended[0].Quality != quality || r.Amended[1].At != "" {
		t.Errorf("amended %+v", r.Amended)
	}
	if r.Recalled != "clogged" || r.Recall == nil || *r.Recall != (programme.Recall{By: "Agnes Thorley"}) {
		t.Errorf("recalled %q, %+v", r.Recalled, r.Recall)
	}
	must(t, d.Do(ctx, programme.RunsRecalled{Runs: []string{"r000001"}, Reason: "clogged", At: at, Quality: quality, By: who}))
	if r, err = d.Run(ctx, "r000001"); err != nil || *r.Recall != (programme.Recall{At: at, Quality: quality, By: who}) {
		t.Errorf("recalled %+v, %v", r.Recall, err)
	}
}
