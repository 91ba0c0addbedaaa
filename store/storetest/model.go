// SPDX-License-Identifier: Apache-2.0

package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"tallyhood/store"
)

// anyOrder runs random calls against a store and against plain slices and
// maps, and compares. The seeds are fixed, so a failure comes back.
func anyOrder(t *testing.T, c contract) {
	for seed := range uint64(6) {
		t.Run(fmt.Sprint("Seed", seed), func(t *testing.T) {
			m := model{t: t, c: c, s: c.open(), r: rand.New(rand.NewPCG(seed, 1)), tables: map[string]map[string][]byte{}}
			defer func() { m.s.Close() }()
			for range 120 {
				m.step()
				if t.Failed() {
					return
				}
			}
			m.compare()
			m.s = c.reopen(m.s)
			m.compare()
		})
	}
}

type model struct {
	t       *testing.T
	c       contract
	s       store.Store
	r       *rand.Rand
	entries []store.Entry
	tables  map[string]map[string][]byte
}

func (m *model) step() {
	switch m.r.IntN(10) {
	case 0, 1, 2, 3, 4:
		drafts := make([]store.Draft, m.r.IntN(5))
		for i := range drafts {
			drafts[i] = store.Draft{Stream: m.name(m.r.IntN(40)), Kind: "kind", Version: 1 + m.r.IntN(3), Body: m.bytes()}
		}
		entries, err := m.s.Append(m.t.Context(), drafts...)
		if err != nil || len(entries) != len(drafts) {
			m.t.Fatalf("append of %d drafts: %d entries, %v", len(drafts), len(entries), err)
		}
		for i, e := range entries {
			d := drafts[i]
			if e.Number != uint64(len(m.entries)+1) || e.Stream != d.Stream || e.Kind != d.Kind || e.Version != d.Version || !bytes.Equal(e.Body, d.Body) {
				m.t.Fatalf("draft %+v became entry %+v, after %d entries", d, e, len(m.entries))
			}
			m.entries = append(m.entries, e)
		}
	case 5, 6, 7:
		table, key, value := m.name(1+m.r.IntN(3)), m.name(1+m.r.IntN(30)), m.bytes()
		if err := m.s.Table(table).Put(m.t.Context(), key, value); err != nil {
			m.t.Fatalf("put: %v", err)
		}
		if m.tables[table] == nil {
			m.tables[table] = map[string][]byte{}
		}
		m.tables[table][key] = value
	case 8:
		table, key := m.name(1+m.r.IntN(3)), m.name(1+m.r.IntN(30))
		got, err := m.s.Table(table).Get(m.t.Context(), key)
		if want, known := m.tables[table][key]; known != (err == nil) || !known != errors.Is(err, store.ErrNotFound) || !bytes.Equal(got, want) {
			m.t.Fatalf("get: %d bytes, %v, want %d bytes, known %t", len(got), err, len(want), known)
		}
	case 9:
		if m.r.IntN(3) == 0 {
			m.s = m.c.reopen(m.s)
		}
		m.compare()
	}
}

// name is a name of its own for each number; 0 is the empty one.
func (m *model) name(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%d-%s", n, bytes.Repeat([]byte("n"), n*n%90))
}

// bytes are mostly few, now and then more than a page.
func (m *model) bytes() []byte {
	n := m.r.IntN(200)
	if m.r.IntN(12) == 0 {
		n = m.r.IntN(20_000)
	}
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(m.r.Uint32())
	}
	return b
}

func (m *model) compare() {
	m.t.Helper()
	same(m.t, "the journal", All(m.t, m.s), m.entries)
	checkStreams(m.t, m.s, m.entries)
	for table, pairs := range m.tables {
		keys, err := m.s.Table(table).Keys(m.t.Context(), "")
		if want := slices.Sorted(maps.Keys(pairs)); err != nil || !slices.Equal(keys, want) {
			m.t.Errorf("keys of table %q: %q, %v, want %q", table, keys, err, want)
		}
		for key, want := range pairs {
			if got, err := m.s.Table(table).Get(m.t.Context(), key); err != nil || !bytes.Equal(got, want) {
				m.t.Errorf("table %q, key %q: %d bytes, %v, want %d", table, key, len(got), err, len(want))
			}
		}
	}
}
