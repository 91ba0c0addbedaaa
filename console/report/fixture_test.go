// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"cmp"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/report/page"
)

// A course is a run as a test plays it, in squeezes and instants of the run
// clock.
type course struct {
	rules, agent string
	screening    int           // squeezes before the report; above 30: no report
	tasted       time.Duration // 0: never
	skip         int           // top-up of which the last squeeze is left out
	hoodOff      time.Duration
	extra        int // more squeezes in top-up 3
	late         int // top-up that is done late
	correct      bool
	noDose       bool // ends before the initial dose
	doseOnly     int  // ends within the initial dose after so many
}

// play runs a course through the procedure and gives its last state.
func play(t testing.TB, c course) procedure.State {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	rules := all[c.rules]
	s := procedure.New(procedure.RunOpened{
		Run: "r000042", Rules: rules, Agent: c.agent, Supervised: true, Tester: "Agnes Thorley", Wearer: procedure.Wearer{ID: "p-0001"},
		Facepiece: procedure.Facepiece{Make: "Corrie", Model: "Half Mask C2", Style: "half mask, silicone, two P3 filters", Size: "medium", Type: procedure.HalfMask, FitFactor: 10, Whose: "own piece, clean, no damage"},
		Wall:      "2026-11-23T09:30:00Z", WallQuality: "confirmed", TimeSource: "kernel time", Version: "0.1.0",
	}, 0)
	step := func(in procedure.Input) {
		facts, _ := procedure.Decide(s, in)
		for _, f := range facts {
			s = procedure.Fold(s, f)
		}
		s = s.Reach(in.At)
	}
	do := func(in procedure.Input) {
		for at, ok := s.Wake(); ok && at < in.At; at, ok = s.Wake() {
			step(procedure.Input{At: at, Do: procedure.DoTick})
		}
		step(in)
	}
	at := time.Second
	press := func(source string) {
		do(procedure.Input{At: at, Do: procedure.DoPress, Source: source})
		do(procedure.Input{At: at + 100*time.Millisecond, Do: procedure.DoRelease, Source: source})
		at += 900 * time.Millisecond
	}
	for _, q := range rules.Before {
		do(procedure.Input{At: at, Do: procedure.DoAnswer, Question: q.ID, Yes: true, By: "Agnes Thorley"})
	}
	press("step")
	for range min(c.screening, 30) {
		press("squeeze")
	}
	if c.screening > 30 {
		press("step")
		return s
	}
	press("report")
	press("step")
	at += 6 * time.Minute
	if c.noDose {
		do(procedure.Input{At: at, Do: procedure.DoAbandon, Reason: "the alarm rang"})
		return s
	}
	press("step")
	for i := range s.Initial.Required {
		press("squeeze")
		if c.doseOnly == i+1 {
			press("report")
			return s
		}
	}
	if s.Clock == nil {
		t.Fatalf("the clock did not start: stage %s", s.Stage)
	}
	zero := *s.Clock
	type event struct {
		at time.Duration
		in procedure.Input
	}
	var events []event
	add := func(at time.Duration, in procedure.Input) { events = append(events, event{zero + at, in}) }
	squeeze := procedure.Input{Do: procedure.DoPress, Source: "squeeze"}
	for n := 1; n <= rules.TopUps(); n++ {
		want := rules.BinOf(c.screening).TopUp
		if n == 3 {
			want += c.extra
		}
		if n == c.skip {
			want--
		}
		gap := 700 * time.Millisecond
		for i := range want {
			when := rules.Due(n) + time.Second + time.Duration(i)*gap + time.Duration(n*37%11)*100*time.Millisecond
			if n == c.late && i == want-1 {
				when = rules.Due(n) + 22*time.Second
			}
			add(when, squeeze)
			add(when+200*time.Millisecond, procedure.Input{Do: procedure.DoRelease, Source: "squeeze"})
		}
		if n == c.skip && c.correct {
			add(rules.Due(n)+15*time.Second, procedure.Input{Do: procedure.DoCorrect, Delta: 1, Reason: "the pedal slipped, the bulb was squeezed flat", By: "Agnes Thorley"})
		}
	}
	if c.tasted > 0 {
		add(c.tasted, procedure.Input{Do: procedure.DoPress, Source: "report"})
	}
	if c.hoodOff > 0 {
		add(c.hoodOff, procedure.Input{Do: procedure.DoHoodOff, By: "Agnes Thorley"})
	}
	add(rules.Length()+30*time.Second, procedure.Input{Do: procedure.DoTick})
	slices.SortStableFunc(events, func(a, b event) int { return cmp.Compare(a.at, b.at) })
	for _, e := range events {
		e.in.At = e.at
		do(e.in)
	}
	return s
}

// sheetOf is a sheet with everything filled in.
func sheetOf(t testing.TB, c course) Sheet {
	t.Helper()
	st := play(t, c)
	st = procedure.Fold(st, procedure.Dated{At: st.At, Fact: procedure.Tallied{Squeeze: 84, Taste: 1, Step: 3, Noise: 2}})
	r, err := record.Of(st)
	if err != nil {
		t.Fatal(err)
	}
	o := st.Opened
	s := Sheet{
		View: archive.View{
			Line:   archive.Line{Run: o.Run, Opened: o.Wall, Wearer: "", Facepiece: o.Facepiece.Make + " " + o.Facepiece.Model, Outcome: r.Outcome, Reason: r.Reason},
			Tester: o.Tester, WallQuality: o.WallQuality, TimeSource: o.TimeSource, Style: o.Facepiece.Style, Size: o.Facepiece.Size, Whose: o.Facepiece.Whose,
			Record: &r, Answers: st.Answers, RulesName: o.Rules.Name, Prevails: o.Rules.Prevails, Version: o.Version, Number: 1234,
			Hash: strings.Repeat("9f2c41d07ab3e865", 4), Box: []procedure.Piece{{Name: "GPIO lines", State: "loaded"}, {Name: "USB pedal", State: "absent", Reason: "none is plugged in"}, {Name: "sound", State: "loaded"}},
			WiringChecked: "2026-11-23T08:55:00Z", SoundMS: 231,
		},
		Rules: o.Rules, Facepiece: o.Facepiece,
		Person: Person{Name: "Ilse Brandvold", Number: "HS-0417", Job: "stone cutter"}, Site: "Harrowgate Stoneworks, North Quarry",
		Kit: []procedure.Kit{
			{Mark: "W1", Role: procedure.Weak, Agent: c.agent, Lot: "B-2611-02", Age: 95 * time.Minute, Checked: true},
			{Mark: "S2", Role: procedure.Strong, Agent: c.agent, Lot: "B-2611-07", Age: 70 * time.Minute, Checked: true},
		},
		Hood:  &procedure.Hood{ID: "h-1", Mark: "H1", AcrossMM: 305, TallMM: 356},
		Head:  "tallyhood journal\n1234\n9NQ2mT0b7Xl3l8vMkq2cF0mZQk8xHq4f1rJ3oWv5yXo=\n\n— box-7f21 Az3xv8kQe0mC1n9S0kJ2h5b7X9v4QfT8Yw6LrPzUoD1sKcEgHjMnBqRtVxZa2w==",
		Proof: []string{"entry 1233 of 1234", "3Hn0b1V9u4sPq1zQm6cWk8xJ7yRt5oLfEdGaHbTnYvU=", "kQ8m2Zx5Rt0Lp7Vn4Cb1Ys6Wd3Fg9Hj2Ka8Me5Qu0Io="},
		Signatures: []Signature{
			{Who: "tester", Name: "Agnes Thorley", At: "2026-11-23T09:47:00Z", Strokes: wave(5, 0.25), Holds: true},
			{Who: "wearer", Name: "Ilse Brandvold", At: "2026-11-23T09:48:00Z", Strokes: wave(3, 0.35), Holds: true},
		},
	}
	if r.Outcome == procedure.Pass {
		s.Due = Due{On: "2027-11-23"}
	} else {
		s.Due = Due{Why: "no pass with this facepiece yet"}
	}
	s.Claim = claim
	return s
}

// claim is about as long as one with an inclusion proof in a journal of a
// million entries.
const claim = "TALLYHOOD1:R000042:PASS:20261123:20271123:9F2C41D07AB3E8659F2C41D07AB3E8659F2C41D07AB3E8659F2C41D07AB3E865:BOX-7F21:Q0M1N9S0KJ2H5B7X9V4QFT8YW6LRPZUOD1SKCEGHJMNBQRTVXZA2W"

func wave(n int, high float64) [][]page.Point {
	var line []page.Point
	for i := range 121 {
		x := float64(i) / 120
		line = append(line, page.Point{X: 0.08 + 0.8*x, Y: 0.55 + high*math.Sin(2*math.Pi*float64(n)*x)*(1-0.7*x)})
	}
	return [][]page.Point{line, {{X: 0.3, Y: 0.85}, {X: 0.8, Y: 0.8}}}
}

// tool gives the path of a program, or skips in words.
func tool(t testing.TB, name, debian string) string {
	t.Helper()
	p, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("missing part: the program %s (Debian package %s) is not installed", name, debian)
	}
	return p
}

// keep writes bytes to a file that a program is to read.
func keep(t testing.TB, name string, raw []byte) string {
	t.Helper()
	dir := t.TempDir()
	if to := os.Getenv("TALLYHOOD_PICTURES"); to != "" {
		dir = to
	}
	p := filepath.Join(dir, name)
	if err := os.WriteFile(p, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	return p
}

func recordPDF(t testing.TB, s Sheet, p Paper) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := RecordPDF(&b, s, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// textOf is what a reader of the PDF finds, in the order in which it was put.
func textOf(t testing.TB, raw []byte) string {
	t.Helper()
	return textBy(t, "-raw", raw)
}

func textBy(t testing.TB, how string, raw []byte) string {
	t.Helper()
	program := tool(t, "pdftotext", "poppler-utils")
	out, err := exec.Command(program, how, keep(t, "read.pdf", raw), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// flat makes every run of white space one space.
func flat(s string) string { return strings.Join(strings.Fields(s), " ") }

var courses = map[string]course{
	"pass":         {rules: "us-osha", agent: "bitter", screening: 7, extra: 2, late: 5},
	"pass-uk":      {rules: "uk-hse", agent: "sweet", screening: 24, skip: 4, correct: true},
	"fail":         {rules: "us-osha", agent: "sweet", screening: 14, tasted: 214 * time.Second},
	"fail-dose":    {rules: "us-osha", agent: "sweet", screening: 14, doseOnly: 6},
	"not-valid":    {rules: "uk-hse", agent: "bitter", screening: 3, skip: 4},
	"hood-off":     {rules: "uk-hse", agent: "bitter", screening: 3, hoodOff: 100 * time.Second},
	"cannot-taste": {rules: "us-osha", agent: "bitter", screening: 31},
	"no-dose":      {rules: "us-osha", agent: "bitter", screening: 5, noDose: true},
}
