// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// What the box recorded under a clock that could be trusted is in the past, also
// after many runs under one that could not.
func TestFloorOfTheClockOutlastsUntrustedRuns(t *testing.T) {
	noon := time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC)
	for _, after := range []int{0, 1, 16, 17, 63, 64, 65, 200} {
		j := memory.New()
		run := func(n int, wall time.Time, quality string) {
			o := procedure.RunOpened{Run: fmt.Sprintf("r%06d", n), Wall: wall.Format(time.RFC3339), WallQuality: quality}
			body, err := procedure.Encode(procedure.Dated{Fact: o})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := j.Append(t.Context(), store.Draft{Stream: o.Run, Kind: o.Kind(), Version: procedure.FactVersion, Body: body}); err != nil {
				t.Fatal(err)
			}
		}
		run(1, noon.AddDate(0, -1, 0), "network")
		run(2, noon, "confirmed")
		for i := range after {
			run(3+i, noon.AddDate(-3, 0, i), "restored")
		}
		if got, err := newest(t.Context(), j); err != nil || !got.Equal(noon) {
			t.Errorf("after %d runs of an untrusted clock: %v, %v", after, got, err)
		}
	}
	if got, err := newest(t.Context(), memory.New()); err != nil || !got.IsZero() {
		t.Errorf("of an empty journal: %v, %v", got, err)
	}
}
