// SPDX-License-Identifier: Apache-2.0

// Package bulbsim simulates a nebuliser's rubber bulb with a hand and a
// pressure sensor, for tests and for the simulated board. The physics is that
// of textbooks (ideal gas at constant temperature, flow through an orifice, a
// wall that springs back in proportion to its deformation); every size and
// coefficient is an assumption. What is found with it shows how well curves are
// read in noise and haste, not that a real bulb behaves like this. It must not
// judge a squeeze.
package bulbsim

import (
	"math"
	"math/rand/v2"
	"time"
)

const (
	ambient = 101325.0 // Pa, standard atmosphere
	density = 1.2      // kg/m3, air at room temperature
	step    = 250 * time.Microsecond
)

// A Make is what a bulb, its jet and its valve are like.
type Make struct {
	Volume   float64 // m3 when full
	Left     float64 // share of it that stays when squeezed flat
	Jet      float64 // m2, effective area of the jet and what is around it
	Valve    float64 // m2, effective area of the inlet valve when open
	Leak     float64 // m2, a hole, open both ways
	Recoil   float64 // Pa with which an empty bulb would spring back
	Backflow float64 // m2, what the closed valve lets out
	// Viscous is what the jet resists in proportion to the flow, Pa s/m3, on top
	// of the orifice equation: laminar flow in its narrow part.
	Viscous float64
}

// Usual is a make in the middle of what seems likely (assumption).
func Usual() Make {
	return Make{Volume: 20e-6, Left: 0.2, Jet: 1.8e-6, Valve: 6e-6, Recoil: 4000}
}

// A Squeeze is one movement of the hand. All instants are on the simulation's
// clock.
type Squeeze struct {
	At      time.Duration // the hand begins to close
	Push    time.Duration // until it is closed as far as it goes
	Hold    time.Duration // kept so
	Release time.Duration // until it is open again
	Depth   float64       // share of the way to flat, 0 to 1
}

// End is when the hand is open again.
func (s Squeeze) End() time.Duration { return s.At + s.Push + s.Hold + s.Release }

// open is how far the hand is open at an instant: 1 or less.
func (s Squeeze) open(t time.Duration) float64 {
	t -= s.At
	ramp := func(x, d time.Duration) float64 {
		if x >= d {
			return 1
		}
		return (1 - math.Cos(math.Pi*float64(x)/float64(d))) / 2
	}
	switch {
	case t <= 0:
		return 1
	case t < s.Push+s.Hold:
		return 1 - s.Depth*ramp(t, s.Push)
	}
	return 1 - s.Depth*(1-ramp(t-s.Push-s.Hold, s.Release))
}

// A Bulb is the simulated thing.
type Bulb struct {
	m    Make
	hand []Squeeze
	at   time.Duration
	air  float64 // m3 at ambient pressure
	p    float64 // gauge pressure, Pa
	out  float64 // m3 expelled so far
}

// NewBulb returns a full bulb at rest at instant 0.
func NewBulb(m Make) *Bulb { return &Bulb{m: m, air: m.Volume} }

// Squeeze adds a movement of the hand; movements may overlap. Each begins no
// earlier than the one added before.
func (b *Bulb) Squeeze(s Squeeze) { b.hand = append(b.hand, s) }

// Full is the volume in m3 that a flat squeeze of a full bulb expels.
func (b *Bulb) Full() float64 { return b.m.Volume * (1 - b.m.Left) }

// Expelled is the volume in m3 that has left the bulb through jet, leak and
// valve so far.
func (b *Bulb) Expelled() float64 { return b.out }

// SetJet changes the jet's area: it clogs, or is cleared.
func (b *Bulb) SetJet(area float64) { b.m.Jet = area }

// SetLeak changes the area of the hole.
func (b *Bulb) SetLeak(area float64) { b.m.Leak = area }

// Run lets time pass up to an instant and gives the gauge pressure in pascal
// that is reached.
func (b *Bulb) Run(to time.Duration) float64 {
	for b.at < to {
		b.at += step
		b.tick()
	}
	return b.p
}

func (b *Bulb) tick() {
	open := 1.0
	for len(b.hand) > 0 && b.hand[0].End() <= b.at {
		b.hand = b.hand[1:]
	}
	for _, s := range b.hand {
		if s.At > b.at {
			break
		}
		open = min(open, s.open(b.at))
	}
	full, e, dt := b.m.Volume, b.m.Recoil, step.Seconds()
	flow := func(area float64) float64 { return area * math.Sqrt(2/density) } // m3/s per root pascal
	way := flow(b.m.Jet + b.m.Leak + b.m.Valve)
	// A free wall stands where its recoil and the gas pressure are equal: the
	// root of a quadratic.
	k := ambient - e
	v := full * (-k + math.Sqrt(k*k+4*e*ambient*b.air/full)) / (2 * e)
	hand := full * (b.m.Left + (1-b.m.Left)*open)
	if v <= hand {
		b.p = ambient * (b.air/v - 1)
		b.air = min(full, b.air+way*math.Sqrt(max(0, -b.p))*dt)
		return
	}
	// Held by the hand, pressure follows flow within a fraction of a step, so
	// the step is solved for the flow k*s at its end:
	// s*s + viscous*k*s = ambient*|(air -+ k*s*dt)/v - 1|.
	v = hand
	sign := 1.0
	if b.air > v {
		// The density upstream is that of the compressed gas.
		way = flow(b.m.Jet+b.m.Leak+b.m.Backflow) * math.Sqrt(b.air/v)
		sign = -1
	}
	slow := 0.0
	if sign < 0 {
		slow = b.m.Viscous * way
	}
	half := (slow + ambient*way*dt/v) / 2
	root := math.Sqrt(half*half+ambient*math.Abs(b.air/v-1)) - half
	b.p = -sign * root * (root + slow)
	b.air += sign * way * root * dt
	if sign < 0 {
		b.out += way * root * dt
	}
}

// A Gauge is the sensor.
type Gauge struct {
	Low, High float64 // range, Pa
	Grain     float64 // step of its readings, Pa
	Noise     float64 // standard deviation, Pa
	Rest      float64 // reading at ambient pressure
	Drift     float64 // Pa a second
	Random    *rand.Rand
}

// Read gives the reading of a pressure at an instant.
func (g *Gauge) Read(at time.Duration, p float64) float64 {
	p += g.Rest + g.Drift*at.Seconds()
	if g.Random != nil {
		p += g.Noise * g.Random.NormFloat64()
	}
	if g.Grain > 0 {
		p = math.Round(p/g.Grain) * g.Grain
	}
	return min(g.High, max(g.Low, p))
}
