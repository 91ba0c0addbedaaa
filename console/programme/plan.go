// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"math/rand/v2"
	"slices"
	"time"

	"tallyhood/console/procedure"
)

// The steps of a test as a plan knows them: the stages of a run, and what
// follows until the next person can begin.
const (
	stepReady     = string(procedure.Ready)
	stepScreening = string(procedure.Screening)
	stepClearing  = string(procedure.Clearing)
	stepDonning   = string(procedure.Donning)
	stepDosing    = string(procedure.Dosing)
	stepRunning   = string(procedure.Running)
	stepAfter     = "after"
)

var planSteps = []string{stepReady, stepScreening, stepClearing, stepDonning, stepDosing, stepRunning, stepAfter}

// A StepTime is how long a step takes in a plan, and how that is known.
type StepTime struct {
	Step    string `json:"step"`
	Seconds int    `json:"seconds"` // the median of past runs, or a figure
	Source  string `json:"source"`
	Mark    string `json:"mark"` // as of a rule set's figures; [D] from past runs
}

// leastPast is how many past runs a plan wants before it believes them [H].
const leastPast = 10

// A PlanInput is what a plan is made from.
type PlanInput struct {
	People int // whose end is asked for; 0: only how many a day holds
	Hoods  int // 1 at least
	Rules  procedure.RuleSet
	Past   []Run         // of this site; practice and runs without an outcome are passed over
	Day    time.Duration // of work; 0: 8 h
	Seed   uint64        // the same gives the same plan
	Tries  int           // simulated days; 0: 1000
}

// A Spread is the middle of what was simulated, and where 5 and 95 of a hundred
// lie.
type Spread struct {
	Median int `json:"median"`
	Low    int `json:"low"`  // 5 %
	High   int `json:"high"` // 95 %
}

// A PlanResult is how many people a day holds, and how that was come by.
type PlanResult struct {
	PerDay  Spread     `json:"per_day"`  // people who were done
	FinishS Spread     `json:"finish_s"` // seconds until all of PlanInput.People are; 0 without any
	Steps   []StepTime `json:"steps"`
	Past    int        `json:"past"` // runs that it rests on; 0: on the rules and assumptions
	Said    []string   `json:"said"` // assumptions, as sentences
}

// A lasting is how long each step of one test takes.
type lasting struct {
	steps map[string]time.Duration
	fit   bool // it went on to the fit test
	again bool // the person begins once more
}

// steps are the rule set's times and, where it has none, assumptions.
func steps(r procedure.RuleSet) []StepTime {
	assumed := func(step string, seconds int, why string) StepTime { return StepTime{step, seconds, why, "[H]"} }
	return []StepTime{
		assumed(stepReady, 180, "assumed: questions, explanation, nebuliser"),
		assumed(stepScreening, 60, "assumed: up to 30 squeezes and the report"),
		assumed(stepClearing, 180, "assumed: rinse, wipe, wait until the taste is gone"),
		{stepDonning, int(r.Figures.Wear.Value), r.Figures.Wear.Source, r.Figures.Wear.Mark},
		assumed(stepDosing, 30, "assumed: the initial dose"),
		{stepRunning, int(r.Length().Seconds()), r.Figures.Exercise.Source, r.Figures.Exercise.Mark},
		assumed(stepAfter, 120, "assumed: hood off, record, wipe, next person in"),
	}
}

// past turns the runs that a plan can rest on into what it samples from.
func past(runs []Run, after time.Duration) []lasting {
	var out []lasting
	for _, r := range runs {
		if r.Practice || r.First == "" || len(r.StagesS) == 0 {
			continue
		}
		l := lasting{steps: map[string]time.Duration{stepAfter: after}, again: r.First == procedure.NotValid || r.First == procedure.Fail}
		for stage, s := range r.StagesS {
			step := stage
			switch procedure.Stage(stage) {
			case procedure.ProvingButton:
				step = stepRunning
			case procedure.ProvingMist, procedure.Over:
				step = stepAfter
			}
			l.steps[step] += time.Duration(s) * time.Second
		}
		_, l.fit = r.StagesS[stepDonning]
		out = append(out, l)
	}
	return out
}

// times gives the steps with the median of past runs where there are enough of
// them, and what to sample from: past runs, or one that takes what is assumed.
func times(r procedure.RuleSet, runs []Run) ([]StepTime, []lasting) {
	out := steps(r)
	known := past(runs, time.Duration(out[len(out)-1].Seconds)*time.Second)
	if len(known) < leastPast {
		l := lasting{steps: map[string]time.Duration{}, fit: true}
		for _, s := range out {
			l.steps[s.Step] = time.Duration(s.Seconds) * time.Second
		}
		return out, []lasting{l}
	}
	for i, s := range out {
		var all []time.Duration
		for _, l := range known {
			if d, took := l.steps[s.Step]; took {
				all = append(all, d)
			}
		}
		if len(all) >= leastPast && s.Step != stepAfter {
			slices.Sort(all)
			out[i] = StepTime{s.Step, int(all[len(all)/2].Seconds()), "median of past runs", "[D]"}
		}
	}
	return out, known
}

// mostAgain bounds how often one person begins anew on a day.
const mostAgain = 3

// Plan says how many people one tester gets done in a day, by playing days with
// the times of past runs. It is pure: the same input gives the same result.
//
// One tester leads each sensitivity test and each fit test; while the taste
// clears and the facepiece is worn nobody is needed. A hood is one person's from
// the beginning to the end, so with two of them the next person's sensitivity
// test is done while one wears the facepiece. Whoever is ready for the fit test
// goes before whoever is to begin.
func Plan(in PlanInput) PlanResult {
	day, tries := in.Day, in.Tries
	if day == 0 {
		day = 8 * time.Hour
	}
	if tries == 0 {
		tries = 1000
	}
	out := PlanResult{Said: []string{
		"One tester; no breaks; a hood is one person's from the sensitivity test to the end.",
		"Whoever is ready for the fit test goes before whoever is to begin.",
	}}
	var from []lasting
	out.Steps, from = times(in.Rules, in.Past)
	if len(from) >= leastPast {
		out.Past = len(from)
		out.Said = append(out.Said, "Times are those of past runs, drawn as whole runs; a fail or a run that is not valid is followed by another, up to three in all.")
	} else {
		out.Said = append(out.Said, "There are too few past runs: times are those of the rules and, where they say none, assumed; every test is taken to be done at the first go.")
	}
	dice := rand.New(rand.NewPCG(in.Seed, 0))
	var done, finish []int
	for range tries {
		draw := func() lasting { return from[dice.IntN(len(from))] }
		n := 0
		_, ends := simulate(-1, max(1, in.Hoods), day, draw)
		for _, end := range ends {
			if end <= day {
				n++
			}
		}
		done = append(done, n)
		if in.People > 0 {
			_, ends := simulate(in.People, max(1, in.Hoods), 0, draw)
			finish = append(finish, int(slices.Max(ends).Seconds()))
		}
	}
	out.PerDay, out.FinishS = spread(done), spread(finish)
	return out
}

func spread(all []int) Spread {
	if len(all) == 0 {
		return Spread{}
	}
	slices.Sort(all)
	at := func(share float64) int { return all[int(share*float64(len(all)-1)+0.5)] }
	return Spread{at(0.5), at(0.05), at(0.95)}
}

// simulate plays people through a day and gives the instants at which they
// first begin and at which they are done, each in that order: so many people,
// or (-1) as many as begin before the end.
func simulate(people, hoods int, until time.Duration, draw func() lasting) (begins, ends []time.Duration) {
	type wearer struct {
		ready time.Duration // for the fit test
		lasting
		tries int
	}
	var (
		now     time.Duration // the tester is free
		under   []wearer      // with a hood
		waiting []int         // tries of those who begin anew
	)
	over := func(w wearer) {
		if w.again && w.tries < mostAgain {
			waiting = append(waiting, w.tries)
			return
		}
		ends = append(ends, now)
	}
	for {
		next := -1
		for i, w := range under {
			if next < 0 || w.ready < under[next].ready {
				next = i
			}
		}
		more := people < 0 && now < until || len(begins) < people
		switch {
		case next >= 0 && under[next].ready <= now:
			w := under[next]
			under = slices.Delete(under, next, next+1)
			now += w.steps[stepDosing] + w.steps[stepRunning] + w.steps[stepAfter]
			over(w)
		case len(under) < hoods && (len(waiting) > 0 || more):
			w := wearer{lasting: draw(), tries: 1}
			if len(waiting) > 0 {
				w.tries += waiting[0]
				waiting = waiting[1:]
			} else {
				begins = append(begins, now)
			}
			now += w.steps[stepReady] + w.steps[stepScreening]
			if !w.fit {
				now += w.steps[stepAfter] + w.steps[stepClearing]
				over(w)
				continue
			}
			w.ready = now + w.steps[stepClearing] + w.steps[stepDonning]
			under = append(under, w)
		case next >= 0:
			now = under[next].ready
		default:
			return begins, ends
		}
	}
}
