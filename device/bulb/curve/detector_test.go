// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"math"
	"slices"
	"testing"
	"time"

	"tallyhood/device/bulb/bulbsim"
)

// rig is a calibrated bulb that has come to rest.
func rig(t *testing.T, seed uint64) (*bench, *Detector) {
	t.Helper()
	b := newBench(seed)
	p, err := b.calibrate()
	if err != nil {
		t.Fatal(err)
	}
	d := NewDetector(p)
	b.run(b.now+2*second, d.Add)
	want(t, d.Take(), Sound)
	return b, d
}

func kinds(events []Event) []Kind {
	var out []Kind
	for _, e := range events {
		if e.Kind != Filled {
			out = append(out, e.Kind)
		}
	}
	return out
}

func want(t *testing.T, events []Event, k ...Kind) {
	t.Helper()
	if !slices.Equal(kinds(events), k) {
		t.Fatalf("got %v, want %v: %+v", kinds(events), k, events)
	}
}

func TestFlatSqueeze(t *testing.T) {
	b, d := rig(t, 1)
	at := b.now + 100*ms
	b.squeeze(bulbsim.Squeeze{At: at, Push: 150 * ms, Hold: 400 * ms, Release: 80 * ms, Depth: 1})
	b.run(at+2*second, d.Add)
	e := d.Take()
	want(t, e, Flattened, Squeezed)
	f, s := e[0], e[1]
	near := func(what string, got, wanted, by time.Duration) {
		if got < wanted-by || got > wanted+by {
			t.Errorf("%s at %v, want %v", what, got-at, wanted-at)
		}
	}
	near("begun", s.Begun, at, 15*ms)
	near("flat", f.FlatAt, at+140*ms, 15*ms)
	near("released", s.Released, at+550*ms, 15*ms)
	if f.Known != f.FlatAt || s.FlatAt != f.FlatAt || s.Known < s.Released {
		t.Errorf("instants contradict: %+v", e)
	}
	if math.Abs(s.Volume-1) > 0.05 || f.Before != 1 || s.Peak < 1000 {
		t.Errorf("volume %.2f, before %.2f, peak %.0f", s.Volume, f.Before, s.Peak)
	}
	if d.Fill() < 0.9 {
		t.Errorf("not full afterwards: %.2f", d.Fill())
	}
}

// TestHalves: two halves with a release between that cannot be seen are no
// whole, nor is a whole in two parts with a long pause.
func TestHalves(t *testing.T) {
	b, d := rig(t, 2)
	at := b.now + 100*ms
	b.squeeze(bulbsim.Squeeze{At: at, Push: 150 * ms, Hold: 100 * ms, Release: 4 * second, Depth: 0.5})
	b.run(at+6*second, d.Add)
	want(t, d.Take(), Shallow)
	at = b.now
	b.squeeze(bulbsim.Squeeze{At: at, Push: 150 * ms, Hold: 500 * ms, Release: 80 * ms, Depth: 0.5})
	b.squeeze(bulbsim.Squeeze{At: at + 400*ms, Push: 150 * ms, Hold: 100 * ms, Release: 80 * ms, Depth: 1})
	b.run(at+2*second, d.Add)
	for _, e := range d.Take() {
		if e.Kind == Flattened {
			t.Errorf("half and half counted: %+v", e)
		}
	}
	b.squeeze(flat(b.now+50*ms, 150*ms))
	b.run(b.now+second, d.Add)
	want(t, d.Take(), Flattened, Squeezed)
}

// TestSmoothStages: a push in two stages without letting go is one squeeze.
func TestSmoothStages(t *testing.T) {
	b, d := rig(t, 3)
	at := b.now + 100*ms
	b.squeeze(bulbsim.Squeeze{At: at, Push: 120 * ms, Hold: 300 * ms, Release: 80 * ms, Depth: 0.5})
	b.squeeze(bulbsim.Squeeze{At: at + 130*ms, Push: 120 * ms, Hold: 100 * ms, Release: 80 * ms, Depth: 1})
	b.run(at+2*second, d.Add)
	want(t, d.Take(), Flattened, Squeezed)
}

// TestUnfilled: the hand is fast and the valve is slow.
func TestUnfilled(t *testing.T) {
	b, d := rig(t, 4)
	at := b.now + 100*ms
	b.squeeze(bulbsim.Squeeze{At: at, Push: 80 * ms, Hold: 20 * ms, Release: 40 * ms, Depth: 1})
	b.squeeze(bulbsim.Squeeze{At: at + 110*ms, Push: 80 * ms, Hold: 20 * ms, Release: 40 * ms, Depth: 1})
	b.run(at+2*second, d.Add)
	e := d.Take()
	want(t, e, Flattened, Squeezed, Unfilled)
	if s := b.share(len(b.hand) - 1); s > 0.8 || math.Abs(e[len(e)-2].Volume-s) > 0.15 {
		t.Errorf("expelled %.2f, told %+v", s, e)
	}
	b.squeeze(flat(b.now, 100*ms))
	b.run(b.now+second, d.Add)
	want(t, d.Take(), Flattened, Squeezed)
}

// TestHeld: a bulb held flat for long is neither drift nor a second squeeze.
func TestHeld(t *testing.T) {
	b, d := rig(t, 5)
	at := b.now + 100*ms
	b.squeeze(bulbsim.Squeeze{At: at, Push: 150 * ms, Hold: 20 * second, Release: 80 * ms, Depth: 1})
	b.run(at+10*second, d.Add)
	want(t, d.Take(), Flattened)
	if d.Fill() > 0.05 {
		t.Errorf("held flat and filled to %.2f", d.Fill())
	}
	b.run(at+22*second, d.Add)
	want(t, d.Take(), Squeezed)
}

// TestTouches: movements that are no squeezes. What is not told of them stays
// under half a bulb.
func TestTouches(t *testing.T) {
	b, d := rig(t, 6)
	for i := range 20 {
		b.squeeze(bulbsim.Squeeze{At: b.now + time.Duration(i)*500*ms, Push: 30 * ms, Hold: 50 * ms, Release: 60 * ms, Depth: 0.01 + 0.003*float64(i)})
	}
	before, touches, doubts := b.bulb.Expelled(), 0, 0
	for range 11 {
		b.run(b.now+second, d.Add)
		for _, e := range d.Take() {
			switch e.Kind {
			case Touched:
				touches++
			case Doubted:
				doubts++
			case Filled:
			default:
				t.Errorf("%+v", e)
			}
		}
		if out := (b.bulb.Expelled() - before) / b.bulb.Full(); out > 0.75+float64(doubts)*0.75 || doubts > 0 && out < 0.45 {
			t.Errorf("%d doubts when the touches had expelled %.2f of a bulb", doubts, out)
		}
	}
	if touches < 13 || doubts != 1 {
		t.Errorf("%d touches, %d doubts", touches, doubts)
	}
}

// A bulb squeezed flat too slowly for the pressure to stand out is not counted,
// and not without a word.
func TestGentle(t *testing.T) {
	for _, push := range []time.Duration{1500 * ms, 2 * second, 4 * second} {
		for _, hold := range []time.Duration{0, 200 * ms, 2 * second} {
			b, d := rig(t, 6)
			at := b.now + 100*ms
			b.squeeze(bulbsim.Squeeze{At: at, Push: push, Hold: hold, Release: 80 * ms, Depth: 1})
			b.run(at+push+hold+3*second, d.Add)
			want(t, d.Take(), Doubted)
			if d.Pushing() {
				t.Error("pushing at rest")
			}
		}
	}
	// Where it stands out a little, nothing passes it until the filling has told,
	// or there has been a rest.
	for _, c := range []struct {
		push  time.Duration
		stood int     // at least so many of 20
		most  float64 // expelled by then
	}{{1200 * ms, 20, 0.4}, {1400 * ms, 10, 0.8}} {
		stood, most := 0, 0.0
		for seed := range uint64(20) {
			b, d := rig(t, seed)
			at := b.now + 100*ms
			b.squeeze(bulbsim.Squeeze{At: at, Push: c.push, Release: 80 * ms, Depth: 1})
			var since time.Duration
			before, rested := b.bulb.Expelled(), false
			b.run(at+4*second, func(s Sample) {
				d.Add(s)
				rested = rested || since > 0 && d.flow.still() >= restAfter
				switch {
				case rested:
				case d.Pushing() && since == 0:
					since = s.At
					most = max(most, (b.bulb.Expelled()-before)/b.bulb.Full())
				case !d.Pushing() && since > 0 && !slices.ContainsFunc(d.out, func(e Event) bool { return e.Kind == Doubted || e.Kind == Shallow }):
					t.Fatalf("seed %d: pushing since %v, and not any more at %v, with nothing told", seed, since-at, s.At-at)
				}
			})
			if since > 0 {
				stood++
			}
		}
		if stood < c.stood || most > c.most {
			t.Errorf("%d of 20 pushes of %v stood out, the last after %.2f of a bulb", stood, c.push, most)
		}
	}
}

// A push is told before much of the bulb has left it, and until it is known
// what it is; a bulb at rest, held or filling is not being pushed.
func TestPushing(t *testing.T) {
	for _, h := range []bulbsim.Squeeze{
		{Push: 80 * ms, Hold: 100 * ms, Release: 80 * ms, Depth: 1},
		{Push: 300 * ms, Hold: 50 * ms, Release: 80 * ms, Depth: 1},
		{Push: 900 * ms, Hold: 50 * ms, Release: 80 * ms, Depth: 1},
		{Push: 200 * ms, Hold: 600 * ms, Release: 80 * ms, Depth: 0.6},
		{Push: 200 * ms, Hold: 3 * second, Release: 80 * ms, Depth: 0.6},
		{Push: 40 * ms, Hold: 50 * ms, Release: 60 * ms, Depth: 0.05},
	} {
		b, d := rig(t, 9)
		h.At = b.now + 100*ms
		b.squeeze(h)
		before, pushing, told := b.bulb.Expelled(), false, false
		b.run(h.End()+2*second, func(s Sample) {
			out := (b.bulb.Expelled() - before) / b.bulb.Full()
			d.Add(s)
			for _, e := range d.Take() {
				told = told || e.Kind != Filled
			}
			if !told && out > 0.2 && !d.Pushing() {
				t.Errorf("%+v: %.2f expelled, and no push told", h, out)
			}
			if d.Pushing() && (told || s.At < h.At) {
				t.Errorf("%+v: pushing at %v, told %v", h, s.At-h.At, told)
			}
			pushing = pushing || d.Pushing()
		})
		if !pushing || !told {
			t.Errorf("%+v: pushing %v, told %v", h, pushing, told)
		}
	}
}

// TestDrift: the offset wanders by 200 Pa in ten minutes of work.
func TestDrift(t *testing.T) {
	for _, way := range []float64{-1, 1} {
		b, d := rig(t, 7)
		b.gauge.Rest -= way * 0.35 * b.now.Seconds()
		b.gauge.Drift = way * 0.35
		n := 0
		for at := b.now + 100*ms; at < 600*second; at += 4 * second {
			for i := range 5 {
				b.squeeze(flat(at+time.Duration(i)*400*ms, 150*ms))
				n++
			}
		}
		b.run(601*second, d.Add)
		got, drifted := 0, 0
		for _, e := range d.Take() {
			switch e.Kind {
			case Flattened:
				got++
			case Drifted:
				drifted++
			case Squeezed, Filled:
			default:
				t.Errorf("%+v", e)
			}
		}
		if got != n || drifted == 0 || math.Abs(d.Rest()-b.gauge.Rest-b.gauge.Drift*b.now.Seconds()) > 10 {
			t.Errorf("%d of %d counted, %d remarks of drift, rest level %.0f", got, n, drifted, d.Rest())
		}
	}
}

// TestSteps: the offset jumps, at rest, when held and while the bulb fills. No
// squeeze is made up, and after a while all is as before.
func TestSteps(t *testing.T) {
	for _, jump := range []float64{-600, -200, -60, -30, 30, 60, 200, 600} {
		for _, when := range []time.Duration{-second, 200 * ms, 420 * ms} {
			b, d := rig(t, 8)
			at := b.now + 2*second
			b.squeeze(bulbsim.Squeeze{At: at, Push: 150 * ms, Hold: 200 * ms, Release: 80 * ms, Depth: 1})
			b.run(at+when, d.Add)
			b.gauge.Rest += jump
			b.run(at+8*second, d.Add)
			got := 0
			for _, e := range d.Take() {
				if e.Kind == Flattened {
					got++
				}
			}
			if got > 1 {
				t.Errorf("jump of %v Pa at %v: %d counted", jump, when, got)
			}
			if math.Abs(d.Rest()-b.gauge.Rest) > 15 {
				t.Errorf("jump of %v Pa at %v: rest level %.0f, is %.0f", jump, when, d.Rest(), b.gauge.Rest)
			}
			b.squeeze(flat(b.now+50*ms, 150*ms))
			b.run(b.now+second, d.Add)
			want(t, d.Take(), Flattened, Squeezed)
		}
	}
}

// TestGrain: sensors of 14 and 12 bits, with noise below their steps and
// none at all, and a jump of the offset that such a sensor shows as one level.
func TestGrain(t *testing.T) {
	for _, grain := range []float64{5.26, 21} {
		for _, noise := range []float64{0, 1, 6} {
			b := newBench(18)
			b.gauge.Grain, b.gauge.Noise = grain, noise
			p, err := b.calibrate()
			if err != nil {
				t.Fatalf("steps of %v Pa, noise %v: %v", grain, noise, err)
			}
			d := NewDetector(p)
			b.run(b.now+3*second, d.Add)
			want(t, d.Take(), Sound)
			for _, jump := range []float64{0, 300} {
				b.gauge.Rest += jump
				b.run(b.now+20*second, d.Add)
				d.Take()
				for i := range 10 {
					depth := 1.0
					if i == 5 {
						depth = 0.6
					}
					b.squeeze(bulbsim.Squeeze{At: b.now + time.Duration(i)*700*ms, Push: 160 * ms, Hold: 30 * ms, Release: 80 * ms, Depth: depth})
				}
				b.run(b.now+9*second, d.Add)
				n := map[Kind]int{}
				for _, e := range d.Take() {
					n[e.Kind]++
				}
				if n[Flattened] != 9 || n[Shallow] != 1 || n[Stuck]+n[Doubted]+n[Unfilled]+n[OutOfRange] > 0 {
					t.Errorf("steps of %v Pa, noise %v, after a jump of %v Pa: %v", grain, noise, jump, n)
				}
			}
		}
	}
}

// TestStart: the offset is another one than at the calibration, and somebody has
// the bulb in hand at first.
func TestStart(t *testing.T) {
	for _, offset := range []float64{-900, -120, 0, 50, 900} {
		b := newBench(17)
		p, err := b.calibrate()
		if err != nil {
			t.Fatal(err)
		}
		b.gauge.Rest += offset
		d := NewDetector(p)
		for i := range 5 {
			b.squeeze(flat(b.now+time.Duration(i)*600*ms, 150*ms))
		}
		b.run(b.now+3*second, d.Add)
		want(t, d.Take())
		b.run(b.now+2*second, d.Add)
		want(t, d.Take(), Sound)
		b.squeeze(flat(b.now, 150*ms))
		b.run(b.now+second, d.Add)
		want(t, d.Take(), Flattened, Squeezed)
		if math.Abs(d.Rest()-b.gauge.Rest) > 5 {
			t.Errorf("rest level %.0f, is %.0f", d.Rest(), b.gauge.Rest)
		}
	}
}

func TestGap(t *testing.T) {
	b, d := rig(t, 9)
	from := b.now + second
	b.skip = func(at time.Duration) bool { return at > from && at < from+200*ms }
	b.squeeze(flat(from+second, 150*ms)) // rested again by then? not yet
	b.squeeze(flat(from+4*second, 150*ms))
	b.run(from+6*second, d.Add)
	want(t, d.Take(), Gap, Doubted, Flattened, Squeezed)

	// Single readings lost at rest are nothing; in a squeeze they spoil it.
	b.skip = func(at time.Duration) bool { return at.Milliseconds()%1000 < 20 }
	b.run(b.now+5*second, d.Add)
	want(t, d.Take())
	at := b.now.Truncate(second) + second - 60*ms
	b.squeeze(flat(at, 150*ms))
	b.run(at+800*ms, d.Add)
	want(t, d.Take(), Doubted)
}

// TestMissed: readings are missing for no longer than allowed, and just while
// the bulb is pushed. Its filling tells.
func TestMissed(t *testing.T) {
	b, d := rig(t, 16)
	from := b.now + second
	b.skip = func(at time.Duration) bool { return at > from && at < from+85*ms }
	b.squeeze(bulbsim.Squeeze{At: from + 2*ms, Push: 70 * ms, Release: 40 * ms, Depth: 1})
	b.run(from+2*second, d.Add)
	want(t, d.Take(), Doubted)
}

func TestStuck(t *testing.T) {
	b, d := rig(t, 10)
	freeze := func(long time.Duration) {
		var held *Sample
		b.run(b.now+long, func(s Sample) {
			if held == nil {
				held = &Sample{Pascal: s.Pascal}
			}
			d.Add(Sample{s.At, held.Pascal})
		})
	}
	freeze(1900 * ms)
	want(t, d.Take())
	b.run(b.now+second, d.Add)
	at := b.now
	freeze(2500 * ms)
	e := d.Take()
	want(t, e, Stuck)
	if after := e[0].Known - at; after < 2*second || after > 2200*ms {
		t.Errorf("stuck known after %v", after)
	}
	b.run(b.now+4*second, d.Add)
	want(t, d.Take(), Sound)
	// Frozen under pressure it is known sooner.
	b.squeeze(flat(b.now, 150*ms))
	b.run(b.now+80*ms, d.Add)
	d.Take()
	freeze(600 * ms)
	want(t, d.Take(), Doubted, Stuck)
	b.run(b.now+4*second, d.Add)
	b.squeeze(flat(b.now, 150*ms))
	b.run(b.now+second, d.Add)
	want(t, d.Take(), Sound, Flattened, Squeezed)
}

func TestOutOfRange(t *testing.T) {
	for _, wrong := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 34474, -34474, 1e9} {
		b, d := rig(t, 11)
		b.run(b.now+second, func(s Sample) { d.Add(Sample{s.At, wrong}) })
		b.run(b.now+4*second, d.Add)
		e := slices.DeleteFunc(d.Take(), func(e Event) bool { return e.Kind == Doubted }) // the way to the upper end
		want(t, e, OutOfRange, Sound)
		b.squeeze(flat(b.now, 150*ms))
		b.run(b.now+second, d.Add)
		want(t, d.Take(), Flattened, Squeezed)
	}
	// A short visit to the end of the range is a squeeze that is not to be trusted.
	b, d := rig(t, 12)
	b.squeeze(flat(b.now+100*ms, 45*ms))
	b.run(b.now+second, d.Add)
	want(t, d.Take(), Doubted)
}

// TestClog: with half the jet, half squeezes look whole. Flat ones tell that
// something is wrong, and nothing is counted until the jet is clear.
func TestClog(t *testing.T) {
	b, d := rig(t, 13)
	jet := bulbsim.Usual().Jet

	b.bulb.SetJet(jet * 0.7)
	counted, told := 0, false
	for i := range 30 {
		depth := 1.0
		if i%3 == 2 {
			depth = 0.65
		}
		b.squeeze(bulbsim.Squeeze{At: b.now + 100*ms, Push: 150 * ms, Hold: 30 * ms, Release: 80 * ms, Depth: depth})
		b.run(b.now+second, d.Add)
		for _, e := range d.Take() {
			told = told || e.Kind == Disagrees
			if e.Kind == Flattened && told {
				counted++
			}
		}
	}
	if !told || counted > 0 {
		t.Errorf("told %v, counted %d afterwards", told, counted)
	}
	b.bulb.SetJet(jet)
	var last []Event
	for range 6 {
		b.squeeze(flat(b.now+100*ms, 150*ms))
		b.run(b.now+second, d.Add)
		last = d.Take()
	}
	want(t, last, Flattened, Squeezed)
}

// TestLeak: a hole makes squeezes look small, never large.
func TestLeak(t *testing.T) {
	b, d := rig(t, 14)
	b.bulb.SetLeak(bulbsim.Usual().Jet * 0.5)
	for range 10 {
		b.squeeze(flat(b.now+100*ms, 150*ms))
		b.run(b.now+second, d.Add)
	}
	for _, e := range d.Take() {
		if e.Kind == Flattened {
			t.Errorf("counted with a hole: %+v", e)
		}
	}
}

// TestOrder: a sample of the past changes nothing, and what is told does not
// depend on when it is taken.
func TestOrder(t *testing.T) {
	b, d := rig(t, 15)
	d2 := *d
	b.squeeze(flat(b.now+100*ms, 150*ms))
	var late []Event
	b.run(b.now+second, func(s Sample) {
		d.Add(s)
		d.Add(Sample{s.At - 7*ms, 9999})
		late = append(late, d.Take()...)
		d2.Add(s)
	})
	if all := d2.Take(); !slices.Equal(all, late) || len(all) == 0 {
		t.Errorf("%+v\n%+v", all, late)
	}
}
