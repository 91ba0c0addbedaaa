// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"context"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store/memory"
)

// What a person failed with in this sitting is found in the journal, so that a
// restart forgets nothing: the same facepiece, or one entered twice, in runs that
// were no practice.
func TestFailsInASitting(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	form := programme.FacepieceForm{Make: "Corrie", Model: "C2", Style: "half mask", Size: "M", Type: procedure.HalfMask}
	larger := form
	larger.Size = "L"
	ago := func(d time.Duration) time.Time { return today.Add(-d) }
	for i, p := range []played{
		{person: "p-1", facepiece: "f-1", form: form, at: ago(30 * time.Minute), outcome: procedure.Fail},
		{person: "p-1", facepiece: "f-9", form: form, at: ago(90 * time.Minute), outcome: procedure.Fail}, // the same, entered twice
		{person: "p-1", facepiece: "f-1", form: form, at: ago(3 * time.Hour), outcome: procedure.Fail},    // of another sitting
		{person: "p-1", facepiece: "f-1", form: form, at: ago(20 * time.Minute), outcome: procedure.NotValid},
		{person: "p-1", facepiece: "f-1", form: form, at: ago(20 * time.Minute), outcome: procedure.Fail, practice: true},
		{person: "p-1", facepiece: "f-2", form: larger, at: ago(10 * time.Minute), outcome: procedure.Fail},
		{person: "p-2", facepiece: "f-1", form: form, at: ago(10 * time.Minute), outcome: procedure.Fail},
		{person: "p-3", facepiece: "f-1", form: form, at: today.Add(30 * time.Minute), outcome: procedure.Fail}, // the clock was put back since
		{person: "p-3", facepiece: "f-1", form: form, at: today.AddDate(1, 0, 0), outcome: procedure.Fail},      // or was wrong by a year
	} {
		p.run, p.screening = "r00000"+string(rune('1'+i)), 3
		play(t, s, d, p)
	}
	for _, again := range []*programme.Desk{d, newDesk(t, s)} {
		for _, c := range []struct {
			person   string
			form     programme.FacepieceForm
			id       string
			practice bool
			want     int
		}{
			{"p-1", form, "f-1", false, 2}, {"p-1", form, "f-1", true, 1}, {"p-1", larger, "f-2", false, 1},
			{"p-2", form, "f-1", false, 1}, {"p-3", form, "f-1", false, 1}, {"p-4", form, "f-1", false, 0},
		} {
			n, err := again.FailsInSitting(context.Background(), c.person, programme.Facepiece{ID: c.id, FacepieceForm: c.form}.ForRun(), 2*time.Hour, c.practice)
			if err != nil || n != c.want {
				t.Errorf("%s with %s, practice %v: %d fails, %v, want %d", c.person, c.id, c.practice, n, err, c.want)
			}
		}
	}
}
