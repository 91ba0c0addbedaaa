// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"errors"
	"reflect"
	"testing"
	"time"

	"tallyhood/console/procedure"

	"pgregory.net/rapid"
)

// everything that a set says.
type everything struct {
	Counts    Counts
	Undated   int
	Groups    []Group
	Advice    Advice
	Testers   []Tester
	Weeks     []TesterWeek
	Months    []Month
	Agents    []AgentBins
	Reasons   []ReasonCount
	Stages    []StageTime
	Repeats   Repeats
	Persons   []RepeatPerson
	Agreement Agreement
	Funnel    Funnel
}

func all(s *Set) everything {
	return everything{
		s.Counts(), s.Undated(), s.Groups(ByFacepiece), s.Advise(ByModelSize, nil), s.Testers(), s.TesterWeeks(), s.Months(),
		s.Agents(), s.Reasons(), s.Stages(), s.Repeats(), s.RepeatPersons(), s.Agreement(), s.TesterFunnel(),
	}
}

func fed(t testing.TB, tests []Test) *Set {
	t.Helper()
	s := NewSet()
	for _, x := range tests {
		if err := s.Add(x); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func same(t interface {
	Helper()
	Errorf(string, ...any)
}, got, want everything) {
	t.Helper()
	g, w := reflect.ValueOf(got), reflect.ValueOf(want)
	for i := range g.NumField() {
		if !reflect.DeepEqual(g.Field(i).Interface(), w.Field(i).Interface()) {
			t.Errorf("%s:\n got %+v\nwant %+v", g.Type().Field(i).Name, g.Field(i).Interface(), w.Field(i).Interface())
		}
	}
}

// What a set says is what a plain loop over the tests says.
func TestAgainstPlainLoops(t *testing.T) {
	tests := site(3000)
	s := fed(t, tests)
	var pass, valid, invalid, begun, remarked int
	byWeek, byFace, exact := map[TesterWeek]int{}, map[Facepiece][2]int{}, map[string][31]int{}
	fails, personFails := map[[3]any]int{}, map[ID]int{}
	for _, x := range tests {
		v := x.Outcome == procedure.Pass || x.Outcome == procedure.Fail
		pass += one(x.Outcome == procedure.Pass)
		valid += one(v)
		invalid += one(x.Outcome == procedure.NotValid)
		b := v || x.Stages[3] > 0
		begun += one(b)
		remarked += one(b && x.Late+x.Hurried+x.Extra > 0)
		y, w := x.Day.Date().ISOWeek()
		byWeek[TesterWeek{Letter: string(rune(x.Tester)), Week: Week(y*100 + w)}]++
		f := byFace[x.Facepiece]
		f[0] += one(x.Outcome == procedure.Pass)
		f[1] += one(v)
		byFace[x.Facepiece] = f
		if x.Bin > 0 {
			e := exact[x.Agent]
			e[x.Squeezes]++
			exact[x.Agent] = e
		}
		if x.Outcome == procedure.Fail {
			fails[[3]any{x.Person, x.Facepiece.Make, x.Facepiece.Model}]++
			personFails[x.Person]++
		}
	}
	c := s.Counts()
	if c.Tests() != len(tests) || c.Pass != pass || c.Valid() != valid || c.NotValid != invalid || c.Begun != begun || c.Remarked != remarked {
		t.Errorf("counts %+v", c)
	}
	if got := c.Passing(); got != Wilson(pass, valid, Level) {
		t.Errorf("passing %+v", got)
	}
	if got := c.Invalid(); got != Wilson(invalid, len(tests), Level) {
		t.Errorf("not valid %+v", got)
	}
	if got := c.WithRemark(); got != Wilson(remarked, begun, Level) || begun == len(tests) {
		t.Errorf("with a remark %+v", got)
	}
	if got := s.TesterWeeks(); len(got) != len(byWeek) {
		t.Errorf("%d weeks of testers, want %d", len(got), len(byWeek))
	}
	for _, g := range s.Groups(ByFacepiece) {
		if f := byFace[g.Facepiece]; g.Pass != f[0] || g.Valid() != f[1] {
			t.Errorf("%v: %d of %d, want %v", g.Facepiece, g.Pass, g.Valid(), f)
		}
	}
	for _, a := range s.Agents() {
		if a.Exact != exact[a.Agent] {
			t.Errorf("%s: %v, want %v", a.Agent, a.Exact, exact[a.Agent])
		}
		if a.Bins[0]+a.Bins[1]+a.Bins[2]+a.None != a.Insensitive.N || a.Insensitive.K != a.None {
			t.Errorf("%s: %+v", a.Agent, a)
		}
	}
	twice, same := 0, map[any]bool{}
	for _, n := range personFails {
		twice += one(n > 1)
	}
	pairs := 0
	for k, n := range fails {
		if n > 1 {
			pairs++
			same[k[0]] = true
		}
	}
	if r := s.Repeats(); r.Failed != len(personFails) || r.Twice != twice || r.Same != len(same) || twice == 0 || len(same) == 0 {
		t.Errorf("%+v, want %d failed, %d twice, %d one model", r, len(personFails), twice, len(same))
	}
	if got := s.RepeatPersons(); len(got) != pairs {
		t.Errorf("%d persons and models, want %d", len(got), pairs)
	}
	var months int
	for _, m := range s.Months() {
		months += m.Tests()
	}
	if months != len(tests) {
		t.Errorf("%d tests in months", months)
	}
}

// Adding and taking back in any order leaves what the rest alone says.
func TestRemove(t *testing.T) {
	tests := site(600)
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 80).Draw(rt, "n")
		from := rapid.IntRange(0, len(tests)-n).Draw(rt, "from")
		s, kept := NewSet(), []Test{}
		part := tests[from : from+n]
		for _, x := range part {
			if err := s.Add(x); err != nil {
				rt.Fatal(err)
			}
		}
		for _, x := range part {
			if rapid.Bool().Draw(rt, "take back") {
				if err := s.Remove(x); err != nil {
					rt.Fatal(err)
				}
			} else {
				kept = append(kept, x)
			}
		}
		got, want := all(s), all(fed(t, kept))
		// A letter once given stays.
		got.Testers, want.Testers, got.Weeks, want.Weeks, got.Funnel, want.Funnel = nil, nil, nil, nil, Funnel{}, Funnel{}
		got.Agreement.ByPair, want.Agreement.ByPair = nil, nil
		same(rt, got, want)
	})
}

// Parts cut between days, merged in any order of growth, are the whole.
func TestMerge(t *testing.T) {
	tests := site(900)
	for i := 7; i < len(tests); i += 90 {
		tests[i].Day = NoDay
	}
	want := all(fed(t, tests))
	rapid.Check(t, func(rt *rapid.T) {
		first, last := tests[0].Day, tests[len(tests)-1].Day
		a := Day(rapid.Int32Range(int32(first), int32(last)).Draw(rt, "cut"))
		b := Day(rapid.Int32Range(int32(a), int32(last)).Draw(rt, "cut"))
		parts := [3]*Set{NewSet(), NewSet(), NewSet()}
		for _, x := range tests {
			i := one(x.Day > a) + one(x.Day > b)
			if err := parts[i].Add(x); err != nil {
				rt.Fatal(err)
			}
		}
		s := NewSet()
		for _, i := range rapid.Permutation([]int{0, 1, 2}).Draw(rt, "order") {
			s.Merge(parts[i])
		}
		same(rt, all(s), want)
		same(rt, all(s.Clone()), want)
	})
}

func TestRefused(t *testing.T) {
	good := site(50)[0]
	if good.Outcome == procedure.CannotTaste || good.Bin == 0 {
		t.Fatal("the first test of the site is not what this test needs")
	}
	for what, change := range map[string]func(*Test){
		"practice":            func(x *Test) { x.Practice = true },
		"bin 15":              func(x *Test) { x.Bin = 15 },
		"pass without a bin":  func(x *Test) { x.Outcome, x.Bin, x.Squeezes = procedure.Pass, 0, 0 },
		"taste and no taste":  func(x *Test) { x.Outcome = procedure.CannotTaste },
		"no outcome":          func(x *Test) { x.Outcome = "" },
		"more than the bin":   func(x *Test) { x.Squeezes = x.Bin + 1 },
		"squeezes below none": func(x *Test) { x.Squeezes = -1 },
		"remarks below none":  func(x *Test) { x.Late = -1 },
		"time that runs back": func(x *Test) { x.Stages[2] = -1 },
	} {
		s, bad := NewSet(), good
		change(&bad)
		err := s.Add(bad)
		if err == nil || what == "practice" && !errors.Is(err, ErrPractice) {
			t.Errorf("%s: %v", what, err)
		}
		if !reflect.DeepEqual(all(s), all(NewSet())) {
			t.Errorf("%s: counted", what)
		}
		if s.Remove(bad) == nil {
			t.Errorf("%s: taken back", what)
		}
	}
	// What was never counted is not taken back, and nothing changes.
	cut := good // a run that was cut short, so that no time but its stages' tells
	cut.Outcome, cut.Reason, cut.Stages[4], cut.Stages[5] = procedure.NotValid, procedure.HoodOff, 0, 0
	s := fed(t, []Test{cut})
	before := all(s)
	for what, change := range map[string]func(*Test){
		"another time":   func(x *Test) { x.Stages[2] += time.Minute },
		"another reason": func(x *Test) { x.Reason = procedure.TopUpShort },
	} {
		other := cut
		change(&other)
		if err := s.Remove(other); !errors.Is(err, ErrAbsent) {
			t.Errorf("cut short, %s: %v", what, err)
		}
		same(t, all(s), before)
	}
	s = fed(t, []Test{good})
	before = all(s)
	for what, change := range map[string]func(*Test){
		"another facepiece": func(x *Test) { x.Facepiece.Size = "XXL" },
		"another tester":    func(x *Test) { x.Tester++ },
		"another agent":     func(x *Test) { x.Agent = "none" },
		"another day":       func(x *Test) { x.Day++ },
		"no day":            func(x *Test) { x.Day = NoDay },
		"another time":      func(x *Test) { x.Stages[2] += time.Minute },
		"not valid":         func(x *Test) { x.Outcome = procedure.NotValid },
	} {
		other := good
		change(&other)
		if err := s.Remove(other); !errors.Is(err, ErrAbsent) {
			t.Errorf("%s: %v", what, err)
		}
		same(t, all(s), before)
	}
}

// Without tests, and with one, nothing is NaN and nothing is claimed.
func TestSmall(t *testing.T) {
	s := NewSet()
	if e := s.Counts().Passing(); e.Known || e.Lo != 0 || e.Hi != 1 || !e.Few() {
		t.Errorf("no tests: %+v", e)
	}
	if a := s.Advise(ByFacepiece, nil); a.Say != SayNothing || len(a.Candidates) != 0 || a.Prior != (Beta{2, 2}) {
		t.Errorf("no tests: %+v", a)
	}
	if a := s.Agreement(); a.Kappa.Defined || a.Kappa.Kappa != 0 || a.Kappa.Observed.Known {
		t.Errorf("no tests: %+v", a)
	}
	if s.Months() != nil || s.Stages() != nil || s.Agents() != nil || s.TesterFunnel().Mean.Known {
		t.Error("no tests: something is said")
	}
	x := site(1)[0]
	x.Day = NoDay
	x.Outcome, x.Reason = procedure.Pass, ""
	if err := s.Add(x); err != nil {
		t.Fatal(err)
	}
	if s.Undated() != 1 || s.Months() != nil || len(s.TesterWeeks()) != 0 {
		t.Error("a test without a day is in a week or a month")
	}
	if a := s.Advise(ByFacepiece, nil); a.Say != SayFew || len(a.Candidates) != 1 || !a.Candidates[0].Few || a.Candidates[0].Best != 1 {
		t.Errorf("one test: %+v", a)
	}
	for _, k := range []Kappa{Table2{{9, 0}, {0, 0}}.Kappa(), Table2{{0, 0}, {0, 9}}.Kappa(), Table2{}.Kappa(), Table2{{-1, 3}, {2, 2}}.Kappa()} {
		if k.Defined || k.Kappa != 0 || k.Lo != 0 || k.Hi != 0 {
			t.Errorf("%+v", k)
		}
	}
	for _, e := range []Estimate{Wilson(3, 2, 0.95), Wilson(-1, 2, 0.95), Wilson(1, 2, 1), ClopperPearson(0, 0, 0.95), ClopperPearson(1, 2, 0)} {
		if e.Known || e.Lo != 0 || e.Hi != 1 {
			t.Errorf("%+v", e)
		}
	}
}

// Intervals hold the share, shrink with more tests, mirror, and the exact one
// holds at least its level whatever the truth is.
func TestIntervalProperties(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 5000).Draw(rt, "n")
		k := rapid.IntRange(0, n).Draw(rt, "k")
		for _, f := range []func(int, int, float64) Estimate{Wilson, ClopperPearson} {
			e, m, wide, more := f(k, n, 0.95), f(n-k, n, 0.95), f(k, n, 0.99), f(4*k, 4*n, 0.95)
			if !(0 <= e.Lo && e.Lo <= e.Share && e.Share <= e.Hi && e.Hi <= 1 && e.Lo < e.Hi) {
				rt.Errorf("%+v", e)
			}
			if d := e.Lo - (1 - m.Hi); d > 1e-12 || d < -1e-12 {
				rt.Errorf("%d of %d: not a mirror by %v", k, n, d)
			}
			if wide.Lo > e.Lo || wide.Hi < e.Hi {
				rt.Errorf("%d of %d: 99 %% lies inside 95 %%", k, n)
			}
			if more.Hi-more.Lo > e.Hi-e.Lo {
				rt.Errorf("%d of %d: four times the tests are worth less", k, n)
			}
			if k == 0 && e.Lo != 0 || k == n && e.Hi != 1 {
				rt.Errorf("%d of %d: %+v", k, n, e)
			}
		}
	})
	for _, n := range []int{1, 7, 40} {
		for p := 0.01; p < 1; p += 0.01 {
			var held float64
			for k := 0; k <= n; k++ {
				if e := ClopperPearson(k, n, 0.95); e.Lo <= p && p <= e.Hi {
					held += binomialCDF(k, n, p) - binomialCDF(k-1, n, p)
				}
			}
			if held < 0.95-1e-9 {
				t.Errorf("exact interval of %d at %.2f holds %v", n, p, held)
			}
		}
	}
}
