// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/memory"
)

func TestRetention(t *testing.T) {
	s := memory.New()
	cfg := config(t, s)
	known := true
	cfg.Now = func() (time.Time, bool) { return today, known }
	d, err := programme.New(t.Context(), cfg)
	must(t, err)
	ctx := t.Context()
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	n := 0
	person := func(name, rules, left string, days ...string) string {
		id, err := d.Enter(ctx, programme.PersonForm{Name: name, Facepieces: []string{"corrie-m"}, Rules: rules}, who)
		must(t, err)
		for _, day := range days {
			n++
			quality := "confirmed"
			if strings.HasSuffix(day, "?") {
				day, quality = day[:len(day)-1], "unset"
			}
			play(t, s, d, played{run: fmt.Sprintf("r%06d", n), person: id, facepiece: "corrie-m", form: corrie, rules: rules, at: onDay(day), quality: quality, outcome: procedure.Pass})
		}
		if left != "" {
			must(t, d.Do(ctx, programme.PersonLeft{Person: id, On: left, By: who}))
		}
		return id
	}
	// UK: five years. Today is 2026-09-14.
	person("Ana", "uk-hse", "", "2019-01-01", "2020-01-01")  // the second is the last valid one
	bo := person("Bo", "uk-hse", "2021-09-13", "2020-01-01") // left five years and a day ago
	person("Cem", "uk-hse", "2021-09-14", "2020-01-01")      // five years ago today: not past
	person("Dora", "uk-hse", "2020-01-01", "2021-12-01")     // the record is younger
	person("Eli", "us-osha", "2012-01-01", "2011-01-01")     // US says no time
	person("Fay", "uk-hse", "2012-01-01", "2012-01-01?")     // of a day that nobody knows
	gus := person("Gus", "uk-hse", "2012-01-01")             // never tested
	r, err := d.Retention(ctx)
	must(t, err)
	names := func(r programme.Retention) string {
		var out []string
		for _, p := range r.People {
			out = append(out, p.Name)
		}
		return strings.Join(out, " ")
	}
	sorted := func(s string) string {
		f := strings.Fields(s)
		if len(f) == 2 && f[0] > f[1] {
			return f[1] + " " + f[0]
		}
		return s
	}
	var runs []string
	for _, x := range r.Runs {
		runs = append(runs, x.Run)
	}
	if sorted(names(r)) != "Bo Gus" || fmt.Sprint(runs) != "[r000001 r000003 r000004]" || r.Count != 3 {
		t.Fatalf("past their time: people %s, runs %v of %d", names(r), runs, r.Count)
	}
	// Two people and three runs: the bound cuts off no more than what is over it.
	for most, more := range map[int]bool{1: true, 2: false, 3: false} {
		back := programme.MostShown(most)
		b, err := d.Retention(ctx)
		back()
		must(t, err)
		if b.More != more || len(b.People) != min(most, 2) || b.People[0] != r.People[0] || b.Count != 3 || len(b.Runs) != most || b.Runs[0].Run != "r000001" {
			t.Errorf("at most %d shown: people %s, more %t, %d of %d runs", most, names(b), b.More, len(b.Runs), b.Count)
		}
	}
	if err := d.Retain(ctx, []string{bo, "p-22222222"}, who); !isRefused(err, "changed") {
		t.Errorf("one was shown who may not go: %v", err)
	}
	if err := d.Retain(ctx, nil, who); !isRefused(err, "nobody") {
		t.Errorf("nobody: %v", err)
	}
	must(t, d.Retain(ctx, []string{bo, gus}, who))
	if _, err := d.Person(ctx, bo); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("Bo is still there: %v", err)
	}
	if x, err := d.Run(ctx, "r000003"); err != nil || x.Outcome != procedure.Pass {
		t.Errorf("the run of Bo: %+v, %v", x, err)
	}
	// A policy may keep longer, and gives a time where the rules have none.
	must(t, d.Do(ctx, programme.PolicySet{Policy: programme.Policy{Rules: "us-osha", KeepMonths: 120}, By: who}))
	if r, err = d.Retention(ctx); err != nil || names(r) != "Eli" {
		t.Errorf("with a policy of ten years: %s, %v", names(r), err)
	}
	known = false
	if _, err := d.Retention(ctx); !isRefused(err, "clock") {
		t.Errorf("a clock that cannot be trusted: %v", err)
	}
}

// kept is how many months something under a rule set is kept: what the rules
// say or the house, whichever is longer; under a set that is not there any more
// the longest of all.
func kept(rules map[string]procedure.RuleSet, id string, policy programme.Policy) int {
	months := policy.KeepMonths
	for _, r := range rules {
		if _, known := rules[id]; r.Keep != nil && (r.ID == id || !known) {
			months = max(months, int(r.Keep.Value+0.999))
		}
	}
	return months
}

// naive reads every run and everybody to say what is past its time.
func naive(t failer, d *programme.Desk, rules map[string]procedure.RuleSet, now time.Time, most int) programme.Retention {
	ctx := context.Background()
	today := now.Format(time.DateOnly)
	policy, err := d.Policy(ctx)
	must(t, err)
	isPast := func(day string, months int) bool {
		on, err := time.Parse(time.DateOnly, day)
		return err == nil && months > 0 && programme.AddMonths(on, months).Format(time.DateOnly) < today
	}
	isSure := func(r programme.Run) bool { return r.Quality == "confirmed" || r.Quality == "network" }
	out := programme.Retention{Months: policy.KeepMonths, Runs: []programme.Run{}, People: []programme.RetiredShown{}}
	here := map[string]programme.Person{}
	must(t, d.EachPerson(ctx, func(p programme.Person) error {
		here[p.ID] = p
		return nil
	}))
	must(t, d.RunsFrom(ctx, "", func(r programme.Run) error {
		p := here[r.Person]
		last := p.Left == "" && slices.ContainsFunc(p.Tested, func(t programme.Tested) bool { return t.Run == r.Run })
		if r.Practice || !isSure(r) || last || !isPast(r.At[:min(len(r.At), 10)], kept(rules, r.Rules, policy)) {
			return nil
		}
		out.Count++
		if len(out.Runs) < most {
			out.Runs = append(out.Runs, r)
		}
		return nil
	}))
	for _, id := range slices.Sorted(maps.Keys(here)) {
		p := here[id]
		if p.Left == "" {
			continue
		}
		runs, err := d.RunsOf(ctx, id)
		must(t, err)
		months, last, may := kept(rules, first(p.Rules, policy.Rules), policy), "", true
		for _, r := range runs {
			if r.Practice {
				continue
			}
			day := r.At[:min(len(r.At), 10)]
			k := kept(rules, r.Rules, policy)
			may = may && isSure(r) && isPast(day, k)
			months, last = max(months, k), max(last, day)
		}
		switch {
		case !may || !isPast(p.Left, months):
		case len(out.People) == most:
			out.More = true
		default:
			out.People = append(out.People, programme.RetiredShown{Person: id, Name: p.Name, Number: p.Number, Left: p.Left, LastRun: last})
		}
	}
	return out
}

// Whatever happened, the preview is what reading all runs and everybody gives:
// also in a store of a program that had no lists of what is kept, or of one that
// has let them stand still.
func TestRetentionIsAReading(t *testing.T) {
	rules := maps.Clone(ruleSets(t))
	long := rules["uk-hse"]
	years := *long.Keep
	years.Value = 120
	long.ID, long.Keep = "of-ten-years", &years
	rules[long.ID] = long
	gone := rules["uk-hse"]
	gone.ID = "of-old"
	played := maps.Clone(rules)
	played[gone.ID] = gone
	const most = 3
	defer programme.MostShown(most)()
	rapid.Check(t, func(t *rapid.T) {
		ctx := context.Background()
		s := memory.New()
		cfg := configWith(s, rules)
		now := today
		cfg.Now = func() (time.Time, bool) { return now, true }
		var d *programme.Desk
		open := func() {
			var err error
			d, err = programme.New(ctx, cfg)
			must(t, err)
		}
		open()
		must(t, d.Do(ctx, programme.FacepieceEntered{ID: "fp-a", Form: corrie, By: who}, programme.FacepieceEntered{ID: "fp-b", Form: corrie, By: who},
			programme.NebuliserEntered{ID: "n-w1", Form: programme.NebuliserForm{Mark: "n-w1", Role: procedure.Weak, Agent: "sweet"}, By: who}))
		var ids, runs []string
		person := func(t *rapid.T) string {
			if len(ids) == 0 {
				t.Skip("nobody is there")
			}
			return rapid.SampledFrom(ids).Draw(t, "person")
		}
		form := func(t *rapid.T) programme.PersonForm {
			return programme.PersonForm{Name: fmt.Sprint("Person ", len(ids)), Facepieces: []string{"fp-a"}, Rules: rapid.SampledFrom([]string{"", "us-osha", "uk-hse"}).Draw(t, "rules")}
		}
		day := func(t *rapid.T) time.Time { // around five and ten years ago, and now
			years := rapid.SampledFrom([]int{-10, -5, -5, -5, 0}).Draw(t, "years")
			return today.AddDate(years, 0, rapid.IntRange(-3, 3).Draw(t, "days")).Add(time.Duration(rapid.IntRange(-12, 12).Draw(t, "hours")) * time.Hour)
		}
		zones := []*time.Location{time.UTC, time.FixedZone("", 14*3600), time.FixedZone("", -11*3600)}
		t.Repeat(map[string]func(*rapid.T){
			"enter": func(t *rapid.T) {
				id, err := d.Enter(ctx, form(t), who)
				must(t, err)
				ids = append(ids, id)
			},
			"change": func(t *rapid.T) {
				must(t, d.Do(ctx, programme.PersonEntered{Person: person(t), Form: form(t), By: who}))
			},
			"leave": func(t *rapid.T) {
				on := rapid.SampledFrom([]string{"", min(day(t).Format(time.DateOnly), now.Format(time.DateOnly))}).Draw(t, "on")
				must(t, d.Do(ctx, programme.PersonLeft{Person: person(t), On: on, By: who}))
			},
			"erase": func(t *rapid.T) {
				id := person(t)
				must(t, d.Erase(ctx, id, "asked for", who))
				ids = slices.DeleteFunc(ids, func(x string) bool { return x == id })
			},
			"run": func(t *rapid.T) {
				x := playedRun(t, len(runs)+1, append(slices.Clone(ids), "", "p-nobody22"), day(t).In(rapid.SampledFrom(zones).Draw(t, "zone")))
				runs = append(runs, x.run)
				_, err := s.Append(ctx, x.drafts(t, played)...)
				must(t, err)
				if rapid.Bool().Draw(t, "told") {
					must(t, d.Ended(ctx, x.run))
				}
			},
			"recall": func(t *rapid.T) {
				sweep, err := d.Sweep(ctx, "n-w1")
				must(t, err)
				var shown []string
				for _, r := range sweep.Runs {
					shown = append(shown, r.Run)
				}
				must(t, d.Recall(ctx, programme.MistChecked{ID: "n-w1", At: now.Format(time.RFC3339), By: who}, shown))
			},
			"nothing tasted in the proof": func(t *rapid.T) {
				if len(runs) == 0 {
					t.Skip("no run")
				}
				_, err := s.Append(ctx, proof(t, rapid.SampledFrom(runs).Draw(t, "run"), false))
				must(t, err)
			},
			"policy": func(t *rapid.T) {
				p := programme.Policy{Rules: rapid.SampledFrom([]string{"us-osha", "uk-hse"}).Draw(t, "rules"), KeepMonths: rapid.SampledFrom([]int{0, 60, 120}).Draw(t, "months")}
				must(t, d.Do(ctx, programme.PolicySet{Policy: p, By: who}))
			},
			"restart": func(*rapid.T) { open() },
			"a program without the lists": func(t *rapid.T) {
				must(t, d.Ended(ctx, ""))
				want := views(t, s)
				var pairs []store.Pair
				tables := programme.Keeping.Tables
				if rapid.Bool().Draw(t, "has them, and wrote none") {
					tables = nil
				}
				for _, table := range tables {
					must(t, programme.Each(ctx, s, table, func(k string, _ []byte) { pairs = append(pairs, store.Pair{Table: table, Key: k, Delete: true}) }))
				}
				pairs = append(pairs, store.Pair{Table: "views", Key: programme.Keeping.Key, Value: []byte("1 0"), Delete: tables != nil}, store.Pair{Table: programme.Keeping.Tables[0], Key: "uk-hse\x002001-01-01", Value: []byte("7"), Delete: tables != nil})
				_, err := s.Commit(ctx, nil, pairs)
				must(t, err)
				open()
				if diff := differences(want, views(t, s)); len(diff) > 0 {
					t.Fatalf("made from the other views they differ:\n%s", strings.Join(diff, "\n"))
				}
			},
			"rebuild": func(*rapid.T) {
				must(t, d.Ended(ctx, ""))
				sameMadeAnew(t, s, d)
			},
			"days go by": func(t *rapid.T) { now = now.AddDate(0, 0, 1) },
			"": func(t *rapid.T) {
				r, err := d.Retention(ctx)
				must(t, err)
				have, err := json.MarshalIndent(r, "", " ")
				must(t, err)
				want, err := json.MarshalIndent(naive(t, d, rules, now, most), "", " ")
				must(t, err)
				if string(have) != string(want) {
					t.Fatalf("preview\n%s\nwant\n%s", have, want)
				}
			},
		})
	})
}

// playedRun draws a run.
func playedRun(t *rapid.T, n int, people []string, at time.Time) played {
	return played{
		run: fmt.Sprintf("r%06d", n), person: rapid.SampledFrom(people).Draw(t, "person"), facepiece: rapid.SampledFrom([]string{"fp-a", "fp-b"}).Draw(t, "facepiece"), form: corrie,
		rules: rapid.SampledFrom([]string{"uk-hse", "uk-hse", "us-osha", "of-old", "of-ten-years"}).Draw(t, "rules"), at: at,
		quality: rapid.SampledFrom([]string{"confirmed", "confirmed", "confirmed", "network", "unset"}).Draw(t, "quality"), practice: rapid.IntRange(0, 5).Draw(t, "practice") == 0,
		outcome: rapid.SampledFrom([]procedure.Outcome{procedure.Pass, procedure.Pass, procedure.Fail, procedure.NotValid}).Draw(t, "outcome"),
		weak:    rapid.SampledFrom([]string{"", "n-w1"}).Draw(t, "weak"),
	}
}
