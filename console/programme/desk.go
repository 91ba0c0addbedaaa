// SPDX-License-Identifier: Apache-2.0

// Package programme is the job around the runs: who wears what, who is due,
// which facepieces, hoods, nebulisers and solutions there are, and what became
// of the records. Facts go to the journal; views of them lie in tables, are
// written in the same transaction, and can be made anew from the journal at any
// time. It must not decide what a run comes to, and no fact of it makes a pass.
package programme

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// Config is what a desk works with.
type Config struct {
	Store store.Store
	Ring  *sealing.Ring
	Rules map[string]procedure.RuleSet
	// Now is wall time, and whether it is good enough for due dates.
	Now func() (t time.Time, trusted bool)
	// Compact, if not nil, is called instead of the store's own after an
	// erasure: the daemon waits for a moment without a run.
	Compact func(context.Context) error
	Log     *slog.Logger
	Random  io.Reader // for ids; crypto/rand.Reader but in tests
}

// A Desk takes what people enter and keeps the views. Its methods may be called
// from any goroutine.
type Desk struct {
	cfg Config

	mu  sync.Mutex // one change at a time: views are read, changed and written
	kit atomic.Pointer[kit]
}

// Refused is why something was not done, as a key for the page's words and a
// sentence for whoever reads it raw.
type Refused struct {
	Why  string
	Text string
}

func (r Refused) Error() string { return r.Text }

func refuse(why, format string, args ...any) error {
	return Refused{why, fmt.Sprintf(format, args...)}
}

// New opens the desk: views of an older form are made anew, and runs that ended
// without it are taken in.
func New(ctx context.Context, cfg Config) (*Desk, error) {
	d := &Desk{cfg: cfg}
	form, err := cfg.Store.Table(tableViews).Get(ctx, "form")
	switch {
	case errors.Is(err, store.ErrNotFound) || err == nil && string(form) != viewsForm:
		err = d.Rebuild(ctx)
	case err == nil:
		err = d.catchUp(ctx)
	}
	if err == nil {
		err = d.readKit(ctx)
	}
	if err != nil {
		return nil, fmt.Errorf("programme: %w", err)
	}
	return d, nil
}

// Do makes facts durable together with the views that follow from them, all or
// none. What is refused was not written.
func (d *Desk) Do(ctx context.Context, facts ...Fact) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.do(ctx, facts, nil)
}

// do is Do with further pairs for the same transaction; the caller holds mu.
func (d *Desk) do(ctx context.Context, facts []Fact, more []store.Pair) error {
	return d.doWith(ctx, facts, more, nil)
}

// doWith is do with the keys of people who are new.
func (d *Desk) doWith(ctx context.Context, facts []Fact, more []store.Pair, keys map[string]*sealing.Key) error {
	c := d.change(ctx)
	for id, k := range keys {
		c.keys[id] = k
	}
	var drafts []store.Draft
	for _, f := range facts {
		if err := c.check(f); err != nil {
			return err
		}
		body, err := Encode(f, c.keyOf)
		if err != nil {
			return err
		}
		drafts = append(drafts, store.Draft{Stream: Stream, Kind: f.Kind(), Version: FactVersion, Body: body})
		if err := c.apply(f); err != nil {
			return fmt.Errorf("%s: %w", f.Kind(), err)
		}
	}
	if _, err := d.cfg.Store.Commit(ctx, drafts, append(c.pairs(), more...)); err != nil {
		return err
	}
	if c.touched(tableNebulisers, tableSolutions, tableHoods, tableFacepieces, tablePolicy) {
		return d.readKit(ctx)
	}
	return nil
}

// A change is a set of views in the making: what it has read or written is
// kept, so that facts of one transaction see one another.
type change struct {
	ctx   context.Context
	d     *Desk
	rows  map[[2]string]*row
	order [][2]string // of the first touch, so that a transaction is the same each time
	keys  map[string]*sealing.Key
}

type row struct {
	value []byte // nil: there is none
	dirty bool
}

func (d *Desk) change(ctx context.Context) *change {
	return &change{ctx: ctx, d: d, rows: map[[2]string]*row{}, keys: map[string]*sealing.Key{}}
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
	r, err := c.row(table, key)
	if err != nil || r.value == nil {
		return false, err
	}
	if err := json.Unmarshal(r.value, v); err != nil {
		return false, fmt.Errorf("view %s of %s: %w", table, key, err)
	}
	return true, nil
}

func (c *change) put(table, key string, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	r, err := c.row(table, key)
	if err != nil {
		return err
	}
	r.value, r.dirty = b, true
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
	c.rows[at].value, c.rows[at].dirty = value, true
}

func (c *change) pairs() []store.Pair {
	var out []store.Pair
	for _, at := range c.order {
		if r := c.rows[at]; r.dirty {
			out = append(out, store.Pair{Table: at[0], Key: at[1], Value: r.value, Delete: r.value == nil})
		}
	}
	return out
}

// batchRows bounds what one transaction of a rebuild holds.
const batchRows = 5000

// Rebuild makes every view anew from the journal.
func (d *Desk) Rebuild(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, table := range []string{
		tablePeople, tableFind, tableDue, tableFacepieces, tableHoods, tableNebulisers, tableSolutions, tablePolicy,
		tableRuns, tableRunsOf, tableRunsAt, tableUsed, tableViews,
	} {
		if err := d.empty(ctx, table); err != nil {
			return fmt.Errorf("empty view %s: %w", table, err)
		}
	}
	c := d.change(ctx)
	flush := func(least int) error {
		if len(c.rows) < least {
			return nil
		}
		_, err := d.cfg.Store.Commit(ctx, nil, c.pairs())
		c = d.change(ctx)
		return err
	}
	// In the order of the journal, so that a fact about a run finds the run.
	err := d.cfg.Store.Read(ctx, 1, func(e store.Entry) error {
		switch {
		case e.Stream == Stream:
			f, err := Decode(e, c.keyOf)
			if errors.Is(err, sealing.ErrErased) {
				return nil // of a person who was erased
			}
			if err != nil {
				return err
			}
			if err := c.apply(f); err != nil {
				return fmt.Errorf("entry %d, %s: %w", e.Number, e.Kind, err)
			}
		case e.Kind == procedure.Ended{}.Kind() || e.Kind == procedure.ProofGiven{}.Kind():
			if err := c.takeRun(e.Stream); err != nil {
				return fmt.Errorf("run %s: %w", e.Stream, err)
			}
		default:
			return nil
		}
		return flush(batchRows)
	})
	if err == nil {
		c.set(tableViews, "form", []byte(viewsForm))
		err = flush(0)
	}
	return err
}

// empty deletes every pair of a table.
func (d *Desk) empty(ctx context.Context, table string) error {
	for {
		var gone []store.Pair
		err := d.cfg.Store.Table(table).Range(ctx, "", "", batchRows, func(key string, _ []byte) error {
			gone = append(gone, store.Pair{Table: table, Key: key, Delete: true})
			return nil
		})
		if err != nil || len(gone) == 0 {
			return err
		}
		if _, err := d.cfg.Store.Commit(ctx, nil, gone); err != nil {
			return err
		}
	}
}

// catchUp takes in the runs that ended while no desk was there. Runs follow
// each other, so the newest that is known ends the search.
func (d *Desk) catchUp(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	var missing []string
	before := uint64(0)
	for {
		infos, err := d.cfg.Store.Streams(ctx, before, 64)
		if err != nil {
			return err
		}
		for _, info := range infos {
			before = info.First
			if info.Stream == Stream {
				continue
			}
			var known Run
			found, err := d.change(ctx).get(tableRuns, info.Stream, &known)
			if err != nil {
				return err
			}
			if found && known.Number == info.Last {
				infos = nil
				break
			}
			missing = append(missing, info.Stream)
		}
		if len(infos) < 64 {
			break
		}
	}
	for i := len(missing) - 1; i >= 0; i-- {
		if err := d.ended(ctx, missing[i]); err != nil {
			return err
		}
	}
	return nil
}

// Ended takes in a run that has ended, or one that got its proof after a pass.
func (d *Desk) Ended(ctx context.Context, run string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ended(ctx, run)
}

func (d *Desk) ended(ctx context.Context, run string) error {
	c := d.change(ctx)
	if err := c.takeRun(run); err != nil {
		return fmt.Errorf("take in run %s: %w", run, err)
	}
	if _, err := d.cfg.Store.Commit(ctx, nil, c.pairs()); err != nil {
		return err
	}
	if c.touched(tableNebulisers) {
		return d.readKit(ctx)
	}
	return nil
}

// takeRun brings the views up to date with the facts of a run.
func (c *change) takeRun(run string) error {
	st, last, err := archive.Folded(c.ctx, c.d.cfg.Store, run)
	if err != nil {
		return err
	}
	if st.Verdict == nil {
		return nil
	}
	return c.run(lineOf(st, last))
}
