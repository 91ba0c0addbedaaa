// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/console/archive"
	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A desk is a live session on the simulated board with a tester at a page.
type desk struct {
	t     *testing.T
	clk   deskClock
	board *sim.Board
	ses   *session.Session
	rules procedure.RuleSet
	fence uint64
	run   string
	heard *ear
	grace time.Duration
	stop  func()        // ends the session and waits for it
	left  chan struct{} // closed when the loop has seen that it is to end

	mu   sync.Mutex
	all  []wire.Snapshot
	news chan struct{}
}

// An ear keeps the cues that were played.
type ear struct {
	mu     sync.Mutex
	cues   []audio.Cue
	placed []audio.Placed
}

func (e *ear) Play(p audio.Placed) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.cues = append(e.cues, p.Cue)
	e.placed = append(e.placed, p)
}

// at gives the instants of a cue.
func (e *ear) at(c audio.Cue) []time.Duration {
	e.mu.Lock()
	defer e.mu.Unlock()
	var out []time.Duration
	for _, p := range e.placed {
		if p.Cue == c {
			out = append(out, p.At)
		}
	}
	return out
}
func (e *ear) Drop(time.Duration) {}
func (e *ear) Health() string     { return "" }
func (e *ear) Close() error       { return nil }

func (e *ear) has(c procedure.Cue) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return slices.Contains(e.cues, audio.Cue(c))
}

// quickRules is the US rule set with the times of waiting cut down: what is
// tested here is how facts travel, not what the rule asks.
func quickRules(t *testing.T, exercise float64) procedure.RuleSet {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	r := all["us-osha"]
	r.Figures.Wear.Value = 5
	r.Figures.Exercise.Value = exercise
	return r
}

// A leaving context tells when somebody has asked why it ended.
type leaving struct {
	context.Context
	asked func()
}

func (l leaving) Err() error {
	err := l.Context.Err()
	if err != nil {
		l.asked()
	}
	return err
}

// A deskClock runs by itself, or as far as a test lets it.
type deskClock interface {
	session.Clock
	sim.Clock
}

// newDesk is a desk by a clock that runs: a machine that is too busy makes its run
// not valid, so that little can be asserted of it.
func newDesk(t *testing.T, speed float64, journal store.Journal, change ...func(*session.Config)) *desk {
	t.Helper()
	return newDeskOn(t, clock.New(speed), journal, change...)
}

func newDeskOn(t *testing.T, clk deskClock, journal store.Journal, change ...func(*session.Config)) *desk {
	t.Helper()
	d := &desk{t: t, clk: clk, rules: quickRules(t, 60), heard: &ear{}, news: make(chan struct{}, 1)}
	d.board = sim.New(d.clk, true)
	if journal == nil {
		journal = memory.New()
	}
	cfg := session.Config{
		Clock: d.clk, Wall: clock.NewWall(time.Time{}),
		Board: d.board, BoardName: "simulated board", Sim: d.board, Journal: journal, Player: d.heard,
		Rules: map[string]procedure.RuleSet{"us-osha": d.rules}, Register: session.Fixed{People: demo.People(), Facepieces: demo.Facepieces(), Rules: map[string]procedure.RuleSet{"us-osha": d.rules}},
		Practice: "test", Strict: true, TimeSource: "arrival time", Grace: 30 * time.Millisecond,
		Publish: d.publish, Version: "test", Log: slog.New(slog.NewTextHandler(t.Output(), nil)),
	}
	for _, f := range change {
		f(&cfg)
	}
	d.rules, d.grace = cfg.Rules["us-osha"], cfg.Grace
	ses, err := session.New(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	d.ses = ses
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	d.left = make(chan struct{})
	go func() { defer close(done); _ = ses.Run(leaving{ctx, sync.OnceFunc(func() { close(d.left) })}) }()
	d.stop = func() { cancel(); <-done }
	t.Cleanup(func() { d.stop(); d.board.Close() })
	return d
}

func (d *desk) publish(s wire.Snapshot) {
	d.mu.Lock()
	d.all = append(d.all, s)
	d.mu.Unlock()
	select {
	case d.news <- struct{}{}:
	default:
	}
}

func (d *desk) snapshots() []wire.Snapshot {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.all)
}

// until waits for a snapshot that is as wanted; what says it in words.
func (d *desk) until(what string, want func(wire.Snapshot) bool) wire.Snapshot {
	d.t.Helper()
	late, give := clock.New(1).Wake(time.Minute)
	defer give()
	for {
		d.mu.Lock()
		n := len(d.all)
		var s wire.Snapshot
		if n > 0 {
			s = d.all[n-1]
		}
		d.mu.Unlock()
		if n > 0 && want(s) {
			return s
		}
		soon, stop := clock.New(1).Wake(time.Millisecond)
		select {
		case <-d.news:
		case <-soon:
			d.nudge()
		case <-late:
			run := "no run"
			if s.Run != nil {
				run = fmt.Sprintf("run %+v, verdict %+v", *s.Run, s.Run.Verdict)
			}
			d.t.Fatalf("no snapshot with %s came; the last is %+v, %s", what, s, run)
		}
		stop()
	}
}

func (d *desk) stage(st procedure.Stage) wire.Snapshot {
	d.t.Helper()
	return d.until("stage "+string(st), func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Stage == st })
}

// ask sends a command of the driver and gives the refusal, empty for none.
func (d *desk) ask(c wire.Command) string {
	d.t.Helper()
	return d.askAs("page 1", wire.Tester, c)
}

func (d *desk) askAs(client string, role wire.Role, c wire.Command) string {
	d.t.Helper()
	c.Type, c.ID = "command", "c"
	if c.Fence == 0 {
		c.Fence = d.fence
	}
	if c.Run == "" {
		c.Run = d.run
	}
	ctx, cancel := context.WithTimeout(d.t.Context(), time.Minute)
	defer cancel()
	answer := make(chan wire.Reply, 1)
	go func() { answer <- d.ses.Command(ctx, client, role, c) }()
	var r wire.Reply
	for answered := false; !answered; {
		soon, stop := clock.New(1).Wake(time.Millisecond)
		select {
		case r = <-answer:
			answered = true
		case <-soon:
			d.nudge()
		}
		stop()
	}
	if r.OK != (r.Why == "") || r.ID != "c" || r.Type != "reply" {
		d.t.Errorf("%s: the reply %+v does not hold together", c.Do, r)
	}
	return r.Why
}

func (d *desk) must(c wire.Command) {
	d.t.Helper()
	if why := d.ask(c); why != "" {
		d.t.Fatalf("%s was refused: %s", c.Do, why)
	}
}

func (d *desk) say(v procedure.Verb, in procedure.Input) {
	d.t.Helper()
	d.must(wire.Command{Do: string(v), Input: in})
}

func (d *desk) lease(client string) uint64 {
	d.t.Helper()
	if why := d.askAs(client, wire.Tester, wire.Command{Do: "take_lease"}); why != "" {
		d.t.Fatalf("the lease was refused: %s", why)
	}
	return d.until("a new driver", func(s wire.Snapshot) bool { return s.Driver == client }).Fence
}

var opening = &wire.Open{Wearer: "hs-014", Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: "Agnes Thorley"}

// open takes the lease, opens a run and answers what is asked before it.
func (d *desk) open() {
	d.t.Helper()
	if d.fence == 0 {
		d.fence = d.lease("page 1")
	}
	d.must(wire.Command{Do: "open", Open: opening})
	d.run = d.ses.OpenRun()
	d.wait(10 * time.Millisecond) // what follows is of a later instant
	for _, q := range d.rules.Before {
		d.say(procedure.DoAnswer, procedure.Input{Question: q.ID, Yes: true, By: "Agnes Thorley"})
	}
	d.say(procedure.DoAbstained, procedure.Input{For: time.Hour, By: "Agnes Thorley"})
}

// press presses a contact n times, each for 0.3 s in 1.2 s, from now on.
func (d *desk) press(l device.Line, n int) {
	d.t.Helper()
	var moves []sim.Move
	for i := range n {
		at := time.Duration(i) * 1200 * time.Millisecond
		moves = append(moves, sim.Move{At: at, Line: l, Closed: true}, sim.Move{At: at + 300*time.Millisecond, Line: l})
	}
	if err := d.board.Play(d.t.Context(), d.clk.Now(), moves); err != nil {
		d.t.Fatal(err)
	}
	d.wait(900 * time.Millisecond)
}

// nudge lets a clock that stands still go on a little.
func (d *desk) nudge() {
	if s, ok := d.clk.(*stillClock); ok {
		s.allow(s.stride)
	}
}

// saved waits until a journal holds the beginning of the run: a command is
// answered before what it did is on disk.
func (d *desk) saved(j store.Journal) {
	d.t.Helper()
	d.until("the run on disk", func(wire.Snapshot) bool {
		st, err := archive.State(d.t.Context(), j, d.run)
		return err == nil && st.Opened != nil
	})
}

// wait lets virtual time go by.
func (d *desk) wait(v time.Duration) {
	d.t.Helper()
	if err := d.clk.Sleep(d.t.Context(), d.clk.Now()+v); err != nil {
		d.t.Fatal(err)
	}
}

// toDosing brings an open run to the initial dose, half by page, half by contact.
func (d *desk) toDosing() {
	d.t.Helper()
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Screening)
	d.press(device.Squeeze, 3)
	d.press(device.Taste, 1)
	d.stage(procedure.Clearing)
	d.press(device.Step, 1)
	d.stage(procedure.Donning)
	d.wait(6 * time.Second)
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Dosing)
}

// give gives the squeezes of the initial dose that are missing at n. On a busy
// machine an edge may come so late that a squeeze is none; a tester sees what is
// missing and gives it.
func (d *desk) give(n int) {
	d.t.Helper()
	for range 6 {
		s := d.until("any", func(s wire.Snapshot) bool { return s.Run != nil })
		if s.Run.Stage != procedure.Dosing || s.Run.Initial.Given >= n {
			return
		}
		d.press(device.Squeeze, n-s.Run.Initial.Given)
		d.wait(time.Duration(float64(d.grace)*d.clk.Speed()) + 500*time.Millisecond)
	}
}

// dose gives the initial dose of n squeezes.
func (d *desk) dose(n int) {
	d.t.Helper()
	d.give(n)
	d.stage(procedure.Running)
}

// topUps gives every top-up in its window until the clock has run down; skip
// leaves out the last squeeze of that top-up and corrects the count by hand.
func (d *desk) topUps(skip int) {
	d.t.Helper()
	for n := 1; n <= d.rules.TopUps(); n++ {
		due := d.rules.Due(n)
		if verdict(d.until("a top-up due", func(s wire.Snapshot) bool {
			return verdict(s) || s.Run.RunMS != nil && time.Duration(*s.Run.RunMS)*time.Millisecond >= due-2*time.Second
		})) {
			return
		}
		dose := d.rules.BinOf(3).TopUp
		if n != skip {
			d.press(device.Squeeze, dose)
			// On a busy machine an edge may come so late that a squeeze is
			// none; a tester sees what is missing and gives it.
			for range 3 {
				d.wait(time.Duration(float64(d.grace)*d.clk.Speed()) + 500*time.Millisecond)
				s := d.until("any", func(s wire.Snapshot) bool { return true })
				if verdict(s) || s.Run.TopUps[n-1].Given >= dose {
					break
				}
				d.press(device.Squeeze, dose-s.Run.TopUps[n-1].Given)
			}
			continue
		}
		d.press(device.Squeeze, dose-1)
		why := d.ask(wire.Command{Do: string(procedure.DoCorrect), Input: procedure.Input{Delta: 1, Reason: "squeezed beside the pedal", By: "Agnes Thorley"}})
		if why != "" && !verdict(d.until("any", func(s wire.Snapshot) bool { return s.Run != nil })) {
			d.t.Fatalf("the correction was refused: %s", why)
		}
	}
}

func verdict(s wire.Snapshot) bool { return s.Run != nil && s.Run.Verdict != nil }
