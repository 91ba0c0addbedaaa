// SPDX-License-Identifier: Apache-2.0

package session

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/capture"
	"tallyhood/device/clock"
)

// command answers a page, at once or when the run has worked it off.
func (s *Session) command(a asked) {
	c := a.cmd
	say := func(why string) {
		a.reply <- wire.Reply{Type: "reply", ID: c.ID, OK: why == "", Why: why}
	}
	if s.stopOfAnyone(a.role, procedure.Verb(c.Do)) {
		s.ask(a, say)
		return
	}
	if a.role != wire.Tester {
		say("not_allowed")
		return
	}
	if c.Do == "take_lease" {
		s.fence++
		s.driver = a.client
		s.cfg.Log.Info("lease taken", "client", a.client, "fence", s.fence)
		say("")
		return
	}
	if s.driver != a.client {
		say("not_driver")
		return
	}
	if c.Fence != s.fence {
		say("stale")
		return
	}
	switch c.Do {
	case "drop_lease":
		s.driver = ""
		s.fence++
		say("")
	case "sim":
		say(s.press(c.Sim))
	case "open":
		say(s.open(a))
	case "close":
		say(s.closeRun(c.Run))
	case "check_begin", "check_end", "learn", "learn_end", "tone", "latency_begin", "latency_end", "confirm_clock":
		say(s.inputCommand(c))
	default:
		s.ask(a, say)
	}
}

// stopOfAnyone: whoever watches may end a run for a reason that can only make
// it a fail or not valid; it needs no lease. What was said aloud in the
// sensitivity test sets the bin, so there it is the driver's. The wearer's page
// may stop for the person alone.
func (s *Session) stopOfAnyone(role wire.Role, do procedure.Verb) bool {
	if s.engine == nil || role == "" {
		return false
	}
	switch do {
	case procedure.DoWelfare:
		return true
	case procedure.DoTouched, procedure.DoHoodOff:
		return role != wire.Wearer
	case procedure.DoSaidAloud:
		return role != wire.Wearer && s.engine.State().Clock != nil
	}
	return false
}

// ask gives the run an input of a person; the answer comes when it is worked off.
func (s *Session) ask(a asked, say func(why string)) {
	c := a.cmd
	in := c.Input
	in.Do = procedure.Verb(c.Do)
	switch {
	case !procedure.FromPerson(in.Do):
		say("unknown")
	case s.engine == nil:
		say("no_run")
	case c.Run != s.engine.State().Opened.Run:
		say("stale")
	case len(in.Reason) > 200 || len(in.By) > 100 || len(in.Question) > 100 || len(in.Mark) > 200 || in.For < 0:
		say("unknown")
	default:
		s.tag++
		in.Tag, in.Source, in.Detail, in.Kit = s.tag, "", "", nil
		if in.Do == procedure.DoTake {
			in.Kit = s.cfg.Register.Nebuliser(in.Mark)
		}
		in.At = s.cfg.Clock.Now()
		s.calls[in.Tag] = a
		in.At = s.engine.Input(in)
		s.record.input(in)
	}
}

// worked answers the call that an input came from, with the refusal if the
// facts hold one.
func (s *Session) worked(in procedure.Input, facts []procedure.Dated) {
	a, ok := s.calls[in.Tag]
	if !ok {
		return
	}
	delete(s.calls, in.Tag)
	r := wire.Reply{Type: "reply", ID: a.cmd.ID, OK: true}
	for _, f := range facts {
		if i, is := f.Fact.(procedure.Ignored); is && strings.HasPrefix(i.What, string(in.Do)) && i.Why != procedure.WhyNoted {
			r.OK, r.Why = false, string(i.Why)
		}
	}
	a.reply <- r
}

func (s *Session) press(c *wire.Contact) string {
	if c == nil || s.cfg.Sim == nil {
		return "not_allowed"
	}
	if c.Line == string(device.Taste) {
		s.cfg.Sim.Button(c.Closed)
		return ""
	}
	if s.cfg.Sim.Set(device.Line(c.Line), c.Closed) != nil {
		return "unknown"
	}
	return ""
}

func (s *Session) open(a asked) string {
	o := a.cmd.Open
	if o == nil {
		return "unknown"
	}
	if s.engine != nil {
		return "run_open"
	}
	if s.failed != "" {
		return string(procedure.WhyJournal)
	}
	if a.why != "" {
		return a.why
	}
	r, ok := s.cfg.Rules[o.Rules]
	if !ok || !slices.Contains(r.Agents, o.Agent) || strings.TrimSpace(o.Tester) == "" || len(o.Tester) > 100 {
		return "unknown"
	}
	practice := s.cfg.Practice
	if practice == "" {
		practice = a.bound.Practice
	}
	wall, quality := s.cfg.Wall.Now()
	switch {
	case quality == clock.Unset:
		return "clock_unset"
	case s.missing() != "":
		return "input_missing"
	}
	s.endInputTests()
	number, _ := s.cfg.Journal.Last()
	s.runs++
	opened := procedure.RunOpened{
		Run: fmt.Sprintf("r%06d", number+uint64(len(s.pending))+1), Rules: r, Agent: o.Agent,
		Wearer: a.bound.Wearer, Facepiece: a.bound.Facepiece, Tester: strings.TrimSpace(o.Tester), Supervised: s.supervised(),
		Strict: s.cfg.Strict, Practice: practice, Kit: s.cfg.Register.Kept(), Wall: wall.Format(time.RFC3339), WallQuality: string(quality),
		TimeSource: s.cfg.TimeSource, Version: s.cfg.Version, Box: s.box(), WiringChecked: s.inputs.checked, SoundMS: s.inputs.soundMS,
	}
	s.lost = "" // it was about what came before
	at := max(s.cfg.Clock.Now()-s.grace(), 0)
	s.begin(opened, at)
	return ""
}

func (s *Session) begin(o procedure.RunOpened, at time.Duration) {
	s.engine = NewEngine(o, at)
	s.engine.worked = s.worked
	s.last.Store(&o.Run)
	s.note()
	s.durable = procedure.State{}
	s.pending, s.promises, s.said = nil, nil, said{}
	var err error
	s.record, err = startRecorder(s.cfg.Capture, s.runs, s.cfg.Board.Lines(), s.levels, at, s.cfg.Log)
	if err != nil {
		s.cfg.Log.Error("no capture of this run", "err", err)
	}
	if o.Strict {
		s.record.do(func(w *capture.Writer) error { return w.Note(0, noteStrict) })
	}
	for _, l := range device.Lines() {
		if s.levels[l] {
			s.engine.Edge(device.Edge{At: at, Line: l, Closed: true})
		}
	}
}

// OpenRun is the id of the run that was opened last; empty before the first. It
// may be asked from any goroutine.
func (s *Session) OpenRun() string {
	if id := s.last.Load(); id != nil {
		return *id
	}
	return ""
}

// closeRun sets a finished run aside.
func (s *Session) closeRun(run string) string {
	switch {
	case s.engine == nil:
		return "no_run"
	case run != s.engine.State().Opened.Run:
		return "stale"
	case s.engine.State().Verdict == nil:
		return "run_open"
	case len(s.pending) > 0 && s.failed == "":
		return "not_saved"
	}
	s.record.finish(s.engine.Now())
	for _, a := range s.calls { // not worked off, and nobody will
		a.reply <- wire.Reply{Type: "reply", ID: a.cmd.ID, Why: "stale"}
	}
	clear(s.calls)
	s.engine = nil
	for l, on := range s.lit {
		if on {
			s.cfg.Board.Light(l, false)
			s.lit[l] = false
		}
	}
	return ""
}
