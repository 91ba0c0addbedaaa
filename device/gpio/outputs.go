// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device"
)

// check is how often an output is written anew, so that a line that has gone
// is noticed also while nothing changes.
const check = 5 * time.Second

// Outputs are the lamps, buzzers, vibration pads and stack lights of a board.
// Its methods may be called from any goroutine.
type Outputs struct {
	clock   Clock
	log     *slog.Logger
	machine machine
	outs    []*out // used by the one goroutine alone, but for what mu guards

	poke chan struct{}
	done chan struct{}

	mu     sync.Mutex
	lit    map[device.Lamp]bool
	closed bool
}

type out struct {
	Output
	line output // nil while it is not open
	chip Chip
	on   bool // as it was last set
	// since is when it was lit; the pulse counts from there.
	since time.Duration
	lit   bool
	retry time.Duration // when to open it again
	wait  time.Duration
	wrote time.Duration

	reason string // under mu; empty when it works
}

var _ device.Light = (*Outputs)(nil)

// NewOutputs opens the outputs, all off, and returns. What does not open
// stands in the report and is tried again.
func NewOutputs(o OutputOptions) *Outputs {
	s := &Outputs{clock: o.Clock, log: o.Log, machine: o.machine, lit: map[device.Lamp]bool{},
		poke: make(chan struct{}, 1), done: make(chan struct{})}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.machine == nil {
		s.machine = &linux{clock: o.Clock}
	}
	for _, c := range o.Outputs {
		s.outs = append(s.outs, &out{Output: c, wait: firstRetry})
	}
	s.open()
	go s.run()
	return s
}

// Light implements device.Light.
func (s *Outputs) Light(lamp device.Lamp, on bool) {
	s.mu.Lock()
	changed := s.lit[lamp] != on
	s.lit[lamp] = on
	s.mu.Unlock()
	if changed {
		s.wake()
	}
}

func (s *Outputs) wake() {
	select {
	case s.poke <- struct{}{}:
	default:
	}
}

// Report implements device.Light.
func (s *Outputs) Report() []device.Part {
	s.mu.Lock()
	defer s.mu.Unlock()
	var parts []device.Part
	for _, o := range s.outs {
		p := device.Part{Name: fmt.Sprintf("output %s on %s", o.Name, o.Place), State: device.Loaded, Reason: o.reason}
		if o.reason != "" {
			p.State = device.Failed
		}
		parts = append(parts, p)
	}
	return parts
}

// Close implements device.Light.
func (s *Outputs) Close() error {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	s.wake()
	<-s.done
	return nil
}

// run sets the outputs until Close.
func (s *Outputs) run() {
	defer close(s.done)
	for {
		s.mu.Lock()
		closed := s.closed
		s.mu.Unlock()
		if !closed {
			s.open()
		}
		next, wait := s.set()
		if closed {
			break // and all is off
		}
		if !wait {
			<-s.poke
			continue
		}
		wake, stop := s.clock.Wake(next)
		select {
		case <-wake:
		case <-s.poke:
		}
		stop()
	}
	for _, o := range s.outs {
		if o.line == nil {
			continue
		}
		if err := o.line.close(); err != nil {
			s.log.Warn("release an output", "output", o.Name, "err", err)
		}
		o.line = nil
	}
}

func (o *out) level(on bool) bool { return on != o.ActiveLow }

// open opens what is not open and due.
func (s *Outputs) open() {
	now := s.clock.Now()
	due := func(o *out) bool { return o.line == nil && now >= o.retry }
	if !slices.ContainsFunc(s.outs, due) {
		return
	}
	chips, trouble := s.machine.chips()
	for _, o := range s.outs {
		if !due(o) {
			continue
		}
		chip, line, err := find(chips, o.Place)
		if err != nil && trouble != nil {
			err = trouble
		}
		if err == nil && line.Used {
			err = busy(o.Place, line)
		}
		if err == nil {
			if o.line, err = s.machine.output(chip, line.Offset, o.level(false)); err != nil {
				o.line = nil
				if errors.Is(err, unix.EBUSY) {
					err = fmt.Errorf("%s has just been taken by another program", o.Place)
				}
			}
		}
		if err != nil {
			s.fail(o, err.Error())
			continue
		}
		o.chip, o.on, o.wait, o.wrote = chip, false, firstRetry, now
		s.reason(o, "")
	}
}

func (s *Outputs) fail(o *out, reason string) {
	o.retry = s.clock.Now() + o.wait
	o.wait = min(2*o.wait, lastRetry)
	s.reason(o, reason)
}

func (s *Outputs) reason(o *out, reason string) {
	s.mu.Lock()
	changed := o.reason != reason
	o.reason = reason
	s.mu.Unlock()
	if changed && reason != "" {
		s.log.Error("output", "output", o.Name, "reason", reason)
	}
}

// set brings every output to what it has to be now, and tells when to do so
// again.
func (s *Outputs) set() (next time.Duration, wait bool) {
	now := s.clock.Now()
	later := func(at time.Duration) {
		if !wait || at < next {
			next, wait = at, true
		}
	}
	for _, o := range s.outs {
		s.mu.Lock()
		lit := s.lit[o.Shows] && !s.closed
		s.mu.Unlock()
		if lit != o.lit {
			o.lit, o.since = lit, now
		}
		on := lit
		if lit && o.Pulse > 0 {
			phase := (now - o.since) / o.Pulse
			on = phase%2 == 0
			later(o.since + (phase+1)*o.Pulse)
		}
		if o.line != nil && (on != o.on || now-o.wrote >= check) {
			if err := o.line.set(o.level(on)); err != nil {
				_ = o.line.close() // the error of writing tells more
				o.line = nil
				reason := fmt.Sprintf("%s cannot be set: %v", o.Place, err)
				if gone(err) {
					reason = fmt.Sprintf("the GPIO chip %s is gone; it is looked for", o.chip.Label)
				}
				s.fail(o, reason)
			}
			o.on, o.wrote = on, now
		}
		if o.line == nil {
			later(o.retry)
		} else {
			later(o.wrote + check)
		}
	}
	return next, wait
}
