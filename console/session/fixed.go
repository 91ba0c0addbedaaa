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
	Languages  map[string]string // of people, by id; others' are not known
}

var _ Register = Fixed{}

// May implements Register.
func (f Fixed) May(_ context.Context, person, facepiece, rules string) (Bound, error) {
	w := slices.IndexFunc(f.People, func(p procedure.Wearer) bool { return p.ID == person })
	if w < 0 {
		return Bound{}, Refusal{"unknown"}
	}
	fp, err := f.facepiece(facepiece, rules)
	if err != nil {
		return Bound{}, err
	}
	return Bound{Wearer: f.People[w], Facepiece: fp, Language: f.Languages[person]}, nil
}

// Facepiece implements Register.
func (f Fixed) Facepiece(_ context.Context, facepiece, rules string) (procedure.Facepiece, error) {
	return f.facepiece(facepiece, rules)
}

func (f Fixed) facepiece(facepiece, rules string) (procedure.Facepiece, error) {
	i := slices.IndexFunc(f.Facepieces, func(p procedure.Facepiece) bool { return p.ID == facepiece })
	r, ok := f.Rules[rules]
	if i < 0 || !ok {
		return procedure.Facepiece{}, Refusal{"unknown"}
	}
	if may, _ := r.MayTest(f.Facepieces[i].Type, f.Facepieces[i].FitFactor); !may {
		return procedure.Facepiece{}, Refusal{"facepiece_not_allowed"}
	}
	return f.Facepieces[i], nil
}

// Nebuliser implements Register.
func (Fixed) Nebuliser(string) *procedure.Kit { return nil }

// Kept implements Register.
func (Fixed) Kept() bool { return false }

// Hood implements Register.
func (Fixed) Hood(string) *procedure.Hood { return nil }
