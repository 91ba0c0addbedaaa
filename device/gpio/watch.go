// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"sync"
	"sync/atomic"
	"time"

	"tallyhood/device"
)

const (
	// The kernel tells an edge a moment after the level has changed. A level
	// that no edge explains is looked at once more after this time: the short
	// one when the line has just had edges, the long one when it was quiet.
	lookAgain      = 3 * time.Millisecond
	lookAgainQuiet = 20 * time.Millisecond
	// near: a level that changes without an edge so soon after one is the end
	// of a burst whose edges ran together.
	near = 50 * time.Millisecond
	// Two missed edges of a line within missWindow are no accident.
	missWindow = time.Minute
	// A press that lies wholly inside a time in which the machine stood still
	// comes as one event at the old level, like a spike. So the watch feels its
	// own pulse, and an event like that near a missed beat is no spike for sure:
	// then edges may be missing. Half of a sure report (20 ms), and most of a
	// sure squeeze (40 ms), may hide; a squeeze too few errs on the safe side
	// where it is asked for again, and bouncing makes such events all the time.
	pulse       = 5 * time.Millisecond
	hidesReport = 10 * time.Millisecond
	hidesPress  = 35 * time.Millisecond
	// settleTries bounds the looks at a line that never comes to rest.
	settleTries = 8
)

// A watched is one line of a watch.
type watched struct {
	contact *contact
	high    bool          // the last level sent
	at      time.Duration // the instant that it was sent with
	known   time.Duration // a reading at this instant gave the level: what came before adds nothing
	byMiss  bool          // that reading found a missed edge
	edge    time.Duration // the last event
	quiet   bool          // it has had no event yet
	odd     bool          // a reading gave the other level and no edge has come for it yet
	oddAt   time.Duration
	back    bool // and a later reading gave the old one again
	backAt  time.Duration
	missAt  time.Duration
}

// A watch reads the lines of one chip, in one request so that their edges have
// one order.
type watch struct {
	source *Source
	chip   Chip
	req    request
	clock  Clock
	sink   device.Sink
	sample time.Duration
	poke   chan struct{} // the next look has become earlier, or the watch is broken

	mu     sync.Mutex
	lines  []watched
	batch  []event
	broken error
	said   bool          // that it is
	look   time.Duration // when to look at the levels

	beat  atomic.Int64 // instant of the last beat of the pulse
	still atomic.Int64 // length of the last time without a beat that was too long
	until atomic.Int64 // and its end
}

// arm throws away what is old and sends the present levels. It is called
// before anybody else knows the watch.
func (w *watch) arm() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	for try := 0; ; try++ {
		if _, err := w.drain(); err != nil {
			return err
		}
		at := w.clock.Now()
		bits, err := w.req.levels()
		if err != nil {
			return err
		}
		if _, err := w.drain(); err != nil {
			return err
		}
		if len(w.batch) > 0 && try < settleTries {
			continue // it moved meanwhile, so the reading may be of before
		}
		for i := range w.lines {
			l := &w.lines[i]
			l.high, l.at, l.known, l.quiet = bits>>i&1 == 1, at, at, true
			w.sink.Edge(l.contact.Line, at, l.contact.closed(l.high))
			w.source.first(l.contact, l.contact.closed(l.high))
		}
		w.look = at + w.sample
		for _, e := range w.batch { // a line that never rests: what follows is for take to find
			w.lines[e.index].edge, w.lines[e.index].quiet = e.at, false
			w.look = at + lookAgain
		}
		return nil
	}
}

// drain takes what the kernel holds into the batch.
func (w *watch) drain() (more bool, err error) {
	w.batch = w.batch[:0]
	return w.req.drain(func(e event) { w.batch = append(w.batch, e) })
}

// take hands over all that the kernel holds, then compares the levels with
// what was handed over. The caller holds mu.
func (w *watch) take() error {
	if w.broken != nil {
		return w.broken
	}
	for range settleTries {
		more, err := w.pass()
		if err != nil {
			return err
		}
		if more {
			continue
		}
		at := w.clock.Now()
		bits, err := w.req.levels()
		if err != nil {
			return err
		}
		if more, err = w.pass(); err != nil {
			return err
		}
		if len(w.batch) == 0 && !more {
			w.compare(bits, at)
			return nil
		}
	}
	w.sooner(w.clock.Now() + lookAgain)
	return nil
}

// pass drains and delivers.
func (w *watch) pass() (bool, error) {
	more, err := w.drain()
	// Lines have interrupt threads of their own, so events of two lines may
	// stand in the queue in another order than they happened.
	sort.SliceStable(w.batch, func(i, j int) bool { return w.batch[i].at < w.batch[j].at })
	now := w.clock.Now()
	for _, e := range w.batch {
		e.at = min(e.at, now)
		w.deliver(&w.lines[e.index], e)
	}
	return more, err
}

func (w *watch) deliver(l *watched, e event) {
	w.source.count(l.contact, func(c *Counts) {
		c.Edges++
		c.Lost += uint64(max(0, e.missing))
	})
	if e.missing != 0 {
		what := fmt.Sprintf("the queue of the GPIO chip ran over: %d edges of %s were dropped", e.missing, l.contact.title())
		if e.missing < 0 {
			what = fmt.Sprintf("the queue of the GPIO chip was full: edges of %s may have been dropped", l.contact.title())
		}
		w.lost(e.at, what)
	}
	l.edge, l.quiet = e.at, false
	if e.at < l.known {
		if l.byMiss { // it was on its way when the level was read
			l.byMiss = false
			w.source.count(l.contact, func(c *Counts) { c.Missed--; c.Merged++ })
		}
		return
	}
	switch {
	case !l.odd:
	case e.high != l.high:
		l.odd = false // this is the edge that the reading was ahead of
	case e.at > l.oddAt:
		// The level read in between is true and had no edge of its own; this
		// edge, or a reading before it, is its end.
		l.odd = false
		high := l.high
		w.source.count(l.contact, func(c *Counts) { c.Merged++ })
		w.send(l, l.oddAt, !high)
		if l.back && l.backAt < e.at {
			w.send(l, l.backAt, high)
		}
	}
	if e.high == l.high { // there and back before the kernel looked
		w.source.count(l.contact, func(c *Counts) { c.Merged++ })
		if d := w.stood(e.at); d >= l.contact.hides() {
			w.lost(e.at, fmt.Sprintf("the machine stood still for %d ms while %s moved", d.Milliseconds(), l.contact.title()))
		}
		return
	}
	w.send(l, e.at, e.high)
}

// send hands an edge over. The instants of a line never go back.
func (w *watch) send(l *watched, at time.Duration, high bool) {
	l.high, l.at = high, max(at, l.at)
	closed := l.contact.closed(high)
	w.sink.Edge(l.contact.Line, l.at, closed)
	w.source.moved(l.contact, closed)
}

// compare looks for levels that no edge explains. No event is pending, but one
// may be on its way from the interrupt to the queue, so a level that differs
// is looked at twice.
func (w *watch) compare(bits uint64, at time.Duration) {
	for i := range w.lines {
		l := &w.lines[i]
		high := bits>>i&1 == 1
		wait := lookAgainQuiet
		recent := !l.quiet && at-l.edge < near
		if recent {
			wait = lookAgain
		}
		switch {
		case high == l.high && !l.odd:
		case !l.odd:
			l.odd, l.oddAt, l.back = true, at, false
			w.sooner(at + wait)
		case high == l.high && !l.back:
			l.back, l.backAt = true, at
			fallthrough
		case high == l.high: // seen once and gone again
			if at < l.oddAt+wait {
				w.sooner(l.oddAt + wait)
				continue
			}
			l.odd = false
			w.found(l, l.oddAt, !high)
			w.found(l, l.backAt, high)
		case at < l.oddAt+wait:
			l.back = false
			w.sooner(l.oddAt + wait)
		default:
			l.odd = false
			w.found(l, l.oddAt, high)
		}
	}
}

// found sends a level that looking has found.
func (w *watch) found(l *watched, at time.Duration, high bool) {
	l.byMiss = l.quiet || at-l.edge >= near
	w.send(l, at, high)
	l.known = l.at
	if !l.byMiss {
		w.source.count(l.contact, func(c *Counts) { c.Merged++ })
		return
	}
	var before uint64
	w.source.count(l.contact, func(c *Counts) { before = c.Missed; c.Missed++ })
	if before > 0 && at-l.missAt < missWindow {
		w.lost(at, fmt.Sprintf("edges of %s are being missed: its level changes and the GPIO chip does not tell", l.contact.title()))
	}
	l.missAt = at
}

func (w *watch) lost(at time.Duration, reason string) {
	w.sink.Lost(at, reason)
	w.source.log.Warn("edges lost", "chip", w.chip.Label, "reason", reason)
}

// sooner makes the next look earlier; the caller holds mu.
func (w *watch) sooner(at time.Duration) {
	if at >= w.look {
		return
	}
	w.look = at
	select {
	case w.poke <- struct{}{}:
	default:
	}
}

// now takes at once; an error breaks the watch. It is said before whoever asked
// can go on as if there had been nothing to read.
func (w *watch) now() error {
	w.mu.Lock()
	err := w.take()
	if err != nil && w.broken == nil {
		w.broken, w.said = err, true
		w.lost(w.clock.Now(), w.source.words(w.chip, err))
		select {
		case w.poke <- struct{}{}:
		default:
		}
	}
	w.mu.Unlock()
	w.source.tell()
	return err
}

// serve watches until the context ends (nil) or the lines cannot be read.
func (w *watch) serve(ctx context.Context) error {
	read := make(chan error, 1)
	go func() {
		for {
			err := w.req.await()
			if err == nil {
				err = w.now()
			}
			if err != nil {
				read <- err
				return
			}
		}
	}()
	beating, stop := context.WithCancel(ctx)
	var pulse sync.WaitGroup
	pulse.Go(func() { w.beats(beating) })
	err := w.looks(ctx, read)
	stop()
	pulse.Wait()
	w.req.interrupt()
	if !errors.Is(err, errReader) {
		<-read
	}
	w.mu.Lock()
	if w.broken == nil {
		w.broken = errInterrupted // a late Flush finds nothing to read
	}
	w.mu.Unlock()
	if e := w.req.close(); e != nil && err == nil {
		w.source.log.Warn("release the lines", "chip", w.chip.Label, "err", e)
	}
	return err
}

// beats feels the pulse until the context ends.
func (w *watch) beats(ctx context.Context) {
	for last := w.clock.Now(); ; {
		w.beat.Store(int64(last))
		wake, stop := w.clock.Wake(last + pulse)
		select {
		case <-ctx.Done():
			stop()
			return
		case <-wake:
			stop()
		}
		now := w.clock.Now()
		if d := now - last; d > 2*pulse {
			w.still.Store(int64(d))
			w.until.Store(int64(now))
		}
		last = now
	}
}

// stood is how long the machine stood still around an instant: now, or at the
// last time that it did.
func (w *watch) stood(at time.Duration) time.Duration {
	d := w.clock.Now() - time.Duration(w.beat.Load())
	if until := time.Duration(w.until.Load()); until > 0 && at < until+2*pulse {
		d = max(d, time.Duration(w.still.Load()))
	}
	return d
}

// errReader marks an error that has ended the reading goroutine.
var errReader = errors.New("edges cannot be read")

// looks reads the levels every now and then.
func (w *watch) looks(ctx context.Context, read <-chan error) error {
	for {
		w.mu.Lock()
		if err := w.broken; err != nil {
			w.mu.Unlock()
			return err
		}
		at := w.look
		w.mu.Unlock()
		wake, stop := w.clock.Wake(at)
		select {
		case <-ctx.Done():
			stop()
			return nil
		case err := <-read:
			stop()
			return fmt.Errorf("%w: %w", errReader, err)
		case <-w.poke:
			stop()
		case <-wake:
			w.mu.Lock()
			w.look = w.clock.Now() + w.sample
			w.mu.Unlock()
			if !w.source.machine.present(w.chip) {
				return errGone // older kernels leave those who wait for an edge waiting
			}
			if err := w.now(); err != nil {
				return err
			}
		}
	}
}
