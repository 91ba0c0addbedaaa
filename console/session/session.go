// SPDX-License-Identifier: Apache-2.0

// Package session is the loop around a run: edges and commands in, facts to the
// journal, cues and lamps out, snapshots to whoever watches. It owns the state
// and the only timer. It must not wait for disk, sound or a browser, and it
// must not know how a browser is reached.
package session

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"tallyhood/audio"
	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/contact"
	"tallyhood/store"
)

// A Clock dates what happens and wakes the loop.
type Clock interface {
	Now() time.Duration
	Speed() float64
	Real(time.Duration) time.Duration
	Wake(at time.Duration) (<-chan struct{}, func())
}

// A Wall is wall time with its quality: a label for records, on which nothing
// depends.
type Wall interface {
	Now() (time.Time, clock.Quality)
	Confirm(time.Time) error
	// Look gives the jump of the operating system's time since the last call.
	Look() time.Duration
	// Slept is how long the machine slept since the last call.
	Slept() time.Duration
	Steps() int
}

// A Register knows the people, the facepieces and the kit.
type Register interface {
	// May says whether a person may be tested with a facepiece now, and gives
	// both as a run binds them. It may wait for the disk. The error of a refusal
	// says in Why which.
	May(ctx context.Context, person, facepiece, rules string) (Bound, error)
	// Facepiece gives one that a rule set allows, for a drill. It refuses as May
	// does.
	Facepiece(ctx context.Context, facepiece, rules string) (procedure.Facepiece, error)
	// Nebuliser finds a nebuliser by its mark, nil when there is none; Kept says
	// whether kit is kept at all. Neither waits for anything.
	Nebuliser(mark string) *procedure.Kit
	Kept() bool
	// Hood finds a hood by its id, nil when there is none or it is not used any
	// more. It waits for nothing.
	Hood(id string) *procedure.Hood
}

// Bound is whom and what a run is about. Practice says why nothing of it can be
// a test record; empty when it can.
type Bound struct {
	Wearer    procedure.Wearer
	Facepiece procedure.Facepiece
	Practice  string
	Hood      *procedure.Hood // nil: none was named
	// Fails is how often the person failed with the facepiece in this sitting,
	// as far as the journal tells.
	Fails int
	// Language is the code of the person's first language that the pages have
	// words in; empty when it is not known. It is no part of a record.
	Language string
	// Uncleared: no clearance of the person is on record. It bars nothing and is
	// no part of a record.
	Uncleared bool
}

// A Refusal is why somebody may not be tested, as a key for the page's words.
type Refusal struct{ Why string }

func (r Refusal) Error() string { return "refused: " + r.Why }

// A Learner is a board that can learn which pedal brings a contact.
type Learner interface {
	// Learn waits for a press of the pedal, and gives what was learned in words.
	Learn(ctx context.Context, l device.Line) (string, error)
}

// A Contactor is a board whose contacts a page may press.
type Contactor interface {
	Set(l device.Line, closed bool) error
	Button(pressed bool)
}

// Config is what a session is made of.
type Config struct {
	Clock     Clock
	Wall      Wall
	Board     device.Board
	BoardName string
	Sim       Contactor  // nil for a real board
	Learner   Learner    // nil where no pedal can be learned
	Bulb      Calibrator // nil without a bulb sensor
	Journal   store.Journal
	Player    audio.Player
	Phrase    func(audio.Cue) time.Duration // how long a spoken cue takes, 0 when it cannot be said; may be nil
	Speak     func(wearer string)           // chooses the wearer's language for the run, "" when it is not known; must not wait; may be nil
	Dial      Dial                          // volume and mute; nil: the sound cannot be turned
	Rules     map[string]procedure.RuleSet
	Register  Register
	Drill     func(wire.DrillAsk) (Actor, DrillBound, error) // nil: no drills here; it must not wait
	// Unsaved is told the runs of which something that pages have shown could not
	// be saved, apart from the loop, and again after an error. The next start makes
	// a pass of one of them not valid (see Void); may be nil.
	Unsaved    func(runs []string) error
	Ended      func(run string) // a run's verdict, or what came of its proof after a pass, is on disk; called apart from the loop; may be nil
	Practice   string           // why records are practice; empty for real ones
	Strict     bool             // demand waits and answers
	TimeSource string           // of the edges, in words
	Capture    string           // file to write what the board saw to; empty for none
	Grace      time.Duration    // real time by which edges may arrive late
	Publish    func(wire.Snapshot)
	Parts      func() []device.Part // of the box beside the board, for the record; may be nil
	Beat       func()               // called by the loop at least four times a second, for a watchdog; may be nil
	Version    string
	Log        *slog.Logger
}

// A Session runs one board.
type Session struct {
	cfg      Config
	commands chan asked
	gone     chan string
	spoiled  chan Spoilt
	noted    chan noted
	holds    chan holding
	noting   sync.WaitGroup
	learning sync.WaitGroup // of the bulb and of pedals
	writer   *writer
	last     atomic.Pointer[string]     // id of the run opened last
	now      atomic.Pointer[[]Underway] // runs that have no verdict
	ended    chan struct{}              // closed when the loop has ended

	// Owned by the loop.
	*openRun                // the active run; never nil, without an engine when none is
	parked   []*openRun     // runs that wait, oldest first
	captures []*recorder    // of runs that were let go, as far as they are being written
	newest   uint64         // number in the id of the run opened last
	panel    *contact.Panel // watches the contacts, run or not
	fed      time.Duration  // instant that the panel has been told of
	levels   map[device.Line]bool
	stats    map[device.Line]*stat
	inputs   inputs
	tag      uint64
	number   uint64
	seq      uint64 // of the last edge
	fence    uint64
	driver   string
	lost     string
	failed   string          // StorageFailed when the journal does not write
	unnoted  map[string]bool // runs whose note for the next start fails
	held     int             // holds that are not released
	runs     int
	fails    map[string][]time.Duration // of a wearer with a facepiece since the daemon started
	lit      map[device.Lamp]bool
	looked   time.Duration // when the loop last looked around
}

type asked struct {
	client string
	role   wire.Role
	cmd    wire.Command
	reply  chan wire.Reply
	bound  Bound // of open, looked up before the loop gets it
	actor  Actor // of open, in a drill
	why    string
}

// New makes a session. A run that the journal holds open is closed as not
// valid, power lost: it is never resumed.
func New(ctx context.Context, cfg Config) (*Session, error) {
	s := &Session{
		cfg: cfg, commands: make(chan asked, 64), gone: make(chan string, 64), spoiled: make(chan Spoilt), noted: make(chan noted), holds: make(chan holding), unnoted: map[string]bool{}, ended: make(chan struct{}),
		openRun: &openRun{}, levels: map[device.Line]bool{}, stats: map[device.Line]*stat{}, fails: map[string][]time.Duration{}, lit: map[device.Lamp]bool{},
	}
	if err := CloseOpenRuns(ctx, cfg.Journal); err != nil {
		return nil, err
	}
	for _, l := range cfg.Board.Lines() {
		s.stats[l] = &stat{}
	}
	s.inputs.learned = make(chan learned, 1)
	if cfg.Bulb != nil {
		s.inputs.bulb.known = cfg.Bulb.Bulb()
	}
	s.writer = newWriter(cfg.Journal)
	return s, nil
}

// CloseOpenRuns ends every run that has no verdict as not valid, power lost.
// The newest run names those that waited when it was opened, so that nothing
// older has to be read: what was open then and is not among them had ended.
func CloseOpenRuns(ctx context.Context, j store.Journal) error {
	before := uint64(0)
	for {
		infos, err := j.Streams(ctx, before, 64)
		if err != nil {
			return fmt.Errorf("look for open runs: %w", err)
		}
		for _, info := range infos {
			before = info.First
			if !archive.IsRun(info.Stream) {
				continue
			}
			open, beside, err := closeRun(ctx, j, info.Stream)
			if err != nil {
				return fmt.Errorf("close run %s: %w", info.Stream, err)
			}
			for _, run := range beside {
				if _, _, err := closeRun(ctx, j, run); err != nil && !errors.Is(err, store.ErrNotFound) {
					return fmt.Errorf("close run %s: %w", run, err)
				}
			}
			if !open {
				return nil
			}
		}
		if len(infos) < 64 {
			return nil
		}
	}
}

// closeRun ends a run that has no verdict, and gives the runs that waited
// beside it.
func closeRun(ctx context.Context, j store.Journal, run string) (wasOpen bool, beside []string, err error) {
	st, err := archive.State(ctx, j, run)
	if err != nil || st.Verdict != nil {
		if st.Opened != nil {
			beside = st.Opened.Beside
		}
		return false, beside, err
	}
	facts, _ := procedure.Decide(st, procedure.Input{At: st.At, Do: procedure.DoPowerLost})
	drafts, err := draftsOf(run, facts)
	if err != nil {
		return true, nil, err
	}
	_, err = j.Append(ctx, drafts...)
	return true, st.Opened.Beside, err
}

func draftsOf(run string, facts []procedure.Dated) ([]store.Draft, error) {
	var out []store.Draft
	for _, f := range facts {
		if o, ok := f.Fact.(procedure.RunOpened); ok && o.Wearer.Sealed != "" {
			o.Wearer.Name = "" // the journal has it sealed
			f.Fact = o
		}
		b, err := procedure.Encode(f)
		if err != nil {
			return nil, err
		}
		out = append(out, store.Draft{Stream: run, Kind: f.Fact.Kind(), Version: procedure.FactVersion, Body: b})
	}
	return out, nil
}

// Command asks the loop for something and waits for the answer.
func (s *Session) Command(ctx context.Context, client string, role wire.Role, c wire.Command) wire.Reply {
	a := asked{client: client, role: role, cmd: c, reply: make(chan wire.Reply, 1)}
	if c.Do == "open" && c.Open != nil && role == wire.Tester {
		if err := s.lookUp(ctx, *c.Open, &a); err != nil {
			var no Refusal
			if !errors.As(err, &no) {
				s.cfg.Log.Error("look up for a run", "err", err)
				no.Why = "unknown"
			}
			a.why = no.Why
		}
	}
	stale := wire.Reply{Type: "reply", ID: c.ID, Why: "stale"}
	select {
	case s.commands <- a:
	case <-ctx.Done():
		return stale
	case <-s.ended:
		return stale
	}
	select {
	case r := <-a.reply:
		return r
	case <-ctx.Done():
		return stale
	case <-s.ended: // nobody is left to answer
		return stale
	}
}

// lookUp finds whom and what a run is about.
func (s *Session) lookUp(ctx context.Context, o wire.Open, a *asked) (err error) {
	if o.Drill == nil {
		a.bound, err = s.cfg.Register.May(ctx, o.Wearer, o.Facepiece, o.Rules)
		if err != nil || o.Hood == "" {
			return err
		}
		if a.bound.Hood = s.cfg.Register.Hood(o.Hood); a.bound.Hood == nil {
			return Refusal{"hood_not_known"}
		}
		return nil
	}
	d, err := s.lookUpDrill(ctx, o)
	a.bound, a.actor = d.bound, d.actor
	return err
}

// Leave says that a browser has gone.
func (s *Session) Leave(client string) {
	select {
	case s.gone <- client:
	default: // the lease is then taken over by hand
	}
}

// beat is how often the loop looks around when nothing happens, real time.
const beat = 250 * time.Millisecond

// stall is the longest that the loop may lose, real time.
const stall = time.Second

// Run is the loop. It returns when the context ends or the board closes; a run
// under way then ends as interrupted.
func (s *Session) Run(ctx context.Context) error {
	defer func() {
		for _, r := range s.all() {
			r.record.wait()
		}
		for _, c := range s.captures {
			c.wait()
		}
		close(s.ended)
		s.noting.Wait()
		s.learning.Wait()
	}()
	s.looked = s.cfg.Clock.Now()
	s.fed = s.looked
	s.panel = contact.NewPanel(s.supervised(), s.fed)
	s.publish()
	for {
		wake := s.wake()
		timer, stop := s.cfg.Clock.Wake(wake)
		due := min(wake, s.looked+s.beat())
		var err error
		select {
		case e, ok := <-s.cfg.Board.Edges():
			if !ok {
				err = errors.New("the board was closed")
				break
			}
			s.watch(due)
			s.edge(e)
		case l, ok := <-s.cfg.Board.Lost():
			if ok {
				s.gap(l.Reason)
			}
			s.watch(due)
		case a := <-s.commands:
			s.watch(due)
			s.drain() // what the contacts did before it comes first
			s.command(a)
		case c := <-s.gone:
			s.watch(due)
			if s.driver == c {
				s.driver = ""
				s.fence++
			}
		case w := <-s.writer.done:
			s.watch(due)
			s.onDisk(w)
		case n := <-s.noted:
			s.watch(due)
			s.onNoted(n)
		case x := <-s.spoiled:
			s.watch(due)
			s.drain()
			s.spoil(x)
		case h := <-s.holds:
			s.watch(due)
			s.hold(h)
		case l := <-s.inputs.learned:
			s.watch(due)
			s.onLearned(l)
		case b := <-s.inputs.bulb.steps:
			s.watch(due)
			s.inputs.bulb.hear(b)
		case c := <-s.inputs.bulb.done:
			s.watch(due)
			s.drain() // what the sensor said before
			s.onBulb(c)
		case <-timer:
			s.watch(due)
		case <-ctx.Done():
			err = ctx.Err()
		}
		stop()
		// Whatever woke the loop, the run may not go past an edge that is
		// waiting: it would lose its date.
		s.drain()
		if err != nil {
			s.inputs.bulb.leave(bulbLeft)
			if s.inputs.giveUp != nil {
				s.inputs.giveUp()
			}
			s.finish()
			return err
		}
		s.advance()
		s.act()
		s.unsaved()
		s.publish()
		if s.cfg.Beat != nil {
			s.cfg.Beat()
		}
	}
}

// gap: edges may be missing, so nothing that follows is sure.
func (s *Session) gap(reason string) {
	s.lost = reason
	s.cfg.Log.Warn("edges may be missing", "reason", reason)
	s.inputs.bulb.missed(reason)
	if s.inputs.check != nil {
		s.inputs.check.Stop() // what moved meanwhile is not known
	}
	s.tell(procedure.DoGap, reason)
}

// watch notices that the loop has lost more than a second, whatever woke it:
// due is the instant by which it should have looked around again. It comes
// before the edges that waited meanwhile, so that no verdict slips in between.
func (s *Session) watch(due time.Duration) {
	now := s.cfg.Clock.Now()
	if late := s.cfg.Clock.Real(now - due); late > stall {
		s.tell(procedure.DoStalled, fmt.Sprintf("%.1f s", late.Seconds()))
	}
	// The clock stands still while the machine sleeps, so nothing is late then.
	if slept := s.cfg.Wall.Slept(); slept > stall {
		s.tell(procedure.DoStalled, fmt.Sprintf("the machine slept for %.1f s", slept.Seconds()))
	}
	if jump := s.cfg.Wall.Look(); jump != 0 {
		s.cfg.Log.Warn("wall time jumped", "by", jump)
		s.tell(procedure.DoClockStepped, fmt.Sprintf("by %+.0f s", jump.Seconds()))
	}
	s.looked = now
}

func (s *Session) supervised() bool {
	for _, l := range s.cfg.Board.Lines() {
		if l == device.TasteNC {
			return true
		}
	}
	return false
}

// grace is how far the engine stays behind the clock, so that an edge that the
// kernel dated but has not handed over yet still finds its place.
func (s *Session) grace() time.Duration {
	return time.Duration(float64(s.cfg.Grace) * s.cfg.Clock.Speed())
}

// beat is how often the loop looks around when nothing happens, on its clock.
func (s *Session) beat() time.Duration { return time.Duration(float64(beat) * s.cfg.Clock.Speed()) }

func (s *Session) wake() time.Duration {
	at := s.cfg.Clock.Now() + s.beat()
	soonest := func(next time.Duration, ok bool) {
		if ok {
			at = min(at, next+s.grace())
		}
	}
	soonest(s.panel.Next())
	soonest(s.inputs.next())
	for _, r := range s.all() {
		soonest(r.engine.Next())
		if st := r.engine.State(); r.actor != nil && !st.Parked {
			// One that is late, as after its run waited, is asked when the loop
			// looks around: an instant in the past would look like a stall.
			if next, ok := r.actor.Next(st); next > r.engine.Now() {
				soonest(next, ok)
			}
		}
	}
	return at
}

// drain takes the edges that are there already, those that the kernel still
// holds included, and the word of lost ones: the run may not go past what it
// could know, and one snapshot shows all.
func (s *Session) drain() {
	if f, ok := s.cfg.Board.(device.Flusher); ok {
		f.Flush()
	}
	// An edge of after a stall may carry a run over its end.
	if late := s.cfg.Clock.Real(s.cfg.Clock.Now() - s.looked); late > stall {
		s.tell(procedure.DoStalled, fmt.Sprintf("%.1f s", late.Seconds()))
	}
	for range mostDrained {
		select {
		case e, ok := <-s.cfg.Board.Edges():
			if !ok {
				return
			}
			s.edge(e)
			continue
		default:
		}
		select {
		case l, ok := <-s.cfg.Board.Lost():
			if !ok {
				return
			}
			s.gap(l.Reason)
		default:
			return
		}
	}
	// No contact does that, and what has not been read yet must not be overtaken.
	s.gap("edges come faster than they can be read")
}

// mostDrained is how many edges are taken at one go: four times what a board
// keeps for the loop.
const mostDrained = 1 << 16

func (s *Session) edge(e device.Edge) {
	if e.Seq != 0 && s.seq != 0 && e.Seq != s.seq+1 {
		s.gap("the numbers of the edges have a gap")
	}
	s.seq = e.Seq
	s.levels[e.Line] = e.Closed
	s.feed(e)
	if s.engine == nil || s.actor != nil && isButton(e.Line) {
		return // of a drill the button is the simulated wearer's
	}
	s.perform(s.openRun, e.At)
	s.hand(e)
}

// feed gives an edge to the panel and the tests that watch the contacts
// themselves, run or not.
func (s *Session) feed(e device.Edge) {
	s.fed = max(s.fed, e.At)
	at := s.fed
	if st := s.stats[e.Line]; st != nil {
		found := !st.known // the first is the level that it was found with
		st.known, st.last = true, at
		if found && !e.Closed {
			return // as the panel takes it already
		}
		if !found {
			st.edges++
		}
	}
	switch e.Line {
	case device.Squeeze:
		s.panel.SqueezeEdge(at, e.Closed)
	case device.Step:
		s.panel.StepEdge(at, e.Closed)
	case device.Taste, device.TasteNO:
		s.panel.ReportEdge(at, e.Closed)
	case device.TasteNC:
		s.panel.RestEdge(at, e.Closed)
	}
	s.inputs.edge(at, e)
}

// advance goes as far as the loop had come before it took the edges: what was
// lost since then, watch has yet to notice, and the edges of it have yet to come.
func (s *Session) advance() {
	to := s.looked - s.grace()
	s.fed = max(s.fed, to)
	s.panel.Advance(s.fed)
	seen := s.panel.Take()
	for _, g := range seen {
		s.count(g)
	}
	s.testInputs(s.fed)
	for _, r := range s.all() {
		if to > r.engine.Now() {
			s.perform(r, to)
			r.engine.Advance(to)
		}
	}
	s.watchButton(seen)
}

// tell gives every run an input of the box itself. It is dated at the last
// instant that the run was sure of, so that no verdict can come before it.
func (s *Session) tell(do procedure.Verb, detail string) {
	for _, r := range s.all() {
		r.say(procedure.Input{At: r.engine.Now(), Do: do, Detail: detail})
	}
}

// act hands facts to the writer and orders to sound and lamps. A run that waits
// orders nothing: what sounds belongs to the active one.
func (s *Session) act() {
	for _, r := range s.all() {
		orders := s.write(r)
		if r != s.openRun {
			continue
		}
		for _, o := range orders {
			if o.Durable && len(s.pending) > 0 {
				s.promises = append(s.promises, o)
				continue
			}
			s.sound(o)
		}
		s.speak()
		s.lamps()
	}
	s.callParked()
	s.settle()
	s.note()
}

// write hands the new facts of a run to the writer and gives its orders.
func (s *Session) write(r *openRun) []procedure.Order {
	facts, orders := r.engine.Take()
	if len(facts) == 0 {
		return orders
	}
	if len(r.pending) == 0 {
		r.oldest = s.cfg.Clock.Now()
	}
	r.pending = append(r.pending, facts...)
	s.writer.write(r.id(), facts)
	for _, f := range facts {
		if v, ok := f.Fact.(procedure.Ended); ok {
			if v.Outcome == procedure.Fail {
				s.fell(r.engine.State(), f.At)
			}
			if v.Outcome == procedure.Pass { // the proof or the journal may yet undo it
				r.record.flush()
			} else {
				r.record.finish(r.engine.Now())
			}
		}
	}
	return orders
}

func (s *Session) sound(o procedure.Order) {
	if o.Drop {
		s.cfg.Player.Drop(o.At)
		s.said.drop(o.At)
		return
	}
	s.cfg.Player.Play(audio.Placed{Cue: audio.Cue(o.Cue), At: o.At})
	s.utter(s.spoken(s.engine.State(), o))
}

func (s *Session) lamps() {
	st := s.engine.State()
	set := func(l device.Lamp, on bool) {
		if s.lit[l] != on {
			s.lit[l] = on
			s.cfg.Board.Light(l, on)
		}
	}
	set(device.LampRun, st.Stage == procedure.Running)
	set(device.LampStop, st.Verdict != nil && st.Verdict.Outcome != procedure.Pass)
	due := st.Stage == procedure.Dosing
	if t, ok := st.RunTime(s.engine.Now()); ok && st.Stage == procedure.Running {
		n := st.Opened.Rules.WindowAt(t)
		due = n > 0 && t >= st.Opened.Rules.Due(n) && st.TopUp(n).Left() > 0
	}
	set(device.LampDue, due)
}

// onDisk takes the writer's word on a group of facts. After a failure nothing
// is durable any more: a later success would leave a hole before it.
func (s *Session) onDisk(w written) {
	if s.failed != "" {
		return
	}
	if w.err != nil {
		s.failed = wire.StorageFailed
		s.cfg.Log.Error("journal", "err", w.err)
		for _, r := range s.all() {
			if !r.over() {
				r.say(procedure.Input{At: r.engine.Now(), Do: procedure.DoJournalFailed})
			}
		}
		return
	}
	r := s.find(w.run)
	if r == nil {
		return
	}
	ended := false
	for _, f := range r.pending[:w.n] {
		r.durable = procedure.Fold(r.durable, f)
		switch f.Fact.(type) {
		case procedure.Ended, procedure.ProofGiven, procedure.ProofLeft, procedure.KitSpoiled:
			ended = true
		}
	}
	if ended && s.cfg.Ended != nil {
		go s.cfg.Ended(w.run)
	}
	r.pending = r.pending[w.n:]
	r.oldest = s.cfg.Clock.Now()
	if len(r.pending) > 0 {
		return
	}
	if r == s.openRun {
		for _, o := range r.promises {
			if o.Cue == procedure.CuePass && r.durable.Verdict.Outcome != procedure.Pass {
				continue // undone before it was shown
			}
			o.At = s.cfg.Clock.Now()
			s.sound(o)
		}
	}
	r.promises = nil
}

// finish ends the runs under way when the daemon stops, where the loop had come
// to: an edge of after that may not have been read yet. It waits for the disk, since
// of what pages were told and does not come there the next start has to know.
func (s *Session) finish() {
	all := s.all()
	for _, r := range all {
		r.engine.End(s.looked-s.grace(), procedure.DoEnd)
	}
	s.act()
	err := s.writer.close()
	s.lastWritten(err)
	s.unsaved()
	for _, r := range all {
		r.record.finish(r.engine.Now())
	}
}

// lastWritten takes what the writer did when nobody listened any more, and its
// error at the end. Nothing is shown or sounded by it.
func (s *Session) lastWritten(err error) {
	for len(s.writer.done) > 0 {
		w := <-s.writer.done
		if r := s.find(w.run); w.err == nil && r != nil {
			r.pending = r.pending[w.n:]
		}
	}
	if err != nil && s.failed == "" {
		s.failed = wire.StorageFailed
		s.cfg.Log.Error("journal", "err", err)
	}
}
