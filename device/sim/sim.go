// SPDX-License-Identifier: Apache-2.0

// Package sim is the simulated board: the same contacts as a real one, set
// from a socket, a page, a test or a script. Whatever is recorded with it is
// practice. It must not decide whether a press counts.
package sim

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"tallyhood/device"
)

// A Clock dates edges.
type Clock interface {
	Now() time.Duration
	Sleep(ctx context.Context, at time.Duration) error
}

// A Board is a simulated board. Its methods may be called from any goroutine.
type Board struct {
	clock Clock
	lines []device.Line
	edges chan device.Edge
	lost  chan device.Lost

	mu     sync.Mutex
	seq    uint64
	levels map[device.Line]bool
	lamps  map[device.Lamp]bool
	closed bool
	socket net.Listener
	conns  map[net.Conn]bool
	done   sync.WaitGroup
	open   context.Context // ends with the board, for lines that wait
	shut   context.CancelFunc
}

var _ device.Board = (*Board)(nil)

// New returns a board at rest. With supervised the wearer's button is a
// changeover pair.
func New(c Clock, supervised bool) *Board {
	b := &Board{
		clock: c, lines: []device.Line{device.Squeeze, device.Step, device.Taste},
		edges: make(chan device.Edge, 4096), lost: make(chan device.Lost, 1),
		levels: map[device.Line]bool{}, lamps: map[device.Lamp]bool{}, conns: map[net.Conn]bool{},
	}
	b.open, b.shut = context.WithCancel(context.Background())
	if supervised {
		b.lines = []device.Line{device.Squeeze, device.Step, device.TasteNO, device.TasteNC}
	}
	for _, l := range b.lines {
		b.levels[l] = l == device.TasteNC
		b.put(b.clock.Now(), l, b.levels[l])
	}
	return b
}

// put sends an edge; the caller holds mu or is alone.
func (b *Board) put(at time.Duration, l device.Line, closed bool) {
	if b.closed {
		return
	}
	b.seq++
	select {
	case b.edges <- device.Edge{At: at, Line: l, Closed: closed, Seq: b.seq}:
	default:
		select {
		case b.lost <- device.Lost{At: at, Reason: "the queue of the simulated board ran over"}:
		default:
		}
	}
}

// Set gives a contact a level now. A line that the board does not have is an
// error; the level that the line has already is no edge.
func (b *Board) Set(l device.Line, closed bool) error { return b.set(-1, l, closed) }

func (b *Board) set(at time.Duration, l device.Line, closed bool) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !slices.Contains(b.lines, l) {
		return fmt.Errorf("the simulated board has no line %q; it has %v", l, b.lines)
	}
	if b.levels[l] == closed {
		return nil
	}
	if at < 0 {
		at = b.clock.Now()
	}
	b.levels[l] = closed
	b.put(at, l, closed)
	return nil
}

// Button moves the wearer's button as a whole, pair or single contact.
func (b *Board) Button(pressed bool) { b.button(-1, pressed) }

func (b *Board) button(at time.Duration, pressed bool) {
	if slices.Contains(b.lines, device.Taste) {
		_ = b.set(at, device.Taste, pressed) // the line is there
		return
	}
	_ = b.set(at, device.TasteNC, !pressed)
	_ = b.set(at, device.TasteNO, pressed)
}

// A Move is one movement of a script: Line is a contact, or Taste for the
// whole button.
type Move struct {
	At     time.Duration // after the script's start
	Line   device.Line
	Closed bool
}

// Play moves the contacts at the instants of a script, each edge dated exactly
// by it, and returns when the script or the context ends.
func (b *Board) Play(ctx context.Context, start time.Duration, moves []Move) error {
	for _, m := range moves {
		if err := b.clock.Sleep(ctx, start+m.At); err != nil {
			return err
		}
		if m.Line == device.Taste {
			b.button(start+m.At, m.Closed)
		} else if err := b.set(start+m.At, m.Line, m.Closed); err != nil {
			return err
		}
	}
	return nil
}

// Listen opens a Unix socket at path: each line "NAME 0|1" sets a contact at
// the moment of its arrival, "button 0|1" the whole button, whose two contacts
// then move at one instant; a wrong line is answered with a sentence. "mark 0"
// remembers this moment, "at MS" holds the lines after it until so many
// milliseconds of the board's clock after the mark, "wait MS" for so many from
// now: a hand that is told beforehand is in time however busy the machine is.
// A file that is in the way is an error unless it is a dead socket.
func (b *Board) Listen(path string, log *slog.Logger) error {
	if c, err := net.Dial("unix", path); err == nil {
		c.Close()
		return fmt.Errorf("the socket %s is in use", path)
	}
	if st, err := os.Lstat(path); err == nil && st.Mode()&os.ModeSocket != 0 {
		_ = os.Remove(path) // nobody answered: left by a process that died
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return fmt.Errorf("simulated board: %w", err)
	}
	b.mu.Lock()
	b.socket = l
	b.mu.Unlock()
	b.done.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				if !errors.Is(err, net.ErrClosed) {
					log.Error("simulated board's socket", "err", err)
				}
				return
			}
			b.mu.Lock()
			if b.closed {
				c.Close()
			} else {
				b.conns[c] = true
				b.done.Go(func() { b.serve(c) })
			}
			b.mu.Unlock()
		}
	})
	return nil
}

func (b *Board) serve(c net.Conn) {
	defer func() {
		c.Close()
		b.mu.Lock()
		delete(b.conns, c)
		b.mu.Unlock()
	}()
	mark := b.clock.Now()
	in := bufio.NewScanner(io.LimitReader(c, 1<<30))
	for in.Scan() {
		name, level, _ := strings.Cut(strings.TrimSpace(in.Text()), " ")
		level = strings.TrimSpace(level)
		ms, notMS := strconv.ParseUint(level, 10, 31)
		var err error
		switch {
		case name == "":
		case (name == "at" || name == "wait") && notMS != nil:
			err = fmt.Errorf("want %s and milliseconds", name)
		case name == "at":
			err = b.clock.Sleep(b.open, mark+time.Duration(ms)*time.Millisecond)
		case name == "wait":
			err = b.clock.Sleep(b.open, b.clock.Now()+time.Duration(ms)*time.Millisecond)
		case name == "mark" && level == "0":
			mark = b.clock.Now()
		case level != "0" && level != "1":
			err = fmt.Errorf("want NAME 0 or NAME 1")
		case name == "button":
			b.button(b.clock.Now(), level == "1")
		default:
			err = b.Set(device.Line(name), level == "1")
		}
		if err != nil {
			fmt.Fprintf(c, "error: %v\n", err)
		}
	}
}

// Lines implements device.Board.
func (b *Board) Lines() []device.Line { return slices.Clone(b.lines) }

// Edges implements device.Board.
func (b *Board) Edges() <-chan device.Edge { return b.edges }

// Lost implements device.Board.
func (b *Board) Lost() <-chan device.Lost { return b.lost }

// Light implements device.Board.
func (b *Board) Light(l device.Lamp, on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.lamps[l] = on
}

// Lit says whether a lamp is on.
func (b *Board) Lit(l device.Lamp) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.lamps[l]
}

// Report implements device.Board.
func (b *Board) Report() []device.Part {
	return []device.Part{{Name: "simulated board", State: device.Loaded, Reason: "whatever is recorded is practice", Lines: b.Lines()}}
}

// Close implements device.Board.
func (b *Board) Close() error {
	b.mu.Lock()
	if b.closed {
		b.mu.Unlock()
		return nil
	}
	b.closed = true
	b.shut()
	close(b.edges)
	close(b.lost)
	l := b.socket
	for c := range b.conns {
		c.Close()
	}
	b.mu.Unlock()
	var err error
	if l != nil {
		err = l.Close()
	}
	b.done.Wait()
	return err
}
