// SPDX-License-Identifier: Apache-2.0

package drill

import (
	"slices"

	"tallyhood/console/procedure"
)

// A Trouble is something that goes wrong by the script.
type Trouble struct {
	Key string `json:"key"`
	// Stage in which it comes.
	Stage procedure.Stage `json:"stage"`
	// Sees is the key of what the tester sees or hears; for the words see the page.
	Sees string `json:"sees"`
	// Right is the verb of the right reaction; empty: there is none to give.
	Right procedure.Verb `json:"right"`
	// ByS is the time for it in seconds; 0: until the run goes on.
	ByS float64 `json:"by_s"`
	// Outcome and Reason of a run that the right reaction ends; empty: it goes on.
	Outcome procedure.Outcome `json:"outcome"`
	Reason  procedure.Reason  `json:"reason"`
	// Rule is where it stands that this matters.
	Rule string `json:"rule"`

	// From and To, in seconds after its stage began, are the times at which it comes.
	from, to float64
}

const (
	ruleNotValid = "29 CFR 1910.134 App. A, Part I.B; OSHA letter of 18 March 2015: an interrupted run may not be continued"
	ruleTaste    = "29 CFR 1910.134 App. A, Part I.B.3/B.4 (b): any taste at any moment is a fail"
	ruleBefore   = "29 CFR 1910.134 App. A, Part I.A and I.B.3/B.4 (a); INDG479 rev 1"
	ruleDose     = "29 CFR 1910.134 App. A, Part I.B.3/B.4 (b): every 30 seconds half the initial number again"
	ruleClear    = "common practice: rinse, and wait until the taste is gone"
	ruleWear     = "29 CFR 1910.134 App. A, Part I.A: worn at least five minutes before the test"
	ruleKit      = "29 CFR 1910.134 App. A, Part I.B.3/B.4: the strong solution in another, marked nebuliser"
	rulePerson   = "29 CFR 1910.134 (m)(2): the record names the person who was tested"
	ruleWelfare  = "house limit: nobody is harmed; 29 CFR 1910.134 App. A, Part I.A: stop when breathing is hard"
	ruleHouse    = "house limit"
)

// Troubles are data: when each comes, what is right, and by when. The times for a
// reaction are house limits [H].
var Troubles = []Trouble{
	{Key: "other_name", Stage: procedure.Ready, Sees: "says_name", Right: "name_said", Rule: rulePerson, from: 1, to: 2},
	{Key: "chewed_gum", Stage: procedure.Ready, Sees: "ate", Right: procedure.DoAbstained, Rule: ruleBefore, from: 1, to: 2},
	{Key: "beard", Stage: procedure.Ready, Sees: "answers_no", Right: procedure.DoAnswer, Rule: ruleBefore, from: 1, to: 2},
	{Key: "wrong_nebuliser", Stage: procedure.Ready, Sees: "hands_strong", Right: procedure.DoAnswer, Rule: ruleKit, from: 1, to: 2},
	{Key: "says_aloud", Stage: procedure.Screening, Sees: "says_taste", Right: procedure.DoSaidAloud, ByS: 10, Rule: ruleTaste},
	{Key: "still_tastes", Stage: procedure.Clearing, Sees: "still_tastes", Rule: ruleClear, from: 15, to: 25},
	{Key: "touches_facepiece", Stage: procedure.Running, Sees: "touches_facepiece", Right: procedure.DoTouched, ByS: 15,
		Outcome: procedure.NotValid, Reason: procedure.FacepieceTouched, Rule: ruleNotValid, from: 20, to: 400},
	{Key: "lifts_hood", Stage: procedure.Running, Sees: "lifts_hood", Right: procedure.DoHoodOff, ByS: 15,
		Outcome: procedure.NotValid, Reason: procedure.HoodOff, Rule: ruleNotValid, from: 20, to: 400},
	{Key: "no_mist", Stage: procedure.Running, Sees: "no_mist", Right: procedure.DoMistFailed, ByS: 20,
		Outcome: procedure.NotValid, Reason: procedure.MistCheckFailed, Rule: ruleKit + "; a clogged nebuliser makes its tests not valid", from: 20, to: 380},
	{Key: "dizzy", Stage: procedure.Running, Sees: "dizzy", Right: procedure.DoWelfare, ByS: 10,
		Outcome: procedure.NotValid, Reason: procedure.StoppedForWelfare, Rule: ruleWelfare, from: 65, to: 400},
	{Key: "button_out", Stage: procedure.Running, Sees: "plug_out",
		Outcome: procedure.NotValid, Reason: procedure.CableOpen, Rule: ruleHouse + ": unsupervised for a moment is not valid", from: 20, to: 400},
	{Key: "harmless", Stage: procedure.Running, Sees: "coughs", Rule: ruleHouse, from: 20, to: 400},
}

// TroubleOf finds a trouble by its key.
func TroubleOf(key string) (Trouble, bool) {
	i := slices.IndexFunc(Troubles, func(t Trouble) bool { return t.Key == key })
	if i < 0 {
		return Trouble{}, false
	}
	return Troubles[i], true
}

// seen finds the trouble that a key of what a tester sees belongs to.
func seen(what string) (Trouble, bool) {
	i := slices.IndexFunc(Troubles, func(t Trouble) bool { return t.Sees == what })
	if i < 0 {
		return Trouble{}, false
	}
	return Troubles[i], true
}

// ends says whether the right reaction ends the run.
func (t Trouble) ends() bool { return t.Outcome != "" }

// onlyOne of these can come in a drill: each is about the same moment or ends it.
var onlyOne = [][]string{{"beard", "wrong_nebuliser"}}

// plan lays down which troubles come and when.
func plan(a Ask, level Level) []Planned {
	out := []Planned{}
	if slices.Equal(a.Troubles, []string{NoTroubles}) {
		return out
	}
	wanted := slices.Clone(a.Troubles)
	if len(wanted) == 0 {
		c := newChance(a.Seed, "troubles")
		n := level.Least + c.below(level.Most-level.Least+1)
		left := Troubles
		for range n {
			k := c.below(len(left))
			wanted = append(wanted, left[k].Key)
			left = slices.Delete(slices.Clone(left), k, k+1)
		}
	}
	for _, t := range Troubles { // in the order in which they come
		if !slices.Contains(wanted, t.Key) || excluded(out, t.Key) {
			continue
		}
		at := newChance(a.Seed, "when "+t.Key).between(t.from, t.to)
		out = append(out, Planned{t.Key, at})
	}
	return out
}

func excluded(have []Planned, key string) bool {
	for _, group := range onlyOne {
		if slices.Contains(group, key) && slices.ContainsFunc(have, func(p Planned) bool { return slices.Contains(group, p.Key) }) {
			return true
		}
	}
	return false
}
