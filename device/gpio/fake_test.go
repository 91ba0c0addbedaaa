// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"encoding/binary"
	"fmt"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/gpio"

	"tallyhood/device"
)

// boot is what the fake kernel's clock shows when the board's clock shows 0.
const boot = 1234 * time.Second

// testClock counts from its making; in a bubble it is virtual.
type testClock struct{ origin time.Time }

func newTestClock() testClock { return testClock{time.Now()} }

func (c testClock) Now() time.Duration                          { return time.Since(c.origin) }
func (c testClock) FromMonotonic(r time.Duration) time.Duration { return r - boot }
func (c testClock) Wake(at time.Duration) (<-chan struct{}, func()) {
	ch := make(chan struct{}, 1)
	t := time.AfterFunc(max(0, at-c.Now()), func() { ch <- struct{}{} })
	return ch, func() { t.Stop() }
}

// fakeKernel is a kernel with GPIO chips, after drivers/gpio/gpiolib-cdev.c:
// an interrupt notes time and number of an edge, its thread then reads the
// level and queues the event; what comes before the thread has run is one
// event with the last time. A full queue drops its oldest.
type fakeKernel struct {
	t     testing.TB
	clock testClock
	mode  string // Kernel or Periph

	mu       sync.Mutex
	chips    []*fakeChip
	latency  time.Duration // from interrupt to thread; 0: at once
	frozen   bool          // threads do not run
	deaf     bool          // no interrupts at all
	nodeless bool          // the device nodes are gone, and the lines still answer
	skew     time.Duration // of the interrupts' clock
	onLook   func()        // just before the levels are read, once
	old      bool          // who waits for an edge is not woken when the chip goes
	refuse   error         // requests are refused
	broken   error         // reading the lines of a request fails
	reads    int           // of event queues
	looks    int           // readings of levels
}

type fakeChip struct {
	name, label string
	lines       []*fakeLine
	plugged     bool
	requests    []*fakeRequest
}

type fakeLine struct {
	name, consumer string
	used, output   bool
	high           bool
	bias           Pull
	writes         []bool
}

type fakeRequest struct {
	k       *fakeKernel
	chip    *fakeChip
	offsets []int
	queue   []lineEvent
	holds   int
	seq     uint32
	lineSeq []uint32
	stamp   []time.Duration
	reqSeq  []uint32
	due     []bool
	news    chan struct{}
	stopped bool
	closed  bool
	waiting bool
}

func newFakeKernel(t testing.TB, mode string, names ...string) *fakeKernel {
	k := &fakeKernel{t: t, clock: newTestClock(), mode: mode}
	k.add("gpiochip0", "fake-pins", names...)
	return k
}

func (k *fakeKernel) add(name, label string, lines ...string) *fakeChip {
	c := &fakeChip{name: name, label: label, plugged: true}
	for _, n := range lines {
		c.lines = append(c.lines, &fakeLine{name: n})
	}
	k.chips = append(k.chips, c)
	return c
}

func (k *fakeKernel) do(f func()) {
	k.mu.Lock()
	defer k.mu.Unlock()
	f()
}

// move gives a line a level, as an interrupt sees it.
func (k *fakeKernel) move(chip, offset int, high bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	c := k.chips[chip]
	if c.lines[offset].high == high {
		return
	}
	c.lines[offset].high = high
	if k.deaf || !c.plugged {
		return
	}
	for _, r := range c.requests {
		i := slices.Index(r.offsets, offset)
		if i < 0 || r.holds == 0 {
			continue
		}
		r.seq++
		r.stamp[i], r.reqSeq[i] = k.clock.Now()+boot+k.skew, r.seq
		if r.due[i] {
			continue // the thread has yet to run for the last one
		}
		r.due[i] = true
		switch {
		case k.frozen:
		case k.latency > 0:
			time.AfterFunc(k.latency, func() { k.do(func() { r.thread(i) }) })
		default:
			r.thread(i)
		}
	}
}

// thaw runs the threads that were held up.
func (k *fakeKernel) thaw() {
	k.do(func() {
		k.frozen = false
		for _, c := range k.chips {
			for _, r := range c.requests {
				for i := range r.offsets {
					r.thread(i)
				}
			}
		}
	})
}

// thread queues the event of a line.
func (r *fakeRequest) thread(i int) {
	if !r.due[i] || r.closed || !r.chip.plugged {
		return
	}
	r.due[i] = false
	r.lineSeq[i]++
	e := lineEvent{time: uint64(r.stamp[i]), id: eventFalling, offset: uint32(r.offsets[i]), seqno: r.reqSeq[i], lineSeq: r.lineSeq[i]}
	if r.chip.lines[r.offsets[i]].high {
		e.id = eventRising
	}
	if len(r.offsets) == 1 {
		e.seqno = e.lineSeq
	}
	if len(r.queue) == r.holds {
		r.queue = r.queue[1:]
	}
	r.queue = append(r.queue, e)
	r.tell()
}

func (r *fakeRequest) tell() {
	close(r.news)
	r.news = make(chan struct{})
}

func (k *fakeKernel) plug(chip int, in bool) {
	k.do(func() {
		c := k.chips[chip]
		c.plugged = in
		if in {
			c.requests = nil
			return
		}
		for _, l := range c.lines {
			l.used = false
		}
		if k.old {
			return
		}
		for _, r := range c.requests {
			r.tell()
		}
	})
}

// listing is what the kernel tells of its chips; the caller holds mu or is alone.
func (k *fakeKernel) listing() []Chip {
	var all []Chip
	for _, c := range k.chips {
		if !c.plugged {
			continue
		}
		info := Chip{Name: c.name, Label: c.label, Path: "/dev/" + c.name}
		for i, l := range c.lines {
			info.Lines = append(info.Lines, LineInfo{Offset: i, Name: l.name, Used: l.used, Consumer: l.consumer, Output: l.output})
		}
		all = append(all, info)
	}
	return all
}

// fakeMachine is the machine of a fake kernel.
type fakeMachine struct {
	*fakeKernel
	buffer int
}

func (m fakeMachine) chips() ([]Chip, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.listing(), nil
}

func (m fakeMachine) present(c Chip) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return !m.nodeless && slices.ContainsFunc(m.listing(), func(o Chip) bool { return o.Name == c.Name })
}

func (m fakeMachine) grant(c Chip, offsets []int) (*fakeRequest, error) {
	if m.refuse != nil {
		return nil, m.refuse
	}
	i := slices.IndexFunc(m.fakeKernel.chips, func(o *fakeChip) bool { return o.name == c.Name && o.plugged })
	if i < 0 {
		return nil, unix.ENODEV
	}
	chip := m.fakeKernel.chips[i]
	n := len(offsets)
	r := &fakeRequest{k: m.fakeKernel, chip: chip, offsets: offsets, lineSeq: make([]uint32, n), stamp: make([]time.Duration, n),
		reqSeq: make([]uint32, n), due: make([]bool, n), news: make(chan struct{})}
	for _, o := range offsets {
		if chip.lines[o].used {
			return nil, unix.EBUSY
		}
	}
	for _, o := range offsets {
		chip.lines[o].used, chip.lines[o].consumer = true, consumerName
	}
	chip.requests = append(chip.requests, r)
	return r, nil
}

func (m fakeMachine) edges(c Chip, lines []asked) (request, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var offsets []int
	for _, l := range lines {
		offsets = append(offsets, l.offset)
	}
	r, err := m.grant(c, offsets)
	if err != nil {
		return nil, fmt.Errorf("request: %w", err)
	}
	for _, l := range lines {
		r.chip.lines[l.offset].bias = l.pull
	}
	r.holds = perLine * len(lines)
	if m.mode == Periph {
		return newPeriphRequest(&fakeSet{fakeRequest: r}, lines, m.clock), nil
	}
	if m.buffer > 0 {
		r.holds = m.buffer
	}
	return newKernelRequest(&fakePort{r}, lines, m.clock), nil
}

func (m fakeMachine) output(c Chip, offset int, high bool) (output, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r, err := m.grant(c, []int{offset})
	if err != nil {
		return nil, err
	}
	l := r.chip.lines[offset]
	l.output, l.high, l.writes = true, high, append(l.writes, high)
	return &fakeOutput{r}, nil
}

func (r *fakeRequest) release() error {
	r.k.mu.Lock()
	defer r.k.mu.Unlock()
	if r.closed {
		r.k.t.Error("a request is closed twice")
	}
	if r.waiting {
		r.k.t.Error("a request is closed while somebody waits on it")
	}
	r.closed = true
	r.chip.requests = slices.DeleteFunc(r.chip.requests, func(o *fakeRequest) bool { return o == r })
	if r.chip.plugged {
		for _, o := range r.offsets {
			r.chip.lines[o].used, r.chip.lines[o].consumer = false, ""
		}
	}
	return nil
}

// state is the error of any call; the caller holds the kernel's mu.
func (r *fakeRequest) state() error {
	switch {
	case r.closed:
		r.k.t.Error("a closed request is used")
		return os.ErrClosed
	case !r.chip.plugged || !slices.Contains(r.chip.requests, r):
		return unix.ENODEV
	}
	return r.k.broken
}

func (r *fakeRequest) bits() (uint64, error) {
	r.k.mu.Lock()
	if f := r.k.onLook; f != nil {
		r.k.onLook = nil
		r.k.mu.Unlock()
		f()
		r.k.mu.Lock()
	}
	defer r.k.mu.Unlock()
	r.k.looks++
	if err := r.state(); err != nil {
		return 0, err
	}
	var v uint64
	for i, o := range r.offsets {
		v |= bit(r.chip.lines[o].high) << i
	}
	return v, nil
}

type fakeOutput struct{ *fakeRequest }

func (o *fakeOutput) set(high bool) error {
	o.k.mu.Lock()
	defer o.k.mu.Unlock()
	if err := o.state(); err != nil {
		return err
	}
	l := o.chip.lines[o.offsets[0]]
	l.high, l.writes = high, append(l.writes, high)
	return nil
}

func (o *fakeOutput) close() error { return o.release() }

// fakePort is the descriptor of a request.
type fakePort struct{ *fakeRequest }

func (p *fakePort) await() error {
	for {
		p.k.mu.Lock()
		err, queued, news := p.state(), len(p.queue) > 0, p.news
		stopped := p.stopped
		p.waiting = true
		p.k.mu.Unlock()
		if !stopped && !queued && err == nil {
			<-news
			continue
		}
		p.k.do(func() { p.waiting = false })
		if stopped {
			return errInterrupted
		}
		return err
	}
}

func (p *fakePort) read(b []byte) (int, error) {
	p.k.mu.Lock()
	defer p.k.mu.Unlock()
	p.k.reads++
	if err := p.state(); err != nil {
		return 0, err
	}
	n := 0
	for len(p.queue) > 0 && len(b)-n >= eventSize {
		m, err := binary.Encode(b[n:], binary.NativeEndian, wireEvent(p.queue[0]))
		if err != nil {
			return 0, err
		}
		n += m
		p.queue = p.queue[1:]
	}
	return n, nil
}

// wireEvent is the event's layout with fields that encoding/binary can see.
func wireEvent(e lineEvent) any {
	return struct {
		Time                       uint64
		ID, Offset, Seqno, LineSeq uint32
		Padding                    [6]uint32
	}{e.time, e.id, e.offset, e.seqno, e.lineSeq, [6]uint32{}}
}

func (p *fakePort) values(mask uint64) (uint64, error) {
	v, err := p.bits()
	return v & mask, err
}

func (p *fakePort) interrupt() {
	p.k.do(func() {
		p.stopped = true
		p.tell()
	})
}

func (p *fakePort) close() error { return p.release() }

// fakeSet is periph's line set with its habits: one wait at a time, 0 waits for
// ever, a negative wait not at all, and Halt is forgotten when nobody waits.
type fakeSet struct {
	*fakeRequest
	halt    chan struct{}
	endless bool // a long wait is one without end
}

func (s *fakeSet) WaitForEdge(d time.Duration) (int, gpio.Edge, error) {
	s.k.mu.Lock()
	if s.waiting {
		s.k.t.Error("two wait in one line set")
	}
	s.waiting = true
	halt := make(chan struct{})
	s.halt = halt
	s.k.mu.Unlock()
	defer s.k.do(func() { s.waiting, s.halt = false, nil })
	var late <-chan time.Time
	if d != 0 && !(s.endless && d >= longWait) {
		timer := time.NewTimer(d)
		defer timer.Stop()
		late = timer.C
	}
	for {
		s.k.mu.Lock()
		err, news := s.state(), s.news
		if err == nil && len(s.queue) > 0 && d >= 0 {
			e := s.queue[0]
			s.queue = s.queue[1:]
			s.k.mu.Unlock()
			if e.id == eventRising {
				return int(e.offset), gpio.RisingEdge, nil
			}
			return int(e.offset), gpio.FallingEdge, nil
		}
		s.k.mu.Unlock()
		if err != nil {
			return 0, gpio.NoEdge, fmt.Errorf("%v", err) // it keeps the text alone
		}
		select {
		case <-news:
		case <-late:
			return 0, gpio.NoEdge, fmt.Errorf("read: %w", os.ErrDeadlineExceeded)
		case <-halt:
			return 0, gpio.NoEdge, fmt.Errorf("read: %w", os.ErrDeadlineExceeded)
		}
	}
}

func (s *fakeSet) Read(gpio.GPIOValue) (gpio.GPIOValue, error) {
	v, err := s.bits()
	if err != nil {
		err = fmt.Errorf("%v", err)
	}
	return gpio.GPIOValue(v), err
}

func (s *fakeSet) Halt() error {
	s.k.do(func() {
		if s.halt != nil {
			close(s.halt)
			s.halt = nil
		}
	})
	return nil
}

func (s *fakeSet) Close() error { return s.release() }

// bed is a fake kernel with the contacts of a whole board on its first chip.
type bed struct {
	*fakeKernel
	contacts []Contact
}

func newBed(t testing.TB, mode string) *bed {
	b := &bed{fakeKernel: newFakeKernel(t, mode, "PEDAL", "STEP", "NO", "NC", "LAMP", "HORN")}
	for i, l := range []device.Line{device.Squeeze, device.Step, device.TasteNO, device.TasteNC} {
		b.contacts = append(b.contacts, Contact{Line: l, Place: Place{Name: b.chips[0].lines[i].name}, Pull: PullUp, ActiveLow: i < 3})
		b.chips[0].lines[i].high = i < 3 // all open; the last is wired the other way round
	}
	return b
}

func (b *bed) source(buffer int) *Source {
	return New(Options{Clock: b.clock, Contacts: b.contacts, Edges: b.mode, machine: fakeMachine{b.fakeKernel, buffer}})
}

// Set makes the bed a hand.
func (b *bed) Set(l device.Line, closed bool) error {
	for i, c := range b.contacts {
		if c.Line == l {
			b.move(0, i, closed != c.ActiveLow)
			return nil
		}
	}
	return fmt.Errorf("no contact %s", l)
}
