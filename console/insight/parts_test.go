// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"math"
	"slices"
	"testing"
	"time"

	"tallyhood/console/procedure"

	"pgregory.net/rapid"
)

func date(y int, m time.Month, d int) Day { return DayOf(time.Date(y, m, d, 13, 5, 0, 0, time.UTC)) }

// Every day of sixty years against the standard library.
func TestDays(t *testing.T) {
	for d := Day(-400); d < 22000; d++ {
		y, w := d.Date().ISOWeek()
		if gy, gw := d.Week().ISO(); gy != y || gw != w {
			t.Fatalf("%s: week %d-%d, want %d-%d", d.Date().Format(time.DateOnly), gy, gw, y, w)
		}
		if wd := d.Week().Monday().Date().Weekday(); wd != time.Monday {
			t.Fatalf("%s: its week begins on %s", d.Date().Format(time.DateOnly), wd)
		}
		if got := DayOf(d.Date()); got != d {
			t.Fatalf("day %d comes back as %d", d, got)
		}
	}
	// The day is the one on the wall where it was written.
	east := time.FixedZone("", 9*3600)
	if got, want := DayOf(time.Date(2026, 3, 2, 1, 0, 0, 0, east)), date(2026, 3, 2); got != want {
		t.Errorf("%d, want %d", got, want)
	}
}

func TestHistogram(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		secs := rapid.SliceOfN(rapid.IntRange(0, 9000), 1, 200).Draw(rt, "seconds")
		var h Histogram
		for _, s := range secs {
			h.add(time.Duration(s) * time.Second)
		}
		slices.Sort(secs)
		for _, q := range []float64{0.05, 0.25, 0.5, 0.75, 0.95, 1} {
			want := time.Duration(secs[max(0, int(math.Ceil(q*float64(len(secs))))-1)]) * time.Second
			got, ok := h.Quantile(q)
			if !ok || want < got.From || !got.Over && want >= got.To || got.Over != (want >= 2*time.Hour) {
				rt.Errorf("quantile %v of %v: %+v, want %v", q, secs, got, want)
			}
			if !got.Over && got.To-got.From != Resolution(want) {
				rt.Errorf("resolution at %v: %v", want, got.To-got.From)
			}
		}
	})
	var h Histogram
	if _, ok := h.Quantile(0.5); ok {
		t.Error("a median of nothing")
	}
	h.add(200 * time.Hour)
	if n := len(h.classes) * 4; n > 4100 {
		t.Errorf("a histogram of %d bytes", n)
	}
}

// A sitting by hand: A passes, B fails, A passes again, next day B alone.
func TestAgreementByHand(t *testing.T) {
	f := Facepiece{"Brindle", "Corrie", "M", "half mask"}
	d := date(2026, 3, 2)
	x := func(tester ID, day Day, hour int, o procedure.Outcome, f Facepiece) Test {
		return Test{Person: 7, Tester: tester, Facepiece: f, Agent: "bitter", Outcome: o, Bin: 10, Squeezes: 4, Day: day, Clock: time.Duration(hour) * time.Hour}
	}
	tests := []Test{
		x(2, d, 9, procedure.Pass, f),  // B
		x(1, d, 8, procedure.Pass, f),  // A, fed late
		x(1, d, 10, procedure.Fail, f), // A
		x(1, d, 11, procedure.Fail, f), // A again: no pair
		x(2, d, 12, procedure.NotValid, f),
		x(2, d, 13, procedure.Pass, Facepiece{"Brindle", "Corrie", "L", "half mask"}), // another size
		x(2, d+1, 9, procedure.Pass, f),                                               // another day
	}
	s := fed(t, tests)
	a := s.Agreement()
	if want := (Table2{{1, 1}, {0, 0}}); a.Table != want {
		t.Errorf("table %v, want %v", a.Table, want)
	}
	// By pair: A's result is the row, whoever was first.
	if len(a.ByPair) != 1 || a.ByPair[0].A != "A" || a.ByPair[0].B != "B" || a.ByPair[0].Table != (Table2{{1, 0}, {1, 0}}) {
		t.Errorf("pairs %+v", a.ByPair)
	}
	if !a.Kappa.Defined || a.Kappa.Kappa != 0 || !a.Kappa.Few() {
		t.Errorf("one always passes: kappa %+v", a.Kappa)
	}
	// A month later the pairs still stand, and a late test of that sitting joins.
	if err := s.Add(x(3, d+30, 9, procedure.Pass, f)); err != nil {
		t.Fatal(err)
	}
	if got := s.Agreement(); got.Table != a.Table {
		t.Errorf("closed: %v", got.Table)
	}
	if err := s.Add(x(2, d, 14, procedure.Fail, f)); err != nil {
		t.Fatal(err)
	}
	if got, want := s.Agreement().Table, (Table2{{1, 1}, {0, 1}}); got != want {
		t.Errorf("late test: %v, want %v", got, want)
	}
	// One for a forgotten sitting is said to be late.
	if err := s.Add(x(3, d+1, 14, procedure.Fail, f)); err != nil {
		t.Fatal(err)
	}
	if got := s.Agreement().Late; got != 1 {
		t.Errorf("%d late tests", got)
	}
	// Taking back the middle one joins its neighbours.
	if err := s.Remove(tests[0]); err != nil {
		t.Fatal(err)
	}
	if got, want := s.Agreement().Table, (Table2{{0, 0}, {0, 1}}); got != want {
		t.Errorf("taken back: %v, want %v", got, want)
	}
}

func TestAdvice(t *testing.T) {
	f := func(model, size string) Facepiece { return Facepiece{"Brindle", model, size, "half mask"} }
	s, who := NewSet(), ID(0)
	feed := func(f Facepiece, pass, fail, attempt int) {
		for i := range pass + fail {
			x := Test{Person: who, Facepiece: f, Agent: "sweet", Outcome: procedure.Pass, Bin: 10, Squeezes: 3, Day: 20000, Attempt: attempt}
			if who++; i >= pass {
				x.Outcome = procedure.Fail
			}
			if err := s.Add(x); err != nil {
				t.Fatal(err)
			}
		}
	}
	feed(f("Corrie", "M"), 45, 5, 1)
	feed(f("Tarn", "M"), 30, 20, 0)
	feed(f("Fell", "M"), 3, 0, 1)
	feed(f("Tarn", "M"), 500, 0, 2) // second tries say nothing about the first
	a := s.Advise(ByModelSize, nil)
	if a.Prior.A+a.Prior.B != PriorTests || math.Abs(a.Prior.Mean()-78.5/104) > 1e-12 {
		t.Errorf("prior %+v", a.Prior)
	}
	if len(a.Candidates) != 3 || a.Candidates[0].Model != "Corrie" || a.Candidates[1].Model != "Tarn" || a.Candidates[2].Model != "Fell" || !a.Candidates[2].Few {
		t.Fatalf("%+v", a.Candidates)
	}
	c := a.Candidates[0]
	if want := (a.Prior.A + 45) / (PriorTests + 50); c.Mean != want || c.Pass != 45 || c.Tests != 50 || !(c.Lo < c.Mean && c.Mean < c.Hi) {
		t.Errorf("%+v, want mean %v", c, want)
	}
	// Three of three may be better still, so none leads.
	if a.Say != SayOpen {
		t.Errorf("says %s: %+v", a.Say, a.Candidates)
	}
	feed(f("Fell", "M"), 10, 10, 1)
	if a := s.Advise(ByModelSize, nil); a.Say != SayLeads || a.Candidates[0].Model != "Corrie" || a.Candidates[0].Best < 0.99 {
		t.Errorf("says %s: %+v", a.Say, a.Candidates)
	}
	// A wish for a size that one facepiece has leaves no choice to speak of.
	feed(f("Corrie", "L"), 8, 1, 1)
	if a := s.Advise(ByFacepiece, func(f Facepiece) bool { return f.Size == "L" }); a.Say != SayFew || len(a.Candidates) != 1 {
		t.Errorf("says %s: %+v", a.Say, a.Candidates)
	}
	if a := s.Advise(ByFacepiece, func(f Facepiece) bool { return f.Model == "Tarn" }); a.Say != SayOnly {
		t.Errorf("says %s", a.Say)
	}
	if a := s.Advise(ByFacepiece, func(Facepiece) bool { return false }); a.Say != SayNothing {
		t.Errorf("says %s", a.Say)
	}
	// Sizes stand in their order.
	feed(f("Corrie", "S"), 1, 0, 1)
	var order []string
	for _, g := range s.Groups(BySize) {
		order = append(order, g.Size)
	}
	if !slices.Equal(order, []string{"S", "M", "L"}) {
		t.Errorf("sizes %v", order)
	}
}

func TestLetters(t *testing.T) {
	for at, want := range map[int]string{0: "A", 25: "Z", 26: "AA", 51: "AZ", 52: "BA", 701: "ZZ", 702: "AAA"} {
		if got := letter(at); got != want {
			t.Errorf("place %d: %s, want %s", at, got, want)
		}
	}
	s := NewSet()
	for i, id := range []ID{55, 7, 900, 1} {
		x := Test{Person: 1, Tester: id, Facepiece: Facepiece{Make: "Oxley"}, Agent: "sweet", Outcome: procedure.Pass, Bin: 10, Day: Day(20000 - i)}
		if id == 1 {
			x.Day = NoDay
		}
		if err := s.Add(x); err != nil {
			t.Fatal(err)
		}
	}
	var got []ID
	for _, x := range s.Testers() {
		got = append(got, x.ID)
	}
	if !slices.Equal(got, []ID{900, 7, 55, 1}) {
		t.Errorf("testers by first test: %v", got)
	}
	// An older test that comes in later moves its tester forward.
	if err := s.Add(Test{Person: 1, Tester: 55, Facepiece: Facepiece{Make: "Oxley"}, Agent: "sweet", Outcome: procedure.Pass, Bin: 10, Day: 19000}); err != nil {
		t.Fatal(err)
	}
	if x := s.Testers()[0]; x.ID != 55 || x.Letter != "A" || x.Tests() != 2 {
		t.Errorf("first tester %+v", x)
	}
}

// One tester far under the others is outside, one with few tests is not.
func TestFunnel(t *testing.T) {
	f := NewFunnel([]FunnelPoint{{Key: "A", K: 850, N: 1000}, {Key: "B", K: 240, N: 300}, {Key: "C", K: 60, N: 100}, {Key: "D", K: 1, N: 3}, {Key: "E"}, {Key: "F", K: 400, N: 400}})
	want := map[string]Place{"A": Within, "B": Below, "C": FarBelow, "D": Within, "F": FarAbove}
	if len(f.Points) != len(want) || f.Mean.N != 1803 {
		t.Fatalf("%+v", f)
	}
	for _, p := range f.Points {
		if p.At != want[p.Key] {
			t.Errorf("%s: %d, want %d", p.Key, p.At, want[p.Key])
		}
	}
	// Chance alone puts no more than one in twenty outside the inner limits.
	for n := 1; n <= 400; n += 7 {
		lo, hi := f.Limits(n, InnerLevel)
		var in float64
		for k := 0; k <= n; k++ {
			if share := float64(k) / float64(n); share >= lo && share <= hi {
				in += binomialCDF(k, n, f.Mean.Share) - binomialCDF(k-1, n, f.Mean.Share)
			}
		}
		if in < 0.95-1e-9 {
			t.Errorf("limits of %d hold %v", n, in)
		}
	}
}
