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
	if s.ofAnyone(a.role, c) {
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
	case "volume", "mute":
		say(s.turn(c))
	case "close":
		say(s.closeRun(c.Run))
	case string(procedure.DoTakeUp):
		s.takeUp(a, say)
	case "check_begin", "check_end", "learn", "learn_end", "tone", "latency_begin", "latency_end", "calibrate_begin", "calibrate_end", "confirm_clock":
		say(s.inputCommand(c))
	default:
		s.ask(a, say)
	}
}

// ofAnyone: whoever watches may end a run for a reason that can only make it a
// fail or not valid; it needs no lease. What was said aloud in the sensitivity
// test sets the bin, so there it is the driver's. The wearer's page may stop for
// the person, and says whether the name is right.
func (s *Session) ofAnyone(role wire.Role, c wire.Command) bool {
	r := s.find(c.Run)
	if r == nil {
		r = s.openRun // whose id it is not is told when it is asked
	}
	if r.engine == nil || role == "" {
		return false
	}
	switch procedure.Verb(c.Do) {
	case procedure.DoWelfare:
		return true
	case procedure.DoNameSaid:
		return role == wire.Wearer
	case procedure.DoTouched, procedure.DoHoodOff:
		return role != wire.Wearer
	case procedure.DoSaidAloud:
		return role != wire.Wearer && r.engine.State().Clock != nil
	}
	return false
}

// whileParked are the verbs of people that a run takes while it waits: none
// brings it nearer to a pass.
var whileParked = []procedure.Verb{procedure.DoWelfare, procedure.DoAbandon, procedure.DoNameSaid}

// ask gives the run an input of a person; the answer comes when it is worked off.
func (s *Session) ask(a asked, say func(why string)) {
	c := a.cmd
	in := c.Input
	in.Do = procedure.Verb(c.Do)
	r := s.find(c.Run)
	switch {
	case !procedure.FromPerson(in.Do):
		say("unknown")
	case r == nil && s.engine == nil:
		say("no_run")
	case r == nil:
		say("stale")
	case r != s.openRun && !slices.Contains(whileParked, in.Do):
		say("parked")
	case in.Do == procedure.DoPark && len(s.parked) >= mostParked:
		say("too_many_parked")
	case len(in.Reason) > 200 || len(in.By) > 100 || len(in.Question) > 100 || len(in.Mark) > 200 || in.For < 0:
		say("unknown")
	default:
		in.Source, in.Detail, in.Kit = "", "", nil
		if in.Do == procedure.DoTake {
			in.Kit = s.cfg.Register.Nebuliser(in.Mark)
		}
		switch {
		case a.role == wire.Wearer:
			in.By = string(wire.Wearer)
		case in.By == string(wire.Wearer):
			in.By = r.engine.State().Opened.Tester // nobody else speaks as the wearer
		case in.By == "":
			in.By = s.speaker(a, r)
		}
		s.input(r, a, in)
	}
}

// speaker is who gives an input that names nobody: whoever drives is the tester
// of the run, of one that only watches the role is known.
func (s *Session) speaker(a asked, r *openRun) string {
	if s.driver != a.client {
		return string(a.role)
	}
	return r.engine.State().Opened.Tester
}

// input gives a run what a page said, dated now.
func (s *Session) input(r *openRun, a asked, in procedure.Input) {
	s.tag++
	in.Tag, in.At = s.tag, s.cfg.Clock.Now()
	r.calls[in.Tag] = a
	r.say(in)
}

// worked answers the call that an input came from, with the refusal if the
// facts hold one.
func (r *openRun) worked(in procedure.Input, facts []procedure.Dated) {
	a, ok := r.calls[in.Tag]
	if !ok {
		return
	}
	delete(r.calls, in.Tag)
	if in.Do == procedure.DoTakeUp {
		r.taking = false
	}
	reply := wire.Reply{Type: "reply", ID: a.cmd.ID, OK: true}
	for _, f := range facts {
		if i, is := f.Fact.(procedure.Ignored); is && strings.HasPrefix(i.What, string(in.Do)) && i.Why != procedure.WhyNoted {
			reply.OK, reply.Why = false, string(i.Why)
		}
	}
	a.reply <- reply
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
	if s.inputs.bulb.underWay() {
		return "calibrating"
	}
	if s.held > 0 {
		return "held"
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
	for _, p := range s.parked {
		if p.engine.State().Opened.Wearer.ID == a.bound.Wearer.ID && !p.over() {
			return "run_open" // nobody is tested twice at a time
		}
	}
	practice := s.cfg.Practice
	if practice == "" {
		practice = a.bound.Practice
	}
	if a.actor != nil {
		practice = procedure.PracticeDrill
	}
	wall, quality := s.cfg.Wall.Now()
	fails := s.failsOf(a.bound, r)
	switch {
	case quality == clock.Unset:
		return "clock_unset"
	case s.missing() != "":
		return "input_missing"
	case practice == "" && !s.cfg.Register.Kept():
		return "no_nebuliser_entered"
	case a.actor == nil && fails > 0 && !r.AfterFail.Refit:
		return "other_facepiece_due"
	}
	code, err := s.newCode()
	if err != nil {
		s.cfg.Log.Error("open a run", "err", err)
		return "unknown"
	}
	s.endInputTests()
	// Never above the number of the run's own first entry, also while facts of
	// runs that wait are being written.
	number, _ := s.cfg.Journal.Last()
	s.newest = max(number, s.newest) + 1
	s.runs++
	opened := procedure.RunOpened{
		Run: fmt.Sprintf("r%06d", s.newest), Rules: r, Agent: o.Agent,
		Wearer: a.bound.Wearer, Facepiece: a.bound.Facepiece, Tester: strings.TrimSpace(o.Tester), Supervised: s.supervised(),
		Strict: s.cfg.Strict, Practice: practice, Kit: s.cfg.Register.Kept(), Hood: a.bound.Hood, Wall: wall.Format(time.RFC3339), WallQuality: string(quality),
		TimeSource: s.cfg.TimeSource, Version: s.cfg.Version, Box: s.box(), WiringChecked: s.inputs.checked, SoundMS: s.inputs.soundMS,
	}
	if fails > 0 && a.actor == nil {
		opened.Try = fails + 1
	}
	for _, u := range s.Open() {
		opened.Beside = append(opened.Beside, u.Run)
	}
	one := &openRun{code: code, language: a.bound.Language, uncleared: a.bound.Uncleared, actor: a.actor, lines: s.cfg.Board.Lines(), calls: map[uint64]asked{}}
	if a.actor != nil {
		// The button is a simulated pair on every box, and no nebuliser of the
		// house is asked for: a drill gives no mist.
		one.lines, opened.Supervised, opened.Kit = drillLines, true, false
		d := *o.Drill
		opened.Drill = &procedure.Drill{Seed: d.Seed, Level: d.Level, Troubles: append([]string{}, d.Troubles...)}
	}
	s.lost = "" // it was about what came before
	at := max(s.cfg.Clock.Now()-s.grace(), 0)
	s.begin(one, opened, at)
	return ""
}

// fitted names a wearer with a facepiece.
func fitted(wearer procedure.Wearer, facepiece procedure.Facepiece) string {
	return wearer.ID + " " + facepiece.ID
}

// fell keeps that a run ended as a fail.
func (s *Session) fell(st procedure.State, at time.Duration) {
	k := fitted(st.Opened.Wearer, st.Opened.Facepiece)
	s.fails[k] = append(s.fails[k], at)
}

// failsOf is how often a person failed with a facepiece in this sitting. The
// journal knows of those before a restart; the newest one it may not have yet.
func (s *Session) failsOf(b Bound, r procedure.RuleSet) int {
	n, now := 0, s.cfg.Clock.Now()
	for _, at := range s.fails[fitted(b.Wearer, b.Facepiece)] {
		if now-at <= r.Sitting() {
			n++
		}
	}
	return max(n, b.Fails)
}

func (s *Session) begin(r *openRun, o procedure.RunOpened, at time.Duration) {
	r.engine = NewEngine(o, at)
	r.engine.worked = r.worked
	s.openRun = r
	s.last.Store(&o.Run)
	s.note()
	levels := s.levelsOf(r)
	var err error
	r.record, err = startRecorder(s.cfg.Capture, s.runs, r.lines, levels, at, s.cfg.Log)
	if err != nil {
		s.cfg.Log.Error("no capture of this run", "err", err)
	}
	if o.Strict {
		s.record.do(func(w *capture.Writer) error { return w.Note(0, noteStrict) })
	}
	for _, l := range device.Lines() {
		if levels[l] {
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
	r := s.find(run)
	switch {
	case r == nil && s.engine == nil:
		return "no_run"
	case r == nil:
		return "stale"
	case !r.over():
		return "run_open"
	case len(r.pending) > 0 && s.failed == "":
		return "not_saved"
	}
	s.letGo(r)
	if r == s.openRun {
		s.openRun = &openRun{}
		s.dark()
	}
	s.parked = slices.DeleteFunc(s.parked, func(p *openRun) bool { return p == r })
	return ""
}
