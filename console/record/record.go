// SPDX-License-Identifier: Apache-2.0

// Package record turns the facts of a run into the record of it, schema
// tallyhood.record/1. It must not add anything that the facts do not say.
package record

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"tallyhood/console/hoodlevel"
	"tallyhood/console/procedure"
)

// Schema names the form of a record.
const Schema = "tallyhood.record/1"

// Seconds are seconds on the run clock, written to the millisecond.
type Seconds time.Duration

// MarshalJSON writes the nearest millisecond in seconds.
func (s Seconds) MarshalJSON() ([]byte, error) {
	ms := time.Duration(s).Round(time.Millisecond).Milliseconds()
	return strconv.AppendFloat(nil, float64(ms)/1000, 'f', -1, 64), nil
}

// UnmarshalJSON reads seconds.
func (s *Seconds) UnmarshalJSON(b []byte) error {
	f, err := strconv.ParseFloat(string(b), 64)
	if err != nil {
		return fmt.Errorf("seconds: %w", err)
	}
	*s = Seconds(math.Round(f*1000) * float64(time.Millisecond))
	return nil
}

func seconds(d time.Duration) *Seconds {
	s := Seconds(d)
	return &s
}

// A Record is what a run came to. Absent parts are null.
type Record struct {
	Schema      string            `json:"schema"`
	Outcome     procedure.Outcome `json:"outcome"`
	Reason      procedure.Reason  `json:"reason"`
	Rules       string            `json:"rules"`
	Agent       string            `json:"agent"`
	Screening   Screening         `json:"screening"`
	Fit         *Fit              `json:"fit"`             // null before the initial dose was begun
	Proof       *string           `json:"proof,omitempty"` // tasted, not_tasted, or not_answered: begun, and nobody said what was tasted
	Corrections []Correction      `json:"corrections"`
	Inputs      Inputs            `json:"inputs"`
	Recalled    *Recalled         `json:"recalled,omitempty"` // absent: the run was not recalled

	ProofLeft *ProofLeft   `json:"proof_left,omitempty"` // absent: no proof was left
	Names     []NameAnswer `json:"names,omitempty"`      // to being asked by name, in order; absent: none

	// Remarks are on the run as a whole, see RemarkTry and the others, and Try is
	// with the same facepiece in one sitting, fails alone counted; 0: the first.
	// Both come of whom the box knows, which no capture holds: the JSON of a live
	// run is that of the replay of its capture.
	Remarks []string `json:"-"`
	Try     int      `json:"-"`

	// Refused is what kept a run from going on that came to nothing; only the
	// text has it.
	Refused []procedure.Ignored `json:"-"`
}

// ProofLeft says who left the proof after a pass unmade.
type ProofLeft struct {
	Why string `json:"why"` // procedure.LeftForWelfare or procedure.LeftUndone
	By  string `json:"by"`  // wearer for the wearer's own page; empty: not known
}

// A NameAnswer is what was said when the wearer was asked by name.
type NameAnswer struct {
	Yes bool     `json:"yes"`
	By  string   `json:"by"`   // wearer for the wearer's own page, else who passed it on; empty: not known
	AtS *Seconds `json:"at_s"` // on the run clock; null before it started
}

// Remarks on a run as a whole.
const (
	RemarkTry      = "tried_before"       // a fail with the same facepiece came before it in the sitting; the record's try says which one it is
	RemarkNoKit    = "no_nebuliser_named" // none was entered in the list of kit, so none was asked for
	RemarkNameless = "name_not_confirmed" // it went on to a next step while nobody had confirmed the name
)

// A Correction is the tester's word that a squeeze was missed (+1) or was none
// (-1), with the reason given.
type Correction struct {
	Part   procedure.Part `json:"part"`
	TopUp  int            `json:"top_up"` // 0 outside top-ups
	Delta  int            `json:"delta"`
	Reason string         `json:"reason"`
	By     string         `json:"by"`
	AtS    *Seconds       `json:"at_s"` // on the run clock; null before it started
}

// Screening is the sensitivity test.
type Screening struct {
	Squeezes int `json:"squeezes"` // sure ones
	Doubtful int `json:"doubtful"` // ones that count for the bin alone, taken back ones among them
	Added    int `json:"added"`    // by the tester's correction
	Taken    int `json:"taken"`
	Bin      int `json:"bin"` // 0: not reached
}

// Fit is the fit test.
type Fit struct {
	Initial       Initial    `json:"initial"`
	TopUps        []TopUp    `json:"top_ups"`   // those whose window had opened
	Exercises     []Exercise `json:"exercises"` // those that had begun
	TasteS        *Seconds   `json:"taste_s"`
	TasteExercise *string    `json:"taste_exercise"`
	SqueezesTotal int        `json:"squeezes_total"`
	DurationS     *Seconds   `json:"duration_s"` // null before the clock started
	Level         *Level     `json:"level"`
	SqueezesS     []Seconds  `json:"squeezes_s"`
}

// Initial is the initial dose.
type Initial struct {
	Required int      `json:"required"`
	Given    int      `json:"given"`
	Doubtful int      `json:"doubtful"`
	Added    int      `json:"added"` // by the tester's correction
	Taken    int      `json:"taken"`
	Remarks  []string `json:"remarks"`
}

// A TopUp is one of the doses on the run clock.
type TopUp struct {
	N        int      `json:"n"`
	DueS     Seconds  `json:"due_s"`
	Required int      `json:"required"`
	Given    int      `json:"given"`
	Extra    int      `json:"extra"`
	Doubtful int      `json:"doubtful"`
	Added    int      `json:"added"`
	Taken    int      `json:"taken"`
	FirstS   *Seconds `json:"first_s"`
	DoneS    *Seconds `json:"done_s"`
	Remarks  []string `json:"remarks"` // late, hurried, extra
}

// An Exercise is a stretch of the run clock.
type Exercise struct {
	ID     string  `json:"id"`
	StartS Seconds `json:"start_s"`
	EndS   Seconds `json:"end_s"`
}

// Level is the modelled hood level over the run clock, in units of the initial
// dose: computed, never evidence.
type Level struct {
	Mean float64 `json:"mean"`
	Min  float64 `json:"min"`
}

// Inputs is what the contacts did up to the verdict.
type Inputs struct {
	Squeeze    int      `json:"squeeze"`
	Taste      int      `json:"taste"`
	Step       int      `json:"step"`
	NoiseEdges int      `json:"noise_edges"`
	Supervised bool     `json:"supervised"`
	Faults     []string `json:"faults"`
}

// Of gives the record of a run that has ended. A run without a verdict has
// none; the error says so.
func Of(s procedure.State) (Record, error) {
	if s.Verdict == nil {
		return Record{}, fmt.Errorf("run %s has no verdict yet", s.Opened.Run)
	}
	r := Record{
		Schema: Schema, Outcome: s.Verdict.Outcome, Reason: s.Verdict.Reason,
		Rules: s.Opened.Rules.ID, Agent: s.Opened.Agent,
		Screening: Screening{Squeezes: len(s.Screening), Doubtful: s.ScreenDoubt, Added: s.ScreenAdded, Taken: s.ScreenTaken, Bin: s.Bin},
		Inputs:    Inputs{Supervised: s.Opened.Supervised, Faults: []string{}},
	}
	if s.Bin > 0 {
		r.Screening.Squeezes = s.SureAtBin
	}
	if t := s.Tally; t != nil {
		r.Inputs.Squeeze, r.Inputs.Taste, r.Inputs.Step, r.Inputs.NoiseEdges = t.Squeeze, t.Taste, t.Step, t.Noise
	}
	r.Corrections = []Correction{}
	for _, c := range s.Corrections {
		r.Corrections = append(r.Corrections, Correction{c.Part, c.TopUp, c.Delta, c.Reason, c.By, onClock(s, c.At)})
	}
	for _, f := range s.Faults {
		text := f.What
		if f.Detail != "" {
			text += ": " + f.Detail
		}
		r.Inputs.Faults = append(r.Inputs.Faults, text)
	}
	if s.Initial.Required > 0 {
		r.Fit = fit(s)
	}
	if p := Proof(s); p != "" {
		r.Proof = &p
	}
	if l := s.ProofLeft; l != nil {
		r.ProofLeft = &ProofLeft{l.Why, l.By}
	}
	for _, n := range s.Names {
		r.Names = append(r.Names, NameAnswer{n.Yes, n.By, onClock(s, n.At)})
	}
	r.Remarks, r.Try = OnRun(s), s.Opened.Try
	if r.Outcome == procedure.CannotTaste || r.Reason == procedure.Interrupted {
		r.Refused = s.Refused
	}
	return r, nil
}

// onClock is an instant on the run clock; nil before it started.
func onClock(s procedure.State, at time.Duration) *Seconds {
	if s.Clock == nil || at < *s.Clock {
		return nil
	}
	return seconds(at - *s.Clock)
}

// OnRun are the remarks on a run as a whole. What only a person can answer is not
// missed where no person is known, as in a capture.
func OnRun(s procedure.State) []string {
	var out []string
	if s.Opened.Try > 1 {
		out = append(out, RemarkTry)
	}
	began := s.Stage == procedure.Screening || slices.ContainsFunc(s.Spent, func(x procedure.Spent) bool { return x.Stage == procedure.Screening })
	if began && !s.Opened.Kit && s.Opened.Drill == nil && s.Opened.Wearer != (procedure.Wearer{}) {
		out = append(out, RemarkNoKit)
	}
	if s.Unnamed {
		out = append(out, RemarkNameless)
	}
	return out
}

// What the proof after a pass came to.
const (
	ProofTasted      = "tasted"
	ProofNotTasted   = "not_tasted"
	ProofNotAnswered = "not_answered" // it was begun or left, and nobody said what was tasted: a remark, no doubt
)

// Proof is what the proof after a pass came to; empty: none was begun.
func Proof(s procedure.State) string {
	switch {
	case s.Proof != nil && s.Proof.Tasted:
		return ProofTasted
	case s.Proof != nil:
		return ProofNotTasted
	case s.Stage == procedure.ProvingMist || s.ProofLeft != nil:
		return ProofNotAnswered
	}
	return ""
}

func fit(s procedure.State) *Fit {
	f := &Fit{
		Initial: Initial{
			Required: s.Initial.Required, Given: len(s.Initial.Given), Doubtful: s.Initial.Doubtful,
			Added: s.Initial.Added, Taken: s.Initial.Taken, Remarks: []string{},
		},
		TopUps: []TopUp{}, Exercises: []Exercise{}, SqueezesS: []Seconds{},
		SqueezesTotal: s.Total(),
	}
	if s.Initial.Hurried {
		f.Initial.Remarks = append(f.Initial.Remarks, "hurried")
	}
	if s.Clock == nil {
		return f
	}
	rules := s.Opened.Rules
	end := min(s.Verdict.At-*s.Clock, rules.Length())
	f.DurationS = seconds(end)
	for n := 1; n <= rules.TopUps(); n++ {
		if open, _ := rules.Window(n); open > end {
			break
		}
		f.TopUps = append(f.TopUps, topUp(s, n))
	}
	for i, e := range rules.Exercises {
		start := time.Duration(i) * rules.Figures.Exercise.Duration()
		if start > end {
			break
		}
		f.Exercises = append(f.Exercises, Exercise{e.ID, Seconds(start), Seconds(min(end, start+rules.Figures.Exercise.Duration()))})
	}
	if s.Verdict.Reason == procedure.Tasted {
		f.TasteS = seconds(s.Verdict.At - *s.Clock)
		f.TasteExercise = &rules.Exercises[rules.ExerciseAt(s.Verdict.At-*s.Clock)].ID
	}
	sq := s.Squeezes()
	for _, t := range sq {
		f.SqueezesS = append(f.SqueezesS, Seconds(t))
	}
	m := hoodlevel.Model{}
	mean, ok1 := m.Mean(sq, s.Initial.Required, end)
	low, ok2 := m.Min(sq, s.Initial.Required, end)
	if ok1 && ok2 {
		f.Level = &Level{round6(mean), round6(low)}
	}
	return f
}

func topUp(s procedure.State, n int) TopUp {
	d := s.TopUp(n)
	t := TopUp{
		N: n, DueS: Seconds(s.Opened.Rules.Due(n)), Required: d.Required, Given: len(d.Given), Extra: len(d.Extra),
		Doubtful: d.Doubtful, Added: d.Added, Taken: d.Taken, Remarks: Remarks(s, n),
	}
	if len(d.Given) > 0 {
		t.FirstS = seconds(d.Given[0] - *s.Clock)
	}
	if d.Left() == 0 && d.Required > 0 {
		t.DoneS = seconds(d.Given[d.Required-1] - *s.Clock)
	}
	return t
}

// Remarks are the remarks on a top-up: late, hurried, extra.
func Remarks(s procedure.State, n int) []string {
	d, out := s.TopUp(n), []string{}
	if s.Clock == nil {
		return out
	}
	if d.Required > 0 && d.Left() == 0 && d.Given[d.Required-1]-*s.Clock > s.Opened.Rules.Due(n)+s.Opened.Rules.House.LateAfter.Duration() {
		out = append(out, "late")
	}
	if d.Hurried {
		out = append(out, "hurried")
	}
	if len(d.Extra) > 0 {
		out = append(out, "extra")
	}
	return out
}

func round6(f float64) float64 { return math.Round(f*1e6) / 1e6 }

// JSON is the record as one line of JSON.
func (r Record) JSON() ([]byte, error) { return json.Marshal(r) }
