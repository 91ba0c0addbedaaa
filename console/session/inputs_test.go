// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
	"tallyhood/store/memory"
)

// A wallHand is wall time moved by a test.
type wallHand struct {
	mu      sync.Mutex
	at      time.Time
	quality clock.Quality
	jump    time.Duration
	slept   time.Duration
	steps   int
}

func (w *wallHand) Now() (time.Time, clock.Quality) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.at, w.quality
}

func (w *wallHand) Confirm(t time.Time) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.quality == clock.Network {
		return clock.ErrServed
	}
	if t.Year() < 2026 {
		return errors.New("too early")
	}
	w.at, w.quality = t, clock.Confirmed
	return nil
}

func (w *wallHand) Look() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	j := w.jump
	if w.jump = 0; j != 0 {
		w.steps++
	}
	return j
}

func (w *wallHand) Slept() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	d := w.slept
	w.slept = 0
	return d
}

func (w *wallHand) Steps() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.steps
}

func TestAnUnsetClockIsConfirmedFirst(t *testing.T) {
	w := &wallHand{at: time.Unix(0, 0).UTC(), quality: clock.Unset}
	d := newDeskOn(t, newLongClock(), nil, func(c *session.Config) { c.Wall = w })
	d.fence = d.lease("page 1")
	if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "clock_unset" {
		t.Fatalf("a run was opened in 1970: %q", why)
	}
	for _, wrong := range []string{"", "yesterday", "2026-09-14", "2019-09-14T09:00:00Z"} {
		if why := d.ask(wire.Command{Do: "confirm_clock", Wall: wrong}); why != "unknown" && why != "clock_wrong" {
			t.Errorf("%q: %q", wrong, why)
		}
	}
	d.must(wire.Command{Do: "confirm_clock", Wall: "2026-09-14T09:00:00Z"})
	s := d.until("a confirmed clock", func(s wire.Snapshot) bool { return s.Clock.Quality == "confirmed" })
	if !s.Clock.Trusted || s.Clock.Wall != "2026-09-14T09:00:00Z" {
		t.Errorf("clock %+v", s.Clock)
	}
	d.must(wire.Command{Do: "open", Open: opening})
	w.mu.Lock()
	w.quality = clock.Network
	w.mu.Unlock()
	if why := d.ask(wire.Command{Do: "confirm_clock", Wall: "2026-09-14T09:00:00Z"}); why != "run_open" {
		t.Errorf("confirmed in a run: %q", why)
	}
}

// A step of wall time in a run is a remark; nothing that the run measures moves.
func TestAStepOfWallTimeChangesNothing(t *testing.T) {
	w := &wallHand{at: time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC), quality: clock.Restored}
	j := memory.New()
	d := newDeskOn(t, newLongClock(), j, func(c *session.Config) { c.Wall = w })
	d.open()
	d.toDosing()
	w.mu.Lock()
	w.jump = -10 * 365 * 24 * time.Hour
	w.mu.Unlock()
	d.until("the remark", func(s wire.Snapshot) bool {
		return slices.ContainsFunc(s.Run.Faults, func(f string) bool { return strings.HasPrefix(f, "clock_stepped: by -") })
	})
	d.press(device.Squeeze, 10)
	d.until("a running clock", func(s wire.Snapshot) bool { return s.Run.Stage == procedure.Running && *s.Run.RunMS < 60_000 })
	d.topUps(0)
	s := d.until("a verdict", verdict)
	if s.Run.Verdict.Outcome != procedure.Pass || s.Clock.Steps != 1 {
		t.Errorf("verdict %+v, clock %+v", s.Run.Verdict, s.Clock)
	}
	v, err := archive.Run(t.Context(), j, nil, d.run)
	if err != nil || v.WallQuality != "restored" || v.Record.Fit.DurationS == nil || time.Duration(*v.Record.Fit.DurationS) != 420*time.Second || v.Opened != "2026-09-14T09:00:00Z" {
		t.Errorf("record %+v, %v", v, err)
	}
}

// A faulty is the simulated board with a report that a test changes, and a
// pedal to learn.
type faulty struct {
	*sim.Board
	mu   sync.Mutex
	bad  string
	said chan error
}

func (f *faulty) Report() []device.Part {
	f.mu.Lock()
	defer f.mu.Unlock()
	p := device.Part{Name: "pedal", State: device.Loaded, Lines: []device.Line{device.Squeeze}}
	if f.bad != "" {
		p.State, p.Reason = device.Failed, f.bad
	}
	return []device.Part{p}
}

func (f *faulty) Learn(ctx context.Context, l device.Line) (string, error) {
	select {
	case err := <-f.said:
		return "key 48 of pedal 1a2b:3c4d brings " + string(l), err
	case <-ctx.Done():
		return "", errors.New("given up")
	}
}

func TestAMissingPartIsNoBoardToTestOn(t *testing.T) {
	f := &faulty{}
	j := memory.New()
	d := newDeskOn(t, newLongClock(), j, func(c *session.Config) {
		f.Board = c.Board.(*sim.Board)
		c.Board = f
		c.Parts = func() []device.Part {
			return []device.Part{{Name: "heat", State: device.Absent, Reason: "not told"}}
		}
	})
	d.fence = d.lease("page 1")
	f.mu.Lock()
	f.bad = "the pedal is unplugged"
	f.mu.Unlock()
	d.until("the word of it", func(s wire.Snapshot) bool { return s.Inputs.Missing == "pedal: the pedal is unplugged" })
	if why := d.ask(wire.Command{Do: "open", Open: opening}); why != "input_missing" {
		t.Fatalf("a run was opened without a pedal: %q", why)
	}
	f.mu.Lock()
	f.bad = ""
	f.mu.Unlock()
	d.open()
	d.saved(j)
	st, err := archive.State(t.Context(), j, d.run)
	if err != nil {
		t.Fatal(err)
	}
	if b := st.Opened.Box; len(b) != 2 || b[0] != (procedure.Piece{Name: "pedal", State: "loaded"}) || b[1] != (procedure.Piece{Name: "heat", State: "absent", Reason: "not told"}) {
		t.Errorf("the record's box is %+v", b)
	}
}

func TestLearn(t *testing.T) {
	f := &faulty{said: make(chan error)}
	d := newDeskOn(t, newLongClock(), nil, func(c *session.Config) {
		f.Board = c.Board.(*sim.Board)
		c.Board, c.Learner = f, f
	})
	d.fence = d.lease("page 1")
	if why := d.ask(wire.Command{Do: "learn", Line: "taste_no"}); why != "unknown" {
		t.Errorf("a pedal for the wearer's button: %q", why)
	}
	d.must(wire.Command{Do: "learn", Line: "squeeze"})
	d.until("it being learned", func(s wire.Snapshot) bool { return s.Inputs.Learn == "squeeze" })
	if why := d.ask(wire.Command{Do: "learn", Line: "step"}); why != "busy" {
		t.Errorf("two at once: %q", why)
	}
	f.said <- nil
	d.until("what was learned", func(s wire.Snapshot) bool {
		return s.Inputs.Learn == "" && strings.Contains(s.Inputs.Learned, "key 48")
	})
	d.must(wire.Command{Do: "learn", Line: "step"})
	d.must(wire.Command{Do: "learn_end"})
	d.until("given up", func(s wire.Snapshot) bool { return s.Inputs.Learn == "" && s.Inputs.Learned == "given up" })
	d.must(wire.Command{Do: "learn", Line: "step"})
	d.open() // a run ends it
	d.until("given up", func(s wire.Snapshot) bool { return s.Inputs.Learn == "" && s.Inputs.Learned == "given up" })
}

// The guided check through the contacts of the board, and what it leaves in the
// record.
func TestWiringCheck(t *testing.T) {
	j := memory.New()
	d := newDeskOn(t, newLongClock(), j)
	d.fence = d.lease("page 1")
	asked := func(ask string) {
		t.Helper()
		d.until("being asked "+ask, func(s wire.Snapshot) bool { return s.Inputs.Check != nil && s.Inputs.Check.Ask == ask })
	}
	through := func(contacts ...device.Line) {
		t.Helper()
		d.must(wire.Command{Do: "check_begin"})
		asked("rest")
		for i, ask := range []string{"squeeze", "step", "button"} {
			asked("press_" + ask)
			set := func(closed bool) {
				if contacts[i] == device.Taste {
					d.board.Button(closed)
				} else if err := d.board.Set(contacts[i], closed); err != nil {
					t.Fatal(err)
				}
			}
			set(true)
			d.until("being asked to let go", func(s wire.Snapshot) bool { return s.Inputs.Check.Ask == "let_"+ask || len(s.Inputs.Check.Found) > 0 })
			set(false)
		}
		asked("")
	}
	through(device.Squeeze, device.Step, device.Taste)
	s := d.until("the end", func(s wire.Snapshot) bool { return s.Inputs.Check.Ask == "" })
	if !s.Inputs.Check.Passed || len(s.Inputs.Check.Found) != 0 {
		t.Fatalf("good wires: %+v", s.Inputs.Check)
	}
	for _, l := range s.Inputs.Lines {
		if l.Line != "taste_nc" && (l.Presses != 1 || l.Closed || l.Source != "simulated board") {
			t.Errorf("line %+v", l)
		}
		if l.Edges < 2 {
			t.Errorf("line %+v", l)
		}
	}
	d.open()
	d.saved(j)
	st, err := archive.State(t.Context(), j, d.run)
	if err != nil || st.Opened.WiringChecked == "" {
		t.Errorf("the record does not say that the wires were checked: %v", err)
	}
	if why := d.ask(wire.Command{Do: "check_begin"}); why != "run_open" {
		t.Errorf("a check in a run: %q", why)
	}
	d.say(procedure.DoAbandon, procedure.Input{})
	d.until("the verdict", verdict)
	d.must(wire.Command{Do: "close"})
	d.run = ""
	through(device.Step, device.Squeeze, device.Taste) // pedal and step key crossed
	s = d.until("the end", func(s wire.Snapshot) bool { return s.Inputs.Check.Ask == "" })
	if s.Inputs.Check.Passed || !slices.Contains(s.Inputs.Check.Found, "moved_instead") {
		t.Errorf("crossed wires: %+v", s.Inputs.Check)
	}
}

func TestToneByHand(t *testing.T) {
	d := newDeskOn(t, newLongClock(), nil)
	d.fence = d.lease("page 1")
	d.must(wire.Command{Do: "tone", Cue: string(audio.Stop)})
	if !d.heard.has(procedure.CueStop) {
		t.Error("the tone did not sound")
	}
	if why := d.ask(wire.Command{Do: "tone", Cue: "bugle"}); why != "unknown" {
		t.Errorf("a tone that is none: %q", why)
	}
	if why := d.askAs("page 2", wire.Trainer, wire.Command{Do: "tone", Cue: string(audio.Stop)}); why != "not_allowed" {
		t.Errorf("a trainer may sound it: %q", why)
	}
}

// Others see neither the lines nor the tests.
func TestOthersSeeNoLines(t *testing.T) {
	d := newDeskOn(t, newLongClock(), nil)
	s := d.until("lines", func(s wire.Snapshot) bool { return len(s.Inputs.Lines) == 4 })
	for _, r := range []wire.Role{wire.Trainer, wire.Wearer} {
		if o := wire.ForRole(s, r); len(o.Inputs.Lines) != 0 || o.Inputs.Lines == nil || o.Inputs.Check != nil {
			t.Errorf("%s sees %+v", r, o.Inputs)
		}
	}
}

// The self-test of sound: a hand that presses so long after each tone gives that
// figure, and the record keeps it.
func TestSoundIsTimed(t *testing.T) {
	j := memory.New()
	d := newDeskOn(t, newLongClock(), j)
	d.fence = d.lease("page 1")
	d.must(wire.Command{Do: "latency_begin"})
	const after = 230 * time.Millisecond
	tones := d.heard.at(audio.Count5)
	if len(tones) != 12 {
		t.Fatalf("%d tones were placed", len(tones))
	}
	var moves []sim.Move
	for _, at := range tones {
		moves = append(moves, sim.Move{At: at + after, Line: device.Squeeze, Closed: true}, sim.Move{At: at + after + 80*time.Millisecond, Line: device.Squeeze})
	}
	if err := d.board.Play(t.Context(), 0, moves); err != nil {
		t.Fatal(err)
	}
	s := d.until("a figure", func(s wire.Snapshot) bool { return s.Inputs.Latency != nil && s.Inputs.Latency.Done })
	if l := s.Inputs.Latency; l.Why != "" || l.MidMS != 230 || l.LeastMS != 230 || l.SpreadMS != 0 || l.Asked != 12 || l.When == "" {
		t.Errorf("figure %+v", l)
	}
	d.open()
	d.saved(j)
	if v, err := archive.Run(t.Context(), j, nil, d.run); err != nil || v.SoundMS != 230 {
		t.Errorf("the record has %v ms, %v", v.SoundMS, err)
	}
}
