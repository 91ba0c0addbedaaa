// SPDX-License-Identifier: Apache-2.0

// Package memory is the store without a file, for the demo and for tests of
// what stands above a store. It fulfils the same contract as store/bolt, and a
// test can make it fail as a card does. It must not be given anything that
// has to outlive the process.
package memory

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"tallyhood/store"
)

// A Store keeps all in memory. The zero value is empty and ready.
type Store struct {
	mu     sync.Mutex
	kept   kept
	failed error // why the store no longer writes
	next   error // what the next write fails with
	closed bool
}

// kept is what a file would hold.
type kept struct {
	entries []store.Entry       // entry n at n-1
	streams map[string][]uint64 // numbers of a stream's entries
	order   []string            // names by first entry
	tables  map[string]map[string][]byte
}

var _ store.Store = (*Store)(nil)

// New returns an empty store.
func New() *Store { return &Store{} }

// Reopen closes s and returns a store with the same content, as opening a file
// again does; a failure is over.
func (s *Store) Reopen() *Store {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	return &Store{kept: s.kept}
}

// FailWith makes the next Append or Put fail with ErrFailed around cause; what
// it was to write is lost, and the store takes nothing more until Reopen.
func (s *Store) FailWith(cause error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.next = cause
}

// writable says whether a write may begin, and uses up what FailWith set. The
// caller holds mu.
func (s *Store) writable(ctx context.Context) error {
	if err := s.readable(ctx); err != nil {
		return err
	}
	if s.next != nil {
		s.failed, s.next = s.next, nil
	}
	if s.failed != nil {
		return fmt.Errorf("%w: %w", store.ErrFailed, s.failed)
	}
	return nil
}

// readable says whether a read may go on. The caller holds mu.
func (s *Store) readable(ctx context.Context) error {
	if s.closed {
		return store.ErrClosed
	}
	return ctx.Err()
}

// Append fulfils store.Journal.
func (s *Store) Append(ctx context.Context, drafts ...store.Draft) ([]store.Entry, error) {
	return s.Commit(ctx, drafts, nil)
}

// Compact fulfils store.Store: what was deleted is gone already.
func (s *Store) Compact(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.writable(ctx)
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
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(drafts)+len(pairs) == 0 {
		return nil, s.readable(ctx)
	}
	if err := s.writable(ctx); err != nil {
		return nil, err
	}
	k := &s.kept
	if k.streams == nil {
		k.streams = map[string][]uint64{}
	}
	entries := make([]store.Entry, len(drafts))
	for i, d := range drafts {
		n, prev := s.last()
		e := store.Entry{Number: n + 1, Stream: d.Stream, Kind: d.Kind, Version: d.Version, Body: bytes.Clone(d.Body), Prev: prev}
		e.Hash = store.HashOf(e)
		if len(k.streams[d.Stream]) == 0 {
			k.order = append(k.order, d.Stream)
		}
		k.streams[d.Stream] = append(k.streams[d.Stream], e.Number)
		k.entries = append(k.entries, e)
		entries[i] = e
		entries[i].Body = bytes.Clone(d.Body)
	}
	for _, p := range pairs {
		k.pair(p)
	}
	return entries, nil
}

func (k *kept) pair(p store.Pair) {
	if p.Delete {
		delete(k.tables[p.Table], p.Key)
		return
	}
	if k.tables == nil {
		k.tables = map[string]map[string][]byte{}
	}
	if k.tables[p.Table] == nil {
		k.tables[p.Table] = map[string][]byte{}
	}
	k.tables[p.Table][p.Key] = bytes.Clone(p.Value)
}

// Last fulfils store.Journal.
func (s *Store) Last() (uint64, [32]byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last()
}

func (s *Store) last() (uint64, [32]byte) {
	n := len(s.kept.entries)
	if n == 0 {
		return 0, [32]byte{}
	}
	return uint64(n), s.kept.entries[n-1].Hash
}

// Read fulfils store.Journal.
func (s *Store) Read(ctx context.Context, from uint64, f func(store.Entry) error) error {
	last, _ := s.Last()
	return s.read(ctx, f, func(i int) (uint64, bool) {
		n := max(from, 1) + uint64(i)
		return n, n >= from && n <= last
	})
}

// ReadStream fulfils store.Journal.
func (s *Store) ReadStream(ctx context.Context, stream string, f func(store.Entry) error) error {
	s.mu.Lock()
	// Numbers are only ever added behind the length seen here.
	numbers := s.kept.streams[stream]
	s.mu.Unlock()
	return s.read(ctx, f, func(i int) (uint64, bool) {
		if i >= len(numbers) {
			return 0, false
		}
		return numbers[i], true
	})
}

// read calls f with the entries whose numbers number gives, checking each.
func (s *Store) read(ctx context.Context, f func(store.Entry) error, number func(i int) (uint64, bool)) error {
	for i := 0; ; i++ {
		n, more := number(i)
		e, err := s.entry(ctx, n, more)
		if err != nil || !more {
			return err
		}
		if err := f(e); err != nil {
			return err
		}
	}
}

// entry returns a copy of entry n, if wanted.
func (s *Store) entry(ctx context.Context, n uint64, wanted bool) (store.Entry, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.readable(ctx); err != nil || !wanted {
		return store.Entry{}, err
	}
	e := s.kept.entries[n-1]
	var prev [32]byte
	if n > 1 {
		prev = s.kept.entries[n-2].Hash
	}
	if e.Prev != prev || e.Hash != store.HashOf(e) {
		return store.Entry{}, fmt.Errorf("%w: entry %d has not the hash it was written with", store.ErrDamaged, n)
	}
	e.Body = bytes.Clone(e.Body)
	return e, nil
}

// Streams fulfils store.Journal.
func (s *Store) Streams(ctx context.Context, before uint64, limit int) ([]store.StreamInfo, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.readable(ctx); err != nil {
		return nil, err
	}
	end := len(s.kept.order)
	if before > 0 {
		end, _ = slices.BinarySearchFunc(s.kept.order, before, func(name string, before uint64) int {
			return cmp.Compare(s.kept.streams[name][0], before)
		})
	}
	var infos []store.StreamInfo
	for i := end - 1; i >= 0 && len(infos) < limit; i-- {
		name := s.kept.order[i]
		if numbers := s.kept.streams[name]; name != "" {
			infos = append(infos, store.StreamInfo{Stream: name, First: numbers[0], Last: numbers[len(numbers)-1]})
		}
	}
	return infos, nil
}

// Close fulfils store.Journal.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	return nil
}

// Table fulfils store.Store.
func (s *Store) Table(name string) store.Table { return table{s, name} }

type table struct {
	s    *Store
	name string
}

// Get fulfils store.Table.
func (t table) Get(ctx context.Context, key string) ([]byte, error) {
	if err := store.CheckTable(t.name); err != nil {
		return nil, err
	}
	t.s.mu.Lock()
	defer t.s.mu.Unlock()
	if err := t.s.readable(ctx); err != nil {
		return nil, err
	}
	value, ok := t.s.kept.tables[t.name][key]
	if !ok {
		return nil, fmt.Errorf("%w: table %q, key %q", store.ErrNotFound, t.name, key)
	}
	return bytes.Clone(value), nil
}

// Put fulfils store.Table.
func (t table) Put(ctx context.Context, key string, value []byte) error {
	_, err := t.s.Commit(ctx, nil, []store.Pair{{Table: t.name, Key: key, Value: value}})
	return err
}

// Some fulfils store.Table.
func (t table) Some(ctx context.Context, keys []string, f func(key string, value []byte) error) error {
	if err := store.CheckTable(t.name); err != nil {
		return err
	}
	keys = slices.Clone(keys)
	slices.Sort(keys)
	for _, key := range slices.Compact(keys) {
		value, err := t.Get(ctx, key)
		if errors.Is(err, store.ErrNotFound) {
			continue
		}
		if err != nil {
			return err
		}
		if err := f(key, value); err != nil {
			return err
		}
	}
	return nil
}

// Range fulfils store.Table.
func (t table) Range(ctx context.Context, prefix, after string, limit int, f func(key string, value []byte) error) error {
	keys, err := t.Keys(ctx, prefix)
	if err != nil {
		return err
	}
	for _, key := range keys {
		if limit <= 0 {
			return nil
		}
		if after != "" && key <= after {
			continue
		}
		value, err := t.Get(ctx, key)
		if errors.Is(err, store.ErrNotFound) {
			continue // deleted meanwhile
		}
		if err != nil {
			return err
		}
		if err := f(key, value); err != nil {
			return err
		}
		limit--
	}
	return nil
}

// Keys fulfils store.Table.
func (t table) Keys(ctx context.Context, prefix string) ([]string, error) {
	if err := store.CheckTable(t.name); err != nil {
		return nil, err
	}
	t.s.mu.Lock()
	defer t.s.mu.Unlock()
	if err := t.s.readable(ctx); err != nil {
		return nil, err
	}
	var keys []string
	for key := range t.s.kept.tables[t.name] {
		if strings.HasPrefix(key, prefix) {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	return keys, nil
}
