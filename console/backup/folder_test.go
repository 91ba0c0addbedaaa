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
)

// numbers restores each proven backup of a folder and returns how many entries
// it holds, newest first.
func numbers(t testing.TB, f Folder, k Key) []uint64 {
	t.Helper()
	files, err := f.Files()
	if err != nil {
		t.Fatal(err)
	}
	var out []uint64
	for _, file := range files {
		data, err := os.ReadFile(file.Path)
		if err != nil || int64(len(data)) != file.Size {
			t.Fatalf("%d bytes of %d, %v", len(data), file.Size, err)
		}
		h, err := place(t).Prove(context.Background(), bytes.NewReader(data), k)
		if err != nil {
			t.Fatalf("%s: %v", file.Path, err)
		}
		out = append(out, h.Entries)
	}
	return out
}

func same(a, b []uint64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

const (
	fileA      = "tallyhood-harrowgate-1-a.age"
	fileB      = "tallyhood-harrowgate-1-b.age"
	fileProven = "tallyhood-harrowgate-1-proven.age"
	fileNew    = "tallyhood-harrowgate-1-new.age"
)

func TestTwoGenerations(t *testing.T) {
	ctx := context.Background()
	l, k := byKey(t)
	f, p := Folder{Dir: t.TempDir(), Box: "harrowgate-1"}, place(t)
	for i, want := range [][]uint64{{1}, {2, 1}, {3, 2}, {4, 3}} {
		h, err := f.Make(ctx, stored(t, i+1), what(), l, p)
		if err != nil || h.Entries != uint64(i+1) {
			t.Fatalf("%v, %v", h, err)
		}
		if got := numbers(t, f, k); !same(got, want) {
			t.Fatalf("after %d backups there are those of %v entries", i+1, got)
		}
		only(t, filepath.Dir(p.Path))
	}
	only(t, f.Dir, fileA, fileB)
	other := what()
	other.Box = "harrowgate-2"
	if _, err := f.Make(ctx, stored(t, 9), other, l, p); err == nil {
		t.Error("another box's backup in this one's folder")
	}
	if _, err := (Folder{Dir: f.Dir, Box: "../x"}).Make(ctx, stored(t, 9), Header{Box: "../x"}, l, p); err == nil {
		t.Error("a box that is a path")
	}
}

// With a passphrase the folder proves with the passphrase.
func TestGenerationWithPassphrase(t *testing.T) {
	l, k := byPhrase(t)
	f := Folder{Dir: t.TempDir(), Box: "harrowgate-1"}
	if _, err := f.Make(context.Background(), stored(t, 5), what(), l, place(t)); err != nil {
		t.Fatal(err)
	}
	if got := numbers(t, f, k); !same(got, []uint64{5}) {
		t.Errorf("there are those of %v entries", got)
	}
}

// stopping is a medium that is full after so many bytes, or breaks at the sync or
// at closing.
type stopping struct {
	file        *os.File
	full        *full
	sync, close error
}

func (s *stopping) Write(p []byte) (int, error) {
	n, err := s.full.Write(p)
	if m, e := s.file.Write(p[:n]); e != nil {
		return m, e
	}
	return n, err
}
func (s *stopping) Sync() error { return s.sync }
func (s *stopping) Close() error {
	return errors.Join(s.file.Close(), s.close)
}

// Whatever goes wrong while the third backup is made, the first two stay, and the
// next one works.
func TestFailuresLeaveTheGenerations(t *testing.T) {
	ctx := context.Background()
	l, k := byKey(t)
	gone := errors.New("no space left")
	f, p := Folder{Dir: t.TempDir(), Box: "harrowgate-1"}, place(t)
	for i := range 2 {
		if _, err := f.Make(ctx, stored(t, i+1), what(), l, p); err != nil {
			t.Fatal(err)
		}
	}
	third := stored(t, 60)
	data, _ := write(t, third, l)
	broken := func(room int, sync, close error) Folder {
		g := f
		g.create = func(path string) (written, error) {
			file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
			return &stopping{file, &full{room, gone}, sync, close}, err
		}
		return g
	}
	intact := func(what string) {
		t.Helper()
		only(t, f.Dir, fileA, fileB)
		only(t, filepath.Dir(p.Path))
		if got := numbers(t, f, k); !same(got, []uint64{2, 1}) {
			t.Fatalf("%s: there are those of %v entries", what, got)
		}
	}
	for room := 0; room < len(data); room += 32 << 10 {
		if _, err := broken(room, nil, nil).Make(ctx, third, what(), l, p); !errors.Is(err, gone) {
			t.Fatalf("room for %d: %v", room, err)
		}
		intact("a full medium")
	}
	if _, err := broken(1<<30, gone, nil).Make(ctx, third, what(), l, p); !errors.Is(err, gone) {
		t.Fatalf("sync fails: %v", err)
	}
	intact("sync")
	if _, err := broken(1<<30, nil, gone).Make(ctx, third, what(), l, p); !errors.Is(err, gone) {
		t.Fatalf("close fails: %v", err)
	}
	intact("close")
	// The medium says yes and keeps something else.
	lying := f
	lying.create = func(path string) (written, error) {
		file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		return &forgetful{File: file, at: 1000}, err
	}
	if _, err := lying.Make(ctx, third, what(), l, p); !errors.Is(err, ErrDamaged) {
		t.Fatalf("a medium that lies: %v", err)
	}
	intact("a lie")
	// The store is damaged, so that its snapshot is too: the proof says so.
	raw, err := os.ReadFile(third.path)
	if err != nil {
		t.Fatal(err)
	}
	spoilt := third
	spoilt.path = filepath.Join(t.TempDir(), "store")
	if err := os.WriteFile(spoilt.path, bytes.Replace(raw, []byte("squeezed"), []byte("squeezes"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Make(ctx, spoilt, what(), l, p); !errors.Is(err, store.ErrDamaged) {
		t.Fatalf("a damaged store: %v", err)
	}
	intact("a damaged store")
	// The source names another last entry than its file has.
	wrong := third
	wrong.number++
	if _, err := f.Make(ctx, wrong, what(), l, p); !errors.Is(err, ErrDiffers) {
		t.Fatalf("another number: %v", err)
	}
	intact("another number")
	// No room for the proof.
	if _, err := f.Make(ctx, third, what(), l, Place{Path: filepath.Join(f.Dir, "none", "store"), Check: check}); err == nil {
		t.Fatal("no place to prove in")
	}
	intact("no place")
	if _, err := f.Make(ctx, third, what(), l, p); err != nil {
		t.Fatal(err)
	}
	if got := numbers(t, f, k); !same(got, []uint64{60, 2}) {
		t.Errorf("at last there are those of %v entries", got)
	}
}

// forgetful changes one byte on its way to the medium.
type forgetful struct {
	*os.File
	n, at int
}

func (f *forgetful) Write(p []byte) (int, error) {
	p = bytes.Clone(p)
	if f.n <= f.at && f.at < f.n+len(p) {
		p[f.at-f.n] ^= 1
	}
	f.n += len(p)
	return f.File.Write(p)
}

// A power cut after any of the steps: a proven backup is there, in its place in
// the order, and the next Make goes on.
func TestPowerCutBetweenSteps(t *testing.T) {
	ctx := context.Background()
	l, k := byKey(t)
	file := map[string][]byte{}
	for name, n := range map[string]int{"1": 1, "2": 2, "3": 3} {
		file[name], _ = write(t, stored(t, n), l)
	}
	half := file["3"][:len(file["3"])/2]
	for _, c := range []struct {
		name  string
		lies  map[string][]byte
		now   []uint64 // what can be restored at once
		after []uint64 // and after the next Make
	}{
		{"while the first is written", map[string][]byte{fileNew: half}, nil, []uint64{4}},
		{"while the third is written", map[string][]byte{fileA: file["2"], fileB: file["1"], fileNew: half}, []uint64{2, 1}, []uint64{4, 2}},
		{"written and not proven", map[string][]byte{fileA: file["2"], fileB: file["1"], fileNew: file["3"]}, []uint64{2, 1}, []uint64{4, 2}},
		{"proven", map[string][]byte{fileA: file["2"], fileB: file["1"], fileProven: file["3"]}, []uint64{3, 2, 1}, []uint64{4, 3}},
		{"a is b", map[string][]byte{fileB: file["2"], fileProven: file["3"]}, []uint64{3, 2}, []uint64{4, 3}},
		{"the first, proven", map[string][]byte{fileProven: file["1"]}, []uint64{1}, []uint64{4, 1}},
	} {
		f := Folder{Dir: t.TempDir(), Box: "harrowgate-1"}
		for name, data := range c.lies {
			if err := os.WriteFile(filepath.Join(f.Dir, name), data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if got := numbers(t, f, k); !same(got, c.now) {
			t.Errorf("%s: there are those of %v entries", c.name, got)
		}
		if _, err := f.Make(ctx, stored(t, 4), what(), l, place(t)); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if got := numbers(t, f, k); !same(got, c.after) {
			t.Errorf("%s: after the next there are those of %v entries", c.name, got)
		}
	}
}
