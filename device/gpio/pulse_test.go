// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"tallyhood/device"
)

// A press that lies within a time in which the machine stood still comes as one
// event at the old level. Whether it was a spike nobody can tell: edges may be
// missing.
func TestMovedWhileTheMachineStoodStill(t *testing.T) {
	for _, c := range []struct {
		line  device.Line
		stood time.Duration
		ago   time.Duration // how long the machine goes again
		lost  bool
	}{
		{device.TasteNO, 60 * ms, 2 * ms, true},
		{device.TasteNC, 12 * ms, 2 * ms, true},
		{device.TasteNO, 60 * ms, 300 * ms, false}, // long over: a spike
		{device.TasteNO, 0, 0, false},
		{device.Squeeze, 20 * ms, 2 * ms, false}, // shorter than any sure squeeze
		{device.Squeeze, 60 * ms, 2 * ms, true},
	} {
		synctest.Test(t, func(t *testing.T) {
			b := newBed(t, Kernel)
			src, to := begin(t, b)
			pass(200 * ms)
			for i := range src.contacts {
				if w := src.contacts[i].watch; w != nil && c.stood > 0 {
					w.still.Store(int64(c.stood))
					w.until.Store(int64(b.clock.Now()))
				}
			}
			pass(c.ago)
			b.do(func() { b.frozen = true })
			was := len(to.edges[c.line])
			closed := to.edges[c.line][was-1].closed
			b.Set(c.line, !closed)
			b.Set(c.line, closed)
			b.thaw() // one event, at the old level
			pass(5 * ms)
			if n := len(to.edges[c.line]); n != was || src.Counts(c.line).Merged != 1 {
				t.Errorf("%+v: %d edges and %+v, want one merged event", c, n-was, src.Counts(c.line))
			}
			if got := len(to.lost) > 0 && strings.Contains(to.lost[0], "stood still"); got != c.lost {
				t.Errorf("%+v: lost %q", c, to.lost)
			}
		})
	}
}

// A lateClock wakes late once.
type lateClock struct {
	testClock
	late chan time.Duration
}

func (c lateClock) Wake(at time.Duration) (<-chan struct{}, func()) {
	select {
	case d := <-c.late:
		at += d
	default:
	}
	return c.testClock.Wake(at)
}

func TestTheMachinesPulse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := lateClock{newTestClock(), make(chan time.Duration, 1)}
		w := &watch{clock: clock}
		ctx, cancel := context.WithCancel(t.Context())
		go w.beats(ctx)
		pass(time.Second + ms)
		if d := w.stood(clock.Now()); d >= 2*pulse {
			t.Errorf("stood still for %v on a machine that never did", d)
		}
		clock.late <- 80 * ms
		pass(40 * ms)
		if d := w.stood(clock.Now()); d < 30*ms {
			t.Errorf("%v in the middle of standing still", d)
		}
		pass(60 * ms)
		if d := w.stood(clock.Now() - 15*ms); d != 80*ms+pulse {
			t.Errorf("stood still for %v, want %v", d, 80*ms+pulse)
		}
		pass(time.Second)
		if d := w.stood(clock.Now()); d >= 2*pulse {
			t.Errorf("%v long after", d)
		}
		cancel()
		synctest.Wait()
	})
}
