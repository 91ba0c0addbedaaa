// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"tallyhood/tests/kernel/vm"
)

// The hand's own moves are what they are called: chatter begins and ends with
// the level meant, changes it each time, and stays within its time; a rhythm
// keeps to the contract of contacts (at most 5 presses a second, chatter of at
// most 25 ms, closed for at least 40 ms beside it).
func TestMoves(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		toggles, within, high := r.IntN(9), time.Duration(1+r.IntN(20))*time.Millisecond, r.IntN(2) == 0
		moves := vm.Bounce(r, time.Second, 5, high, toggles, within)
		if len(moves) != 2*toggles+1 || moves[0].High != high || moves[len(moves)-1].High != high {
			t.Fatalf("%d toggles to %v: %v", toggles, high, moves)
		}
		for i, m := range moves {
			if m.Line != 5 || m.At < time.Second || m.At >= time.Second+within ||
				i > 0 && (m.At < moves[i-1].At || m.High == moves[i-1].High) {
				t.Fatalf("move %d of %v", i, moves)
			}
		}
	}
	rhythm := rhythm{Rand: r, lines: []int{2}}
	for range 2000 {
		moves, length := rhythm.next()
		release := 0
		for i, m := range moves { // the make ends at the last close before the body
			if i > 0 && m.At-moves[i-1].At > moves[release].At-moves[max(release-1, 0)].At {
				release = i
			}
		}
		chatter, body := moves[release-1].At-moves[0].At, moves[release].At-moves[release-1].At
		if end := moves[len(moves)-1]; !end.High || end.At >= length || moves[0].High || moves[release-1].High ||
			length < 200*time.Millisecond || chatter > 25*time.Millisecond || end.At-moves[release].At > 25*time.Millisecond || body < 40*time.Millisecond {
			t.Fatalf("a press of %v: %v", length, moves)
		}
	}
}
