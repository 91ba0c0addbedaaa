// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"slices"
)

// A Sweep is what a bad mist check would do: the runs with a nebuliser that
// ended after its last good check, and who has to be called back. The order of
// the journal counts, not the clock. A run that was under way at the check is
// among them: the mist may have failed after it. It is as well what entering a
// batch of solution anew would do to the runs with that batch.
type Sweep struct {
	Nebuliser string   `json:"nebuliser"` // empty: it is for a batch
	Solution  string   `json:"solution"`  // empty: it is for a nebuliser
	Since     string   `json:"since"`     // instant of the last good check; empty: there was none
	Runs      []Run    `json:"runs"`      // those that count now and would not any more, as they ended
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
	return s, d.gather(ctx, tableUsed, n.ID, n.GoodNumber, &s, func(Run) bool { return true })
}

// Recall makes a bad mist check and what follows from it durable together: the
// check, and the runs that it takes with it. What was shown must still be so. A
// run under way is recalled when it ends.
func (d *Desk) Recall(ctx context.Context, check MistChecked, shown []string) error {
	if check.Good {
		return refuse("good", "a good mist check takes no run along")
	}
	var told []Spoilt
	err := func() error {
		d.mu.Lock()
		defer d.mu.Unlock()
		if err := d.sync(ctx); err != nil {
			return err
		}
		told = d.warn([]Fact{check})
		s, err := d.sweep(ctx, check.ID)
		if err != nil {
			return err
		}
		return d.recall(ctx, check, s, shown, RunsRecalled{Nebuliser: check.ID, Reason: Clogged, By: check.By})
	}()
	if err == nil {
		d.tell(told)
	}
	return err
}

// recall writes a fact and the recall of the runs of a sweep, if they are those
// that were shown; one that ended only since is recalled as one under way is. The
// caller holds mu.
func (d *Desk) recall(ctx context.Context, f Fact, s Sweep, shown []string, what RunsRecalled) error {
	for _, r := range s.Runs {
		what.Runs = append(what.Runs, r.Run)
	}
	if !slices.Equal(what.Runs, shown) {
		return refuse("changed", "other runs would be recalled now than were shown; look again")
	}
	facts := []Fact{f}
	if len(what.Runs) > 0 {
		what.At, what.Quality = d.stamp()
		facts = append(facts, what)
	}
	if err := d.do(ctx, facts, nil, nil); err != nil {
		return err
	}
	// What is left over is written when the next run ends, or at the start.
	if err := d.writeRecalls(context.WithoutCancel(ctx)); err != nil {
		d.cfg.Log.Warn("a recall is in the views and not in the journal yet", "err", err)
	}
	return nil
}
