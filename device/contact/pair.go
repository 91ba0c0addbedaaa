// SPDX-License-Identifier: Apache-2.0

package contact

import "time"

// A Pair watches the wearer's button as a changeover pair: no is closed when
// the button is pressed, nc when it is released. Legal is exactly one closed.
type Pair struct {
	no, nc bool
	since  time.Duration // of the present combination
	out    []Event
	noise  int
	edges  int // edges not yet explained

	report *Single // watches "no closed and nc open"

	fresh  bool          // not at rest yet since the beginning
	away   bool          // the pair has left its settled released state
	left   time.Duration // when it left
	both   time.Duration // time with both closed since then
	bothAt time.Duration // when both were first closed since then
	sure   bool          // a report was given since then

	illegal time.Duration // illegal time gathered since the last long legal stretch
	broken  time.Duration // when that began
	fault   bool          // CableOpen or CableShort was said and the pair is not sound yet
}

// NewPair returns a filter for a pair of which both contacts are open since
// from, which is what a line is before its first edge.
func NewPair(from time.Duration) *Pair {
	return &Pair{report: NewSingle(ReportGrade, false), since: from, away: true, left: from, fresh: true}
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
	span := at - p.since
	if p.legal() {
		if span >= MaxChatter {
			p.illegal = 0
		}
	} else {
		if p.illegal == 0 {
			p.broken = p.since
		}
		p.illegal += span
	}
	if p.no && p.nc {
		if p.both == 0 {
			p.bothAt = p.since
		}
		p.both += span
	}
	p.no, p.nc, p.since = no, nc, at
	p.edges++
	if !p.away && !p.released() {
		p.away, p.left, p.both, p.sure = true, at, 0, false
	}
	if pressed := no && !nc; pressed != p.report.Closed() {
		p.report.Edge(at, pressed)
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
	if p.legal() {
		if p.fault {
			soonest(p.since+MaxChatter, func(at time.Duration) {
				p.fault, p.illegal = false, 0
				p.emit(CableSound, p.since, at)
			})
		}
		if p.away && p.released() {
			if _, open := p.report.Pending(); !open {
				soonest(p.since+MaxChatter, p.settle)
			}
		}
	} else if !p.fault {
		soonest(max(p.since, min(p.since+CableGrace, p.since+openBudget-p.illegal)), p.breakdown)
	}
	return at, act
}

func (p *Pair) breakdown(at time.Duration) {
	from := p.since
	if p.illegal > 0 {
		from = p.broken
	}
	kind := CableOpen
	if p.no {
		kind = CableShort
	}
	p.fault = true
	p.edges, p.both = 0, 0 // a cable's edges are evidence, not noise
	p.emit(kind, from, at)
}

// settle: the button has been at rest for MaxChatter.
func (p *Pair) settle(at time.Duration) {
	if !p.sure && p.both >= ReportGrade.Doubt {
		p.edges = 0
		p.emit(Doubtful, p.bothAt, at)
	}
	if p.fresh {
		p.edges = 0 // the levels it was found with
	}
	p.noise += p.edges
	p.edges, p.away, p.illegal, p.fresh = 0, false, 0, false
}

// collect passes on what the watcher of the pressed state found.
func (p *Pair) collect() {
	for _, e := range p.report.Take() {
		switch e.Kind {
		case Pressed:
			p.explain(2)
			p.sure = true
		case Released:
			p.explain(2)
		case Doubtful:
			p.edges = 0
			p.sure = true // said once is enough
		}
		if (e.Kind == Pressed || e.Kind == Doubtful) && p.away && p.left < e.At && e.At-p.left <= CableGrace {
			e.At = p.left // the first edge of the changeover, on whichever contact
		}
		p.out = append(p.out, e)
	}
}

func (p *Pair) explain(n int) {
	p.noise += max(0, p.edges-n)
	p.edges = 0
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
func (p *Pair) Pending() (time.Duration, bool) {
	at, ok := p.report.Pending()
	earlier := func(t time.Duration) {
		if !ok || t < at {
			at, ok = t, true
		}
	}
	if p.away && !p.sure && (ok || p.released() || !p.legal()) {
		earlier(p.left)
	}
	if !p.legal() && !p.fault {
		earlier(p.since)
		if p.illegal > 0 {
			earlier(p.broken)
		}
	}
	return at, ok
}

// Closed says whether the button is down: the pair in its pressed state.
func (p *Pair) Closed() bool { return p.no && !p.nc }

// Sound says whether the pair is legal and settled enough to trust.
func (p *Pair) Sound() bool { return !p.fault }

// Noise is the number of edges that were rejected so far.
func (p *Pair) Noise() int { return p.noise }
