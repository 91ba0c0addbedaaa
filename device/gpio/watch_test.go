// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/device"
)

const ms = time.Millisecond

// pass lets virtual time go on until everybody waits.
func pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// A sink keeps what comes and asks for the report at every change.
type sink struct {
	mu      sync.Mutex
	src     *Source
	edges   map[device.Line][]sent
	order   []device.Line
	lost    []string
	changes int
}

type sent struct {
	at     time.Duration
	closed bool
}

func (s *sink) Edge(l device.Line, at time.Duration, closed bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.edges[l] = append(s.edges[l], sent{at, closed})
	s.order = append(s.order, l)
}

func (s *sink) Lost(_ time.Duration, reason string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lost = append(s.lost, reason)
}

func (s *sink) Changed() {
	s.mu.Lock()
	s.changes++
	s.mu.Unlock()
	s.src.Report()
}

// begin watches a source of the bed in a bubble, up to its first levels.
func begin(t *testing.T, b *bed) (*Source, *sink) {
	t.Helper()
	src := b.source(0)
	to := &sink{src: src, edges: map[device.Line][]sent{}}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		src.Watch(ctx, to)
	}()
	t.Cleanup(func() {
		cancel()
		<-done
	})
	pass(ms)
	return src, to
}

func part(t *testing.T, parts []device.Part, l device.Line) device.Part {
	t.Helper()
	for _, p := range parts {
		if slices.Contains(p.Lines, l) {
			return p
		}
	}
	t.Fatalf("no part brings %s: %+v", l, parts)
	return device.Part{}
}

// The end of a burst whose last edge never became an event of its own: the
// level read after the burst tells it.
func TestMergedEdge(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		at := b.clock.Now()
		b.do(func() { b.frozen = true })
		b.Set(device.Squeeze, true)
		b.do(func() { b.deaf = true })
		b.thaw() // one event, closed
		b.Set(device.Squeeze, false)
		pass(10 * ms)
		got := to.edges[device.Squeeze]
		if len(got) != 3 || got[2].closed || got[2].at > at+ms {
			t.Fatalf("%v, want the release within a millisecond of %v", got, at)
		}
		if c := src.Counts(device.Squeeze); c != (Counts{Edges: 1, Merged: 1}) {
			t.Errorf("%+v", c)
		}
		if len(to.lost) != 0 {
			t.Errorf("lost %q", to.lost)
		}
	})
}

// Edges that no event tells are found by looking, counted, and said to be lost
// when it happens again.
func TestDeafLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		pass(150 * ms)
		b.do(func() { b.deaf = true })
		b.Set(device.TasteNO, true)
		at := b.clock.Now()
		pass(100*ms + lookAgainQuiet)
		got := to.edges[device.TasteNO]
		if len(got) != 2 || !got[1].closed || got[1].at < at || got[1].at > at+100*ms {
			t.Fatalf("%v, want closed within 100 ms of %v", got, at)
		}
		if c := src.Counts(device.TasteNO); c.Missed != 1 || len(to.lost) != 0 {
			t.Errorf("%+v, lost %q; once may be an accident", c, to.lost)
		}
		if r := part(t, src.Report(), device.TasteNO); r.State != device.Loaded || r.Reason != "" {
			t.Errorf("%+v", r)
		}
		pass(time.Second)
		b.Set(device.TasteNO, false)
		pass(150 * ms)
		if c := src.Counts(device.TasteNO); c.Missed != 2 || len(to.lost) != 1 || !strings.Contains(to.lost[0], "taste_no") {
			t.Errorf("%+v, lost %q", c, to.lost)
		}
		if r := part(t, src.Report(), device.TasteNO); !strings.Contains(r.Reason, "being missed") {
			t.Errorf("%+v", r)
		}
		if r := part(t, src.Report(), device.Squeeze); r.Reason != "" {
			t.Errorf("%+v", r)
		}
	})
}

// A level that is read before its event has come makes no edge of its own, and
// none too many when the event is very late.
func TestReadingRacesEvent(t *testing.T) {
	for _, late := range []time.Duration{ms, 10 * ms, 15 * ms, 50 * ms} {
		for _, phase := range []time.Duration{0, 30 * ms, 95 * ms, 99 * ms} {
			synctest.Test(t, func(t *testing.T) {
				b := newBed(t, Kernel)
				src, to := begin(t, b)
				pass(phase)
				b.do(func() { b.frozen = true })
				b.Set(device.Squeeze, true)
				at := b.clock.Now()
				for range int(late / ms) { // somebody looks all the time
					pass(ms)
					src.Flush()
				}
				b.thaw()
				pass(300 * ms)
				got := to.edges[device.Squeeze]
				if len(got) != 2 || !got[1].closed || got[1].at < at || got[1].at > at+2*ms {
					t.Errorf("%v late: %v, want one closure at %v", late, got, at)
				}
				if late < lookAgainQuiet && got[1].at != at {
					t.Errorf("%v late: dated %v, want %v", late, got[1].at, at)
				}
				if c := src.Counts(device.Squeeze); c.Missed != 0 || len(to.lost) != 0 {
					t.Errorf("%v late: %+v, lost %q", late, c, to.lost)
				}
				b.Set(device.Squeeze, false)
				pass(50 * ms)
				if got := to.edges[device.Squeeze]; len(got) != 3 || got[2].closed {
					t.Errorf("%v late: %v, want a release at the end", late, got)
				}
			})
		}
	}
}

// The same right after another edge: the short wait is enough, and the date is
// the kernel's.
func TestReadingRacesNextEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		b.Set(device.Squeeze, true)
		pass(5 * ms)
		b.do(func() { b.frozen = true })
		b.Set(device.Squeeze, false)
		at := b.clock.Now()
		for range 4 {
			pass(ms / 2)
			src.Flush()
		}
		b.thaw()
		pass(50 * ms)
		if got := to.edges[device.Squeeze]; len(got) != 3 || got[2] != (sent{at, false}) {
			t.Errorf("%v, want a release at %v", got, at)
		}
	})
}

// An interrupt's clock that runs ahead or jumps back: no edge is dated later
// than now or before the one that came before it.
func TestOddDates(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		_, to := begin(t, b)
		pass(20 * ms)
		b.do(func() { b.skew = 7 * ms })
		b.Set(device.Squeeze, true)
		pass(0)
		if got := to.edges[device.Squeeze]; len(got) != 2 || got[1].at > b.clock.Now() {
			t.Errorf("%v, and it is %v", got, b.clock.Now())
		}
		b.do(func() { b.skew = -7 * ms })
		pass(ms)
		b.Set(device.Squeeze, false)
		pass(10 * ms)
		if got := to.edges[device.Squeeze]; len(got) != 3 || got[2].at < got[1].at {
			t.Errorf("%v", got)
		}
	})
}

// Edges that come between the emptying of the queue and the first reading of
// the level are of before: with the time of arrival they would look new.
func TestStaleWhileArming(t *testing.T) {
	for _, mode := range []string{Kernel, Periph} {
		b := newBed(t, mode)
		b.onLook = func() {
			for range 3 {
				b.Set(device.TasteNO, true)
				b.Set(device.TasteNO, false)
			}
		}
		src := b.source(0)
		to := &sink{src: src, edges: map[device.Line][]sent{}}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			src.Watch(ctx, to)
		}()
		for armed := false; !armed; time.Sleep(ms) {
			to.mu.Lock()
			armed = len(to.order) >= len(b.contacts)
			to.mu.Unlock()
		}
		time.Sleep(60 * ms) // for what should not come
		cancel()
		<-ended
		if got := to.edges[device.TasteNO]; len(got) != 1 || got[0].closed {
			t.Errorf("%s: %v, want one open level", mode, got)
		}
	}
}

// A press that became one event with its release, which says open: the level
// read in between proves that it was there.
func TestPressHiddenInOneEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		b.do(func() { b.frozen = true })
		b.Set(device.TasteNO, true)
		src.Flush()
		at := b.clock.Now()
		pass(12 * ms)
		b.Set(device.TasteNO, false)
		end := b.clock.Now()
		pass(ms)
		b.thaw()
		pass(50 * ms)
		want := []sent{{0, false}, {at, true}, {end, false}}
		if got := to.edges[device.TasteNO]; !slices.Equal(got, want) {
			t.Errorf("%v, want %v", got, want)
		}
	})
}

// A press seen by looking twice and told by nothing is a press all the same.
func TestGlimpse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		b.do(func() { b.deaf = true })
		b.Set(device.TasteNO, true)
		src.Flush()
		at := b.clock.Now()
		pass(7 * ms)
		b.Set(device.TasteNO, false)
		src.Flush()
		end := b.clock.Now()
		pass(50 * ms)
		want := []sent{{0, false}, {at, true}, {end, false}}
		if got := to.edges[device.TasteNO]; !slices.Equal(got, want) {
			t.Errorf("%v, want %v", got, want)
		}
		if c := src.Counts(device.TasteNO); c.Missed != 2 {
			t.Errorf("%+v", c)
		}
	})
}

// The glimpsed press ends where it was seen to have ended, not with the next
// event, which is another's.
func TestGlimpseBeforeEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		b.do(func() { b.deaf = true })
		b.Set(device.TasteNO, true)
		src.Flush()
		at := b.clock.Now()
		pass(3 * ms)
		b.Set(device.TasteNO, false)
		src.Flush()
		end := b.clock.Now()
		pass(8 * ms)
		b.do(func() { b.deaf, b.frozen = false, true })
		b.Set(device.TasteNO, true)
		b.Set(device.TasteNO, false)
		b.thaw() // one event, open
		pass(50 * ms)
		want := []sent{{0, false}, {at, true}, {end, false}}
		if got := to.edges[device.TasteNO]; len(got) != 3 || got[1] != want[1] || got[2] != want[2] {
			t.Errorf("%v, want %v", got, want)
		}
	})
}

// Random movements with random delays of the kernel: the level is right in the
// end, levels alternate, none appears that was not there, and nothing is lost.
func TestRandomMoves(t *testing.T) {
	for seed := range uint64(200) {
		synctest.Test(t, func(t *testing.T) {
			rnd := rand.New(rand.NewPCG(seed, 7))
			b := newBed(t, Kernel)
			src, to := begin(t, b)
			made := map[device.Line]int{}
			at := map[device.Line]bool{}
			for range 400 {
				l := b.contacts[rnd.IntN(4)].Line
				at[l] = !at[l]
				made[l]++
				b.do(func() { b.latency = time.Duration(rnd.Int64N(int64(3 * ms))) })
				b.Set(l, at[l])
				if rnd.IntN(3) == 0 {
					pass(time.Duration(rnd.Int64N(int64(40 * ms))))
				} else {
					pass(time.Duration(rnd.Int64N(int64(ms))))
				}
				if rnd.IntN(5) == 0 {
					src.Flush()
				}
			}
			pass(300 * ms)
			for _, c := range b.contacts {
				got := to.edges[c.Line]
				if got[len(got)-1].closed != at[c.Line] {
					t.Errorf("seed %d: %s ends with closed %v, want %v", seed, c.Line, !at[c.Line], at[c.Line])
				}
				for i := 1; i < len(got); i++ {
					if got[i].closed == got[i-1].closed || got[i].at < got[i-1].at {
						t.Errorf("seed %d: %s: %v after %v", seed, c.Line, got[i], got[i-1])
					}
				}
				if len(got)-1 > made[c.Line] || len(got)-1 < made[c.Line]/4 {
					t.Errorf("seed %d: %s: %d edges of %d", seed, c.Line, len(got)-1, made[c.Line])
				}
				if n := src.Counts(c.Line); n.Missed != 0 || n.Lost != 0 {
					t.Errorf("seed %d: %s: %+v", seed, c.Line, n)
				}
			}
			if len(to.lost) != 0 {
				t.Errorf("seed %d: lost %q", seed, to.lost)
			}
		})
	}
}

// Events of two lines that stand in the queue the wrong way round.
func TestOrderOfLines(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		_, to := begin(t, b)
		b.do(func() { b.frozen = true })
		b.Set(device.TasteNC, true)
		pass(ms)
		b.Set(device.TasteNO, true)
		pass(ms)
		b.thaw() // queues TasteNO first
		pass(5 * ms)
		if got := to.order[len(to.order)-2:]; !slices.Equal(got, []device.Line{device.TasteNC, device.TasteNO}) {
			t.Errorf("order %v", got)
		}
	})
}

// A hole in the numbers of a line says how many events were dropped.
func TestHole(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		b.do(func() {
			for range 20 { // the queue ran over before anybody could read
				b.chips[0].requests[0].lineSeq[1]++
			}
		})
		b.Set(device.Step, true)
		pass(5 * ms)
		if c := src.Counts(device.Step); c.Lost != 20 || len(to.lost) != 1 || !strings.Contains(to.lost[0], "20 edges of step") {
			t.Errorf("%+v, lost %q", c, to.lost)
		}
		if r := part(t, src.Report(), device.Step); !strings.Contains(r.Reason, "20 edges were dropped") {
			t.Errorf("%+v", r)
		}
		b.Set(device.Step, false)
		pass(5 * ms)
		if len(to.lost) != 1 {
			t.Errorf("lost %q: the hole is told once", to.lost)
		}
	})
}

// A read that fails is no level: Lost at once, Failed in words, and well again
// when the chip is.
func TestReadError(t *testing.T) {
	for _, broken := range []error{unix.EIO, errors.New("odd"), unix.EINVAL} {
		synctest.Test(t, func(t *testing.T) {
			b := newBed(t, Kernel)
			src, to := begin(t, b)
			pass(50 * ms)
			b.do(func() { b.broken = broken })
			pass(120 * ms) // nobody moves a line: the look finds it
			if len(to.lost) != 1 || !strings.Contains(to.lost[0], "fake-pins") {
				t.Fatalf("lost %q", to.lost)
			}
			for _, p := range src.Report() {
				if p.State != device.Failed || !strings.Contains(p.Reason, broken.Error()) {
					t.Errorf("%+v", p)
				}
			}
			pass(5 * time.Second)
			for l, got := range to.edges {
				if len(got) != 1 {
					t.Errorf("%s: %v", l, got)
				}
			}
			b.Set(device.Squeeze, true)
			b.do(func() { b.broken = nil })
			pass(2*lastRetry + ms)
			if got := to.edges[device.Squeeze]; len(got) != 2 || !got[1].closed {
				t.Errorf("well again: %v", got)
			}
			if len(to.lost) != 1 {
				t.Errorf("lost %q", to.lost)
			}
		})
	}
}

// A chip that goes while its lines are waited for, on a kernel that does not
// wake those who wait, and comes back under another name.
func TestChipGone(t *testing.T) {
	for _, old := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b := newBed(t, Kernel)
			for i := range b.contacts {
				b.contacts[i].Place = Place{Chip: "fake-pins", Offset: i}
			}
			b.old = old
			src, to := begin(t, b)
			b.plug(0, false)
			pass(101 * ms)
			if len(to.lost) != 1 || !strings.Contains(to.lost[0], "is gone") {
				t.Fatalf("old %v: lost %q", old, to.lost)
			}
			b.do(func() { b.chips[0].name = "gpiochip7" })
			pass(10 * time.Second)
			if p := part(t, src.Report(), device.Step); p.State != device.Failed || !strings.Contains(p.Reason, "no GPIO chip") {
				t.Errorf("%+v", p)
			}
			b.plug(0, true)
			pass(lastRetry + 10*ms)
			b.Set(device.Step, true)
			pass(10 * ms)
			if got := to.edges[device.Step]; len(got) != 3 || !got[2].closed {
				t.Errorf("old %v: %v", old, got)
			}
			if p := part(t, src.Report(), device.Step); p.State != device.Loaded {
				t.Errorf("%+v", p)
			}
		})
	}
}

// A chip whose node is gone, though its lines still answer.
func TestNodeGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		b.do(func() { b.nodeless = true })
		pass(100 * ms)
		if p := part(t, src.Report(), device.Step); len(to.lost) != 1 || p.State != device.Failed || !strings.Contains(p.Reason, "gone") {
			t.Errorf("lost %q, %+v", to.lost, p)
		}
	})
}

// Flush reads what the kernel holds before it returns, whoever else is awake.
func TestFlush(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		for n := range 50 {
			b.Set(device.Squeeze, n%2 == 0)
			src.Flush()
			to.mu.Lock()
			if got := len(to.edges[device.Squeeze]); got != n+2 {
				t.Fatalf("%d edges after Flush, want %d", got, n+2)
			}
			to.mu.Unlock()
		}
	})
}

// A line that chatters without end neither stops the looks nor the end.
func TestStorm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		for range 3 * burst {
			b.move(0, 5, true) // not watched
			b.move(0, 5, false)
		}
		src, to := begin(t, b)
		for n := range 2 * burst {
			b.Set(device.Squeeze, n%2 == 0)
		}
		b.Set(device.Step, true)
		pass(300 * ms)
		if got := to.edges[device.Step]; len(got) != 2 || !got[1].closed {
			t.Errorf("%v", got)
		}
		if to.edges[device.Squeeze][len(to.edges[device.Squeeze])-1].closed {
			t.Error("the chattering line ends closed")
		}
		if src.Counts(device.Squeeze).Missed != 0 {
			t.Errorf("%+v", src.Counts(device.Squeeze))
		}
	})
}

// A quiet source is quiet: so many looks a second and no reads beside them.
func TestIdle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		begin(t, b)
		pass(time.Second)
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.looks > 13 || b.looks < 10 || b.reads > 3*b.looks {
			t.Errorf("%d looks and %d reads in a second", b.looks, b.reads)
		}
	})
}

func Example_words() {
	b := newBed(nil, Kernel)
	chips := b.listing()
	for _, p := range []Place{
		{Name: "GPIO17"}, {Chip: "pinctrl", Offset: 17}, {Chip: "fake-pins", Offset: 17}, {}, {Name: "PEDAL", Chip: "gpiochip0"},
	} {
		c, l, err := find(chips, p)
		fmt.Println(c.Label, l.Offset, err)
	}
	_, _, err := find(nil, Place{Name: "GPIO17"})
	fmt.Println(err)
	b.add("gpiochip1", "fake-pins", "PEDAL")
	for _, p := range []Place{{Name: "PEDAL"}, {Chip: "fake-pins"}, {Name: "PEDAL", Chip: "gpiochip1"}} {
		c, _, err := find(b.listing(), p)
		fmt.Println(c.Name, err)
	}
	// Output:
	//  0 there is no line GPIO17; this board has fake-pins with 6 lines (PEDAL, STEP, NO, NC, LAMP, HORN)
	//  0 there is no GPIO chip pinctrl; this board has fake-pins with 6 lines (PEDAL, STEP, NO, NC, LAMP, HORN)
	//  0 there is no line 17 of fake-pins; this board has fake-pins with 6 lines (PEDAL, STEP, NO, NC, LAMP, HORN)
	//  0 neither the name of a line nor a chip is given
	// fake-pins 0 <nil>
	// this board has no GPIO chip, so there is no GPIO17
	//  2 lines are called PEDAL: line 0 of fake-pins (gpiochip0), line 0 of fake-pins (gpiochip1); name chip and offset
	//  2 chips are called fake-pins: name it by the kernel's name (gpiochip0, gpiochip1)
	// gpiochip1 <nil>
}

// A Flush that cannot read what the kernel holds says so before it returns: the
// loop goes on to its verdict right after it.
func TestFlushThatCannotReadSaysSo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		src, to := begin(t, b)
		pass(20 * ms)
		b.do(func() { b.broken = unix.EIO })
		b.Set(device.TasteNC, false) // the wearer presses
		b.Set(device.TasteNO, true)
		src.Flush()
		to.mu.Lock()
		lost, edges := len(to.lost), len(to.edges[device.TasteNO])
		to.mu.Unlock()
		if lost == 0 && edges == 1 {
			t.Error("neither the press nor a word that it may be missing was handed over")
		}
		pass(ms)
		to.mu.Lock()
		defer to.mu.Unlock()
		if len(to.lost) != 1 {
			t.Errorf("it was said %d times: %q", len(to.lost), to.lost)
		}
	})
}
