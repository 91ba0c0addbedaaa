// SPDX-License-Identifier: Apache-2.0

// Package insight is the statistics over a site's runs: pass shares with their
// uncertainty, which facepiece to try first, how the work of testers runs, and
// how far one result can be told from chance. It is pure: the same tests give
// the same figures, in whatever parts they were counted. It must not read a
// clock, do I/O, draw lots, know a name, or judge a person: what it says is
// about counts, and a count too small to say anything is called so.
package insight

import (
	"errors"
	"fmt"
	"time"

	"tallyhood/console/procedure"
)

// Level is the confidence of every interval that is not said otherwise.
const Level = 0.95

// Few is the house limit [H] under which a share is called too few to say: the
// 95 % interval of ten tests is still some fifty points wide in the middle.
const Few = 10

// An ID stands for a person or a tester. It says nothing about who it is.
type ID uint64

// IDOf makes an id of a key, such as a row's key in the store. It is the 64-bit
// FNV-1a hash: among 100,000 keys two meet with a chance of 3 in 10,000,000,000.
func IDOf(key string) ID {
	h := uint64(14695981039346656037)
	for i := range len(key) {
		h = (h ^ uint64(key[i])) * 1099511628211
	}
	return ID(h)
}

// A Facepiece is what was worn, as far as a result may depend on it.
type Facepiece struct{ Make, Model, Size, Style string }

// StageOrder are the stages that are timed, in order; Test.Stages follows it.
var StageOrder = [...]procedure.Stage{
	procedure.Ready, procedure.Screening, procedure.Clearing, procedure.Donning, procedure.Dosing, procedure.Running,
}

// Places in StageOrder.
const (
	atScreening = 1
	atDonning   = 3
	atRunning   = 5
)

// A Test is one run as statistics see it.
type Test struct {
	Person, Tester ID
	Facepiece      Facepiece
	Agent, Rules   string
	Outcome        procedure.Outcome
	Reason         procedure.Reason
	Bin            int // 10, 20 or 30; 0: not reached
	Squeezes       int // exact count at the report; 0 with bin 0
	// Remarks on the doses of the run.
	Late, Hurried, Extra int
	// Stages are the times spent in StageOrder's stages; 0 for one that was
	// not gone through to its end.
	Stages [len(StageOrder)]time.Duration
	Day    Day           // the site's own calendar; NoDay when the clock was not trusted
	Clock  time.Duration // time of that day
	// Attempt is 1 for the person's first fit test of the sitting, 2 for the
	// next; 0 when not known, which counts as the first.
	Attempt  int
	Practice bool
}

// Errors of Add and Remove.
var (
	ErrPractice = errors.New("a practice run is no result")
	ErrAbsent   = errors.New("this test was not counted here")
)

// check says what is wrong with a test.
func (t Test) check() error {
	if t.Practice {
		return ErrPractice
	}
	switch t.Bin {
	case 0, 10, 20, 30:
	default:
		return fmt.Errorf("bin %d: there are 10, 20 and 30", t.Bin)
	}
	switch t.Outcome {
	case procedure.Pass, procedure.Fail:
		if t.Bin == 0 {
			return fmt.Errorf("outcome %s without a bin", t.Outcome)
		}
	case procedure.CannotTaste:
		if t.Bin != 0 {
			return fmt.Errorf("outcome %s with bin %d", t.Outcome, t.Bin)
		}
	case procedure.NotValid:
	default:
		return fmt.Errorf("outcome %q is none", t.Outcome)
	}
	// A doubtful squeeze can raise the bin, so the exact count may be lower.
	if t.Squeezes < 0 || t.Squeezes > t.Bin {
		return fmt.Errorf("%d squeezes at the report in bin %d", t.Squeezes, t.Bin)
	}
	if t.Late < 0 || t.Hurried < 0 || t.Extra < 0 {
		return errors.New("a negative count of remarks")
	}
	for i, d := range t.Stages {
		if d < 0 {
			return fmt.Errorf("stage %s took %v", StageOrder[i], d)
		}
	}
	return nil
}

// begun tells whether the initial dose was begun: it is when the donning is over.
func (t Test) begun() bool {
	return t.Outcome == procedure.Pass || t.Outcome == procedure.Fail || t.Stages[atDonning] > 0
}

// whole is the time from the sensitivity test to the verdict; 0 when a stage
// in between was not gone through.
func (t Test) whole() time.Duration {
	var sum time.Duration
	for _, d := range t.Stages[atScreening:] {
		if d == 0 {
			return 0
		}
		sum += d
	}
	return sum
}

// From makes the test of a run from its facts, in order and from the opening
// on, and the remarks on a top-up as the record has them. Day, clock and
// attempt are the caller's to set, who knows the site's calendar. A run without
// a verdict is an error.
func From(facts []procedure.Dated, remarks func(procedure.State, int) []string) (Test, error) {
	var s procedure.State
	spent := map[procedure.Stage]time.Duration{}
	for _, f := range facts {
		was, since := s.Stage, s.Since
		s = procedure.Fold(s, f)
		if s.Stage != was && s.Verdict == nil {
			spent[was] += max(0, s.Since-since)
		} else if s.Stage != was && s.Stage == procedure.Over {
			spent[was] += max(0, s.Verdict.At-since)
		}
	}
	if s.Opened == nil || s.Verdict == nil {
		return Test{}, errors.New("the run has no verdict yet")
	}
	o := s.Opened
	t := Test{
		Person: IDOf(o.Wearer.ID), Tester: IDOf(o.Tester),
		Facepiece: Facepiece{o.Facepiece.Make, o.Facepiece.Model, o.Facepiece.Size, o.Facepiece.Style},
		Agent:     o.Agent, Rules: o.Rules.ID, Outcome: s.Verdict.Outcome, Reason: s.Verdict.Reason,
		Bin: s.Bin, Stages: StagesOf(s.Verdict.Outcome, spent), Day: NoDay, Practice: o.Practice != "",
	}
	if s.Bin > 0 {
		t.Squeezes = min(s.SureAtBin, s.Bin)
	}
	if s.Initial.Hurried {
		t.Hurried++
	}
	for n := range s.TopUps {
		for _, r := range remarks(s, n+1) {
			switch r {
			case "late":
				t.Late++
			case "hurried":
				t.Hurried++
			case "extra":
				t.Extra++
			}
		}
	}
	return t, nil
}

// StagesOf are the times of the stages that a run went through to their end, of
// the times that it spent in each: the last one is left out unless the run
// passed, for it was cut short.
func StagesOf(outcome procedure.Outcome, spent map[procedure.Stage]time.Duration) (out [len(StageOrder)]time.Duration) {
	last := -1
	for i, s := range StageOrder {
		if out[i] = max(0, spent[s]); out[i] > 0 {
			last = i
		}
	}
	if last >= 0 && outcome != procedure.Pass && spent[procedure.ProvingButton] == 0 {
		out[last] = 0
	}
	return out
}
