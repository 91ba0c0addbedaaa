// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestAnySamples: whatever a sensor gives, events come in order, one verdict a
// squeeze, a count only with the volume for it, and nothing panics.
func TestAnySamples(t *testing.T) {
	b := newBench(1)
	p, err := b.calibrate()
	if err != nil {
		t.Fatal(err)
	}
	counted := 0
	defer func() {
		if counted == 0 {
			t.Error("no squeeze was counted: the samples are too wild to show anything")
		}
	}()
	rapid.Check(t, func(t *rapid.T) {
		d := NewDetector(p)
		c := NewCalibration(p.Low, p.High)
		var at time.Duration
		var last Event
		open := false
		add := func(step time.Duration, pascal float64) {
			at += step
			d.Add(Sample{at, pascal})
			c.Add(Sample{at, pascal})
			for _, e := range d.Take() {
				switch {
				case e.Known < last.Known, e.Known > at, e.Begun > e.Known, e.FlatAt > e.Known, e.Released > e.Known:
					t.Fatalf("out of order: %+v after %+v", e, last)
				case e.Kind == Flattened && (open || e.Volume < flatShare || e.Volume >= overShare || e.Before < filledShare):
					t.Fatalf("counted: %+v", e)
				case e.Kind == Squeezed && !open:
					t.Fatalf("let go without having been flattened: %+v", e)
				}
				switch e.Kind {
				case Flattened:
					open = true
					counted++
				case Squeezed:
					open = false
				case Shallow, Unfilled, Doubted, Gap, Stuck, OutOfRange:
					if open {
						t.Fatalf("%v before the release was told", e.Kind)
					}
				}
				last = e
			}
			if f := d.Fill(); !(f >= 0 && f <= 1) {
				t.Fatalf("holds %v of a bulb", f)
			}
		}
		for i := range 300 {
			add(period, p.Rest+float64(i%2))
		}
		// arch is a stretch of pressure with a given volume under its root.
		arch := func(peak, volume float64) {
			long := time.Duration(volume * math.Pi / 2 / math.Sqrt(math.Abs(peak)) * float64(time.Second))
			for from := at; at-from < long; {
				x := math.Sin(math.Pi * float64(at+period-from) / float64(long))
				add(period, p.Rest+peak*x*math.Abs(x))
			}
		}
		for range rapid.IntRange(1, 40).Draw(t, "stretches") {
			if rapid.Bool().Draw(t, "squeeze") {
				arch(rapid.SampledFrom([]float64{300, 3000, 16000, 33000}).Draw(t, "peak"), p.Out*rapid.Float64Range(0.1, 1.5).Draw(t, "out"))
				for i := range rapid.IntRange(0, 40).Draw(t, "hold") {
					add(period, p.Rest+float64(i%2))
				}
				arch(-rapid.SampledFrom([]float64{60, 400, 1000}).Draw(t, "suction"), p.In*rapid.Float64Range(0.1, 1.3).Draw(t, "in"))
				continue
			}
			level := rapid.SampledFrom([]float64{p.Rest, p.Rest + 30, p.Rest - 30, p.Rest + 90, -200, -900, 500, 3000, 12000, p.High, p.Low, math.NaN(), math.Inf(1)}).Draw(t, "level")
			noise := rapid.SampledFrom([]float64{0, 5, 50, 2000}).Draw(t, "noise")
			step := time.Duration(rapid.SampledFrom([]int{0, 1, 5, 5, 5, 12, 30, 70, 5000}).Draw(t, "step")) * ms
			for i := range rapid.IntRange(1, 120).Draw(t, "samples") {
				add(step, level+noise*math.Sin(float64(i)*1.7))
			}
		}
		if _, err := c.Result(); err == nil && c.Count() < Squeezes {
			t.Fatal("calibrated without squeezes")
		}
	})
}
