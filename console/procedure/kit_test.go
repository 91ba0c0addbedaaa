// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"testing"
	"time"
)

// Where kit is kept, the marked nebuliser comes before each part, and one that
// would thin the mist is refused: of the other role or agent, not filled, past
// its date, filled four hours ago (29 CFR 1910.134 App. A), or not seen to mist.
func TestNebuliserBeforeEachPart(t *testing.T) {
	good := func(role string) Kit {
		return Kit{ID: "n-" + role, Mark: role, Role: role, Agent: "sweet", Solution: "s-1", Lot: "L", Age: time.Hour, Checked: true}
	}
	at := time.Second
	s := opened(t, false)
	o := *s.Opened
	o.Kit = true
	s = New(o, 0)
	tick := func(in Input) {
		at += time.Second
		in.At = at
		s, _ = play(s, in)
	}
	take := func(k Kit) { tick(Input{Do: DoTake, Kit: &k, By: "Tom Reed"}) }
	stays := func(want Why) {
		t.Helper()
		before := s.Stage
		tick(Input{Do: DoGoOn})
		if s.Stage != before || lastWhy(s) != want || s.Blocked(at) != want {
			t.Errorf("from %s to %s, %q; want to stay for %q", before, s.Stage, lastWhy(s), want)
		}
	}
	for _, role := range []string{Weak, Strong} {
		other := map[string]string{Weak: Strong, Strong: Weak}[role]
		stays(WhyNoNebuliser)
		for want, change := range map[Why]func(*Kit){
			WhyOtherRole: func(k *Kit) { k.Role = other }, WhyOtherAgent: func(k *Kit) { k.Agent = "bitter" },
			WhyNotFilled: func(k *Kit) { k.Solution = "" }, WhyExpired: func(k *Kit) { k.Expired = true },
			WhyStale: func(k *Kit) { k.Age = 4 * time.Hour }, WhyMistNotChecked: func(k *Kit) { k.Checked = false },
		} {
			k := good(role)
			change(&k)
			n := len(s.Took)
			take(k)
			if len(s.Took) != n || lastWhy(s) != want {
				t.Errorf("%s: taken %v, %q; want it refused for %q", role, len(s.Took) > n, lastWhy(s), want)
			}
		}
		tick(Input{Do: DoTake})
		if lastWhy(s) != WhyUnknownNebuliser {
			t.Errorf("a mark that nobody knows: %q", lastWhy(s))
		}
		// It was fresh when it was named, and goes stale while people wait.
		k := good(role)
		k.Age = 4*time.Hour - 5*time.Minute
		take(k)
		at += 5 * time.Minute
		stays(WhyStale)
		// Its batch was good when it was named, and its last day ends meanwhile.
		k = good(role)
		k.GoodFor = 5 * time.Minute
		take(k)
		at += 4 * time.Minute
		if why := s.Blocked(at); why == WhyExpired {
			t.Errorf("%s: past its date a minute before the end of its last day", role)
		}
		at += time.Minute
		stays(WhyExpired)
		take(good(role))
		tick(Input{Do: DoGoOn})
		if role == Strong {
			break
		}
		if s.Stage != Screening {
			t.Fatalf("stage %s, %q", s.Stage, lastWhy(s))
		}
		take(good(Strong))
		if lastWhy(s) != WhyNotHere {
			t.Errorf("named in the middle of a part: %q", lastWhy(s))
		}
		tick(Input{Do: DoPress, Source: "squeeze"})
		tick(Input{Do: DoPress, Source: "report"})
		tick(Input{Do: DoRelease, Source: "report"})
		tick(Input{Do: DoGoOn})
		if s.Stage != Donning {
			t.Fatalf("stage %s, %q", s.Stage, lastWhy(s))
		}
	}
	if s.Stage != Dosing || len(s.Took) != 6 {
		t.Errorf("stage %s with %d nebulisers, %q", s.Stage, len(s.Took), lastWhy(s))
	}
	// Where kit is not kept nobody is asked.
	s = opened(t, false)
	if s, _ = play(s, Input{At: time.Second, Do: DoGoOn}); s.Stage != Screening {
		t.Errorf("without kit: %s, %q", s.Stage, lastWhy(s))
	}
}

// The time that each stage took adds up to the time that went by.
func TestSpent(t *testing.T) {
	s := opened(t, false)
	s, _ = play(s, Input{At: 10 * time.Second, Do: DoGoOn}, Input{At: 12 * time.Second, Do: DoPress, Source: "squeeze"},
		Input{At: 15 * time.Second, Do: DoPress, Source: "report"}, Input{At: 75 * time.Second, Do: DoGoOn}, Input{At: 90 * time.Second, Do: DoAbandon})
	want := []Spent{{Ready, 10 * time.Second}, {Screening, 5 * time.Second}, {Clearing, time.Minute}, {Donning, 15 * time.Second}}
	if len(s.Spent) != len(want) {
		t.Fatalf("spent %v, want %v", s.Spent, want)
	}
	for i := range want {
		if s.Spent[i] != want[i] {
			t.Errorf("spent %v, want %v", s.Spent, want)
		}
	}
}

// While a run waits another person's nebuliser is at hand, and its own may be
// emptied or filled anew: what was named before counts for nothing after.
func TestNebuliserIsNamedAnewAfterARunWaited(t *testing.T) {
	for _, role := range []string{Weak, Strong} {
		s := opened(t, false)
		o := *s.Opened
		o.Kit = true
		s = New(o, 0)
		at := time.Second
		do := func(ins ...Input) {
			for _, in := range ins {
				at += time.Second
				in.At = at
				s, _ = play(s, in)
			}
		}
		kit := func(role string) Input {
			return Input{Do: DoTake, Kit: &Kit{ID: role, Mark: role, Role: role, Agent: "sweet", Solution: "s-1", Age: time.Hour, Checked: true}}
		}
		do(kit(Weak))
		if role == Strong {
			do(Input{Do: DoGoOn}, Input{Do: DoPress, Source: "squeeze"}, Input{Do: DoPress, Source: "report"}, Input{Do: DoRelease, Source: "report"},
				kit(Strong), Input{Do: DoGoOn})
			at += 5 * time.Minute
		}
		before := s.Stage
		do(Input{Do: DoPark}, Input{Do: DoTakeUp}, Input{Do: DoGoOn})
		if s.Stage != before || lastWhy(s) != WhyNoNebuliser {
			t.Errorf("%s: taken up it went from %s to %s, %q", role, before, s.Stage, lastWhy(s))
		}
		do(kit(role), Input{Do: DoGoOn})
		if s.Stage == before {
			t.Errorf("%s: named anew it still stands at %s, %q", role, s.Stage, lastWhy(s))
		}
	}
}
