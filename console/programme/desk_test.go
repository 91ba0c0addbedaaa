// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store/memory"
)

var corrie = programme.FacepieceForm{Make: "Fellside", Model: "Corrie", Style: "half mask, rubber", Size: "medium", Type: procedure.HalfMask, FitFactor: 10}

func TestEnterFindErase(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	ctx := context.Background()
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: "Agnes Thorley"}))
	id, err := d.Enter(ctx, programme.PersonForm{Name: "Tomasz Zieliński", Number: "HS-021", Facepieces: []string{"corrie-m"}}, "Agnes Thorley")
	must(t, err)
	for _, q := range []string{"zielin", "ZIELIŃSKI tom", "hs-021"} {
		found, err := d.Find(ctx, q, 10)
		if err != nil || len(found) != 1 || found[0].ID != id {
			t.Errorf("find %q: %v, %v", q, found, err)
		}
	}
	due, err := d.DueBy(ctx, "2026-09-14", 10)
	if err != nil || len(due) != 1 || due[0].Why != "never_tested" {
		t.Errorf("due %v, %v", due, err)
	}
	must(t, d.Erase(ctx, id, "asked for", "Agnes Thorley"))
	if found, err := d.Find(ctx, "zielinski", 10); err != nil || len(found) != 0 {
		t.Errorf("found after erasure: %v, %v", found, err)
	}
	// Made anew from the journal it is the same: the person is gone.
	must(t, d.Rebuild(ctx))
	if found, err := d.Find(ctx, "zielinski", 10); err != nil || len(found) != 0 {
		t.Errorf("found after a rebuild: %v, %v", found, err)
	}
}
