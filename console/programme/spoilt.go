// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"tallyhood/console/procedure"
)

// Why a run was recalled, as the journal and the views have it; pages have a
// sentence for each.
const (
	Clogged      = "nebuliser found clogged"
	Changed      = "nebuliser filled anew or changed while the test had it in use"
	BatchChanged = "batch of solution was entered wrongly"
)

// A use is a nebuliser as a run had it: from the entry in which it went into use
// to the one with which its part was over.
type use struct {
	nebuliser, batch string
	role             string
	from, over       uint64 // numbers of entries; over is 0 until the part is over
}

// note keeps where in the journal a run had which nebuliser in use. One that is
// named again is in use from there: no squeeze of a test was given before.
func (f *folding) note(number uint64, fact procedure.Fact) {
	switch x := fact.(type) {
	case procedure.Took:
		f.uses = slices.DeleteFunc(f.uses, func(u use) bool { return u.nebuliser == x.ID })
		f.uses = append(f.uses, use{nebuliser: x.ID, batch: x.Solution, role: x.Role, from: number})
	case procedure.BinSet:
		for i := range f.uses {
			if u := &f.uses[i]; u.role == procedure.Weak && u.over == 0 {
				u.over = number
			}
		}
	}
}

// A spoil is an entry that takes the ground from under the runs that have a
// nebuliser or a batch in use at that point of the journal.
type spoil struct {
	Number uint64 `json:"number"`
	Why    string `json:"why"`
	Good   string `json:"good,omitempty"` // last day on which a batch was good after all; empty: it never was
	At     string `json:"at,omitempty"`
	By     string `json:"by"`

	nebuliser string // whose it was; empty: the batch's
}

// mostSpoils bounds what is kept for a nebuliser or a batch. A run lasts hours;
// where more happened in one, it is taken as spoilt whatever the rest was.
const mostSpoils = 16

// The keys of spoils.
func ofNebuliser(id string) string { return key("nebuliser", id) }
func ofBatch(id string) string     { return key("batch", id) }

func (c *change) spoil(k string, s spoil) error {
	return edit(c, tableSpoils, k, func(all *[]spoil) {
		*all = append(*all, s)
		*all = (*all)[max(0, len(*all)-mostSpoils):]
	})
}

// spoilt says what befell the kit of a run while the run had it in use; nil when
// nothing did. Bad mist counts to the end of the run, as in a sweep.
func (c *change) spoilt(r Run) (*spoil, error) {
	for _, u := range r.uses {
		for _, k := range []string{ofNebuliser(u.nebuliser), ofBatch(u.batch)} {
			var all []spoil
			if _, err := c.get(tableSpoils, k, &all); err != nil {
				return nil, err
			}
			of := u.nebuliser
			if k == ofBatch(u.batch) {
				of = ""
			}
			if len(all) == mostSpoils && all[0].Number > u.from {
				all[0].nebuliser = of
				return &all[0], nil
			}
			for _, s := range all {
				s.nebuliser = of
				over := r.Ended
				if u.over != 0 && s.Why == Changed {
					over = u.over
				}
				if s.Number > u.from && s.Number < over && (s.Good == "" || !r.by(s.Good)) {
					return &s, nil
				}
			}
		}
	}
	return nil, nil
}

// owe recalls what a sweep takes along: the runs under an id in a table of uses
// that ended between two entries, the later one being the spoil's. Those that
// were shown are named by the next entry; one that ended after the sweep was
// shown is named by none, and stays owed.
func (c *change) owe(table, id string, after uint64, s spoil) error {
	runs, err := c.usedBetween(table, id, after, s.Number)
	if err != nil {
		return err
	}
	for _, run := range runs {
		var r Run
		found, err := c.get(tableRuns, run, &r)
		if err != nil {
			return err
		}
		if !found || r.Recalled != "" || r.Outcome == procedure.NotValid || s.Good != "" && r.by(s.Good) {
			continue
		}
		if err := errors.Join(c.lose(&r, s), c.put(tableRuns, run, r), c.reckon(r.Person)); err != nil {
			return err
		}
	}
	return nil
}

// usedBetween gives the runs under an id in a table of uses that ended between two
// entries, in that order, those of this change included.
func (c *change) usedBetween(table, id string, after, before uint64) ([]string, error) {
	prefix := id + between
	from, end := prefix+fmt.Sprintf("%016x", after+1), prefix+fmt.Sprintf("%016x", before)
	var keys []string
	for last, n := from, 1; n > 0; {
		n = 0
		err := c.d.cfg.Store.Table(table).Range(c.ctx, prefix, last, findStep, func(k string, _ []byte) error {
			n++
			last = k
			keys = append(keys, k)
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	for at, r := range c.rows {
		if at[0] == table && r.dirty && strings.HasPrefix(at[1], prefix) {
			keys = append(keys, at[1]) // it is not in the table yet
		}
	}
	keys = slices.DeleteFunc(keys, func(k string) bool { return k < from || k >= end })
	slices.Sort(keys)
	want := map[string]bool{}
	var runs []string
	for _, k := range slices.Compact(keys) {
		run := k[strings.LastIndex(k, between)+1:]
		want[run] = true
		runs = append(runs, run)
	}
	return runs, c.fetch(tableRuns, want)
}

// writeRecalls puts into the journal which runs were taken in as recalled: who
// reads records from it alone has to know. The caller holds mu.
func (d *Desk) writeRecalls(ctx context.Context) error {
	var facts []Fact
	err := d.cfg.Store.Table(tableOwed).Range(ctx, "", "", batchNews, func(_ string, value []byte) error {
		var f RunsRecalled
		err := json.Unmarshal(value, &f)
		f.At, f.Quality = d.stamp()
		facts = append(facts, f)
		return err
	})
	if err != nil || len(facts) == 0 {
		return err
	}
	return d.do(ctx, facts, nil, nil)
}

// by says whether a run was over on a day or before it, for sure.
func (r Run) by(day string) bool {
	return trusted(r.Quality) && r.lastDay() != "" && r.lastDay() <= day
}

// clogged keeps that a nebuliser gave no mist: for the runs that have it in use,
// and for those with it that ended since its last good check.
func (c *change) clogged(f MistChecked, number uint64) error {
	s := spoil{Number: number, Why: Clogged, At: f.At, By: f.By, nebuliser: f.ID}
	if err := c.spoil(ofNebuliser(f.ID), s); err != nil {
		return err
	}
	var n Nebuliser
	if _, err := c.get(tableNebulisers, f.ID, &n); err != nil {
		return err
	}
	return c.owe(tableUsed, f.ID, n.GoodNumber, s)
}

// enteredNebuliser keeps a nebuliser. One that is for something else now spoils
// the run that has it in use.
func (c *change) enteredNebuliser(f NebuliserEntered, number uint64) error {
	var was Nebuliser
	found, err := c.get(tableNebulisers, f.ID, &was)
	if err != nil {
		return err
	}
	if found && other(was.NebuliserForm, f.Form) {
		if err := c.spoil(ofNebuliser(f.ID), spoil{Number: number, Why: Changed, By: f.By}); err != nil {
			return err
		}
	}
	return edit(c, tableNebulisers, f.ID, func(v *Nebuliser) { v.ID, v.NebuliserForm = f.ID, f.Form })
}

func other(was, is NebuliserForm) bool { return was.Role != is.Role || was.Agent != is.Agent }

// enteredBatch keeps a batch. One that turns out to be another spoils the run
// that has it in use; those that are over are for a sweep, and are owed a recall
// until the journal holds it.
func (c *change) enteredBatch(f SolutionEntered, number uint64) error {
	var was Solution
	found, err := c.get(tableSolutions, f.ID, &was)
	if err != nil {
		return err
	}
	if good, worse := was.worse(f.Form); found && worse {
		s := spoil{Number: number, Why: BatchChanged, Good: good, By: f.By}
		if err := c.spoil(ofBatch(f.ID), s); err != nil {
			return err
		}
		if err := c.owe(tableBatches, f.ID, 0, s); err != nil {
			return err
		}
	}
	return edit(c, tableSolutions, f.ID, func(v *Solution) { v.ID, v.SolutionForm = f.ID, f.Form })
}

// worse says whether runs with a batch lose their ground when it is entered as
// the form has it: it is of another strength or agent, or was good for less long.
// Good is the last day of runs that keep theirs; empty: none does.
func (s Solution) worse(f SolutionForm) (good string, worse bool) {
	switch {
	case s.Strength != f.Strength || s.Agent != f.Agent:
		return "", true
	case f.Expires != "" && (s.Expires == "" || f.Expires < s.Expires):
		return f.Expires, true
	}
	return "", false
}

// SweepBatch shows what entering a batch anew would recall: the runs with it that
// count now, as they ended. Nothing is changed.
func (d *Desk) SweepBatch(ctx context.Context, batch string, form SolutionForm) (Sweep, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return Sweep{}, err
	}
	return d.sweepBatch(ctx, batch, form)
}

// sweepBatch is SweepBatch; the caller holds mu, and the views are up to date.
func (d *Desk) sweepBatch(ctx context.Context, batch string, form SolutionForm) (Sweep, error) {
	s := Sweep{Solution: batch, Runs: []Run{}, People: []string{}}
	var was Solution
	c := d.change(ctx)
	found, err := c.get(tableSolutions, batch, &was)
	if err != nil {
		return s, err
	}
	good, worse := was.worse(form)
	if !found || !worse {
		return s, nil
	}
	return s, d.gather(ctx, tableBatches, batch, 0, &s, func(r Run) bool { return good == "" || !r.by(good) })
}

// EnterBatch makes a batch as entered anew and what follows from it durable
// together. What was shown must still be so; a batch that takes no run with it
// needs nothing shown.
func (d *Desk) EnterBatch(ctx context.Context, f SolutionEntered, shown []string) error {
	var told []Spoilt
	err := func() error {
		d.mu.Lock()
		defer d.mu.Unlock()
		if err := d.sync(ctx); err != nil {
			return err
		}
		told = d.warn([]Fact{f})
		s, err := d.sweepBatch(ctx, f.ID, f.Form)
		if err != nil {
			return err
		}
		if len(s.Runs) > 0 && len(shown) == 0 {
			return refuse("not_shown", "this change takes tests along that were done with the batch; look at them first")
		}
		return d.recall(ctx, f, s, shown, RunsRecalled{Reason: BatchChanged, By: f.By})
	}()
	if err == nil {
		d.tell(told)
	}
	return err
}

// unshown refuses facts that take runs along without anybody having seen which.
// The caller holds mu.
func (d *Desk) unshown(ctx context.Context, facts []Fact) error {
	for _, f := range facts {
		switch f := f.(type) {
		case MistChecked:
			if !f.Good {
				return refuse("not_shown", "a bad mist check takes runs along; look at them first")
			}
		case SolutionEntered:
			if err := d.sync(ctx); err != nil {
				return err
			}
			s, err := d.sweepBatch(ctx, f.ID, f.Form)
			if err != nil {
				return err
			}
			if len(s.Runs) > 0 {
				return refuse("not_shown", "this change takes tests along that were done with the batch; look at them first")
			}
		}
	}
	return nil
}

// A Spoilt is a nebuliser or a batch that is not any more what it was when a run
// named it. Ids tell which, since a mark may be another one by now, and a batch
// may be in no nebuliser any more.
type Spoilt struct {
	Nebuliser string // empty: it is the batch
	Batch     string // empty: it is the nebuliser
	Why       string // Clogged, Changed or BatchChanged; empty when Seen
	Seen      bool   // nothing of that: mist was seen to come, so that passes of before keep their ground
}

// warn gathers what Config.OnSpoiled is to be told once facts are durable, from
// the kit as it is until then. A nebuliser that is not used any more is as good as
// changed for the part that it is named for; a part that is over keeps its ground,
// and so does one from a bottle that is empty.
// The caller holds mu.
func (d *Desk) warn(facts []Fact) (out []Spoilt) {
	if d.cfg.OnSpoiled == nil {
		return nil
	}
	k := d.kit.Load()
	for _, f := range facts {
		switch f := f.(type) {
		case MistChecked:
			if f.Good {
				out = append(out, Spoilt{Nebuliser: f.ID, Seen: true})
			} else {
				out = append(out, Spoilt{Nebuliser: f.ID, Why: Clogged})
			}
		case NebuliserFilled:
			out = append(out, Spoilt{Nebuliser: f.ID, Why: Changed})
		case NebuliserEntered:
			at := slices.IndexFunc(k.nebulisers, func(n Nebuliser) bool { return n.ID == f.ID })
			if at >= 0 && (other(k.nebulisers[at].NebuliserForm, f.Form) || f.Form.Gone && !k.nebulisers[at].Gone) {
				out = append(out, Spoilt{Nebuliser: f.ID, Why: Changed})
			}
		case SolutionEntered:
			was, known := k.solutions[f.ID]
			good, worse := was.worse(f.Form)
			now, _ := d.cfg.Now()
			switch {
			case !known:
			case worse && (good == "" || now.Format(time.DateOnly) > good):
				out = append(out, Spoilt{Batch: f.ID, Why: BatchChanged})
			}
		}
	}
	return out
}

// tell passes it on, without mu.
func (d *Desk) tell(all []Spoilt) {
	for _, x := range all {
		d.cfg.OnSpoiled(x)
	}
}

// usedKey is the key of a run under a nebuliser or a batch it was made with.
func usedKey(id string, ended uint64, run string) string {
	return key(id, fmt.Sprintf("%016x", ended), run)
}

// gather adds the runs under an id in a table of uses that ended after an entry,
// as they count now and as far as they lose by it, and their people.
func (d *Desk) gather(ctx context.Context, table, id string, after uint64, s *Sweep, loses func(Run) bool) error {
	prefix := id + between
	from := prefix + fmt.Sprintf("%016x", after+1) // before the key of any run of that number
	people := map[string]bool{}
	for {
		count := 0
		err := d.cfg.Store.Table(table).Range(ctx, prefix, from, findStep, func(k string, _ []byte) error {
			from = k
			count++
			r, err := d.Run(ctx, k[strings.LastIndex(k, between)+1:])
			if err != nil {
				return err
			}
			if r.Recalled != "" || r.Outcome == procedure.NotValid || !loses(r) {
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
			return err
		}
	}
}
