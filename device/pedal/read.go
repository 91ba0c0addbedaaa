// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"errors"
	"fmt"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device"
)

// read hands on what a device says until it is gone or closed.
func (s *Source) read(h *hand) {
	err := h.node.wait(func() bool {
		for {
			s.mu.Lock()
			more := s.turn(h)
			gone := h.gone
			s.mu.Unlock()
			if gone || !more {
				return gone
			}
		}
	})
	s.mu.Lock()
	if !h.gone {
		s.lose(h, err)
	}
	s.mu.Unlock()
	h.node.Close()
	s.wake()
}

// turn hands on what the kernel holds, up to a limit; more says that there may
// be more. The caller holds mu.
func (s *Source) turn(h *hand) (more bool) {
	for range turnReads {
		if h.gone {
			return false
		}
		n, err := h.node.read(h.buf)
		if errors.Is(err, unix.EAGAIN) {
			s.grabWhenIdle(h)
			return false
		}
		if err != nil {
			s.lose(h, err)
			return false
		}
		var rest int
		if h.events, rest = native.decode(h.events[:0], h.buf[:n]); rest != 0 {
			s.lose(h, fmt.Errorf("%d bytes of an event", rest))
			return false
		}
		s.take(h, h.events)
	}
	return true
}

// take hands on the events of one read. The caller holds mu.
func (s *Source) take(h *hand, events []event) {
	now := s.clock.Now()
	for _, e := range events {
		whole, dropped := h.packets.add(e)
		if dropped {
			// What was read with it is older than the state that is asked now,
			// and what the kernel still holds it throws away for the question.
			s.anew(h)
			return
		}
		for _, k := range whole {
			closed := k.value != 0
			if h.held.has(k.code) == closed {
				continue
			}
			h.held.set(k.code, closed)
			at := min(s.clock.FromMonotonic(k.at), now)
			if c := h.lines[k.code]; c != nil {
				s.send(c, at, closed)
			}
			if s.learn != nil {
				s.learn.key(h, k.code, closed, at)
			}
		}
	}
}

// send hands on a level. The caller holds mu.
func (s *Source) send(c *contact, at time.Duration, closed bool) {
	// The tie of the two clocks is right to some microseconds, and a level
	// that was asked for may be as much younger than the next edge.
	c.last = max(c.last, at)
	s.to.Edge(c.line, c.last, closed)
}

// anew asks for the state of the keys after events were lost. The caller holds
// mu.
func (s *Source) anew(h *hand) {
	at := s.clock.Now()
	held, err := h.node.held()
	if err != nil {
		s.lose(h, err)
		return
	}
	h.held = held
	if all := h.contacts(); len(all) > 0 {
		s.lost(all, at, "the pedal's keys came faster than they were read; some may be missing")
		for _, c := range all {
			c.lost = false // its level is known again
			s.send(c, at, held.has(c.key.Code))
		}
	}
	if s.learn != nil {
		s.learn.start(h)
	}
}

// lose gives a device up. The caller holds mu; the reader closes the device.
func (s *Source) lose(h *hand, err error) {
	h.gone = true
	delete(s.open, h.name)
	delete(s.known, h.name)
	if s.learn != nil {
		s.learn.end(h)
	}
	all := h.contacts()
	if len(all) == 0 {
		return
	}
	why := words(err)
	for _, c := range all {
		c.hand = nil
		s.say(c.line, device.Failed, why)
	}
	clear(h.lines)
	s.lost(all, s.clock.Now(), why)
	s.to.Changed()
}

func (h *hand) contacts() []*contact {
	var all []*contact
	for _, c := range h.lines {
		all = append(all, c)
	}
	return all
}

// grabWhenIdle grabs a device for learning as soon as all of its keys are up.
// The caller holds mu.
func (s *Source) grabWhenIdle(h *hand) {
	if s.learn == nil || h.grabbed || !h.held.empty() {
		return
	}
	if err := h.node.grab(true); err != nil {
		s.learn.unheard(h.id.name, err)
		return
	}
	h.grabbed = true
}
