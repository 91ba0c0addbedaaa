// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"tallyhood/console/procedure"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// Enter adds a person and gives the new id.
func (d *Desk) Enter(ctx context.Context, form PersonForm, by string) (string, error) {
	ids, err := d.EnterAll(ctx, []PersonForm{form}, by)
	if err != nil {
		return "", err
	}
	return ids[0], nil
}

// EnterAll adds people, all or none, and gives their ids in the same order.
func (d *Desk) EnterAll(ctx context.Context, forms []PersonForm, by string) ([]string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.enter(ctx, forms, nil, by)
}

// enter adds people and then writes further facts, all or none; the caller
// holds mu.
func (d *Desk) enter(ctx context.Context, forms []PersonForm, more []Fact, by string) ([]string, error) {
	var ids []string
	facts := more
	keys := map[string]*sealing.Key{}
	var pairs []store.Pair
	gone := map[string]bool{}
	erased, err := d.cfg.Store.Table(tableErased).Keys(ctx, "")
	if err != nil {
		return nil, err
	}
	for _, id := range erased {
		gone[id] = true
	}
	for _, form := range forms {
		id, key, pair, err := d.newPerson(ctx, gone)
		if err != nil {
			return nil, err
		}
		keys[id], gone[id] = key, true
		pairs = append(pairs, pair)
		ids = append(ids, id)
		facts = append(facts, PersonEntered{Person: id, Form: form, By: by})
	}
	return ids, d.do(ctx, facts, pairs, keys)
}

// newPerson makes an id that nobody has or had, and its key: under the id of
// somebody erased, the runs of that person would be the new one's.
func (d *Desk) newPerson(ctx context.Context, besides map[string]bool) (string, *sealing.Key, store.Pair, error) {
	for {
		id, err := sealing.NewPerson(d.cfg.Random)
		if err != nil {
			return "", nil, store.Pair{}, err
		}
		if besides[id] {
			continue
		}
		key, pair, err := d.cfg.Ring.New(ctx, id)
		if errors.Is(err, sealing.ErrExists) {
			continue
		}
		return id, key, pair, err
	}
}

// erasing is the key that stands in the table of views while something erased
// may still be in the file.
const erasing = "erasing"

// ErrUncleaned: people were erased from every view and table, and what held them
// before is still in the store's file, their keys included, or they are not in the
// list beside it, since no room was left to write those anew. The erasure is not
// done before Clean has returned without it.
var ErrUncleaned = errors.New("erased, but what is left of it on the card is not cleaned yet: make room there; erase again, or wait for the next attempt of the box")

// Erase destroys a person's key and takes the person out of every view; what
// the runs came to stays, without a name. It ends with the file written anew,
// so that nothing of it is left there; otherwise the error is ErrUncleaned. For
// somebody erased before it ends what was left to do. The reason stays readable:
// it must not name the person.
func (d *Desk) Erase(ctx context.Context, person, reason, by string) error {
	return d.EraseAll(ctx, []string{person}, reason, by)
}

// EraseAll is Erase for several people, all or none, with the file written anew
// once.
func (d *Desk) EraseAll(ctx context.Context, people []string, reason, by string) error {
	d.cleaning.Lock()
	defer d.cleaning.Unlock()
	if err := d.erase(ctx, people, reason, by); err != nil {
		return err
	}
	return d.clean(context.WithoutCancel(ctx))
}

// Unclean says whether somebody erased may still be in the store's file, or be
// missing in the list beside it.
func (d *Desk) Unclean(ctx context.Context) (bool, error) {
	_, err := d.cfg.Store.Table(tableViews).Get(ctx, erasing)
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// Clean ends what erasures have left to do, if anything. The store takes nothing
// meanwhile, so no run should be open.
func (d *Desk) Clean(ctx context.Context) error {
	d.cleaning.Lock()
	defer d.cleaning.Unlock()
	return d.clean(ctx)
}

// clean is Clean; the caller holds cleaning.
func (d *Desk) clean(ctx context.Context) error {
	owed, err := d.Unclean(ctx)
	if err != nil || !owed {
		return err
	}
	var kept error
	if d.cfg.Erased != nil {
		all, err := d.Erased(ctx)
		if err != nil {
			return err
		}
		kept = d.cfg.Erased(all)
	}
	return d.compact(ctx, kept)
}

// Erased gives the ids of everybody of whom the journal knows the erasure.
func (d *Desk) Erased(ctx context.Context) ([]string, error) {
	return d.cfg.Store.Table(tableErased).Keys(ctx, "")
}

// ErasedIn is the same from the journal itself, for a store without a desk.
func ErasedIn(ctx context.Context, j store.Journal) ([]string, error) {
	var people []string
	err := j.ReadStream(ctx, Stream, func(e store.Entry) error {
		if e.Kind != (PersonErased{}).Kind() && e.Kind != (ErasuresKnown{}).Kind() {
			return nil
		}
		f, err := Decode(e, nil) // neither of them is sealed
		switch f := f.(type) {
		case PersonErased:
			people = append(people, f.Person)
		case ErasuresKnown:
			people = append(people, f.People...)
		}
		return err
	})
	return people, err
}

// The words of an erasure that is made again.
const (
	againReason = "erased before: an older copy of the store had brought it back"
	againBy     = "the box"
)

// EraseAgain takes ids of people who were erased before, and erases those who
// are here all the same, since the store was taken from an older copy; their ids
// are returned, in order. The others are noted, so that later backups have them.
func (d *Desk) EraseAgain(ctx context.Context, known []string) ([]string, error) {
	has, err := d.Erased(ctx)
	if err != nil {
		return nil, err
	}
	var here, unknown []string
	for _, id := range slices.Compact(slices.Sorted(slices.Values(known))) {
		if sealing.CheckPerson(id) != nil || slices.Contains(has, id) {
			continue
		}
		switch _, err := d.Person(ctx, id); {
		case err == nil:
			here = append(here, id)
		case errors.Is(err, store.ErrNotFound):
			unknown = append(unknown, id)
		default:
			return nil, err
		}
	}
	if len(unknown) > 0 {
		if err := d.Do(ctx, ErasuresKnown{People: unknown, By: againBy}); err != nil {
			return nil, err
		}
	}
	if len(here) == 0 {
		return nil, nil
	}
	return here, d.EraseAll(ctx, here, againReason, againBy)
}

func (d *Desk) erase(ctx context.Context, people []string, reason, by string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return err
	}
	before, err := d.Erased(ctx)
	if err != nil {
		return err
	}
	pairs := []store.Pair{{Table: tableViews, Key: erasing, Value: []byte{}}}
	var facts []Fact
	var now []string
	for _, id := range people {
		if slices.Contains(before, id) {
			continue // what is left to do is clean's
		}
		now = append(now, id)
		facts = append(facts, PersonErased{id, reason, by})
		pairs = append(pairs, d.cfg.Ring.Destroy(id))
	}
	if len(facts) == 0 {
		return nil
	}
	drawn, err := d.forgetStrokes(ctx, now)
	if err != nil {
		return err
	}
	return d.do(ctx, facts, append(pairs, drawn...), nil)
}

// compact writes the store's file anew, and notes that all is done unless
// something beside it failed.
func (d *Desk) compact(ctx context.Context, beside error) error {
	if err := errors.Join(beside, d.cfg.Store.Compact(ctx)); err != nil {
		return fmt.Errorf("%w: %w", ErrUncleaned, err)
	}
	_, err := d.cfg.Store.Commit(ctx, nil, []store.Pair{{Table: tableViews, Key: erasing, Delete: true}})
	return err
}

// wearerKind is what a name in the opening of a run is sealed as.
var wearerKind = procedure.RunOpened{}.Kind()

// SealWearer gives the wearer as the opening of a run holds one: the name can
// be read as long as the person is not erased.
func (d *Desk) SealWearer(ctx context.Context, person, name string) (procedure.Wearer, error) {
	text, err := d.cfg.Ring.Seal(ctx, person, wearerKind, []byte(name))
	if err != nil {
		return procedure.Wearer{}, fmt.Errorf("seal the name of %s: %w", person, err)
	}
	return procedure.Wearer{ID: person, Sealed: text}, nil
}

// OpenWearer gives the wearer with the name, as it was at the run. The error is
// sealing.ErrErased for somebody who was erased; the wearer is then without one.
func (d *Desk) OpenWearer(ctx context.Context, w procedure.Wearer) (procedure.Wearer, error) {
	return OpenWearer(ctx, d.cfg.Ring, w)
}

// OpenWearer is the same for whoever reads a store without a desk.
func OpenWearer(ctx context.Context, ring *sealing.Ring, w procedure.Wearer) (procedure.Wearer, error) {
	if w.Sealed == "" {
		return w, nil
	}
	name, err := ring.Open(ctx, w.ID, wearerKind, w.Sealed)
	if err != nil {
		return w, fmt.Errorf("name of %s: %w", w.ID, err)
	}
	w.Name = string(name)
	return w, nil
}

// EachPerson calls f with everybody, in the order of their ids.
func (d *Desk) EachPerson(ctx context.Context, f func(Person) error) error {
	after := ""
	for {
		people, err := list[Person](ctx, d, tablePeople, "", after, redoStep)
		if err != nil {
			return err
		}
		for _, p := range people {
			after = p.ID
			if err := f(p); err != nil {
				return err
			}
		}
		if len(people) < redoStep {
			return nil
		}
	}
}

// hasNumber says whether somebody else who has not left has a company number.
func (c *change) hasNumber(number, besides string) (bool, error) {
	prefix := findable(Fold(number)) + between
	var ids []string
	err := c.d.cfg.Store.Table(tableFind).Range(c.ctx, prefix, "", mostKit, func(k string, _ []byte) error {
		ids = append(ids, k[len(prefix):])
		return nil
	})
	if err != nil {
		return false, err
	}
	for _, id := range slices.DeleteFunc(ids, func(id string) bool { return id == besides }) {
		var p Person
		found, err := c.get(tablePeople, id, &p)
		if err != nil {
			return false, err
		}
		if found && p.Left == "" && Fold(p.Number) == Fold(number) {
			return true, nil
		}
	}
	return false, nil
}
