// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"cmp"
	"slices"
	"time"

	"tallyhood/console/procedure"
)

// OpenDays is how many days a sitting stays open for a test that comes late. A
// test of an older day is not taken back exactly, nor counted where it belongs:
// who needs that counts its days anew.
const OpenDays = 2

// A sitting is one person with one facepiece on one day.
type sitting struct {
	person ID
	face   int
	day    Day
}

// A seat is a valid test of a sitting.
type seat struct {
	clock  time.Duration
	tester ID
	fail   bool
}

// seats are the sittings that matter to the comparison of testers: open ones
// of the last days, and of the older ones only those with tests by two
// testers. So they grow with repeats, which are few, and not with tests.
type seats struct {
	newest     Day
	open, kept map[sitting][]seat
	pairs      map[[2]ID]Table2 // by the earlier and the later tester
	late       int              // tests that came when their sitting was closed
}

func newSeats() seats {
	return seats{open: map[sitting][]seat{}, kept: map[sitting][]seat{}, pairs: map[[2]ID]Table2{}}
}

func seatOf(t Test) seat {
	return seat{t.Clock, t.Tester, t.Outcome == procedure.Fail}
}

func (s *seats) add(t Test, face int) {
	k := sitting{t.Person, face, t.Day}
	if t.Day < s.newest-OpenDays {
		if _, ok := s.kept[k]; ok {
			s.set(s.kept, k, put(slices.Clone(s.kept[k]), seatOf(t)))
		} else {
			s.late++
		}
		return
	}
	if old := s.open[k]; old == nil {
		s.open[k] = []seat{seatOf(t)}
	} else {
		s.set(s.open, k, put(slices.Clone(old), seatOf(t)))
	}
	s.advance(t.Day)
}

// set changes a sitting and the pairs that come of it.
func (s *seats) set(m map[sitting][]seat, k sitting, list []seat) {
	s.pair(m[k], -1)
	s.pair(list, 1)
	m[k] = list
	if len(list) == 0 {
		delete(m, k)
	}
}

// pair counts each test with the one before it when the tester is another.
func (s *seats) pair(list []seat, sign int) {
	for i := 1; i < len(list); i++ {
		x, y := list[i-1], list[i]
		if x.tester == y.tester {
			continue
		}
		k := [2]ID{x.tester, y.tester}
		t := s.pairs[k]
		t[one(x.fail)][one(y.fail)] += sign
		s.pairs[k] = t
		if t == (Table2{}) {
			delete(s.pairs, k)
		}
	}
}

// put keeps seats in the order of time; those of one instant by tester and
// result, so that the order of counting does not matter.
func put(to []seat, x seat) []seat {
	at, _ := slices.BinarySearchFunc(to, x, func(a, b seat) int {
		return cmp.Or(cmp.Compare(a.clock, b.clock), cmp.Compare(a.tester, b.tester), cmp.Compare(one(a.fail), one(b.fail)))
	})
	return slices.Insert(to, at, x)
}

// advance closes the sittings that are too old for the newest day.
func (s *seats) advance(day Day) {
	if day <= s.newest {
		return
	}
	s.newest = day
	for k, list := range s.open {
		if k.day < day-OpenDays {
			if two(list) {
				s.kept[k] = list
			}
			delete(s.open, k)
		}
	}
}

// two tells whether two testers tested in the sitting.
func two(list []seat) bool {
	for _, x := range list {
		if x.tester != list[0].tester {
			return true
		}
	}
	return false
}

func (s *seats) find(t Test, face int) (m map[sitting][]seat, k sitting, at int) {
	k = sitting{t.Person, face, t.Day}
	for _, m := range []map[sitting][]seat{s.open, s.kept} {
		if at := slices.Index(m[k], seatOf(t)); at >= 0 {
			return m, k, at
		}
	}
	return nil, k, -1
}

// may tells whether the test can have been counted: a closed sitting without
// a second tester is forgotten, so it may.
func (s *seats) may(t Test, face int) bool {
	if _, _, at := s.find(t, face); at >= 0 {
		return true
	}
	k := sitting{t.Person, face, t.Day}
	return t.Day < s.newest-OpenDays && len(s.kept[k]) == 0
}

func (s *seats) remove(t Test, face int) {
	m, k, at := s.find(t, face)
	if at < 0 {
		return
	}
	s.set(m, k, slices.Delete(slices.Clone(m[k]), at, at+1))
}

func (s *seats) merge(o *seats, places []int) {
	s.late += o.late
	for _, m := range []map[sitting][]seat{o.kept, o.open} {
		for k, list := range m {
			k.face = places[k.face]
			to := s.open
			if _, ok := s.kept[k]; ok || k.day < s.newest-OpenDays {
				if !ok && !two(list) {
					continue
				}
				to = s.kept
			}
			mine := slices.Clone(to[k])
			for _, x := range list {
				mine = put(mine, x)
			}
			s.set(to, k, mine)
		}
	}
	s.advance(o.newest)
}

// Agreement is how far testers come to the same result when two of them test
// the same person with the same facepiece on the same day. Donning differs
// between the two tests, so disagreement is not the testers' alone.
type Agreement struct {
	Table  Table2 // row: the earlier test, column: the later
	Kappa  Kappa
	ByPair []PairAgreement // by letters
	// Late tests came over two days after the newest and were not compared.
	Late int
}

// PairAgreement is the same of two testers; row A, column B.
type PairAgreement struct {
	A, B  string // letters
	Table Table2
	Kappa Kappa
}

// Agreement compares each test of a sitting with the one before it when the
// tester is another.
func (s *Set) Agreement() Agreement {
	a := Agreement{Late: s.seats.late}
	letters := s.letters()
	pairs := map[[2]ID]Table2{}
	for k, t := range s.seats.pairs {
		for i := range 2 {
			for j := range 2 {
				a.Table[i][j] += t[i][j]
			}
		}
		if letters[k[0]].at > letters[k[1]].at {
			k = [2]ID{k[1], k[0]}
			t[0][1], t[1][0] = t[1][0], t[0][1]
		}
		both := pairs[k]
		for i := range 2 {
			for j := range 2 {
				both[i][j] += t[i][j]
			}
		}
		pairs[k] = both
	}
	a.Kappa = a.Table.Kappa()
	keys := make([][2]ID, 0, len(pairs))
	for k := range pairs {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(x, y [2]ID) int {
		return cmp.Or(cmp.Compare(letters[x[0]].at, letters[y[0]].at), cmp.Compare(letters[x[1]].at, letters[y[1]].at))
	})
	for _, k := range keys {
		a.ByPair = append(a.ByPair, PairAgreement{letters[k[0]].letter, letters[k[1]].letter, pairs[k], pairs[k].Kappa()})
	}
	return a
}
