// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"math/rand/v2"
	"testing"
	"time"

	"tallyhood/device/contact"
)

// tally feeds a contact's own filter and counts what it says.
type tally struct {
	c *contact.Single
	n map[contact.Kind]int
}

func newTally() *tally {
	return &tally{contact.NewSingle(contact.SqueezeGrade, true), map[contact.Kind]int{}}
}

func (y *tally) to(now time.Duration) {
	y.c.Advance(now)
	for _, e := range y.c.Take() {
		y.n[e.Kind]++
	}
}

// TestTrain: 20,000 verdicts, up to 7 a second in bursts, come out of the
// contact's filter as they went in.
func TestTrain(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var tr train
	y := newTally()
	presses, doubts := 0, 0
	var now, next, release, last time.Duration
	closed := false
	pace := 200 * ms
	for presses+doubts < 20_000 || now < next+2*time.Second {
		now += ms
		if release > 0 && now >= release {
			tr.release(now)
			release = 0
		}
		if now >= next && presses+doubts < 20_000 {
			if r.IntN(4) == 0 {
				tr.doubt(now)
				doubts++
				release = 0
			} else {
				tr.press(now)
				presses++
				release = now + time.Duration(r.IntN(250))*ms + ms
			}
			if r.IntN(30) == 0 {
				pace = time.Duration(190+r.IntN(600)) * ms
			}
			// Hands are uneven: single distances are shorter than the pace.
			next = now + pace*time.Duration(60+r.IntN(80))/100
			if r.IntN(50) == 0 {
				next += 3 * time.Second
			}
		}
		for _, e := range tr.take(now) {
			if e.at > now || e.at < last || e.closed == closed {
				t.Fatalf("edge %+v at %v after one at %v", e, now, last)
			}
			last, closed = e.at, e.closed
			y.c.Edge(e.at, e.closed)
		}
		y.to(now)
	}
	if tr.forgotten {
		t.Error("a verdict had to wait too long")
	}
	if y.n[contact.Pressed] != presses || y.n[contact.Doubtful] != doubts || y.n[contact.Chatters] != 0 || y.c.Noise() != 0 {
		t.Errorf("%d sure and %d doubtful went in; out came %v, %d noise", presses, doubts, y.n, y.c.Noise())
	}
	if y.n[contact.Released] != presses {
		t.Errorf("%d releases of %d", y.n[contact.Released], presses)
	}
}

// TestTrainFlood: faster than any hand is said, not queued for ever.
func TestTrainFlood(t *testing.T) {
	var tr train
	for i := range 100 {
		tr.doubt(time.Duration(i) * 10 * ms)
	}
	if !tr.forgotten || len(tr.due) > 30 {
		t.Errorf("forgotten %v, %d edges wait", tr.forgotten, len(tr.due))
	}
}
