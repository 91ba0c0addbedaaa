// SPDX-License-Identifier: Apache-2.0

package board_test

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"tallyhood/device"
	"tallyhood/device/board"
)

// A hand is a source whose edges a test makes. What is put into held is there
// as the kernel would hold it: it comes with the next Flush.
type hand struct {
	lines []device.Line
	time  string
	mu    sync.Mutex
	to    device.Sink
	held  []device.Edge
	state device.Part
	ended bool
}

func (h *hand) Lines() []device.Line { return h.lines }
func (h *hand) TimeSource() string   { return h.time }
func (h *hand) Watch(ctx context.Context, to device.Sink) {
	h.mu.Lock()
	h.to = to
	h.mu.Unlock()
	<-ctx.Done()
	h.mu.Lock()
	h.ended = true
	h.mu.Unlock()
}

func (h *hand) Flush() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.to == nil || h.ended {
		return
	}
	for _, e := range h.held {
		h.to.Edge(e.Line, e.At, e.Closed)
	}
	h.held = nil
}

func (h *hand) Report() []device.Part {
	h.mu.Lock()
	defer h.mu.Unlock()
	return []device.Part{h.state}
}

func (h *hand) set(p device.Part) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.state = p
	h.to.Changed()
}

type lamp struct{ lit, closed bool }

func (l *lamp) Light(_ device.Lamp, on bool) { l.lit = on }
func (l *lamp) Report() []device.Part        { return []device.Part{{Name: "lamp", State: device.Loaded}} }
func (l *lamp) Close() error                 { l.closed = true; return nil }

func edge(l device.Line, ms int, closed bool) device.Edge {
	return device.Edge{Line: l, At: time.Duration(ms) * time.Millisecond, Closed: closed}
}

func TestEdgesOfSeveralSourcesComeInOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		lines := &hand{lines: []device.Line{device.TasteNO, device.TasteNC, device.Step}, time: device.KernelTime}
		pedal := &hand{lines: []device.Line{device.Squeeze}, time: device.KernelTime}
		b, err := board.New(board.Options{Sources: []device.Source{lines, pedal}, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if b.TimeSource() != device.KernelTime {
			t.Errorf("time source %q", b.TimeSource())
		}
		// The pedal's edges are in the kernel already when the lines' are told.
		pedal.held = []device.Edge{edge(device.Squeeze, 5, true), edge(device.Squeeze, 15, false)}
		lines.to.Edge(device.Step, 10*time.Millisecond, true)
		lines.to.Edge(device.Step, 20*time.Millisecond, false)
		lines.to.Edge(device.Step, 25*time.Millisecond, false) // nothing new
		synctest.Wait()
		var got []int
		for i := range uint64(4) {
			e := <-b.Edges()
			if e.Seq != i+1 {
				t.Errorf("edge %d has number %d", i+1, e.Seq)
			}
			got = append(got, int(e.At/time.Millisecond))
		}
		if !slices.Equal(got, []int{5, 10, 15, 20}) {
			t.Errorf("order %v", got)
		}
		select {
		case e := <-b.Edges():
			t.Errorf("one edge too many: %v", e)
		default:
		}

		// Flush by the reader needs no word of a source before it.
		pedal.mu.Lock()
		pedal.held = []device.Edge{edge(device.Squeeze, 30, true)}
		pedal.mu.Unlock()
		b.Flush()
		select {
		case e := <-b.Edges():
			if e.Line != device.Squeeze || e.Seq != 5 {
				t.Errorf("flushed %v", e)
			}
		default:
			t.Error("Flush brought nothing")
		}
		b.Close()
		b.Close()
		if _, ok := <-b.Edges(); ok || !lines.ended || !pedal.ended {
			t.Error("something goes on after Close")
		}
		pedal.to.Edge(device.Squeeze, time.Second, false) // too late, and no panic
		pedal.to.Lost(time.Second, "late")
		b.Flush()
	})
}

func TestOverrunIsSaid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := &hand{lines: []device.Line{device.Taste, device.Step, device.Squeeze}, time: device.ArrivalTime}
		b, err := board.New(board.Options{Sources: []device.Source{h}, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		synctest.Wait()
		for i := range 40_000 {
			h.to.Edge(device.Squeeze, time.Duration(i), i%2 == 0)
		}
		synctest.Wait()
		select {
		case l := <-b.Lost():
			if !strings.Contains(l.Reason, "ran over") {
				t.Errorf("reason %q", l.Reason)
			}
		default:
			t.Fatal("40,000 edges that nobody read, and no word of a loss")
		}
		last, n := uint64(0), 0
		for len(b.Edges()) > 0 {
			last = (<-b.Edges()).Seq
			n++
		}
		h.to.Edge(device.Squeeze, time.Second, true)
		synctest.Wait()
		if next := (<-b.Edges()).Seq; next == last+1 || next != 40_001 {
			t.Errorf("after %d edges up to number %d the next is %d: no gap", n, last, next)
		}
		h.to.Lost(2*time.Second, "unplugged")
		synctest.Wait()
		for len(b.Lost()) > 1 {
			<-b.Lost()
		}
		if l := <-b.Lost(); l.Reason != "unplugged" {
			t.Errorf("lost %q", l.Reason)
		}
	})
}

func TestReportAndLights(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log strings.Builder
		h := &hand{lines: []device.Line{device.Taste, device.Step, device.Squeeze}, state: device.Part{Name: "lines", State: device.Loaded}}
		l := &lamp{}
		b, err := board.New(board.Options{
			Sources: []device.Source{h}, Lights: []device.Light{l}, Parts: []device.Part{{Name: "bulb sensor", State: device.Absent}},
			Log: slog.New(slog.NewTextHandler(&log, nil)),
		})
		if err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		h.set(device.Part{Name: "lines", State: device.Failed, Reason: "the chip is gone", Lines: h.lines})
		synctest.Wait()
		var names []string
		for _, p := range b.Report() {
			names = append(names, fmt.Sprint(p.Name, " ", p.State))
		}
		if got := strings.Join(names, ", "); got != "lines failed, lamp loaded, bulb sensor absent" {
			t.Errorf("report: %s", got)
		}
		if !strings.Contains(log.String(), "the chip is gone") {
			t.Errorf("the log does not say it: %s", log.String())
		}
		b.Light(device.LampStop, true)
		if !l.lit {
			t.Error("the lamp is dark")
		}
		b.Close()
		if !l.closed {
			t.Error("the lamp was not closed")
		}
	})
}

func TestWhatIsMissing(t *testing.T) {
	for want, lines := range map[string][]device.Line{
		"squeeze":        {device.Step, device.Taste},
		"step":           {device.Squeeze, device.Taste},
		"button":         {device.Squeeze, device.Step, device.TasteNO},
		"not both":       {device.Squeeze, device.Step, device.TasteNO, device.TasteNC, device.Taste},
		"no contact":     {device.Squeeze, device.Step, device.Taste, "bell"},
		"brought by two": {device.Squeeze, device.Step, device.Taste, device.Step},
	} {
		_, err := board.New(board.Options{Sources: []device.Source{&hand{lines: lines}}})
		if err == nil || !strings.Contains(err.Error(), want) && want != "no contact" {
			t.Errorf("%v: %v, want %q", lines, err, want)
		}
	}
}
