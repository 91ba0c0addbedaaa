// SPDX-License-Identifier: Apache-2.0

// Package board makes one board out of parts: sources of edges (lines of a
// chip, a pedal, a sensor) and lights. It numbers the edges, puts those of
// several sources in order and gathers the reports. It must not decide whether
// an edge means anything, and it must not know what kind a source is.
package board

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"tallyhood/device"
)

// Options of a board.
type Options struct {
	Sources []device.Source // no two bring the same line
	Lights  []device.Light
	Parts   []device.Part // further lines of the start-up report that never change
	Log     *slog.Logger
}

// queue is the number of edges that may wait for the reader: several seconds
// of contacts that chatter without a pause.
const queue = 16384

// A Board is the whole of its parts. Its methods may be called from any
// goroutine.
type Board struct {
	o     Options
	edges chan device.Edge
	lost  chan device.Lost
	stir  chan struct{} // a source has said something
	quit  context.CancelFunc
	done  sync.WaitGroup

	flushing sync.Mutex // one hand-over at a time, so that the numbers go up

	mu     sync.Mutex
	heard  []device.Edge // not handed over yet
	gaps   []device.Lost
	levels map[device.Line]bool
	known  map[device.Line]bool // the line has had a first level
	seq    uint64
	closed bool
	said   []device.Part // as last written to the log
}

var (
	_ device.Board   = (*Board)(nil)
	_ device.Flusher = (*Board)(nil)
)

// New starts the sources.
func New(o Options) (*Board, error) {
	seen := map[device.Line]bool{}
	for _, s := range o.Sources {
		for _, l := range s.Lines() {
			if !slices.Contains(device.Lines(), l) {
				return nil, fmt.Errorf("there is no contact %q; the contacts are %v", l, device.Lines())
			}
			if seen[l] {
				return nil, fmt.Errorf("contact %s is brought by two parts", l)
			}
			seen[l] = true
		}
	}
	if err := Complete(seen); err != nil {
		return nil, err
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	ctx, quit := context.WithCancel(context.Background())
	b := &Board{
		o: o, edges: make(chan device.Edge, queue), lost: make(chan device.Lost, 64), stir: make(chan struct{}, 1), quit: quit,
		levels: map[device.Line]bool{}, known: map[device.Line]bool{},
	}
	for _, s := range o.Sources {
		b.done.Go(func() { s.Watch(ctx, sink{b, s}) })
	}
	b.done.Go(func() { b.pump(ctx) })
	return b, nil
}

// Complete says what is missing among the contacts of a board: squeeze, step,
// and the wearer's button as a pair or as one contact, not both.
func Complete(lines map[device.Line]bool) error {
	pair := lines[device.TasteNO] && lines[device.TasteNC]
	switch {
	case !lines[device.Squeeze]:
		return errors.New("no contact squeeze is configured")
	case !lines[device.Step]:
		return errors.New("no contact step is configured")
	case lines[device.Taste] && (lines[device.TasteNO] || lines[device.TasteNC]):
		return errors.New("the wearer's button is either the pair taste_no and taste_nc, or taste, not both")
	case !pair && !lines[device.Taste]:
		return errors.New("the wearer's button is missing: taste_no and taste_nc, or taste alone (unsupervised)")
	}
	return nil
}

// A sink takes what one source says.
type sink struct {
	b    *Board
	from device.Source
}

func (s sink) Edge(l device.Line, at time.Duration, closed bool) {
	b := s.b
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed || b.known[l] && b.levels[l] == closed {
		return
	}
	b.known[l], b.levels[l] = true, closed
	b.heard = append(b.heard, device.Edge{At: at, Line: l, Closed: closed})
	b.wake()
}

func (s sink) Lost(at time.Duration, reason string) {
	b := s.b
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return
	}
	b.gaps = append(b.gaps, device.Lost{At: at, Reason: reason})
	b.wake()
}

func (s sink) Changed() {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	s.b.wake()
}

// wake tells the pump; the caller holds mu.
func (b *Board) wake() {
	select {
	case b.stir <- struct{}{}:
	default:
	}
}

// pump hands over what the sources say. Before it does, it asks all of them for
// what they have, so that edges of several sources come in order.
func (b *Board) pump(ctx context.Context) {
	for {
		select {
		case <-b.stir:
			b.Flush()
			b.tell()
		case <-ctx.Done():
			return
		}
	}
}

// Flush implements device.Flusher.
func (b *Board) Flush() {
	b.flushing.Lock()
	defer b.flushing.Unlock()
	for _, s := range b.o.Sources {
		s.Flush()
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return
	}
	slices.SortStableFunc(b.heard, func(x, y device.Edge) int {
		return int(min(1, max(-1, x.At-y.At)))
	})
	for _, e := range b.heard {
		// A number is taken also by what finds no room: the reader sees the gap
		// even when the word of it is lost too.
		b.seq++
		e.Seq = b.seq
		select {
		case b.edges <- e:
		default:
			b.gaps = append(b.gaps, device.Lost{At: e.At, Reason: "the queue of the board ran over"})
		}
	}
	b.heard = b.heard[:0]
	for _, l := range b.gaps {
		select {
		case b.lost <- l:
		default: // the ones that wait say the same
		}
	}
	b.gaps = b.gaps[:0]
}

// tell writes changes of the report to the log.
func (b *Board) tell() {
	now := b.Report()
	for i, p := range now {
		if i < len(b.said) && b.said[i].State == p.State && b.said[i].Reason == p.Reason {
			continue
		}
		b.o.Log.Info("part", "name", p.Name, "state", p.State, "reason", p.Reason)
	}
	b.said = now
}

// Lines implements device.Board.
func (b *Board) Lines() []device.Line {
	var out []device.Line
	for _, s := range b.o.Sources {
		out = append(out, s.Lines()...)
	}
	return out
}

// Edges implements device.Board.
func (b *Board) Edges() <-chan device.Edge { return b.edges }

// Lost implements device.Board.
func (b *Board) Lost() <-chan device.Lost { return b.lost }

// Light implements device.Board.
func (b *Board) Light(l device.Lamp, on bool) {
	for _, x := range b.o.Lights {
		x.Light(l, on)
	}
}

// Report implements device.Board.
func (b *Board) Report() []device.Part {
	var out []device.Part
	for _, s := range b.o.Sources {
		out = append(out, s.Report()...)
	}
	for _, x := range b.o.Lights {
		out = append(out, x.Report()...)
	}
	return append(out, b.o.Parts...)
}

// TimeSource names where the instants of the edges come from.
func (b *Board) TimeSource() string {
	var all []string
	for _, s := range b.o.Sources {
		if t := s.TimeSource(); !slices.Contains(all, t) {
			all = append(all, t)
		}
	}
	if len(all) < 2 {
		return strings.Join(all, "")
	}
	var by []string
	for _, s := range b.o.Sources {
		by = append(by, fmt.Sprintf("%v %s", s.Lines(), s.TimeSource()))
	}
	return strings.Join(by, ", ")
}

// Close implements device.Board.
func (b *Board) Close() error {
	b.mu.Lock()
	if b.closed {
		b.mu.Unlock()
		return nil
	}
	b.closed = true
	b.mu.Unlock()
	b.quit()
	b.done.Wait()
	b.flushing.Lock() // nobody hands over any more
	defer b.flushing.Unlock()
	close(b.edges)
	close(b.lost)
	var err error
	for _, x := range b.o.Lights {
		err = errors.Join(err, x.Close())
	}
	return err
}
