// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

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
