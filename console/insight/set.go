// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"maps"
	"slices"
	"time"
)

// A Set holds what a number of tests come to. It grows with people who failed,
// facepieces, testers and weeks, and not with tests: their detail is dropped.
// Tests come one by one, best in the order of their days, and a recalled one
// is taken back. A Set is not safe for use by several at once.
type Set struct {
	all     Counts
	undated int

	faces  map[Facepiece]int // place in cells
	cells  []cell
	model  map[[2]string]uint32 // by make and model; places in models
	models []RepeatModel

	days    map[Day]*Counts
	weeks   map[testerWeek]*Counts
	testers map[ID]*tester
	agents  map[string]*agent
	reasons map[reasonKey]int
	stages  [len(StageOrder)]Histogram
	whole   Histogram

	failed      map[ID]failures
	twice, same int // persons; see Repeats
	seats       seats
}

type cell struct {
	face  Facepiece
	model uint32
	Counts
}

type testerWeek struct {
	tester ID
	week   Week
}

type tester struct {
	day   Day // of the first test; letters follow it
	clock time.Duration
	Counts
}

type agent struct {
	Counts
	bins  [3]int
	exact [31]int
}

type reasonKey struct {
	outcome, reason string
}

// failures of a person. Nearly all have failed one model, so that one needs no
// memory of its own.
type failures struct {
	all  int32
	same int32      // models failed twice or more
	one  modelFails // any of the models
	more []modelFails
}

type modelFails struct {
	model uint32
	n     int32 // 0: no fail, and no model
}

// of is the place of a model's fails; nil when there are none.
func (f *failures) of(model uint32) *modelFails {
	if f.one.n > 0 && f.one.model == model {
		return &f.one
	}
	for i := range f.more {
		if f.more[i].model == model {
			return &f.more[i]
		}
	}
	return nil
}

// add counts fails of a model and says how many there were.
func (f *failures) add(model uint32, by int32) (was int32) {
	m := f.of(model)
	switch {
	case m != nil:
		was = m.n
		m.n += by
	case f.one.n == 0:
		f.one = modelFails{model, by}
	default:
		f.more = append(f.more, modelFails{model, by})
	}
	f.more = slices.DeleteFunc(f.more, func(m modelFails) bool { return m.n == 0 })
	return was
}

// models are those with fails.
func (f *failures) models() []modelFails {
	if f.one.n == 0 {
		return f.more
	}
	return append([]modelFails{f.one}, f.more...)
}

// NewSet is a set without tests.
func NewSet() *Set {
	return &Set{
		faces: map[Facepiece]int{}, model: map[[2]string]uint32{},
		days: map[Day]*Counts{}, weeks: map[testerWeek]*Counts{}, testers: map[ID]*tester{},
		agents: map[string]*agent{}, reasons: map[reasonKey]int{},
		failed: map[ID]failures{}, seats: newSeats(),
	}
}

// Counts of all tests.
func (s *Set) Counts() Counts { return s.all }

// Undated is how many tests have no day; they are in no week or month and in
// no comparison of testers.
func (s *Set) Undated() int { return s.undated }

// Add counts a test. A practice run, or a test that cannot be, is an error and
// leaves the set as it was.
func (s *Set) Add(t Test) error {
	if err := t.check(); err != nil {
		return err
	}
	at := s.place(t.Facepiece)
	s.count(t, of(t), 1)
	if t.failed() {
		s.fail(t.Person, s.cells[at].model, 1)
	}
	for i, d := range t.Stages {
		if d > 0 {
			s.stages[i].add(d)
		}
	}
	if d := t.whole(); d > 0 {
		s.whole.add(d)
	}
	if t.Day > NoDay && t.valid() {
		s.seats.add(t, at)
	}
	return nil
}

// Remove takes back a test that Add counted, whole as it was then. ErrAbsent,
// and a set as it was, when the figures show that it was not.
func (s *Set) Remove(t Test) error {
	if err := t.check(); err != nil {
		return err
	}
	if !s.holds(t) {
		return ErrAbsent
	}
	at := s.faces[t.Facepiece]
	s.count(t, of(t), -1)
	if t.failed() {
		s.fail(t.Person, s.cells[at].model, -1)
	}
	for i, d := range t.Stages {
		if d > 0 {
			s.stages[i].remove(d)
		}
	}
	if d := t.whole(); d > 0 {
		s.whole.remove(d)
	}
	if t.Day > NoDay && t.valid() {
		s.seats.remove(t, at)
	}
	return nil
}

func (t Test) valid() bool  { return of(t).Valid() == 1 }
func (t Test) failed() bool { return of(t).Fail == 1 }

// fail adds fails of a person with a model, and keeps what Repeats says.
func (s *Set) fail(person ID, model uint32, by int32) {
	f := s.failed[person]
	all, same := f.all, f.same
	was := f.add(model, by)
	is := was + by
	again := one(is > 1) - one(was > 1)
	m := &s.models[model]
	m.Failed += one(is > 0) - one(was > 0)
	m.Twice += again
	f.all += by
	f.same += int32(again)
	if f.all == 0 {
		delete(s.failed, person)
	} else {
		s.failed[person] = f
	}
	s.twice += one(f.all > 1) - one(all > 1)
	s.same += one(f.same > 0) - one(same > 0)
}

// place of a facepiece's cell, made when it is new.
func (s *Set) place(f Facepiece) int {
	at, ok := s.faces[f]
	if !ok {
		at = len(s.cells)
		s.faces[f] = at
		name := [2]string{f.Make, f.Model}
		m, ok := s.model[name]
		if !ok {
			m = uint32(len(s.models))
			s.model[name] = m
			s.models = append(s.models, RepeatModel{Make: f.Make, Model: f.Model})
		}
		s.cells = append(s.cells, cell{face: f, model: m})
	}
	return at
}

// count adds a test to all plain counts, or takes it from them.
func (s *Set) count(t Test, c Counts, sign int) {
	s.all.plus(c, sign)
	s.cells[s.faces[t.Facepiece]].plus(c, sign)

	who := s.testers[t.Tester]
	if who == nil {
		who = &tester{day: t.Day, clock: t.Clock}
		s.testers[t.Tester] = who
	}
	who.plus(c, sign)
	if sign > 0 {
		who.since(t.Day, t.Clock)
	}

	a := s.agents[t.Agent]
	if a == nil {
		a = &agent{}
		s.agents[t.Agent] = a
	}
	a.plus(c, sign)
	if t.Bin > 0 {
		a.bins[t.Bin/10-1] += sign
		a.exact[t.Squeezes] += sign
	}
	if t.Reason != "" {
		k := reasonKey{string(t.Outcome), string(t.Reason)}
		if s.reasons[k] += sign; s.reasons[k] == 0 {
			delete(s.reasons, k)
		}
	}
	if t.Day <= NoDay {
		s.undated += sign
		return
	}
	tally(s.days, t.Day, c, sign)
	tally(s.weeks, testerWeek{t.Tester, t.Day.Week()}, c, sign)
}

// tally adds to the counts under a key and forgets those without tests.
func tally[K comparable](m map[K]*Counts, k K, c Counts, sign int) {
	to := m[k]
	if to == nil {
		to = &Counts{}
		m[k] = to
	}
	if to.plus(c, sign); to.Tests() == 0 {
		delete(m, k)
	}
}

// since moves a tester's first test back.
func (w *tester) since(day Day, clock time.Duration) {
	if day > NoDay && (w.day <= NoDay || day < w.day || day == w.day && clock < w.clock) {
		w.day, w.clock = day, clock
	}
}

// holds tells whether everything that the test once added is there.
func (s *Set) holds(t Test) bool {
	c := of(t)
	at, ok := s.faces[t.Facepiece]
	who, a := s.testers[t.Tester], s.agents[t.Agent]
	if !ok || who == nil || a == nil || !s.cells[at].holds(c) || !who.holds(c) || !a.holds(c) {
		return false
	}
	if t.Bin > 0 && (a.bins[t.Bin/10-1] == 0 || a.exact[t.Squeezes] == 0) {
		return false
	}
	if t.Reason != "" && s.reasons[reasonKey{string(t.Outcome), string(t.Reason)}] == 0 {
		return false
	}
	if t.failed() {
		if f := s.failed[t.Person]; f.of(s.cells[at].model) == nil {
			return false
		}
	}
	for i, d := range t.Stages {
		if d > 0 && !s.stages[i].has(d) {
			return false
		}
	}
	if d := t.whole(); d > 0 && !s.whole.has(d) {
		return false
	}
	if t.Day <= NoDay {
		return s.undated > 0
	}
	day, week := s.days[t.Day], s.weeks[testerWeek{t.Tester, t.Day.Week()}]
	return day != nil && day.holds(c) && week != nil && week.holds(c) && (!t.valid() || s.seats.may(t, at))
}

// Merge adds what another set holds, which stays as it is. The parts are cut
// between days, so that no sitting is split; then the result is that of one
// set fed with both, in the order of their days.
func (s *Set) Merge(o *Set) {
	s.all.plus(o.all, 1)
	s.undated += o.undated
	places := make([]int, len(o.cells))
	models := make([]uint32, len(o.models))
	for i, c := range o.cells {
		at := s.place(c.face)
		places[i] = at
		models[c.model] = s.cells[at].model
		s.cells[at].plus(c.Counts, 1)
	}
	for d, c := range o.days {
		tally(s.days, d, *c, 1)
	}
	for k, c := range o.weeks {
		tally(s.weeks, k, *c, 1)
	}
	for id, w := range o.testers {
		to := s.testers[id]
		if to == nil {
			to = &tester{day: w.day, clock: w.clock}
			s.testers[id] = to
		}
		to.since(w.day, w.clock)
		to.plus(w.Counts, 1)
	}
	for name, a := range o.agents {
		to := s.agents[name]
		if to == nil {
			to = &agent{}
			s.agents[name] = to
		}
		to.plus(a.Counts, 1)
		for i, n := range a.bins {
			to.bins[i] += n
		}
		for i, n := range a.exact {
			to.exact[i] += n
		}
	}
	for k, n := range o.reasons {
		s.reasons[k] += n
	}
	for i := range o.stages {
		s.stages[i].merge(o.stages[i])
	}
	s.whole.merge(o.whole)
	for person, f := range o.failed {
		if f.one.n > 0 {
			s.fail(person, models[f.one.model], f.one.n)
		}
		for _, m := range f.more {
			s.fail(person, models[m.model], m.n)
		}
	}
	s.seats.merge(&o.seats, places)
}

// Merged is what parts hold together, which stay as they are. It costs less when
// the newest part comes first: of the last days alone every sitting is kept.
func Merged(parts ...*Set) *Set {
	s := NewSet()
	failed := 0
	for _, o := range parts {
		failed += len(o.failed)
	}
	s.failed = make(map[ID]failures, failed)
	for _, o := range parts {
		s.Merge(o)
	}
	return s
}

// Clone is a copy that later tests do not change.
func (s *Set) Clone() *Set { return Merged(s) }

// sum of the counts that a test of keys selects.
func sum[K comparable](m map[K]*Counts, want func(K) bool) Counts {
	var c Counts
	for k := range maps.Keys(m) {
		if want(k) {
			c.plus(*m[k], 1)
		}
	}
	return c
}
