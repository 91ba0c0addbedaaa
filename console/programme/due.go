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

	"tallyhood/console/procedure"
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
		need, err := c.need(p, f, policy)
		if err != nil {
			return nil, err
		}
		if need.On != "" {
			out = append(out, need)
		}
	}
	return out, nil
}

// need is when a person is to be tested with a facepiece, and why; without a day
// for never.
func (c *change) need(p Person, f string, policy Policy) (Due, error) {
	need := Due{Person: p.ID, Facepiece: f, On: DueNow}
	piece, found, err := c.facepiece(f)
	if err != nil {
		return need, err
	}
	t := slices.IndexFunc(p.Tested, func(t Tested) bool { return t.Facepiece == f })
	rules := first(p.Rules, policy.Rules)
	if rules == "" && t >= 0 {
		rules = p.Tested[t].Rules
	}
	allowed := true
	if r, known := c.d.cfg.Rules[rules]; known {
		allowed, _ = r.MayTest(piece.Type, piece.FitFactor)
	}
	switch {
	case !found || piece.Gone:
		need.Why = "gone"
	case !allowed:
		need.Why = "not_allowed"
	case t >= 0 && p.Tested[t].label() != piece.label():
		need.Why = "changed"
	case t >= 0:
		seen, err := c.clock()
		if err != nil {
			return need, err
		}
		need.On, need.Why = c.d.next(p, p.Tested[t], policy, seen)
	case slices.Contains(p.Recalled, f):
		need.Why = "recalled"
	case p.Fails[f] > 0:
		need.Why = "failed"
	default:
		need.Why = "never_tested"
	}
	return need, nil
}

// Why a run is no ground for anything, beside Whys.
const (
	NoPass   = "not_a_pass" // also practice
	Later    = "later_test" // a later pass with the same facepiece counts
	NotKnown = "not_known"  // nobody of the list, or erased
)

// Stands says whether a run is the pass that counts for its wearer and facepiece
// now. It is when Why is interval or empty, and then On is when the next test is
// due, empty for never; any other Why says why it does not count, and On is
// DueNow.
func (d *Desk) Stands(ctx context.Context, run string) (Due, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return Due{}, err
	}
	r, err := d.Run(ctx, run)
	if err != nil {
		return Due{}, err
	}
	no := Due{Person: r.Person, Facepiece: r.Facepiece, On: DueNow}
	c := d.change(ctx)
	var p Person
	found, err := c.get(tablePeople, r.Person, &p)
	if err != nil {
		return no, err
	}
	policy, err := c.policy()
	if err != nil {
		return no, err
	}
	t := slices.IndexFunc(p.Tested, func(t Tested) bool { return t.Facepiece == r.Facepiece })
	switch {
	case r.Recalled != "":
		no.Why = "recalled"
	case r.Practice || r.Outcome != procedure.Pass:
		no.Why = NoPass
	case !found:
		no.Why = NotKnown
	case t >= 0 && p.Tested[t].Run != run:
		no.Why = Later
	default:
		return c.need(p, r.Facepiece, policy)
	}
	return no, nil
}

// Counts says whether Stands has found a pass that counts.
func (d Due) Counts() bool { return d.On != DueNow }

func (t Tested) label() [6]string {
	return FacepieceForm{Make: t.Make, Model: t.Model, Style: t.Style, Size: t.Size, Type: procedure.FacepieceKind(t.Type), FitFactor: t.FitFactor}.label()
}

// next is when a passed test has to be made again; empty for never.
func (d *Desk) next(p Person, t Tested, policy Policy, seen clockSeen) (on, why string) {
	day, err := time.Parse(time.DateOnly, t.On)
	if !t.Trusted || err != nil || seen.doubts(t) || d.ahead(t.On) {
		return DueNow, "date_unknown" // the day of the pass is not known for sure
	}
	// What happened on the day of the test, and was noted before its end, was
	// known to who tested.
	if h := p.Triggered; h != nil && (h.On > t.On || h.On == t.On && h.Number > t.Number) {
		return DueNow, "trigger"
	}
	rules := first(p.Rules, policy.Rules, t.Rules)
	// A set that extends another is never looser than that one.
	if rules != t.Rules && d.cfg.Rules[t.Rules].Extends != rules {
		return DueNow, "other_rules"
	}
	months := d.Months(rules, policy)
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
	if err := d.lookAhead(ctx); err != nil {
		return err
	}
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
		word = fmt.Appendf(word, "%s %d %s %t %d\n", id, months, r.Extends, r.Facepieces.FullFace, r.Facepieces.FitFactorMost)
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
