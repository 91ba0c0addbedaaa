// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"math/rand/v2"
	"time"

	"tallyhood/console/procedure"
)

// harrowgate makes n tests of an invented place, Harrowgate Stoneworks, in the
// order of their days: 200 a day, five testers, four models. The split over
// bins and outcomes is an assumption of this test and of nobody else.
func harrowgate(seed uint64, n int, each func(Test)) {
	r := rand.New(rand.NewPCG(seed, 2))
	faces := []Facepiece{
		{"Brindle", "Corrie", "S", "half mask"}, {"Brindle", "Corrie", "M", "half mask"}, {"Brindle", "Corrie", "L", "half mask"},
		{"Brindle", "Tarn", "M", "folded"}, {"Oxley", "Fell", "one size", "cup"}, {"Oxley", "Gill", "M", "half mask"}, {"Oxley", "Gill", "L", "half mask"},
	}
	chance := []float64{0.9, 0.88, 0.8, 0.74, 0.68, 0.93, 0.85}
	people := max(20, n/9)
	first := int32(DayOf(time.Date(2025, 3, 3, 0, 0, 0, 0, time.UTC)))
	perDay := 200
	if n < 20_000 {
		perDay = max(4, n/120)
	}
	for i := 0; i < n; i++ {
		f := r.IntN(len(faces))
		t := Test{
			Person: ID(r.IntN(people)), Tester: ID(1000 + r.IntN(5)), Facepiece: faces[f], Agent: []string{"bitter", "sweet"}[r.IntN(2)], Rules: "uk-hse",
			Day: Day(first + int32(i/perDay)), Clock: 8*time.Hour + time.Duration(i%perDay)*8*time.Hour/time.Duration(perDay), Attempt: 1,
		}
		sec := func(lo, hi int) time.Duration {
			return time.Duration(lo)*time.Second + time.Duration(r.Int64N(int64(hi-lo)*int64(time.Second)))
		}
		t.Stages[0], t.Stages[1] = sec(20, 90), sec(15, 120)
		x := r.Float64()
		switch {
		case x < 0.02:
			t.Outcome, t.Reason = procedure.CannotTaste, procedure.NoTasteBy30
			each(t)
			continue
		case x < 0.7:
			t.Squeezes = 1 + r.IntN(10)
		case x < 0.92:
			t.Squeezes = 11 + r.IntN(10)
		default:
			t.Squeezes = 21 + r.IntN(10)
		}
		t.Bin = (t.Squeezes + 9) / 10 * 10
		t.Stages[2], t.Stages[3], t.Stages[4] = sec(180, 900), sec(300, 480), sec(8, 40)
		if r.Float64() < 0.2 {
			t.Late = 1 + r.IntN(3)
		}
		if r.Float64() < 0.1 {
			t.Hurried = 1
		}
		if r.Float64() < 0.15 {
			t.Extra = 1 + r.IntN(4)
		}
		again := r.Float64() < 0.06
		odds := chance[f]
		verdict := func(t *Test) {
			switch y := r.Float64(); {
			case y < 0.05:
				t.Outcome, t.Reason = procedure.NotValid, []procedure.Reason{procedure.TopUpShort, procedure.FacepieceTouched, procedure.HoodOff}[r.IntN(3)]
			case y < 0.05+0.95*odds:
				t.Outcome, t.Stages[5] = procedure.Pass, 420*time.Second
			default:
				t.Outcome, t.Reason = procedure.Fail, procedure.Tasted
			}
		}
		verdict(&t)
		each(t)
		if again && i+1 < n { // a second tester, half an hour later
			i++
			t.Clock += 30 * time.Minute
			t.Tester, t.Attempt, t.Reason, t.Stages[5] = ID(1000+r.IntN(5)), 2, "", 0
			if t.Outcome == procedure.Pass {
				odds = 0.95
			} else {
				odds = 0.3
			}
			verdict(&t)
			each(t)
		}
	}
}

func site(n int) []Test {
	var out []Test
	harrowgate(1, n, func(t Test) { out = append(out, t) })
	return out
}
