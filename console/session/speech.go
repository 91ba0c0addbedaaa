// SPDX-License-Identifier: Apache-2.0

package session

import (
	"strings"
	"time"

	"tallyhood/audio"
	"tallyhood/console/procedure"
)

// Words follow the tone that calls for attention, once it is over, and one
// phrase follows another.
const (
	afterDue    = 450 * time.Millisecond // the tones last 0.37 s,
	afterStep   = 300 * time.Millisecond // 0.13 s,
	afterChange = 950 * time.Millisecond // 0.6 s, and a call for squeezes behind it,
	afterEnd    = 950 * time.Millisecond // and up to 0.84 s
	pause       = 150 * time.Millisecond // between two phrases
	// usual is how long a phrase takes where nobody tells.
	usual = 1600 * time.Millisecond
	// speakLate is how long before a window shuts the tester is told that its
	// dose is not complete.
	speakLate = 8 * time.Second
)

// spoken are the words that go with an order. A cue that is yet to come is
// spoken ahead too, so that its words are forgotten with it.
func (s *Session) spoken(st procedure.State, o procedure.Order) []audio.Placed {
	say := func(after time.Duration, c audio.Cue) []audio.Placed {
		return []audio.Placed{{Cue: c, At: o.At + after}}
	}
	switch o.Cue {
	case procedure.CueExercise:
		if t, ok := st.RunTime(o.At); ok {
			return exercise(st, t, o.At+afterChange)
		}
	case procedure.CueDue:
		t, ok := st.RunTime(o.At)
		if !ok {
			return nil
		}
		c, ok := audio.SaySqueezes(st.TopUp(st.Opened.Rules.WindowAt(t)).Left())
		if !ok {
			return nil
		}
		// The exercise that begins with it is named first.
		if since := t % st.Opened.Rules.Figures.Exercise.Duration(); since < afterChange {
			for _, name := range exercise(st, t, o.At-since+afterChange) {
				return []audio.Placed{{Cue: c, At: name.At + s.length(name.Cue) + pause}}
			}
		}
		return say(afterDue, c)
	case procedure.CueGoOn:
		if st.Stage != procedure.Dosing {
			return nil
		}
		if c, ok := audio.SaySqueezes(st.Initial.Required); ok {
			return say(afterStep, c)
		}
	case procedure.CueStop:
		return say(afterEnd, audio.SayStop)
	case procedure.CuePass:
		return say(afterEnd, audio.SayPassed)
	case procedure.CueNotValid:
		out := say(afterEnd, audio.SayNotValid)
		if v := st.Verdict; v != nil && v.Reason == procedure.TopUpShort {
			out = append(out, say(afterEnd+s.length(audio.SayNotValid)+pause, audio.SayTopUpMissed)...)
		}
		return out
	case procedure.CueFault:
		if st.Verdict != nil {
			return nil // the verdict's own words say enough
		}
		if st.Cable != "" {
			return say(afterEnd, audio.SayButtonFault)
		}
		return say(afterEnd, audio.SayLook)
	}
	return nil
}

// length is how long a phrase takes.
func (s *Session) length(c audio.Cue) time.Duration {
	if s.cfg.Phrase == nil {
		return usual
	}
	return s.cfg.Phrase(c)
}

// exercise names the exercise of an instant of the run clock.
func exercise(st procedure.State, t, at time.Duration) []audio.Placed {
	i := st.Opened.Rules.ExerciseAt(t)
	if i < 0 {
		return nil
	}
	c, ok := audio.SayExercise(st.Opened.Rules.Exercises[i].ID)
	if !ok {
		return nil
	}
	return []audio.Placed{{Cue: c, At: at}}
}

// said is what a run has been told in words already.
type said struct {
	begun, button bool
	lost          bool // sound was lost in this run
	late          int  // the top-up that was called late last
}

// speak says what no tone goes with.
func (s *Session) speak() {
	st, now := s.engine.State(), s.engine.Now()
	play := func(p ...audio.Placed) {
		for _, c := range p {
			s.cfg.Player.Play(c)
		}
	}
	switch health := s.cfg.Player.Health(); {
	case strings.HasPrefix(health, audio.Lost):
		s.said.lost = true
	case health == "" && s.said.lost:
		s.said.lost = false
		play(audio.Placed{Cue: audio.SaySoundBack, At: s.cfg.Clock.Now()})
	}
	switch st.Stage {
	case procedure.Running:
		t := now - *st.Clock
		if !s.said.begun {
			s.said.begun = true
			play(exercise(st, t, s.cfg.Clock.Now()+afterDue)...)
		}
		n := st.Opened.Rules.WindowAt(t)
		if n == 0 || s.said.late == n || st.TopUp(n).Left() == 0 {
			return
		}
		if _, shut := st.Opened.Rules.Window(n); t >= shut-speakLate {
			s.said.late = n
			play(audio.Placed{Cue: audio.SayTopUpLate, At: s.cfg.Clock.Now()})
		}
	case procedure.ProvingButton:
		if !s.said.button {
			s.said.button = true
			play(audio.Placed{Cue: audio.SayPressOnceMore, At: s.cfg.Clock.Now()})
		}
	}
}
