// SPDX-License-Identifier: Apache-2.0

// Package programme is the job around the runs: who wears what, who is due,
// which facepieces, hoods, nebulisers and solutions there are, and what became
// of the records. Facts go to the journal; views of them lie in tables, follow
// the journal entry by entry, and can be made anew from it at any time. It must
// not decide what a run comes to, and no fact of it makes a pass.
package programme

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

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
// from any goroutine; those that change something wait for the disk and for
// each other, so the loop of a run calls none but Kept and Nebuliser.
type Desk struct {
	cfg Config

	mu    sync.Mutex // one change at a time: views are read, changed and written
	at    uint64     // the last entry of the journal that the views have
	stale bool       // the kit in memory is not that of the tables
	kit   atomic.Pointer[kit]
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

// New opens the desk. Views of an older form are made anew, what the journal
// has got since they were written is taken in, and an erasure that the power
// cut short is brought to its end.
func New(ctx context.Context, cfg Config) (*Desk, error) {
	d := &Desk{cfg: cfg}
	if err := d.open(ctx); err != nil {
		return nil, fmt.Errorf("programme: %w", err)
	}
	return d, nil
}

func (d *Desk) open(ctx context.Context) error {
	form, err := d.cfg.Store.Table(tableViews).Get(ctx, "form")
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	last, _ := d.cfg.Store.Last()
	found, err := one[uint64](ctx, d, tableViews, "at")
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	if string(form) != viewsForm || found > last {
		if err := d.Rebuild(ctx); err != nil {
			return err
		}
	} else {
		d.at = found
		if err := d.catchUp(ctx); err != nil {
			return err
		}
	}
	if err := d.RedoDue(ctx); err != nil {
		return err
	}
	return d.compact(ctx, false)
}

// catchUp takes in what was written while no desk was there.
func (d *Desk) catchUp(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.stale = true
	return d.sync(ctx)
}

// Do makes facts durable, all or none, and then brings the views up to date.
// After Refused nothing was written. A fact that changes what is due for many
// reckons it anew before Do returns.
func (d *Desk) Do(ctx context.Context, facts ...Fact) error {
	for _, f := range facts {
		if m, ok := f.(MistChecked); ok && !m.Good {
			return refuse("not_shown", "a bad mist check takes runs along; look at them first")
		}
	}
	d.mu.Lock()
	err := d.do(ctx, facts, nil, nil)
	d.mu.Unlock()
	if err != nil {
		return err
	}
	return d.RedoDue(ctx)
}

// do is Do with further pairs for the same transaction and the keys of people
// who are new; the caller holds mu.
func (d *Desk) do(ctx context.Context, facts []Fact, more []store.Pair, keys map[string]*sealing.Key) error {
	if err := d.sync(ctx); err != nil {
		return err
	}
	c := d.change(ctx)
	for id, k := range keys {
		c.keys[id] = k
	}
	var drafts []store.Draft
	last, _ := d.cfg.Store.Last()
	alone := len(facts) // from here on no fact stands on another one
	for alone > 0 {
		if _, person := facts[alone-1].(PersonEntered); !person {
			break
		}
		alone--
	}
	for i, f := range facts {
		if err := c.check(f); err != nil {
			return err
		}
		body, err := Encode(f, c.keyOf)
		if err != nil {
			return err
		}
		drafts = append(drafts, store.Draft{Stream: Stream, Kind: f.Kind(), Version: FactVersion, Body: body})
		if i < alone && i+1 < len(facts) {
			if err := c.apply(f, last+1+uint64(i)); err != nil {
				return fmt.Errorf("%s: %w", f.Kind(), err)
			}
		}
	}
	entries, err := d.cfg.Store.Commit(ctx, drafts, more)
	if err != nil {
		return err
	}
	return d.syncWith(context.WithoutCancel(ctx), entries, c.keys)
}

// Ended takes in a run that has ended, or one that got its proof after a pass:
// whatever stands in the journal.
func (d *Desk) Ended(ctx context.Context, run string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return fmt.Errorf("take in run %s: %w", run, err)
	}
	return nil
}

// batchRows bounds what one transaction of views holds.
const batchRows = 20_000

// sync brings the views up to date with the journal, entry by entry, as a
// rebuild does: nothing that others wrote in between changes the order. The
// caller holds mu.
func (d *Desk) sync(ctx context.Context) error { return d.syncWith(ctx, nil, nil) }

// syncWith is sync with entries that were just written and keys that are at
// hand, so that they need not be read.
func (d *Desk) syncWith(ctx context.Context, fresh []store.Entry, keys map[string]*sealing.Key) error {
	c := d.change(ctx)
	for id, k := range keys {
		c.keys[id] = k
	}
	at := d.at
	flush := func(least int) error {
		if len(c.rows) < least {
			return nil
		}
		touched := c.touched(tableNebulisers, tableSolutions, tableHoods, tableFacepieces)
		if pairs := c.pairs(); len(pairs) > 0 {
			pairs = append(pairs, store.Pair{Table: tableViews, Key: "at", Value: fmt.Append(nil, at)})
			if _, err := d.cfg.Store.Commit(ctx, nil, pairs); err != nil {
				return err
			}
		}
		d.stale = d.stale || touched
		// Entries that say nothing to the views are not worth a write: after a
		// restart they are read again.
		d.at = at
		c = d.change(ctx)
		return nil
	}
	take := func(e store.Entry) error {
		if err := c.take(e); err != nil {
			return err
		}
		at = e.Number
		return flush(batchRows)
	}
	for _, e := range fresh {
		if e.Number != at+1 {
			break // somebody wrote in between
		}
		if err := take(e); err != nil {
			return err
		}
	}
	if last, _ := d.cfg.Store.Last(); last > at {
		if err := d.cfg.Store.Read(ctx, at+1, take); err != nil {
			return err
		}
	}
	if err := flush(0); err != nil {
		return err
	}
	if d.stale {
		if err := d.readKit(ctx); err != nil {
			return err
		}
		d.stale = false
	}
	return nil
}

// take folds one entry of the journal into the views.
func (c *change) take(e store.Entry) error {
	switch {
	case e.Stream == Stream:
		f, err := Decode(e, c.keyOf)
		if errors.Is(err, sealing.ErrErased) {
			return nil // of a person who was erased
		}
		if err != nil {
			return err
		}
		if err := c.apply(f, e.Number); err != nil {
			return fmt.Errorf("entry %d, %s: %w", e.Number, e.Kind, err)
		}
	case e.Kind == procedure.Ended{}.Kind() || e.Kind == procedure.ProofGiven{}.Kind():
		if err := c.takeRun(e); err != nil {
			return fmt.Errorf("run %s: %w", e.Stream, err)
		}
	}
	return nil
}

// Rebuild makes every view anew from the journal. When it is cut short, the
// next New begins it again.
func (d *Desk) Rebuild(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, table := range viewTables {
		if err := d.empty(ctx, table); err != nil {
			return fmt.Errorf("empty view %s: %w", table, err)
		}
	}
	d.at, d.stale = 0, true
	if err := d.sync(ctx); err != nil {
		return err
	}
	if err := d.redoDue(ctx, func() {}); err != nil {
		return err
	}
	_, err := d.cfg.Store.Commit(ctx, nil, []store.Pair{
		{Table: tableViews, Key: "form", Value: []byte(viewsForm)},
		{Table: tableViews, Key: "at", Value: fmt.Append(nil, d.at)},
		{Table: tableViews, Key: "rules", Value: d.rulesWord()},
	})
	return err
}

// empty deletes every pair of a table but the mark of an erasure to be ended.
func (d *Desk) empty(ctx context.Context, table string) error {
	for {
		var gone []store.Pair
		err := d.cfg.Store.Table(table).Range(ctx, "", "", batchRows, func(key string, _ []byte) error {
			if table != tableViews || key != erasing {
				gone = append(gone, store.Pair{Table: table, Key: key, Delete: true})
			}
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
