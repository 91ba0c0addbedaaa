// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A model is the job as a list of what happened, from which everything is
// reckoned by going through all of it each time.
type model struct {
	t     *rapid.T
	s     *memory.Store
	d     *programme.Desk
	rules map[string]procedure.RuleSet
	dice  io.Reader // ids and keys, the same for the same history

	step       int // of the history
	people     map[string]*modelPerson
	facepieces map[string]programme.FacepieceForm
	nebulisers map[string]*modelNebuliser
	runs       []*modelRun
	policy     programme.Policy
	day        time.Time
}

type modelPerson struct {
	form     programme.PersonForm
	left     bool
	erased   bool
	triggers []modelTrigger
}

type modelTrigger struct {
	on   string
	step int
}

type modelNebuliser struct {
	goodAt int // step of the last good check; -1: none
	good   bool
}

type modelRun struct {
	played
	first, now procedure.Outcome
	recalled   bool
	ended      int // step
}

func (m *model) must(err error) {
	m.t.Helper()
	if err != nil {
		m.t.Fatal(err)
	}
}

func (m *model) next() int {
	m.step++
	return m.step
}

// due is what a person needs, from the whole history.
func (m *model) due(id string) []programme.Due {
	p := m.people[id]
	out := []programme.Due{}
	if p.left || p.erased {
		return out
	}
	for _, f := range p.form.Facepieces {
		var last *modelRun
		for _, r := range m.runs {
			switch {
			case r.person != id || r.facepiece != f || r.practice:
			case r.recalled && (r.first == procedure.Pass || r.first == procedure.Fail), r.now == procedure.Pass, r.now == procedure.Fail:
				last = r
			}
		}
		on, why := programme.DueNow, "never_tested"
		piece := m.facepieces[f]
		switch {
		case piece.Gone:
			why = "gone"
		case last == nil:
		case last.recalled:
			why = "recalled"
		case last.now == procedure.Fail:
			why = "failed"
		case last.form.Model != piece.Model || last.form.Size != piece.Size:
			why = "changed"
		case last.quality == "unset" || last.quality == "restored":
			why = "date_unknown"
		default:
			tested := last.at.Format(time.DateOnly)
			why = "interval"
			for _, h := range p.triggers {
				if h.on > tested || h.on == tested && h.step > last.ended {
					why = "trigger"
				}
			}
			if why == "trigger" {
				break
			}
			if asks := first(p.form.Rules, m.policy.Rules); asks != "" && asks != last.rules {
				why = "other_rules" // neither set has all that the other asks
				break
			}
			months := 0 // 29 CFR 1910.134(f)(2): yearly; INDG479: as the employer says
			if first(p.form.Rules, m.policy.Rules, last.rules, "us-osha") == "us-osha" {
				months = 12
			}
			if m.policy.RetestMonths > 0 && (months == 0 || m.policy.RetestMonths < months) {
				months = m.policy.RetestMonths
			}
			if months == 0 {
				continue
			}
			// The day of that name so many months on, or the one before it that exists.
			y, mo, dd := last.at.Date()
			mo += time.Month(months)
			for mo > 12 {
				mo, y = mo-12, y+1
			}
			for time.Date(y, mo, dd, 0, 0, 0, 0, time.UTC).Month() != mo {
				dd--
			}
			on = time.Date(y, mo, dd, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		}
		out = append(out, programme.Due{Person: id, Facepiece: f, On: on, Why: why})
	}
	return out
}

// sweep is which runs a bad check would take along, from the whole history.
func (m *model) sweep(id string) (runs []string) {
	for _, r := range m.runs {
		uses := r.weak == id || r.strong == id && r.first != procedure.CannotTaste
		if uses && !r.practice && !r.recalled && r.now != procedure.NotValid && r.ended > m.nebulisers[id].goodAt {
			runs = append(runs, r.run)
		}
	}
	return runs
}

func (m *model) anyone() string {
	ids := slices.Sorted(maps.Keys(m.people))
	ids = slices.DeleteFunc(ids, func(id string) bool { return m.people[id].erased })
	if len(ids) == 0 {
		m.t.Skip("nobody is there")
	}
	return rapid.SampledFrom(ids).Draw(m.t, "person")
}

var (
	givenNames  = []string{"Ana", "Łukasz", "Ánna", "Søren", "Βασίλης", "Đorđe", "Anna-Maria", "Jörg"}
	familyNames = []string{"Zieliński", "Ríos", "O'Hara", "Nowak", "Grau", "Weiß", "Ψαρρός", "Anders"}
	models      = []string{"fp-a", "fp-b", "fp-c"}
)

func (m *model) form() programme.PersonForm {
	f := programme.PersonForm{
		Name:       rapid.SampledFrom(givenNames).Draw(m.t, "given") + " " + rapid.SampledFrom(familyNames).Draw(m.t, "family"),
		Facepieces: rapid.SliceOfNDistinct(rapid.SampledFrom(slices.Sorted(maps.Keys(m.facepieces))), 0, 3, rapid.ID).Draw(m.t, "facepieces"),
		Rules:      rapid.SampledFrom([]string{"", "us-osha", "uk-hse"}).Draw(m.t, "rules"),
	}
	if rapid.Bool().Draw(m.t, "numbered") {
		f.Number = fmt.Sprintf("HS %03d", m.next())
	}
	return f
}

func (m *model) do(facts ...programme.Fact) {
	m.t.Helper()
	m.must(m.d.Do(context.Background(), facts...))
	m.next()
}

const who = "Agnes Thorley"

func (m *model) actions() map[string]func(*rapid.T) {
	ctx := context.Background()
	days := func() string {
		return m.day.AddDate(0, 0, -rapid.IntRange(0, 3).Draw(m.t, "days ago")).Format(time.DateOnly)
	}
	return map[string]func(*rapid.T){
		"enter": func(t *rapid.T) {
			f := m.form()
			id, err := m.d.Enter(ctx, f, who)
			m.must(err)
			m.people[id] = &modelPerson{form: f}
			m.next()
		},
		"change": func(t *rapid.T) {
			id := m.anyone()
			f := m.form()
			m.do(programme.PersonEntered{Person: id, Form: f, By: who})
			m.people[id].form = f
		},
		"trigger": func(t *rapid.T) {
			id := m.anyone()
			on := days()
			m.do(programme.Triggered{Person: id, Trigger: programme.TriggerDental, On: on, By: who})
			m.people[id].triggers = append(m.people[id].triggers, modelTrigger{on, m.step})
		},
		"leave": func(t *rapid.T) {
			id := m.anyone()
			on := rapid.SampledFrom([]string{"", days()}).Draw(t, "on")
			m.do(programme.PersonLeft{Person: id, On: on, By: who})
			m.people[id].left = on != ""
		},
		"erase": func(t *rapid.T) {
			if rapid.IntRange(0, 3).Draw(t, "seldom") > 0 {
				t.Skip()
			}
			id := m.anyone()
			m.must(m.d.Erase(ctx, id, "asked for", who))
			m.people[id].erased = true
		},
		"facepiece": func(t *rapid.T) {
			id := rapid.SampledFrom(models).Draw(t, "id")
			f := corrie
			f.Model = rapid.SampledFrom([]string{"Corrie", "Tarn"}).Draw(t, "model")
			f.Size = rapid.SampledFrom([]string{"small", "medium"}).Draw(t, "size")
			f.Gone = rapid.IntRange(0, 4).Draw(t, "gone") == 0
			f.Pieces = []string{"1"}
			m.do(programme.FacepieceEntered{ID: id, Form: f, By: who}, programme.PieceCleaned{Facepiece: id, Piece: "1", At: m.day.Format(time.RFC3339), By: who})
			m.facepieces[id] = f
		},
		"policy": func(t *rapid.T) {
			m.policy = programme.Policy{
				Rules: rapid.SampledFrom([]string{"us-osha", "uk-hse"}).Draw(t, "rules"), RetestMonths: rapid.SampledFrom([]int{0, 6, 12}).Draw(t, "months"),
			}
			if m.policy.Rules == "uk-hse" { // which leaves it to the employer
				m.policy.RetestMonths = rapid.SampledFrom([]int{0, 6, 24}).Draw(t, "months of the house")
			}
			m.do(programme.PolicySet{Policy: m.policy, By: who})
		},
		"list a day": func(t *rapid.T) {
			m.do(programme.DayListed{Person: m.anyone(), Day: days(), Place: rapid.IntRange(0, 3).Draw(t, "place"), Off: rapid.Bool().Draw(t, "off"), By: who})
		},
		"run": func(t *rapid.T) {
			r := played{
				run: fmt.Sprintf("r%06d", m.next()), person: rapid.SampledFrom(append(slices.Sorted(maps.Keys(m.people)), "p-nobody22", "")).Draw(t, "person"),
				facepiece: rapid.SampledFrom(slices.Sorted(maps.Keys(m.facepieces))).Draw(t, "facepiece"),
				rules:     rapid.SampledFrom([]string{"us-osha", "uk-hse"}).Draw(t, "rules"), at: m.day,
				quality:  rapid.SampledFrom([]string{"confirmed", "network", "confirmed", "unset", "restored"}).Draw(t, "quality"),
				practice: rapid.IntRange(0, 5).Draw(t, "practice") == 0,
				outcome:  rapid.SampledFrom([]procedure.Outcome{procedure.Pass, procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste}).Draw(t, "outcome"),
				weak:     rapid.SampledFrom([]string{"", "n-w1", "n-w2"}).Draw(t, "weak"), screening: rapid.IntRange(0, 3).Draw(t, "screening"),
				strong: rapid.SampledFrom([]string{"", "n-s1"}).Draw(t, "strong"),
			}
			r.form = m.facepieces[r.facepiece]
			line := &modelRun{played: r, first: r.outcome, now: r.outcome}
			all := r.drafts(m.t, m.rules)
			if r.strong != "" && r.outcome != procedure.CannotTaste && rapid.IntRange(0, 3).Draw(t, "clogged in the dose") == 0 {
				if _, err := m.s.Append(ctx, all[:len(all)-1]...); err != nil {
					m.t.Fatal(err)
				}
				all = all[len(all)-1:]
				m.clogged(r.strong)
				line.recalled = !r.practice && r.outcome != procedure.NotValid
			}
			if line.recalled {
				line.now = procedure.NotValid
			}
			if _, err := m.s.Append(ctx, all...); err != nil {
				m.t.Fatal(err)
			}
			if rapid.Bool().Draw(t, "told") {
				m.must(m.d.Ended(ctx, r.run))
			}
			line.ended = m.next()
			m.runs = append(m.runs, line)
		},
		"proof not tasted": func(t *rapid.T) {
			passed := slices.DeleteFunc(slices.Clone(m.runs), func(r *modelRun) bool { return r.now != procedure.Pass })
			if len(passed) == 0 {
				t.Skip("no pass")
			}
			r := passed[len(passed)-1]
			if _, err := m.s.Append(ctx, proof(m.t, r.run, false)); err != nil {
				m.t.Fatal(err)
			}
			r.first, r.now = procedure.NotValid, procedure.NotValid
			m.next()
		},
		"fill": func(t *rapid.T) {
			id := rapid.SampledFrom(slices.Sorted(maps.Keys(m.nebulisers))).Draw(t, "nebuliser")
			batch := "s-weak"
			if id == "n-s1" {
				batch = "s-strong"
			}
			m.do(programme.NebuliserFilled{ID: id, Solution: batch, At: m.day.Format(time.RFC3339), By: who})
			m.nebulisers[id].good = false
		},
		"good check": func(t *rapid.T) {
			id := rapid.SampledFrom(slices.Sorted(maps.Keys(m.nebulisers))).Draw(t, "nebuliser")
			m.do(programme.MistChecked{ID: id, Good: true, At: m.day.Format(time.RFC3339), By: who})
			m.nebulisers[id].goodAt, m.nebulisers[id].good = m.step, true
		},
		"bad check": func(t *rapid.T) {
			id := rapid.SampledFrom(slices.Sorted(maps.Keys(m.nebulisers))).Draw(t, "nebuliser")
			m.clogged(id)
		},
		"amend and sign": func(t *rapid.T) {
			real := slices.DeleteFunc(slices.Clone(m.runs), func(r *modelRun) bool { return r.practice })
			if len(real) == 0 {
				t.Skip("no run")
			}
			r := rapid.SampledFrom(real).Draw(t, "run")
			m.must(m.d.Amend(ctx, r.run, "tester", "Tom Reed", "wrong name", who))
			line, err := m.d.Run(ctx, r.run)
			m.must(err)
			signer := "wearer"
			if p := m.people[r.person]; p != nil && p.erased {
				signer = "tester"
			}
			m.must(m.d.Sign(ctx, r.run, signer, line.Hash, []byte("M0 0L1 1 "+r.run), programme.Drawn, who))
			m.next()
		},
		"restart": func(t *rapid.T) {
			m.s = m.s.Reopen()
			m.open()
		},
		"days go by": func(t *rapid.T) {
			m.day = m.day.AddDate(0, 0, rapid.SampledFrom([]int{1, 2, 29, 200}).Draw(t, "days"))
		},
		"": m.holds,
	}
}

// clogged is a bad mist check, with what it takes along.
func (m *model) clogged(id string) {
	check := programme.MistChecked{ID: id, At: m.day.Format(time.RFC3339), By: who}
	ctx, want := context.Background(), m.sweep(id)
	if err := m.d.Recall(ctx, check, append(slices.Clone(want), "r999999")); err == nil {
		m.t.Fatal("more was shown than there is, and taken")
	}
	if len(want) > 0 {
		if err := m.d.Recall(ctx, check, want[1:]); err == nil {
			m.t.Fatal("less was shown than there is, and taken")
		}
	}
	m.must(m.d.Recall(ctx, check, want))
	for _, r := range m.runs {
		if slices.Contains(want, r.run) {
			r.recalled, r.now = true, procedure.NotValid
		}
	}
	m.nebulisers[id].good = false
	m.next()
}

func (m *model) open() {
	c := configWith(m.s, m.rules)
	c.Random, c.Ring = m.dice, sealing.NewRing(m.s.Table(sealing.Table), m.dice)
	c.Now = func() (time.Time, bool) { return m.day, true }
	var err error
	m.d, err = programme.New(context.Background(), c)
	m.must(err)
}

// A dying store writes so many times more.
type dying struct {
	*memory.Store
	left int
}

func (d *dying) Commit(ctx context.Context, drafts []store.Draft, pairs []store.Pair) ([]store.Entry, error) {
	if d.left--; d.left < 0 {
		return nil, errors.New("the power goes")
	}
	return d.Store.Commit(ctx, drafts, pairs)
}

// cutShort gives the whole journal, and the keys that are left, to a desk that
// has seen nothing of it: it takes in so many news at a time, and the power goes
// after so many writes, again and again, until all is taken in.
func (m *model) cutShort(news, writes int) store.Store {
	ctx := context.Background()
	defer programme.BatchNews(news)()
	s := &dying{memory.New(), 1 << 30}
	open := func() error {
		c := configWith(s, m.rules)
		c.Now = func() (time.Time, bool) { return m.day, true }
		_, err := programme.New(ctx, c)
		return err
	}
	m.must(open())
	m.must(programme.Each(ctx, m.s, sealing.Table, func(key string, value []byte) {
		m.must(s.Table(sealing.Table).Put(ctx, key, value))
	}))
	m.must(m.s.Read(ctx, 1, func(e store.Entry) error {
		_, err := s.Append(ctx, store.Draft{Stream: e.Stream, Kind: e.Kind, Version: e.Version, Body: e.Body})
		return err
	}))
	for range 10_000 {
		s.left = writes
		if open() == nil {
			return s.Store
		}
	}
	m.t.Fatal("it never comes to an end")
	return nil
}

// holds compares the desk with the model.
func (m *model) holds(t *rapid.T) {
	ctx := context.Background()
	m.must(m.d.Ended(ctx, ""))
	want := []programme.Due{}
	for id := range m.people {
		want = append(want, m.due(id)...)
	}
	got, err := m.d.DueBy(ctx, "9999-99-99", 1000)
	m.must(err)
	order := func(a, b programme.Due) int {
		return strings.Compare(a.On+a.Why+a.Person+a.Facepiece, b.On+b.Why+b.Person+b.Facepiece)
	}
	slices.SortFunc(want, order)
	if !slices.Equal(got, want) {
		t.Fatalf("due\n%v\nwant\n%v", got, want)
	}
	for id, n := range m.nebulisers {
		s, err := m.d.Sweep(ctx, id)
		m.must(err)
		var runs []string
		for _, r := range s.Runs {
			runs = append(runs, r.Run)
		}
		if w := m.sweep(id); !slices.Equal(runs, w) {
			t.Fatalf("sweep of %s: %v, want %v", id, runs, w)
		}
		if k := m.d.Nebuliser(id); k == nil || k.Checked != n.good {
			t.Fatalf("%s: %+v, want checked %v", id, k, n.good)
		}
	}
	for _, r := range m.runs {
		line, err := m.d.Run(ctx, r.run)
		m.must(err)
		if line.Outcome != r.now || line.First != r.first || (line.Recalled != "") != r.recalled {
			t.Fatalf("run %+v, want %+v", line, r)
		}
	}
}

func (m *model) search(t *rapid.T) {
	ctx := context.Background()
	query := rapid.SampledFrom([]string{"an", "zielin", "ANNA", "hs", "0", "rios a", "weiss", "ψαρρος", "søren", "dord", "o'h an", "maria", "a a", "hs 0"}).Draw(t, "query")
	var want []string
	for id, p := range m.people {
		if p.erased {
			continue
		}
		text := strings.Fields(programme.Fold(p.form.Name) + " " + programme.Fold(p.form.Number))
		all := true
		for _, q := range strings.Fields(programme.Fold(query)) {
			all = all && slices.ContainsFunc(text, func(w string) bool { return strings.HasPrefix(w, q) })
		}
		if all {
			want = append(want, id)
		}
	}
	found, err := m.d.Find(ctx, query, 1000)
	m.must(err)
	var got []string
	for _, p := range found {
		got = append(got, p.ID)
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Fatalf("find %q: %v, want %v", query, got, want)
	}
}

// Whatever happens in whatever order, the desk says what the history says, and
// its tables are byte for byte those that the journal gives again.
func TestAgainstTheHistory(t *testing.T) {
	for i := range 4 {
		t.Run(fmt.Sprint(i), func(t *testing.T) { againstTheHistory(t, ruleSets(t)) })
	}
}

func againstTheHistory(t *testing.T, rules map[string]procedure.RuleSet) {
	rapid.Check(t, func(t *rapid.T) {
		m := &model{
			t: t, s: memory.New(), rules: rules, dice: rand.NewChaCha8([32]byte{1}), people: map[string]*modelPerson{}, facepieces: map[string]programme.FacepieceForm{},
			nebulisers: map[string]*modelNebuliser{}, day: time.Date(2024, 2, 27, 9, 0, 0, 0, time.UTC),
		}
		m.open()
		m.do(programme.FacepieceEntered{ID: "fp-a", Form: corrie, By: who})
		m.facepieces["fp-a"] = corrie
		for _, role := range []string{procedure.Weak, procedure.Strong} {
			m.do(programme.SolutionEntered{ID: "s-" + role, Form: programme.SolutionForm{
				Agent: "sweet", Strength: role, Lot: "L1", Made: "2024-02-01", Expires: "2099-01-01", Recipe: "as published", Source: "App. A", Who: who,
			}, By: who})
		}
		for id, role := range map[string]string{"n-w1": procedure.Weak, "n-w2": procedure.Weak, "n-s1": procedure.Strong} {
			m.do(programme.NebuliserEntered{ID: id, Form: programme.NebuliserForm{Mark: id, Role: role, Agent: "sweet"}, By: who})
			m.nebulisers[id] = &modelNebuliser{goodAt: -1}
		}
		t.Repeat(m.actions())
		for range 3 {
			m.search(t)
		}
		live := views(t, m.s)
		m.must(m.d.Rebuild(context.Background()))
		if diff := differences(live, views(t, m.s)); len(diff) > 0 {
			t.Fatalf("made anew the views differ:\n%s", strings.Join(diff, "\n"))
		}
		m.holds(t)
		live = views(t, m.s)
		if diff := differences(live, views(t, m.cutShort(rapid.IntRange(1, 9).Draw(t, "at a time"), rapid.IntRange(1, 4).Draw(t, "until the power goes")))); len(diff) > 0 {
			t.Fatalf("taken in at one go, with power cuts, the views differ:\n%s", strings.Join(diff, "\n"))
		}
		if err := m.s.Read(context.Background(), 1, func(store.Entry) error { return nil }); err != nil {
			t.Fatalf("the chain: %v", err)
		}
	})
}
