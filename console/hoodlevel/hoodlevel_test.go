// SPDX-License-Identifier: Apache-2.0

package hoodlevel_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"tallyhood/console/hoodlevel"
)

const end = 420 * time.Second

// perfect gives the squeezes of a perfect run with bin n by the convention of
// the derived figures: each dose is there whole and at once at its due instant,
// the initial one at 0 and top-up k at 30k s. The top-ups named are left out.
func perfect(n int, without ...int) []time.Duration {
	squeezes := make([]time.Duration, n)
	for k := 1; k <= 13; k++ {
		if slices.Contains(without, k) {
			continue
		}
		for range n / 2 {
			squeezes = append(squeezes, time.Duration(k)*30*time.Second)
		}
	}
	return squeezes
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > within {
		t.Errorf("%s: got %.9f, want %.9f within %g", what, got, want, within)
	}
}

func must(t *testing.T, v float64, ok bool) float64 {
	t.Helper()
	if !ok {
		t.Fatal("no level where there should be one")
	}
	return v
}

// The figures of the trade's section on the hood level: arithmetic from the
// rule "half the initial dose every 30 s" of 29 CFR 1910.134 Appendix A.
func TestPerfectRun(t *testing.T) {
	for _, n := range []int{10, 20, 30} {
		squeezes := perfect(n)
		if want := n * 15 / 2; len(squeezes) != want {
			t.Fatalf("bin %d: %d squeezes in the run, want %d", n, len(squeezes), want)
		}
		for _, half := range []time.Duration{0, 30 * time.Second} {
			m := hoodlevel.Model{HalfLife: half}
			mean, ok := m.Mean(squeezes, n, end)
			near(t, "mean", must(t, mean, ok), 1/(2*math.Ln2), 1e-12)
			near(t, "mean as printed", mean, 0.721348, 5e-7)
			least, ok := m.Min(squeezes, n, end)
			near(t, "least", must(t, least, ok), 0.5, 1e-12)
			for k := range 14 {
				at := time.Duration(k) * 30 * time.Second
				after, ok := m.At(squeezes, n, at)
				near(t, "after a full dose", must(t, after, ok), 1, 1e-12)
				before, ok := m.At(squeezes, n, at+30*time.Second-1)
				near(t, "just before the next", must(t, before, ok), 0.5, 1e-10)
			}
		}
	}
}

func TestOtherHalfLives(t *testing.T) {
	for _, c := range []struct {
		half       time.Duration
		peak, mean float64
	}{
		{15 * time.Second, 0.666667, 0.377849},
		{20 * time.Second, 0.773459, 0.496462},
		{45 * time.Second, 1.350343, 1.027818},
		{60 * time.Second, 1.699294, 1.298099},
		{90 * time.Second, 2.353039, 1.741248},
	} {
		m := hoodlevel.Model{HalfLife: c.half}
		for _, n := range []int{10, 20, 30} {
			peak, ok := m.At(perfect(n), n, 390*time.Second)
			near(t, c.half.String()+" peak", must(t, peak, ok), c.peak, 5e-7)
			mean, ok := m.Mean(perfect(n), n, end)
			near(t, c.half.String()+" mean", must(t, mean, ok), c.mean, 5e-7)
		}
	}
}

func TestMissedTopUp(t *testing.T) {
	m := hoodlevel.Model{}
	for _, n := range []int{10, 20, 30} {
		squeezes := perfect(n, 2)
		curve, ok := m.Curve(squeezes, n, end)
		if !ok {
			t.Fatal("no curve")
		}
		for _, c := range []struct {
			at            time.Duration
			before, after float64
		}{
			{90 * time.Second, 0.25, 0.75},
			{120 * time.Second, 0.375, 0.875},
			{150 * time.Second, 0.4375, 0.9375},
		} {
			after, ok := m.At(squeezes, n, c.at)
			near(t, "after", must(t, after, ok), c.after, 1e-12)
			i := slices.IndexFunc(curve, func(p hoodlevel.Point) bool { return p.T == c.at })
			if i < 0 {
				t.Fatalf("the curve has no point at %v", c.at)
			}
			near(t, "curve before", curve[i].Before, c.before, 1e-12)
			near(t, "curve after", curve[i].After, c.after, 1e-12)
		}
		least, ok := m.Min(squeezes, n, end)
		near(t, "least", must(t, least, ok), 0.25, 1e-12)
	}
}

func TestNoLevel(t *testing.T) {
	s := perfect(10)
	for _, c := range []struct {
		name string
		m    hoodlevel.Model
		n    int
		end  time.Duration
		at   bool
	}{
		{"no dose", hoodlevel.Model{}, 0, end, false},
		{"negative dose", hoodlevel.Model{}, -10, end, false},
		{"no run", hoodlevel.Model{}, 10, 0, true},
		{"negative run", hoodlevel.Model{}, 10, -1, true},
		{"negative half-life", hoodlevel.Model{HalfLife: -1}, 10, end, false},
	} {
		if v, ok := c.m.Mean(s, c.n, c.end); ok || v != 0 {
			t.Errorf("%s: mean %v, %v", c.name, v, ok)
		}
		if v, ok := c.m.Min(s, c.n, c.end); ok || v != 0 {
			t.Errorf("%s: least %v, %v", c.name, v, ok)
		}
		if v, ok := c.m.Curve(s, c.n, c.end); ok || v != nil {
			t.Errorf("%s: curve %v, %v", c.name, v, ok)
		}
		if _, ok := c.m.At(s, c.n, c.end); ok != c.at {
			t.Errorf("%s: At says %v", c.name, ok)
		}
	}
}

// Small cases worked by hand.
func TestByHand(t *testing.T) {
	const sec = time.Second
	m := hoodlevel.Model{HalfLife: 10 * sec}
	for _, c := range []struct {
		name      string
		squeezes  []time.Duration
		end       time.Duration
		mean, low float64
	}{
		{"no squeeze", nil, 10 * sec, 0, 0},
		{"one at the start", []time.Duration{0}, 10 * sec, 0.5 / math.Ln2, 0.5},
		{"one before the start", []time.Duration{-10 * sec}, 10 * sec, 0.25 / math.Ln2, 0.25},
		{"one in the middle", []time.Duration{5 * sec}, 10 * sec, (1 - math.Sqrt2/2) / math.Ln2, 0},
		{"one at the end adds nothing", []time.Duration{0, 10 * sec}, 10 * sec, 0.5 / math.Ln2, 0.5},
		{"one after the end adds nothing", []time.Duration{0, 11 * sec}, 10 * sec, 0.5 / math.Ln2, 0.5},
		{"out of order, least inside", []time.Duration{20 * sec, 0, 20 * sec}, 21 * sec,
			((1 - 0.25) + 2.25*(1-math.Exp2(-0.1))) * 10 / math.Ln2 / 21, 0.25},
	} {
		given := slices.Clone(c.squeezes)
		mean, ok := m.Mean(c.squeezes, 1, c.end)
		near(t, c.name+": mean", must(t, mean, ok), c.mean, 1e-12)
		low, ok := m.Min(c.squeezes, 1, c.end)
		near(t, c.name+": least", must(t, low, ok), c.low, 1e-12)
		if !slices.Equal(given, c.squeezes) {
			t.Errorf("%s: the caller's squeezes were changed", c.name)
		}
	}
	after, ok := m.At([]time.Duration{3 * sec}, 2, 3*sec)
	near(t, "a squeeze counts at its instant", must(t, after, ok), 0.5, 0)
	after, ok = m.At([]time.Duration{3 * sec}, 2, 3*sec-1)
	near(t, "and not before", must(t, after, ok), 0, 0)
}

// random gives a run that need not be a sensible one.
func random(r *rand.Rand) (m hoodlevel.Model, squeezes []time.Duration, n int, end time.Duration) {
	m.HalfLife = time.Duration(math.Exp(r.Float64()*6) * 0.5 * float64(time.Second)) // 0.5 to 200 s
	end = time.Duration(1 + r.Int64N(int64(500*time.Second)))
	n = 1 + r.IntN(30)
	for range r.IntN(60) {
		s := time.Duration(r.Int64N(int64(700*time.Second))) - 100*time.Second
		for range 1 + r.IntN(3) {
			squeezes = append(squeezes, s)
		}
	}
	if r.IntN(4) == 0 {
		squeezes = append(squeezes, 0, end)
	}
	r.Shuffle(len(squeezes), func(i, j int) { squeezes[i], squeezes[j] = squeezes[j], squeezes[i] })
	return m, squeezes, n, end
}

// direct is the defining sum, written apart from the code under test; strict
// leaves out a squeeze at t itself, which gives the limit from the left.
func direct(half time.Duration, squeezes []time.Duration, n int, t float64, strict bool) float64 {
	var level float64
	for _, s := range squeezes {
		if at := s.Seconds(); at < t || at == t && !strict {
			level += math.Pow(2, -(t-at)/half.Seconds())
		}
	}
	return level / float64(n)
}

// The mean agrees with a numeric integration of the defining sum by Simpson's
// rule between the squeezes, the least with the least of its samples.
func TestAgainstNumericIntegration(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 420))
	for run := range 120 {
		m, squeezes, n, end := random(r)
		cuts := []float64{0, end.Seconds()}
		for _, s := range squeezes {
			if s > 0 && s < end {
				cuts = append(cuts, s.Seconds())
			}
		}
		slices.Sort(cuts)
		cuts = slices.Compact(cuts)
		var area float64
		low := math.Inf(1)
		for i := range len(cuts) - 1 {
			a, b := cuts[i], cuts[i+1]
			steps := 2 * (4 + int((b-a)/m.HalfLife.Seconds()*20))
			h := (b - a) / float64(steps)
			for k := range steps + 1 {
				x := a + h*float64(k)
				v := direct(m.HalfLife, squeezes, n, x, false)
				if k == steps {
					v = direct(m.HalfLife, squeezes, n, b, true)
				}
				low = min(low, v)
				switch {
				case k == 0 || k == steps:
					area += v * h / 3
				case k%2 == 1:
					area += v * h * 4 / 3
				default:
					area += v * h * 2 / 3
				}
			}
		}
		want := area / end.Seconds()
		mean, ok := m.Mean(squeezes, n, end)
		near(t, "mean", must(t, mean, ok), want, 1e-6*(1+want))
		least, ok := m.Min(squeezes, n, end)
		near(t, "least", must(t, least, ok), low, 1e-9*(1+low))
		if t.Failed() {
			t.Fatalf("run %d: half-life %v, n %d, end %v, squeezes %v", run, m.HalfLife, n, end, squeezes)
		}
	}
}

// Straight lines between the points of the curve stay within the stated 0.001
// of the level, the points are in order, and there are not too many of them.
func TestCurve(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 420))
	for run := range 300 {
		m, squeezes, n, end := random(r)
		curve, ok := m.Curve(squeezes, n, end)
		if !ok {
			t.Fatal("no curve")
		}
		if first, last := curve[0], curve[len(curve)-1]; first.T != 0 || last.T != end {
			t.Fatalf("run %d: the curve goes from %v to %v, want 0 to %v", run, first.T, last.T, end)
		}
		// A stretch that begins at level l needs about 2*sqrt(l/(8*0.001))
		// lines; a level above 180 does not arise here.
		if most := (len(squeezes) + 1) * 300; len(curve) > most {
			t.Fatalf("run %d: %d points", run, len(curve))
		}
		for i, p := range curve {
			near(t, "before", p.Before, direct(m.HalfLife, squeezes, n, p.T.Seconds(), true), 1e-9)
			near(t, "after", p.After, direct(m.HalfLife, squeezes, n, p.T.Seconds(), false), 1e-9)
			if i == 0 {
				continue
			}
			q := curve[i-1]
			if p.T <= q.T {
				t.Fatalf("run %d: point %d at %v follows %v", run, i, p.T, q.T)
			}
			for _, f := range []float64{0.25, 0.5, 0.75} {
				x := q.T.Seconds() + f*(p.T-q.T).Seconds()
				near(t, "line", q.After+f*(p.Before-q.After), direct(m.HalfLife, squeezes, n, x, false), 0.001+1e-9)
			}
		}
		for _, s := range squeezes {
			if s > 0 && s <= end && !slices.ContainsFunc(curve, func(p hoodlevel.Point) bool { return p.T == s }) {
				t.Fatalf("run %d: no point at the squeeze at %v", run, s)
			}
		}
		if t.Failed() {
			t.Fatalf("run %d: half-life %v, n %d, end %v, squeezes %v", run, m.HalfLife, n, end, squeezes)
		}
	}
	// A whole run stays small enough to send to a page with each record.
	curve, _ := hoodlevel.Model{}.Curve(perfect(30), 30, end)
	if len(curve) > 300 {
		t.Errorf("%d points for a perfect run", len(curve))
	}
	t.Logf("%d points for a perfect run", len(curve))
}

// Instants at the ends of what a Duration holds give numbers, not overflow.
func TestExtremes(t *testing.T) {
	const first, last = time.Duration(math.MinInt64), time.Duration(math.MaxInt64)
	squeezes := []time.Duration{last, first, 0, first + 1}
	for _, half := range []time.Duration{1, time.Second, last} {
		m := hoodlevel.Model{HalfLife: half}
		for _, end := range []time.Duration{1, time.Second, last} {
			mean, ok1 := m.Mean(squeezes, 1, end)
			low, ok2 := m.Min(squeezes, 1, end)
			curve, ok3 := m.Curve(squeezes, 1, end)
			if !ok1 || !ok2 || !ok3 {
				t.Fatal("no level")
			}
			if !(low >= 0 && low <= mean && mean <= 4) {
				t.Errorf("half-life %v, end %v: least %v, mean %v", half, end, low, mean)
			}
			if len(curve) > 2000 {
				t.Errorf("half-life %v, end %v: %d points", half, end, len(curve))
			}
		}
	}
}

func BenchmarkMean(b *testing.B) {
	squeezes := perfect(30)
	for b.Loop() {
		if _, ok := (hoodlevel.Model{}).Mean(squeezes, 30, end); !ok {
			b.Fatal("no level")
		}
	}
}
