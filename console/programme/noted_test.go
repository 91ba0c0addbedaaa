// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"testing"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store/memory"
)

// A run that the views alone found to have lost its kit is written down as
// recalled, once, for those who read the journal without the views.
func TestARecallOfTheViewsIsWrittenDown(t *testing.T) {
	s := memory.New()
	d, id := aHouse(t, s)
	all := entriesOf(t, "r000100", id, procedure.Pass)
	cut := len(all) - 1
	_, err := s.Append(t.Context(), all[:cut]...)
	must(t, err)
	must(t, d.Do(t.Context(), programme.NebuliserFilled{ID: "n-strong", Solution: "s-strong", At: at(0), By: who}))
	_, err = s.Append(t.Context(), all[cut:]...)
	must(t, err)
	for range 2 {
		must(t, d.Ended(t.Context(), "r000100"))
	}
	last, _ := s.Last()
	must(t, d.Ended(t.Context(), "r000100"))
	if again, _ := s.Last(); again != last {
		t.Errorf("%d entries more for a recall that stands already", again-last)
	}
	v, err := archive.Run(t.Context(), s, nil, "r000100")
	must(t, err)
	if v.Outcome != procedure.NotValid || v.Recalled == nil || v.Recalled.Outcome != procedure.Pass || v.Recalled.Why != programme.Changed {
		t.Errorf("the journal says %s, %+v", v.Outcome, v.Recalled)
	}
}
