// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"math"
	"strings"
	"testing"

	"tallyhood/console/programme"
)

// The published figures (29 CFR 1910.134 App. A, Part I.B.3 and I.B.4), and
// those from memory marked as such.
func TestRecipes(t *testing.T) {
	all, err := programme.Recipes()
	must(t, err)
	want := map[string]string{
		"sweet-weak":         "[1] 0.83 g sodium saccharin, USP, 100 ml warm water.",
		"sweet-weak-diluted": "[1] 1 ml strong sweet solution (83 g in 100 ml), 100 ml distilled water.",
		"sweet-strong":       "[1] 83 g sodium saccharin, USP, 100 ml warm water.",
		"bitter-weak":        "[M] 13.5 mg denatonium benzoate, USP, 100 ml 5 % salt (NaCl) solution.",
		"bitter-strong":      "[M] 337.5 mg denatonium benzoate, USP, 200 ml 5 % salt (NaCl) solution.",
	}
	for _, r := range all {
		if w := want[r.ID]; w == "" || !strings.HasPrefix(r.Mark+" "+r.String(), w) {
			t.Errorf("%s: %s %s, want %s", r.ID, r.Mark, r, w)
		}
		delete(want, r.ID)
		if r.Source == "" || !strings.HasPrefix(r.ID, r.Agent+"-"+r.Strength) || len(r.Cautions) < 5 {
			t.Errorf("%s is not whole: %+v", r.ID, r)
		}
		if (r.Mark == "[M]") != strings.Contains(strings.Join(r.Cautions, " "), "from memory") {
			t.Errorf("%s: mark %s and its cautions differ", r.ID, r.Mark)
		}
		// Twice the volume is twice of each part, and the recipe itself stays.
		before := r.String()
		two, err := r.Scaled(2 * r.VolumeML)
		must(t, err)
		for i, p := range two.Parts {
			if math.Abs(p.Amount-2*r.Parts[i].Amount) > 1e-9 || p.Unit != r.Parts[i].Unit {
				t.Errorf("%s twice: %+v of %+v", r.ID, p, r.Parts[i])
			}
		}
		if r.String() != before || !strings.Contains(strings.Join(two.Cautions, " "), "by a factor of 2.") {
			t.Errorf("%s: scaled %+v", r.ID, two)
		}
		for _, ml := range []float64{0, 9.9, 5001, -1, math.NaN(), math.Inf(1)} {
			if _, err := r.Scaled(ml); !isRefused(err, "volume") {
				t.Errorf("%s for %v ml: %v", r.ID, ml, err)
			}
		}
	}
	if len(want) > 0 {
		t.Errorf("missing %v", want)
	}
	for _, r := range all {
		if r.ID != "bitter-weak" {
			continue
		}
		small, err := r.Scaled(50) // 6.75 mg
		must(t, err)
		if s := strings.Join(small.Cautions, " "); !strings.Contains(s, "6.75 mg of denatonium benzoate, USP is too little") {
			t.Errorf("no caution for 6.75 mg: %s", s)
		}
	}
}
