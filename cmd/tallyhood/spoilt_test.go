// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/wire"
)

// What is found out about a nebuliser or a batch while a run has it reaches the
// run by whatever name it was known when it was named: the Bench never shows a
// pass that the records take back.
func TestKitFoundBadInARunReachesTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("only when asked: whole runs take some seconds (not with -short)")
	}
	t.Parallel()
	const by = "Agnes Thorley"
	for name, found := range map[string]func(b *realBox){
		"no mist from one whose mark is another by now": func(b *realBox) {
			b.good("PUT", "nebulisers/n-s1", map[string]any{"form": programme.NebuliserForm{Mark: "S 1 blue", Role: procedure.Strong, Agent: "bitter"}, "by": by})
			b.good("POST", "nebulisers/n-s1/mist", map[string]any{"good": false, "shown": []string{}, "by": by})
		},
		"the batch of one that was filled for the next person": func(b *realBox) {
			at, _ := b.p.wall.Now()
			form := func(lot, strength string) programme.SolutionForm {
				return programme.SolutionForm{Agent: "bitter", Strength: strength, Lot: lot, Made: at.Format(time.DateOnly), Expires: at.AddDate(0, 1, 0).Format(time.DateOnly), Recipe: "as published", Source: "the rule", Who: by}
			}
			b.good("PUT", "solutions/s-w2", map[string]any{"form": form("L-W2", procedure.Weak), "by": by})
			b.good("POST", "nebulisers/n-w1/filled", map[string]any{"solution": "s-w2", "by": by})
			b.good("PUT", "solutions/s-w1", map[string]any{"form": form("L-W1", procedure.Strong), "by": by})
		},
		"one that is not used any more": func(b *realBox) {
			b.good("PUT", "nebulisers/n-s1", map[string]any{"form": programme.NebuliserForm{Mark: "S1", Role: procedure.Strong, Agent: "bitter", Gone: true}, "by": by})
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for last := 5; ; last-- {
				b := newRealBox(t, t.TempDir(), 60)
				b.good("PUT", "policy", map[string]any{"by": by, "policy": programme.Policy{Rules: "us-osha", Site: "Harrowgate Stoneworks", Hoods: 1}})
				b.good("PUT", "facepieces/corrie-m", map[string]any{"by": by, "form": programme.FacepieceForm{
					Make: "Fellside", Model: "Corrie", Style: "half mask, rubber", Size: "medium", Type: procedure.HalfMask, FitFactor: 10, Pieces: []string{},
				}})
				var made struct{ ID string }
				if err := json.Unmarshal(b.good("POST", "people", map[string]any{"by": by, "form": programme.PersonForm{Name: "Tomasz Zieliński", Facepieces: []string{"corrie-m"}}}), &made); err != nil {
					t.Fatal(err)
				}
				b.nebuliser("W1", procedure.Weak)
				b.nebuliser("S1", procedure.Strong)
				p := openTablet(t, b.base+"/")
				p.must(wire.Command{Do: "take_lease"})
				p.until("the lease", func(s wire.Snapshot) bool { return s.Driver == p.me })
				p.fence = p.last.Fence
				b.tested(p, made.ID, b.p.rules["us-osha"], func() { found(b) })
				v := p.last.Run.Verdict
				if v.Outcome == procedure.NotValid && v.Reason == procedure.MistCheckFailed {
					return
				}
				// A machine that stood still for longer makes a run not valid as well.
				if v.Outcome != procedure.NotValid || last == 1 {
					t.Fatalf("the Bench shows %s %s, want not valid for the mist check", v.Outcome, v.Reason)
				}
				t.Logf("not valid, %s: once more", v.Reason)
			}
		})
	}
}
