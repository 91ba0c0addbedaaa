// SPDX-License-Identifier: Apache-2.0

// Package wiring is the guided check that no wire is crossed: it asks a person
// for one movement at a time and finds out which contacts moved. It is pure:
// what it finds depends on the edges alone, not on how often it is asked. It
// must not import anything of tallyhood, read a clock or do I/O, and it must
// not decide whether a run may be opened.
package wiring

import (
	"maps"
	"slices"
	"time"
)

const ms = time.Millisecond

const (
	// Stands is how long a level has to stand before it is judged: more than
	// any chatter that a contact may have (25 ms) and any spike (2 ms).
	Stands = 60 * ms
	// Rest is how long every contact has to be at rest before the first request.
	Rest = 2 * time.Second
	// Within is the time for each request.
	Within = 20 * time.Second
	// NoisyAfter is when a contact that does not come to stand is called noisy;
	// the longest bounce published for a bad switch is 157 ms.
	NoisyAfter = 500 * ms

	// spike: two edges within this are as if they had not been.
	spike = 2 * ms
	// hold is how long what was asked for has to stay, so that a contact that
	// moves with it but chatters longer is seen too.
	hold = 90 * ms
	// gather is the time from the first contact that moved to the judgement,
	// when not everything that was asked for moved; a button pressed slowly
	// opens one contact of its pair long before it closes the other.
	gather = time.Second
	// tap: one contact of the pair that moved for less than this may have left
	// the other too little time to stand.
	tap = 300 * ms
	// quiet: at rest for so long after a request; a second squeeze that comes
	// at once does not count against the next request.
	quiet = 700 * ms
)

// Names of contacts, as everywhere in tallyhood.
const (
	squeeze = "squeeze"
	step    = "step"
	tasteNO = "taste_no"
	tasteNC = "taste_nc"
	taste   = "taste"
)

// What is asked for. Ended is the empty word.
const (
	AskRest     = "rest"
	PressBulb   = "press_squeeze"
	LetBulb     = "let_squeeze"
	PressStep   = "press_step"
	LetStep     = "let_step"
	PressButton = "press_button"
	LetButton   = "let_button"
	Ended       = ""
)

// Keys of findings. The Lines of a finding begin with those that were asked
// for; those that moved without being asked for stand behind them.
const (
	MovedInstead = "moved_instead"     // other contacts moved than what was asked for
	MovedToo     = "moved_too"         // other contacts moved together with it
	DidNotMove   = "did_not_move"      // nothing moved
	PairHalf     = "pair_half"         // of the pair one contact moved; first the one that did not
	Swapped      = "nc_and_no_swapped" // at rest the pair reads as pressed
	Stuck        = "stuck"             // closed at rest
	NotLetGo     = "not_let_go"        // did not come back
	CableOpen    = "cable_open"        // at rest both contacts of the pair are open
	CableShort   = "cable_short"       // at rest both contacts of the pair are closed
	Noisy        = "noisy"             // does not come to stand
)

// A Finding is one thing that is wrong.
type Finding struct {
	Key   string
	Lines []string
}

// A contact is one line under the check.
type contact struct {
	raw     bool          // level of the last edge
	stood   bool          // level that last stood
	edge    time.Duration // last edge
	restive time.Duration // first edge since it last stood
	settled bool
	before  struct { // the last edge
		edge    time.Duration
		settled bool
	}
}

// A request is what is asked of a person about some lines.
type request struct {
	press, let string
	lines      []string
}

// A Check is one run through all requests. Its methods belong to one goroutine.
type Check struct {
	lines    []string
	contacts map[string]*contact
	requests []request

	now     time.Duration
	ask     string
	at      int           // index of the request, while one is made
	since   time.Duration // when ask was asked
	restful time.Duration // since when everything is as base or rest wants it; -1: it is not

	broke map[string]bool          // lines that were not as they should be while waited for
	base  map[string]bool          // levels at the beginning of a request
	moved map[string]time.Duration // lines that stood otherwise than base since then, and when first

	found   []Finding
	stopped bool
}

// New begins a check of the lines with the levels that they have at an instant.
func New(lines []string, levels map[string]bool, at time.Duration) *Check {
	c := &Check{contacts: map[string]*contact{}, now: at, since: at, ask: AskRest, restful: -1, broke: map[string]bool{}, moved: map[string]time.Duration{}}
	for _, l := range lines {
		if c.contacts[l] != nil {
			continue
		}
		c.lines = append(c.lines, l)
		// A level that nobody saw come has to stand first.
		k := &contact{raw: levels[l], stood: levels[l], edge: at, restive: at}
		k.before.edge = at
		c.contacts[l] = k
	}
	for _, r := range []request{
		{PressBulb, LetBulb, []string{squeeze}},
		{PressStep, LetStep, []string{step}},
		{PressButton, LetButton, []string{tasteNO, tasteNC, taste}},
	} {
		r.lines = slices.DeleteFunc(r.lines, func(l string) bool { return c.contacts[l] == nil })
		if len(r.lines) > 0 {
			c.requests = append(c.requests, r)
		}
	}
	return c
}

// Ask is what the person has to do now; empty when the check has ended.
func (c *Check) Ask() string { return c.ask }

// Found lists what is wrong so far, in the order of finding.
func (c *Check) Found() []Finding { return slices.Clone(c.found) }

// Passed says that the check went through to its end and found nothing.
func (c *Check) Passed() bool {
	return c.ask == Ended && !c.stopped && len(c.found) == 0 && c.whole()
}

// whole: a board without a bulb or without a button cannot pass.
func (c *Check) whole() bool {
	has := func(press string) bool {
		return slices.ContainsFunc(c.requests, func(r request) bool { return r.press == press })
	}
	return has(PressBulb) && has(PressButton)
}

// Left is the time that is left for the present request; zero when ended.
func (c *Check) Left() time.Duration {
	if c.ask == Ended {
		return 0
	}
	return max(0, c.since+Within-c.now)
}

// LeftMS is Left in milliseconds, rounded up.
func (c *Check) LeftMS() int64 { return int64((c.Left() + ms - 1) / ms) }

// Stop ends the check before its time: it has not passed.
func (c *Check) Stop() {
	if c.ask != Ended {
		c.ask, c.stopped = Ended, true
	}
}

// Edge is the level that a line took. An edge older than what is known already
// counts from now; one of a line that is not checked is nothing.
func (c *Check) Edge(at time.Duration, line string, closed bool) {
	c.Advance(at)
	k := c.contacts[line]
	if k == nil || k.raw == closed || c.ask == Ended {
		return
	}
	k.raw = closed
	if c.now-k.edge <= spike {
		k.edge, k.settled = k.before.edge, k.before.settled
		return
	}
	k.before.edge, k.before.settled = k.edge, k.settled
	if k.settled {
		k.settled, k.restive = false, c.now
	}
	k.edge = c.now
}

// Advance says that nothing but the edges given happened up to an instant.
func (c *Check) Advance(to time.Duration) {
	for c.ask != Ended {
		n := c.Wake()
		if n > to {
			break
		}
		c.now = max(c.now, n)
		c.tick()
	}
	c.now = max(c.now, to)
}

// Wake is the next instant at which something changes if no edge comes.
func (c *Check) Wake() time.Duration {
	n := c.since + Within
	for _, k := range c.contacts {
		if k.settled {
			continue
		}
		n = min(n, k.edge+Stands)
		if noisy := k.restive + NoisyAfter; noisy > c.now {
			n = min(n, noisy)
		}
	}
	if c.restful >= 0 {
		n = min(n, c.restful+c.need())
	}
	if t, ok := c.judgement(); ok {
		n = min(n, t)
	}
	return max(n, c.now)
}

// tick does what is due at this very instant.
func (c *Check) tick() {
	for _, l := range c.lines {
		c.settle(l, c.contacts[l])
	}
	switch c.ask {
	case AskRest:
		c.watch(c.atRest)
		switch {
		case c.restful >= 0 && c.now >= c.restful+Rest:
			c.request(0)
		case c.now >= c.since+Within:
			c.unrest()
			c.request(0)
		}
	case c.requests[c.at].press:
		if t, ok := c.judgement(); ok && c.now >= t {
			c.judge()
			c.turn(c.requests[c.at].let)
		} else if c.now >= c.since+Within {
			c.find(DidNotMove, c.requests[c.at].lines...)
			c.request(c.at + 1)
		}
	default:
		c.watch(func(l string) bool { return c.contacts[l].stood == c.base[l] })
		switch {
		case c.restful >= 0 && c.now >= c.restful+quiet:
			c.request(c.at + 1)
		case c.now >= c.since+Within:
			c.find(NotLetGo, c.where(func(l string) bool { return c.contacts[l].stood != c.base[l] })...)
			c.request(c.at + 1)
		}
	}
}

// settle takes a level over once it has stood.
func (c *Check) settle(l string, k *contact) {
	if k.settled {
		return
	}
	if c.now >= k.edge+Stands {
		k.settled, k.stood = true, k.raw
	} else if c.now >= k.restive+NoisyAfter {
		c.find(Noisy, l)
	}
	if c.ask == Ended || c.ask == AskRest || c.ask != c.requests[c.at].press {
		return
	}
	if k.stood != c.base[l] {
		if _, seen := c.moved[l]; !seen {
			c.moved[l] = c.now
		}
		return
	}
	// Let go before it could be judged: wait for a longer one.
	if first, was := c.moved[l]; was && len(c.extra()) == 0 {
		if len(c.missing()) == 0 {
			clear(c.moved)
		} else if c.now < first+tap {
			delete(c.moved, l)
		}
	}
}

// watch keeps since when every line is as it should be and stands.
func (c *Check) watch(good func(line string) bool) {
	for _, l := range c.lines {
		// A spike leaves the level that stood before it; chatter that lasts does not.
		if k := c.contacts[l]; !good(l) || !k.settled && c.now >= k.restive+Stands {
			c.restful = -1
			c.broke[l] = true
			return
		}
	}
	if c.restful < 0 {
		c.restful = c.now
	}
}

func (c *Check) need() time.Duration {
	if c.ask == AskRest {
		return Rest
	}
	return quiet
}

func (c *Check) atRest(l string) bool { return c.contacts[l].stood == (l == tasteNC) }

// request makes request n, or ends the check behind the last one.
func (c *Check) request(n int) {
	if n >= len(c.requests) {
		c.turn(Ended)
		return
	}
	c.at, c.base = n, map[string]bool{}
	for l, k := range c.contacts {
		c.base[l] = k.stood
	}
	clear(c.moved)
	c.turn(c.requests[n].press)
}

func (c *Check) turn(ask string) { c.ask, c.since, c.restful = ask, c.now, -1 }

// judgement is when the movement under way is judged, unless it changes.
func (c *Check) judgement() (time.Duration, bool) {
	if c.ask == Ended || c.ask == AskRest || c.ask != c.requests[c.at].press || len(c.moved) == 0 {
		return 0, false
	}
	moves := slices.Collect(maps.Values(c.moved))
	at := slices.Min(moves) + gather
	if len(c.missing()) == 0 {
		at = slices.Max(moves) + hold
	}
	// What has begun to move may belong to it; what never stands is noise.
	for l, k := range c.contacts {
		if _, in := c.moved[l]; !in && !k.settled && k.raw != c.base[l] {
			at = max(at, min(k.edge+Stands, k.restive+NoisyAfter))
		}
	}
	return at, true
}

// missing lists what was asked for and did not move.
func (c *Check) missing() []string {
	return slices.DeleteFunc(slices.Clone(c.requests[c.at].lines), func(l string) bool { _, in := c.moved[l]; return in })
}

// extra lists what moved and was not asked for.
func (c *Check) extra() []string {
	return c.where(func(l string) bool {
		_, in := c.moved[l]
		return in && !slices.Contains(c.requests[c.at].lines, l)
	})
}

func (c *Check) judge() {
	asked, missing, extra := c.requests[c.at].lines, c.missing(), c.extra()
	switch {
	case len(missing) > 0 && len(extra) > 0:
		c.find(MovedInstead, append(missing, extra...)...)
	case len(missing) > 0:
		came := slices.DeleteFunc(slices.Clone(asked), func(l string) bool { return slices.Contains(missing, l) })
		c.find(PairHalf, append(missing, came...)...)
	case len(extra) > 0:
		c.find(MovedToo, append(slices.Clone(asked), extra...)...)
	}
}

// unrest finds why the contacts did not come to rest.
func (c *Check) unrest() {
	no, nc := c.contacts[tasteNO], c.contacts[tasteNC]
	if no != nil && nc != nil {
		switch {
		case no.stood && nc.stood:
			c.find(CableShort, tasteNO, tasteNC)
		case !no.stood && !nc.stood:
			c.find(CableOpen, tasteNO, tasteNC)
		case no.stood:
			c.find(Swapped, tasteNO, tasteNC)
		}
	}
	for _, l := range c.lines {
		if l != tasteNO && l != tasteNC && c.contacts[l].stood {
			c.find(Stuck, l)
		}
	}
	if len(c.found) == 0 && len(c.lines) > 0 { // never at rest for long enough
		c.find(Noisy, c.where(func(l string) bool { return c.broke[l] })...)
	}
}

func (c *Check) where(is func(line string) bool) []string {
	var out []string
	for _, l := range c.lines {
		if is(l) {
			out = append(out, l)
		}
	}
	return out
}

// find keeps a finding once.
func (c *Check) find(key string, lines ...string) {
	if !slices.ContainsFunc(c.found, func(f Finding) bool { return f.Key == key && slices.Equal(f.Lines, lines) }) {
		c.found = append(c.found, Finding{Key: key, Lines: lines})
	}
}
