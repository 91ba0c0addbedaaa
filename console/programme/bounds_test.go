// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// goesOn says that a desk takes something in, that one opened anew does, and that
// views made anew are the same.
func goesOn(t *testing.T, s *memory.Store, d *programme.Desk) {
	t.Helper()
	_, err := d.Enter(t.Context(), programme.PersonForm{Name: "Ana"}, who)
	must(t, err)
	d = newDesk(t, s)
	_, err = d.Enter(t.Context(), programme.PersonForm{Name: "Bram"}, who)
	must(t, err)
	sameMadeAnew(t, s, d)
}

// nothingWritten says that something is refused for a reason, and that the
// journal has nothing of it.
func nothingWritten(t *testing.T, s *memory.Store, why string, do func() error) {
	t.Helper()
	before, _ := s.Last()
	if err := do(); !isRefused(err, why) {
		t.Errorf("%v, want it refused as %s", err, why)
	}
	if after, _ := s.Last(); after != before {
		t.Errorf("refused, and the journal has %d entries more", after-before)
	}
}

// A Hangul syllable of three parts folds into three signs of three bytes each
// (Unicode, chapter 3.12), so that 114 of them are more than a key holds.
func TestWordsThatAreMoreThanAKey(t *testing.T) {
	long := strings.Repeat("각", 120)
	for name, form := range map[string]programme.PersonForm{
		"a name in one word": {Name: long},
		"a number":           {Name: "Ilse", Number: long},
		"both":               {Name: long, Number: long},
	} {
		t.Run(name, func(t *testing.T) {
			s := memory.New()
			d := newDesk(t, s)
			id, err := d.Enter(t.Context(), form, who)
			must(t, err)
			goesOn(t, s, d)
			for _, query := range []string{"각각", long} {
				if found, err := d.Find(t.Context(), query, 5); err != nil || len(found) != 1 || found[0].ID != id {
					t.Errorf("found by %d signs: %v, %v", len([]rune(query)), found, err)
				}
			}
			if form.Number != "" {
				_, err := d.Enter(t.Context(), programme.PersonForm{Number: long}, who)
				if !isRefused(err, "number_taken") {
					t.Errorf("the number given again: %v", err)
				}
				_, err = d.Enter(t.Context(), programme.PersonForm{Number: long[:len(long)-len("각")] + "간"}, who)
				must(t, err) // it differs in what no key holds
			}
			must(t, d.Erase(t.Context(), id, "asked for", who))
			must(t, programme.Each(t.Context(), s, "people.find", func(key string, _ []byte) {
				if strings.Contains(key, id) {
					t.Error("erased, and still to be found")
				}
			}))
		})
	}
}

// What one record or facepiece takes is bounded, and refused before anything of
// it is written.
func TestBoundsOfARecord(t *testing.T) {
	s := memory.New()
	d, id := aHouse(t, s)
	play(t, s, d, played{run: "r000100", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	long := strings.Repeat("<", 400) // a sign that JSON writes with six
	amend := func(i int) error {
		return d.Amend(t.Context(), "r000100", "tester", fmt.Sprintf("%03d%s", i, long[:117]), long, long[:120])
	}
	r, err := d.Run(t.Context(), "r000100")
	must(t, err)
	sign := func() error {
		return d.Sign(t.Context(), "r000100", "tester", r.Hash, []byte("[[[0,0],[1,1]]]"), programme.Typed, who)
	}
	for i := range 50 {
		must(t, amend(i))
		must(t, sign())
	}
	nothingWritten(t, s, "corrected_often", func() error { return amend(50) })
	nothingWritten(t, s, "signed_often", sign)
	piece := programme.PieceCleaned{Facepiece: "corrie-m", Piece: "C7", At: at(0), By: who}
	nothingWritten(t, s, "not_known", func() error { return d.Do(t.Context(), piece) })
	form := corrie
	form.Pieces = []string{"C7"}
	must(t, d.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", Form: form, By: who}, piece))
	goesOn(t, s, d)
	if r, err = d.Run(t.Context(), "r000100"); err != nil || len(r.Amended) != 50 || len(r.Signed) != 50 || r.TestedBy()[:3] != "049" {
		t.Errorf("%d corrections, %d signatures, %v", len(r.Amended), len(r.Signed), err)
	}
}

// What no view can hold is known before it is written, also of the last fact of
// several and when others of them fit.
func TestWhatNoViewHoldsIsRefusedBefore(t *testing.T) {
	s := memory.New()
	d, _ := aHouse(t, s)
	defer programme.MostRow(3000)()
	batch := solution("sweet", procedure.Weak)
	nothingWritten(t, s, "too_much", func() error {
		batch.Recipe = strings.Repeat("g", 3000)
		return d.Do(t.Context(),
			programme.HoodEntered{ID: "h-1", Form: programme.HoodForm{Mark: "1"}, By: who},
			programme.SolutionEntered{ID: "s-2", Form: batch, By: who})
	})
	goesOn(t, s, d)
}

// appended writes facts as a tallyhood without bounds has written them.
func appended(t *testing.T, s *memory.Store, keys programme.KeyOf, facts ...programme.Fact) {
	t.Helper()
	var drafts []store.Draft
	for _, f := range facts {
		body, err := programme.Encode(f, keys)
		must(t, err)
		drafts = append(drafts, store.Draft{Stream: programme.Stream, Kind: f.Kind(), Version: programme.VersionOf(f.Kind()), Body: body})
	}
	_, err := s.Append(t.Context(), drafts...)
	must(t, err)
}

// A store that holds more than a view can, from before there were bounds, opens
// and goes on; how things stand is as the last facts say.
func TestAStoreThatHoldsTooMuch(t *testing.T) {
	long := func(n int) string { return strings.Repeat("𝒜", n) }
	defer programme.MostRow(40_000)()
	s := memory.New()
	d, id := aHouse(t, s)
	play(t, s, d, played{run: "r000100", person: id, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	r, err := d.Run(t.Context(), "r000100")
	must(t, err)
	form := corrie
	form.Pieces = []string{"C7"}
	c := config(t, s)
	facts := []programme.Fact{
		programme.PersonEntered{Person: id, Form: programme.PersonForm{Name: strings.Repeat("각", 120), Facepieces: []string{"corrie-m"}}, By: who},
		programme.RunAmended{Run: "r000100", Field: "tester", To: "Bram Okafor", Reason: "wrong name", At: at(0), By: who},
		programme.RunSigned{Run: "r000100", Who: "wearer", Record: r.Hash, Strokes: strings.Repeat("ab", 32), At: at(0), By: who},
		programme.FacepieceEntered{ID: "corrie-m", Form: form, By: who},
		programme.PieceCleaned{Facepiece: "corrie-m", Piece: "C7", At: "2019-01-01T08:00:00Z", By: who},
	}
	for i := range 40 {
		facts = append(facts, programme.RunAmended{Run: "r000100", Field: "whose", From: long(120), To: fmt.Sprint(i, long(100)), Reason: long(400), At: at(0), By: long(120)})
	}
	for i := range 200 {
		facts = append(facts, programme.RunSigned{Run: "r000100", Who: "tester", Record: r.Hash, Strokes: fmt.Sprintf("%064d", i), At: at(0), By: who})
	}
	for i := range 120 {
		facts = append(facts, programme.PieceCleaned{Facepiece: "corrie-m", Piece: fmt.Sprint(i, long(114)), At: fmt.Sprintf("2026-09-14T08:%02d:%02dZ", i/60, i%60), By: who})
	}
	appended(t, s, func(person string) (*sealing.Key, error) { return c.Ring.Key(t.Context(), person) }, facts...)
	d = newDesk(t, s)
	goesOn(t, s, d)
	r, err = d.Run(t.Context(), "r000100")
	must(t, err)
	if r.TestedBy() != "Bram Okafor" || !strings.HasPrefix(r.Amended[len(r.Amended)-1].To, "39") || r.Amended[0].Field != "tester" {
		t.Errorf("tested by %s, the last of %d corrections %q", r.TestedBy(), len(r.Amended), r.Amended[len(r.Amended)-1].To)
	}
	if last := r.Signed[len(r.Signed)-1]; r.Signed[0].Who != "wearer" || last.Strokes != fmt.Sprintf("%064d", 199) {
		t.Errorf("%d signatures, the last %+v", len(r.Signed), last)
	}
	pieces, err := d.Facepieces(t.Context())
	must(t, err)
	if cleaned := pieces[0].Cleaned; cleaned["C7"] == "" || cleaned[fmt.Sprint(119, long(114))] == "" || cleaned[fmt.Sprint(0, long(114))] != "" {
		t.Errorf("%d cleanings, of the piece in stock %q", len(cleaned), cleaned["C7"])
	}
	must(t, d.Do(t.Context(), programme.PieceCleaned{Facepiece: "corrie-m", Piece: "C7", At: at(0), By: who}))
}

// deaf is a store that takes views no more, as when the card fails then.
type deaf struct {
	*memory.Store
	on *bool
}

func (s deaf) Commit(ctx context.Context, drafts []store.Draft, pairs []store.Pair) ([]store.Entry, error) {
	if *s.on && len(drafts) == 0 {
		return nil, store.ErrInvalid
	}
	return s.Store.Commit(ctx, drafts, pairs)
}

// What was written before the views failed is told as written.
func TestSavedAndNotShown(t *testing.T) {
	on := false
	s := deaf{memory.New(), &on}
	d := newDesk(t, s)
	on = true
	before, _ := s.Last()
	_, err := d.Enter(t.Context(), programme.PersonForm{Name: "Ana"}, who)
	if after, _ := s.Last(); !errors.Is(err, programme.ErrSaved) || after != before+1 {
		t.Errorf("%v, %d entries", err, after-before)
	}
	// The next one waits for the views of the first: nothing of it is written.
	if _, err = d.Enter(t.Context(), programme.PersonForm{Name: "Bram"}, who); err == nil || errors.Is(err, programme.ErrSaved) {
		t.Errorf("then: %v", err)
	}
	on = false
	if found, err := d.Enter(t.Context(), programme.PersonForm{Name: "Cleo"}, who); err != nil || found == "" {
		t.Errorf("then: %v", err)
	}
	if found, err := d.Find(t.Context(), "ana", 5); err != nil || len(found) != 1 {
		t.Errorf("shown at last: %v, %v", found, err)
	}
}
