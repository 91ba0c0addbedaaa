// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"context"
	"fmt"

	"tallyhood/store"
)

// deliver gives entries to a caller one by one; err, which came after them, is
// returned when all were taken.
func deliver(ctx context.Context, read []store.Entry, err error, f func(store.Entry) error) error {
	for _, e := range read {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := f(e); err != nil {
			return err
		}
	}
	return err
}

// Read fulfils store.Journal.
func (s *Store) Read(ctx context.Context, from uint64, f func(store.Entry) error) error {
	last, _ := s.Last()
	from = max(from, 1)
	for {
		var read []store.Entry
		err := s.view(ctx, func(v *view, _ *state) (err error) {
			if from <= last {
				read, err = v.run(from, last)
			}
			return err
		})
		if err = deliver(ctx, read, err, f); err != nil || len(read) == 0 {
			return err
		}
		from += uint64(len(read))
	}
}

// ReadStream fulfils store.Journal.
func (s *Store) ReadStream(ctx context.Context, stream string, f func(store.Entry) error) error {
	var r streamRecord // as of the beginning
	place, from := uint64(1), uint64(1)
	for {
		var read []store.Entry
		err := s.view(ctx, func(v *view, _ *state) (err error) {
			if place == 1 {
				var found bool
				if r, found, err = v.stream(stream); err != nil || !found {
					return err
				}
			}
			if place <= r.count {
				read, err = v.streamRun(stream, r, place, from)
			}
			return err
		})
		if err = deliver(ctx, read, err, f); err != nil || len(read) == 0 {
			return err
		}
		place += uint64(len(read))
		from = read[len(read)-1].Number + 1
	}
}

// Streams fulfils store.Journal.
func (s *Store) Streams(ctx context.Context, before uint64, limit int) ([]store.StreamInfo, error) {
	var infos []store.StreamInfo
	for {
		var read []store.StreamInfo
		err := s.view(ctx, func(v *view, st *state) (err error) {
			if len(infos) < limit {
				read, err = v.streamList(before, st.streams, limit-len(infos))
			}
			return err
		})
		if err != nil {
			return nil, err
		}
		if len(read) == 0 {
			return infos, nil
		}
		for _, info := range read {
			if info.Stream != "" { // nobody's entries are kept like a stream
				infos = append(infos, info)
			}
		}
		before = read[len(read)-1].First
	}
}

// Table fulfils store.Store.
func (s *Store) Table(name string) store.Table { return &table{s, name} }

// A table is a named table of a store.
type table struct {
	s    *Store
	name string
}

// Get fulfils store.Table.
func (t *table) Get(ctx context.Context, key string) (value []byte, err error) {
	if err := store.CheckTable(t.name); err != nil {
		return nil, err
	}
	err = t.s.view(ctx, func(v *view, _ *state) error {
		pairs, found, err := v.table(t.name)
		if err != nil {
			return err
		}
		var kept []byte
		if found {
			if kept, found, err = pairs.get([]byte(key)); err != nil {
				return err
			}
		}
		if !found {
			return fmt.Errorf("%w: table %q, key %q", store.ErrNotFound, t.name, key)
		}
		value = bytes.Clone(pairValue(kept))
		return nil
	})
	return value, err
}

// Put fulfils store.Table.
func (t *table) Put(ctx context.Context, key string, value []byte) error {
	if err := store.CheckTable(t.name); err != nil {
		return err
	}
	if err := store.CheckPair(key, value); err != nil {
		return err
	}
	return t.s.submit(ctx, &request{table: t.name, key: key, value: value})
}

// Keys fulfils store.Table.
func (t *table) Keys(ctx context.Context, prefix string) ([]string, error) {
	if err := store.CheckTable(t.name); err != nil {
		return nil, err
	}
	var keys []string
	from := []byte(prefix)
	for more := true; more; {
		err := t.s.view(ctx, func(v *view, _ *state) error {
			more = false
			pairs, found, err := v.table(t.name)
			if err != nil || !found {
				return err
			}
			c, err := pairs.seek(from)
			for n := 0; err == nil && c.valid() && bytes.HasPrefix(c.key(), []byte(prefix)); n++ {
				if n == maxBatch {
					from, more = bytes.Clone(c.key()), true
					return nil
				}
				keys = append(keys, string(c.key()))
				err = c.next()
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return keys, nil
}
