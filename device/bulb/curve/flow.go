// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"math"
	"time"
)

// A flow turns pressure into signed flow through an orifice and follows the
// rest level.
type flow struct {
	rest, dead float64 // pascal

	at        time.Duration
	x         float64 // pressure over the rest level at the last sample
	out, in   float64 // flow at the last sample, root pascal
	stillFrom time.Duration
	steady    time.Duration // how long the readings stood still, within noise, anywhere
	begun     bool
}

// step takes a sample and gives the volumes since the last one, in root pascal
// seconds: the trapezoid rule over both ways apart.
func (f *flow) step(s Sample) (out, in float64) {
	x := s.Pascal - f.rest
	o, i := 0.0, 0.0
	switch {
	case x > f.dead:
		o = math.Sqrt(x)
	case x < -f.dead:
		i = math.Sqrt(-x)
	}
	if f.begun {
		dt := (s.At - f.at).Seconds()
		out, in = (o+f.out)/2*dt, (i+f.in)/2*dt
	}
	if !f.begun || o+i > 0 {
		f.stillFrom = s.At
	}
	if f.begun && (s.At-f.stillFrom >= restAfter || f.steady >= levelTime && math.Abs(x) < 2*f.dead) {
		// With no flow there is no pressure, whatever the hand does, so what is
		// read is the sensor's own offset. Flow that is hardly any does not stay
		// the same for long either.
		f.rest += x * min(1, (s.At-f.at).Seconds()/restTime.Seconds())
	}
	f.at, f.x, f.out, f.in, f.begun = s.At, x, o, i, true
	return out, in
}

// still is how long there was no flow.
func (f *flow) still() time.Duration { return f.at - f.stillFrom }

// A level finds a reading that stands still, within a band, away from rest.
type level struct {
	from     time.Duration
	low, top float64
	sum      float64
	n        int
	on       bool
}

// mean of the readings since they stand still.
func (l *level) mean() float64 { return l.sum / float64(l.n) }

// take says how long the readings have stayed within a band.
func (l *level) take(s Sample, band float64) time.Duration {
	if l.on {
		l.low, l.top = min(l.low, s.Pascal), max(l.top, s.Pascal)
	}
	if !l.on || l.top-l.low > band {
		*l = level{from: s.At, low: s.Pascal, top: s.Pascal, on: true}
	}
	l.sum += s.Pascal
	l.n++
	return s.At - l.from
}
