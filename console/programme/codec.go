// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"

	"tallyhood/console/sealing"
	"tallyhood/store"
)

// sealed is the body of a personal fact in the journal.
type sealed struct {
	Person string `json:"person"`
	Sealed string `json:"sealed"`
}

// A KeyOf gives a person's key; sealing.ErrErased when there is none.
type KeyOf func(person string) (*sealing.Key, error)

// Encode writes a fact's body.
func Encode(f Fact, keys KeyOf) ([]byte, error) {
	b, err := json.Marshal(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.Kind(), err)
	}
	p, personal := f.(Personal)
	if !personal {
		return b, nil
	}
	k, err := keys(p.About())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.Kind(), err)
	}
	text, err := k.Seal(f.Kind(), b)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.Kind(), err)
	}
	return json.Marshal(sealed{p.About(), text})
}

// decoders by kind and version. A new version of a fact adds a line and keeps
// the old one.
var decoders = map[string]map[int]func([]byte) (Fact, error){
	"facepiece_entered": {1: decode[FacepieceEntered]}, "piece_cleaned": {1: decode[PieceCleaned]},
	"hood_entered": {1: decode[HoodEntered]}, "nebuliser_entered": {1: decode[NebuliserEntered]},
	"nebuliser_filled": {1: decode[NebuliserFilled]}, "mist_checked": {1: decode[MistChecked]},
	"solution_entered": {1: decode[SolutionEntered]}, "runs_recalled": {1: decode[RunsRecalled], 2: decode[RunsRecalled]},
	"run_amended": {1: decode[RunAmended], 2: decode[RunAmended]}, "run_signed": {1: decode[RunSigned], 2: decode[RunSigned]},
	"restored": {1: decode[Restored], 2: decode[Restored]}, "erasures_known": {1: decode[ErasuresKnown]},
	"policy_set": {1: decode[PolicySet]}, "person_erased": {1: decode[PersonErased]},
}

var personal = map[string]map[int]func(person string, b []byte) (Fact, error){
	"person_entered": {1: func(p string, b []byte) (Fact, error) {
		f, err := strict[PersonEntered](b)
		f.Person = p
		return f, err
	}},
	"person_cleared": {1: func(p string, b []byte) (Fact, error) {
		f, err := strict[PersonCleared](b)
		f.Person = p
		return f, err
	}},
	"person_triggered": {1: func(p string, b []byte) (Fact, error) {
		f, err := strict[Triggered](b)
		f.Person = p
		return f, err
	}},
	"day_listed": {1: func(p string, b []byte) (Fact, error) {
		f, err := strict[DayListed](b)
		f.Person = p
		return f, err
	}},
	"person_left": {1: func(p string, b []byte) (Fact, error) {
		f, err := strict[PersonLeft](b)
		f.Person = p
		return f, err
	}},
}

func strict[F any](b []byte) (f F, err error) {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	return f, d.Decode(&f)
}

func decode[F Fact](b []byte) (Fact, error) {
	f, err := strict[F](b)
	return f, err
}

// Decode reads an entry of the programme's stream. The error of a fact about a
// person who was erased is sealing.ErrErased.
func Decode(e store.Entry, keys KeyOf) (Fact, error) {
	fail := func(err error) (Fact, error) { return nil, fmt.Errorf("entry %d, %s: %w", e.Number, e.Kind, err) }
	if read := decoders[e.Kind][e.Version]; read != nil {
		f, err := read(e.Body)
		if err != nil {
			return fail(err)
		}
		return f, nil
	}
	read := personal[e.Kind][e.Version]
	if read == nil {
		return fail(fmt.Errorf("version %d of it is not known: %w", e.Version, errors.ErrUnsupported))
	}
	s, err := strict[sealed](e.Body)
	if err != nil {
		return fail(err)
	}
	k, err := keys(s.Person)
	if err != nil {
		return fail(err)
	}
	plain, err := k.Open(e.Kind, s.Sealed)
	if err != nil {
		return fail(err)
	}
	f, err := read(s.Person, plain)
	if err != nil {
		return fail(err)
	}
	return f, nil
}

// Kinds lists every kind of fact with its versions, for fixtures.
func Kinds() map[string][]int {
	out := map[string][]int{}
	for kind, versions := range decoders {
		for v := range versions {
			out[kind] = append(out[kind], v)
		}
	}
	for kind, versions := range personal {
		for v := range versions {
			out[kind] = append(out[kind], v)
		}
	}
	return out
}
