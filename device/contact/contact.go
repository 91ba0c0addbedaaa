// SPDX-License-Identifier: Apache-2.0

// Package contact turns the timestamped edges of bouncing contacts into
// presses, releases, doubts and supervision faults, each dated by its first
// edge. It is pure: what it says depends on the edges alone, not on when it is
// asked. It must not import anything of tallyhood, read a clock or do I/O, and
// it must not know what a press means for a run.
package contact

import "time"

const ms = time.Millisecond

// The contract of a contact (common practice where no figure is published;
// the bounce figures it answers are those in tests/bench).
const (
	// MaxChatter is how long either edge of a press may chatter.
	MaxChatter = 25 * ms
	// MaxSpike is the longest lone spike of either polarity.
	MaxSpike = 2 * ms
	// CableGrace is how long the changeover pair may be in an illegal state.
	CableGrace = 50 * ms
	// HeldAfter is when a press that does not end is called held.
	HeldAfter = 2 * time.Second

	// solid is the shortest closed stretch that is taken for the body of a
	// press and not for chatter.
	solid = 5 * ms
	// hairline is a gap that no contact makes: interference, always bridged.
	hairline = 100 * time.Microsecond
	// minApart: presses come up to 5 a second, so two that begin closer
	// than this are one press of a contact that chatters worse than the
	// contract (published outliers: 157 ms and 160 ms).
	minApart = 165 * ms
	// shortGap and longBounce: a closure that begins sooner than shortGap
	// after a release may still be the tail of that release; none published
	// that belongs to a working switch is longer than longBounce.
	shortGap   = 75 * ms
	longBounce = 161 * ms
	// patience bounds how long one unsettled stretch may keep its verdict
	// open: what chatters longer is called doubtful.
	patience = 250 * ms
	// openBudget is the illegal time that a flapping cable may gather
	// without a legal stretch of MaxChatter in between.
	openBudget = 80 * ms
)

// A Kind says what happened at a contact.
type Kind uint8

// The kinds of event.
const (
	Pressed    Kind = iota // a sure closure
	Doubtful               // a closure that may or may not have been a press
	Released               // a sure closure has ended
	Held                   // a sure closure has lasted HeldAfter
	Chatters               // the contact chatters worse than the contract
	CableOpen              // both contacts of the pair open: cable out or contact broken
	CableShort             // both contacts of the pair closed
	CableSound             // the pair is legal again
)

// String names the kind as the record does.
func (k Kind) String() string {
	return [...]string{"pressed", "doubtful", "released", "held", "chatters", "cable_open", "cable_short", "cable_sound"}[k]
}

// An Event is what a filter has found out.
type Event struct {
	Kind Kind
	// At is the first edge of what is reported.
	At time.Duration
	// Known is the instant from which it could be known; never before At.
	Known time.Duration
}

// A Grade holds the closure times that divide noise, doubt and certainty. A
// closure shorter than Doubt is noise, one of Sure or more is a press.
type Grade struct {
	Doubt, Sure time.Duration
}

// The grades in use. The dangerous direction differs: a squeeze counted too
// many thins the dose, a report missed passes a leak.
var (
	SqueezeGrade = Grade{Doubt: 20 * ms, Sure: 40 * ms}
	ReportGrade  = Grade{Doubt: 5 * ms, Sure: 20 * ms}
)

// A Single watches one contact. The zero value is not usable; see NewSingle.
type Single struct {
	grade  Grade
	spaced bool // judge the distance to the press before (pedals, not buttons)
	out    []Event
	noise  int

	closed bool
	since  time.Duration // of the present level

	// The unsettled stretch: from the first closing edge until the contact
	// has been open for MaxChatter.
	active  bool
	first   time.Duration // its first edge
	edges   int           // edges not yet explained
	runFrom time.Duration // start of the present closed run, bridged
	joinAt  time.Duration // the present run joins the one before once it lasts to here; 0: no
	joinTo  time.Duration // start of the run it would join
	best    time.Duration // longest closed run so far
	bestEnd time.Duration
	down    bool // this stretch has already given its press
	doubted bool // this stretch has already given a doubt
	held    bool
	again   bool // the present run was already called doubtful

	ended bool // the body of the press has ended, at relAt
	relAt time.Duration

	havePrev bool          // there was a sure press before
	lastAt   time.Duration // its first edge
	lastRel  time.Duration // the end of its body
}

// NewSingle returns a filter for one contact that is open and settled.
func NewSingle(g Grade, spaced bool) *Single {
	return &Single{grade: g, spaced: spaced}
}

// Edge feeds the level that the contact took at an instant not before that of
// any earlier call. An edge to the level it has is counted as noise: the one
// between was lost.
func (c *Single) Edge(at time.Duration, closed bool) {
	c.Advance(at)
	if closed == c.closed {
		c.noise++
		return
	}
	c.edges++
	c.closed = closed
	gapFrom := c.since
	c.since = at
	switch {
	case closed && !c.active:
		*c = Single{
			grade: c.grade, spaced: c.spaced, out: c.out, noise: c.noise, closed: true, since: at,
			active: true, first: at, edges: 1, runFrom: at,
			lastAt: c.lastAt, lastRel: c.lastRel, havePrev: c.havePrev,
		}
	case closed:
		prev := c.runFrom // start of the run that ended at gapFrom
		c.runFrom, c.joinAt, c.again = at, 0, false
		switch gap := at - gapFrom; {
		case gap <= hairline:
			c.runFrom = prev
		case gap <= MaxSpike && gapFrom-prev >= solid:
			c.joinAt, c.joinTo = at+solid, prev
		}
	default:
		n := at - c.runFrom
		if n > c.best {
			c.best, c.bestEnd = n, at
		}
		// The body of a press ends where its last long run ends; the short
		// runs after it are the chatter of the release.
		gap := c.runFrom - c.relAt
		if !c.ended || c.again || gap <= MaxSpike && n >= solid || gap <= MaxChatter && n >= MaxChatter {
			c.ended, c.relAt = true, at
		}
	}
}

// Advance says that no edge before now is still to come, and lets everything
// be decided that can be. Calling it more often changes nothing.
func (c *Single) Advance(now time.Duration) {
	for {
		at, act := c.next()
		if act == nil || at > now {
			return
		}
		act(at)
	}
}

// Next is the instant at which Advance will have something to do if no edge
// comes before; ok is false when there is none.
func (c *Single) Next() (at time.Duration, ok bool) {
	at, act := c.next()
	return at, act != nil
}

func (c *Single) next() (at time.Duration, act func(time.Duration)) {
	if !c.active {
		return 0, nil
	}
	soonest := func(t time.Duration, f func(time.Duration)) {
		if act == nil || t < at {
			at, act = t, f
		}
	}
	if !c.closed {
		soonest(c.since+MaxChatter, c.settle)
		if !c.down && !c.doubted {
			soonest(c.first+patience, c.giveUp)
		}
		return at, act
	}
	if c.joinAt > 0 {
		soonest(c.joinAt, func(time.Duration) { c.runFrom, c.joinAt = c.joinTo, 0 })
	}
	switch {
	case !c.down && !c.doubted:
		soonest(c.sureAt(), c.press)
		soonest(max(c.first+patience, c.since), c.giveUp)
	case !c.down && !c.again:
		// After a doubt in the same stretch a long closure is a doubt of its own.
		soonest(c.runFrom+c.grade.Sure, c.doubtAgain)
	case c.reclosed():
		soonest(c.runFrom+c.grade.Doubt, c.doubtAgain)
	}
	if c.down && !c.held {
		soonest(max(c.first+HeldAfter, c.since), func(at time.Duration) {
			c.held = true
			c.emit(Held, c.first, at)
		})
	}
	return at, act
}

// reclosed: after a press the contact has closed once more, later than any
// chatter in the contract, without having been open long enough for a new press.
func (c *Single) reclosed() bool {
	return c.down && c.spaced && c.closed && !c.again && c.ended && c.runFrom > c.relAt+MaxChatter
}

// sureAt is when the present closed run, if it lasts, makes a press of the
// stretch: it has to reach Sure after the first edge, be longer than any run
// before it in the stretch (else that one was the press and this is the
// chatter of its release), and outlast the bounce of a release close before.
func (c *Single) sureAt() time.Duration {
	at := max(c.first+c.grade.Sure, c.runFrom+max(c.best, min(solid, c.grade.Doubt)))
	if c.tailOfRelease() {
		at = max(at, c.lastRel+longBounce)
	}
	return at
}

func (c *Single) tailOfRelease() bool {
	return c.spaced && c.havePrev && c.first-c.lastRel < shortGap
}

func (c *Single) tooSoon() bool {
	return c.spaced && c.havePrev && c.first-c.lastAt < minApart
}

func (c *Single) press(at time.Duration) {
	if c.tooSoon() {
		c.doubt(at)
		c.emit(Chatters, c.first, at)
		return
	}
	c.down, c.ended = true, false
	c.lastAt, c.lastRel, c.havePrev = c.first, at, true
	c.explain(1)
	c.emit(Pressed, c.first, at)
}

func (c *Single) doubt(at time.Duration) {
	c.doubted, c.again = true, true
	c.explain(2)
	c.emit(Doubtful, c.first, at)
}

func (c *Single) doubtAgain(at time.Duration) {
	c.again = true
	c.emit(Doubtful, c.runFrom, at)
	c.emit(Chatters, c.runFrom, at)
}

// giveUp ends the wait for a stretch that chatters beyond all patience.
func (c *Single) giveUp(at time.Duration) {
	if c.best < min(solid, c.grade.Doubt) && !(c.closed && at-c.runFrom >= solid) {
		// Nothing but spikes: interference, not a contact.
		c.noise += c.edges
		c.edges = 0
		c.doubted = true
		c.emit(Chatters, c.first, at)
		return
	}
	c.doubt(at)
	c.emit(Chatters, c.first, at)
}

// settle closes the stretch: the contact has been open for MaxChatter.
func (c *Single) settle(at time.Duration) {
	c.active = false
	switch {
	case c.down:
		c.lastRel = c.relAt
		c.explain(1)
		c.emit(Released, c.relAt, at)
	case c.doubted:
		c.noise += c.edges
	default:
		c.judge(at)
	}
	c.edges = 0
}

// judge grades a stretch that ended without having been sure on the way.
func (c *Single) judge(at time.Duration) {
	long := c.bestEnd - c.first
	if c.best <= min(MaxSpike, c.grade.Doubt/2) {
		long = c.best // a spike is as long as it is, however many there were
	}
	worse := c.since-c.bestEnd > MaxChatter || c.bestEnd-c.best-c.first > MaxChatter
	switch {
	case long >= c.grade.Sure && c.best >= min(solid, c.grade.Doubt) && !c.tailOfRelease() && !c.tooSoon():
		c.lastAt, c.lastRel, c.havePrev = c.first, c.bestEnd, true
		c.explain(2)
		c.emit(Pressed, c.first, at)
		c.emit(Released, c.bestEnd, at)
	case long >= c.grade.Doubt, worse && c.best > MaxSpike:
		c.doubt(at)
		if worse || c.tailOfRelease() || c.tooSoon() {
			c.emit(Chatters, c.first, at)
		}
	default:
		c.noise += c.edges
	}
}

// explain takes n of the unexplained edges for the event and calls the rest
// noise.
func (c *Single) explain(n int) {
	c.noise += max(0, c.edges-n)
	c.edges = 0
}

func (c *Single) emit(k Kind, at, known time.Duration) {
	c.out = append(c.out, Event{Kind: k, At: at, Known: known})
}

// Take returns the events found since the last call, in the order in which
// they could be known.
func (c *Single) Take() []Event {
	out := c.out
	c.out = nil
	return out
}

// Pending is the first edge of a stretch whose meaning is still open; nothing
// that happened at or after it should be acted on yet.
func (c *Single) Pending() (time.Duration, bool) {
	if !c.active {
		return 0, false
	}
	if !c.down && !c.doubted {
		return c.first, true
	}
	return c.runFrom, c.reclosed() || c.doubted && c.closed && !c.again
}

// Closed is the level after the last edge.
func (c *Single) Closed() bool { return c.closed }

// Noise is the number of edges that were rejected so far.
func (c *Single) Noise() int { return c.noise }
