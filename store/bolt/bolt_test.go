// SPDX-License-Identifier: Apache-2.0

package bolt_test

import (
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
