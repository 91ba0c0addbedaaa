// SPDX-License-Identifier: Apache-2.0

package insight

import "sort"

// The levels of a funnel's two limits: one point in twenty lies outside the
// inner by chance alone, one in five hundred outside the outer.
const (
	InnerLevel = 0.95
	OuterLevel = 0.998
)

// Place is where a point lies: within both limits, outside the inner or
// outside both; negative below, positive above.
type Place int

// The places.
const (
	FarBelow Place = iota - 2
	Below
	Within
	Above
	FarAbove
)

// A FunnelPoint is a share against the limits at its own number of tests.
type FunnelPoint struct {
	Key  string // a letter or a facepiece
	K, N int
	At   Place
}

// A Funnel tells whether shares differ from the mean of all of them by more
// than chance. The points are part of that mean.
type Funnel struct {
	Mean   Estimate
	Points []FunnelPoint // in the order given; those without tests left out
}

// NewFunnel judges points by their K and N.
func NewFunnel(points []FunnelPoint) Funnel {
	var f Funnel
	var k, n int
	for _, p := range points {
		if sound(p.K, p.N, Level) {
			k, n = k+p.K, n+p.N
			f.Points = append(f.Points, p)
		}
	}
	f.Mean = Wilson(k, n, Level)
	for i := range f.Points {
		p := &f.Points[i]
		share := float64(p.K) / float64(p.N)
		p.At = Within
		for step, level := range []float64{InnerLevel, OuterLevel} {
			lo, hi := f.Limits(p.N, level)
			if share < lo {
				p.At = Below - Place(step)
			}
			if share > hi {
				p.At = Above + Place(step)
			}
		}
	}
	return f
}

// Limits are the shares of n tests between which chance keeps the given level
// around the mean. They are the exact binomial limits, drawn out between the
// whole counts as D. J. Spiegelhalter does (Stat. Med. 24 (2005) 1185-1202,
// from memory [M]): a share lies below the lower limit exactly when its count
// or a lower one has less than half of the rest as its chance. A limit that no
// count can pass is 0 or 1.
func (f Funnel) Limits(n int, level float64) (lo, hi float64) {
	if !f.Mean.Known || n <= 0 || !(level > 0 && level < 1) {
		return 0, 1
	}
	tail := (1 - level) / 2
	lo = lowerLimit(n, f.Mean.Share, tail)
	return lo, 1 - lowerLimit(n, 1-f.Mean.Share, tail)
}

func lowerLimit(n int, p, tail float64) float64 {
	r := sort.Search(n, func(k int) bool { return binomialCDF(k, n, p) > tail })
	at, under := binomialCDF(r, n, p), 0.0
	if r > 0 {
		under = binomialCDF(r-1, n, p)
	}
	return max(0, (float64(r)-(at-tail)/(at-under))/float64(n))
}

// binomialCDF is the chance of at most k of n.
func binomialCDF(k, n int, p float64) float64 {
	switch {
	case k < 0:
		return 0
	case k >= n || p <= 0:
		return 1
	case p >= 1:
		return 0
	}
	return Beta{float64(n - k), float64(k + 1)}.CDF(1 - p)
}
