// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"sync/atomic"

	"go.etcd.io/bbolt"

	"tallyhood/store"
)

// Bounds of one commit; a single request may be larger.
const (
	maxGroup      = 1000    // drafts and pairs
	maxGroupBytes = 4 << 20 // bodies and values
	maxYields     = 3       // of the processor, one after the other, that bring nothing
)

// A request is one Append, Put or Commit on its way to the writer.
type request struct {
	drafts  []store.Draft
	pairs   []store.Pair
	taken   atomic.Bool   // by the writer, or back by a caller who no longer waits
	entries []store.Entry // the outcome, once done has given nil
	done    chan error
}

func (r *request) count() int { return len(r.drafts) + len(r.pairs) }

func (r *request) bytes() int {
	n := 0
	for _, p := range r.pairs {
		n += len(p.Value)
	}
	for _, d := range r.drafts {
		n += len(d.Body)
	}
	return n
}

// Append fulfils store.Journal.
func (s *Store) Append(ctx context.Context, drafts ...store.Draft) ([]store.Entry, error) {
	return s.Commit(ctx, drafts, nil)
}

// Commit fulfils store.Store.
func (s *Store) Commit(ctx context.Context, drafts []store.Draft, pairs []store.Pair) ([]store.Entry, error) {
	for _, d := range drafts {
		if err := d.Check(); err != nil {
			return nil, err
		}
	}
	for _, p := range pairs {
		if err := p.Check(); err != nil {
			return nil, err
		}
	}
	if len(drafts)+len(pairs) == 0 {
		return nil, s.view(ctx, func(*view, *state) error { return nil })
	}
	r := &request{drafts: drafts, pairs: pairs}
	if err := s.submit(ctx, r); err != nil {
		return nil, err
	}
	return r.entries, nil
}

// submit hands a request to the writer and waits until it is durable.
func (s *Store) submit(ctx context.Context, r *request) error {
	s.use.RLock()
	defer s.use.RUnlock()
	switch {
	case s.closed:
		return store.ErrClosed
	case s.db == nil:
		return store.ErrReadOnly
	case ctx.Err() != nil:
		return ctx.Err()
	}
	if err := s.failure(); err != nil {
		return err
	}
	r.done = make(chan error, 1)
	select {
	case s.queue <- r:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-r.done:
		return err
	case <-ctx.Done():
		if r.taken.CompareAndSwap(false, true) {
			return ctx.Err() // the writer has not seen it and will not
		}
		return <-r.done // the outcome is near, and the caller has to know it
	}
}

// write is the writer: it commits what waits, as one group, until the queue is
// closed.
func (s *Store) write() {
	defer close(s.idle)
	for r := range s.queue {
		var group []*request
		count, size := 0, 0
		add := func(r *request) {
			if r.taken.CompareAndSwap(false, true) {
				group = append(group, r)
				count += r.count()
				size += r.bytes()
			}
		}
		add(r)
		// Callers that the last commit has let go come back at once, if they
		// are given the processor; without that, every other commit holds few.
		for yields := 0; yields < maxYields && count < maxGroup && size < maxGroupBytes; {
			select {
			case r, ok := <-s.queue:
				if !ok {
					yields = maxYields // closed: the range ends next
					continue
				}
				add(r)
				yields = 0
			default:
				runtime.Gosched()
				yields++
			}
		}
		err := s.failure()
		if err == nil && len(group) > 0 {
			if err = s.commit(group); err != nil {
				err = s.fail(err)
			}
		}
		for _, r := range group {
			r.done <- err
		}
	}
}

// commit writes a group in one transaction. Whatever goes wrong, the store
// writes no more: the transaction may have happened.
func (s *Store) commit(group []*request) error {
	var b *batch
	err := guard(func() error {
		tx, err := s.db.Begin(true)
		if err != nil {
			return err
		}
		b = newBatch(tx, s.file, s.state.Load())
		if err = b.put(group); err != nil {
			tx.Rollback()
			return err
		}
		return nil
	})
	if err != nil {
		return err
	}
	s.settle.Lock()
	defer s.settle.Unlock()
	if err := guard(func() error { return s.finish(b.tx) }); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	root, _, err := current(s.db)
	if err != nil {
		return err
	}
	b.state.root = root
	st := b.state // by itself: a pointer into the batch would keep every batch before it
	s.state.Store(&st)
	for i, r := range group {
		r.entries = b.written[i]
	}
	return nil
}

// A batch is one transaction in the making.
type batch struct {
	tx      *bbolt.Tx
	view    *view // of what is there so far, to prove the pages that will be written
	state   state // as it will be
	entries *bbolt.Bucket
	index   *bbolt.Bucket
	streams map[string]*streamRecord
	written [][]store.Entry // by request
}

func newBatch(tx *bbolt.Tx, file io.ReaderAt, st *state) *batch {
	b := &batch{tx: tx, view: newView(file, st), state: *st, streams: map[string]*streamRecord{}}
	b.state.buckets = slices.Clone(st.buckets)
	return b
}

// bucket is bbolt's side of a bucket, for appending.
func (b *batch) bucket(name string) *bbolt.Bucket {
	k := b.tx.Bucket([]byte(name))
	k.FillPercent = 1 // keys mostly rise, so a page that is left is not written again
	return k
}

// put writes the group's drafts and pairs, and the file's head.
func (b *batch) put(group []*request) error {
	// The tail is what the next entry is chained to, and where it will stand.
	if err := b.tail(); err != nil {
		return err
	}
	b.entries, b.index = b.bucket(entriesBucket), b.bucket(indexBucket)
	for _, r := range group {
		entries := make([]store.Entry, len(r.drafts))
		for i, d := range r.drafts {
			var err error
			if entries[i], err = b.entry(d); err != nil {
				return err
			}
		}
		b.written = append(b.written, entries)
		for _, p := range r.pairs {
			if err := b.pair(p); err != nil {
				return err
			}
		}
	}
	streams := b.bucket(streamsBucket)
	for name, r := range b.streams {
		key := streamKey(name)
		if err := streams.Put(key, r.encode(key)); err != nil {
			return err
		}
	}
	if _, err := b.view.head(); err != nil {
		return err
	}
	h := head{Tx: uint64(b.tx.ID()), Number: b.state.number, Hash: hexOf(b.state.hash), Streams: b.state.streams, Buckets: b.state.buckets}
	return b.bucket(metaBucket).Put([]byte(headKey), h.encode())
}

// tail proves the last entry.
func (b *batch) tail() error {
	if b.state.number == 0 {
		_, err := b.view.tree(entriesBucket)
		return err
	}
	_, err := b.view.entry(b.state.number)
	return err
}

// entry writes one draft: the entry, and its place in its stream.
func (b *batch) entry(d store.Draft) (store.Entry, error) {
	e := store.Entry{
		Number: b.state.number + 1, Stream: d.Stream, Kind: d.Kind, Version: d.Version,
		Body: bytes.Clone(d.Body), Prev: b.state.hash,
	}
	value := encodeEntry(&e)
	r, err := b.stream(d.Stream, e.Number)
	if err != nil {
		return e, err
	}
	r.last = e.Number
	r.count++
	b.state.number, b.state.hash = e.Number, e.Hash
	if err := b.entries.Put(numberKey(e.Number), value); err != nil {
		return e, err
	}
	return e, b.index.Put(encodeIndex(r.first, e.Number, r.count))
}

// stream returns the record of a stream, which begins with number if it is
// new, and proves the pages where it will be written.
func (b *batch) stream(name string, number uint64) (*streamRecord, error) {
	if r := b.streams[name]; r != nil {
		return r, nil
	}
	r, found, err := b.view.stream(name)
	if err != nil {
		return nil, err
	}
	if !found {
		b.state.streams++
		r = streamRecord{first: number, place: b.state.streams}
	}
	index, err := b.view.tree(indexBucket)
	if err == nil {
		_, err = index.seek(indexKey(r.first, number))
	}
	if err != nil {
		return nil, err
	}
	b.streams[name] = &r
	return &r, nil
}

// pair writes or deletes a table's pair.
func (b *batch) pair(p store.Pair) error {
	name := tablePrefix + p.Table
	at, known := slices.BinarySearch(b.state.buckets, name)
	if known {
		// The way to the pair is proven as it was before this transaction; a
		// table that came into being in it has no pages yet.
		t, found, err := b.view.table(p.Table)
		if err == nil && found {
			_, err = t.seek([]byte(p.Key))
		}
		if err != nil {
			return err
		}
	}
	if p.Delete {
		if !known {
			return nil
		}
		return b.bucket(name).Delete([]byte(p.Key))
	}
	if !known {
		if _, err := b.tx.CreateBucket([]byte(name)); err != nil {
			return err
		}
		b.state.buckets = slices.Insert(b.state.buckets, at, name)
	}
	return b.bucket(name).Put([]byte(p.Key), encodePair(p.Table, []byte(p.Key), p.Value))
}
