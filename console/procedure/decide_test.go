// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"
)

// play gives inputs to a state and returns the state after them.
func play(s State, ins ...Input) (State, []Dated) {
	var all []Dated
	for _, in := range ins {
		facts, _ := Decide(s, in)
		for _, f := range facts {
			s = Fold(s, f)
		}
		s = s.Reach(in.At)
		all = append(all, facts...)
	}
	return s, all
}

func opened(t *testing.T, strict bool) State {
	t.Helper()
	all, err := Rules()
	if err != nil {
		t.Fatal(err)
	}
	return New(RunOpened{Run: "R", Rules: all["uk-hse"], Agent: "sweet", Supervised: true, Strict: strict}, 0)
}

func lastWhy(s State) Why {
	if len(s.Notes) == 0 {
		return ""
	}
	return s.Notes[len(s.Notes)-1].Why
}

// A strict run does not begin before every question is answered yes and nothing
// but water was taken for the rule's time, nor is the dose begun before the
// facepiece was worn for the rule's time.
func TestStrictRun(t *testing.T) {
	s := opened(t, true)
	at := time.Second
	tick := func(ins ...Input) {
		at += time.Second
		for i := range ins {
			ins[i].At = at
		}
		s, _ = play(s, ins...)
	}
	refused := func(want Why) {
		t.Helper()
		before := s.Stage
		tick(Input{Do: DoGoOn})
		if s.Stage != before || lastWhy(s) != want {
			t.Errorf("from %s to %s, %q; want to stay for %q", before, s.Stage, lastWhy(s), want)
		}
	}
	refused(WhyUnanswered)
	for _, q := range s.Opened.Rules.Before {
		tick(Input{Do: DoAnswer, Question: q.ID, Yes: true})
	}
	tick(Input{Do: DoAnswer, Question: s.Opened.Rules.Before[1].ID, Yes: false})
	refused(WhyUnanswered)
	tick(Input{Do: DoAnswer, Question: s.Opened.Rules.Before[1].ID, Yes: true})
	refused(WhyAbstinence)
	tick(Input{Do: DoAbstained, For: 30*time.Minute - 10*time.Second}) // 30 min, INDG479 rev 1
	refused(WhyAbstinence)
	at += 10 * time.Second
	tick(Input{Do: DoGoOn})
	if s.Stage != Screening {
		t.Fatalf("stage %s, %q", s.Stage, lastWhy(s))
	}
	tick(Input{Do: DoPress, Source: "squeeze"})
	tick(Input{Do: DoSaidAloud})
	if s.Bin != 10 || s.Stage != Clearing {
		t.Fatalf("bin %d, stage %s", s.Bin, s.Stage)
	}
	tick(Input{Do: DoGoOn})
	at += 5 * time.Minute
	// The wearer said it: the button has not been pressed in this run.
	refused(WhyButtonUnproven)
	tick(Input{Do: DoPress, Source: "report"}, Input{Do: DoRelease, Source: "report"})
	s.Since = at // donned just now
	refused(WhyWear)
	at += 5 * time.Minute
	tick(Input{Do: DoGoOn})
	if s.Stage != Dosing {
		t.Errorf("stage %s, %q", s.Stage, lastWhy(s))
	}
}

// What a verb means in no stage is refused in words, never in silence and never
// with a change.
func TestUnknownInputsAreRefused(t *testing.T) {
	s := opened(t, false)
	for _, do := range []Verb{"dance", "", DoHoodOff, DoTouched, DoMistFailed, DoBeginProof, DoProofNothing, DoProofTasted, DoCorrect} {
		after, facts := play(s, Input{At: time.Second, Do: do})
		if len(facts) != 1 || facts[0].Fact.Kind() != "ignored" || after.Stage != Ready {
			t.Errorf("%q at ready: %+v", do, facts)
		}
	}
	after, facts := play(s, Input{At: time.Second, Do: DoAnswer, Question: "favourite_colour", Yes: true})
	if len(facts) != 1 || facts[0].Fact.Kind() != "ignored" || len(after.Answers) != 0 {
		t.Errorf("a question that was not asked: %+v", facts)
	}
}

var everyVerb = []Verb{
	DoPress, DoDoubt, DoRelease, DoHeld, DoChatters, DoCableSound, DoTick, DoGoOn, DoAnswer, DoAbstained, DoSaidAloud, DoCorrect,
	DoBeginProof, DoProofNothing, DoProofTasted, DoPress, DoPress, DoPress, DoPress, DoPress,
}

// Whatever inputs come in whatever order: what was folded before stays as it
// was, a verdict changes only from pass to not valid, and a pass has its whole
// evidence: a bin, the initial dose, thirteen top-ups, the button's own press,
// and 420 s.
func TestAnyInputs(t *testing.T) {
	passes := 0
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 3))
		s := opened(t, false)
		at := time.Duration(0)
		var facts []Dated
		guided := seed%2 == 0 // else from one random input to the next
		for range 800 {
			in := Input{Do: everyVerb[r.IntN(len(everyVerb))], Delta: 1 - 2*r.IntN(2), Reason: "heard it", Yes: true}
			in.Source = []string{"squeeze", "squeeze", "squeeze", "step", "report"}[r.IntN(5)]
			at += time.Duration(r.Int64N(int64(2 * time.Second)))
			if guided && r.IntN(400) > 0 {
				in = Input{Do: DoPress, Source: "squeeze"}
				switch {
				case s.ReportDown:
					in = Input{Do: DoRelease, Source: "report"}
				case s.Stage == Ready || s.Stage == Clearing || s.Stage == Donning:
					in.Source = "step"
				case s.Stage == Screening && len(s.Screening) > 3:
					in.Source = "report"
				}
			}
			// The clock's own instants come as they are asked for.
			for w, ok := s.Wake(); ok && w <= at; w, ok = s.Wake() {
				s = check(t, seed, s, Input{At: w, Do: DoTick}, &facts)
			}
			in.At = at
			s = check(t, seed, s, in, &facts)
		}
		if v := s.Verdict; v != nil && v.Outcome == Pass {
			passes++
			evidence(t, seed, s)
		}
		again := opened(t, false)
		for _, f := range facts {
			again = Fold(again, f)
		}
		again = again.Reach(s.At)
		if !reflect.DeepEqual(again, s) {
			t.Fatalf("seed %d: the facts folded again give another state", seed)
		}
	}
	t.Logf("%d passes", passes)
	if passes == 0 {
		t.Error("no run passed: there was no evidence to look at")
	}
}

// check gives one input and holds the state before it against being changed.
func check(t *testing.T, seed uint64, s State, in Input, facts *[]Dated) State {
	t.Helper()
	look, before := len(*facts)%8 == 0, "" // a state takes long to write
	if look {
		before = fmt.Sprintf("%+v", shown(s))
	}
	after, said := play(s, in)
	if look {
		if now := fmt.Sprintf("%+v", shown(s)); now != before {
			t.Fatalf("seed %d: %+v changed the state it was given\n%s\n%s", seed, in, before, now)
		}
	}
	if a, b := s.Verdict, after.Verdict; a != nil && (b == nil || *a != *b && !(a.Outcome == Pass && b.Outcome == NotValid && b.Reason == MistCheckFailed)) {
		t.Fatalf("seed %d: %+v changed the verdict %+v to %+v", seed, in, a, b)
	}
	again, _ := Decide(s, in)
	if !reflect.DeepEqual(said, again) && len(said)+len(again) > 0 {
		t.Fatalf("seed %d: %+v gave other facts the second time", seed, in)
	}
	*facts = append(*facts, said...)
	return after
}

// shown is a state with its slices copied out of reach of a later append.
func shown(s State) []any {
	return []any{s.Stage, s.Since, slices.Clone(s.Screening), s.Initial, s.TopUps, s.Outside, s.Faults, s.Notes, s.Answers, s.ScreenDoubt, s.Bin, s.Proven}
}

func evidence(t *testing.T, seed uint64, s State) {
	t.Helper()
	bin := map[int]bool{10: true, 20: true, 30: true}
	if !bin[s.Bin] || len(s.Initial.Given) < s.Bin || len(s.TopUps) != 13 || !s.Proven || s.Clock == nil || s.At < *s.Clock+420*time.Second {
		t.Errorf("seed %d: a pass with bin %d, initial dose %d, %d top-ups, button proven %v", seed, s.Bin, len(s.Initial.Given), len(s.TopUps), s.Proven)
	}
	for k, d := range s.TopUps {
		n := 0
		for _, at := range d.Given {
			if x := at - *s.Clock; x >= time.Duration(30*(k+1)-5)*time.Second && x < time.Duration(30*(k+1)+25)*time.Second {
				n++
			}
		}
		if 2*n < s.Bin {
			t.Errorf("seed %d: a pass with %d squeezes in the window of top-up %d of bin %d", seed, n, k+1, s.Bin)
		}
	}
}
