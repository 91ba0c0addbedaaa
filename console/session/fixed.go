// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"slices"

	"tallyhood/console/procedure"
)

// Fixed is a Register of lists that never change, for the demo and for tests.
// Kit is not kept.
type Fixed struct {
	People     []procedure.Wearer
	Facepieces []procedure.Facepiece
	Rules      map[string]procedure.RuleSet
}

var _ Register = Fixed{}

// May implements Register.
func (f Fixed) May(_ context.Context, person, facepiece, rules string) (Bound, error) {
	w := slices.IndexFunc(f.People, func(p procedure.Wearer) bool { return p.ID == person })
	i := slices.IndexFunc(f.Facepieces, func(p procedure.Facepiece) bool { return p.ID == facepiece })
	r, ok := f.Rules[rules]
	if w < 0 || i < 0 || !ok {
		return Bound{}, Refusal{"unknown"}
	}
	fp := f.Facepieces[i]
	if may, _ := r.MayTest(fp.Type, fp.FitFactor); !may {
		return Bound{}, Refusal{"facepiece_not_allowed"}
	}
	return Bound{Wearer: f.People[w], Facepiece: fp}, nil
}

// Nebuliser implements Register.
func (Fixed) Nebuliser(string) *procedure.Kit { return nil }

// Kept implements Register.
func (Fixed) Kept() bool { return false }
