// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"slices"
	"strings"
	"time"

	"tallyhood/console/procedure"
)

// A kit is what a run needs to know at once: it lies in memory, since the loop
// never waits for the disk.
type kit struct {
	nebulisers []Nebuliser
	solutions  map[string]Solution
	facepieces map[string]Facepiece
}

func (d *Desk) readKit(ctx context.Context) error {
	k := kit{solutions: map[string]Solution{}, facepieces: map[string]Facepiece{}}
	var err error
	if k.nebulisers, err = d.Nebulisers(ctx); err != nil {
		return err
	}
	solutions, err := d.Solutions(ctx)
	if err != nil {
		return err
	}
	for _, s := range solutions {
		k.solutions[s.ID] = s
	}
	facepieces, err := d.Facepieces(ctx)
	if err != nil {
		return err
	}
	for _, f := range facepieces {
		k.facepieces[f.ID] = f
	}
	d.kit.Store(&k)
	return nil
}

// Kept says whether kit is kept: once a nebuliser is entered, runs ask for it.
func (d *Desk) Kept() bool {
	return slices.ContainsFunc(d.kit.Load().nebulisers, func(n Nebuliser) bool { return !n.Gone })
}

// Nebuliser finds a nebuliser by its mark, as a run takes it now; nil when none
// has it. It does not wait for the disk.
func (d *Desk) Nebuliser(mark string) *procedure.Kit {
	k := d.kit.Load()
	now, _ := d.cfg.Now()
	for _, n := range k.nebulisers {
		if n.Gone || Fold(n.Mark) != Fold(mark) {
			continue
		}
		out := procedure.Kit{ID: n.ID, Mark: n.Mark, Role: n.Role, Agent: n.Agent, Solution: n.Solution}
		if s, ok := k.solutions[n.Solution]; ok {
			out.Lot, out.Expired = s.Lot, expired(s, now.Format(time.RFC3339))
		}
		if filled, err := time.Parse(time.RFC3339, n.Filled); err == nil {
			out.Age = now.Sub(filled)
			if out.Age < 0 {
				out.Age = 1000 * time.Hour // filled in the future: nobody knows how long ago
			}
			checked, err := time.Parse(time.RFC3339, n.Checked)
			out.Checked = err == nil && n.Good && !checked.Before(filled)
		}
		return &out
	}
	return nil
}

// StaleIn is how long a nebuliser may still be used; false when it is not filled.
func (n Nebuliser) StaleIn(now time.Time, refill time.Duration) (time.Duration, bool) {
	filled, err := time.Parse(time.RFC3339, n.Filled)
	if err != nil {
		return 0, false
	}
	return filled.Add(refill).Sub(now), true
}

// A Sweep is what a bad mist check would do: the runs with a nebuliser since its
// last good check, and who has to be called back.
type Sweep struct {
	Nebuliser string   `json:"nebuliser"`
	Since     string   `json:"since"` // instant of the last good check; empty: there was none
	Runs      []Run    `json:"runs"`  // those that count now and would not any more
	People    []string `json:"people"`
}

// Sweep shows what would be recalled, without doing it.
func (d *Desk) Sweep(ctx context.Context, nebuliser string) (Sweep, error) {
	n, err := one[Nebuliser](ctx, d, tableNebulisers, nebuliser)
	if err != nil {
		return Sweep{}, err
	}
	s := Sweep{Nebuliser: n.ID, Since: n.GoodAt, Runs: []Run{}, People: []string{}}
	prefix := n.ID + between
	after := ""
	if n.GoodAt != "" {
		// A run of the very second of the check may have begun before it.
		after = prefix + utc(n.GoodAt)[:len("2006-01-02T15:04:0")]
	}
	for {
		count := 0
		err = d.cfg.Store.Table(tableUsed).Range(ctx, prefix, after, findStep, func(key string, _ []byte) error {
			after = key
			count++
			r, err := d.Run(ctx, key[strings.LastIndex(key, between)+1:])
			if err != nil {
				return err
			}
			if r.Recalled != "" || r.Outcome != procedure.Pass && r.Outcome != procedure.Fail && r.Outcome != procedure.CannotTaste {
				return nil
			}
			s.Runs = append(s.Runs, r)
			if !slices.Contains(s.People, r.Person) {
				s.People = append(s.People, r.Person)
			}
			return nil
		})
		if err != nil || count < findStep {
			return s, err
		}
	}
}

// Recall makes a bad mist check and what follows from it durable together: the
// check, and the runs that it takes with it. What was shown must still be so.
func (d *Desk) Recall(ctx context.Context, check MistChecked, shown []string) error {
	s, err := d.Sweep(ctx, check.ID)
	if err != nil {
		return err
	}
	var runs []string
	for _, r := range s.Runs {
		runs = append(runs, r.Run)
	}
	if !slices.Equal(runs, shown) {
		return refuse("changed", "other runs would be recalled now than were shown; look again")
	}
	facts := []Fact{check}
	if len(runs) > 0 {
		facts = append(facts, RunsRecalled{Nebuliser: check.ID, Runs: runs, Reason: "nebuliser found clogged", By: check.By})
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.do(ctx, facts, nil)
}

// May says whether a person may be tested with a facepiece now, and gives both
// as a run binds them. It does not wait for the disk but for the person.
func (d *Desk) May(ctx context.Context, person, facepiece, rules string) (procedure.Wearer, procedure.Facepiece, error) {
	p, err := d.Person(ctx, person)
	if err != nil {
		return procedure.Wearer{}, procedure.Facepiece{}, refuse("not_known", "there is no such person")
	}
	f, ok := d.kit.Load().facepieces[facepiece]
	r, known := d.cfg.Rules[rules]
	switch {
	case !ok || f.Gone:
		return procedure.Wearer{}, procedure.Facepiece{}, refuse("not_known", "there is no such facepiece")
	case !known:
		return procedure.Wearer{}, procedure.Facepiece{}, refuse("not_known", "there is no rule set %q", rules)
	}
	if may, why := r.MayTest(f.Type, f.FitFactor); !may {
		return procedure.Wearer{}, procedure.Facepiece{}, refuse("facepiece_not_allowed", "%s", why)
	}
	return procedure.Wearer{ID: p.ID, Name: first(p.Name, p.Number)}, f.ForRun(), nil
}
