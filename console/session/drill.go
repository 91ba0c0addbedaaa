// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"errors"
	"slices"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device"
)

// An Actor is the simulated wearer of a drill. Its methods are called by the
// loop and must not wait.
type Actor interface {
	// Next is the instant (session clock) at which it does something next, as
	// things stand; ok is false when it waits for something.
	Next(st procedure.State) (at time.Duration, ok bool)
	// Act gives what it does up to now, oldest first. It is called after every
	// change of the state and at Next.
	Act(st procedure.State, now time.Duration) []Deed
}

// An Asker is an Actor that says what it waits for.
type Asker interface {
	Asks(st procedure.State) string
}

// A Deed is what a simulated wearer does at an instant of the session's clock.
type Deed struct {
	At time.Duration
	// What is press or release of the button, cable_out or cable_in, or the key
	// of what a tester sees and hears.
	What string
	Text string
}

// The deeds that are contacts.
const (
	DeedPress    = "press"
	DeedRelease  = "release"
	DeedCableOut = "cable_out"
	DeedCableIn  = "cable_in"
)

// A DrillBound is whom and what a drill is about: invented.
type DrillBound struct {
	Wearer    procedure.Wearer
	Facepiece procedure.Facepiece
	Language  string // of the wearer; may be empty
}

// drillLines are the contacts of a drill: the pedals are the board's, the
// button is the simulated wearer's, always a changeover pair.
var drillLines = []device.Line{device.Squeeze, device.Step, device.TasteNO, device.TasteNC}

func isButton(l device.Line) bool {
	return l == device.Taste || l == device.TasteNO || l == device.TasteNC
}

// A simButton is the button of a simulated wearer.
type simButton struct{ down, out bool }

func (b simButton) levels() (no, nc bool) { return b.down && !b.out, !b.down && !b.out }

// mostDeeds bounds what an actor may do at one go, so that a bad one cannot
// hold the loop.
const mostDeeds = 256

// perform lets the simulated wearer of a run act up to an instant, and brings the
// run there.
func (s *Session) perform(r *openRun, to time.Duration) {
	if r.actor == nil || r.engine.State().Parked {
		return
	}
	for range mostDeeds {
		at, ok := r.actor.Next(r.engine.State())
		if !ok || at > to {
			break
		}
		at = max(at, r.engine.Now())
		r.engine.Advance(at)
		if !r.deeds(at) {
			break
		}
	}
	r.engine.Advance(max(to, r.engine.Now()))
	r.deeds(r.engine.Now())
}

// deeds takes what the simulated wearer does up to an instant.
func (r *openRun) deeds(now time.Duration) (any bool) {
	for _, d := range r.actor.Act(r.engine.State(), now) {
		any = true
		at := min(max(d.At, r.engine.Now()), now)
		switch d.What {
		case DeedPress, DeedRelease:
			r.button.down = d.What == DeedPress
		case DeedCableOut, DeedCableIn:
			r.button.out = d.What == DeedCableOut
		default:
			r.say(procedure.Input{At: at, Do: procedure.DoWearerDid, Source: d.What, Detail: d.Text})
			continue
		}
		no, nc := r.button.levels()
		for _, e := range []device.Edge{{At: at, Line: device.TasteNC, Closed: nc}, {At: at, Line: device.TasteNO, Closed: no}} {
			if r.engine.levels[e.Line] != e.Closed {
				r.hand(e)
			}
		}
	}
	return any
}

// lookUpDrill makes the simulated wearer that is asked for.
func (s *Session) lookUpDrill(ctx context.Context, o wire.Open) (a asked, err error) {
	d := *o.Drill
	long := func(x string) bool { return len(x) > 60 }
	switch {
	case s.cfg.Drill == nil:
		return a, Refusal{"not_allowed"}
	case long(d.Seed) || long(d.Level) || len(d.Troubles) > 20 || slices.ContainsFunc(d.Troubles, long):
		return a, Refusal{"unknown"}
	}
	actor, b, err := s.cfg.Drill(d)
	if err != nil {
		return a, err
	}
	if actor == nil {
		return a, errors.New("a drill without a simulated wearer")
	}
	a.actor, a.bound = actor, Bound{Wearer: b.Wearer, Facepiece: b.Facepiece, Language: b.Language}
	if o.Facepiece != "" && o.Facepiece != "drill" {
		a.bound.Facepiece, err = s.cfg.Register.Facepiece(ctx, o.Facepiece, o.Rules)
	}
	return a, err
}
