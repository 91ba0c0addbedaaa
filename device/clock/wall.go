// SPDX-License-Identifier: Apache-2.0

package clock

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// A Quality says how far wall time can be trusted.
type Quality string

// The qualities, from the least to the best.
const (
	// Unset: the time is before this program was written, or before something
	// that this box has recorded already.
	Unset Quality = "unset"
	// Restored: from a battery, or from what the box last knew before its power
	// went; nobody has looked at it since.
	Restored Quality = "restored"
	// Confirmed: a person has looked at it since the daemon started.
	Confirmed Quality = "confirmed"
	// Network: the operating system keeps it by a time server.
	Network Quality = "network"
)

// Trusted says whether the time is good enough to reckon due dates from.
func (q Quality) Trusted() bool { return q == Confirmed || q == Network }

// built is a date before which no true clock can stand.
var built = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// last is a date after which no person means it.
var last = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)

// StepFrom is the smallest jump of the operating system's time against the
// monotonic clock that counts as a step; less is what time servers steer.
const StepFrom = time.Second

// A Wall is wall time with its quality. It is a label: nothing is ever measured
// with it. What a person confirmed goes on by the monotonic clock and what the
// machine slept, whatever the operating system's time does, until a time server
// is heard. Its methods may
// be called from any goroutine.
type Wall struct {
	system func() time.Time // of the operating system
	count  func() time.Duration
	synced func() bool
	asleep func() time.Duration // how long the machine has slept in all

	mu     sync.Mutex
	floor  time.Time // nothing true is before it
	told   time.Time // what a person confirmed, and
	toldAt time.Duration
	seen   time.Time // the operating system's time when it was last looked at, and
	seenAt time.Duration
	steps  int
	slept  time.Duration // asleep when it was last looked at
}

// NewWall looks at the clocks of the machine. What the box has recorded already,
// up to floor, is in the past; zero when it has recorded nothing.
func NewWall(floor time.Time) *Wall {
	start := time.Now()
	return newWall(floor, time.Now, func() time.Duration { return time.Since(start) }, servedTime, asleep)
}

func newWall(floor time.Time, system func() time.Time, count func() time.Duration, synced func() bool, asleep func() time.Duration) *Wall {
	return &Wall{system: system, count: count, synced: synced, asleep: asleep, floor: floor, seen: system().Round(0), seenAt: count(), slept: asleep()}
}

// Now is the wall time and how good it is.
func (w *Wall) Now() (time.Time, Quality) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.now()
}

func (w *Wall) now() (time.Time, Quality) {
	t := w.system().Round(0)
	switch {
	case w.synced() && possible(t) == nil:
		return t, Network // it knows better than a record made under a wrong time
	case !w.told.IsZero():
		return w.told.Add(w.gone() - w.toldAt).In(t.Location()), Confirmed
	case possible(t) != nil || t.Before(w.floor):
		return t, Unset
	}
	return t, Restored
}

// gone counts on while the machine sleeps, which the monotonic clock does not: a
// date that a person confirmed stays true behind a closed lid.
func (w *Wall) gone() time.Duration { return w.count() + w.asleep() }

// possible says why a time cannot be the true one.
func possible(t time.Time) error {
	switch {
	case t.Before(built):
		return fmt.Errorf("%s is before this program was written", t.Format(time.DateOnly))
	case t.After(last):
		return fmt.Errorf("%s is too far ahead", t.Format(time.DateOnly))
	}
	return nil
}

// ErrServed: a time server is heard, and no person knows better.
var ErrServed = errors.New("the time comes from a time server and needs no confirmation")

// Confirm takes a person's word that it is a certain time now, also when a
// record says otherwise: that may have been made under a wrong time. The
// operating system's own time is left as it is.
func (w *Wall) Confirm(t time.Time) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, q := w.now(); q == Network {
		return ErrServed
	}
	if err := possible(t); err != nil {
		return err
	}
	w.told, w.toldAt = t.Round(0), w.gone()
	return nil
}

// Look compares the operating system's time with the monotonic clock since the
// last call and gives the jump, 0 when there was none of StepFrom or more.
func (w *Wall) Look() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	t, at := w.system().Round(0), w.count()
	jump := t.Sub(w.seen) - (at - w.seenAt)
	w.seen, w.seenAt = t, at
	if jump.Abs() < StepFrom {
		return 0
	}
	w.steps++
	return jump
}

// Slept is how long the machine slept since the last call, which no clock of the
// runs can tell: they stand still meanwhile.
func (w *Wall) Slept() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	all := w.asleep()
	d := all - w.slept
	w.slept = all
	return max(0, d)
}

// asleep is how far the kernel's clock that goes on in its sleep is ahead of
// the one that does not; 0 where there is none. Of some readings the one with
// the least time in it is taken: being held up between two clocks is no sleep.
func asleep() (ahead time.Duration) {
	best := time.Duration(1<<63 - 1)
	for range 4 {
		var before, boot, after unix.Timespec
		if unix.ClockGettime(unix.CLOCK_MONOTONIC, &before) != nil || unix.ClockGettime(unix.CLOCK_BOOTTIME, &boot) != nil ||
			unix.ClockGettime(unix.CLOCK_MONOTONIC, &after) != nil {
			return 0
		}
		if took := time.Duration(after.Nano() - before.Nano()); took < best {
			best, ahead = took, time.Duration(boot.Nano()-before.Nano())
		}
		if best < 100*time.Microsecond {
			break
		}
	}
	return ahead
}

// Steps is how many jumps Look has seen.
func (w *Wall) Steps() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.steps
}

// served is what systemd's own time service leaves when it has heard a server.
const served = "/run/systemd/timesync/synchronized"

// servedTime says whether the operating system's time is kept by a time server:
// by the mark of systemd's service, or by the kernel's own state, which any
// other service sets. What cannot be read counts as no.
func servedTime() bool {
	if _, err := os.Stat(served); err == nil {
		return true
	}
	var x unix.Timex
	state, err := unix.Adjtimex(&x)
	const failed = 5 // TIME_ERROR of <sys/timex.h>: not synchronised
	return err == nil && state != failed && x.Status&unix.STA_UNSYNC == 0
}
