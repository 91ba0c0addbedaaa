// SPDX-License-Identifier: Apache-2.0

package session

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/device"
)

// A pushed squeeze is one that a sensor at the bulb tells: its push from its
// begin on, and when it is known what it was, after so long, a closure: sure,
// doubtful, or none for a touch.
type pushed struct {
	at, known, closed time.Duration
}

func (p pushed) edges() []device.Edge {
	out := []device.Edge{{At: p.at, Line: device.Push, Closed: true}}
	if p.closed > 0 {
		out = append(out, device.Edge{At: p.known, Line: device.Squeeze, Closed: true})
	}
	out = append(out, device.Edge{At: p.known, Line: device.Push})
	if p.closed > 0 {
		out = append(out, device.Edge{At: p.known + p.closed, Line: device.Squeeze})
	}
	return out
}

const (
	sure   = 100 * ms
	doubt  = 30 * ms
	touch  = 0
	inPush = 250 * ms // a report, since the push began
)

func reported(at time.Duration) []device.Edge {
	return []device.Edge{
		{At: at, Line: device.TasteNC}, {At: at, Line: device.TasteNO, Closed: true},
		{At: at + 200*ms, Line: device.TasteNO}, {At: at + 200*ms, Line: device.TasteNC, Closed: true},
	}
}

// feedAll gives edges in the order of their instants.
func (b *bench) feedAll(edges ...[]device.Edge) {
	all := slices.Concat(edges...)
	slices.SortStableFunc(all, func(x, y device.Edge) int { return int(min(1, max(-1, x.At-y.At))) })
	for _, e := range all {
		b.Edge(e)
	}
}

// The same eleven squeezes and the same report give the same bin, whether a pedal
// tells of the eleventh at its first edge or a sensor when it has been pushed,
// after the report. A push of which nothing comes makes no squeeze.
func TestBinOfASqueezeInItsPush(t *testing.T) {
	begun := 17 * time.Second
	for _, c := range []struct {
		name           string
		eleventh       []device.Edge
		bin            int
		sure, doubtful int
	}{
		{"pedal", []device.Edge{{At: begun, Line: device.Squeeze, Closed: true}, {At: begun + 300*ms, Line: device.Squeeze}}, 20, 11, 0},
		{"sensor, flat", pushed{begun, begun + 300*ms, sure}.edges(), 20, 11, 0},
		{"sensor, flat and held", pushed{begun, begun + 300*ms, 3 * time.Second}.edges(), 20, 11, 0},
		{"sensor, shallow", pushed{begun, begun + 1100*ms, doubt}.edges(), 20, 10, 1},
		{"sensor, a touch", pushed{begun, begun + 1100*ms, touch}.edges(), 10, 10, 0},
		{"sensor, after the report", pushed{begun + inPush + 1, begun + 600*ms, sure}.edges(), 10, 10, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			b.to(procedure.Screening)
			for i := range 10 {
				b.press(begun-time.Duration(10-i)*1200*ms, device.Squeeze)
			}
			b.feedAll(c.eleventh, reported(begun+inPush))
			b.Advance(begun + 2*time.Second)
			s := b.State()
			if s.Bin != c.bin || s.SureAtBin != c.sure || s.ScreenDoubt != c.doubtful || s.BinAt != begun+inPush {
				t.Errorf("bin %d after %d sure and %d doubtful, set at %v; want %d, %d, %d, at %v", s.Bin, s.SureAtBin, s.ScreenDoubt, s.BinAt, c.bin, c.sure, c.doubtful, begun+inPush)
			}
			if c.sure > 10 && s.Screening[10] != begun {
				t.Errorf("the eleventh is dated %v, begun at %v", s.Screening[10], begun)
			}
		})
	}
}

// What a person at a page says waits for a push that began before it, as for a
// contact that is proving itself; so does the end after squeeze thirty.
func TestWhatWaitsForAPush(t *testing.T) {
	b := newBench(t)
	b.to(procedure.Screening)
	begun := 17 * time.Second
	for i := range 10 {
		b.press(begun-time.Duration(10-i)*1200*ms, device.Squeeze)
	}
	b.Edge(device.Edge{At: begun, Line: device.Push, Closed: true})
	b.Input(procedure.Input{At: begun + 100*ms, Do: procedure.DoSaidAloud})
	b.Advance(begun + 900*ms)
	if s := b.State(); s.Stage != procedure.Screening {
		t.Fatalf("said aloud in a push: %s at once", s.Stage)
	}
	b.feedAll(pushed{begun, begun + time.Second, doubt}.edges()[1:])
	b.Advance(begun + 1200*ms)
	if s := b.State(); s.Bin != 20 || s.BinAt != begun+100*ms {
		t.Errorf("bin %d, at %v", s.Bin, s.BinAt)
	}

	b = newBench(t)
	b.to(procedure.Screening)
	for i := range 30 {
		b.press(3*time.Second+time.Duration(i)*time.Second, device.Squeeze)
	}
	end := 42 * time.Second // ten seconds after squeeze thirty
	b.feedAll(pushed{end - 200*ms, end + 300*ms, touch}.edges()[:1], reported(end-100*ms))
	b.Advance(end + 200*ms)
	if v := b.State().Verdict; v != nil {
		t.Fatalf("%+v before the push was told", v)
	}
	b.feedAll(pushed{end - 200*ms, end + 300*ms, touch}.edges()[1:])
	b.Advance(end + time.Second)
	if s := b.State(); s.Verdict != nil || s.Bin != 30 {
		t.Errorf("a report before the end: bin %d, %+v", s.Bin, s.Verdict)
	}
}

// Who stops for the person waits for no push, since the run is not valid whatever
// comes of it.
func TestStopForThePersonWaitsForNoPush(t *testing.T) {
	at := 10 * time.Second
	for name, before := range map[string][]procedure.Verb{
		"alone":                   nil,
		"after a step":            {procedure.DoGoOn},
		"after a word":            {procedure.DoSaidAloud},
		"after a word of the box": {procedure.DoClockStepped},
		"after several":           {procedure.DoClockStepped, procedure.DoSaidAloud, procedure.DoGoOn},
	} {
		b := newBench(t)
		b.to(procedure.Screening)
		b.press(5*time.Second, device.Squeeze)
		b.Edge(device.Edge{At: at, Line: device.Push, Closed: true})
		for i, v := range before {
			b.Input(procedure.Input{At: at + time.Duration(50+i)*ms, Do: v})
		}
		b.Advance(at + 90*ms)
		b.Input(procedure.Input{At: at + 100*ms, Do: procedure.DoWelfare})
		if next, ok := b.Next(); !ok || next > at+100*ms {
			t.Errorf("%s: the run asks for no instant before %v, %t", name, next, ok)
		}
		b.Advance(at + 101*ms)
		if o, r := b.verdict(); o != procedure.NotValid || r != procedure.StoppedForWelfare {
			t.Errorf("%s: %q %q", name, o, r)
		}
		b.feedAll(pushed{at, at + 300*ms, sure}.edges()[1:])
		b.Advance(at + time.Second)
		if s := b.State(); s.Bin != 0 || len(s.Screening) != 1 || s.Verdict.Reason != procedure.StoppedForWelfare {
			t.Errorf("%s: what had waited changed the run: bin %d, %d squeezes, %+v", name, s.Bin, len(s.Screening), s.Verdict)
		}
	}
}

// The report is known before a squeeze that began before it where another contact
// is still proving itself: it waits all the same.
func TestReportBetweenAPushAndItsSqueeze(t *testing.T) {
	b := newBench(t)
	b.to(procedure.Screening)
	b.press(5*time.Second, device.Squeeze)
	known := 10 * time.Second
	step := []device.Edge{}
	for i := range 20 { // a step contact that crackles
		step = append(step, device.Edge{At: known - 5*ms + time.Duration(i)*10*ms, Line: device.Step, Closed: i%2 == 0})
	}
	b.feedAll(pushed{known - 500*ms, known, sure}.edges(), step, []device.Edge{
		{At: known - 20*ms, Line: device.TasteNC}, {At: known + 25*ms, Line: device.TasteNO, Closed: true},
		{At: known + 300*ms, Line: device.TasteNO}, {At: known + 300*ms, Line: device.TasteNC, Closed: true},
	})
	b.Advance(known + time.Second)
	if s := b.State(); s.SureAtBin != 2 || s.BinAt != known-20*ms {
		t.Errorf("the bin was set at %v after %d squeezes", s.BinAt, s.SureAtBin)
	}
}

// A push that had begun when the sensitivity test began gave some of its mist in
// it: it counts, at the begin of the test.
func TestPushBegunBeforeTheTest(t *testing.T) {
	b := newBench(t)
	at := 990 * ms
	b.feedAll(pushed{at, at + 400*ms, sure}.edges(), []device.Edge{{At: time.Second, Line: device.Step, Closed: true}, {At: 1100 * ms, Line: device.Step}})
	b.Advance(3 * time.Second)
	if s := b.State(); s.Stage != procedure.Screening || len(s.Screening) != 1 || s.Screening[0] != time.Second {
		t.Errorf("%s, squeezes at %v", s.Stage, s.Screening)
	}
}

// In a dose a squeeze counts when it is known that it was one, never at its begin;
// one whose push began before the dose was open counts nowhere and is doubtful.
func TestPushAtTheEdgeOfADose(t *testing.T) {
	whole := func(b *bench, n int, from time.Duration) {
		for i := range n {
			at := from + time.Duration(i)*time.Second
			b.feedAll(pushed{at, at + 200*ms, sure}.edges())
		}
	}
	t.Run("begun before the initial dose", func(t *testing.T) {
		b := newBench(t)
		b.to(procedure.Donning)
		at := 331 * time.Second
		b.feedAll(pushed{at - 100*ms, at + 300*ms, sure}.edges(), []device.Edge{{At: at, Line: device.Step, Closed: true}, {At: at + 100*ms, Line: device.Step}})
		b.Advance(at + time.Second)
		if s := b.State(); s.Stage != procedure.Dosing || len(s.Initial.Given) != 0 || s.Initial.Doubtful != 1 {
			t.Fatalf("%s, %+v", s.Stage, s.Initial)
		}
		whole(b, 10, at+2*time.Second)
		b.Advance(at + 13*time.Second)
		if s := b.State(); s.Stage != procedure.Running || *s.Clock != at+11*time.Second+200*ms {
			t.Errorf("%s, the clock runs from %v", s.Stage, s.Clock)
		}
	})
	open := 55 * time.Second // of the second top-up, on the run clock, as the first one's window shuts
	for _, c := range []struct {
		name     string
		first    int // squeezes of the first top-up before
		at       time.Duration
		known    time.Duration
		verdict  procedure.Reason
		doubtful int // in the second top-up
	}{
		{"given too late for the window in which it began", 4, open - 200*ms, open + 200*ms, procedure.TopUpShort, 0},
		{"begun before the window", 5, open - 200*ms, open + 200*ms, "", 1},
		{"in time", 4, open - 400*ms, open - 100*ms, "", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			b.to(procedure.Running)
			whole(b, c.first, b.t0+30*time.Second)
			b.feedAll(pushed{b.t0 + c.at, b.t0 + c.known, sure}.edges())
			b.Advance(b.t0 + open + time.Second)
			if _, r := b.verdict(); r != c.verdict {
				t.Fatalf("the run ended as %q, want %q", r, c.verdict)
			}
			up := b.State().TopUp(2)
			if len(up.Given) != 0 || up.Doubtful != c.doubtful {
				t.Errorf("the second top-up: %+v", up)
			}
		})
	}
}

// A report in the fit test waits for no push: whatever comes of it, the run has
// failed.
func TestReportInTheFitTestWaitsForNoPush(t *testing.T) {
	b := newBench(t)
	b.to(procedure.Running)
	at := b.t0 + 31*time.Second
	b.feedAll(pushed{at, at + time.Second, sure}.edges()[:1], reported(at + 100*ms)[:2])
	b.Advance(at + 125*ms)
	if o, r := b.verdict(); o != procedure.Fail || r != procedure.Tasted {
		t.Errorf("%s %s", o, r)
	}
}

// What a run says does not depend on when it is asked: with pushes as with
// contacts, the facts are the same in big steps and in small ones.
func TestPushesInAnySteps(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 5))
		some := func(low, high time.Duration) time.Duration { return low + time.Duration(r.Int64N(int64(high-low))) }
		var edges [][]device.Edge
		at := 3 * time.Second
		for range 8 + r.IntN(8) {
			p := pushed{at: at, closed: []time.Duration{sure, doubt, touch}[r.IntN(3)]}
			p.known = at + some(60*ms, 1200*ms)
			edges = append(edges, p.edges())
			at = p.known + some(200*ms, 600*ms)
		}
		edges = append(edges, reported(some(at-3*time.Second, at)))
		run := func(step func() time.Duration) string {
			b := newBench(t)
			b.press(time.Second, device.Step)
			all := slices.Concat(edges...)
			slices.SortStableFunc(all, func(x, y device.Edge) int { return int(min(1, max(-1, x.At-y.At))) })
			for _, e := range all {
				for n := step(); n > 0 && b.Now()+n < e.At; n = step() {
					b.Advance(b.Now() + n)
				}
				b.Edge(e)
			}
			b.Advance(at + 5*time.Second)
			facts, _ := b.Take()
			for i := 1; i < len(facts); i++ {
				if facts[i].At < facts[i-1].At {
					t.Errorf("seed %d: %+v after %+v", seed, facts[i], facts[i-1])
				}
			}
			if b.State().Bin == 0 && len(b.State().Screening) > 0 && b.State().Screening[0] < at-3*time.Second {
				t.Errorf("seed %d: no bin", seed)
			}
			return fmt.Sprintf("%+v", facts[1:])
		}
		big := run(func() time.Duration { return 0 })
		for range 3 {
			if small := run(func() time.Duration { return some(1, 90*ms) }); small != big {
				t.Fatalf("seed %d:\n%s\n%s", seed, big, small)
			}
		}
	}
}
