// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"
)

func periphBed(t *testing.T) (*bed, *periphRequest) {
	b := newBed(t, Periph)
	r, err := fakeMachine{b.fakeKernel, 0}.edges(b.listing()[0], []asked{{offset: 0}, {offset: 1}})
	if err != nil {
		t.Fatal(err)
	}
	return b, r.(*periphRequest)
}

// Draining ends a wait of another goroutine, which would not end by itself, and
// keeps what that was woken by in its order.
func TestPeriphDrainWhileWaiting(t *testing.T) {
	b, p := periphBed(t)
	p.set.(*fakeSet).endless = true
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for p.await() == nil {
		}
	}()
	var got []bool
	for n := range 300 {
		b.move(0, 0, n%2 == 1)
		if _, err := p.drain(func(e event) { got = append(got, e.high) }); err != nil {
			t.Fatal(err)
		}
		if len(got) != n+1 || got[n] != (n%2 == 1) {
			t.Fatalf("after %d edges: %v", n+1, got)
		}
	}
	for range 5 { // nothing comes that would end the other's wait
		if _, err := p.drain(func(e event) { t.Errorf("%+v", e) }); err != nil {
			t.Fatal(err)
		}
		time.Sleep(ms)
	}
	p.interrupt()
	<-ended
	if err := p.await(); !errors.Is(err, errInterrupted) {
		t.Errorf("await after an interruption: %v", err)
	}
	if err := p.close(); err != nil {
		t.Error(err)
	}
}

// As many events at once as the kernel holds: some may have been dropped.
func TestPeriphFull(t *testing.T) {
	for _, n := range []int{2*perLine - 1, 2 * perLine, 5 * perLine} {
		synctest.Test(t, func(t *testing.T) {
			b, p := periphBed(t)
			for i := range n {
				b.move(0, 1, i%2 == 1)
			}
			time.Sleep(2 * unread) // nobody reads
			missing := 0
			if _, err := p.drain(func(e event) {
				if e.missing != 0 {
					missing++
				}
			}); err != nil {
				t.Fatal(err)
			}
			if want := bit(n >= 2*perLine); missing != int(want) {
				t.Errorf("%d events: told %d times, want %d", n, missing, want)
			}
		})
	}
}

// An error of the set is an error, whatever it says beside it.
func TestPeriphError(t *testing.T) {
	b, p := periphBed(t)
	woken := make(chan error)
	go func() { woken <- p.await() }()
	time.Sleep(5 * ms)
	b.plug(0, false)
	if err := <-woken; err == nil {
		t.Error("await: no error")
	}
	if _, err := p.drain(func(event) { t.Error("an event") }); err == nil {
		t.Error("drain: no error")
	}
	if _, err := p.levels(); err == nil {
		t.Error("levels: no error")
	}
}

// Without periph's start there are no line sets, and it says so.
func TestPeriphNotStarted(t *testing.T) {
	if start.done.Load() {
		t.Fatal("periph is started in the tests' own process")
	}
	if _, err := periphEdges(Chip{Name: "gpiochip0"}, []asked{{}}, newTestClock()); err == nil {
		t.Error("no error")
	}
}
