// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// What a calibration asks for; assumptions without a published source.
const (
	// Squeezes of a calibration.
	Squeezes = 10
	// RestFirst is how long the bulb is left alone before the first of them.
	RestFirst = 2 * time.Second
	// apart of the sensor's range is the least pressure taken for a squeeze.
	apart = 1.0 / 300
	// outBand and inBand: how far a single squeeze may lie from the median.
	outBand, inBand = 0.20, 0.30
	// clearPeak and clearSuction: how many times the dead band has to fit.
	clearPeak, clearSuction = 15, 5
	// deadNoise standard deviations and deadPeak of the peak are no flow.
	deadNoise, deadPeak = 5.0, 0.003
)

// A Stage of a calibration.
type Stage uint8

// The stages.
const (
	Resting   Stage = iota // hands off the bulb until the rest level is known
	Squeezing              // squeeze flat, let it fill, wait a moment, ten times
	Complete               // Result has what was learned, or why nothing was
)

// A Calibration collects the samples of ten squeezes. The bulb is left alone
// first, then squeezed flat ten times, each time let fill and left for half a
// second. See NewCalibration.
type Calibration struct {
	low, high float64
	samples   []Sample
	quiet     int // index of the first sample of the present quiet stretch
	stage     Stage
	seg       *segments
}

// NewCalibration begins one with a sensor of the given range in pascal.
func NewCalibration(low, high float64) *Calibration {
	return &Calibration{low: low, high: high}
}

// Stage is what is to be done now, and Count how many squeezes are complete.
func (c *Calibration) Stage() Stage { return c.stage }

// Count of the squeezes that are complete.
func (c *Calibration) Count() int {
	if c.seg == nil {
		return 0
	}
	return min(len(c.seg.done), Squeezes)
}

// Add feeds a sample and says whether the calibration has ended: with its
// squeezes, or since readings were missing.
func (c *Calibration) Add(s Sample) bool {
	if c.stage == Complete || len(c.samples) > 0 && s.At <= c.samples[len(c.samples)-1].At {
		return c.stage == Complete
	}
	if n := len(c.samples); n > 0 && s.At-c.samples[n-1].At > MaxGap {
		if c.stage == Resting {
			c.samples, c.quiet = nil, 0 // what was missed matters only from here on
		} else {
			c.stage = Complete // Result says why; nobody needs to squeeze on
		}
	}
	c.samples = append(c.samples, s)
	if c.stage == Complete {
		return true
	}
	if c.stage == Resting {
		w := c.samples[c.quiet:]
		if s.At-w[0].At < RestFirst {
			return false
		}
		r := atRest(w)
		if !r.quiet {
			// The bulb was touched: begin the stretch later.
			c.quiet += max(1, len(w)/4)
			return false
		}
		c.samples = slices.Clone(w)
		dead := max(deadNoise*r.noise, (c.high-c.low)*apart/4)
		c.seg = newSegments(r.level, dead, 4*dead)
		c.stage = Squeezing
	}
	c.seg.add(s)
	// The final dead band is smaller than this one: let the last squeeze ring out.
	if len(c.seg.done) >= Squeezes && c.seg.flow.still() >= 2*restAfter {
		c.stage = Complete
	}
	return c.stage == Complete
}

// Result is what was learned, or in words why nothing was.
func (c *Calibration) Result() (Parameters, error) {
	if c.stage != Complete {
		return Parameters{}, fmt.Errorf("the calibration is not complete: %d of %d squeezes", c.Count(), Squeezes)
	}
	return Calibrate(c.low, c.high, c.samples)
}

type rest struct {
	level, noise float64
	still        time.Duration // longest time a reading stood still
	quiet        bool
}

// atRest looks at a stretch that should show nothing but noise. The noise is
// taken from successive differences, which a slow drift does not touch (von
// Neumann's mean square successive difference).
func atRest(w []Sample) rest {
	var sum, squares float64
	grain := math.Inf(1)
	low, high := math.Inf(1), math.Inf(-1)
	var r rest
	same := w[0].At
	for i, s := range w {
		sum += s.Pascal
		low, high = min(low, s.Pascal), max(high, s.Pascal)
		if i > 0 {
			df := s.Pascal - w[i-1].Pascal
			squares += df * df
			if df != 0 {
				grain = min(grain, math.Abs(df))
				same = s.At
			}
		}
		r.still = max(r.still, s.At-same)
	}
	if math.IsInf(grain, 1) {
		grain = 0
	}
	r.level = sum / float64(len(w))
	r.noise = math.Sqrt(squares / 2 / float64(max(1, len(w)-1)))
	// A reading in steps is off by up to half a step even where it looks still:
	// the variance of a uniform distribution is its width squared over 12.
	r.noise = max(r.noise, grain/math.Sqrt(12))
	r.quiet = high-low <= 10*r.noise+4*grain && !math.IsNaN(sum) && !math.IsInf(sum, 0)
	return r
}

// A segment is one squeeze of a calibration.
type segment struct {
	begun, pushed, released, filled time.Duration
	out, in, peak, suction          float64
	hurried                         bool
}

// segments cuts a curve into squeezes that are each followed by rest.
type segments struct {
	flow   flow
	start  float64
	done   []segment
	cur    segment
	active bool
	rise   time.Duration
	rising bool
	pre    float64
}

func newSegments(level, dead, start float64) *segments {
	return &segments{flow: flow{rest: level, dead: dead}, start: start}
}

func (g *segments) add(s Sample) {
	out, in := g.flow.step(s)
	x := g.flow.x
	switch {
	case x > g.flow.dead && !g.rising:
		g.rising, g.rise, g.pre = true, s.At, 0
	case x <= g.flow.dead:
		g.rising = false
	}
	if x > g.start && g.active && g.cur.released > 0 {
		g.cur.hurried = true
	}
	if !g.active && x > g.start {
		g.active, g.cur = true, segment{begun: g.rise, out: g.pre}
	}
	if !g.active {
		g.pre += out
		return
	}
	c := &g.cur
	c.out += out
	c.in += in
	c.peak, c.suction = max(c.peak, x), max(c.suction, -x)
	if out > 0 {
		c.pushed = s.At
	}
	if x < -g.flow.dead {
		if c.released == 0 {
			c.released = s.At
		}
		c.filled = s.At
	}
	if c.released > 0 && g.flow.still() >= restAfter {
		g.done = append(g.done, *c)
		g.active = false
	}
}

// Calibrate learns the parameters of a bulb from samples that begin with
// RestFirst of rest and go on with ten flat squeezes, each followed by rest. The
// range of the sensor is in pascal. What it refuses it refuses in words.
func Calibrate(low, high float64, samples []Sample) (Parameters, error) {
	if low >= 0 || high <= 0 {
		return Parameters{}, errors.New("the sensor shows pressure or suction only: a kind that shows both is needed")
	}
	n := 0
	for i, s := range samples {
		if math.IsNaN(s.Pascal) || math.IsInf(s.Pascal, 0) {
			return Parameters{}, errors.New("the sensor gave something that is no number")
		}
		if i > 0 && s.At-samples[i-1].At > MaxGap {
			return Parameters{}, errors.New("readings were missing for a while: try again when the board has less to do")
		}
		if s.At-samples[0].At <= RestFirst {
			n = i + 1
		}
	}
	if n == 0 || samples[len(samples)-1].At-samples[0].At < RestFirst {
		return Parameters{}, errors.New("there are too few readings")
	}
	r := atRest(samples[:n])
	if !r.quiet {
		return Parameters{}, errors.New("the bulb was not at rest at the beginning: leave it alone until the count begins")
	}
	// The dead band depends on the peak, and the peak is read with a dead band.
	dead := max(deadNoise*r.noise, (high-low)*apart/4)
	var g *segments
	for range 2 {
		g = newSegments(r.level, dead, 2*dead)
		for _, s := range samples {
			g.add(s)
		}
		if len(g.done) < Squeezes {
			return Parameters{}, fmt.Errorf("only %d squeezes stand out clearly; ten are needed, each followed by a moment of rest", len(g.done))
		}
		g.done = g.done[:Squeezes]
		dead = max(deadNoise*r.noise, deadPeak*median(pick(g.done, func(s segment) float64 { return s.peak })))
	}
	return learn(low, high, r, dead, g.done)
}

func learn(low, high float64, r rest, dead float64, done []segment) (Parameters, error) {
	outs := pick(done, func(s segment) float64 { return s.out })
	ins := pick(done, func(s segment) float64 { return s.in })
	peaks := pick(done, func(s segment) float64 { return s.peak })
	sucks := pick(done, func(s segment) float64 { return s.suction })
	p := Parameters{
		Schema: Schema, Low: low, High: high, Rest: r.level, Noise: r.noise, Quiet: r.still, Dead: dead, Start: 2 * dead,
		Peak: median(peaks), PeakSpread: spread(peaks), Suction: median(sucks),
		Out: median(outs), OutSpread: spread(outs), In: median(ins), InSpread: spread(ins),
		Push: time.Duration(median(pick(done, func(s segment) float64 { return float64(s.pushed - s.begun) }))),
		Fill: time.Duration(median(pick(done, func(s segment) float64 { return float64(s.filled - s.released) }))),
	}
	for i, s := range done {
		if s.hurried {
			return Parameters{}, fmt.Errorf("squeeze %d was followed too soon by the next: let the bulb fill and wait a moment each time", i+1)
		}
	}
	if max(slices.Max(peaks)+r.level-high*0.95, low*0.95+slices.Max(sucks)-r.level) > 0 {
		return Parameters{}, errors.New("the pressure reaches the end of the sensor's range: a kind with a wider range is needed")
	}
	if p.Peak < clearPeak*dead {
		return Parameters{}, fmt.Errorf("the sensor's noise is too near to the squeezes (noise %.0f Pa, squeezes %.0f Pa): look at the tube, or use a kind with a narrower range", r.noise, p.Peak)
	}
	if p.Suction < clearSuction*dead {
		return Parameters{}, fmt.Errorf("the bulb's filling does not stand out from the noise (noise %.0f Pa, suction %.0f Pa): use a sensor with a narrower range", r.noise, p.Suction)
	}
	if off := far(outs, p.Out, outBand); off != "" {
		return Parameters{}, fmt.Errorf("the ten squeezes disagree: squeeze %s away from the others; squeeze flat each time", off)
	}
	if off := far(ins, p.In, inBand); off != "" {
		return Parameters{}, fmt.Errorf("the bulb did not fill alike: after squeeze %s away from the others; let go fully each time", off)
	}
	if err := p.Check(); err != nil {
		return Parameters{}, err
	}
	return p, nil
}

func pick(done []segment, f func(segment) float64) []float64 {
	out := make([]float64, len(done))
	for i, s := range done {
		out[i] = f(s)
	}
	return out
}

// spread is the median absolute deviation, scaled to agree with the standard
// deviation of a normal distribution, over the median.
func spread(v []float64) float64 {
	m := median(v)
	dev := make([]float64, len(v))
	for i, x := range v {
		dev[i] = math.Abs(x - m)
	}
	return 1.4826 * median(dev) / m
}

// far names the squeezes that lie further than a share from the median, and how
// far: "4 (-38 %), 7 (+25 %)".
func far(v []float64, m, share float64) string {
	var off []string
	for i, x := range v {
		if math.Abs(x-m) > share*m {
			off = append(off, fmt.Sprintf("%d (%+.0f %%)", i+1, (x/m-1)*100))
		}
	}
	return strings.Join(off, ", ")
}
