// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"math"
	"math/big"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

var sizes = []int{1, 2, 3, 5, 8, 10, 13, 26, 50, 99, 200, 377, 1000, 1583, 2000}

// some counts of n: the ends, and a spread between.
func some(n int) []int {
	var out []int
	step := max(1, n/23)
	for k := 0; k <= n; k += step {
		out = append(out, k)
	}
	for _, k := range []int{1, n - 1, n} {
		if k > 0 && k <= n {
			out = append(out, k)
		}
	}
	return out
}

// Against gonum: the exact limits are its beta quantiles, Wilson's are the
// roots of the score equation with its normal quantile.
func TestIntervalsAgainstGonum(t *testing.T) {
	var worst float64
	cells := 0
	check := func(what string, k, n int, level, got, want float64) {
		t.Helper()
		cells++
		worst = max(worst, math.Abs(got-want))
		if !(math.Abs(got-want) <= 1e-9) {
			t.Errorf("%s %d of %d at %v: %.12f, want %.12f", what, k, n, level, got, want)
		}
	}
	for _, level := range []float64{0.5, 0.9, 0.95, 0.998} {
		tail := (1 - level) / 2
		zz := distuv.UnitNormal.Quantile(1 - tail)
		check("z", 0, 0, level, z(level), zz)
		for _, n := range sizes {
			for _, k := range some(n) {
				e, lo, hi := ClopperPearson(k, n, level), 0.0, 1.0
				if k > 0 {
					lo = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
				}
				if k < n {
					hi = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
				}
				check("exact low", k, n, level, e.Lo, lo)
				check("exact high", k, n, level, e.Hi, hi)

				// (p - x)^2 = z^2 x (1-x) / n in x
				w, p, fn := Wilson(k, n, level), float64(k)/float64(n), float64(n)
				a, b, c := 1+zz*zz/fn, -(2*p + zz*zz/fn), p*p
				root := math.Sqrt(max(0, b*b-4*a*c))
				check("Wilson low", k, n, level, w.Lo, (-b-root)/(2*a))
				check("Wilson high", k, n, level, w.Hi, min(1, (-b+root)/(2*a)))
			}
		}
	}
	t.Logf("%d limits, largest difference %.2g", cells, worst)
}

func TestBetaAgainstGonum(t *testing.T) {
	var worst float64
	for _, a := range []float64{0.2, 0.6, 1, 2.5, 3.8, 17, 90, 400, 1950.4} {
		for _, b := range []float64{0.2, 0.6, 1, 2.5, 3.8, 17, 90, 400, 1950.4} {
			d, ref := Beta{a, b}, distuv.Beta{Alpha: a, Beta: b}
			if math.Abs(d.Mean()-ref.Mean()) > 1e-12 || math.Abs(d.SD()-ref.StdDev()) > 1e-12 {
				t.Errorf("Beta(%v, %v): mean %v, deviation %v", a, b, d.Mean(), d.SD())
			}
			for _, x := range []float64{1e-6, 0.01, 0.1, 0.3, 0.5, 0.8, 0.97, 0.9999} {
				worst = max(worst, math.Abs(d.CDF(x)-ref.CDF(x)))
				if !(math.Abs(d.CDF(x)-ref.CDF(x)) <= 1e-9) {
					t.Errorf("Beta(%v, %v) at %v: %v, want %v", a, b, x, d.CDF(x), ref.CDF(x))
				}
			}
			for _, p := range []float64{0.001, 0.05, 0.5, 0.95, 0.999} {
				q := d.Quantile(p)
				if !(math.Abs(q-ref.Quantile(p)) <= 1e-9) {
					t.Errorf("Beta(%v, %v) quantile %v: %v, want %v", a, b, p, q, ref.Quantile(p))
				}
			}
		}
	}
	t.Logf("largest difference of the distribution %.2g", worst)
}

func TestFunnelAgainstGonum(t *testing.T) {
	for _, p := range []float64{0.02, 0.3, 0.848, 0.99} {
		for _, n := range sizes {
			ref := distuv.Binomial{N: float64(n), P: p}
			for _, k := range some(n) {
				if got, want := binomialCDF(k, n, p), ref.CDF(float64(k)); !(math.Abs(got-want) <= 1e-9) {
					t.Errorf("at most %d of %d at %v: %v, want %v", k, n, p, got, want)
				}
			}
			f := Funnel{Mean: Estimate{Share: p, Known: true}}
			for _, level := range []float64{InnerLevel, OuterLevel} {
				lo, hi := f.Limits(n, level)
				tail := (1 - level) / 2
				for k := 0; k <= n; k++ {
					below := ref.CDF(float64(k)) < tail
					if share := float64(k) / float64(n); below != (share < lo) {
						t.Errorf("%d of %d at %v: below %v, limit %v", k, n, p, below, lo)
					}
					above := 1-ref.CDF(float64(k-1)) < tail
					if k == 0 {
						above = false
					}
					if share := float64(k) / float64(n); above != (share > hi) {
						t.Errorf("%d of %d at %v: above %v, limit %v", k, n, p, above, hi)
					}
				}
			}
		}
	}
}

// Fisher's test against whole-number arithmetic.
func TestFisherExactly(t *testing.T) {
	choose := func(n, k int) *big.Int { return new(big.Int).Binomial(int64(n), int64(k)) }
	for _, c := range [][4]int{{1, 0, 0, 1}, {5, 5, 5, 5}, {3, 9, 11, 2}, {20, 1, 14, 9}, {0, 12, 7, 60}, {113, 5, 99, 21}} {
		a, b, cc, d := c[0], c[1], c[2], c[3]
		r, col, n := a+b, a+cc, a+b+cc+d
		weight := func(x int) *big.Int { return new(big.Int).Mul(choose(r, x), choose(n-r, col-x)) }
		sum, mine := new(big.Int), weight(a)
		for x := max(0, col-(n-r)); x <= min(r, col); x++ {
			if w := weight(x); w.Cmp(mine) <= 0 {
				sum.Add(sum, w)
			}
		}
		want, _ := new(big.Rat).SetFrac(sum, choose(n, col)).Float64()
		if got := Fisher(a, b, cc, d); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v: %v, want %v", c, got, want)
		}
	}
}

// The variance of kappa against numbers: its slope by finite differences.
func TestKappaInterval(t *testing.T) {
	for _, c := range []Table2{{{331, 7}, {35, 383}}, {{40, 9}, {6, 20}}, {{5, 1}, {1, 5}}, {{3, 20}, {18, 4}}} {
		var p [4]float64
		var n float64
		for i := range 4 {
			n += float64(c[i/2][i%2])
		}
		for i := range 4 {
			p[i] = float64(c[i/2][i%2]) / n
		}
		kappa := func(p [4]float64) float64 {
			pe := (p[0]+p[1])*(p[0]+p[2]) + (p[2]+p[3])*(p[1]+p[3])
			return (p[0] + p[3] - pe) / (1 - pe)
		}
		var mean, square float64
		for i := range 4 {
			up, down := p, p
			const h = 1e-6
			up[i] += h
			down[i] -= h
			slope := (kappa(up) - kappa(down)) / (2 * h)
			mean += slope * p[i]
			square += slope * slope * p[i]
		}
		half := distuv.UnitNormal.Quantile(0.975) * math.Sqrt((square-mean*mean)/n)
		k := c.Kappa()
		if want := max(-1, kappa(p)-half); math.Abs(k.Lo-want) > 1e-7 {
			t.Errorf("%v: low %v, want %v", c, k.Lo, want)
		}
		if want := min(1, kappa(p)+half); math.Abs(k.Hi-want) > 1e-7 {
			t.Errorf("%v: high %v, want %v", c, k.Hi, want)
		}
	}
}

// The chance to be best of two: with whole parameters it is a finite sum.
// P(X > Y) for X ~ Beta(a, b), Y ~ Beta(c, d) adds over i < a
// B(c+i, b+d) / ((b+i) B(1+i, b) B(c, d)), taken from the other side.
func TestChanceBest(t *testing.T) {
	lb := func(a, b float64) float64 { return Beta{a, b}.logBeta() }
	var cases [][4]int
	for _, a := range []int{1, 2, 5, 19, 90, 800, 5000} {
		for _, b := range []int{1, 3, 40, 300} {
			for _, c := range []int{1, 4, 30, 500} {
				for _, d := range []int{1, 2, 11, 70, 900} {
					cases = append(cases, [4]int{a, b, c, d})
				}
			}
		}
	}
	var worst float64
	for _, c := range cases {
		a, b, cc, d := c[0], c[1], c[2], c[3]
		var beats float64 // the first under the second
		for i := range cc {
			fi := float64(i)
			beats += math.Exp(lb(float64(a)+fi, float64(b+d)) - math.Log(float64(d)+fi) - lb(1+fi, float64(d)) - lb(float64(a), float64(b)))
		}
		// beats is P(second > first)
		got := chanceBest([]Beta{{float64(a), float64(b)}, {float64(cc), float64(d)}})
		worst = max(worst, math.Abs(got[1]-beats))
		if math.Abs(got[1]-beats) > 1e-3 || math.Abs(got[0]+got[1]-1) > 1e-12 {
			t.Errorf("%v: %v, want %v", c, got, beats)
		}
	}
	t.Logf("%d pairs, largest difference %.2g", len(cases), worst)
	// Alike are alike, however many.
	same := make([]Beta, 7)
	for i := range same {
		same[i] = Beta{12.4, 1.6}
	}
	for _, p := range chanceBest(same) {
		if math.Abs(p-1.0/7) > 1e-9 {
			t.Errorf("one of seven alike: %v", p)
		}
	}
	// Against a fine grid over densities of gonum, three at once.
	three := []Beta{{3.4, 0.6}, {23.4, 4.6}, {13.4, 3.6}}
	var want [3]float64
	const cells = 40_000
	for i := range cells {
		var dens, under [3]float64
		lo, hi := float64(i)/cells, float64(i+1)/cells
		for j, d := range three {
			ref := distuv.Beta{Alpha: d.A, Beta: d.B}
			dens[j] = ref.CDF(hi) - ref.CDF(lo)
			under[j] = ref.CDF((lo + hi) / 2)
		}
		want[0] += dens[0] * under[1] * under[2]
		want[1] += dens[1] * under[0] * under[2]
		want[2] += dens[2] * under[0] * under[1]
	}
	for i, p := range chanceBest(three) {
		if math.Abs(p-want[i]) > 1e-3 {
			t.Errorf("place %d of three: %v, want %v", i, p, want[i])
		}
	}
}
