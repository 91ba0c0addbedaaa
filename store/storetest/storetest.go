// SPDX-License-Identifier: Apache-2.0

// Package storetest is the contract of package store as tests. Every
// implementation runs it. It must not know how an implementation works.
package storetest

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"tallyhood/store"
)

// Run runs the contract. open returns an empty store of its own at each call;
// reopen closes a store and opens it again with what it held.
func Run(t *testing.T, open func() store.Store, reopen func(store.Store) store.Store) {
	c := contract{open, reopen}
	for _, test := range []struct {
		name string
		run  func(*testing.T, contract)
	}{
		{"Empty", empty},
		{"Append", appendReads},
		{"AppendAllOrNone", allOrNone},
		{"AppendOwnsNothing", ownsNothing},
		{"AppendEndedContext", endedContext},
		{"AppendAtOnce", atOnce},
		{"AppendLimits", limits},
		{"Read", read},
		{"ReadHoldsNothing", holdsNothing},
		{"ReadWhileAppending", readWhileAppending},
		{"Streams", streams},
		{"ManyStreams", manyStreams},
		{"Table", table},
		{"TableLimits", tableLimits},
		{"Commit", commit},
		{"Range", ranges},
		{"Changes", changes},
		{"Compact", compacts},
		{"Reopen", reopens},
		{"Closed", closed},
		{"AnyOrder", anyOrder},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, c) })
	}
}

type contract struct {
	open   func() store.Store
	reopen func(store.Store) store.Store
}

// fresh opens an empty store that is closed when the test ends.
func (c contract) fresh(t *testing.T) store.Store {
	t.Helper()
	s := c.open()
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return s
}

func draft(stream, kind, body string) store.Draft {
	return store.Draft{Stream: stream, Kind: kind, Version: 1, Body: []byte(body)}
}

// mustAppend appends and fails the test if that fails.
func mustAppend(t *testing.T, s store.Store, drafts ...store.Draft) []store.Entry {
	t.Helper()
	entries, err := s.Append(t.Context(), drafts...)
	if err != nil {
		t.Fatalf("append: %v", err)
	}
	if len(entries) != len(drafts) {
		t.Fatalf("%d entries for %d drafts", len(entries), len(drafts))
	}
	return entries
}

// All reads the whole journal and fails the test unless it is a chain without
// holes that ends where Last says.
func All(t *testing.T, s store.Store) []store.Entry {
	t.Helper()
	var all []store.Entry
	var prev [32]byte
	err := s.Read(t.Context(), 1, func(e store.Entry) error {
		if e.Number != uint64(len(all)+1) || e.Prev != prev || e.Hash != store.HashOf(e) {
			return fmt.Errorf("entry %d out of place or not chained: %+v", len(all)+1, e)
		}
		prev = e.Hash
		all = append(all, e)
		return nil
	})
	if err != nil {
		t.Fatalf("read: %v", err)
	}
	if n, h := s.Last(); n != uint64(len(all)) || h != prev {
		t.Fatalf("last is %d %x, read until %d %x", n, h, len(all), prev)
	}
	return all
}

// Stream reads one stream.
func Stream(t *testing.T, s store.Store, name string) []store.Entry {
	t.Helper()
	var all []store.Entry
	err := s.ReadStream(t.Context(), name, func(e store.Entry) error {
		all = append(all, e)
		return nil
	})
	if err != nil {
		t.Fatalf("read stream %q: %v", name, err)
	}
	return all
}

func equal(a, b store.Entry) bool {
	return a.Number == b.Number && a.Stream == b.Stream && a.Kind == b.Kind && a.Version == b.Version &&
		bytes.Equal(a.Body, b.Body) && a.Prev == b.Prev && a.Hash == b.Hash
}

func same(t *testing.T, what string, got, want []store.Entry) {
	t.Helper()
	if !slices.EqualFunc(got, want, equal) {
		t.Errorf("%s:\n%s\nwant\n%s", what, numbers(got), numbers(want))
	}
}

func numbers(entries []store.Entry) string {
	var b strings.Builder
	for _, e := range entries {
		fmt.Fprintf(&b, "%d %q %q %d %d bytes %x\n", e.Number, e.Stream, e.Kind, e.Version, len(e.Body), e.Hash[:4])
	}
	return b.String()
}
