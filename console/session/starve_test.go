// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/sim"
)

// A stillClock goes on only as far as the test lets it, and only while the
// loop waits: the loop is never late by chance. A leap is what a process sees
// that was frozen.
type stillClock struct {
	stride     time.Duration // how far it goes on while a test waits for something
	mu         sync.Mutex
	moved      *sync.Cond
	now, limit time.Duration
	wakes      map[chan struct{}]time.Duration
}

func newStillClock() *stillClock {
	c := &stillClock{stride: 50 * time.Millisecond, wakes: map[chan struct{}]time.Duration{}}
	c.moved = sync.NewCond(&c.mu)
	return c
}

// newLongClock is one for whole runs.
func newLongClock() *stillClock {
	c := newStillClock()
	c.stride = 250 * time.Millisecond
	return c
}

func (c *stillClock) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}
func (c *stillClock) Speed() float64                     { return 1 }
func (c *stillClock) Real(d time.Duration) time.Duration { return d }

func (c *stillClock) Wake(at time.Duration) (<-chan struct{}, func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	ch := make(chan struct{}, 1)
	c.wakes[ch] = at
	c.settle()
	return ch, func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.wakes, ch)
	}
}

// settle moves the clock to the next wake, or to the limit when that is before.
func (c *stillClock) settle() {
	for ch, at := range c.wakes {
		if at > c.limit {
			c.now = c.limit
			continue
		}
		c.now = max(c.now, at)
		delete(c.wakes, ch)
		ch <- struct{}{}
	}
	c.moved.Broadcast()
}

func (c *stillClock) Sleep(_ context.Context, at time.Duration) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.limit = max(c.limit, at)
	c.settle()
	for c.now < at {
		c.moved.Wait()
	}
	return nil
}

func (c *stillClock) allow(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.limit = max(c.limit, c.now+d)
	c.settle()
}

// leap moves the clock and wakes nobody.
func (c *stillClock) leap(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now += d
	c.limit = max(c.limit, c.now)
}

func toRunning(d *desk) {
	d.t.Helper()
	d.open()
	d.toDosing()
	d.dose(10)
}

// ends waits for a verdict and checks it, and that no pass was ever shown or heard.
func (d *desk) ends(reason procedure.Reason) {
	d.t.Helper()
	s := d.until("a verdict", verdict)
	if v := s.Run.Verdict; v.Outcome != procedure.NotValid || v.Reason != reason {
		d.t.Errorf("the run ended as %s %s, want not valid %s", v.Outcome, v.Reason, reason)
	}
	d.noPass()
}

func (d *desk) noPass() {
	d.t.Helper()
	for _, s := range d.snapshots() {
		if verdict(s) && s.Run.Verdict.Outcome == procedure.Pass {
			d.t.Fatalf("snapshot %d shows a pass", s.Number)
		}
	}
	if d.heard.has(procedure.CuePass) {
		d.t.Error("the cue for a pass was played")
	}
}

// A freezer is wall time; who asks it for a jump is held up once.
type freezer struct {
	session.Wall
	now  atomic.Bool
	leap func()
}

func (f *freezer) Look() time.Duration {
	if f.now.CompareAndSwap(true, false) {
		f.leap()
	}
	return f.Wall.Look()
}

// A loop that loses more than a second in a run cannot vouch for it, whatever
// wakes it up again; half of one is no matter.
func TestStarvedLoopEndsTheRun(t *testing.T) {
	t.Parallel()
	t.Run("woken by its timer", func(t *testing.T) {
		c := newStillClock()
		d := newDeskOn(t, c, nil)
		toRunning(d)
		c.leap(1500 * time.Millisecond)
		d.ends(procedure.Stalled)
	})
	t.Run("woken by an edge", func(t *testing.T) {
		for range 8 { // a select among several that are ready takes any
			c := newStillClock()
			d := newDeskOn(t, c, nil)
			toRunning(d)
			c.leap(1500 * time.Millisecond)
			if err := d.board.Set(device.Squeeze, true); err != nil {
				t.Fatal(err)
			}
			d.ends(procedure.Stalled)
		}
	})
	t.Run("held up by what it calls", func(t *testing.T) {
		c := newStillClock()
		var once sync.Once
		d := newDeskOn(t, c, nil, func(cfg *session.Config) {
			publish := cfg.Publish
			cfg.Publish = func(s wire.Snapshot) {
				if s.Run != nil && s.Run.Stage == procedure.Running {
					once.Do(func() { c.leap(3 * time.Second) })
				}
				publish(s)
			}
		})
		d.open()
		d.toDosing()
		d.press(device.Squeeze, 10)
		d.ends(procedure.Stalled)
	})
	t.Run("over the end of the run", func(t *testing.T) {
		c := newStillClock()
		d := newDeskOn(t, c, nil, func(cfg *session.Config) { cfg.Rules["us-osha"] = quickRules(t, 15) })
		toRunning(d)
		d.topUps(0)
		s := d.until("the last second", func(s wire.Snapshot) bool { return s.Run.RunMS != nil && *s.Run.RunMS > s.Run.LengthMS-1000 })
		if verdict(s) {
			t.Fatalf("there is a verdict already: %+v", s.Run.Verdict)
		}
		c.leap(5 * time.Second)
		d.ends(procedure.Stalled)
	})
	t.Run("over the end of the run, once it has looked", func(t *testing.T) {
		c := newStillClock()
		w := &freezer{leap: func() { c.leap(5 * time.Second) }}
		d := newDeskOn(t, c, nil, func(cfg *session.Config) {
			w.Wall, cfg.Wall = cfg.Wall, w
			cfg.Rules["us-osha"] = quickRules(t, 15)
		})
		toRunning(d)
		d.topUps(0)
		s := d.until("the last second", func(s wire.Snapshot) bool { return s.Run.RunMS != nil && *s.Run.RunMS > s.Run.LengthMS-1000 })
		if verdict(s) {
			t.Fatalf("there is a verdict already: %+v", s.Run.Verdict)
		}
		w.now.Store(true)
		d.ends(procedure.Stalled)
	})
	t.Run("half a second", func(t *testing.T) {
		c := newStillClock()
		d := newDeskOn(t, c, nil)
		toRunning(d)
		for range 4 {
			c.leap(500 * time.Millisecond)
			d.wait(time.Second)
		}
		if s := d.stage(procedure.Running); verdict(s) {
			t.Errorf("the run ended: %+v", s.Run.Verdict)
		}
	})
}

// A holed board loses edges on their way to the loop, which has to ask for them.
type holed struct {
	*sim.Board
	out  chan device.Edge
	lose atomic.Int64 // how many edges to lose from now on
}

func (h *holed) Edges() <-chan device.Edge { return h.out }

// Flush implements device.Flusher.
func (h *holed) Flush() {
	for len(h.Board.Edges()) > 0 {
		e := <-h.Board.Edges()
		if h.lose.Load() > 0 {
			h.lose.Add(-1)
			continue
		}
		h.out <- e
	}
}

func TestLostEdgesEndTheRun(t *testing.T) {
	t.Parallel()
	t.Run("a number is missing", func(t *testing.T) {
		h := &holed{out: make(chan device.Edge, 100)}
		d := newDeskOn(t, newStillClock(), nil, func(cfg *session.Config) {
			h.Board = cfg.Board.(*sim.Board)
			cfg.Board = h
		})
		toRunning(d)
		h.lose.Store(2)
		d.press(device.Squeeze, 2)
		d.ends(procedure.InputGap)
	})
	t.Run("the queue runs over", func(t *testing.T) {
		hold, held, release := make(chan struct{}, 1), make(chan struct{}), make(chan struct{})
		d := newDeskOn(t, newStillClock(), nil, func(cfg *session.Config) {
			publish := cfg.Publish
			cfg.Publish = func(s wire.Snapshot) {
				select {
				case <-hold:
					held <- struct{}{}
					<-release
				default:
				}
				publish(s)
			}
		})
		toRunning(d)
		hold <- struct{}{}
		for i := range 6001 {
			if i == 1 {
				<-held // the first edge made the loop look
			}
			if err := d.board.Set(device.Squeeze, i%2 == 0); err != nil {
				t.Fatal(err)
			}
		}
		close(release)
		d.ends(procedure.InputGap)
		if s := d.until("any", func(wire.Snapshot) bool { return true }); s.Inputs.Lost == "" {
			t.Error("the page is not told that edges were lost")
		}
	})
}
