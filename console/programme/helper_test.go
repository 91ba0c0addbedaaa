// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"crypto/rand"
	"log/slog"
	"strings"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// A failer is what the helpers need of a test.
type failer interface {
	Helper()
	Fatal(...any)
}

// today is the day on which tests play.
var today = time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC)

func ruleSets(t failer) map[string]procedure.RuleSet {
	t.Helper()
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	return rules
}

func config(t failer, s store.Store) programme.Config { return configWith(s, ruleSets(t)) }

func configWith(s store.Store, rules map[string]procedure.RuleSet) programme.Config {
	return programme.Config{
		Store: s, Ring: sealing.NewRing(s.Table(sealing.Table), rand.Reader), Rules: rules, Random: rand.Reader,
		Now: func() (time.Time, bool) { return today, true }, Log: slog.New(slog.DiscardHandler),
	}
}

func newDesk(t failer, s store.Store) *programme.Desk {
	t.Helper()
	d, err := programme.New(context.Background(), config(t, s))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func must(t failer, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// A played run is what a test writes as a run's facts.
type played struct {
	run, person, facepiece string
	form                   programme.FacepieceForm
	rules                  string
	at                     time.Time
	quality                string
	practice               bool
	outcome                procedure.Outcome
	sealed                 string
	weak, strong           string // ids of nebulisers; empty: none was named
	batches                bool   // filled from s-weak and s-strong
	screening              int
}

func (p played) drafts(t failer, rules map[string]procedure.RuleSet) []store.Draft {
	t.Helper()
	o := procedure.RunOpened{
		Run: p.run, Rules: rules[first(p.rules, "us-osha")], Agent: "sweet", Wearer: procedure.Wearer{ID: p.person, Sealed: p.sealed},
		Facepiece: programme.Facepiece{ID: p.facepiece, FacepieceForm: p.form}.ForRun(), Tester: "Agnes Thorley",
		Wall: p.at.Format(time.RFC3339), WallQuality: first(p.quality, "confirmed"), Kit: p.weak != "",
	}
	if p.practice {
		o.Practice = "simulated board"
	}
	var out []store.Draft
	at := time.Duration(0)
	add := func(f procedure.Fact) {
		at += time.Second
		body, err := procedure.Encode(procedure.Dated{At: at, Fact: f})
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, store.Draft{Stream: p.run, Kind: f.Kind(), Version: procedure.FactVersion, Body: body})
	}
	add(o)
	take := func(id, role string) {
		if id != "" {
			kit := procedure.Kit{ID: id, Role: role, Agent: "sweet"}
			if p.batches {
				kit.Solution = "s-" + role
			}
			add(procedure.Took{Kit: kit})
		}
	}
	take(p.weak, procedure.Weak)
	add(procedure.Entered{Stage: procedure.Screening})
	for range p.screening {
		add(procedure.Squeezed{Part: procedure.PartScreening})
	}
	if p.outcome != procedure.CannotTaste && p.outcome != "" {
		add(procedure.BinSet{Squeezes: p.screening, Bin: 10})
		take(p.strong, procedure.Strong)
		add(procedure.Entered{Stage: procedure.Dosing})
	}
	if p.outcome != "" {
		add(procedure.Ended{Outcome: p.outcome, At: at + time.Second})
	}
	return out
}

func first(of ...string) string {
	for _, s := range of {
		if s != "" {
			return s
		}
	}
	return ""
}

// proof is the fact that a wearer then did not taste the mist.
func proof(t failer, run string, tasted bool) store.Draft {
	t.Helper()
	f := procedure.ProofGiven{Tasted: tasted}
	body, err := procedure.Encode(procedure.Dated{At: time.Hour, Fact: f})
	if err != nil {
		t.Fatal(err)
	}
	return store.Draft{Stream: run, Kind: f.Kind(), Version: procedure.FactVersion, Body: body}
}

// play writes a run and lets the desk take it in.
func play(t failer, s store.Store, d *programme.Desk, p played) {
	t.Helper()
	if _, err := s.Append(context.Background(), p.drafts(t, ruleSets(t))...); err != nil {
		t.Fatal(err)
	}
	must(t, d.Ended(context.Background(), p.run))
}

// views is every view as it lies in the tables, but how far they have read:
// that is written with the next change.
func views(t failer, s store.Store) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, table := range programme.ViewTables {
		must(t, programme.Each(context.Background(), s, table, func(key string, value []byte) {
			switch {
			case table == programme.TableMarks: // how they are stacked is of the order in which runs were taken in
				must(t, programme.EachMark(key, value, func(run, what string) { out[table+" "+run] = what }))
			case table != "views" || key != "at" && key != programme.Keeping.Key:
				out[table+" "+key] = string(value)
			}
		}))
	}
	return out
}

func differences(a, b map[string]string) []string {
	var out []string
	for k, v := range a {
		if w, ok := b[k]; !ok || v != w {
			out = append(out, k+": "+v+" | "+w)
		}
	}
	for k, w := range b {
		if _, ok := a[k]; !ok {
			out = append(out, k+": nothing | "+w)
		}
	}
	return out
}

// sameMadeAnew says whether views that followed each entry are those that the
// journal gives.
func sameMadeAnew(t failer, s store.Store, d *programme.Desk) {
	t.Helper()
	live := views(t, s)
	must(t, d.Rebuild(context.Background()))
	if diff := differences(live, views(t, s)); len(diff) > 0 {
		t.Fatal("made anew the views differ:\n" + strings.Join(diff[:min(len(diff), 5)], "\n"))
	}
}
