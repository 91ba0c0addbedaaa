// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"encoding/json"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/review"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/store/memory"
)

// The review of a run that was driven live shows what was published then. A
// page is told of a contact once it has proven itself, so that the review may be
// ahead of it by so much.
func TestAReviewShowsWhatWasPublished(t *testing.T) {
	t.Parallel()
	j := memory.New()
	d := newDeskOn(t, newLongClock(), j)
	d.open()
	d.toDosing()
	d.press(device.Squeeze, 6)
	d.say(procedure.DoCorrect, procedure.Input{Delta: -1, Reason: "Counted twice", By: "Agnes Thorley"})
	d.dose(10)
	d.wait(40 * time.Second)
	d.press(device.Squeeze, 3)
	d.press(device.Step, 1)
	d.say(procedure.DoSaidAloud, procedure.Input{By: "Agnes Thorley"})
	d.until("a verdict", verdict)
	d.stop()

	facts, last, err := archive.Facts(t.Context(), j, nil, d.run)
	if err != nil {
		t.Fatal(err)
	}
	s, err := review.Of(facts, string(last.Hash[:4]))
	if err != nil {
		t.Fatal(err)
	}
	began := map[procedure.Stage]int64{}
	for _, x := range s.Stages {
		began[x.Stage] = x.AtMS
	}
	looked, stages := 0, map[procedure.Stage]bool{}
	for _, snap := range d.snapshots() {
		if snap.Run == nil || snap.Run.Ending {
			continue // the review has what is on disk
		}
		run := *snap.Run
		at := began[run.Stage] + run.StageMS
		want := still(t, run)
		same := false
		for behind := int64(0); behind <= 200 && !same; behind++ {
			x := s.At(at - behind)
			same = still(t, x) == want && (run.RunMS == nil || *run.RunMS-*x.RunMS-behind <= 1 || !run.Ticking)
		}
		if !same {
			t.Fatalf("at %d ms\npublished %s\nreview    %s", at, want, still(t, s.At(at)))
		}
		looked++
		stages[run.Stage] = true
	}
	if looked < 60 || len(stages) < 6 {
		t.Errorf("only %d snapshots of %d stages were compared", looked, len(stages))
	}
	if s.Outcome != procedure.Fail || s.Frames[len(s.Frames)-1].Run.Verdict == nil {
		t.Errorf("the review ends with %s", s.Outcome)
	}
}

// still is a run without what moves on by itself, and without what the box alone
// knows while it is open.
func still(t *testing.T, r wire.Run) string {
	t.Helper()
	r.StageMS, r.WaitMS, r.RunMS = 0, 0, nil
	r.Code, r.Paired, r.WearerLanguage = "", 0, ""
	notes := []wire.Note{}
	for _, n := range r.Notes {
		n.AgoMS = 0
		notes = append(notes, n)
	}
	r.Notes = notes
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
