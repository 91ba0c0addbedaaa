// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"testing"
	"time"

	"tallyhood/console/drill"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
	"tallyhood/store/memory"
)

// An asking is the context of a command that tells when the loop has been given
// it: Command asks for the end a second time when it waits for the answer.
type asking struct {
	context.Context
	asked int
	given chan struct{}
}

func (a *asking) Done() <-chan struct{} {
	if a.asked++; a.asked == 2 {
		close(a.given)
	}
	return a.Context.Done()
}

// breath sends commands one behind the other while the clock stands still, and
// gives their refusals.
func (d *desk) breath(all ...wire.Command) []string {
	d.t.Helper()
	var answers []chan wire.Reply
	for _, c := range all {
		c.Type, c.ID, c.Fence = "command", "c", d.fence
		ch := make(chan wire.Reply, 1)
		answers = append(answers, ch)
		with := make(chan struct{})
		go func() {
			ch <- d.ses.Command(&asking{Context: context.Background(), given: with}, "page 1", wire.Tester, c)
		}()
		<-with
	}
	var out []string
	late, give := clock.New(1).Wake(time.Minute)
	defer give()
	for _, ch := range answers {
		for answered := false; !answered; {
			soon, stop := clock.New(1).Wake(time.Millisecond)
			select {
			case r := <-ch:
				out, answered = append(out, r.Why), true
			case <-soon:
				d.nudge()
			case <-late:
				d.t.Fatalf("%d commands, answers %q: the next does not come", len(all), out)
			}
			stop()
		}
	}
	return out
}

// A run that is taken up and parked before either is worked off waits, and can
// be taken up again.
func TestTakenUpAndParkedInOneBreath(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	a := d.openFor("hs-014")
	d.park()
	d.breath(wire.Command{Do: string(procedure.DoTakeUp), Run: a}, wire.Command{Do: string(procedure.DoPark), Run: a})
	d.wait(time.Second)
	s := d.until("the run, parked or not", func(s wire.Snapshot) bool { return s.Run != nil || parkedOf(s, a) != nil })
	if s.Run != nil && s.Run.Blocked == procedure.WhyParked {
		t.Fatal("the run is active and waits at once: nothing can be done with it")
	}
	if s.Run == nil {
		d.takeUp(a)
	}
}

// One tap on park and one on take up, in the instant in which another run ends:
// what is asked of one run never happens to another.
func TestCommandsOfOneBreathKeepToTheirRun(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	a := d.openFor("hs-014")
	d.toDonning(3)
	d.park()
	b := d.openFor("hs-021")
	d.toDonning(3)
	whys := d.breath(
		wire.Command{Do: string(procedure.DoPark), Run: b},
		wire.Command{Do: string(procedure.DoTakeUp), Run: a},
		wire.Command{Do: string(procedure.DoGoOn), Run: a},
		wire.Command{Do: string(procedure.DoGoOn), Run: b},
		wire.Command{Do: string(procedure.DoCorrect), Run: a, Input: procedure.Input{Delta: 1, Reason: "x"}},
	)
	if whys[1] != "run_open" || whys[2] != "parked" || whys[3] != string(procedure.WhyParked) || whys[4] != "parked" {
		t.Errorf("refusals %q", whys)
	}
	s := d.until("both wait", func(s wire.Snapshot) bool { return len(s.Parked) == 2 && s.Run == nil })
	for _, r := range s.Parked {
		if r.Stage != procedure.Donning {
			t.Errorf("run %s stands at %s", r.Run, r.Stage)
		}
	}
}

// A cable that was out while a run waited is not forgotten because the foot
// trembled on the pedal meanwhile, so that the word of it came late.
func TestCableOutBehindATremblingPedal(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	a := d.openFor("hs-014")
	d.toDonning(3)
	d.park()
	d.wait(6 * time.Second)
	const ms = time.Millisecond
	moves := []sim.Move{{At: 25 * ms, Line: device.TasteNC}, {At: 95 * ms, Line: device.TasteNC, Closed: true}}
	for at := time.Duration(0); at < 200*ms; at += 20 * ms {
		moves = append(moves, sim.Move{At: at, Line: device.Squeeze, Closed: true}, sim.Move{At: at + 10*ms, Line: device.Squeeze})
	}
	if err := d.board.Play(t.Context(), d.clk.Now(), moves); err != nil {
		t.Fatal(err)
	}
	for range 20 {
		if d.breath(wire.Command{Do: string(procedure.DoTakeUp), Run: a})[0] == "" {
			break
		}
		d.wait(50 * ms)
	}
	d.wait(time.Second)
	s := d.until("the run taken up", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Blocked != procedure.WhyParked })
	if s.Run.Blocked != procedure.WhyButtonUnproven {
		t.Errorf("taken up after a cable that was out: blocked %q, faults %v", s.Run.Blocked, s.Run.Faults)
	}
}

// Only a wearer's own page speaks as the wearer.
func TestNobodySpeaksAsTheWearer(t *testing.T) {
	t.Parallel()
	j := memory.New()
	d := newDeskOn(t, newStillClock(), j)
	run := d.openFor("hs-014")
	d.say(procedure.DoNameSaid, procedure.Input{Yes: true, By: "wearer"})
	d.until("all saved", func(s wire.Snapshot) bool { return s.LagMS == 0 && s.Run.NameSaid == "yes" })
	d.stop()
	for _, f := range factsOf(t, j, run) {
		if n, ok := f.Fact.(procedure.NameSaid); ok && n.By != "Agnes Thorley" {
			t.Errorf("a tester's word is put down to %q", n.By)
		}
	}
}

// A stubborn is a simulated wearer that is always late and never done.
type stubborn struct{ says bool }

func (stubborn) Next(procedure.State) (time.Duration, bool) { return 0, true }
func (a stubborn) Act(st procedure.State, now time.Duration) []session.Deed {
	if !a.says {
		return nil
	}
	return []session.Deed{{At: now, What: "sighs"}}
}

// A simulated wearer that asks for the past neither holds the loop nor makes it
// think that it stood still: a run that waits beside it keeps its button.
func TestStubbornSimulatedWearer(t *testing.T) {
	t.Parallel()
	for name, says := range map[string]bool{"silent": false, "never done": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDeskOn(t, newStillClock(), nil, func(c *session.Config) {
				c.Drill = func(wire.DrillAsk) (session.Actor, session.DrillBound, error) {
					return stubborn{says}, session.DrillBound{Wearer: procedure.Wearer{ID: "drill"}, Facepiece: demoPiece}, nil
				}
			})
			a := d.openFor("hs-014")
			d.toDonning(3)
			d.park()
			d.must(wire.Command{Do: "open", Open: &wire.Open{Facepiece: "drill", Rules: "us-osha", Agent: "bitter", Tester: "A", Drill: &wire.DrillAsk{}}})
			d.run = d.ses.OpenRun()
			d.wait(3 * time.Second)
			s := d.until("both", func(s wire.Snapshot) bool { return s.Run != nil && parkedOf(s, a) != nil })
			if r := parkedOf(s, a); len(r.Faults) > 0 || len(s.Run.Faults) > 0 {
				t.Errorf("faults of the run that waits %v, of the drill %v", r.Faults, s.Run.Faults)
			}
			if n := len(s.Run.Drill.Said); n > 20*256 {
				t.Errorf("%d deeds in 3 s", n)
			}
			d.say(procedure.DoWelfare, procedure.Input{})
			d.until("a verdict", verdict)
		})
	}
}

var demoPiece = procedure.Facepiece{ID: "drill", Make: "Fellside", Model: "Corrie", Size: "small", Type: procedure.HalfMask}

type drillActor struct{ *drill.Actor }

func (a drillActor) Act(st procedure.State, now time.Duration) (out []session.Deed) {
	for _, d := range a.Actor.Act(st, now) {
		out = append(out, session.Deed(d))
	}
	return out
}

// A drill that waited for long goes on as it was: what its wearer would have done
// meanwhile makes no stall.
func TestDrillThatWaited(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil, func(c *session.Config) {
		c.Drill = func(a wire.DrillAsk) (session.Actor, session.DrillBound, error) {
			return drillActor{drill.NewActor(drill.Ask{Seed: a.Seed, Level: a.Level})}, session.DrillBound{Wearer: procedure.Wearer{ID: "drill"}, Facepiece: demoPiece}, nil
		}
	})
	d.fence = d.lease("page 1")
	d.must(wire.Command{Do: "open", Open: &wire.Open{Facepiece: "drill", Rules: "us-osha", Agent: "bitter", Tester: "A", Drill: &wire.DrillAsk{Seed: "s1", Level: "easy"}}})
	d.run = d.ses.OpenRun()
	d.say(procedure.DoPark, procedure.Input{})
	d.until("the drill among those that wait", func(s wire.Snapshot) bool { return s.Run == nil && len(s.Parked) == 1 })
	d.wait(30 * time.Second)
	d.takeUp(d.run)
	d.wait(2 * time.Second)
	s := d.until("any", func(s wire.Snapshot) bool { return s.Run != nil })
	if len(s.Run.Faults) > 0 || s.Run.Verdict != nil {
		t.Errorf("faults %v, verdict %+v", s.Run.Faults, s.Run.Verdict)
	}
}
