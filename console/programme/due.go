// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"time"

	"tallyhood/store"
)

// due is what a person needs: for each facepiece of the job a test, at the
// latest when the rule set or the stricter policy says.
func (c *change) due(p Person) ([]Due, error) {
	out := []Due{}
	if p.Left != "" {
		return out, nil
	}
	policy, err := c.policy()
	if err != nil {
		return nil, err
	}
	for i, f := range p.Facepieces {
		if slices.Contains(p.Facepieces[:i], f) {
			continue
		}
		piece, found, err := c.facepiece(f)
		if err != nil {
			return nil, err
		}
		need := Due{Person: p.ID, Facepiece: f, On: DueNow}
		t := slices.IndexFunc(p.Tested, func(t Tested) bool { return t.Facepiece == f })
		switch {
		case !found || piece.Gone:
			need.Why = "gone"
		case t >= 0 && p.Tested[t].label() != piece.label():
			need.Why = "changed"
		case t >= 0:
			need.On, need.Why = c.d.next(p, p.Tested[t], policy)
		case slices.Contains(p.Recalled, f):
			need.Why = "recalled"
		case p.Fails[f] > 0:
			need.Why = "failed"
		default:
			need.Why = "never_tested"
		}
		if need.On != "" {
			out = append(out, need)
		}
	}
	return out, nil
}

func (t Tested) label() [4]string {
	return FacepieceForm{Make: t.Make, Model: t.Model, Style: t.Style, Size: t.Size}.label()
}

// next is when a passed test has to be made again; empty for never.
func (d *Desk) next(p Person, t Tested, policy Policy) (on, why string) {
	day, err := time.Parse(time.DateOnly, t.On)
	if !t.Trusted || err != nil {
		return DueNow, "date_unknown" // the day of the pass is not known for sure
	}
	// What happened on the day of the test, and was noted before its end, was
	// known to who tested.
	if h := p.Triggered; h != nil && (h.On > t.On || h.On == t.On && h.Number > t.Number) {
		return DueNow, "trigger"
	}
	months := d.Months(first(p.Rules, policy.Rules, t.Rules), policy)
	if months == 0 {
		return "", ""
	}
	return AddMonths(day, months).Format(time.DateOnly), "interval"
}

// Months is the interval between tests under a rule set: the policy's, never
// longer than the rule's; 0 when neither says any. For a rule set that is not
// there any more the shortest interval of those that are stands in.
func (d *Desk) Months(rules string, policy Policy) int {
	most := 0
	r, known := d.cfg.Rules[rules]
	if known && r.Retest != nil {
		most = max(1, int(r.Retest.Value))
	}
	if !known {
		for _, r := range d.cfg.Rules {
			if r.Retest != nil && (most == 0 || int(r.Retest.Value) < most) {
				most = max(1, int(r.Retest.Value))
			}
		}
	}
	switch {
	case policy.RetestMonths == 0:
		return most
	case most == 0:
		return policy.RetestMonths
	}
	return min(most, policy.RetestMonths)
}

// AddMonths is the same day of a later month, or its last day when it has none
// such: never later than a reader of the rule would say.
func AddMonths(day time.Time, months int) time.Time {
	y, m, dd := day.Date()
	last := time.Date(y, m+time.Month(months)+1, 0, 0, 0, 0, 0, time.UTC).Day()
	return time.Date(y, m+time.Month(months), min(dd, last), 0, 0, 0, 0, time.UTC)
}

func first(of ...string) string {
	for _, s := range of {
		if s != "" {
			return s
		}
	}
	return ""
}

// redoing is the key under which stands after which person due days are still
// to be reckoned anew; there is none when they all are right.
const redoing = "redo"

// redo notes that due days have to be reckoned anew, from the first person on.
func (c *change) redo() { c.set(tableViews, redoing, []byte("-")) }

// redoStep is how many people are reckoned in one transaction.
const redoStep = 500

// RedoDue reckons due days anew where a policy, a facepiece or the rule sets
// changed. It does so in batches, between which others get their turn, and goes
// on where it was when it is cut short; with nothing to do it costs one look.
func (d *Desk) RedoDue(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.redoDue(ctx, func() {
		d.mu.Unlock()
		d.mu.Lock()
	})
}

// redoDue is RedoDue; turn is called between batches. The caller holds mu.
func (d *Desk) redoDue(ctx context.Context, turn func()) error {
	views := d.cfg.Store.Table(tableViews)
	known, err := views.Get(ctx, "rules")
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	if word := d.rulesWord(); err == nil && !bytes.Equal(known, word) {
		// A new version of the program may have brought other rules.
		_, err := d.cfg.Store.Commit(ctx, nil, []store.Pair{{Table: tableViews, Key: "rules", Value: word}, {Table: tableViews, Key: redoing, Value: []byte("-")}})
		if err != nil {
			return err
		}
	}
	for {
		after, err := views.Get(ctx, redoing)
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		// "-" comes before every id.
		people, err := list[Person](ctx, d, tablePeople, "", string(after), redoStep)
		if err != nil {
			return err
		}
		c := d.change(ctx)
		for _, p := range people {
			was := p.Due
			if p.Due, err = c.due(p); err != nil {
				return err
			}
			if reflect.DeepEqual(was, p.Due) {
				continue
			}
			for _, old := range was {
				c.drop(tableDue, old.key())
			}
			for _, now := range p.Due {
				c.mark(tableDue, now.key())
			}
			if err := c.put(tablePeople, p.ID, p); err != nil {
				return err
			}
		}
		c.drop(tableViews, redoing)
		if len(people) == redoStep {
			c.set(tableViews, redoing, []byte(people[redoStep-1].ID))
		}
		if _, err := d.cfg.Store.Commit(ctx, nil, c.pairs()); err != nil {
			return err
		}
		turn()
	}
}

// rulesWord says what of the rule sets the due days were reckoned with.
func (d *Desk) rulesWord() []byte {
	word := []byte{}
	for _, id := range slices.Sorted(maps.Keys(d.cfg.Rules)) {
		r := d.cfg.Rules[id]
		months := 0
		if r.Retest != nil {
			months = int(r.Retest.Value)
		}
		word = fmt.Appendf(word, "%s %d\n", id, months)
	}
	return word
}

// DueBy lists what is due on a day or before it, the longest due first.
func (d *Desk) DueBy(ctx context.Context, day string, limit int) ([]Due, error) {
	out, _, err := d.DuePage(ctx, day, "", limit)
	return out, err
}

// DuePage is DueBy a page at a time: next is where the next page begins, empty
// after the last one.
func (d *Desk) DuePage(ctx context.Context, day, after string, limit int) (out []Due, next string, err error) {
	out = []Due{}
	if limit <= 0 {
		return out, "", nil
	}
	done := errors.New("done")
	err = d.cfg.Store.Table(tableDue).Range(ctx, "", after, limit+1, func(k string, _ []byte) error {
		v, err := dueOf(k)
		if err != nil {
			return err
		}
		if v.On > day {
			return done
		}
		if len(out) == limit {
			next = out[limit-1].key()
			return done
		}
		out = append(out, v)
		return nil
	})
	if errors.Is(err, done) {
		err = nil
	}
	return out, next, err
}

// CallBack lists who has to be tested again since the evidence of the last run
// was taken away.
func (d *Desk) CallBack(ctx context.Context, limit int) ([]Due, error) {
	out := []Due{}
	err := d.cfg.Store.Table(tableDue).Range(ctx, key(DueNow, "recalled", ""), "", limit, func(k string, _ []byte) error {
		v, err := dueOf(k)
		out = append(out, v)
		return err
	})
	return out, err
}
