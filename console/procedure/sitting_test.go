// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"slices"
	"testing"
	"time"
)

// A sitting gives a run one input after another, a second apart.
type sitting struct {
	s  State
	at time.Duration
}

func (r *sitting) do(ins ...Input) {
	for _, in := range ins {
		r.at += time.Second
		in.At = r.at
		r.s, _ = play(r.s, in)
	}
}

func times(n int, in Input) []Input {
	out := make([]Input, n)
	for i := range out {
		out[i] = in
	}
	return out
}

var (
	squeeze = Input{Do: DoPress, Source: "squeeze"}
	shallow = Input{Do: DoDoubt, Source: "squeeze"}
	button  = Input{Do: DoPress, Source: "report"}
	letGo   = Input{Do: DoRelease, Source: "report"}
	goOn    = Input{Do: DoGoOn}
)

// Who has tasted nothing of 30 squeezes cannot be tested with this agent (29 CFR
// 1910.134 App. A, Part I.B.3(a)); a squeeze that may or may not have been one
// is one of them, and taking some back does not make room for more.
func TestThirtySqueezesAreTheEnd(t *testing.T) {
	again := []Input{}
	for range 30 {
		again = append(again, Input{Do: DoCorrect, Delta: -1, Reason: "the bulb did not fill", By: "Tom Reed"}, squeeze)
	}
	for name, c := range map[string]struct {
		give []Input
		bin  int
	}{
		"thirty":                     {times(30, squeeze), 30},
		"one and 29 shallow ones":    {append(times(1, squeeze), times(29, shallow)...), 30},
		"one and 30 shallow ones":    {append(times(1, squeeze), times(30, shallow)...), 0},
		"29 and 4 shallow ones":      {append(times(29, squeeze), times(4, shallow)...), 30},
		"29 and 31 shallow ones":     {append(times(29, squeeze), times(31, shallow)...), 0},
		"20 and 11 shallow ones":     {append(times(20, squeeze), times(11, shallow)...), 0},
		"thirty, taken back and all": {append(times(30, squeeze), again...), 0},
		"29 and one given anew":      {append(times(29, squeeze), again[:2]...), 30},
		"thirty and one given anew":  {append(times(30, squeeze), again[:2]...), 0},
	} {
		for by, report := range map[string]Input{"button": button, "word": {Do: DoSaidAloud}} {
			r := &sitting{s: opened(t, false)}
			r.do(goOn)
			for _, in := range c.give {
				r.at -= 900 * time.Millisecond // the wait after thirty is not what ends it
				r.do(in)
			}
			r.at -= 900 * time.Millisecond
			r.do(report)
			switch v := r.s.Verdict; {
			case c.bin > 0 && (r.s.Bin != c.bin || v != nil):
				t.Errorf("%s, %s: bin %d, verdict %+v, want bin %d", name, by, r.s.Bin, v, c.bin)
			case c.bin == 0 && (v == nil || v.Outcome != CannotTaste || v.Reason != NoTasteBy30):
				t.Errorf("%s, %s: bin %d, verdict %+v, want cannot taste", name, by, r.s.Bin, v)
			}
		}
	}
}

// The sensitivity test belongs to the sitting: of another day it says nothing.
func TestOneSitting(t *testing.T) {
	most := opened(t, true).Opened.Rules.Sitting()
	if most != 2*time.Hour {
		t.Fatalf("a sitting is %v", most)
	}
	for _, parked := range []bool{false, true} {
		for _, stage := range []Stage{Clearing, Donning} {
			for _, wait := range []time.Duration{most - time.Minute, most + time.Minute} {
				r := &sitting{s: opened(t, false)}
				r.do(goOn, squeeze, button, letGo)
				if stage == Donning {
					r.do(goOn)
				}
				if parked {
					r.do(Input{Do: DoPark})
				}
				r.at += wait - 10*time.Second
				if parked {
					r.do(Input{Do: DoTakeUp})
				}
				r.do(goOn)
				if late := wait > most; late != (r.s.Stage == stage) || late && lastWhy(r.s) != WhyOtherSitting {
					t.Errorf("%v after the sensitivity test, waited %v: from %s to %s, %q", wait, parked, stage, r.s.Stage, lastWhy(r.s))
				}
			}
		}
	}
	// Also where the dose itself took so long.
	s := nearlyPassed(t)
	s.BinAt = *s.Clock - most - 1
	if s.lacking() != Interrupted {
		t.Errorf("a sensitivity test of another day lacks %q", s.lacking())
	}
	// What was eaten since the word on abstinence nobody has asked.
	for _, wait := range []time.Duration{most - time.Minute, most + time.Minute} {
		r := &sitting{s: opened(t, true)}
		for _, q := range r.s.Opened.Rules.Before {
			r.do(Input{Do: DoAnswer, Question: q.ID, Yes: true})
		}
		r.do(Input{Do: DoAbstained, For: time.Hour})
		r.at += wait
		r.do(goOn)
		if late := wait > most; late != (r.s.Stage == Ready) || late && lastWhy(r.s) != WhyAbstinence {
			t.Errorf("%v after the word: %s, %q", wait, r.s.Stage, lastWhy(r.s))
		}
		r.do(Input{Do: DoAbstained, For: time.Hour}, goOn)
		if r.s.Stage != Screening {
			t.Errorf("said anew: %s, %q", r.s.Stage, lastWhy(r.s))
		}
	}
}

// A squeeze added to a top-up does not count toward the next one, whose window
// opens at the instant at which the other's shuts.
func TestACorrectionKeepsToItsTopUp(t *testing.T) {
	for _, c := range []struct {
		after time.Duration // due of the first top-up
		meant int
		to    int // top-up that it counts toward; 0: none
	}{{24 * time.Second, 1, 1}, {24 * time.Second, 0, 1}, {24 * time.Second, 2, 0}, {26 * time.Second, 1, 0}, {26 * time.Second, 0, 2}, {26 * time.Second, 2, 2}} {
		r := &sitting{s: opened(t, false)}
		r.do(goOn, squeeze, button, letGo, goOn)
		r.at += 5 * time.Minute
		r.do(goOn)
		r.do(times(10, squeeze)...)
		r.at = *r.s.Clock + 26*time.Second
		r.do(times(5, squeeze)...)
		r.at = *r.s.Clock + 30*time.Second + c.after - time.Second
		before := r.s
		if c.to == 1 { // its dose is whole: one is taken back first
			r.at -= time.Second
			r.do(Input{Do: DoCorrect, Delta: -1, Reason: "it was the other foot", By: "Tom Reed"})
			before = r.s
		}
		r.do(Input{Do: DoCorrect, Delta: 1, TopUp: c.meant, Reason: "beside the pedal", By: "Tom Reed"})
		for n := 1; n <= 3; n++ {
			if got, want := len(r.s.TopUp(n).Given)-len(before.TopUp(n).Given), map[bool]int{true: 1}[n == c.to]; got != want {
				t.Errorf("%v after it was due, meant for %d: %d added to top-up %d, %q", c.after, c.meant, got, n, lastWhy(r.s))
			}
		}
	}
}

// A nebuliser found clogged takes along what was done with it; one filled or
// entered anew ends the part that it is for, and is named anew before it. The same
// goes for the batch in it as it was named, whatever is in it by then; and for a
// mark, as captures of before have it.
func TestSpoiledNebuliser(t *testing.T) {
	kit := func(role string) Input {
		return Input{Do: DoTake, Kit: &Kit{ID: "id of " + role, Mark: "n-" + role, Role: role, Agent: "sweet", Solution: "s-" + role, Age: time.Hour, Checked: true}}
	}
	const (
		goesOn = "goes on"
		anew   = "named anew"
		ends   = "ends"
	)
	for _, c := range []struct {
		stage   Stage
		role    string
		clogged bool
		want    string
	}{
		{Ready, "weak", true, anew}, {Ready, "weak", false, anew}, {Ready, "other", true, goesOn},
		{Screening, "weak", true, ends}, {Screening, "weak", false, ends}, {Screening, "strong", true, goesOn},
		{Clearing, "weak", true, ends}, {Clearing, "weak", false, goesOn},
		{Donning, "strong", true, ends}, {Donning, "strong", false, anew}, {Donning, "weak", false, goesOn}, {Donning, "weak", true, ends},
		{Dosing, "strong", true, ends}, {Dosing, "strong", false, ends}, {Dosing, "weak", false, goesOn}, {Dosing, "weak", true, ends},
		{Running, "strong", true, ends}, {Running, "strong", false, ends}, {Running, "weak", false, goesOn}, {Running, "other", true, goesOn},
	} {
		for _, in := range []Input{{Mark: "n-" + c.role}, {Nebuliser: "id of " + c.role}, {Batch: "s-" + c.role}} {
			o := *opened(t, false).Opened
			o.Kit = true
			r := &sitting{s: New(o, 0)}
			steps := [][]Input{{kit(Weak)}, {goOn}, {squeeze, button, letGo}, {goOn, kit(Strong)}, {{Do: DoTick, At: 0}, goOn}, times(10, squeeze)}
			for i, st := range []Stage{Ready, Screening, Clearing, Donning, Dosing, Running} {
				if st == Dosing {
					r.at += 5 * time.Minute
				}
				r.do(steps[i]...)
				if st == c.stage {
					break
				}
			}
			if r.s.Stage != c.stage {
				t.Fatalf("the run stands at %s, want %s, %q", r.s.Stage, c.stage, lastWhy(r.s))
			}
			in.Do, in.Yes = DoSpoiled, c.clogged
			r.do(in)
			got := goesOn
			if v := r.s.Verdict; v != nil {
				got = ends
				if v.Outcome != NotValid || v.Reason != MistCheckFailed {
					t.Errorf("%+v: verdict %+v", c, v)
				}
				if f := r.s.Faults[len(r.s.Faults)-1]; f != (Faulted{nebuliserSpoiled, "n-" + c.role}) {
					t.Errorf("%+v: the fault is %+v", c, f)
				}
			} else if c.stage == Ready || c.stage == Donning {
				r.at += 5 * time.Minute
				if r.do(goOn); r.s.Stage == c.stage {
					got = anew
					if lastWhy(r.s) != WhyNoNebuliser {
						t.Errorf("%+v: refused for %q", c, lastWhy(r.s))
					}
				}
			}
			if got != c.want {
				t.Errorf("%+v spoiled, clogged %v, at %s: %s, want %s", in, c.clogged, c.stage, got, c.want)
			}
		}
	}
}

// What did not reach the journal was not seen by whoever reads it: the pass in it
// is not the whole run, and no other verdict gets better.
func TestUnsavedIsNoPass(t *testing.T) {
	s := nearlyPassed(t)
	s, _ = play(s, Input{At: s.At, Do: DoTick})
	if s.Verdict == nil || s.Verdict.Outcome != Pass {
		t.Fatalf("verdict %+v", s.Verdict)
	}
	for _, proving := range []bool{false, true} {
		was := s
		if proving {
			was, _ = play(s, Input{At: s.At, Do: DoBeginProof})
		}
		after := Fold(was, Dated{was.At, Unsaved{}})
		if v := after.Verdict; v.Outcome != NotValid || v.Reason != JournalFailed || after.Stage != Over {
			t.Errorf("proving %v: %+v at %s", proving, v, after.Stage)
		}
		if s.Verdict.Outcome != Pass {
			t.Error("the state before was changed")
		}
	}
	failed := Fold(opened(t, false), Dated{time.Second, Ended{Fail, Tasted, time.Second}})
	if v := Fold(failed, Dated{time.Second, Unsaved{}}).Verdict; v.Outcome != Fail {
		t.Errorf("a fail became %+v", v)
	}
	if open := opened(t, false); Fold(open, Dated{time.Second, Unsaved{}}).Verdict != nil {
		t.Error("a run without a verdict was given one")
	}
}

// Between two parts nothing is open that could be put right.
func TestACorrectionOfNothingIsRefused(t *testing.T) {
	for _, stage := range []Stage{Ready, Clearing, Donning, Running} {
		r := &sitting{s: opened(t, false)}
		switch stage {
		case Clearing:
			r.do(goOn, squeeze, button, letGo)
		case Donning:
			r.do(goOn, squeeze, button, letGo, goOn)
		case Running:
			r.do(goOn, squeeze, button, letGo, goOn)
			r.at += 5 * time.Minute
			r.do(goOn)
			r.do(times(10, squeeze)...)
		}
		if r.s.Stage != stage {
			t.Fatalf("the run stands at %s, want %s", r.s.Stage, stage)
		}
		for _, delta := range []int{1, -1} {
			if r.do(Input{Do: DoCorrect, Delta: delta, Reason: "beside the pedal", By: "Tom Reed"}); len(r.s.Corrections) > 0 || lastWhy(r.s) != WhyOutsideWindow {
				t.Errorf("%+d at %s: %v, %q", delta, stage, r.s.Corrections, lastWhy(r.s))
			}
		}
	}
}

var (
	takeOne  = Input{Do: DoCorrect, Delta: -1, Reason: "bumped", By: "Tom Reed"}
	addOne   = Input{Do: DoCorrect, Delta: 1, Reason: "beside the pedal", By: "Tom Reed"}
	takeBack = Input{Do: DoCorrect, Delta: -1, Reason: "it was bumped", By: "Tom Reed"}
)

// A dose that no contact has seen is no evidence: no more than half of it, rounded
// down, is added by hand. House rule, no publication has one.
func TestNoMoreThanHalfOfADoseByHand(t *testing.T) {
	for _, bin := range []int{10, 20, 30} {
		for _, part := range []Part{PartInitial, PartTopUp} {
			required := bin
			if part == PartTopUp {
				required = bin / 2
			}
			half := required / 2
			for name, c := range map[string]struct {
				give    []Input
				given   int // of the dose, before one more is added
				refused bool
			}{
				"one less":                       {times(half-1, addOne), half - 1, false},
				"half":                           {times(half, addOne), half, true},
				"half, and pressed":              {append(times(half, addOne), squeeze), half + 1, true},
				"pressed, and half":              {append([]Input{squeeze}, times(half, addOne)...), half + 1, true},
				"half, one taken back":           {append(times(half, addOne), takeBack), half - 1, false},
				"half, a press taken back":       {append(times(half, addOne), squeeze, takeBack), half, true},
				"half, a press and one back":     {append(times(half, addOne), squeeze, takeBack, takeBack), half - 1, false},
				"all taken back, and half again": {slices.Concat(times(half, addOne), times(half, takeBack), times(half, addOne)), half, true},
				"half, and shallow ones":         {append(times(half, addOne), shallow, shallow), half, true},
			} {
				r := &sitting{s: opened(t, false)}
				r.do(goOn)
				r.do(times(bin-1, addOne)...) // the sensitivity test has another end
				r.do(squeeze, button, letGo, goOn)
				r.at += 5 * time.Minute
				r.do(goOn)
				dose := func() Dose { return r.s.Initial }
				if part == PartTopUp {
					r.do(times(bin, squeeze)...)
					r.at = *r.s.Clock + 26*time.Second
					dose = func() Dose { return r.s.TopUp(1) }
				}
				r.do(c.give...)
				if got := len(dose().Given); r.s.Bin != bin || got != c.given || dose().Required != required || dose().HalfByHand() != c.refused {
					t.Fatalf("bin %d, %s, %s: %d of %d given, half by hand %t, %q", r.s.Bin, part, name, got, dose().Required, dose().HalfByHand(), lastWhy(r.s))
				}
				before := len(r.s.Corrections)
				r.do(addOne)
				got := len(dose().Given)
				if c.refused && (got != c.given || lastWhy(r.s) != WhyHalfByHand || len(r.s.Corrections) != before) || !c.refused && got != c.given+1 {
					t.Errorf("bin %d, %s, %s: one more by hand, from %d to %d, %q", bin, part, name, c.given, got, lastWhy(r.s))
				}
			}
		}
	}
}

// Words alone start no clock, and a top-up of them closes short.
func TestWordsAloneAreNoPass(t *testing.T) {
	r := &sitting{s: opened(t, false)}
	// Nor are they a bin: a contact that is dead would give the lowest one.
	r.do(goOn, addOne, addOne, button, letGo)
	if r.s.Stage != Screening || r.s.Bin != 0 {
		t.Fatalf("a bin after words alone: %s, %d", r.s.Stage, r.s.Bin)
	}
	// One that was added and taken back is none, and takes none away.
	one := &sitting{s: opened(t, false)}
	one.do(goOn, squeeze, addOne, takeOne, button)
	if one.s.Stage != Clearing {
		t.Fatalf("a report after one squeeze is refused: %s", one.s.Stage)
	}
	r.do(squeeze, button, letGo, goOn)
	r.at += 5 * time.Minute
	r.do(goOn)
	r.do(times(40, addOne)...)
	if r.s.Clock != nil || r.s.Stage != Dosing {
		t.Fatalf("the clock runs after words alone: %s", r.s.Stage)
	}
	r.do(times(5, squeeze)...)
	if r.s.Clock == nil {
		t.Fatalf("half by hand and half by the contact: %s", r.s.Stage)
	}
	for n := range 2 {
		r.at = *r.s.Clock + time.Duration(30*(n+1))*time.Second
		if n == 0 {
			r.do(times(3, squeeze)...)
		}
		r.do(times(5, addOne)...)
		r.at = *r.s.Clock + time.Duration(30*(n+1)+25)*time.Second
		r.s, _ = play(r.s, Input{At: r.at, Do: DoTick})
		if v := r.s.Verdict; (v == nil) != (n == 0) {
			t.Fatalf("after top-up %d: %+v", n+1, v)
		}
	}
	if v := r.s.Verdict; v.Outcome != NotValid || v.Reason != TopUpShort {
		t.Errorf("a top-up of words: %+v", v)
	}
}

// The rule is of what may be said from now on: a journal in which more stands is
// read as it was.
func TestMoreByHandInAnOlderJournal(t *testing.T) {
	s, at := opened(t, false), time.Duration(0)
	say := func(fs ...Fact) {
		for _, f := range fs {
			at += 100 * time.Millisecond
			s = Fold(s, Dated{at, f})
		}
	}
	say(Entered{Screening}, Squeezed{Part: PartScreening}, BinSet{1, 0, 10}, ButtonProven{}, Entered{Donning}, Entered{Dosing})
	for range 10 {
		say(Corrected{PartInitial, 0, 1, "beside the pedal", "Tom Reed"})
	}
	say(ClockStarted{})
	for n := 1; n <= 13; n++ {
		at = *s.Clock + time.Duration(30*n)*time.Second
		for range 5 {
			say(Corrected{PartTopUp, n, 1, "beside the pedal", "Tom Reed"})
		}
	}
	end := *s.Clock + 420*time.Second
	if s = s.Reach(end + 1); s.lacking() != "" {
		t.Errorf("it lacks %q", s.lacking())
	}
	say(Ended{Pass, "", end})
	if s.Verdict.Outcome != Pass || len(s.Initial.Given) != 10 || s.Initial.Added != 10 || s.TopUp(13).Added != 5 || len(s.Corrections) != 75 {
		t.Errorf("%+v, %+v, %+v, %d corrections", s.Verdict, s.Initial, s.TopUp(13), len(s.Corrections))
	}
}

// A nebuliser found worthless after a pass undoes it, once and for all, whatever
// the proof gave; no other verdict changes by it, and one that is only filled or
// entered anew says nothing.
func TestANebuliserFoundWorthlessAfterTheVerdict(t *testing.T) {
	kit := []DatedTook{
		{0, Took{Kit{ID: "n-1", Mark: "W1", Role: Weak, Solution: "s-1"}, ""}}, {0, Took{Kit{ID: "n-2", Mark: "S1", Role: Strong, Solution: "s-2"}, ""}},
	}
	for _, c := range []struct {
		in     Input
		undone string // mark
	}{
		{Input{Nebuliser: "n-1", Yes: true}, "W1"}, {Input{Nebuliser: "n-2", Yes: true}, "S1"}, {Input{Batch: "s-2", Yes: true}, "S1"}, {Input{Mark: "S1", Yes: true}, "S1"},
		{Input{Nebuliser: "n-2"}, ""}, {Input{Nebuliser: "n-3", Yes: true}, ""}, {Input{Batch: "s-3", Yes: true}, ""}, {Input{Yes: true}, ""},
	} {
		c.in.Do = DoSpoiled
		for _, proof := range [][]Verb{nil, {DoBeginProof}, {DoBeginProof, DoProofTasted}, {DoBeginProof, DoLeaveProof}, {DoBeginProof, DoProofNothing}} {
			s := nearlyPassed(t)
			s, _ = play(s, Input{At: s.At, Do: DoTick})
			s.Took = kit
			for _, v := range proof {
				s, _ = play(s, Input{At: s.At, Do: v})
			}
			in, was := c.in, *s.Verdict
			in.At = s.At + time.Second
			after, facts := play(s, in, in)
			if was.Outcome != Pass || c.undone == "" {
				if len(facts) > 0 || *after.Verdict != was {
					t.Errorf("%+v after %v: %+v, %+v", c.in, proof, facts, after.Verdict)
				}
				continue
			}
			if v := after.Verdict; len(facts) != 1 || facts[0].Fact != (KitSpoiled{c.undone}) || v.Outcome != NotValid || v.Reason != MistCheckFailed || v.At != was.At || after.Stage != Over {
				t.Errorf("%+v after %v: %+v, %+v at %s", c.in, proof, facts, v, after.Stage)
			}
			if !slices.Contains(after.Faults, Faulted{nebuliserSpoiled, c.undone}) {
				t.Errorf("%+v: faults %+v", c.in, after.Faults)
			}
			if again, more := play(after, Input{At: in.At, Do: DoBeginProof}, Input{At: in.At, Do: DoProofTasted}); again.Verdict.Outcome == Pass || again.Stage != Over {
				t.Errorf("a proof makes a pass of it again: %+v", more)
			}
			if s.Verdict.Outcome != Pass {
				t.Error("the state before was changed")
			}
		}
	}
	failed := Fold(opened(t, false), Dated{time.Second, Ended{Fail, Tasted, time.Second}})
	failed.Took = kit
	if after, _ := play(failed, Input{At: time.Minute, Do: DoSpoiled, Nebuliser: "n-2", Yes: true}); after.Verdict.Outcome != Fail {
		t.Errorf("a fail became %+v", after.Verdict)
	}
	if after := Fold(failed, Dated{time.Minute, KitSpoiled{"S1"}}); after.Verdict.Outcome != Fail {
		t.Errorf("a fail became %+v by the fact", after.Verdict)
	}
	if open := opened(t, false); Fold(open, Dated{time.Second, KitSpoiled{"S1"}}).Verdict != nil {
		t.Error("a run without a verdict was given one")
	}
}

// A drill is practice whatever its opening says.
func TestADrillIsPractice(t *testing.T) {
	o := *opened(t, false).Opened
	if New(o, 0).Opened.Practice != "" {
		t.Fatal("a test is practice")
	}
	o.Drill = &Drill{Seed: "heron", Level: "plain"}
	if got := New(o, 0).Opened.Practice; got != PracticeDrill {
		t.Errorf("practice is %q", got)
	}
}

// What is just not enough, by the figures of 29 CFR 1910.134 App. A (Part I.A.13:
// worn for five minutes; Part I.B.3: thirty squeezes) and, for how long a full
// exposure lasts, by the house.
func TestJustNotEnough(t *testing.T) {
	s := opened(t, true)
	s.Stage, s.Proven = Donning, true
	wear := 5 * time.Minute
	if got := s.Blocked(wear - time.Millisecond); got != WhyWear {
		t.Errorf("worn for a moment less than five minutes: %q", got)
	}
	if got := s.Blocked(wear); got != "" {
		t.Errorf("worn for five minutes: %q", got)
	}

	r := &sitting{s: opened(t, false)}
	r.do(goOn)
	r.do(times(30, squeeze)...)
	full := r.s.Opened.Rules.Figures.FullExposureFor.Duration()
	early, _ := play(r.s, Input{At: r.at + full - time.Millisecond, Do: DoTick})
	if early.Verdict != nil {
		t.Errorf("cannot taste a moment early: %+v", early.Verdict)
	}
	if late, _ := play(r.s, Input{At: r.at + full, Do: DoTick}); late.Verdict == nil || late.Verdict.Outcome != CannotTaste {
		t.Errorf("cannot taste when its time is over: %+v", late.Verdict)
	}

	// Eleven squeezes are the second bin; one of them taken back may have given mist.
	r = &sitting{s: opened(t, false)}
	r.do(goOn)
	r.do(times(11, squeeze)...)
	r.do(takeOne, button)
	if r.s.Bin != 20 {
		t.Errorf("eleven squeezes, one taken back: bin %d", r.s.Bin)
	}
}

// A correction is of one squeeze, and says why.
func TestCorrectionsThatAreNone(t *testing.T) {
	for name, c := range map[string]struct {
		in   Input
		want Why
	}{
		"without a reason": {Input{Do: DoCorrect, Delta: 1, By: "Tom Reed"}, WhyNoReason},
		"by two":           {Input{Do: DoCorrect, Delta: 2, Reason: "beside the pedal", By: "Tom Reed"}, WhyNotHere},
		"by two back":      {Input{Do: DoCorrect, Delta: -2, Reason: "bumped", By: "Tom Reed"}, WhyNotHere},
		"by none":          {Input{Do: DoCorrect, Reason: "beside the pedal", By: "Tom Reed"}, WhyNotHere},
	} {
		r := &sitting{s: opened(t, false)}
		r.do(goOn, squeeze, squeeze, squeeze, c.in)
		if len(r.s.Screening) != 3 || len(r.s.Corrections) > 0 || lastWhy(r.s) != c.want {
			t.Errorf("%s: %d squeezes, %v, %q", name, len(r.s.Screening), r.s.Corrections, lastWhy(r.s))
		}
	}
}
