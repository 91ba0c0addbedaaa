// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"errors"
	"path/filepath"
	"sync"
	"testing"

	"tallyhood/store"
)

// After the end nothing is acknowledged that is not in the journal which whoever
// ended it has seen.
func TestEnd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	draft := store.Draft{Stream: "note", Kind: "note", Version: 1, Body: []byte("x")}
	if _, err := s.Append(t.Context(), draft); err != nil {
		t.Fatal(err)
	}
	if err := s.End(0); !errors.Is(err, ErrGrown) {
		t.Errorf("ended behind an entry: %v", err)
	}
	// Those who write meanwhile.
	var writers sync.WaitGroup
	var mu sync.Mutex
	taken := uint64(1)
	for range 8 {
		writers.Go(func() {
			for range 20 {
				e, err := s.Append(t.Context(), draft)
				if err != nil {
					if !errors.Is(err, store.ErrFailed) {
						t.Errorf("a write after the end: %v", err)
					}
					return
				}
				mu.Lock()
				taken = max(taken, e[0].Number)
				mu.Unlock()
			}
		})
	}
	at, ended := uint64(0), errors.New("not tried")
	for tries := 0; ended != nil; tries++ {
		if tries == 5 {
			writers.Wait() // they may write faster than one looks
		}
		at, _ = s.Last()
		if ended = s.End(at); ended != nil && !errors.Is(ended, ErrGrown) {
			t.Fatal(ended)
		}
	}
	writers.Wait()
	if taken > at {
		t.Errorf("entry %d was acknowledged, the end came at %d", taken, at)
	}
	if err := s.Table("x").Put(t.Context(), "k", []byte("v")); !errors.Is(err, store.ErrFailed) {
		t.Errorf("a pair after the end: %v", err)
	}
	read := uint64(0)
	if err := s.Read(t.Context(), 0, func(e store.Entry) error { read = e.Number; return nil }); err != nil || read != at {
		t.Errorf("entries up to %d of %d can be read, %v", read, at, err)
	}
	if _, err := Open(path, Options{}); !errors.Is(err, store.ErrBusy) {
		t.Errorf("the file is not locked any more: %v", err)
	}
}
