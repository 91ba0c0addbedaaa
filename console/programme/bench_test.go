// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

var (
	benchRuns   = flag.Int("runs", 10_000, "runs in the store of the benchmark")
	benchPeople = flag.Int("people", 10_000, "people in it")
	benchStore  = flag.String("store", "", "file of the store, which stays; one that is there is used as it is")
)

// scale fills a store: people come in as rows of a table, each with a
// facepiece; runs are spread over them at random and over ten years.
func scale(b *testing.B, path string) (*bolt.Store, *programme.Desk) {
	b.Helper()
	ctx := context.Background()
	_, missing := os.Stat(path)
	began := time.Now()
	s, err := bolt.Open(path, bolt.Options{})
	must(b, err)
	b.Cleanup(func() { s.Close() })
	d := newDesk(b, s)
	if missing == nil {
		b.Logf("open: %v", time.Since(began).Round(time.Microsecond))
		return s, d
	}
	must(b, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	dice := rand.New(rand.NewPCG(1, 1))
	rows := [][]string{{"Number", "Name", "Facepieces"}}
	for i := range *benchPeople {
		rows = append(rows, []string{fmt.Sprintf("HS-%06d", i), givenNames[dice.IntN(len(givenNames))] + " " + familyNames[dice.IntN(len(familyNames))] + fmt.Sprint(" ", i%997), "corrie-m"})
	}
	began = time.Now()
	forms, refused := programme.ReadPeople(rows, programme.GuessMapping(rows[0]), programme.ImportDefaults{Facepieces: pieces(), Header: true, Form: programme.PersonForm{Rules: "us-osha"}, Rules: []string{"us-osha"}})
	plan, err := d.PlanImport(ctx, forms, refused)
	must(b, err)
	done, err := d.Import(ctx, plan, who)
	if err != nil || done.New != *benchPeople {
		b.Fatalf("%+v, %v", done.Refused, err)
	}
	b.Logf("import of %d people: %v", *benchPeople, time.Since(began).Round(time.Millisecond))
	var ids []string
	must(b, d.EachPerson(ctx, func(p programme.Person) error { ids = append(ids, p.ID); return nil }))
	began = time.Now()
	var drafts []store.Draft
	for i := range *benchRuns {
		drafts = append(drafts, shortRun(b, i, ids[dice.IntN(len(ids))])...)
		if len(drafts) >= 5000 || i == *benchRuns-1 {
			_, err := s.Append(ctx, drafts...)
			must(b, err)
			drafts = drafts[:0]
		}
	}
	b.Logf("journal of %d runs: %v", *benchRuns, time.Since(began).Round(time.Millisecond))
	began = time.Now()
	busy := spent()
	must(b, d.Ended(ctx, ""))
	b.Logf("taking them in: %v, %.0f a second, peak of memory %d MB, processor %v", time.Since(began).Round(time.Millisecond), float64(*benchRuns)/time.Since(began).Seconds(), peak(), (spent() - busy).Round(time.Millisecond))
	return s, d
}

// benchTesters test in turn; the oldest runs are another one's.
var benchTesters = []string{who, "Bram Okafor", "Petra Lindqvist"}

// benchOldest is how many runs are the oldest.
const benchOldest = 30

// shortRun is the facts of a run without its squeezes, and of its rule set only
// what a replay asks for, so that a million fit on a disk.
func shortRun(b *testing.B, i int, person string) []store.Draft {
	r := procedure.RuleSet{ID: "us-osha", Bins: make([]procedure.Bin, 1), Exercises: make([]procedure.Exercise, 1)}
	r.Figures.Exercise.Value, r.Figures.TopUpInterval.Value, r.Figures.ScreeningMost.Value = 60, 30, 30
	tester, last := benchTesters[i%len(benchTesters)], procedure.Ended{Outcome: procedure.Pass}
	switch {
	case i < benchOldest: // what only the oldest runs have
		tester, last = "Ada Longgone", procedure.Ended{Outcome: procedure.CannotTaste, Reason: procedure.NoTasteBy30}
	case i%7 == 0:
		last = procedure.Ended{Outcome: procedure.Fail, Reason: procedure.Tasted}
	}
	o := procedure.RunOpened{
		Run: fmt.Sprintf("r%06d", i+1), Rules: r, Agent: "sweet", Wearer: procedure.Wearer{ID: person}, Tester: tester, WallQuality: "confirmed",
		Facepiece: programme.Facepiece{ID: "corrie-m", FacepieceForm: corrie}.ForRun(), Wall: today.AddDate(0, 0, -3650 + i*3650 / *benchRuns).Format(time.RFC3339),
	}
	var out []store.Draft
	for _, f := range []procedure.Fact{o, procedure.BinSet{Squeezes: 1 + i%30, Bin: 10 * (1 + i%30/10)}, last} {
		body, err := procedure.Encode(procedure.Dated{At: time.Minute, Fact: f})
		must(b, err)
		out = append(out, store.Draft{Stream: o.Run, Kind: f.Kind(), Version: procedure.FactVersion, Body: body})
	}
	return out
}

// peak is the most memory that the process has had, in MB, as Linux counts it;
// 0 elsewhere.
func peak() int {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	kb := 0
	if _, after, found := strings.Cut(string(status), "VmHWM:"); found {
		fmt.Sscan(after, &kb)
	}
	return kb >> 10
}

// spent is the time that the process has kept processors busy: on a machine that
// others use it says more than the clock does.
func spent() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// measure is b.Run that also reports the time of processors, which says more on a
// machine that others use.
func measure(b *testing.B, name string, f func(*testing.B)) {
	b.Run(name, func(b *testing.B) {
		busy := spent()
		f(b)
		b.ReportMetric(float64((spent()-busy).Microseconds())/1000/float64(b.N), "cpu-ms/op")
	})
}

func heap() float64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// BenchmarkRetention measures the preview of who may go, with the rules' own times
// and with a policy of five years, in a store that is there.
func BenchmarkRetention(b *testing.B) {
	if *benchStore == "" {
		b.Skip("only when asked: -store FILE, a store with many runs")
	}
	ctx := context.Background()
	s, err := bolt.Open(*benchStore, bolt.Options{})
	must(b, err)
	defer s.Close()
	began, busy := time.Now(), spent()
	d := newDesk(b, s)
	b.Logf("open: %v, processor %v, peak of memory %d MB", time.Since(began).Round(time.Millisecond), (spent() - busy).Round(time.Millisecond), peak())
	for _, months := range []int{0, 60} {
		p, err := d.Policy(ctx)
		must(b, err)
		if p.KeepMonths != months {
			p.Rules, p.KeepMonths = first(p.Rules, "us-osha"), months
			must(b, d.Do(ctx, programme.PolicySet{Policy: p, By: who}))
		}
		measure(b, fmt.Sprint("kept ", months, " months"), func(b *testing.B) {
			for b.Loop() {
				r, err := d.Retention(ctx)
				must(b, err)
				b.ReportMetric(float64(r.Count), "runs")
				b.ReportMetric(float64(len(r.People)), "people")
			}
		})
	}
}

// BenchmarkScale measures what pages and runs wait for; -runs and -people say
// how large the store is, so that the growth with size can be told.
func BenchmarkScale(b *testing.B) {
	ctx := context.Background()
	path := *benchStore
	if path == "" {
		path = filepath.Join(b.TempDir(), "store.db")
	}
	s, d := scale(b, path)
	if info, err := os.Stat(path); err == nil {
		b.Logf("file %d MB, heap %.1f MB", info.Size()>>20, heap())
	}
	measure(b, "due page", func(b *testing.B) {
		for b.Loop() {
			due, err := d.DueBy(ctx, today.Format(time.DateOnly), 50)
			if err != nil || len(due) != 50 {
				b.Fatal(len(due), err)
			}
		}
	})
	began := time.Now()
	must(b, d.ReadWords(ctx))
	b.Logf("words of names read: %v, heap %.1f MB", time.Since(began).Round(time.Millisecond), heap())
	measure(b, "people page", func(b *testing.B) {
		for b.Loop() {
			if _, err := d.People(ctx, "p-k", 50); err != nil {
				b.Fatal(err)
			}
		}
	})
	measure(b, "runs page", func(b *testing.B) { // what the list of runs reads for a part
		for b.Loop() {
			infos, err := s.Streams(ctx, 0, 50)
			must(b, err)
			var names, people []string
			for _, info := range infos {
				names = append(names, info.Stream)
			}
			runs, err := d.Runs(ctx, names)
			must(b, err)
			for _, r := range runs {
				people = append(people, r.Person)
			}
			_, err = d.Those(ctx, people)
			must(b, err)
		}
	})
	people, err := d.People(ctx, "", 500)
	must(b, err)
	middle := today.AddDate(-5, 0, 0).Format(time.DateOnly)
	for _, l := range []struct {
		name string
		programme.RunQuery
		some bool
	}{
		{"fails", programme.RunQuery{Outcome: procedure.Fail}, true}, {"of a tester", programme.RunQuery{Tester: benchTesters[1]}, true}, {"of a person", programme.RunQuery{Person: people[0].ID}, true},
		{"with a facepiece", programme.RunQuery{Facepiece: "corrie-m"}, true}, {"since a day", programme.RunQuery{From: middle}, true}, {"to a day", programme.RunQuery{To: middle}, true},
		{"oldest alone", programme.RunQuery{Outcome: procedure.CannotTaste, Only: programme.OnlyTests}, true}, {"recalled, none", programme.RunQuery{Only: programme.OnlyRecalled}, false},
		{"of nobody's, none", programme.RunQuery{Tester: "Nobody Known", From: middle}, false},
	} {
		measure(b, "list "+l.name, func(b *testing.B) {
			for b.Loop() {
				runs, next, err := d.RunsLike(ctx, l.RunQuery, 0, 50)
				if err != nil || (len(runs) > 0) != l.some || len(runs) < 50 && next != 0 {
					b.Fatal(len(runs), next, err)
				}
			}
		})
	}
	for name, query := range map[string]string{"find 1 letter": "z", "find 3 letters": "zie", "find two words": "zieliński luk", "find two letters": "a h", "find three words": "zi lu hs-0", "find number": "hs-0042", "find a rare one": "zieliński luk 42", "find nobody": "zieliński quux"} {
		measure(b, name, func(b *testing.B) {
			for b.Loop() {
				if _, err := d.Find(ctx, query, 20); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	began = time.Now()
	must(b, d.Do(ctx, programme.PolicySet{Policy: programme.Policy{Rules: "us-osha", RetestMonths: 6}, By: who}))
	b.Logf("another policy, with due days reckoned anew: %v", time.Since(began).Round(time.Millisecond))
	began = time.Now()
	r, err := d.Retention(ctx)
	must(b, err)
	b.Logf("retention: %d runs past their time, %v", r.Count, time.Since(began).Round(time.Millisecond))
	last, _ := s.Last()
	next := *benchRuns + int(last) // of no run that is there
	measure(b, "ended", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			_, err := s.Append(ctx, shortRun(b, next, people[next%len(people)].ID)...)
			must(b, err)
			next++
			b.StartTimer()
			must(b, d.Ended(ctx, ""))
		}
	})
	measure(b, "person with runs", func(b *testing.B) {
		for b.Loop() {
			_, err := d.RunsOf(ctx, people[0].ID)
			must(b, err)
		}
	})
	measure(b, "open", func(b *testing.B) {
		for b.Loop() {
			newDesk(b, s)
		}
	})
	began = time.Now()
	_, err = d.Day(ctx, today.Format(time.DateOnly), programme.DayOptions{Now: today})
	must(b, err)
	b.Logf("first list of a day: %v", time.Since(began).Round(time.Millisecond))
	measure(b, "day", func(b *testing.B) {
		for b.Loop() {
			_, err := d.Day(ctx, today.Format(time.DateOnly), programme.DayOptions{Now: today})
			must(b, err)
		}
	})
}
