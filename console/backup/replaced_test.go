// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"tallyhood/store"
	"tallyhood/store/bolt"
)

// record makes a store in its place, as a console does, with one entry.
func record(t *testing.T, p Place, body string) {
	t.Helper()
	s, err := bolt.Open(p.Path, bolt.Options{})
	if err == nil {
		_, err = s.Append(context.Background(), store.Draft{Stream: "r000001", Kind: "a", Version: 1, Body: []byte(body)})
	}
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
}

// The wrong backup was taken first, then the right one: every store that was
// replaced lies beside the new one, and who restores is told where.
func TestEveryReplacedStoreStays(t *testing.T) {
	ctx := context.Background()
	l, k := byKey(t)
	p := place(t)
	record(t, p, "the test of today")
	was, err := os.ReadFile(p.Path)
	if err != nil {
		t.Fatal(err)
	}
	var told []string
	p.Kept = func(path string) { told = append(told, filepath.Base(path)) }
	for n := 10; n <= 30; n += 10 {
		data, _ := write(t, stored(t, n), l)
		if _, err := p.Restore(ctx, bytes.NewReader(data), k, true); err != nil {
			t.Fatal(err)
		}
	}
	only(t, filepath.Dir(p.Path), "store", "store.replaced", "store.replaced-2", "store.replaced-3")
	if b, err := os.ReadFile(p.Path + ".replaced"); err != nil || !bytes.Equal(b, was) {
		t.Errorf("the store with the test of today is gone, %v", err)
	}
	for name, want := range map[string]uint64{".replaced-2": 10, ".replaced-3": 20, "": 30} {
		if n, _, err := check(ctx, p.Path+name); err != nil || n != want {
			t.Errorf("store%s has %d entries, want %d, %v", name, n, want, err)
		}
	}
	if len(told) != 3 || told[0] != "store.replaced" || told[2] != "store.replaced-3" {
		t.Errorf("told %q", told)
	}
}

// Power went between the second name and the new file: the name is taken up,
// and no further one made for the same file.
func TestSecondNameAfterAPowerCut(t *testing.T) {
	l, k := byKey(t)
	p := place(t)
	record(t, p, "a test")
	if err := os.Link(p.Path, p.Path+replacedEnd); err != nil {
		t.Fatal(err)
	}
	data, _ := write(t, stored(t, 10), l)
	if _, err := p.Restore(context.Background(), bytes.NewReader(data), k, true); err != nil {
		t.Fatal(err)
	}
	only(t, filepath.Dir(p.Path), "store", "store.replaced")
}

// A console that begins a store while a restore is under way keeps it: what it
// records would be in a file without a name.
func TestStoreBegunDuringARestoreIsKept(t *testing.T) {
	l, k := byKey(t)
	data, _ := write(t, stored(t, 10), l)
	for _, over := range []bool{false, true} {
		p := place(t)
		p.Prepare = func(context.Context, string, Header) error {
			record(t, p, "a test")
			return nil
		}
		if _, err := p.Restore(context.Background(), bytes.NewReader(data), k, over); !errors.Is(err, ErrHasRecords) {
			t.Errorf("over %v: %v, want ErrHasRecords", over, err)
		}
		only(t, filepath.Dir(p.Path), "store")
		if n, _, err := check(context.Background(), p.Path); err != nil || n != 1 {
			t.Errorf("over %v: the store that was begun has %d entries, %v", over, n, err)
		}
	}
}
