// SPDX-License-Identifier: Apache-2.0

package session

import (
	"cmp"
	"crypto/rand"
	"fmt"
	"math/big"
	"slices"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/contact"
)

// mostParked is how many runs may wait: more people than that nobody keeps
// apart.
const mostParked = 3

// An openRun is a run that is not closed yet, with what belongs to it alone.
// Owned by the loop.
type openRun struct {
	engine   *Engine           // nil: no run is active
	durable  procedure.State   // what is on disk of the run
	pending  []procedure.Dated // facts that are not
	oldest   time.Duration     // instant of the oldest of them
	promises []procedure.Order // orders that wait for the disk
	record   *recorder
	said     said
	calls    map[uint64]asked // commands that are not worked off
	lines    []device.Line    // contacts of the run
	code     string           // by which a wearer's page is paired
	language string           // of the wearer

	uncleared bool      // no clearance of the wearer was on record
	seen      []string  // nebulisers that gave mist after the run had ended
	taking    bool      // it is active, and about to be taken up
	unsaved   bool      // something of it was shown and is not on disk for good
	actor     Actor     // the simulated wearer of a drill; nil in a test
	button    simButton // of the actor
}

func (r *openRun) id() string { return r.engine.State().Opened.Run }

func (r *openRun) over() bool { return r.engine.State().Verdict != nil }

// all are the open runs, the active one first.
func (s *Session) all() []*openRun {
	if s.engine == nil {
		return slices.Clone(s.parked)
	}
	return append([]*openRun{s.openRun}, s.parked...)
}

// find gives an open run by its id; nil when it is none.
func (s *Session) find(run string) *openRun {
	for _, r := range s.all() {
		if r.id() == run {
			return r
		}
	}
	return nil
}

// newCode is a pairing code that no other open run has.
func (s *Session) newCode() (string, error) {
	for {
		n, err := rand.Int(rand.Reader, big.NewInt(10000))
		if err != nil {
			return "", fmt.Errorf("pairing code: %w", err)
		}
		code := fmt.Sprintf("%04d", n)
		if !slices.ContainsFunc(s.all(), func(r *openRun) bool { return r.code == code }) {
			return code, nil
		}
	}
}

// levelsOf are the contacts of a run as they stand.
func (s *Session) levelsOf(r *openRun) map[device.Line]bool {
	out := map[device.Line]bool{}
	for _, l := range r.lines {
		out[l] = s.levels[l]
	}
	if r.actor != nil {
		out[device.TasteNO], out[device.TasteNC] = r.button.levels()
	}
	return out
}

// hand gives an edge to a run and its capture.
func (r *openRun) hand(e device.Edge) {
	e.At = r.engine.Edge(e)
	r.record.edge(e)
}

// say gives a run an input that is not a page's.
func (r *openRun) say(in procedure.Input) {
	in.At = r.engine.Input(in)
	r.record.input(in)
}

// takeUp makes a parked run the active one. Every contact has to be at rest, so
// that nothing that was begun for another run means anything to this one.
func (s *Session) takeUp(a asked, answer func(why string)) {
	r := s.find(a.cmd.Run)
	switch {
	case r == nil && len(s.all()) == 0:
		answer("no_run")
		return
	case r == nil || r.over():
		answer("stale")
		return
	case s.engine != nil:
		answer("run_open")
		return
	case s.missing() != "":
		answer("input_missing")
		return
	}
	if why := s.unrest(r); why != "" {
		answer(string(why))
		return
	}
	s.parked = slices.DeleteFunc(s.parked, func(p *openRun) bool { return p == r })
	s.openRun, r.taking = r, true
	r.said.run = "" // another run may have chosen another language meanwhile
	s.endInputTests()
	s.lost = "" // it was about what came before; the run has it among its own facts
	levels := s.levelsOf(r)
	for _, l := range r.lines {
		if r.engine.levels[l] != levels[l] {
			r.hand(device.Edge{At: r.engine.Now(), Line: l, Closed: levels[l]})
		}
	}
	by := a.cmd.Input.By
	if by == "" || by == string(wire.Wearer) || len(by) > 100 {
		by = s.speaker(a, r)
	}
	s.input(r, a, procedure.Input{Do: procedure.DoTakeUp, By: by})
	s.cfg.Log.Info("run taken up", "run", r.id())
}

// unrest says which contact is not at rest; empty when all are.
func (s *Session) unrest(r *openRun) procedure.Why {
	levels := s.levelsOf(r)
	switch {
	case levels[device.Squeeze] || levels[device.Step]:
		return procedure.WhyPedalHeld
	case r.actor == nil && s.supervised() && (!s.panel.Sound() || levels[device.TasteNO] == levels[device.TasteNC]):
		return procedure.WhyButtonFaulty
	case levels[device.Taste] || levels[device.TasteNO]:
		return procedure.WhyButtonDown
	}
	return ""
}

// settle sets the active run aside once it is parked, and lets go of parked
// runs that have ended and are on disk.
func (s *Session) settle() {
	if s.engine != nil {
		st := s.engine.State()
		switch {
		case !st.Parked:
			s.taking = false
		case s.taking || st.Verdict != nil:
		default:
			r := s.openRun
			s.parked = append(s.parked, r)
			slices.SortFunc(s.parked, func(a, b *openRun) int {
				return cmp.Compare(a.engine.State().OpenedAt, b.engine.State().OpenedAt)
			})
			s.openRun = &openRun{}
			s.dark()
			s.cfg.Log.Info("run parked", "run", r.id())
			if r.actor == nil && !s.panel.Sound() {
				r.say(procedure.Input{At: r.engine.Now(), Do: procedure.Verb(s.cableWord())})
			}
		}
	}
	s.parked = slices.DeleteFunc(s.parked, func(r *openRun) bool {
		if !r.over() || len(r.pending) > 0 || s.failed != "" {
			return false
		}
		s.letGo(r)
		return true
	})
}

// letGo ends what belongs to a run that is closed.
func (s *Session) letGo(r *openRun) {
	r.record.finish(r.engine.Now())
	s.captures = slices.DeleteFunc(append(s.captures, r.record), (*recorder).written)
	for _, a := range r.calls { // not worked off, and nobody will
		a.reply <- wire.Reply{Type: "reply", ID: a.cmd.ID, Why: "stale"}
	}
	r.calls = map[uint64]asked{}
}

// dark puts out the lamps of a run.
func (s *Session) dark() {
	for l, on := range s.lit {
		if on {
			s.cfg.Board.Light(l, false)
			s.lit[l] = false
		}
	}
}

// watchButton tells the runs that wait that the wires of the button were not
// sound.
func (s *Session) watchButton(seen []contact.Sighting) {
	for _, g := range seen {
		if g.Kind != contact.CableOpen && g.Kind != contact.CableShort {
			continue
		}
		for _, r := range s.all() {
			if r.engine.State().Parked && r.actor == nil {
				r.say(procedure.Input{At: r.engine.Now(), Do: verbs[g.Kind]})
			}
		}
	}
}

// An Underway is a run that has no verdict yet.
type Underway struct {
	Run    string
	Person string // id
	Stage  procedure.Stage
	Since  time.Time // wall time at which the stage began
	Parked bool
}

// note keeps for others which runs are under way.
func (s *Session) note() {
	out := []Underway{}
	wall, _ := s.cfg.Wall.Now()
	for _, r := range s.all() {
		st := r.engine.State()
		if st.Verdict == nil {
			out = append(out, Underway{
				Run: st.Opened.Run, Person: st.Opened.Wearer.ID, Stage: st.Stage, Parked: st.Parked,
				Since: wall.Add(-s.cfg.Clock.Real(r.engine.Now() - st.Since)),
			})
		}
	}
	s.now.Store(&out)
}

// Open are the runs that are under way and have no verdict yet, the active one
// first, those that wait after it. It may be asked from any goroutine.
func (s *Session) Open() []Underway {
	if all := s.now.Load(); all != nil {
		return slices.Clone(*all)
	}
	return nil
}
