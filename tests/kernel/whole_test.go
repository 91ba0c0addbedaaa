// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"flag"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
)

var whole = flag.Bool("whole", false, "a whole run to a pass, in real time: 14 minutes")

// TestWhole is one whole run by bouncing contacts, with every wait of the rule
// in real time, to a pass.
func TestWhole(t *testing.T) {
	need(t)
	if !*whole {
		t.Skip("only when asked: a whole run of 14 minutes (-whole)")
	}
	b := bringUp(t, disk(t))
	p := b.p
	run := b.report(7)
	b.f.press()
	p.stage(procedure.Donning)
	p.must(wire.Command{Do: string(procedure.DoTake), Input: procedure.Input{Mark: strongMark}})
	p.wait(t, 6*time.Minute, "the facepiece to be worn long enough", func(s wire.Snapshot) bool {
		return s.Run.Stage == procedure.Donning && s.Run.WaitMS == 0 && s.Run.Blocked == ""
	})
	b.f.press()
	p.stage(procedure.Dosing)

	made := 0
	dose := func(n int) {
		for range n {
			if !b.squeeze(220*time.Millisecond, given) {
				t.Fatal("the machine stood still in the fit test")
			}
			time.Sleep(600 * time.Millisecond)
			made++
		}
	}
	dose(p.last.Run.Dose.Required)
	p.stage(procedure.Running)
	for n := 1; ; n++ {
		p.wait(t, time.Minute, "the next dose or the end", func(s wire.Snapshot) bool {
			return s.Run.Verdict != nil || s.Run.Dose != nil && s.Run.Dose.N == n && s.Run.RunMS != nil && *s.Run.RunMS >= s.Run.Dose.DueMS+500
		})
		if p.last.Run.Verdict != nil {
			break
		}
		dose(p.last.Run.Dose.Required)
	}
	p.verdict(procedure.Pass, "")
	if n := len(p.last.Run.SqueezesMS); n != made {
		t.Errorf("%d squeezes were made in the fit test and %d counted", made, n)
	}
	if ms := *p.last.Run.RunMS; ms != 420_000 {
		t.Errorf("the run took %d ms", ms)
	}
	var v archive.View
	b.d.get("/api/records/"+run, &v)
	t.Logf("%d squeezes, %d of the sensitivity test among them; time source %s; dropped or noisy edges: %d",
		made+7, 7, v.TimeSource, p.last.Inputs.Noise)
	b.d.stop()
	b.verify()
}

// given is how many squeezes of the fit test count, those too many included.
func given(s wire.Snapshot) (n int) {
	if s.Run.Initial != nil {
		n = s.Run.Initial.Given + s.Run.Initial.Extra
	}
	for _, d := range s.Run.TopUps {
		n += d.Given + d.Extra
	}
	return n
}

// wait is until with a patience of its own; what a snapshot says must be of a
// run that is open.
func (p *tablet) wait(t *testing.T, d time.Duration, what string, want func(wire.Snapshot) bool) {
	t.Helper()
	for deadline := time.After(d); ; {
		if p.last.Run != nil {
			if v := p.last.Run.Verdict; v != nil && v.Outcome != procedure.Pass {
				t.Fatalf("the run ended as %s %s before %s; faults %v", v.Outcome, v.Reason, what, p.last.Run.Faults)
			}
			if want(p.last) {
				return
			}
		}
		if _, err := p.read(deadline); err != nil {
			t.Fatalf("waited for %s: %v", what, err)
		}
	}
}
