// SPDX-License-Identifier: Apache-2.0

// Package bounce measures how well presses of bouncing contacts are counted:
// seeded traces drawn from published bounce figures, the usual remedies and
// tallyhood's own filter beside each other over the same traces, and a score.
// Everything runs in virtual time. It must not be used by the program.
package bounce

import (
	"math"
	"math/rand"
	"sort"
	"time"
)

const (
	us = time.Microsecond
	ms = time.Millisecond
)

// A Scenario says what contacts are like and how they are pressed. The three
// shares add up to 1; each make and each break draws its class anew.
type Scenario struct {
	Name              string
	Fast              bool // 4 presses a second, else 1 to 4
	Good, Slow, Awful float64
	Spikes            float64 // interference, a second
}

// Scenarios are what contacts are measured in: good ones alone, what is met in the
// field, that pressed fast, and worn ones.
var Scenarios = []Scenario{
	{"clean", false, 1, 0, 0, 0},
	{"field", false, .90, .09, .01, 2},
	{"fast", true, .90, .09, .01, 2},
	{"worn", false, 0, .99, .01, 2},
}

// The published bounce figures, in ms; hardware-notes/measured.md has the sources.
const (
	goodMean, goodMax  = 1.557, 6.2 // 16 assorted switches: mean and worst
	slowMin, slowMax   = 6, 40      // tactile switches 9.3 and 14, drum pedal 11 to 40.3
	awfulMin, awfulMax = 40, 160    // single push buttons: 89, 133, 157
	cleanBreaks        = 0.5        // share of good breaks that are one edge (rocker, median break < 1 us)
	medianExtraEdges   = 4 * 2      // the same rocker: 16.5 rising edges in the median press, at most 78
)

// An Edge is the level that a contact took; true is closed.
type Edge struct {
	At     time.Duration
	Closed bool
}

// A Seen is an edge as software gets it: stamped when the interrupt came, with
// the level read when its handler ran.
type Seen struct {
	At, Ready time.Duration
	Closed    bool
}

// A Press is what the person did.
type Press struct {
	First time.Duration // first contact
	Last  time.Duration // last instant at which a method without dates may still say so
}

// A Trace is one contact over a whole scenario.
type Trace struct {
	Raw     []Edge // alternating; the first closes
	Seen    []Seen
	Presses []Press
	End     time.Duration
}

func logUniform(r *rand.Rand, a, b float64) float64 { return a * math.Exp(r.Float64()*math.Log(b/a)) }

func fromMS(x float64) time.Duration { return time.Duration(x * float64(ms)) }

// bounce draws how long, in ms, one make or break bounces.
func (s Scenario) bounce(r *rand.Rand, closing bool) (length float64, awful bool) {
	switch x := r.Float64(); {
	case x < s.Good:
		const sigma = 0.9
		d := math.Exp(math.Log(goodMean) - sigma*sigma/2 + sigma*r.NormFloat64())
		if d > goodMax {
			d = goodMax * r.Float64()
		}
		if !closing && r.Float64() < cleanBreaks {
			d = 0
		}
		return d, false
	case x < s.Good+s.Slow:
		return logUniform(r, slowMin, slowMax), false
	}
	return logUniform(r, awfulMin, awfulMax), true
}

// change appends a make or a break at an instant. It bounces no longer than
// 80 % of the phase that it begins: nobody holds a contact for less time than
// it chatters. The edges of a bounce come denser early on; those of an awful
// one are few and evenly spread, with long quiet gaps in either state.
func (s Scenario) change(r *rand.Rand, raw []Edge, at time.Duration, phase float64, closed bool) []Edge {
	length, awful := s.bounce(r, closed)
	length = min(length, 0.8*phase)
	extra := 2 * (1 + int(min(40, math.Exp(math.Log(medianExtraEdges/2)+0.9*r.NormFloat64()))))
	crowding := 2.0
	if awful {
		extra, crowding = 2*(2+r.Intn(7)), 1
	}
	add := func(at time.Duration) {
		if n := len(raw); n > 0 && at <= raw[n-1].At {
			at = raw[n-1].At + 50
		}
		raw = append(raw, Edge{at, closed})
		closed = !closed
	}
	add(at)
	if length == 0 {
		return raw
	}
	parts := make([]float64, extra)
	for i := range parts {
		parts[i] = math.Pow(r.Float64(), crowding)
	}
	parts[extra-1] = 1
	sort.Float64s(parts)
	for _, p := range parts {
		add(at + fromMS(p*length))
	}
	return raw
}

// Trace makes n presses. They come 250 to 1000 ms apart (log-uniform), or
// 250 ms give or take 10 % when fast, and last 35 to 60 % of that. The same
// seed gives the same trace.
func (s Scenario) Trace(n int, seed int64) *Trace {
	r := rand.New(rand.NewSource(seed))
	tr := &Trace{}
	t := 500 * ms
	for range n {
		interval := logUniform(r, 250, 1000)
		if s.Fast {
			interval = 250 * (0.9 + 0.2*r.Float64())
		}
		hold := interval * (0.35 + 0.25*r.Float64())
		release := t + fromMS(hold)
		tr.Raw = s.change(r, tr.Raw, t, hold, true)
		tr.Raw = s.change(r, tr.Raw, release, interval-hold, false)
		tr.Presses = append(tr.Presses, Press{t, release + fromMS(0.8*(interval-hold))})
		t += fromMS(interval)
	}
	tr.End = t + 500*ms
	if s.Spikes > 0 {
		tr.Raw = interfere(r, tr.Raw, s.Spikes, tr.End)
	}
	tr.Seen = see(r, tr.Raw)
	return tr
}

// interfere adds spikes of 0.2 to 100 us (log-uniform) at random instants. One
// in twenty is a burst of 75 spikes of 0.2 to 5 us, 200 us apart, the shape of
// a fast-transient immunity test. A spike that would touch an edge is left out.
func interfere(r *rand.Rand, raw []Edge, perSecond float64, end time.Duration) []Edge {
	type spike struct{ at, length time.Duration }
	var spikes []spike
	length := func(longest float64) time.Duration {
		return time.Duration(logUniform(r, 0.2, longest) * float64(us))
	}
	for t := time.Duration(0); ; {
		t += time.Duration(r.ExpFloat64() / perSecond * 1e9)
		if t > end {
			break
		}
		if r.Float64() >= 0.05 {
			spikes = append(spikes, spike{t, length(100)})
			continue
		}
		for k := range 75 {
			spikes = append(spikes, spike{t + time.Duration(k)*200*us, length(5)})
		}
		t += 20 * ms
	}
	out := make([]Edge, 0, len(raw)+2*len(spikes))
	i, closed := 0, false
	for _, s := range spikes {
		for i < len(raw) && raw[i].At <= s.at {
			closed = raw[i].Closed
			out = append(out, raw[i])
			i++
		}
		if i < len(raw) && raw[i].At <= s.at+s.length+100 || len(out) > 0 && out[len(out)-1].At >= s.at-100 {
			continue
		}
		out = append(out, Edge{s.at, !closed}, Edge{s.at + s.length, closed})
	}
	return append(out, raw[i:]...)
}

// see is the front end, modelled on edge events of a kernel: one for each
// handled interrupt, stamped when it came; the level is read 15 us and an
// exponential 10 us later, and edges that come meanwhile collapse into one
// more event.
func see(r *rand.Rand, raw []Edge) []Seen {
	var seen []Seen
	line := wire{raw: raw}
	for i := 0; i < len(raw); {
		for at, more := raw[i].At, true; more; {
			ready := at + 15*us + time.Duration(r.ExpFloat64()*float64(10*us))
			seen = append(seen, Seen{at, ready, line.closed(ready)})
			more = false
			for ; i < len(raw) && raw[i].At <= ready; i++ {
				more = more || raw[i].At > at
			}
			at = ready
		}
	}
	return seen
}

// A wire reads the level of a trace at instants that do not go back.
type wire struct {
	raw []Edge
	i   int
	lvl bool
}

func (w *wire) closed(at time.Duration) bool {
	for ; w.i < len(w.raw) && w.raw[w.i].At <= at; w.i++ {
		w.lvl = w.raw[w.i].Closed
	}
	return w.lvl
}
