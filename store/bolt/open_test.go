// SPDX-License-Identifier: Apache-2.0

package bolt_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"go.etcd.io/bbolt"

	"tallyhood/store"
	"tallyhood/store/bolt"
	"tallyhood/store/storetest"
)

func mustOpen(t testing.TB, path string, o bolt.Options) *bolt.Store {
	t.Helper()
	s, err := bolt.Open(path, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// filled makes a store of n entries in a few streams and closes it.
func filled(t testing.TB, n int) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "store.db")
	s := mustOpen(t, path, bolt.Options{})
	for i := range n {
		if _, err := s.Append(context.Background(), store.Draft{Stream: fmt.Sprint("run-", i/50), Kind: "k", Version: 1, Body: fmt.Append(nil, "entry ", i)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Table("settings").Put(context.Background(), "volume", []byte("7")); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func writeFile(t testing.TB, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestCreate(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "store.db")
	writeFile(t, path+".new", []byte("left by a power cut"))
	s := mustOpen(t, path, bolt.Options{})
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode() != 0o600 {
		t.Errorf("mode %v, want 0600", info.Mode())
	}
	names, err := os.ReadDir(folder)
	if err != nil || len(names) != 1 {
		t.Errorf("the folder holds %v, %v, want only the store", names, err)
	}
	if len(storetest.All(t, s)) != 0 {
		t.Error("a new store is not empty")
	}
	if _, err := bolt.Open(filepath.Join(folder, "missing", "store.db"), bolt.Options{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a store in a missing folder: %v, want fs.ErrNotExist", err)
	}
}

// Of many that create the same store at once, one gets it and the others find
// it busy; nobody's entries are lost.
func TestCreateAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	var wg sync.WaitGroup
	stores := make([]*bolt.Store, 6)
	errs := make([]error, len(stores))
	for i := range stores {
		wg.Go(func() {
			if stores[i], errs[i] = bolt.Open(path, bolt.Options{}); errs[i] == nil {
				_, errs[i] = stores[i].Append(context.Background(), store.Draft{Kind: "k", Version: 1})
			}
		})
	}
	wg.Wait()
	open := 0
	for i, err := range errs {
		if err == nil {
			open++
			defer stores[i].Close()
			if n := len(storetest.All(t, stores[i])); n != 1 {
				t.Errorf("%d entries, want 1", n)
			}
		} else if !errors.Is(err, store.ErrBusy) {
			t.Errorf("open: %v, want ErrBusy", err)
		}
	}
	if open != 1 {
		t.Errorf("%d stores are open on one file, want 1", open)
	}
}

func TestBusy(t *testing.T) {
	path := filled(t, 3)
	expect := func(what string, want error, o bolt.Options) {
		t.Helper()
		s, err := bolt.Open(path, o)
		if !errors.Is(err, want) || (want == nil) != (err == nil) {
			t.Errorf("%s: %v, want %v", what, err, want)
		}
		if err == nil {
			s.Close()
		}
	}
	writer := mustOpen(t, path, bolt.Options{})
	expect("write while one writes", store.ErrBusy, bolt.Options{})
	expect("read while one writes", store.ErrBusy, bolt.Options{ReadOnly: true})
	if err := bolt.Check(t.Context(), path); !errors.Is(err, store.ErrBusy) {
		t.Errorf("check while one writes: %v, want ErrBusy", err)
	}
	writer.Close()
	mustOpen(t, path, bolt.Options{ReadOnly: true})
	expect("read while one reads", nil, bolt.Options{ReadOnly: true})
	expect("write while one reads", store.ErrBusy, bolt.Options{})
}

func TestReadOnly(t *testing.T) {
	original := filled(t, 120)
	before := readFile(t, original)
	folder := t.TempDir()
	path := filepath.Join(folder, "copy.db")
	if err := os.WriteFile(path, before, 0o400); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(folder, 0o500); err != nil {
		t.Fatal(err)
	}
	defer os.Chmod(folder, 0o700)
	was, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, path, bolt.Options{ReadOnly: true})
	if n := len(storetest.All(t, s)); n != 120 {
		t.Errorf("%d entries, want 120", n)
	}
	if n := len(storetest.Stream(t, s, "run-1")); n != 50 {
		t.Errorf("%d entries in run-1, want 50", n)
	}
	if v, err := s.Table("settings").Get(t.Context(), "volume"); err != nil || string(v) != "7" {
		t.Errorf("volume: %q, %v", v, err)
	}
	if _, err := s.Append(t.Context(), store.Draft{Kind: "k", Version: 1}); !errors.Is(err, store.ErrReadOnly) {
		t.Errorf("append: %v, want ErrReadOnly", err)
	}
	if err := s.Table("settings").Put(t.Context(), "k", nil); !errors.Is(err, store.ErrReadOnly) {
		t.Errorf("put: %v, want ErrReadOnly", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if err := bolt.Check(t.Context(), path); err != nil {
		t.Errorf("check: %v", err)
	}
	is, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(readFile(t, path), before) || !is.ModTime().Equal(was.ModTime()) {
		t.Error("opening for reading changed the file")
	}
	missing := filepath.Join(t.TempDir(), "missing.db")
	if _, err := bolt.Open(missing, bolt.Options{ReadOnly: true}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("missing file: %v, want fs.ErrNotExist", err)
	}
	if _, err := os.Stat(missing); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("reading a missing file made one: %v", err)
	}
}

// What is no store is refused and left as it is, above all an empty file: it
// may be what a card left of a full one.
func TestNotAStore(t *testing.T) {
	folder := t.TempDir()
	for name, content := range map[string][]byte{
		"empty": {}, "text": []byte("volume = 7\n"), "zeros": make([]byte, 1<<16),
		"text of many pages": bytes.Repeat([]byte("tallyhood.store/1\n"), 5000),
	} {
		path := filepath.Join(folder, name)
		writeFile(t, path, content)
		for _, o := range []bolt.Options{{}, {ReadOnly: true}, {FallBack: true}} {
			if s, err := bolt.Open(path, o); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("%s with %+v: %v, %v, want ErrDamaged", name, o, s, err)
			}
		}
		if !bytes.Equal(readFile(t, path), content) {
			t.Errorf("%s was changed", name)
		}
	}
	pipe := filepath.Join(folder, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{folder, pipe} {
		for _, o := range []bolt.Options{{}, {ReadOnly: true}} {
			if _, err := bolt.Open(path, o); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("%s with %+v: %v, want ErrDamaged", path, o, err)
			}
		}
	}
}

// A file of another bbolt program is no store; one of a later form is refused
// in words.
func TestForms(t *testing.T) {
	for form, want := range map[string]error{
		"tallyhood.store/1": nil, "tallyhood.store/2": store.ErrNewer, "tallyhood.store/70": store.ErrNewer,
		"tallyhood.store/0": store.ErrDamaged, "tallyhood.store/": store.ErrDamaged, "tallyhood.store/1x": store.ErrDamaged,
		"another.store/2": store.ErrDamaged, "": store.ErrDamaged,
	} {
		path := filled(t, 5)
		db, err := bbolt.Open(path, 0o600, nil)
		if err != nil {
			t.Fatal(err)
		}
		err = db.Update(func(tx *bbolt.Tx) error {
			meta := tx.Bucket([]byte("meta"))
			head := fmt.Sprintf(`{"tx":%d,`, tx.ID()) // as every transaction has to
			old := string(meta.Get([]byte("head")))
			_, rest, _ := strings.Cut(old, ",")
			return errors.Join(meta.Put([]byte("format"), []byte(form)), meta.Put([]byte("head"), []byte(head+rest)))
		})
		if err := errors.Join(err, db.Close()); err != nil {
			t.Fatal(err)
		}
		for _, o := range []bolt.Options{{}, {ReadOnly: true}} {
			s, err := bolt.Open(path, o)
			if !errors.Is(err, want) || (want == nil) != (err == nil) {
				t.Errorf("form %q with %+v: %v, want %v", form, o, err, want)
			}
			if err == nil {
				s.Close()
			}
			if want == store.ErrNewer && !strings.Contains(err.Error(), form) {
				t.Errorf("form %q is refused without its name: %v", form, err)
			}
		}
	}
	path := filepath.Join(t.TempDir(), "other.db")
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{PageSize: 4096})
	if err != nil {
		t.Fatal(err)
	}
	err = db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("things")); return err })
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := bolt.Open(path, bolt.Options{}); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("a file of another program: %v, want ErrDamaged", err)
	}
}

// A transaction that was not written by a Store leaves parts of two times.
func TestForeignTransaction(t *testing.T) {
	path := filled(t, 5)
	db, err := bbolt.Open(path, 0o600, nil)
	if err != nil {
		t.Fatal(err)
	}
	err = db.Update(func(tx *bbolt.Tx) error {
		return tx.Bucket([]byte("entries")).Delete([]byte("\x00\x00\x00\x00\x00\x00\x00\x05"))
	})
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := bolt.Open(path, bolt.Options{}); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("after another program removed an entry: %v, want ErrDamaged", err)
	}
}

// With one head spoilt the file opens only when a person asks for the other,
// and then goes on.
func TestFallBack(t *testing.T) {
	sound := filled(t, 20)
	for spoilt := range 2 {
		path := filepath.Join(t.TempDir(), "store.db")
		b := readFile(t, sound)
		b[spoilt*4096+60] ^= 1
		writeFile(t, path, b)
		for _, o := range []bolt.Options{{}, {ReadOnly: true}} {
			if _, err := bolt.Open(path, o); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("head %d spoilt, %+v: %v, want ErrDamaged", spoilt, o, err)
			}
		}
		s := mustOpen(t, path, bolt.Options{FallBack: true})
		if n := len(storetest.All(t, s)); n != 20 { // the last transaction put a setting
			t.Errorf("head %d spoilt: %d entries, want 20", spoilt, n)
		}
		for range 3 {
			if _, err := s.Append(t.Context(), store.Draft{Stream: "run-0", Kind: "k", Version: 1}); err != nil {
				t.Fatal(err)
			}
		}
		s.Close()
		if err := bolt.Check(t.Context(), path); err != nil {
			t.Errorf("head %d spoilt, after going on: %v", spoilt, err)
		}
	}
	b := readFile(t, sound)
	b[60] ^= 1
	b[4096+60] ^= 1
	writeFile(t, sound, b)
	if _, err := bolt.Open(sound, bolt.Options{FallBack: true}); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("both heads spoilt: %v, want ErrDamaged", err)
	}
}

// When the file goes bad under an open store, calls end with an error.
func TestFileGoesBadWhileOpen(t *testing.T) {
	for name, spoil := range map[string]func(path string, size int64) error{
		"emptied":         func(path string, _ int64) error { return os.Truncate(path, 0) },
		"cut":             func(path string, _ int64) error { return os.Truncate(path, 3*4096) },
		"cut in the head": func(path string, _ int64) error { return os.Truncate(path, 4096) },
		"zeroed": func(path string, size int64) error {
			f, err := os.OpenFile(path, os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			_, err = f.WriteAt(make([]byte, size-2*4096), 2*4096)
			return errors.Join(err, f.Close())
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t, 200)
			s := mustOpen(t, path, bolt.Options{})
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := spoil(path, info.Size()); err != nil {
				t.Fatal(err)
			}
			for range 2 {
				if _, err := s.Append(t.Context(), store.Draft{Stream: "run-1", Kind: "k", Version: 1}); !errors.Is(err, store.ErrFailed) || !errors.Is(err, store.ErrDamaged) {
					t.Errorf("append: %v, want ErrFailed and ErrDamaged", err)
				}
				if err := s.Read(t.Context(), 1, func(store.Entry) error { return nil }); !errors.Is(err, store.ErrDamaged) {
					t.Errorf("read: %v, want ErrDamaged", err)
				}
			}
			if n, _ := s.Last(); n != 200 {
				t.Errorf("last: %d, want 200", n)
			}
			s.Close()
			if _, err := bolt.Open(path, bolt.Options{}); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("open again: %v, want ErrDamaged", err)
			}
		})
	}
}

func TestCheckStops(t *testing.T) {
	path := filled(t, 50)
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := bolt.Check(ended, path); !errors.Is(err, context.Canceled) {
		t.Errorf("check with an ended context: %v", err)
	}
}
