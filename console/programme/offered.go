// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"errors"

	"tallyhood/store"
)

// Offered gives people to choose from when a run is opened: those who are due,
// the longest first, then others, at most limit.
func (d *Desk) Offered(ctx context.Context, limit int) ([]Person, error) {
	due, err := d.DueBy(ctx, "9999-12-31", limit)
	if err != nil {
		return nil, err
	}
	out, seen := []Person{}, map[string]bool{}
	for _, x := range due {
		if seen[x.Person] {
			continue
		}
		p, err := d.Person(ctx, x.Person)
		if errors.Is(err, store.ErrNotFound) {
			continue // erased meanwhile
		}
		if err != nil {
			return nil, err
		}
		seen[p.ID] = true
		out = append(out, p)
	}
	rest, err := d.People(ctx, "", limit)
	for _, p := range rest {
		if len(out) < limit && !seen[p.ID] && p.Left == "" {
			out = append(out, p)
		}
	}
	return out, err
}
