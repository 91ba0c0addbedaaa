// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"time"

	"tallyhood/console/wire"
	"tallyhood/device/clock"
)

// A Calibrator is a board whose bulb has a sensor that learns it from flat
// squeezes.
type Calibrator interface {
	// Calibrate waits for the squeezes and says meanwhile how far it is. It
	// returns soon after the context has ended. when is the wall time to keep with
	// what is learned, RFC 3339, empty when no clock is set. An error leaves the
	// former calibration in use, unless what is returned with it is Known: then it
	// could only not be kept.
	Calibrate(ctx context.Context, when string, told func(BulbStep)) (Bulb, error)
	// Bulb is what is known now. It waits for nothing.
	Bulb() Bulb
}

// Bulb is what a calibration has learned.
type Bulb struct {
	Known bool   // there is one in use
	When  string // wall time at which it was learned, RFC 3339; empty: not known
	// OfBefore is the air that a flat squeeze pushes out, in per cent of what it
	// was by the former calibration; 0 when there is none to compare with.
	OfBefore int
}

// A BulbStep is how far a calibration is.
type BulbStep struct {
	Squeeze  bool // the rest level is known: squeeze now
	Done, Of int
}

// CalibrateFor is how long ten squeezes at the pace of a test may take
// (assumption; no source).
const CalibrateFor = 2 * time.Minute

// Why a calibration was given up, as keys for the page's words.
const (
	bulbLeft    = "left"        // a person ended it
	bulbTooLong = "too_long"    // CalibrateFor is over
	bulbAlone   = "driver_gone" // who watched the squeezes does not drive any more
)

// A calibrating is the calibration of the bulb, under way or ended. Owned by the
// loop.
type calibrating struct {
	known  Bulb // nothing of it is asked for while the loop runs
	stage  string
	step   BulbStep
	why    string
	giveUp context.CancelFunc // nil: none is under way
	ended  string             // why it was given up
	until  time.Duration
	fence  uint64 // of the lease under which it began
	lost   string // what the board first said was lost of it
	steps  chan BulbStep
	done   chan calibrated // comes after the last step
}

// calibrated is what came of a calibration.
type calibrated struct {
	bulb Bulb
	err  error
}

func (c *calibrating) underWay() bool { return c.giveUp != nil }

// calibrate begins to learn the bulb. While it goes on no run can be opened:
// squeezes do not count, and what is learned must not come into use inside a run.
func (s *Session) calibrate() string {
	i := &s.inputs
	c := &i.bulb
	switch {
	case s.cfg.Bulb == nil:
		return "no_bulb"
	case i.busy():
		return "busy"
	}
	when := ""
	if wall, quality := s.cfg.Wall.Now(); quality != clock.Unset {
		when = wall.Format(time.RFC3339)
	}
	ctx, cancel := context.WithCancel(context.Background())
	*c = calibrating{
		known: c.known, stage: wire.BulbRest, giveUp: cancel, until: s.cfg.Clock.Now() + time.Duration(float64(CalibrateFor)*s.cfg.Clock.Speed()),
		fence: s.fence, steps: make(chan BulbStep), done: make(chan calibrated, 1),
	}
	steps, done := c.steps, c.done
	s.learning.Go(func() {
		bulb, err := s.cfg.Bulb.Calibrate(ctx, when, func(b BulbStep) {
			select {
			case steps <- b:
			case <-ctx.Done(): // the loop may have ended
			}
		})
		done <- calibrated{bulb, err}
	})
	return ""
}

// leave gives up the calibration that is under way; the first reason stands. It
// is over only when the sensor has said so.
func (c *calibrating) leave(why string) {
	if c.underWay() && c.ended == "" {
		c.ended = why
		c.giveUp()
	}
}

// watchBulb ends a calibration that takes too long, or that nobody watches any
// more: ten squeezes that are equally shallow are told from flat ones by a
// person's eye alone, and learned as flat they would thin every dose.
func (s *Session) watchBulb(to time.Duration) {
	c := &s.inputs.bulb
	switch {
	case !c.underWay():
	case c.fence != s.fence:
		c.leave(bulbAlone)
	case to >= c.until:
		c.leave(bulbTooLong)
	}
}

// hear takes a step of the calibration.
func (c *calibrating) hear(b BulbStep) {
	c.step = b
	if b.Squeeze {
		c.stage = wire.BulbSqueeze
	}
}

// missed keeps what the board first says was lost: that squeezes do not count
// while it calibrates.
func (c *calibrating) missed(reason string) {
	if c.underWay() && c.lost == "" {
		c.lost = reason
	}
}

// onBulb takes what came of the calibration.
func (s *Session) onBulb(m calibrated) {
	c := &s.inputs.bulb
	c.giveUp()
	c.giveUp, c.steps, c.done = nil, nil, nil
	if m.bulb.Known {
		c.known = m.bulb
	}
	switch {
	case m.err == nil:
		c.stage, c.step.Done = wire.BulbDone, c.step.Of
	case m.bulb.Known:
		c.stage, c.why = wire.BulbUnkept, m.err.Error()
	case c.ended != "":
		c.stage, c.why = wire.BulbRefused, c.ended
	default:
		c.stage, c.why = wire.BulbRefused, m.err.Error()
	}
	if c.lost != "" && s.lost == c.lost {
		s.lost = "" // nothing was to be counted
	}
	s.cfg.Log.Info("bulb calibrated", "stage", c.stage, "squeezes", c.step.Done, "given up", c.ended, "err", m.err)
}

// bulbState is the calibration for the Inputs page; nil on a board without a
// bulb sensor.
func (s *Session) bulbState(now time.Duration) *wire.Bulb {
	if s.cfg.Bulb == nil {
		return nil
	}
	c := &s.inputs.bulb
	w := &wire.Bulb{Stage: c.stage, Done: c.step.Done, Of: c.step.Of, Why: c.why, Known: c.known.Known, When: c.known.When}
	if c.underWay() {
		w.LeftMS = s.cfg.Clock.Real(max(0, c.until-now)).Milliseconds()
	}
	if c.stage == wire.BulbDone || c.stage == wire.BulbUnkept {
		w.OfBefore = c.known.OfBefore
	}
	return w
}
