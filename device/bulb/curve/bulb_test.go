// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"math/rand/v2"
	"time"

	"tallyhood/device/bulb/bulbsim"
)

const (
	period = 5 * time.Millisecond
	second = time.Second
)

// gauge is a sensor of +-34.5 kPa (5 psi) with 14 bits over 80 % of its span;
// noise and offset are assumptions.
func gauge(r *rand.Rand) *bulbsim.Gauge {
	return &bulbsim.Gauge{Low: -34474, High: 34474, Grain: 5.26, Noise: 8, Rest: 40, Random: r}
}

// A bench runs a bulb, reads it and remembers what truly left it.
type bench struct {
	bulb  *bulbsim.Bulb
	gauge *bulbsim.Gauge
	r     *rand.Rand
	now   time.Duration
	all   []Sample
	hand  []bulbsim.Squeeze
	out   []float64 // expelled when each squeeze begins
	next  int
	// jitter of the sampling instants
	jitter time.Duration
	// skip says which samples are lost
	skip func(at time.Duration) bool
}

func newBench(seed uint64) *bench {
	r := rand.New(rand.NewPCG(seed, 7))
	return &bench{bulb: bulbsim.NewBulb(bulbsim.Usual()), gauge: gauge(r), r: r, jitter: 300 * time.Microsecond}
}

func (b *bench) squeeze(s bulbsim.Squeeze) {
	b.hand = append(b.hand, s)
	b.bulb.Squeeze(s)
}

// run samples until an instant and hands each to take.
func (b *bench) run(to time.Duration, take func(Sample)) {
	for b.now < to {
		b.now += period
		at := b.now
		if b.jitter > 0 {
			at += time.Duration(b.r.Int64N(int64(2*b.jitter))) - b.jitter
		}
		for b.next < len(b.hand) && b.hand[b.next].At <= at {
			b.bulb.Run(b.hand[b.next].At)
			b.out = append(b.out, b.bulb.Expelled())
			b.next++
		}
		s := Sample{at, b.gauge.Read(at, b.bulb.Run(at))}
		if b.skip == nil || !b.skip(at) {
			take(s)
		}
	}
}

// share is what squeeze i truly expelled, of a flat one; the next has begun or
// all is over.
func (b *bench) share(i int) float64 {
	end := b.bulb.Expelled()
	if i+1 < len(b.out) {
		end = b.out[i+1]
	}
	return (end - b.out[i]) / b.bulb.Full()
}

func flat(at, push time.Duration) bulbsim.Squeeze {
	return bulbsim.Squeeze{At: at, Push: push, Hold: 50 * ms, Release: 80 * ms, Depth: 1}
}

// calibrate gives ten flat squeezes of a hand that is not a machine.
func (b *bench) calibrate() (Parameters, error) {
	c := NewCalibration(b.gauge.Low, b.gauge.High)
	at := b.now + 3*second
	for range Squeezes {
		push := time.Duration(float64(180*ms) * (0.75 + 0.5*b.r.Float64()))
		b.squeeze(bulbsim.Squeeze{At: at, Push: push, Hold: 40 * ms, Release: 90 * ms, Depth: 0.97 + 0.03*b.r.Float64()})
		at += 1200*ms + time.Duration(b.r.Int64N(int64(300*ms)))
	}
	b.run(at, func(s Sample) { b.all = append(b.all, s); c.Add(s) })
	return c.Result()
}
