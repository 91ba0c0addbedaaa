// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"context"
	"encoding/binary"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device"
)

// A fakeFolder stands in for /dev/input.
type fakeFolder struct {
	mu      sync.Mutex
	devices map[string]*fakeDevice
	number  int
	err     error
}

// A fakeDevice does what the kernel does with an event device, as far as the
// reader can tell. Its handles are pipes, so that waiting and reading are the
// real ones.
type fakeDevice struct {
	folder *fakeFolder
	clock  *fakeClock
	name   string
	id     identity

	mu      sync.Mutex
	stamp   stamp
	state   keySet
	handles []*fakeHandle
	owner   *fakeHandle // that has grabbed it
	foreign bool        // another program has
	denied  bool        // may not be opened
	gone    atomic.Bool // read without mu: emit holds it while a pipe is full
	stale   []event     // lie in a handle's queue when it is opened
	opened  int
}

type fakeHandle struct {
	pipe
	dev  *fakeDevice
	w    *os.File
	mono bool
}

func (f *fakeFolder) list() (map[string]stamp, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	found := map[string]stamp{}
	for name, d := range f.devices {
		d.mu.Lock()
		found[name] = d.stamp
		d.mu.Unlock()
	}
	return found, f.err
}

func (f *fakeFolder) open(name string) (node, error) {
	f.mu.Lock()
	d := f.devices[name]
	f.mu.Unlock()
	if d == nil {
		return nil, fs.ErrNotExist
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.denied:
		return nil, unix.EACCES
	case d.gone.Load():
		return nil, unix.ENODEV
	}
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	p, err := newPipe(r)
	if err != nil {
		return nil, err
	}
	h := &fakeHandle{pipe: p, dev: d, w: w}
	d.handles = append(d.handles, h)
	d.opened++
	h.put(d.stale...)
	return h, nil
}

func (h *fakeHandle) put(events ...event) {
	for _, e := range events {
		if _, err := h.w.Write(encode(native, e)); err != nil {
			panic(err)
		}
	}
}

func encode(l layout, e event) []byte {
	b := make([]byte, l.size())
	s, us := uint64(e.at/time.Second), uint64(e.at%time.Second/time.Microsecond)
	if l.word == 4 {
		l.order.PutUint32(b, uint32(s))
		l.order.PutUint32(b[4:], uint32(us))
	} else {
		l.order.PutUint64(b, s)
		l.order.PutUint64(b[8:], us)
	}
	l.order.PutUint16(b[2*l.word:], e.typ)
	l.order.PutUint16(b[2*l.word+2:], e.code)
	l.order.PutUint32(b[2*l.word+4:], uint32(e.value))
	return b
}

func (h *fakeHandle) identify() (identity, error) { return h.dev.id, nil }

func (h *fakeHandle) monotonic() error {
	h.mono = true
	return nil
}

func (h *fakeHandle) grab(bool) error {
	h.dev.mu.Lock()
	defer h.dev.mu.Unlock()
	switch {
	case h.dev.gone.Load():
		return unix.ENODEV
	case h.dev.foreign || h.dev.owner != nil:
		return unix.EBUSY
	}
	h.dev.owner = h
	return nil
}

func (h *fakeHandle) held() (keySet, error) {
	h.dev.mu.Lock()
	defer h.dev.mu.Unlock()
	if h.dev.gone.Load() {
		return keySet{}, unix.ENODEV
	}
	h.empty()
	return h.dev.state, nil
}

// empty throws the key events of the queue away and leaves the others.
func (h *fakeHandle) empty() {
	var left []event
	for b := make([]byte, 100*native.size()); ; {
		n, err := h.pipe.read(b)
		if err != nil {
			break
		}
		left, _ = native.decode(left, b[:n])
	}
	h.put(slices.DeleteFunc(left, func(e event) bool { return e.typ == evKey })...)
}

func (h *fakeHandle) read(b []byte) (int, error) {
	if h.dev.gone.Load() {
		return 0, unix.ENODEV
	}
	return h.pipe.read(b)
}

func (h *fakeHandle) Close() error {
	h.dev.mu.Lock()
	if h.dev.owner == h {
		h.dev.owner = nil
	}
	h.dev.handles = slices.DeleteFunc(h.dev.handles, func(o *fakeHandle) bool { return o == h })
	h.dev.mu.Unlock()
	h.w.Close()
	return h.pipe.Close()
}

// emit sends events as they are and keeps the state as the kernel does.
func (d *fakeDevice) emit(events ...event) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, e := range events {
		if e.typ == evKey && e.value != repeated {
			d.state.set(e.code, e.value != 0)
		}
	}
	for _, h := range d.hearers() {
		var b []byte
		for _, e := range events {
			b = append(b, encode(native, e)...)
		}
		if _, err := h.w.Write(b); err != nil {
			panic(err)
		}
	}
}

func (d *fakeDevice) hearers() []*fakeHandle {
	switch {
	case d.foreign:
		return nil
	case d.owner != nil:
		return []*fakeHandle{d.owner}
	}
	return d.handles
}

// key is a packet with one key, dated now.
func (d *fakeDevice) key(code uint16, value int32) {
	at := d.clock.Now()
	d.emit(event{at, evKey, code, value}, event{at, evSyn, synReport, 0})
}

// raw puts bytes into the stream.
func (d *fakeDevice) raw(b []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, h := range d.hearers() {
		if _, err := h.w.Write(b); err != nil {
			panic(err)
		}
	}
}

// vanish takes the device out of the folder; who has it open does not know.
func (d *fakeDevice) vanish() {
	d.folder.mu.Lock()
	defer d.folder.mu.Unlock()
	delete(d.folder.devices, d.name)
}

func (d *fakeDevice) unplug() {
	d.vanish()
	d.mu.Lock()
	defer d.mu.Unlock()
	d.gone.Store(true)
	for _, h := range d.handles {
		h.w.Close()
	}
}

func (d *fakeDevice) grabbed() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.owner != nil
}

// A fakeClock goes on when it is told to.
type fakeClock struct {
	mu     sync.Mutex
	now    time.Duration
	timers map[chan struct{}]timer
}

type timer struct{ at, asked time.Duration }

func (c *fakeClock) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *fakeClock) FromMonotonic(d time.Duration) time.Duration { return d }

func (c *fakeClock) Wake(at time.Duration) (<-chan struct{}, func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	ch := make(chan struct{}, 1)
	if at <= c.now {
		ch <- struct{}{}
		return ch, func() {}
	}
	c.timers[ch] = timer{at, c.now}
	return ch, func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.timers, ch)
	}
}

// waited tells whether somebody waits who asked to sleep for d.
func (c *fakeClock) waited(d time.Duration) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, t := range c.timers {
		if t.at-t.asked == d {
			return true
		}
	}
	return false
}

func (c *fakeClock) advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now += d
	for ch, t := range c.timers {
		if t.at <= c.now {
			ch <- struct{}{}
			delete(c.timers, ch)
		}
	}
}

// A bench is a source on a fake folder, and what it said.
type bench struct {
	t      *testing.T
	clock  *fakeClock
	folder *fakeFolder
	src    *Source
	stop   context.CancelFunc
	ended  chan struct{}

	mu      sync.Mutex
	said    []string // "squeeze 1", "lost REASON"
	dates   []time.Duration
	changes int
}

func newBench(t *testing.T, keys map[device.Line]Key) *bench {
	t.Helper()
	b := &bench{
		t: t, clock: &fakeClock{now: time.Second, timers: map[chan struct{}]timer{}},
		folder: &fakeFolder{devices: map[string]*fakeDevice{}}, ended: make(chan struct{}),
	}
	var err error
	if b.src, err = newSource(Options{Clock: b.clock, Log: slog.New(slog.DiscardHandler), Keys: keys}, b.folder); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *bench) watch() {
	ctx, stop := context.WithCancel(b.t.Context())
	b.stop = stop
	go func() {
		defer close(b.ended)
		b.src.Watch(ctx, b)
	}()
	b.t.Cleanup(func() { stop(); <-b.ended })
	b.until("watched", func() bool { b.src.mu.Lock(); defer b.src.mu.Unlock(); return b.src.to != nil })
}

func (b *bench) put(at time.Duration, what string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.said, b.dates = append(b.said, what), append(b.dates, at)
}

// Edge implements device.Sink.
func (b *bench) Edge(l device.Line, at time.Duration, closed bool) {
	level := 0
	if closed {
		level = 1
	}
	b.put(at, fmt.Sprintf("%s %d", l, level))
}

// Lost implements device.Sink.
func (b *bench) Lost(at time.Duration, reason string) { b.put(at, "lost "+reason) }

// Changed implements device.Sink.
func (b *bench) Changed() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.changes++
}

func (b *bench) heard() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.said)
}

func (b *bench) until(what string, cond func() bool) {
	b.t.Helper()
	for end := time.Now().Add(time.Minute); !cond(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			b.t.Fatalf("%s: not within a minute; said %q, report %v", what, b.heard(), b.src.Report())
		}
	}
}

// hear waits until as much has been said as is wanted, and compares.
func (b *bench) hear(want ...string) {
	b.t.Helper()
	b.until(fmt.Sprintf("%q", want), func() bool { return len(b.heard()) >= len(want) })
	if got := b.heard(); !slices.Equal(got, want) {
		b.t.Fatalf("said %q, want %q", got, want)
	}
}

// report waits for a state of a line with words in its reason.
func (b *bench) report(l device.Line, state device.State, words ...string) {
	b.t.Helper()
	b.until(fmt.Sprintf("%s %s %q", l, state, words), func() bool {
		for _, p := range b.src.Report() {
			if p.Lines[0] == l && p.State == state {
				return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(p.Reason, w) })
			}
		}
		return false
	})
}

// later lets the source look again, at what there is now: a look under way may
// have listed the folder already, and its next one is not yet due at any time.
func (b *bench) later() {
	b.t.Helper()
	b.until("waits for the next look", func() bool { return b.clock.waited(lookEvery) })
	b.clock.advance(lookEvery)
}

// plug puts a device into the folder; a look may find it at once, as it is
// made.
func (b *bench) plug(id identity, is ...func(*fakeDevice)) *fakeDevice {
	b.folder.mu.Lock()
	defer b.folder.mu.Unlock()
	b.folder.number++
	d := &fakeDevice{
		folder: b.folder, clock: b.clock, id: id,
		name: fmt.Sprintf("event%d", b.folder.number), stamp: stamp{int64(b.folder.number), 1},
	}
	for _, f := range is {
		f(d)
	}
	b.folder.devices[d.name] = d
	return d
}

// pedalWith describes a pedal of the invented kind 1a2b:3c4d.
func pedalWith(name, phys string, codes ...uint16) identity {
	id := identity{vendor: 0x1a2b, product: 0x3c4d, name: name, phys: phys}
	for _, c := range codes {
		id.keys.set(c, true)
	}
	return id
}

var layouts = map[string]layout{
	"24 bytes, little-endian": {8, binary.LittleEndian},
	"16 bytes, little-endian": {4, binary.LittleEndian},
	"24 bytes, big-endian":    {8, binary.BigEndian},
	"16 bytes, big-endian":    {4, binary.BigEndian},
}
