// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"errors"

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
	var ids []string
	var facts []Fact
	keys := map[string]*sealing.Key{}
	var pairs []store.Pair
	for _, form := range forms {
		id, key, pair, err := d.newPerson(ctx)
		if err != nil {
			return nil, err
		}
		keys[id] = key
		pairs = append(pairs, pair)
		ids = append(ids, id)
		facts = append(facts, PersonEntered{Person: id, Form: form, By: by})
	}
	return ids, d.doWith(ctx, facts, pairs, keys)
}

// newPerson makes an id that nobody has, and its key.
func (d *Desk) newPerson(ctx context.Context) (string, *sealing.Key, store.Pair, error) {
	for {
		id, err := sealing.NewPerson(d.cfg.Random)
		if err != nil {
			return "", nil, store.Pair{}, err
		}
		key, pair, err := d.cfg.Ring.New(ctx, id)
		if errors.Is(err, sealing.ErrExists) {
			continue
		}
		return id, key, pair, err
	}
}

// Erase destroys a person's key and takes the person out of every view; what
// the runs came to stays, without a name. It ends with the file written anew,
// so that nothing of it is left there.
func (d *Desk) Erase(ctx context.Context, person, reason, by string) error {
	d.mu.Lock()
	err := d.do(ctx, []Fact{PersonErased{person, reason, by}}, []store.Pair{d.cfg.Ring.Destroy(person)})
	d.mu.Unlock()
	if err != nil {
		return err
	}
	if d.cfg.Compact != nil {
		return d.cfg.Compact(ctx)
	}
	return d.cfg.Store.Compact(ctx)
}
