// SPDX-License-Identifier: Apache-2.0

package session

import (
	"log/slog"
	"testing"
	"time"

	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/contact"
)

// A flooded board holds more edges than anybody reads at one go.
type flooded struct {
	device.Board
	edges chan device.Edge
	lost  chan device.Lost
}

func (f *flooded) Edges() <-chan device.Edge { return f.edges }
func (f *flooded) Lost() <-chan device.Lost  { return f.lost }

// The loop goes on only when it has read all that is there. What is too much to
// be read may hold a report, and so counts as edges that are lost; the word of
// lost ones is not overtaken either.
func TestNothingWaitingIsOvertaken(t *testing.T) {
	for _, n := range []int{0, 1_000, 1_100, 30_000, mostDrained - 2, mostDrained + 1} {
		f := &flooded{edges: make(chan device.Edge, mostDrained+2), lost: make(chan device.Lost, 1)}
		s := &Session{cfg: Config{Board: f, Clock: clock.New(1), Log: slog.New(slog.DiscardHandler)}, openRun: &openRun{}, levels: map[device.Line]bool{},
			stats: map[device.Line]*stat{device.Squeeze: {}}, panel: contact.NewPanel(false, 0)}
		for i := range n {
			f.edges <- device.Edge{At: time.Duration(i) * time.Microsecond, Line: device.Squeeze, Closed: i%2 == 0}
		}
		s.looked = s.cfg.Clock.Now()
		s.drain()
		left, said := len(f.edges), s.lost
		if left > 0 && said == "" {
			t.Errorf("%d edges: %d are overtaken and nobody is told", n, left)
		}
		if n < mostDrained && (left > 0 || said != "") {
			t.Errorf("%d edges: %d left, %q", n, left, said)
			continue
		}
		if n < mostDrained {
			for i := range n {
				f.edges <- device.Edge{At: time.Second + time.Duration(i)*time.Microsecond, Line: device.Squeeze, Closed: i%2 == 0}
			}
			f.lost <- device.Lost{Reason: "the queue was full"}
			s.looked = s.cfg.Clock.Now()
			if s.drain(); s.lost != "the queue was full" {
				t.Errorf("%d edges before it: the loss is not told, %q", n, s.lost)
			}
		}
	}
}
