// SPDX-License-Identifier: Apache-2.0

package device

import (
	"context"
	"time"
)

// The sources of the instants of edges, as a record names them.
const (
	KernelTime  = "kernel time"  // the kernel dated the edge when the contact moved
	ArrivalTime = "arrival time" // the program dated it when it was told
)

// A Sink takes what a source sees. Its methods never block and may be called
// from any goroutine.
type Sink interface {
	// Edge says that a line took a level at an instant of the board's clock.
	// The edges of one line come in the order of their instants. A level that
	// the line has already is allowed and means nothing.
	Edge(l Line, at time.Duration, closed bool)
	// Lost says that edges of the source may be missing up to an instant.
	Lost(at time.Duration, reason string)
	// Changed says that Report of the source tells something new.
	Changed()
}

// A Source watches some of a board's contacts: lines of a GPIO chip, a USB
// pedal, a sensor. It heals by itself: what is unplugged is looked for again.
type Source interface {
	// Lines are the contacts that it is to watch, whether they work or not.
	Lines() []Line
	// Watch sends the present level of each line, then what follows, until the
	// context ends; then it releases what it holds and returns. When the
	// source breaks it says Lost at once and sends the levels anew when it
	// works again. It is called once.
	Watch(ctx context.Context, to Sink)
	// Flush hands over what the kernel holds already before it returns. It
	// never waits for anything to happen. Before Watch and after its end it
	// does nothing.
	Flush()
	// Report says what came up and how it does now; a part that brings
	// contacts names them.
	Report() []Part
	// TimeSource is KernelTime or ArrivalTime.
	TimeSource() string
}

// A Light is a set of lamps or other outputs.
type Light interface {
	Light(lamp Lamp, on bool) // never blocks; a lamp it does not have is nothing
	Report() []Part
	Close() error // switches everything off
}
