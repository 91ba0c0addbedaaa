// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"tallyhood/console/procedure"
)

// Repeats are failures that came again.
type Repeats struct {
	Failed int // persons with at least one fail
	Twice  int // persons with two or more, with any facepieces
	Same   int // persons with two or more with one model
	Models []RepeatModel
}

// A RepeatModel is how many persons failed a model, and how many twice or more.
type RepeatModel struct {
	Make, Model   string
	Failed, Twice int
}

// Repeats counts persons, not tests.
func (s *Set) Repeats() Repeats {
	r := Repeats{Failed: len(s.failed), Twice: s.twice, Same: s.same}
	for _, m := range s.models {
		if m.Failed > 0 {
			r.Models = append(r.Models, m)
		}
	}
	slices.SortFunc(r.Models, func(a, b RepeatModel) int {
		return cmp.Or(cmp.Compare(b.Twice, a.Twice), cmp.Compare(b.Failed, a.Failed), cmp.Compare(a.Make, b.Make), cmp.Compare(a.Model, b.Model))
	})
	return r
}

// A RepeatPerson failed one model more than once.
type RepeatPerson struct {
	Person      ID
	Make, Model string
	Fails       int
}

// RepeatPersons are for who may know them: never for a chart.
func (s *Set) RepeatPersons() []RepeatPerson {
	var out []RepeatPerson
	for person, f := range s.failed {
		for _, m := range f.models() {
			if m.n > 1 {
				out = append(out, RepeatPerson{person, s.models[m.model].Make, s.models[m.model].Model, int(m.n)})
			}
		}
	}
	slices.SortFunc(out, func(a, b RepeatPerson) int {
		return cmp.Or(cmp.Compare(b.Fails, a.Fails), cmp.Compare(a.Make, b.Make), cmp.Compare(a.Model, b.Model), cmp.Compare(a.Person, b.Person))
	})
	return out
}

// An AgentBins is how people tasted one agent in the sensitivity test.
type AgentBins struct {
	Agent  string
	Bins   [3]int  // bins 10, 20 and 30
	None   int     // tasted nothing by squeeze 30
	Exact  [31]int // by the exact count; 0: doubtful squeezes only
	Counts Counts  // of all tests with the agent
	// Insensitive is the share of None among sensitivity tests that came to an
	// end. A person who was tested twice counts twice.
	Insensitive Estimate
}

// Share of a bin (0 to 2, or 3 for none) among those that came to an end.
func (a AgentBins) Share(i int) Estimate {
	all := [4]int{a.Bins[0], a.Bins[1], a.Bins[2], a.None}
	return Wilson(all[i], all[0]+all[1]+all[2]+all[3], Level)
}

// Agents are the bins by agent.
func (s *Set) Agents() []AgentBins {
	var out []AgentBins
	for _, name := range slices.Sorted(maps.Keys(s.agents)) {
		a := s.agents[name]
		if a.Tests() == 0 {
			continue
		}
		b := AgentBins{Agent: name, Bins: a.bins, None: a.CannotTaste, Exact: a.exact, Counts: a.Counts}
		b.Insensitive = b.Share(3)
		out = append(out, b)
	}
	return out
}

// A ReasonCount is how often tests ended so for a reason.
type ReasonCount struct {
	Outcome procedure.Outcome
	Reason  procedure.Reason
	Tests   int
}

// Reasons by outcome, the most frequent first.
func (s *Set) Reasons() []ReasonCount {
	var out []ReasonCount
	for k, n := range s.reasons {
		out = append(out, ReasonCount{procedure.Outcome(k.outcome), procedure.Reason(k.reason), n})
	}
	slices.SortFunc(out, func(a, b ReasonCount) int {
		return cmp.Or(cmp.Compare(a.Outcome, b.Outcome), cmp.Compare(b.Tests, a.Tests), cmp.Compare(a.Reason, b.Reason))
	})
	return out
}

// Whole stands for the time from the sensitivity test to the verdict of tests
// that went through every stage.
const Whole procedure.Stage = "whole"

// A StageTime is how long a stage took, of the tests that went through it.
type StageTime struct {
	Stage procedure.Stage
	N     int
	// The 5th, 25th, 50th, 75th and 95th of a hundred.
	P5, Q1, Median, Q3, P95 Span
}

// Stages are the times of StageOrder's stages and of the whole; a stage that no
// test went through is left out.
func (s *Set) Stages() []StageTime {
	var out []StageTime
	add := func(stage procedure.Stage, h Histogram) {
		if h.N() == 0 {
			return
		}
		t := StageTime{Stage: stage, N: h.N()}
		for _, q := range []struct {
			to *Span
			at float64
		}{{&t.P5, 0.05}, {&t.Q1, 0.25}, {&t.Median, 0.5}, {&t.Q3, 0.75}, {&t.P95, 0.95}} {
			*q.to, _ = h.Quantile(q.at)
		}
		out = append(out, t)
	}
	for i, stage := range StageOrder {
		add(stage, s.stages[i])
	}
	add(Whole, s.whole)
	return out
}

// Resolution is the width of the class that a time falls in.
func Resolution(d time.Duration) time.Duration {
	b := bounds(class(d))
	return b.To - b.From
}
