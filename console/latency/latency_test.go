// SPDX-License-Identifier: Apache-2.0

package latency_test

import (
	"slices"
	"testing"
	"time"

	"tallyhood/console/latency"
)

const ms = time.Millisecond

const begin = 77 * time.Hour

// tones takes every tone of a test.
func tones(t *testing.T, test *latency.Test) []time.Duration {
	t.Helper()
	var all []time.Duration
	for at, ok := test.Next(); ok; at, ok = test.Next() {
		all = append(all, at)
	}
	if len(all) != latency.Tones {
		t.Fatalf("%d tones, want %d", len(all), latency.Tones)
	}
	return all
}

func TestPlan(t *testing.T) {
	plans := map[time.Duration]bool{}
	least, most := time.Hour, time.Duration(0)
	tenths := map[time.Duration]int{}
	for seed := range uint64(500) {
		all := tones(t, latency.New(seed, begin))
		if !slices.Equal(all, tones(t, latency.New(seed, begin))) {
			t.Fatalf("seed %d gives two plans", seed)
		}
		if plans[all[3]] {
			t.Errorf("seed %d gives the plan of another", seed)
		}
		plans[all[3]] = true
		before := begin
		for _, at := range all {
			gap := at - before
			least, most, before = min(least, gap), max(most, gap), at
			tenths[(gap-2*time.Second)/(250*ms)]++
		}
	}
	if least < 2*time.Second || most > 4500*ms || least > 2010*ms || most < 4490*ms {
		t.Errorf("tones are %v to %v apart, want 2 to 4.5 s", least, most)
	}
	// 6000 gaps over ten stretches: 600 each, with a deviation of 23.
	for n, count := range tenths {
		if count < 500 || count > 700 {
			t.Errorf("%d of 6000 gaps lie in stretch %d of ten", count, n)
		}
	}
}

// play lets a test go on to its end; press gives the presses for a tone, as
// times from it.
func play(t *testing.T, press func(n int) []time.Duration) (latency.Result, *latency.Test) {
	t.Helper()
	test := latency.New(7, begin)
	for n, at := range tones(t, test) {
		for _, after := range press(n) {
			test.Press(at + after)
		}
	}
	test.Advance(test.End())
	if p := test.Progress(); !p.Done || p.Asked != p.Of || p.Of != latency.Tones {
		t.Errorf("at the end %+v", p)
	}
	return test.Result(), test
}

func TestFigures(t *testing.T) {
	// 200, 210, ... 310 ms in a mixed order. By hand: the median lies between
	// the 6th and 7th, 255; the quartiles at 227.5 and 282.5, 55 apart.
	order := []int{7, 2, 11, 0, 5, 9, 3, 10, 1, 6, 4, 8}
	got, _ := play(t, func(n int) []time.Duration { return []time.Duration{200*ms + time.Duration(order[n])*10*ms} })
	want := latency.Result{Mid: 255 * ms, Least: 200 * ms, Spread: 55 * ms, PathLeast: 95 * ms, PathMost: 115 * ms, Used: 12}
	if got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	// Quicker than a person: no path below nothing.
	got, _ = play(t, func(int) []time.Duration { return []time.Duration{150 * ms} })
	if got.Why != "" || got.PathLeast != 0 || got.PathMost != 10*ms || got.Spread != 0 {
		t.Errorf("%+v", got)
	}
}

func TestWhatCounts(t *testing.T) {
	for _, c := range []struct {
		name  string
		first []time.Duration // presses for the first tone; the others get one at 200 ms
		want  latency.Result
	}{
		{"at the least", []time.Duration{80 * ms}, latency.Result{Least: 80 * ms, Used: 12}},
		{"sooner than anybody can", []time.Duration{80*ms - 1}, latency.Result{Least: 200 * ms, Used: 11, Early: 1, Missed: 1}},
		{"a guess and then a press", []time.Duration{-100 * ms, 200 * ms}, latency.Result{Least: 200 * ms, Used: 11, Early: 1, Missed: 1}},
		{"a guess long before", []time.Duration{-700 * ms, 190 * ms}, latency.Result{Least: 190 * ms, Used: 12, Early: 1}},
		{"a guess at the tone and a press", []time.Duration{10 * ms, 190 * ms}, latency.Result{Least: 200 * ms, Used: 11, Early: 1, Missed: 1}},
		{"at the most", []time.Duration{1200 * ms}, latency.Result{Least: 200 * ms, Used: 12}},
		{"too late", []time.Duration{1200*ms + 1}, latency.Result{Least: 200 * ms, Used: 11, Early: 1, Missed: 1}},
		{"two presses", []time.Duration{190 * ms, 400 * ms}, latency.Result{Least: 190 * ms, Used: 12}},
		{"two told in the wrong order", []time.Duration{400 * ms, 190 * ms}, latency.Result{Least: 190 * ms, Used: 12}},
		{"none", nil, latency.Result{Least: 200 * ms, Used: 11, Missed: 1}},
	} {
		got, _ := play(t, func(n int) []time.Duration {
			if n == 0 {
				return c.first
			}
			return []time.Duration{200 * ms}
		})
		c.want.Mid, c.want.PathLeast, c.want.PathMost = 200*ms, 40*ms, 60*ms
		if got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestRefused(t *testing.T) {
	first := func(n int) func(int) []time.Duration {
		return func(i int) []time.Duration {
			if i < n {
				return []time.Duration{200 * ms}
			}
			return nil
		}
	}
	if r, _ := play(t, first(latency.Fewest)); r.Why != "" || r.Used != 8 || r.Missed != 4 {
		t.Errorf("eight presses: %+v", r)
	}
	if r, _ := play(t, first(latency.Fewest-1)); r.Why != latency.TooFew || r.Used != 7 || r.Mid != 200*ms {
		t.Errorf("seven presses: %+v", r)
	}
	if r, _ := play(t, first(0)); r != (latency.Result{Why: latency.TooFew, Missed: 12}) {
		t.Errorf("no press: %+v", r)
	}
	// Half at 200 ms, half later by so much that the quartiles are that far apart.
	apart := func(d time.Duration) func(int) []time.Duration {
		return func(n int) []time.Duration { return []time.Duration{200*ms + time.Duration(n%2)*d} }
	}
	if r, _ := play(t, apart(120*ms)); r.Why != "" || r.Spread != 120*ms {
		t.Errorf("120 ms apart: %+v", r)
	}
	if r, _ := play(t, apart(121*ms)); r.Why != latency.TooWide || r.Spread != 121*ms {
		t.Errorf("121 ms apart: %+v", r)
	}
	// Somebody hammers on the contact: never a figure. At five a second each tone
	// is spoilt by the press before it.
	test := latency.New(3, begin)
	for at := begin; at < test.End(); at += 200 * ms {
		test.Press(at)
	}
	test.Advance(test.End())
	if r := test.Result(); r.Why != latency.TooFew {
		t.Errorf("hammering: %+v", r)
	}
	// In a rhythm of his own, without listening.
	for _, every := range []time.Duration{700 * ms, 1100 * ms, 3 * time.Second} {
		test := latency.New(3, begin)
		for at := begin; at < test.End(); at += every {
			test.Press(at)
		}
		test.Advance(test.End())
		if r := test.Result(); r.Why == "" {
			t.Errorf("a press every %v, whatever sounds, has a figure: %+v", every, r)
		}
	}
	// However many presses there are, memory stays bounded and the test ends.
	test = latency.New(3, begin)
	for i := range 1_000_000 {
		test.Press(begin + time.Duration(i))
	}
	test.Advance(test.End())
	if r := test.Result(); r.Used != 0 || r.Early > 256 {
		t.Errorf("a million presses: %+v", r)
	}
}

func TestProgress(t *testing.T) {
	test := latency.New(9, begin)
	if p := test.Progress(); p != (latency.Progress{Of: 12}) {
		t.Errorf("at the beginning %+v", p)
	}
	at, ok := test.Next()
	if !ok {
		t.Fatal("no tone")
	}
	test.Advance(at - 1)
	if p := test.Progress(); p.Asked != 0 {
		t.Errorf("before the first tone %+v", p)
	}
	test.Advance(at)
	test.Advance(at - time.Second) // time does not go back
	if p := test.Progress(); p.Asked != 1 || p.Used != 0 {
		t.Errorf("at the first tone %+v", p)
	}
	if r := test.Result(); r.Missed != 0 {
		t.Errorf("a tone that can still be answered is missed: %+v", r)
	}
	test.Press(at + 250*ms)
	test.Advance(at + 300*ms)
	if p := test.Progress(); p != (latency.Progress{Asked: 1, Of: 12, Used: 1}) {
		t.Errorf("after the first press %+v", p)
	}
	test.Advance(test.End() - 1)
	if test.Progress().Done {
		t.Error("done before the end")
	}
	test.Advance(test.End())
	if p, r := test.Progress(), test.Result(); !p.Done || r.Missed != 11 || r.Why != latency.TooFew {
		t.Errorf("at the end %+v, %+v", p, r)
	}
}

func BenchmarkResult(b *testing.B) {
	test := latency.New(1, begin)
	for at, ok := test.Next(); ok; at, ok = test.Next() {
		test.Press(at + 200*ms)
	}
	test.Advance(test.End())
	for b.Loop() {
		if test.Result().Used != latency.Tones {
			b.Fatal("presses are missing")
		}
	}
}
