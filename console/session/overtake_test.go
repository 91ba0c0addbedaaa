// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/sim"
	"tallyhood/store/memory"
)

// A kernelBoard hands out its edges on Flush alone, as a kernel does, and holds
// the process up once, after the reading and before whatever follows it.
type kernelBoard struct {
	*sim.Board
	clock *stillClock
	out   chan device.Edge

	mu   sync.Mutex
	held []device.Edge
	end  time.Duration // of the run under way, on the board's clock
	// hold says at each reading how long the process is held up after it, and
	// what the contacts do meanwhile. It is asked until it says something.
	hold func(now, end time.Duration) (time.Duration, []device.Edge)
}

func (k *kernelBoard) Edges() <-chan device.Edge { return k.out }

func (k *kernelBoard) Flush() {
	k.mu.Lock()
	defer k.mu.Unlock()
	now := k.clock.Now()
	var keep []device.Edge
	for _, e := range k.held {
		if e.At <= now {
			k.out <- e
		} else {
			keep = append(keep, e)
		}
	}
	k.held = keep
	for more := true; more; {
		select {
		case e := <-k.Board.Edges():
			e.Seq = 0
			k.out <- e
		default:
			more = false
		}
	}
	if k.hold == nil {
		return
	}
	if d, edges := k.hold(now, k.end); d > 0 {
		k.hold = nil
		k.held = append(k.held, edges...)
		k.clock.leap(d)
	}
}

func (k *kernelBoard) holdUp(f func(now, end time.Duration) (time.Duration, []device.Edge)) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.hold = f
}

// newKernelDesk has a run on a kernelBoard with every top-up given and the last
// exercise under way.
func newKernelDesk(t *testing.T, m *memory.Store) (*desk, *kernelBoard) {
	t.Helper()
	c := newStillClock()
	k := &kernelBoard{clock: c, out: make(chan device.Edge, 1<<16)}
	d := newDeskOn(t, c, m, func(cfg *session.Config) {
		cfg.Rules["us-osha"] = quickRules(t, 15)
		cfg.Grace = 5 * time.Millisecond // a wired board's
		k.Board = cfg.Board.(*sim.Board)
		cfg.Board = k
		publish := cfg.Publish
		cfg.Publish = func(s wire.Snapshot) {
			if s.Run != nil && s.Run.RunMS != nil {
				k.mu.Lock()
				k.end = c.Now() - cfg.Grace + time.Duration(s.Run.LengthMS-*s.Run.RunMS)*time.Millisecond
				k.mu.Unlock()
			}
			publish(s)
		}
	})
	toRunning(d)
	d.topUps(0)
	if s := d.until("any", func(wire.Snapshot) bool { return true }); verdict(s) {
		t.Fatalf("a verdict before the end: %+v", s.Run.Verdict)
	}
	return d, k
}

// A press in the last moments of a run is not overtaken by the pass when the
// process is held up between its reading of the edges and its going on.
func TestHeldUpAfterTheReading(t *testing.T) {
	t.Parallel()
	for _, beyond := range []time.Duration{60 * time.Millisecond, 5 * time.Second} {
		t.Run(beyond.String(), func(t *testing.T) {
			t.Parallel()
			d, k := newKernelDesk(t, memory.New())
			pressed := make(chan struct{})
			k.holdUp(func(now, end time.Duration) (time.Duration, []device.Edge) {
				if left := end - now; left > 400*time.Millisecond || left < 110*time.Millisecond {
					return 0, nil
				}
				close(pressed)
				at := end - 100*time.Millisecond
				return end - now + beyond, []device.Edge{
					{At: at, Line: device.TasteNC}, {At: at + 2*time.Millisecond, Line: device.TasteNO, Closed: true},
					{At: at + 300*time.Millisecond, Line: device.TasteNO}, {At: at + 302*time.Millisecond, Line: device.TasteNC, Closed: true},
				}
			})
			v := d.until("a verdict", verdict).Run.Verdict
			select {
			case <-pressed:
			default:
				t.Fatal("the verdict came before the press")
			}
			if v.Outcome == procedure.Pass {
				t.Errorf("pressed 100 ms before the end: %s %s", v.Outcome, v.Reason)
			}
		})
	}
}

// An edge of after a stall does not carry a run over its end before the stall is
// known: nobody has heard a cue meanwhile, and no page has moved.
func TestHeldUpBeforeTheReading(t *testing.T) {
	t.Parallel()
	c := newStillClock()
	w := &freezer{}
	var d *desk
	w.leap = func() {
		c.leap(5 * time.Second)
		after := c.Now() - time.Second // the end was over three seconds ago
		if err := d.board.Play(context.Background(), after, []sim.Move{{Line: device.Step, Closed: true}}); err != nil {
			t.Error(err)
		}
	}
	d = newDeskOn(t, c, nil, func(cfg *session.Config) {
		w.Wall, cfg.Wall = cfg.Wall, w
		cfg.Rules["us-osha"] = quickRules(t, 15)
	})
	toRunning(d)
	d.topUps(0)
	d.until("the last second", func(s wire.Snapshot) bool { return s.Run.RunMS != nil && *s.Run.RunMS > s.Run.LengthMS-1000 })
	w.now.Store(true)
	d.ends(procedure.Stalled)
}

// A daemon that is told to stop just as the last exercise ends, and is held up
// after its last reading, says nothing of what it has not read.
func TestHeldUpAtTheStop(t *testing.T) {
	t.Parallel()
	m := memory.New()
	d, k := newKernelDesk(t, m)
	d.until("the last half second", func(s wire.Snapshot) bool { return s.Run.RunMS != nil && *s.Run.RunMS > s.Run.LengthMS-500 })
	pressed := false // from here on the clock stands still, and the loop waits
	k.holdUp(func(now, end time.Duration) (time.Duration, []device.Edge) {
		pressed = true
		at := end - 4*time.Millisecond
		return end - now + 10*time.Millisecond, []device.Edge{
			{At: at, Line: device.TasteNC}, {At: at + time.Millisecond, Line: device.TasteNO, Closed: true},
		}
	})
	d.stop()
	if !pressed {
		t.Fatal("the session ended without a last reading")
	}
	st, err := archive.State(t.Context(), m, d.run)
	if err != nil {
		t.Fatal(err)
	}
	if st.Verdict == nil || st.Verdict.Outcome != procedure.NotValid {
		t.Errorf("pressed 4 ms before the end and stopped: %+v", st.Verdict)
	}
}
