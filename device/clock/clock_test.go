// SPDX-License-Identifier: Apache-2.0

package clock_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device/clock"
)

// Against another clock of the machine: a clock at speed N runs N times as
// far. The bounds hold also on a busy machine, since they are measured from
// outside and from inside.
func TestSpeed(t *testing.T) {
	for _, speed := range []float64{0.5, 1, 20, 200} {
		outer := time.Now()
		c := clock.New(speed)
		inner := time.Now()
		if err := c.Sleep(t.Context(), time.Duration(speed*float64(50*time.Millisecond))); err != nil {
			t.Fatal(err)
		}
		least := time.Since(inner)
		now := c.Now()
		most := time.Since(outer)
		if low, high := time.Duration(float64(least)*speed), time.Duration(float64(most)*speed); now < low-time.Duration(speed) || now > high+time.Duration(speed) {
			t.Errorf("speed %g: %v, want from %v to %v", speed, now, low, high)
		}
		if least < 49*time.Millisecond {
			t.Errorf("speed %g: 50 ms took %v", speed, least)
		}
		if c.Speed() != speed {
			t.Errorf("speed %g is said to be %g", speed, c.Speed())
		}
		if got := c.Real(time.Duration(speed * float64(time.Second))); got != time.Second {
			t.Errorf("speed %g: %g s take %v", speed, speed, got)
		}
	}
}

func TestWake(t *testing.T) {
	c := clock.New(100)
	for _, at := range []time.Duration{-time.Hour, 0, c.Now()} {
		ch, stop := c.Wake(at)
		<-ch // at once: the instant is past
		stop()
	}
	at := c.Now() + 2*time.Second
	ch, stop := c.Wake(at)
	defer stop()
	<-ch
	if now := c.Now(); now < at {
		t.Errorf("woken at %v, before %v", now, at)
	}
	given, stop := c.Wake(c.Now() + 3*time.Second)
	stop()
	if err := c.Sleep(t.Context(), c.Now()+6*time.Second); err != nil {
		t.Fatal(err)
	}
	select {
	case <-given:
		t.Error("a timer that was given up came")
	default:
	}
}

func TestSleepEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := clock.New(1).Sleep(ctx, time.Hour); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want canceled", err)
	}
}

// A reading of the kernel's clock between two readings of ours lies between
// them, at any speed.
func TestFromMonotonic(t *testing.T) {
	for _, speed := range []float64{1, 10} {
		c := clock.New(speed)
		for range 50 {
			before := c.Now()
			var ts unix.Timespec
			if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
				t.Fatal(err)
			}
			after := c.Now()
			slack := time.Duration(speed * float64(100*time.Microsecond)) // the tie of the two clocks
			if at := c.FromMonotonic(time.Duration(ts.Nano())); at < before-slack || at > after+slack {
				t.Fatalf("speed %v: %v is not between %v and %v", speed, at, before, after)
			}
		}
	}
}
