// SPDX-License-Identifier: Apache-2.0

package figures_test

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tallyhood/console/figures"
	"tallyhood/console/insight"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/memory"
)

const who = "Agnes Thorley"

// A tt is what rapid.T and testing.T have in common here.
type tt interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
}

func must(t tt, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// A site is a desk with figures that follow it.
type site struct {
	t     tt
	s     *memory.Store
	d     *programme.Desk
	g     *figures.Figures
	n     int
	runs  []string
	rules map[string]procedure.RuleSet
}

func newSite(t tt, rules map[string]procedure.RuleSet) *site {
	s := &site{t: t, s: memory.New(), rules: rules}
	var err error
	s.d, err = programme.New(context.Background(), programme.Config{
		Store: s.s, Ring: sealing.NewRing(s.s.Table(sealing.Table), rand.Reader), Rules: rules, Random: rand.Reader,
		Now: func() (time.Time, bool) { return time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC), true }, Log: slog.New(slog.DiscardHandler),
	})
	must(t, err)
	s.g = figures.New(s.d)
	return s
}

// A test is a run to be played.
type test struct {
	person, tester, model, quality string
	at                             time.Time
	outcome                        procedure.Outcome
	practice                       bool
	binless                        bool // nothing says when it was tasted: no figures take it
}

func (s *site) play(x test, take bool) {
	s.n++
	run := fmt.Sprintf("r%06d", s.n)
	o := procedure.RunOpened{
		Run: run, Rules: s.rules["us-osha"], Agent: "sweet", Wearer: procedure.Wearer{ID: x.person}, Tester: x.tester,
		Facepiece: procedure.Facepiece{ID: x.model, Make: "Fellside", Model: x.model, Size: "medium", Type: procedure.HalfMask},
		Wall:      x.at.Format(time.RFC3339), WallQuality: x.quality,
	}
	if x.practice {
		o.Practice = "simulated board"
	}
	facts := []procedure.Fact{o, procedure.Entered{Stage: procedure.Screening}}
	if x.outcome == procedure.Pass || x.outcome == procedure.Fail {
		facts = append(facts, procedure.Squeezed{Part: procedure.PartScreening})
		if !x.binless {
			facts = append(facts, procedure.BinSet{Squeezes: 1, Bin: 10})
		}
		facts = append(facts, procedure.Entered{Stage: procedure.Donning}, procedure.Entered{Stage: procedure.Dosing})
	}
	reason := procedure.Reason("")
	if x.outcome == procedure.Fail {
		reason = procedure.Tasted
	}
	s.append(run, append(facts, procedure.Ended{Outcome: x.outcome, Reason: reason, At: time.Duration(len(facts)) * 10 * time.Second})...)
	if take {
		must(s.t, s.d.Ended(context.Background(), run))
	}
	if !x.practice {
		s.runs = append(s.runs, run)
	}
}

func (s *site) append(run string, facts ...procedure.Fact) {
	var drafts []store.Draft
	for i, f := range facts {
		body, err := procedure.Encode(procedure.Dated{At: time.Duration(i) * 10 * time.Second, Fact: f})
		must(s.t, err)
		drafts = append(drafts, store.Draft{Stream: run, Kind: f.Kind(), Version: procedure.FactVersion, Body: body})
	}
	_, err := s.s.Append(context.Background(), drafts...)
	must(s.t, err)
}

// told is everything that the page says of a set, as text.
func told(t tt, set *insight.Set, leftOut int) string {
	all := set.Counts()
	funnel, groups := set.FacepieceFunnel(insight.ByModelSize)
	b, err := json.MarshalIndent([]any{
		all, leftOut, set.Undated(), set.Groups(insight.ByFacepiece), set.Advise(insight.ByModelSize, nil).Prior, funnel, groups, set.Testers(),
		set.TesterWeeks(), set.Agents(), set.Stages(), set.Months(), set.Repeats(), set.Agreement(), set.Reasons(), set.RepeatPersons(),
	}, "", " ")
	must(t, err)
	return string(b)
}

// difference is where two texts part.
func difference(have, want string) string {
	h, w := strings.Split(have, "\n"), strings.Split(want, "\n")
	for i := range min(len(h), len(w)) {
		if h[i] != w[i] {
			return strings.Join(h[max(0, i-10):i+1], "\n") + "\nwant " + w[i]
		}
	}
	return "one is longer"
}

// recount is the plainest count of the runs from the first day to the last.
func (s *site) recount(from, to string) string {
	set := insight.NewSet()
	leftOut := 0
	seen := map[string]int{}
	must(s.t, s.d.RunsFrom(context.Background(), "", func(r programme.Run) error {
		x, day := figures.Of(r)
		if r.Practice || from != "" && day < from || to != "" && (day == "" || day > to) {
			return nil
		}
		if day != "" && r.Person != "" && (r.Outcome == procedure.Pass || r.Outcome == procedure.Fail) {
			seen[day+" "+r.Person]++
			x.Attempt = seen[day+" "+r.Person]
		}
		if set.Add(x) != nil {
			leftOut++
		}
		return nil
	}))
	return told(s.t, set, leftOut)
}

func (s *site) figures(from, to string) (out string) {
	must(s.t, s.g.Read(context.Background(), from, to, func(set *insight.Set, leftOut int, _ map[insight.ID]string, _ int) {
		out = told(s.t, set, leftOut)
	}))
	return out
}

// periods are all days, whole months, and parts of one, of two and of three.
var periods = [][2]string{{"", ""}, {"2026-02-27", "2026-02-27"}, {"2026-02-28", "2026-02-28"}, {"2026-02-01", "2026-02-27"}, {"", "2026-02-27"}, {"2026-03-02", ""}, {"2026-01-31", "2026-03-31"}, {"2026-02-28", ""}, {"", "2026-03-01"}, {"2026-01-01", "2026-02-28"}, {"2026-02-15", "2026-03-01"}, {"2026-03-01", "2026-03-01"}, {"2027-01-01", ""}}

// Whatever ends, is recalled, corrected or erased in whatever order, the figures
// are those of a count from the beginning, for all days and for some.
func TestFiguresAreARecount(t *testing.T) {
	rules, err := procedure.Rules()
	must(t, err)
	rapid.Check(t, func(t *rapid.T) {
		ctx := context.Background()
		s := newSite(t, rules)
		people := []string{"", "p-nobody22"}
		for i := range 3 {
			id, err := s.d.Enter(ctx, programme.PersonForm{Name: fmt.Sprint("Person ", i)}, who)
			must(t, err)
			people = append(people, id)
		}
		erased := []string{}
		clock := time.Date(2026, 2, 27, 9, 0, 0, 0, time.UTC)
		s.figures("", "") // from here on they follow
		zones := []*time.Location{time.UTC, time.FixedZone("", 13*3600), time.FixedZone("", -11*3600)}
		t.Repeat(map[string]func(*rapid.T){
			"run": func(t *rapid.T) {
				// Mostly one after the other; now and then days on, or days back.
				clock = clock.Add(time.Duration(rapid.SampledFrom([]int{1, 1, 1, 2, 30, -1, -2, -60}).Draw(t, "hours later")) * time.Hour)
				s.play(test{
					person: rapid.SampledFrom(people).Draw(t, "person"), tester: rapid.SampledFrom([]string{who, "Bram Okafor"}).Draw(t, "tester"),
					model: rapid.SampledFrom([]string{"Corrie", "Tarn"}).Draw(t, "model"), quality: rapid.SampledFrom([]string{"confirmed", "confirmed", "network", "unset"}).Draw(t, "quality"),
					at:       time.Date(2026, 2, 27, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 96).Draw(t, "hours")) * time.Hour).In(rapid.SampledFrom(zones).Draw(t, "zone")),
					outcome:  rapid.SampledFrom([]procedure.Outcome{procedure.Pass, procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste}).Draw(t, "outcome"),
					practice: rapid.IntRange(0, 5).Draw(t, "practice") == 0, binless: rapid.IntRange(0, 5).Draw(t, "binless") == 0,
				}, rapid.Bool().Draw(t, "told"))
			},
			"recall": func(t *rapid.T) {
				if len(s.runs) == 0 {
					t.Skip("no run")
				}
				must(t, s.d.Ended(ctx, ""))
				runs := rapid.SliceOfNDistinct(rapid.SampledFrom(s.runs), 1, min(3, len(s.runs)), rapid.ID).Draw(t, "runs")
				slices.Sort(runs)
				must(t, s.d.Do(ctx, programme.RunsRecalled{Runs: runs, Reason: "clogged", By: who, At: "2026-09-14T09:00:00Z", Quality: "confirmed"}))
			},
			"nothing tasted in the proof": func(t *rapid.T) {
				if len(s.runs) == 0 {
					t.Skip("no run")
				}
				run := rapid.SampledFrom(s.runs).Draw(t, "run")
				s.append(run, procedure.ProofBegun{}, procedure.ProofGiven{Tasted: rapid.Bool().Draw(t, "tasted")})
				must(t, s.d.Ended(ctx, run))
			},
			"amend": func(t *rapid.T) {
				if len(s.runs) == 0 {
					t.Skip("no run")
				}
				must(t, s.d.Ended(ctx, ""))
				must(t, s.d.Amend(ctx, rapid.SampledFrom(s.runs).Draw(t, "run"), "tester", rapid.SampledFrom([]string{who, "Cleo Marsh"}).Draw(t, "tester"), "wrong name picked", who))
			},
			"erase": func(t *rapid.T) {
				id := rapid.SampledFrom(people[2:]).Draw(t, "person")
				if slices.Contains(erased, id) {
					t.Skip("erased")
				}
				erased = append(erased, id)
				must(t, s.d.Erase(ctx, id, "asked for", who))
			},
			"ask": func(t *rapid.T) {
				p := rapid.SampledFrom(periods).Draw(t, "period")
				must(t, s.d.Ended(ctx, ""))
				if have, want := s.figures(p[0], p[1]), s.recount(p[0], p[1]); have != want {
					t.Fatalf("from %s to %s: %s", p[0], p[1], difference(have, want))
				}
			},
			"count again": func(t *rapid.T) { s.g = figures.New(s.d) },
		})
		must(t, s.d.Ended(ctx, ""))
		for _, p := range periods {
			if have, want := s.figures(p[0], p[1]), s.recount(p[0], p[1]); have != want {
				t.Fatalf("from %s to %s: %s", p[0], p[1], difference(have, want))
			}
		}
	})
}

// The second fit test of a person on a day is no first one, and becomes it when
// the first is taken away; that is told from the change alone.
func TestASittingIsFollowed(t *testing.T) {
	rules, err := procedure.Rules()
	must(t, err)
	s := newSite(t, rules)
	ctx := t.Context()
	s.figures("", "")
	at := time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC)
	for i := range 3 {
		s.play(test{person: "p-nobody22", tester: who, model: "Corrie", quality: "confirmed", at: at.Add(time.Duration(i) * time.Hour), outcome: procedure.Pass}, true)
	}
	firsts := func() (n int) {
		must(t, s.g.Read(ctx, "", "", func(set *insight.Set, _ int, _ map[insight.ID]string, _ int) { n = set.Counts().FirstPass }))
		return n
	}
	if n := firsts(); n != 1 {
		t.Errorf("%d first tests of three", n)
	}
	must(t, s.d.Do(ctx, programme.RunsRecalled{Runs: []string{"r000001"}, Reason: "clogged", By: who, At: "2026-09-14T09:00:00Z", Quality: "confirmed"}))
	if n := firsts(); n != 1 {
		t.Errorf("%d first tests once the first is recalled", n)
	}
	if have, want := s.figures("", ""), s.recount("", ""); have != want {
		t.Error(difference(have, want))
	}
}

// Nothing that a set counts is lost of a test that is kept in few bytes: not of
// one that took days, nor of one before anybody had set the clock.
func TestNothingIsLostOfATest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		one, packed := insight.NewSet(), insight.NewSet()
		for range rapid.IntRange(1, 20).Draw(t, "tests") {
			few := func(label string) int { return rapid.SampledFrom([]int{0, 0, 1, 2, 300}).Draw(t, label) }
			x := insight.Test{
				Person: insight.ID(few("person")), Tester: insight.ID(few("tester")), Facepiece: insight.Facepiece{Make: "Fellside", Model: fmt.Sprint(few("model")), Size: "small", Style: "half"},
				Agent: rapid.SampledFrom([]string{"sweet", "bitter"}).Draw(t, "agent"), Outcome: rapid.SampledFrom([]procedure.Outcome{procedure.Pass, procedure.Fail, procedure.NotValid}).Draw(t, "outcome"),
				Reason: rapid.SampledFrom([]procedure.Reason{"", procedure.Tasted}).Draw(t, "reason"), Bin: 10 * rapid.IntRange(1, 3).Draw(t, "bin"), Late: few("late"), Hurried: few("hurried"), Extra: few("extra"),
				Day: insight.Day(rapid.SampledFrom([]int{-400, 0, 20_000, 20_001, 20_009}).Draw(t, "day")), Clock: time.Duration(rapid.IntRange(0, 24*3600-1).Draw(t, "clock")) * time.Second,
				Attempt: rapid.IntRange(0, 3).Draw(t, "attempt"),
			}
			x.Squeezes = rapid.IntRange(0, x.Bin).Draw(t, "squeezes")
			for i := range x.Stages {
				x.Stages[i] = time.Duration(rapid.SampledFrom([]int{0, 1, 59, 601, 7199, 7200, 65_535, 65_536, 200_000}).Draw(t, "stage")) * time.Second
			}
			must(t, one.Add(x))
			must(t, packed.Add(figures.Packed(x)))
		}
		if have, want := told(t, packed, 0), told(t, one, 0); have != want {
			t.Fatal(difference(have, want))
		}
	})
}

// What is asked while runs come in is of one moment, and in the end nothing is
// missing.
func TestReadsWhileRunsComeIn(t *testing.T) {
	rules, err := procedure.Rules()
	must(t, err)
	s := newSite(t, rules)
	at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := range 60 {
			s.play(test{person: fmt.Sprint("p-", i%7), tester: who, model: "Corrie", quality: "confirmed", at: at.AddDate(0, 0, i/4), outcome: procedure.Pass, binless: i%9 == 0}, i%3 > 0)
			if i%20 == 19 { // what is older than a sitting has its month counted anew
				must(t, s.d.Amend(t.Context(), "r000002", "tester", fmt.Sprint("Cleo Marsh ", i), "wrong name picked", who))
			}
		}
		must(t, s.d.Ended(t.Context(), ""))
	}()
	for asked := false; !asked; {
		select {
		case <-done:
			asked = true
		default:
		}
		must(t, s.g.Read(t.Context(), "2026-03-03", "2026-03-12", func(set *insight.Set, leftOut int, _ map[insight.ID]string, _ int) {
			if n := set.Counts().Tests() + leftOut; n > 40 {
				t.Errorf("%d tests in ten days of four", n)
			}
		}))
	}
	for _, p := range append(periods, [2]string{"2026-03-03", "2026-03-12"}) {
		if have, want := s.figures(p[0], p[1]), s.recount(p[0], p[1]); have != want {
			t.Errorf("from %s to %s: %s", p[0], p[1], difference(have, want))
		}
	}
}
