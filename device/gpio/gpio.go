// SPDX-License-Identifier: Apache-2.0

// Package gpio joins the contacts and lamps on the lines of a board's GPIO
// chips to tallyhood: a device.Source that reads edges, a device.Light that
// sets outputs, and a listing of what the board has. It must not decide
// whether a press counts, and it must not hand out a level that it did not
// read.
//
// Edges come through one of two readers behind one interface. The own reader
// takes the kernel's line events, which carry the kernel's time and numbers;
// periph's reader takes its line sets, which carry neither. Either way the
// level is read again after each burst and ten times a second: the kernel runs
// edges together that come faster than its interrupt thread, and no reader can
// get back what never was an event.
package gpio

import (
	"fmt"
	"log/slog"
	"time"

	"tallyhood/device"
)

// A Clock dates edges and wakes. It is device/clock or a test's.
type Clock interface {
	Now() time.Duration
	Wake(at time.Duration) (<-chan struct{}, func())
	FromMonotonic(reading time.Duration) time.Duration
}

// A Pull is the bias of an input line.
type Pull string

// The pulls. With PullNone the wiring brings its own resistor.
const (
	PullUp   Pull = "up"
	PullDown Pull = "down"
	PullNone Pull = "none"
)

// The edge readers.
const (
	Kernel = "kernel" // own reader of the kernel's line events: kernel time
	Periph = "periph" // periph's line sets: time on waking
)

// A Place is where a line is: its name, or its chip and its offset on it. With
// a name the chip is needed only if two chips have a line of that name.
type Place struct {
	Name   string // as the kernel knows it, such as GPIO17
	Chip   string // label, or the kernel's name such as gpiochip0
	Offset int    // on the chip; used when Name is empty
}

// String names the place for a person.
func (p Place) String() string {
	switch {
	case p.Name != "" && p.Chip != "":
		return p.Name + " of " + p.Chip
	case p.Name != "":
		return p.Name
	}
	return fmt.Sprintf("line %d of %s", p.Offset, p.Chip)
}

// A Contact is one contact on a line.
type Contact struct {
	Line device.Line
	Place
	Pull      Pull // empty is PullNone
	ActiveLow bool // the line is low while the contact is closed
}

// Options are what a source needs.
type Options struct {
	Clock    Clock
	Log      *slog.Logger
	Contacts []Contact
	// Edges is Kernel (also when empty) or Periph. Periph needs Init.
	Edges string
	// Buffer is how many events the kernel is asked to hold for each chip; 0
	// is as many as it allows (1,024). Only the own reader can ask.
	Buffer int
	// Sample is how often the levels are looked at beside the edges; 0 is
	// every 100 ms.
	Sample time.Duration

	machine machine // nil is the machine that the program runs on
}

// An Output is one lamp, buzzer, vibration pad or light of a stack.
type Output struct {
	Name string // for the report
	Place
	ActiveLow bool // the line is low while the output is on
	Shows     device.Lamp
	Pulse     time.Duration // on and off for so long while it is lit; 0 is steady
}

// OutputOptions are what outputs need.
type OutputOptions struct {
	Clock   Clock
	Log     *slog.Logger
	Outputs []Output

	machine machine
}

// A Chip is a GPIO chip as the kernel describes it.
type Chip struct {
	Name  string // the kernel's, such as gpiochip0; it may differ after a restart
	Label string // the driver's or the board's
	Path  string
	Lines []LineInfo // in the order of their offsets
}

// A LineInfo is a line as the kernel describes it.
type LineInfo struct {
	Offset   int
	Name     string // may be empty
	Used     bool   // by a program or by the kernel itself
	Consumer string // who uses it, where that is told
	Output   bool   // its direction
}

// Counts say how a contact's edges came since the line was opened.
type Counts struct {
	Edges  uint64 `json:"edges"`  // events of the kernel
	Merged uint64 `json:"merged"` // levels that had no event of their own because edges ran together
	Missed uint64 `json:"missed"` // changes that only looking found
	Lost   uint64 `json:"lost"`   // events that the kernel is known to have dropped
}
