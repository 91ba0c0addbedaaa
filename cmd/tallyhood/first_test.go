// SPDX-License-Identifier: Apache-2.0

package main

import (
	"testing"

	"tallyhood/console/programme"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A restore from the page replaces what is there: only a box without runs and
// people offers it, whatever was written last.
func TestPageRestoresOnlyABoxWithoutRecords(t *testing.T) {
	run := store.Draft{Stream: "r000001", Kind: "run_opened", Version: 1, Body: []byte("{}")}
	hood := store.Draft{Stream: programme.Stream, Kind: "hood_entered", Version: 1, Body: []byte("{}")}
	person := store.Draft{Stream: programme.Stream, Kind: programme.PersonEntered{}.Kind(), Version: 1, Body: []byte("{}")}
	for name, c := range map[string]struct {
		drafts []store.Draft
		first  bool
	}{
		"empty": {nil, true}, "a hood": {[]store.Draft{hood}, true}, "a run": {[]store.Draft{run}, false}, "a person": {[]store.Draft{hood, person}, false},
		"a run, then a hood": {[]store.Draft{run, hood}, false}, "a hood, then a run": {[]store.Draft{hood, run}, false},
	} {
		j := memory.New()
		for _, d := range c.drafts {
			if _, err := j.Append(t.Context(), d); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := (&safe{store: j}).First(t.Context()); err != nil || got != c.first {
			t.Errorf("%s: %v, %v; want %v", name, got, err, c.first)
		}
	}
}
