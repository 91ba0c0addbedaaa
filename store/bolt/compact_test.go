// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"tallyhood/store"
)

func filled(t *testing.T) (*Store, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	for i := range 400 {
		_, err := s.Commit(t.Context(), []store.Draft{{Stream: fmt.Sprint("run-", i%11), Kind: "k", Version: 1, Body: bytes.Repeat([]byte("b"), i)}},
			[]store.Pair{{Table: "people", Key: fmt.Sprintf("p%03d", i), Value: []byte("Ottilie Fernsby-" + fmt.Sprint(i))}})
		if err != nil {
			t.Fatal(err)
		}
	}
	return s, path
}

// bbolt leaves what was deleted in free pages; after Compact nothing of it is in
// the file.
func TestCompactLeavesNothingDeleted(t *testing.T) {
	s, path := filled(t)
	var gone []store.Pair
	for i := range 400 {
		gone = append(gone, store.Pair{Table: "people", Key: fmt.Sprintf("p%03d", i), Delete: true})
	}
	if _, err := s.Commit(t.Context(), nil, gone[1:]); err != nil {
		t.Fatal(err)
	}
	has := func() (n int) {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := 1; i < 400; i++ { // 0 was kept
			n += bytes.Count(b, []byte("Ottilie Fernsby-"+fmt.Sprint(i)))
		}
		return n
	}
	if has() == 0 {
		t.Fatal("nothing deleted is left before compacting: this test would show nothing")
	}
	before, _ := os.Stat(path)
	if err := s.Compact(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := has(); n != 0 {
		t.Errorf("%d deleted names are left in the file", n)
	}
	if v, err := s.Table("people").Get(t.Context(), "p000"); err != nil || string(v) != "Ottilie Fernsby-0" {
		t.Errorf("the name that was kept: %q, %v", v, err)
	}
	after, _ := os.Stat(path)
	if after.Size() >= before.Size() {
		t.Errorf("the file went from %d to %d bytes", before.Size(), after.Size())
	}
	if _, err := os.Stat(path + ".compact"); !os.IsNotExist(err) {
		t.Errorf("the unfinished file is left: %v", err)
	}
	if _, err := s.Append(t.Context(), store.Draft{Stream: "x", Kind: "k", Version: 1}); err != nil {
		t.Fatal(err)
	}
	// The lock went over to the new file.
	if _, err := Open(path, Options{}); !errors.Is(err, store.ErrBusy) {
		t.Errorf("another opened it: %v", err)
	}
	s.Close()
	if err := Check(t.Context(), path); err != nil {
		t.Error(err)
	}
}

// While others read and write, each call finds the store before or after.
func TestCompactAmongOthers(t *testing.T) {
	s, path := filled(t)
	ctx, cancel := context.WithCancel(t.Context())
	var all sync.WaitGroup
	for i := range 4 {
		all.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				if i%2 == 0 {
					if _, err := s.Append(context.Background(), store.Draft{Stream: fmt.Sprint("w", i), Kind: "k", Version: 1}); err != nil {
						t.Error(err)
						return
					}
					continue
				}
				count := 0
				if err := s.Read(context.Background(), 1, func(store.Entry) error { count++; return nil }); err != nil || count < 400 {
					t.Errorf("read %d: %v", count, err)
					return
				}
			}
		})
	}
	for range 5 {
		if err := s.Compact(t.Context()); err != nil {
			t.Error(err)
		}
	}
	cancel()
	all.Wait()
	s.Close()
	if err := Check(t.Context(), path); err != nil {
		t.Error(err)
	}
}

// What cannot be compacted stays as it is.
func TestCompactFails(t *testing.T) {
	s, path := filled(t)
	if err := os.Mkdir(path+".compact", 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(path+".compact", "in the way"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.Compact(t.Context()); err == nil {
		t.Fatal("compacted over a folder that is not empty")
	}
	if err := os.RemoveAll(path + ".compact"); err != nil {
		t.Fatal(err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Compact(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
	if _, err := s.Append(t.Context(), store.Draft{Stream: "x", Kind: "k", Version: 1}); err != nil {
		t.Errorf("after failures: %v", err)
	}
	// What was spoilt under the open store is not carried over as if it were whole.
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	body := bytes.Repeat([]byte("b"), 399)
	for at := 0; ; {
		i := bytes.Index(b[at:], body)
		if i < 0 {
			break
		}
		at += i
		if _, err := f.WriteAt([]byte("c"), int64(at)+7); err != nil {
			t.Fatal(err)
		}
		at += len(body)
	}
	if err := s.Compact(t.Context()); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("a damaged store was compacted: %v", err)
	}
	if now, err := os.ReadFile(path); err != nil || len(now) != len(b) || bytes.Equal(now, b) {
		t.Errorf("the damaged file was replaced: %v", err)
	}
	ro, err := Open(filepath.Join(t.TempDir(), "none"), Options{ReadOnly: true})
	if err == nil {
		ro.Close()
		t.Error("a file that is not there was opened")
	}
}
