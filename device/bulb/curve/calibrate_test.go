// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"tallyhood/device/bulb/bulbsim"
)

func TestCalibrate(t *testing.T) {
	b := newBench(1)
	p, err := b.calibrate()
	if err != nil {
		t.Fatal(err)
	}
	m := bulbsim.Usual()
	// The orifice equation: volume = area * sqrt(2/density) * integral.
	k := math.Sqrt(2 / 1.2)
	full := b.bulb.Full()
	for _, c := range []struct {
		what      string
		got, want float64
		by        float64
	}{
		{"rest", p.Rest, 40, 3},
		{"noise", p.Noise, 8, 1.5},
		{"out", p.Out * m.Jet * k / full, 1, 0.06},
		{"in", p.In * (m.Valve + m.Jet) * k / full, 1, 0.10},
		{"push", p.Push.Seconds(), 0.18, 0.05},
	} {
		if math.Abs(c.got-c.want) > c.by {
			t.Errorf("%s %.3f, want %.3f", c.what, c.got, c.want)
		}
	}
	if p.OutSpread > 0.03 || p.InSpread > 0.08 || p.PeakSpread < p.OutSpread {
		t.Errorf("spreads %+v", p)
	}
	if p.Fill < 30*ms || p.Fill > 200*ms {
		t.Errorf("fill %v", p.Fill)
	}
	if err := p.Check(); err != nil {
		t.Error(err)
	}
	out, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	var back Parameters
	if err := json.Unmarshal(out, &back); err != nil || back != p {
		t.Errorf("%v: %+v\n%+v", err, back, p)
	}
}

// refused runs a calibration and wants a word in the refusal.
func refused(t *testing.T, n int, word string, change func(b *bench, i int, s *bulbsim.Squeeze) (wait time.Duration), set func(b *bench)) {
	t.Helper()
	b := newBench(3)
	if set != nil {
		set(b)
	}
	c := NewCalibration(b.gauge.Low, b.gauge.High)
	at := 3 * second
	for i := range n {
		s := bulbsim.Squeeze{At: at, Push: 180 * ms, Hold: 40 * ms, Release: 90 * ms, Depth: 1}
		wait := 1300 * ms
		if change != nil {
			wait = change(b, i, &s)
		}
		b.squeeze(s)
		at += wait
	}
	b.run(at+second, func(s Sample) { c.Add(s) })
	_, err := c.Result()
	if err == nil || !strings.Contains(err.Error(), word) {
		t.Errorf("%v, want a word of %q", err, word)
	}
}

func TestRefusals(t *testing.T) {
	refused(t, 10, "disagree: squeeze 4 (-", func(_ *bench, i int, s *bulbsim.Squeeze) time.Duration {
		if i == 3 {
			s.Depth = 0.6
		}
		return 1300 * ms
	}, nil)
	refused(t, 11, "squeeze 5 was followed too soon", func(_ *bench, i int, _ *bulbsim.Squeeze) time.Duration {
		if i == 4 {
			return 450 * ms
		}
		return 1300 * ms
	}, nil)
	refused(t, 10, "not complete: 9 of 10", func(_ *bench, i int, s *bulbsim.Squeeze) time.Duration {
		if i == 9 {
			s.Depth = 0.01
		}
		return 1300 * ms
	}, nil)
	refused(t, 10, "end of the sensor's range", nil, func(b *bench) { b.gauge.High, b.gauge.Low = 2800, -2800 })
	refused(t, 10, "noise", nil, func(b *bench) { b.gauge.Noise = 45 })
	refused(t, 10, "not complete: 0 of 10", nil, func(b *bench) { b.gauge.Noise = 600 })
	refused(t, 10, "readings were missing", nil, func(b *bench) {
		b.skip = func(at time.Duration) bool { return at > 5*second && at < 5200*ms }
	})
}

func TestRefusedSamples(t *testing.T) {
	quiet := make([]Sample, 600)
	r := rand.New(rand.NewPCG(1, 2))
	for i := range quiet {
		quiet[i] = Sample{time.Duration(i) * period, 5 * r.NormFloat64()}
	}
	for _, c := range []struct {
		word      string
		low, high float64
		s         []Sample
	}{
		{"shows pressure or suction only", 0, 30000, quiet},
		{"too few", -30000, 30000, nil},
		{"too few", -30000, 30000, quiet[:10]},
		{"only 0 squeezes", -30000, 30000, quiet},
		{"no number", -30000, 30000, append([]Sample{{-period, math.NaN()}}, quiet...)},
		{"not at rest", -30000, 30000, append([]Sample{{-period, 9000}}, quiet...)},
	} {
		if _, err := Calibrate(c.low, c.high, c.s); err == nil || !strings.Contains(err.Error(), c.word) {
			t.Errorf("%v, want a word of %q", err, c.word)
		}
	}
}

// TestMissingReadings: before the count they only put its begin off, in the count
// they end it at once.
func TestMissingReadings(t *testing.T) {
	b := newBench(6)
	b.skip = func(at time.Duration) bool { return at > second && at < 1200*ms || at > 4800*ms && at < 5*second }
	c := NewCalibration(b.gauge.Low, b.gauge.High)
	for i := range 3 {
		b.squeeze(bulbsim.Squeeze{At: 3500*ms + time.Duration(i)*1300*ms, Push: 180 * ms, Hold: 40 * ms, Release: 90 * ms, Depth: 1})
	}
	var began, ended time.Duration
	b.run(7*second, func(s Sample) {
		done := c.Add(s)
		if c.Stage() == Squeezing && began == 0 {
			began = s.At
		}
		if done && ended == 0 {
			ended = s.At
		}
	})
	if began < 3200*ms || began > 3300*ms || ended < 5*second || ended > 5050*ms {
		t.Errorf("began at %v, ended at %v; want just after 3.2 s and 5 s", began, ended)
	}
	if _, err := c.Result(); err == nil || !strings.Contains(err.Error(), "readings were missing") || c.Count() != 1 {
		t.Errorf("%v after %d squeezes", err, c.Count())
	}
}

// TestTouchedFirst: a hand on the bulb at the beginning only puts the begin off.
func TestTouchedFirst(t *testing.T) {
	b := newBench(5)
	for i := range 6 {
		b.squeeze(bulbsim.Squeeze{At: time.Duration(i)*400*ms + 100*ms, Push: 150 * ms, Release: 80 * ms, Depth: 0.3})
	}
	b.now = 0
	c := NewCalibration(b.gauge.Low, b.gauge.High)
	at := 6 * second
	for range Squeezes {
		b.squeeze(flat(at, 170*ms))
		at += 1300 * ms
	}
	stages := []Stage{Resting}
	b.run(at+second, func(s Sample) {
		c.Add(s)
		if st := c.Stage(); st != stages[len(stages)-1] {
			stages = append(stages, st)
		}
	})
	p, err := c.Result()
	if err != nil || c.Count() != Squeezes || len(stages) != 3 {
		t.Fatalf("%v, %d squeezes, stages %v", err, c.Count(), stages)
	}
	if math.Abs(p.Rest-40) > 3 {
		t.Errorf("rest level %.0f", p.Rest)
	}
}

func TestParametersCheck(t *testing.T) {
	b := newBench(1)
	good, err := b.calibrate()
	if err != nil {
		t.Fatal(err)
	}
	for i, spoil := range []func(*Parameters){
		func(p *Parameters) { p.Schema = "" },
		func(p *Parameters) { p.Out = 0 },
		func(p *Parameters) { p.In = math.NaN() },
		func(p *Parameters) { p.Low = 0 },
		func(p *Parameters) { p.Start = p.Dead },
		func(p *Parameters) { p.Peak = 0 },
		func(p *Parameters) { p.Fill = 0 },
		func(p *Parameters) { p.Rest = p.High },
	} {
		p := good
		spoil(&p)
		if p.Check() == nil {
			t.Errorf("spoilt in way %d and accepted", i)
		}
	}
}
