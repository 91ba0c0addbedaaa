// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// openFor opens a run of a person and answers what is asked before it.
func (d *desk) openFor(person string) string {
	d.t.Helper()
	if d.fence == 0 {
		d.fence = d.lease("page 1")
	}
	o := *opening
	o.Wearer = person
	d.must(wire.Command{Do: "open", Open: &o})
	d.run = d.ses.OpenRun()
	for _, q := range d.rules.Before {
		d.say(procedure.DoAnswer, procedure.Input{Question: q.ID, Yes: true, By: "Agnes Thorley"})
	}
	d.say(procedure.DoAbstained, procedure.Input{For: time.Hour, By: "Agnes Thorley"})
	return d.run
}

func (d *desk) park() {
	d.t.Helper()
	d.say(procedure.DoPark, procedure.Input{By: "Agnes Thorley"})
	run := d.run
	d.until("the run among those that wait", func(s wire.Snapshot) bool {
		return s.Run == nil && slices.ContainsFunc(s.Parked, func(r wire.Run) bool { return r.Run == run })
	})
}

func (d *desk) takeUp(run string) wire.Snapshot {
	d.t.Helper()
	d.run = run
	d.say(procedure.DoTakeUp, procedure.Input{By: "Agnes Thorley"})
	return d.until("the run taken up", func(s wire.Snapshot) bool {
		return s.Run != nil && s.Run.Run == run && s.Run.Blocked != procedure.WhyParked
	})
}

// toDonning brings an open run until the facepiece is worn, with n squeezes to
// the first taste.
func (d *desk) toDonning(n int) {
	d.t.Helper()
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Screening)
	d.press(device.Squeeze, n)
	d.press(device.Taste, 1)
	d.stage(procedure.Clearing)
	d.press(device.Step, 1)
	d.stage(procedure.Donning)
}

func factsOf(t *testing.T, j store.Journal, run string) (out []procedure.Dated) {
	t.Helper()
	err := j.ReadStream(t.Context(), run, func(e store.Entry) error {
		f, err := procedure.Decode(e.Kind, e.Version, e.Body)
		out = append(out, f)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func parkedOf(s wire.Snapshot, run string) *wire.Run {
	for i := range s.Parked {
		if s.Parked[i].Run == run {
			return &s.Parked[i]
		}
	}
	return nil
}

// While one wears the facepiece another is given the sensitivity test: neither
// run hears of the other, the wait goes on, and the capture of each holds its
// own stretches alone.
func TestTwoPeopleBesideEachOther(t *testing.T) {
	t.Parallel()
	j := memory.New()
	file := filepath.Join(t.TempDir(), "run.vcd")
	d := newDeskOn(t, newStillClock(), j, func(c *session.Config) {
		c.Rules["us-osha"] = quickRules(t, 15)
		c.Capture = file
	})
	a := d.openFor("hs-014")
	d.toDonning(3)
	d.park()
	if d.board.Lit(device.LampRun) || d.board.Lit(device.LampDue) {
		t.Error("a lamp of a run that waits is lit")
	}

	b := d.openFor("hs-021")
	d.toDonning(14)
	d.wait(6 * time.Second)
	s := d.until("both", func(s wire.Snapshot) bool { return s.Run != nil && parkedOf(s, a) != nil })
	waiting := parkedOf(s, a)
	if waiting.Screening.Squeezes != 3 || waiting.Stage != procedure.Donning || waiting.WaitMS != 0 || waiting.Screening.Bin != 10 {
		t.Errorf("the run that waits shows %+v", waiting)
	}
	if waiting.Code == s.Run.Code || len(waiting.Code) != 4 || len(s.Run.Code) != 4 {
		t.Errorf("pairing codes %q and %q", waiting.Code, s.Run.Code)
	}
	if open := d.ses.Open(); len(open) != 2 || open[0].Run != b || open[0].Parked || open[1].Run != a || !open[1].Parked || open[1].Person != "hs-014" {
		t.Errorf("open runs %+v", open)
	}
	for _, x := range []struct {
		what string
		cmd  wire.Command
		want string
	}{
		{"a run that waits goes on", wire.Command{Do: string(procedure.DoGoOn), Run: a}, "parked"},
		{"a squeeze of it is corrected", wire.Command{Do: string(procedure.DoCorrect), Run: a, Input: procedure.Input{Delta: 1, Reason: "x"}}, "parked"},
		{"it is taken up beside another", wire.Command{Do: "take_up", Run: a}, "run_open"},
		{"it is closed", wire.Command{Do: "close", Run: a}, "run_open"},
		{"no such run is taken up", wire.Command{Do: "take_up", Run: "r999999"}, "stale"},
		{"the wires are checked", wire.Command{Do: "check_begin"}, "run_open"},
	} {
		if why := d.ask(x.cmd); why != x.want {
			t.Errorf("%s: %q, want %q", x.what, why, x.want)
		}
	}
	d.park()
	if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "run_open" {
		t.Errorf("a second run of the same person: %q, want run_open", why)
	}
	if err := d.board.Set(device.Step, true); err != nil {
		t.Fatal(err)
	}
	d.until("the pedal", func(s wire.Snapshot) bool { return s.Inputs.Step })
	if why := d.ask(wire.Command{Do: "take_up", Run: a}); why != string(procedure.WhyPedalHeld) {
		t.Errorf("taken up with the foot on the pedal: %q", why)
	}
	if err := d.board.Set(device.Step, false); err != nil {
		t.Fatal(err)
	}

	d.takeUp(a)
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Dosing)
	d.dose(10)
	d.topUps(0)
	if s := d.until("a verdict", verdict); s.Run.Verdict.Outcome != procedure.Pass || s.Run.Code != "" {
		t.Fatalf("the first run ended as %+v, code %q", s.Run.Verdict, s.Run.Code)
	}
	d.must(wire.Command{Do: "close"})
	d.takeUp(b)
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Dosing)
	d.press(device.Taste, 1)
	if s := d.until("a verdict", verdict); s.Run.Verdict.Outcome != procedure.Fail {
		t.Fatalf("the second run ended as %+v", s.Run.Verdict)
	}
	d.stop()
	for n, run := range []string{a, b} {
		st, err := archive.State(t.Context(), j, run)
		if err != nil {
			t.Fatal(err)
		}
		if want := []int{10, 20}[n]; st.Bin != want {
			t.Errorf("run %s: bin %d, want %d", run, st.Bin, want)
		}
		path := file
		if n > 0 {
			path = strings.TrimSuffix(file, ".vcd") + "-2.vcd"
		}
		replays(t, path, st)
	}
}

func TestWhereARunMayWait(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	refused := func(st procedure.Stage) {
		t.Helper()
		if why := d.ask(wire.Command{Do: string(procedure.DoPark)}); why != string(procedure.WhyNotParkable) {
			t.Errorf("parked at %s: %q", st, why)
		}
		if s := d.until("any", func(s wire.Snapshot) bool { return true }); s.Run == nil || s.Run.Stage != st || len(s.Parked) > 0 {
			t.Fatalf("after the refusal at %s: %+v", st, s.Run)
		}
	}
	run := d.openFor("hs-014")
	d.park()
	d.takeUp(run)
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Screening)
	refused(procedure.Screening)
	d.press(device.Squeeze, 3)
	d.press(device.Taste, 1)
	d.stage(procedure.Clearing)
	d.park()
	d.takeUp(run)
	d.press(device.Step, 1)
	d.stage(procedure.Donning)
	d.wait(6 * time.Second)
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Dosing)
	refused(procedure.Dosing)
	d.dose(10)
	refused(procedure.Running)
	d.say(procedure.DoWelfare, procedure.Input{})
	d.until("a verdict", verdict)
	if why := d.ask(wire.Command{Do: string(procedure.DoPark)}); why != string(procedure.WhyNotHere) {
		t.Errorf("parked after the end: %q", why)
	}
}

func TestAtMostThreeWait(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	codes := map[string]bool{}
	for _, p := range []string{"hs-014", "hs-021", "hs-007"} {
		d.openFor(p)
		d.park()
	}
	fourth := d.openFor("hs-033")
	if why := d.ask(wire.Command{Do: string(procedure.DoPark)}); why != "too_many_parked" {
		t.Errorf("a fourth that waits: %q", why)
	}
	s := d.until("four", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Run == fourth && len(s.Parked) == 3 })
	for _, r := range append(s.Parked, *s.Run) {
		codes[r.Code] = true
	}
	if len(codes) != 4 {
		t.Errorf("four open runs have the codes %v", codes)
	}
	for i := 1; i < len(s.Parked); i++ {
		if s.Parked[i].Run < s.Parked[i-1].Run {
			t.Errorf("not oldest first: %s before %s", s.Parked[i-1].Run, s.Parked[i].Run)
		}
	}
	// One that waits is given up where it stands, and goes away once it is saved.
	gone := s.Parked[1].Run
	d.must(wire.Command{Do: string(procedure.DoAbandon), Run: gone})
	d.until("two that wait", func(s wire.Snapshot) bool { return len(s.Parked) == 2 && parkedOf(s, gone) == nil })
	d.park()
}

// A wearer's page says stop for a run that waits; nothing else of it is told to
// anybody but the tester.
func TestWelfareOfARunThatWaits(t *testing.T) {
	t.Parallel()
	j := memory.New()
	ended := make(chan string, 4)
	d := newDeskOn(t, newStillClock(), j, func(c *session.Config) { c.Ended = func(run string) { ended <- run } })
	a := d.openFor("hs-014")
	d.toDonning(3)
	d.park()
	b := d.openFor("hs-021")
	d.toDonning(3)
	if why := d.askAs("page 9", wire.Wearer, wire.Command{Do: string(procedure.DoWelfare), Run: a}); why != "" {
		t.Fatalf("the wearer's stop was refused: %s", why)
	}
	s := d.until("the run gone", func(s wire.Snapshot) bool { return len(s.Parked) == 0 })
	if s.Run == nil || s.Run.Run != b || s.Run.Verdict != nil {
		t.Errorf("the active run stands at %+v", s.Run)
	}
	if d.heard.has(procedure.CueNotValid) {
		t.Error("the tester of another run heard that it is not valid")
	}
	if run := <-ended; run != a {
		t.Errorf("%s was said to have ended, want %s", run, a)
	}
	st, err := archive.State(t.Context(), j, a)
	if err != nil {
		t.Fatal(err)
	}
	if st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != procedure.StoppedForWelfare {
		t.Errorf("it ended as %+v", st.Verdict)
	}
}

// What was not watched is not trusted: after a cable that was out, edges that
// may be missing, or a stall the button has to be pressed again.
func TestButtonOfARunThatWaits(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(d *desk, c *stillClock){
		"cable out": func(d *desk, _ *stillClock) {
			_ = d.board.Set(device.TasteNC, false)
			d.until("the fault", func(s wire.Snapshot) bool { return s.Inputs.Cable != "" })
			if why := d.ask(wire.Command{Do: "take_up"}); why != string(procedure.WhyButtonFaulty) {
				d.t.Errorf("taken up without the cable: %q", why)
			}
			_ = d.board.Set(device.TasteNC, true)
			d.until("no fault", func(s wire.Snapshot) bool { return s.Inputs.Cable == "" })
		},
		"stall": func(_ *desk, c *stillClock) { c.leap(1500 * time.Millisecond) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := newStillClock()
			d := newDeskOn(t, c, nil)
			a := d.openFor("hs-014")
			d.toDonning(3)
			d.park()
			spoil(d, c)
			d.until("a fault of the run", func(s wire.Snapshot) bool { r := parkedOf(s, a); return r != nil && len(r.Faults) > 0 })
			d.wait(6 * time.Second)
			if s := d.takeUp(a); s.Run.Verdict != nil || s.Run.Blocked != procedure.WhyButtonUnproven {
				t.Fatalf("taken up it shows %q, %+v", s.Run.Blocked, s.Run.Verdict)
			}
			if why := d.ask(wire.Command{Do: string(procedure.DoGoOn)}); why != string(procedure.WhyButtonUnproven) {
				t.Errorf("it went on without the button: %q", why)
			}
			d.press(device.Taste, 1)
			d.wait(time.Second)
			d.say(procedure.DoGoOn, procedure.Input{})
			d.stage(procedure.Dosing)
		})
	}
	t.Run("nothing", func(t *testing.T) {
		t.Parallel()
		d := newDeskOn(t, newStillClock(), nil)
		a := d.openFor("hs-014")
		d.toDonning(3)
		d.park()
		d.wait(6 * time.Second)
		if s := d.takeUp(a); s.Run.Blocked != "" || len(s.Run.Faults) > 0 {
			t.Errorf("taken up it shows %q, %v", s.Run.Blocked, s.Run.Faults)
		}
	})
}

// After a power cut every run that was open is closed, also those that waited
// while many others began and ended.
func TestPowerCutClosesAll(t *testing.T) {
	t.Parallel()
	j := memory.New()
	d := newDeskOn(t, newStillClock(), j)
	var open []string
	for _, p := range []string{"hs-014", "hs-021"} {
		open = append(open, d.openFor(p))
		d.park()
	}
	for range 3 {
		d.openFor("hs-007")
		d.say(procedure.DoAbandon, procedure.Input{})
		d.until("a verdict", verdict)
		d.must(wire.Command{Do: "close"})
	}
	last := d.run
	d.until("all saved", func(s wire.Snapshot) bool { return s.LagMS == 0 && len(s.Parked) == 2 })
	d.wait(time.Second)
	cut := j.Reopen()
	before, _ := cut.Last()
	if err := session.CloseOpenRuns(t.Context(), cut); err != nil {
		t.Fatal(err)
	}
	for _, run := range append(open, last) {
		st, err := archive.State(t.Context(), cut, run)
		if err != nil {
			t.Fatal(err)
		}
		want := procedure.PowerLost
		if run == last {
			want = procedure.Interrupted
		}
		if st.Verdict == nil || st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != want {
			t.Errorf("run %s: %+v, want not valid, %s", run, st.Verdict, want)
		}
	}
	if after, _ := cut.Last(); after != before+2 {
		t.Errorf("%d entries were added, want 2", after-before)
	}
}

// A daemon that is stopped ends the runs that wait with the active one.
func TestStopEndsAll(t *testing.T) {
	t.Parallel()
	j := memory.New()
	d := newDeskOn(t, newStillClock(), j)
	a := d.openFor("hs-014")
	d.park()
	b := d.openFor("hs-021")
	d.stop()
	for _, run := range []string{a, b} {
		st, err := archive.State(t.Context(), j, run)
		if err != nil {
			t.Fatal(err)
		}
		if st.Verdict == nil || st.Verdict.Reason != procedure.Interrupted {
			t.Errorf("run %s: %+v", run, st.Verdict)
		}
	}
}

// When nothing can be saved no open run can become a pass, waiting or not.
func TestJournalThatFailsWithSeveralRuns(t *testing.T) {
	t.Parallel()
	d, m := moodyDesk(t)
	a := d.openFor("hs-014")
	d.toDonning(3)
	d.park()
	b := d.openFor("hs-007")
	d.park()
	d.openFor("hs-021")
	d.toDonning(3)
	m.failNext(1 << 30)
	d.press(device.Taste, 1)
	s := d.until("verdicts", func(s wire.Snapshot) bool {
		r := parkedOf(s, a)
		return verdict(s) && r != nil && r.Verdict != nil
	})
	for _, r := range []*wire.Run{s.Run, parkedOf(s, a)} {
		if r.Verdict.Outcome != procedure.NotValid || r.Verdict.Reason != procedure.JournalFailed {
			t.Errorf("run %s shows %+v", r.Run, r.Verdict)
		}
	}
	d.must(wire.Command{Do: "close"})
	d.takeUp(b)
	if why := d.ask(wire.Command{Do: string(procedure.DoGoOn)}); why != string(procedure.WhyJournal) {
		t.Errorf("a run that waited before its test went on: %q", why)
	}
	d.must(wire.Command{Do: "close", Run: a})
	d.noPass()
}

// An uncleared register knows of nobody's clearance.
type uncleared struct{ session.Fixed }

func (u uncleared) May(ctx context.Context, person, facepiece, rules string) (session.Bound, error) {
	b, err := u.Fixed.May(ctx, person, facepiece, rules)
	b.Uncleared = true
	return b, err
}

func TestNameSaid(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil, func(c *session.Config) {
		f := c.Register.(session.Fixed)
		f.Languages = map[string]string{"hs-021": "pl"}
		c.Register = uncleared{f}
	})
	run := d.openFor("hs-021")
	said := func(client string, role wire.Role, yes bool) string {
		return d.askAs(client, role, wire.Command{Do: string(procedure.DoNameSaid), Input: procedure.Input{Yes: yes}})
	}
	if s := d.stage(procedure.Ready); s.Run.WearerLanguage != "pl" || s.Run.NameSaid != "" {
		t.Errorf("language %q, said %q", s.Run.WearerLanguage, s.Run.NameSaid)
	}
	if w := wire.ForWearer(d.stage(procedure.Ready), run); w.Run == nil || w.Run.Wearer != "Tomasz Zieliński" || w.Run.Code != "" {
		t.Errorf("the wearer's page sees %+v", w.Run)
	}
	// Who is cleared is for the tester alone.
	at := d.stage(procedure.Ready)
	if w, g := wire.ForWearer(at, run), wire.ForRole(at, wire.Trainer); !at.Run.Uncleared || w.Run.Uncleared || g.Run.Uncleared {
		t.Errorf("no clearance: the tester is told %t, the wearer's page %t, the gallery %t", at.Run.Uncleared, w.Run.Uncleared, g.Run.Uncleared)
	}
	if why := said("page 3", wire.Trainer, true); why != "not_allowed" {
		t.Errorf("a trainer says the name: %q", why)
	}
	if why := said("page 9", wire.Wearer, false); why != "" {
		t.Fatal(why)
	}
	d.until("no", func(s wire.Snapshot) bool { return s.Run.NameSaid == "no" && s.Run.Blocked == procedure.WhyWrongPerson })
	if why := d.ask(wire.Command{Do: string(procedure.DoGoOn)}); why != string(procedure.WhyWrongPerson) {
		t.Errorf("the wrong person goes on: %q", why)
	}
	if why := said("page 1", wire.Tester, true); why != "" {
		t.Fatal(why)
	}
	s := d.until("yes", func(s wire.Snapshot) bool { return s.Run.NameSaid == "yes" && s.Run.Blocked == "" })
	if w := wire.ForWearer(s, run); w.Run.Wearer != "" {
		t.Errorf("the name is still on the wearer's page: %+v", w.Run)
	}
	for _, of := range []wire.Snapshot{wire.ForRole(s, wire.Wearer), wire.ForWearer(s, "r999999")} {
		if of.Run != nil || of.Pairing != "needed" || len(of.Parked) > 0 || of.Inputs.Squeeze {
			t.Errorf("an unpaired page sees %+v", of)
		}
	}
	if tr := wire.ForRole(s, wire.Trainer); tr.Run.Code != "" || tr.Run.Wearer != "" {
		t.Errorf("a trainer sees %+v", tr.Run)
	}
	// In the fit test there is no step left to refuse.
	d.toDonning(3)
	d.wait(6 * time.Second)
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Dosing)
	if why := said("page 9", wire.Wearer, false); why != "" {
		t.Fatal(why)
	}
	d.ends(procedure.Interrupted)
}
