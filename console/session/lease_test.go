// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"encoding/json"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device"
)

func TestOneDrives(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	d.open()
	goOn := wire.Command{Do: string(procedure.DoGoOn)}
	first := d.fence
	for _, c := range []struct {
		what   string
		client string
		role   wire.Role
		cmd    wire.Command
		want   string
	}{
		{"no lease", "page 2", wire.Tester, goOn, "not_driver"},
		{"an old fence", "page 1", wire.Tester, wire.Command{Do: "go_on", Fence: first + 1}, "stale"},
		{"another run", "page 1", wire.Tester, wire.Command{Do: "go_on", Run: "r999999"}, "stale"},
		{"another run to close", "page 1", wire.Tester, wire.Command{Do: "close", Run: "r999999"}, "stale"},
		{"close before the end", "page 1", wire.Tester, wire.Command{Do: "close"}, "run_open"},
		{"a second run", "page 1", wire.Tester, wire.Command{Do: "open", Open: opening}, "run_open"},
		{"a verb of the box", "page 1", wire.Tester, wire.Command{Do: string(procedure.DoPress), Input: procedure.Input{Source: "squeeze"}}, "unknown"},
		{"a tick", "page 1", wire.Tester, wire.Command{Do: string(procedure.DoTick)}, "unknown"},
		{"no such verb", "page 1", wire.Tester, wire.Command{Do: "pass"}, "unknown"},
		{"time from the past", "page 1", wire.Tester, wire.Command{Do: string(procedure.DoAbstained), Input: procedure.Input{For: -1}}, "unknown"},
		{"a long reason", "page 1", wire.Tester, wire.Command{Do: string(procedure.DoCorrect), Input: procedure.Input{Delta: 1, Reason: strings.Repeat("x", 201)}}, "unknown"},
		{"no contact", "page 1", wire.Tester, wire.Command{Do: "sim"}, "not_allowed"},
		{"no such contact", "page 1", wire.Tester, wire.Command{Do: "sim", Sim: &wire.Contact{Line: "bell", Closed: true}}, "unknown"},
		{"trainer takes the lease", "page 3", wire.Trainer, wire.Command{Do: "take_lease"}, "not_allowed"},
		{"trainer under the driver's name", "page 1", wire.Trainer, goOn, "not_allowed"},
		{"wearer takes the lease", "page 4", wire.Wearer, wire.Command{Do: "take_lease"}, "not_allowed"},
		{"wearer goes on", "page 1", wire.Wearer, goOn, "not_allowed"},
		{"wearer presses", "page 1", wire.Wearer, wire.Command{Do: "sim", Sim: &wire.Contact{Line: "taste", Closed: true}}, "not_allowed"},
		{"no role", "page 1", "", goOn, "not_allowed"},
	} {
		if why := d.askAs(c.client, c.role, c.cmd); why != c.want {
			t.Errorf("%s: %q, want %q", c.what, why, c.want)
		}
	}
	if s := d.stage(procedure.Ready); s.Driver != "page 1" || s.Fence != first {
		t.Fatalf("refusals changed the lease: driver %q, fence %d, before %d", s.Driver, s.Fence, first)
	}

	second := d.lease("page 2")
	if second <= first {
		t.Errorf("the fence went from %d to %d", first, second)
	}
	if why := d.ask(goOn); why != "not_driver" {
		t.Errorf("the old driver goes on: %q, want not_driver", why)
	}
	if why := d.askAs("page 2", wire.Tester, wire.Command{Do: "go_on", Fence: first}); why != "stale" {
		t.Errorf("the new driver under the old fence: %q, want stale", why)
	}
	if why := d.askAs("page 2", wire.Tester, wire.Command{Do: "go_on", Fence: second}); why != "" {
		t.Errorf("the new driver goes on: refused, %s", why)
	}
	d.stage(procedure.Screening)

	// A driver whose page has gone drives no more, also when it comes back.
	d.ses.Leave("page 2")
	s := d.until("no driver", func(s wire.Snapshot) bool { return s.Driver == "" })
	if s.Fence <= second {
		t.Errorf("the fence is %d after the driver left, before %d", s.Fence, second)
	}
	if why := d.askAs("page 2", wire.Tester, wire.Command{Do: "drop_lease", Fence: second}); why != "not_driver" {
		t.Errorf("a driver that had gone drops the lease: %q, want not_driver", why)
	}
	d.fence = d.lease("page 1")
	d.must(wire.Command{Do: "drop_lease"})
	if why := d.ask(goOn); why != "not_driver" {
		t.Errorf("after drop_lease: %q, want not_driver", why)
	}
}

func TestOpenRefusesWhatItDoesNotKnow(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	d.fence = d.lease("page 1")
	with := func(f func(*wire.Open)) *wire.Open {
		o := *opening
		f(&o)
		return &o
	}
	for what, c := range map[string]struct {
		open *wire.Open
		want string
	}{
		"nothing":            {nil, "unknown"},
		"nobody":             {with(func(o *wire.Open) { o.Wearer = "hs-999" }), "unknown"},
		"no facepiece":       {with(func(o *wire.Open) { o.Facepiece = "" }), "unknown"},
		"no rules":           {with(func(o *wire.Open) { o.Rules = "none" }), "unknown"},
		"no agent":           {with(func(o *wire.Open) { o.Agent = "salty" }), "unknown"},
		"no tester":          {with(func(o *wire.Open) { o.Tester = "  " }), "unknown"},
		"a full-face at 500": {with(func(o *wire.Open) { o.Facepiece = "beacon-m" }), "facepiece_not_allowed"},
	} {
		if why := d.ask(wire.Command{Do: "open", Open: c.open}); why != c.want {
			t.Errorf("%s: %q, want %q", what, why, c.want)
		}
	}
	if why := d.ask(wire.Command{Do: "go_on"}); why != "no_run" {
		t.Errorf("go on without a run: %q, want no_run", why)
	}
	if why := d.ask(wire.Command{Do: "close"}); why != "no_run" {
		t.Errorf("close without a run: %q, want no_run", why)
	}
	if id := d.ses.OpenRun(); id != "" {
		t.Errorf("a run was opened: %s", id)
	}
}

// Over a whole run a wearer's page is told no name, no count and no verdict, and
// a trainer's page no name.
func TestWhatOthersSee(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	d.open()
	d.toDosing()
	d.press(device.Squeeze, 11)
	d.press(device.Taste, 1)
	last := d.until("a verdict", verdict)
	if last.Run.Verdict.Outcome != procedure.Fail {
		t.Fatalf("the run ended as %+v", last.Run.Verdict)
	}
	names := []string{"Ilse", "Brandvold", "Agnes", "Thorley", "hs-014"}
	for _, s := range d.snapshots() {
		for _, role := range []wire.Role{wire.Trainer, wire.Wearer} {
			seen := wire.ForRole(s, role)
			if role == wire.Wearer {
				seen = wire.ForWearer(answered(s), d.run)
			}
			b, err := json.Marshal(seen)
			if err != nil {
				t.Fatal(err)
			}
			for _, n := range names {
				if strings.Contains(string(b), n) {
					t.Fatalf("a %s is shown %q: %s", role, n, b)
				}
			}
		}
		w := wire.ForWearer(s, d.run).Run
		if w == nil {
			continue
		}
		if w.Screening != (wire.Screening{}) || w.Dose != nil || w.Initial != nil || len(w.TopUps) > 0 || len(w.SqueezesMS) > 0 ||
			len(w.Notes) > 0 || len(w.Faults) > 0 || w.Verdict != nil || w.Ending || w.Blocked != "" {
			t.Fatalf("a wearer is shown %+v", w)
		}
	}
	// The wearer's view is the same whatever was counted or decided.
	other := last
	run := *last.Run
	other.Run = &run
	run.Screening.Squeezes, run.Verdict, run.Wearer, run.SqueezesMS = 29, &wire.Verdict{Outcome: procedure.Pass}, "Somebody Else", nil
	run.Initial, run.TopUps, run.Dose = nil, nil, nil
	a, _ := json.Marshal(wire.ForWearer(answered(last), d.run))
	b, _ := json.Marshal(wire.ForWearer(answered(other), d.run))
	if string(a) != string(b) {
		t.Errorf("counts and verdict shine through to the wearer:\n%s\n%s", a, b)
	}
	if full, _ := json.Marshal(wire.ForRole(last, wire.Tester)); !strings.Contains(string(full), "Ilse Brandvold") {
		t.Error("the tester is not shown who is tested")
	}
}

// answered is a snapshot after the wearer has said that the name is right.
func answered(s wire.Snapshot) wire.Snapshot {
	if s.Run != nil {
		run := *s.Run
		run.NameSaid = "yes"
		s.Run = &run
	}
	return s
}

func TestAnyoneStops(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		what   string
		role   wire.Role
		do     procedure.Verb
		reason procedure.Reason // empty: refused
	}{
		{"a watching tester stops for the person", wire.Tester, procedure.DoWelfare, procedure.StoppedForWelfare},
		{"a trainer stops for the person", wire.Trainer, procedure.DoWelfare, procedure.StoppedForWelfare},
		{"the wearer's page stops for the person", wire.Wearer, procedure.DoWelfare, procedure.StoppedForWelfare},
		{"a trainer sees the hood come off", wire.Trainer, procedure.DoHoodOff, procedure.HoodOff},
		{"the wearer's page says nothing of the hood", wire.Wearer, procedure.DoHoodOff, ""},
		{"a trainer sets no bin", wire.Trainer, procedure.DoSaidAloud, ""},
		{"a trainer corrects nothing", wire.Trainer, procedure.DoCorrect, ""},
	} {
		d := newDeskOn(t, newStillClock(), nil)
		d.open()
		d.must(wire.Command{Do: string(procedure.DoGoOn)})
		d.stage(procedure.Screening)
		why := d.askAs("page 9", c.role, wire.Command{Do: string(c.do)})
		if c.reason == "" {
			if why != "not_allowed" {
				t.Errorf("%s: %q, want not_allowed", c.what, why)
			}
			d.stage(procedure.Screening)
			continue
		}
		if why != "" {
			t.Errorf("%s: refused, %s", c.what, why)
			continue
		}
		if s := d.until("the verdict", verdict); s.Run.Verdict.Outcome != procedure.NotValid || s.Run.Verdict.Reason != c.reason {
			t.Errorf("%s: %+v", c.what, s.Run.Verdict)
		}
	}
}
