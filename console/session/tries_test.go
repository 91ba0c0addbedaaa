// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/store/memory"
)

// A journaled register has what the journal tells of a person's fails.
type journaled struct {
	session.Fixed
	fails int
}

func (j journaled) May(ctx context.Context, person, facepiece, rules string) (session.Bound, error) {
	b, err := j.Fixed.May(ctx, person, facepiece, rules)
	b.Fails = j.fails
	return b, err
}

// On a real box a run is not opened while nothing could ask which nebuliser is
// strong (29 CFR 1910.134 App. A, Part I.B.4: the fit test has a solution of its
// own). In practice it is, and its record says so.
func TestNoNebuliserIsEntered(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil, func(c *session.Config) { c.Practice = "" })
	d.fence = d.lease("page 1")
	if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "no_nebuliser_entered" {
		t.Errorf("a real run without nebulisers: %q", why)
	}
	if d.ses.OpenRun() != "" {
		t.Errorf("run %s was opened", d.ses.OpenRun())
	}
	d = newDeskOn(t, newStillClock(), nil, func(c *session.Config) {
		c.Practice, c.Register = "", &shelf{Fixed: c.Register.(session.Fixed)}
	})
	d.open() // with a list of kit it asks, at each part
	if s := d.stage(procedure.Ready); s.Run.Kit == nil {
		t.Error("nothing is asked for")
	}

	j := memory.New()
	d = newDeskOn(t, newStillClock(), j)
	d.open()
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Screening)
	d.say(procedure.DoAbandon, procedure.Input{})
	d.until("the verdict", verdict)
	r, err := archive.Run(t.Context(), j, nil, d.run)
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(r.Record.Remarks, " "); got != record.RemarkNoKit+" "+record.RemarkNameless {
		t.Errorf("remarks of a run in practice: %q", got)
	}
}

// After a fail the US rule asks for another facepiece and everything again
// (29 CFR 1910.134 App. A, Part I.A); where a refit is allowed the record says
// which try it is.
func TestAfterAFail(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		refit bool
		fails int // that the journal tells of, as after a restart
		want  string
	}{
		"another facepiece":                  {false, 0, "other_facepiece_due"},
		"another facepiece, after a restart": {false, 1, "other_facepiece_due"},
		"a refit":                            {true, 0, ""},
		"a refit, after a restart":           {true, 2, ""},
	} {
		j := memory.New()
		d := newDeskOn(t, newStillClock(), j, func(c2 *session.Config) {
			f := c2.Register.(session.Fixed)
			r := c2.Rules["us-osha"]
			r.AfterFail.Refit = c.refit
			r.AfterFail.FailsToOther = 2
			c2.Rules = map[string]procedure.RuleSet{"us-osha": r}
			c2.Register = journaled{f, c.fails}
		})
		fails := c.fails
		if c.fails == 0 {
			d.open()
			d.toDosing()
			d.press(device.Taste, 1)
			if s := d.until("the verdict", verdict); s.Run.Verdict.Outcome != procedure.Fail {
				t.Fatalf("%s: %+v", name, s.Run.Verdict)
			}
			d.must(wire.Command{Do: "close"})
			fails = 1
		} else {
			d.fence = d.lease("page 1")
		}
		other := *opening
		other.Wearer = "hs-021"
		if c.fails == 0 { // who did not fail is tested as before
			if why := d.ask(wire.Command{Do: "open", Open: &other}); why != "" {
				t.Errorf("%s: somebody else: %q", name, why)
			}
			d.run = d.ses.OpenRun()
			d.say(procedure.DoAbandon, procedure.Input{})
			d.until("the verdict", verdict)
			d.must(wire.Command{Do: "close"})
			d.run = ""
		}
		if why := d.ask(wire.Command{Do: "open", Open: opening}); why != c.want {
			t.Errorf("%s: the same facepiece again: %q, want %q", name, why, c.want)
		}
		if c.want != "" {
			if c.fails == 0 {
				// What was another sitting says nothing any more.
				d.wait(d.rules.Sitting() + time.Minute)
				d.open()
			}
			continue
		}
		d.run = d.ses.OpenRun()
		d.saved(j)
		st, err := archive.State(t.Context(), j, d.run)
		if err != nil || st.Opened.Try != fails+1 {
			t.Errorf("%s: try %d, %v", name, st.Opened.Try, err)
		}
		if got := record.OnRun(st); len(got) != 1 || got[0] != record.RemarkTry {
			t.Errorf("%s: remarks %v", name, got)
		}
		d.wait(10 * time.Millisecond)
		for _, q := range d.rules.Before {
			d.say(procedure.DoAnswer, procedure.Input{Question: q.ID, Yes: true})
		}
		d.say(procedure.DoAbstained, procedure.Input{For: time.Hour})
		d.toDosing()
		d.press(device.Taste, 1)
		if s := d.until("the verdict", verdict); s.Run.Verdict.Next != "other_size_or_model" {
			t.Errorf("%s: after %d fails next is %q", name, fails+1, s.Run.Verdict.Next)
		}
	}
}

// The proof is ended by whoever stops for the person, and by the driver; the
// fact has who it was.
func TestTheProofIsLeft(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		client string
		role   wire.Role
		do     procedure.Verb
		left   procedure.ProofLeft
	}{
		{"page 1", wire.Tester, procedure.DoLeaveProof, procedure.ProofLeft{Why: procedure.LeftUndone, By: "Agnes Thorley"}},
		{"page 1", wire.Tester, procedure.DoWelfare, procedure.ProofLeft{Why: procedure.LeftForWelfare, By: "Agnes Thorley"}},
		{"page 9", wire.Wearer, procedure.DoWelfare, procedure.ProofLeft{Why: procedure.LeftForWelfare, By: "wearer"}},
		{"page 3", wire.Trainer, procedure.DoWelfare, procedure.ProofLeft{Why: procedure.LeftForWelfare, By: "trainer"}},
	} {
		d, m := moodyDesk(t)
		toHeldPass(d, m)
		m.letGo(0)
		d.until("a verdict", verdict)
		d.say(procedure.DoBeginProof, procedure.Input{})
		d.stage(procedure.ProvingMist)
		if c.role != wire.Tester {
			if why := d.askAs(c.client, c.role, wire.Command{Do: string(procedure.DoLeaveProof)}); why != "not_allowed" {
				t.Errorf("a %s leaves the proof: %q", c.role, why)
			}
		}
		if why := d.askAs(c.client, c.role, wire.Command{Do: string(c.do)}); why != "" {
			t.Errorf("%s by the %s: %q", c.do, c.role, why)
		}
		s := d.until("the proof left", func(s wire.Snapshot) bool {
			return verdict(s) && s.Run.Verdict.Proof != "" && s.Run.Stage == procedure.Over
		})
		if v := s.Run.Verdict; v == nil || v.Outcome != procedure.Pass || v.Proof != c.left.Why {
			t.Errorf("%s: the page shows %+v", c.do, v)
		}
		st, err := archive.State(t.Context(), m.Store, d.run)
		if err != nil || st.ProofLeft == nil || *st.ProofLeft != c.left || st.Verdict.Outcome != procedure.Pass {
			t.Errorf("%s by the %s: %+v, %v", c.do, c.role, st.ProofLeft, err)
		}
		r, err := record.Of(st)
		if err != nil || *r.Proof != record.ProofNotAnswered || *r.ProofLeft != (record.ProofLeft{Why: c.left.Why, By: c.left.By}) {
			t.Errorf("the record: %+v, %v", r, err)
		}
	}
}

// What the box would refuse is not offered: half of a dose may be added by hand,
// in the initial dose and in a top-up.
func TestHalfOfADoseByHandIsNotOffered(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), memory.New())
	d.open()
	d.toDosing()
	correct := func(delta int) string {
		return d.ask(wire.Command{Do: string(procedure.DoCorrect), Input: procedure.Input{Delta: delta, Reason: "beside the pedal", By: "Agnes Thorley"}})
	}
	shown := func(given int, why procedure.Why) {
		t.Helper()
		s := d.until("the count", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Dose != nil && s.Run.Dose.Given == given })
		if s.Run.NoAdd != why {
			t.Errorf("%d given: the page is told %q, want %q", given, s.Run.NoAdd, why)
		}
	}
	shown(0, "")
	for n := range 5 {
		if why := correct(1); why != "" {
			t.Fatalf("squeeze %d by hand: %q", n+1, why)
		}
	}
	shown(5, procedure.WhyHalfByHand)
	if why := correct(1); why != string(procedure.WhyHalfByHand) {
		t.Errorf("the sixth of ten by hand: %q", why)
	}
	if why := correct(-1); why != "" {
		t.Errorf("taken back: %q", why)
	}
	shown(4, "")
	d.dose(10)
	d.until("the first top-up", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Dose != nil && s.Run.Dose.N == 1 })
	for range 2 {
		if why := correct(1); why != "" {
			t.Fatal(why)
		}
	}
	shown(2, procedure.WhyHalfByHand)
	if why := correct(1); why != string(procedure.WhyHalfByHand) {
		t.Errorf("the third of five by hand: %q", why)
	}
	d.press(device.Squeeze, 3)
	shown(5, "") // nothing is lacking
}

// A correction and an answer to the name that name nobody are those of the tester
// who drives.
func TestTheDriverIsNamed(t *testing.T) {
	t.Parallel()
	j := memory.New()
	d := newDeskOn(t, newStillClock(), j)
	d.open()
	if why := d.askAs("page 9", wire.Wearer, wire.Command{Do: string(procedure.DoNameSaid)}); why != "" {
		t.Fatal(why)
	}
	d.say(procedure.DoNameSaid, procedure.Input{Yes: true})
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Screening)
	d.say(procedure.DoCorrect, procedure.Input{Delta: 1, Reason: "by hand"})
	d.say(procedure.DoAbandon, procedure.Input{})
	d.until("the verdict", verdict)
	v, err := archive.Run(t.Context(), j, nil, d.run)
	if err != nil {
		t.Fatal(err)
	}
	r := v.Record
	if len(r.Corrections) != 1 || r.Corrections[0].By != "Agnes Thorley" {
		t.Errorf("corrections %+v", r.Corrections)
	}
	if len(r.Names) != 2 || r.Names[0] != (record.NameAnswer{Yes: false, By: "wearer"}) || r.Names[1] != (record.NameAnswer{Yes: true, By: "Agnes Thorley"}) {
		t.Errorf("answers to the name %+v", r.Names)
	}
}
