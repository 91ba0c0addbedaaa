// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"slices"
	"sync"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
)

// A twin is what a page can show while a cue sounds: was is the snapshot before,
// s one within 50 ms.
type twin func(was, s wire.Snapshot) bool

func onRun(f func(was, s *wire.Run) bool) twin {
	return func(was, s wire.Snapshot) bool { return was.Run != nil && s.Run != nil && f(was.Run, s.Run) }
}

func left(n int) twin {
	return onRun(func(_, r *wire.Run) bool { return open(r) != nil && open(r).Required-open(r).Given <= n })
}

// open is the dose that counts.
func open(r *wire.Run) *wire.Dose {
	if r.Dose != nil {
		return r.Dose
	}
	return r.Initial
}

func ended(o procedure.Outcome) twin {
	return onRun(func(_, r *wire.Run) bool { return r.Verdict != nil && r.Verdict.Outcome == o || r.Ending })
}

func stage(want procedure.Stage) twin {
	return onRun(func(_, r *wire.Run) bool { return r.Stage == want })
}

var (
	isDue   = onRun(func(_, r *wire.Run) bool { return open(r) != nil && open(r).Given < open(r).Required })
	runsOn  = onRun(func(_, r *wire.Run) bool { return r.Ticking && r.RunMS != nil && r.ExerciseMS > 0 })
	inFault = twin(func(_, s wire.Snapshot) bool {
		return s.Inputs.Cable != "" || s.Run != nil && (len(s.Run.Faults) > 0 || s.Run.Verdict != nil || s.Run.Ending)
	})
)

// twins has every cue, tone or words, with what stands on the screen meanwhile.
var twins = func() map[audio.Cue]twin {
	m := map[audio.Cue]twin{
		audio.SqueezeCounted: onRun(func(was, r *wire.Run) bool {
			return r.Screening.Counted > was.Screening.Counted || open(r) != nil && open(was) != nil && open(r).Given > open(was).Given
		}),
		audio.TopUpDue:       isDue,
		audio.DoseDone:       onRun(func(_, r *wire.Run) bool { return open(r) != nil && open(r).Given == open(r).Required }),
		audio.ExerciseChange: onRun(func(was, r *wire.Run) bool { return r.Exercise > was.Exercise }),
		audio.FiveSeconds:    runsOn, // the time left of the exercise
		audio.Tick:           runsOn,
		audio.Count5:         left(5), audio.Count4: left(4), audio.Count3: left(3), audio.Count2: left(2), audio.Count1: left(1),
		audio.Reported: onRun(func(_, r *wire.Run) bool { return r.Screening.Bin > 0 }),
		audio.Stop:     ended(procedure.Fail),
		audio.NotValid: ended(procedure.NotValid),
		audio.Pass:     ended(procedure.Pass),
		audio.Fault:    inFault,
		audio.GoOn:     onRun(func(was, r *wire.Run) bool { return r.Stage != was.Stage }),
		audio.Refused:  onRun(func(_, r *wire.Run) bool { return len(r.Notes) > 0 }),

		audio.SaySqueezes5: isDue, audio.SaySqueezes10: isDue, audio.SaySqueezes15: isDue, audio.SaySqueezes20: isDue, audio.SaySqueezes30: isDue,
		audio.SayTopUpLate: isDue, audio.SayFinishDose: isDue,
		audio.SayTopUpMissed:   ended(procedure.NotValid),
		audio.SayPressOnceMore: stage(procedure.ProvingButton),
		audio.SayStop:          ended(procedure.Fail), audio.SayNotValid: ended(procedure.NotValid), audio.SayPassed: ended(procedure.Pass),
		audio.SayButtonFault: inFault, audio.SayLook: inFault,
		audio.SaySoundBack: func(_, s wire.Snapshot) bool { return s.Sound == "" },
		audio.SayParkedReady: func(_, s wire.Snapshot) bool {
			return slices.ContainsFunc(s.Parked, func(r wire.Run) bool { return r.NeedMS > 0 && r.WaitMS == 0 })
		},
	}
	for i, c := range audio.SpokenExercises() {
		m[c] = onRun(func(_, r *wire.Run) bool { return r.Exercise == i && r.Ticking })
	}
	return m
}()

// A witness keeps what was played and what was published, in their order.
type witness struct {
	audio.Player
	now func() time.Duration

	mu     sync.Mutex
	events []event
}

type event struct {
	at   time.Duration // when it was known
	cue  audio.Placed
	snap *wire.Snapshot
}

func (w *witness) Play(p audio.Placed) {
	w.mu.Lock()
	w.events = append(w.events, event{at: w.now(), cue: p})
	w.mu.Unlock()
	w.Player.Play(p)
}

func (w *witness) Drop(from time.Duration) {
	w.mu.Lock()
	w.events = slices.DeleteFunc(w.events, func(e event) bool { return e.snap == nil && e.cue.At >= from })
	w.mu.Unlock()
	w.Player.Drop(from)
}

// Nothing is only heard: whatever sounds is on the screen within 50 ms, so a box
// that is muted, or has no loudspeaker, says all of it.
func TestEveryCueHasATwin(t *testing.T) {
	for _, c := range append(audio.Cues(), audio.SpokenCues()...) {
		if twins[c] == nil {
			t.Errorf("%s has no twin", c)
		}
	}
	if testing.Short() {
		return // what follows are whole runs, and the loop in them is watched elsewhere
	}
	heard := map[audio.Cue]int{}
	for name, drive := range map[string]func(d *desk){
		"pass": func(d *desk) {
			d.toDosing()
			d.dose(10)
			d.topUps(0)
			d.until("a pass", verdict)
			d.until("the word", func(wire.Snapshot) bool { return len(d.heard.at(audio.SayPassed)) == 1 })
		},
		"tasted": func(d *desk) {
			d.toDosing()
			d.press(device.Step, 1) // refused: the dose is not given
			d.press(device.Squeeze, 2)
			d.press(device.Taste, 1)
			d.until("a fail", verdict)
		},
		"top-up missed": func(d *desk) {
			d.toDosing()
			d.dose(10)
			d.until("a verdict", verdict)
		},
		"cable": func(d *desk) {
			d.toDosing()
			if err := d.board.Set(device.TasteNC, false); err != nil {
				t.Fatal(err)
			}
			d.until("a verdict", verdict)
		},
	} {
		t.Run(name, func(t *testing.T) {
			w := &witness{}
			d := newDeskOn(t, newLongClock(), nil, func(c *session.Config) {
				w.Player, w.now = c.Player, c.Clock.Now
				publish := c.Publish
				c.Player, c.Phrase = w, func(audio.Cue) time.Duration { return 1200 * time.Millisecond }
				c.Publish = func(s wire.Snapshot) {
					w.mu.Lock()
					w.events = append(w.events, event{at: w.now(), snap: &s})
					w.mu.Unlock()
					publish(s)
				}
			})
			d.open()
			drive(d)
			d.wait(3 * time.Second)
			d.stop()
			was := wire.Snapshot{}
			for i, e := range w.events {
				if e.snap != nil {
					was = *e.snap
					continue
				}
				heard[e.cue.Cue]++
				from := max(e.at, e.cue.At)
				shown, later := false, false
				before := was
				for _, s := range w.events[i+1:] {
					if s.snap == nil {
						continue
					}
					if e.cue.At > e.at && s.at < e.cue.At {
						// It is yet to sound; what is on the screen then is the newest before it.
						before = *s.snap
						shown = twins[e.cue.Cue](before, before)
						continue
					}
					later = true
					if shown = shown || twins[e.cue.Cue](before, *s.snap); shown || s.at > from+50*time.Millisecond {
						break
					}
				}
				if later && !shown {
					t.Errorf("%s at %v is not on the screen within 50 ms", e.cue.Cue, e.cue.At)
				}
			}
		})
	}
	for _, c := range audio.Cues() {
		if heard[c] == 0 {
			t.Errorf("%s was never heard: its twin is not proven", c)
		}
	}
	t.Logf("proven: %v", heard)
}
