// SPDX-License-Identifier: Apache-2.0

package clock

import (
	"errors"
	"testing"
	"time"
)

// A machine is the clocks of a board, moved by hand.
type machine struct {
	wall   time.Time
	mono   time.Duration
	synced bool
	slept  time.Duration
}

func (m *machine) on(d time.Duration) { m.wall, m.mono = m.wall.Add(d), m.mono+d }

func (m *machine) clock(floor time.Time) *Wall {
	return newWall(floor, func() time.Time { return m.wall }, func() time.Duration { return m.mono }, func() bool { return m.synced },
		func() time.Duration { return m.slept })
}

// While the machine sleeps its time goes on and the monotonic clock does not.
func TestSleepIsNoticed(t *testing.T) {
	m := &machine{wall: noon, slept: time.Hour} // it slept before the daemon was started
	w := m.clock(time.Time{})
	if d := w.Slept(); d != 0 {
		t.Errorf("slept %v before the start", d)
	}
	m.on(time.Minute)
	m.wall, m.slept = m.wall.Add(3*time.Second), m.slept+3*time.Second
	if d := w.Slept(); d != 3*time.Second {
		t.Errorf("slept %v, want 3 s", d)
	}
	if d := w.Slept(); d != 0 {
		t.Errorf("slept %v, told twice", d)
	}
	if d := w.Look(); d != 3*time.Second {
		t.Errorf("the jump of the wall time is %v", d)
	}
}

// What a person confirmed is right after the machine has slept as well: nobody
// confirms three days that nobody counted.
func TestConfirmedDateGoesOnThroughSleep(t *testing.T) {
	m := &machine{wall: noon, slept: time.Hour} // it slept before
	w := m.clock(time.Time{})
	if err := w.Confirm(noon); err != nil {
		t.Fatal(err)
	}
	m.on(time.Hour)
	m.wall, m.slept = m.wall.Add(72*time.Hour), m.slept+72*time.Hour // the lid is shut
	w.Look()
	w.Slept()
	want(t, w, noon.Add(73*time.Hour), Confirmed)
	// A word that is given anew counts from there.
	if err := w.Confirm(noon.Add(74 * time.Hour)); err != nil {
		t.Fatal(err)
	}
	want(t, w, noon.Add(74*time.Hour), Confirmed)
}

// The kernel's two clocks are a time apart that only sleep changes.
func TestAsleepOfThisMachine(t *testing.T) {
	before := asleep()
	time.Sleep(20 * time.Millisecond)
	if d := asleep() - before; d.Abs() > 10*time.Millisecond {
		t.Errorf("%v more in 20 ms awake", d)
	}
}

var noon = time.Date(2026, 9, 14, 12, 0, 0, 0, time.UTC)

func want(t *testing.T, w *Wall, at time.Time, q Quality) {
	t.Helper()
	if got, quality := w.Now(); !got.Equal(at) || quality != q {
		t.Errorf("%v %s, want %v %s", got, quality, at, q)
	}
}

func TestQualities(t *testing.T) {
	m := &machine{wall: time.Unix(0, 0)} // a board without a clock boots in 1970
	w := m.clock(time.Time{})
	want(t, w, time.Unix(0, 0), Unset)
	if err := w.Confirm(time.Unix(5000, 0)); err == nil {
		t.Error("1970 was confirmed")
	}
	if err := w.Confirm(noon.AddDate(80, 0, 0)); err == nil {
		t.Error("2106 was confirmed")
	}
	if err := w.Confirm(noon); err != nil {
		t.Fatal(err)
	}
	m.on(time.Hour)
	want(t, w, noon.Add(time.Hour), Confirmed)
	// The operating system's time jumps: what a person said goes on.
	m.wall = noon.AddDate(-3, 0, 0)
	want(t, w, noon.Add(time.Hour), Confirmed)
	// A time server is heard.
	m.wall, m.synced = noon.Add(time.Hour+90*time.Second), true
	want(t, w, m.wall, Network)
	if err := w.Confirm(noon); !errors.Is(err, ErrServed) {
		t.Errorf("confirmed over a time server: %v", err)
	}

	m = &machine{wall: noon}
	want(t, m.clock(time.Time{}), noon, Restored)
	// A clock that stands before a record is wrong, until a person says otherwise.
	w = m.clock(noon.Add(time.Minute))
	want(t, w, noon, Unset)
	if err := w.Confirm(noon.Add(-time.Hour)); err != nil {
		t.Fatal(err)
	}
	want(t, w, noon.Add(-time.Hour), Confirmed)
	for q, trusted := range map[Quality]bool{Unset: false, Restored: false, Confirmed: true, Network: true} {
		if q.Trusted() != trusted {
			t.Errorf("%s trusted: %v", q, q.Trusted())
		}
	}
}

// Steps of one second to ten years either way are seen, slewing and daylight
// saving are not.
func TestSteps(t *testing.T) {
	m := &machine{wall: noon}
	w := m.clock(time.Time{})
	steps := 0
	for _, d := range []time.Duration{time.Second, time.Minute, time.Hour, 24 * time.Hour, 10 * 365 * 24 * time.Hour} {
		for _, jump := range []time.Duration{d, -d} {
			m.on(time.Second)
			if got := w.Look(); got != 0 {
				t.Errorf("a step of %v where there was none", got)
			}
			m.wall = m.wall.Add(jump)
			m.on(250 * time.Millisecond)
			steps++
			if got := w.Look(); got != jump {
				t.Errorf("a step of %v is seen as %v", jump, got)
			}
		}
	}
	// 500 ppm for an hour, looked at four times a second.
	for range 4 * 3600 {
		m.mono += 250 * time.Millisecond
		m.wall = m.wall.Add(250*time.Millisecond + 125*time.Microsecond)
		if got := w.Look(); got != 0 {
			t.Fatalf("slewing is seen as a step of %v", got)
		}
	}
	m.wall = m.wall.In(time.FixedZone("summer", 7200))
	if got := w.Look(); got != 0 {
		t.Errorf("another zone is a step of %v", got)
	}
	if w.Steps() != steps {
		t.Errorf("%d steps, want %d", w.Steps(), steps)
	}
}

// The machine that this runs on is asked without an error and says one thing.
func TestThisMachine(t *testing.T) {
	before := time.Now()
	now, q := NewWall(time.Time{}).Now()
	if now.Before(before.Round(0).Add(-time.Second)) || now.After(time.Now().Add(time.Second)) {
		t.Errorf("%v at %v", now, before)
	}
	if q != Restored && q != Network && before.After(built) {
		t.Errorf("quality %q", q)
	}
	t.Logf("this machine: %s", q)
}
