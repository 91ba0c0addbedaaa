// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"tallyhood/store"
)

// apply folds one fact, the journal's entry of that number, into the views. It
// refuses nothing: what stands in the journal has happened.
func (c *change) apply(f Fact, number uint64) error {
	switch f := f.(type) {
	case PersonEntered:
		return c.person(f.Person, func(p *Person) { p.PersonForm = f.Form })
	case PersonCleared:
		return c.person(f.Person, func(p *Person) { p.Cleared = &Clearance{f.On, f.Who} })
	case Triggered:
		return c.person(f.Person, func(p *Person) {
			if p.Triggered == nil || p.Triggered.On <= f.On {
				p.Triggered = &Happened{f.Trigger, f.On, number}
			}
		})
	case PersonLeft:
		return c.person(f.Person, func(p *Person) { p.Left = f.On })
	case DayListed:
		return c.listed(f, number)
	case PersonErased:
		return c.erase(f.Person)
	case FacepieceEntered:
		return c.facepieceEntered(f)
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
		return c.enteredNebuliser(f, number)
	case NebuliserFilled:
		if err := c.spoil(ofNebuliser(f.ID), spoil{Number: number, Why: Changed, At: f.At, By: f.By}); err != nil {
			return err
		}
		return edit(c, tableNebulisers, f.ID, func(v *Nebuliser) {
			v.Solution, v.Filled, v.Squeezes, v.Fresh = f.Solution, f.At, 0, false
		})
	case MistChecked:
		if !f.Good {
			if err := c.clogged(f, number); err != nil {
				return err
			}
		}
		return edit(c, tableNebulisers, f.ID, func(v *Nebuliser) {
			v.Checked, v.Good, v.Fresh = f.At, f.Good, f.Good
			if f.Good {
				v.GoodAt, v.GoodNumber = f.At, number
			}
		})
	case SolutionEntered:
		return c.enteredBatch(f, number)
	case RunsRecalled:
		for _, run := range f.Runs {
			if err := c.recall(run, f); err != nil {
				return err
			}
		}
		return nil
	case RunAmended:
		return c.edited(f.Run, func(r *Run) { r.Amended = append(r.Amended, f) })
	case RunSigned:
		return c.edited(f.Run, func(r *Run) {
			r.Signed = append(r.Signed, Signature{Who: f.Who, Record: f.Record, Strokes: f.Strokes, How: f.How, At: f.At, Quality: f.Quality, Holds: f.Record == r.Hash})
		})
	case Restored:
		return c.put(tableRestores, fmt.Sprintf("%016x", number), f)
	case ErasuresKnown:
		for _, id := range f.People {
			if err := c.erase(id); err != nil {
				return err
			}
		}
		return nil
	case PolicySet:
		was, err := c.policy()
		if err != nil {
			return err
		}
		c.rules = &f.Policy
		if was.Rules != f.Policy.Rules || was.RetestMonths != f.Policy.RetestMonths {
			c.redo()
		}
		return c.put(tablePolicy, "policy", f.Policy)
	}
	return fmt.Errorf("fact %T is not known", f)
}

// facepieceEntered keeps a facepiece. One that is another model now, or is not
// used any more, changes what is due for all who wear it.
func (c *change) facepieceEntered(f FacepieceEntered) error {
	var v Facepiece
	found, err := c.get(tableFacepieces, f.ID, &v)
	if err != nil {
		return err
	}
	if found && (v.Gone != f.Form.Gone || v.label() != f.Form.label()) {
		c.redo()
	}
	v.ID, v.FacepieceForm = f.ID, f.Form
	c.pieces[f.ID] = v
	return c.put(tableFacepieces, f.ID, v)
}

// label is what makes a facepiece another one: a pass with one says nothing of
// another make, model, style or size (29 CFR 1910.134(f)(2)), nor of one of
// another type or that has to give more protection.
func (f FacepieceForm) label() [6]string {
	return [6]string{Fold(f.Make), Fold(f.Model), Fold(f.Style), Fold(f.Size), string(f.Type), strconv.Itoa(f.FitFactor)}
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
	was := p
	p.ID = id
	f(&p)
	if found {
		c.unlist(was, p.words())
	}
	return c.list(p, was.words())
}

// unlist takes a person out of what is searched, due and kept, but for the words
// that the person keeps.
func (c *change) unlist(p Person, keep []string) {
	for _, w := range p.words() {
		if !slices.Contains(keep, w) {
			c.drop(tableFind, key(w, p.ID))
		}
	}
	for _, d := range p.Due {
		c.drop(tableDue, d.key())
	}
	c.keeps.person(p, 1)
	if p.Left != "" {
		c.drop(tableRetired, key(p.Left, p.ID))
	}
}

// list reckons what is due and kept and writes the person; had are the words by which
// the person is found already.
func (c *change) list(p Person, had []string) error {
	if p.Tested == nil {
		p.Tested = []Tested{}
	}
	if p.Fails == nil {
		p.Fails = map[string]int{}
	}
	if p.Recalled == nil {
		p.Recalled = []string{}
	}
	if p.Days == nil {
		p.Days = []string{}
	}
	var err error
	if p.Due, err = c.due(p); err != nil {
		return err
	}
	for _, w := range p.words() {
		if !slices.Contains(had, w) {
			c.mark(tableFind, key(w, p.ID))
		}
	}
	for _, d := range p.Due {
		c.mark(tableDue, d.key())
	}
	c.keeps.person(p, -1)
	if err := c.retire(p); err != nil {
		return err
	}
	return c.put(tablePeople, p.ID, p)
}

// key stands in the table of what is due: the longest due first, and of what is
// due now each reason by itself.
func (d Due) key() string { return key(d.On, d.Why, d.Person, d.Facepiece) }

// dueOf reads a key of that table.
func dueOf(k string) (Due, error) {
	at := strings.Split(k, between)
	if len(at) != 4 {
		return Due{}, fmt.Errorf("view %s has the key %q", tableDue, k)
	}
	return Due{On: at[0], Why: at[1], Person: at[2], Facepiece: at[3]}, nil
}

func (c *change) erase(id string) error {
	c.mark(tableErased, id)
	var p Person
	found, err := c.get(tablePeople, id, &p)
	if err != nil || !found {
		return err
	}
	c.unlist(p, nil)
	for _, day := range p.Days {
		c.drop(tableDay, key(day, id))
	}
	c.drop(tablePeople, id)
	return nil
}

// mostDays is how many days a person stays on lists: older ones are history.
const mostDays = 20

// listed puts a person on the list of a day.
func (c *change) listed(f DayListed, number uint64) error {
	return c.person(f.Person, func(p *Person) {
		p.Days = slices.DeleteFunc(p.Days, func(day string) bool { return day == f.Day })
		if f.Off {
			c.drop(tableDay, key(f.Day, f.Person))
			return
		}
		p.Days = append(p.Days, f.Day)
		slices.Sort(p.Days)
		// The value of a row is Listed, which always can be written.
		_ = c.put(tableDay, key(f.Day, f.Person), Listed{Person: f.Person, Place: f.Place, Number: number})
		for len(p.Days) > mostDays {
			c.drop(tableDay, key(p.Days[0], p.ID))
			p.Days = p.Days[1:]
		}
	})
}

// mostWord is how many bytes of a word people are found by: as many as a key
// holds before the person's id. A letter of some scripts folds into three signs.
const mostWord = store.MaxKey - len(between) - len("p-00000000")

// findable is a folded word as far as people are found by it.
func findable(word string) string {
	if len(word) <= mostWord {
		return word
	}
	end := mostWord
	for !utf8.RuneStart(word[end]) {
		end--
	}
	return word[:end]
}

// words are what a person is found by: each word of the name, and the number as
// a whole and by its words.
func (p Person) words() []string {
	var out []string
	number := Fold(p.Number)
	for _, w := range slices.Concat(strings.Fields(Fold(p.Name)), []string{number}, strings.Fields(number)) {
		if w = findable(w); w != "" && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}
