// SPDX-License-Identifier: Apache-2.0

package insight

import (
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/session"
	"tallyhood/device"
)

// drive plays a run of the real engine: 7 squeezes to the report, 4 minutes to
// clear, 6 to wear, then the doses; shift moves top-up 3, and extra follows it.
func drive(t *testing.T, shift time.Duration, extra bool, tasted time.Duration) []procedure.Dated {
	t.Helper()
	const s = time.Second
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	r := all["uk-hse"]
	e := session.NewEngine(procedure.RunOpened{
		Run: "insight", Rules: r, Agent: "sweet", Supervised: true, Tester: "t1", Wearer: procedure.Wearer{ID: "w1", Name: "Ilse Brandvold"},
		Facepiece: procedure.Facepiece{Make: "Brindle", Model: "Corrie", Size: "M", Style: "half mask"},
	}, 0)
	e.Edge(device.Edge{Line: device.TasteNC, Closed: true})
	at := 2 * s
	press := func(line device.Line, then time.Duration) {
		for i, closed := range []bool{true, false} {
			when := at + time.Duration(i)*100*time.Millisecond
			if line == device.TasteNO {
				e.Edge(device.Edge{At: when, Line: device.TasteNC, Closed: !closed})
			}
			e.Edge(device.Edge{At: when, Line: line, Closed: closed})
		}
		at += then
	}
	press(device.Step, 2*s)
	for range 7 {
		press(device.Squeeze, s)
	}
	press(device.TasteNO, 240*s)
	press(device.Step, 360*s)
	press(device.Step, 2*s)
	for range 10 {
		press(device.Squeeze, s)
	}
	t0 := at - s
	for k := 1; k <= r.TopUps(); k++ {
		at = t0 + r.Due(k)
		n := 5
		if k == 3 {
			at += shift
			n += one(extra)
		}
		if tasted > 0 && at > t0+tasted {
			at = t0 + tasted
			press(device.TasteNO, s)
			break
		}
		for range n {
			press(device.Squeeze, 600*time.Millisecond)
		}
	}
	e.End(t0+r.Length()+s, procedure.DoEnd)
	facts, _ := e.Take()
	return facts
}

func TestFrom(t *testing.T) {
	facts := drive(t, 19*time.Second, true, 0)
	x, err := From(facts, record.Remarks)
	if err != nil {
		t.Fatal(err)
	}
	if x.Outcome != procedure.Pass || x.Reason != "" || x.Bin != 10 || x.Squeezes != 7 || x.Agent != "sweet" || x.Rules != "uk-hse" ||
		x.Facepiece != (Facepiece{"Brindle", "Corrie", "M", "half mask"}) || x.Person != IDOf("w1") || x.Tester != IDOf("t1") ||
		x.Practice || x.Late != 1 || x.Extra != 1 || x.Hurried != 0 || x.Day != NoDay {
		t.Errorf("%+v", x)
	}
	// The stages as driven: presses 2 s apart before, 7 squeezes to the report.
	want := [len(StageOrder)]time.Duration{2 * time.Second, 9 * time.Second, 240 * time.Second, 360 * time.Second, 11 * time.Second, 420 * time.Second}
	for i, d := range x.Stages {
		if diff := d - want[i]; diff < -time.Second/2 || diff > time.Second/2 {
			t.Errorf("stage %s took %v, want about %v", StageOrder[i], d, want[i])
		}
	}
	if err := NewSet().Add(x); err != nil {
		t.Error(err)
	}

	// A fail in the third minute: the exercises were not gone through.
	facts = drive(t, 0, false, 130*time.Second)
	x, err = From(facts, record.Remarks)
	if err != nil {
		t.Fatal(err)
	}
	if x.Outcome != procedure.Fail || x.Reason != procedure.Tasted || x.Stages[atRunning] != 0 || x.Stages[4] == 0 || x.whole() != 0 {
		t.Errorf("%+v", x)
	}

	opened, ok := facts[0].Fact.(procedure.RunOpened)
	if !ok {
		t.Fatalf("the first fact is %T", facts[0].Fact)
	}
	opened.Practice = "simulated board"
	facts[0].Fact = opened
	x, err = From(facts, record.Remarks)
	if err != nil || !x.Practice || NewSet().Add(x) != ErrPractice {
		t.Errorf("practice: %v %v", x.Practice, err)
	}
	if _, err := From(facts[:len(facts)/2], record.Remarks); err == nil {
		t.Error("a run without a verdict became a test")
	}
}

func TestStagesOf(t *testing.T) {
	const s = time.Second
	spent := map[procedure.Stage]time.Duration{procedure.Ready: s, procedure.Screening: 2 * s, procedure.Clearing: 3 * s, procedure.Over: 9 * s}
	type times = [len(StageOrder)]time.Duration
	if got := StagesOf(procedure.NotValid, spent); got != (times{s, 2 * s}) {
		t.Errorf("stopped while clearing: %v", got)
	}
	if got := StagesOf(procedure.NotValid, nil); got != (times{}) {
		t.Errorf("nothing spent: %v", got)
	}
	spent = map[procedure.Stage]time.Duration{procedure.Running: 420 * s, procedure.ProvingButton: 20 * s}
	if got := StagesOf(procedure.NotValid, spent); got != (times{5: 420 * s}) {
		t.Errorf("button not proven: %v", got)
	}
	if got := StagesOf(procedure.Pass, spent); got != (times{5: 420 * s}) {
		t.Errorf("passed: %v", got)
	}
}
