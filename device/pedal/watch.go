// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device"
)

const (
	// lookEvery is how long after plugging in a pedal is found. Looking is one
	// listing of a folder; a new device is opened once.
	lookEvery = 500 * time.Millisecond
	// A turn reads at most so many buffers of so many events before it lets
	// others in; the kernel's queue for a pedal holds far fewer.
	turnReads  = 16
	readEvents = 64
)

// Watch implements device.Source.
func (s *Source) Watch(ctx context.Context, to device.Sink) {
	s.mu.Lock()
	s.to = to
	s.mu.Unlock()
	var readers sync.WaitGroup
	for ctx.Err() == nil {
		s.look(&readers)
		due, stop := s.clock.Wake(s.clock.Now() + lookEvery)
		select {
		case <-due:
		case <-s.kick:
		case <-ctx.Done():
		}
		stop()
	}
	s.mu.Lock()
	s.to = nil
	if s.learn != nil {
		s.learn.ended = true
		s.learn.wake()
	}
	var all []*hand
	for _, h := range s.open {
		h.gone = true
		all = append(all, h)
	}
	clear(s.open)
	for _, c := range s.on {
		c.hand = nil
	}
	s.mu.Unlock()
	for _, h := range all {
		h.node.Close() // not under mu: it waits for a read that may want mu
	}
	readers.Wait()
	for _, l := range s.lines {
		s.say(l, device.Failed, "nothing is watched any more")
	}
}

// Flush implements device.Source.
func (s *Source) Flush() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, h := range s.open {
		s.turn(h)
	}
}

// look compares what is plugged in with what is wanted, opens and closes. Only
// Watch calls it.
func (s *Source) look(readers *sync.WaitGroup) {
	listErr := s.list()

	s.mu.Lock()
	gen := s.gen
	want := s.want(listErr)
	var idle []*hand
	for name, h := range s.open {
		if _, wanted := want[name]; !wanted && len(h.lines) == 0 {
			h.gone = true
			delete(s.open, name)
			idle = append(idle, h)
			if s.learn != nil {
				s.learn.end(h)
			}
		}
	}
	ids := map[string]identity{}
	for name := range want {
		if s.open[name] == nil {
			ids[name] = s.known[name].id
		}
	}
	s.mu.Unlock()

	for _, h := range idle {
		h.node.Close()
	}
	armed := map[string]*hand{}
	levels := map[string]time.Duration{}
	failed := map[string]error{}
	for name, id := range ids { // not under mu: opening may take its time
		armed[name], levels[name], failed[name] = s.arm(name, id, want[name] == nil)
	}

	s.mu.Lock()
	defer s.mu.Unlock()
	for name, h := range armed {
		if h == nil {
			delete(s.known, name) // another look next time
			continue
		}
		s.open[name] = h
		if s.learn != nil {
			s.learn.start(h)
		}
		readers.Go(func() { s.read(h) })
	}
	for name, err := range failed {
		if err != nil && s.learn != nil {
			s.learn.unheard(ids[name].name, err)
		}
	}
	if gen != s.gen {
		s.wake() // what was wanted is out of date
		return
	}
	changed := false
	for name, contacts := range want {
		for _, c := range contacts {
			changed = s.join(c, s.open[name], failed[name], levels[name]) || changed
		}
	}
	if changed {
		s.to.Changed()
	}
}

// list brings known up to date.
func (s *Source) list() error {
	found, err := s.dir.list()
	var fresh []string
	s.mu.Lock()
	for name := range s.known {
		if _, there := found[name]; !there {
			delete(s.known, name)
		}
	}
	for name, st := range found {
		if k := s.known[name]; k == nil || k.err != nil || k.stamp != st {
			fresh = append(fresh, name)
		}
	}
	s.mu.Unlock()
	for _, name := range fresh {
		e := &entry{stamp: found[name]}
		if n, err := s.dir.open(name); err != nil {
			e.err = err
		} else {
			e.id, e.err = n.identify()
			n.Close()
		}
		s.mu.Lock()
		s.known[name] = e
		s.mu.Unlock()
	}
	return err
}

// want gives the devices that should be open, each with the contacts that wait
// for it; none for a device that is open for learning alone. It says what is
// missing. The caller holds mu.
func (s *Source) want(listErr error) map[string][]*contact {
	ids := map[string]identity{}
	unreadable := 0
	for name, e := range s.known {
		switch {
		case e.err == nil:
			ids[name] = e.id
		case errors.Is(e.err, fs.ErrPermission):
			unreadable++
		}
	}
	want := map[string][]*contact{}
	if s.learn != nil {
		for name, id := range ids {
			if pressable(id) {
				want[name] = nil
			}
		}
		s.learn.devices = len(want)
	}
	changed := false
	for _, l := range s.lines {
		c := s.on[l]
		if c.hand != nil {
			if _, there := want[c.hand.name]; !there {
				want[c.hand.name] = nil
			}
			changed = s.say(l, device.Loaded, s.loaded(c)) || changed
			continue
		}
		if c.key.Code == 0 {
			changed = s.miss(c, "no key has been learned for it") || changed
			continue
		}
		name, _, why := choose(c.key, ids)
		if why == "" {
			want[name] = append(want[name], c)
			continue
		}
		switch {
		case listErr != nil && !errors.Is(listErr, fs.ErrNotExist): // without any device there is no folder
			why = "the input devices cannot be listed: " + listErr.Error()
		case c.had && again(c.key, ids) == 0:
			why = unplugged
		case unreadable > 0:
			why += fmt.Sprintf("; %d input devices may not be read by this program (is its user in the group input?)", unreadable)
		}
		changed = s.miss(c, why) || changed
	}
	if changed {
		s.to.Changed()
	}
	return want
}

// arm opens a device and throws away what it holds from before. A device for
// learning alone is grabbed only when none of its keys is down: whoever had
// the press has to have the release.
func (s *Source) arm(name string, id identity, learning bool) (h *hand, at time.Duration, err error) {
	n, err := s.dir.open(name)
	if err != nil {
		return nil, 0, err
	}
	defer func() {
		if err != nil {
			n.Close()
		}
	}()
	if now, err := n.identify(); err != nil {
		return nil, 0, err
	} else if now != id {
		return nil, 0, errors.New("another device has taken its place")
	}
	if err := n.monotonic(); err != nil {
		return nil, 0, fmt.Errorf("the kernel does not date its keys on the monotonic clock: %w", err)
	}
	h = &hand{
		name: name, id: id, node: n, lines: map[uint16]*contact{},
		buf: make([]byte, readEvents*native.size()), events: make([]event, 0, readEvents),
	}
	if !learning {
		if err := n.grab(true); err != nil {
			return nil, 0, err
		}
		h.grabbed = true
	}
	for {
		if _, err := n.read(h.buf); errors.Is(err, unix.EAGAIN) {
			break
		} else if err != nil {
			return nil, 0, err
		}
	}
	at = s.clock.Now() // before the question, so that no later edge is older
	if h.held, err = n.held(); err != nil {
		return nil, 0, err
	}
	if learning && h.held.empty() {
		if err := n.grab(true); err != nil {
			return nil, 0, err
		}
		h.grabbed = true
	}
	return h, at, nil
}

// join gives a contact its pedal and sends its level, of the instant at if the
// pedal has just been armed. It tells whether the report is a new one. The
// caller holds mu.
func (s *Source) join(c *contact, h *hand, failed error, at time.Duration) bool {
	if failed != nil {
		return s.miss(c, words(failed))
	}
	if h == nil {
		return false // lost again; the next look tells
	}
	if at == 0 { // it has been read for something else
		if s.turn(h); h.gone {
			return false
		}
		at = s.clock.Now()
	}
	if !h.grabbed {
		if err := h.node.grab(true); err != nil {
			return s.miss(c, words(err))
		}
		h.grabbed = true
	}
	h.lines[c.key.Code] = c
	c.hand, c.lost, c.had = h, false, true
	s.send(c, at, h.held.has(c.key.Code))
	return s.say(c.line, device.Loaded, s.loaded(c))
}

// loaded describes a contact's pedal. The caller holds mu.
func (s *Source) loaded(c *contact) string {
	id := c.hand.id
	reason := fmt.Sprintf("%q (%s), key %d", id.name, c.key.Device(), c.key.Code)
	ids := map[string]identity{}
	for name, e := range s.known {
		if e.err == nil {
			ids[name] = e.id
		}
	}
	if n := again(c.key, ids); n > 1 {
		reason += "; " + secondPedal(n, id)
	}
	return reason
}

// miss says that a contact has no pedal, and Lost when that is news. It tells
// whether the report is a new one. The caller holds mu.
func (s *Source) miss(c *contact, why string) bool {
	if !c.lost {
		s.lost([]*contact{c}, s.clock.Now(), why)
	}
	return s.say(c.line, device.Failed, why)
}

func (s *Source) lost(all []*contact, at time.Duration, why string) {
	var names []string
	for _, l := range s.lines {
		for _, c := range all {
			if c.line == l {
				c.lost = true
				c.last = max(c.last, at)
				names = append(names, string(l))
			}
		}
	}
	s.to.Lost(at, strings.Join(names, ", ")+": "+why)
}

// release takes a contact's pedal away. The caller holds mu.
func (s *Source) release(c *contact, why string) {
	if c.hand != nil {
		for code, other := range c.hand.lines {
			if other == c {
				delete(c.hand.lines, code)
			}
		}
	}
	c.hand, c.had = nil, false
	if s.miss(c, why) {
		s.to.Changed()
	}
}

const unplugged = "the pedal is unplugged"

// words says what an error means to the tester.
func words(err error) string {
	switch {
	case errors.Is(err, unix.EBUSY):
		return "another program holds the pedal"
	case errors.Is(err, fs.ErrPermission):
		return "the pedal may not be read by this program (is its user in the group input?)"
	case errors.Is(err, unix.ENODEV), errors.Is(err, unix.ENXIO), errors.Is(err, io.EOF),
		errors.Is(err, fs.ErrNotExist), errors.Is(err, os.ErrClosed):
		return unplugged
	}
	return "the pedal cannot be read: " + err.Error()
}
