// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
)

// A Retention shows what is past the time for which it has to be kept.
//
// A person's last valid record of a facepiece is kept until the next test
// (29 CFR 1910.134(m)(2)(iii)), however old it is. The facts of a run stay in
// the chain for ever; what goes is the person's name, with the key, so only a
// person can be erased, not one run. Somebody who left may be, once every run of
// that person is past its time and as long has gone by since the leaving.
// Without a time in rule set or policy nothing is past it.
type Retention struct {
	Months int            `json:"months"` // of the policy; 0: each rule set's own
	Count  int            `json:"count"`  // runs past their time
	Runs   []Run          `json:"runs"`   // the oldest of them, at most mostShown
	People []RetiredShown `json:"people"` // who left and may be erased, at most mostShown
	More   bool           `json:"more"`   // there are more people than are shown
}

// RetiredShown is a person who left and may be erased.
type RetiredShown struct {
	Person  string `json:"person"`
	Name    string `json:"name"`
	Number  string `json:"number"`
	Left    string `json:"left"`
	LastRun string `json:"last_run"` // day; empty: there was none
}

// mostShown bounds a preview, and so what one retention erases.
var mostShown = 500

// keep is how many months records under a rule set are kept: the longer of rule
// and policy; 0 when neither says any.
func (d *Desk) keep(rules string, policy Policy) int {
	months := policy.KeepMonths
	r, known := d.cfg.Rules[rules]
	if known && r.Keep != nil {
		months = max(months, int(r.Keep.Value+0.999))
	}
	if !known {
		// The longest that any rule set asks for: too long harms less.
		for _, r := range d.cfg.Rules {
			if r.Keep != nil {
				months = max(months, int(r.Keep.Value+0.999))
			}
		}
	}
	return months
}

// isPast says whether something of a day is past its time today.
func isPast(on string, months int, today time.Time) bool {
	day, err := time.Parse(time.DateOnly, on)
	return err == nil && months > 0 && AddMonths(day, months).Before(today)
}

// Retention previews what is past its time. It refuses while the clock cannot
// be trusted.
func (d *Desk) Retention(ctx context.Context) (Retention, error) {
	d.mu.Lock() // the views that it compares are of one moment
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return Retention{}, err
	}
	now, trusted := d.cfg.Now()
	if !trusted {
		return Retention{}, refuse("clock", "the box does not know what day it is; set its clock first")
	}
	policy, err := d.Policy(ctx)
	if err != nil {
		return Retention{}, err
	}
	k := keeper{d, policy, time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC), map[string]int{}}
	out := Retention{Months: policy.KeepMonths, Runs: []Run{}, People: []RetiredShown{}}
	if err := k.runs(ctx, &out); err != nil {
		return Retention{}, err
	}
	return out, k.people(ctx, &out)
}

// A keeper says what is past its time on a day.
type keeper struct {
	d      *Desk
	policy Policy
	today  time.Time
	months map[string]int // by rule set
}

// keep is keep of the desk, reckoned once.
func (k keeper) keep(rules string) int {
	n, known := k.months[rules]
	if !known {
		n = k.d.keep(rules, k.policy)
		k.months[rules] = n
	}
	return n
}

func (k keeper) isPast(rules, day string) bool { return isPast(day, k.keep(rules), k.today) }

// runs counts the runs that are past their time and reads the oldest of them.
func (k keeper) runs(ctx context.Context, out *Retention) error {
	count, days, err := k.d.past(ctx, k.isPast)
	if err != nil {
		return err
	}
	out.Count = count
	enough := errors.New("enough")
	var some []Run
	look := func() error {
		var ids []string
		for _, r := range some {
			ids = append(ids, r.Person)
		}
		people, err := k.d.Those(ctx, ids)
		if err != nil {
			return err
		}
		for _, r := range some {
			if len(out.Runs) == min(count, mostShown) {
				return enough
			}
			if !keeps(people[r.Person], r) {
				out.Runs = append(out.Runs, r)
			}
		}
		some = some[:0]
		return nil
	}
	err = k.d.runsOnDays(ctx, days, func(r Run) error {
		if r.Practice || !isDated(r) || !k.isPast(r.Rules, dayOf(r.At)) {
			return nil
		}
		if some = append(some, r); len(some) < findStep {
			return nil
		}
		return look()
	})
	if err == nil {
		err = look()
	}
	if errors.Is(err, enough) {
		return nil
	}
	return err
}

// keeps says whether a run is the last valid record of somebody who is still
// here. Nobody of the list, or erased, keeps nothing.
func keeps(p Person, r Run) bool {
	return p.Left == "" && slices.ContainsFunc(p.Tested, func(t Tested) bool { return t.Run == r.Run })
}

// people reads who left and may be erased.
func (k keeper) people(ctx context.Context, out *Retention) error {
	young := errors.New("too young")
	shortest := k.shortest()
	last := map[string]string{}
	err := k.d.cfg.Store.Table(tableRetired).Range(ctx, "", "", 1<<30, func(at string, value []byte) error {
		left, id, _ := strings.Cut(at, between)
		if !isPast(left, shortest, k.today) {
			if isDay(left) {
				return young // and so is who left later
			}
			return nil
		}
		var v retired
		if err := json.Unmarshal(value, &v); err != nil {
			return fmt.Errorf("view %s of %s: %w", tableRetired, id, err)
		}
		if !k.mayGo(v) {
			return nil
		}
		last[id] = ""
		for _, day := range v.Last {
			last[id] = max(last[id], day)
		}
		return nil
	})
	if err != nil && !errors.Is(err, young) {
		return err
	}
	ids := slices.Sorted(maps.Keys(last))
	out.More = len(ids) > mostShown
	ids = ids[:min(len(ids), mostShown)]
	people, err := some[Person](ctx, k.d, tablePeople, ids)
	for _, p := range people {
		out.People = append(out.People, RetiredShown{p.ID, p.Name, p.Number, p.Left, last[p.ID]})
	}
	return err
}

// shortest is the shortest time for which anything is kept; 0: nothing says any.
func (k keeper) shortest() int {
	months := k.policy.KeepMonths
	for id := range k.d.cfg.Rules {
		if n := k.keep(id); n > 0 && (months == 0 || n < months) {
			months = n
		}
	}
	return months
}

// mayGo says whether somebody who left may be erased.
func (k keeper) mayGo(v retired) bool {
	if v.Unsure {
		return false // nobody knows how old a run is
	}
	months := k.keep(first(v.Rules, k.policy.Rules))
	for rules, day := range v.Last {
		if !k.isPast(rules, day) {
			return false
		}
		months = max(months, k.keep(rules))
	}
	return isPast(v.Left, months, k.today)
}

func trusted(quality string) bool { return quality == "confirmed" || quality == "network" }

// Retain erases the people of a preview. What was shown must still be so.
func (d *Desk) Retain(ctx context.Context, shown []string, by string) error {
	now, err := d.Retention(ctx)
	if err != nil {
		return err
	}
	var people []string
	for _, p := range now.People {
		people = append(people, p.Person)
	}
	if len(shown) == 0 {
		return refuse("nobody", "nobody was shown who may be erased")
	}
	for _, id := range shown {
		if !slices.Contains(people, id) {
			return refuse("changed", "somebody who was shown may not be erased any more; look again")
		}
	}
	return d.EraseAll(ctx, shown, "past the time for which records are kept", by)
}
