// SPDX-License-Identifier: Apache-2.0

package contact

import (
	"testing"
	"time"
)

func run(t *testing.T, g Grade, spaced bool, end time.Duration, toggles ...float64) []Event {
	t.Helper()
	c := NewSingle(g, spaced)
	lvl := false
	for _, at := range toggles {
		lvl = !lvl
		c.Edge(time.Duration(at*float64(ms)), lvl)
	}
	c.Advance(end)
	return c.Take()
}

func TestSingle(t *testing.T) {
	for _, tc := range []struct {
		name    string
		g       Grade
		toggles []float64
		want    []Kind
		at      []float64
	}{
		{"clean", SqueezeGrade, []float64{100, 200}, []Kind{Pressed, Released}, []float64{100, 200}},
		{"exactly sure", SqueezeGrade, []float64{100, 140}, []Kind{Pressed, Released}, []float64{100, 140}},
		{"doubtful 39", SqueezeGrade, []float64{100, 139}, []Kind{Doubtful}, []float64{100}},
		{"doubtful 20", SqueezeGrade, []float64{100, 120}, []Kind{Doubtful}, []float64{100}},
		{"noise 19", SqueezeGrade, []float64{100, 119}, nil, nil},
		{"spike", SqueezeGrade, []float64{100, 102}, nil, nil},
		{"spike in press", SqueezeGrade, []float64{100, 125, 126, 145}, []Kind{Pressed, Released}, []float64{100, 145}},
		{"make chatter, 45 long", SqueezeGrade, []float64{100, 102, 105, 110, 118, 120, 125, 145}, []Kind{Pressed, Released}, []float64{100, 145}},
		{"release chatter does not lift a doubt", SqueezeGrade, []float64{100, 130, 133, 135, 140, 142, 150, 154}, []Kind{Doubtful}, []float64{100}},
		{"five a second", SqueezeGrade, []float64{100, 200, 300, 400, 500, 600}, []Kind{Pressed, Released, Pressed, Released, Pressed, Released}, []float64{100, 200, 300, 400, 500, 600}},
		{"five a second, long", SqueezeGrade, []float64{100, 250, 300, 450, 500, 650}, []Kind{Pressed, Released, Pressed, Released, Pressed, Released}, []float64{100, 250, 300, 450, 500, 650}},
		{"report 45", ReportGrade, []float64{100, 145}, []Kind{Pressed, Released}, []float64{100, 145}},
		{"report 20", ReportGrade, []float64{100, 120}, []Kind{Pressed, Released}, []float64{100, 120}},
		{"report 12", ReportGrade, []float64{100, 112}, []Kind{Doubtful}, []float64{100}},
		{"report 4", ReportGrade, []float64{100, 104}, nil, nil},
		{"held", SqueezeGrade, []float64{100}, []Kind{Pressed, Held}, []float64{100, 100}},
	} {
		got := run(t, tc.g, true, 5*time.Second, tc.toggles...)
		ok := len(got) == len(tc.want)
		for i := 0; ok && i < len(got); i++ {
			ok = got[i].Kind == tc.want[i] && got[i].At == time.Duration(tc.at[i]*float64(ms))
		}
		if !ok {
			t.Errorf("%s: got %v, want %v at %v", tc.name, got, tc.want, tc.at)
		}
	}
}
