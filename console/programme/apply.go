// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/store"
)

// between parts the pieces of a key.
const between = "\x00"

func key(parts ...string) string { return strings.Join(parts, between) }

// apply folds one fact into the views. It refuses nothing: what stands in the
// journal has happened.
func (c *change) apply(f Fact) error {
	switch f := f.(type) {
	case PersonEntered:
		return c.person(f.Person, func(p *Person) { p.PersonForm = f.Form })
	case PersonCleared:
		return c.person(f.Person, func(p *Person) { p.Cleared = &Clearance{f.On, f.Who} })
	case Triggered:
		return c.person(f.Person, func(p *Person) {
			if p.Triggered == nil || p.Triggered.On <= f.On {
				p.Triggered = &Happened{f.Trigger, f.On}
			}
		})
	case PersonLeft:
		return c.person(f.Person, func(p *Person) { p.Left = f.On })
	case PersonErased:
		return c.erase(f.Person)
	case FacepieceEntered:
		return edit(c, tableFacepieces, f.ID, func(v *Facepiece) { v.ID, v.FacepieceForm = f.ID, f.Form })
	case PieceCleaned:
		return edit(c, tableFacepieces, f.Facepiece, func(v *Facepiece) {
			if v.Cleaned == nil {
				v.Cleaned = map[string]string{}
			}
			v.Cleaned[f.Piece] = max(v.Cleaned[f.Piece], f.At)
		})
	case HoodEntered:
		return edit(c, tableHoods, f.ID, func(v *Hood) { v.ID, v.HoodForm = f.ID, f.Form })
	case NebuliserEntered:
		return edit(c, tableNebulisers, f.ID, func(v *Nebuliser) { v.ID, v.NebuliserForm = f.ID, f.Form })
	case NebuliserFilled:
		return edit(c, tableNebulisers, f.ID, func(v *Nebuliser) { v.Solution, v.Filled, v.Squeezes = f.Solution, f.At, 0 })
	case MistChecked:
		return edit(c, tableNebulisers, f.ID, func(v *Nebuliser) {
			v.Checked, v.Good = f.At, f.Good
			if f.Good {
				v.GoodAt = f.At
			}
		})
	case SolutionEntered:
		return edit(c, tableSolutions, f.ID, func(v *Solution) { v.ID, v.SolutionForm = f.ID, f.Form })
	case RunsRecalled:
		for _, run := range f.Runs {
			if err := c.recall(run, f.Reason); err != nil {
				return err
			}
		}
		return nil
	case RunAmended:
		return c.edited(f.Run, func(r *Run) { r.Amended = append(r.Amended, f) })
	case RunSigned:
		return c.edited(f.Run, func(r *Run) {
			r.Signed = append(r.Signed, Signature{f.Who, f.Record, f.Strokes, f.Record == r.Hash})
		})
	case PolicySet:
		if err := c.put(tablePolicy, "policy", f.Policy); err != nil {
			return err
		}
		return nil // due days follow with RedoDue, which may be long
	}
	return fmt.Errorf("fact %T is not known", f)
}

// edit changes one row of a table of views, a new one if there is none.
func edit[V any](c *change, table, id string, f func(*V)) error {
	var v V
	if _, err := c.get(table, id, &v); err != nil {
		return err
	}
	f(&v)
	return c.put(table, id, v)
}

// edited changes a run that the views know; another is nobody's yet.
func (c *change) edited(run string, f func(*Run)) error {
	var r Run
	found, err := c.get(tableRuns, run, &r)
	if err != nil || !found {
		return err
	}
	f(&r)
	return c.put(tableRuns, run, r)
}

// person changes a person and what is searched and due.
func (c *change) person(id string, f func(*Person)) error {
	var p Person
	found, err := c.get(tablePeople, id, &p)
	if err != nil {
		return err
	}
	if found {
		c.unlist(p)
	}
	p.ID = id
	f(&p)
	return c.list(p)
}

// unlist takes a person out of what is searched and due.
func (c *change) unlist(p Person) {
	for _, w := range p.words() {
		c.drop(tableFind, key(w, p.ID))
	}
	for _, d := range p.Due {
		c.drop(tableDue, key(d.On, p.ID, d.Facepiece))
	}
}

// list reckons what is due and writes the person.
func (c *change) list(p Person) error {
	policy, err := c.policy()
	if err != nil {
		return err
	}
	p.Due = c.d.due(p, policy)
	for _, w := range p.words() {
		c.mark(tableFind, key(w, p.ID))
	}
	for _, d := range p.Due {
		if err := c.put(tableDue, key(d.On, p.ID, d.Facepiece), d); err != nil {
			return err
		}
	}
	return c.put(tablePeople, p.ID, p)
}

func (c *change) policy() (Policy, error) {
	var p Policy
	_, err := c.get(tablePolicy, "policy", &p)
	return p, err
}

func (c *change) erase(id string) error {
	var p Person
	found, err := c.get(tablePeople, id, &p)
	if err != nil || !found {
		return err
	}
	c.unlist(p)
	c.drop(tablePeople, id)
	return nil
}

// words are what a person is found by: each word of the name and the number.
func (p Person) words() []string {
	var out []string
	for _, w := range append(strings.Fields(Fold(p.Name)), Fold(p.Number)) {
		if w != "" && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}

// due is what a person needs: for each facepiece of the job a test, at the
// latest when the rule set or the stricter policy says.
func (d *Desk) due(p Person, policy Policy) []Due {
	out := []Due{}
	if p.Left != "" {
		return out
	}
	for _, f := range p.Facepieces {
		need := Due{Person: p.ID, Facepiece: f, On: DueNow, Why: "never_tested"}
		i := slices.IndexFunc(p.Tested, func(t Tested) bool { return t.Facepiece == f })
		if i >= 0 {
			need.On, need.Why = d.next(p, p.Tested[i], policy)
		}
		if need.On != "" {
			out = append(out, need)
		}
	}
	return out
}

// next is when a passed test has to be made again; empty for never.
func (d *Desk) next(p Person, t Tested, policy Policy) (on, why string) {
	if !t.Trusted {
		return DueNow, "date_unknown" // the day of the pass is not known for sure
	}
	if p.Triggered != nil && p.Triggered.On >= t.On {
		return DueNow, "trigger"
	}
	months := d.Months(first(p.Rules, policy.Rules, t.Rules), policy)
	day, err := time.Parse(time.DateOnly, t.On)
	if months == 0 || err != nil {
		return "", ""
	}
	return AddMonths(day, months).Format(time.DateOnly), "interval"
}

// Months is the interval between tests under a rule set: the policy's, never
// longer than the rule's; 0 when neither says any.
func (d *Desk) Months(rules string, policy Policy) int {
	most := 0
	if r, ok := d.cfg.Rules[rules]; ok && r.Retest != nil {
		most = int(r.Retest.Value)
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

// run takes in a run that has ended.
func (c *change) run(r Run) error {
	var known Run
	found, err := c.get(tableRuns, r.Run, &known)
	if err != nil {
		return err
	}
	if found {
		r.Recalled, r.Signed, r.Amended = known.Recalled, known.Signed, known.Amended
		for i := range r.Signed {
			r.Signed[i].Holds = r.Signed[i].Record == r.Hash
		}
		if r.Recalled != "" {
			r.Outcome, r.Reason = procedure.NotValid, procedure.MistCheckFailed
		}
	}
	if err := c.put(tableRuns, r.Run, r); err != nil {
		return err
	}
	c.mark(tableRunsAt, key(utc(r.At), r.Run))
	c.mark(tableRunsOf, key(r.Person, r.Run))
	if !found {
		for _, n := range r.Nebulisers {
			c.mark(tableUsed, key(n, utc(r.At), r.Run))
			if err := edit(c, tableNebulisers, n, func(v *Nebuliser) {
				v.ID = n
				if v.Role == "weak" {
					v.Squeezes += r.Screening
				} else {
					v.Squeezes += r.Squeezes
				}
			}); err != nil {
				return err
			}
		}
	}
	return c.reckon(r.Person)
}

// utc brings an instant into a form that sorts.
func utc(instant string) string {
	t, err := time.Parse(time.RFC3339, instant)
	if err != nil {
		return instant
	}
	return t.UTC().Format("2006-01-02T15:04:05Z")
}

// recall makes a run not valid in the views.
func (c *change) recall(run, reason string) error {
	var r Run
	found, err := c.get(tableRuns, run, &r)
	if err != nil || !found {
		return err
	}
	r.Outcome, r.Reason, r.Recalled = procedure.NotValid, procedure.MistCheckFailed, reason
	if err := c.put(tableRuns, run, r); err != nil {
		return err
	}
	return c.reckon(r.Person)
}

// reckon works out anew what a person's runs come to.
func (c *change) reckon(person string) error {
	var p Person
	found, err := c.get(tablePeople, person, &p)
	if err != nil || !found {
		return err // nobody of the list, or erased
	}
	runs, err := c.runsOf(person)
	if err != nil {
		return err
	}
	c.unlist(p)
	p.Tested, p.Fails = nil, map[string]int{}
	for _, r := range runs { // from the first to the last
		switch {
		case r.Practice:
		case r.Outcome == procedure.Pass:
			day := r.At
			if len(day) > len(time.DateOnly) {
				day = day[:len(time.DateOnly)]
			}
			t := Tested{Facepiece: r.Facepiece, Run: r.Run, On: day, Rules: r.Rules, Trusted: r.Quality == "confirmed" || r.Quality == "network"}
			p.Tested = slices.DeleteFunc(p.Tested, func(o Tested) bool { return o.Facepiece == r.Facepiece })
			p.Tested = append(p.Tested, t)
			delete(p.Fails, r.Facepiece)
		case r.Outcome == procedure.Fail:
			// A later fail is evidence against the fit that an earlier pass showed.
			p.Tested = slices.DeleteFunc(p.Tested, func(o Tested) bool { return o.Facepiece == r.Facepiece })
			p.Fails[r.Facepiece]++
		}
	}
	return c.list(p)
}

// runsOf gives a person's runs, oldest first, those of this change included.
func (c *change) runsOf(person string) ([]Run, error) {
	prefix := person + between
	names := map[string]bool{}
	err := c.d.cfg.Store.Table(tableRunsOf).Range(c.ctx, prefix, "", mostRuns, func(k string, _ []byte) error {
		names[strings.TrimPrefix(k, prefix)] = true
		return nil
	})
	if err != nil {
		return nil, err
	}
	for at, r := range c.rows {
		if at[0] == tableRunsOf && strings.HasPrefix(at[1], prefix) && r.value != nil {
			names[strings.TrimPrefix(at[1], prefix)] = true
		}
	}
	var runs []Run
	for name := range names {
		var r Run
		found, err := c.get(tableRuns, name, &r)
		if err != nil {
			return nil, err
		}
		if found {
			runs = append(runs, r)
		}
	}
	slices.SortFunc(runs, func(a, b Run) int { return int(min(1, max(-1, int64(a.Number)-int64(b.Number)))) })
	return runs, nil
}

// mostRuns of one person are looked at: more than anybody has in a lifetime.
const mostRuns = 10_000

// lineOf is a run as a list shows it, from its own facts.
func lineOf(st procedure.State, last store.Entry) Run {
	o := st.Opened
	r := Run{
		Run: o.Run, Person: o.Wearer.ID, Facepiece: o.Facepiece.ID, Make: o.Facepiece.Make, Model: o.Facepiece.Model, Size: o.Facepiece.Size,
		Rules: o.Rules.ID, Agent: o.Agent, Tester: o.Tester, At: o.Wall, Quality: o.WallQuality, Practice: o.Practice != "",
		Bin: st.Bin, Screening: len(st.Screening), Squeezes: st.Total(), StagesS: map[string]int{}, Nebulisers: []string{},
		Number: last.Number, Hash: hex.EncodeToString(last.Hash[:]), Signed: []Signature{}, Amended: []RunAmended{},
	}
	if rec, err := record.Of(st); err == nil {
		r.Outcome, r.Reason, r.First = rec.Outcome, rec.Reason, rec.Outcome
		if rec.Fit != nil {
			for _, t := range rec.Fit.TopUps {
				for _, m := range t.Remarks {
					switch m {
					case "late":
						r.Late++
					case "hurried":
						r.Hurried++
					case "extra":
						r.Extra++
					}
				}
			}
		}
	}
	for _, s := range st.Spent {
		r.StagesS[string(s.Stage)] += int(s.For.Round(time.Second).Seconds())
	}
	for _, t := range st.Took {
		r.Nebulisers = append(r.Nebulisers, t.ID)
	}
	return r
}
