// SPDX-License-Identifier: Apache-2.0

// Package hoodlevel computes the modelled level of mist under the hood from
// the instants of the squeezes. Every squeeze adds one and everything halves
// once per half-life, so
//
//	L(t) = sum over squeezes with t_i <= t of 2^(-(t-t_i)/T)
//
// and all results are L/N, in units of the initial dose N. The rule "half the
// dose every 30 s" restores the level exactly when T is 30 s, which is where
// the default comes from; the true half-life of a hood varies. The curve is an
// aid to see what happened, to be shown as modelled. It must not serve as
// evidence: no verdict may depend on it.
package hoodlevel

import (
	"iter"
	"math"
	"slices"
	"time"
)

// DefaultHalfLife follows from the rule of half a dose every 30 s: a level q left
// just before a top-up is restored when q + 1/2 = 1, so q = 1/2 after 30 s.
const DefaultHalfLife = 30 * time.Second

// chord is how far, in units of the initial dose, a straight line between two
// points of a Curve may lie from the modelled level.
const chord = 0.001

// A Model is the one assumption of the curve.
type Model struct {
	// HalfLife is the time in which the level halves without squeezes. Zero
	// means DefaultHalfLife; a negative one has no level at all.
	HalfLife time.Duration
}

// A Point is a breakpoint of the curve. Before is the limit from the left and
// After the level at T itself; they differ by the squeezes at T and are equal
// elsewhere. Both are in units of the initial dose.
type Point struct {
	T      time.Duration
	Before float64
	After  float64
}

// At gives the level at t in units of the initial dose of n squeezes; a
// squeeze at t itself counts. The squeezes may come in any order and may lie
// before zero. It is false for n <= 0 and for a negative half-life.
func (m Model) At(squeezes []time.Duration, n int, t time.Duration) (float64, bool) {
	half, ok := m.halfLife(n)
	if !ok {
		return 0, false
	}
	var level float64
	for _, s := range squeezes {
		if s <= t {
			level += math.Exp2(-since(t, s) / half)
		}
	}
	return level / float64(n), true
}

// Mean gives the mean level over [0, end] in units of the initial dose of n
// squeezes, from the closed form of the integral and not from samples. It is
// false for n <= 0, for end <= 0 and for a negative half-life.
func (m Model) Mean(squeezes []time.Duration, n int, end time.Duration) (float64, bool) {
	half, ok := m.halfLife(n)
	if !ok || end <= 0 {
		return 0, false
	}
	var area float64
	for piece := range pieces(squeezes, end, half) {
		// expm1 keeps the digits of a piece far shorter than the half-life.
		area -= piece.level * math.Expm1(-math.Ln2*piece.length/half)
	}
	return area * half / math.Ln2 / since(end, 0) / float64(n), true
}

// Min gives the least level over [0, end] in units of the initial dose of n
// squeezes, the limits from the left at the squeezes and at end included: the
// level only falls between squeezes, so the least is one of those. It is false
// when Mean is.
func (m Model) Min(squeezes []time.Duration, n int, end time.Duration) (float64, bool) {
	half, ok := m.halfLife(n)
	if !ok || end <= 0 {
		return 0, false
	}
	least := math.Inf(1)
	for piece := range pieces(squeezes, end, half) {
		least = min(least, piece.level*math.Exp2(-piece.length/half))
	}
	return least / float64(n), true
}

// Curve gives the points from 0 to end between which straight lines lie within
// 0.001 of the modelled level, in units of the initial dose of n squeezes, and
// among them every squeeze in (0, end]. The first point is at 0 with the level
// that earlier squeezes left, the last at end. Its length grows with the
// number of squeezes and not with the length of the run. It is false when Mean
// is.
func (m Model) Curve(squeezes []time.Duration, n int, end time.Duration) ([]Point, bool) {
	half, ok := m.halfLife(n)
	if !ok || end <= 0 {
		return nil, false
	}
	dose := float64(n)
	before := 0.0
	for _, s := range squeezes {
		if s < 0 {
			before += math.Exp2(-since(0, s) / half)
		}
	}
	var points []Point
	for piece := range pieces(squeezes, end, half) {
		points = append(points, Point{piece.from, before / dose, piece.level / dose})
		// A chord over h of a curve with second derivative at most
		// level*(ln2/half)^2 misses it by at most h^2/8 of that.
		for at := 0.0; ; {
			level := piece.level / dose * math.Exp2(-at/half)
			if level <= chord {
				break
			}
			at += half / math.Ln2 * math.Sqrt(8*chord/level)
			// The last stretch is left to the point that follows; one closer
			// than a nanosecond to it would repeat its instant.
			if t := piece.from + time.Duration(at); at < piece.length-1 && t > points[len(points)-1].T {
				level = piece.level / dose * math.Exp2(-since(t, piece.from)/half)
				points = append(points, Point{t, level, level})
				continue
			}
			break
		}
		before = piece.level * math.Exp2(-piece.length/half)
	}
	last := Point{end, before / dose, before / dose}
	for _, s := range squeezes {
		if s == end {
			last.After += 1 / dose
		}
	}
	return append(points, last), true
}

// halfLife gives the half-life in nanoseconds, and whether there is a level
// for n squeezes at all.
func (m Model) halfLife(n int) (float64, bool) {
	half := m.HalfLife
	if half == 0 {
		half = DefaultHalfLife
	}
	return float64(half), half > 0 && n > 0
}

// since gives t-s in nanoseconds without overflow; it is exact for spans of
// less than 104 days (2^53 ns).
func since(t, s time.Duration) float64 { return float64(t) - float64(s) }

// A piece is a stretch without squeezes inside: level is the level in squeezes
// just after its beginning, length is in nanoseconds.
type piece struct {
	from   time.Duration
	length float64
	level  float64
}

// pieces cuts [0, end] at the squeezes, in order of time. It yields at least
// one piece and none of length zero.
func pieces(squeezes []time.Duration, end time.Duration, half float64) iter.Seq[piece] {
	return func(yield func(piece) bool) {
		sorted := slices.Clone(squeezes)
		slices.Sort(sorted)
		var (
			at    time.Duration
			level float64
			i     int
		)
		for ; i < len(sorted) && sorted[i] <= 0; i++ {
			level += math.Exp2(-since(0, sorted[i]) / half)
		}
		for ; i < len(sorted) && sorted[i] < end; i++ {
			if s := sorted[i]; s > at {
				length := since(s, at)
				if !yield(piece{at, length, level}) {
					return
				}
				level *= math.Exp2(-length / half)
				at = s
			}
			level++
		}
		yield(piece{at, since(end, at), level})
	}
}
