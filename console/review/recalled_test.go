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

var clogged = record.Recalled{Why: "nebuliser found clogged", At: "2026-09-14T16:00:00Z", Quality: "confirmed", By: "Agnes Thorley"}

// A recalled run is shown as one: first thing, and after its verdict.
func TestARecalledRunEndsWithItsRecall(t *testing.T) {
	b := passed(t)
	plain, err := review.Of(b.facts, "ab12")
	if err != nil {
		t.Fatal(err)
	}
	if plain.Outcome != procedure.Pass || plain.Recalled != nil {
		t.Fatalf("not recalled: %s, %+v", plain.Outcome, plain.Recalled)
	}
	s, err := review.OfNow(b.facts, "ab12", &clogged)
	if err != nil {
		t.Fatal(err)
	}
	if c := s.Recalled; s.Outcome != procedure.NotValid || s.Reason != procedure.MistCheckFailed || c == nil || c.Outcome != procedure.Pass || c.By != clogged.By {
		t.Errorf("%s %s, recalled %+v", s.Outcome, s.Reason, s.Recalled)
	}
	end := s.At(s.LengthMS)
	if v := end.Verdict; v == nil || v.Outcome != procedure.NotValid || v.Reason != procedure.MistCheckFailed || v.Next == "proof" {
		t.Errorf("at the end it shows %+v", v)
	}
	if v := s.At(plain.LengthMS - 1000).Verdict; v == nil || v.Outcome != procedure.Pass {
		t.Errorf("at its own end it shows %+v, and pages showed a pass then", v)
	}
	last := s.Moments[len(s.Moments)-1]
	if last.Kind != "recalled" || last.Key != "pass" || last.AtMS < plain.LengthMS || last.AtMS >= s.LengthMS {
		t.Errorf("the last moment is %+v", last)
	}

	m := s.WithoutNames()
	text, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	if m.Recalled == nil || m.Recalled.At != "2026-09-14" || strings.Contains(string(text), clogged.By) || s.Recalled.By != clogged.By {
		t.Errorf("without names: %+v", m.Recalled)
	}
}

// A proof that nobody answered is remarked on, and changes nothing.
func TestAProofWithoutAnAnswerIsRemarkedOn(t *testing.T) {
	b := passed(t)
	at := b.facts[len(b.facts)-1].At
	s, err := review.Of(append(b.facts, procedure.Dated{At: at + 1_000_000_000, Fact: procedure.ProofBegun{}}), "")
	if err != nil {
		t.Fatal(err)
	}
	if m := s.Moments[len(s.Moments)-1]; m.Kind != "proof" || m.Key != "not_answered" || s.Outcome != procedure.Pass {
		t.Errorf("%+v, %s", m, s.Outcome)
	}
}

// passed is the first of the plays that comes to a pass, up to it.
func passed(t *testing.T) *table {
	t.Helper()
	for i, p := range plays {
		if p.outcome == procedure.Pass {
			b, _ := played(t, i, 1)
			end := slices.IndexFunc(b.facts, func(f procedure.Dated) bool { return f.Fact.Kind() == (procedure.Ended{}).Kind() })
			b.facts = b.facts[:end+1]
			return b
		}
	}
	t.Fatal("no play comes to a pass")
	return nil
}
