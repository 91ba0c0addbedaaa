// SPDX-License-Identifier: Apache-2.0

package bolt_test

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"

	"tallyhood/store"
	"tallyhood/store/bolt"
	"tallyhood/store/storetest"
)

func TestContract(t *testing.T) {
	folder := t.TempDir()
	paths := map[store.Store]string{}
	n := 0
	open := func(path string) store.Store {
		s, err := bolt.Open(path, bolt.Options{})
		if err != nil {
			t.Fatal(err)
		}
		paths[s] = path
		return s
	}
	storetest.Run(t,
		func() store.Store {
			n++
			return open(filepath.Join(folder, fmt.Sprint("contract-", n, ".db")))
		},
		func(s store.Store) store.Store {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			return open(paths[s])
		})
	// What the contract left behind is whole in every respect.
	for _, path := range paths {
		if err := bolt.Check(t.Context(), path); err != nil {
			t.Error(err)
		}
	}
}

// Large bodies share a page of bbolt's by the handful; reading bounds a page,
// and the bound has to hold what is written.
func TestLargeBodiesTogether(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s := mustOpen(t, path, bolt.Options{})
	for round := range 2 {
		var drafts []store.Draft
		for i := range 9 {
			drafts = append(drafts, store.Draft{Stream: "a", Kind: "k", Version: 1, Body: bytes.Repeat([]byte{byte(i)}, store.MaxBody)},
				store.Draft{Stream: "b", Kind: "k", Version: 1, Body: []byte("small")})
			if err := s.Table("t").Put(t.Context(), fmt.Sprint(i, round), drafts[2*i].Body); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := s.Append(t.Context(), drafts...); err != nil {
			t.Fatal(err)
		}
		if n := len(storetest.All(t, s)); n != 18*(round+1) {
			t.Errorf("%d entries, want %d", n, 18*(round+1))
		}
		if n := len(storetest.Stream(t, s, "a")); n != 9*(round+1) {
			t.Errorf("%d entries of a, want %d", n, 9*(round+1))
		}
	}
	s.Close()
	if err := bolt.Check(t.Context(), path); err != nil {
		t.Error(err)
	}
}
