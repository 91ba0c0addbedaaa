// SPDX-License-Identifier: Apache-2.0

// Package device says what a board offers to the rest of tallyhood: a stream
// of edges on named contacts, lamps, and a report of which parts came up.
// Implementations live in its sub-packages. It must not know what a squeeze
// or a taste means for a run, and it must not read a clock.
package device

import "time"

// A Line names one contact. A line is closed (1) or open (0); the electrical
// polarity is the board's own business.
type Line string

// The contacts of a board. The wearer's button is either the changeover pair
// TasteNO and TasteNC (supervised) or the single contact Taste.
const (
	Squeeze Line = "squeeze"  // closed while the nebuliser's bulb is squeezed
	Step    Line = "step"     // the tester's go-on contact
	TasteNO Line = "taste_no" // wearer's button, closed when pressed
	TasteNC Line = "taste_nc" // wearer's button, closed when released
	Taste   Line = "taste"    // wearer's button as a single contact, closed when pressed
)

// Push is no contact, and not among Lines: a source that finds squeezes by
// measuring closes it as soon as a push of the bulb has begun, and opens it when
// what has come of the push is known, after the closure of Squeeze that tells it
// if there is one. What closes Squeeze while Push is closed began with Push.
const Push Line = "push"

// Lines lists every contact name in a fixed order.
func Lines() []Line { return []Line{Squeeze, Step, TasteNO, TasteNC, Taste} }

// An Edge is the level that a line took at an instant.
type Edge struct {
	// At is the instant on the board's monotonic clock (see device/clock).
	At time.Duration
	// Line is the contact.
	Line Line
	// Closed is the level after the edge.
	Closed bool
	// Seq numbers the edges of a board from 1 without holes. Zero means that
	// the source does not number its edges.
	Seq uint64
}

// A Lamp names an output that a person sees.
type Lamp string

// The lamps of a board; a board may have none of them.
const (
	LampDue  Lamp = "due"  // squeezes are due
	LampRun  Lamp = "run"  // the run clock runs
	LampStop Lamp = "stop" // stop: tasted, not valid or a fault
)

// State says whether a part of the box came up.
type State string

// The states of a part in the start-up report.
const (
	Loaded State = "loaded"
	Absent State = "absent" // not there, and nothing asked for it
	Failed State = "failed" // there or asked for, but it does not work
)

// A Part is one line of the start-up report.
type Part struct {
	Name   string `json:"name"`
	State  State  `json:"state"`
	Reason string `json:"reason,omitempty"` // why it is absent or failed, in words
	Lines  []Line `json:"lines,omitempty"`  // the contacts that it brings
}

// A Lost event says that edges may be missing: the queue of the source ran
// over or a read failed. What was missed is unknown.
type Lost struct {
	At     time.Duration
	Reason string
}

// A Board is a source of edges. Edges and Lost are closed by Close. A board
// delivers the present level of each of its lines as its first edges, and
// never blocks for ever on a slow reader: what it has to drop it reports on
// Lost.
type Board interface {
	// Lines are the contacts that this board has.
	Lines() []Line
	// Edges delivers edges in the order of At.
	Edges() <-chan Edge
	// Lost delivers gaps in the stream of edges.
	Lost() <-chan Lost
	// Light sets a lamp; a board without that lamp does nothing.
	Light(lamp Lamp, on bool)
	// Report says what came up, for log, page and record.
	Report() []Part
	// Close releases the board. It may be called more than once.
	Close() error
}

// A Flusher is a Board that can hand over at once what the kernel holds: when
// Flush returns, every edge that the kernel knew of is in Edges. It never waits.
type Flusher interface{ Flush() }
