// SPDX-License-Identifier: Apache-2.0

// Package pedal watches USB pedals and buttons through the kernel's event
// devices. Each contact is one key of one kind of pedal, named by vendor,
// product and key code, so that it is found again in any port, and learned by
// pressing it. A pedal is grabbed: its keys reach nobody else.
//
// One contact has one pedal at a time. A second one of the same kind and key
// is not heard: the pedal in use stays in use until it is unplugged, and at the
// start name, serial number and port choose, in this order. The report says so
// in words, and where nothing tells them apart none is used. One key cannot be
// two contacts, and equal pedals on two contacts need different keys.
//
// While a pedal is away its contacts are unknown, never open: Lost is said at
// once and the levels come anew with the pedal. (The kernel lets go of the keys
// of a device that it takes away; such a release may be seen just before.)
//
// It must not decide whether a press counts, and it must not write a file that
// its caller did not name.
package pedal

import (
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"tallyhood/device"
)

// A Clock is the board's.
type Clock interface {
	Now() time.Duration
	Wake(at time.Duration) (<-chan struct{}, func())
	FromMonotonic(reading time.Duration) time.Duration
}

// Options of a source.
type Options struct {
	Clock Clock
	Log   *slog.Logger // nil: the default one
	Dir   string       // of the event devices; "": /dev/input
	// Keys has an entry for each contact that a pedal brings. A zero Key
	// waits for being learned.
	Keys map[device.Line]Key
}

// A Source is the pedals of a board. Its methods may be called from any
// goroutine.
type Source struct {
	clock Clock
	log   *slog.Logger
	dir   folder
	lines []device.Line
	kick  chan struct{} // there is something to look at

	// mu is held while what the kernel holds is read and handed on, so that it
	// is handed on once and in order.
	mu    sync.Mutex
	to    device.Sink // nil outside of Watch
	on    map[device.Line]*contact
	known map[string]*entry // every device, by its name in the folder
	open  map[string]*hand  // those that are read
	gen   int               // counts the changes of keys
	learn *learner

	partsMu sync.Mutex // taken last, nothing is called under it
	parts   map[device.Line]device.Part
}

var (
	_ device.Source  = (*Source)(nil)
	_ device.Flusher = (*Source)(nil)
)

// A contact is one line and the pedal that works it.
type contact struct {
	line device.Line
	key  Key
	hand *hand         // nil: the level is unknown
	had  bool          // it has had a pedal with this key
	lost bool          // that its level is unknown has been said
	last time.Duration // of what was sent
}

// An entry is a device as it was when it was looked at.
type entry struct {
	stamp stamp
	id    identity
	err   error
}

// A hand reads one device.
type hand struct {
	name    string
	id      identity
	node    node
	grabbed bool
	gone    bool // nothing more comes of it
	packets packets
	held    keySet
	lines   map[uint16]*contact
	buf     []byte
	events  []event
}

// New returns a source that watches nothing yet. Keys that cannot be are an
// error.
func New(o Options) (*Source, error) {
	if o.Dir == "" {
		o.Dir = "/dev/input"
	}
	return newSource(o, folderOf(o.Dir))
}

func newSource(o Options, dir folder) (*Source, error) {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	s := &Source{
		clock: o.Clock, log: o.Log, dir: dir, kick: make(chan struct{}, 1),
		on: map[device.Line]*contact{}, known: map[string]*entry{}, open: map[string]*hand{},
		parts: map[device.Line]device.Part{},
	}
	for l, k := range o.Keys {
		if !slices.Contains(device.Lines(), l) {
			return nil, fmt.Errorf("there is no contact %q; the contacts are %v", l, device.Lines())
		}
		if k.Code >= keyCount {
			return nil, fmt.Errorf("pedal for %s: %d is no key code", l, k.Code)
		}
	}
	if err := distinct(o.Keys); err != nil {
		return nil, err
	}
	for _, l := range device.Lines() {
		if k, ok := o.Keys[l]; ok {
			s.lines = append(s.lines, l)
			s.on[l] = &contact{line: l, key: k}
			s.parts[l] = part(l, device.Failed, "nothing has been looked for yet")
		}
	}
	return s, nil
}

func part(l device.Line, state device.State, reason string) device.Part {
	return device.Part{Name: "pedal for " + string(l), State: state, Reason: reason, Lines: []device.Line{l}}
}

// Lines implements device.Source.
func (s *Source) Lines() []device.Line { return slices.Clone(s.lines) }

// TimeSource implements device.Source.
func (s *Source) TimeSource() string { return device.KernelTime }

// Report implements device.Source: one part for each contact.
func (s *Source) Report() []device.Part {
	s.partsMu.Lock()
	defer s.partsMu.Unlock()
	var all []device.Part
	for _, l := range s.lines {
		all = append(all, s.parts[l])
	}
	return all
}

// say sets a line of the report and tells whether it is a new one.
func (s *Source) say(l device.Line, state device.State, reason string) bool {
	s.partsMu.Lock()
	old := s.parts[l]
	changed := old.State != state || old.Reason != reason
	s.parts[l] = part(l, state, reason)
	s.partsMu.Unlock()
	if !changed {
		return false
	}
	if state == device.Loaded {
		s.log.Info("pedal", "line", l, "state", state, "reason", reason)
	} else {
		s.log.Warn("pedal", "line", l, "state", state, "reason", reason)
	}
	return true
}

// Keys are the keys in use, to be saved.
func (s *Source) Keys() map[device.Line]Key {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.keys()
}

func (s *Source) keys() map[device.Line]Key {
	keys := map[device.Line]Key{}
	for l, c := range s.on {
		keys[l] = c.key
	}
	return keys
}

// Set gives a contact another key, at once when Watch runs: it says Lost, and
// then the level of the new key. A zero Key takes the contact's key away. The
// key of another contact is a TakenError.
func (s *Source) Set(l device.Line, k Key) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.set(l, k)
}

func (s *Source) set(l device.Line, k Key) error {
	c := s.on[l]
	if c == nil {
		return fmt.Errorf("no pedal is configured for %q", l)
	}
	if k.Code >= keyCount {
		return fmt.Errorf("pedal for %s: %d is no key code", l, k.Code)
	}
	if err := taken(s.keys(), l, k); err != nil {
		return err
	}
	kept := c.hand != nil && k == keyOf(c.hand.id, c.key.Code)
	c.key = k
	s.gen++
	if !kept && s.to != nil {
		s.release(c, "another key is taken for it")
	}
	s.wake()
	return nil
}

// keyOf is the key as a device would have it learned.
func keyOf(id identity, code uint16) Key {
	return Key{Vendor: id.vendor, Product: id.product, Code: code, Name: id.name, Phys: id.phys, Uniq: id.uniq}
}

func (s *Source) wake() {
	select {
	case s.kick <- struct{}{}:
	default:
	}
}
