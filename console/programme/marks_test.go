// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// Days and places where runs are made: some of them far from Greenwich, and some
// whose clock says what no mark can hold.
var (
	someDays   = []string{"2026-06-10", "2026-06-16", "2026-06-17", "2026-09-12", "2026-09-13", "2026-09-14", "2026-09-15"}
	someZones  = []*time.Location{time.UTC, time.FixedZone("", 14*3600), time.FixedZone("", -12*3600), time.FixedZone("", 5*3600+1800)}
	oddDays    = []string{"1970-01-01", "2199-12-31"}
	someRunner = []string{"Agnes Thorley", "Łucja Ómar", "Bram Okafor"}
)

// many writes runs of all kinds, in batches and in an order of ends that is not
// that of their opening.
func many(t *testing.T, dice *rand.Rand, s store.Store, d *programme.Desk, people, runs int, after func()) {
	ctx := t.Context()
	var ids []string
	for i := range people {
		id, err := d.Enter(ctx, programme.PersonForm{Name: fmt.Sprint("Person ", i), Facepieces: []string{"corrie-m"}}, who)
		must(t, err)
		ids = append(ids, id)
	}
	facts := func(fs ...programme.Fact) {
		for _, f := range fs {
			body, err := programme.Encode(f, nil)
			must(t, err)
			_, err = s.Append(ctx, store.Draft{Stream: programme.Stream, Kind: f.Kind(), Version: programme.VersionOf(f.Kind()), Body: body})
			must(t, err)
		}
	}
	var all []played
	number := uint64(0)
	for range runs {
		number += 1 + dice.Uint64N(200)
		if dice.IntN(100) == 0 {
			number += 5_000_000_000
		}
		day := someDays[dice.IntN(len(someDays))]
		if dice.IntN(20) == 0 {
			day = oddDays[dice.IntN(len(oddDays))]
		}
		at, err := time.ParseInLocation(time.DateOnly, day, someZones[dice.IntN(len(someZones))])
		must(t, err)
		all = append(all, played{
			run: fmt.Sprintf("r%06d", number), person: ids[dice.IntN(len(ids))], facepiece: []string{"corrie-m", "beacon-s"}[dice.IntN(2)], form: corrie,
			at: at.Add(time.Duration(dice.IntN(86400)) * time.Second), quality: []string{"confirmed", "network", "unset"}[dice.IntN(3)], practice: dice.IntN(6) == 0,
			outcome: []procedure.Outcome{procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste}[dice.IntN(4)], screening: 3,
		})
	}
	for i := range all {
		j := min(len(all)-1, i+dice.IntN(6))
		all[i], all[j] = all[j], all[i]
	}
	for i, p := range all {
		_, err := s.Append(ctx, p.drafts(t, ruleSets(t))...)
		must(t, err)
		run := all[dice.IntN(i+1)].run
		switch dice.IntN(12) {
		case 0:
			facts(programme.RunAmended{Run: run, Field: "tester", To: someRunner[dice.IntN(len(someRunner))], Reason: "wrong name picked", By: who})
		case 1:
			facts(programme.RunsRecalled{Runs: []string{run}, Reason: "mist_check_failed", By: who})
		case 2, 3: // which makes a pass one that is not valid
			_, err := s.Append(ctx, proof(t, run, false))
			must(t, err)
		}
		if dice.IntN(9) == 0 || i == len(all)-1 {
			must(t, d.Ended(ctx, p.run))
			after()
		}
	}
}

// newestFirst gives all runs in the order of their numbers.
func newestFirst(t *testing.T, d *programme.Desk) (all []programme.Run) {
	must(t, d.RunsFrom(t.Context(), "", func(r programme.Run) error { all = append(all, r); return nil }))
	number := func(r programme.Run) int {
		n, err := strconv.Atoi(strings.TrimPrefix(r.Run, "r"))
		must(t, err)
		return n
	}
	slices.SortFunc(all, func(a, b programme.Run) int { return number(b) - number(a) })
	return all
}

// direct finds what RunsLike should, by looking at every run.
func direct(all []programme.Run, q programme.RunQuery) (out []string) {
	for _, r := range all {
		day := r.At[:10]
		tester := r.Tester
		for _, a := range r.Amended {
			tester = a.To
		}
		switch {
		case day < q.From, q.To != "" && day > q.To, q.Person != "" && r.Person != q.Person, q.Facepiece != "" && r.Facepiece != q.Facepiece, q.Outcome != "" && r.Outcome != q.Outcome:
		case q.Tester != "" && programme.Fold(tester) != programme.Fold(q.Tester), q.Only == "tests" && r.Practice, q.Only == "practice" && !r.Practice, q.Only == "recalled" && r.Recalled == "":
		default:
			out = append(out, r.Run)
		}
	}
	return out
}

// like gets all parts of a list.
func like(t *testing.T, d *programme.Desk, q programme.RunQuery, limit int) (out []string) {
	before := uint64(0)
	for {
		runs, next, err := d.RunsLike(t.Context(), q, before, limit)
		must(t, err)
		if len(runs) > limit || next != 0 && before != 0 && next >= before {
			t.Fatalf("%d runs of %d, and goes on at %d after %d", len(runs), limit, next, before)
		}
		for _, r := range runs {
			out = append(out, r.Run)
		}
		if next == 0 {
			return out
		}
		before = next
	}
}

func TestRunsLike(t *testing.T) {
	dice := rand.New(rand.NewPCG(7, 1))
	s := memory.New()
	d := newDesk(t, s)
	must(t, d.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	many(t, dice, s, d, 9, 1300, func() {})
	people, err := d.People(t.Context(), "", 100)
	must(t, err)
	pick := func(of ...string) string { return append(of, make([]string, len(of))...)[dice.IntN(2*len(of))] }
	check := func(d *programme.Desk) {
		t.Helper()
		found, all := 0, newestFirst(t, d)
		for i := range 150 {
			q := programme.RunQuery{
				From: pick(someDays...), To: pick(append(oddDays, someDays...)...), Facepiece: pick("corrie-m", "beacon-s", "none"),
				Tester: pick("agnes THORLEY", "lucja omar", "nobody"), Outcome: procedure.Outcome(pick("pass", "fail", "not_valid", "cannot_taste")),
				Only: pick("tests", "practice", "recalled"),
			}
			if i == 0 {
				q = programme.RunQuery{}
			}
			if i%5 == 1 {
				q.Person = people[dice.IntN(len(people))].ID
			}
			want := direct(all, q)
			found += len(want)
			if got := like(t, d, q, 3+dice.IntN(90)); !slices.Equal(got, want) {
				t.Fatalf("%+v: %d runs, want %d: %v, want %v", q, len(got), len(want), got, want)
			}
		}
		if found < 1500 {
			t.Errorf("queries found %d runs in all", found)
		}
	}
	check(d)
	stacks := 0 // of 1300 marks
	must(t, programme.Each(t.Context(), s, programme.TableMarks, func(string, []byte) { stacks++ }))
	if stacks < 2 || stacks > 4 {
		t.Errorf("%d stacks of marks", stacks)
	}

	// A store of the form before has no marks: its views are made anew.
	var old []store.Pair
	must(t, programme.Each(t.Context(), s, programme.TableMarks, func(key string, _ []byte) {
		old = append(old, store.Pair{Table: programme.TableMarks, Key: key, Delete: true})
	}))
	_, err = s.Commit(t.Context(), nil, append(old, store.Pair{Table: "views", Key: "form", Value: []byte("4")}))
	must(t, err)
	check(newDesk(t, s))
}

// TestRecent holds the runs that plans rest on, and those of a day, against a
// look at every run, while runs come in and the clock goes on.
func TestRecent(t *testing.T) {
	defer programme.RecentRuns(40)()
	ctx := context.Background()
	for seed := range uint64(4) {
		dice := rand.New(rand.NewPCG(seed, 2))
		s := memory.New()
		d := newDesk(t, s)
		must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
		now, most := today, 0
		many(t, dice, s, d, 3, 300, func() {
			switch dice.IntN(20) {
			case 0:
				now = today.AddDate(0, 0, dice.IntN(4))
			case 1:
				now = today.AddDate(0, 3, -dice.IntN(8))
			}
			from := now.AddDate(0, 0, -90).Format(time.DateOnly)
			var want []string
			var onDay []string
			day := someDays[dice.IntN(len(someDays))]
			must(t, d.RunsFrom(ctx, "", func(r programme.Run) error {
				at, err := time.Parse(time.RFC3339, r.At)
				must(t, err)
				if !r.Practice && at.UTC().Format(time.DateOnly) >= from {
					want = append(want, fmt.Sprint(r.Run, r.First, r.StagesS))
				}
				if !r.Practice && r.At[:10] == day {
					onDay = append(onDay, r.Run)
				}
				return nil
			}))
			want = want[max(0, len(want)-40):]
			most = max(most, len(want))
			runs, err := d.Recent(ctx, now)
			must(t, err)
			var got []string
			for _, r := range runs {
				got = append(got, fmt.Sprint(r.Run, r.First, r.StagesS))
			}
			if !slices.Equal(got, want) {
				t.Fatalf("seed %d: recent %v, want %v", seed, got, want)
			}
			on, err := time.Parse(time.DateOnly, day)
			must(t, err)
			runs, err = d.RunsOn(ctx, on)
			must(t, err)
			got = nil
			for _, r := range runs {
				got = append(got, r.Run)
			}
			if !slices.Equal(got, onDay) {
				t.Fatalf("seed %d: on %s %v, want %v", seed, day, got, onDay)
			}
		})
		if most != 40 {
			t.Errorf("seed %d: never more than %d", seed, most)
		}
	}
}

func TestCalledBackOnce(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	beacon := corrie
	beacon.Model = "Beacon"
	must(t, d.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}, programme.FacepieceEntered{ID: "beacon-m", Form: beacon, By: who}))
	id, err := d.Enter(t.Context(), programme.PersonForm{Name: "Ana", Facepieces: []string{"corrie-m", "beacon-m"}}, who)
	must(t, err)
	play(t, s, d, played{run: "r000001", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	play(t, s, d, played{run: "r000101", person: id, facepiece: "beacon-m", form: beacon, at: today, outcome: procedure.Pass})
	f := programme.RunsRecalled{Runs: []string{"r000001", "r000101"}, Reason: "mist_check_failed", By: who}
	body, err := programme.Encode(f, nil)
	must(t, err)
	_, err = s.Append(t.Context(), store.Draft{Stream: programme.Stream, Kind: f.Kind(), Version: programme.VersionOf(f.Kind()), Body: body})
	must(t, err)
	must(t, d.Ended(t.Context(), ""))
	day, err := d.Day(t.Context(), today.Format(time.DateOnly), programme.DayOptions{Now: today})
	must(t, err)
	calls := slices.DeleteFunc(day.EndOfDay, func(x programme.Task) bool { return x.What != "call_back" })
	if len(calls) != 1 || calls[0].ID != id || len(day.Expected) != 1 || len(day.Expected[0].Due) != 2 {
		t.Errorf("called back %+v, expected %+v", calls, day.Expected)
	}
}
