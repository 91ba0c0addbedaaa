// SPDX-License-Identifier: Apache-2.0

package pedal_test

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/pedal"
	"tallyhood/device/pedal/virtual"
)

type said struct {
	line   device.Line
	at     time.Duration
	closed bool
	lost   string
}

type ear struct {
	mu  sync.Mutex
	all []said
}

func (e *ear) add(s said) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.all = append(e.all, s)
}

func (e *ear) Edge(l device.Line, at time.Duration, closed bool) {
	e.add(said{line: l, at: at, closed: closed})
}
func (e *ear) Lost(at time.Duration, reason string) { e.add(said{at: at, lost: reason}) }
func (e *ear) Changed()                             {}

func (e *ear) wait(t *testing.T, what string, n int) []said {
	t.Helper()
	for end := time.Now().Add(time.Minute); ; time.Sleep(time.Millisecond) {
		e.mu.Lock()
		got := slices.Clone(e.all)
		e.mu.Unlock()
		if len(got) >= n {
			return got
		}
		if time.Now().After(end) {
			t.Fatalf("%s: %d things said, want %d: %+v", what, len(got), n, got)
		}
	}
}

const (
	keyB   = 48
	vendor = 0x1a2b
)

func plug(t *testing.T, phys string) *virtual.Pedal {
	t.Helper()
	v, err := virtual.New(virtual.Options{Name: "Hillside One", Phys: phys, Vendor: vendor, Product: 0x3c4d, Keys: []uint16{keyB}, Repeat: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { v.Unplug() })
	return v
}

// No folder, and a folder with what is no event device, are no pedal and
// nothing worse.
func TestFolderWithoutDevices(t *testing.T) {
	full := t.TempDir()
	do(t, os.Symlink("/dev/null", filepath.Join(full, "event0")))
	do(t, os.WriteFile(filepath.Join(full, "event1"), nil, 0o600))
	do(t, os.Mkdir(filepath.Join(full, "event2"), 0o700))
	do(t, os.Symlink("nowhere", filepath.Join(full, "event3")))
	for _, dir := range []string{full, filepath.Join(full, "none")} {
		src, err := pedal.New(pedal.Options{
			Clock: clock.New(1), Log: slog.New(slog.DiscardHandler), Dir: dir,
			Keys: map[device.Line]pedal.Key{device.Step: {Vendor: vendor, Product: 0x3c4d, Code: keyB}},
		})
		do(t, err)
		e := &ear{}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			src.Watch(ctx, e)
		}()
		if got := e.wait(t, dir, 1); got[0].lost != "step: no pedal 1a2b:3c4d is plugged in" {
			t.Errorf("%s: said %+v", dir, got)
		}
		stop()
		<-ended
	}
}

func needUinput(t *testing.T) {
	t.Helper()
	f, err := os.OpenFile(virtual.Device, os.O_WRONLY, 0)
	if err != nil {
		t.Skipf("not on this machine: a kernel with uinput that may be used (%v)", err)
	}
	f.Close()
}

// The whole of it against a real kernel: learning, dates, repeats, overrun,
// unplugging and another port.
func TestRealKernel(t *testing.T) {
	needUinput(t)
	board := clock.New(1)
	src, err := pedal.New(pedal.Options{Clock: board, Log: slog.New(slog.DiscardHandler), Keys: map[device.Line]pedal.Key{device.Squeeze: {}}})
	if err != nil {
		t.Fatal(err)
	}
	var e ear
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		src.Watch(ctx, &e)
	}()
	defer func() { stop(); <-ended }()
	e.wait(t, "nothing learned", 1)

	v := plug(t, "usb-test-1/input0")
	node, err := v.Node()
	if err != nil || !strings.HasPrefix(node, "event") {
		t.Errorf("node %q, %v", node, err)
	}
	learned := make(chan error, 1)
	var key pedal.Learned
	go func() {
		var err error
		key, err = src.Learn(ctx, device.Squeeze)
		learned <- err
	}()
	for done := false; !done; { // until it listens
		do(t, v.Press(keyB))
		time.Sleep(80 * time.Millisecond)
		do(t, v.Release(keyB))
		select {
		case err := <-learned:
			do(t, err)
			done = true
		case <-time.After(600 * time.Millisecond):
		}
	}
	if want := (pedal.Key{Vendor: vendor, Product: 0x3c4d, Code: keyB, Name: "Hillside One", Phys: "usb-test-1/input0"}); key.Key != want || key.Remark != "" {
		t.Fatalf("learned %+v, want %+v", key, want)
	}
	if got := e.wait(t, "the level", 2); got[1].closed || got[1].line != device.Squeeze {
		t.Errorf("said %+v", got)
	}

	n := 2
	var delays []time.Duration
	for i := range 200 {
		closed := i%2 == 0
		before := board.Now()
		if closed {
			do(t, v.Press(keyB))
			do(t, v.Repeat(keyB))
		} else {
			do(t, v.Release(keyB))
		}
		if i%3 == 0 {
			src.Flush()
			e.mu.Lock()
			if len(e.all) != n+1 {
				t.Errorf("edge %d: Flush returned without it", i)
			}
			e.mu.Unlock()
		}
		got := e.wait(t, "an edge", n+1)
		after := board.Now()
		if len(got) != n+1 || got[n].closed != closed || got[n].at < before-100*time.Microsecond || got[n].at > after {
			t.Fatalf("edge %d between %v and %v: %+v", i, before, after, got[n:])
		}
		delays = append(delays, got[n].at-before)
		n++
	}
	slices.Sort(delays)
	t.Logf("from before the write to the kernel's date: median %v, worst %v", delays[len(delays)/2], delays[len(delays)-1])

	do(t, v.Press(keyB)) // held until the kernel repeats it
	time.Sleep(600 * time.Millisecond)
	do(t, v.Release(keyB))
	if got := e.wait(t, "a long press", n+2); len(got) != n+2 {
		t.Errorf("a long press: %+v", got[n:])
	}
	n += 2

	var flood []virtual.Event // more than the kernel's queue for the device holds
	for i := range 4000 {
		flood = append(flood, virtual.Event{Type: 1, Code: keyB, Value: int32(1 - i%2)}, virtual.Event{})
	}
	do(t, v.Send(flood...))
	do(t, v.Press(keyB))
	src.Flush()
	var got []said
	for end := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		got = e.wait(t, "a flood", n)
		if last := got[len(got)-1]; last.closed && slices.ContainsFunc(got[n:], func(s said) bool { return s.lost != "" }) {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("after a flood: %d things said, the last %+v", len(got)-n, got[len(got)-1])
		}
	}
	n = len(got)
	for i := 1; i < n; i++ {
		if got[i].at < got[i-1].at {
			t.Errorf("%+v after %+v", got[i], got[i-1])
		}
	}

	before := time.Now()
	do(t, v.Unplug())
	for {
		got = e.wait(t, "unplugged", n+1)
		if last := got[len(got)-1]; last.lost != "" {
			t.Logf("unplugged: said after %v, %d things", time.Since(before), len(got)-n)
			break
		}
	}
	n = len(got)
	if p := src.Report()[0]; p.State != device.Failed || !strings.Contains(p.Reason, "unplugged") {
		t.Errorf("report %+v", p)
	}
	v = plug(t, "usb-test-2/input0")
	do(t, v.Press(keyB))
	before = time.Now()
	got = e.wait(t, "plugged in again", n+1)
	t.Logf("plugged in again: level after %v", time.Since(before))
	if !got[n].closed {
		t.Errorf("said %+v", got[n:])
	}
	do(t, v.Release(keyB))
	if got = e.wait(t, "released", n+2); got[n+1].closed {
		t.Errorf("said %+v", got[n:])
	}
}

// Two programs want one pedal: the second says so, and has it when the first
// ends.
func TestRealKernelGrab(t *testing.T) {
	needUinput(t)
	v := plug(t, "usb-test-1/input0")
	watch := func() (*pedal.Source, *ear, func()) {
		src, err := pedal.New(pedal.Options{
			Clock: clock.New(1), Log: slog.New(slog.DiscardHandler),
			Keys: map[device.Line]pedal.Key{device.Step: {Vendor: vendor, Product: 0x3c4d, Code: keyB}},
		})
		do(t, err)
		e := &ear{}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			src.Watch(ctx, e)
		}()
		return src, e, func() { stop(); <-ended }
	}
	do(t, v.Press(keyB))
	_, one, endOne := watch()
	defer endOne()
	if got := one.wait(t, "the first", 1); !got[0].closed {
		t.Fatalf("the first says %+v, want the level of a key that is down", got)
	}
	second, two, endTwo := watch()
	defer endTwo()
	if got := two.wait(t, "the second", 1); got[0].lost != "step: another program holds the pedal" {
		t.Errorf("the second says %+v", got)
	}
	if p := second.Report()[0]; p.State != device.Failed {
		t.Errorf("report of the second: %+v", p)
	}
	do(t, v.Release(keyB))
	if got := one.wait(t, "the release", 2); got[1].closed {
		t.Errorf("the first says %+v", got)
	}
	endOne()
	if got := two.wait(t, "the second's turn", 2); got[1].lost != "" || got[1].closed {
		t.Errorf("the second says %+v, want the level of a key that is up", got)
	}
}

func do(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
