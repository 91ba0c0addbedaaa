// SPDX-License-Identifier: Apache-2.0

package insight

import "math"

// An Estimate is a share of tests with what chance leaves open. Without tests,
// or with counts that cannot be, nothing is known: Known is false and the
// interval is all from 0 to 1. No figure is ever NaN.
type Estimate struct {
	K, N          int
	Share, Lo, Hi float64
	Known         bool
}

// Few tells whether there are too few tests to say.
func (e Estimate) Few() bool { return e.N < Few }

func sound(k, n int, level float64) bool {
	return n > 0 && k >= 0 && k <= n && level > 0 && level < 1
}

// z is the two-sided standard normal deviate of a level: 1.96 for 0.95.
func z(level float64) float64 { return math.Sqrt2 * math.Erfinv(level) }

// Wilson is the share k of n with the score interval of E. B. Wilson, J. Am.
// Stat. Assoc. 22 (1927) 209-212, without correction for continuity. It holds
// its level on average and is the interval of all shares here.
func Wilson(k, n int, level float64) Estimate {
	if !sound(k, n, level) {
		return Estimate{K: k, N: n, Hi: 1}
	}
	zz := z(level)
	fn, p := float64(n), float64(k)/float64(n)
	d := 1 + zz*zz/fn
	mid := (p + zz*zz/(2*fn)) / d
	half := zz / d * math.Sqrt(p*(1-p)/fn+zz*zz/(4*fn*fn))
	e := Estimate{k, n, p, max(0, mid-half), min(1, mid+half), true}
	// What is exact in mathematics stays exact in floating point.
	if k == 0 {
		e.Lo = 0
	}
	if k == n {
		e.Hi = 1
	}
	return e
}

// ClopperPearson is the share k of n with the exact interval of C. J. Clopper
// and E. S. Pearson, Biometrika 26 (1934) 404-413: never under its level, so
// wider; for a share that someone outside has to rely on.
func ClopperPearson(k, n int, level float64) Estimate {
	if !sound(k, n, level) {
		return Estimate{K: k, N: n, Hi: 1}
	}
	e := Estimate{k, n, float64(k) / float64(n), 0, 1, true}
	tail := (1 - level) / 2
	if k > 0 {
		e.Lo = Beta{float64(k), float64(n - k + 1)}.Quantile(tail)
	}
	if k < n {
		e.Hi = Beta{float64(k + 1), float64(n - k)}.Quantile(1 - tail)
	}
	return e
}

// Fisher is the two-sided exact test of R. A. Fisher whether two shares differ,
// a of a+b against c of c+d: the chance, were they the same, of a table no more
// likely than this one. Nothing to compare, and negative counts, give 1.
func Fisher(a, b, c, d int) float64 {
	if min(a, b, c, d) < 0 || a+b == 0 || c+d == 0 {
		return 1
	}
	r, col, n := a+b, a+c, a+b+c+d
	logP := func(x int) float64 {
		return logChoose(r, x) + logChoose(n-r, col-x) - logChoose(n, col)
	}
	// Tables as likely as this one differ from it by rounding.
	const slack = 1e-7
	most := logP(a) + slack
	var sum float64
	for x := max(0, col-(n-r)); x <= min(r, col); x++ {
		if l := logP(x); l <= most {
			sum += math.Exp(l)
		}
	}
	return min(1, sum)
}

func logChoose(n, k int) float64 {
	return lgamma(float64(n)+1) - lgamma(float64(k)+1) - lgamma(float64(n-k)+1)
}

// lgamma of an argument above 0.
func lgamma(x float64) float64 { v, _ := math.Lgamma(x); return v }
