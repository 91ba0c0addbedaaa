// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"slices"
	"time"

	"tallyhood/device"
)

const ms = time.Millisecond

// The shape of the closures, after the contract of a contact (package
// device/contact): sure from 40 ms on, in doubt from 20 to 40 ms, two that begin
// within 165 ms or follow a release within 45 ms taken for one that bounces.
const (
	sureLeast = 60 * ms
	doubtful  = 30 * ms
	beginGap  = 175 * ms
	openGap   = 50 * ms
	// patience: what has to wait longer for its turn is lost. A bulb cannot be
	// squeezed that fast for that long.
	patience = time.Second
	// unsettled: a push of which nothing is known for longer is told as a doubtful
	// squeeze. A hand that stops half-way is judged after a second or so.
	unsettled = 3 * time.Second
)

type edge struct {
	at     time.Duration
	line   device.Line
	closed bool
}

// A train turns verdicts into edges, in the order of their instants. An edge is
// dated when it is made known or later, never before. The line Push is closed
// from the begin of a push until the closure that tells what it was has begun;
// where another push has begun by then it stays closed.
type train struct {
	due       []edge
	closed    bool // the level of the last edge taken
	began     bool // there was a closure, from closedAt to openAt
	held      bool // its end is not known
	closedAt  time.Duration
	openAt    time.Duration
	forgotten bool // something had to wait too long

	pushing  bool          // a push has begun and is not judged
	pushedAt time.Duration // since when pushing is as it is
	pushed   bool          // the level of Push as last taken
	tired    bool          // this push took too long, and was told
}

// begin is where a closure that is known now may begin.
func (t *train) begin(now time.Duration) (at time.Duration, ok bool) {
	t.release(now)
	at = now
	if t.began {
		at = max(at, t.closedAt+beginGap, t.openAt+openGap)
	}
	if at-now > patience {
		t.forgotten = true
		return 0, false
	}
	return at, true
}

// press begins a sure closure; release ends it.
func (t *train) press(now time.Duration) {
	if at, ok := t.begin(now); ok {
		t.due = append(t.due, edge{at, device.Squeeze, true})
		t.began, t.held, t.closedAt = true, true, at
	}
}

// release ends a sure closure; without one it does nothing.
func (t *train) release(now time.Duration) {
	if !t.held {
		return
	}
	t.held = false
	t.openAt = max(now, t.closedAt+sureLeast)
	t.due = append(t.due, edge{t.openAt, device.Squeeze, false})
}

// doubt makes a closure that counts as doubtful.
func (t *train) doubt(now time.Duration) {
	if at, ok := t.begin(now); ok {
		t.due = append(t.due, edge{at, device.Squeeze, true}, edge{at + doubtful, device.Squeeze, false})
		t.began, t.closedAt, t.openAt = true, at, at+doubtful
	}
}

// push says whether a push has begun that is not judged yet. What was judged
// comes before it.
func (t *train) push(now time.Duration, on bool) {
	t.tired = t.tired && on
	if on && t.pushing && now-t.pushedAt > unsettled {
		t.tired = true
		t.doubt(now)
	}
	if on = on && !t.tired; on != t.pushing {
		t.pushing, t.pushedAt = on, now
	}
}

// take gives the edges whose instants have come.
func (t *train) take(now time.Duration) []edge {
	n := 0
	for n < len(t.due) && t.due[n].at <= now {
		n++
	}
	out := slices.Clone(t.due[:n])
	if n > 0 {
		t.closed = out[n-1].closed
	}
	t.due = t.due[n:]
	waits := slices.ContainsFunc(t.due, func(e edge) bool { return e.closed })
	switch {
	case t.pushing && !t.pushed:
		i := 0
		for i < len(out) && out[i].at < t.pushedAt {
			i++
		}
		out = slices.Insert(out, i, edge{t.pushedAt, device.Push, true})
		t.pushed = true
	case !t.pushing && t.pushed && !waits:
		at := t.pushedAt
		if n > 0 {
			at = max(at, out[n-1].at)
		}
		out = append(out, edge{at, device.Push, false})
		t.pushed = false
	}
	return out
}

// next is the instant of the next edge.
func (t *train) next() (at time.Duration, ok bool) {
	if len(t.due) == 0 {
		return 0, false
	}
	return t.due[0].at, true
}
