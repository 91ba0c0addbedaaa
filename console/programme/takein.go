// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"

	"tallyhood/console/procedure"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// batchNews bounds the runs and facts of one transaction of views. What it
// reads and writes lies in memory at once: some 25,000 rows, and as many pages
// of the file at the most.
var batchNews = 4_000

// A news is one entry of the journal as the views take it in.
type news struct {
	number uint64
	kind   string
	fact   Fact // nil: it is about a run
	run    *Run
}

// A folding is a run as far as its entries were read.
type folding struct {
	st    procedure.State
	last  store.Entry // number and hash
	ended uint64      // number of the entry with the verdict
	uses  []use       // nebulisers, and where in the journal
	err   error       // an entry could not be read; it counts once the run has ended
}

func (f *folding) take(e store.Entry) {
	f.last = store.Entry{Number: e.Number, Hash: e.Hash}
	d, err := procedure.Decode(e.Kind, e.Version, e.Body)
	if err != nil {
		f.err = errors.Join(f.err, err)
	} else if f.err == nil {
		f.st = procedure.Fold(f.st, d)
		f.note(e.Number, d.Fact)
	}
	if e.Kind == (procedure.Ended{}).Kind() {
		f.ended = e.Number
	}
}

// mostFolded is how many runs are kept folded between entries. Few are open at
// once; one that is not there any more is read again.
const mostFolded = 32

// A folder keeps the runs that go on, so that each entry is read once.
type folder struct {
	runs  map[string]*folding
	order []string // the longest untouched first
}

// fold takes an entry of a run and gives the run.
func (d *Desk) fold(ctx context.Context, e store.Entry) (*folding, error) {
	o := &d.folder
	f := o.runs[e.Stream]
	switch {
	case f != nil:
		o.order = slices.DeleteFunc(o.order, func(run string) bool { return run == e.Stream })
		f.take(e)
	case e.Kind == (procedure.RunOpened{}).Kind():
		f = &folding{}
		f.take(e)
	default:
		f = &folding{}
		done := errors.New("done")
		err := d.cfg.Store.ReadStream(ctx, e.Stream, func(x store.Entry) error {
			f.take(x)
			if x.Number == e.Number {
				return done
			}
			return nil
		})
		if err != nil && !errors.Is(err, done) {
			return nil, err
		}
	}
	if o.runs == nil {
		o.runs = map[string]*folding{}
	}
	o.runs[e.Stream] = f
	o.order = append(o.order, e.Stream)
	if len(o.order) > mostFolded {
		delete(o.runs, o.order[0])
		o.order = o.order[1:]
	}
	return f, nil
}

// An intake reads entries of the journal and takes them into the views, many of
// them in one transaction: with the number of the last one, so that what is cut
// short goes on where it was.
type intake struct {
	ctx  context.Context
	d    *Desk
	c    *change
	news []news
	at   uint64 // the last entry that was read
}

// read notes one entry.
func (t *intake) read(e store.Entry) error {
	t.at = e.Number
	switch {
	case e.Stream == Stream:
		f, err := Decode(e, t.c.keyOf)
		if errors.Is(err, sealing.ErrErased) {
			return nil // of a person who was erased
		}
		if err != nil {
			return err
		}
		t.news = append(t.news, news{number: e.Number, kind: e.Kind, fact: f})
	case e.Stream != "" && isRunFact(e.Kind):
		f, err := t.d.fold(t.ctx, e)
		if err != nil {
			return fmt.Errorf("run %s: %w", e.Stream, err)
		}
		if f.ended == 0 {
			return nil
		}
		if err := errors.Join(f.err, f.unopened()); err != nil {
			return fmt.Errorf("run %s: %w", e.Stream, err)
		}
		r := lineOf(f.st, f.last.Number, hex.EncodeToString(f.last.Hash[:]))
		r.Ended, r.uses = f.ended, f.uses
		// What undoes a pass is read after the pass, which is judged by itself.
		if n := len(t.news); n > 0 && t.news[n-1].run != nil && t.news[n-1].run.Run == r.Run && t.news[n-1].run.First == r.First {
			t.news = t.news[:n-1] // nothing came in between: the later state counts
		}
		t.news = append(t.news, news{number: e.Number, kind: e.Kind, run: &r})
	}
	if len(t.news) >= batchNews {
		return t.take()
	}
	return nil
}

func (f *folding) unopened() error {
	if f.st.Opened == nil {
		return errors.New("it does not begin with run_opened")
	}
	return nil
}

// isRunFact tells the entries of runs from those of streams that nobody here
// knows.
func isRunFact(kind string) bool { return runFacts[kind] }

var runFacts = func() map[string]bool {
	m := map[string]bool{}
	for kind := range procedure.Kinds() {
		m[kind] = true
	}
	return m
}()

// take folds what was noted into the views and writes them.
func (t *intake) take() error {
	if err := t.c.prefetch(t.news); err != nil {
		return err
	}
	for _, n := range t.news {
		var err error
		if n.run != nil {
			err = t.c.run(*n.run)
		} else {
			err = t.c.apply(n.fact, n.number)
		}
		if err != nil {
			return fmt.Errorf("entry %d, %s: %w", n.number, n.kind, err)
		}
	}
	t.news = t.news[:0]
	return t.flush()
}

func (t *intake) flush() error {
	d, c := t.d, t.c
	touched := c.touched(tableNebulisers, tableSolutions, tableHoods, tableFacepieces)
	runs, err := c.changedRuns()
	if err != nil {
		return err
	}
	if err := errors.Join(c.markRuns(runs), c.keepCounted()); err != nil {
		return err
	}
	if pairs := c.pairs(); len(pairs) > 0 {
		pairs = append(pairs, store.Pair{Table: tableViews, Key: "at", Value: fmt.Append(nil, t.at)}, store.Pair{Table: tableViews, Key: keeping, Value: keepingWord(t.at)})
		if _, err := d.cfg.Store.Commit(t.ctx, nil, pairs); err != nil {
			return err
		}
	}
	d.words.follow(c)
	d.recent.follow(runs)
	if d.watch != nil && len(runs) > 0 {
		d.watch(t.ctx, runs)
	}
	d.stale = d.stale || touched
	// Entries that say nothing to the views are not worth a write: after a
	// restart they are read again.
	d.at = t.at
	t.c = d.change(t.ctx)
	return nil
}

// sync brings the views up to date with the journal, in the order of its
// entries, as a rebuild does: nothing that others wrote in between changes the
// order. The caller holds mu.
func (d *Desk) sync(ctx context.Context) error { return d.syncWith(ctx, nil, nil) }

// syncWith is sync with entries that were just written and keys that are at
// hand, so that they need not be read.
func (d *Desk) syncWith(ctx context.Context, fresh []store.Entry, keys map[string]*sealing.Key) error {
	t := &intake{ctx: ctx, d: d, c: d.change(ctx), at: d.at}
	for id, k := range keys {
		t.c.keys[id] = k
	}
	err := func() error {
		for _, e := range fresh {
			if e.Number != t.at+1 {
				break // somebody wrote in between
			}
			if err := t.read(e); err != nil {
				return err
			}
		}
		if last, _ := d.cfg.Store.Last(); last > t.at {
			if err := d.cfg.Store.Read(ctx, t.at+1, t.read); err != nil {
				return err
			}
		}
		return t.take()
	}()
	if err != nil {
		d.folder = folder{} // it may be ahead of what was written
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

// prefetch reads the rows that news will change, many at a time and each once.
func (c *change) prefetch(all []news) error {
	if len(all) < 2 {
		return nil
	}
	people, runs := map[string]bool{}, map[string]bool{}
	for _, n := range all {
		switch f := n.fact.(type) {
		case nil:
			runs[n.run.Run], people[n.run.Person] = true, true
		case Personal:
			people[f.About()] = true
		case PersonErased:
			people[f.Person] = true
		case RunsRecalled:
			for _, run := range f.Runs {
				runs[run] = true
			}
		case RunAmended:
			runs[f.Run] = true
		case RunSigned:
			runs[f.Run] = true
		}
	}
	return errors.Join(c.fetch(tablePeople, people), c.fetch(tableRuns, runs))
}

// fetch reads rows of a table that are not here yet.
func (c *change) fetch(table string, keys map[string]bool) error {
	var want []string
	for k := range keys {
		if at := [2]string{table, k}; k != "" && c.rows[at] == nil {
			c.rows[at] = &row{}
			c.order = append(c.order, at)
			want = append(want, k)
		}
	}
	return c.d.cfg.Store.Table(table).Some(c.ctx, want, func(k string, value []byte) error {
		c.rows[[2]string{table, k}].value = value
		return nil
	})
}
