// SPDX-License-Identifier: Apache-2.0

package session

import (
	"cmp"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/device"
)

// A lived run is what happens in one run: edges and inputs in order of their
// instants, with the stretches in which it is not the run's turn.
type lived struct {
	moves []move
	away  [][2]time.Duration
}

type move struct {
	at time.Duration
	e  device.Edge
	in procedure.Input
}

// newLife makes up a run that begins at an instant: it may pass, fail, or end
// in other ways. Up to two waits lie where a run may wait.
func newLife(r *rand.Rand, t time.Duration) *lived {
	p := &lived{}
	between := func(a, b time.Duration) time.Duration { return a + time.Duration(r.Int64N(int64(b-a))) }
	edge := func(at time.Duration, l device.Line, closed bool) {
		p.moves = append(p.moves, move{at: at, e: device.Edge{At: at, Line: l, Closed: closed}})
	}
	press := func(at time.Duration, l device.Line) {
		edge(at, l, true)
		edge(at+between(100*ms, 180*ms), l, false)
	}
	report := func(at time.Duration) {
		edge(at, device.TasteNC, false)
		edge(at+2*ms, device.TasteNO, true)
		edge(at+300*ms, device.TasteNO, false)
		edge(at+302*ms, device.TasteNC, true)
	}
	rest := func() {
		t += between(2*time.Second, 5*time.Second)
		if r.IntN(3) > 0 {
			from := t
			t += between(time.Minute, 20*time.Minute)
			p.away = append(p.away, [2]time.Duration{from, t})
			t += between(2*time.Second, 5*time.Second)
		}
	}
	rest()
	press(t, device.Step)
	bin := 1 + r.IntN(30)
	for range bin {
		t += between(500*ms, 1500*ms)
		press(t, device.Squeeze)
	}
	t += between(time.Second, 3*time.Second)
	report(t)
	rest()
	press(t, device.Step)
	rest()
	press(t, device.Step)
	for range procedure.RuleSet.BinOf(usRules, bin).Initial {
		t += between(500*ms, 1500*ms)
		press(t, device.Squeeze)
	}
	if r.IntN(2) == 0 {
		report(t + between(time.Second, 100*time.Second))
	}
	for k := range 13 {
		at := t + time.Duration(30*(k+1))*time.Second
		for range procedure.RuleSet.BinOf(usRules, bin).TopUp - r.IntN(60)/59 {
			at += between(500*ms, 1200*ms)
			press(at, device.Squeeze)
		}
	}
	p.moves = append(p.moves, move{at: t + 430*time.Second, in: procedure.Input{Do: procedure.DoAbandon}})
	slices.SortStableFunc(p.moves, func(a, b move) int { return cmp.Compare(a.at, b.at) })
	return p
}

var usRules = func() procedure.RuleSet {
	all, err := procedure.Rules()
	if err != nil {
		panic(err)
	}
	return all["us-osha"]
}()

// run plays it on an engine. When it waits, foreign fills the time with what the
// contacts do for another run, which the run is told only the levels of.
func (p *lived) run(wait bool, foreign func(from, to time.Duration) []device.Edge) []procedure.Dated {
	e := NewEngine(procedure.RunOpened{Run: "R", Rules: usRules, Agent: "sweet", Supervised: true}, 0)
	e.Edge(device.Edge{Line: device.TasteNC, Closed: true})
	type step struct {
		at time.Duration
		do func()
	}
	var steps []step
	for _, m := range p.moves {
		steps = append(steps, step{m.at, func() {
			if m.in.Do != "" {
				m.in.At = m.at
				e.Input(m.in)
				return
			}
			e.Edge(m.e)
		}})
	}
	if wait {
		for _, w := range p.away {
			steps = append(steps, step{w[0], func() { e.Input(procedure.Input{At: w[0], Do: procedure.DoPark}) }})
			for _, f := range foreign(w[0], w[1]) {
				steps = append(steps, step{f.At, func() { e.Edge(f) }})
			}
			steps = append(steps, step{w[1], func() { e.Input(procedure.Input{At: w[1], Do: procedure.DoTakeUp}) }})
		}
	}
	slices.SortStableFunc(steps, func(a, b step) int { return cmp.Compare(a.at, b.at) })
	for _, s := range steps {
		s.do()
	}
	e.Advance(e.Now() + time.Minute)
	facts, _ := e.Take()
	return slices.DeleteFunc(facts, func(d procedure.Dated) bool {
		switch d.Fact.(type) {
		case procedure.RunParked, procedure.RunTakenUp:
			return true
		}
		return false
	})
}

// A run that waits while another is worked off says the same as the run alone:
// neither a squeeze nor a report of the other one's reaches it.
func TestBesideEachOtherAsAlone(t *testing.T) {
	waits, ends := 0, map[procedure.Outcome]int{}
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 5))
		p := newLife(r, time.Second)
		waits += len(p.away)
		alone := p.run(false, nil)
		beside := p.run(true, func(from, to time.Duration) []device.Edge {
			var out []device.Edge
			for _, m := range newLife(r, from+time.Second).moves {
				if m.in.Do == "" && m.at < to-time.Second {
					out = append(out, m.e)
				}
			}
			// The other run is over: everything is let go.
			for _, l := range []device.Line{device.Squeeze, device.Step, device.TasteNO} {
				out = append(out, device.Edge{At: to - 500*ms, Line: l})
			}
			return append(out, device.Edge{At: to - 500*ms, Line: device.TasteNC, Closed: true})
		})
		for i := range max(len(alone), len(beside)) {
			if i >= len(alone) || i >= len(beside) || !reflect.DeepEqual(alone[i], beside[i]) {
				t.Fatalf("seed %d, fact %d of %d and %d: alone %+v, beside another %+v", seed, i, len(alone), len(beside), at(alone, i), at(beside, i))
			}
		}
		for _, f := range alone {
			if v, ok := f.Fact.(procedure.Ended); ok {
				ends[v.Outcome]++
			}
		}
	}
	if waits < 300 || ends[procedure.Pass] < 50 || ends[procedure.Fail] < 50 || ends[procedure.NotValid] < 10 {
		t.Errorf("too tame: %d waits, ends %v", waits, ends)
	}
}

func at(all []procedure.Dated, i int) any {
	if i < len(all) {
		return all[i]
	}
	return "nothing"
}

// Whatever the box says of itself while a run waits makes its button unproven,
// and whatever a contact does while it waits does nothing.
func TestWhatReachesARunThatWaits(t *testing.T) {
	for _, c := range []struct {
		what   string
		do     func(*bench)
		proven bool
	}{
		{"nothing", func(*bench) {}, true},
		{"squeezes, a step and a report", func(b *bench) {
			b.press(b.Now(), device.Squeeze)
			b.press(b.Now(), device.Step)
			b.report(b.Now())
		}, true},
		{"the cable, as the contacts tell", func(b *bench) {
			b.set(b.Now(), device.TasteNC, false)
			b.set(b.Now()+time.Second, device.TasteNC, true)
		}, true},
		{"the cable, as the box tells", func(b *bench) { b.Input(procedure.Input{Do: procedure.DoCableOpen}) }, false},
		{"a short", func(b *bench) { b.Input(procedure.Input{Do: procedure.DoCableShort}) }, false},
		{"a gap", func(b *bench) { b.Input(procedure.Input{Do: procedure.DoGap}) }, false},
		{"a stall", func(b *bench) { b.Input(procedure.Input{Do: procedure.DoStalled}) }, false},
	} {
		for _, st := range []procedure.Stage{procedure.Clearing, procedure.Donning} {
			b := newBench(t)
			b.to(st)
			b.Input(procedure.Input{At: b.Now(), Do: procedure.DoPark})
			b.Advance(b.Now() + time.Second)
			before := b.State()
			if !before.Parked {
				t.Fatalf("%s: not parked", st)
			}
			c.do(b)
			b.Advance(b.Now() + 10*time.Second)
			s := b.State()
			if s.Proven != c.proven || s.Stage != st || s.Verdict != nil || len(s.Screening) != len(before.Screening) || s.Since != before.Since {
				t.Errorf("%s, %s: proven %t, %s since %v, verdict %+v", c.what, st, s.Proven, s.Stage, s.Since, s.Verdict)
			}
			b.Input(procedure.Input{At: b.Now(), Do: procedure.DoTakeUp})
			b.Advance(b.Now() + time.Second)
			if s := b.State(); s.Parked || s.Verdict != nil {
				t.Fatalf("%s, %s: after it was taken up %+v", c.what, st, s.Verdict)
			}
			// The cable is watched again from here on.
			b.set(b.Now(), device.TasteNC, false)
			b.Advance(b.Now() + 200*ms)
			if o, r := b.verdict(); o != procedure.NotValid || r != procedure.CableOpen {
				t.Errorf("%s, %s: a cable out after it was taken up: %s %s", c.what, st, o, r)
			}
		}
	}
}

// A pair that is not legal when a run is taken up is found as a fault at once.
func TestTakenUpWithoutTheCable(t *testing.T) {
	b := newBench(t)
	b.to(procedure.Donning)
	b.Input(procedure.Input{At: b.Now(), Do: procedure.DoPark})
	b.Advance(b.Now() + time.Second)
	b.set(b.Now(), device.TasteNC, false)
	b.Input(procedure.Input{At: b.Now() + time.Second, Do: procedure.DoTakeUp})
	b.Advance(b.Now() + 2*time.Second)
	if o, r := b.verdict(); o != procedure.NotValid || r != procedure.CableOpen {
		t.Errorf("%s %s, want not valid, cable_open", o, r)
	}
}
