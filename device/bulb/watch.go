// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"tallyhood/device"
	"tallyhood/device/bulb/curve"
)

// Watch implements device.Source.
func (s *Source) Watch(ctx context.Context, to device.Sink) {
	s.mu.Lock()
	s.to = to
	to.Edge(device.Squeeze, s.o.Clock.Now(), false)
	s.mu.Unlock()
	done := make(chan struct{})
	var tending sync.WaitGroup
	tending.Go(func() { s.tend(ctx) })
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			if err := s.sample(ctx); err != nil {
				s.down(err)
			}
			if !s.wait(ctx, s.o.Clock.Now()+again) {
				return
			}
		}
	}()
	<-ctx.Done()
	tending.Wait()
	late, stop := s.o.Clock.Wake(s.o.Clock.Now() + leaving)
	defer stop()
	select {
	case <-done:
	case <-late: // a bus that hangs; what it says later finds no sink
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.to = nil
	s.endCalibration(result{err: errors.New("the calibration was broken off: the bulb is not watched any more")})
}

// wait until an instant; false when the context ended.
func (s *Source) wait(ctx context.Context, at time.Duration) bool {
	ch, stop := s.o.Clock.Wake(at)
	defer stop()
	select {
	case <-ch:
		return ctx.Err() == nil
	case <-ctx.Done():
		return false
	}
}

// down reports a sensor that is not there or gave up.
func (s *Source) down(err error) {
	s.mu.Lock()
	defer s.unlock()
	was := s.open && !s.silent
	s.open, s.det = false, nil
	if was || s.part.State == device.Loaded {
		s.lost(err.Error())
	}
	s.say(device.Failed, err.Error())
	s.endCalibration(result{err: fmt.Errorf("the calibration was broken off: %w", err)})
}

// sample opens the sensor and reads it until the context ends or it has not
// answered for a while.
func (s *Source) sample(ctx context.Context) error {
	bus, err := s.o.OpenBus(s.o.Bus)
	if err != nil {
		return fmt.Errorf("the I2C bus of the bulb sensor: %w", err)
	}
	defer func() {
		if err := bus.Close(); err != nil {
			s.o.Log.Warn("closing the bulb sensor's bus", "err", err)
		}
	}()
	sensor, err := s.driver(bus, s.o.Address, s.kind)
	if err != nil {
		return err
	}
	if _, err := sensor.Read(); err != nil {
		return err
	}
	s.up(sensor)
	period := time.Duration(float64(time.Second) / min(Rate, sensor.Rate()))
	next := s.o.Clock.Now()
	answered := next
	for {
		next += period
		// What was slept over is not made up for: a burst of samples says nothing.
		if late := s.o.Clock.Now() - next; late > 0 {
			next += (late/period + 1) * period
		}
		if !s.wait(ctx, next) {
			return nil
		}
		from := s.o.Clock.Now()
		p, err := sensor.Read()
		to := s.o.Clock.Now()
		switch {
		case err != nil && to-answered > again:
			return err
		case to-answered > again && to-from > longRead:
			return errors.New("the I2C bus is too slow for the bulb sensor: is something else keeping it busy?")
		case err == nil && to-from <= longRead:
			answered = to
			s.take(curve.Sample{At: from + (to-from)/2, Pascal: p})
		}
	}
}

// up begins anew with a sensor that answers.
func (s *Source) up(sensor Sensor) {
	s.mu.Lock()
	defer s.unlock()
	s.open, s.silent, s.good = true, false, s.o.Clock.Now()
	s.low, s.high = sensor.Range()
	s.ready()
	s.kick()
}

// ready begins to detect, if it can; the caller holds mu.
func (s *Source) ready() {
	s.det = nil
	switch {
	case s.param == nil && s.unread != "":
		s.say(device.Failed, s.unread)
	case s.param == nil:
		s.say(device.Failed, "not calibrated: squeeze the bulb flat ten times on the Inputs page")
	case s.param.Low != s.low || s.param.High != s.high:
		s.say(device.Failed, "calibrated with a sensor of another range: calibrate it anew")
	default:
		s.det = curve.NewDetector(*s.param)
		s.say(device.Failed, "let go of the bulb: its rest level is being found")
	}
}

// sound says that squeezes are told again; the caller holds mu.
func (s *Source) sound() {
	if s.det.Odd() || !s.det.Ready() {
		return
	}
	s.say(device.Loaded, "")
	s.send()
	if s.to != nil && !s.train.closed {
		s.to.Edge(device.Squeeze, s.o.Clock.Now(), false)
	}
}

// take feeds a sample.
func (s *Source) take(sample curve.Sample) {
	s.mu.Lock()
	defer s.unlock()
	s.good = sample.At
	if s.cal != nil {
		s.live.Pascal, s.live.Fill = sample.Pascal, 0
		s.add(sample)
		return
	}
	silent := s.silent
	s.silent = false
	if s.det == nil {
		s.live.Pascal, s.live.Fill = sample.Pascal, 0
		return
	}
	s.det.Add(sample)
	for _, e := range s.det.Take() {
		if e.Kind == curve.Gap && silent { // Lost was said when it began
			s.sound()
			continue
		}
		s.act(e)
	}
	s.train.push(s.o.Clock.Now(), s.det.Pushing())
	s.live.Pascal, s.live.Fill = sample.Pascal-s.det.Rest(), s.det.Fill()
	if s.train.forgotten {
		s.train.forgotten = false
		s.lost("the bulb sensor told of more squeezes than a hand can do")
	}
	s.send()
	if _, ok := s.train.next(); ok {
		s.kick()
	}
}

// act does what an event asks for; the caller holds mu.
func (s *Source) act(e curve.Event) {
	now := s.o.Clock.Now()
	why := e.Why
	switch e.Kind {
	case curve.Flattened:
		s.live.Flat++
		s.train.press(now)
	case curve.Squeezed:
		s.train.release(now)
	case curve.Shallow:
		s.live.Shallow++
		s.train.doubt(now)
	case curve.Unfilled:
		s.live.Unfilled++
		s.train.doubt(now)
	case curve.Doubted:
		s.live.Doubted++
		s.train.doubt(now)
	case curve.Touched:
		s.live.Touched++
	case curve.Gap:
		s.lost("the bulb sensor was not read for a while: a squeeze may be missing")
	case curve.Stuck:
		why = "the readings of the bulb sensor stand still"
		s.lost(why)
		s.say(device.Failed, why)
	case curve.OutOfRange:
		why = "the readings of the bulb sensor are out of its range: is the tube blocked, or the wire broken?"
		s.lost(why)
		s.say(device.Failed, why)
	case curve.Disagrees:
		s.say(device.Failed, e.Why+"; until then no squeeze is sure")
	case curve.Sound, curve.Agrees:
		s.sound()
	case curve.Drifted, curve.Filled:
	}
	s.o.Log.Debug("bulb", "event", e.Kind, "at", e.Known, "volume", e.Volume, "before", e.Before, "peak", e.Peak, "rest", e.Rest, "why", why)
}

// kick lets tend look anew at what is due.
func (s *Source) kick() {
	select {
	case s.stir <- struct{}{}:
	default:
	}
}

// tend hands over edges at their instants, and says Lost when samples stop, also
// while a reading hangs.
func (s *Source) tend(ctx context.Context) {
	for {
		s.mu.Lock()
		now := s.o.Clock.Now()
		s.send()
		at := now + again
		if s.open && !s.silent {
			if now-s.good > curve.MaxGap {
				s.quiet()
			} else {
				at = s.good + curve.MaxGap + 1
			}
		}
		if due, ok := s.train.next(); ok {
			at = min(at, due)
		}
		s.unlock()
		ch, stop := s.o.Clock.Wake(at)
		select {
		case <-ch:
		case <-s.stir:
		case <-ctx.Done():
			stop()
			return
		}
		stop()
	}
}

// quiet says that the sensor does not answer; the caller holds mu.
func (s *Source) quiet() {
	s.silent = true
	if s.det == nil {
		return
	}
	why := "the bulb sensor has stopped answering: a squeeze may be missing"
	s.lost(why)
	s.say(device.Failed, why)
}
