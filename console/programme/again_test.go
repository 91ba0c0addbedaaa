// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/bolt"
	"tallyhood/store/memory"
)

// An older copy of the store brings somebody back who was erased: the ids that
// were kept outside erase the person again, in the copy's journal and file.
func TestErasedAgainInAnOlderCopy(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	path, old := filepath.Join(dir, "store"), filepath.Join(dir, "old")
	s, err := bolt.Open(path, bolt.Options{})
	must(t, err)
	var kept []string
	c := config(t, s)
	c.Erased = func(people []string) error { kept = append(kept, people...); return nil }
	d, err := programme.New(ctx, c)
	must(t, err)
	id := lived(t, s, d)
	key := keyBytes(t, s, id)
	must(t, s.Close())
	raw, err := os.ReadFile(path)
	must(t, err)
	must(t, os.WriteFile(old, raw, 0o600))

	s, err = bolt.Open(path, bolt.Options{})
	must(t, err)
	c = config(t, s)
	c.Erased = func(people []string) error { kept = append(kept, people...); return nil }
	d, err = programme.New(ctx, c)
	must(t, err)
	later, err := d.Enter(ctx, programme.PersonForm{Name: "Ana Ionescu"}, who)
	must(t, err)
	must(t, d.EraseAll(ctx, []string{id, later}, "asked for", who))
	if !slices.Equal(kept, slices.Sorted(slices.Values([]string{id, later}))) {
		t.Fatalf("kept outside: %v", kept)
	}
	if err := d.Erase(ctx, "p-22222222", "asked for", who); !isRefused(err, "not_known") || len(kept) != 2 {
		t.Errorf("a refused erasure: %v, kept %v", err, kept)
	}
	must(t, s.Close())

	s, err = bolt.Open(old, bolt.Options{})
	must(t, err)
	d = newDesk(t, s)
	if _, err := d.Person(ctx, id); err != nil {
		t.Fatalf("the copy does not bring the person back: %v", err)
	}
	again, err := d.EraseAgain(ctx, append(kept, id, "not an id"))
	if err != nil || !slices.Equal(again, []string{id}) {
		t.Fatalf("erased again: %v, %v", again, err)
	}
	gone(t, s, d, id, key)
	raw, err = os.ReadFile(old)
	must(t, err)
	if bytes.Contains(raw, []byte("zielinski")) || bytes.Contains(raw, key) {
		t.Error("the copy's file still has the person")
	}
	// The journal knows both now, also the one whom it never had, and says so to
	// whoever asks it; nothing is done twice, and views made anew agree.
	want := slices.Sorted(slices.Values([]string{id, later}))
	for range 2 {
		last, _ := s.Last()
		again, err = d.EraseAgain(ctx, kept)
		if now, _ := s.Last(); err != nil || again != nil || now != last {
			t.Errorf("once more: %v, %v, %d entries more", again, err, now-last)
		}
		has, err := d.Erased(ctx)
		must(t, err)
		in, err := programme.ErasedIn(ctx, s)
		must(t, err)
		if !slices.Equal(has, want) || !slices.Equal(slices.Sorted(slices.Values(in)), want) {
			t.Errorf("views %v, journal %v, want %v", has, in, want)
		}
		must(t, d.Rebuild(ctx))
	}
	gone(t, s, d, id, key)
	must(t, s.Close())
}

// When the list outside cannot be written the person is erased all the same, and
// it is said.
func TestErasureWithoutTheListOutside(t *testing.T) {
	s := memory.New()
	full := errors.New("the disk is full")
	c := config(t, s)
	c.Erased = func([]string) error { return full }
	d, err := programme.New(t.Context(), c)
	must(t, err)
	id, err := d.Enter(t.Context(), programme.PersonForm{Name: "Ana Ionescu"}, who)
	must(t, err)
	if err := d.Erase(t.Context(), id, "asked for", who); !errors.Is(err, full) {
		t.Errorf("%v", err)
	}
	if _, err := d.Person(t.Context(), id); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the person: %v", err)
	}
}

func TestRestoredIsChecked(t *testing.T) {
	d := newDesk(t, memory.New())
	must(t, d.Do(t.Context(), programme.Restored{At: "2026-09-15T07:30:00Z", Quality: "network", Box: "harrowgate-1", Entries: 3}))
	for why, f := range map[string]programme.Fact{
		"instant":   programme.Restored{At: "yesterday"},
		"nobody":    programme.ErasuresKnown{By: who},
		"not_known": programme.ErasuresKnown{People: []string{"Ana Ionescu"}, By: who},
	} {
		if err := d.Do(t.Context(), f); !isRefused(err, why) {
			t.Errorf("%s: %v", why, err)
		}
	}
}
