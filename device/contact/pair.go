// SPDX-License-Identifier: Apache-2.0

package contact

import "time"

// flapLimit: a changeover in the contract is over CableGrace and MaxChatter
// after its first illegal edge. What is illegal later without having been
// legal for MaxChatter in between is a cable that flaps.
const flapLimit = CableGrace + MaxChatter

// A Pair watches the wearer's button as a changeover pair: no is closed when
// the button is pressed, nc when it is released. Legal is exactly one closed.
type Pair struct {
	no, nc bool
	since  time.Duration // of the present combination
	out    []Event
	noise  int
	edges  int // not yet explained
	owed   int // of these, explained by what was said already

	report *Single       // watches "no closed and nc open"
	date   time.Duration // of its last press

	away   bool          // the pair has left its settled released state
	left   time.Duration // when it left
	said   bool          // since then a report, a doubt or a fault was given
	both   time.Duration // since then both were closed for so long
	bothAt time.Duration // and first then

	shaky  bool          // illegal, and not legal for MaxChatter since
	broken time.Duration // when that began
	fault  bool          // CableOpen or CableShort was said and the pair is not sound yet
}

// NewPair returns a filter for a pair of which both contacts are open since
// from, which is what a line is before its first edge. That edge tells the
// level that a contact was found with, and is no noise.
func NewPair(from time.Duration) *Pair {
	return &Pair{report: NewSingle(ReportGrade, false), since: from, away: true, left: from, shaky: true, broken: from, owed: 1}
}

// EdgeNO feeds the contact that is closed when the button is pressed.
func (p *Pair) EdgeNO(at time.Duration, closed bool) { p.edge(at, closed, p.nc, closed == p.no) }

// EdgeNC feeds the contact that is closed when the button is released.
func (p *Pair) EdgeNC(at time.Duration, closed bool) { p.edge(at, p.no, closed, closed == p.nc) }

func (p *Pair) edge(at time.Duration, no, nc, same bool) {
	p.Advance(at)
	if same {
		p.noise++
		return
	}
	if p.no && p.nc {
		p.both += at - p.since
	}
	p.no, p.nc, p.since = no, nc, at
	p.edges++
	if !p.away && !p.released() {
		p.away, p.left, p.said, p.both, p.bothAt = true, at, false, 0, 0
	}
	if no && nc && p.both == 0 {
		p.bothAt = at
	}
	if !p.legal() && !p.shaky {
		p.shaky, p.broken = true, at
	}
	if p.Closed() != p.report.Closed() {
		p.report.Edge(at, p.Closed())
		p.collect()
	}
}

func (p *Pair) legal() bool    { return p.no != p.nc }
func (p *Pair) released() bool { return !p.no && p.nc }

// Advance says that no edge before now is still to come.
func (p *Pair) Advance(now time.Duration) {
	for {
		at, act := p.next()
		if act == nil || at > now {
			return
		}
		act(at)
	}
}

// Next is the instant at which Advance will have something to do.
func (p *Pair) Next() (at time.Duration, ok bool) {
	at, act := p.next()
	return at, act != nil
}

func (p *Pair) next() (at time.Duration, act func(time.Duration)) {
	soonest := func(t time.Duration, f func(time.Duration)) {
		if act == nil || t < at {
			at, act = t, f
		}
	}
	if t, ok := p.report.Next(); ok {
		soonest(t, func(at time.Duration) {
			p.report.Advance(at)
			p.collect()
		})
	}
	switch {
	case !p.legal() && !p.fault:
		soonest(max(p.since, min(p.since+CableGrace, p.broken+flapLimit)+1), p.breakdown)
	case p.legal() && p.shaky:
		soonest(p.since+settled, p.steady)
	case p.away && p.released():
		if _, open := p.report.Pending(); !open {
			soonest(p.since+settled, p.settle)
		}
	}
	return at, act
}

func (p *Pair) breakdown(at time.Duration) {
	kind := CableOpen
	if p.no {
		kind = CableShort
	}
	p.fault, p.said = true, true
	p.edges, p.owed = 0, 0 // a cable's edges are evidence, not noise
	p.emit(kind, p.broken, at)
}

// steady: the pair has been legal for MaxChatter.
func (p *Pair) steady(at time.Duration) {
	p.shaky = false
	if p.fault {
		p.fault = false
		p.emit(CableSound, p.since, at)
	}
}

// settle: the button has been at rest for longer than MaxChatter. What never
// became a report and yet had both contacts closed is a doubt.
func (p *Pair) settle(at time.Duration) {
	if !p.said && p.both >= ReportGrade.Doubt {
		p.owed += 2
		p.emit(Doubtful, p.bothAt, at)
	}
	p.explain()
	p.away = false
}

// collect passes on what the watcher of the pressed state found.
func (p *Pair) collect() {
	for _, e := range p.report.Take() {
		switch e.Kind {
		case Pressed, Doubtful:
			if !p.said && p.away && e.At-p.left <= CableGrace {
				e.At = p.left // the first edge of the changeover, on whichever contact
			}
			if !p.said {
				// A short touch may be back before it was legal for long.
				p.shaky, p.broken = !p.legal(), p.since
			}
			p.said, p.date = true, e.At
			p.owed += 2 // one on either contact, and two when it is let go
			if e.Kind == Pressed {
				p.explain()
			} else {
				p.owed += 2
			}
		case Held:
			e.At = p.date
		case Released:
			p.owed += 2
		}
		p.out = append(p.out, e)
	}
}

// explain calls noise what is not owed to anything said.
func (p *Pair) explain() {
	p.noise += max(0, p.edges-p.owed)
	p.edges, p.owed = 0, 0
}

func (p *Pair) emit(k Kind, at, known time.Duration) {
	p.out = append(p.out, Event{Kind: k, At: at, Known: known})
}

// Take returns the events found since the last call.
func (p *Pair) Take() []Event {
	out := p.out
	p.out = nil
	return out
}

// Pending is the first edge of what is still open in meaning.
func (p *Pair) Pending() (at time.Duration, ok bool) {
	if p.away && !p.said {
		return p.left, true
	}
	at, ok = p.report.Pending()
	if p.shaky && !p.fault && (!ok || p.broken < at) {
		at, ok = p.broken, true
	}
	return at, ok
}

// Closed says whether the button is down: the pair in its pressed state.
func (p *Pair) Closed() bool { return p.no && !p.nc }

// Sound says whether the pair is legal and settled enough to trust.
func (p *Pair) Sound() bool { return !p.fault }

// Noise is the number of edges that were rejected so far.
func (p *Pair) Noise() int { return p.noise }
