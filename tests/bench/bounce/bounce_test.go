// SPDX-License-Identifier: Apache-2.0

package bounce

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand"
	"strings"
	"testing"
	"time"
)

var (
	presses = flag.Int("presses", 50_000, "presses a scenario")
	seed    = flag.Int64("seed", Seed, "seed of the first scenario")
)

// The goals: errors that nobody is told of, too many in the fit test, too few
// in the sensitivity test, and how soon a press is known.
func TestGoals(t *testing.T) {
	for i, sc := range Scenarios {
		s := Run(sc, []Method{Ours}, *presses, *seed+int64(i))[0]
		silent := 100.
		if sc.Name == "clean" {
			silent = 0
			if s.Doubtful > 0 {
				t.Errorf("%s: %d doubtful presses, want none", sc.Name, s.Doubtful)
			}
		}
		if x := s.Per100k(s.Silent()); x > silent {
			t.Errorf("%s: %.1f silent errors per 100,000 presses, want at most %.0f", sc.Name, x, silent)
		}
		if s.Over > 0 {
			t.Errorf("%s: %d sure presses too many, want none", sc.Name, s.Over)
		}
		if s.Missed > 0 {
			t.Errorf("%s: %d presses without even a doubt, want none", sc.Name, s.Missed)
		}
		if p50 := s.Wait(.5); p50 > 45*ms {
			t.Errorf("%s: known after %v (median), want at most 45 ms", sc.Name, p50)
		}
		t.Logf("%s: %d presses, %.0f per 100,000 doubtful, known after %v (median), %v (99 %%)",
			sc.Name, s.Presses, s.Per100k(s.Doubtful), s.Wait(.5), s.Wait(.99))
	}
}

func TestButtonGoals(t *testing.T) {
	for i, sc := range Scenarios {
		if sc.Fast {
			continue
		}
		s := Buttons(sc, min(*presses/5, chunk), *seed+int64(i))
		if s.Missed > 0 || s.False > 0 {
			t.Errorf("%s: %d presses missed, %d false reports, want none", sc.Name, s.Missed, s.False)
		}
		if sc.Name == "clean" && (s.Doubtful > 0 || s.Repeated > 0 || s.Faults > 0) {
			t.Errorf("%s: %d doubtful, %d repeated, %d cable faults, want none", sc.Name, s.Doubtful, s.Repeated, s.Faults)
		}
	}
}

// The measure bites: what is known to count badly is seen to.
func TestRemediesFail(t *testing.T) {
	worst := map[string]float64{}
	for i, sc := range Scenarios {
		for j, s := range Run(sc, Methods, 10_000, Seed+int64(i)) {
			worst[Methods[j].Name] = max(worst[Methods[j].Name], s.Per100k(s.Silent()))
		}
	}
	for _, m := range Methods {
		if m.Name != Ours.Name && worst[m.Name] <= 100 {
			t.Errorf("%s: at most %.0f errors per 100,000 presses", m.Name, worst[m.Name])
		}
	}
	for _, name := range []string{"lock-out 50 ms", "lock-out 200 ms"} {
		if worst[name] < 10_000 {
			t.Errorf("%s: only %.0f errors per 100,000 presses", name, worst[name])
		}
	}
}

// The same seed makes the same trace, and another one another.
func TestSeeded(t *testing.T) {
	sc := Scenarios[1]
	a, b, c := sc.Trace(100, 1), sc.Trace(100, 1), sc.Trace(100, 2)
	if len(a.Raw) != len(b.Raw) || a.Raw[len(a.Raw)-1] != b.Raw[len(b.Raw)-1] {
		t.Error("one seed, two traces")
	}
	if a.Raw[len(a.Raw)-1] == c.Raw[len(c.Raw)-1] {
		t.Error("two seeds, one trace")
	}
}

// The bounce drawn keeps to the published figures (hardware-notes/measured.md names them), and
// the edges alternate and go forward.
func TestDrawn(t *testing.T) {
	r := rand.New(rand.NewSource(1))
	const n = 50_000
	sum := 0.
	for range n {
		good, _ := Scenario{Good: 1}.bounce(r, true)
		slow, _ := Scenario{Slow: 1}.bounce(r, true)
		outlier, _ := Scenario{}.bounce(r, true)
		if good > goodMax || slow < slowMin || slow > slowMax || outlier < awfulMin || outlier > awfulMax {
			t.Fatalf("bounce of %v, %v, %v ms", good, slow, outlier)
		}
		sum += good
	}
	// Cutting off what is over the worst published takes a little off the mean.
	if mean := sum / n; mean < 1.4 || mean > goodMean {
		t.Errorf("good contacts bounce for %.3f ms on average, want %.3f or a little less", mean, goodMean)
	}
	for i, sc := range Scenarios {
		tr := sc.Trace(1000, int64(i))
		for j, e := range tr.Raw {
			if e.Closed != (j%2 == 0) || j > 0 && e.At <= tr.Raw[j-1].At {
				t.Fatalf("%s: edge %d is %v", sc.Name, j, e)
			}
		}
		for j := 1; j < len(tr.Presses); j++ {
			apart := tr.Presses[j].First - tr.Presses[j-1].First
			if lo, hi := 225*ms, 1000*ms; apart < lo || apart > hi || sc.Fast && apart > 275*ms {
				t.Fatalf("%s: presses %v apart", sc.Name, apart)
			}
		}
	}
}

// A score counts what it says it counts.
func TestScore(t *testing.T) {
	tr := &Trace{End: 10 * time.Second}
	for x := time.Second; x <= 5*time.Second; x += time.Second {
		tr.Presses = append(tr.Presses, Press{x, x + 500*ms})
	}
	at := func(x float64) time.Duration { return fromMS(1000 * x) }
	m := Method{"test", true, func(*Trace) []Finding {
		return []Finding{
			{at(0.5), at(0.6), false}, // before any press: one too many
			{at(1), at(1.04), false},
			{at(2), at(2.04), false}, {at(2.3), at(2.4), false}, // one too many
			{at(3), at(3.1), true},   // doubtful
			{at(3.9), at(5.1), true}, // stands for the fourth, which has nothing else
		} // the fifth is missed
	}}
	var s Score
	s.Add(m, tr)
	if s.Presses != 5 || s.Over != 2 || s.Missed != 1 || s.Doubtful != 2 || s.Silent() != 3 || len(s.Waits) != 2 {
		t.Errorf("got %+v", s)
	}
	m.Dated = false
	m.Find = func(*Trace) []Finding { return []Finding{{Known: at(1.6)}, {Known: at(2.1)}} }
	s = Score{}
	s.Add(m, tr)
	if s.Over != 1 || s.Missed != 4 {
		t.Errorf("without dates, after the press: got %+v", s)
	}
}

// A table has a row for each scenario and method, with the figures of Run.
func TestTable(t *testing.T) {
	var out bytes.Buffer
	if err := Table(&out, Methods, 200, 3); err != nil {
		t.Fatal(err)
	}
	for i, sc := range Scenarios {
		for j, s := range Run(sc, Methods, 200, 3+int64(i)) {
			row := fmt.Sprintf("| %s | %s | %.1f | %.1f | %.1f |", sc.Name, Methods[j].Name, s.Per100k(s.Silent()), s.Per100k(s.Over), s.Per100k(s.Missed))
			if !strings.Contains(out.String(), row) {
				t.Errorf("no row %q in\n%s", row, &out)
			}
		}
	}
}

func BenchmarkOurs(b *testing.B) {
	tr := Scenarios[1].Trace(10_000, Seed)
	b.ReportAllocs()
	for b.Loop() {
		if n := len(Ours.Find(tr)); n < 10_000 {
			b.Fatal(n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(tr.Seen)), "ns/edge")
}
