// SPDX-License-Identifier: Apache-2.0

// Package linetest is the contract of a source of edges on real lines, as
// tests that any source with its chip can run: over a fake kernel in a unit
// test, or over a chip whose lines an outside hand moves. A hand may be slow
// and the machine starved; what a case waits for, it waits for with patience.
// It must not know how a source reads its lines.
package linetest

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/device"
)

// A Clock is the clock that the source dates its edges by.
type Clock interface {
	Now() time.Duration
	Wake(at time.Duration) (<-chan struct{}, func())
}

// A Hand moves the physical lines.
type Hand interface {
	// Set closes or opens a contact and returns once the chip has its level.
	// The level that the contact has already is no error and no edge.
	Set(l device.Line, closed bool) error
}

// A Rig is a source under test and a way to move its lines.
type Rig struct {
	Clock Clock
	// New returns a source of Lines, which nobody watches yet; it is called
	// when no other one is watched. buffer is how many events the kernel is to
	// hold for it, 0 for the usual number; a source that cannot ask for it
	// ignores it.
	New func(buffer int) device.Source
	// Lines are the contacts, all of them on one chip; at least two.
	Lines []device.Line
	Hand  Hand
	// Holds is how many events the kernel holds for a source of New(16); 0 is
	// 16 for each line.
	Holds int
	// Unplug takes the chip away and Replug brings it back; nil where the chip
	// cannot be moved.
	Unplug, Replug func() error
	// Patience is how long to wait for what must come; 0 is 5 s.
	Patience time.Duration
	// Late is how much later than the hand an edge may be dated; 0 is 200 ms.
	Late time.Duration
	// Dwell is how long a slow press or release lasts; 0 is 30 ms. On a
	// starved machine shorter ones run together.
	Dwell time.Duration
	// Still: the machine may stand still now and then, as a busy or an emulated
	// one does; then a loss that says so is right.
	Still bool
}

// A Case is one clause of the contract.
type Case struct {
	Name string
	Run  func(t testing.TB, r Rig)
}

// Cases are all clauses.
func Cases() []Case {
	return []Case{
		{"lines", lines},
		{"level at start", levelAtStart},
		{"press", press},
		{"slow presses", slowPresses},
		{"bounce", bounce},
		{"fast edges", fastEdges},
		{"two lines", twoLines},
		{"stale edges", staleEdges},
		{"flush", flush},
		{"flush while edges come", flushRace},
		{"close and open again", reopen},
		{"close at once", closeAtOnce},
		{"queue overrun", overrun},
		{"unplugged", unplugged},
	}
}

// Run runs every clause as a subtest.
func Run(t *testing.T, r Rig) {
	for _, c := range Cases() {
		t.Run(c.Name, func(t *testing.T) { c.Run(t, r) })
	}
}

// A seen is one edge as it came.
type seen struct {
	line   device.Line
	at     time.Duration
	closed bool
}

// A record is a sink that keeps everything.
type record struct {
	mu    sync.Mutex
	edges []seen
	lost  []string
	news  chan struct{} // closed and made anew with everything that comes
	hold  chan struct{} // while not nil, Edge waits for it
}

func (r *record) put(f func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f()
	close(r.news)
	r.news = make(chan struct{})
}

func (r *record) Edge(l device.Line, at time.Duration, closed bool) {
	r.mu.Lock()
	hold := r.hold
	r.mu.Unlock()
	if hold != nil {
		<-hold
	}
	r.put(func() { r.edges = append(r.edges, seen{l, at, closed}) })
}

func (r *record) Lost(_ time.Duration, reason string) {
	r.put(func() { r.lost = append(r.lost, reason) })
}

func (r *record) Changed() { r.put(func() {}) }

// of are the edges of a line that change its level, the first level included.
func (r *record) of(l device.Line) []seen {
	r.mu.Lock()
	defer r.mu.Unlock()
	var all []seen
	for _, e := range r.edges {
		if e.line == l && (len(all) == 0 || all[len(all)-1].closed != e.closed) {
			all = append(all, e)
		}
	}
	return all
}

func (r *record) closed(l device.Line) bool {
	all := r.of(l)
	return len(all) > 0 && all[len(all)-1].closed
}

func (r *record) losses() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.lost)
}

// A bench is a source that is being watched.
type bench struct {
	t    testing.TB
	rig  Rig
	src  device.Source
	rec  *record
	stop context.CancelFunc
	done chan struct{}
}

func (r Rig) fill() Rig {
	if r.Patience == 0 {
		r.Patience = 5 * time.Second
	}
	if r.Late == 0 {
		r.Late = 200 * time.Millisecond
	}
	if r.Dwell == 0 {
		r.Dwell = 30 * time.Millisecond
	}
	if r.Holds == 0 {
		r.Holds = 16 * len(r.Lines)
	}
	return r
}

// rest opens all contacts and watches a new source until it has given their
// levels.
func rest(t testing.TB, r Rig, buffer int) *bench {
	t.Helper()
	r = r.fill()
	for _, l := range r.Lines {
		set(t, r, l, false)
	}
	return watch(t, r, buffer)
}

func watch(t testing.TB, r Rig, buffer int) *bench {
	t.Helper()
	r = r.fill()
	ctx, cancel := context.WithCancel(context.Background())
	b := &bench{t: t, rig: r, src: r.New(buffer), rec: &record{news: make(chan struct{})}, stop: cancel, done: make(chan struct{})}
	go func() {
		defer close(b.done)
		b.src.Watch(ctx, b.rec)
	}()
	t.Cleanup(b.end)
	for _, l := range r.Lines {
		b.until(fmt.Sprintf("first level of %s", l), func() bool { return len(b.rec.of(l)) > 0 })
	}
	return b
}

// end stops the watch and checks that what came was in order.
func (b *bench) end() {
	b.t.Helper()
	b.stop()
	wake, stop := b.rig.Clock.Wake(b.rig.Clock.Now() + b.rig.Patience)
	defer stop()
	select {
	case <-b.done:
	case <-wake:
		b.t.Errorf("Watch goes on %v after its context has ended", b.rig.Patience)
		return
	}
	b.rec.mu.Lock()
	defer b.rec.mu.Unlock()
	last := map[device.Line]time.Duration{}
	for _, e := range b.rec.edges {
		if at, ok := last[e.line]; ok && e.at < at {
			b.t.Errorf("%s: an edge at %v comes after one at %v", e.line, e.at, at)
		}
		last[e.line] = e.at
		if now := b.rig.Clock.Now(); e.at > now {
			b.t.Errorf("%s: an edge at %v, and it is %v", e.line, e.at, now)
		}
	}
}

// until waits until a condition holds.
func (b *bench) until(what string, holds func() bool) {
	b.t.Helper()
	wake, stop := b.rig.Clock.Wake(b.rig.Clock.Now() + b.rig.Patience)
	defer stop()
	for {
		b.rec.mu.Lock()
		news := b.rec.news
		b.rec.mu.Unlock()
		if holds() {
			return
		}
		select {
		case <-news:
		case <-wake:
			if holds() {
				return
			}
			b.t.Fatalf("waited %v for: %s; lost %q; %s", b.rig.Patience, what, b.rec.losses(), b.state())
		}
	}
}

// state is what the source says of itself.
func (b *bench) state() string { return fmt.Sprintf("report %+v", b.src.Report()) }

func (b *bench) sleep(d time.Duration) { sleep(b.rig, d) }

func sleep(r Rig, d time.Duration) {
	wake, _ := r.Clock.Wake(r.Clock.Now() + d)
	<-wake
}

func set(t testing.TB, r Rig, l device.Line, closed bool) {
	t.Helper()
	if err := r.Hand.Set(l, closed); err != nil {
		t.Fatalf("the hand cannot move %s: %v", l, err)
	}
}

func (b *bench) set(l device.Line, closed bool) {
	b.t.Helper()
	set(b.t, b.rig, l, closed)
}

// settle waits, on a machine that may stand still, for what should hold by now:
// there the source may not have had its turn yet.
func (b *bench) settle(what string, holds func() bool) {
	b.t.Helper()
	if b.rig.Still {
		b.until(what, holds)
	}
}

// quiet lets pass what may still be on its way.
func (b *bench) quiet() { b.sleep(250 * time.Millisecond) }

// told are the losses but those that are right on a machine that stands still.
func (b *bench) told() []string {
	return slices.DeleteFunc(b.rec.losses(), func(lost string) bool { return b.rig.Still && strings.Contains(lost, "stood still") })
}

func (b *bench) noLoss() {
	b.t.Helper()
	for _, lost := range b.told() {
		b.t.Errorf("lost without a reason: %q", lost)
	}
}

func lines(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	if got := b.src.Lines(); !slices.Equal(got, r.Lines) {
		t.Errorf("lines %q, want %q", got, r.Lines)
	}
	if s := b.src.TimeSource(); s != device.KernelTime && s != device.ArrivalTime {
		t.Errorf("time source %q", s)
	}
	reported := map[device.Line]bool{}
	for _, p := range b.src.Report() {
		if p.State != device.Loaded {
			t.Errorf("%s: %s: %s", p.Name, p.State, p.Reason)
		}
		for _, l := range p.Lines {
			reported[l] = true
		}
	}
	for _, l := range r.Lines {
		if !reported[l] {
			t.Errorf("no part brings %s", l)
		}
	}
}

func levelAtStart(t testing.TB, r Rig) {
	r = r.fill()
	for i, l := range r.Lines {
		set(t, r, l, i%2 == 0)
	}
	b := watch(t, r, 0)
	b.quiet()
	for i, l := range r.Lines {
		if all := b.rec.of(l); len(all) != 1 || all[0].closed != (i%2 == 0) {
			t.Errorf("%s: %v, want one edge with closed %v", l, all, i%2 == 0)
		}
	}
	b.noLoss()
}

// press: an edge comes for each movement and is dated by it.
func press(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	for i, l := range b.rig.Lines {
		for n, closed := range []bool{true, false} {
			before := b.rig.Clock.Now()
			b.set(l, closed)
			after := b.rig.Clock.Now()
			b.until(fmt.Sprintf("%s closed: %v", l, closed), func() bool { return len(b.rec.of(l)) == n+2 })
			e := b.rec.of(l)[n+1]
			if e.closed != closed || e.at < before-time.Millisecond || e.at > after+b.rig.Late {
				t.Errorf("%s: closed %v at %v, want %v from %v to %v", l, e.closed, e.at, closed, before, after)
			}
			b.sleep(b.rig.Dwell)
		}
		for _, other := range b.rig.Lines[i+1:] {
			if n := len(b.rec.of(other)); n != 1 {
				t.Errorf("%s moved %d times while %s was pressed", other, n-1, l)
			}
		}
	}
	b.noLoss()
}

// slowPresses: each of many presses comes, none too many.
func slowPresses(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	l := b.rig.Lines[0]
	const n = 20
	for range n {
		b.set(l, true)
		b.sleep(b.rig.Dwell)
		b.set(l, false)
		b.sleep(b.rig.Dwell)
	}
	b.until(fmt.Sprintf("%d presses of %s", n, l), func() bool { return len(b.rec.of(l)) >= 2*n+1 })
	b.quiet()
	if got := len(b.rec.of(l)); got != 2*n+1 {
		t.Errorf("%d edges, want %d", got, 2*n+1)
	}
	b.noLoss()
}

// bounce: however many edges run together, each press and release ends with
// the right level, and no level appears that the line did not have.
func bounce(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	l := b.rig.Lines[0]
	made := 1
	for range 10 {
		for _, closed := range []bool{true, false} {
			for range 6 {
				b.set(l, closed)
				b.set(l, !closed)
				made += 2
			}
			b.set(l, closed)
			made++
			b.until(fmt.Sprintf("%s settled, closed: %v", l, closed), func() bool { return b.rec.closed(l) == closed })
			b.sleep(2 * b.rig.Dwell)
			b.settle("the level at rest", func() bool { return b.rec.closed(l) == closed }) // it had it in the middle, too
			if b.rec.closed(l) != closed {
				t.Fatalf("the line rests with closed %v, and the last edge says otherwise", closed)
			}
		}
	}
	if n := len(b.rec.of(l)); n > made || n < 21 {
		t.Errorf("%d edges of %d that were made; at least 21 had to come", n, made)
	}
	b.noLoss()
}

// fastEdges: a burst far longer than the kernel's usual queue.
func fastEdges(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	l := b.rig.Lines[1]
	const n = 101
	for i := range n {
		b.set(l, i%2 == 0)
	}
	b.until("the last level", func() bool { return b.rec.closed(l) })
	b.quiet()
	b.settle("the last level at rest", func() bool { return b.rec.closed(l) })
	if got := len(b.rec.of(l)); got > n+1 || !b.rec.closed(l) {
		t.Errorf("%d edges of %d, the last with closed %v", got-1, n, b.rec.closed(l))
	}
}

// twoLines: what happens on two lines keeps its order.
func twoLines(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	one, two := b.rig.Lines[0], b.rig.Lines[1]
	for n := range 5 {
		closed := n%2 == 0
		b.set(one, closed)
		b.sleep(b.rig.Dwell)
		b.set(two, closed)
		b.until("both lines", func() bool { return len(b.rec.of(one)) == n+2 && len(b.rec.of(two)) == n+2 })
		first, second := b.rec.of(one)[n+1], b.rec.of(two)[n+1]
		if first.at > second.at || first.closed != closed || second.closed != closed {
			t.Errorf("%v and %v, want closed %v and the first earlier", first, second, closed)
		}
		b.sleep(b.rig.Dwell)
	}
	b.noLoss()
}

// staleEdges: what the line did before it was watched is nobody's edge.
func staleEdges(t testing.TB, r Rig) {
	r = r.fill()
	for _, last := range []bool{true, false} {
		b := rest(t, r, 0)
		b.end() // the line has been requested once
		l := r.Lines[0]
		for range 8 {
			set(t, r, l, true)
			set(t, r, l, false)
		}
		set(t, r, l, last)
		now := r.Clock.Now()
		b = watch(t, r, 0)
		b.quiet()
		all := b.rec.of(l)
		if len(all) != 1 || all[0].closed != last || all[0].at < now {
			t.Errorf("%v, want one level, closed %v, dated after %v", all, last, now)
		}
		b.noLoss()
		b.end()
	}
}

// flush: what the kernel has is handed over before Flush returns.
func flush(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	l := b.rig.Lines[0]
	b.src.Flush()
	for n := range 20 {
		b.set(l, n%2 == 0)
		b.sleep(b.rig.Dwell) // the kernel knows of it
		b.src.Flush()
		if got := len(b.rec.of(l)); got != n+2 {
			b.quiet()
			t.Fatalf("%d edges right after Flush, %d later, want %d", got, len(b.rec.of(l)), n+2)
		}
	}
	b.end()
	b.src.Flush() // after the end it does nothing
}

// flushRace: flushing from elsewhere neither doubles nor swaps edges.
func flushRace(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	l := b.rig.Lines[0]
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			b.src.Flush()
			b.sleep(time.Millisecond)
		}
	}()
	const n = 20
	for i := range n {
		b.set(l, i%2 == 0)
		b.sleep(b.rig.Dwell)
	}
	b.until("all edges", func() bool { return len(b.rec.of(l)) >= n+1 })
	cancel()
	<-done
	b.quiet()
	if got := len(b.rec.of(l)); got != n+1 {
		t.Errorf("%d edges, want %d", got, n+1)
	}
	b.noLoss()
}

// reopen: the lines are released, and what moved meanwhile shows as a level.
func reopen(t testing.TB, r Rig) {
	b := rest(t, r, 0)
	r = b.rig
	l := r.Lines[1]
	for n := range 4 {
		b.end()
		b.noLoss()
		set(t, r, l, n%2 == 0)
		b = watch(t, r, 0)
		if b.rec.closed(l) != (n%2 == 0) {
			t.Errorf("opened again: closed %v, want %v", b.rec.closed(l), n%2 == 0)
		}
		b.set(l, n%2 != 0)
		b.until("an edge after opening again", func() bool { return b.rec.closed(l) == (n%2 != 0) })
	}
}

// closeAtOnce: a watch may end before it has begun.
func closeAtOnce(t testing.TB, r Rig) {
	r = r.fill()
	for range 5 {
		src := r.New(0)
		src.Flush()
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		src.Watch(ctx, &record{news: make(chan struct{})})
	}
	rest(t, r, 0)
}

// overrun: when the kernel had to drop events, Lost says so, and the level
// comes right.
func overrun(t testing.TB, r Rig) {
	b := rest(t, r, 16)
	l := b.rig.Lines[0]
	b.sleep(b.rig.Dwell) // all of the source waits, so none is kept from beginning
	hold := make(chan struct{})
	b.rec.mu.Lock()
	b.rec.hold = hold // the reader is stuck in the sink
	b.rec.mu.Unlock()
	edges := 3*b.rig.Holds + 1
	for i := range edges {
		b.set(l, i%2 == 0)
		if i == 0 {
			b.sleep(b.rig.Dwell) // the reader has taken the first
		}
	}
	b.rec.mu.Lock()
	b.rec.hold = nil
	b.rec.mu.Unlock()
	close(hold)
	b.until("Lost after a queue overrun", func() bool { return len(b.told()) > 0 })
	b.until("the last level", func() bool { return b.rec.closed(l) })
	b.quiet()
	b.settle("the last level at rest", func() bool { return b.rec.closed(l) })
	if !b.rec.closed(l) {
		t.Error("the level is wrong after an overrun")
	}
	b.set(l, false)
	b.until("an edge after an overrun", func() bool { return !b.rec.closed(l) })
}

// unplugged: a chip that goes is Lost at once and Failed in the report, and
// heals.
func unplugged(t testing.TB, r Rig) {
	if r.Unplug == nil || r.Replug == nil {
		t.Skip("not on this rig: a chip that can be unplugged")
	}
	b := rest(t, r, 0)
	l := b.rig.Lines[0]
	if err := r.Unplug(); err != nil {
		t.Fatal(err)
	}
	failed := func() bool {
		for _, p := range b.src.Report() {
			if p.State != device.Failed || p.Reason == "" {
				return false
			}
		}
		return true
	}
	b.until("Lost when the chip is gone", func() bool { return len(b.told()) > 0 })
	b.until("Failed in the report", failed)
	b.sleep(500 * time.Millisecond)
	if b.rec.closed(l) || len(b.rec.of(l)) != 1 {
		t.Errorf("edges of a chip that is gone: %v", b.rec.of(l))
	}
	if err := r.Replug(); err != nil {
		t.Fatal(err)
	}
	b.set(l, true)
	b.until("the level of the chip that is back", func() bool { return b.rec.closed(l) })
	b.until("Loaded in the report", func() bool {
		return !slices.ContainsFunc(b.src.Report(), func(p device.Part) bool { return p.State != device.Loaded })
	})
	b.set(l, false)
	b.until("an edge of the chip that is back", func() bool { return !b.rec.closed(l) })
	if n := len(b.told()); n != 1 {
		t.Errorf("one unplugging was told %d times: %q", n, b.told())
	}
}
