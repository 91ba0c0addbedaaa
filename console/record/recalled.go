// SPDX-License-Identifier: Apache-2.0

package record

import "tallyhood/console/procedure"

// A Recalled says that a run was called back after its end: what its own facts
// came to does not stand any more.
type Recalled struct {
	Outcome procedure.Outcome `json:"outcome"` // the first one, of the run's own facts
	Reason  procedure.Reason  `json:"reason"`  // of the first outcome
	Why     string            `json:"why"`     // in the words of who called it back
	At      string            `json:"at"`      // wall time, RFC 3339; empty: not known
	Quality string            `json:"quality"` // of the clock then
	By      string            `json:"by"`
}

// When says in words that a run was recalled, on which day and by whom, as far
// as that is known.
func (c Recalled) When() string {
	out := "recalled"
	if c.At != "" {
		out += " on " + c.At
	}
	if c.By != "" {
		out += " by " + c.By
	}
	return out
}

// Standing is what a run comes to as of now: what its own facts say, or not
// valid where it was recalled. The second value is the recall with the first
// outcome in it; nil when there was none.
func Standing(v procedure.Ended, c *Recalled) (procedure.Ended, *Recalled) {
	if c == nil {
		return v, nil
	}
	was := *c
	was.Outcome, was.Reason = v.Outcome, v.Reason
	v.Outcome, v.Reason = procedure.NotValid, procedure.MistCheckFailed
	return v, &was
}

// Standing gives the record of the run as of now. What was measured stays as it
// is.
func (r Record) Standing(c *Recalled) Record {
	v, was := Standing(procedure.Ended{Outcome: r.Outcome, Reason: r.Reason}, c)
	r.Outcome, r.Reason, r.Recalled = v.Outcome, v.Reason, was
	return r
}

// First is the outcome of the run's own facts, before any recall.
func (r Record) First() procedure.Outcome {
	if r.Recalled != nil {
		return r.Recalled.Outcome
	}
	return r.Outcome
}
