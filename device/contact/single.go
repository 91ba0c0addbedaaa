// SPDX-License-Identifier: Apache-2.0

package contact

import "time"

// A Single watches one contact. The zero value is not usable; see NewSingle.
type Single struct {
	grade  Grade
	spaced bool // judge the distance to the press before (pedals, not buttons)
	out    []Event
	noise  int

	closed bool
	since  time.Duration // of the present level
	now    stretch       // the unsettled stretch, if active
	active bool

	havePrev bool          // something was pressed before
	lastAt   time.Duration // first edge of the last sure press
	lastRel  time.Duration // end of the body of the last press, sure or doubtful
	wary     int           // presses until the contact is trusted again
	crumbs   time.Duration // closed time of the noise until crumbsAt
	crumbsAt time.Duration
}

// A stretch lasts from the first closing edge of a settled contact until it
// has been open for longer than MaxChatter. A closed run is bridged over spikes.
type stretch struct {
	first   time.Duration // its first edge
	from    time.Duration // the same, but for a lone touch before it
	edges   int           // not yet explained
	touch   time.Duration // start of its first run that is no spike, once that has ended
	run     time.Duration // start of the present closed run
	gaps    time.Duration // hairlines bridged in the present closed run
	joinAt  time.Duration // the run joins the one from joinTo once it lasts to here; 0: no
	joinTo  time.Duration
	joined  time.Duration // when it did
	best    time.Duration // longest closed run that has ended
	bestEnd time.Duration
	total   time.Duration // closed time in all

	verdict verdict
	told    bool // the present run was reported
	rough   bool // Chatters was reported
	held    bool
	ended   bool // the body of the press has ended, at rel
	rel     time.Duration
	last    time.Duration // end of the last run too long for chatter
}

type verdict uint8

const (
	unsure verdict = iota
	pressed
	doubted
)

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
	from := c.since
	c.closed, c.since = closed, at
	switch {
	case !closed:
		c.opened(at, from)
	case c.active:
		c.now.reclosed(at, from, c.spaced)
	default:
		c.active, c.now = true, stretch{first: at, from: at, run: at}
	}
	c.now.edges++
}

// reclosed begins another closed run after a gap. A squeeze too many is worse
// than one too few, so that a pedal's closure has to stand by itself: without a
// spike before it, and with no more hairlines than make a spike together.
func (s *stretch) reclosed(at, gapFrom time.Duration, pedal bool) {
	gap := at - gapFrom
	if gap <= hairline {
		s.gaps += gap
		if !pedal || s.verdict != unsure || s.gaps <= MaxSpike {
			s.ended = s.ended && s.rel != gapFrom
			return
		}
	}
	s.gaps = 0
	switch {
	case gap <= MaxSpike:
	case pedal && s.run == s.first && s.best <= MaxSpike:
		s.from = at
	default: // more than one: chatter
		s.from = s.first
	}
	s.told = s.told && gap <= MaxSpike
	s.joinAt, s.joinTo = 0, s.run
	if gap <= MaxSpike && gapFrom-s.run >= solid {
		s.joinAt = at + solid
	}
	s.run = at
}

// opened ends a closed run, of which the last piece began at from.
func (c *Single) opened(at, from time.Duration) {
	s := &c.now
	s.total += at - from
	if n := at - s.run; n > s.best {
		if s.best <= MaxSpike {
			s.touch = s.run
		}
		s.best, s.bestEnd = n, at
	}
	n := at - from
	if n >= MaxChatter {
		s.last = at
	}
	// The body of a press ends where its last long run ends, or one that began
	// while the make still chattered; what comes after is the chatter of the
	// release.
	switch {
	case !s.ended, from-s.rel <= MaxSpike && n >= solid, from-s.first <= 2*MaxChatter:
		s.ended, s.rel = true, at
	case s.verdict == pressed && n > MaxSpike && at-s.rel > MaxChatter+slack:
		c.chatters(from, at)
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
	s := &c.now
	if !c.active {
		return 0, nil
	}
	soonest := func(t time.Duration, f func(time.Duration)) {
		if act == nil || t < at {
			at, act = t, f
		}
	}
	if !c.closed {
		soonest(c.since+settled, c.settle)
	} else {
		if s.joinAt > 0 {
			soonest(max(s.joinAt, c.since), c.join)
		}
		if s.verdict == unsure {
			soonest(c.sureAt(), c.press)
		}
		if c.late() {
			soonest(c.since+c.grade.Doubt, c.doubtAgain)
		}
		if s.verdict != unsure && !s.held {
			soonest(max(s.first+HeldAfter, c.since), c.hold)
		}
	}
	if s.verdict == unsure {
		soonest(max(s.first+patience, c.since), c.giveUp)
	}
	return at, act
}

// sureAt is when the present closed run, if it lasts, makes a press of the
// stretch: it has to reach Sure after the first edge, be no noise by itself (short
// touches are no press, however many), be longer than any run before it in the
// stretch (else that one was the press and this is the chatter of its release),
// and outlast the bounce of a release close before.
func (c *Single) sureAt() time.Duration {
	s := &c.now
	body := c.grade.Doubt
	if s.from > s.first {
		body = leanest
	}
	at := max(s.begin(s.run)+c.grade.Sure, s.run+max(s.best, body), s.joined, c.since)
	if c.tail() && !c.tooSoon() {
		at = max(at, c.lastRel+longBounce)
	}
	return at
}

// begin is from where a closure counts whose body begins at run: the first
// edge, unless more than chatter with a spike at either end lies between.
func (s *stretch) begin(run time.Duration) time.Duration {
	if run-s.first > 2*(MaxChatter+MaxSpike) {
		return run
	}
	return s.first
}

// late: after the verdict the contact has closed once more, later than any
// chatter in the contract, without having settled. That may be a press.
func (c *Single) late() bool {
	s := &c.now
	switch {
	case !c.closed || s.told || s.verdict == unsure:
		return false
	case s.verdict == doubted:
		return true
	}
	return c.spaced && s.ended && c.since > s.rel+MaxChatter
}

// touched is when the closure began, leaving out a spike before it.
func (c *Single) touched() time.Duration {
	if c.now.best <= MaxSpike {
		return c.now.run
	}
	return c.now.touch
}

// tail: the stretch may still belong to the release before.
func (c *Single) tail() bool {
	limit := shortGap
	if c.wary > 0 {
		limit = longBounce
	}
	return c.spaced && c.havePrev && c.touched()-c.lastRel < limit
}

// tooSoon: the stretch may still belong to the press before.
func (c *Single) tooSoon() bool {
	apart := minApart
	if c.wary > 0 {
		apart = waryApart
	}
	return c.spaced && c.havePrev && c.touched()-c.lastAt < apart
}

func (c *Single) join(at time.Duration) {
	c.now.run, c.now.joinAt, c.now.joined = c.now.joinTo, 0, at
}

func (c *Single) hold(at time.Duration) {
	c.now.held = true
	c.emit(Held, c.now.first, at)
}

func (c *Single) press(at time.Duration) {
	s := &c.now
	if c.tooSoon() {
		c.doubt(at)
		c.chatters(s.first, at)
		return
	}
	s.verdict, s.ended = pressed, false
	c.lastAt, c.lastRel, c.havePrev = s.first, at, true
	c.wary = max(0, c.wary-1)
	c.explain(1)
	c.emit(Pressed, s.first, at)
}

func (c *Single) doubt(at time.Duration) {
	c.now.verdict, c.now.told = doubted, true
	c.explain(2)
	c.emit(Doubtful, c.now.first, at)
}

func (c *Single) doubtAgain(at time.Duration) {
	c.now.told = true
	c.emit(Doubtful, c.since, at)
	c.chatters(c.since, at)
}

// chatters says so, once a stretch, and mistrusts the contact from now on.
func (c *Single) chatters(from, at time.Duration) {
	c.wary = waryFor
	if !c.now.rough {
		c.now.rough = true
		c.emit(Chatters, from, at)
	}
}

// giveUp ends the wait for a stretch that chatters beyond all patience.
func (c *Single) giveUp(at time.Duration) {
	s := &c.now
	total := s.total
	if c.closed {
		total += at - c.since
	}
	if total >= c.grade.Doubt {
		c.doubt(at)
		s.told = c.closed && at-c.since >= c.grade.Doubt
	} else { // spikes: interference, not a contact
		s.verdict = doubted
	}
	c.chatters(s.first, at)
}

// settle closes the stretch: the contact has been open for longer than MaxChatter.
func (c *Single) settle(at time.Duration) {
	s := &c.now
	c.active = false
	switch s.verdict {
	case pressed:
		c.lastRel = max(s.rel, s.last)
		c.explain(1)
		c.emit(Released, c.lastRel, at)
	case doubted:
		c.lastRel, c.havePrev = max(s.rel, s.last), true
		c.explain(0)
	default:
		c.judge(at)
	}
}

// judge grades a stretch that ended and was not long enough on the way to be
// sure.
func (c *Single) judge(at time.Duration) {
	s := &c.now
	from := s.bestEnd - s.best
	long := s.bestEnd - s.from
	if s.best <= MaxSpike {
		long = s.total // spikes are as long as they are together
	}
	suspect := c.tail() || c.tooSoon()
	rough := s.best > MaxSpike && (suspect || c.since-s.bestEnd > MaxChatter+slack || from-s.first > MaxChatter+slack)
	switch {
	case long >= c.grade.Doubt, rough && (!suspect || s.total >= c.grade.Sure), c.crumbled(), c.pieces():
		c.doubt(at)
		c.lastRel, c.havePrev = s.bestEnd, true
	default:
		c.explain(0)
	}
	if rough {
		c.chatters(s.first, at)
	}
}

// pieces: a report that its chatter breaks up into nothing but short closures may
// have been one. Of a pedal's closure too few are counted rather than too many.
func (c *Single) pieces() bool {
	s := &c.now
	return !c.spaced && s.best > MaxSpike && s.total >= 2*c.grade.Doubt && c.since-s.first >= c.grade.Sure
}

// crumbled: closures that are noise one by one make a press in pieces when
// within one outlier's bounce they are closed for long enough together.
func (c *Single) crumbled() bool {
	s := &c.now
	if s.best <= MaxSpike && c.wary == 0 {
		return false
	}
	before := c.crumbs
	if s.first-c.crumbsAt > longBounce {
		before = 0
	}
	c.crumbs, c.crumbsAt = before+s.total, s.bestEnd
	return before > 0 && s.best > MaxSpike && c.crumbs >= c.grade.Doubt
}

// explain takes n of the unexplained edges for the event and calls the rest
// noise.
func (c *Single) explain(n int) {
	c.noise += max(0, c.now.edges-n)
	c.now.edges = 0
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

// Pending is the first edge of what is still open in meaning: nothing that
// happened at or after it should be acted on yet.
func (c *Single) Pending() (at time.Duration, ok bool) {
	if c.active && c.now.verdict == unsure {
		return c.now.first, true
	}
	return c.since, c.active && c.late()
}

// Closed is the level after the last edge.
func (c *Single) Closed() bool { return c.closed }

// Noise is the number of edges that were rejected so far.
func (c *Single) Noise() int { return c.noise }
