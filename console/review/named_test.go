// SPDX-License-Identifier: Apache-2.0

package review_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/review"
)

// Whose word was what stands beside each remark, and goes where names are left
// out; that a proof was left is told, and its tone sounds.
func TestWhoseWordItWas(t *testing.T) {
	b, _ := played(t, 0, 2)
	last := slices.IndexFunc(b.facts, func(d procedure.Dated) bool { _, is := d.Fact.(procedure.ProofGiven); return is })
	if last < 0 {
		t.Fatal("the run has no proof")
	}
	for why, cue := range map[string]procedure.Cue{procedure.LeftForWelfare: procedure.CueStop, procedure.LeftUndone: procedure.CueGoOn} {
		facts := slices.Clone(b.facts[:last+1])
		facts[last].Fact = procedure.ProofLeft{Why: why, By: "Bram Okafor"}
		for i, f := range facts {
			if c, is := f.Fact.(procedure.Corrected); is {
				c.By = "Bram Okafor"
				facts[i].Fact = c
			}
		}
		o := facts[0].Fact.(procedure.RunOpened)
		o.Try = 2
		facts[0].Fact = o
		facts = slices.Insert(facts, 1, procedure.Dated{At: facts[0].At, Fact: procedure.NameSaid{By: "wearer"}},
			procedure.Dated{At: facts[0].At, Fact: procedure.NameSaid{Yes: true, By: "Bram Okafor"}})
		s, err := review.Of(facts, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []review.Moment{
			{Kind: "remark", Key: record.RemarkTry}, {Kind: "remark", Key: record.RemarkNoKit},
			{Kind: "name_said", Key: "no", By: "wearer"}, {Kind: "name_said", Key: "yes", By: "Bram Okafor"},
			{Kind: "proof", Key: why, By: "Bram Okafor"}, {Kind: "added", Key: "top_up", By: "Bram Okafor"},
		} {
			if n := count(s.Moments, want); n != 1 {
				t.Errorf("%s: %d moments like %+v", why, n, want)
			}
		}
		if n := count(s.Moments, review.Moment{Kind: "proof", Key: record.ProofNotAnswered}); n > 0 {
			t.Errorf("%s: told twice", why)
		}
		if n := count(s.Moments, review.Moment{Kind: "remark", Key: record.RemarkNameless}); n > 0 {
			t.Errorf("%s: the name was confirmed", why)
		}
		at := (facts[len(facts)-1].At - facts[0].At).Milliseconds()
		if !slices.Contains(s.Cues, review.Cue{AtMS: at, Cue: cue}) {
			t.Errorf("%s: %s does not sound at %d ms", why, cue, at)
		}
		if v := s.At(s.LengthMS).Verdict; s.Outcome != procedure.Pass || v == nil || v.Proof != why {
			t.Errorf("%s: %s, %+v", why, s.Outcome, v)
		}
		raw, err := json.Marshal(s.WithoutNames())
		if err != nil || strings.Contains(string(raw), "Okafor") {
			t.Errorf("%s: a name is left in: %v", why, err)
		}
	}
}

// A nebuliser found worthless after the pass is told, its tone sounds, and the
// pass does not stand in what is shown from then on.
func TestAPassUndoneByItsNebuliser(t *testing.T) {
	b, _ := played(t, 0, 2)
	last := slices.IndexFunc(b.facts, func(d procedure.Dated) bool { _, is := d.Fact.(procedure.ProofBegun); return is })
	if last < 0 {
		t.Fatal("the run has no proof")
	}
	facts := slices.Clone(b.facts[:last+1])
	facts[last].Fact = procedure.KitSpoiled{Mark: "S1"}
	s, err := review.Of(facts, "")
	if err != nil {
		t.Fatal(err)
	}
	at := (facts[last].At - facts[0].At).Milliseconds()
	if !slices.Contains(s.Moments, review.Moment{AtMS: at, Kind: "fault", Key: "nebuliser_spoiled", Text: "S1"}) || !slices.Contains(s.Cues, review.Cue{AtMS: at, Cue: procedure.CueNotValid}) {
		t.Errorf("neither told nor heard at %d ms", at)
	}
	if v := s.At(s.LengthMS).Verdict; s.Outcome != procedure.NotValid || s.Reason != procedure.MistCheckFailed || v == nil || v.Outcome != procedure.NotValid {
		t.Errorf("%s %s, %+v", s.Outcome, s.Reason, v)
	}
}

// count is how many moments are of a kind, key and giver.
func count(all []review.Moment, like review.Moment) (n int) {
	for _, m := range all {
		if m.Kind == like.Kind && m.Key == like.Key && m.By == like.By {
			n++
		}
	}
	return n
}
