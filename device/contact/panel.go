// SPDX-License-Identifier: Apache-2.0

package contact

import (
	"slices"
	"sort"
	"time"
)

// A Source is one thing that a person presses.
type Source uint8

// The sources of a panel.
const (
	Squeeze Source = iota
	Step
	Report // the wearer's button, one contact or a pair
)

// String names the source.
func (s Source) String() string { return [...]string{"squeeze", "step", "report"}[s] }

// A Sighting is an event of one source.
type Sighting struct {
	Source Source
	Event
	// Begun is when the push began of which a squeeze came, where that is known;
	// else it is At.
	Begun time.Duration
}

// When is the instant by which a sighting takes its place in the order of
// things: the first edge of what may decide a run, and the instant of knowing
// for what only informs.
func (s Sighting) When() time.Duration {
	switch s.Kind {
	case Pressed, Doubtful, CableOpen, CableShort:
		return s.At
	}
	return s.Known
}

// A Panel watches all contacts of one board and gives what they say strictly
// in the order in which it happened: an event is held back while a closure
// that began before it is still proving itself. An instant has been Reached
// when everything before it is known.
type Panel struct {
	squeeze, step *Single
	single        *Single // the button as one contact, or
	pair          *Pair   // as a changeover pair
	now           time.Duration
	wait          []Sighting
	pushes        []push // those that may yet become squeezes
}

// A push of the bulb, as a sensor tells it.
type push struct {
	from, to time.Duration
	on       bool // to is not known yet
}

func (u push) holds(at time.Duration) bool { return u.from <= at && (u.on || at <= u.to) }

// NewPanel returns a panel whose contacts are all open since from. The button
// of a supervised panel is a changeover pair.
func NewPanel(supervised bool, from time.Duration) *Panel {
	p := &Panel{squeeze: NewSingle(SqueezeGrade, true), step: NewSingle(SqueezeGrade, true), now: from}
	if supervised {
		p.pair = NewPair(from)
	} else {
		p.single = NewSingle(ReportGrade, false)
	}
	return p
}

// Supervised says whether the button is a changeover pair.
func (p *Panel) Supervised() bool { return p.pair != nil }

// SqueezeEdge feeds the pedal or the switch at the bulb. For this and the other
// edges at must not be before any instant given earlier.
func (p *Panel) SqueezeEdge(at time.Duration, closed bool) {
	p.Advance(at)
	p.squeeze.Edge(at, closed)
}

// PushEdge says that a push of the bulb has begun, or that it is known what has
// come of it: the squeezes whose first edge was fed meanwhile. It holds nothing
// back by itself (see Pushing).
func (p *Panel) PushEdge(at time.Duration, on bool) {
	p.Advance(at)
	n := len(p.pushes)
	switch open := n > 0 && p.pushes[n-1].on; {
	case on && !open:
		p.pushes = append(p.pushes, push{from: at, on: true})
	case !on && open:
		p.pushes[n-1].to, p.pushes[n-1].on = at, false
	}
}

// Pushing is the begin of the first push that may yet become a squeeze, or whose
// squeeze has not been taken.
func (p *Panel) Pushing() (at time.Duration, ok bool) {
	p.Advance(p.now)
	for _, s := range p.wait {
		if s.Begun < s.At && (!ok || s.Begun < at) {
			at, ok = s.Begun, true
		}
	}
	if len(p.pushes) > 0 && (!ok || p.pushes[0].from < at) {
		return p.pushes[0].from, true
	}
	return at, ok
}

// StepEdge feeds the tester's go-on contact.
func (p *Panel) StepEdge(at time.Duration, closed bool) {
	p.Advance(at)
	p.step.Edge(at, closed)
}

// ReportEdge feeds the single contact of the button, or the one of the pair
// that is closed when pressed.
func (p *Panel) ReportEdge(at time.Duration, closed bool) {
	p.Advance(at)
	if p.pair != nil {
		p.pair.EdgeNO(at, closed)
	} else {
		p.single.Edge(at, closed)
	}
}

// RestEdge feeds the contact of the pair that is closed when released. An
// unsupervised panel has none and ignores it.
func (p *Panel) RestEdge(at time.Duration, closed bool) {
	p.Advance(at)
	if p.pair != nil {
		p.pair.EdgeNC(at, closed)
	}
}

type filter interface {
	Advance(time.Duration)
	Next() (time.Duration, bool)
	Pending() (time.Duration, bool)
	Take() []Event
}

func (p *Panel) report() filter {
	if p.pair != nil {
		return p.pair
	}
	return p.single
}

func (p *Panel) each(f func(Source, filter)) {
	f(Squeeze, p.squeeze)
	f(Step, p.step)
	f(Report, p.report())
}

// Advance says that every edge before now has been fed.
func (p *Panel) Advance(now time.Duration) {
	p.now = max(p.now, now)
	p.each(func(s Source, f filter) {
		f.Advance(p.now)
		for _, e := range f.Take() {
			p.wait = append(p.wait, Sighting{s, e, p.begun(s, e)})
		}
	})
	p.pushes = slices.DeleteFunc(p.pushes, func(u push) bool {
		open, pending := p.squeeze.Pending()
		return !u.on && u.to < p.now && !(pending && u.holds(open))
	})
}

// begun is when the push began of which a squeeze came.
func (p *Panel) begun(s Source, e Event) time.Duration {
	if s == Squeeze && (e.Kind == Pressed || e.Kind == Doubtful) {
		for _, u := range p.pushes {
			if u.holds(e.At) {
				return u.from
			}
		}
	}
	return e.At
}

// Next is the instant at which Advance will have something to do, or Take
// something to give.
func (p *Panel) Next() (at time.Duration, ok bool) {
	p.each(func(_ Source, f filter) {
		if t, has := f.Next(); has && (!ok || t < at) {
			at, ok = t, true
		}
	})
	_, held := p.pending()
	settled := len(p.pushes) > 0 && !p.pushes[0].on && p.pushes[0].to >= p.now
	if !held && len(p.wait) > 0 || settled {
		return p.now + 1, true // what was found at this very instant can be taken once it is past
	}
	return at, ok
}

func (p *Panel) pending() (at time.Duration, ok bool) {
	p.each(func(_ Source, f filter) {
		if t, has := f.Pending(); has && (!ok || t < at) {
			at, ok = t, true
		}
	})
	return at, ok
}

// Reached is the instant before which everything is known.
func (p *Panel) Reached() time.Duration {
	if at, ok := p.pending(); ok {
		return min(at, p.now)
	}
	return p.now
}

// Take returns what happened before Reached and was not taken yet, in order.
// Of two at the same instant the squeeze comes before the report, so that a
// squeeze counts into the bin that the report closes.
func (p *Panel) Take() []Sighting {
	p.Advance(p.now)
	sort.SliceStable(p.wait, func(i, j int) bool {
		a, b := p.wait[i], p.wait[j]
		if a.When() != b.When() {
			return a.When() < b.When()
		}
		return a.Source < b.Source
	})
	reached := p.Reached()
	n := sort.Search(len(p.wait), func(i int) bool { return p.wait[i].When() >= reached })
	if n == 0 {
		return nil
	}
	out := p.wait[:n:n]
	p.wait = append([]Sighting(nil), p.wait[n:]...)
	return out
}

// Levels are the contacts as they are now: true is closed. rest is always
// false on an unsupervised panel.
func (p *Panel) Levels() (squeeze, step, report, rest bool) {
	if p.pair != nil {
		return p.squeeze.Closed(), p.step.Closed(), p.pair.no, p.pair.nc
	}
	return p.squeeze.Closed(), p.step.Closed(), p.single.Closed(), false
}

// Sound says whether the button can be trusted as far as its wires tell.
func (p *Panel) Sound() bool { return p.pair == nil || p.pair.Sound() }

// Noise is the number of rejected edges so far over all contacts.
func (p *Panel) Noise() int {
	n := p.squeeze.Noise() + p.step.Noise()
	if p.pair != nil {
		return n + p.pair.Noise()
	}
	return n + p.single.Noise()
}

// NoiseOf is the number of rejected edges of one source.
func (p *Panel) NoiseOf(s Source) int {
	switch {
	case s == Squeeze:
		return p.squeeze.Noise()
	case s == Step:
		return p.step.Noise()
	case p.pair != nil:
		return p.pair.Noise()
	}
	return p.single.Noise()
}
