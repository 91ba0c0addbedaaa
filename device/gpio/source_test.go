// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device"
)

// A line that somebody holds is named with its holder, the others work, and it
// is taken when it becomes free.
func TestBusyLine(t *testing.T) {
	for _, who := range []string{"onewire@0", ""} {
		synctest.Test(t, func(t *testing.T) {
			b := newBed(t, Kernel)
			b.chips[0].lines[2].used, b.chips[0].lines[2].consumer = true, who
			src, to := begin(t, b)
			p := part(t, src.Report(), device.TasteNO)
			if p.State != device.Failed || !strings.Contains(p.Reason, "NO is in use by") || !strings.Contains(p.Reason, who) {
				t.Errorf("%+v", p)
			}
			if p := part(t, src.Report(), device.Squeeze); p.State != device.Loaded {
				t.Errorf("%+v", p)
			}
			b.Set(device.TasteNO, true)
			pass(10 * time.Second)
			if len(to.edges[device.TasteNO]) != 0 || len(to.lost) != 0 {
				t.Errorf("%v, lost %q", to.edges[device.TasteNO], to.lost)
			}
			b.do(func() { b.chips[0].lines[2].used = false })
			pass(lastRetry + ms)
			if got := to.edges[device.TasteNO]; len(got) != 1 || !got[0].closed {
				t.Errorf("%v", got)
			}
			if p := part(t, src.Report(), device.TasteNO); p.State != device.Loaded || !strings.Contains(p.Reason, "closed since the start") {
				t.Errorf("%+v", p)
			}
			b.Set(device.TasteNO, false)
			b.Set(device.Squeeze, true)
			pass(10 * ms)
			if len(to.edges[device.TasteNO]) != 2 || len(to.edges[device.Squeeze]) != 2 {
				t.Errorf("%v", to.edges)
			}
		})
	}
}

// A line that is taken between the listing and the request.
func TestRefused(t *testing.T) {
	for err, words := range map[error]string{unix.EBUSY: "taken by another program", unix.EPERM: "does not answer", unix.ENODEV: "is gone"} {
		synctest.Test(t, func(t *testing.T) {
			b := newBed(t, Kernel)
			b.refuse = err
			src, to := begin(t, b)
			if p := part(t, src.Report(), device.Step); p.State != device.Failed || !strings.Contains(p.Reason, words) {
				t.Errorf("%+v", p)
			}
			b.do(func() { b.refuse = nil })
			pass(firstRetry)
			if p := part(t, src.Report(), device.Step); p.State != device.Loaded || len(to.lost) != 0 {
				t.Errorf("%+v, lost %q", p, to.lost)
			}
		})
	}
}

// Lines of two chips are watched side by side; one chip may go alone.
func TestTwoChips(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		b.add("gpiochip1", "expander", "E0", "E1")
		b.contacts[3].Place = Place{Name: "E1"}
		b.chips[1].lines[1].high = true
		src, to := begin(t, b)
		if got := to.edges[device.TasteNC]; len(got) != 1 || !got[0].closed {
			t.Fatalf("%v", got)
		}
		b.plug(1, false)
		pass(ms)
		if p := part(t, src.Report(), device.TasteNC); p.State != device.Failed {
			t.Errorf("%+v", p)
		}
		if p := part(t, src.Report(), device.TasteNO); p.State != device.Loaded {
			t.Errorf("%+v", p)
		}
		b.Set(device.TasteNO, true)
		pass(ms)
		if got := to.edges[device.TasteNO]; len(got) != 2 || len(to.lost) != 1 {
			t.Errorf("%v, lost %q", got, to.lost)
		}
	})
}

// What is wrong with the options is said, and nothing is opened.
func TestBadOptions(t *testing.T) {
	good := func() []Contact { return newBed(t, Kernel).contacts }
	for words, change := range map[string]func(o *Options){
		"only kernel and periph are known":       func(o *Options) { o.Edges = "poll" },
		"the contact squeeze is given twice":     func(o *Options) { o.Contacts[1].Line = device.Squeeze },
		"two contacts are given PEDAL":           func(o *Options) { o.Contacts[1].Place = o.Contacts[0].Place },
		"line 0 of fake-pins is given to two":    func(o *Options) { o.Contacts[1].Place = Place{Chip: "fake-pins", Offset: 0} },
		"neither the name of a line nor a chip":  func(o *Options) { o.Contacts[1].Place = Place{} },
		"there is no line GPIO4; this board has": func(o *Options) { o.Contacts[1].Place = Place{Name: "GPIO4"} },
	} {
		synctest.Test(t, func(t *testing.T) {
			b := newBed(t, Kernel)
			o := Options{Clock: b.clock, Contacts: good(), machine: fakeMachine{b.fakeKernel, 0}}
			change(&o)
			src := New(o)
			if src.Report()[1].State != device.Failed {
				t.Error("works before it is watched")
			}
			to := &sink{src: src, edges: map[device.Line][]sent{}}
			done := make(chan struct{})
			ctx := t.Context()
			go func() {
				defer close(done)
				src.Watch(ctx, to)
			}()
			pass(time.Second)
			if p := src.Report()[1]; p.State != device.Failed || !strings.Contains(p.Reason, words) {
				t.Errorf("%+v, want %q", p, words)
			}
			if to.changes == 0 {
				t.Error("nobody was told")
			}
		})
	}
}

// A contact that is not at rest at the start is remarked on until it is.
func TestNotAtRest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		b.contacts[1].Pull = PullNone
		b.Set(device.Squeeze, true)
		b.Set(device.Step, true)
		src, to := begin(t, b)
		for l, words := range map[device.Line]string{
			device.Squeeze: "other polarity", device.Step: "no resistor", device.TasteNO: "", device.TasteNC: "cable is out",
		} {
			p := part(t, src.Report(), l)
			if p.State != device.Loaded || (words == "") != (p.Reason == "") || !strings.Contains(p.Reason, words) {
				t.Errorf("%+v, want %q", p, words)
			}
		}
		before := to.changes
		b.Set(device.Squeeze, false)
		b.Set(device.TasteNC, true)
		pass(5 * ms)
		b.Set(device.Squeeze, true)
		pass(5 * ms)
		for _, l := range []device.Line{device.Squeeze, device.TasteNC} {
			if p := part(t, src.Report(), l); p.Reason != "" {
				t.Errorf("%+v", p)
			}
		}
		if to.changes == before {
			t.Error("nobody was told")
		}
	})
}

// Pulls reach the request, and polarity stays with the source.
func TestPulls(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		b.contacts[0].Pull, b.contacts[1].Pull = PullDown, PullNone
		begin(t, b)
		var got []Pull
		for _, l := range b.chips[0].lines[:4] {
			got = append(got, l.bias)
		}
		if want := []Pull{PullDown, PullNone, PullUp, PullUp}; !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	})
}

func TestTimeSource(t *testing.T) {
	for edges, want := range map[string]string{"": device.KernelTime, Kernel: device.KernelTime, Periph: device.ArrivalTime} {
		if got := New(Options{Clock: newTestClock(), Edges: edges}).TimeSource(); got != want {
			t.Errorf("%q: %q, want %q", edges, got, want)
		}
	}
}
