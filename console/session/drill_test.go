// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"errors"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/store/memory"
)

// A puppet is a simulated wearer that does one thing in each stage.
type puppet struct {
	in    map[procedure.Stage][]session.Deed // At: after the stage began
	stage procedure.Stage
	since time.Duration
	left  []session.Deed
}

func (p *puppet) see(st procedure.State) {
	if st.Stage != p.stage || st.Since != p.since {
		p.stage, p.since = st.Stage, st.Since
		p.left = p.in[st.Stage]
	}
}

func (p *puppet) Next(st procedure.State) (time.Duration, bool) {
	p.see(st)
	if len(p.left) == 0 || st.Stage == procedure.Screening && len(st.Screening) < 3 {
		return 0, false
	}
	return p.since + p.left[0].At, true
}

func (p *puppet) Act(st procedure.State, now time.Duration) (out []session.Deed) {
	for at, ok := p.Next(st); ok && at <= now; at, ok = p.Next(st) {
		d := p.left[0]
		p.left, d.At = p.left[1:], at
		out = append(out, d)
	}
	return out
}

func (p *puppet) Asks(st procedure.State) string {
	if st.Stage == procedure.Ready {
		return "begin"
	}
	return ""
}

func after(s float64, what string) session.Deed {
	return session.Deed{At: time.Duration(s * float64(time.Second)), What: what}
}

// A drill is driven by the board's pedals and the simulated wearer's button, on
// the way that a test goes, to each kind of end; whatever it comes to is
// practice, also on a box whose tests are real. The taste lines of the board
// mean nothing to it.
func TestDrill(t *testing.T) {
	t.Parallel()
	tastes := []session.Deed{after(3, "press")}
	lets := []session.Deed{after(0.4, "release"), after(0.5, "says_taste")}
	for name, c := range map[string]struct {
		fit     []session.Deed
		top     bool
		outcome procedure.Outcome
		reason  procedure.Reason
	}{
		"to a pass":      {nil, true, procedure.Pass, ""},
		"to a fail":      {[]session.Deed{after(5, "says_taste"), after(5.5, "press")}, false, procedure.Fail, procedure.Tasted},
		"to a cable out": {[]session.Deed{after(5, "cable_out"), after(8, "cable_in")}, false, procedure.NotValid, procedure.CableOpen},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			j := memory.New()
			asked := make(chan wire.DrillAsk, 1)
			d := newDeskOn(t, newStillClock(), j, func(cfg *session.Config) {
				cfg.Rules["us-osha"] = quickRules(t, 15)
				cfg.Practice = "" // a box whose tests are real
				cfg.Drill = func(a wire.DrillAsk) (session.Actor, session.DrillBound, error) {
					if a.Level == "odd" {
						return nil, session.DrillBound{}, errors.New("there is no such level")
					}
					asked <- a
					return &puppet{in: map[procedure.Stage][]session.Deed{procedure.Screening: tastes, procedure.Clearing: lets, procedure.Running: c.fit}},
						session.DrillBound{Wearer: procedure.Wearer{ID: "drill-1", Name: "Wilm Tarrant"}, Facepiece: procedure.Facepiece{ID: "drill", Make: "Fellside", Model: "Corrie", Size: "small"}, Language: "ro"}, nil
				}
			})
			d.fence = d.lease("page 1")
			o := wire.Open{Facepiece: "drill", Rules: "us-osha", Agent: "bitter", Tester: "Agnes Thorley", Drill: &wire.DrillAsk{Seed: "s1", Level: "odd", Troubles: []string{}}}
			if why := d.ask(wire.Command{Do: "open", Open: &o}); why != "unknown" {
				t.Errorf("an odd drill: %q", why)
			}
			o.Drill = &wire.DrillAsk{Seed: "s1", Level: "plain", Troubles: []string{"forgets"}}
			d.must(wire.Command{Do: "open", Open: &o})
			if a := <-asked; a.Seed != "s1" || a.Level != "plain" {
				t.Errorf("asked for %+v", a)
			}
			d.run = d.ses.OpenRun()
			s := d.stage(procedure.Ready)
			if s.Practice != "drill" || s.Run.Practice != "drill" || s.Run.Drill == nil || s.Run.Drill.Asks != "begin" || s.Run.Wearer != "Wilm Tarrant" || s.Run.WearerLanguage != "ro" {
				t.Errorf("the page shows %+v of %q", s.Run, s.Practice)
			}
			for _, q := range d.rules.Before {
				d.say(procedure.DoAnswer, procedure.Input{Question: q.ID, Yes: true})
			}
			d.say(procedure.DoAbstained, procedure.Input{For: time.Hour})
			d.say(procedure.DoGoOn, procedure.Input{})
			d.stage(procedure.Screening)
			d.press(device.Squeeze, 3)
			d.stage(procedure.Clearing)
			d.press(device.Step, 1)
			d.stage(procedure.Donning)
			d.press(device.Taste, 2) // the button of the board is nobody's
			d.wait(6 * time.Second)
			d.say(procedure.DoGoOn, procedure.Input{})
			d.stage(procedure.Dosing)
			d.press(device.Taste, 1)
			d.dose(10)
			if c.top {
				d.topUps(0)
			}
			s = d.until("a verdict", verdict)
			if v := s.Run.Verdict; v.Outcome != c.outcome || v.Reason != c.reason {
				t.Errorf("it ended as %+v", v)
			}
			if s.Practice != "drill" || len(s.Run.Drill.Said) == 0 || s.Run.Drill.Said[0].What != "says_taste" {
				t.Errorf("at the end: practice %q, said %+v", s.Practice, s.Run.Drill.Said)
			}
			st, err := archive.State(t.Context(), j, d.run)
			if err != nil {
				t.Fatal(err)
			}
			if st.Opened.Practice != "drill" || st.Opened.Drill == nil || st.Opened.Drill.Seed != "s1" || len(st.Did) == 0 {
				t.Errorf("the journal has practice %q, drill %+v, %d deeds", st.Opened.Practice, st.Opened.Drill, len(st.Did))
			}
		})
	}
	t.Run("not here", func(t *testing.T) {
		t.Parallel()
		d := newDeskOn(t, newStillClock(), nil)
		d.fence = d.lease("page 1")
		if why := d.ask(wire.Command{Do: "open", Open: &wire.Open{Rules: "us-osha", Agent: "bitter", Tester: "A", Drill: &wire.DrillAsk{}}}); why != "not_allowed" {
			t.Errorf("a drill where there are none: %q", why)
		}
	})
}
