// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"slices"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
)

// While the store's file is written anew no run is opened, and that does not begin
// while a run is under way or shows the name of somebody whom it is about.
func TestHold(t *testing.T) {
	t.Parallel()
	d := newDeskOn(t, newStillClock(), nil)
	held := func(want string, people ...string) func() {
		t.Helper()
		release, why := d.ses.Hold(t.Context(), people...)
		if why != want {
			t.Fatalf("held with %q, want %q", why, want)
		}
		return release
	}
	one, two := held(""), held("", "hs-014")
	d.fence = d.lease("page 1")
	refused := func() {
		t.Helper()
		if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "held" || !slices.Contains(wire.Refusals, why) {
			t.Fatalf("a run was opened while that is held: %q", why)
		}
	}
	refused()
	one()
	refused() // the other goes on
	two()
	d.open()
	held("run_open")()
	if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "run_open" {
		t.Errorf("a second run: %q", why)
	}
	d.say(procedure.DoAbandon, procedure.Input{Reason: "called away"})
	d.until("a verdict", verdict)
	d.until("it on disk", func(s wire.Snapshot) bool { return s.Run != nil && s.LagMS == 0 && len(d.ses.Open()) == 0 })
	held(session.HoldShown, "hs-022", "hs-014")()
	held("", "hs-022")()
	d.must(wire.Command{Do: "close"})
	held("", "hs-014")()
	d.stop()
	held("", "hs-014")() // nothing opens a run any more
}

// A waiting learner waits for a press that does not come, and tells when it left.
type waitingLearner struct{ left chan struct{} }

func (w waitingLearner) Learn(ctx context.Context, _ device.Line) (string, error) {
	defer close(w.left)
	<-ctx.Done()
	return "", ctx.Err()
}

// The end of the daemon does not leave a pedal's learning behind, which would
// write its file after everything is closed.
func TestTheEndGivesUpLearning(t *testing.T) {
	left := make(chan struct{})
	d := newDeskOn(t, newLongClock(), nil, func(c *session.Config) { c.Learner = waitingLearner{left} })
	d.fence = d.lease("page 1")
	d.must(wire.Command{Do: "learn", Line: "squeeze"})
	d.stop()
	select {
	case <-left:
	default:
		t.Error("the session has ended and the learning has not")
	}
}
