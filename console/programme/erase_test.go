// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/bolt"
	"tallyhood/store/memory"
)

// remembered is what of the person of lived may be found nowhere after the
// erasure.
var remembered = []string{"Zieli", "zielinski", "HS-021", "hs-021", "quarry foreman", "Dr Imke Brandt", "walks with", "M3 4L5 6"}

// lived enters a person, lets everything happen to it that can, and gives the id.
func lived(t *testing.T, s store.Store, d *programme.Desk) string {
	t.Helper()
	ctx := context.Background()
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	id, err := d.Enter(ctx, programme.PersonForm{Name: "Tomasz Zieliński", Number: "HS-021", Job: "quarry foreman", Facepieces: []string{"corrie-m"}, Note: "walks with a stick"}, who)
	must(t, err)
	must(t, d.Do(ctx,
		programme.PersonCleared{Person: id, On: "2026-09-01", Who: "Dr Imke Brandt", By: who},
		programme.Triggered{Person: id, Trigger: programme.TriggerScars, On: "2026-09-02", By: who},
		programme.DayListed{Person: id, Day: "2026-09-14", By: who},
	))
	w, err := d.SealWearer(ctx, id, "Tomasz Zieliński")
	must(t, err)
	play(t, s, d, played{run: "r000001", person: id, sealed: w.Sealed, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	r, err := d.Run(ctx, "r000001")
	must(t, err)
	must(t, d.Sign(ctx, "r000001", "wearer", r.Hash, []byte("M3 4L5 6"), programme.Drawn, who))
	must(t, d.Sign(ctx, "r000001", "tester", r.Hash, []byte("M7 8L9 9"), programme.Typed, who))
	opened, err := d.OpenWearer(ctx, w)
	if err != nil || opened.Name != "Tomasz Zieliński" {
		t.Fatalf("the name of the run: %+v, %v", opened, err)
	}
	return id
}

// gone checks that nothing of the person is left but that there was one.
func gone(t *testing.T, s store.Store, d *programme.Desk, id string, key []byte) {
	t.Helper()
	ctx := context.Background()
	for _, table := range append([]string{sealing.Table, programme.TableStrokes}, programme.ViewTables...) {
		must(t, programme.Each(ctx, s, table, func(k string, v []byte) {
			for _, word := range append(remembered, string(key)) {
				if strings.Contains(k, word) || bytes.Contains(v, []byte(word)) {
					t.Errorf("table %s still has %q: %q %s", table, word, k, v)
				}
			}
			// The id stays with the runs, and so that nobody gets it again.
			if strings.Contains(k, id) && table != "runs.of" && table != "erased" {
				t.Errorf("table %s still has the id in %q", table, k)
			}
		}))
	}
	must(t, s.Read(ctx, 1, func(e store.Entry) error { // which proves the chain as well
		for _, word := range remembered {
			if bytes.Contains(e.Body, []byte(word)) {
				t.Errorf("entry %d has %q", e.Number, word)
			}
		}
		return nil
	}))
	r, err := d.Run(ctx, "r000001")
	if err != nil || r.Outcome != procedure.Pass || r.Person != id || len(r.Signed) != 2 {
		t.Errorf("the run: %+v, %v", r, err)
	}
	if b, err := d.Strokes(ctx, r, r.Signed[1]); err != nil || string(b) != "M7 8L9 9" {
		t.Errorf("the tester's signature: %q, %v", b, err)
	}
	if _, err := d.Strokes(ctx, r, r.Signed[0]); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the wearer's signature: %v", err)
	}
	if _, err := d.Person(ctx, id); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the person: %v", err)
	}
	if runs, err := d.RunsOf(ctx, id); err != nil || len(runs) != 1 {
		t.Errorf("the runs: %v, %v", runs, err)
	}
}

// keyBytes is a person's key as it lies in the table.
func keyBytes(t *testing.T, s store.Store, id string) []byte {
	t.Helper()
	value, err := s.Table(sealing.Table).Get(context.Background(), id)
	must(t, err)
	fields := strings.Fields(string(value))
	text := fields[len(fields)-1]
	if raw, err := base64.StdEncoding.DecodeString(text); err != nil || len(raw) != 32 {
		t.Fatalf("the key %q", value)
	}
	return []byte(text)
}

func TestErasureLeavesNothing(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	id := lived(t, s, d)
	key := keyBytes(t, s, id)
	opened := ""
	must(t, s.ReadStream(t.Context(), "r000001", func(e store.Entry) error {
		if e.Kind == "run_opened" {
			f, err := procedure.Decode(e.Kind, e.Version, e.Body)
			must(t, err)
			opened = f.Fact.(procedure.RunOpened).Wearer.Sealed
		}
		return nil
	}))
	must(t, d.Erase(t.Context(), id, "asked for", who))
	gone(t, s, d, id, key)
	w, err := d.OpenWearer(t.Context(), procedure.Wearer{ID: id, Sealed: opened})
	if !errors.Is(err, sealing.ErrErased) || w.Name != "" {
		t.Errorf("the name of the run after the erasure: %+v, %v", w, err)
	}
	last, _ := s.Last()
	must(t, d.Erase(t.Context(), id, "again", who)) // there is nothing left to do
	if again, _ := s.Last(); again != last {
		t.Error("the second erasure is a fact of its own")
	}
	if err := d.EraseAll(t.Context(), []string{id, "p-7kq2m9xd"}, "again", who); !isRefused(err, "not_known") {
		t.Errorf("nobody erased: %v", err)
	}
	must(t, d.Rebuild(t.Context()))
	gone(t, s, d, id, key)
}

func isRefused(err error, why string) bool {
	var r programme.Refused
	return errors.As(err, &r) && r.Why == why
}

// In the real file not a byte is left once it was written anew; also when the
// power went between the erasure and that.
func TestErasureInTheFile(t *testing.T) {
	for _, cut := range []bool{false, true} {
		path := filepath.Join(t.TempDir(), "store.db")
		s, err := bolt.Open(path, bolt.Options{})
		must(t, err)
		c := config(t, s)
		if cut {
			c.Store = &full{Store: s, full: true}
		}
		d, err := programme.New(t.Context(), c)
		must(t, err)
		id := lived(t, s, d)
		key := keyBytes(t, s, id)
		// What is looked for is in the file before: the search can find it.
		if raw, err := os.ReadFile(path); err != nil || !bytes.Contains(raw, []byte("zielinski")) || !bytes.Contains(raw, key) {
			t.Fatalf("nothing is found before either: %v", err)
		}
		if err := d.Erase(t.Context(), id, "asked for", who); (err != nil) != cut {
			t.Fatalf("erase: %v", err)
		}
		must(t, s.Close())
		raw, err := os.ReadFile(path)
		must(t, err)
		if cut && !bytes.Contains(raw, []byte("zielinski")) {
			t.Error("the file was written anew without being told")
		}
		s, err = bolt.Open(path, bolt.Options{})
		must(t, err)
		d = newDesk(t, s)
		gone(t, s, d, id, key)
		must(t, s.Close())
		raw, err = os.ReadFile(path)
		must(t, err)
		for _, word := range append(remembered, string(key)) {
			if bytes.Contains(raw, []byte(word)) {
				t.Errorf("cut %v: the file still has %q", cut, word)
			}
		}
		files, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
		must(t, err)
		if len(files) != 1 {
			t.Errorf("files left: %v", files)
		}
	}
}

// A full store has no room to be written anew.
type full struct {
	store.Store
	full bool
}

func (f *full) Compact(ctx context.Context) error {
	if f.full {
		return errors.New("no room")
	}
	return f.Store.Compact(ctx)
}

// Without room for the new file, or for the list beside it, an erasure is said not to
// be done, and the desk opens all the same. It is brought to its end when it is asked
// for again, or by Clean.
func TestErasureWithoutRoom(t *testing.T) {
	for _, end := range []string{"erase", "clean", "open"} {
		for _, lacks := range []string{"file", "list", "both"} {
			s := &full{Store: memory.New(), full: lacks != "list"}
			c := config(t, s)
			var listed []string
			noList := lacks != "file"
			c.Erased = func(people []string) error {
				if noList {
					return errors.New("no room")
				}
				listed = people
				return nil
			}
			unclean := func(d *programme.Desk, want bool) {
				t.Helper()
				if got, err := d.Unclean(t.Context()); err != nil || got != want {
					t.Fatalf("%s, %s: unclean %v, %v; want %v", lacks, end, got, err, want)
				}
			}
			d, err := programme.New(t.Context(), c)
			must(t, err)
			id := lived(t, s, d)
			key := keyBytes(t, s, id)
			unclean(d, false)
			for range 2 {
				if err := d.Erase(t.Context(), id, "asked for", who); !errors.Is(err, programme.ErrUncleaned) {
					t.Fatalf("%s: erased with %v", lacks, err)
				}
				gone(t, s, d, id, key)
				unclean(d, true)
			}
			if end == "open" {
				d, err = programme.New(t.Context(), c)
				must(t, err)
				unclean(d, lacks != "list") // the start compares the list itself
			} else if err := d.Clean(t.Context()); !errors.Is(err, programme.ErrUncleaned) {
				t.Fatalf("%s: cleaned with %v", lacks, err)
			}
			s.full, noList = false, false
			switch end {
			case "erase":
				must(t, d.Erase(t.Context(), id, "asked for", who))
			case "clean":
				must(t, d.Clean(t.Context()))
			case "open":
				d, err = programme.New(t.Context(), c)
				must(t, err)
			}
			unclean(d, false)
			if end != "open" && (len(listed) != 1 || listed[0] != id) {
				t.Errorf("%s, %s: the list has %v", lacks, end, listed)
			}
		}
	}
}

// Nobody gets the id of somebody erased: the runs would be the new one's.
func TestAnErasedIdIsNotGivenAgain(t *testing.T) {
	s := memory.New()
	enter := func() string {
		c := config(t, s)
		c.Random = rand.NewChaCha8([32]byte{3}) // the same ids each time
		d, err := programme.New(t.Context(), c)
		must(t, err)
		id, err := d.Enter(t.Context(), programme.PersonForm{Name: "Ana"}, who)
		must(t, err)
		return id
	}
	one := enter()
	must(t, newDesk(t, s).Erase(t.Context(), one, "asked for", who))
	if two := enter(); two == one {
		t.Errorf("%s is given again", one)
	}
	must(t, newDesk(t, s).Rebuild(t.Context()))
}

// Somebody who tests one person and is tested in another run signs both with the
// same typed letters. The erasure takes what was signed as the wearer, and leaves
// the tester's under the other record; also where an older tallyhood has kept both
// in one place.
func TestErasureLeavesSignaturesThatAreAlike(t *testing.T) {
	letters := []byte(`[[[0.1,0.5],[0.8,0.4]]]`)
	sum := sha256.Sum256(letters)
	hash := hex.EncodeToString(sum[:])
	for _, c := range []struct {
		name  string
		old   bool
		other string // who signs the other record
	}{{"a tester's", false, "tester"}, {"a tester's of before", true, "tester"}, {"a wearer's", false, "wearer"}, {"a wearer's of before", true, "wearer"}, {"nobody's of before", true, ""}} {
		t.Run(c.name, func(t *testing.T) {
			s := memory.New()
			d, first := aHouse(t, s)
			second, err := d.Enter(t.Context(), programme.PersonForm{Name: who, Facepieces: []string{"corrie-m"}}, who)
			must(t, err)
			play(t, s, d, played{run: "r000100", person: first, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
			play(t, s, d, played{run: "r000200", person: second, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
			sign := func(run, as string) {
				r, err := d.Run(t.Context(), run)
				must(t, err)
				if !c.old {
					must(t, d.Sign(t.Context(), run, as, r.Hash, letters, programme.Typed, who))
					return
				}
				appended(t, s, nil, programme.RunSigned{Run: run, Who: as, Record: r.Hash, Strokes: hash, How: programme.Typed, At: at(0), By: who})
				must(t, s.Table(programme.TableStrokes).Put(t.Context(), hash, letters))
				must(t, d.Ended(t.Context(), run))
			}
			drawn := func(run string) bool {
				r, err := d.Run(t.Context(), run)
				must(t, err)
				b, err := d.Strokes(t.Context(), r, r.Signed[0])
				if err != nil && !errors.Is(err, store.ErrNotFound) {
					t.Fatal(err)
				}
				return string(b) == string(letters)
			}
			sign("r000200", "wearer")
			if c.other != "" {
				sign("r000100", c.other)
			}
			if !drawn("r000200") {
				t.Error("signed, and there is no drawing")
			}
			must(t, d.Erase(t.Context(), second, "asked for", who))
			if drawn("r000200") {
				t.Error("the drawing of who was erased is still shown")
			}
			if c.other != "" && !drawn("r000100") {
				t.Error("the drawing under the other record is gone")
			}
			r, err := d.Run(t.Context(), "r000200")
			must(t, err)
			if err := d.Sign(t.Context(), "r000200", "wearer", r.Hash, letters, programme.Typed, who); !isRefused(err, "erased") {
				t.Errorf("signs after the erasure: %v", err)
			}
			must(t, d.Erase(t.Context(), first, "asked for", who))
			left := 0
			must(t, programme.Each(t.Context(), s, programme.TableStrokes, func(string, []byte) { left++ }))
			if want := map[bool]int{true: 1}[c.other == "tester"]; left != want {
				t.Errorf("%d drawings are left, want %d", left, want)
			}
		})
	}
}
