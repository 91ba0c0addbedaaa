// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
)

// A bulbHand is a bulb sensor that a test plays: it says each step and what came
// of it all. It ends with its context, unless it is stuck.
type bulbHand struct {
	known session.Bulb
	steps chan session.BulbStep
	ends  chan bulbEnd
	stuck chan struct{} // closed: it lets go; nil: it obeys

	mu    sync.Mutex
	begun int
	ended int
	when  string
}

type bulbEnd struct {
	bulb session.Bulb
	err  error
}

func newBulbHand(known session.Bulb) *bulbHand {
	return &bulbHand{known: known, steps: make(chan session.BulbStep), ends: make(chan bulbEnd)}
}

func (b *bulbHand) Bulb() session.Bulb { return b.known }

func (b *bulbHand) Calibrate(ctx context.Context, when string, told func(session.BulbStep)) (session.Bulb, error) {
	b.mu.Lock()
	b.begun++
	b.when = when
	b.mu.Unlock()
	defer func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.ended++
	}()
	told(session.BulbStep{Of: 10})
	for {
		select {
		case s := <-b.steps:
			told(s)
		case e := <-b.ends:
			return e.bulb, e.err
		case <-ctx.Done():
			if b.stuck != nil {
				<-b.stuck
			}
			return session.Bulb{}, errors.New("the calibration was broken off after 3 squeezes: context canceled")
		}
	}
}

func (b *bulbHand) count() (begun, ended int, when string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.begun, b.ended, b.when
}

func bulbDesk(t *testing.T, b *bulbHand, change ...func(*session.Config)) *desk {
	d := newDeskOn(t, newLongClock(), nil, append(change, func(c *session.Config) { c.Bulb = b })...)
	d.fence = d.lease("page 1")
	return d
}

// bulb waits for a stage of the calibration.
func (d *desk) bulb(stage string) wire.Bulb {
	d.t.Helper()
	return *d.until("the calibration at "+stage, func(s wire.Snapshot) bool { return s.Inputs.Bulb != nil && s.Inputs.Bulb.Stage == stage }).Inputs.Bulb
}

func TestABoardWithoutABulbSensorHasNoCalibration(t *testing.T) {
	d := newDeskOn(t, newLongClock(), nil)
	d.fence = d.lease("page 1")
	if why := d.ask(wire.Command{Do: "calibrate_begin"}); why != "no_bulb" {
		t.Errorf("calibrated: %q", why)
	}
	d.must(wire.Command{Do: "calibrate_end"}) // as learn_end where nothing is learned
	if b := d.until("any", func(wire.Snapshot) bool { return true }).Inputs.Bulb; b != nil {
		t.Errorf("the snapshot has %+v", b)
	}
}

func TestTheBulbIsLearned(t *testing.T) {
	w := &wallHand{at: time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC), quality: clock.Confirmed}
	b := newBulbHand(session.Bulb{Known: true, When: "2026-03-02T08:00:00Z"})
	d := bulbDesk(t, b, func(c *session.Config) { c.Wall = w })
	if s := d.bulb(""); !s.Known || s.When != "2026-03-02T08:00:00Z" || s.LeftMS != 0 {
		t.Errorf("before: %+v", s)
	}
	d.must(wire.Command{Do: "calibrate_begin"})
	s := d.until("ten to come", func(s wire.Snapshot) bool { return s.Inputs.Bulb.Of == 10 }).Inputs.Bulb
	if s.Stage != "rest" || s.Done != 0 || s.LeftMS <= 0 || s.LeftMS > session.CalibrateFor.Milliseconds() || !s.Known {
		t.Errorf("begun: %+v", s)
	}
	for _, c := range []wire.Command{{Do: "calibrate_begin"}, {Do: "check_begin"}, {Do: "latency_begin"}, {Do: "learn", Line: "squeeze"}} {
		if why := d.ask(c); why != "busy" {
			t.Errorf("%s meanwhile: %q", c.Do, why)
		}
	}
	if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "calibrating" {
		t.Fatalf("a run was opened while squeezes do not count: %q", why)
	}
	b.steps <- session.BulbStep{Squeeze: true, Of: 10}
	d.bulb("squeeze")
	for n := 1; n <= 10; n++ {
		b.steps <- session.BulbStep{Squeeze: true, Done: n, Of: 10}
		d.until("the next squeeze", func(s wire.Snapshot) bool { return s.Inputs.Bulb.Done == n })
	}
	b.ends <- bulbEnd{bulb: session.Bulb{Known: true, When: "2026-09-14T09:00:00Z", OfBefore: 64}}
	if s := d.bulb("done"); !s.Known || s.When != "2026-09-14T09:00:00Z" || s.OfBefore != 64 || s.Done != 10 || s.LeftMS != 0 || s.Why != "" {
		t.Errorf("done: %+v", s)
	}
	if begun, ended, when := b.count(); begun != 1 || ended != 1 || when != "2026-09-14T09:00:00Z" {
		t.Errorf("begun %d times, ended %d times, dated %q", begun, ended, when)
	}
	d.open()
	if why := d.ask(wire.Command{Do: "calibrate_begin"}); why != "run_open" {
		t.Errorf("calibrated in a run: %q", why)
	}
	d.say(procedure.DoPark, procedure.Input{})
	d.until("a waiting run", func(s wire.Snapshot) bool { return s.Run == nil && len(s.Parked) == 1 })
	if why := d.ask(wire.Command{Do: "calibrate_begin"}); why != "run_open" {
		t.Errorf("calibrated beside a waiting run: %q", why)
	}
	if begun, _, _ := b.count(); begun != 1 {
		t.Errorf("begun %d times", begun)
	}
}

// Whatever ends a calibration before its squeezes are complete, what was learned
// before stays, the page is told why, and another one can begin.
func TestACalibrationThatEndsEarly(t *testing.T) {
	const before = "2026-03-02T08:00:00Z"
	for name, c := range map[string]struct {
		end  func(d *desk, b *bulbHand)
		want string
	}{
		"left":    {func(d *desk, _ *bulbHand) { d.must(wire.Command{Do: "calibrate_end"}) }, "left"},
		"late":    {func(d *desk, _ *bulbHand) { d.wait(session.CalibrateFor) }, "too_long"},
		"refused": {func(_ *desk, b *bulbHand) { b.ends <- bulbEnd{err: errors.New("the ten squeezes disagree")} }, "the ten squeezes disagree"},
		"taken over": {func(d *desk, _ *bulbHand) {
			d.fence = d.lease("page 2")
		}, "driver_gone"},
		"dropped": {func(d *desk, _ *bulbHand) { d.must(wire.Command{Do: "drop_lease"}) }, "driver_gone"},
		"gone":    {func(d *desk, _ *bulbHand) { d.ses.Leave("page 1") }, "driver_gone"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBulbHand(session.Bulb{Known: true, When: before})
			d := bulbDesk(t, b)
			d.must(wire.Command{Do: "calibrate_begin"})
			b.steps <- session.BulbStep{Squeeze: true, Done: 3, Of: 10}
			d.until("three squeezes", func(s wire.Snapshot) bool { return s.Inputs.Bulb.Done == 3 })
			c.end(d, b)
			if s := d.bulb("refused"); s.Why != c.want || !s.Known || s.When != before || s.OfBefore != 0 || s.LeftMS != 0 || s.Done != 3 {
				t.Errorf("ended: %+v", s)
			}
			if _, ended, _ := b.count(); ended != 1 {
				t.Error("the sensor still calibrates")
			}
			d.fence = d.lease("page 1")
			d.must(wire.Command{Do: "calibrate_begin"})
			if s := d.bulb("rest"); s.Why != "" || s.Done != 0 {
				t.Errorf("anew: %+v", s)
			}
			d.must(wire.Command{Do: "calibrate_end"})
			d.bulb("refused")
			d.open()
		})
	}
}

// A sensor that does not let go bars runs for as long: its calibration may yet
// come into use.
func TestNoRunBeforeTheSensorHasLetGo(t *testing.T) {
	b := newBulbHand(session.Bulb{})
	b.stuck = make(chan struct{})
	d := bulbDesk(t, b)
	letGo := sync.OnceFunc(func() { close(b.stuck) })
	t.Cleanup(letGo)
	d.must(wire.Command{Do: "calibrate_begin"})
	d.must(wire.Command{Do: "calibrate_end"})
	for range 3 {
		d.wait(time.Second)
		if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "calibrating" {
			t.Fatalf("a run was opened: %q", why)
		}
	}
	if why := d.ask(wire.Command{Do: "calibrate_begin"}); why != "busy" {
		t.Errorf("a second one: %q", why)
	}
	letGo()
	if s := d.bulb("refused"); s.Why != "left" || s.Known {
		t.Errorf("ended: %+v", s)
	}
	d.open()
}

// What was learned and could not be kept is in use all the same, and is not
// called done.
func TestACalibrationThatCannotBeKept(t *testing.T) {
	b := newBulbHand(session.Bulb{})
	d := bulbDesk(t, b)
	d.must(wire.Command{Do: "calibrate_begin"})
	b.ends <- bulbEnd{session.Bulb{Known: true, When: "2026-09-14T09:00:00Z"}, errors.New("save the bulb's calibration: no space left")}
	if s := d.bulb("unkept"); !s.Known || s.Why != "save the bulb's calibration: no space left" {
		t.Errorf("ended: %+v", s)
	}
}

// A clock that nobody has set dates nothing.
func TestACalibrationWithoutAClockIsNotDated(t *testing.T) {
	b := newBulbHand(session.Bulb{})
	d := bulbDesk(t, b, func(c *session.Config) { c.Wall = &wallHand{at: time.Unix(0, 0).UTC(), quality: clock.Unset} })
	d.must(wire.Command{Do: "calibrate_begin"})
	b.steps <- session.BulbStep{Of: 10}
	if _, _, when := b.count(); when != "" {
		t.Errorf("dated %q", when)
	}
}

func TestOnlyTheDriverCalibrates(t *testing.T) {
	b := newBulbHand(session.Bulb{})
	d := bulbDesk(t, b)
	for _, c := range []struct {
		client string
		role   wire.Role
		want   string
	}{{"page 2", wire.Tester, "not_driver"}, {"page 3", wire.Trainer, "not_allowed"}, {"page 4", wire.Wearer, "not_allowed"}} {
		if why := d.askAs(c.client, c.role, wire.Command{Do: "calibrate_begin"}); why != c.want {
			t.Errorf("%s: %q, want %q", c.role, why, c.want)
		}
	}
	if begun, _, _ := b.count(); begun != 0 {
		t.Error("it began")
	}
	d.must(wire.Command{Do: "calibrate_begin"})
	s := d.until("it begun", func(s wire.Snapshot) bool { return s.Inputs.Bulb.Of == 10 })
	if why := d.askAs("page 2", wire.Tester, wire.Command{Do: "calibrate_end"}); why != "not_driver" {
		t.Errorf("ended by a page that watches: %q", why)
	}
	for _, r := range []wire.Role{wire.Trainer, wire.Wearer} {
		if o := wire.ForRole(s, r); o.Inputs.Bulb != nil {
			t.Errorf("%s sees %+v", r, o.Inputs.Bulb)
		}
	}
}

// A test of something else that is under way is ended first: it needs squeezes.
func TestNoCalibrationBesideAnotherTest(t *testing.T) {
	b := newBulbHand(session.Bulb{})
	d := bulbDesk(t, b)
	for begin, end := range map[string]string{"check_begin": "check_end", "latency_begin": "latency_end"} {
		d.must(wire.Command{Do: begin})
		if why := d.ask(wire.Command{Do: "calibrate_begin"}); why != "busy" {
			t.Errorf("calibrated beside %s: %q", begin, why)
		}
		d.must(wire.Command{Do: end})
	}
	d.must(wire.Command{Do: "calibrate_begin"})
}

// The end of the daemon ends it, before the board is closed.
func TestTheEndOfTheDaemonEndsACalibration(t *testing.T) {
	b := newBulbHand(session.Bulb{})
	d := bulbDesk(t, b)
	d.must(wire.Command{Do: "calibrate_begin"})
	b.steps <- session.BulbStep{Squeeze: true, Done: 1, Of: 10}
	d.stop()
	if begun, ended, _ := b.count(); begun != 1 || ended != 1 {
		t.Errorf("begun %d times, ended %d times when the session had ended", begun, ended)
	}
}

// A lossy is the simulated board that says what a test lets it say was lost.
type lossy struct {
	*sim.Board
	lost chan device.Lost
}

func (l *lossy) Lost() <-chan device.Lost { return l.lost }

// That squeezes do not count meanwhile is no news once it is over; another loss
// stays said.
func TestWhatACalibrationLosesIsNotSaidAfterIt(t *testing.T) {
	b := newBulbHand(session.Bulb{})
	l := &lossy{lost: make(chan device.Lost)}
	d := bulbDesk(t, b, func(c *session.Config) {
		l.Board = c.Board.(*sim.Board)
		c.Board = l
	})
	lost := func(want string) {
		t.Helper()
		d.until("what was lost: "+want, func(s wire.Snapshot) bool { return s.Inputs.Lost == want })
	}
	through := func() {
		t.Helper()
		d.must(wire.Command{Do: "calibrate_begin"})
		l.lost <- device.Lost{Reason: "the bulb is being calibrated"}
		lost("the bulb is being calibrated")
	}
	through()
	b.ends <- bulbEnd{bulb: session.Bulb{Known: true}}
	d.bulb("done")
	lost("")
	through()
	l.lost <- device.Lost{Reason: "the pedal is unplugged"}
	lost("the pedal is unplugged")
	b.ends <- bulbEnd{bulb: session.Bulb{Known: true}}
	d.bulb("done")
	lost("the pedal is unplugged")
}
