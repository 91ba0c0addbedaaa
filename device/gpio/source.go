// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device"
)

const (
	defaultSample = 100 * time.Millisecond
	// A line that does not work is tried again after firstRetry, then after
	// twice as long each time up to lastRetry.
	firstRetry = 250 * time.Millisecond
	lastRetry  = 2 * time.Second
	// steady is how long a chip has to work for its next failure to be a first.
	steady = 10 * time.Second
)

// A contact is a contact with what is known of it.
type contact struct {
	Contact
	watch *watch // nil while its line is not open; owned by Watch
	line  int    // its offset, while it is open

	// Under the source's mu.
	works   bool
	reason  string
	counts  Counts
	atStart bool // the first level was that of a contact pressed
}

func (c *contact) closed(high bool) bool { return high != c.ActiveLow }

// hides is how long the machine may stand still before a press could be hidden
// in that time.
func (c *contact) hides() time.Duration {
	switch c.Line {
	case device.Squeeze, device.Step:
		return hidesPress
	}
	return hidesReport
}

func (c *contact) title() string { return fmt.Sprintf("%s (%s)", c.Line, c.Place) }

// rest is the level of a contact that nobody touches.
func (c *contact) rest() bool { return c.Line == device.TasteNC }

// A Source is the contacts of a board's GPIO lines. Its methods may be called
// from any goroutine.
type Source struct {
	clock    Clock
	log      *slog.Logger
	machine  machine
	sample   time.Duration
	reader   string
	contacts []*contact
	broken   string // what is wrong with the options, in words
	sink     device.Sink

	mu      sync.Mutex
	changed bool
	watches []*watch
}

var _ device.Source = (*Source)(nil)

// New returns a source of the contacts in the options. It opens nothing; what
// is wrong with the options stands in the report.
func New(o Options) *Source {
	s := &Source{clock: o.Clock, log: o.Log, machine: o.machine, sample: o.Sample, reader: o.Edges}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.sample <= 0 {
		s.sample = defaultSample
	}
	if s.reader == "" {
		s.reader = Kernel
	}
	if s.reader != Kernel && s.reader != Periph {
		s.broken = fmt.Sprintf("edges from %q: only %s and %s are known", s.reader, Kernel, Periph)
	}
	if s.machine == nil {
		s.machine = &linux{clock: o.Clock, reader: s.reader, buffer: o.Buffer}
	}
	lines, places := map[device.Line]bool{}, map[Place]bool{}
	for _, c := range o.Contacts {
		if lines[c.Line] {
			s.broken = fmt.Sprintf("the contact %s is given twice", c.Line)
		}
		if places[c.Place] {
			s.broken = fmt.Sprintf("two contacts are given %s", c.Place)
		}
		lines[c.Line], places[c.Place] = true, true
		s.contacts = append(s.contacts, &contact{Contact: c, reason: "not opened yet"})
	}
	return s
}

// Lines implements device.Source.
func (s *Source) Lines() []device.Line {
	var all []device.Line
	for _, c := range s.contacts {
		all = append(all, c.Line)
	}
	return all
}

// TimeSource implements device.Source.
func (s *Source) TimeSource() string {
	if s.reader == Periph {
		return device.ArrivalTime
	}
	return device.KernelTime
}

// Watch implements device.Source.
func (s *Source) Watch(ctx context.Context, to device.Sink) {
	s.sink = to
	if s.broken != "" {
		for _, c := range s.contacts {
			s.fail(c, s.broken)
		}
		s.tell()
		<-ctx.Done()
		return
	}
	type end struct {
		w     *watch
		began time.Duration
		err   error
	}
	ended := make(chan end)
	running := 0
	wait, due := firstRetry, s.clock.Now()
	for {
		if ctx.Err() == nil && s.clock.Now() >= due && s.waiting() {
			for _, w := range s.open() {
				running++
				began := s.clock.Now()
				go func() { ended <- end{w, began, w.serve(ctx)} }()
			}
			due = s.clock.Now() + wait
			wait = min(2*wait, lastRetry)
			s.tell()
		}
		var wake <-chan struct{}
		stop := func() {}
		if s.waiting() {
			wake, stop = s.clock.Wake(due)
		}
		select {
		case <-ctx.Done():
			stop()
			for ; running > 0; running-- {
				s.drop((<-ended).w, nil)
			}
			return
		case e := <-ended:
			stop()
			running--
			s.drop(e.w, e.err)
			if s.clock.Now()-e.began >= steady {
				wait = firstRetry
			}
			due = s.clock.Now() + wait
			s.tell()
		case <-wake:
		}
	}
}

// waiting tells whether a line has yet to be opened.
func (s *Source) waiting() bool {
	return slices.ContainsFunc(s.contacts, func(c *contact) bool { return c.watch == nil })
}

// open opens the lines that are not open and can be, those of one chip
// together, and sends their levels.
func (s *Source) open() []*watch {
	chips, trouble := s.machine.chips()
	if trouble != nil {
		s.log.Warn("look for GPIO chips", "err", trouble)
	}
	type want struct {
		chip     Chip
		contacts []*contact
		lines    []asked
	}
	var wants []*want
	for _, c := range s.contacts {
		if c.watch != nil {
			continue
		}
		chip, line, err := find(chips, c.Place)
		switch {
		case err != nil && trouble != nil:
			s.fail(c, trouble.Error())
			continue
		case err != nil:
			s.fail(c, err.Error())
			continue
		case slices.ContainsFunc(s.contacts, func(o *contact) bool {
			return o.watch != nil && o.watch.chip.Name == chip.Name && o.line == line.Offset
		}):
			s.fail(c, twice(c))
			continue
		case line.Used:
			s.fail(c, busy(c.Place, line).Error())
			continue
		}
		i := slices.IndexFunc(wants, func(w *want) bool { return w.chip.Name == chip.Name })
		if i < 0 {
			i = len(wants)
			wants = append(wants, &want{chip: chip})
		}
		w := wants[i]
		if slices.ContainsFunc(w.lines, func(a asked) bool { return a.offset == line.Offset }) {
			s.fail(c, twice(c))
			continue
		}
		w.contacts = append(w.contacts, c)
		w.lines = append(w.lines, asked{line.Offset, c.Pull})
	}
	var opened []*watch
	for _, want := range wants {
		w := &watch{source: s, chip: want.chip, clock: s.clock, sink: s.sink, sample: s.sample, poke: make(chan struct{}, 1)}
		for _, c := range want.contacts {
			w.lines = append(w.lines, watched{contact: c})
		}
		var err error
		if w.req, err = s.machine.edges(want.chip, want.lines); err == nil {
			if err = w.arm(); err != nil {
				w.req.interrupt()
				_ = w.req.close() // the error of reading tells more
			}
		}
		if err != nil {
			for _, c := range want.contacts {
				s.fail(c, s.words(want.chip, err))
			}
			continue
		}
		for i, c := range want.contacts {
			c.watch, c.line = w, want.lines[i].offset
		}
		s.mu.Lock()
		s.watches = append(s.watches, w)
		s.mu.Unlock()
		opened = append(opened, w)
	}
	return opened
}

func twice(c *contact) string { return fmt.Sprintf("%s is given to two contacts", c.Place) }

// words is an error of a chip for the report.
func (s *Source) words(c Chip, err error) string {
	switch {
	case gone(err):
		return fmt.Sprintf("the GPIO chip %s is gone; it is looked for", c.Label)
	case errors.Is(err, unix.EBUSY):
		return fmt.Sprintf("a line of %s has just been taken by another program", c.Label)
	}
	return fmt.Sprintf("the GPIO chip %s does not answer: %v", c.Label, err)
}

// drop takes a watch out; an error says that it broke.
func (s *Source) drop(w *watch, err error) {
	s.mu.Lock()
	s.watches = slices.DeleteFunc(s.watches, func(o *watch) bool { return o == w })
	s.mu.Unlock()
	reason := "closed"
	if err != nil {
		reason = s.words(w.chip, err)
		w.mu.Lock()
		if !w.said {
			w.lost(s.clock.Now(), reason)
		}
		w.mu.Unlock()
		s.log.Error("GPIO chip", "chip", w.chip.Label, "err", err)
	}
	for i := range w.lines {
		c := w.lines[i].contact
		c.watch = nil
		s.fail(c, reason)
	}
}

// fail notes why a contact does not work.
func (s *Source) fail(c *contact, reason string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if c.works || c.reason != reason {
		c.works, c.reason, s.changed = false, reason, true
	}
}

// first notes the level of a line that has just been opened.
func (s *Source) first(c *contact, closed bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	c.works, c.reason, c.counts, s.changed = true, "", Counts{}, true
	c.atStart = closed != c.rest()
}

// moved notes a level.
func (s *Source) moved(c *contact, closed bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if c.atStart && closed == c.rest() {
		c.atStart, s.changed = false, true
	}
}

func (s *Source) count(c *contact, f func(*Counts)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	before := c.counts
	f(&c.counts)
	s.changed = s.changed || before.Missed != c.counts.Missed || before.Lost != c.counts.Lost
}

// tell says that the report has changed, if it has. It is called without any
// lock, so that the sink may ask for the report.
func (s *Source) tell() {
	s.mu.Lock()
	changed := s.changed
	s.changed = false
	s.mu.Unlock()
	if changed && s.sink != nil {
		s.sink.Changed()
	}
}

// Flush implements device.Source. With periph's reader, which cannot read
// without waiting, it takes a millisecond or two.
func (s *Source) Flush() {
	s.mu.Lock()
	watches := slices.Clone(s.watches)
	s.mu.Unlock()
	for _, w := range watches {
		_ = w.now() // an error breaks the watch, which says so itself
	}
}

// Counts says how the edges of a contact came since its line was opened.
func (s *Source) Counts(l device.Line) Counts {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, c := range s.contacts {
		if c.Line == l {
			return c.counts
		}
	}
	return Counts{}
}

// Report implements device.Source: a part for each contact. A contact that
// works may have a remark for its reason.
func (s *Source) Report() []device.Part {
	s.mu.Lock()
	defer s.mu.Unlock()
	var parts []device.Part
	for _, c := range s.contacts {
		p := device.Part{Name: fmt.Sprintf("contact %s on %s", c.Line, c.Place), State: device.Failed, Reason: c.reason, Lines: []device.Line{c.Line}}
		if c.works {
			p.State, p.Reason = device.Loaded, strings.Join(c.remarks(), "; ")
		}
		parts = append(parts, p)
	}
	return parts
}

// remarks are what is to be said of a contact that works; the caller holds mu.
func (c *contact) remarks() []string {
	var all []string
	switch {
	case c.atStart && c.rest():
		all = append(all, "it is open since the start: the button is pressed, or the cable is out")
	case c.atStart && c.Pull != PullUp && c.Pull != PullDown:
		all = append(all, "it is closed since the start: it is pressed, or the line has no resistor that holds it at rest (pull is none)")
	case c.atStart:
		all = append(all, "it is closed since the start: it is pressed, wired to the wrong line, or of the other polarity")
	}
	if c.counts.Lost > 0 {
		all = append(all, fmt.Sprintf("%d edges were dropped because the kernel's queue ran over", c.counts.Lost))
	}
	if c.counts.Missed > 1 {
		all = append(all, fmt.Sprintf("edges of this line are being missed: %d changes were found only by looking", c.counts.Missed))
	}
	return all
}
