// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"tallyhood/console/insight"
	"tallyhood/console/procedure"
)

// harrowgate is a set of n tests of an invented place, Harrowgate Stoneworks.
// Its figures are made up so that the charts have something to show.
func harrowgate(t testing.TB, n int) *insight.Set {
	t.Helper()
	r := rand.New(rand.NewPCG(9, 4))
	s := insight.NewSet()
	faces := []insight.Facepiece{
		{Make: "Brindle", Model: "Corrie", Size: "S", Style: "half mask"}, {Make: "Brindle", Model: "Corrie", Size: "M", Style: "half mask"},
		{Make: "Brindle", Model: "Corrie", Size: "L", Style: "half mask"}, {Make: "Brindle", Model: "Tarn", Size: "M", Style: "folded"},
		{Make: "Oxley", Model: "Fell with exhalation valve", Size: "one size", Style: "cup"}, {Make: "Oxley", Model: "Gill", Size: "M", Style: "half mask"},
		{Make: "Oxley", Model: "Gill", Size: "L", Style: "half mask"}, {Make: "Marl & Sons", Model: "Scree", Size: "S/M", Style: "half mask"},
	}
	weight := []int{40, 160, 90, 60, 120, 70, 30, 3}
	odds := []float64{0.93, 0.9, 0.83, 0.72, 0.66, 0.95, 0.86, 0.7}
	total := 0
	for _, w := range weight {
		total += w
	}
	first := insight.DayOf(time.Date(2025, 9, 1, 0, 0, 0, 0, time.UTC))
	for i := range n {
		pick, f := r.IntN(total), 0
		for pick >= weight[f] {
			pick -= weight[f]
			f++
		}
		who := min(r.IntN(5), r.IntN(6))
		x := insight.Test{
			Person: insight.ID(r.IntN(n/2 + 1)), Tester: insight.IDOf(fmt.Sprint("tester ", who)), Facepiece: faces[f],
			Agent: []string{"bitter", "sweet"}[r.IntN(2)], Day: first + insight.Day(i*400/n), Clock: time.Duration(i%60) * 8 * time.Minute, Attempt: 1 + r.IntN(5)/4,
		}
		sec := func(lo, hi int) time.Duration { return time.Duration(lo+r.IntN(hi-lo)) * time.Second }
		x.Stages[0], x.Stages[1] = sec(20, 90), sec(15, 130)
		if r.Float64() < 0.025 {
			x.Outcome, x.Reason = procedure.CannotTaste, procedure.NoTasteBy30
			if err := s.Add(x); err != nil {
				t.Fatal(err)
			}
			continue
		}
		x.Squeezes = min(30, 1+int(r.ExpFloat64()*8))
		x.Bin = (x.Squeezes + 9) / 10 * 10
		x.Stages[2], x.Stages[3], x.Stages[4] = sec(150, 700), sec(300, 520), sec(8, 40)
		if r.Float64() < 0.15+0.1*float64(who) {
			x.Late = 1
		}
		p := odds[f]
		if who == 3 {
			p -= 0.22
		}
		verdict := func() {
			switch y := r.Float64(); {
			case y < 0.03+0.03*float64(who):
				x.Outcome, x.Reason = procedure.NotValid, procedure.TopUpShort
			case r.Float64() < p:
				x.Outcome, x.Stages[5] = procedure.Pass, 420*time.Second
			default:
				x.Outcome, x.Reason = procedure.Fail, procedure.Tasted
			}
		}
		verdict()
		if err := s.Add(x); err != nil {
			t.Fatal(err)
		}
		if r.Float64() < 0.07 {
			x.Tester, x.Clock, x.Attempt, x.Stages[5], x.Reason = insight.IDOf("tester 1"), x.Clock+time.Minute, 2, 0, ""
			p = map[procedure.Outcome]float64{procedure.Pass: 0.97}[x.Outcome] + 0.02
			verdict()
			if err := s.Add(x); err != nil {
				t.Fatal(err)
			}
		}
	}
	return s
}

// all the charts of a set.
func all(d Drawer, s *insight.Set) map[string]Chart {
	ff, groups := s.FacepieceFunnel(insight.ByModelSize)
	return map[string]Chart{
		"models": d.Models(s.Groups(insight.ByModelSize), s.Counts()), "advice": d.Advice(s.Advise(insight.ByModelSize, nil)),
		"funnel-testers": d.TesterFunnel(s.TesterFunnel()), "funnel-facepieces": d.FacepieceFunnel(ff, groups),
		"weeks-invalid": d.Weeks(Invalid, s.TesterWeeks()), "weeks-remark": d.Weeks(Remark, s.TesterWeeks()),
		"bins": d.Bins(s.Agents()), "stages": d.Stages(s.Stages()), "months": d.Months(s.Months()),
		"agreement": d.Agreement(s.Agreement()), "repeats": d.Repeats(s.Repeats()), "reasons": d.Reasons(s.Reasons(), s.Counts()),
	}
}
