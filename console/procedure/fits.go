// SPDX-License-Identifier: Apache-2.0

package procedure

// Bounds of a rule set in a stored fact; those that are loaded are checked far
// more closely.
const (
	mostExercises = 64
	mostTopUps    = 1000
)

// fits says whether a fact can follow a state at all. Decide makes no other; a
// journal that was written by something else may hold one, and reading it must
// not end the program. Whether the journal was altered is for its chain to say.
func (s State) fits(f Fact) bool {
	if o, opens := f.(RunOpened); opens {
		r := &o.Rules
		return len(r.Bins) > 0 && len(r.Exercises) > 0 && len(r.Exercises) <= mostExercises &&
			r.Figures.Exercise.Duration() > 0 && r.Figures.TopUpInterval.Duration() > 0 && r.Figures.ScreeningMost.Value >= 1 &&
			r.Length()/r.Figures.TopUpInterval.Duration() <= mostTopUps
	}
	if s.Opened == nil {
		return false
	}
	topUp := func(n int) bool { return n >= 1 && n <= s.Opened.Rules.TopUps() }
	switch f := f.(type) {
	case Entered:
		return s.Clock != nil || f.Stage != Running && f.Stage != ProvingButton
	case Squeezed:
		return f.Part != PartTopUp || topUp(f.TopUp)
	case SqueezedExtra:
		return f.TopUp <= s.Opened.Rules.TopUps()
	case SqueezeDoubted:
		return f.Part != PartTopUp || s.Clock != nil
	case Corrected:
		taken := f.Delta < 0
		switch f.Part {
		case PartScreening:
			return !taken || len(s.Screening) > 0
		case PartInitial:
			return !taken || len(s.Initial.Given) > 0
		case PartTopUp:
			return topUp(f.TopUp) && (!taken || len(s.topUp(f.TopUp).Given)+len(s.topUp(f.TopUp).Extra) > 0)
		}
	case ProofGiven, Unsaved, KitSpoiled:
		return s.Verdict != nil
	case ProofLeft:
		return s.Verdict != nil && s.Stage == ProvingMist
	}
	return true
}
