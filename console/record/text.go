// SPDX-License-Identifier: Apache-2.0

package record

import (
	"fmt"
	"io"
	"strings"
	"time"

	"tallyhood/console/procedure"
)

var outcomeWords = map[procedure.Outcome]string{
	procedure.Pass: "PASS", procedure.Fail: "FAIL", procedure.NotValid: "NOT VALID", procedure.CannotTaste: "CANNOT TASTE",
}

var reasonWords = map[procedure.Reason]string{
	procedure.Tasted:            "the wearer tasted the mist during the exercises",
	procedure.TastedBeforeClock: "the wearer tasted the mist during the initial dose",
	procedure.TopUpShort:        "a top-up was not complete when its window closed",
	procedure.Interrupted:       "the run was interrupted before its end",
	procedure.CableOpen:         "the wearer's button was cut off: cable out or contact broken",
	procedure.CableShort:        "the wearer's button was shorted",
	procedure.PowerLost:         "the power was lost during the run",
	procedure.HoodOff:           "the hood came off",
	procedure.FacepieceTouched:  "the facepiece was touched or adjusted",
	procedure.JournalFailed:     "the record could not be saved",
	procedure.StoppedForWelfare: "the test was stopped for the person's well-being",
	procedure.MistCheckFailed:   "the mist could not be shown to have been there",
	procedure.NoTasteBy30:       "thirty squeezes were given and nothing was tasted: this agent cannot be used for this person",
	procedure.DoubtfulReport:    "the button may have been pressed: too short to be sure, too long to be nothing",
	procedure.ButtonUnproven:    "the button was not shown to work after the last exercise",
	procedure.InputGap:          "signals of the contacts may have been lost",
	procedure.Stalled:           "the box stood still for more than a second",
}

var proofWords = map[string]string{
	ProofTasted:      "with the seal broken the wearer tasted it",
	ProofNotTasted:   "with the seal broken the wearer tasted nothing",
	ProofNotAnswered: "begun, not answered: nobody said what was tasted with the seal broken",
}

var leftWords = map[string]string{
	procedure.LeftForWelfare: "stopped for the person's well-being before anybody said what was tasted",
	procedure.LeftUndone:     "left unmade",
}

// RemarkWords is a remark on a run as a whole; try is the record's.
func RemarkWords(key string, try int) string {
	switch key {
	case RemarkTry:
		return fmt.Sprintf("try %d with this facepiece in this sitting, after a fail", try)
	case RemarkNoKit:
		return "no nebuliser was named: which one was strong was not asked"
	case RemarkNameless:
		return "the name was not confirmed"
	}
	return strings.ReplaceAll(key, "_", " ")
}

// By says who gave a word: wearer for the wearer's own page.
func By(who string) string {
	switch who {
	case "":
		return "somebody not noted"
	case "wearer":
		return "the wearer's own page"
	}
	return who
}

// refusedWhat is what was refused.
func refusedWhat(what string) string {
	if what == "press step" || what == string(procedure.DoGoOn) {
		return "a step"
	}
	return "a report"
}

var whyWords = map[procedure.Why]string{
	procedure.WhyNoSqueezeYet:   "it came before any squeeze, when nothing can have been tasted",
	procedure.WhyButtonDown:     "the wearer's button was pressed",
	procedure.WhyButtonFaulty:   "the wearer's button had a cable that was open or shorted",
	procedure.WhyPedalHeld:      "the squeeze contact had been closed for over two seconds",
	procedure.WhyCrossed:        "button and pedal changed together, as crossed wires do",
	procedure.WhyUnanswered:     "a question before the test was open or answered no",
	procedure.WhyAbstinence:     "something but plain water was taken too lately, or nobody said since when",
	procedure.WhyWear:           "the facepiece was not worn long enough",
	procedure.WhyButtonUnproven: "the wearer's button had not been pressed in this run",
	procedure.WhyOtherSitting:   "the sensitivity test was of another sitting",
	procedure.WhyWrongPerson:    "the wearer said that the name is another's",
	procedure.WhyJournal:        "the record could not be saved",
	procedure.WhyNoNebuliser:    "the nebuliser was not named",
	procedure.WhyOtherRole:      "the nebuliser was the weak one for the strong, or the strong for the weak",
	procedure.WhyOtherAgent:     "the nebuliser was of the other agent",
	procedure.WhyNotFilled:      "the nebuliser was not filled",
	procedure.WhyExpired:        "the solution was past its date",
	procedure.WhyStale:          "the nebuliser was filled too long ago",
	procedure.WhyMistNotChecked: "no mist was seen since the nebuliser was filled",
	procedure.WhyParked:         "the run was set aside",
}

func refusedWhy(why procedure.Why) string {
	if text, ok := whyWords[why]; ok {
		return text
	}
	return strings.ReplaceAll(string(why), "_", " ")
}

// Words is a reason as a clause; empty for none.
func Words(r procedure.Reason) string { return reasonWords[r] }

// Text writes the record for a person to read.
func (r Record) Text(w io.Writer, rules procedure.RuleSet) error {
	var b strings.Builder
	line := func(name, format string, args ...any) {
		fmt.Fprintf(&b, "%-18s %s\n", name, fmt.Sprintf(format, args...))
	}
	fmt.Fprintf(&b, "%s", outcomeWords[r.Outcome])
	if r.Reason != "" {
		fmt.Fprintf(&b, ": %s", reasonWords[r.Reason])
	}
	if c := r.Recalled; c != nil {
		fmt.Fprintf(&b, "\n%s, was %s: %s. The first outcome does not stand any more, and the person is to be tested again.", c.When(), strings.ReplaceAll(string(c.Outcome), "_", " "), c.Why)
	}
	b.WriteString("\n\n")
	line("rules", "%s", rules.Name)
	line("agent", "%s", r.Agent)
	switch r.Screening.Bin {
	case 0:
		line("sensitivity test", "%d squeezes, no report", r.Screening.Squeezes)
	default:
		line("sensitivity test", "reported after %d squeezes, bin %d", r.Screening.Squeezes, r.Screening.Bin)
	}
	if f := r.Fit; f != nil {
		line("initial dose", "%d of %d squeezes%s", f.Initial.Given, f.Initial.Required, remarks(f.Initial.Remarks))
		for _, t := range f.TopUps {
			done := "not complete"
			if t.DoneS != nil {
				done = "done at " + clock(*t.DoneS)
			}
			line(fmt.Sprintf("top-up %d", t.N), "due %s, %d of %d, %s%s", clock(t.DueS), t.Given, t.Required, done, remarks(t.Remarks))
		}
		for _, e := range f.Exercises {
			line(strings.ReplaceAll(e.ID, "_", " "), "%s to %s", clock(e.StartS), clock(e.EndS))
		}
		if f.TasteS != nil {
			line("tasted", "at %s, %s", clock(*f.TasteS), strings.ReplaceAll(*f.TasteExercise, "_", " "))
		}
		line("squeezes in all", "%d", f.SqueezesTotal)
		if f.Level != nil {
			line("hood level", "mean %.2f, least %.2f of the initial dose (modelled, half-life 30 s; an aid, no evidence)", f.Level.Mean, f.Level.Min)
		}
	}
	if r.Proof != nil {
		line("proof", "%s", proofWords[*r.Proof])
	}
	if l := r.ProofLeft; l != nil {
		line("proof left", "%s, by %s", leftWords[l.Why], By(l.By))
	}
	button := "supervised"
	if !r.Inputs.Supervised {
		button = "unsupervised (single contact)"
	}
	line("wearer's button", "%s", button)
	line("contacts", "%d squeezes, %d reports, %d steps, %d edges rejected", r.Inputs.Squeeze, r.Inputs.Taste, r.Inputs.Step, r.Inputs.NoiseEdges)
	for _, c := range r.Corrections {
		where := strings.ReplaceAll(string(c.Part), "_", " ")
		if c.TopUp > 0 {
			where = fmt.Sprintf("top-up %d", c.TopUp)
		}
		line("corrected", "%+d in %s by %s: %s", c.Delta, where, By(c.By), c.Reason)
	}
	for _, n := range r.Names {
		said := "the name is right"
		if !n.Yes {
			said = "NO, the name is not mine"
		}
		line("asked by name", "%s (%s)", said, By(n.By))
	}
	for _, k := range r.Remarks {
		line("remark", "%s", RemarkWords(k, r.Try))
	}
	for _, f := range r.Refused {
		line("refused", "%s: %s", refusedWhat(f.What), refusedWhy(f.Why))
	}
	for _, f := range r.Inputs.Faults {
		line("input fault", "%s", f)
	}
	fmt.Fprintf(&b, "\n%s\n", rules.Prevails)
	_, err := io.WriteString(w, b.String())
	return err
}

func remarks(rs []string) string {
	if len(rs) == 0 {
		return ""
	}
	return " (" + strings.Join(rs, ", ") + ")"
}

// clock writes seconds as minutes, seconds and tenths.
func clock(s Seconds) string {
	d := time.Duration(s).Round(100 * time.Millisecond)
	return fmt.Sprintf("%d:%04.1f", int(d.Minutes()), (d % time.Minute).Seconds())
}
