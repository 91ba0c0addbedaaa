// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"os"
	"path/filepath"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device/capture"
	"tallyhood/store/memory"
)

// A pass that did not last is none in the replay of its capture either.
func TestCaptureOfAPassThatDidNotLast(t *testing.T) {
	for name, c := range map[string]struct {
		drive  func(d *desk, l *liar)
		reason procedure.Reason // empty: the pass stands
	}{
		"the proof was not tasted": {func(d *desk, _ *liar) {
			d.topUps(0)
			d.until("a verdict", verdict)
			d.say(procedure.DoBeginProof, procedure.Input{})
			d.say(procedure.DoProofNothing, procedure.Input{By: "Agnes Thorley"})
		}, procedure.MistCheckFailed},
		"the journal failed": {func(d *desk, l *liar) {
			l.writesEnd.Store(true)
			d.topUps(0)
		}, procedure.JournalFailed},
		"it lasted": {func(d *desk, _ *liar) {
			d.topUps(0)
			d.until("a verdict", verdict)
			d.must(wire.Command{Do: "close"})
		}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			file := filepath.Join(t.TempDir(), "run.vcd")
			l := &liar{Journal: memory.New()}
			d := newDeskOn(t, newStillClock(), l, func(cfg *session.Config) {
				cfg.Rules["us-osha"], cfg.Capture = quickRules(t, 15), file
			})
			toRunning(d)
			c.drive(d, l)
			want := procedure.Pass
			if c.reason != "" {
				want = procedure.NotValid
				d.until("not valid", func(s wire.Snapshot) bool { return verdict(s) && s.Run.Verdict.Outcome == want })
			}
			d.stop()
			f, err := os.Open(file)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			r, err := capture.Open(f, capture.Options{})
			if err != nil {
				t.Fatal(err)
			}
			got, err := session.Replay(r, procedure.RunOpened{Run: d.run, Rules: quickRules(t, 15), Agent: "bitter"})
			if err != nil {
				t.Fatal(err)
			}
			if v := got.State.Verdict; v.Outcome != want || v.Reason != c.reason {
				t.Errorf("the replay says %s %s, the page said %s %s", v.Outcome, v.Reason, want, c.reason)
			}
		})
	}
}
