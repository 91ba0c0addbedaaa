// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"tallyhood/console/procedure"
)

// A Sweep is what a bad mist check would do: the runs with a nebuliser that
// ended after its last good check, and who has to be called back. The order of
// the journal counts, not the clock. A run that was under way at the check is
// among them: the mist may have failed after it.
type Sweep struct {
	Nebuliser string   `json:"nebuliser"`
	Since     string   `json:"since"` // instant of the last good check; empty: there was none
	Runs      []Run    `json:"runs"`  // those that count now and would not any more, as they ended
	People    []string `json:"people"`
}

// Sweep shows what would be recalled, without doing it.
func (d *Desk) Sweep(ctx context.Context, nebuliser string) (Sweep, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return Sweep{}, err
	}
	return d.sweep(ctx, nebuliser)
}

// sweep is Sweep; the caller holds mu, and the views are up to date.
func (d *Desk) sweep(ctx context.Context, nebuliser string) (Sweep, error) {
	n, err := one[Nebuliser](ctx, d, tableNebulisers, nebuliser)
	if err != nil {
		return Sweep{}, err
	}
	s := Sweep{Nebuliser: n.ID, Since: n.GoodAt, Runs: []Run{}, People: []string{}}
	prefix := n.ID + between
	after := prefix + fmt.Sprintf("%016x", n.GoodNumber+1) // before the key of any run of that number
	people := map[string]bool{}
	for {
		count := 0
		err = d.cfg.Store.Table(tableUsed).Range(ctx, prefix, after, findStep, func(key string, _ []byte) error {
			after = key
			count++
			r, err := d.Run(ctx, key[strings.LastIndex(key, between)+1:])
			if err != nil {
				return err
			}
			if r.Recalled != "" || r.Outcome == procedure.NotValid {
				return nil
			}
			s.Runs = append(s.Runs, r)
			if !people[r.Person] {
				people[r.Person] = true
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
	if check.Good {
		return refuse("good", "a good mist check takes no run along")
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return err
	}
	s, err := d.sweep(ctx, check.ID)
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
		at, quality := d.stamp()
		facts = append(facts, RunsRecalled{Nebuliser: check.ID, Runs: runs, Reason: "nebuliser found clogged", At: at, Quality: quality, By: check.By})
	}
	return d.do(ctx, facts, nil, nil)
}
