// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"tallyhood/store"
)

// What retention asks lies in two views, so that it reads neither all runs nor
// all people: how many runs of a day could go, and when each of those who left
// was tested last. How long something is kept is reckoned when it is asked for:
// rule sets and policies change.

// keepingForm is the version of these views, and keeping the key under which it
// stands in the table of views with the entry up to which they are right. They
// are younger than viewsForm: a store without them, or one that a program
// without them has written to, has them made from the other views.
const (
	keepingForm = "1"
	keeping     = "keeping"
)

func keepingWord(at uint64) []byte { return fmt.Appendf(nil, "%s %d", keepingForm, at) }

// retired is when somebody who left was tested.
type retired struct {
	Left   string            `json:"left"`   // day
	Rules  string            `json:"rules"`  // of the person's form
	Last   map[string]string `json:"last"`   // the last day by rule set
	Unsure bool              `json:"unsure"` // of a run nobody knows how old it is
}

func retiredOf(p Person) retired {
	return retired{Left: p.Left, Rules: p.Rules, Last: map[string]string{}}
}

// tested takes in a run.
func (v *retired) tested(r Run) {
	if r.Practice {
		return
	}
	if !isDated(r) {
		v.Unsure = true
		return
	}
	v.Last[r.Rules] = max(v.Last[r.Rules], dayOf(r.At))
}

// isDated says whether a run's day is known for sure.
func isDated(r Run) bool { return trusted(r.Quality) && isDay(dayOf(r.At)) }

func isDay(day string) bool {
	_, err := time.Parse(time.DateOnly, day)
	return err == nil
}

// A keepCount counts, by rule set and day, the runs that can be past their time:
// those of a day that is known, but for the last valid records of people who are
// here.
type keepCount map[[2]string]int

func (k keepCount) run(r Run) {
	if !r.Practice && isDated(r) {
		k[[2]string{r.Rules, dayOf(r.At)}]++
	}
}

// person takes back what is kept for a person; with sign 1 it can go again.
func (k keepCount) person(p Person, sign int) {
	if p.Left != "" {
		return
	}
	for _, t := range p.Tested {
		if t.Trusted && isDay(t.On) {
			k[[2]string{t.Rules, t.On}] += sign
		}
	}
}

// keepCounted brings the counts of what is kept up to date.
func (c *change) keepCounted() error {
	for at, by := range c.keeps {
		if by == 0 {
			continue
		}
		row, err := c.row(tableKeep, key(at[0], at[1]))
		if err != nil {
			return err
		}
		n := 0
		if row.value != nil {
			if n, err = strconv.Atoi(string(row.value)); err != nil {
				return fmt.Errorf("view %s of %s %s: %w", tableKeep, at[0], at[1], err)
			}
		}
		if n += by; n == 0 {
			c.drop(tableKeep, key(at[0], at[1]))
		} else {
			c.set(tableKeep, key(at[0], at[1]), strconv.AppendInt(nil, int64(n), 10))
		}
	}
	return nil
}

// retire notes when somebody who left was tested; of somebody who is here nothing.
func (c *change) retire(p Person) error {
	if p.Left == "" {
		return nil
	}
	runs, err := c.runsOf(p.ID)
	if err != nil {
		return err
	}
	v := retiredOf(p)
	for _, r := range runs {
		v.tested(r)
	}
	return c.put(tableRetired, key(p.Left, p.ID), v)
}

// toldRuns is after how many runs the log says how far it is: a few seconds of
// a small board.
const toldRuns = 50_000

// makeKeeping makes these views from the others when they are not there, or not
// of the same entry as those: some ten seconds for a million runs. When it is cut
// short, the next New begins it again. The caller holds mu.
func (d *Desk) makeKeeping(ctx context.Context) error {
	word, err := d.cfg.Store.Table(tableViews).Get(ctx, keeping)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	if string(word) == string(keepingWord(d.at)) {
		return nil
	}
	for _, table := range []string{tableKeep, tableRetired} {
		if err := d.empty(ctx, table); err != nil {
			return fmt.Errorf("empty view %s: %w", table, err)
		}
	}
	counts, left := keepCount{}, map[string]*retired{}
	err = d.EachPerson(ctx, func(p Person) error {
		counts.person(p, -1)
		if p.Left != "" {
			v := retiredOf(p)
			left[p.ID] = &v
		}
		return nil
	})
	if err != nil {
		return err
	}
	read := 0
	err = d.cfg.Store.Table(tableRuns).Range(ctx, "", "", 1<<30, func(k string, value []byte) error {
		var r Run
		// Of a run no more is wanted, and to read less is quicker.
		err := json.Unmarshal(value, &struct {
			Person   *string `json:"person"`
			Rules    *string `json:"rules"`
			At       *string `json:"at"`
			Quality  *string `json:"quality"`
			Practice *bool   `json:"practice"`
		}{&r.Person, &r.Rules, &r.At, &r.Quality, &r.Practice})
		if err != nil {
			return fmt.Errorf("view %s of %s: %w", tableRuns, k, err)
		}
		counts.run(r)
		if v := left[r.Person]; v != nil {
			v.tested(r)
		}
		if read++; read%toldRuns == 0 {
			d.cfg.Log.Info("make the list of records to be kept", "runs", read)
		}
		return nil
	})
	if err != nil {
		return err
	}
	var pairs []store.Pair
	write := func(pair ...store.Pair) error {
		if pairs = append(pairs, pair...); len(pairs) < batchRows && pair != nil {
			return nil
		}
		_, err := d.cfg.Store.Commit(ctx, nil, pairs)
		pairs = pairs[:0]
		return err
	}
	for at, n := range counts {
		if n != 0 {
			if err := write(store.Pair{Table: tableKeep, Key: key(at[0], at[1]), Value: strconv.AppendInt(nil, int64(n), 10)}); err != nil {
				return err
			}
		}
	}
	for id, v := range left {
		value, err := json.Marshal(v)
		if err != nil {
			return err
		}
		if err := write(store.Pair{Table: tableRetired, Key: key(v.Left, id), Value: value}); err != nil {
			return err
		}
	}
	pairs = append(pairs, store.Pair{Table: tableViews, Key: keeping, Value: keepingWord(d.at)})
	return write()
}

// past counts the runs that are past their time, and gives their days.
func (d *Desk) past(ctx context.Context, isPast func(rules, day string) bool) (count int, days []string, err error) {
	seen := map[string]bool{}
	err = d.cfg.Store.Table(tableKeep).Range(ctx, "", "", 1<<30, func(k string, value []byte) error {
		rules, day, _ := strings.Cut(k, between)
		n, err := strconv.Atoi(string(value))
		if err == nil && isPast(rules, day) {
			count += n
			seen[day] = true
		}
		return err
	})
	return count, slices.Sorted(maps.Keys(seen)), err
}

// runsOnDays calls f with the runs that can be of some days, which are in order,
// in any time zone; oldest first.
func (d *Desk) runsOnDays(ctx context.Context, days []string, f func(Run) error) error {
	around := func(day string, by int) string {
		t, _ := time.Parse(time.DateOnly, day) // of a row that only has days
		return t.AddDate(0, 0, by).Format(time.DateOnly)
	}
	for len(days) > 0 {
		n := 1
		for n < len(days) && days[n] <= around(days[n-1], 2) {
			n++
		}
		if err := d.runsUntil(ctx, around(days[0], -1), around(days[n-1], 2), f); err != nil {
			return err
		}
		days = days[n:]
	}
	return nil
}
