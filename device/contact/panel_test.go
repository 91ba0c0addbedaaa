// SPDX-License-Identifier: Apache-2.0

package contact

import (
	"cmp"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// longestWait is how long anything may stay open in meaning: a stretch is
// given up after patience, and the button may have been on its way for a
// changeover before that.
const longestWait = patience + flapLimit

// A watch feeds a panel and holds what always holds.
type watch struct {
	p       *Panel
	seen    []Sighting
	reached time.Duration
	fail    func(format string, args ...any)
}

func (w *watch) look(now time.Duration) {
	p := w.p
	for _, s := range p.Take() {
		if s.At > s.Known || s.Known > now {
			w.fail("%v %v: known before it was, or before now: %v", s, s.Source, now)
		}
		if s.When() < w.reached {
			w.fail("%v comes after all before %v was said to be known", s, w.reached)
		}
		if s.When() >= p.Reached() {
			w.fail("%v comes before everything before it is known, %v", s, p.Reached())
		}
		if n := len(w.seen); n > 0 && s.When() < w.seen[n-1].When() {
			w.fail("%v comes after %v", s, w.seen[n-1])
		}
		w.seen = append(w.seen, s)
	}
	if p.Reached() < w.reached {
		w.fail("what is known goes back from %v to %v", w.reached, p.Reached())
	}
	w.reached = p.Reached()
	if now-w.reached > longestWait {
		w.fail("at %v still waiting for %v", now, w.reached)
	}
	if at, ok := p.Next(); ok && at < now {
		w.fail("at %v the next thing to do is in the past: %v", now, at)
	}
	// Each line has at most one thing to say every 5 ms.
	if len(p.wait) > int(4*(longestWait/(5*ms)+2)) {
		w.fail("%d sightings held back", len(p.wait))
	}
}

// A pace is a way of calling Advance and Take between edges.
type pace struct {
	name string
	go_  func(w *watch, now, to time.Duration)
}

var paces = []pace{
	{"only at the end", func(*watch, time.Duration, time.Duration) {}},
	{"every ms", func(w *watch, now, to time.Duration) {
		for now += ms; now < to; now += ms {
			w.p.Advance(now)
			w.look(now)
		}
	}},
	{"when there is something to do", func(w *watch, now, to time.Duration) {
		for {
			at, ok := w.p.Next()
			if !ok || at >= to {
				return
			}
			w.p.Advance(at)
			w.look(at)
		}
	}},
	{"at every edge", func(w *watch, now, to time.Duration) {
		w.p.Advance(to)
		w.look(to)
	}},
	{"at random", func(w *watch, now, to time.Duration) {
		step := (now%7 + 1) * 731 * time.Microsecond
		for now += step; now < to; now += step {
			w.p.Advance(now)
			if now%3 == 0 {
				w.look(now)
			}
			step = step*5%(37*ms) + 1
		}
	}},
}

// rest is longer than anything a panel waits for.
const rest = HeldAfter + time.Second

// play feeds a trace and returns what was seen.
func play(tr trace, supervised bool, pc pace, fail func(string, ...any)) []Sighting {
	w := &watch{p: NewPanel(supervised, 0), fail: func(f string, a ...any) {
		fail("%s: %s\n%v", pc.name, fmt.Sprintf(f, a...), tr)
	}}
	now := time.Duration(0)
	for _, m := range tr {
		pc.go_(w, now, m.at)
		feed(w.p, m)
		now = m.at
	}
	end := now + rest
	pc.go_(w, now, end)
	w.p.Advance(end)
	w.look(end)
	if at, ok := w.p.Next(); ok {
		w.fail("at rest there is still something to do at %v", at)
	}
	if w.p.Reached() != end || len(w.p.wait) > 0 {
		w.fail("at rest something is still open")
	}
	return w.seen
}

// same plays a trace at every pace and holds that they see the same.
func same(t *rapid.T, tr trace, supervised bool) []Sighting {
	first := play(tr, supervised, paces[0], t.Fatalf)
	for _, pc := range paces[1:] {
		if got := play(tr, supervised, pc, t.Fatalf); !slices.Equal(got, first) {
			t.Fatalf("%s:\n%v\n%s:\n%v\ntrace %v", paces[0].name, first, pc.name, got, tr)
		}
	}
	return first
}

func TestWildEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		supervised := rapid.Bool().Draw(t, "supervised")
		same(t, wild(t, []line{squeeze, step, no, nc}), supervised)
	})
}

func TestWildButton(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		same(t, wild(t, []line{no, nc}), true)
	})
}

func TestWildPedal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		same(t, wild(t, []line{squeeze}), false)
	})
}

// In the contract every press is seen at its first edge, and nothing else is.
func TestInContract(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		supervised := rapid.Bool().Draw(t, "supervised")
		var tr trace
		var want []Sighting
		held := map[Source][]drawn{}
		add := func(s Source, all []drawn) {
			held[s] = all
			for _, d := range all {
				want = append(want, Sighting{s, Event{Kind: Pressed, At: d.first}, d.first})
			}
		}
		add(Squeeze, presses(t, &tr, squeeze, between(t, 300*ms, 600*ms, "start"), clear))
		add(Step, presses(t, &tr, step, between(t, 300*ms, 600*ms, "start"), clear))
		if supervised {
			add(Report, buttons(t, &tr, between(t, 300*ms, 600*ms, "start")))
		} else {
			add(Report, presses(t, &tr, no, between(t, 300*ms, 600*ms, "start"), clear))
		}
		slices.SortStableFunc(want, func(a, b Sighting) int { return cmp.Compare(a.At, b.At) })
		noise := len(tr.sorted()) - 2*len(want)
		if supervised {
			noise -= 1 + 2*len(held[Report]) // the first level, and the other contact
		}
		released := 0
		var got []Sighting
		p := NewPanel(supervised, 0)
		for _, m := range tr {
			feed(p, m)
		}
		p.Advance(tr.end() + rest)
		if p.Noise() != noise {
			t.Fatalf("%d noise edges, want %d\n%v", p.Noise(), noise, tr)
		}
		for _, s := range same(t, tr, supervised) {
			switch s.Kind {
			case Pressed:
				got = append(got, Sighting{s.Source, Event{Kind: Pressed, At: s.At}, s.Begun})
				grade := SqueezeGrade
				if s.Source == Report {
					grade = ReportGrade
				}
				if s.Known < s.At+grade.Sure || s.Known > s.At+grade.Sure+CableGrace+2*MaxChatter {
					t.Fatalf("%v known at %v", s, s.Known)
				}
			case Released:
				released++
				d := held[s.Source][0]
				held[s.Source] = held[s.Source][1:]
				if s.At < d.release || s.At > d.release+MaxChatter {
					t.Fatalf("%v, but let go at %v\n%v", s, d.release, tr)
				}
			default:
				t.Fatalf("%v\n%v", s, tr)
			}
		}
		if !slices.Equal(got, want) || released != len(want) {
			t.Fatalf("got %v\nwant %v\n%d released\n%v", got, want, released, tr)
		}
	})
}

// Spikes right beside an edge may move a date by as much as chatter could, but
// neither change a count nor make a doubt.
func TestSpikesBesideEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var tr trace
		want := presses(t, &tr, squeeze, 300*ms, 100*time.Microsecond)
		got := 0
		for _, s := range play(tr.sorted(), false, paces[0], t.Fatalf) {
			switch s.Kind {
			case Pressed:
				if got == len(want) || s.At > want[got].first || s.At < want[got].first-MaxChatter-MaxSpike {
					t.Fatalf("%v, want %v\n%v", s, want, tr)
				}
				got++
			case Doubtful, Chatters:
				t.Fatalf("%v\n%v", s, tr)
			}
		}
		if got != len(want) {
			t.Fatalf("%d presses, want %v\n%v", got, want, tr)
		}
	})
}

func TestPanel(t *testing.T) {
	p := NewPanel(true, 0)
	for _, m := range moves(squeeze, 100, step, 110, squeeze, 145) {
		feed(p, m)
		p.Advance(m.at)
	}
	if next, ok := p.Next(); !ok || next != 150*ms {
		t.Errorf("next at %v, want the step's 150 ms", next)
	}
	if got := p.Take(); len(got) != 1 || got[0] != (Sighting{Squeeze, Event{Pressed, 100 * ms, 140 * ms}, 100 * ms}) {
		t.Errorf("got %v: the squeeze is known, and nothing was before it", got)
	}
	if p.Reached() != 110*ms {
		t.Errorf("reached %v, want 110 ms: a step is proving itself", p.Reached())
	}
	if sq, st, rep, rest := p.Levels(); sq || !st || rep || !rest {
		t.Error("levels", sq, st, rep, rest)
	}
	p.Advance(150 * ms)
	if got := p.Take(); len(got) != 1 || got[0] != (Sighting{Step, Event{Pressed, 110 * ms, 150 * ms}, 110 * ms}) {
		t.Errorf("got %v", got)
	}
	if !p.Supervised() || !p.Sound() {
		t.Error("not sound")
	}
	p.RestEdge(300*ms, false)
	p.Advance(400 * ms)
	if p.Sound() {
		t.Error("sound without its cable")
	}
	single := NewPanel(false, 0)
	single.RestEdge(100*ms, true)
	single.ReportEdge(200*ms, true)
	if _, _, rep, rest := single.Levels(); single.Supervised() || !single.Sound() || !rep || rest {
		t.Error("a panel with a single contact has no rest contact")
	}
}

// Of two at the same instant the squeeze comes first.
func TestSameInstant(t *testing.T) {
	got := play(trace{{100 * ms, no, true}, {100 * ms, squeeze, true}, {200 * ms, no, false}, {200 * ms, squeeze, false}}, false, paces[0], t.Errorf)
	if len(got) != 4 || got[0].Source != Squeeze || got[1].Source != Report {
		t.Errorf("got %v", got)
	}
}
