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
	// Quality says how far the clock can be trusted, in the words of a run's
	// opening; nil: confirmed when Now trusts it, else unset.
	Quality func() string
	// Erased, if not nil, is told the ids of everybody whose erasure is in the
	// journal, to keep them outside the store as well: an older copy of the store
	// knows nothing of it. It may be told the same ids again.
	Erased func(people []string) error
	// OnSpoiled, if not nil, is told after the fact is durable that a nebuliser or
	// a batch gives no sure mist any more to a run that has it in use. It is called
	// in the goroutine of whoever made the change, with nothing locked.
	OnSpoiled func(Spoilt)
	Log       *slog.Logger
	Random    io.Reader // for ids; crypto/rand.Reader but in tests
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

	cleaning sync.Mutex // one erasure at a time, to its end; taken before mu

	folder folder // runs that go on
	watch  func(context.Context, []RunChange)
	words  words
	recent recent
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

// stamp is the instant of a fact, and how far the clock can be trusted.
func (d *Desk) stamp() (at, quality string) {
	now, trusted := d.cfg.Now()
	switch {
	case d.cfg.Quality != nil:
		quality = d.cfg.Quality()
	case trusted:
		quality = "confirmed"
	default:
		quality = "unset"
	}
	return now.Format(time.RFC3339), quality
}

// New opens the desk. Views of an older form are made anew, what the journal
// has got since they were written is taken in, and an erasure that the power
// cut short is brought to its end, or is still Unclean where there is no room.
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
	d.mu.Lock()
	err = d.writeRecalls(ctx)
	d.mu.Unlock()
	if err != nil {
		return err
	}
	if err := d.RedoDue(ctx); err != nil {
		return err
	}
	if owed, err := d.Unclean(ctx); err != nil || !owed {
		return err
	}
	// Without room there are still tests to be made and records to be shown.
	if err := d.compact(ctx, nil); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		d.cfg.Log.Error("somebody erased is still in the store's file: it could not be written anew", "err", err)
	}
	return nil
}

// A RunChange is a run as the views have it now, and as they had it before.
type RunChange struct {
	Was *Run // nil: it is new
	Is  Run
}

// Watch calls f whenever views of runs have changed on the disk, in order and
// while changes wait, so f must be quick and must not change anything here. The
// last f counts. A rebuild tells of every run as new.
func (d *Desk) Watch(f func(context.Context, []RunChange)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.watch = f
}

// catchUp takes in what was written while no desk was there.
func (d *Desk) catchUp(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.stale = true
	if err := d.makeKeeping(ctx); err != nil {
		return err
	}
	return d.sync(ctx)
}

// Do makes facts durable, all or none, and then brings the views up to date.
// After Refused nothing was written. A fact that changes what is due for many
// reckons it anew before Do returns.
func (d *Desk) Do(ctx context.Context, facts ...Fact) error {
	d.mu.Lock()
	told := d.warn(facts)
	err := d.unshown(ctx, facts)
	if err == nil {
		err = d.do(ctx, facts, nil, nil)
	}
	d.mu.Unlock()
	if err == nil || errors.Is(err, ErrSaved) {
		d.tell(told) // what is saved holds, whatever became of the views
	}
	if err != nil {
		return err
	}
	return saved(d.RedoDue(ctx))
}

// do is Do with further pairs for the same transaction and the keys of people
// who are new; the caller holds mu. A person's form is bounded by its check, so
// people at the end are not put together with the views before they are written.
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
	alone := len(facts) // from here on facts are of people, and none stands on another one
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
		drafts = append(drafts, store.Draft{Stream: Stream, Kind: f.Kind(), Version: VersionOf(f.Kind()), Body: body})
		if i < alone {
			if err := c.apply(f, last+1+uint64(i)); err != nil {
				return fmt.Errorf("%s: %w", f.Kind(), err)
			}
		}
	}
	// What stands in the journal and cannot be put into the views would stop
	// everything that comes after it.
	if err := c.fits(); err != nil {
		return err
	}
	entries, err := d.cfg.Store.Commit(ctx, drafts, more)
	if err != nil {
		return err
	}
	return saved(d.syncWith(context.WithoutCancel(ctx), entries, c.keys))
}

// ErrSaved: what was asked for stands in the journal, and the views do not have
// it yet. To ask for it again would write it twice.
var ErrSaved = errors.New("it is saved, but not shown yet; do not enter it again")

func saved(err error) error {
	if err != nil {
		err = fmt.Errorf("%w: %w", ErrSaved, err)
	}
	return err
}

// Ended takes in a run that has ended, or one that got its proof after a pass:
// whatever stands in the journal.
func (d *Desk) Ended(ctx context.Context, run string) error {
	d.mu.Lock()
	err := d.sync(ctx)
	if err == nil {
		err = d.writeRecalls(ctx)
	}
	d.mu.Unlock()
	if err == nil {
		err = d.RedoDue(ctx)
	}
	if err != nil {
		return fmt.Errorf("take in run %s: %w", run, err)
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
	d.at, d.stale, d.folder = 0, true, folder{}
	d.words.forget()
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
		{Table: tableViews, Key: keeping, Value: keepingWord(d.at)},
	})
	return err
}

// batchRows bounds how many rows one transaction deletes.
const batchRows = 20_000

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
