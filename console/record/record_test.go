// SPDX-License-Identifier: Apache-2.0

package record_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
)

// A bench plays a run by its inputs.
type bench struct {
	t  *testing.T
	s  procedure.State
	at time.Duration
}

func newBench(t *testing.T, o procedure.RunOpened) *bench {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	o.Run, o.Rules, o.Agent, o.Supervised = "r000007", all["us-osha"], "bitter", true
	return &bench{t, procedure.New(o, 0), 0}
}

// do gives inputs a second apart, and what the clock brings before each.
func (b *bench) do(ins ...procedure.Input) {
	for _, in := range ins {
		b.at += time.Second
		b.give(b.at, in)
	}
}

func (b *bench) give(at time.Duration, in procedure.Input) {
	step := func(in procedure.Input) {
		facts, _ := procedure.Decide(b.s, in)
		for _, f := range facts {
			b.s = procedure.Fold(b.s, f)
		}
		b.s = b.s.Reach(in.At)
	}
	for next, ok := b.s.Wake(); ok && next <= at; next, ok = b.s.Wake() {
		step(procedure.Input{At: next, Do: procedure.DoTick})
	}
	in.At, b.at = at, at
	step(in)
}

var (
	goOn    = procedure.Input{Do: procedure.DoGoOn}
	step    = procedure.Input{Do: procedure.DoPress, Source: "step"}
	squeeze = procedure.Input{Do: procedure.DoPress, Source: "squeeze"}
	button  = procedure.Input{Do: procedure.DoPress, Source: "report"}
	letGo   = procedure.Input{Do: procedure.DoRelease, Source: "report"}
)

func (b *bench) toClock() {
	b.t.Helper()
	b.do(goOn, squeeze, squeeze, squeeze, button, letGo, goOn)
	b.at += 5 * time.Minute
	b.do(goOn)
	for range 10 {
		b.do(squeeze)
	}
	if b.s.Clock == nil {
		b.t.Fatalf("no run clock at %s", b.s.Stage)
	}
}

func (b *bench) record() (record.Record, string) {
	b.t.Helper()
	r, err := record.Of(b.s)
	if err != nil {
		b.t.Fatal(err)
	}
	var text strings.Builder
	if err := r.Text(&text, b.s.Opened.Rules); err != nil {
		b.t.Fatal(err)
	}
	return r, text.String()
}

// Exercise k runs in [60(k-1), 60k): at 60 s sharp the second one has begun, as
// the first one has at 0 s, and the one in which the taste came is listed.
func TestTasteAtTheChangeOfExercises(t *testing.T) {
	for k, want := range []int{1, 2, 3, 4, 5, 6, 7, 7} {
		b := newBench(t, procedure.RunOpened{})
		b.toClock()
		for n := 1; n <= 2*k && n <= 13; n++ { // up to the instant, and the one then due is begun
			for i := range 5 {
				if at := time.Duration(n)*30*time.Second - time.Duration(5-i)*600*time.Millisecond; at < time.Duration(k)*time.Minute {
					b.give(*b.s.Clock+at, squeeze)
				}
			}
		}
		b.give(*b.s.Clock+time.Duration(k)*time.Minute, button)
		r, _ := b.record()
		if r.Outcome != procedure.Fail || time.Duration(*r.Fit.TasteS) != time.Duration(k)*time.Minute {
			t.Fatalf("a taste at %d s: %s %s", 60*k, r.Outcome, r.Reason)
		}
		last := r.Fit.Exercises[len(r.Fit.Exercises)-1]
		if len(r.Fit.Exercises) != want || last.ID != *r.Fit.TasteExercise || last.EndS != *r.Fit.TasteS {
			t.Errorf("a taste at %d s, in %s: %d exercises, the last %+v", 60*k, *r.Fit.TasteExercise, len(r.Fit.Exercises), last)
		}
	}
}

// What kept a run from its start stands in the text of one that came to nothing,
// and the keys of its JSON are those that were published.
func TestTextSaysWhatWasRefused(t *testing.T) {
	early := newBench(t, procedure.RunOpened{})
	early.do(step, button, letGo)
	for range 30 {
		early.do(squeeze)
	}
	early.do(step)
	held := newBench(t, procedure.RunOpened{})
	held.do(button, step, step, procedure.Input{Do: procedure.DoEnd})
	fine := newBench(t, procedure.RunOpened{})
	fine.do(button, step, letGo)
	fine.toClock()
	fine.do(button)
	for name, c := range map[string]struct {
		b       *bench
		outcome procedure.Outcome
		lines   []string
	}{
		"a report before any squeeze":  {early, procedure.CannotTaste, []string{"refused            a report: it came before any squeeze, when nothing can have been tasted"}},
		"a button held over the step":  {held, procedure.NotValid, []string{"refused            a report: it came before any squeeze, when nothing can have been tasted", "refused            a step: the wearer's button was pressed"}},
		"one that came to an end fine": {fine, procedure.Fail, nil},
	} {
		r, text := c.b.record()
		var got []string
		for line := range strings.Lines(text) {
			if strings.HasPrefix(line, "refused") {
				got = append(got, strings.TrimSpace(line))
			}
		}
		if r.Outcome != c.outcome || !slices.Equal(got, c.lines) {
			t.Errorf("%s: %s, %q", name, r.Outcome, got)
		}
		raw, err := r.JSON()
		if err != nil {
			t.Fatal(err)
		}
		var keys map[string]any
		if err := json.Unmarshal(raw, &keys); err != nil {
			t.Fatal(err)
		}
		for _, k := range []string{"schema", "outcome", "reason", "rules", "agent", "screening", "fit", "corrections", "inputs"} {
			delete(keys, k)
		}
		if len(keys) > 0 {
			t.Errorf("%s: of a capture the record has %v too", name, keys)
		}
	}
}

// Every answer to the name, with who gave it, every correction with who made it,
// and what was not asked stand in the record and its text.
func TestRecordSaysWhoSaidWhat(t *testing.T) {
	b := newBench(t, procedure.RunOpened{Wearer: procedure.Wearer{ID: "p-1"}, Try: 2})
	b.do(procedure.Input{Do: procedure.DoNameSaid, By: "wearer"}, procedure.Input{Do: procedure.DoNameSaid, Yes: true, By: "Agnes Thorley"},
		procedure.Input{Do: procedure.DoPark}, procedure.Input{Do: procedure.DoTakeUp})
	b.toClock()
	b.do(procedure.Input{Do: procedure.DoNameSaid, Yes: true, By: "Bram Okafor"})
	b.give(*b.s.Clock+31*time.Second, procedure.Input{Do: procedure.DoCorrect, Delta: 1, Reason: "by hand", By: "Agnes Thorley"})
	b.do(button)
	r, text := b.record()
	if !slices.Equal(r.Remarks, []string{record.RemarkTry, record.RemarkNoKit, record.RemarkNameless}) || r.Try != 2 {
		t.Errorf("remarks %v, try %d", r.Remarks, r.Try)
	}
	if len(r.Names) != 3 || r.Names[0].AtS != nil || r.Names[2].AtS == nil {
		t.Errorf("names %+v", r.Names)
	}
	for _, want := range []string{
		"NO, the name is not mine (the wearer's own page)", "the name is right (Agnes Thorley)", "the name is right (Bram Okafor)",
		"corrected          +1 in top-up 1 by Agnes Thorley: by hand", "the name was not confirmed", "no nebuliser was named", "try 2 with this facepiece",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	// No capture says whom the box knew: the JSON is that of a run without.
	raw, err := r.JSON()
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(raw), record.RemarkNoKit) || strings.Contains(string(raw), `"try"`) {
		t.Errorf("the JSON has what the replay of a capture cannot have:\n%s", raw)
	}
	// Of a drill no nebuliser of the house is asked for.
	b = newBench(t, procedure.RunOpened{Wearer: procedure.Wearer{ID: "p-1"}, Drill: &procedure.Drill{}})
	b.do(procedure.Input{Do: procedure.DoNameSaid, Yes: true}, goOn, procedure.Input{Do: procedure.DoAbandon})
	if r, _ := b.record(); len(r.Remarks) > 0 {
		t.Errorf("a drill has the remarks %v", r.Remarks)
	}
	// Not begun, nothing was missed.
	b = newBench(t, procedure.RunOpened{Wearer: procedure.Wearer{ID: "p-1"}})
	b.do(procedure.Input{Do: procedure.DoAbandon})
	if r, _ := b.record(); len(r.Remarks) > 0 {
		t.Errorf("a run that was not begun has the remarks %v", r.Remarks)
	}
}
