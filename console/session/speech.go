// SPDX-License-Identifier: Apache-2.0

package session

import (
	"slices"
	"strings"
	"time"

	"tallyhood/audio"
	"tallyhood/console/procedure"
	"tallyhood/console/shown"
)

// Words follow the tone that calls for attention, once it is over, and one
// phrase follows another. What would still be said when the run clock brings
// its next tone is left out, never cut: half a word is worse than none, and the
// tone is what counts.
const (
	afterDue    = 450 * time.Millisecond // the tones last 0.37 s,
	afterStep   = 300 * time.Millisecond // 0.13 s,
	afterChange = 950 * time.Millisecond // 0.6 s, and a call for squeezes behind it,
	afterEnd    = 950 * time.Millisecond // and up to 0.84 s
	pause       = 150 * time.Millisecond // between two phrases
	apart       = 100 * time.Millisecond // between words and the tone that comes next
	// usual is how long a phrase takes where nobody tells.
	usual = 1600 * time.Millisecond
	// speakLate is how long before a window shuts the tester is told to finish
	// the dose.
	speakLate = 8 * time.Second
	// tickAhead is how long before its instant a tick is placed, at least: the
	// loop looks around twice as often, or it is as long as that takes.
	tickAhead = 600 * time.Millisecond
)

// said is what a run has been told in words already.
type said struct {
	run           string // that the wearer's language was chosen for
	begun, button bool
	lost          bool          // sound was lost in this run
	late, finish  int           // the top-ups that were called last
	tick          time.Duration // of the run clock, the last that was placed
	words         []span        // that were placed and may not be over
	ready         bool          // it was called while it was parked: its wait is over
}

// A span is when a phrase is said.
type span struct{ from, to time.Duration }

// drop forgets the words that have not begun at an instant, as the player does.
func (w *said) drop(from time.Duration) {
	w.words = slices.DeleteFunc(w.words, func(s span) bool { return s.from >= from })
}

// spoken are the words that go with an order. A cue that is yet to come is
// spoken ahead too, so that its words are forgotten with it.
func (s *Session) spoken(st procedure.State, o procedure.Order) []audio.Placed {
	say := func(after time.Duration, c audio.Cue) []audio.Placed {
		return s.said.place(st, s.length, audio.Placed{Cue: c, At: o.At + after})
	}
	switch o.Cue {
	case procedure.CueExercise:
		if t, ok := st.RunTime(o.At); ok {
			if c, ok := exercise(st, t); ok {
				return say(afterChange, c)
			}
		}
	case procedure.CueDue:
		t, ok := st.RunTime(o.At)
		if !ok {
			return nil
		}
		// The exercise that begins with it was named first.
		if c, ok := audio.SaySqueezes(st.TopUp(st.Opened.Rules.WindowAt(t)).Left()); ok {
			return say(afterDue, c)
		}
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
			out = append(out, say(afterEnd, audio.SayTopUpMissed)...)
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

// length is how long a phrase takes; 0 when nobody can say it.
func (s *Session) length(c audio.Cue) time.Duration {
	if s.cfg.Phrase == nil {
		return usual
	}
	return s.cfg.Phrase(c)
}

// place gives the words their instant, behind others that are still being said,
// or leaves them out when they would run into the next moment of the run clock.
func (w *said) place(st procedure.State, length func(audio.Cue) time.Duration, p audio.Placed) []audio.Placed {
	long := length(p.Cue)
	if long == 0 {
		return []audio.Placed{p} // a voice may have it in a moment, else the player leaves it out
	}
	for _, s := range w.words {
		p.At = max(p.At, s.to+pause)
	}
	if st.Stage == procedure.Running && st.Clock != nil && p.At+long+apart > *st.Clock+nextMoment(&st.Opened.Rules, p.At-*st.Clock) {
		return nil
	}
	w.words = append(slices.DeleteFunc(w.words, func(s span) bool { return s.to+pause <= p.At }), span{p.At, p.At + long})
	return []audio.Placed{p}
}

// nextMoment is the first instant after t, on the run clock, at which the run
// clock brings a tone or a tick, or shuts the window of a top-up.
func nextMoment(r *procedure.RuleSet, t time.Duration) time.Duration {
	next := time.Duration(1<<63 - 1)
	for _, m := range moments(r) {
		if m > t {
			next = min(next, m)
		}
	}
	return next
}

func moments(r *procedure.RuleSet) []time.Duration {
	ex := r.Figures.Exercise.Duration()
	var out []time.Duration
	for n := 1; n <= len(r.Exercises); n++ {
		out = append(out, time.Duration(n)*ex, time.Duration(n)*ex-5*time.Second)
	}
	for n := 1; n <= r.TopUps(); n++ {
		_, shut := r.Window(n)
		out = append(out, r.Due(n), shut)
	}
	for _, k := range ticks(r) {
		out = append(out, k.at)
	}
	return out
}

// A tick is one of the last seconds before a moment of the run clock.
type tick struct {
	at    time.Duration
	topUp int // that falls due; 0 before the end of an exercise
}

// ticks count down in knocks and not in numbers that are spoken: a number lasts
// half of its second, in every language another half, and would lie over the
// tone of a squeeze; a knock of 30 ms leaves the rest of the second free. Four
// follow the warning of five seconds before an exercise ends. Three come before
// a top-up that falls due within an exercise, so that the ear knows which.
func ticks(r *procedure.RuleSet) []tick {
	ex := r.Figures.Exercise.Duration()
	var out []tick
	for n := 1; n <= len(r.Exercises); n++ {
		for left := 4; left >= 1; left-- {
			out = append(out, tick{at: time.Duration(n)*ex - time.Duration(left)*time.Second})
		}
	}
	for n := 1; n <= r.TopUps(); n++ {
		if r.Due(n)%ex == 0 {
			continue
		}
		for left := 3; left >= 1; left-- {
			out = append(out, tick{r.Due(n) - time.Duration(left)*time.Second, n})
		}
	}
	return out
}

// exercise is the spoken name of the exercise of an instant of the run clock.
func exercise(st procedure.State, t time.Duration) (audio.Cue, bool) {
	i := st.Opened.Rules.ExerciseAt(t)
	if i < 0 {
		return "", false
	}
	return audio.SayExercise(st.Opened.Rules.Exercises[i].ID)
}

// lateCall is how long after a top-up fell due it is called when not even its
// first squeeze has come: halfway to what the record calls late.
func lateCall(r *procedure.RuleSet) time.Duration { return r.House.LateAfter.Duration() / 2 }

// speak says what no tone goes with, and knocks the last seconds.
func (s *Session) speak() {
	st, now := s.engine.State(), s.engine.Now()
	if s.said.run != s.id() {
		s.said.run = s.id()
		if s.cfg.Speak != nil {
			s.cfg.Speak(s.language)
		}
	}
	switch health := s.cfg.Player.Health(); {
	case strings.HasPrefix(health, audio.Lost):
		s.said.lost = true
	case health == "" && s.said.lost:
		back := s.said.place(st, s.length, audio.Placed{Cue: audio.SaySoundBack, At: s.cfg.Clock.Now()})
		s.said.lost = len(back) == 0 // what does not fit now is said a moment later
		s.utter(back)
	}
	s.utter(s.said.byClock(st, now, s.cfg.Clock.Now(), max(tickAhead, 2*s.beat()), s.length))
}

// callParked tells the tester once when the wait of a parked run is over. It is
// said between the moments of the active run, as all words are.
func (s *Session) callParked() {
	for _, r := range s.parked {
		st := r.engine.State()
		if r.said.ready || st.Verdict != nil {
			continue
		}
		now := s.cfg.Clock.Now()
		if w := shown.Run(st, now); w.NeedMS == 0 || w.WaitMS > 0 {
			continue
		}
		call := []audio.Placed{{Cue: audio.SayParkedReady, At: now}}
		if s.engine != nil {
			call = s.said.place(s.engine.State(), s.length, call[0])
		}
		r.said.ready = len(call) > 0
		s.utter(call)
	}
}

func (s *Session) utter(all []audio.Placed) {
	for _, p := range all {
		s.cfg.Player.Play(p)
	}
}

// byClock is what the run clock alone brings: words, and the ticks so far ahead.
// The run is known up to now; words begin at present or later.
func (w *said) byClock(st procedure.State, now, present, ahead time.Duration, length func(audio.Cue) time.Duration) (out []audio.Placed) {
	// What does not fit now is tried again.
	say := func(after time.Duration, c audio.Cue) bool {
		words := w.place(st, length, audio.Placed{Cue: c, At: present + after})
		out = append(out, words...)
		return len(words) > 0
	}
	switch st.Stage {
	case procedure.Running:
		r, t := &st.Opened.Rules, now-*st.Clock
		if !w.begun {
			w.begun = true // a name that comes late is no help
			if c, ok := exercise(st, t); ok {
				say(afterDue, c)
			}
		}
		for _, k := range ticks(r) {
			if k.at <= w.tick || k.at <= t || k.at-ahead > t || k.topUp > 0 && st.TopUp(k.topUp).Left() == 0 {
				continue
			}
			w.tick = k.at
			out = append(out, audio.Placed{Cue: audio.Tick, At: *st.Clock + k.at})
		}
		n := r.WindowAt(t)
		if n == 0 || st.TopUp(n).Left() == 0 {
			return out
		}
		if d := st.TopUp(n); w.late != n && len(d.Given) == 0 && t >= r.Due(n)+lateCall(r) && say(0, audio.SayTopUpLate) {
			w.late = n
		}
		if _, shut := r.Window(n); w.finish != n && t >= shut-speakLate && say(0, audio.SayFinishDose) {
			w.finish = n
		}
	case procedure.ProvingButton:
		if !w.button {
			w.button = say(0, audio.SayPressOnceMore)
		}
	}
	return out
}
