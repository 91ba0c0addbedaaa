// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	"go.etcd.io/bbolt"

	"tallyhood/store"
)

// A commit fails, and nobody can tell whether it happened. Until it is opened
// again the store takes nothing, and shows what was durable before.
func TestFailedCommit(t *testing.T) {
	broken := errors.New("the card did not answer")
	for _, happened := range []bool{false, true} {
		t.Run(fmt.Sprintf("Happened=%t", happened), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "store.db")
			s, err := Open(path, Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			draft := func(stream string) store.Draft { return store.Draft{Stream: stream, Kind: "k", Version: 1} }
			for i := range 150 {
				if _, err := s.Append(t.Context(), draft(fmt.Sprint("run-", i/40))); err != nil {
					t.Fatal(err)
				}
			}
			if err := s.Table("t").Put(t.Context(), "k", []byte("before")); err != nil {
				t.Fatal(err)
			}
			want := ask(s, nil)
			s.finish = func(tx *bbolt.Tx) error {
				if !happened {
					return errors.Join(broken, tx.Rollback())
				}
				return errors.Join(broken, tx.Commit())
			}
			// Several at once: all of them learn that theirs is uncertain.
			var wg sync.WaitGroup
			for i := range 8 {
				wg.Go(func() {
					_, err := s.Append(context.Background(), draft("run-0"), draft(fmt.Sprint("new-", i)))
					if i == 0 {
						err = s.Table("t").Put(context.Background(), "k", []byte("after"))
					}
					if !errors.Is(err, store.ErrFailed) || !errors.Is(err, broken) {
						t.Errorf("write: %v, want ErrFailed with its cause", err)
					}
				})
			}
			wg.Wait()
			s.finish = (*bbolt.Tx).Commit
			if _, err := s.Append(t.Context(), draft("run-0")); !errors.Is(err, store.ErrFailed) {
				t.Errorf("append after a failure: %v, want ErrFailed", err)
			}
			if err := s.Table("t").Put(t.Context(), "k", nil); !errors.Is(err, store.ErrFailed) {
				t.Errorf("put after a failure: %v, want ErrFailed", err)
			}
			if wrong, _ := silent(ask(s, want), want); len(wrong) > 0 {
				t.Errorf("after a failure the store shows something else than before: %v", wrong)
			}
			if v, err := s.Table("t").Get(t.Context(), "k"); err != nil || string(v) != "before" {
				t.Errorf("table after a failure: %q, %v, want what was durable", v, err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			if err := Check(t.Context(), path); err != nil {
				t.Fatal(err)
			}
			again, err := Open(path, Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer again.Close()
			n, _ := again.Last()
			if (n > 150) != happened {
				t.Errorf("opened again it has %d entries", n)
			}
			if _, err := again.Append(t.Context(), draft("run-0")); err != nil {
				t.Errorf("append after opening again: %v", err)
			}
		})
	}
}

// A panic of bbolt is a failure of the store, not of the process.
func TestPanicInCommit(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	draft := store.Draft{Stream: "a", Kind: "k", Version: 1}
	if _, err := s.Append(t.Context(), draft); err != nil {
		t.Fatal(err)
	}
	s.finish = func(*bbolt.Tx) error { panic("assertion failed") }
	if _, err := s.Append(t.Context(), draft); !errors.Is(err, store.ErrFailed) {
		t.Errorf("append: %v, want ErrFailed", err)
	}
	var n uint64
	if err := s.Read(t.Context(), 1, func(e store.Entry) error { n = e.Number; return nil }); err != nil || n != 1 {
		t.Errorf("read after a panic: until %d, %v", n, err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
	// The lock on the file is free, although bbolt could not be closed.
	again, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if _, err := again.Append(t.Context(), draft); err != nil {
		t.Errorf("append after opening again: %v", err)
	}
}

// An Append whose context ends while it waits was not written and never will
// be.
func TestWithdrawnAppend(t *testing.T) {
	s, err := Open(filepath.Join(t.TempDir(), "store.db"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	entered, leave := make(chan struct{}), make(chan struct{})
	s.finish = func(tx *bbolt.Tx) error {
		entered <- struct{}{}
		<-leave
		return tx.Commit()
	}
	first, second := make(chan error, 1), make(chan error, 1)
	append1 := func(ctx context.Context, kind string, done chan error) {
		_, err := s.Append(ctx, store.Draft{Kind: kind, Version: 1})
		done <- err
	}
	underway, cancelFirst := context.WithCancel(t.Context())
	go append1(underway, "under way", first)
	<-entered // the writer holds the first
	waiting, cancelSecond := context.WithCancel(t.Context())
	go append1(waiting, "waiting", second)
	for len(s.queue) == 0 {
		runtime.Gosched()
	}
	cancelSecond()
	if err := <-second; !errors.Is(err, context.Canceled) {
		t.Errorf("withdrawn append: %v, want the context's error", err)
	}
	cancelFirst() // too late: it has to learn the outcome
	leave <- struct{}{}
	if err := <-first; err != nil {
		t.Errorf("append under way: %v", err)
	}
	go func() { <-entered; leave <- struct{}{} }()
	if _, err := s.Append(t.Context(), store.Draft{Kind: "third", Version: 1}); err != nil {
		t.Fatal(err)
	}
	var kinds []string
	if err := s.Read(t.Context(), 1, func(e store.Entry) error { kinds = append(kinds, e.Kind); return nil }); err != nil {
		t.Fatal(err)
	}
	if fmt.Sprint(kinds) != "[under way third]" {
		t.Errorf("the journal has %q", kinds)
	}
}

// What waits behind a commit that fails is refused and not written.
func TestQueuedBehindFailure(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	entered, leave := make(chan struct{}), make(chan struct{})
	s.finish = func(tx *bbolt.Tx) error {
		close(entered)
		<-leave
		s.finish = (*bbolt.Tx).Commit // should anything be committed after all
		return errors.Join(errors.New("the card is gone"), tx.Rollback())
	}
	done := make(chan error, 2)
	put := func() {
		_, err := s.Append(context.Background(), store.Draft{Kind: "k", Version: 1})
		done <- err
	}
	go put()
	<-entered
	go put()
	for len(s.queue) == 0 {
		runtime.Gosched()
	}
	close(leave)
	for range 2 {
		if err := <-done; !errors.Is(err, store.ErrFailed) {
			t.Errorf("append: %v, want ErrFailed", err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if n, _ := again.Last(); n != 0 {
		t.Errorf("%d entries were written after the failure", n)
	}
}

// Nothing is chained to a last entry that has gone bad since it was written.
func TestTailGoesBad(t *testing.T) {
	path, _ := sample(t)
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	tr, err := newView(s.file, s.state.Load()).tree(entriesBucket)
	if err != nil {
		t.Fatal(err)
	}
	c, err := tr.last()
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	// One byte of the body, which is of no concern to bbolt.
	b := bytes.Clone(c.top().p.data)
	at := bytes.LastIndex(b, []byte("\nbody "))
	b[at+len("\nbody 1:")+1] ^= 1
	if _, err := f.WriteAt(b, int64(c.top().p.id)*pageSize); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Append(t.Context(), store.Draft{Stream: "another", Kind: "k", Version: 1}); !errors.Is(err, store.ErrFailed) || !errors.Is(err, store.ErrDamaged) {
		t.Errorf("append: %v, want ErrFailed and ErrDamaged", err)
	}
}
