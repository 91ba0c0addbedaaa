// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"slices"
	"time"
)

// A clockSeen is what runs have shown of the box's clock. A day that a person
// confirmed wrongly, such as one of next year, is found out when a later run was
// on an earlier day by the network's time: the day of such a pass is not known.
type clockSeen struct {
	Newest string `json:"newest"` // latest day of a run since the clock last went back
	Back   []back `json:"back"`   // when it went back, oldest first
	Told   string `json:"told"`   // the newest day for which due days were reckoned as lying ahead
}

// A back is a run that was later than others with a later day.
type back struct {
	Number uint64 `json:"number"` // of the entry that ended it
	Day    string `json:"day"`
}

// mostBacks bounds them; the oldest two become one, which doubts no less.
const mostBacks = 64

const clockKey = "clock"

// doubts says whether a later run shows that a pass was not on its day. A day
// more is let be: runs that go on over midnight end in any order.
func (s clockSeen) doubts(t Tested) bool {
	return slices.ContainsFunc(s.Back, func(b back) bool { return b.Number > t.Number && t.On > nextDay(b.Day) })
}

// ahead says whether a day lies beyond tomorrow, as far as the clock now knows.
func (d *Desk) ahead(day string) bool {
	now, known := d.cfg.Now()
	return known && day > nextDay(now.Format(time.DateOnly))
}

// nextDay is the day after one; that one itself when it is none.
func nextDay(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.AddDate(0, 0, 1).Format(time.DateOnly)
}

func (c *change) clock() (clockSeen, error) {
	if c.seen == nil {
		var s clockSeen
		if _, err := c.get(tableViews, clockKey, &s); err != nil {
			return s, err
		}
		c.seen = &s
	}
	return *c.seen, nil
}

// runSeen notes the day of a run that has ended.
func (c *change) runSeen(r Run) error {
	if r.Practice || !trusted(r.Quality) {
		return nil
	}
	s, err := c.clock()
	if err != nil {
		return err
	}
	day := dayOf(r.At)
	switch {
	// Against one that a person has confirmed an earlier one proves nothing.
	case s.Newest > nextDay(day) && r.Quality == "network":
		s.Back = append(slices.Clone(s.Back), back{r.Ended, day})
		if len(s.Back) > mostBacks {
			s.Back[1].Day = min(s.Back[0].Day, s.Back[1].Day)
			s.Back = s.Back[1:]
		}
		s.Newest = day
		c.redo()
	case day > s.Newest:
		s.Newest = day
	default:
		return nil
	}
	c.seen = &s
	return c.put(tableViews, clockKey, s)
}

// lookAhead has due days reckoned anew when the clock was set back behind the
// newest run, which nothing in the journal shows yet, and when it was set forth
// again. The caller holds mu.
func (d *Desk) lookAhead(ctx context.Context) error {
	c := d.change(ctx)
	s, err := c.clock()
	if err != nil {
		return err
	}
	told := ""
	if d.ahead(s.Newest) {
		told = s.Newest
	}
	if _, known := d.cfg.Now(); !known || told == s.Told {
		return nil
	}
	s.Told = told
	c.redo()
	if err := c.put(tableViews, clockKey, s); err != nil {
		return err
	}
	_, err = d.cfg.Store.Commit(ctx, nil, c.pairs())
	return err
}
