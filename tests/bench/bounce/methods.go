// SPDX-License-Identifier: Apache-2.0

package bounce

import (
	"math"
	"time"

	"tallyhood/device/contact"
)

// A Finding is a press that a method found.
type Finding struct {
	At    time.Duration // its date: of the first edge, or when it was found by a method without dates
	Known time.Duration // when it was found
	Doubt bool          // the method says that it is not sure
}

// A Method counts the presses of a trace.
type Method struct {
	Name  string
	Dated bool // findings bear the date of the first edge
	Find  func(*Trace) []Finding
}

// Methods are the remedies compared; the last is tallyhood's.
var Methods = []Method{
	{"lock-out 50 ms", false, lockOut(50 * ms)},
	{"lock-out 200 ms", false, lockOut(200 * ms)},
	{"kernel debounce 20 ms", false, stable(20*ms, 4*ms)},
	{"stable for 20 ms, exact", false, stable(20*ms, 1)},
	{"adaptive reference", false, adaptive},
	Ours,
}

// Ours is tallyhood's filter, with the grades of a squeeze.
var Ours = Method{"tallyhood", true, func(tr *Trace) []Finding {
	var out []Finding
	c := contact.NewSingle(contact.SqueezeGrade, true)
	take := func() {
		for _, e := range c.Take() {
			if e.Kind == contact.Pressed || e.Kind == contact.Doubtful {
				out = append(out, Finding{e.At, e.Known, e.Kind == contact.Doubtful})
			}
		}
	}
	for _, s := range tr.Seen {
		c.Edge(s.At, s.Closed)
		take()
	}
	c.Advance(tr.End)
	take()
	return out
}}

func found(out []Finding, at time.Duration) []Finding {
	return append(out, Finding{At: at, Known: at})
}

// lockOut takes a closing edge for a press and is deaf for a while after it.
func lockOut(deaf time.Duration) func(*Trace) []Finding {
	return func(tr *Trace) (out []Finding) {
		last := -time.Hour
		for _, s := range tr.Seen {
			if s.Closed && s.At-last >= deaf {
				out = found(out, s.Ready)
				last = s.At
			}
		}
		return out
	}
}

// stable wants a level to hold for a period, counted in whole ticks of a
// timer that every edge starts again. A tick of 1 makes the timer exact.
func stable(period, tick time.Duration) func(*Trace) []Finding {
	return func(tr *Trace) (out []Finding) {
		closed := false
		ticks := (period + tick - 1) / tick
		for i, e := range tr.Raw {
			fire := (e.At/tick + ticks) * tick
			if i+1 < len(tr.Raw) && tr.Raw[i+1].At <= fire || e.Closed == closed {
				continue
			}
			closed = e.Closed
			if closed {
				out = found(out, fire+50*us)
			}
		}
		return out
	}
}

// adaptive trusts a contact that was quiet: after 60 ms open it takes 250 us
// of closure within 2 ms for a press; sooner it wants 20 ms in one piece. It
// is ready again after 20 ms open, 150 ms after the press at the soonest.
func adaptive(tr *Trace) (out []Finding) {
	const (
		enough = 250 * us
		window = 2 * ms
		quiet  = 60 * ms
		slow   = 20 * ms
		open   = 20 * ms
		apart  = 150 * ms
		none   = -1
	)
	var (
		pressed, closed bool
		first           time.Duration
		since           time.Duration = -time.Hour // of the present level
		begin           time.Duration = none       // of the window
		sum             time.Duration              // closed in it
	)
	for i, s := range tr.Seen {
		if s.Closed != closed {
			switch {
			case !s.Closed && begin != none:
				sum += s.At - since
			case s.Closed && !pressed && begin == none && s.At-since >= quiet:
				begin, sum = s.At, 0
			}
			closed, since = s.Closed, s.At
		}
		next := time.Duration(math.MaxInt64)
		if i+1 < len(tr.Seen) {
			next = tr.Seen[i+1].At
		}
		switch {
		case pressed:
			if !closed && max(since+open, first+apart) < next {
				pressed, begin = false, none
			}
		case closed:
			if at := max(s.At, since+enough-sum); begin != none && at < next && at <= begin+window {
				pressed, first, begin = true, begin, none
				out = found(out, max(at, s.Ready)+50*us)
			} else if since+slow < next {
				pressed, first, begin = true, since, none
				out = found(out, since+slow+50*us)
			}
		case begin != none && next > begin+window:
			begin = none // a spike
		}
	}
	return out
}
