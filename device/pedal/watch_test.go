// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/device"
)

const ms = time.Millisecond

// Two keys of one pedal as configured by hand: levels first, then each edge
// with the kernel's date; the kernel's repeats are nothing, other keys neither.
func TestLevelsThenEdges(t *testing.T) {
	b := newBench(t, map[device.Line]Key{
		device.Squeeze: {Vendor: 0x1a2b, Product: 0x3c4d, Code: 48},
		device.Step:    {Vendor: 0x1a2b, Product: 0x3c4d, Code: 49},
	})
	if got := b.src.Lines(); !slices.Equal(got, []device.Line{device.Squeeze, device.Step}) {
		t.Errorf("lines %v", got)
	}
	d := b.plug(pedalWith("Hillside Twin", "usb-1/input0", 30, 48, 49))
	d.state.set(49, true)
	b.plug(identity{vendor: 0x1a2b, product: 0x9999, name: "other"})
	b.watch()
	b.until("levels", func() bool { return len(b.heard()) == 2 })
	levels := b.heard()
	slices.Sort(levels)
	if !slices.Equal(levels, []string{"squeeze 0", "step 1"}) {
		t.Fatalf("levels %q", levels)
	}
	b.report(device.Squeeze, device.Loaded, "Hillside Twin", "1a2b:3c4d", "48")
	if !d.grabbed() || !d.owner.mono {
		t.Error("the pedal is not grabbed, or not on the monotonic clock")
	}
	b.clock.advance(100 * ms)
	var want []string
	var dates []time.Duration
	emit := func(at time.Duration, code uint16, value int32, line string) {
		d.emit(event{at, evKey, code, value}, event{at, evSyn, synReport, 0})
		if line != "" {
			want, dates = append(want, fmt.Sprintf("%s %d", line, value)), append(dates, at)
		}
	}
	at := 1010 * ms
	for range 12 { // a contact that bounces
		for value := int32(1); value >= 0; value-- {
			at += 300 * time.Microsecond
			emit(at, 48, value, "squeeze")
		}
	}
	emit(1050*ms, 48, 1, "squeeze")
	emit(1060*ms, 48, repeated, "")
	emit(1061*ms, 49, repeated, "")
	emit(1062*ms, 30, 1, "")
	emit(1070*ms, 49, 0, "step")
	emit(1090*ms, 48, 0, "squeeze")
	b.until("edges", func() bool { return len(b.heard()) >= 2+len(want) })
	if got := b.heard()[2:]; !slices.Equal(got, want) {
		t.Errorf("edges %q, want %q", got, want)
	}
	if got := b.dates[2:]; !slices.Equal(got, dates) {
		t.Errorf("dates %v, want %v", got, dates)
	}
}

// A packet is handed on when it is whole.
func TestWholePackets(t *testing.T) {
	b, d := squeezeBench(t)
	now := b.clock.Now()
	d.emit(event{now, evKey, 48, 1})
	b.src.Flush()
	b.hear("squeeze 0")
	d.emit(event{now, evSyn, synReport, 0})
	b.hear("squeeze 0", "squeeze 1")
}

// squeezeBench is a bench with one pedal at work.
func squeezeBench(t *testing.T) (*bench, *fakeDevice) {
	t.Helper()
	id := pedalWith("Hillside One", "usb-1/input0", 48)
	b := newBench(t, map[device.Line]Key{device.Squeeze: keyOf(id, 48)})
	d := b.plug(id)
	b.watch()
	b.hear("squeeze 0")
	b.report(device.Squeeze, device.Loaded)
	return b, d
}

func TestStaleEventsAreThrownAway(t *testing.T) {
	id := pedalWith("Hillside One", "usb-1/input0", 48)
	b := newBench(t, map[device.Line]Key{device.Squeeze: keyOf(id, 48)})
	d := b.plug(id)
	for i := range 200 {
		d.stale = append(d.stale, event{time.Millisecond, evKey, 48, int32(i % 2)}, event{typ: evSyn})
	}
	d.stale = append(d.stale, event{typ: evSyn, code: synDropped}, event{time.Millisecond, evKey, 48, 1}) // half a packet
	d.state.set(48, true)
	b.watch()
	b.hear("squeeze 1")
	d.key(48, 0)
	b.hear("squeeze 1", "squeeze 0")
}

// Nothing is dated before the level that was asked for, nor after now.
func TestDatesStayInOrder(t *testing.T) {
	b, d := squeezeBench(t)
	d.emit(event{999 * ms, evKey, 48, 1}, event{typ: evSyn}) // the level was of 1 s
	d.emit(event{time.Hour, evKey, 48, 0}, event{typ: evSyn})
	b.hear("squeeze 0", "squeeze 1", "squeeze 0")
	if want := []time.Duration{time.Second, time.Second, time.Second}; !slices.Equal(b.dates, want) {
		t.Errorf("dates %v, want %v", b.dates, want)
	}
}

// After an overrun what was read with it is worth nothing: Lost, then the
// level as it is.
func TestOverrun(t *testing.T) {
	b, d := squeezeBench(t)
	lost := "lost squeeze: the pedal's keys came faster than they were read; some may be missing"
	now := b.clock.Now()
	d.emit(
		event{now, evKey, 48, 1}, event{typ: evSyn}, // whole: it counts
		event{now, evKey, 48, 0}, // half a packet
		event{typ: evSyn, code: synDropped},
		event{now, evKey, 48, 1}, event{now, evKey, 48, 0}, event{now, evKey, 48, 1}, event{typ: evSyn},
	)
	b.hear("squeeze 0", "squeeze 1", lost, "squeeze 1")
	d.emit(event{typ: evSyn, code: synDropped}, event{now, evKey, 48, 0}, event{typ: evSyn})
	b.hear("squeeze 0", "squeeze 1", lost, "squeeze 1", lost, "squeeze 0")
	d.key(48, 1)
	b.until("the next edge", func() bool { return len(b.heard()) == 7 })
	b.report(device.Squeeze, device.Loaded)
}

// Unplugged in the middle of a press: unknown, not open; then the level anew,
// in another port and under another name of the event device.
func TestUnplugAndReplugDuringAPress(t *testing.T) {
	b, d := squeezeBench(t)
	d.key(48, 1)
	b.hear("squeeze 0", "squeeze 1")
	d.unplug()
	said := []string{"squeeze 0", "squeeze 1", "lost squeeze: the pedal is unplugged"}
	b.hear(said...)
	b.report(device.Squeeze, device.Failed, "the pedal is unplugged")
	for range 3 {
		b.later()
	}
	b.src.Flush()
	b.hear(said...) // once
	again := b.plug(pedalWith("Hillside One", "usb-7/input0", 48), func(d *fakeDevice) { d.state.set(48, true) })
	b.later()
	said = append(said, "squeeze 1")
	b.hear(said...)
	b.report(device.Squeeze, device.Loaded)
	again.key(48, 0)
	b.hear(append(said, "squeeze 0")...)
}

// Flush finds the pedal gone as the reader does, and says so once.
func TestFlushAtUnplug(t *testing.T) {
	for range 20 {
		b, d := squeezeBench(t)
		d.unplug()
		b.src.Flush()
		b.hear("squeeze 0", "lost squeeze: the pedal is unplugged")
		b.stop()
		<-b.ended
		b.hear("squeeze 0", "lost squeeze: the pedal is unplugged")
	}
}

func TestNotThereAtTheStart(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {Vendor: 0x1a2b, Product: 0x3c4d, Code: 48}, device.Step: {}})
	b.report(device.Squeeze, device.Failed, "nothing has been looked for yet")
	b.watch()
	b.until("both are missing", func() bool { return len(b.heard()) == 2 })
	b.report(device.Squeeze, device.Failed, "no pedal 1a2b:3c4d is plugged in")
	b.report(device.Step, device.Failed, "no key has been learned")
	wrong := b.plug(pedalWith("Hillside One", "usb-1/input0", 30))
	b.later()
	b.report(device.Squeeze, device.Failed, "it has no key 48")
	wrong.unplug()
	denied := b.plug(pedalWith("Hillside One", "usb-1/input0", 48), func(d *fakeDevice) { d.denied = true })
	b.later()
	b.report(device.Squeeze, device.Failed, "1 input devices may not be read", "group input")
	denied.mu.Lock()
	denied.denied = false
	denied.mu.Unlock()
	b.later()
	b.report(device.Squeeze, device.Loaded)
	if got := b.heard(); got[2] != "squeeze 0" || len(got) != 3 {
		t.Errorf("said %q, want two losses and a level", got)
	}
	if b.mu.Lock(); b.changes == 0 {
		t.Error("nobody was told that the report changed")
	}
	b.mu.Unlock()
}

func TestAnotherProgramHoldsIt(t *testing.T) {
	id := pedalWith("Hillside One", "usb-1/input0", 48)
	b := newBench(t, map[device.Line]Key{device.Squeeze: keyOf(id, 48)})
	d := b.plug(id)
	d.foreign = true
	b.watch()
	b.hear("lost squeeze: another program holds the pedal")
	b.report(device.Squeeze, device.Failed, "another program holds the pedal")
	d.mu.Lock()
	d.foreign = false
	d.state.set(48, true)
	d.mu.Unlock()
	b.later()
	b.hear("lost squeeze: another program holds the pedal", "squeeze 1")
}

func TestFolderCannotBeListed(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {Vendor: 1, Product: 2, Code: 48}})
	b.folder.err = fmt.Errorf("input/output error")
	b.watch()
	b.report(device.Squeeze, device.Failed, "cannot be listed", "input/output error")
}

// The pedal in use stays in use; a second one is said and not heard. When the
// first goes the second takes over, after Lost.
func TestSecondPedal(t *testing.T) {
	b, d := squeezeBench(t)
	second := b.plug(pedalWith("Hillside One", "usb-2/input0", 48))
	b.later()
	b.report(device.Squeeze, device.Loaded, "2 equal pedals are plugged in; only the one in port usb-1 is heard")
	second.key(48, 1)
	second.key(48, 0)
	d.key(48, 1)
	b.hear("squeeze 0", "squeeze 1")
	if second.grabbed() {
		t.Error("the second pedal is grabbed")
	}
	d.unplug()
	b.hear("squeeze 0", "squeeze 1", "lost squeeze: the pedal is unplugged", "squeeze 0")
	second.key(48, 1)
	b.hear("squeeze 0", "squeeze 1", "lost squeeze: the pedal is unplugged", "squeeze 0", "squeeze 1")
	b.later()
	b.until("the remark goes", func() bool { return !strings.Contains(b.src.Report()[0].Reason, "equal") })
}

func TestChoose(t *testing.T) {
	one := pedalWith("Hillside One", "usb-1/input0", 48)
	two := pedalWith("Hillside One", "usb-2/input0", 48)
	extra := pedalWith("Hillside One", "usb-1/input1", 48)
	named := pedalWith("Hillside One Keys", "usb-1/input2", 48)
	mouse := pedalWith("Hillside One", "usb-1/input3", 0x110)
	numbered := two
	numbered.uniq = "A7"
	bare1, bare2 := pedalWith("Hillside One", "", 48), pedalWith("Hillside One", "", 48)
	hand := Key{Vendor: 0x1a2b, Product: 0x3c4d, Code: 48}
	for _, c := range []struct {
		what   string
		key    Key
		there  map[string]identity
		name   string
		remark string
		why    string
	}{
		{"nothing", hand, nil, "", "", "no pedal 1a2b:3c4d is plugged in"},
		{"alone, by hand", hand, map[string]identity{"e1": one, "e2": mouse}, "e1", "", ""},
		{"alone, in another port", keyOf(one, 48), map[string]identity{"e1": two}, "e1", "", ""},
		{"alone, with another name and number", keyOf(numbered, 48), map[string]identity{"e1": named}, "e1", "", ""},
		{"no such key", Key{Vendor: 0x1a2b, Product: 0x3c4d, Code: 50}, map[string]identity{"e1": one}, "", "", "it has no key 50"},
		{"two, by hand", hand, map[string]identity{"e1": one, "e2": two}, "", "", "2 equal pedals 1a2b:3c4d are plugged in and nothing tells which is meant"},
		{"two, learned", keyOf(two, 48), map[string]identity{"e1": one, "e2": two}, "e2", "only the one in port usb-2 is heard", ""},
		{"two, learned in a third port", keyOf(pedalWith("Hillside One", "usb-3/input0", 48), 48), map[string]identity{"e1": one, "e2": two}, "", "", "2 equal pedals"},
		{"two, with a serial number in another port", Key{0x1a2b, 0x3c4d, 48, "Hillside One", "usb-1/input0", "A7"}, map[string]identity{"e1": one, "e2": numbered}, "e2", "only the one in port usb-2", ""},
		{"two without ports", keyOf(bare1, 48), map[string]identity{"e1": bare1, "e2": bare2}, "", "", "2 equal pedals"},
		{"one with two devices, by hand", hand, map[string]identity{"e1": one, "e2": extra}, "", "", "offers key 48 in several ways"},
		{"one with two devices, learned", keyOf(extra, 48), map[string]identity{"e1": one, "e2": extra}, "e2", "", ""},
		{"one with two devices, replugged", keyOf(pedalWith("Hillside One", "usb-5/input1", 48), 48), map[string]identity{"e1": one, "e2": extra}, "e2", "", ""},
		{"one with two names, by hand", Key{Vendor: 0x1a2b, Product: 0x3c4d, Code: 48, Name: named.name}, map[string]identity{"e1": one, "e2": named}, "e2", "", ""},
		{"one with two names", keyOf(named, 48), map[string]identity{"e1": one, "e2": named}, "e2", "", ""},
	} {
		name, remark, why := choose(c.key, c.there)
		if name != c.name || !strings.Contains(remark, c.remark) || (c.remark == "") != (remark == "") ||
			!strings.Contains(why, c.why) || (c.why == "") != (why == "") {
			t.Errorf("%s: %q, %q, %q; want %q, %q, %q", c.what, name, remark, why, c.name, c.remark, c.why)
		}
	}
}

// Two equal pedals that nothing tells apart: neither, in words, until one goes.
func TestAmbiguous(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {Vendor: 0x1a2b, Product: 0x3c4d, Code: 48}})
	b.plug(pedalWith("Hillside One", "usb-1/input0", 48))
	two := b.plug(pedalWith("Hillside One", "usb-2/input0", 48))
	b.watch()
	b.report(device.Squeeze, device.Failed, "nothing tells which is meant")
	two.unplug()
	b.later()
	b.report(device.Squeeze, device.Loaded)
	if got := b.heard(); len(got) != 2 || !strings.HasPrefix(got[0], "lost") || got[1] != "squeeze 0" {
		t.Errorf("said %q, want Lost and a level", got)
	}
}

// What the kernel has is handed over when Flush returns, without the reader.
func TestFlushHandsOver(t *testing.T) {
	b, d := squeezeBench(t)
	n := 1
	for range 200 {
		for value := int32(1); value >= 0; value-- {
			d.key(48, value)
			n++
			b.src.Flush()
			if got := b.heard(); len(got) != n || got[n-1] != fmt.Sprintf("squeeze %d", value) {
				t.Fatalf("after Flush %d are said, want %d; the last is %q", len(got), n, got[len(got)-1])
			}
		}
	}
}

// The reader and many flushers: each edge once and in order.
func TestFlushOrder(t *testing.T) {
	b, d := squeezeBench(t)
	const n = 4000
	var all sync.WaitGroup
	done := make(chan struct{})
	for range 4 {
		all.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
					b.src.Flush()
				}
			}
		})
	}
	for i := range n {
		b.clock.advance(10 * time.Microsecond)
		d.key(48, int32(1-i%2))
	}
	b.until("all edges", func() bool { return len(b.heard()) >= n+1 })
	close(done)
	all.Wait()
	got := b.heard()
	if len(got) != n+1 {
		t.Fatalf("%d said, want %d", len(got), n+1)
	}
	for i, s := range got {
		if s != fmt.Sprintf("squeeze %d", i%2) || i > 0 && b.dates[i] <= b.dates[i-1] {
			t.Fatalf("number %d is %q at %v", i, s, b.dates[i])
		}
	}
}

// Bytes that are no whole event are not guessed at.
func TestHostileLength(t *testing.T) {
	for rest := 1; rest < native.size(); rest++ {
		b, d := squeezeBench(t)
		d.raw(make([]byte, rest))
		b.until("given up and taken anew", func() bool { b.later(); return len(b.heard()) >= 3 })
		b.hear("squeeze 0", fmt.Sprintf("lost squeeze: the pedal cannot be read: %d bytes of an event", rest), "squeeze 0")
		b.stop()
		<-b.ended
	}
}

func TestSet(t *testing.T) {
	id := pedalWith("Hillside Twin", "usb-1/input0", 48, 49, 50)
	b := newBench(t, map[device.Line]Key{device.Squeeze: keyOf(id, 48), device.Step: keyOf(id, 49)})
	d := b.plug(id)
	d.state.set(50, true)
	b.watch()
	b.until("levels", func() bool { return len(b.heard()) == 2 })
	if err := b.src.Set(device.Squeeze, keyOf(id, 49)); err == nil || !strings.Contains(err.Error(), "for step already") {
		t.Errorf("the key of another contact: %v", err)
	}
	if err := b.src.Set(device.Taste, keyOf(id, 50)); err == nil {
		t.Error("a key for a contact that no pedal brings")
	}
	if err := b.src.Set(device.Squeeze, Key{Code: keyCount}); err == nil {
		t.Error("a key code that there is not")
	}
	if err := b.src.Set(device.Squeeze, keyOf(id, 50)); err != nil {
		t.Fatal(err)
	}
	b.until("the new level", func() bool { return len(b.heard()) == 4 })
	if got := b.heard()[2:]; got[0] != "lost squeeze: another key is taken for it" || got[1] != "squeeze 1" {
		t.Errorf("said %q", got)
	}
	d.key(48, 1)
	d.key(49, 1)
	d.key(50, 0)
	b.until("edges", func() bool { return len(b.heard()) == 6 })
	if got := b.heard()[4:]; got[0] != "step 1" || got[1] != "squeeze 0" {
		t.Errorf("said %q", got)
	}
	if err := b.src.Set(device.Squeeze, keyOf(id, 50)); err != nil { // as it is
		t.Fatal(err)
	}
	if err := b.src.Set(device.Step, Key{}); err != nil {
		t.Fatal(err)
	}
	b.report(device.Step, device.Failed, "no key has been learned")
	if got := b.heard()[6:]; !slices.Equal(got, []string{"lost step: another key is taken for it"}) {
		t.Errorf("said %q", got)
	}
	if got := b.src.Keys(); got[device.Squeeze] != keyOf(id, 50) || got[device.Step] != (Key{}) {
		t.Errorf("keys %v", got)
	}
}

// A pedal is let go when nobody wants it, and at the end.
func TestLetGo(t *testing.T) {
	b, d := squeezeBench(t)
	if err := b.src.Set(device.Squeeze, Key{}); err != nil {
		t.Fatal(err)
	}
	b.until("let go", func() bool { return !d.grabbed() })
	if err := b.src.Set(device.Squeeze, keyOf(d.id, 48)); err != nil {
		t.Fatal(err)
	}
	b.until("taken", d.grabbed)
	b.until("its level", func() bool { return len(b.heard()) == 3 })
	b.stop()
	<-b.ended
	if d.mu.Lock(); d.owner != nil || len(d.handles) != 0 {
		t.Error("the pedal is open after the end")
	}
	d.mu.Unlock()
	said := len(b.heard())
	d.key(48, 1)
	b.src.Flush()
	if got := b.heard(); len(got) != said {
		t.Errorf("after the end: %q", got[said:])
	}
	b.report(device.Squeeze, device.Failed)
}

func TestFlushBeforeWatch(t *testing.T) {
	b := newBench(t, map[device.Line]Key{device.Squeeze: {}})
	b.src.Flush()
	if got := b.heard(); len(got) != 0 {
		t.Errorf("said %q", got)
	}
	if got := b.src.TimeSource(); got != device.KernelTime {
		t.Errorf("time source %q", got)
	}
}

func TestNewRefuses(t *testing.T) {
	k := Key{Vendor: 1, Product: 2, Code: 3}
	other := k
	other.Phys = "usb-2/input0"
	for what, keys := range map[string]map[device.Line]Key{
		"an unknown contact":   {"knob": k},
		"one key twice":        {device.Squeeze: k, device.Step: k},
		"equal pedals":         {device.Squeeze: k, device.Step: other},
		"a key that is no key": {device.Squeeze: {Code: keyCount}},
	} {
		if _, err := New(Options{Keys: keys}); err == nil {
			t.Errorf("%s is taken", what)
		}
	}
}

// Devices that nobody wants are looked at once and left alone.
func TestOthersAreLeftAlone(t *testing.T) {
	b, _ := squeezeBench(t)
	d := b.plug(identity{vendor: 9, product: 9, name: "keyboard"})
	for range 5 {
		b.later()
		time.Sleep(5 * time.Millisecond)
	}
	b.until("seen", func() bool { d.mu.Lock(); defer d.mu.Unlock(); return d.opened > 0 })
	if d.mu.Lock(); d.opened != 1 || len(d.handles) != 0 {
		t.Errorf("opened %d times, %d handles left", d.opened, len(d.handles))
	}
	d.mu.Unlock()
}
