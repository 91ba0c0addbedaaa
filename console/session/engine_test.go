// SPDX-License-Identifier: Apache-2.0

package session

import (
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/console/procedure"
	"tallyhood/device"
)

const ms = time.Millisecond

// bench is an engine with a board's contacts to press. The button is a
// changeover pair at rest.
type bench struct {
	*Engine
	t  *testing.T
	t0 time.Duration // of the run clock, once dosed
}

func newBench(t *testing.T) *bench {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{Engine: NewEngine(procedure.RunOpened{Run: "R", Rules: all["us-osha"], Agent: "sweet", Supervised: true}, 0), t: t}
	b.set(0, device.TasteNC, true)
	return b
}

func (b *bench) set(at time.Duration, l device.Line, closed bool) {
	b.Edge(device.Edge{At: at, Line: l, Closed: closed})
}

func (b *bench) press(at time.Duration, l device.Line) {
	b.set(at, l, true)
	b.set(at+100*ms, l, false)
}

func (b *bench) report(at time.Duration) {
	b.set(at, device.TasteNC, false)
	b.set(at, device.TasteNO, true)
	b.set(at+200*ms, device.TasteNO, false)
	b.set(at+200*ms, device.TasteNC, true)
}

// to brings the run to a stage: bin 10, everything in time.
func (b *bench) to(st procedure.Stage) {
	b.t.Helper()
	s := func(n float64) time.Duration { return time.Duration(n * float64(time.Second)) }
	for _, step := range []struct {
		from procedure.Stage
		do   func()
	}{
		{procedure.Ready, func() { b.press(s(1), device.Step) }},
		{procedure.Screening, func() { b.press(s(3), device.Squeeze); b.report(s(4)) }},
		{procedure.Clearing, func() { b.press(s(30), device.Step) }},
		{procedure.Donning, func() { b.press(s(331), device.Step) }},
		{procedure.Dosing, func() {
			for i := range 10 {
				b.t0 = s(333 + float64(i))
				b.press(b.t0, device.Squeeze)
			}
		}},
		{procedure.Running, func() {
			for k := range 13 {
				for i := range 5 {
					b.press(b.t0+s(float64(30*(k+1)+i)), device.Squeeze)
				}
			}
			b.Advance(b.t0 + s(420.1))
		}},
	} {
		if step.from == st {
			break
		}
		step.do()
		b.Advance(b.Now() + 300*ms)
	}
	if got := b.State().Stage; got != st {
		b.t.Fatalf("the run stands at %s, want %s", got, st)
	}
}

func (b *bench) verdict() (procedure.Outcome, procedure.Reason) {
	if v := b.State().Verdict; v != nil {
		return v.Outcome, v.Reason
	}
	return "", ""
}

var inRun = []procedure.Stage{procedure.Screening, procedure.Clearing, procedure.Donning, procedure.Dosing, procedure.Running}

// A cable that is out, or shorted, is found within 100 ms in every stage of a
// run, without anything else happening and while it stays so.
func TestCableIsFoundWithin100ms(t *testing.T) {
	for _, st := range inRun {
		for reason, closed := range map[procedure.Reason]bool{procedure.CableOpen: false, procedure.CableShort: true} {
			b := newBench(t)
			b.to(st)
			at := b.Now() + time.Second
			if closed {
				b.set(at, device.TasteNO, true)
			} else {
				b.set(at, device.TasteNC, false)
			}
			b.Advance(at + 100*ms)
			if o, r := b.verdict(); o != procedure.NotValid || r != reason {
				t.Errorf("%s: %q %q 100 ms after %s", st, o, r, reason)
			}
			if v := b.State().Verdict; v != nil && v.At != at {
				t.Errorf("%s, %s: dated %v, the cable went at %v", st, reason, v.At, at)
			}
		}
	}
}

// A report in the fit test is acted on as soon as it is sure.
func TestReportIsActedOnAtOnce(t *testing.T) {
	for _, st := range []procedure.Stage{procedure.Dosing, procedure.Running} {
		b := newBench(t)
		b.to(st)
		at := b.Now() + time.Second
		b.set(at, device.TasteNC, false)
		b.set(at, device.TasteNO, true)
		b.Advance(at + 19*ms)
		if o, _ := b.verdict(); o != "" {
			t.Errorf("%s: %s before it was sure", st, o)
		}
		b.Advance(at + 25*ms)
		if o, _ := b.verdict(); o != procedure.Fail {
			t.Errorf("%s: %q 25 ms after the report began", st, o)
		}
		if v := b.State().Verdict; v != nil && v.At != at {
			t.Errorf("%s: dated %v, want the first edge, %v", st, v.At, at)
		}
	}
}

// The verdict waits for a closure that began before it and is still proving
// itself, and for nothing else.
func TestVerdictWaitsForAPendingReport(t *testing.T) {
	for _, c := range []struct {
		long time.Duration
		want procedure.Outcome
	}{{3 * ms, procedure.Pass}, {12 * ms, procedure.NotValid}, {200 * ms, procedure.Fail}} {
		b := newBench(t)
		b.to(procedure.Running)
		for k := range 13 {
			for i := range 5 {
				b.press(b.t0+time.Duration(30*(k+1)+i)*time.Second, device.Squeeze)
			}
		}
		end := b.t0 + 420*time.Second
		at := end - 2*ms
		b.set(at, device.TasteNC, false)
		b.set(at, device.TasteNO, true)
		b.Advance(end + 1*ms)
		if o, _ := b.verdict(); o != "" {
			t.Errorf("%v: %s while a report was proving itself", c.long, o)
		}
		b.set(at+c.long, device.TasteNO, false)
		b.set(at+c.long, device.TasteNC, true)
		b.Advance(end + 300*ms)
		if o, _ := b.verdict(); o != c.want {
			t.Errorf("%v: %q, want %q", c.long, o, c.want)
		}
	}
}

// What the box says of itself ends a run in every stage and blocks nothing
// before it but a failed journal.
func TestBoxFailures(t *testing.T) {
	for do, reason := range map[procedure.Verb]procedure.Reason{
		procedure.DoGap: procedure.InputGap, procedure.DoStalled: procedure.Stalled,
		procedure.DoJournalFailed: procedure.JournalFailed, procedure.DoPowerLost: procedure.PowerLost,
	} {
		for _, st := range inRun {
			b := newBench(t)
			b.to(st)
			b.Input(procedure.Input{At: b.Now(), Do: do})
			b.Advance(b.Now() + 1*ms)
			if o, r := b.verdict(); o != procedure.NotValid || r != reason {
				t.Errorf("%s in %s: %q %q", do, st, o, r)
			}
		}
	}
	b := newBench(t)
	b.Input(procedure.Input{At: ms, Do: procedure.DoJournalFailed})
	b.Advance(500 * ms)
	b.press(time.Second, device.Step)
	b.Advance(2 * time.Second)
	if st := b.State().Stage; st != procedure.Ready {
		t.Errorf("with a failed journal a run goes on to %s", st)
	}
}

// After a verdict nothing of the contacts or the box changes it.
func TestVerdictStays(t *testing.T) {
	b := newBench(t)
	b.to(procedure.Over)
	if o, _ := b.verdict(); o != procedure.Pass {
		t.Fatalf("the run came to %q", o)
	}
	for _, do := range []procedure.Verb{procedure.DoGap, procedure.DoStalled, procedure.DoHoodOff, procedure.DoSaidAloud, procedure.DoPowerLost, procedure.DoEnd, procedure.DoGoOn} {
		b.Input(procedure.Input{At: b.Now(), Do: do})
	}
	b.report(b.Now() + time.Second)
	b.press(b.Now()+time.Second, device.Step)
	b.End(b.Now()+time.Second, procedure.DoPowerLost)
	if o, r := b.verdict(); o != procedure.Pass || r != "" {
		t.Errorf("the pass became %q %q", o, r)
	}
}

// An edge or an input dated before what was worked off already is taken as of now.
func TestStaleEdgesAndInputs(t *testing.T) {
	b := newBench(t)
	b.Advance(10 * time.Second)
	if at := b.Edge(device.Edge{At: time.Second, Line: device.Step, Closed: true}); at != 10*time.Second {
		t.Errorf("an edge of 1 s is taken as of %v", at)
	}
	if at := b.Input(procedure.Input{At: time.Second, Do: procedure.DoAbandon}); at != 10*time.Second {
		t.Errorf("an input of 1 s is taken as of %v", at)
	}
	b.Advance(11 * time.Second)
	if v := b.State().Verdict; v == nil || v.At != 10*time.Second {
		t.Errorf("the verdict is %+v", v)
	}
}

// Inputs take their place by their instant, equal ones in the order they came.
func TestInputsInOrder(t *testing.T) {
	b := newBench(t)
	q := b.State().Opened.Rules.Before[0].ID
	b.Input(procedure.Input{At: 3 * time.Second, Do: procedure.DoAnswer, Question: q, Yes: true, By: "third"})
	b.Input(procedure.Input{At: 2 * time.Second, Do: procedure.DoAnswer, Question: q, Yes: true, By: "first"})
	b.Input(procedure.Input{At: 2 * time.Second, Do: procedure.DoAnswer, Question: q, Yes: false, By: "second"})
	b.Advance(4 * time.Second)
	facts, _ := b.Take()
	var by []string
	for _, f := range facts {
		if a, ok := f.Fact.(procedure.Answered); ok {
			by = append(by, a.By)
		}
	}
	if len(by) != 3 || by[0] != "first" || by[1] != "second" || by[2] != "third" {
		t.Errorf("worked off in the order %v", by)
	}
	if yes, _ := b.State().Answer(q); !yes {
		t.Error("the latest answer does not hold")
	}
}

// What a person says waits for a closure that began before: a stop never gets
// ahead of a report that is still proving itself.
func TestInputWaitsForAPendingReport(t *testing.T) {
	for _, c := range []struct {
		long   time.Duration
		want   procedure.Outcome
		reason procedure.Reason
	}{{3 * ms, procedure.NotValid, procedure.StoppedForWelfare}, {200 * ms, procedure.Fail, procedure.Tasted}} {
		b := newBench(t)
		b.to(procedure.Running)
		at := b.Now() + time.Second
		b.set(at, device.TasteNC, false)
		b.set(at, device.TasteNO, true)
		b.Advance(at + 1*ms)
		b.Input(procedure.Input{At: at + 1*ms, Do: procedure.DoWelfare})
		b.Advance(at + 2*ms)
		if o, r := b.verdict(); o != "" {
			t.Errorf("%v: %s %s while a report was proving itself", c.long, o, r)
		}
		b.set(at+c.long, device.TasteNO, false)
		b.set(at+c.long, device.TasteNC, true)
		b.Advance(at + 400*ms)
		if o, r := b.verdict(); o != c.want || r != c.reason {
			t.Errorf("%v: %q %q, want %q %q", c.long, o, r, c.want, c.reason)
		}
	}
}

// Cues of the run clock are placed on their instant and ordered before it, and
// a verdict drops those that are yet to sound.
func TestCuesAreOrderedAhead(t *testing.T) {
	b := newBench(t)
	b.to(procedure.Running)
	_, _ = b.Take()
	due := b.t0 + 30*time.Second
	b.Advance(due - 200*ms)
	_, orders := b.Take()
	found := false
	for _, o := range orders {
		found = found || o.Cue == procedure.CueDue && o.At == due
	}
	if !found {
		t.Errorf("200 ms before top-up 1 falls due its cue is not ordered: %+v", orders)
	}
	b.report(due - 100*ms)
	b.Advance(due - 50*ms)
	_, after := b.Take()
	for _, c := range cues(append(orders, after...)) {
		if c.Cue == audio.Cue(procedure.CueDue) && c.At == due {
			t.Error("the cue of a top-up sounds after the verdict")
		}
	}
}

// A pass is promised only when it is on disk; other verdicts at once.
func TestPassCueIsDurable(t *testing.T) {
	b := newBench(t)
	b.to(procedure.Over)
	_, orders := b.Take()
	n := 0
	for _, o := range orders {
		if o.Cue == procedure.CuePass {
			n++
			if !o.Durable {
				t.Error("the cue of a pass does not wait for the disk")
			}
		}
	}
	if n != 1 {
		t.Errorf("%d cues of a pass", n)
	}
}
