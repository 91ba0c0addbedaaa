// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"tallyhood/console/sealing"
	"tallyhood/store"
)

// between parts the pieces of a key.
const between = "\x00"

func key(parts ...string) string { return strings.Join(parts, between) }

// A change is a set of views in the making: what it has read or written is
// kept, so that facts of one transaction see one another.
type change struct {
	ctx    context.Context
	d      *Desk
	rows   map[[2]string]*row
	order  [][2]string // of the first touch
	keys   map[string]*sealing.Key
	runs   map[string][]string  // names of a person's runs, once they were asked for
	pieces map[string]Facepiece // decoded, since every due day asks for one
	rules  *Policy
	seen   *clockSeen
	taken  map[string]bool // company numbers that this change gives
	keeps  keepCount       // what is more or less than the table has
}

type row struct {
	value []byte // nil: there is none
	was   []byte // as it lies in the table, of one that was read and changed
	dirty bool
}

func (d *Desk) change(ctx context.Context) *change {
	return &change{
		ctx: ctx, d: d, rows: map[[2]string]*row{}, keys: map[string]*sealing.Key{}, runs: map[string][]string{},
		pieces: map[string]Facepiece{}, taken: map[string]bool{}, keeps: keepCount{},
	}
}

// keyOf finds a person's key.
func (c *change) keyOf(person string) (*sealing.Key, error) {
	if k := c.keys[person]; k != nil {
		return k, nil
	}
	k, err := c.d.cfg.Ring.Key(c.ctx, person)
	if err != nil {
		return nil, err
	}
	c.keys[person] = k
	return k, nil
}

// touched says whether a row of one of the tables was changed.
func (c *change) touched(tables ...string) bool {
	for at, r := range c.rows {
		if r.dirty && slices.Contains(tables, at[0]) {
			return true
		}
	}
	return false
}

func (c *change) row(table, key string) (*row, error) {
	at := [2]string{table, key}
	if r := c.rows[at]; r != nil {
		return r, nil
	}
	value, err := c.d.cfg.Store.Table(table).Get(c.ctx, key)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return nil, err
	}
	r := &row{value: value}
	c.rows[at] = r
	c.order = append(c.order, at)
	return r, nil
}

// get reads a view; found is false when there is none.
func (c *change) get(table, key string, v any) (found bool, err error) {
	if key == "" {
		return false, nil // a run of nobody's
	}
	r, err := c.row(table, key)
	if err != nil || r.value == nil {
		return false, err
	}
	if err := json.Unmarshal(r.value, v); err != nil {
		return false, fmt.Errorf("view %s of %s: %w", table, key, err)
	}
	return true, nil
}

// mostRow is how many bytes a view may have.
var mostRow = store.MaxBody

// A shorter is a view that grows with what happens. One that is too large for its
// row gives itself without the oldest lines that say nothing of how things stand;
// false when it has none such.
type shorter interface{ shorter() (any, bool) }

// aShare is how many of some lines go at once: few enough that much stays, and so
// many that the next ones do not go at the next line.
func aShare(lines int) int { return (lines + 7) / 8 }

// shorter leaves out corrections that others came after, then signatures.
func (r Run) shorter() (any, bool) {
	amended := outdated(r.Amended, func(a, b RunAmended) bool { return a.Field == b.Field })
	if len(amended) < len(r.Amended) {
		r.Amended = amended
		return r, true
	}
	signed := outdated(r.Signed, func(a, b Signature) bool { return a.Who == b.Who })
	is := len(signed) < len(r.Signed)
	r.Signed = signed
	return r, is
}

// outdated gives lines without a share of those that later ones are about as
// well, the oldest.
func outdated[L any](lines []L, same func(a, b L) bool) []L {
	is := func(i int) bool {
		return slices.ContainsFunc(lines[i+1:], func(b L) bool { return same(lines[i], b) })
	}
	var old []int
	for i := range lines {
		if is(i) {
			old = append(old, i)
		}
	}
	old = old[:aShare(len(old))]
	out := make([]L, 0, len(lines))
	for i, l := range lines {
		if !slices.Contains(old, i) {
			out = append(out, l)
		}
	}
	return out
}

// shorter leaves out the oldest cleanings of pieces that are not in stock.
func (f Facepiece) shorter() (any, bool) {
	var old []string
	for piece := range f.Cleaned {
		if !slices.Contains(f.Pieces, piece) {
			old = append(old, piece)
		}
	}
	slices.SortFunc(old, func(a, b string) int {
		return cmp.Or(strings.Compare(f.Cleaned[a], f.Cleaned[b]), strings.Compare(a, b))
	})
	f.Cleaned = maps.Clone(f.Cleaned)
	for _, piece := range old[:aShare(len(old))] {
		delete(f.Cleaned, piece)
	}
	return f, len(old) > 0
}

// put writes a view. What was taken in before there were bounds may be more than
// a row holds: the oldest of it is then in the journal alone.
func (c *change) put(table, key string, v any) error {
	b, err := json.Marshal(v)
	for err == nil && len(b) > mostRow {
		s, grows := v.(shorter)
		if !grows {
			break
		}
		if v, grows = s.shorter(); !grows {
			break
		}
		b, err = json.Marshal(v)
	}
	if err != nil {
		return err
	}
	c.set(table, key, b)
	return nil
}

// mark puts a key whose value says nothing.
func (c *change) mark(table, key string) { c.set(table, key, []byte{}) }

// drop takes a key away.
func (c *change) drop(table, key string) { c.set(table, key, nil) }

func (c *change) set(table, key string, value []byte) {
	at := [2]string{table, key}
	if c.rows[at] == nil {
		c.rows[at] = &row{}
		c.order = append(c.order, at)
	}
	r := c.rows[at]
	if !r.dirty {
		r.was = r.value
	}
	r.value, r.dirty = value, true
}

// changedRuns are the runs that are new or not as they were.
func (c *change) changedRuns() ([]RunChange, error) {
	var out []RunChange
	for _, at := range c.order {
		r := c.rows[at]
		if at[0] != tableRuns || !r.dirty {
			continue
		}
		var x RunChange
		if err := json.Unmarshal(r.value, &x.Is); err != nil {
			return nil, err
		}
		if r.was != nil {
			x.Was = &Run{}
			if err := json.Unmarshal(r.was, x.Was); err != nil {
				return nil, err
			}
		}
		out = append(out, x)
	}
	return out, nil
}

// fits refuses a change that the tables cannot hold.
func (c *change) fits() error {
	for at, r := range c.rows {
		if r.dirty && (len(at[1]) > store.MaxKey || len(r.value) > mostRow) {
			return refuse("too_much", "this is more than can be kept in one entry; enter less of it")
		}
	}
	return nil
}

func (c *change) pairs() []store.Pair {
	var out []store.Pair
	for _, at := range c.order {
		if r := c.rows[at]; r.dirty {
			out = append(out, store.Pair{Table: at[0], Key: at[1], Value: r.value, Delete: r.value == nil})
		}
	}
	// Neighbours in the file are written one after the other.
	slices.SortFunc(out, func(a, b store.Pair) int {
		return cmp.Or(strings.Compare(a.Table, b.Table), strings.Compare(a.Key, b.Key))
	})
	return out
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

func (c *change) policy() (Policy, error) {
	if c.rules == nil {
		var p Policy
		if _, err := c.get(tablePolicy, "policy", &p); err != nil {
			return p, err
		}
		c.rules = &p
	}
	return *c.rules, nil
}

func (c *change) facepiece(id string) (f Facepiece, found bool, err error) {
	if f, found = c.pieces[id]; found {
		return f, true, nil
	}
	if found, err = c.get(tableFacepieces, id, &f); found {
		c.pieces[id] = f
	}
	return f, found, err
}

// runsOf gives a person's runs in the order in which they ended, those of this
// change included.
func (c *change) runsOf(person string) ([]Run, error) {
	names, known := c.runs[person]
	if !known {
		prefix := person + between
		after := ""
		for n := 1; n > 0; {
			n = 0
			err := c.d.cfg.Store.Table(tableRunsOf).Range(c.ctx, prefix, after, findStep, func(k string, _ []byte) error {
				n++
				after = k
				names = append(names, strings.TrimPrefix(k, prefix))
				return nil
			})
			if err != nil {
				return nil, err
			}
		}
		// What this change has added is not in the table yet.
		for at, r := range c.rows {
			if at[0] == tableRunsOf && r.dirty && strings.HasPrefix(at[1], prefix) {
				if name := at[1][len(prefix):]; !slices.Contains(names, name) {
					names = append(names, name)
				}
			}
		}
		c.runs[person] = names
	}
	want := map[string]bool{}
	for _, name := range names {
		want[name] = true
	}
	if err := c.fetch(tableRuns, want); err != nil {
		return nil, err
	}
	var runs []Run
	for _, name := range names {
		var r Run
		found, err := c.get(tableRuns, name, &r)
		if err != nil {
			return nil, err
		}
		if found {
			runs = append(runs, r)
		}
	}
	slices.SortFunc(runs, func(a, b Run) int {
		if a.Ended < b.Ended {
			return -1
		}
		return 1
	})
	return runs, nil
}

// addRun notes that a person has one more run.
func (c *change) addRun(person, run string) {
	c.mark(tableRunsOf, key(person, run))
	if names, known := c.runs[person]; known && !slices.Contains(names, run) {
		c.runs[person] = append(names, run)
	}
}
