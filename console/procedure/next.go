// SPDX-License-Identifier: Apache-2.0

package procedure

// Next names what may follow an outcome under a rule set: "proof" and then
// nothing after a pass; after a fail "other_facepiece", or "refit" where the
// rule set allows the same one to be donned anew; "other_agent" for someone who
// cannot taste this one; "again" after a run that was not valid. Everything
// that follows begins with the sensitivity test.
func Next(r RuleSet, o Outcome) string {
	switch o {
	case Pass:
		return "proof"
	case Fail:
		if r.AfterFail.Refit {
			return "refit"
		}
		return "other_facepiece"
	case CannotTaste:
		return "other_agent"
	}
	return "again"
}

// NextAfterFails is Next for the last of several fails with one facepiece and
// no visible fitting error: from the rule set's number on another size or model
// is due.
func NextAfterFails(r RuleSet, fails int) string {
	if r.AfterFail.Refit && fails >= r.AfterFail.FailsToOther {
		return "other_size_or_model"
	}
	return Next(r, Fail)
}
