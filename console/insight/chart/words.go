// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"strconv"
	"strings"
)

// Words gives the sentence of a key with its arguments in the places {0}, {1}.
type Words func(key string, args ...string) string

// English are the sentences as they stand here; an unknown key is its own
// sentence, so that what is missing is seen.
func English(key string, args ...string) string { return In(nil)(key, args...) }

// In speaks the language that these sentences are in, by the keys of Catalogue;
// a sentence that they lack is said in English.
func In(own map[string]string) Words {
	return func(key string, args ...string) string {
		s, ok := own[key]
		if !ok {
			if s, ok = Catalogue[key]; !ok {
				s = key
			}
		}
		return filled(s, args)
	}
}

func filled(s string, args []string) string {
	for i, a := range args {
		s = strings.ReplaceAll(s, "{"+strconv.Itoa(i)+"}", a)
	}
	return s
}

// Catalogue is every sentence of the charts, to translate.
var Catalogue = map[string]string{
	"decimal":       ".",
	"percent":       "{0} %",
	"of":            "{0} of {1}",
	"few":           "too few to say",
	"unknown":       "not known",
	"none":          "none",
	"minutes":       "minutes",
	"tests":         "tests",
	"facepiece.any": "any facepiece",

	"col.make": "make", "col.model": "model", "col.size": "size", "col.style": "style",
	"col.pass": "passes", "col.valid": "valid tests", "col.share": "share passing", "col.low": "from", "col.high": "to",
	"col.remark": "note", "col.notvalid": "not valid", "col.tests": "tests", "col.first": "first tests",
	"col.mean": "expected", "col.best": "chance to be the best", "col.tester": "tester", "col.week": "week",
	"col.month": "month", "col.agent": "agent", "col.bin": "bin", "col.people": "sensitivity tests",
	"col.binshare": "share", "col.stage": "stage", "col.p5": "5 of 100 under", "col.q1": "a quarter under",
	"col.median": "half under", "col.q3": "three quarters under", "col.p95": "95 of 100 under", "col.resolution": "to within",
	"col.place": "place", "col.failed": "persons who failed", "col.twice": "of them twice or more",
	"col.pair": "testers", "col.bothpass": "both pass", "col.bothfail": "both fail", "col.firstfail": "only first fails",
	"col.secondfail": "only second fails", "col.agree": "agree", "col.kappa": "kappa", "col.reason": "reason", "col.outcome": "outcome",
	"col.inner": "95 % limits", "col.outer": "99.8 % limits", "col.what": "what", "col.invalid": "share not valid", "col.remarked": "share with a remark",
	"col.key": "letter",

	"site":          "site {0}",
	"intervals":     "Lines are 95 % intervals (Wilson). A hollow dot stands for fewer than {0} tests: too few to say.",
	"intervals.few": "A hollow dot stands for fewer than {0} tests: too few to say.",
	"names":         "Testers are letters in the order of their first test.",

	"models.title": "Passing by facepiece",
	"models.say":   "{0} of all valid tests passed ({1}).",
	"models.none":  "There are no valid tests yet.",
	"models.desc":  "One row a facepiece: share of valid tests passed with its 95 % interval, and the site's mean as a line.",

	"advice.title":   "Which facepiece to try first",
	"advice.nothing": "There are no results yet.",
	"advice.few":     "There are too few results to say. Go by the face, the job and comfort.",
	"advice.open":    "The figures do not tell the best ones apart. Go by the face, the job and comfort.",
	"advice.only":    "There are results of one facepiece alone, so there is nothing to compare.",
	"advice.leads":   "{0} probably fits the next person best: {1} passed at the first try.",
	"advice.desc":    "One row a facepiece: the share that the next person would be expected to pass, with its 90 % interval.",
	"advice.note":    "First tests of a sitting alone. Expected share: beta-binomial, as if {0} tests at the site's own share ({1}) stood behind every facepiece; lines are 90 % credible intervals.",
	"advice.best":    "best: {0}",

	"funnel.title.testers":    "Testers against the site's mean",
	"funnel.title.facepieces": "Facepieces against the site's mean",
	"funnel.within":           "No point lies outside the 95 % limits.",
	"funnel.outside":          "Outside the 95 % limits: {0}. A point outside is a question, not a finding.",
	"funnel.none":             "There are no valid tests yet.",
	"funnel.desc":             "Share of passes against number of valid tests. Between the limits a difference from the mean is no more than chance.",
	"funnel.note":             "Limits: exact binomial around the mean of all points, drawn out between whole counts. One point in twenty lies outside 95 % by chance. Far above asks for a look as much as far below: a taste that is passed over looks like success.",
	"funnel.x":                "valid tests", "funnel.mean": "mean {0}", "funnel.inner": "95 %", "funnel.outer": "99.8 %",
	"place.-2": "far below", "place.-1": "below", "place.0": "within", "place.1": "above", "place.2": "far above",
	"funnel.key.within": "within", "funnel.key.inner": "outside 95 %", "funnel.key.outer": "outside 99.8 %",

	"weeks.invalid.title": "Not valid, by tester and week",
	"weeks.remark.title":  "Remarks, by tester and week",
	"weeks.say":           "All testers together: {0} ({1}).",
	"weeks.none":          "There are no dated tests yet.",
	"weeks.desc":          "One row a tester, one dot a week with its 95 % interval, a peak for a share over the scale; the line is the tester's own share over the weeks shown.",
	"weeks.cut":           "The last {0} weeks and the {1} testers with most tests are drawn; the table holds all.",
	"weeks.week":          "{0}-W{1}",
	"weeks.remarks":       "A remark is late, hurried or extra; of the tests whose initial dose was begun.",

	"bins.title": "Sensitivity test, by agent",
	"bins.say":   "Tasted nothing by squeeze 30: {0}.",
	"bins.item":  "{0} {1} ({2})",
	"bins.none":  "There are no sensitivity tests yet.",
	"bins.desc":  "For each agent, how many tested persons reported the taste at each squeeze, in the bins 10, 20 and 30, and how many tasted nothing.",
	"bins.bin":   "bin {0}", "bins.nothing": "nothing by 30", "bins.squeeze": "squeeze of the report",
	"bins.note": "A person who was tested twice counts twice. No split of people over the bins is published to compare with.",

	"stages.title": "Time for each stage",
	"stages.say":   "Half of the whole tests took {0} or less (minutes and seconds).",
	"stages.some":  "No test has gone through every stage yet.",
	"stages.desc":  "One row a stage: the box holds the middle half of the times, the thick line is the median, the thin line reaches from 5 to 95 of 100.",
	"stages.note":  "Only stages that were gone through to their end. Times are exact to {0} up to 10 minutes and to {1} up to 30 minutes.",
	"stages.over":  "2 h or more",

	"stage.ready": "before", "stage.screening": "sensitivity test", "stage.clearing": "taste clears, donned", "stage.donning": "worn",
	"stage.dosing": "initial dose", "stage.running": "exercises", "stage.whole": "sensitivity test to verdict",

	"months.title": "Passing by month",
	"months.say":   "Last month drawn, {0}: {1} ({2}).",
	"months.none":  "There are no dated tests yet.",
	"months.desc":  "One dot a month: share of valid tests passed with its 95 % interval; bars are the number of valid tests.",
	"months.bars":  "valid tests", "months.cut": "The last {0} months are drawn; the table holds all.",
	"month": "{0}-{1}",

	"agreement.title":     "Agreement between testers",
	"agreement.none":      "No person was tested twice on one day by two testers with the same facepiece.",
	"agreement.undefined": "Kappa is not defined: both only ever gave one result ({0} pairs).",
	"agreement.few":       "Kappa {0}, from {1} pairs: too few to say.",
	"agreement.say":       "Kappa {0} ({1} to {2}), from {3} pairs.",
	"agreement.all":       "all, earlier and later",
	"agreement.pair":      "{0} and {1}",
	"agreement.undef":     "not defined",
	"agreement.note":      "Two tests of one person with one facepiece on one day by two testers. The facepiece was donned anew between them, so disagreement is not the testers' alone.",
	"agreement.late":      "{0} tests came too late to be compared.",

	"repeats.title": "Failures that came again",
	"repeats.say":   "{0} persons failed at least once, {1} of them twice or more, {2} of them with one model.",
	"repeats.none":  "Nobody has failed.",

	"reasons.title": "Why tests ended",
	"reasons.say":   "{0} of all tests were not valid ({1}).",
	"reasons.none":  "There are no tests yet.",
	"outcome.fail":  "fail", "outcome.not_valid": "not valid", "outcome.cannot_taste": "cannot taste", "outcome.pass": "pass",

	"reason.tasted":              "tasted in the exercises",
	"reason.tasted_before_clock": "tasted in the initial dose",
	"reason.top_up_short":        "a top-up was short",
	"reason.interrupted":         "interrupted",
	"reason.cable_open":          "a cable was out",
	"reason.cable_short":         "a cable was shorted",
	"reason.power_lost":          "power was lost",
	"reason.hood_off":            "the hood came off",
	"reason.facepiece_touched":   "the facepiece was touched",
	"reason.journal_failed":      "the journal failed",
	"reason.stopped_for_welfare": "stopped for the person",
	"reason.mist_check_failed":   "the mist check failed",
	"reason.no_taste_by_30":      "nothing tasted by squeeze 30",
	"reason.doubtful_report":     "a doubtful report",
	"reason.button_unproven":     "the button was not proven",
	"reason.input_gap":           "edges were lost",
	"reason.stalled":             "the daemon stalled",

	"agent.sweet": "sweet", "agent.bitter": "bitter", "persons": "persons", "col.ofall": "share of all tests", "weeks.short": "W{0}",
	"month.1":  "Jan",
	"month.2":  "Feb",
	"month.3":  "Mar",
	"month.4":  "Apr",
	"month.5":  "May",
	"month.6":  "Jun",
	"month.7":  "Jul",
	"month.8":  "Aug",
	"month.9":  "Sep",
	"month.10": "Oct",
	"month.11": "Nov",
	"month.12": "Dec",
}
