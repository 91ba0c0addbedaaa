// SPDX-License-Identifier: Apache-2.0

package contact

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// moves makes a trace of the pair, at rest from 0, from instants in ms at
// which a contact changes its level.
func moves(changes ...any) trace {
	tr := trace{{0, nc, true}}
	level := map[line]bool{nc: true}
	for i := 0; i < len(changes); i += 2 {
		l := changes[i].(line)
		var x float64
		switch v := changes[i+1].(type) {
		case int:
			x = float64(v)
		case float64:
			x = v
		}
		level[l] = !level[l]
		tr = append(tr, move{at(x), l, level[l]})
	}
	return tr
}

func TestPair(t *testing.T) {
	type ev struct {
		kind Kind
		at   float64
	}
	for _, tc := range []struct {
		name string
		tr   trace
		want []ev
	}{
		{"at rest", moves(), nil},
		{"plain report", moves(nc, 500, no, 505, no, 700, nc, 705), []ev{{Pressed, 500}, {Released, 700}}},
		{"report of 20 ms", moves(nc, 500, no, 505, no, 525, nc, 530), []ev{{Pressed, 500}, {Released, 525}}},
		{"report of 19 ms", moves(nc, 500, no, 505, no, 524, nc, 530), []ev{{Doubtful, 500}}},
		{"report of 5 ms", moves(nc, 500, no, 505, no, 510, nc, 515), []ev{{Doubtful, 500}}},
		{"touch of 4 ms", moves(nc, 500, no, 505, no, 509, nc, 515), nil},
		{"both change at once", moves(no, 500, nc, 500, no, 700, nc, 700), []ev{{Pressed, 500}, {Released, 700}}},
		{"slow transit", moves(nc, 500, no, 550, no, 700, nc, 750), []ev{{Pressed, 500}, {Released, 700}}},
		{"slow transit and a short touch", moves(nc, 500, no, 530, no, 552, nc, 582), []ev{{Pressed, 500}, {Released, 552}}},
		{"half a press", moves(nc, 500, nc, 540), nil},
		{"pressed contact with the other still closed, 4 ms", moves(no, 500, no, 504), nil},
		{"the same, 5 ms", moves(no, 500, no, 505), []ev{{Doubtful, 500}}},
		{"the same, 50 ms", moves(no, 500, no, 550), []ev{{Doubtful, 500}}},
		{"the same before a report", moves(no, 500, nc, 530, nc, 700, no, 710), []ev{{Pressed, 500}, {Released, 700}}},
		{"again before it was at rest", moves(nc, 500, no, 500, no, 520, no, 546, no, 600, nc, 605), []ev{{Pressed, 500}, {Released, 520}, {Pressed, 546}, {Released, 600}}},
		{"held", moves(nc, 500, no, 505, no, 3500, nc, 3505), []ev{{Pressed, 500}, {Held, 500}, {Released, 3500}}},

		{"cable out", moves(nc, 500), []ev{{CableOpen, 500}}},
		{"cable out for 51 ms", moves(nc, 500, nc, 551), []ev{{CableOpen, 500}, {CableSound, 551}}},
		{"cable out while pressed", moves(nc, 500, no, 505, no, 700), []ev{{Pressed, 500}, {CableOpen, 700}, {Released, 700}}},
		{"short", moves(no, 500), []ev{{CableShort, 500}}},
		{"short for 51 ms", moves(no, 500, no, 551), []ev{{CableShort, 500}, {CableSound, 551}}},
		{"report after the fault", moves(nc, 500, no, 600, no, 700, nc, 710), []ev{{CableOpen, 500}, {Pressed, 600}, {CableSound, 600}, {Released, 700}}},
		{"flapping cable", moves(nc, 500, nc, 510, nc, 530, nc, 540, nc, 560, nc, 570, nc, 590, nc, 600), []ev{{CableOpen, 500}, {CableSound, 600}}},
		{"contact broken: the other still reports", moves(nc, 500, no, 1000, no, 1200), []ev{{CableOpen, 500}, {Pressed, 1000}, {CableSound, 1000}, {CableOpen, 1200}, {Released, 1200}}},
	} {
		var got []ev
		for _, s := range play(tc.tr, true, paces[2], t.Errorf) {
			got = append(got, ev{s.Kind, float64(s.At) / float64(ms)})
		}
		ok := len(got) == len(tc.want)
		for i := 0; ok && i < len(got); i++ {
			ok = got[i] == tc.want[i]
		}
		if !ok {
			t.Errorf("%s: got %v, want %v", tc.name, got, tc.want)
		}
	}
}

func TestUnpluggedFromTheStart(t *testing.T) {
	w := play(nil, true, paces[1], t.Errorf)
	if len(w) != 1 || w[0].Kind != CableOpen || w[0].At != 0 || w[0].Known > 51*ms {
		t.Errorf("got %v", w)
	}
}

// A cable that flaps, out or short, without ever being legal for longer than
// chatter is found within 100 ms of its first illegal edge.
func TestFlappingCable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := rapid.SampledFrom([]line{no, nc}).Draw(t, "line")
		from := between(t, 200*ms, 600*ms, "from")
		tr := trace{{0, nc, true}}
		closed := l == no
		for x := from; x < from+300*ms; {
			tr = append(tr, move{x, l, closed})
			x += between(t, 0, 60*ms, "bad")
			tr = append(tr, move{x, l, !closed})
			x += between(t, 0, MaxChatter-time.Microsecond, "good")
		}
		want := CableOpen
		if l == no {
			want = CableShort
		}
		for _, s := range play(tr, true, paces[0], t.Fatalf) {
			if s.Kind == want && s.At == from && s.Known <= from+100*ms {
				return
			}
		}
		t.Fatalf("not found: %v", tr)
	})
}

// Whatever both wires do, a pair that is never legal for longer than chatter
// is a fault within 100 ms, or the button was reported on the way.
func TestFlappingWires(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := between(t, 200*ms, 600*ms, "from")
		tr := trace{{0, nc, true}, {from, nc, false}}
		levels := map[line]bool{}
		legal, x := false, from
		for x < from+400*ms {
			longest := 60 * ms
			if legal {
				longest = MaxChatter - time.Microsecond
			}
			x += between(t, 0, longest, "dt")
			l := rapid.SampledFrom([]line{no, nc}).Draw(t, "line")
			levels[l] = !levels[l]
			legal = levels[no] != levels[nc]
			tr = append(tr, move{x, l, levels[l]})
		}
		for _, s := range play(tr, true, paces[0], t.Fatalf) {
			fault := s.Kind == CableOpen || s.Kind == CableShort
			if fault && s.Known <= from+100*ms || (s.Kind == Pressed || s.Kind == Doubtful) && s.At <= from+100*ms {
				return
			}
		}
		t.Fatalf("not found: %v", tr)
	})
}

// A pair that flips without end, if only for an instant in between both ways,
// is a cable that flaps; nothing is kept waiting for it (play holds that).
func TestFlippingPair(t *testing.T) {
	tr := moves()
	for x := 510.; x < 1500; x += 20 {
		tr = append(tr, moves(no, x, nc, x, no, x+0.3, nc, x+0.3)[1:]...)
	}
	var kinds []Kind
	for _, s := range play(tr, true, paces[1], t.Errorf) {
		kinds = append(kinds, s.Kind)
	}
	if !slices.Equal(kinds, []Kind{CableShort, Chatters, CableSound}) {
		t.Errorf("got %v", kinds)
	}
}

// A touch of the pair that is too long for noise is doubtful at least.
func TestTouchOfPairIsNeverLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := between(t, ReportGrade.Doubt, CableGrace, "length")
		tr := trace{{0, nc, true}}
		first := at(500)
		if full := rapid.Bool().Draw(t, "full"); full {
			// Both ways with the touch between stay within one changeover.
			there := between(t, 0, CableGrace, "there")
			back := between(t, 0, min(CableGrace, flapLimit-there), "back")
			if length < ReportGrade.Sure {
				back = max(0, back-length)
			}
			tr = append(tr, move{first, nc, false}, move{first + there, no, true},
				move{first + there + length, no, false}, move{first + there + length + back, nc, true})
			if length >= ReportGrade.Sure {
				length = -1
			}
		} else {
			tr = append(tr, move{first, no, true}, move{first + length, no, false})
		}
		want := Doubtful
		if length < 0 {
			want = Pressed
		}
		var found []Sighting
		for _, s := range same(t, tr, true) {
			if s.Kind == Pressed || s.Kind == Doubtful {
				found = append(found, s)
			}
		}
		if len(found) != 1 || found[0].Kind != want || found[0].At != first {
			t.Fatalf("got %v, want %v at %v: %v", found, want, first, tr)
		}
	})
}

func TestNoise(t *testing.T) {
	for _, tc := range []struct {
		name                  string
		tr                    trace
		squeeze, step, report int
	}{
		{"levels at the start", moves(), 0, 0, 0},
		{"spikes", moves(nc, 0.5, nc, 1, squeeze, 100, squeeze, 101, step, 200, step, 203, step, 204, step, 205, no, 400, no, 401), 2, 4, 4},
		{"plain presses", moves(nc, 500, no, 545, no, 700, nc, 745, squeeze, 1000, squeeze, 1100), 0, 0, 0},
		{"plain doubts", moves(nc, 500, no, 505, no, 515, nc, 560, squeeze, 1000, squeeze, 1030), 0, 0, 0},
		{"a doubt of the one contact", moves(no, 500, no, 510, no, 512, no, 513), 0, 0, 2},
		{"a report with chatter", moves(nc, 500, nc, 501, nc, 502, no, 505, no, 700, no, 701, no, 702, nc, 710), 0, 0, 4},
	} {
		p := NewPanel(true, 0)
		for _, m := range tc.tr {
			feed(p, m)
		}
		p.Advance(5 * time.Second)
		a, b, c := p.NoiseOf(Squeeze), p.NoiseOf(Step), p.NoiseOf(Report)
		if a != tc.squeeze || b != tc.step || c != tc.report || p.Noise() != a+b+c {
			t.Errorf("%s: noise %d, %d, %d, together %d; want %d, %d, %d", tc.name, a, b, c, p.Noise(), tc.squeeze, tc.step, tc.report)
		}
	}
}
