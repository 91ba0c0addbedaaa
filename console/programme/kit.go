// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"slices"
	"time"

	"tallyhood/console/procedure"
)

// A kit is what a run needs to know at once: it lies in memory, since the loop
// never waits for the disk.
type kit struct {
	nebulisers []Nebuliser
	solutions  map[string]Solution
	facepieces map[string]Facepiece
	hoods      []Hood
}

func (d *Desk) readKit(ctx context.Context) error {
	k := kit{solutions: map[string]Solution{}, facepieces: map[string]Facepiece{}}
	var err error
	if k.nebulisers, err = d.Nebulisers(ctx); err != nil {
		return err
	}
	if k.hoods, err = d.Hoods(ctx); err != nil {
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
	now, trusted := d.cfg.Now()
	for _, n := range k.nebulisers {
		if n.Gone || Fold(n.Mark) != Fold(mark) {
			continue
		}
		out := procedure.Kit{ID: n.ID, Mark: n.Mark, Role: n.Role, Agent: n.Agent, Solution: n.Solution, Checked: n.Fresh}
		if s, ok := k.solutions[n.Solution]; ok {
			// A batch whose entry was corrected after the filling: what is in it counts.
			out.Lot, out.Role, out.Agent = s.Lot, s.Strength, s.Agent
			out.Expired, out.GoodFor = expired(s, now.Format(time.RFC3339)), goodFor(s, now)
			if s.Gone {
				out.Solution, out.Lot = "", "" // it has to be filled with something else
			}
		}
		if out.Solution != "" {
			out.Age = ageless
			filled, err := time.Parse(time.RFC3339, n.Filled)
			if err == nil && trusted && !filled.After(now) {
				out.Age = now.Sub(filled)
			}
		}
		return &out
	}
	return nil
}

// goodFor is how long a batch is good yet: to the end of its last day where the
// clock stands. 0 where it is past that, or no day is known.
func goodFor(s Solution, now time.Time) time.Duration {
	last, err := time.ParseInLocation(time.DateOnly, s.Expires, now.Location())
	if err != nil {
		return 0
	}
	return max(0, last.AddDate(0, 0, 1).Sub(now))
}

// Hood finds a hood by its id, as a run notes it now; nil when there is none or
// it is not used any more. It does not wait for the disk.
func (d *Desk) Hood(id string) *procedure.Hood {
	for _, h := range d.kit.Load().hoods {
		if h.ID == id && !h.Gone {
			return new(h.ForRun())
		}
	}
	return nil
}

// ageless stands for a filling of which nobody knows how long ago it was: the
// clock cannot be trusted, or says that it is still to come.
const ageless = 1000 * time.Hour

// StaleIn is how long a nebuliser may still be used; false when it is not filled.
func (n Nebuliser) StaleIn(now time.Time, refill time.Duration) (time.Duration, bool) {
	filled, err := time.Parse(time.RFC3339, n.Filled)
	if err != nil {
		return 0, false
	}
	return filled.Add(refill).Sub(now), true
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
	case p.Left != "":
		return procedure.Wearer{}, procedure.Facepiece{}, refuse("left", "this person has left")
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
