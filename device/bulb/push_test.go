// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"context"
	"log/slog"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"tallyhood/device"
	"tallyhood/device/board"
	"tallyhood/device/clock"
	"tallyhood/device/contact"
)

// still is a source of contacts that nobody touches.
type still struct{ lines []device.Line }

func (s still) Lines() []device.Line  { return s.lines }
func (s still) Flush()                {}
func (s still) Report() []device.Part { return nil }
func (s still) TimeSource() string    { return device.KernelTime }
func (s still) Watch(ctx context.Context, to device.Sink) {
	for _, l := range s.lines {
		to.Edge(l, 0, false)
	}
	<-ctx.Done()
}

// A board hands on the push in its place between the edges of the contacts, and
// has no contact more for it.
func TestPushComesThroughABoard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := clock.New(1)
		w := newWire(c)
		quiet := slog.New(slog.DiscardHandler)
		s, err := New(Options{Bus: "1", Sensor: "hsc:005PD-A", File: learned(t), Clock: c, Log: quiet, OpenBus: w.open})
		if err != nil {
			t.Fatal(err)
		}
		b, err := board.New(board.Options{Log: quiet, Sources: []device.Source{s, still{[]device.Line{device.Step, device.Taste}}}})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		time.Sleep(2 * second)
		for range 3 {
			<-b.Edges() // the first levels
		}
		w.squeeze(0, 300*ms, 50*ms, 1)
		time.Sleep(2 * second)
		var got []device.Edge
		for len(b.Edges()) > 0 {
			e := <-b.Edges()
			got = append(got, device.Edge{Line: e.Line, Closed: e.Closed})
		}
		want := []device.Edge{{Line: device.Push, Closed: true}, {Line: device.Squeeze, Closed: true}, {Line: device.Push}, {Line: device.Squeeze}}
		if !slices.Equal(got, want) {
			t.Errorf("got %v, want %v", got, want)
		}
		if n := len(b.Lines()); n != 3 {
			t.Errorf("%d contacts", n)
		}
	})
}

// heard gives the edges that came so far, and forgets them.
func (k *sink) heard() []device.Edge {
	k.mu.Lock()
	defer k.mu.Unlock()
	out := k.all
	k.all = nil
	return out
}

// A wearer who tastes the eleventh squeeze reports while the bulb is still being
// pushed, or held half-way. By then the push has been told, and what comes of it
// is known to have begun before the report.
func TestPushIsToldBeforeAReportOfIt(t *testing.T) {
	for _, c := range []struct {
		name              string
		push, hold, after time.Duration // the report, since the hand began to close
		depth             float64
		kind              contact.Kind
	}{
		{"flat", 300 * ms, 50 * ms, 250 * ms, 1, contact.Pressed},
		{"flat, at its begin", 150 * ms, 50 * ms, 50 * ms, 1, contact.Pressed},
		{"slow", 700 * ms, 50 * ms, 400 * ms, 1, contact.Doubtful},
		{"shallow, held for a moment", 200 * ms, 600 * ms, 700 * ms, 0.6, contact.Doubtful},
		{"shallow, held for long", 200 * ms, 3 * second, second, 0.6, contact.Doubtful},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := watch(t, learned(t))
				defer s.stop()
				time.Sleep(2 * second)
				s.sink.heard()
				start := s.wire.clock.Now()
				panel := contact.NewPanel(false, start)
				for i := range 10 {
					s.wire.squeeze(time.Duration(i)*1200*ms, 150*ms, 50*ms, 1)
				}
				s.wire.squeeze(12*second, c.push, c.hold, c.depth)
				begun := start + 12*second
				report := begun + c.after
				time.Sleep(report - s.wire.clock.Now())
				edges := s.sink.heard()
				i := slices.IndexFunc(edges, func(e device.Edge) bool { return e.At >= begun })
				if i < 0 || edges[i].Line != device.Push || !edges[i].Closed {
					t.Fatalf("at the report the bulb has expelled %.2f bulbs; of the last push was told %v", s.wire.bulb.Expelled()/s.wire.bulb.Full(), edges[max(i, 0):])
				}
				if late := edges[i].At - begun; late > c.push/4 {
					t.Errorf("the push was told %v after its begin", late)
				}
				time.Sleep(5 * second)
				for _, e := range append(edges, s.sink.heard()...) {
					if e.Line == device.Push {
						panel.PushEdge(e.At, e.Closed)
					} else {
						panel.SqueezeEdge(e.At, e.Closed)
					}
				}
				panel.Advance(s.wire.clock.Now())
				n := 0
				for _, g := range panel.Take() {
					if g.Kind != contact.Pressed && g.Kind != contact.Doubtful {
						continue
					}
					n++
					if g.Begun >= g.At {
						t.Errorf("squeeze %d, dated %v: its push is not known", n, g.At)
					}
					if n == 11 && (g.Begun >= report || g.Kind != c.kind) {
						t.Errorf("the eleventh is %v, from %v on, the report was at %v", g.Kind, g.Begun, report)
					}
				}
				if at, on := panel.Pushing(); n != 11 || on {
					t.Errorf("%d squeezes, still pushing %v since %v", n, on, at)
				}
			})
		})
	}
}

// A touch is a push of which nothing comes, and a sensor that fails in a push
// leaves none behind.
func TestPushThatComesToNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(2 * second)
		s.sink.heard()
		levels := func() (push []bool, squeezes int) {
			for _, e := range s.sink.heard() {
				if e.Line == device.Push {
					push = append(push, e.Closed)
				} else if e.Closed {
					squeezes++
				}
			}
			return
		}
		s.wire.squeeze(0, 30*ms, 20*ms, 0.05)
		time.Sleep(2 * second)
		if push, n := levels(); !slices.Equal(push, []bool{true, false}) || n != 0 {
			t.Errorf("a touch: the push goes %v, %d squeezes", push, n)
		}
		s.wire.squeeze(0, 300*ms, second, 0.6)
		time.Sleep(200 * ms)
		s.wire.set(func() { s.wire.cut = true })
		time.Sleep(200 * ms)
		if push, n := levels(); !slices.Equal(push, []bool{true, false}) || n != 0 {
			t.Errorf("a sensor that fails: the push goes %v, %d squeezes", push, n)
		}
		if _, _, lost := s.sink.saw(); len(lost) != 1 {
			t.Errorf("lost %q", lost)
		}
	})
}

// told takes the edges up to an instant millisecond by millisecond.
func (t *train) told(from, to time.Duration) (out []edge) {
	for now := from; now <= to; now += ms {
		out = append(out, t.take(now)...)
	}
	return out
}

// A closure that has to wait for its turn keeps its push open, also where the
// next push begins meanwhile.
func TestTrainPush(t *testing.T) {
	var tr train
	var got []edge
	from := time.Duration(0)
	to := func(at time.Duration) {
		got = append(got, tr.told(from, at-1)...)
		from = at
	}
	push := func(at time.Duration, on bool) { to(at); tr.push(at, on) }
	doubt := func(at time.Duration) { to(at); tr.doubt(at) }
	push(100*ms, true)
	doubt(150 * ms)
	push(150*ms, false)
	push(200*ms, true)
	doubt(250 * ms) // put off to 325 ms
	push(250*ms, false)
	push(300*ms, true)
	push(340*ms, false)
	push(400*ms, true)
	doubt(420 * ms) // put off to 500 ms
	push(420*ms, false)
	to(700 * ms)
	want := []edge{
		{100 * ms, device.Push, true}, {150 * ms, device.Squeeze, true}, {150 * ms, device.Push, false}, {180 * ms, device.Squeeze, false},
		{200 * ms, device.Push, true}, {325 * ms, device.Squeeze, true}, {340 * ms, device.Push, false}, {355 * ms, device.Squeeze, false},
		{400 * ms, device.Push, true}, {500 * ms, device.Squeeze, true}, {500 * ms, device.Push, false}, {530 * ms, device.Squeeze, false},
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

// A push that is never judged does not hold up the run for ever: it is told as
// doubtful, once.
func TestTrainPushUnsettled(t *testing.T) {
	var tr train
	var all []edge
	for now := time.Duration(0); now < 10*time.Second; now += 5 * ms {
		tr.push(now, now >= second)
		all = append(all, tr.take(now)...)
	}
	tr.push(10*second, false)
	if len(all) != 4 || all[0] != (edge{second, device.Push, true}) || all[1].line != device.Squeeze || !all[1].closed ||
		all[2].line != device.Push || all[2].closed || all[3].at-all[1].at != doubtful || all[1].at > second+unsettled+10*ms {
		t.Errorf("%+v", all)
	}
	tr.push(10500*ms, true)
	if e := tr.told(10500*ms, 10500*ms); len(e) != 1 || !e[0].closed {
		t.Errorf("the next push: %+v", e)
	}
}
