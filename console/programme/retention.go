// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"errors"
	"slices"
	"time"

	"tallyhood/store"
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
const mostShown = 500

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
	d.mu.Lock()
	err := d.sync(ctx)
	d.mu.Unlock()
	if err != nil {
		return Retention{}, err
	}
	now, trusted := d.cfg.Now()
	if !trusted {
		return Retention{}, refuse("clock", "the box does not know what day it is; set its clock first")
	}
	today := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC)
	policy, err := d.Policy(ctx)
	if err != nil {
		return Retention{}, err
	}
	out := Retention{Months: policy.KeepMonths, Runs: []Run{}, People: []RetiredShown{}}
	shortest := policy.KeepMonths
	for _, r := range d.cfg.Rules {
		if k := d.keep(r.ID, policy); k > 0 && (shortest == 0 || k < shortest) {
			shortest = k
		}
	}
	young := errors.New("too young")
	err = d.RunsFrom(ctx, "", func(r Run) error {
		if !isPast(dayOf(r.At), shortest, today) {
			if _, err := time.Parse(time.DateOnly, dayOf(r.At)); err == nil {
				return young
			}
			return nil // of a day that nobody knows: kept
		}
		past, err := d.pastRun(ctx, r, policy, today)
		if err != nil || !past {
			return err
		}
		out.Count++
		if len(out.Runs) < mostShown {
			out.Runs = append(out.Runs, r)
		}
		return nil
	})
	if err != nil && !errors.Is(err, young) {
		return Retention{}, err
	}
	err = d.EachPerson(ctx, func(p Person) error {
		if p.Left == "" {
			return nil
		}
		last, may, err := d.mayGo(ctx, p, policy, today)
		if err != nil || !may {
			return err
		}
		if len(out.People) == mostShown {
			out.More = true
			return nil
		}
		out.People = append(out.People, RetiredShown{p.ID, p.Name, p.Number, p.Left, last})
		return nil
	})
	return out, err
}

// pastRun says whether a run is past its time and not the last valid record of
// somebody who is still here.
func (d *Desk) pastRun(ctx context.Context, r Run, policy Policy, today time.Time) (bool, error) {
	if r.Practice || !trusted(r.Quality) || !isPast(dayOf(r.At), d.keep(r.Rules, policy), today) {
		return false, nil
	}
	p, err := d.Person(ctx, r.Person)
	if err != nil {
		if errors.Is(err, store.ErrNotFound) {
			err = nil // nobody of the list, or erased
		}
		return true, err
	}
	return p.Left != "" || !slices.ContainsFunc(p.Tested, func(t Tested) bool { return t.Run == r.Run }), nil
}

// mayGo says whether somebody who left may be erased, and the day of the last run.
func (d *Desk) mayGo(ctx context.Context, p Person, policy Policy, today time.Time) (last string, may bool, err error) {
	runs, err := d.RunsOf(ctx, p.ID)
	if err != nil {
		return "", false, err
	}
	months := d.keep(first(p.Rules, policy.Rules), policy)
	for _, r := range runs {
		if r.Practice {
			continue
		}
		if !trusted(r.Quality) {
			return "", false, nil // nobody knows how old it is
		}
		last = max(last, dayOf(r.At))
		k := d.keep(r.Rules, policy)
		if k == 0 || !isPast(dayOf(r.At), k, today) {
			return last, false, nil
		}
		months = max(months, k)
	}
	return last, isPast(p.Left, months, today), nil
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
