// SPDX-License-Identifier: Apache-2.0

// Package contact turns the timestamped edges of bouncing contacts into
// presses, releases, doubts and supervision faults, each dated by its first
// edge. It is pure: what it says depends on the edges alone, not on when it is
// asked. It must not import anything of tallyhood, read a clock or do I/O, and
// it must not know what a press means for a run.
package contact

import "time"

const ms = time.Millisecond

// The contract of a contact (common practice where no figure is published).
//
// Measured against the published bounce figures in tests/bench/bounce, which
// has the tables and how to make them again: no press too many, none lost and
// no doubt in 2,000,000 presses of good contacts; with one make and break in a
// hundred as bad as the worst switch published, no press too many and one lost
// without a word in 3,000,000, for 0.7 to 0.9 % of doubtful ones. Half of the
// presses are known 40 ms after their first edge, 99 % within 77 ms.
const (
	// MaxChatter is how long either edge of a press may chatter.
	MaxChatter = 25 * ms
	// MaxSpike is the longest lone spike of either polarity.
	MaxSpike = 2 * ms
	// CableGrace is how long the changeover pair may be in an illegal state.
	CableGrace = 50 * ms
	// HeldAfter is when a press that does not end is called held.
	HeldAfter = 2 * time.Second

	// solid is the shortest closed run that is taken for the body of a press
	// and not for chatter.
	solid = 5 * ms
	// leanest is the body of the shortest press by foot, 60 ms, when chatter and
	// a spike before its release have taken their parts. A closure after a lone
	// touch has to be as long: the touch may be chatter, or a spike that must
	// not make a press of it.
	leanest = 28 * ms
	// hairline is a gap that no contact makes: interference, always bridged.
	hairline = 100 * time.Microsecond
	// settled: open for longer than any chatter. What may last up to a limit is
	// over with the tick after it.
	settled = MaxChatter + 1
	// patience bounds how long a stretch may keep its verdict open.
	patience = 250 * ms
	// slack: a spike just before a release makes its chatter look longer.
	slack = solid + MaxSpike

	// Presses come up to 5 a second. Two that begin closer than minApart are
	// one press of a contact that chatters beyond the contract (published
	// outlier: 157 ms), and so is what begins within shortGap of a release
	// unless it outlasts longBounce. (75 ms lie between a release and the next
	// press; chatter takes 25 of them and a spike may take 2 more.)
	// A contact seen to chatter beyond the contract is mistrusted for the next
	// waryFor presses: then a press has to begin waryApart from the last, room
	// for a spike that dates that one early, and what begins sooner than
	// longBounce after a release has to outlast it.
	minApart   = 165 * ms
	shortGap   = 45 * ms
	longBounce = 161 * ms
	waryApart  = 190 * ms
	waryFor    = 1000
)

// A Kind says what happened at a contact.
type Kind uint8

// The kinds of event.
const (
	Pressed    Kind = iota // a sure closure
	Doubtful               // a closure that may or may not have been a press
	Released               // a sure closure has ended
	Held                   // a closure, sure or doubtful, has lasted HeldAfter
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
