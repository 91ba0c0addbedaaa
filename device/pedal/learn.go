// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"tallyhood/device"
)

const (
	// LearnFor is how long Learn waits for a press.
	LearnFor = 20 * time.Second
	// quiet is how long nothing may follow a release until it counts as the
	// end: a contact bounces, and a pedal may send more than one key.
	quiet = 250 * time.Millisecond
	// brief is shorter than any press by foot or hand.
	brief = 40 * time.Millisecond
)

// Why nothing was learned. The errors that Learn returns say more in words.
var (
	ErrNotPressed  = errors.New("nothing was pressed")
	ErrNotReleased = errors.New("the key was not let go")
	ErrTwoPressed  = errors.New("two things were pressed; press only one")
	ErrLearning    = errors.New("a pedal is being learned already")
	ErrNotWatched  = errors.New("the pedals are not being watched")
)

// Learned is what Learn found.
type Learned struct {
	Key
	// Remark is for the tester to read: something about the pedal is unusual.
	// It may be empty.
	Remark string
}

// Learn takes the next key that is pressed and let go on any device as the key
// of a contact, applies it at once, and returns it to be saved. Watch has to
// run. Meanwhile every device with keys is grabbed, so that a pedal does not
// type into whatever else listens; a device whose key is down is let alone
// until it is up.
//
// Keys that are down already are ignored until they are let go, and so are the
// buttons of mice, touch pads and pens (0x110 to 0x117, 0x140 to 0x14f), which
// somebody may be using to work the page. Joystick and numbered buttons are
// taken, as pedals use them. A pedal that acts as a mouse can be configured by
// hand. Any device is taken, also one that looks like a full keyboard, as many
// pedals do: Remark says so.
//
// A key of another contact is a TakenError. Nothing within LearnFor is
// ErrNotPressed or ErrNotReleased, keys of two devices at once are
// ErrTwoPressed.
func (s *Source) Learn(ctx context.Context, l device.Line) (Learned, error) {
	s.mu.Lock()
	var err error
	switch {
	case s.on[l] == nil:
		err = fmt.Errorf("no pedal is configured for %q", l)
	case s.to == nil:
		err = ErrNotWatched
	case s.learn != nil:
		err = ErrLearning
	}
	if err != nil {
		s.mu.Unlock()
		return Learned{}, err
	}
	lr := newLearner()
	s.learn = lr
	deadline := s.clock.Now() + LearnFor
	for _, h := range s.open {
		lr.start(h)
	}
	s.mu.Unlock()
	s.wake() // Watch opens the other devices
	defer func() {
		s.mu.Lock()
		s.learn = nil
		s.mu.Unlock()
		s.wake() // and closes them
	}()
	for {
		s.mu.Lock()
		now := s.clock.Now()
		for _, h := range s.open {
			s.turn(h) // whatever came before now is known then
		}
		got, done, err := lr.verdict(now)
		if done && err == nil {
			err = s.set(l, got.Key)
		}
		if !done && now >= deadline {
			done, err = true, lr.late()
		}
		due := min(deadline, lr.settled(now+LearnFor))
		s.mu.Unlock()
		if err != nil {
			return Learned{}, err
		}
		if done {
			s.log.Info("pedal learned", "line", l, "device", got.Device(), "key", got.Code, "name", got.Name, "remark", got.Remark)
			return got, nil
		}
		wake, stop := s.clock.Wake(due)
		select {
		case <-wake:
		case <-lr.stir:
		case <-ctx.Done():
			stop()
			return Learned{}, ctx.Err()
		}
		stop()
	}
}

// A press is one key of one device.
type press struct {
	hand *hand
	code uint16
}

// A learner finds out which key is pressed and let go. All but stir is guarded
// by the source's mu.
type learner struct {
	stir    chan struct{}
	devices int               // that could be pressed
	deaf    map[string]string // devices that cannot be heard, and why
	ended   bool              // Watch has

	down    map[press]time.Duration // pressed at
	first   *press
	began   time.Duration // its first press
	chord   bool          // the device sends several keys
	two     bool
	pointer bool
	last    time.Duration // key of any kind
	longest time.Duration // that the key was down
}

func newLearner() *learner {
	return &learner{stir: make(chan struct{}, 1), deaf: map[string]string{}, down: map[press]time.Duration{}}
}

func (lr *learner) wake() {
	select {
	case lr.stir <- struct{}{}:
	default:
	}
}

// start takes a device in, or takes it in anew: a press that had begun there is
// void. What is down on it comes up without having been pressed, and is
// ignored for that.
func (lr *learner) start(h *hand) {
	lr.end(h)
	delete(lr.deaf, h.id.name)
}

// end forgets a device.
func (lr *learner) end(h *hand) {
	for p := range lr.down {
		if p.hand == h {
			delete(lr.down, p)
		}
	}
	if lr.first != nil && lr.first.hand == h {
		lr.first, lr.chord, lr.longest = nil, false, 0
	}
}

func (lr *learner) unheard(name string, err error) {
	lr.deaf[name] = words(err)
}

// key takes a change of a key's level.
func (lr *learner) key(h *hand, code uint16, closed bool, at time.Duration) {
	if pointing(code) {
		lr.pointer = true
		return
	}
	p := press{h, code}
	lr.last = max(lr.last, at)
	lr.wake()
	if !closed {
		if since, ok := lr.down[p]; ok {
			delete(lr.down, p)
			if lr.first != nil && *lr.first == p {
				lr.longest = max(lr.longest, at-since)
			}
		}
		return
	}
	lr.down[p] = at
	switch {
	case lr.first == nil:
		lr.first, lr.began = &p, at
	case *lr.first == p: // bounce
	case lr.first.hand == h || sameUnit(lr.first.hand.id, h.id):
		lr.chord = true
		// The devices of one pedal are not read in the order of its keys.
		plain, than := !modifier(code), !modifier(lr.first.code)
		if plain && !than || plain == than && at < lr.began {
			lr.first, lr.began, lr.longest = &p, at, 0
		}
	default:
		lr.two = true
	}
}

// settled is when the verdict is due, as far as it is known.
func (lr *learner) settled(never time.Duration) time.Duration {
	if lr.first == nil || len(lr.down) > 0 {
		return never
	}
	return lr.last + quiet
}

func (lr *learner) verdict(now time.Duration) (got Learned, done bool, err error) {
	switch {
	case lr.ended:
		return Learned{}, true, ErrNotWatched
	case lr.two:
		return Learned{}, true, ErrTwoPressed
	case now < lr.settled(now+1):
		return Learned{}, false, nil
	}
	id := lr.first.hand.id
	var remarks []string
	if fullKeyboard(id) {
		remarks = append(remarks, "it looks like a full keyboard; if it is one and not a pedal, its keys reach nothing else while it is in use")
	}
	if lr.chord {
		remarks = append(remarks, fmt.Sprintf("it sends several keys at a press; only key %d is used", lr.first.code))
	}
	if lr.longest < brief {
		remarks = append(remarks, fmt.Sprintf("it let the key go after %d ms: hold it down and see whether it stays pressed, or set it up to hold its key and not to type it", lr.longest.Milliseconds()))
	}
	return Learned{Key: keyOf(id, lr.first.code), Remark: strings.Join(remarks, "; ")}, true, nil
}

// late says why the time went by without a key.
func (lr *learner) late() error {
	err := ErrNotPressed
	if lr.first != nil {
		err = ErrNotReleased
	}
	var more []string
	if lr.devices == 0 {
		more = append(more, "no device with keys can be read")
	}
	if lr.pointer {
		more = append(more, "buttons of a mouse are not taken; set the pedal up to send a key")
	}
	var names []string
	for name := range lr.deaf {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		more = append(more, fmt.Sprintf("%q cannot be heard: %s", name, lr.deaf[name]))
	}
	if len(more) == 0 {
		return err
	}
	return fmt.Errorf("%w; %s", err, strings.Join(more, "; "))
}

// pointing tells the buttons of mice, and the touches and tools of pads and
// pens.
func pointing(code uint16) bool {
	return code >= 0x110 && code <= 0x117 || code >= 0x140 && code <= 0x14f
}

// modifier tells the two keys each of control, shift, alt and meta.
func modifier(code uint16) bool {
	switch code {
	case 29, 97, 42, 54, 56, 100, 125, 126:
		return true
	}
	return false
}

// pressable says whether a device has a key that could be learned.
func pressable(id identity) bool {
	for code := range uint16(keyCount) {
		if id.keys.has(code) && !pointing(code) {
			return true
		}
	}
	return false
}

// fullKeyboard says whether a device has the letters, space and enter.
func fullKeyboard(id identity) bool {
	for _, row := range [][2]uint16{{16, 25}, {30, 38}, {44, 50}, {28, 28}, {57, 57}} {
		for code := row[0]; code <= row[1]; code++ {
			if !id.keys.has(code) {
				return false
			}
		}
	}
	return true
}
