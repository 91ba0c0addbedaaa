// SPDX-License-Identifier: Apache-2.0

package wiring_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/wiring"
)

const ms = time.Millisecond

// The physical contacts, in the order of the lines of a board that is wired well.
const (
	bulb = iota
	pedal
	open   // the button's contact that is open at rest
	closed // and the one that is closed at rest
)

var (
	pair   = []string{"squeeze", "step", "taste_no", "taste_nc"}
	single = []string{"squeeze", "step", "taste"}
)

// A bench is contacts, wires and a person who does what is asked.
type bench struct {
	lines  []string
	reads  func(contacts [4]bool) []bool // the levels of the lines
	bounce time.Duration                 // longest chatter of either edge
	spikes bool
	hold   time.Duration // how long the person presses; 0: until asked to let go
	slow   time.Duration // between the two contacts of the button
	rand   *rand.Rand

	check    *wiring.Check
	contacts [4]bool
	levels   []bool
	now      time.Duration
	asked    []string
}

// put brings the levels to the check, each edge with its chatter.
func (b *bench) put() {
	levels := b.reads(b.contacts)
	type edge struct {
		at     time.Duration
		line   int
		closed bool
	}
	var edges []edge
	for i, l := range levels {
		if l == b.levels[i] {
			continue
		}
		at := b.now
		for end := b.now + time.Duration(b.rand.Int64N(int64(b.bounce)+1)); ; {
			next := at + time.Duration(1+b.rand.Int64N(int64(6*ms)))
			edges = append(edges, edge{at, i, l})
			if next >= end {
				break
			}
			edges = append(edges, edge{at + (next-at)/2, i, !l})
			at = next
		}
	}
	slices.SortStableFunc(edges, func(x, y edge) int { return cmp.Compare(x.at, y.at) })
	for _, e := range edges {
		b.check.Edge(e.at, b.lines[e.line], e.closed)
		b.now = max(b.now, e.at)
	}
	b.levels = levels
}

func (b *bench) wait(d time.Duration) {
	end := b.now + d
	for b.spikes && b.now+40*ms < end {
		b.now += time.Duration(b.rand.Int64N(int64(30 * ms)))
		i := b.rand.IntN(len(b.lines))
		b.check.Edge(b.now, b.lines[i], !b.levels[i])
		b.now += time.Duration(b.rand.Int64N(int64(2*ms) + 1))
		b.check.Edge(b.now, b.lines[i], b.levels[i])
	}
	b.now = end
	b.check.Advance(end)
}

func (b *bench) press(what string, down bool) {
	switch what {
	case "squeeze":
		b.contacts[bulb] = down
	case "step":
		b.contacts[pedal] = down
	default:
		first, second := closed, open
		if !down {
			first, second = open, closed
		}
		b.contacts[first] = down == (first == open)
		b.put()
		b.wait(b.slow)
		b.contacts[second] = down == (second == open)
	}
	b.put()
}

// run lets the person do what is asked until the check ends.
func (b *bench) run(t *testing.T) *wiring.Check {
	t.Helper()
	b.contacts = [4]bool{closed: true}
	b.levels = b.reads(b.contacts)
	b.now = 5 * time.Second
	levels := map[string]bool{}
	for i, l := range b.lines {
		levels[l] = b.levels[i]
	}
	b.check = wiring.New(b.lines, levels, b.now)
	down := ""
	for steps := 0; b.check.Ask() != wiring.Ended; steps++ {
		if steps > 2000 {
			t.Fatal("the check does not end")
		}
		ask := b.check.Ask()
		if len(b.asked) == 0 || b.asked[len(b.asked)-1] != ask {
			b.asked = append(b.asked, ask)
		}
		b.wait(250 * ms)
		what, isPress := strings.CutPrefix(ask, "press_")
		switch {
		case isPress && down != what && b.check.Ask() == ask:
			if down != "" {
				b.press(down, false)
			}
			b.press(what, true)
			down = what
			if b.hold > 0 {
				b.wait(b.hold)
				b.press(what, false)
				down = ""
			}
		case strings.HasPrefix(ask, "let_") && down != "":
			b.press(down, false)
			down = ""
		}
	}
	return b.check
}

func seeded(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 77)) }

// wired makes the reading of lines of which line i hangs on contact on[i].
func wired(on ...int) func([4]bool) []bool {
	return func(c [4]bool) []bool {
		out := make([]bool, len(on))
		for i, k := range on {
			out[i] = c[k]
		}
		return out
	}
}

func words(f []wiring.Finding) string {
	var out []string
	for _, x := range f {
		out = append(out, x.Key+" "+strings.Join(x.Lines, ","))
	}
	slices.Sort(out)
	return strings.Join(out, "; ")
}

// truth says what a reading of the lines must lead to: what they show at rest,
// and which of them differ when one thing is pressed.
func truth(lines []string, reads func([4]bool) []bool) string {
	var out []wiring.Finding
	find := func(key string, lines ...string) { out = append(out, wiring.Finding{Key: key, Lines: lines}) }
	rest := reads([4]bool{closed: true})
	level := func(l string) bool { return rest[slices.Index(lines, l)] }
	if slices.Contains(lines, "taste_no") {
		switch no, nc := level("taste_no"), level("taste_nc"); {
		case no && nc:
			find("cable_short", "taste_no", "taste_nc")
		case no:
			find("nc_and_no_swapped", "taste_no", "taste_nc")
		case !nc:
			find("cable_open", "taste_no", "taste_nc")
		}
	}
	for _, l := range lines {
		if !strings.HasPrefix(l, "taste_") && level(l) {
			find("stuck", l)
		}
	}
	for _, act := range []struct {
		pressed [4]bool
		asked   []string
	}{
		{[4]bool{bulb: true, closed: true}, []string{"squeeze"}},
		{[4]bool{pedal: true, closed: true}, []string{"step"}},
		{[4]bool{open: true}, []string{"taste_no", "taste_nc", "taste"}},
	} {
		var missing, came, extra []string
		for i, l := range lines {
			moved := reads(act.pressed)[i] != rest[i]
			switch asked := slices.Contains(act.asked, l); {
			case asked && moved:
				came = append(came, l)
			case asked:
				missing = append(missing, l)
			case moved:
				extra = append(extra, l)
			}
		}
		switch {
		case len(missing) > 0 && len(extra) > 0:
			find("moved_instead", append(missing, extra...)...)
		case len(missing) > 0 && len(came) > 0:
			find("pair_half", append(missing, came...)...)
		case len(missing) > 0:
			find("did_not_move", missing...)
		case len(extra) > 0:
			find("moved_too", append(came, extra...)...)
		}
	}
	return words(out)
}

func expect(t *testing.T, b *bench, good bool) {
	t.Helper()
	want := truth(b.lines, b.reads)
	if (want == "") != good {
		t.Fatalf("the truth itself is wrong: %q", want)
	}
	c := b.run(t)
	if got := words(c.Found()); got != want {
		t.Errorf("found %q, want %q (asked %v)", got, want, b.asked)
	}
	if c.Passed() != good {
		t.Errorf("passed is %v", c.Passed())
	}
}

func TestGoodWiringPassesWithBounceAndSpikes(t *testing.T) {
	n := 0
	for seed := range uint64(150) {
		for _, hold := range []time.Duration{0, 300 * ms, 500 * ms} {
			for _, slow := range []time.Duration{0, 10 * ms, 200 * ms} {
				for _, lines := range [][]string{pair, single} {
					on := []int{bulb, pedal, open, closed}[:len(lines)]
					b := &bench{lines: lines, reads: wired(on...), bounce: 25 * ms, spikes: seed%2 == 1, hold: hold, slow: slow, rand: seeded(seed)}
					if c := b.run(t); !c.Passed() {
						t.Fatalf("seed %d, hold %v, slow %v, %v: found %v, asked %v", seed, hold, slow, lines, c.Found(), b.asked)
					}
					n++
				}
			}
		}
	}
	t.Logf("%d checks of good wiring, no finding", n)
}

func TestRequestsComeInOrder(t *testing.T) {
	b := &bench{lines: pair, reads: wired(bulb, pedal, open, closed), rand: seeded(1)}
	b.run(t)
	want := []string{"rest", "press_squeeze", "let_squeeze", "press_step", "let_step", "press_button", "let_button"}
	if !slices.Equal(b.asked, want) {
		t.Errorf("asked %v", b.asked)
	}
}

func permutations(n int) [][]int {
	if n == 1 {
		return [][]int{{0}}
	}
	var out [][]int
	for _, p := range permutations(n - 1) {
		for i := range n {
			out = append(out, slices.Insert(slices.Clone(p), i, n-1))
		}
	}
	return out
}

func TestEveryCrossingOfWiresIsFound(t *testing.T) {
	all := 0
	for _, lines := range [][]string{pair, single} {
		for _, p := range permutations(len(lines)) {
			all++
			for _, hold := range []time.Duration{0, 400 * ms} {
				t.Run(fmt.Sprint(p, hold), func(t *testing.T) {
					expect(t, &bench{lines: lines, reads: wired(p...), bounce: 25 * ms, hold: hold, rand: seeded(9)}, slices.IsSorted(p))
				})
			}
		}
	}
	if all != 24+6 {
		t.Errorf("%d permutations", all)
	}
}

func TestEveryBrokenWireIsFound(t *testing.T) {
	for _, lines := range [][]string{pair, single} {
		good := wired([]int{bulb, pedal, open, closed}[:len(lines)]...)
		for i, l := range lines {
			for _, for_ever := range []bool{false, true} {
				t.Run(fmt.Sprintf("%d lines, %s %v", len(lines), l, for_ever), func(t *testing.T) {
					expect(t, &bench{lines: lines, bounce: 25 * ms, rand: seeded(3), reads: func(c [4]bool) []bool {
						out := good(c)
						out[i] = for_ever
						return out
					}}, false)
				})
			}
		}
	}
}

func TestEveryShortBetweenTwoLinesIsFound(t *testing.T) {
	for _, lines := range [][]string{pair, single} {
		good := wired([]int{bulb, pedal, open, closed}[:len(lines)]...)
		for i := range lines {
			for k := range i {
				for name, join := range map[string]func(a, b bool) bool{
					"either closes both": func(a, b bool) bool { return a || b }, "both close both": func(a, b bool) bool { return a && b },
				} {
					t.Run(lines[k]+" "+lines[i]+" "+name, func(t *testing.T) {
						expect(t, &bench{lines: lines, bounce: 25 * ms, rand: seeded(5), reads: func(c [4]bool) []bool {
							out := good(c)
							both := join(out[i], out[k])
							out[i], out[k] = both, both
							return out
						}}, false)
					})
				}
			}
		}
	}
}

func good(at time.Duration) *wiring.Check {
	return wiring.New(pair, map[string]bool{"taste_nc": true}, at)
}

func TestRestTakesTwoSecondsAndARequestTwenty(t *testing.T) {
	c := good(0)
	c.Advance(2059 * ms)
	if c.Ask() != wiring.AskRest {
		t.Fatalf("asks %q before two seconds of standing", c.Ask())
	}
	c.Advance(2060 * ms)
	if c.Ask() != wiring.PressBulb || c.LeftMS() != 20_000 {
		t.Fatalf("asks %q with %d ms left", c.Ask(), c.LeftMS())
	}
	c.Advance(2060*ms + 20*time.Second - 1)
	if c.Ask() != wiring.PressBulb || c.LeftMS() != 1 {
		t.Fatalf("asks %q with %d ms left", c.Ask(), c.LeftMS())
	}
	c.Advance(2060*ms + 20*time.Second)
	if c.Ask() != wiring.PressStep || words(c.Found()) != "did_not_move squeeze" {
		t.Fatalf("asks %q, found %v", c.Ask(), c.Found())
	}
	c.Advance(time.Hour)
	if c.Ask() != wiring.Ended || c.Passed() || c.Left() != 0 || len(c.Found()) != 3 {
		t.Fatalf("asks %q, found %v", c.Ask(), c.Found())
	}
}

func TestAPressThatStaysIsNotLetGo(t *testing.T) {
	c := good(0)
	c.Advance(3 * time.Second)
	c.Edge(4*time.Second, "squeeze", true)
	c.Advance(4*time.Second + 150*ms)
	if c.Ask() != wiring.LetBulb {
		t.Fatalf("asks %q", c.Ask())
	}
	c.Advance(24*time.Second + 151*ms)
	if words(c.Found()) != "not_let_go squeeze" || c.Ask() != wiring.PressStep {
		t.Fatalf("asks %q, found %v", c.Ask(), c.Found())
	}
}

func TestALineThatNeverStandsIsNoisy(t *testing.T) {
	c := good(0)
	for i := range 60 {
		c.Edge(3*time.Second+time.Duration(i)*10*ms, "step", i%2 == 0)
	}
	if words(c.Found()) != "noisy step" {
		t.Errorf("found %v", c.Found())
	}
	c = good(0)
	for i := range 200 { // stands a little, but is never at rest for long
		c.Edge(time.Duration(i)*101*ms, "step", i%2 == 0)
	}
	c.Advance(20 * time.Second)
	if got := words(c.Found()); got != "noisy step" && got != "stuck step" {
		t.Errorf("found %v", c.Found())
	}
}

func TestABriefTapAndASecondSqueezeAreNoFinding(t *testing.T) {
	c := good(0)
	c.Advance(3 * time.Second)
	c.Edge(3100*ms, "squeeze", true)
	c.Edge(3180*ms, "squeeze", false) // too brief to see what else moves with it
	c.Advance(4 * time.Second)
	if c.Ask() != wiring.PressBulb {
		t.Fatalf("asks %q after a tap", c.Ask())
	}
	for _, at := range []time.Duration{5000 * ms, 5500 * ms} {
		c.Edge(at, "squeeze", true)
		c.Edge(at+300*ms, "squeeze", false)
	}
	c.Advance(7 * time.Second)
	if c.Ask() != wiring.PressStep || len(c.Found()) != 0 {
		t.Fatalf("asks %q, found %v", c.Ask(), c.Found())
	}
	c.Stop()
	if c.Ask() != wiring.Ended || c.Passed() {
		t.Error("a check that was stopped has passed")
	}
}

func TestABoardWithoutAButtonCannotPass(t *testing.T) {
	for _, lines := range [][]string{nil, {"squeeze", "step"}, {"step", "taste"}} {
		b := &bench{lines: lines, rand: seeded(1), reads: func(c [4]bool) []bool {
			out := []bool{}
			for _, l := range lines {
				out = append(out, c[map[string]int{"squeeze": bulb, "step": pedal, "taste": open}[l]])
			}
			return out
		}}
		if c := b.run(t); c.Passed() || len(c.Found()) > 0 {
			t.Errorf("%v: passed %v, found %v", lines, c.Passed(), c.Found())
		}
	}
}

// play gives edges made from bytes, and looks every step of time.
func play(data []byte, look time.Duration) (*wiring.Check, map[string]int) {
	c := good(0)
	moves := map[string]int{}
	level := map[string]bool{"taste_nc": true}
	at := time.Duration(0)
	for _, x := range data {
		next := at + time.Duration(x>>2)*time.Duration(x>>2)*ms
		for look > 0 && at+look < next {
			at += look
			c.Advance(at)
		}
		at = next
		l := pair[x&3]
		level[l] = !level[l]
		moves[l]++
		c.Edge(at, l, level[l])
	}
	c.Advance(at + 3*time.Minute)
	return c, moves
}

func FuzzCheck(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{0xfc, 0x58, 0xfd, 0x59, 0xfe, 0x03, 0x5a, 0x03})
	f.Fuzz(func(t *testing.T, data []byte) {
		c, moves := play(data, 0)
		if c.Ask() != wiring.Ended {
			t.Fatalf("still asks %q", c.Ask())
		}
		for _, l := range pair {
			if c.Passed() && moves[l] < 2 {
				t.Fatalf("passed, and %s moved %d times", l, moves[l])
			}
		}
		if again, _ := play(data, 7*ms); !reflect.DeepEqual(c.Found(), again.Found()) || c.Passed() != again.Passed() {
			t.Fatalf("it matters how often one looks: %v, %v", c.Found(), again.Found())
		}
	})
}
