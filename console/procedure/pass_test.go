// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"slices"
	"testing"
	"time"
)

// nearlyPassed is a run in which all is done right, at the instant at which it
// passes, before it is asked. The person says the name before the test.
func nearlyPassed(t *testing.T) State {
	t.Helper()
	s := opened(t, false)
	at := time.Second
	do := func(in Input) {
		at += time.Second
		in.At = at
		s, _ = play(s, in)
	}
	do(Input{Do: DoNameSaid, Yes: true, By: "wearer"})
	do(Input{Do: DoGoOn})
	for range 3 {
		do(Input{Do: DoPress, Source: "squeeze"})
	}
	do(Input{Do: DoPress, Source: "report"})
	do(Input{Do: DoRelease, Source: "report"})
	do(Input{Do: DoGoOn})
	at += 5 * time.Minute
	do(Input{Do: DoGoOn})
	for range 10 {
		do(Input{Do: DoPress, Source: "squeeze"})
	}
	if s.Clock == nil {
		t.Fatalf("no run clock at %s, %q", s.Stage, lastWhy(s))
	}
	for n := 1; n <= 13; n++ {
		at = *s.Clock + time.Duration(n)*30*time.Second
		for range 5 {
			do(Input{Do: DoPress, Source: "squeeze"})
		}
	}
	return s.Reach(*s.Clock + 420*time.Second + 1)
}

// A pass stands on every evidence by itself: with any one of them away, and all
// the rest there, the run that reaches its end is not valid.
func TestEachEvidenceOfAPass(t *testing.T) {
	end := func(s State) Ended {
		t.Helper()
		after, _ := play(s, Input{At: s.At, Do: DoTick})
		if after.Verdict == nil {
			return Ended{}
		}
		return *after.Verdict
	}
	if v := end(nearlyPassed(t)); v.Outcome != Pass {
		t.Fatalf("with everything there: %+v", v)
	}
	for _, c := range []struct {
		without string
		take    func(*State)
		reason  Reason
	}{
		{"the bin", func(s *State) { s.Bin = 0 }, TopUpShort},
		{"a squeeze of the dose", func(s *State) { s.Initial.Given = s.Initial.Given[1:] }, TopUpShort},
		{"the button's own press", func(s *State) { s.Proven = false }, ButtonUnproven},
		{"the cable", func(s *State) { s.Cable = DoCableOpen }, CableOpen},
		{"a sound cable", func(s *State) { s.Cable = DoCableShort }, CableShort},
		{"a journal that writes", func(s *State) { s.Faults = append(s.Faults, Faulted{What: string(JournalFailed)}) }, JournalFailed},
		{"the person", func(s *State) { s.NameSaid = &NameSaid{Yes: false} }, Interrupted},
		{"a squeeze of the last top-up", func(s *State) {
			s.TopUps = slices.Clone(s.TopUps)
			s.TopUps[12].Given = s.TopUps[12].Given[1:]
		}, TopUpShort},
		{"half the dose asked of a top-up", func(s *State) {
			s.TopUps = slices.Clone(s.TopUps)
			s.TopUps[5].Required, s.TopUps[5].Given = 4, s.TopUps[5].Given[1:]
		}, TopUpShort},
	} {
		s := nearlyPassed(t)
		c.take(&s)
		if v := end(s); v.Outcome != NotValid || v.Reason != c.reason {
			t.Errorf("without %s: %+v, want not valid, %s", c.without, v, c.reason)
		}
	}
	// What no tick can bring about is looked at all the same.
	for without, take := range map[string]func(*State){
		"its turn":        func(s *State) { s.Parked = true },
		"the whole 420 s": func(s *State) { s.At = *s.Clock + 420*time.Second - 1 },
		"its clock":       func(s *State) { s.Clock = nil },
		"ten squeezes":    func(s *State) { s.Initial.Given = s.Initial.Given[:9] },
	} {
		s := nearlyPassed(t)
		take(&s)
		if s.lacking() == "" {
			t.Errorf("without %s nothing is lacking", without)
		}
	}
}

// Whoever says during or after the sensitivity test that the name is another's
// may not be the one who tasted: a later yes does not bring the run back.
func TestNameOfAnotherAfterTheSensitivityTest(t *testing.T) {
	for _, from := range []Stage{Ready, Screening, Clearing, Donning} {
		s := opened(t, false)
		at := time.Second
		do := func(ins ...Input) {
			for _, in := range ins {
				at += time.Second
				in.At = at
				s, _ = play(s, in)
			}
		}
		steps := []Input{{Do: DoGoOn}, {Do: DoPress, Source: "squeeze"}, {Do: DoPress, Source: "report"}, {Do: DoRelease, Source: "report"}, {Do: DoGoOn}}
		for s.Stage != from {
			do(steps[0])
			steps = steps[1:]
		}
		do(Input{Do: DoNameSaid, Yes: false, By: "wearer"}, Input{Do: DoNameSaid, Yes: true, By: "Tom Reed"})
		do(steps...)
		at += 5 * time.Minute
		do(Input{Do: DoGoOn})
		if got, want := s.Stage == Dosing, from == Ready; got != want {
			t.Errorf("no and then yes at %s: the run stands at %s, %q", from, s.Stage, lastWhy(s))
		}
	}
}
