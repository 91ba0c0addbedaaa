// SPDX-License-Identifier: Apache-2.0

package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A Catalogue holds every printed word by key. A key that it lacks is taken
// from English.
type Catalogue map[string]string

// Catalogues are the languages that can be printed.
var Catalogues = map[string]Catalogue{"en": english}

type words struct {
	lang string
	own  Catalogue
}

// wordsIn are the words of a language that the caller brings, else those that
// are built in. What is brought has its places as {0}, {1}.
func wordsIn(language string, own Catalogue) (words, error) {
	if own != nil && language != "" {
		return words{language, own}, nil
	}
	return wordsOf(language)
}

func wordsOf(language string) (words, error) {
	if language == "" {
		language = "en"
	}
	c, ok := Catalogues[language]
	if !ok {
		return words{}, fmt.Errorf("there are no printed words in the language %q", language)
	}
	return words{language, c}, nil
}

// say gives the words of a key, with its places filled.
func (w words) say(key string, args ...any) string {
	text, ok := w.own[key]
	if !ok {
		if text, ok = english[key]; !ok {
			text = strings.ReplaceAll(key[strings.LastIndexByte(key, '.')+1:], "_", " ")
		}
	}
	if len(args) == 0 {
		return text
	}
	if ok && strings.Contains(text, "{0}") {
		var places []string
		for i, a := range args {
			places = append(places, "{"+strconv.Itoa(i)+"}", fmt.Sprint(a))
		}
		return strings.NewReplacer(places...).Replace(text)
	}
	return fmt.Sprintf(text, args...)
}

// Carried are the keys of what a person carries away, the card and the
// reminder: the words that are printed in that person's language.
func Carried() []string {
	var out []string
	for key := range english {
		if strings.HasPrefix(key, "card.") || strings.HasPrefix(key, "reminder.") {
			out = append(out, key)
		}
	}
	slices.Sort(out)
	return out
}

// has says whether there are words for a key.
func has(key string) bool { _, ok := english[key]; return ok }

var english = Catalogue{
	"title": "Record of a qualitative fit test", "page": "%d of %d", "run": "Run %s",
	"practice": "PRACTICE", "practice.line": "Practice, not a test record (%s). It proves nothing about any facepiece or person.",
	"practice.simulated": "simulated board", "practice.demo": "demonstration", "practice.drill": "drill",

	"outcome.pass": "PASS", "outcome.fail": "FAIL", "outcome.not_valid": "NOT VALID", "outcome.cannot_taste": "CANNOT TASTE",
	"outcome.doubt": "PASS IN DOUBT", "meaning.doubt": "With the seal broken the wearer tasted nothing. This pass is in doubt and does not stand.",
	"meaning.pass":         "Nothing was tasted through the whole test, with every dose given.",
	"meaning.fail":         "The facepiece did not keep the mist out.",
	"meaning.not_valid":    "Neither a pass nor a fail: it says nothing about the fit.",
	"meaning.cannot_taste": "This person cannot be tested with this agent. It is not a pass.",
	"recalled":             "Recalled: %s. The first outcome was %s; it does not stand.",
	"recalled.by":          "Recalled by %s%s.",
	"on":                   " on %s",

	"reason.tasted": "The wearer tasted the mist during the exercises.", "reason.tasted_before_clock": "The wearer tasted the mist during the initial dose.",
	"reason.top_up_short": "A top-up was not given in full in its time.", "reason.interrupted": "The run was ended before it was complete.",
	"reason.cable_open": "The cable of the wearer's button came out, or a contact broke.", "reason.cable_short": "The wearer's button was shorted.",
	"reason.power_lost": "Power was lost during the run.", "reason.hood_off": "The hood came off during the test.",
	"reason.facepiece_touched": "The facepiece was touched or adjusted after the start.", "reason.journal_failed": "Facts could not be saved.",
	"reason.stopped_for_welfare": "The test was stopped for the person's well-being.", "reason.mist_check_failed": "The mist did not come, or could not be shown to have come.",
	"reason.no_taste_by_30": "Nothing was tasted in thirty squeezes.", "reason.doubtful_report": "The wearer's button closed too briefly to be sure. A doubt is never a pass.",
	"reason.button_unproven": "The wearer's button was not shown to work after the last exercise.", "reason.input_gap": "Some changes of the contacts may have been missed.",
	"reason.stalled": "The box stood still for more than a second.",

	"person": "Person tested", "name": "Name", "number": "Company number", "job": "Job", "erased": "erased", "erased.long": "erased: the personal data were destroyed on request",
	"facepiece": "Facepiece", "make": "Make", "model": "Model", "style": "Style and material", "size": "Size", "type": "Kind",
	"kind.disposable": "disposable half mask", "kind.half_mask": "reusable half mask", "kind.full_face": "full face mask",
	"fit_factor": "Fit factor needed", "whose": "Whose piece, condition", "not_stated": "not stated",
	"test": "Test", "date": "Date of test", "date.untrusted": "%s (the box's clock could not be trusted)", "date.none": "not known: the box's clock was not set",
	"quality.unset": "not set", "quality.restored": "restored, not confirmed", "quality.confirmed": "confirmed by a person", "quality.network": "set from the network",
	"clock": "Clock of the box", "method": "Type of test", "method.is": "qualitative, by taste: %s", "agent.sweet": "sweet (sodium saccharin)", "agent.bitter": "bitter (denatonium benzoate)",
	"rules": "Rules", "tester": "Tester", "site": "For (employer, place)", "result": "Result", "due": "Next test due", "due.none": "no day: %s", "due.no_pass": "this run is no pass that stands", "due.unknown": "not reckoned",
	"strip": "Course of the test", "strip.caption": "Filled pip: squeeze given. Crossed pip: not given in its time. Small pip above: extra.",
	"modelled": "Level under the hood: modelled, never evidence. Assumption: each squeeze adds one and everything halves in %d s; the true half-life of a hood varies.",
	"full":     "full", "half": "half", "modelled.short": "modelled",
	"no_fit": "The fit test was not begun.", "no_clock": "The run clock was not started.",

	"screening": "Sensitivity test", "screening.bin": "taste reported after %d squeezes%s: bin %d", "screening.bin.one": "taste reported after %d squeeze%s: bin %d", "screening.none": "%d squeezes%s, no bin", "screening.none.one": "%d squeeze%s, no bin", "doubtful": " and %d doubtful",
	"initial": "Initial dose", "of": "%d of %d squeezes", "squeezes_total": "Squeezes in all", "duration": "Run clock", "seconds": "%s s", "tasted_at": "Tasted at", "tasted_at.is": "%s s, %s",
	"level": "Modelled level", "level.is": "mean %.2f, least %.2f of the initial dose (an aid)", "proof": "Proof, seal broken", "proof.tasted": "tasted: the mist was there", "proof.not_tasted": "not tasted: the pass does not stand", "proof.not_answered": "begun, not answered: nobody said what was tasted",
	"proof.welfare": "not made: stopped for the person's well-being before anybody said what was tasted (%s)", "proof.left": "not made: left before anybody said what was tasted (%s)",
	"button": "Wearer's button", "button.pair": "supervised pair of contacts", "button.single": "single contact, unsupervised",
	"contacts": "Contacts", "contacts.are": "squeezes %d, reports %d, steps %d, edges rejected %d",
	"doses": "Top-ups", "top_up": "No.", "due_s": "Due, s", "given": "Given", "first_s": "First, s", "done_s": "Done, s", "remarks": "Remarks", "top_ups.of": "%d of %d",
	"remark.late": "late", "remark.hurried": "hurried", "remark.extra": "extra", "remark.extras": "%d extra", "remark.doubtful": "%d doubtful", "remark.added": "corrected: %d added", "remark.taken": "corrected: %d taken back", "remark.short": "not complete", "none": "none",
	"remark.tried_before": "Try %d with this facepiece in this sitting, after a fail.", "remark.no_nebuliser_named": "No nebuliser was named: which one was strong was not asked.", "remark.name_not_confirmed": "The name was not confirmed.",
	"exercises": "Exercises", "exercise": "Exercise", "course": "Course", "from_to": "From, to", "exercise.done": "done", "exercise.cut": "ended early", "exercise.not_begun": "not begun",
	"exercise.normal_breathing": "Normal breathing", "exercise.deep_breathing": "Deep breathing", "exercise.head_side_to_side": "Head side to side", "exercise.head_up_and_down": "Head up and down",
	"exercise.talking": "Talking", "exercise.bending_over": "Bending over", "exercise.normal_breathing_again": "Normal breathing again",
	"short.normal_breathing": "normal", "short.deep_breathing": "deep", "short.head_side_to_side": "side to side", "short.head_up_and_down": "up and down", "short.talking": "talking", "short.bending_over": "bending", "short.normal_breathing_again": "normal",

	"before": "Asked before the test", "yes": "yes", "no": "no", "before.none": "no answers are kept", "by": " (%s)", "by.unknown": "somebody not noted", "by.wearer": "the wearer's own page",
	"named": "Asked by name: %s, said by %s. %s.", "named.yes": "yes, that is me", "named.no": "NO, that is not me",
	"question.nothing_but_water": "Nothing but plain water for the time the rules ask", "question.no_hair_at_seal": "No hair where the seal runs", "question.cleared": "Cleared to wear a facepiece",
	"question.no_known_reaction": "No known reaction to the agent", "question.facepiece_as_at_work": "Facepiece and other gear as worn at work", "question.weak_nebuliser": "Weak solution for the sensitivity test",
	"question.donned": "Put on unhelped and worn long enough", "question.seal_check": "Seal check done",

	"corrections": "Corrections and faults", "correction": "%s: %s in %s. Reason: %s%s", "correction.at": "At %s s", "correction.before": "Before the run clock", "added": "one squeeze added", "taken": "one squeeze taken back",
	"part.screening": "the sensitivity test", "part.initial": "the initial dose", "part.top_up": "top-up %d", "amendment": "%s: first \"%s\", now \"%s\". Reason: %s. Corrected by %s%s.", "field.tester": "Tester", "field.whose": "Whose piece, condition",
	"corrected.first": "%s (corrected; first: %s)",
	"fault":           "Fault: %s", "no_corrections": "No corrections. No faults.", "no_faults": "No faults.",

	"fault.cable_open": "the button's cable was open", "fault.cable_short": "the button was shorted", "fault.pedal_held": "squeeze contact held over two seconds", "fault.chatters": "a contact chattered more than it may",
	"fault.input_gap": "changes of a contact may be missing", "fault.stalled": "the box stood still", "fault.nebuliser_spoiled": "a nebuliser was found clogged, filled anew or taken out of use, or its batch was found wrong, while the run had it", "fault.journal_failed": "facts could not be saved", "fault.wear_short": "worn less long than asked", "fault.abstinence_short": "with nothing but water less long than asked",
	"fault.doubtful_report": "a report too brief to be sure", "fault.button_unproven": "the button was not shown to work", "fault.questions_open": "a question was left open", "fault.clock_stepped": "the clock of the box was set or jumped; durations do not depend on it",

	"kit": "Kit used", "mark": "Nebuliser", "role": "For", "role.weak": "sensitivity test (weak)", "role.strong": "fit test (strong)", "lot": "Lot", "age": "Filled before", "checked": "Mist seen", "kit.none": "The nebulisers were not named in this run.", "hood": "Hood",
	"hood.none": "not named in this run", "hood.is": "%s: %s, %s", "hood.across": "%d mm across", "hood.across.none": "width not measured", "hood.tall": "%d mm tall", "hood.tall.none": "height not measured", "hood.unmeasured": "%s: not measured",
	"hood.oversized": "%s. Larger than the published hood (about 305 mm across, 356 mm tall): the same squeezes gave a thinner mist.",
	"agent":          "Agent",
	"box":            "Box and timing", "version": "Program", "time_source": "Time of edges", "wiring": "Wires checked", "wiring.none": "not since the start of the box", "sound": "Sound self-test", "sound.is": "%.0f ms from tone to press, a person's reaction included", "sound.none": "none", "parts": "Parts",
	"part.state": "%s: %s", "state.loaded": "loaded", "state.absent": "absent", "state.failed": "failed",
	"signatures": "Signatures", "signed.tester": "Tester", "signed.wearer": "Wearer", "signed.holds": "signed on the screen under this record", "signed.stale": "signed under an earlier state of this record: does not hold any more",
	"signed.holds.drawn": "drawn on the screen under this record", "signed.stale.drawn": "drawn under an earlier state of this record: does not hold any more",
	"signed.holds.typed": "name typed on the screen under this record, not drawn by hand", "signed.stale.typed": "name typed under an earlier state of this record: does not hold any more",
	"clock.was": "%s (clock: %s)", "signed.none": "not signed on the screen", "sign_here": "(sign here)",
	"evidence": "Evidence", "entry": "Last entry", "hash": "Its hash, SHA-256", "head": "Signed head", "head.none": "none was given with this sheet", "inclusion": "Proof of inclusion", "attached": "The record as data (record.json) is attached to this file.",
	"sources": "Figures of the rules and where they stand", "figure": "Figure", "value": "Value", "source": "Source", "figure.abstinence": "Nothing but water before", "figure.wear": "Worn before the run", "figure.exercise": "Each exercise", "figure.interval": "A top-up every", "figure.screening": "Sensitivity test, at most", "figure.retest": "Test again after", "figure.keep": "Keep the record",
	"unit.min": "%s min", "unit.s": "%s s", "unit.squeezes": "%s squeezes", "unit.months": "%s months",
	"mark.M": "to be checked against the official text", "mark.H": "limit of this tool", "mark.CP": "common practice",
	"cautions":   "Cautions",
	"caution.1":  "The result holds for this make, model, style and size only, worn as in the test, and for a face that has not changed.",
	"caution.2":  "Another facepiece, a marked change of weight, dental work, scars or hair where the seal runs ask for a new test.",
	"caution.3":  "A qualitative test rests on what the wearer tastes and says. It is no measurement.",
	"prevails":   "Local law and a licensed or competent person always prevail over this tool.",
	"hash.short": "hash %s",

	"card.title": "Fit test: passed", "card.subtitle": "qualitative, by taste: %s", "card.valid": "Holds for this make, model and size only.", "card.scan": "any copy of tallyhood checks this code offline",
	"card.run":   "run %s",
	"card.dates": "Tested", "card.due": "Due again", "card.due.no_time": "neither rule nor policy sets a time", "card.size": "Size: %s", "card.site": "For",
	"card.agent.sweet": "sweet", "card.agent.bitter": "bitter", "card.prevails": "Local law and a licensed or competent person always prevail.",
	"card.rules.us-osha": "US rule: 29 CFR 1910.134, Appendix A", "card.rules.uk-hse": "UK guidance: HSE INDG479 rev 1",

	"label.weak": "WEAK", "label.strong": "STRONG", "label.for.weak": "for the sensitivity test only", "label.for.strong": "for the fit test only", "label.lot": "Lot", "label.made": "Made or opened", "label.expires": "Use by", "label.who": "By", "label.caution": "Gloves, eye protection, safety data sheet.",
	"batch.title": "Batch of solution", "batch.recipe": "Recipe as published", "batch.scaled": "Amounts for this batch", "batch.part": "Part", "batch.published": "Published, for %s ml", "batch.this": "This batch, %s ml", "batch.weighed": "Weighed, measured", "batch.source": "Source", "batch.source.mark": "%s %s",
	"batch.cautions": "Cautions", "batch.c1": "Wear gloves and eye protection when weighing powders. Do not breathe the dust.", "batch.c2": "Read the safety data sheet of every part first and follow it.", "batch.c3": "Label the bottle at once. Weak and strong never share a bottle, a nebuliser or a syringe.", "batch.c4": "Somebody with a known reaction to the agent gets the other one or a quantitative test.", "batch.c5": "One recipe is never worked out from another: the published ones need not agree with each other.", "batch.c6": "About 1 ml goes into the nebuliser at a time. Rinse and fill it anew at least every four hours.",
	"batch.signed": "Made by (name, day)", "batch.checked": "Checked by (name, day)",

	"reminder.title": "Your fit test", "reminder.water": "From %s on: nothing but plain water.", "reminder.no": "No food, no other drink, no smoking or vaping, no gum.", "reminder.shave": "Come clean-shaven where the seal runs.", "reminder.bring": "Bring your facepiece, and glasses, helmet or ear defenders you wear at work.", "reminder.unwell": "Unwell, a reaction to the agent before, or worries: tell the tester first.",
	"reminder.rule": "At least %s min with nothing but water: %s.",
	"summary.empty": "Nothing to list.",
}
