// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"
	"sort"
	"strings"
	"time"
)

//go:embed rules/*.json
var published embed.FS

// A Figure is one number of a rule with where it stands and how it was come
// by: a number in brackets is a source read, [M] from memory and to be checked
// against the official text, [D] derived, [H] a house limit, [CP] common
// practice.
type Figure struct {
	Value  float64 `json:"value"`
	Source string  `json:"source"`
	Mark   string  `json:"mark"`
}

// Duration is a figure in seconds as a duration.
func (f Figure) Duration() time.Duration {
	return time.Duration(math.Round(f.Value * float64(time.Second)))
}

// A Bin is a class of sensitivity with its doses, all in squeezes.
type Bin struct {
	Bin     int    `json:"bin"`
	From    int    `json:"from"` // the least count at the report
	To      int    `json:"to"`   // the greatest
	Initial int    `json:"initial"`
	TopUp   int    `json:"top_up"`
	Source  string `json:"source"`
	Mark    string `json:"mark"`
}

// A RuleSet is what one authority asks, as data. The times are seconds.
type RuleSet struct {
	ID       string   `json:"id"`
	Extends  string   `json:"extends,omitempty"` // a published set that this one may only tighten
	Name     string   `json:"name"`
	Short    string   `json:"short"`
	Source   string   `json:"source"`
	Prevails string   `json:"prevails"`
	Agents   []string `json:"agents"`
	Figures  struct {
		Abstinence      Figure `json:"abstinence_s"`
		Wear            Figure `json:"wear_s"`
		Exercise        Figure `json:"exercise_s"`
		TopUpInterval   Figure `json:"top_up_interval_s"`
		ScreeningMost   Figure `json:"screening_most"` // squeezes
		FullExposureFor Figure `json:"full_exposure_wait_s"`
		// RefillAfter is nil in records of before it was kept.
		RefillAfter *Figure `json:"refill_after_s,omitempty"`
	} `json:"figures"`
	Bins      []Bin      `json:"bins"`
	Exercises []Exercise `json:"exercises"`
	House     struct {
		WindowBefore Figure `json:"window_before_s"`
		WindowAfter  Figure `json:"window_after_s"`
		LateAfter    Figure `json:"late_after_s"`
		HurriedUnder Figure `json:"hurried_under_s"`
		ButtonProof  Figure `json:"button_proof_s"`
		// Sitting is nil in records of before it was kept.
		Sitting *Figure `json:"sitting_s,omitempty"`
	} `json:"house"`
	Before     []Question `json:"before"`
	Facepieces struct {
		NegativePressureOnly bool   `json:"negative_pressure_only"`
		FullFace             bool   `json:"full_face"`
		FitFactorMost        int    `json:"fit_factor_most"` // 0: no such limit
		Source               string `json:"source"`
		Mark                 string `json:"mark"`
	} `json:"facepieces"`
	// Retest and Keep are in months: between two tests, and for a record. Nil
	// where the rule leaves them to the employer.
	Retest    *Figure `json:"retest_months,omitempty"`
	Keep      *Figure `json:"keep_months,omitempty"`
	AfterFail struct {
		Refit          bool   `json:"refit"`           // the same facepiece may be donned anew
		ScreeningAgain bool   `json:"screening_again"` // the whole procedure again
		FailsToOther   int    `json:"fails_to_other"`  // fails after which another size or model is due
		Source         string `json:"source"`
		Mark           string `json:"mark"`
	} `json:"after_fail"`
}

// An Exercise is one of the moves of the fit test, by its id (see Exercises).
type Exercise struct {
	ID string `json:"id"`
}

// A Question is what has to be true before the sensitivity test, by its id.
type Question struct {
	ID     string `json:"id"`
	Source string `json:"source"`
	Mark   string `json:"mark"`
}

// The floors under every rule set: no file may be looser. They are the figures
// on which both published sets agree (29 CFR 1910.134 App. A; INDG479 rev 1);
// shorter exercises were proposed and withdrawn as not accurate enough
// (72 FR 72971, 74 FR 30250).
const (
	leastAbstinence = 15 * time.Minute
	leastWear       = 5 * time.Minute
	leastExercise   = time.Minute
	longestInterval = 30 * time.Second
	leastExercises  = 7
	mostScreening   = 30
	longestFilling  = 4 * time.Hour
	longestSitting  = 2 * time.Hour // [H]: neither publication has a figure
)

// Sitting is how long the sensitivity test may lie before the start of the run
// clock, and the word on abstinence before the sensitivity test. Taste changes
// with a meal, a sleep and a cold: the next day's fit test needs its own.
func (r RuleSet) Sitting() time.Duration {
	if f := r.House.Sitting; f != nil {
		return min(f.Duration(), longestSitting)
	}
	return longestSitting
}

// Refill is the time after which a nebuliser has to be emptied, rinsed and
// filled anew.
func (r RuleSet) Refill() time.Duration {
	if f := r.Figures.RefillAfter; f != nil {
		return min(f.Duration(), longestFilling)
	}
	return longestFilling
}

// Rules returns the published rule sets that are built in, by id.
func Rules() (map[string]RuleSet, error) {
	sub, err := fs.Sub(published, "rules")
	if err != nil {
		return nil, fmt.Errorf("built-in rule sets: %w", err)
	}
	return LoadRules(sub, nil)
}

// LoadRules reads every *.json of a folder as a rule set and checks it; base
// holds the sets that a file may extend. One set a file; an unknown field, a
// figure without source or mark, and any figure looser than the floors or than
// the set it extends is an error that names file and figure.
func LoadRules(dir fs.FS, base map[string]RuleSet) (map[string]RuleSet, error) {
	names, err := fs.Glob(dir, "*.json")
	if err != nil {
		return nil, fmt.Errorf("list rule sets: %w", err)
	}
	sort.Strings(names)
	out := map[string]RuleSet{}
	for _, name := range names {
		raw, err := fs.ReadFile(dir, name)
		if err != nil {
			return nil, fmt.Errorf("read rule set: %w", err)
		}
		r, err := ParseRules(raw, base)
		if err != nil {
			return nil, fmt.Errorf("rule set %s: %w", name, err)
		}
		if want := strings.TrimSuffix(path.Base(name), ".json"); r.ID != want {
			return nil, fmt.Errorf("rule set %s: its id is %q, the file's name says %q", name, r.ID, want)
		}
		out[r.ID] = r
	}
	return out, nil
}

// ParseRules reads and checks one rule set.
func ParseRules(raw []byte, base map[string]RuleSet) (RuleSet, error) {
	var r RuleSet
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&r); err != nil {
		return RuleSet{}, err
	}
	if dec.More() {
		return RuleSet{}, fmt.Errorf("more than one value in the file")
	}
	if err := r.check(); err != nil {
		return RuleSet{}, err
	}
	if r.Extends != "" {
		b, ok := base[r.Extends]
		if !ok {
			return RuleSet{}, fmt.Errorf("extends %q, which is not known", r.Extends)
		}
		if err := r.notLooserThan(b); err != nil {
			return RuleSet{}, err
		}
	}
	return r, nil
}

func (r RuleSet) figures() map[string]Figure {
	return map[string]Figure{
		"abstinence_s": r.Figures.Abstinence, "wear_s": r.Figures.Wear, "exercise_s": r.Figures.Exercise,
		"top_up_interval_s": r.Figures.TopUpInterval, "screening_most": r.Figures.ScreeningMost,
		"full_exposure_wait_s": r.Figures.FullExposureFor,
		"window_before_s":      r.House.WindowBefore, "window_after_s": r.House.WindowAfter,
		"late_after_s": r.House.LateAfter, "hurried_under_s": r.House.HurriedUnder, "button_proof_s": r.House.ButtonProof,
	}
}

func (r RuleSet) check() error {
	for _, s := range []struct{ what, v string }{{"id", r.ID}, {"name", r.Name}, {"short", r.Short}, {"source", r.Source}, {"prevails", r.Prevails}} {
		if strings.TrimSpace(s.v) == "" {
			return fmt.Errorf("%s is missing", s.what)
		}
	}
	if len(r.Agents) == 0 {
		return fmt.Errorf("agents is empty")
	}
	for name, f := range r.figures() {
		if f.Source == "" || f.Mark == "" {
			return fmt.Errorf("%s has no source or no provenance mark", name)
		}
		if !(f.Value > 0) || math.IsInf(f.Value, 0) {
			return fmt.Errorf("%s is %v; it must be above 0", name, f.Value)
		}
	}
	for name, f := range map[string]*Figure{"refill_after_s": r.Figures.RefillAfter, "sitting_s": r.House.Sitting, "retest_months": r.Retest, "keep_months": r.Keep} {
		if f != nil && (f.Source == "" || f.Mark == "" || !(f.Value > 0) || math.IsInf(f.Value, 0)) {
			return fmt.Errorf("%s has no source, no provenance mark or no value above 0", name)
		}
	}
	f, h := r.Figures, r.House
	switch {
	case r.Refill() > longestFilling || f.RefillAfter != nil && f.RefillAfter.Duration() > longestFilling:
		return looser("refill_after_s", *f.RefillAfter, "4 h (29 CFR 1910.134 App. A)")
	case f.Abstinence.Duration() < leastAbstinence:
		return looser("abstinence_s", f.Abstinence, "15 minutes (29 CFR 1910.134 App. A)")
	case f.Wear.Duration() < leastWear:
		return looser("wear_s", f.Wear, "5 minutes (29 CFR 1910.134 App. A)")
	case f.Exercise.Duration() < leastExercise:
		return looser("exercise_s", f.Exercise, "60 s (29 CFR 1910.134 App. A; 74 FR 30250)")
	case f.TopUpInterval.Duration() > longestInterval:
		return looser("top_up_interval_s", f.TopUpInterval, "30 s (29 CFR 1910.134 App. A)")
	case f.ScreeningMost.Value > mostScreening:
		return looser("screening_most", f.ScreeningMost, "30 squeezes (29 CFR 1910.134 App. A)")
	case f.Exercise.Duration()%f.TopUpInterval.Duration() != 0:
		return fmt.Errorf("exercise_s is not a whole number of top-up intervals")
	case h.WindowBefore.Duration()+h.WindowAfter.Duration() != f.TopUpInterval.Duration():
		return fmt.Errorf("the windows of neighbouring top-ups must meet: window_before_s and window_after_s add up to top_up_interval_s")
	case h.WindowBefore.Value > 5 || h.WindowAfter.Value > 25:
		return fmt.Errorf("the window of a top-up is wider than the house limit of 5 s before and 25 s after")
	case h.Sitting != nil && h.Sitting.Duration() > longestSitting:
		return looser("sitting_s", *h.Sitting, "the house limit of 2 h")
	case h.LateAfter.Value > 20 || h.HurriedUnder.Value < 0.5 || h.ButtonProof.Value > 20:
		return fmt.Errorf("a house limit is looser than late 20 s, hurried 0.5 s, button proof 20 s")
	}
	if len(r.Exercises) < leastExercises {
		return fmt.Errorf("%d exercises; at least 7 are asked (29 CFR 1910.134 App. A; INDG479)", len(r.Exercises))
	}
	seen := map[string]bool{}
	for _, e := range r.Exercises {
		if !slices.Contains(exerciseIDs, e.ID) {
			return fmt.Errorf("exercise %q is not known", e.ID)
		}
		if seen[e.ID] {
			return fmt.Errorf("exercise %q stands twice", e.ID)
		}
		seen[e.ID] = true
	}
	for _, b := range r.Before {
		if b.ID == "" || b.Source == "" || b.Mark == "" {
			return fmt.Errorf("a question of before has no id, source or mark")
		}
	}
	if r.AfterFail.FailsToOther < 1 || r.AfterFail.Source == "" || r.AfterFail.Mark == "" {
		return fmt.Errorf("after_fail is not complete")
	}
	if r.Facepieces.Source == "" || r.Facepieces.Mark == "" {
		return fmt.Errorf("facepieces has no source or mark")
	}
	return r.checkBins()
}

func (r RuleSet) checkBins() error {
	next := 1
	for _, b := range r.Bins {
		switch {
		case b.Source == "" || b.Mark == "":
			return fmt.Errorf("bin %d has no source or mark", b.Bin)
		case b.From != next || b.To < b.From:
			return fmt.Errorf("bin %d runs from %d to %d; the bins must follow each other from 1 without holes", b.Bin, b.From, b.To)
		case b.Bin < b.To:
			return fmt.Errorf("bin %d is below the count of %d that falls in it: fewer squeezes than the person needed", b.Bin, b.To)
		case b.Initial < b.Bin || b.Initial < 10:
			return fmt.Errorf("bin %d has an initial dose of %d; fewer squeezes than published", b.Bin, b.Initial)
		case 2*b.TopUp < b.Initial:
			return fmt.Errorf("bin %d has top-ups of %d; half the initial dose of %d is the least", b.Bin, b.TopUp, b.Initial)
		}
		next = b.To + 1
	}
	if most := int(r.Figures.ScreeningMost.Value); next != most+1 {
		return fmt.Errorf("the bins end at %d, the sensitivity test at %d squeezes", next-1, most)
	}
	return nil
}

func (r RuleSet) notLooserThan(b RuleSet) error {
	switch {
	case r.Figures.Abstinence.Value < b.Figures.Abstinence.Value:
		return looser("abstinence_s", r.Figures.Abstinence, b.ID)
	case r.Figures.Wear.Value < b.Figures.Wear.Value:
		return looser("wear_s", r.Figures.Wear, b.ID)
	case r.Figures.Exercise.Value < b.Figures.Exercise.Value:
		return looser("exercise_s", r.Figures.Exercise, b.ID)
	case r.Figures.TopUpInterval.Value > b.Figures.TopUpInterval.Value:
		return looser("top_up_interval_s", r.Figures.TopUpInterval, b.ID)
	case r.Refill() > b.Refill():
		return looser("refill_after_s", *r.Figures.RefillAfter, b.ID)
	case b.Retest != nil && (r.Retest == nil || r.Retest.Value > b.Retest.Value):
		return fmt.Errorf("retest_months is missing or longer than under %s", b.ID)
	case b.Keep != nil && (r.Keep == nil || r.Keep.Value < b.Keep.Value):
		return fmt.Errorf("keep_months is missing or shorter than under %s", b.ID)
	case len(r.Exercises) < len(b.Exercises):
		return fmt.Errorf("fewer exercises than %s", b.ID)
	case r.Facepieces.FullFace && !b.Facepieces.FullFace:
		return fmt.Errorf("full face is not allowed by %s", b.ID)
	case b.Facepieces.FitFactorMost > 0 && (r.Facepieces.FitFactorMost == 0 || r.Facepieces.FitFactorMost > b.Facepieces.FitFactorMost):
		return fmt.Errorf("fit_factor_most is looser than %s", b.ID)
	case r.AfterFail.Refit && !b.AfterFail.Refit:
		return fmt.Errorf("a refit after a fail is not allowed by %s", b.ID)
	case r.AfterFail.FailsToOther > b.AfterFail.FailsToOther:
		return fmt.Errorf("fails_to_other is looser than %s", b.ID)
	case !r.AfterFail.ScreeningAgain && b.AfterFail.ScreeningAgain:
		return fmt.Errorf("screening_again after a fail is asked by %s", b.ID)
	case !r.Facepieces.NegativePressureOnly && b.Facepieces.NegativePressureOnly:
		return fmt.Errorf("negative_pressure_only is asked by %s", b.ID)
	case r.Figures.ScreeningMost.Value > b.Figures.ScreeningMost.Value:
		return looser("screening_most", r.Figures.ScreeningMost, b.ID)
	case r.House.WindowBefore.Value > b.House.WindowBefore.Value:
		return looser("window_before_s", r.House.WindowBefore, b.ID)
	case r.House.WindowAfter.Value > b.House.WindowAfter.Value:
		return looser("window_after_s", r.House.WindowAfter, b.ID)
	case r.House.LateAfter.Value > b.House.LateAfter.Value:
		return looser("late_after_s", r.House.LateAfter, b.ID)
	case r.House.HurriedUnder.Value < b.House.HurriedUnder.Value:
		return looser("hurried_under_s", r.House.HurriedUnder, b.ID)
	case r.Sitting() > b.Sitting():
		return looser("sitting_s", Figure{Value: r.Sitting().Seconds()}, b.ID)
	case r.House.ButtonProof.Value > b.House.ButtonProof.Value:
		return looser("button_proof_s", r.House.ButtonProof, b.ID)
	}
	for _, a := range r.Agents {
		if !slices.Contains(b.Agents, a) {
			return fmt.Errorf("the agent %s is not one of %s", a, b.ID)
		}
	}
	for n := 1; n <= int(r.Figures.ScreeningMost.Value); n++ {
		if x, y := r.BinOf(n), b.BinOf(n); x.Initial < y.Initial || x.TopUp < y.TopUp {
			return fmt.Errorf("a count of %d gets fewer squeezes than under %s", n, b.ID)
		}
	}
	for _, q := range b.Before {
		if !slices.ContainsFunc(r.Before, func(x Question) bool { return x.ID == q.ID }) {
			return fmt.Errorf("the question %s of %s is missing", q.ID, b.ID)
		}
	}
	return nil
}

func looser(name string, f Figure, than string) error {
	return fmt.Errorf("%s is %v, looser than %s", name, f.Value, than)
}

// BinOf is the bin of a count of squeezes at the report: 1 to 10 gives 10 and
// so on; a count above the last bin stays in it, one of 0 has none.
func (r RuleSet) BinOf(count int) Bin {
	if count < 1 {
		return Bin{}
	}
	for _, b := range r.Bins {
		if count <= b.To {
			return b
		}
	}
	return r.Bins[len(r.Bins)-1]
}

// Length is how long the run clock runs when nothing stops it.
func (r RuleSet) Length() time.Duration {
	return time.Duration(len(r.Exercises)) * r.Figures.Exercise.Duration()
}

// TopUps is how many top-ups fall due before the end; none falls due at it.
func (r RuleSet) TopUps() int {
	return int((r.Length() - 1) / r.Figures.TopUpInterval.Duration())
}

// Due is when top-up n (from 1) falls due on the run clock.
func (r RuleSet) Due(n int) time.Duration {
	return time.Duration(n) * r.Figures.TopUpInterval.Duration()
}

// Window is the stretch [open, shut) of the run clock in which squeezes count
// toward top-up n.
func (r RuleSet) Window(n int) (open, shut time.Duration) {
	d := r.Due(n)
	return d - r.House.WindowBefore.Duration(), d + r.House.WindowAfter.Duration()
}

// WindowAt is the top-up whose window holds an instant of the run clock; 0 for none.
func (r RuleSet) WindowAt(t time.Duration) int {
	iv := r.Figures.TopUpInterval.Duration()
	n := int((t + r.House.WindowBefore.Duration()) / iv)
	if n < 1 || n > r.TopUps() || t < 0 {
		return 0
	}
	return n
}

// ExerciseAt is the number (from 0) of the exercise at an instant of the run
// clock; the end belongs to the last one.
func (r RuleSet) ExerciseAt(t time.Duration) int {
	return min(max(0, int(t/r.Figures.Exercise.Duration())), len(r.Exercises)-1)
}

// MayTest says whether this rule set lets the qualitative method be used on a
// kind of facepiece; the reason is a sentence when it does not.
func (r RuleSet) MayTest(kind FacepieceKind, neededFitFactor int) (bool, string) {
	switch {
	case kind == FullFace && !r.Facepieces.FullFace:
		return false, r.Short + " does not allow the taste test for a full face mask. Use a quantitative test."
	case r.Facepieces.FitFactorMost > 0 && neededFitFactor > r.Facepieces.FitFactorMost:
		return false, fmt.Sprintf("%s allows the taste test only where a fit factor of %d or less is needed; this one needs %d. Use a quantitative test.", r.Short, r.Facepieces.FitFactorMost, neededFitFactor)
	}
	return true, ""
}

// A FacepieceKind is what sort of facepiece it is.
type FacepieceKind string

// The kinds of facepiece.
const (
	Disposable FacepieceKind = "disposable"
	HalfMask   FacepieceKind = "half_mask"
	FullFace   FacepieceKind = "full_face"
)

var exerciseIDs = []string{
	"normal_breathing", "deep_breathing", "head_side_to_side", "head_up_and_down",
	"talking", "bending_over", "normal_breathing_again",
}
