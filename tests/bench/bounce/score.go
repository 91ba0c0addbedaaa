// SPDX-License-Identifier: Apache-2.0

package bounce

import (
	"slices"
	"sort"
	"time"
)

// A Score adds up what a method made of presses.
type Score struct {
	Presses  int
	Missed   int // presses with neither a finding nor a doubt: a bin too low
	Over     int // sure findings too many: a dose too thin
	Doubtful int // presses with a doubt
	// Waits from the first contact until a sure finding could be known.
	Waits       []time.Duration
	Early, Late time.Duration // worst dates of sure findings
}

// Silent is the number of errors that nobody is told of.
func (s *Score) Silent() int { return s.Missed + s.Over }

// Per100k scales a count to 100,000 presses.
func (s *Score) Per100k(n int) float64 { return float64(n) * 1e5 / float64(s.Presses) }

// Wait is a quantile of the waits, 0 when there are none.
func (s *Score) Wait(q float64) time.Duration {
	if len(s.Waits) == 0 {
		return 0
	}
	slices.Sort(s.Waits)
	return s.Waits[min(len(s.Waits)-1, int(q*float64(len(s.Waits))))]
}

// Add scores one trace. A finding of a method without dates comes while its
// press lasts, or is one too many. A dated one belongs to the press that was
// on when it became known, since chatter before a press may date it early; a
// doubt stands for the first press between its date and its knowledge that
// has nothing else to show.
func (s *Score) Add(m Method, tr *Trace) {
	sure, doubt := s.match(m, tr)
	for i := range sure {
		s.Over += max(0, sure[i]-1)
		if sure[i]+doubt[i] == 0 {
			s.Missed++
		}
		if doubt[i] > 0 {
			s.Doubtful++
		}
	}
	s.Presses += len(sure)
}

// lastBegun is the last press that had begun at an instant, -1 for none.
func lastBegun(presses []Press, at time.Duration) int {
	return sort.Search(len(presses), func(i int) bool { return presses[i].First > at }) - 1
}

// match counts the findings of each press.
func (s *Score) match(m Method, tr *Trace) (sure, doubt []int) {
	n := len(tr.Presses)
	sure, doubt = make([]int, n), make([]int, n)
	var doubts []Finding
	for _, f := range m.Find(tr) {
		i := lastBegun(tr.Presses, f.Known)
		switch {
		case f.Doubt:
			doubts = append(doubts, f)
		case i < 0 || !m.Dated && f.Known > tr.Presses[i].Last:
			s.Over++
		default:
			if sure[i]++; sure[i] == 1 {
				s.Waits = append(s.Waits, f.Known-tr.Presses[i].First)
				if m.Dated {
					s.Early = max(s.Early, tr.Presses[i].First-f.At)
					s.Late = max(s.Late, f.At-tr.Presses[i].First)
				}
			}
		}
	}
	for _, f := range doubts {
		from, to := max(0, lastBegun(tr.Presses, f.At)), max(0, lastBegun(tr.Presses, f.Known))
		i := from
		for i < to && sure[i]+doubt[i] > 0 {
			i++
		}
		if sure[i]+doubt[i] > 0 {
			i = from
		}
		doubt[i]++
	}
	return sure, doubt
}

// chunk is the number of presses of one trace; the filter starts afresh with
// each.
const chunk = 100_000

// Run scores methods side by side over n presses of a scenario.
func Run(sc Scenario, methods []Method, n int, seed int64) []Score {
	scores := make([]Score, len(methods))
	for ; n > 0; n -= chunk {
		tr := sc.Trace(min(n, chunk), seed)
		for i, m := range methods {
			scores[i].Add(m, tr)
		}
		seed += int64(len(Scenarios))
	}
	return scores
}
