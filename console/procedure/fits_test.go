// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// A journal that something else wrote may hold facts in any order and with any
// figures. Reading them, and closing the run they leave open, ends in words
// and never in a panic; and without a verdict among them there is no pass.
func TestFactsInAnyOrder(t *testing.T) {
	all := samples(t)
	rules := all[0].(RunOpened).Rules
	rapid.Check(t, func(t *rapid.T) {
		var s State
		if rapid.Bool().Draw(t, "opened") {
			s = New(RunOpened{Run: "R-1", Rules: rules, Supervised: true}, 0)
		}
		at := time.Duration(0)
		stages := rapid.SampledFrom([]Stage{Ready, Screening, Clearing, Donning, Dosing, Running, ProvingButton, Over, ProvingMist, "no such stage"})
		parts := rapid.SampledFrom([]Part{PartScreening, PartInitial, PartTopUp, "no such part"})
		numbers := rapid.SampledFrom([]int{-1 << 31, -1, 0, 1, 7, 13, 14, 1 << 30})
		for range rapid.IntRange(0, 40).Draw(t, "facts") {
			at += time.Duration(rapid.Int64Range(-int64(time.Minute), int64(3*time.Minute)).Draw(t, "later"))
			f := rapid.SampledFrom(all).Draw(t, "fact")
			switch x := f.(type) {
			case Entered:
				f = Entered{stages.Draw(t, "stage")}
			case Squeezed:
				f = Squeezed{parts.Draw(t, "part"), numbers.Draw(t, "top-up")}
			case SqueezedExtra:
				f = SqueezedExtra{numbers.Draw(t, "top-up")}
			case SqueezeDoubted:
				f = SqueezeDoubted{parts.Draw(t, "part")}
			case BinSet:
				f = BinSet{x.Squeezes, x.Doubtful, numbers.Draw(t, "bin")}
			case Corrected:
				f = Corrected{parts.Draw(t, "part"), numbers.Draw(t, "top-up"), rapid.SampledFrom([]int{-1, 1}).Draw(t, "delta"), "why", "who"}
			case Ended:
				continue // a verdict in the journal is what the chain vouches for
			case RunOpened:
				if rapid.Bool().Draw(t, "no rules") {
					x.Rules = RuleSet{}
				}
				f = x
			}
			s = Fold(s, Dated{at, f})
			s.Wake()
			if s.Opened != nil {
				s.RunTime(s.At)
				s.TopUp(1)
			}
		}
		if s.Opened == nil {
			return
		}
		facts, _ := Decide(s, Input{At: s.At, Do: DoPowerLost})
		for _, d := range facts {
			s = Fold(s, d)
		}
		if s.Verdict != nil && s.Verdict.Outcome == Pass {
			t.Fatalf("a pass after the power was lost: %+v", s.Verdict)
		}
	})
}
