// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"cmp"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/tests/kernel/vm"
)

var presses = flag.Int("presses", 300, "bouncing presses of the counting test; 10000 take 12 minutes")

// counted is what a reader in the guest made of the presses.
type counted struct {
	Reader                              string
	Pressed                             []int // on each contact
	Doubtful, Chatters, Edges, Repeated int
	Lost                                []string
	Lag                                 time.Duration
	LagWorst                            time.Duration `json:"lag_worst"`
	Starved                             time.Duration
	Counts                              struct{ Edges, Merged, Missed, Lost uint64 }
}

func (c counted) String() string {
	return fmt.Sprintf("%s: %v pressed on each contact, %d doubtful, %d times called chattering, %d changes of level, %d levels repeated, lost %d, its own count %+v; a change came %.2f ms after its instant (median), %.1f ms (worst)",
		c.Reader, c.Pressed, c.Doubtful, c.Chatters, c.Edges, c.Repeated, len(c.Lost), c.Counts, inMS(c.Lag), inMS(c.LagWorst))
}

// right: every press of a batch counted once.
func (c counted) right() bool {
	return c.Doubtful == 0 && !slices.ContainsFunc(c.Pressed, func(n int) bool { return n != batch })
}

// add sums up, all but the lags' median.
func (c *counted) add(g counted) {
	c.Reader = g.Reader
	for i, n := range g.Pressed {
		if i == len(c.Pressed) {
			c.Pressed = append(c.Pressed, 0)
		}
		c.Pressed[i] += n
	}
	c.Doubtful += g.Doubtful
	c.Chatters += g.Chatters
	c.Edges += g.Edges
	c.Repeated += g.Repeated
	c.Lost = append(c.Lost, g.Lost...)
	c.LagWorst = max(c.LagWorst, g.LagWorst)
	c.Counts = g.Counts // of the reader since it began
}

func inMS(d time.Duration) float64 { return float64(d) / 1e6 }

// A rhythm presses several contacts at a time, as a person does whose contacts
// bounce: 4 to 5 presses a second on each, each closed for 40 to 60 % of its time, make and break chattering
// for 0.2 to 20 ms (the contract bears 25) with up to 8 changes there and back.
type rhythm struct {
	*rand.Rand
	lines []int
}

// next is one press on every line, each line with chatter of its own, and how
// long it is until the press after it.
func (r rhythm) next() (moves []vm.Move, length time.Duration) {
	length = time.Duration(200+20*r.Float64()) * time.Millisecond
	hold := time.Duration(float64(length) * (0.4 + 0.2*r.Float64()))
	for _, l := range r.lines {
		for _, end := range []struct {
			at   time.Duration
			high bool
		}{{5 * time.Millisecond, false}, {5*time.Millisecond + hold, true}} {
			chatter := time.Duration(0.2 * math.Exp(r.Float64()*math.Log(100)) * 1e6)
			moves = append(moves, vm.Bounce(r.Rand, end.at, l, end.high, r.IntN(9), chatter)...)
		}
	}
	slices.SortStableFunc(moves, func(a, b vm.Move) int { return cmp.Compare(a.At, b.At) })
	return moves, length
}

const (
	batch = 10 // presses after which the counts are compared
	// A machine that stood still for so long has made other contacts of those
	// that the hand moved: a press is closed for 80 ms at least, chatters for up
	// to 20 of them, and what is closed for less than 40 is in doubt.
	stoodStill = 15 * time.Millisecond
)

// countPresses: every bouncing press counts once, with either reader, on four
// contacts of each at the same time. A batch that the default reader miscounted
// while the machine stood still proves nothing; it is told and made again. What
// periph's reader made of such a one stands in the sum.
func countPresses(t *testing.T, m *vm.Machine) {
	readers := []struct {
		name  string
		lines []int
	}{{"kernel", []int{0, 1, 2, 3}}, {"periph", []int{4, 5, 6, 7}}} // the default first
	const contacts = 4
	r := rhythm{Rand: rand.New(rand.NewPCG(3, 5))}
	var ask []map[string]any
	for _, k := range readers {
		r.lines = append(r.lines, k.lines...)
		ask = append(ask, map[string]any{"reader": k.name, "lines": k.lines})
	}
	for _, l := range r.lines {
		if err := m.Set(l, true); err != nil {
			t.Fatal(err)
		}
	}
	c, err := m.Call("count", ask)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.Next(nil); err != nil {
		t.Fatal(err)
	}
	all := make([]counted, len(readers))
	lags := make([][]time.Duration, len(readers))
	made, done, void, start := 0, 0, 0, time.Now()
	var worst time.Duration
	for done < *presses {
		late := time.Duration(0)
		for range batch {
			moves, length := r.next()
			made += len(moves)
			begun := time.Now()
			by, err := m.Play(moves)
			if err != nil {
				t.Fatal(err)
			}
			late = max(late, by)
			time.Sleep(length - time.Since(begun))
		}
		time.Sleep(300 * time.Millisecond) // until the last is settled
		if err := c.Tell("how many"); err != nil {
			t.Fatal(err)
		}
		still := late
		got := make([]counted, len(readers))
		for i := range readers {
			if err := c.Next(&got[i]); err != nil {
				t.Fatal(err)
			}
			still = max(still, got[i].Starved)
		}
		worst = max(worst, still)
		excused := still > stoodStill
		if excused && !got[0].right() {
			void++
			t.Logf("after %d presses: the machine stood still for %.1f ms; %s counted %v and doubted %d, %s %v and %d, of %d on each contact", done, inMS(still),
				readers[0].name, got[0].Pressed, got[0].Doubtful, readers[1].name, got[1].Pressed, got[1].Doubtful, batch)
			if void > *presses/batch+10 {
				t.Fatal("the machine stands still too often to press anything")
			}
			continue
		}
		done += batch * contacts
		for i, g := range got {
			all[i].add(g)
			lags[i] = append(lags[i], g.Lag)
			if !g.right() && !excused {
				t.Errorf("%s counted %v and doubted %d of %d presses on each contact: %s", g.Reader, g.Pressed, g.Doubtful, batch, strings.Join(g.Lost, "; "))
			}
		}
		if done%1000 == 0 {
			t.Logf("%d presses after %v, %d batches made again", done, time.Since(start).Round(time.Second), void)
		}
	}
	t.Logf("%d presses on %d contacts, %.1f a second on each with pauses, %d line changes for each reader; the machine stood still for %.1f ms at worst; %d batches of %d on each contact were made again",
		done, contacts, float64(done/contacts+void*batch)/time.Since(start).Seconds(), made/len(readers), inMS(worst), void, batch)
	for i := range all {
		slices.Sort(lags[i])
		all[i].Lag = quantile(lags[i], .5)
		t.Log(all[i])
	}
}
