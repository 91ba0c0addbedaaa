// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/device/bulb/bulbsim"
)

// The bands of what truly left the bulb, as a share of a flat squeeze. What lies
// between almost and whole may be counted or doubted.
const (
	touch  = 0.05
	almost = 0.70
	whole  = 0.95
	// slow is a push of less than some half the speed of the calibration's (of
	// 180 ms): counted or doubted, not missed.
	slow = 300 * ms
)

var bands = []string{"under 5 %", "5-70 %", "70-95 %", "flat", "flat, slow"}

func band(share float64) int {
	switch {
	case share < touch:
		return 0
	case share < almost:
		return 1
	case share < whole:
		return 2
	}
	return 3
}

// A table counts verdicts by truth.
type table struct {
	n       [5][6]int // flattened, shallow, unfilled, doubted, touched, none
	n2      int
	extra   int // verdicts that belong to no squeeze, or a second one
	highest float64
	lowest  float64
	late    []time.Duration
	odd     []string // flat squeezes not counted, in words
}

var verdicts = []string{"counted", "shallow", "unfilled", "doubted", "touched", "nothing"}

func column(k Kind) int {
	switch k {
	case Flattened:
		return 0
	case Shallow:
		return 1
	case Unfilled:
		return 2
	case Doubted:
		return 3
	case Touched:
		return 4
	}
	return -1
}

func (t *table) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-10s", "truly")
	for _, v := range verdicts {
		fmt.Fprintf(&b, "%9s", v)
	}
	for i, row := range t.n {
		fmt.Fprintf(&b, "\n%-10s", bands[i])
		for _, n := range row {
			fmt.Fprintf(&b, "%9d", n)
		}
	}
	fmt.Fprintf(&b, "\nto no squeeze: %d; least volume counted %.3f; greatest not counted %.3f", t.extra, t.lowest, t.highest)
	return b.String()
}

// score gives each verdict to the squeeze in which it began.
func (t *table) score(b *bench, events []Event, from int) {
	if t.lowest == 0 {
		t.lowest = 9
	}
	got := make([]int, len(b.out))
	for i := range got {
		got[i] = 5
	}
	j := from
	for _, e := range events {
		c := column(e.Kind)
		if c < 0 {
			continue
		}
		if c == 0 { // what was pushed last made it flat
			e.Begun = max(e.Begun, e.FlatAt-4*period)
		}
		for j+1 < len(b.out) && b.hand[j+1].At-2*period <= e.Begun {
			j++
		}
		switch {
		case c == 4 && got[j] < 4: // a touch beside the squeeze
		case b.hand[j].At > e.Begun+2*period || got[j] < 4 && c < 4:
			t.extra++
			if c == 0 {
				t.n2++
			}
		default:
			got[j] = c
		}
		if c > 0 && b.share(j) >= whole && c < 4 && b.hand[j].Push <= slow {
			t.odd = append(t.odd, fmt.Sprintf("%.3f %v: %+v; hand %v after %v %.2f", b.share(j), e.Kind, e, b.hand[j], b.hand[j-1], b.share(j-1)))
		}
		if c == 0 {
			t.late = append(t.late, e.Known-b.hand[j].At)
		}
	}
	for i := from; i < len(b.out); i++ {
		s := b.share(i)
		k := band(s)
		if k == 3 && b.hand[i].Push > slow {
			k = 4
		}
		t.n[k][got[i]]++
		if got[i] >= 4 && s >= whole {
			t.odd = append(t.odd, fmt.Sprintf("%.3f nothing or a touch at %v after %v %.2f", s, b.hand[i], b.hand[i-1], b.share(i-1)))
		}
		if got[i] == 0 {
			t.lowest = min(t.lowest, s)
		} else {
			t.highest = max(t.highest, s)
		}
	}
}

// hand makes the movements of n squeezes from an instant on.
func hand(b *bench, from time.Duration, n int) time.Duration {
	at := from
	for i := 0; i < n; {
		// A group is of one pace: up to 5 a second, or slow.
		beat := 200*ms + time.Duration(b.r.Int64N(int64(1800*ms)))
		if b.r.IntN(3) == 0 {
			beat = 200*ms + time.Duration(b.r.Int64N(int64(150*ms)))
		}
		for range 5 + b.r.IntN(10) {
			s := bulbsim.Squeeze{At: at, Depth: 1}
			s.Push = time.Duration(float64(beat) * (0.30 + 0.15*b.r.Float64()))
			s.Push = min(max(s.Push, 70*ms), 500*ms)
			s.Hold = time.Duration(float64(beat) * 0.1 * b.r.Float64())
			s.Release = min(max(40*ms, time.Duration(float64(beat)*0.15*b.r.Float64())), 200*ms)
			next := at + max(beat, s.Push+s.Hold+s.Release/2+70*ms) + time.Duration(b.r.Int64N(int64(30*ms)))
			switch b.r.IntN(20) {
			case 0, 1, 2: // shallow
				s.Depth = 0.01 + 0.49*b.r.Float64()
			case 3, 4: // between
				s.Depth = 0.5 + 0.5*b.r.Float64()
			case 5: // again before it has filled
				next = at + s.Push + s.Hold + time.Duration(b.r.Int64N(int64(120*ms)))
			case 6: // held
				s.Hold += time.Duration(b.r.Int64N(int64(3 * second)))
				next += s.Hold
			}
			b.squeeze(s)
			at = next
			i++
		}
		at += time.Duration(b.r.Int64N(int64(1500 * ms)))
	}
	return at + second
}

// hands lets n hands squeeze 200 times each, each on a bulb, jet, valve and
// sensor of its own, with offset, noise and drift.
func hands(t *testing.T, n int, seed uint64, change func(*bulbsim.Make)) table {
	var all table
	refused := 0
	for i := range n {
		b := newBench(seed + uint64(i))
		vary := func(low, high float64) float64 { return low + (high-low)*b.r.Float64() }
		m := bulbsim.Usual()
		m.Volume *= vary(0.8, 1.15)
		m.Jet *= vary(0.9, 1.4)
		m.Valve *= vary(0.9, 1.5)
		m.Recoil *= vary(0.8, 1.4)
		m.Left = vary(0.1, 0.3)
		m.Leak = m.Jet * vary(0, 0.1)
		m.Backflow = m.Jet * vary(0, 0.05)
		if change != nil {
			change(&m)
		}
		b.bulb = bulbsim.NewBulb(m)
		b.gauge.Noise = vary(2, 8)
		b.gauge.Rest = vary(-150, 150)
		b.gauge.Drift = vary(-0.3, 0.3)
		p, err := b.calibrate()
		if err != nil {
			t.Logf("hand %d: calibration refused: %v", i, err)
			refused++
			continue
		}
		d := NewDetector(p)
		b.run(b.now+2*second, d.Add)
		from := len(b.hand)
		end := hand(b, b.now+period, 200)
		b.run(end, d.Add)
		events := d.Take()
		var one table
		one.score(b, events, from)
		all.score(b, events, from)
		if one.wrong() > 0 || one.n[3][0] < sum(one.n[3]) || one.n[4][4]+one.n[4][5] > 0 {
			t.Logf("hand %d: %+v\n%+v\n%v\n%s", i, m, p, &one, strings.Join(one.odd, "\n"))
		}
	}
	if refused*40 > n+40 {
		t.Errorf("%d calibrations refused", refused)
	}
	if all.wrong() > 0 {
		t.Errorf("%d shallow squeezes counted", all.wrong())
	}
	if n := all.n[4][4] + all.n[4][5]; n > 0 {
		t.Errorf("%d slow flat squeezes without a word", n)
	}
	slices.Sort(all.late)
	t.Logf("\n%v\nknown after the hand began to close: median %v, 99 %% within %v", &all, all.late[len(all.late)/2], all.late[len(all.late)*99/100])
	return all
}

// wrong is the number of counts too many.
func (t *table) wrong() int { return t.n[0][0] + t.n[1][0] + t.n2 }

// TestHands: 24,000 squeezes of 120 hands, 2,400 under the race detector.
func TestHands(t *testing.T) {
	n, least := 120, 20_000
	if underRace {
		n, least = 12, 2_000
	}
	all := hands(t, n, 1, nil)
	total := 0
	for _, row := range all.n {
		total += sum(row)
	}
	if total < least {
		t.Errorf("only %d squeezes", total)
	}
	if missed := sum(all.n[3]) - all.n[3][0]; missed > 0 {
		t.Errorf("%d flat squeezes not counted", missed)
	}
}

// TestViscous: a jet that does not follow the orifice equation all the way. At
// the peaks of the calibration some 10 and 20 % of the resistance are laminar.
func TestViscous(t *testing.T) {
	n := 20
	if underRace {
		n = 4
	}
	for _, v := range []float64{2e6, 4e6} {
		all := hands(t, n, 1000, func(m *bulbsim.Make) { m.Viscous = v })
		if n := sum(all.n[3]); all.n[3][0]*100 < n*97 {
			t.Errorf("only %d of %d flat squeezes counted", all.n[3][0], n)
		}
	}
}

func sum(row [6]int) (n int) {
	for _, x := range row {
		n += x
	}
	return n
}
