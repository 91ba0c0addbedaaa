// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"context"
	"fmt"
	"slices"

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
	_, err := t.s.Commit(ctx, nil, []store.Pair{{Table: t.name, Key: key, Value: value}})
	return err
}

// Keys fulfils store.Table.
func (t *table) Keys(ctx context.Context, prefix string) ([]string, error) {
	var keys []string
	err := t.scan(ctx, prefix, "", -1, func(key string, _ []byte) { keys = append(keys, key) }, func() error { return nil })
	return keys, err
}

// Some fulfils store.Table.
func (t *table) Some(ctx context.Context, keys []string, f func(key string, value []byte) error) error {
	if err := store.CheckTable(t.name); err != nil {
		return err
	}
	keys = slices.Clone(keys)
	slices.Sort(keys)
	keys = slices.Compact(keys)
	for len(keys) > 0 {
		step := keys[:min(len(keys), maxBatch)]
		keys = keys[len(step):]
		values := make([][]byte, len(step))
		err := t.s.view(ctx, func(v *view, _ *state) error {
			pairs, there, err := v.table(t.name)
			if err != nil || !there {
				return err
			}
			for i, key := range step {
				kept, found, err := pairs.get([]byte(key))
				if err != nil {
					return err
				}
				if found {
					values[i] = append([]byte{}, pairValue(kept)...)
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		for i, key := range step {
			if values[i] == nil {
				continue
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := f(key, values[i]); err != nil {
				return err
			}
		}
	}
	return nil
}

// Range fulfils store.Table.
func (t *table) Range(ctx context.Context, prefix, after string, limit int, f func(key string, value []byte) error) error {
	type pair struct {
		key   string
		value []byte
	}
	var read []pair
	if limit < 0 {
		limit = 0
	}
	return t.scan(ctx, prefix, after, limit, func(key string, kept []byte) {
		read = append(read, pair{key, bytes.Clone(pairValue(kept))})
	}, func() error {
		for _, p := range read {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := f(p.key, p.value); err != nil {
				return err
			}
		}
		read = read[:0]
		return nil
	})
}

// scan takes the pairs with a prefix that come after a key, at most limit (-1:
// all), a stretch of them at a time; between is called after each stretch, when
// nothing is held.
func (t *table) scan(ctx context.Context, prefix, after string, limit int, take func(key string, kept []byte), between func() error) error {
	if err := store.CheckTable(t.name); err != nil {
		return err
	}
	from := []byte(max(prefix, after))
	skip := after != "" && after >= prefix // the key itself is not wanted
	for more := true; more; {
		err := t.s.view(ctx, func(v *view, _ *state) error {
			more = false
			pairs, found, err := v.table(t.name)
			if err != nil || !found {
				return err
			}
			c, err := pairs.seek(from)
			for n := 0; err == nil && c.valid() && limit != 0; err = c.next() {
				if skip && bytes.Equal(c.key(), from) {
					continue
				}
				if !bytes.HasPrefix(c.key(), []byte(prefix)) {
					return nil
				}
				if n == maxBatch {
					more = true
					return nil
				}
				take(string(c.key()), c.value())
				from, skip = bytes.Clone(c.key()), true
				n++
				limit--
			}
			return err
		})
		if err != nil {
			return err
		}
		if err := between(); err != nil {
			return err
		}
	}
	return nil
}
