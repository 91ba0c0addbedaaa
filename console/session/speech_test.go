// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"cmp"
	"slices"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
)

// words are the spoken cues in the order of their instants.
func (e *ear) words() []audio.Placed {
	e.mu.Lock()
	defer e.mu.Unlock()
	var out []audio.Placed
	for _, p := range e.placed {
		if p.Cue.Spoken() {
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b audio.Placed) int { return cmp.Compare(a.At, b.At) })
	return out
}

// phrase is how long a voice takes: names of exercises come in two languages.
func phrase(c audio.Cue) time.Duration {
	if slices.Contains(audio.SpokenExercises(), c) {
		return 3200 * time.Millisecond
	}
	return 1300 * time.Millisecond
}

// A whole run is spoken: each exercise by its name, each top-up by what is left
// of it, and no phrase begins before the one before it can be over.
func TestARunIsSpoken(t *testing.T) {
	d := newDeskOn(t, newLongClock(), nil, func(c *session.Config) { c.Phrase = phrase })
	d.open()
	d.toDosing()
	d.dose(10)
	for n := 1; n <= d.rules.TopUps(); n++ {
		due := d.rules.Due(n) + time.Second // who is early needs no word
		d.until("a top-up due", func(s wire.Snapshot) bool {
			return s.Run.RunMS != nil && time.Duration(*s.Run.RunMS)*time.Millisecond >= due
		})
		d.press(device.Squeeze, d.rules.BinOf(3).TopUp)
	}
	d.until("a pass", verdict)
	d.until("the word", func(wire.Snapshot) bool { return len(d.heard.at(audio.SayPassed)) == 1 })
	words := d.heard.words()
	var names []audio.Cue
	due := 0
	for i, w := range words {
		if slices.Contains(audio.SpokenExercises(), w.Cue) {
			names = append(names, w.Cue)
		}
		if w.Cue == audio.SaySqueezes5 {
			due++
		}
		if i > 0 && w.At-words[i-1].At < phrase(words[i-1].Cue) {
			t.Errorf("%s begins %v after %s", w.Cue, w.At-words[i-1].At, words[i-1].Cue)
		}
	}
	if !slices.Equal(names, audio.SpokenExercises()) || due != 13 || len(d.heard.at(audio.SaySqueezes10)) != 1 {
		t.Errorf("%d top-ups and the exercises %v; the words %v", due, names, words)
	}
	for i, at := range d.heard.at(audio.ExerciseChange) {
		c, _ := audio.SayExercise(d.rules.Exercises[i+1].ID)
		if spoken := d.heard.at(c); len(spoken) != 1 || spoken[0]-at != 950*time.Millisecond {
			t.Errorf("%s is spoken at %v, the tone is at %v", c, spoken, at)
		}
	}
}

// A dose that is left too late is called, then called to be finished, each once,
// and its end is said.
func TestALateTopUpIsCalled(t *testing.T) {
	if testing.Short() {
		t.Skip("only when asked: most of a run (not with -short)")
	}
	d := newDeskOn(t, newLongClock(), nil)
	d.open()
	d.toDosing()
	d.dose(10)
	s := d.until("a verdict", verdict)
	if s.Run.Verdict.Reason != procedure.TopUpShort {
		t.Fatalf("verdict %+v", s.Run.Verdict)
	}
	late := d.heard.at(audio.SayTopUpLate)
	if len(late) != 1 {
		t.Fatalf("called late at %v", late)
	}
	due := d.heard.at(audio.TopUpDue)[0]
	if after := late[0] - due; after < 10*time.Second || after > 14*time.Second {
		t.Errorf("called late %v after it was due", after)
	}
	if finish := d.heard.at(audio.SayFinishDose); len(finish) != 1 || finish[0]-due < 17*time.Second || finish[0]-due > 24*time.Second {
		t.Errorf("called to be finished at %v, due at %v", finish, due)
	}
	if len(d.heard.at(audio.SayNotValid)) != 1 || len(d.heard.at(audio.SayTopUpMissed)) != 1 || len(d.heard.at(audio.SayPassed)) != 0 {
		t.Errorf("the end is spoken as %v", d.heard.words())
	}
}
