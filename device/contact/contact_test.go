// SPDX-License-Identifier: Apache-2.0

package contact

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func at(x float64) time.Duration { return time.Duration(x * float64(ms)) }

// toggled feeds a single contact that changes at instants in ms.
func toggled(g Grade, spaced bool, toggles ...float64) *Single {
	c := NewSingle(g, spaced)
	for i, x := range toggles {
		c.Edge(at(x), i%2 == 0)
	}
	c.Advance(5 * time.Second)
	return c
}

// burst is a fast-transient burst on a contact: 75 spikes of 5 us, 200 us
// apart, in ms.
func burst(from float64) (toggles []float64) {
	for k := range 75 {
		t := from + 0.2*float64(k)
		toggles = append(toggles, t, t+0.005)
	}
	return toggles
}

func TestSingle(t *testing.T) {
	type ev struct {
		kind  Kind
		at    float64
		known float64 // 0: not looked at
	}
	P := func(at, known float64) ev { return ev{Pressed, at, known} }
	D := func(at float64) ev { return ev{Doubtful, at, 0} }
	R := func(at float64) ev { return ev{Released, at, 0} }
	C := ev{Chatters, -1, 0}
	for _, tc := range []struct {
		name    string
		g       Grade
		toggles []float64
		want    []ev
		noise   int
	}{
		{"clean", SqueezeGrade, []float64{100, 200}, []ev{P(100, 140), R(200)}, 0},
		{"exactly sure", SqueezeGrade, []float64{100, 140}, []ev{P(100, 140), R(140)}, 0},
		{"just not sure", SqueezeGrade, []float64{100, 139.999}, []ev{D(100)}, 0},
		{"exactly doubtful", SqueezeGrade, []float64{100, 120}, []ev{D(100)}, 0},
		{"just noise", SqueezeGrade, []float64{100, 119.999}, nil, 2},
		{"longest spike", SqueezeGrade, []float64{100, 102}, nil, 2},
		{"three spikes", SqueezeGrade, []float64{100, 102, 110, 112, 130, 132}, nil, 6},
		{"spike in a press", SqueezeGrade, []float64{100, 125, 127, 145}, []ev{P(100, 140), R(145)}, 2},
		{"gap in a press", SqueezeGrade, []float64{100, 150, 160, 300}, []ev{P(100, 140), C, R(300)}, 0},
		{"burst in a press", SqueezeGrade, append(append([]float64{100}, burst(130)...), 200), []ev{P(100, 0), R(200)}, 150},
		{"burst late in a press", SqueezeGrade, append(append([]float64{100}, burst(250)...), 275), []ev{P(100, 140), R(275)}, 150},
		{"burst in the open", SqueezeGrade, burst(100), nil, 150},
		{"make chatters", SqueezeGrade, []float64{100, 102, 105, 110, 118, 120, 125, 145}, []ev{P(100, 145), R(145)}, 6},
		{"make chatters in long runs", SqueezeGrade, []float64{100, 120, 121, 124, 125, 165}, []ev{P(100, 145), R(165)}, 4},
		{"longest chatter of both edges", SqueezeGrade, []float64{100, 100.1, 125, 165, 189.9, 190}, []ev{P(100, 153), R(165)}, 4},
		{"a spike before a doubt", SqueezeGrade, []float64{100, 102, 122, 147}, []ev{D(100)}, 2},
		{"a spike before noise", SqueezeGrade, []float64{100, 102, 124, 141}, nil, 4},
		{"a spike before the longest doubt that chatter could be", SqueezeGrade, []float64{100, 102, 122, 149.999}, []ev{D(100)}, 2},
		{"short touches", SqueezeGrade, []float64{100, 101, 117, 118, 135, 140.1}, []ev{D(100), C}, 0},
		{"hum of the mains", SqueezeGrade, []float64{100, 110, 120, 130, 140, 150, 160, 170}, []ev{D(100), C}, 0},
		{"interference as long open as closed", SqueezeGrade, func() (on []float64) {
			for x := 100.; x < 200; x += 0.05 {
				on = append(on, x, x+0.025)
			}
			return on
		}(), []ev{D(100), C}, 0},
		{"release chatter does not lift a doubt", SqueezeGrade, []float64{100, 130, 133, 135, 140, 142, 150, 154}, []ev{D(100)}, 6},
		{"release chatter does not lift noise", SqueezeGrade, []float64{100, 115, 118, 123, 126, 130}, nil, 6},
		{"five a second, short", SqueezeGrade, []float64{100, 160, 300, 360, 500, 560}, []ev{P(100, 140), R(160), P(300, 340), R(360), P(500, 540), R(560)}, 0},
		{"five a second", SqueezeGrade, []float64{100, 200, 300, 400, 500, 600}, []ev{P(100, 140), R(200), P(300, 340), R(400), P(500, 540), R(600)}, 0},
		{"five a second, long", SqueezeGrade, []float64{100, 250, 300, 450, 500, 650}, []ev{P(100, 140), R(250), P(300, 340), R(450), P(500, 540), R(650)}, 0},
		{"170 ms apart", SqueezeGrade, []float64{100, 180, 270, 330}, []ev{P(100, 140), R(180), P(270, 310), R(330)}, 0},
		{"165 ms apart", SqueezeGrade, []float64{100, 180, 265, 330}, []ev{P(100, 140), R(180), P(265, 305), R(330)}, 0},
		{"closer than two presses come", SqueezeGrade, []float64{100, 160, 215, 315}, []ev{P(100, 140), R(160), D(215), C}, 0},
		{"164.9 ms apart", SqueezeGrade, []float64{100, 180, 264.9, 330}, []ev{P(100, 140), R(180), D(264.9), C}, 0},
		{"held", SqueezeGrade, []float64{100}, []ev{P(100, 140), {Held, 100, 2100}}, 0},
		{"held and let go", SqueezeGrade, []float64{100, 3000}, []ev{P(100, 140), {Held, 100, 2100}, R(3000)}, 0},

		{"report", ReportGrade, []float64{100, 145}, []ev{P(100, 120), R(145)}, 0},
		{"report exactly sure", ReportGrade, []float64{100, 120}, []ev{P(100, 120), R(120)}, 0},
		{"report doubtful", ReportGrade, []float64{100, 112}, []ev{D(100)}, 0},
		{"report exactly doubtful", ReportGrade, []float64{100, 105}, []ev{D(100)}, 0},
		{"report noise", ReportGrade, []float64{100, 104.999}, nil, 2},
		{"report chattering all along", ReportGrade, []float64{100, 102, 104, 106, 108, 110}, []ev{D(100)}, 4},
		{"report held back by its chatter", ReportGrade, []float64{100, 119, 120, 160}, []ev{P(100, 125), R(160)}, 2},

		{"noise twice", SqueezeGrade, []float64{100, 119, 300, 319, 500, 519}, nil, 6},
		{"a press close after noise", SqueezeGrade, []float64{100, 110, 150, 250}, []ev{P(150, 190), R(250)}, 2},

		// Beyond the contract: never more sure presses than there were.
		{"make chatters for 150 ms", SqueezeGrade, []float64{100, 145, 175, 200, 240, 500}, []ev{P(100, 140), R(145), D(175), C, D(240), C}, 0},
		{"release chatters for 100 ms", SqueezeGrade, []float64{100, 300, 340, 390}, []ev{P(100, 140), R(300), D(340), C}, 0},
		{"release chatters into the next press", SqueezeGrade, []float64{100, 300, 320, 340, 360, 380, 400, 500}, []ev{P(100, 140), C, D(360), D(400), R(500)}, 0},
		{"make in pieces", SqueezeGrade, []float64{100, 112, 150, 165}, []ev{D(150)}, 2},
		{"body that begins late", SqueezeGrade, []float64{100, 103, 120, 122, 140, 142, 160, 180}, []ev{D(100), C}, 0},
		{"press whose body begins late", SqueezeGrade, []float64{100, 103, 120, 122, 140, 142, 160, 210}, []ev{P(100, 200), R(210)}, 6},
		{"spikes before a short closure", SqueezeGrade, []float64{100, 100.1, 124, 124.1, 148, 148.1, 172, 180}, []ev{D(100), C}, 0},
		{"chatters for ever", SqueezeGrade, func() (on []float64) {
			for x := 100.; x < 600; x += 20 {
				on = append(on, x, x+4)
			}
			return on
		}(), []ev{D(100), C}, 0},
	} {
		c := toggled(tc.g, true, tc.toggles...)
		got := c.Take()
		ok := len(got) == len(tc.want)
		for i := 0; ok && i < len(got); i++ {
			w := tc.want[i]
			ok = got[i].Kind == w.kind && (w.at < 0 || got[i].At == at(w.at)) && (w.known == 0 || got[i].Known == at(w.known))
		}
		if !ok {
			t.Errorf("%s: got %v, want %v", tc.name, got, tc.want)
		}
		if rough := slices.ContainsFunc(got, func(e Event) bool { return e.Kind == Chatters }); !rough && c.Noise() != tc.noise {
			t.Errorf("%s: %d noise edges, want %d", tc.name, c.Noise(), tc.noise)
		}
	}
}

func TestRepeatedLevelIsNoise(t *testing.T) {
	c := NewSingle(SqueezeGrade, true)
	c.Edge(0, false)
	c.Edge(at(100), true)
	c.Edge(at(150), true)
	c.Edge(at(200), false)
	c.Advance(time.Second)
	if got := c.Take(); len(got) != 2 || got[0].At != at(100) || got[1].At != at(200) {
		t.Errorf("got %v", got)
	}
	if c.Noise() != 2 {
		t.Errorf("%d noise edges, want 2", c.Noise())
	}
}

// What becomes known was not known before: nothing is found out late.
func TestKnownInTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var f filter
		var edge func(move)
		if rapid.Bool().Draw(t, "pair") {
			p := NewPair(0)
			f, edge = p, func(m move) {
				if m.line == no {
					p.EdgeNO(m.at, m.closed)
				} else {
					p.EdgeNC(m.at, m.closed)
				}
			}
		} else {
			c := NewSingle(rapid.SampledFrom([]Grade{SqueezeGrade, ReportGrade}).Draw(t, "grade"), rapid.Bool().Draw(t, "spaced"))
			f, edge = c, func(m move) { c.Edge(m.at, m.closed) }
		}
		tr := wild(t, []line{no, nc})
		const tick = ms / 2
		for now, last := -tick, tr.end()+rest; now < last; now += tick {
			for len(tr) > 0 && tr[0].at <= now {
				edge(tr[0])
				tr = tr[1:]
			}
			f.Advance(now)
			for _, e := range f.Take() {
				if e.Known <= now-tick || e.Known > now {
					t.Fatalf("%v found out at %v", e, now)
				}
			}
		}
	})
}

// A contact that is known to chatter beyond the contract gives one sure press
// at most for a closure, with bounce as long as the longest published for a
// working switch at either edge.
func TestOutlierIsNeverTwo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := toggled(SqueezeGrade, true, 100, 300, 310, 345)
		c.Take()
		var tr trace
		first := 10 * time.Second
		const longest = 160 * ms
		hold := between(t, longest+minHold, 500*ms, "hold")
		chattering(t, &tr, squeeze, first, true, longest)
		chattering(t, &tr, squeeze, first+hold, false, longest)
		for _, m := range tr {
			c.Edge(m.at, m.closed)
		}
		c.Advance(first + hold + rest)
		sure, doubt := 0, 0
		for _, e := range c.Take() {
			switch e.Kind {
			case Pressed:
				sure++
			case Doubtful:
				doubt++
			}
		}
		if sure > 1 || sure+doubt == 0 {
			t.Fatalf("%d sure and %d doubtful presses: %v", sure, doubt, tr)
		}
	})
}

// A contact that was seen to chatter beyond the contract is mistrusted for the
// presses after it, and trusted again in the end.
func TestMistrust(t *testing.T) {
	// A closure of 60 ms that begins 80 ms after a release could be a press in
	// the contract or the bounce of an outlier.
	pair := func(from float64) []float64 { return []float64{from, from + 300, from + 380, from + 440} }
	sure := func(c *Single) (n int) {
		for _, e := range c.Take() {
			if e.Kind == Pressed {
				n++
			}
		}
		return n
	}
	if n := sure(toggled(SqueezeGrade, true, pair(100)...)); n != 2 {
		t.Errorf("trusted: %d presses, want 2", n)
	}
	rough := append([]float64{100, 300, 310, 335}, pair(1000)...)
	if n := sure(toggled(SqueezeGrade, true, rough...)); n != 2 {
		t.Errorf("mistrusted: %d sure presses, want 2 of the 3", n)
	}
	x := 1000.
	for range waryFor {
		rough = append(rough[:len(rough):len(rough)], x, x+300)
		x += 1000
	}
	c := NewSingle(SqueezeGrade, true)
	rough = append([]float64{100, 300, 310, 335}, rough[8:]...)
	for i, x := range append(rough, pair(x)...) {
		c.Edge(at(x), i%2 == 0)
	}
	c.Advance(at(x) + 5*time.Second)
	if n := sure(c); n != 1+waryFor+2 {
		t.Errorf("trusted again: %d presses, want %d", n, 1+waryFor+2)
	}
}

// What a clean closure is graded, by its length.
func TestGrades(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SampledFrom([]Grade{SqueezeGrade, ReportGrade}).Draw(t, "grade")
		first, length := between(t, 0, time.Second, "first"), between(t, 0, 100*ms, "length")
		c := NewSingle(g, rapid.Bool().Draw(t, "spaced"))
		c.Edge(first, true)
		c.Edge(first+length, false)
		c.Advance(first + length + settled)
		over := first + length + settled
		var want []Event
		switch {
		case length >= g.Sure:
			want = []Event{{Pressed, first, first + g.Sure}, {Released, first + length, over}}
		case length >= g.Doubt:
			want = []Event{{Doubtful, first, over}}
		}
		if got := c.Take(); !slices.Equal(got, want) {
			t.Fatalf("%v long: got %v, want %v", length, got, want)
		}
	})
}

// A touch of the button that is too long for noise is never lost, whatever its
// chatter.
func TestTouchIsNeverLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var tr trace
		length := between(t, 10*ms, 100*ms, "length")
		chattering(t, &tr, no, at(500), true, min(MaxChatter, length-ReportGrade.Doubt))
		chattering(t, &tr, no, at(500)+length, false, MaxChatter)
		found := 0
		for _, s := range play(tr, false, paces[0], t.Fatalf) {
			if s.Kind == Pressed || s.Kind == Doubtful {
				found++
			}
			if s.At < at(500) {
				t.Fatalf("%v", s)
			}
		}
		if found != 1 {
			t.Fatalf("%d findings for a touch of %v: %v", found, length, tr)
		}
	})
}

// A report that chatter breaks up into short closures all along is in doubt, a
// pedal's closure like it is none: what is dangerous differs.
func TestReportInPieces(t *testing.T) {
	for _, tc := range []struct {
		name    string
		toggles []float64
		doubt   bool
	}{
		{"three pieces under 5 ms in 28.8 ms", []float64{100, 104.9, 110, 114.8, 124, 128.8}, true},
		{"seven pieces, 28 of 36.5 ms", []float64{100, 104.9, 106, 110.9, 112, 116.5, 117.6, 122, 123.5, 127.8, 129.9, 132.4, 134, 136.5}, true},
		{"two touches", []float64{100, 103, 112, 115}, false},
		{"three touches within a report's time", []float64{100, 103.5, 106, 109.5, 112, 115.5}, false},
		{"spikes", []float64{100, 101, 108, 109, 118, 119, 128, 129}, false},
	} {
		got := toggled(ReportGrade, false, tc.toggles...).Take()
		if doubt := len(got) > 0 && got[0].Kind == Doubtful && got[0].At == at(100); doubt != tc.doubt || !doubt && len(got) > 0 {
			t.Errorf("%s: got %v", tc.name, got)
		}
	}
	if got := toggled(SqueezeGrade, true, 100, 104.9, 110, 114.8, 124, 128.8).Take(); len(got) > 0 {
		t.Errorf("of a pedal: got %v", got)
	}
}
