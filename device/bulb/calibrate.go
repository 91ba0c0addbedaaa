// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"context"
	"errors"
	"fmt"

	"tallyhood/device"
	"tallyhood/device/bulb/curve"
)

// Calibrate learns the bulb from ten flat squeezes: leave it alone until Live
// shows the stage Squeezing, then squeeze flat, let it fill, wait a moment, ten
// times. Meanwhile no squeeze is counted and Lost is said at its begin, so that a
// run that is open all the same is not valid. It returns when ten squeezes are
// complete, when the context ends, or when the sensor fails. What was learned is
// in use and kept in the file; if only the keeping failed, both parameters and
// error are returned. After a refusal the former calibration stays.
//
// when is the wall time that is kept with what is learned, RFC 3339, empty when
// no clock is set. told hears of each step, in order, from the caller's
// goroutine; it may be nil.
func (s *Source) Calibrate(ctx context.Context, when string, told func(Progress)) (curve.Parameters, error) {
	s.mu.Lock()
	switch {
	case s.to == nil:
		s.mu.Unlock()
		return curve.Parameters{}, errors.New("the bulb is not being watched")
	case s.cal != nil:
		s.mu.Unlock()
		return curve.Parameters{}, errors.New("the bulb is being calibrated already")
	case !s.open:
		why := s.part.Reason
		s.mu.Unlock()
		return curve.Parameters{}, fmt.Errorf("the bulb cannot be calibrated: %s", why)
	}
	c := &calibration{Calibration: curve.NewCalibration(s.low, s.high), when: when, done: make(chan result, 1), step: make(chan Progress, 2+curve.Squeezes)}
	s.cal = c
	if s.det != nil {
		s.lost("the bulb is being calibrated")
	}
	s.det = nil
	s.say(device.Failed, "being calibrated: squeezes do not count")
	s.unlock()
	for {
		select {
		case p := <-c.step:
			if told != nil {
				told(p)
			}
			continue
		case r := <-c.done:
			return s.kept(r)
		case <-ctx.Done():
		}
		break
	}
	s.mu.Lock()
	if s.cal == c {
		s.endCalibration(result{err: fmt.Errorf("the calibration was broken off after %d squeezes: %w", c.Count(), ctx.Err())})
		s.ready()
	}
	s.unlock()
	return s.kept(<-c.done)
}

// kept writes what was learned to the file.
func (s *Source) kept(r result) (curve.Parameters, error) {
	if r.err == nil && s.o.File != "" {
		r.err = Save(s.o.File, r.p)
	}
	return r.p, r.err
}

// add feeds a sample to the calibration; the caller holds mu.
func (s *Source) add(sample curve.Sample) {
	c := s.cal
	complete := c.Add(sample)
	if p := (Progress{Stage: c.Stage(), Done: c.Count()}); p != c.last {
		c.last = p
		select {
		case c.step <- p:
		default: // who is told does not listen; no sample waits for that
		}
	}
	if complete {
		s.learn()
	}
}

// learn ends a calibration that has its squeezes; the caller holds mu.
func (s *Source) learn() {
	p, err := s.cal.Result()
	if err == nil {
		p.When = s.cal.when
		s.param, s.unread = &p, ""
	}
	s.endCalibration(result{p, err})
	s.ready()
}

// endCalibration tells who waits for it; the caller holds mu.
func (s *Source) endCalibration(r result) {
	if s.cal != nil {
		s.cal.done <- r
		s.cal = nil
	}
}
