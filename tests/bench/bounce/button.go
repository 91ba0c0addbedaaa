// SPDX-License-Identifier: Apache-2.0

package bounce

import (
	"cmp"
	"math/rand"
	"slices"
	"time"

	"tallyhood/device/contact"
)

// A Button is the trace of the wearer's changeover button, at rest from 0.
type Button struct {
	NO, NC  []Seen  // the contacts that are closed when pressed and when released
	Presses []Press // First is the first edge on either contact, Last the release
	End     time.Duration
}

// Button makes n presses of a changeover button whose two contacts bounce each
// for itself as the scenario says, 0.8 to 3 s apart, held for 100 to 500 ms.
// The moving contact takes 2 to 20 ms from one side to the other (log-uniform;
// common practice, no figure was found). Interference meets both lines.
func (s Scenario) Button(n int, seed int64) *Button {
	r := rand.New(rand.NewSource(seed))
	b := &Button{}
	rest := []Edge{{0, true}}
	var no, nc []Edge
	t := 500 * ms
	for range n {
		interval := logUniform(r, 800, 3000)
		hold := logUniform(r, 100, 500)
		there, back := logUniform(r, 2, 20), logUniform(r, 2, 20)
		makes := t + fromMS(there)
		breaks := makes + fromMS(hold)
		again := breaks + fromMS(back)
		free := interval - there - hold - back // at rest until the next press
		nc = s.change(r, nc, t, there+hold+back, false)
		no = s.change(r, no, makes, hold, true)
		no = s.change(r, no, breaks, back+free+there, false)
		nc = s.change(r, nc, again, free, true)
		b.Presses = append(b.Presses, Press{t, breaks})
		t += fromMS(interval)
	}
	b.End = t + 500*ms
	nc = append(rest, nc...)
	if s.Spikes > 0 {
		no = interfere(r, no, s.Spikes, b.End)
		nc = interfere(r, nc, s.Spikes, b.End)
	}
	b.NO, b.NC = see(r, no), see(r, nc)
	return b
}

// A ButtonScore adds up what the filter made of presses of the button.
type ButtonScore struct {
	Presses  int
	Missed   int // presses with neither a report nor a doubt: a leak not heard of
	False    int // reports and doubts while nobody pressed and no contact bounced
	Doubtful int // presses without a sure report, but with a doubt
	Repeated int // presses reported or doubted more than once: bounce beyond the contract
	Faults   int // cable faults, though the cable was sound: the same
	Wait     time.Duration
}

// Buttons scores tallyhood's filter over n presses of the button.
func Buttons(sc Scenario, n int, seed int64) ButtonScore {
	b := sc.Button(n, seed)
	type line struct {
		Seen
		edge func(time.Duration, bool)
	}
	p := contact.NewPair(0)
	var lines []line
	for _, s := range b.NO {
		lines = append(lines, line{s, p.EdgeNO})
	}
	for _, s := range b.NC {
		lines = append(lines, line{s, p.EdgeNC})
	}
	slices.SortStableFunc(lines, func(a, b line) int { return cmp.Compare(a.At, b.At) })

	sure, doubt := make([]int, n), make([]int, n)
	s := ButtonScore{Presses: n}
	take := func() {
		for _, e := range p.Take() {
			i := lastBegun(b.Presses, e.Known)
			switch e.Kind {
			case contact.CableOpen, contact.CableShort:
				s.Faults++
			case contact.Pressed, contact.Doubtful:
				switch {
				case i < 0 || e.At > b.Presses[i].Last+fromMS(awfulMax):
					s.False++
				case e.Kind == contact.Doubtful:
					doubt[i]++
				default:
					if sure[i]++; sure[i] == 1 {
						s.Wait = max(s.Wait, e.Known-b.Presses[i].First)
					}
				}
			}
		}
	}
	for _, l := range lines {
		l.edge(l.At, l.Closed)
		take()
	}
	p.Advance(b.End)
	take()
	for i := range n {
		switch {
		case sure[i]+doubt[i] == 0:
			s.Missed++
		case sure[i]+doubt[i] > 1:
			s.Repeated++
		case doubt[i] > 0:
			s.Doubtful++
		}
	}
	return s
}
