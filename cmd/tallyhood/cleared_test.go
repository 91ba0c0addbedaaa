// SPDX-License-Identifier: Apache-2.0

package main

import (
	"testing"

	"tallyhood/console/programme"
)

// 29 CFR 1910.134(e)(1) wants a medical evaluation before the fit test: whom no
// clearance is on record of is named where a run is opened, and may be tested all
// the same, since other law may not ask for one.
func TestWhoIsNotCleared(t *testing.T) {
	b := newRealBox(t, t.TempDir(), 1)
	desk := b.p.office.desk
	if err := desk.Do(t.Context(), programme.FacepieceEntered{ID: "corrie-m", By: "Agnes Thorley", Form: programme.FacepieceForm{
		Make: "Fellside", Model: "Corrie", Style: "half mask", Size: "medium", Type: "half_mask", FitFactor: 100, Stock: 3,
	}}); err != nil {
		t.Fatal(err)
	}
	ids, err := desk.EnterAll(t.Context(), []programme.PersonForm{{Name: "Ilse Brandvold", Facepieces: []string{"corrie-m"}}, {Name: "Tomasz Zieliński", Facepieces: []string{"corrie-m"}}}, "Agnes Thorley")
	if err != nil {
		t.Fatal(err)
	}
	cleared, not := ids[0], ids[1]
	if err := desk.Do(t.Context(), programme.PersonCleared{Person: cleared, On: "2026-02-03", Who: "Dr Penhallow", By: "Agnes Thorley"}); err != nil {
		t.Fatal(err)
	}
	told := map[string]bool{}
	for _, c := range b.p.office.choices(t.Context()).People {
		told[c.ID] = c.Uncleared
	}
	if len(told) != 2 || told[cleared] || !told[not] {
		t.Errorf("to choose from, and not cleared: %v", told)
	}
	for person, want := range map[string]bool{cleared: false, not: true} {
		bound, err := b.p.office.May(t.Context(), person, "corrie-m", "us-osha")
		if err != nil || bound.Uncleared != want {
			t.Errorf("%s: not cleared %t, %v", person, bound.Uncleared, err)
		}
	}
}
