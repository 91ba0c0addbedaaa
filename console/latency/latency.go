// SPDX-License-Identifier: Apache-2.0

// Package latency is the self-test of sound and contact: the box sounds a tone,
// a person presses when it is heard, twelve times. It says when the tones sound
// and what the presses come to.
//
// The figure is the time from the instant at which a tone was placed to the
// first edge of the press. Three things lie in it and cannot be told apart from
// here: the path of the sound (the card, an amplifier, the air: 3 ms a metre),
// the person, and the path of the contact. A person who expects a tone takes
// some 120 to 160 ms: J. McK. Cattell, "The time taken up by cerebral
// operations", Mind 11 (1886), Table II, found 122 and 126 ms for two practised
// observers; G. Forbes, "The effect of certain variables on visual and auditory
// reaction times", J. Exp. Psychol. 35 (1945), quotes 120 to 160 ms from others.
// The 140 to 160 ms that are usually given for young adults go back to F. Galton
// (1899) and to Woodworth and Schlosberg (1954), from memory. Those who are
// older or out of practice take longer: D. L. Woods and others, Front. Hum.
// Neurosci. 9:131 (2015), found 0.55 ms more with each year of age, for light.
// So the figure less 140 to 160 ms is an estimate of both paths, and hardly ever
// too low by much; the figure itself is what was measured, and is what a record
// should hold. It tells a box whose sound comes late, over a wireless
// loudspeaker for example, from one that is quick.
//
// A seed makes the plan; the same seed and the same presses give the same
// result. The package must not play, read a clock or hold a random source of
// its own.
package latency

import (
	"math"
	"slices"
	"time"
)

const (
	// Tones is how many there are.
	Tones = 12

	// From one tone to the next, and to the first, it takes from shortest to
	// longest: so irregular that nobody falls into its rhythm, so far apart that
	// a press belongs to one tone only.
	shortest = 2 * time.Second
	longest  = 4500 * time.Millisecond

	// A press sooner than this after a tone was a guess: sound that came out at
	// once would leave the person less time than anybody needs.
	soonest = 80 * time.Millisecond
	// A press later than this was none that the tone called for, even with a
	// sound path of half a second.
	latest = 1200 * time.Millisecond
	// A guess so shortly before a tone spoils it: the person has just pressed.
	spoils = 300 * time.Millisecond
	// Grace is how long after its instant a press may be told, since a contact
	// takes a while to prove itself.
	grace = 300 * time.Millisecond

	// Fewest presses that make a figure, and the widest that their middle half
	// may lie apart.
	Fewest = 8
	Widest = 120 * time.Millisecond

	// What a person takes, of the figure: see the package's comment.
	PersonLeast = 140 * time.Millisecond
	PersonMost  = 160 * time.Millisecond

	// mostPresses are kept: somebody who hammers on the contact measures nothing.
	mostPresses = 256
)

// Why there is no figure.
type Why string

// The reasons.
const (
	TooFew  Why = "too_few"  // presses that count
	TooWide Why = "too_wide" // they lie too far apart to say anything
)

// A Test is under way from its making. It is not safe for use by several
// goroutines.
type Test struct {
	tones   []time.Duration
	given   int
	presses []time.Duration
	now     time.Duration
}

// New plans a test that begins at an instant. Different seeds give different
// plans.
func New(seed uint64, begin time.Duration) *Test {
	t := &Test{now: begin}
	at, random := begin, mixer(seed)
	for range Tones {
		at += shortest + time.Duration(random.next()%uint64(longest-shortest+1))
		t.tones = append(t.tones, at)
	}
	return t
}

// Next gives the instant of the next tone, each once; ok is false when all have
// been given. They may be asked for ahead and placed at once.
func (t *Test) Next() (at time.Duration, ok bool) {
	if t.given == len(t.tones) {
		return 0, false
	}
	t.given++
	return t.tones[t.given-1], true
}

// Press tells of a press, dated to its first edge. The order does not matter.
func (t *Test) Press(at time.Duration) {
	if len(t.presses) < mostPresses {
		t.presses = append(t.presses, at)
	}
}

// Advance lets time go on; an instant before an earlier one changes nothing.
func (t *Test) Advance(now time.Duration) { t.now = max(t.now, now) }

// End is the instant at which the test is over.
func (t *Test) End() time.Duration { return t.tones[len(t.tones)-1] + latest + grace }

// A Progress says how far a test is.
type Progress struct {
	Asked int // tones so far
	Of    int // in all
	Used  int // presses so far that count
	Done  bool
}

// Progress is as of the last Advance.
func (t *Test) Progress() Progress {
	p := Progress{Of: len(t.tones), Done: t.now >= t.End()}
	for _, at := range t.tones {
		if at <= t.now {
			p.Asked++
		}
	}
	p.Used = len(t.judge().times)
	return p
}

// A Result is what the presses come to. Without a figure Why says the reason;
// the numbers are there all the same, as far as there are any.
type Result struct {
	Why    Why
	Mid    time.Duration // median from tone to press, what a person needs included
	Least  time.Duration
	Spread time.Duration // the middle half of the presses lies within
	// PathLeast to PathMost is Mid without the person, an estimate of the paths of
	// sound and contact; not below 0.
	PathLeast, PathMost time.Duration
	Used                int // presses that count
	Early               int // guesses: before a tone or sooner than anybody can
	Missed              int // tones that nothing counts for
}

// Result is as of the last Advance, and final once the test is done.
func (t *Test) Result() Result {
	j := t.judge()
	r := Result{Used: len(j.times), Early: j.early, Missed: j.missed}
	if len(j.times) > 0 {
		slices.Sort(j.times)
		r.Mid, r.Least = quantile(j.times, 0.5), j.times[0]
		r.Spread = quantile(j.times, 0.75) - quantile(j.times, 0.25)
		r.PathLeast, r.PathMost = max(0, r.Mid-PersonMost), max(0, r.Mid-PersonLeast)
	}
	switch {
	case r.Used < Fewest:
		r.Why = TooFew
	case r.Spread > Widest:
		r.Why = TooWide
	}
	return r
}

type judged struct {
	times  []time.Duration // from tone to press
	early  int
	missed int
}

// judge gives each tone the first press that it can have called for. A second
// press of the same hand is none: it is neither counted nor early.
func (t *Test) judge() judged {
	var j judged
	presses := slices.Clone(t.presses)
	slices.Sort(presses)
	after := 0 // presses from here on belong to no earlier tone
	for _, tone := range t.tones {
		if tone > t.now {
			break
		}
		spoilt, hit := false, time.Duration(-1)
		for after < len(presses) && presses[after] < tone+soonest {
			j.early++
			spoilt = spoilt || presses[after] > tone-spoils
			after++
		}
		for after < len(presses) && presses[after] <= tone+latest {
			if hit < 0 {
				hit = presses[after] - tone
			}
			after++
		}
		switch {
		case hit >= 0 && !spoilt:
			j.times = append(j.times, hit)
		case t.now >= tone+latest+grace:
			j.missed++
		}
	}
	return j
}

// quantile interpolates between the two nearest of sorted values (method 7 of
// R. J. Hyndman and Y. Fan, Am. Stat. 50 (1996)).
func quantile(sorted []time.Duration, q float64) time.Duration {
	at := q * float64(len(sorted)-1)
	low := int(math.Floor(at))
	if low == len(sorted)-1 {
		return sorted[low]
	}
	between := float64(sorted[low+1]-sorted[low]) * (at - float64(low))
	return sorted[low] + time.Duration(math.Round(between))
}

// A mixer makes a row of numbers from a seed: SplitMix64 (G. L. Steele, D. Lea,
// C. H. Flood, OOPSLA 2014), enough for a plan that nobody can guess by ear.
type mixer uint64

func (m *mixer) next() uint64 {
	*m += 0x9e3779b97f4a7c15
	z := uint64(*m)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}
