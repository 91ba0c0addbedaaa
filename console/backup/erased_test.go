// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tallyhood/store"
	"tallyhood/store/bolt"
)

func TestListOfTheErased(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "store")
	e := ErasedBeside(path)
	if got, err := e.Read(); err != nil || got != nil {
		t.Fatalf("no file: %v, %v", got, err)
	}
	for _, add := range [][]string{{"p-7kq2m9xd"}, {"p-22222222", "p-7kq2m9xd"}, {}} {
		if err := e.Add(add...); err != nil {
			t.Fatal(err)
		}
	}
	want := []string{"p-22222222", "p-7kq2m9xd"}
	if got, err := ErasedBeside(path).Read(); err != nil || !slices.Equal(got, want) {
		t.Errorf("%v, %v", got, err)
	}
	if err := e.Add("Tomasz Zieliński"); err == nil {
		t.Error("a name is written")
	}
	only(t, dir, "store.erased")
	info, err := os.Stat(path + ".erased")
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
}

// Whatever happened to the file, what can be read of it counts, what cannot is
// said, and the next writing makes it whole.
func TestSpoiltListOfTheErased(t *testing.T) {
	for text, want := range map[string][]string{
		"tallyhood.erased/1\np-22222222\np-33":       {"p-22222222", "p-33"}, // cut in an id: said, and nobody has that id
		"tallyhood.erased/1\n\x00\x00\np-22222222\n": {"p-22222222"},
		"tallyhood.erased/9\np-22222222\n":           {"p-22222222"},
		"":                                           nil,
		strings.Repeat("x", 1<<20):                   nil,
	} {
		path := filepath.Join(t.TempDir(), "store")
		if err := os.WriteFile(path+".erased", []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		e := ErasedBeside(path)
		if got, err := e.Read(); !errors.Is(err, ErrSpoiltList) || !slices.Equal(got, want) {
			t.Errorf("%.40q: %v, %v", text, got, err)
		}
		if err := e.Add("p-44444444"); err != nil {
			t.Error(err)
		}
		if got, err := e.Read(); err != nil || !slices.Equal(got, append(want, "p-44444444")) {
			t.Errorf("%.40q, written anew: %v, %v", text, got, err)
		}
	}
	// A place where nothing can be written says so, and keeps what was there.
	if err := ErasedBeside(filepath.Join(t.TempDir(), "away", "store")).Add("p-44444444"); err == nil {
		t.Error("written nowhere")
	}
}

// Prepare has the restored file before the store's place does, and its error
// leaves everything as it was.
func TestPrepareBeforeTheStoresPlace(t *testing.T) {
	ctx := context.Background()
	l, k := byKey(t)
	data, _ := write(t, stored(t, 3), l)
	p := place(t)
	bad := errors.New("it cannot be prepared")
	p.Prepare = func(context.Context, string, Header) error { return bad }
	if _, err := p.Restore(ctx, bytes.NewReader(data), k, false); !errors.Is(err, bad) {
		t.Fatal(err)
	}
	only(t, filepath.Dir(p.Path))
	if _, err := p.Prove(ctx, bytes.NewReader(data), k); err != nil {
		t.Errorf("a proof prepares: %v", err)
	}
	p.Prepare = func(ctx context.Context, path string, h Header) error {
		if _, err := os.Lstat(p.Path); err == nil || h.Entries != 3 {
			t.Errorf("%v, the store is in its place already", h)
		}
		s, err := bolt.Open(path, bolt.Options{})
		if err != nil {
			return err
		}
		_, err = s.Append(ctx, store.Draft{Stream: "programme", Kind: "restored", Version: 1, Body: []byte("{}")})
		return errors.Join(err, s.Close())
	}
	if h, err := p.Restore(ctx, bytes.NewReader(data), k, false); err != nil || h.Entries != 3 {
		t.Fatal(err)
	}
	if n, _, err := check(ctx, p.Path); err != nil || n != 4 {
		t.Errorf("%d entries, %v", n, err)
	}
}
