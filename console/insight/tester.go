// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"cmp"
	"slices"
)

// A Tester stands in charts as a letter, in the order of first tests. The ID
// is for an administrator, who may know who it is.
type Tester struct {
	Letter string
	ID     ID
	Counts
}

type lettered struct {
	at     int
	letter string
}

func (s *Set) letters() map[ID]lettered {
	ids := make([]ID, 0, len(s.testers))
	for id := range s.testers {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b ID) int {
		x, y := s.testers[a], s.testers[b]
		return cmp.Or(
			cmp.Compare(one(x.day <= NoDay), one(y.day <= NoDay)), // undated ones last
			cmp.Compare(x.day, y.day), cmp.Compare(x.clock, y.clock), cmp.Compare(a, b))
	})
	m := make(map[ID]lettered, len(ids))
	for i, id := range ids {
		m[id] = lettered{i, letter(i)}
	}
	return m
}

// letter of a place: A to Z, AA to AZ, BA and so on.
func letter(i int) string {
	text := ""
	for i++; i > 0; i = (i - 1) / 26 {
		text = string(rune('A'+(i-1)%26)) + text
	}
	return text
}

// Testers are all testers by letter. A tester whose only tests were taken back
// keeps the letter.
func (s *Set) Testers() []Tester {
	var out []Tester
	for id, l := range s.letters() {
		out = append(out, Tester{l.letter, id, s.testers[id].Counts})
	}
	slices.SortFunc(out, func(a, b Tester) int { return byLetter(a.Letter, b.Letter) })
	return out
}

func byLetter(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b)) }

// A TesterWeek is what one tester did in one ISO week.
type TesterWeek struct {
	Letter string
	Week   Week
	Counts
}

// TesterWeeks are the weeks with tests, by letter, then week.
func (s *Set) TesterWeeks() []TesterWeek {
	letters := s.letters()
	out := make([]TesterWeek, 0, len(s.weeks))
	for k, c := range s.weeks {
		out = append(out, TesterWeek{letters[k.tester].letter, k.week, *c})
	}
	slices.SortFunc(out, func(a, b TesterWeek) int {
		return cmp.Or(byLetter(a.Letter, b.Letter), cmp.Compare(a.Week, b.Week))
	})
	return out
}

// TesterFunnel holds each tester's share of passes against all testers'. A
// point far above asks for a look as much as one far below: a leak that is
// passed over looks like success. Testers meet different people and
// facepieces, so a point outside is a question and never a finding.
func (s *Set) TesterFunnel() Funnel {
	var points []FunnelPoint
	for _, t := range s.Testers() {
		points = append(points, FunnelPoint{Key: t.Letter, K: t.Pass, N: t.Valid()})
	}
	return NewFunnel(points)
}

// A Month is what was tested in one month.
type Month struct {
	Year, Month int
	Counts
}

// Months run from the first month with a test to the last, the empty ones
// between among them.
func (s *Set) Months() []Month {
	m := map[int]*Counts{}
	first, last := 0, 0
	for d, c := range s.days {
		y, mo, _ := d.Date().Date()
		k := y*12 + int(mo) - 1
		if len(m) == 0 || k < first {
			first = k
		}
		if len(m) == 0 || k > last {
			last = k
		}
		tally(m, k, *c, 1)
	}
	var out []Month
	if len(m) == 0 {
		return nil
	}
	for k := first; k <= last; k++ {
		x := Month{Year: k / 12, Month: k%12 + 1}
		if c := m[k]; c != nil {
			x.Counts = *c
		}
		out = append(out, x)
	}
	return out
}

// Between are the counts of the days from the first to the last, both in it.
func (s *Set) Between(first, last Day) Counts {
	return sum(s.days, func(d Day) bool { return d >= first && d <= last })
}
