// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"slices"
	"testing"
	"time"
)

// Whoever breathes the mist through a broken seal can stop at once. That the
// proof was not made says nothing about the fit: the pass stays one, and nothing
// else becomes one.
func TestTheProofCanBeLeft(t *testing.T) {
	passed := nearlyPassed(t)
	passed, _ = play(passed, Input{At: passed.At, Do: DoTick})
	if passed.Verdict == nil || passed.Verdict.Outcome != Pass {
		t.Fatalf("verdict %+v", passed.Verdict)
	}
	proving, _ := play(passed, Input{At: passed.At, Do: DoBeginProof})
	for _, c := range []struct {
		do  Verb
		why string
		cue Cue
	}{{DoWelfare, LeftForWelfare, CueStop}, {DoLeaveProof, LeftUndone, CueGoOn}} {
		// Without a proof under way both are refused.
		for stage, s := range map[string]State{"before the proof": passed, "in the questions": opened(t, false)} {
			if c.do == DoWelfare && s.Verdict == nil {
				continue
			}
			after, facts := play(s, Input{At: s.At + time.Second, Do: c.do, By: "Tom Reed"})
			if len(facts) != 1 || facts[0].Fact.Kind() != "ignored" || after.ProofLeft != nil {
				t.Errorf("%s %s: %+v", c.do, stage, facts)
			}
		}
		facts, orders := Decide(proving, Input{At: proving.At + time.Second, Do: c.do, By: "Tom Reed"})
		left, _ := play(proving, Input{At: proving.At + time.Second, Do: c.do, By: "Tom Reed"})
		if len(facts) != 1 || facts[0].Fact != (ProofLeft{c.why, "Tom Reed"}) || !slices.Contains(orders, Order{Cue: c.cue}) {
			t.Errorf("%s: %+v, %+v", c.do, facts, orders)
		}
		// What comes afterwards changes nothing any more, whatever it says.
		for _, in := range []Input{{Do: DoTick}, button, {Do: DoProofNothing}, {Do: DoProofTasted}, {Do: DoBeginProof}, {Do: DoWelfare}, {Do: DoLeaveProof}} {
			in.At = left.At + time.Second
			after, _ := play(left, in)
			if v := after.Verdict; v.Outcome != Pass || v.Reason != "" || after.Proof != nil || after.Stage != Over || *after.ProofLeft != (ProofLeft{c.why, "Tom Reed"}) {
				t.Errorf("%s, then %s: %+v, proof %+v, at %s", c.do, in.Do, v, after.Proof, after.Stage)
			}
		}
		// In a journal it follows a proof alone, and makes no verdict better.
		failed := Fold(opened(t, false), Dated{time.Second, Ended{Fail, Tasted, time.Second}})
		if after := Fold(failed, Dated{2 * time.Second, ProofLeft{c.why, ""}}); after.Verdict.Outcome != Fail || after.ProofLeft != nil {
			t.Errorf("after a fail: %+v", after.Verdict)
		}
		nothing, _ := play(proving, Input{At: proving.At, Do: DoProofNothing})
		if after := Fold(nothing, Dated{nothing.At, ProofLeft{c.why, ""}}); after.Verdict.Outcome != NotValid || after.ProofLeft != nil {
			t.Errorf("after nothing was tasted: %+v", after.Verdict)
		}
		if after := Fold(left, Dated{left.At, Unsaved{}}); after.Verdict.Outcome != NotValid {
			t.Errorf("left, and not saved: %+v", after.Verdict)
		}
	}
}

// Who comes back to a run that waited is asked by name again; a no stays.
func TestTakenUpTheNameIsAskedAnew(t *testing.T) {
	again := []Input{{Do: DoPark, By: "Tom Reed"}, {Do: DoTakeUp, By: "Tom Reed"}}
	yes, no := Input{Do: DoNameSaid, Yes: true, By: "wearer"}, Input{Do: DoNameSaid, By: "wearer"}
	named := func(r *sitting) {
		o := *r.s.Opened
		o.Wearer = Wearer{ID: "p-1"}
		r.s = New(o, 0)
	}
	for name, c := range map[string]struct {
		first  []Input
		later  []Input // once it is taken up
		said   bool    // there is an answer then
		moves  bool    // the next step leads on
		remark bool
	}{
		"yes":                       {[]Input{yes}, nil, false, true, true},
		"yes, and yes again":        {[]Input{yes}, []Input{yes}, true, true, false},
		"yes, and no":               {[]Input{yes}, []Input{no}, true, false, false},
		"no":                        {[]Input{no}, nil, true, false, false},
		"no, and the tester's yes":  {[]Input{no}, []Input{{Do: DoNameSaid, Yes: true, By: "Tom Reed"}}, true, true, false},
		"nothing":                   {nil, nil, false, true, true},
		"nothing, and then it is":   {nil, []Input{yes}, true, true, false},
		"no, tester's yes, no more": {[]Input{no, {Do: DoNameSaid, Yes: true, By: "Tom Reed"}}, nil, false, true, true},
	} {
		r := &sitting{s: opened(t, false)}
		named(r)
		r.do(c.first...)
		r.do(again...)
		r.do(c.later...)
		if (r.s.NameSaid != nil) != c.said || len(r.s.Names) != len(c.first)+len(c.later) {
			t.Errorf("%s: %+v after %d answers", name, r.s.NameSaid, len(r.s.Names))
		}
		r.do(goOn)
		if moved := r.s.Stage == Screening; moved != c.moves || !moved && lastWhy(r.s) != WhyWrongPerson {
			t.Errorf("%s: at %s, %q", name, r.s.Stage, lastWhy(r.s))
		}
		if r.s.Unnamed != c.remark {
			t.Errorf("%s: a remark that the name was not confirmed: %v", name, r.s.Unnamed)
		}
	}
	// Later in the run too: what was confirmed for the sensitivity test is not
	// confirmed for the fit test.
	r := &sitting{s: opened(t, false)}
	named(r)
	r.do(yes, goOn, squeeze, button, letGo)
	r.do(again...)
	if r.do(goOn); r.s.Stage != Donning || !r.s.Unnamed {
		t.Errorf("taken up after the sensitivity test: at %s, remark %v", r.s.Stage, r.s.Unnamed)
	}
	// Where nobody has a name, as in a capture, nobody is asked.
	r = &sitting{s: opened(t, false)}
	r.s = New(RunOpened{Run: "replay", Rules: r.s.Opened.Rules, Supervised: true}, 0)
	if r.do(goOn); r.s.Stage != Screening || r.s.Unnamed {
		t.Errorf("without a person: at %s, remark %v", r.s.Stage, r.s.Unnamed)
	}
}
