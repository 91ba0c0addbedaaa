// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"tallyhood/audio"
	"tallyhood/console/latency"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/console/wiring"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/contact"
)

// A stat counts what a contact did since the daemon started.
type stat struct {
	edges, presses, doubtful uint64
	last                     time.Duration
	known                    bool // it has had a level
}

// inputs are the tests of the contacts and of sound that a person makes between
// runs. Owned by the loop.
type inputs struct {
	check    *wiring.Check
	checked  string // wall time of the last check that found nothing
	learning device.Line
	giveUp   context.CancelFunc
	learned  chan learned
	said     string // what came of the last learning
	timing   *latency.Test
	timed    string  // wall time at its end
	soundMS  float64 // its figure; 0: none
	bulb     calibrating
}

// learned is what came of "press it now".
type learned struct {
	line device.Line
	what string
	err  error
}

func (i *inputs) edge(at time.Duration, e device.Edge) {
	if i.check != nil {
		i.check.Edge(at, string(e.Line), e.Closed)
	}
}

// next is when a test has something to do by itself.
func (i *inputs) next() (at time.Duration, ok bool) {
	if i.check != nil && i.check.Ask() != wiring.Ended {
		at, ok = i.check.Wake(), true
	}
	if t := i.timing; t != nil && !t.Progress().Done && (!ok || t.End() < at) {
		at, ok = t.End(), true
	}
	if b := &i.bulb; b.underWay() && b.ended == "" && (!ok || b.until < at) {
		at, ok = b.until, true
	}
	return at, ok
}

// busy: a person is in the middle of one of the tests.
func (i *inputs) busy() bool {
	return i.check != nil && i.check.Ask() != wiring.Ended || i.timing != nil && !i.timing.Progress().Done || i.giveUp != nil || i.bulb.underWay()
}

// count takes what a contact did as the panel sees it.
func (s *Session) count(g contact.Sighting) {
	st := s.stats[s.lineOf(g.Source)]
	if st == nil {
		return
	}
	switch g.Kind {
	case contact.Pressed:
		st.presses++
		if s.inputs.timing != nil && g.Source != contact.Step {
			s.inputs.timing.Press(g.At)
		}
	case contact.Doubtful:
		st.doubtful++
	}
}

// lineOf is the contact under which the presses of a source are shown.
func (s *Session) lineOf(src contact.Source) device.Line {
	switch {
	case src == contact.Squeeze:
		return device.Squeeze
	case src == contact.Step:
		return device.Step
	case s.panel.Supervised():
		return device.TasteNO
	}
	return device.Taste
}

// testInputs brings the tests of the contacts up to an instant.
func (s *Session) testInputs(to time.Duration) {
	s.watchBulb(to)
	if c := s.inputs.check; c != nil {
		ended := c.Ask() == wiring.Ended
		c.Advance(to)
		if !ended && c.Passed() {
			wall, _ := s.cfg.Wall.Now()
			s.inputs.checked = wall.Format(time.RFC3339)
		}
	}
	if t := s.inputs.timing; t != nil && !t.Progress().Done {
		t.Advance(to)
		if !t.Progress().Done {
			return
		}
		wall, _ := s.cfg.Wall.Now()
		s.inputs.timed = wall.Format(time.RFC3339)
		if r := t.Result(); r.Why == "" {
			s.inputs.soundMS = millisOf(r.Mid)
		}
	}
}

// testTone is what the self-test sounds: it begins at once and is short.
const testTone = audio.Count5

// timeSound begins the self-test of sound and contact. Its tones are placed
// ahead: when they sound depends on nothing else.
func (s *Session) timeSound() string {
	if s.silenced() {
		return "no_sound"
	}
	s.endTiming()
	now := s.cfg.Clock.Now()
	s.inputs.timing, s.inputs.timed, s.inputs.soundMS = latency.New(uint64(now), now), "", 0
	for at, ok := s.inputs.timing.Next(); ok; at, ok = s.inputs.timing.Next() {
		s.cfg.Player.Play(audio.Placed{Cue: testTone, At: at})
	}
	return ""
}

// endTiming gives the self-test up if it is under way.
func (s *Session) endTiming() {
	if t := s.inputs.timing; t != nil && !t.Progress().Done {
		s.cfg.Player.Drop(s.cfg.Clock.Now())
		s.inputs.timing = nil
	}
}

// inputCommand works off a command of the Inputs page; "" when it was done.
func (s *Session) inputCommand(c wire.Command) string {
	if len(s.all()) > 0 {
		return "run_open"
	}
	i := &s.inputs
	if i.bulb.underWay() && slices.Contains([]string{"check_begin", "latency_begin", "learn"}, c.Do) {
		return "busy" // no squeeze reaches them
	}
	switch c.Do {
	case "check_begin":
		var lines []string
		levels := map[string]bool{}
		for _, l := range s.cfg.Board.Lines() {
			lines = append(lines, string(l))
			levels[string(l)] = s.levels[l]
		}
		i.checked = ""
		i.check = wiring.New(lines, levels, s.fed)
	case "check_end":
		if i.check != nil {
			i.check.Stop()
		}
	case "tone":
		if !slices.Contains(audio.Cues(), audio.Cue(c.Cue)) {
			return "unknown"
		}
		s.cfg.Player.Play(audio.Placed{Cue: audio.Cue(c.Cue), At: s.cfg.Clock.Now()})
	case "latency_begin":
		return s.timeSound()
	case "latency_end":
		s.endTiming()
	case "learn":
		return s.learn(device.Line(c.Line))
	case "learn_end":
		if i.giveUp != nil {
			i.giveUp()
		}
	case "calibrate_begin":
		return s.calibrate()
	case "calibrate_end":
		i.bulb.leave(bulbLeft)
	case "confirm_clock":
		t, err := time.Parse(time.RFC3339, c.Wall)
		if err != nil {
			return "unknown"
		}
		if err := s.cfg.Wall.Confirm(t); errors.Is(err, clock.ErrServed) {
			return "clock_served"
		} else if err != nil {
			return "clock_wrong"
		}
		s.cfg.Log.Info("a person confirmed the time", "wall", c.Wall)
	}
	return ""
}

func (s *Session) learn(l device.Line) string {
	i := &s.inputs
	switch {
	case s.cfg.Learner == nil:
		return "no_pedal"
	case l != device.Squeeze && l != device.Step:
		return "unknown"
	case i.giveUp != nil:
		return "busy"
	}
	ctx, cancel := context.WithCancel(context.Background())
	i.learning, i.giveUp = l, cancel
	s.learning.Go(func() {
		what, err := s.cfg.Learner.Learn(ctx, l)
		i.learned <- learned{l, what, err}
	})
	return ""
}

func (s *Session) onLearned(l learned) {
	i := &s.inputs
	i.giveUp()
	i.learning, i.giveUp = "", nil
	i.said = l.what
	if l.err != nil {
		i.said = l.err.Error()
	}
	s.cfg.Log.Info("learned", "contact", l.line, "what", l.what, "err", l.err)
}

// endInputTests gives up what a person was testing, since a run begins.
func (s *Session) endInputTests() {
	if c := s.inputs.check; c != nil && c.Ask() != wiring.Ended {
		s.inputs.check = nil
	}
	if s.inputs.giveUp != nil {
		s.inputs.giveUp()
	}
	s.endTiming()
}

// missing says in words which part that brings a contact does not work now.
func (s *Session) missing() string {
	var out []string
	for _, p := range s.cfg.Board.Report() {
		if p.State != device.Loaded && len(p.Lines) > 0 {
			out = append(out, p.Name+": "+p.Reason)
		}
	}
	return strings.Join(out, "; ")
}

// box is the start-up report as a record keeps it.
func (s *Session) box() []procedure.Piece {
	var out []procedure.Piece
	all := s.cfg.Board.Report()
	if s.cfg.Parts != nil {
		all = append(all, s.cfg.Parts()...)
	}
	for _, p := range all {
		out = append(out, procedure.Piece{Name: p.Name, State: string(p.State), Reason: p.Reason})
	}
	return out
}

// lines are the contacts for the Inputs page.
func (s *Session) lines(now time.Duration) []wire.Line {
	from := map[device.Line]string{}
	for _, p := range s.cfg.Board.Report() {
		for _, l := range p.Lines {
			from[l] = p.Name
		}
	}
	out := []wire.Line{}
	for _, l := range s.cfg.Board.Lines() {
		st := s.stats[l]
		w := wire.Line{
			Line: string(l), Source: from[l], Closed: s.levels[l], Edges: st.edges, Presses: st.presses, Doubtful: st.doubtful,
			QuietMS: s.cfg.Clock.Real(now - st.last).Milliseconds(),
		}
		for _, src := range []contact.Source{contact.Squeeze, contact.Step, contact.Report} {
			if s.lineOf(src) == l {
				w.Rejected = uint64(s.panel.NoiseOf(src))
			}
		}
		out = append(out, w)
	}
	return out
}

func (i *inputs) checkState() *wire.Check {
	if i.check == nil {
		return nil
	}
	w := &wire.Check{Ask: i.check.Ask(), Found: []string{}, Lines: []string{}, Passed: i.check.Passed(), LeftMS: i.check.LeftMS()}
	for _, f := range i.check.Found() {
		w.Found = append(w.Found, f.Key)
		w.Lines = append(w.Lines, strings.Join(f.Lines, ","))
	}
	return w
}

func (i *inputs) latencyState() *wire.Timing {
	if i.timing == nil {
		return nil
	}
	p := i.timing.Progress()
	w := &wire.Timing{Asked: p.Asked, Of: p.Of, Done: p.Done, When: i.timed}
	if p.Done {
		r := i.timing.Result()
		w.Why, w.MidMS, w.LeastMS, w.SpreadMS = string(r.Why), millisOf(r.Mid), millisOf(r.Least), millisOf(r.Spread)
	}
	return w
}

func millisOf(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
