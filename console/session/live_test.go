// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/capture"
	"tallyhood/store/memory"
)

// A run that was driven by contacts and a page gives the same record from the
// journal and from the replay of its capture.
func TestCaptureOfALiveRunGivesTheSameRecord(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name    string
		outcome procedure.Outcome
		reason  procedure.Reason
		notes   []procedure.Verb // that the capture has to hold
		drive   func(*desk)
	}{
		{"pass", procedure.Pass, "", []procedure.Verb{procedure.DoGoOn, procedure.DoCorrect, procedure.DoAnswer}, func(d *desk) {
			d.give(9)
			d.say(procedure.DoCorrect, procedure.Input{Delta: 1, Reason: "the pedal $end slipped", By: "Agnes Thorley"})
			d.stage(procedure.Running)
			d.topUps(2)
		}},
		{"said aloud", procedure.Fail, procedure.Tasted, []procedure.Verb{procedure.DoSaidAloud}, func(d *desk) {
			d.dose(10)
			d.wait(7 * time.Second)
			d.press(device.Squeeze, 1)
			d.say(procedure.DoSaidAloud, procedure.Input{By: "Agnes Thorley"})
		}},
		{"hood off", procedure.NotValid, procedure.HoodOff, []procedure.Verb{procedure.DoHoodOff}, func(d *desk) {
			d.press(device.Squeeze, 4)
			d.say(procedure.DoHoodOff, procedure.Input{By: "Agnes Thorley"})
		}},
		{"button", procedure.Fail, procedure.TastedBeforeClock, nil, func(d *desk) {
			d.press(device.Squeeze, 4)
			d.press(device.Taste, 1)
		}},
	}
	for _, speed := range []float64{20, 50} {
		for _, c := range cases {
			t.Run(fmt.Sprintf("%s at %g", c.name, speed), func(t *testing.T) {
				t.Parallel()
				// On a busy machine a squeeze may come after its window; such a
				// run is not valid, has the same record from its capture, and is
				// run anew.
				for last := 5; ; last-- {
					st, shown := liveAndAgain(t, speed, c.notes, c.drive)
					v := *st.Verdict
					if shown != v.Outcome {
						t.Errorf("the page showed %s, the journal %s", shown, v.Outcome)
					}
					if v.Outcome == c.outcome && v.Reason == c.reason {
						return
					}
					if v.Outcome != procedure.NotValid || last == 1 {
						t.Fatalf("the run ended as %s %s, want %s %s\n%s", v.Outcome, v.Reason, c.outcome, c.reason, recordJSON(t, st))
					}
					t.Logf("not valid, %s: once more", v.Reason)
				}
			})
		}
	}
}

// liveAndAgain drives a run, and has the replay of its capture give the record
// that the journal gives. It returns the journal's run and the outcome that the
// page showed.
func liveAndAgain(t *testing.T, speed float64, notes []procedure.Verb, drive func(*desk)) (procedure.State, procedure.Outcome) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "run.vcd")
	j := memory.New()
	d := newDesk(t, speed, j, func(cfg *session.Config) {
		cfg.Grace = 60 * time.Millisecond // for a machine with other work
		cfg.Capture = file
		cfg.Rules["us-osha"] = quickRules(t, 30) // a whole run would take too long for a test
	})
	d.open()
	d.toDosing()
	drive(d)
	shown := d.until("a verdict", verdict)
	d.stop() // the capture is whole when the session has ended

	st, err := archive.State(t.Context(), j, d.run)
	if err != nil {
		t.Fatal(err)
	}
	text := replays(t, file, st)
	for _, v := range notes {
		if !strings.Contains(text, fmt.Sprintf("%q:%q", "do", v)) {
			t.Errorf("the capture does not hold the command %s", v)
		}
	}
	return st, shown.Run.Verdict.Outcome
}

// replays has the replay of a capture give the record of a live run, and returns
// the capture.
func replays(t *testing.T, file string, live procedure.State) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	r, err := capture.Open(strings.NewReader(string(text)), capture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	again, err := session.Replay(r, *live.Opened)
	if err != nil {
		t.Fatal(err)
	}
	if want, got := recordJSON(t, live), recordJSON(t, again.State); got != want {
		t.Errorf("the replay of %s differs\nlive   %s\nreplay %s", filepath.Base(file), want, got)
	}
	return string(text)
}

func recordJSON(t *testing.T, st procedure.State) string {
	t.Helper()
	r, err := record.Of(st)
	if err != nil {
		t.Fatal(err)
	}
	b, err := r.JSON()
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A session that ends in the middle of a run says so in the journal.
func TestStopInARunIsInterrupted(t *testing.T) {
	t.Parallel()
	j := memory.New()
	d := newDeskOn(t, newStillClock(), j)
	d.open()
	d.toDosing()
	d.stop()
	st, err := archive.State(t.Context(), j, d.run)
	if err != nil {
		t.Fatal(err)
	}
	if st.Verdict == nil || st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != procedure.Interrupted {
		t.Errorf("the verdict is %+v, want not valid, interrupted", st.Verdict)
	}
	// Nobody is left to answer, and nobody may wait for an answer.
	if why := d.ask(wire.Command{Do: "take_lease"}); why != "stale" {
		t.Errorf("a command after the end: %q, want stale", why)
	}
}

// A run that a journal holds open was cut off: it ends as power lost and is
// never gone on with; runs that had ended stay as they are.
func TestOpenRunIsClosedAtTheStart(t *testing.T) {
	t.Parallel()
	j := memory.New()
	d := newDeskOn(t, newStillClock(), j)
	d.open()
	d.toDosing()
	d.until("all saved", func(s wire.Snapshot) bool { return s.LagMS == 0 && s.Run.Stage == procedure.Dosing })
	cut := j.Reopen() // what a card holds when the power goes; the session writes no more
	before, _ := cut.Last()
	if before == 0 {
		t.Fatal("nothing was written")
	}
	d2 := newDeskOn(t, newStillClock(), cut)
	s := d2.until("a first snapshot", func(wire.Snapshot) bool { return true })
	if s.Run != nil {
		t.Errorf("the run was gone on with: %+v", s.Run)
	}
	st, err := archive.State(t.Context(), cut, d.run)
	if err != nil {
		t.Fatal(err)
	}
	if st.Verdict == nil || st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != procedure.PowerLost {
		t.Errorf("the verdict is %+v, want not valid, power lost", st.Verdict)
	}
	last, _ := cut.Last()
	if err := session.CloseOpenRuns(t.Context(), cut); err != nil {
		t.Fatal(err)
	}
	if again, _ := cut.Last(); again != last || last != before+1 {
		t.Errorf("entries: %d before, %d after the start, %d after a second look", before, last, again)
	}
}
