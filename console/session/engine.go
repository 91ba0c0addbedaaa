// SPDX-License-Identifier: Apache-2.0

package session

import (
	"slices"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/device"
	"tallyhood/device/contact"
)

// An Engine is one run: contacts in, facts and orders out, in strict order of
// what happened. It reads no clock and starts no goroutine, so that a live run,
// a replay and a simulation are the same computation. It is not safe for use by
// more than one goroutine.
type Engine struct {
	state  procedure.State
	panel  *contact.Panel // of a parked run: one that nothing is fed to
	noise  int            // rejected edges of the panels before this one
	levels map[device.Line]bool
	now    time.Duration
	events []contact.Sighting
	queue  []procedure.Input
	tally  procedure.Tallied
	facts  []procedure.Dated
	orders []procedure.Order
	worked func(procedure.Input, []procedure.Dated) // told of each input of a person; may be nil
}

// NewEngine opens a run at an instant at which all contacts are taken as open;
// the levels they have are fed as edges of that instant.
func NewEngine(o procedure.RunOpened, at time.Duration) *Engine {
	e := &Engine{panel: contact.NewPanel(o.Supervised, at), levels: map[device.Line]bool{}, now: at}
	f := procedure.Dated{At: at, Fact: o}
	e.state = procedure.New(o, at)
	e.facts = append(e.facts, f)
	return e
}

// State is the run as it stands.
func (e *Engine) State() procedure.State { return e.state }

// Panel shows the contacts; it is not to be fed from outside.
func (e *Engine) Panel() *contact.Panel { return e.panel }

// Noise is the number of rejected edges of the run so far.
func (e *Engine) Noise() int { return e.noise + e.panel.Noise() }

// Now is the instant reached.
func (e *Engine) Now() time.Duration { return e.now }

// Edge feeds one edge. An edge dated before Now is taken as of Now, and the
// instant that was used is returned. Of a parked run it is only the level that
// is kept: it says how the contacts stand when the run is taken up.
func (e *Engine) Edge(edge device.Edge) time.Duration {
	at := max(edge.At, e.now)
	e.Advance(at)
	e.levels[edge.Line] = edge.Closed
	if !e.state.Parked {
		e.feed(at, edge)
	}
	return at
}

func (e *Engine) feed(at time.Duration, edge device.Edge) {
	switch edge.Line {
	case device.Squeeze:
		e.panel.SqueezeEdge(at, edge.Closed)
	case device.Step:
		e.panel.StepEdge(at, edge.Closed)
	case device.Taste, device.TasteNO:
		e.panel.ReportEdge(at, edge.Closed)
	case device.TasteNC:
		e.panel.RestEdge(at, edge.Closed)
	case device.Push:
		e.panel.PushEdge(at, edge.Closed)
	}
}

// rest takes the contacts away from a run that is parked. What a contact did
// before is known by now; what it is still proving began after.
func (e *Engine) rest() {
	e.noise += e.panel.Noise()
	e.panel = contact.NewPanel(false, e.state.At)
	e.panel.Advance(e.now)
}

// wire gives the contacts back as they stand at an instant.
func (e *Engine) wire(at time.Duration) {
	e.noise += e.panel.Noise()
	e.panel, e.events = contact.NewPanel(e.state.Opened.Supervised, at), nil
	for _, l := range device.Lines() {
		if e.levels[l] {
			e.feed(at, device.Edge{At: at, Line: l, Closed: true})
		}
	}
	e.panel.Advance(e.now)
}

// Input queues what a person at a page or the box itself says. It takes its
// place in the order of events by its instant, not before Now.
func (e *Engine) Input(in procedure.Input) time.Duration {
	in.At = max(in.At, e.now)
	i, _ := slices.BinarySearchFunc(e.queue, in, func(a, b procedure.Input) int {
		if a.At <= b.At {
			return -1 // equal instants keep the order in which they came
		}
		return 1
	})
	e.queue = slices.Insert(e.queue, i, in)
	return in.At
}

// Advance says that every edge and input before an instant has been fed, and
// works off what follows from that.
func (e *Engine) Advance(to time.Duration) {
	for {
		t := to
		if n, ok := e.Next(); ok && n < t {
			t = max(n, e.now)
		}
		e.now = max(e.now, t)
		e.panel.Advance(e.now)
		e.deliver()
		if t >= to {
			return
		}
	}
}

// Next is the instant at which Advance will have something to do if nothing
// comes before; ok is false when there is none.
func (e *Engine) Next() (at time.Duration, ok bool) {
	soonest := func(t time.Duration, has bool) {
		if has && (!ok || t < at) {
			at, ok = t, true
		}
	}
	soonest(e.panel.Next())
	// What waits for a contact to prove itself goes on when the panel does.
	if w, has := e.state.Wake(); has && w > e.now {
		soonest(w, true)
	}
	for _, in := range e.queue {
		if in.At > e.now { // what is before it waits for a contact
			soonest(in.At, true)
			break
		}
	}
	return at, ok
}

// deliver hands on everything whose place in the order is certain: at one
// instant first what the clock asks for, then the contacts, then people.
func (e *Engine) deliver() {
	for {
		reached := e.panel.Reached()
		e.events = append(e.events, e.panel.Take()...)
		said := 0 // of the queue, what is handed on next
		stop := slices.IndexFunc(e.queue, func(in procedure.Input) bool { return in.Do == procedure.DoWelfare && in.At <= reached })
		if at, ok := e.panel.Pushing(); ok && e.state.Stage == procedure.Screening {
			reached = min(reached, at)
		}
		const never = time.Duration(1<<63 - 1)
		tick, event, person := never, never, never
		if w, ok := e.state.Wake(); ok && w <= reached {
			tick = w
		}
		next := e.earliest()
		if next >= 0 && e.place(e.events[next]) < reached {
			event = e.place(e.events[next])
		}
		switch {
		case len(e.queue) > 0 && e.queue[0].At <= reached:
			person = e.queue[0].At
		case stop >= 0:
			// Who stops for the wearer waits for no bulb to be let go, nor behind
			// what waits for it.
			said, person = stop, e.queue[stop].At
		}
		switch first := min(tick, event, person); {
		case first == never:
			return
		case first == tick:
			e.handle(procedure.Input{At: tick, Do: procedure.DoTick})
		case first == event:
			s := e.events[next]
			e.events = slices.Delete(e.events, next, next+1)
			e.sighting(s)
		default:
			in := e.queue[said]
			e.queue = slices.Delete(e.queue, said, said+1)
			e.handle(in)
		}
	}
}

// place is the instant by which a sighting takes its place. In the sensitivity
// test a squeeze counts from the begin of its push on: what the wearer reports
// after that may come of it. Elsewhere it counts when it is known, so that none
// that was given late gets into a dose.
func (e *Engine) place(s contact.Sighting) time.Duration {
	if e.state.Stage == procedure.Screening && s.Begun < s.At {
		return s.Begun
	}
	return s.When()
}

// earliest is the first of the events by their places; -1 without any. Of two at
// one place the panel's order stands.
func (e *Engine) earliest() int {
	first := -1
	for i, s := range e.events {
		if first < 0 || e.place(s) < e.place(e.events[first]) {
			first = i
		}
	}
	return first
}

// torn says that a squeeze began before the dose in which it would count: what
// was given of it inside is not known.
func (e *Engine) torn(s contact.Sighting) bool {
	st := e.state
	switch {
	case s.Source != contact.Squeeze || s.Begun >= s.At:
		return false
	case st.Stage == procedure.Dosing:
		return s.Begun < st.Since
	case st.Stage == procedure.Running:
		r, t0 := &st.Opened.Rules, *st.Clock
		n := r.WindowAt(s.At - t0)
		return n > 0 && n != r.WindowAt(s.Begun-t0)
	}
	return false
}

var verbs = map[contact.Kind]procedure.Verb{
	contact.Pressed: procedure.DoPress, contact.Doubtful: procedure.DoDoubt, contact.Released: procedure.DoRelease,
	contact.Held: procedure.DoHeld, contact.Chatters: procedure.DoChatters,
	contact.CableOpen: procedure.DoCableOpen, contact.CableShort: procedure.DoCableShort, contact.CableSound: procedure.DoCableSound,
}

func (e *Engine) sighting(s contact.Sighting) {
	if s.Kind == contact.Pressed && e.state.Verdict == nil && !e.state.Parked {
		switch s.Source {
		case contact.Squeeze:
			e.tally.Squeeze++
		case contact.Step:
			e.tally.Step++
		case contact.Report:
			e.tally.Taste++
		}
	}
	do := verbs[s.Kind]
	if s.Kind == contact.Pressed && e.torn(s) {
		do = procedure.DoDoubt
	}
	e.handle(procedure.Input{At: e.place(s), Do: do, Source: s.Source.String()})
}

func (e *Engine) handle(in procedure.Input) {
	in.At = max(in.At, e.state.At)
	facts, orders := procedure.Decide(e.state, in)
	for _, f := range facts {
		if _, ends := f.Fact.(procedure.Ended); ends {
			t := e.tally
			t.Noise = e.Noise()
			e.fold(procedure.Dated{At: f.At, Fact: t})
		}
		e.fold(f)
	}
	e.state = e.state.Reach(in.At)
	for _, f := range facts {
		switch f.Fact.(type) {
		case procedure.RunParked:
			e.rest()
		case procedure.RunTakenUp:
			e.wire(in.At)
		}
	}
	if e.worked != nil && in.Tag != 0 {
		e.worked(in, facts)
	}
	for _, o := range orders {
		if o.At == 0 {
			o.At = e.now
		}
		e.orders = append(e.orders, o)
	}
}

func (e *Engine) fold(f procedure.Dated) {
	e.facts = append(e.facts, f)
	e.state = procedure.Fold(e.state, f)
}

// End says that nothing more will come after an instant, which itself is over:
// a run without a verdict ends not valid.
func (e *Engine) End(at time.Duration, do procedure.Verb) {
	at = max(at, e.now)
	e.Advance(at + 1)
	if e.state.Verdict == nil {
		e.handle(procedure.Input{At: at, Do: do})
	}
}

// Take returns the facts and orders since the last call.
func (e *Engine) Take() ([]procedure.Dated, []procedure.Order) {
	f, o := e.facts, e.orders
	e.facts, e.orders = nil, nil
	return f, o
}
