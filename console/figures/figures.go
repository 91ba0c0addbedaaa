// SPDX-License-Identifier: Apache-2.0

// Package figures counts what all runs of a box come to and keeps it so: it
// turns the desk's runs into the tests of package insight, month by month, and
// follows each run that ends, is recalled or is corrected. Whatever happened, the
// figures are those of a count from the beginning. It must not judge a run: what
// it came to is the desk's word.
package figures

import (
	"context"
	"maps"
	"slices"
	"sync"
	"time"

	"tallyhood/console/insight"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
)

// Figures are what all runs come to. They lie in memory alone: they are counted
// once after the start, and a month of which something cannot be told by what has
// changed is counted anew. Methods may be called from any goroutine.
type Figures struct {
	desk *programme.Desk

	count sync.Mutex // one counts at a time

	mu      sync.Mutex
	counted bool // every month was, once
	version int  // rises with every change
	packer  packer
	months  map[string]*month
	whole   *sum
	newest  insight.Day // of all runs
}

// A month of the calendar as its runs write it: 2026-09, or whatever stands
// where the month should be.
type month struct {
	sum
	anew     bool // it is not right any more
	counting bool // and being counted
}

// A sum is the tests of some days.
type sum struct {
	pack    *packer // nil: the tests are not kept one by one
	days    days
	dated   *insight.Set
	undated *insight.Set          // tests whose day is not known for sure; in the sum of all it is the same set
	leftOut int                   // tests that no set takes; of those of known days
	noDay   int                   // of the others
	names   map[insight.ID]string // of testers
}

// newSum is a sum that keeps its tests one by one if it has a packer.
func newSum(p *packer) sum {
	return sum{pack: p, dated: insight.NewSet(), undated: insight.NewSet(), names: map[insight.ID]string{}}
}

// put counts a test, or takes it back; false when the figures show that it was
// not counted.
func (s *sum) put(r programme.Run, attempt, sign int) bool {
	if r.Practice {
		return true
	}
	t, day := Of(r)
	t.Attempt = attempt
	to, leftOut := s.dated, &s.leftOut
	if day == "" {
		to, leftOut = s.undated, &s.noDay
	}
	s.names[t.Tester] = TesterOf(r)
	oneByOne := s.pack != nil && day != ""
	if sign < 0 {
		counts := to.Remove(t) == nil
		if !counts {
			if *leftOut == 0 || to.Add(t) == nil {
				return false
			}
			*leftOut--
		}
		return !oneByOne || s.days.take(s.pack.pack(t, counts))
	}
	counts := to.Add(t) == nil
	if !counts {
		*leftOut++
	}
	if oneByOne {
		s.days.put(s.pack.pack(t, counts))
	}
	return true
}

// between is the sum of some days, both in it (empty: no bound).
func (s *sum) between(from, to string) *sum {
	some := newSum(nil)
	some.names = s.names
	for _, x := range s.days.span(from, to) {
		if x.bin == uncounted || some.dated.Add(s.pack.unpack(x)) != nil {
			some.leftOut++
		}
	}
	return &some
}

func monthOf(r programme.Run) string { return r.At[:min(len(r.At), len("2006-01"))] }

// isFit tells whether a run came to a verdict about the fit.
func isFit(r programme.Run) bool {
	return !r.Practice && (r.Outcome == procedure.Pass || r.Outcome == procedure.Fail)
}

// A sitting counts the fit tests of each person on a day. Runs come in the
// order of their instants, so days only overlap by the width of the time zones.
type sitting map[string]map[string]int

// mostDays is how many days a sitting keeps: of more than these no run comes
// any more.
const mostDays = 5

// attempt is which fit test of the person's day a run is; 0: none, or the day or
// the person is not known.
func (s sitting) attempt(r programme.Run) int {
	_, day := Of(r)
	if day == "" || r.Person == "" || !isFit(r) {
		return 0
	}
	if s[day] == nil {
		if len(s) > mostDays {
			delete(s, slices.Min(slices.Collect(maps.Keys(s))))
		}
		s[day] = map[string]int{}
	}
	s[day][r.Person]++
	return s[day][r.Person]
}

// New makes figures that follow a desk. They are counted when they are first
// asked for, or by Ready.
func New(desk *programme.Desk) *Figures {
	g := &Figures{desk: desk, packer: newPacker(), months: map[string]*month{}}
	desk.Watch(g.changed)
	return g
}

// changed follows runs that are new or not as they were. The desk calls it.
func (g *Figures) changed(ctx context.Context, runs []programme.RunChange) {
	type group struct {
		month, day, person string
	}
	// Runs of one sitting hang together, for each is the first or the second.
	groups := map[group][]programme.RunChange{}
	for _, x := range runs {
		_, day := Of(x.Is)
		k := group{monthOf(x.Is), day, x.Is.Person}
		if day == "" || k.person == "" {
			k = group{month: k.month}
		}
		groups[k] = append(groups[k], x)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.version++
	for k, changes := range groups {
		m := g.months[k.month]
		if m == nil {
			m = &month{sum: newSum(&g.packer), counting: !g.counted}
			g.months[k.month] = m
		}
		if m.anew || m.counting || !g.counted || len(runs) > mostFollowed || !g.follow(ctx, m, k.person, k.day, changes) {
			m.anew, g.whole = true, nil
		}
	}
}

// mostFollowed is how many runs are followed one by one; of more at once their
// months are counted anew.
const mostFollowed = 50

// follow counts what has changed in a sitting, or among runs of which none is
// known (without a person); false when that cannot be told.
func (g *Figures) follow(ctx context.Context, m *month, person, day string, changes []programme.RunChange) bool {
	var before, after []programme.Run
	isChanged := map[string]bool{}
	for _, x := range changes {
		isChanged[x.Is.Run] = true
		after = append(after, x.Is)
		if x.Was == nil {
			continue
		}
		if TesterOf(*x.Was) != TesterOf(x.Is) {
			return false // letters stand in the order of first tests, which a set does not give back
		}
		before = append(before, *x.Was)
	}
	for _, r := range after {
		t, day := Of(r)
		if day != "" && !r.Practice && t.Day < g.newest-insight.OpenDays {
			return false // its sitting is closed
		}
		g.note(r)
	}
	if person != "" {
		all, err := g.desk.RunsOf(ctx, person)
		if err != nil {
			return false
		}
		for _, r := range all {
			if _, d := Of(r); d == day && !isChanged[r.Run] {
				before, after = append(before, r), append(after, r)
			}
		}
	}
	sums := []*sum{&m.sum}
	if g.whole != nil {
		sums = append(sums, g.whole)
	}
	for _, s := range sums {
		if !s.runs(before, -1) || !s.runs(after, 1) {
			return false
		}
	}
	return true
}

// note keeps the newest day.
func (g *Figures) note(r programme.Run) {
	if t, _ := Of(r); !r.Practice {
		g.newest = max(g.newest, t.Day)
	}
}

// runs counts the runs of a sitting, or takes them back.
func (s *sum) runs(runs []programme.Run, sign int) bool {
	slices.SortFunc(runs, programme.InOrder)
	sit := sitting{}
	for _, r := range runs {
		if !s.put(r, sit.attempt(r), sign) {
			return false
		}
	}
	return true
}

// Ready counts what has not been counted yet; with nothing to count it costs
// nothing.
func (g *Figures) Ready(ctx context.Context) error {
	g.count.Lock()
	defer g.count.Unlock()
	for {
		g.mu.Lock()
		all, name := !g.counted, ""
		if all {
			g.months, g.whole = map[string]*month{}, nil
		}
		for n, m := range g.months {
			if m.anew {
				name = n
				m.anew, m.counting = false, true
				break
			}
		}
		g.mu.Unlock()
		if !all && name == "" {
			return nil
		}
		var err error
		if all {
			err = g.countAll(ctx)
		} else {
			err = g.countMonth(ctx, name)
		}
		if err != nil {
			return err
		}
	}
}

// countAll counts every month. A month in which something changes meanwhile is
// counted anew afterwards.
func (g *Figures) countAll(ctx context.Context) error {
	sit := sitting{}
	err := g.desk.RunsFrom(ctx, "", func(r programme.Run) error {
		g.mu.Lock()
		defer g.mu.Unlock()
		m := g.months[monthOf(r)]
		if m == nil {
			m = &month{sum: newSum(&g.packer), counting: true}
			g.months[monthOf(r)] = m
		}
		m.put(r, sit.attempt(r), 1)
		g.note(r)
		return ctx.Err()
	})
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, m := range g.months {
		m.counting = false
		m.days = slices.Clone(m.days) // without room for more, which few months need
	}
	g.counted = err == nil
	return err
}

// countMonth counts one month.
func (g *Figures) countMonth(ctx context.Context, name string) error {
	s := newSum(&g.packer)
	sit := sitting{}
	err := g.desk.RunsBetween(ctx, name, func(r programme.Run) error {
		if monthOf(r) == name {
			g.mu.Lock()
			defer g.mu.Unlock()
			s.put(r, sit.attempt(r), 1)
			g.note(r)
		}
		return ctx.Err()
	})
	g.mu.Lock()
	defer g.mu.Unlock()
	m := g.months[name]
	m.counting = false
	if err != nil {
		m.anew = true
		return err
	}
	m.sum, g.whole = s, nil
	g.version++
	return nil
}

// Read calls f with the runs of some days (both in it; empty: no bound), the
// names of testers and the version of the figures, while nothing changes.
func (g *Figures) Read(ctx context.Context, from, to string, f func(s *insight.Set, leftOut int, names map[insight.ID]string, version int)) error {
	for {
		if err := g.Ready(ctx); err != nil {
			return err
		}
		g.mu.Lock()
		if !g.ready() {
			g.mu.Unlock()
			continue // something changed meanwhile
		}
		defer g.mu.Unlock()
		s := g.whole
		if from != "" || to != "" || s == nil {
			s = g.between(from, to)
		}
		if from == "" && to == "" {
			g.whole = s
		}
		f(s.dated, s.leftOut+s.noDay, s.names, g.version)
		return nil
	}
}

// between is the sum of some days, both in it; without a bound that of all days,
// known or not. The caller holds mu.
func (g *Figures) between(from, to string) *sum {
	out := newSum(nil)
	var parts []*insight.Set
	for _, n := range slices.Backward(slices.Sorted(maps.Keys(g.months))) {
		s := &g.months[n].sum
		inside := (from == "" || n+"-01" >= from) && (to == "" || lastOf(n) <= to)
		outside := from != "" && lastOf(n) < from || to != "" && n+"-01" > to
		switch {
		case outside:
			continue
		case !inside:
			s = s.between(from, to)
		case from == "" && to == "":
			parts = append(parts, s.undated)
			out.noDay += s.noDay
		}
		parts = append(parts, s.dated)
		out.leftOut += s.leftOut
		maps.Copy(out.names, s.names)
	}
	out.dated = insight.Merged(parts...)
	out.undated = out.dated
	return &out
}

// ready says whether every month is counted; the caller holds mu.
func (g *Figures) ready() bool {
	for _, m := range g.months {
		if m.anew || m.counting {
			return false
		}
	}
	return g.counted
}

// lastOf is the last day that a month can have, for comparing.
func lastOf(month string) string {
	first, err := time.Parse("2006-01", month)
	if err != nil {
		return month
	}
	return first.AddDate(0, 1, -1).Format(time.DateOnly)
}

// TesterOf is who tested, as a correction of the record says last.
func TesterOf(r programme.Run) string { return r.TestedBy() }

// Of is a run as statistics see it, and its day; empty when the clock was
// not to be trusted.
func Of(r programme.Run) (insight.Test, string) {
	spent := map[procedure.Stage]time.Duration{}
	for s, n := range r.StagesS {
		spent[procedure.Stage(s)] = time.Duration(n) * time.Second
	}
	t := insight.Test{
		Person: insight.IDOf(r.Person), Tester: insight.IDOf(TesterOf(r)),
		Facepiece: insight.Facepiece{Make: r.Make, Model: r.Model, Size: r.Size},
		Agent:     r.Agent, Rules: r.Rules, Outcome: r.Outcome, Reason: r.Reason, Bin: r.Bin, Squeezes: min(r.Screening, r.Bin),
		Late: r.Late, Hurried: r.Hurried, Extra: r.Extra, Stages: insight.StagesOf(r.Outcome, spent), Day: insight.NoDay,
	}
	at, err := time.Parse(time.RFC3339, r.At)
	if err != nil || r.Quality != "confirmed" && r.Quality != "network" {
		return t, ""
	}
	t.Day = insight.DayOf(at)
	t.Clock = time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute + time.Duration(at.Second())*time.Second
	return t, at.Format(time.DateOnly)
}
