// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// A Group is the tests of facepieces that are alike in what was asked for; the
// rest of Facepiece is empty.
type Group struct {
	Facepiece
	Counts
}

// By is what facepieces are grouped by.
type By func(Facepiece) Facepiece

// The usual groupings.
var (
	ByFacepiece By = func(f Facepiece) Facepiece { return f }
	ByMake      By = func(f Facepiece) Facepiece { return Facepiece{Make: f.Make} }
	ByModel     By = func(f Facepiece) Facepiece { return Facepiece{Make: f.Make, Model: f.Model} }
	BySize      By = func(f Facepiece) Facepiece { return Facepiece{Size: f.Size} }
	ByModelSize By = func(f Facepiece) Facepiece { return Facepiece{Make: f.Make, Model: f.Model, Size: f.Size} }
)

// Groups are the tests by facepiece, in the order of make, model, size, style.
func (s *Set) Groups(by By) []Group {
	m := map[Facepiece]Counts{}
	for _, c := range s.cells {
		if c.Tests() > 0 {
			g := m[by(c.face)]
			g.plus(c.Counts, 1)
			m[by(c.face)] = g
		}
	}
	var out []Group
	for _, f := range slices.SortedFunc(maps.Keys(m), Facepiece.compare) {
		out = append(out, Group{f, m[f]})
	}
	return out
}

func (f Facepiece) compare(o Facepiece) int {
	return cmp.Or(cmp.Compare(f.Make, o.Make), cmp.Compare(f.Model, o.Model),
		cmp.Compare(sizeOrder(f.Size), sizeOrder(o.Size)), cmp.Compare(f.Size, o.Size), cmp.Compare(f.Style, o.Style))
}

// sizeOrder puts the usual words of sizes in the order of sizes; others follow
// by their letters.
func sizeOrder(size string) int {
	for i, words := range [][]string{{"xs", "extra small"}, {"s", "small"}, {"s/m", "small/medium"}, {"m", "medium", "regular"}, {"m/l", "medium/large"}, {"l", "large"}, {"xl", "extra large"}} {
		for _, w := range words {
			if len(w) == len(size) && lower(size) == w {
				return i
			}
		}
	}
	return 99
}

func lower(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c >= 'A' && c <= 'Z' {
			b[i] = c + 'a' - 'A'
		}
	}
	return string(b)
}

// PriorTests is how many imagined tests stand behind every facepiece [H]: four,
// at the site's own share of passes. It is weak: ten real tests outweigh it.
const PriorTests = 4

// priorEdge keeps the imagined tests from being all passes or all fails [H].
const priorEdge = 0.05

// CredibleLevel is the level of a candidate's interval.
const CredibleLevel = 0.90

// LeadsAt is the chance to be the best from which one facepiece is said to
// lead [H].
const LeadsAt = 0.80

// A Candidate is a facepiece that the next person could try first.
type Candidate struct {
	Facepiece
	Pass, Tests int     // first fit tests of a sitting
	Mean        float64 // expected share of passes for the next person
	Lo, Hi      float64 // 90 % credible interval
	Best        float64 // chance that it has the highest share of all listed
	Few         bool    // too few tests to say
}

// Say is what an advice comes to.
type Say string

// The sayings.
const (
	SayNothing Say = "nothing" // no results at all
	SayFew     Say = "few"     // too few of every candidate
	SayOnly    Say = "only"    // there is one candidate, so nothing to compare
	SayOpen    Say = "open"    // the figures do not tell the candidates apart
	SayLeads   Say = "leads"   // the first is probably the best
)

// Advice is which facepiece to try first, from this site's own results alone.
// It is about the next person of whom nothing is known: a face, a job and
// comfort come first.
type Advice struct {
	Candidates []Candidate // best first; those with too few tests last
	Prior      Beta
	Say        Say
}

// Advise ranks the facepieces that want keeps (nil: all), grouped by by. Only
// first fit tests of a sitting count, since who comes to a second has failed
// another facepiece before. The prior is the share of all first tests of the
// site, of unwanted facepieces too.
func (s *Set) Advise(by By, want func(Facepiece) bool) Advice {
	rate := (float64(s.all.FirstPass) + 0.5) / (float64(s.all.FirstPass+s.all.FirstFail) + 1)
	rate = min(1-priorEdge, max(priorEdge, rate))
	a := Advice{Prior: Beta{PriorTests * rate, PriorTests * (1 - rate)}, Say: SayNothing}
	m := map[Facepiece]Counts{}
	for _, c := range s.cells {
		if c.FirstPass+c.FirstFail > 0 && (want == nil || want(c.face)) {
			g := m[by(c.face)]
			g.plus(c.Counts, 1)
			m[by(c.face)] = g
		}
	}
	var posts []Beta
	for _, f := range slices.SortedFunc(maps.Keys(m), Facepiece.compare) {
		k, n := m[f].FirstPass, m[f].FirstPass+m[f].FirstFail
		post := Beta{a.Prior.A + float64(k), a.Prior.B + float64(n-k)}
		posts = append(posts, post)
		tail := (1 - CredibleLevel) / 2
		a.Candidates = append(a.Candidates, Candidate{
			Facepiece: f, Pass: k, Tests: n, Mean: post.Mean(),
			Lo: post.Quantile(tail), Hi: post.Quantile(1 - tail), Few: n < Few,
		})
	}
	if len(posts) == 0 {
		return a
	}
	for i, p := range chanceBest(posts) {
		a.Candidates[i].Best = p
	}
	slices.SortStableFunc(a.Candidates, func(x, y Candidate) int {
		return cmp.Or(cmp.Compare(one(x.Few), one(y.Few)), cmp.Compare(y.Mean, x.Mean))
	})
	switch first := a.Candidates[0]; {
	case first.Few:
		a.Say = SayFew
	case len(posts) == 1:
		a.Say = SayOnly
	case first.Best >= LeadsAt:
		a.Say = SayLeads
	default:
		a.Say = SayOpen
	}
	return a
}

// chanceBest is for each distribution the chance that its share is the highest:
// the sum over a grid of the chance to lie in a cell times the chance that all
// others lie under it, by the trapezoid rule in the first. The grid is fine
// where any distribution is steep, so the error is under 0.001; no lots drawn.
func chanceBest(ds []Beta) []float64 {
	grid := []float64{0, 1}
	for i := 1; i < 128; i++ {
		grid = append(grid, float64(i)/128)
	}
	for k := 7; k <= 30; k++ {
		grid = append(grid, 1-math.Ldexp(1, -k)) // mass may crowd at 1
	}
	for _, d := range ds {
		for t := -5.0; t <= 5; t += 0.125 {
			if x := d.Mean() + t*d.SD(); x > 0 && x < 1 {
				grid = append(grid, x)
			}
		}
	}
	slices.Sort(grid)
	grid = slices.Compact(grid)

	out := make([]float64, len(ds))
	last, now := make([]float64, len(ds)), make([]float64, len(ds))
	var lastUnder []float64
	var total float64
	for at, x := range grid {
		for i, d := range ds {
			now[i] = d.CDF(x)
		}
		under := others(now)
		if at > 0 {
			for i := range ds {
				p := (now[i] - last[i]) * (under[i] + lastUnder[i]) / 2
				out[i] += p
				total += p
			}
		}
		last, now, lastUnder = now, last, under
	}
	for i := range out {
		out[i] /= total
	}
	return out
}

// others is for each place the product of all the others.
func others(f []float64) []float64 {
	out := make([]float64, len(f))
	p := 1.0
	for i := range f {
		out[i] = p
		p *= f[i]
	}
	p = 1
	for i := len(f) - 1; i >= 0; i-- {
		out[i] *= p
		p *= f[i]
	}
	return out
}

// FacepieceFunnel holds each group's share of passes against the site's.
func (s *Set) FacepieceFunnel(by By) (Funnel, []Group) {
	var points []FunnelPoint
	var groups []Group
	for _, g := range s.Groups(by) {
		if g.Valid() > 0 {
			points = append(points, FunnelPoint{K: g.Pass, N: g.Valid()})
			groups = append(groups, g)
		}
	}
	return NewFunnel(points), groups
}
