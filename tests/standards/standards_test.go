// SPDX-License-Identifier: Apache-2.0

// Package standards holds the figures of the rule sets, of the timed run and of
// the modelled hood level against those of the published texts. The sources are
// named beside the checks:
//
//	[1] 29 CFR 1910.134, (f), (m), Appendix A Part I.A and I.B.3/B.4
//	[2] HSE INDG479 rev 1 (2019)
//	[3] OSHA interpretation letter, 18 March 2015, Q1
//	[5] 72 FR 72971; 74 FR 30250: shortened exercises proposed and withdrawn
//	[M] from memory, to be checked against the official text
//	[D] derived, the arithmetic beside it
//	[H] a house limit where the sources are silent
//	[CP] common practice, no source
//
// It must not take a figure from the code that it checks.
package standards

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/hoodlevel"
	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/session"
	"tallyhood/device"
)

const s = time.Second

func published(t *testing.T) map[string]procedure.RuleSet {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// Profiles with invented numbers do not exist: ISO 16975-3:2017 and CSA Z94.4
// come in when someone holds the text.
func TestOnlyPublishedSets(t *testing.T) {
	if got := slices.Sorted(maps.Keys(published(t))); !slices.Equal(got, []string{"uk-hse", "us-osha"}) {
		t.Errorf("built-in rule sets: %v", got)
	}
}

func TestFigures(t *testing.T) {
	type figure struct {
		what  string
		of    func(procedure.RuleSet) procedure.Figure
		value float64
		mark  string
	}
	us := []figure{
		{"nothing but plain water before, 15 min [1]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.Abstinence }, 15 * 60, "[1]"},
		{"wear before the run, 5 min [1][M]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.Wear }, 5 * 60, "[1][M]"},
		{"an exercise, 60 s [1]; never shorter [5]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.Exercise }, 60, "[1]"},
		{"half the initial dose every 30 s [1]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.TopUpInterval }, 30, "[1]"},
		{"up to three groups of ten squeezes [1]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.ScreeningMost }, 30, "[1]"},
	}
	uk := []figure{
		{"nothing but plain water before, vaping too, 30 min [2]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.Abstinence }, 30 * 60, "[2]"},
		{"wear before the run, 5 min [M]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.Wear }, 5 * 60, "[M]"},
		{"an exercise of at least 1 min [2]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.Exercise }, 60, "[2]"},
		{"same scheme: every 30 s [2]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.TopUpInterval }, 30, "[2]"},
		{"same scheme: thirty squeezes [2]", func(r procedure.RuleSet) procedure.Figure { return r.Figures.ScreeningMost }, 30, "[2]"},
	}
	house := []figure{ // [H], shown as such
		{"a window opens 5 s before", func(r procedure.RuleSet) procedure.Figure { return r.House.WindowBefore }, 5, "[H]"},
		{"and closes 25 s after", func(r procedure.RuleSet) procedure.Figure { return r.House.WindowAfter }, 25, "[H]"},
		{"late after 20 s", func(r procedure.RuleSet) procedure.Figure { return r.House.LateAfter }, 20, "[H]"},
		{"hurried under 0.5 s", func(r procedure.RuleSet) procedure.Figure { return r.House.HurriedUnder }, 0.5, "[H]"},
		{"button proof within 20 s", func(r procedure.RuleSet) procedure.Figure { return r.House.ButtonProof }, 20, "[H]"},
		{"10 s to say so after squeeze 30", func(r procedure.RuleSet) procedure.Figure { return r.Figures.FullExposureFor }, 10, "[H]"},
	}
	all := published(t)
	for id, list := range map[string][]figure{"us-osha": append(us, house...), "uk-hse": append(uk, house...)} {
		for _, f := range list {
			got := f.of(all[id])
			if got.Value != f.value {
				t.Errorf("%s: %s: %v", id, f.what, got.Value)
			}
			if got.Mark != f.mark {
				t.Errorf("%s: %s: marked %s, want %s", id, f.what, got.Mark, f.mark)
			}
			if got.Source == "" {
				t.Errorf("%s: %s: names no source", id, f.what)
			}
		}
	}
}

// The count at the report puts a person in a bin, whatever the exact count [1],
// and the same scheme [2]: 1-10 gives 10, 11-20 gives 20, 21-30 gives 30.
func TestBins(t *testing.T) {
	for id, r := range published(t) {
		for n := 1; n <= 30; n++ {
			bin := 10
			if n > 10 {
				bin = 20
			}
			if n > 20 {
				bin = 30
			}
			got := r.BinOf(n)
			// The initial dose is the bin; half of it every 30 s: 5, 10, 15 [1].
			if got.Bin != bin || got.Initial != bin || 2*got.TopUp != bin {
				t.Errorf("%s: a count of %d: bin %d, initial %d, top-up %d; want %d", id, n, got.Bin, got.Initial, got.TopUp, bin)
			}
		}
		if got := r.BinOf(0); got.Bin != 0 {
			t.Errorf("%s: a count of 0 has bin %d; nothing was tasted", id, got.Bin)
		}
	}
}

// Seven exercises in this order [1], at least seven of at least a minute [2]; a
// grimace belongs to quantitative tests [1].
func TestExercises(t *testing.T) {
	want := []string{"normal_breathing", "deep_breathing", "head_side_to_side", "head_up_and_down", "talking", "bending_over", "normal_breathing_again"}
	for id, r := range published(t) {
		var got []string
		for _, e := range r.Exercises {
			got = append(got, e.ID)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v", id, got)
		}
		if r.Length() != 420*s {
			t.Errorf("%s: the run clock ends at %v, want 420 s [1]", id, r.Length())
		}
		// Exercise k (1-7) runs [60(k-1), 60k) [D].
		for k := range 7 {
			from := time.Duration(k) * 60 * s
			if a, b := r.ExerciseAt(from), r.ExerciseAt(from+60*s-1); a != k || b != k {
				t.Errorf("%s: exercise %d holds %d at its beginning and %d at its end", id, k, a, b)
			}
		}
	}
}

// Top-ups fall due at 30, 60, ..., 390 s: thirteen, none at 420 s [D]. The
// window of top-up k is [30k-5, 30k+25) [H].
func TestTopUps(t *testing.T) {
	for id, r := range published(t) {
		if r.TopUps() != 13 {
			t.Errorf("%s: %d top-ups", id, r.TopUps())
		}
		for k := 1; k <= 13; k++ {
			due := time.Duration(30*k) * s
			open, shut := r.Window(k)
			if r.Due(k) != due || open != due-5*s || shut != due+25*s {
				t.Errorf("%s: top-up %d due %v, window %v to %v", id, k, r.Due(k), open, shut)
			}
			if r.WindowAt(open) != k || r.WindowAt(shut-1) != k || r.WindowAt(open-1) == k || r.WindowAt(shut) == k {
				t.Errorf("%s: the bounds of window %d do not hold", id, k)
			}
		}
		for _, at := range []time.Duration{0, 24 * s, 25*s - 1, 415 * s, 419 * s, 420 * s} {
			if n := r.WindowAt(at); n != 0 {
				t.Errorf("%s: %v lies in the window of top-up %d", id, at, n)
			}
		}
	}
}

// Facepieces, and what follows a fail.
func TestWhereRulesDiffer(t *testing.T) {
	all := published(t)
	us, uk := all["us-osha"], all["uk-hse"]
	// Negative pressure, a needed fit factor of at most 100 [1].
	for ff, want := range map[int]bool{10: true, 100: true, 101: false, 500: false} {
		if ok, why := us.MayTest(procedure.HalfMask, ff); ok != want || ok == (why != "") {
			t.Errorf("us-osha: fit factor %d: %v %q", ff, ok, why)
		}
	}
	if ok, _ := us.MayTest(procedure.FullFace, 100); !ok {
		t.Error("us-osha: a full face mask with a needed fit factor of 100 may be tested [1]")
	}
	// Disposables and half masks, never full face [2].
	for kind, want := range map[procedure.FacepieceKind]bool{procedure.Disposable: true, procedure.HalfMask: true, procedure.FullFace: false} {
		if ok, why := uk.MayTest(kind, 10); ok != want || ok == (why != "") {
			t.Errorf("uk-hse: %s: %v %q", kind, ok, why)
		}
	}
	if !us.Facepieces.NegativePressureOnly {
		t.Error("us-osha: negative pressure only [1]")
	}
	// US: other facepiece, all again [1]. UK: a refit is allowed, all again; two
	// fails mean another size or model [CP].
	if f := us.AfterFail; f.Refit || !f.ScreeningAgain || f.FailsToOther != 1 || f.Mark != "[1]" {
		t.Errorf("us-osha: after a fail: %+v", f)
	}
	if f := uk.AfterFail; !f.Refit || !f.ScreeningAgain || f.FailsToOther != 2 || f.Mark != "[CP]" {
		t.Errorf("uk-hse: after a fail: %+v", f)
	}
	for id, r := range all {
		if !slices.Equal(r.Agents, []string{"sweet", "bitter"}) {
			t.Errorf("%s: agents %v", id, r.Agents)
		}
		if !strings.Contains(r.Prevails, "Local law") || !strings.Contains(r.Prevails, "competent person") {
			t.Errorf("%s: does not say that local law and a competent person prevail: %q", id, r.Prevails)
		}
		for _, q := range []string{"nothing_but_water", "no_hair_at_seal", "cleared", "no_known_reaction"} { // 1.1 [1][2]
			if !slices.ContainsFunc(r.Before, func(x procedure.Question) bool { return x.ID == q }) {
				t.Errorf("%s: does not ask %s before", id, q)
			}
		}
	}
}

// press is a contact closed for 100 ms.
type press struct {
	at   time.Duration
	line device.Line
}

// run plays a whole run through the engine: count squeezes until the report,
// the initial dose, and the top-ups one squeeze every 0.6 s from the due time on,
// but for those to skip.
func run(t *testing.T, r procedure.RuleSet, count int, skip map[int]bool) record.Record {
	t.Helper()
	var presses []press
	at := s
	next := func(line device.Line, d time.Duration) {
		presses = append(presses, press{at, line})
		at += d
	}
	next(device.Step, 2*s)
	for range count {
		next(device.Squeeze, s)
	}
	next(device.TasteNO, 60*s)
	next(device.Step, r.Figures.Wear.Duration()+s)
	next(device.Step, 2*s)
	b := r.BinOf(count)
	for range b.Initial {
		next(device.Squeeze, s)
	}
	t0 := at - s
	for k := 1; k <= r.TopUps(); k++ {
		at = t0 + r.Due(k)
		for range b.TopUp {
			if !skip[k] {
				next(device.Squeeze, 600*time.Millisecond)
			}
		}
	}
	e := session.NewEngine(procedure.RunOpened{Run: "standards", Rules: r, Agent: r.Agents[0], Supervised: true}, 0)
	e.Edge(device.Edge{Line: device.TasteNC, Closed: true})
	for _, p := range presses {
		for i, closed := range []bool{true, false} {
			d := device.Edge{At: p.at + time.Duration(i)*100*time.Millisecond, Line: p.line, Closed: closed}
			if p.line == device.TasteNO {
				e.Edge(device.Edge{At: d.At, Line: device.TasteNC, Closed: !closed})
			}
			e.Edge(d)
		}
	}
	e.End(t0+r.Length()+s, procedure.DoEnd)
	rec, err := record.Of(e.State())
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

// Squeezes of a whole run = 7.5 N; after top-up k N(1 + k/2) [D].
func TestWholeRun(t *testing.T) {
	for id, r := range published(t) {
		for _, c := range []struct{ count, n, topUp, whole int }{{10, 10, 5, 75}, {11, 20, 10, 150}, {30, 30, 15, 225}} {
			rec := run(t, r, c.count, nil)
			if rec.Outcome != procedure.Pass {
				t.Fatalf("%s, bin %d: %s %s", id, c.n, rec.Outcome, rec.Reason)
			}
			if f := rec.Fit; f.Initial.Required != c.n || f.SqueezesTotal != c.whole || 2*c.whole != 15*c.n || len(f.TopUps) != 13 || len(f.Exercises) != 7 {
				t.Errorf("%s, bin %d: %+v", id, c.n, f)
			}
			for k, u := range rec.Fit.TopUps {
				if u.Required != c.topUp || u.Given != c.topUp {
					t.Errorf("%s, bin %d, top-up %d: %d of %d", id, c.n, k+1, u.Given, u.Required)
				}
				given := 0
				for _, at := range rec.Fit.SqueezesS {
					if time.Duration(at) < time.Duration(30*(k+1)+25)*s {
						given++
					}
				}
				if want := c.n + c.n*(k+1)/2; given != want {
					t.Errorf("%s, bin %d: %d squeezes after top-up %d, want %d", id, c.n, given, k+1, want)
				}
			}
		}
	}
}

// The level of a run, from its record, is the model of section 3: L(t) = sum of
// 2^(-(t - t_i)/30 s) in units of N. It is held against sampling in
// the middle of each 10 ms.
func TestLevelOfAWholeRun(t *testing.T) {
	rec := run(t, published(t)["us-osha"], 7, nil)
	var at []float64
	for _, x := range rec.Fit.SqueezesS {
		at = append(at, time.Duration(x).Seconds())
	}
	sum, least := 0.0, math.Inf(1)
	level := func(x float64) float64 {
		v := 0.0
		for _, y := range at {
			if y <= x {
				v += math.Exp2(-(x - y) / 30)
			}
		}
		return v / 10
	}
	const n = 42000
	for i := range n {
		v := level((float64(i) + 0.5) * 420 / n)
		sum += v
		least = min(least, v)
	}
	if got, want := rec.Fit.Level.Mean, sum/n; math.Abs(got-want) > 2e-4 {
		t.Errorf("mean %v, sampled %v", got, want)
	}
	if got := rec.Fit.Level.Min; math.Abs(got-least) > 2e-3 {
		t.Errorf("min %v, sampled %v", got, least)
	}
}

// Perfect runs: the whole dose at t = 0 and half of it at each due time [D].
func TestLevelOfPerfectRuns(t *testing.T) {
	perfect := func(miss int) []time.Duration {
		var at []time.Duration
		for range 10 {
			at = append(at, 0)
		}
		for k := 1; k <= 13; k++ {
			for range 5 {
				if k != miss {
					at = append(at, time.Duration(30*k)*s)
				}
			}
		}
		return at
	}
	for _, c := range []struct {
		half       time.Duration
		peak, mean float64
	}{
		{15 * s, 0.666667, 0.377849}, {20 * s, 0.773459, 0.496462}, {30 * s, 1, 0.721348},
		{45 * s, 1.350343, 1.027818}, {60 * s, 1.699294, 1.298099}, {90 * s, 2.353039, 1.741248},
	} {
		m := hoodlevel.Model{HalfLife: c.half}
		if got, ok := m.At(perfect(0), 10, 390*s); !ok || math.Abs(got-c.peak) > 5e-7 {
			t.Errorf("half-life %v: peak %v, want %v", c.half, got, c.peak)
		}
		if got, ok := m.Mean(perfect(0), 10, 420*s); !ok || math.Abs(got-c.mean) > 5e-7 {
			t.Errorf("half-life %v: mean %v, want %v", c.half, got, c.mean)
		}
	}
	if got, _ := (hoodlevel.Model{}).Min(perfect(0), 10, 420*s); math.Abs(got-0.5) > 1e-9 {
		t.Errorf("half a dose is left just before the next: %v", got)
	}
	// The top-up at 60 s missed: before and after at 90, 120 and 150 s.
	for at, want := range map[time.Duration][2]float64{90 * s: {0.25, 0.75}, 120 * s: {0.375, 0.875}, 150 * s: {0.4375, 0.9375}} {
		before, _ := (hoodlevel.Model{}).At(perfect(2), 10, at-1)
		after, _ := (hoodlevel.Model{}).At(perfect(2), 10, at)
		if math.Abs(before-want[0]) > 1e-6 || math.Abs(after-want[1]) > 1e-6 {
			t.Errorf("%v: %v/%v, want %v", at, before, after, want)
		}
	}
}

// An interrupted run may not be continued [3], one single testing period [2]:
// after a short top-up no input leads to a pass.
func TestShortRunIsOver(t *testing.T) {
	for id, r := range published(t) {
		rec := run(t, r, 7, map[int]bool{4: true})
		if rec.Outcome != procedure.NotValid || rec.Reason != procedure.TopUpShort || time.Duration(*rec.Fit.DurationS) != 145*s {
			t.Errorf("%s: %s %s at %v s", id, rec.Outcome, rec.Reason, time.Duration(*rec.Fit.DurationS).Seconds())
		}
	}
}
