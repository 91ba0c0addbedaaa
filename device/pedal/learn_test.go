// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"tallyhood/device"
)

type lesson struct {
	got Learned
	err error
}

// learning starts Learn and waits until every device given listens.
func (b *bench) learning(l device.Line, hear ...*fakeDevice) <-chan lesson {
	b.t.Helper()
	done := make(chan lesson, 1)
	go func() {
		got, err := b.src.Learn(b.t.Context(), l)
		done <- lesson{got, err}
	}()
	b.until("learning", func() bool {
		b.src.mu.Lock()
		defer b.src.mu.Unlock()
		if b.src.learn == nil {
			return false
		}
		for _, d := range hear {
			if b.src.open[d.name] == nil {
				return false
			}
		}
		return true
	})
	return done
}

func (b *bench) outcome(done <-chan lesson) lesson {
	b.t.Helper()
	select {
	case got := <-done:
		return got
	case <-time.After(time.Minute):
		b.src.mu.Lock()
		defer b.src.mu.Unlock()
		b.t.Fatalf("Learn does not return at %v; said %q; learner %+v", b.clock.Now(), b.heard(), b.src.learn)
	}
	panic("not reached")
}

// tap presses and lets go, for as long as a foot does.
func (b *bench) tap(d *fakeDevice, code uint16) {
	d.key(code, 1)
	b.clock.advance(120 * ms)
	d.key(code, 0)
}

// settle lets the time after the release go by.
func (b *bench) settle() {
	b.src.Flush()
	b.clock.advance(quiet)
}

func keyboard(name, phys string) identity {
	id := pedalWith(name, phys)
	id.vendor, id.product = 0x1111, 0x2222
	for code := uint16(1); code < 120; code++ {
		id.keys.set(code, true)
	}
	return id
}

// The first time: no pedal is known, other devices are there, and what is
// learned works at once. Its own level and nothing of the lesson is sent.
func TestLearnTheFirstPedal(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
	d := b.plug(pedalWith("Hillside One", "usb-1/input0", 48))
	mouse := b.plug(pedalWith("Mouse", "usb-2/input0", 0x110, 0x111))
	board := b.plug(keyboard("Keyboard", "usb-3/input0"))
	b.watch()
	b.hear("lost squeeze: no key has been learned for it")
	done := b.learning(device.Squeeze, d, board)
	if !d.grabbed() || !board.grabbed() || mouse.grabbed() {
		t.Errorf("grabbed: pedal %v, keyboard %v, mouse %v", d.grabbed(), board.grabbed(), mouse.grabbed())
	}
	b.tap(d, 48)
	b.settle()
	got := b.outcome(done)
	if got.err != nil || got.got.Key != keyOf(d.id, 48) || got.got.Remark != "" {
		t.Fatalf("learned %+v, %v", got.got, got.err)
	}
	b.hear("lost squeeze: no key has been learned for it", "squeeze 0")
	b.report(device.Squeeze, device.Loaded, "Hillside One")
	b.until("the keyboard is let go", func() bool { return !board.grabbed() })
	if !d.grabbed() {
		t.Error("the pedal is not grabbed")
	}
	d.key(48, 1)
	b.hear("lost squeeze: no key has been learned for it", "squeeze 0", "squeeze 1")
	if b.src.Keys()[device.Squeeze] != got.got.Key {
		t.Errorf("keys %v", b.src.Keys())
	}
}

// Learning beside a pedal at work, on another key of the same device: the one
// at work goes on without a gap, and its key is refused.
func TestLearnBesideAnother(t *testing.T) {
	id := pedalWith("Hillside Twin", "usb-1/input0", 48, 49)
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}, device.Step: keyOf(id, 49)})
	d := b.plug(id)
	b.watch()
	b.report(device.Step, device.Loaded)
	done := b.learning(device.Squeeze, d)
	b.tap(d, 49)
	b.settle()
	got := b.outcome(done)
	var taken TakenError
	if !errors.As(got.err, &taken) || taken.Line != device.Step {
		t.Fatalf("learned %+v, %v; want it to be the one for step", got.got, got.err)
	}
	done = b.learning(device.Squeeze, d)
	b.tap(d, 48)
	b.settle()
	if got = b.outcome(done); got.err != nil || got.got.Key != keyOf(id, 48) {
		t.Fatalf("learned %+v, %v", got.got, got.err)
	}
	b.hear("lost squeeze: no key has been learned for it", "step 0", "step 1", "step 0", "squeeze 0")
}

// Learning the key that a contact has already changes nothing but a name.
func TestLearnTheSameAgain(t *testing.T) {
	b, d := squeezeBench(t)
	done := b.learning(device.Squeeze, d)
	b.tap(d, 48)
	b.settle()
	if got := b.outcome(done); got.err != nil || got.got.Key != keyOf(d.id, 48) {
		t.Fatalf("learned %+v, %v", got.got, got.err)
	}
	b.later()
	b.hear("squeeze 0", "squeeze 1", "squeeze 0")
}

// What is down at the start does not count until it has been let go, and its
// device is not grabbed before, so that others get the release.
func TestLearnIgnoresWhatIsHeld(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
	d := b.plug(pedalWith("Hillside One", "usb-1/input0", 48))
	board := b.plug(keyboard("Keyboard", "usb-3/input0"))
	board.state.set(28, true)
	b.watch()
	done := b.learning(device.Squeeze, d, board)
	if board.grabbed() {
		t.Error("grabbed with a key down")
	}
	board.key(28, repeated)
	board.key(28, 0)
	b.until("grabbed with all keys up", board.grabbed)
	b.settle()
	b.tap(board, 28)
	b.settle()
	got := b.outcome(done)
	if got.err != nil || got.got.Code != 28 || !strings.Contains(got.got.Remark, "full keyboard") {
		t.Errorf("learned %+v, %v; want key 28 with a remark on keyboards", got.got, got.err)
	}
}

func TestLearnGivesUp(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
	b.watch()
	done := b.learning(device.Squeeze)
	b.until("one look", func() bool { b.src.mu.Lock(); defer b.src.mu.Unlock(); return len(b.heard()) > 0 })
	b.clock.advance(LearnFor)
	if got := b.outcome(done); !errors.Is(got.err, ErrNotPressed) || !strings.Contains(got.err.Error(), "no device with keys") {
		t.Errorf("without any device: %v", got.err)
	}

	d := b.plug(pedalWith("Hillside Mouse", "usb-1/input0", 0x110, 48))
	b.plug(pedalWith("Hillside One", "usb-2/input0", 48), func(d *fakeDevice) { d.foreign = true })
	b.later()
	done = b.learning(device.Squeeze, d)
	b.tap(d, 0x110)
	b.src.Flush()
	b.clock.advance(LearnFor)
	if got := b.outcome(done); !errors.Is(got.err, ErrNotPressed) || !strings.Contains(got.err.Error(), "mouse") ||
		!strings.Contains(got.err.Error(), `"Hillside One" cannot be heard: another program holds the pedal`) {
		t.Errorf("with a mouse button, and a pedal held by another program: %v", got.err)
	}

	done = b.learning(device.Squeeze, d)
	d.key(48, 1)
	b.src.Flush()
	b.clock.advance(LearnFor)
	if got := b.outcome(done); !errors.Is(got.err, ErrNotReleased) {
		t.Errorf("not let go: %v", got.err)
	}
}

func TestLearnTwoAtOnce(t *testing.T) {
	for what, phys := range map[string]string{"another kind of port": "usb-2/input0", "no ports": ""} {
		b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
		first := "usb-1/input0"
		if phys == "" {
			first = ""
		}
		d := b.plug(pedalWith("Hillside One", first, 48))
		other := b.plug(pedalWith("Hillside One", phys, 48))
		b.watch()
		done := b.learning(device.Squeeze, d, other)
		d.key(48, 1)
		b.src.Flush()
		other.key(48, 1)
		if got := b.outcome(done); !errors.Is(got.err, ErrTwoPressed) {
			t.Errorf("%s: learned %+v, %v", what, got.got, got.err)
		}
		b.stop()
		<-b.ended
	}
}

// Of a combination the plain key is taken; the two devices of one pedal are
// one thing.
func TestLearnCombination(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
	d := b.plug(pedalWith("Hillside One", "usb-1/input0", 29, 48))
	extra := b.plug(pedalWith("Hillside One", "usb-1/input1", 0x1e0))
	b.watch()
	done := b.learning(device.Squeeze, d, extra)
	d.key(29, 1)
	b.src.Flush()
	b.tap(d, 48)
	extra.key(0x1e0, 1)
	extra.key(0x1e0, 0)
	d.key(29, 0)
	b.settle()
	got := b.outcome(done)
	if got.err != nil || got.got.Code != 48 || !strings.Contains(got.got.Remark, "several keys") {
		t.Errorf("learned %+v, %v", got.got, got.err)
	}
}

// A contact that bounces is one press; a pedal that types is remarked on.
func TestLearnBounceAndBriefness(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}, device.Step: {}})
	d := b.plug(pedalWith("Hillside Twin", "usb-1/input0", 48, 49))
	b.watch()
	done := b.learning(device.Squeeze, d)
	for range 3 {
		d.key(48, 1)
		b.clock.advance(2 * ms)
		d.key(48, 0)
		b.src.Flush()
		time.Sleep(5 * time.Millisecond) // the lesson would end here
		b.clock.advance(2 * ms)
	}
	b.tap(d, 48)
	b.settle()
	if got := b.outcome(done); got.err != nil || got.got.Code != 48 || got.got.Remark != "" {
		t.Errorf("bounce: learned %+v, %v", got.got, got.err)
	}
	done = b.learning(device.Step, d)
	d.key(49, 1)
	b.clock.advance(8 * ms)
	d.key(49, 0)
	b.settle()
	if got := b.outcome(done); got.err != nil || got.got.Code != 49 || !strings.Contains(got.got.Remark, "8 ms") {
		t.Errorf("typing: learned %+v, %v", got.got, got.err)
	}
}

// A pedal that is plugged in during the lesson is heard; one that goes in the
// middle of its press, or whose events are lost there, has to be pressed anew.
func TestLearnUnplugAndOverrun(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
	b.watch()
	done := b.learning(device.Squeeze)
	d := b.plug(pedalWith("Hillside One", "usb-1/input0", 48))
	b.later()
	b.until("heard", d.grabbed)
	next := func(name string) {
		d = b.plug(pedalWith(name, "usb-1/input0", 48))
		b.until("the next is heard", func() bool {
			b.later()
			b.src.mu.Lock()
			defer b.src.mu.Unlock()
			return b.src.open[d.name] != nil
		})
	}
	d.key(48, 1)
	b.src.Flush()
	d.unplug()
	b.src.Flush() // the read tells
	next("Hillside Second")
	d.key(48, 1)
	b.src.Flush()
	d.vanish() // the folder tells
	b.later()
	next("Hillside Other")
	d.key(48, 1)
	d.emit(event{typ: evSyn, code: synDropped})
	b.src.Flush()
	d.key(48, 0)
	b.settle()
	select {
	case got := <-done:
		t.Fatalf("learned %+v, %v from half a press", got.got, got.err)
	case <-time.After(20 * time.Millisecond):
	}
	b.tap(d, 48)
	b.settle()
	if got := b.outcome(done); got.err != nil || got.got.Name != "Hillside Other" {
		t.Errorf("learned %+v, %v", got.got, got.err)
	}
}

func TestLearnRefuses(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
	if _, err := b.src.Learn(t.Context(), device.Squeeze); !errors.Is(err, ErrNotWatched) {
		t.Errorf("before Watch: %v", err)
	}
	b.watch()
	b.hear("lost squeeze: no key has been learned for it")
	if _, err := b.src.Learn(t.Context(), device.Taste); err == nil {
		t.Error("a contact without a pedal is learned")
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		_, err := b.src.Learn(ctx, device.Squeeze)
		done <- err
	}()
	b.until("learning", func() bool { b.src.mu.Lock(); defer b.src.mu.Unlock(); return b.src.learn != nil })
	if _, err := b.src.Learn(t.Context(), device.Squeeze); !errors.Is(err, ErrLearning) {
		t.Errorf("a second lesson: %v", err)
	}
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	last := b.learning(device.Squeeze)
	b.stop()
	if got := b.outcome(last); !errors.Is(got.err, ErrNotWatched) {
		t.Errorf("Watch ended: %v", got.err)
	}
}

// Two contacts cannot learn equal pedals: in other ports they would be
// exchanged without a word.
func TestLearnEqualPedals(t *testing.T) {
	id := pedalWith("Hillside One", "usb-1/input0", 48)
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}, device.Step: keyOf(id, 48)})
	b.plug(id)
	b.watch()
	b.report(device.Step, device.Loaded)
	second := b.plug(pedalWith("Hillside One", "usb-2/input0", 48))
	done := b.learning(device.Squeeze, second)
	b.tap(second, 48)
	b.settle()
	var taken TakenError
	if got := b.outcome(done); !errors.As(got.err, &taken) || !strings.Contains(got.err.Error(), "equal pedals need different keys") {
		t.Errorf("learned %+v, %v", got.got, got.err)
	}
}
