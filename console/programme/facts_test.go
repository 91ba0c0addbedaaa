// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/memory"
)

var add = flag.Bool("add", false, "write the fixtures of kinds and versions that have none; those there are never changed")

const fixturePerson = "p-7kq2m9xd"

// samples are facts with something in every field, to make new fixtures of.
func samples() []programme.Fact {
	return []programme.Fact{
		programme.PersonEntered{Person: fixturePerson, Form: programme.PersonForm{
			Name: "Tomasz Zieliński", Number: "HS-021", Job: "mason", Languages: []string{"pl", "en"}, Facepieces: []string{"corrie-m"},
			Rules: "uk-hse", Agent: "bitter", Note: "early shift",
		}, By: who},
		programme.PersonCleared{Person: fixturePerson, On: "2026-09-01", Who: "Dr Imke Brandt", By: who},
		programme.Triggered{Person: fixturePerson, Trigger: programme.TriggerDental, On: "2026-09-02", By: who},
		programme.PersonLeft{Person: fixturePerson, On: "2026-09-03", By: who},
		programme.DayListed{Person: fixturePerson, Day: "2026-09-14", Place: 2, Off: true, By: who},
		programme.PersonErased{Person: fixturePerson, Reason: "asked for", By: who},
		programme.FacepieceEntered{ID: "corrie-m", Form: programme.FacepieceForm{
			Make: "Fellside", Model: "Corrie", Style: "half mask, rubber", Size: "medium", Type: procedure.HalfMask, FitFactor: 10,
			Pieces: []string{"1", "2"}, Stock: 3, Gone: true,
		}, By: who},
		programme.PieceCleaned{Facepiece: "corrie-m", Piece: "1", At: "2026-09-14T16:00:00Z", By: who},
		programme.HoodEntered{ID: "hood-1", Form: programme.HoodForm{Mark: "1", AcrossMM: 305, TallMM: 356, Gone: true}, By: who},
		programme.NebuliserEntered{ID: "n-1", Form: programme.NebuliserForm{Mark: "A1", Role: procedure.Weak, Agent: "sweet", Gone: true}, By: who},
		programme.NebuliserFilled{ID: "n-1", Solution: "s-1", At: "2026-09-14T08:00:00Z", By: who},
		programme.MistChecked{ID: "n-1", Good: true, At: "2026-09-14T08:05:00Z", By: who},
		programme.SolutionEntered{ID: "s-1", Form: programme.SolutionForm{
			Agent: "sweet", Strength: procedure.Weak, Lot: "L-77", Made: "2026-09-14", Expires: "2026-09-21", Recipe: "0.83 g in 100 ml",
			Source: "29 CFR 1910.134 App. A", Who: who, Gone: true,
		}, By: who},
		programme.RunsRecalled{Nebuliser: "n-1", Runs: []string{"r000001"}, Reason: "nebuliser found clogged", At: "2026-09-14T16:00:00Z", Quality: "network", By: who},
		programme.RunAmended{Run: "r000001", Field: "tester", From: "Tom Reed", To: who, Reason: "wrong name chosen", At: "2026-09-14T16:05:00Z", Quality: "restored", By: who},
		programme.RunSigned{Run: "r000001", Who: "wearer", Record: strings.Repeat("ab", 32), Strokes: strings.Repeat("cd", 32), How: programme.Typed, At: "2026-09-14T16:10:00Z", Quality: "confirmed", By: who},
		programme.Restored{
			At: "2026-09-15T07:30:00Z", Quality: "network", Box: "harrowgate-1", Made: "2026-09-14T16:00:00Z", Entries: 51204,
			Head: strings.Repeat("ef", 32), By: who, Later: programme.LaterTaken,
		},
		programme.ErasuresKnown{People: []string{fixturePerson}, By: who},
		programme.PolicySet{Policy: programme.Policy{Rules: "us-osha", RetestMonths: 6, KeepMonths: 60, Site: "Harrowgate Stoneworks", Hoods: 2}, By: who},
	}
}

// later are the fields that came with a version of their fact.
var later = map[string]int{
	"runs_recalled.At": 2, "runs_recalled.Quality": 2, "run_amended.At": 2, "run_amended.Quality": 2,
	"run_signed.How": 2, "run_signed.At": 2, "run_signed.Quality": 2, "restored.Later": 2,
}

func fixture(kind string, version int) string {
	return filepath.Join("testdata", "facts", fmt.Sprintf("%s.%d.json", kind, version))
}

// fixtureKeys gives the key of the fixtures' person: always the same one.
func fixtureKeys(t *testing.T) programme.KeyOf {
	t.Helper()
	s := memory.New()
	ring := sealing.NewRing(s.Table(sealing.Table), rand.NewChaCha8([32]byte{7}))
	_, pair, err := ring.New(t.Context(), fixturePerson)
	must(t, err)
	_, err = s.Commit(t.Context(), nil, []store.Pair{pair})
	must(t, err)
	return func(person string) (*sealing.Key, error) { return ring.Key(context.Background(), person) }
}

func readFixture(t *testing.T, kind string, version int, keys programme.KeyOf) (programme.Fact, []byte, error) {
	t.Helper()
	raw, err := os.ReadFile(fixture(kind, version))
	if err != nil {
		return nil, nil, err
	}
	raw = bytes.TrimSpace(raw)
	f, err := programme.Decode(store.Entry{Number: 1, Stream: programme.Stream, Kind: kind, Version: version, Body: raw}, keys)
	return f, raw, err
}

// Every kind and version of fact that was ever written has a fixture, kept for
// ever: what stands in a journal has to be read by every later tallyhood.
func TestFixtures(t *testing.T) {
	keys := fixtureKeys(t)
	if *add {
		for _, f := range samples() {
			path := fixture(f.Kind(), programme.VersionOf(f.Kind()))
			if _, err := os.Stat(path); err == nil {
				continue
			}
			b, err := programme.Encode(f, keys)
			must(t, err)
			must(t, os.MkdirAll(filepath.Dir(path), 0o755))
			must(t, os.WriteFile(path, append(b, '\n'), 0o644))
		}
	}
	known := map[string]bool{}
	for kind, versions := range programme.Kinds() {
		for _, v := range versions {
			known[fixture(kind, v)] = true
			f, raw, err := readFixture(t, kind, v, keys)
			if err != nil {
				t.Errorf("%s version %d: %v", kind, v, err)
				continue
			}
			if f.Kind() != kind {
				t.Errorf("%s is read as %s", kind, f.Kind())
			}
			none := slices.DeleteFunc(empties(reflect.ValueOf(f), kind), func(field string) bool { return later[field] > v })
			if len(none) > 0 { // a field renamed in Go reads as nothing
				t.Errorf("%s: nothing in %v", kind, none)
			}
			if _, sealed := f.(programme.Personal); sealed {
				if !bytes.Contains(raw, []byte(fixturePerson)) || bytes.Contains(raw, []byte("Zieli")) || bytes.Contains(raw, []byte(who)) {
					t.Errorf("%s is not sealed: %s", kind, raw)
				}
				continue
			}
			if again, err := json.Marshal(f); v == programme.VersionOf(kind) && (err != nil || !bytes.Equal(again, raw)) {
				t.Errorf("%s: written again it is\n%s\nwas\n%s", kind, again, raw)
			}
		}
	}
	files, err := filepath.Glob(filepath.Join("testdata", "facts", "*"))
	must(t, err)
	for _, f := range files {
		if !known[f] {
			t.Errorf("%s: its kind and version can no longer be read", f)
		}
	}
}

func empties(v reflect.Value, name string) []string {
	if v.Kind() != reflect.Struct {
		if v.IsZero() {
			return []string{name}
		}
		return nil
	}
	var out []string
	for i := range v.NumField() {
		out = append(out, empties(v.Field(i), name+"."+v.Type().Field(i).Name)...)
	}
	return out
}

// The samples are the facts that the fixtures hold.
func TestSamplesAreTheFixtures(t *testing.T) {
	keys := fixtureKeys(t)
	kinds := programme.Kinds()
	for _, f := range samples() {
		delete(kinds, f.Kind())
		got, _, err := readFixture(t, f.Kind(), programme.VersionOf(f.Kind()), keys)
		must(t, err)
		if !reflect.DeepEqual(got, f) {
			t.Errorf("%s: the fixture holds %+v, want %+v", f.Kind(), got, f)
		}
	}
	if len(kinds) > 0 {
		t.Errorf("kinds without a sample: %v", kinds)
	}
}

func TestDecodeRefuses(t *testing.T) {
	keys := fixtureKeys(t)
	_, sealed, err := readFixture(t, "person_left", 1, keys)
	must(t, err)
	for _, c := range []struct {
		kind    string
		version int
		body    string
		want    error // nil: any
		word    string
	}{
		{"run_signed", 3, `{}`, errors.ErrUnsupported, "version 3"},
		{"policy_set", 2, `{}`, errors.ErrUnsupported, "version 2"},
		{"person_left", 2, string(sealed), errors.ErrUnsupported, "version 2"},
		{"sneezed", 1, `{}`, errors.ErrUnsupported, "sneezed"},
		{"mist_checked", 1, `{"id":"n-1","good":true,"at":"","by":"","colour":"red"}`, nil, "colour"},
		{"mist_checked", 1, `{"id":`, nil, "mist_checked"},
		{"person_left", 1, strings.Replace(string(sealed), fixturePerson, "p-22222222", 1), sealing.ErrErased, "p-22222222"},
		{"person_cleared", 1, string(sealed), sealing.ErrSpoilt, "person_cleared"}, // sealed as another kind
	} {
		f, err := programme.Decode(store.Entry{Number: 9, Kind: c.kind, Version: c.version, Body: []byte(c.body)}, keys)
		if err == nil || c.want != nil && !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.word) {
			t.Errorf("%s %d %s: %+v, %v", c.kind, c.version, c.body, f, err)
		}
	}
}
