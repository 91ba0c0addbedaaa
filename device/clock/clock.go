// SPDX-License-Identifier: Apache-2.0

// Package clock is the box's sense of time: one monotonic clock on which all
// edges, facts and cues are dated, timers on it, and wall time as a label. It
// is the only caller of the time package's clock and timers. It must not let
// wall time steer anything.
package clock

import (
	"context"
	"time"

	"golang.org/x/sys/unix"
)

// A Clock counts from its making, Speed times as fast as real time. Its
// methods may be called from any goroutine.
type Clock struct {
	origin time.Time
	speed  float64
	kernel time.Duration // CLOCK_MONOTONIC at the origin
}

// New starts a clock at 0. A speed other than 1 is for practice alone.
func New(speed float64) *Clock {
	c := &Clock{speed: speed}
	// Both clocks are the same one of the kernel, counted from different
	// beginnings. The reading between the two closest others is kept.
	best := time.Duration(1<<63 - 1)
	for range 16 {
		before := time.Now()
		var ts unix.Timespec
		if unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts) != nil {
			break
		}
		if took := time.Since(before); took < best {
			best = took
			c.origin, c.kernel = before.Add(took/2), time.Duration(ts.Nano())
		}
	}
	if c.origin.IsZero() {
		c.origin = time.Now()
	}
	return c
}

// FromMonotonic gives the instant on this clock of a reading of the kernel's
// CLOCK_MONOTONIC, right to some microseconds. Edges of before the clock was
// made have negative instants.
func (c *Clock) FromMonotonic(reading time.Duration) time.Duration {
	d := reading - c.kernel
	if c.speed == 1 {
		return d
	}
	return time.Duration(float64(d) * c.speed)
}

// Now is the time since the clock was made.
func (c *Clock) Now() time.Duration {
	d := time.Since(c.origin)
	if c.speed == 1 {
		return d
	}
	return time.Duration(float64(d) * c.speed)
}

// Speed is how much faster than real time the clock runs.
func (c *Clock) Speed() float64 { return c.speed }

// Real is how long a stretch of this clock takes in real time.
func (c *Clock) Real(d time.Duration) time.Duration {
	if c.speed == 1 {
		return d
	}
	return time.Duration(float64(d) / c.speed)
}

// Wake returns a channel that receives once when the clock has reached an
// instant, at once if it is past, and a function that gives the timer up.
func (c *Clock) Wake(at time.Duration) (<-chan struct{}, func()) {
	ch := make(chan struct{}, 1)
	t := time.AfterFunc(max(0, c.Real(at-c.Now())), func() { ch <- struct{}{} })
	return ch, func() { t.Stop() }
}

// Sleep waits until the clock has reached an instant or the context ends.
func (c *Clock) Sleep(ctx context.Context, at time.Duration) error {
	ch, stop := c.Wake(at)
	defer stop()
	select {
	case <-ch:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Moment is now as Go's network connections want it for their deadlines: it
// carries the monotonic reading, so that steps of wall time do not move them.
func Moment() time.Time { return time.Now() }
