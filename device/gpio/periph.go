// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/host/v3"
	"periph.io/x/host/v3/gpioioctl"
)

var start struct {
	sync.Once
	done  atomic.Bool
	paths []string // device nodes of the chips that periph found
	err   error
}

// Init starts periph and lists the chips that it found, with the error of what
// could not be read. The first call does the work and the others give its
// findings anew. It has to come before the program opens any file: where two
// device nodes stand for one chip, the driver closes one descriptor twice and
// then descriptor 0 (seen with v3.8.5).
func Init() ([]Chip, error) {
	start.Do(func() {
		standard() // a line on descriptor 0 would pass for a closed one
		if _, err := host.Init(); err != nil {
			start.err = fmt.Errorf("start periph: %w", err)
		}
		standard()
		for _, c := range gpioioctl.Chips {
			start.paths = append(start.paths, c.Path())
		}
		start.done.Store(true)
	})
	chips, err := readChips(start.paths)
	return chips, errors.Join(start.err, err)
}

// paths are the nodes that periph found; none before Init.
func paths() []string {
	if !start.done.Load() {
		return nil
	}
	return slices.Clone(start.paths)
}

// standard makes sure that descriptors 0, 1 and 2 are open, so that no later
// file gets one of them.
func standard() {
	for fd := range 3 {
		if _, err := unix.FcntlInt(uintptr(fd), unix.F_GETFD, 0); err == nil {
			continue
		}
		// The lowest free descriptor is taken, and those below are open.
		_, _ = unix.Open(os.DevNull, unix.O_RDWR, 0)
	}
}

// A lineSet is what is used of periph's type of that name.
type lineSet interface {
	WaitForEdge(time.Duration) (int, gpio.Edge, error)
	Read(gpio.GPIOValue) (gpio.GPIOValue, error)
	Halt() error
	Close() error
}

var _ lineSet = (*gpioioctl.LineSet)(nil)

// Waits of a line set. 0 would wait for ever and a negative one not at all,
// and a deadline that has passed on a busy machine ends the wait without a
// look at what is held, so even the shortest is a millisecond.
const (
	longWait  = time.Second
	shortWait = time.Millisecond
)

// The set does not say when its queue ran over. It may have if nobody read it
// for longer than unread and then as many events as it holds come out of it
// within dense, not counting further times when nobody read.
const (
	unread = 2 * time.Millisecond
	dense  = 20 * time.Millisecond
)

// periphRequest reads a line set of periph.
type periphRequest struct {
	set     lineSet
	clock   Clock
	index   map[int]int // by offset
	holds   int         // events that the kernel holds for the set
	stopped atomic.Bool

	gate    sync.Mutex // held by who wants to read, so that await stays out
	reading sync.Mutex // held while somebody waits in the set
	// Under reading:
	early []event       // what await was woken by
	read  time.Duration // when the queue was last looked into
	since time.Duration // when the reading of a queue that was left alone began
	held  int           // events read since, -1 while it is known not to be full
}

var _ request = (*periphRequest)(nil)

func newPeriphRequest(set lineSet, lines []asked, c Clock) *periphRequest {
	p := &periphRequest{set: set, clock: c, index: map[int]int{}, holds: perLine * len(lines), read: c.Now(), held: -1}
	for i, l := range lines {
		p.index[l.offset] = i
	}
	return p
}

// periphEdges requests lines through periph, which takes them by name.
func periphEdges(c Chip, lines []asked, clock Clock) (request, error) {
	if !start.done.Load() {
		return nil, errors.New("periph has not been started")
	}
	i := slices.IndexFunc(gpioioctl.Chips, func(g *gpioioctl.GPIOChip) bool { return g.Name() == c.Name && g.Label() == c.Label })
	if i < 0 {
		return nil, fmt.Errorf("periph does not know the chip %s: it came after the start, and only the kernel reader finds it without a restart", c.Label)
	}
	chip := gpioioctl.Chips[i]
	cfg := gpioioctl.LineSetConfig{DefaultDirection: gpioioctl.LineInput, DefaultEdge: gpio.BothEdges, DefaultPull: gpio.PullNoChange}
	pulls := map[Pull][]string{}
	for _, l := range lines {
		line := chip.ByNumber(l.offset)
		if line == nil {
			return nil, fmt.Errorf("periph knows no line %d of %s", l.offset, c.Label)
		}
		if n := line.Name(); n == "" || chip.ByName(n) != line {
			return nil, fmt.Errorf("line %d of %s has no name of its own, and periph takes lines by name only: use the kernel reader", l.offset, c.Label)
		}
		cfg.Lines = append(cfg.Lines, line.Name())
		pulls[l.pull] = append(pulls[l.pull], line.Name())
	}
	for pull, to := range map[Pull]gpio.Pull{PullUp: gpio.PullUp, PullDown: gpio.PullDown} {
		if len(pulls[pull]) == 0 {
			continue
		}
		if err := cfg.AddOverrides(gpioioctl.LineInput, gpio.BothEdges, to, pulls[pull]...); err != nil {
			return nil, err
		}
	}
	set, err := chip.LineSetFromConfig(&cfg)
	if err != nil {
		return nil, err
	}
	return newPeriphRequest(set, lines, clock), nil
}

// next waits in the set; the caller holds reading. An error that is a time-out
// or an interruption is none.
func (p *periphRequest) next(d time.Duration) (e event, ok bool, err error) {
	before := p.clock.Now()
	n, edge, err := p.set.WaitForEdge(d)
	at := p.clock.Now()
	alone := before - p.read
	if over := at - before - d; over > 0 {
		alone += over // the program was not running
	}
	p.read = at
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		p.held = -1 // it was empty
		return event{}, false, nil
	case err != nil:
		return event{}, false, fmt.Errorf("wait for an edge: %w", err)
	}
	switch {
	case alone > unread && p.held < 0:
		p.held, p.since = 0, at
	case alone > unread:
		p.since += alone
	}
	i, known := p.index[n]
	if !known || edge != gpio.RisingEdge && edge != gpio.FallingEdge {
		return event{}, false, nil
	}
	e = event{index: i, high: edge == gpio.RisingEdge, at: at}
	if p.held >= 0 {
		if p.held++; p.held == p.holds && at-p.since < dense {
			e.missing = -1
		}
	}
	return e, true, nil
}

func (p *periphRequest) await() error {
	p.gate.Lock() // whoever is reading now goes first
	p.reading.Lock()
	p.gate.Unlock()
	defer p.reading.Unlock()
	if p.stopped.Load() {
		return errInterrupted
	}
	e, ok, err := p.next(longWait)
	if ok {
		p.early = append(p.early, e)
	}
	if err == nil && p.stopped.Load() {
		return errInterrupted
	}
	return err
}

// enter ends a wait of await and takes its place. An interruption before a
// wait is forgotten by the set, so it is repeated.
func (p *periphRequest) enter() {
	p.gate.Lock()
	for !p.reading.TryLock() {
		_ = p.set.Halt()
		runtime.Gosched()
	}
}

func (p *periphRequest) leave() {
	p.reading.Unlock()
	p.gate.Unlock()
}

func (p *periphRequest) drain(give func(event)) (bool, error) {
	p.enter()
	defer p.leave()
	for _, e := range p.early {
		give(e)
	}
	p.early = p.early[:0]
	for range burst {
		e, ok, err := p.next(shortWait)
		if err != nil || !ok {
			return false, err
		}
		give(e)
	}
	return true, nil
}

func (p *periphRequest) levels() (uint64, error) {
	v, err := p.set.Read(0)
	return uint64(v), err
}

func (p *periphRequest) interrupt() {
	p.stopped.Store(true)
	p.enter()
	p.leave()
}

func (p *periphRequest) close() error { return p.set.Close() }
