// SPDX-License-Identifier: Apache-2.0

package drill

import (
	"math"
	"slices"
	"time"

	"tallyhood/console/procedure"
)

// A Weight is what a mistake costs, and why so much.
type Weight struct {
	Key    string `json:"key"`
	Points int    `json:"points"` // each time
	Most   int    `json:"most"`   // of all times together
	Rule   string `json:"rule"`   // what it stands on
	Why    string `json:"why"`    // so many points
}

// Weights are data: what each mistake costs out of 100 points. The sizes are
// house choices [H]; what leads to a false pass costs most, what only costs a
// repeat costs less, and what is a matter of rhythm least.
var Weights = []Weight{
	{"false_pass", 60, 60, ruleNotValid, "A false pass is the worst that can happen: nobody may pass a drill with one."},
	{"wrong_person", 40, 40, rulePerson, "A pass in another person's record is a false pass for somebody who was never tested."},
	{"question_passed", 25, 50, ruleBefore, "A yes where something is wrong hides hair at the seal or the wrong solution: both lead to a false pass."},
	{"wrong_nebuliser", 10, 20, ruleKit, "The box refused it; without the box it would have been a challenge a hundred times too thin."},
	{"missed", 25, 50, ruleNotValid, "The run went on as if nothing had been seen; only something else kept it from a pass."},
	{"wrong_reaction", 10, 20, ruleNotValid, "The run was ended, which is safe, but the record gives another reason than what happened."},
	{"late_reaction", 5, 15, ruleHouse, "It came, but so late that the run or the person was at risk meanwhile."},
	{"abstinence_overstated", 20, 20, ruleBefore, "What was eaten dulls the tongue: the threshold comes out wrong for the whole test."},
	{"clearing_short", 20, 20, ruleClear, "The rest of the taste gives a false fail, and a tongue still numb from it a false pass."},
	{"wear_short", 15, 15, ruleWear, "A facepiece that has not settled can seal better than it will at work."},
	{"too_soon", 2, 6, ruleBefore, "Going on before a wait was over was refused by the box; it shows that the wait was not watched."},
	{"dose_short", 30, 30, ruleDose, "A window closed short: too thin a challenge, so that the whole run was for nothing."},
	{"dose_late", 3, 15, ruleHouse + ": complete within 20 s after it is due", "The level under the hood sank further than the rule means before it was restored."},
	{"hurried", 2, 10, ruleHouse + ": 0.5 s for the bulb to fill", "A bulb that has not filled gives less mist than is counted."},
	{"extra", 1, 5, ruleDose, "Harmless, since it only makes the challenge stronger, but the count was lost."},
	{"ended_without_need", 25, 25, ruleNotValid, "Nothing had happened: a needless repeat for the wearer, or a false fail."},
}

// WeightOf finds a weight by its key.
func WeightOf(key string) (Weight, bool) {
	i := slices.IndexFunc(Weights, func(w Weight) bool { return w.Key == key })
	if i < 0 {
		return Weight{}, false
	}
	return Weights[i], true
}

// An Item is a mistake with what it cost. Its sentence is the page's.
type Item struct {
	Key    string `json:"key"`
	Times  int    `json:"times"`
	Points int    `json:"points"` // lost
	Rule   string `json:"rule"`
	About  string `json:"about"` // key of the trouble that it was about; empty: none
}

// A Reaction is what came of a trouble that came.
type Reaction struct {
	N       int            `json:"n"` // from 1, in the order in which they came
	Trouble string         `json:"trouble"`
	AtS     float64        `json:"at_s"`  // after the drill was opened
	Right   procedure.Verb `json:"right"` // empty: none to give
	ByS     float64        `json:"by_s"`  // 0: until the run goes on
	Did     string         `json:"did"`   // verb, or empty for nothing
	AfterS  *float64       `json:"after_s"`
	// Grade is right, late, wrong, missed, or cut_off when the run ended before
	// its time was over.
	Grade string `json:"grade"`
	Ends  bool   `json:"ends"` // the right reaction ends the run
}

// Acted says whether the tester did anything about it.
func (r Reaction) Acted() bool { return r.Did != "" }

// A Rhythm is how the squeezes of the fit test came, in seconds.
type Rhythm struct {
	Required   int      `json:"required"` // of the doses that were begun
	Given      int      `json:"given"`
	Extra      int      `json:"extra"`
	LateMidS   *float64 `json:"late_mid_s"`   // median from due to complete over the top-ups; null: none was complete
	LateWorstS *float64 `json:"late_worst_s"` //
	CadenceS   *float64 `json:"cadence_s"`    // median between squeezes of one dose
	Hurried    *float64 `json:"hurried"`      // share of those intervals too short for the bulb
}

// A Point of the curve: what comes through in units of the threshold.
type Point struct {
	TS    float64 `json:"t_s"` // on the run clock
	Taste float64 `json:"taste"`
}

// A Sheet is a drill with its score. It is practice and nothing else.
type Sheet struct {
	Run       string            `json:"run"`
	Practice  string            `json:"practice"` // never empty
	Trainee   string            `json:"trainee"`
	Opened    string            `json:"opened"` // wall time, RFC 3339
	Ask       Ask               `json:"ask"`
	Rules     string            `json:"rules"`
	Agent     string            `json:"agent"`
	Facepiece string            `json:"facepiece"`
	Scored    bool              `json:"scored"`
	Unscored  string            `json:"unscored"` // why not: no_drill, open, given_up, for_the_person or box; empty when it is
	Points    int               `json:"points"`   // of 100; 0 when it is not scored
	Items     []Item            `json:"items"`    // what was lost, the most first
	Outcome   procedure.Outcome `json:"outcome"`
	Reason    procedure.Reason  `json:"reason"`
	// Right is the outcome that the rules ask for after what happened.
	Right procedure.Outcome `json:"right"`
	// Against compares with the hidden fit: agrees, false_pass, false_fail or
	// not_told (the run told nothing of it).
	Against   string     `json:"against"`
	Reactions []Reaction `json:"reactions"`
	Rhythm    Rhythm     `json:"rhythm"`
	Truth     *Truth     `json:"truth"`     // null while the drill is open: it would tell
	Threshold float64    `json:"threshold"` // in squeezes of the weak solution; 0: never found
	Bin       int        `json:"bin"`
	// Curve is what came through over the run clock; empty when it never ran.
	Curve     []Point   `json:"curve"`
	TastedS   *float64  `json:"tasted_s"` // when it first was tasted, on the run clock; null: never
	EndS      *float64  `json:"end_s"`    // of the run clock
	LengthS   float64   `json:"length_s"`
	Exercises []string  `json:"exercises"`
	Doses     []Dose    `json:"doses"` // the initial one first
	SqueezesS []float64 `json:"squeezes_s"`
}

// A Dose as a strip shows it.
type Dose struct {
	Required int     `json:"required"`
	Given    int     `json:"given"`
	Extra    int     `json:"extra"`
	DueS     float64 `json:"due_s"`
	ShutS    float64 `json:"shut_s"`
}

// Score is the sheet of a run from its facts alone, oldest first. It is total: a run that is no
// drill, or that cannot be judged, is not scored and says why.
func Score(facts []procedure.Dated) Sheet {
	m := marker{sheet: Sheet{Practice: Practice, Items: []Item{}, Reactions: []Reaction{}, Curve: []Point{}, Exercises: []string{}, Doses: []Dose{}, SqueezesS: []float64{}}}
	for _, f := range facts {
		m.before(f)
		m.st = procedure.Fold(m.st, f)
	}
	m.finish()
	return m.sheet
}

// A marker goes through the facts of a drill.
type marker struct {
	sheet   Sheet
	st      procedure.State
	truth   Truth
	is      bool // it is a drill
	lost    []Item
	pending []*Reaction
	raised  bool // the wearer's no is not put right yet
	asked   bool // the wearer said no to a question
	named   bool // another name was given
	refused bool // and the tester noted it
	byWord  bool // the last report was passed on by the tester
	binAt   time.Duration
}

func (m *marker) lose(key, about string) {
	w, _ := WeightOf(key)
	for i := range m.lost {
		if l := &m.lost[i]; l.Key == key && l.About == about {
			l.Times++
			return
		}
	}
	m.lost = append(m.lost, Item{Key: key, Times: 1, Rule: w.Rule, About: about})
}

func (m *marker) before(f procedure.Dated) {
	if !m.is {
		if o, ok := f.Fact.(procedure.RunOpened); ok {
			m.opened(o)
		}
		return
	}
	if m.st.Verdict != nil {
		return // the proof after a pass is not part of it
	}
	switch x := f.Fact.(type) {
	case procedure.WearerDid:
		m.did(x, f.At)
	case procedure.Answered:
		m.answered(x, f.At)
	case procedure.NameSaid:
		m.nameSaid(x, f.At)
	case procedure.Abstained:
		m.abstained(x, f.At)
	case procedure.Entered:
		m.entered(x, f.At)
	case procedure.Faulted:
		if x.What == "wear_short" {
			m.lose("wear_short", "")
		}
	case procedure.Ignored:
		m.ignored(x)
	case procedure.Reported:
		m.byWord = x.By == "word"
		if m.byWord {
			m.react("says_aloud", procedure.DoSaidAloud, f.At)
		}
	case procedure.BinSet:
		m.binAt = f.At
	}
}

func (m *marker) opened(o procedure.RunOpened) {
	s := &m.sheet
	if o.Drill == nil {
		return
	}
	m.is = true
	s.Ask = Ask{o.Drill.Seed, o.Drill.Level, o.Drill.Troubles}
	if s.Ask.Troubles == nil {
		s.Ask.Troubles = []string{}
	}
	m.truth = TruthOf(s.Ask, o.Rules, o.Agent)
	s.Run, s.Trainee, s.Opened, s.Rules, s.Agent = o.Run, o.Tester, o.Wall, o.Rules.Short, o.Agent
	s.Facepiece = o.Facepiece.Make + " " + o.Facepiece.Model
	s.LengthS = o.Rules.Length().Seconds()
	for _, e := range o.Rules.Exercises {
		s.Exercises = append(s.Exercises, e.ID)
	}
}

// did: the wearer shows a trouble, or that it is over.
func (m *marker) did(x procedure.WearerDid, at time.Duration) {
	switch x.What {
	case "put_right":
		m.raised = false
		return
	case "says_name":
		if x.Text == m.truth.Name {
			return
		}
		m.named = true
	case "answers_no", "hands_strong":
		m.raised, m.asked = true, true
	case "ate":
		if !m.truth.Has("chewed_gum") {
			return
		}
	}
	t, ok := seen(x.What)
	if x.What == "answers_no" && m.truth.Has("beard") {
		t, ok = TroubleOf("beard")
	}
	if !ok || !m.truth.Has(t.Key) {
		return
	}
	m.pending = append(m.pending, &Reaction{
		N: len(m.pending) + 1, Trouble: t.Key, AtS: round((at - m.st.OpenedAt).Seconds()), Right: t.Right, ByS: t.ByS, Ends: t.ends(),
	})
}

// open is the newest trouble of a kind that nobody has reacted to.
func (m *marker) open(key string) *Reaction {
	for _, r := range slices.Backward(m.pending) {
		if r.Trouble == key && r.Grade == "" {
			return r
		}
	}
	return nil
}

// react notes the right reaction to a trouble.
func (m *marker) react(key string, did procedure.Verb, at time.Duration) bool {
	r := m.open(key)
	if r == nil {
		return false
	}
	m.grade(r, string(did), at)
	return true
}

func (m *marker) grade(r *Reaction, did string, at time.Duration) {
	after := round((at - m.st.OpenedAt).Seconds() - r.AtS)
	r.Did, r.AfterS, r.Grade = did, &after, "right"
	if r.ByS > 0 && after > r.ByS {
		r.Grade = "late"
		m.lose("late_reaction", r.Trouble)
	}
}

func (m *marker) answered(x procedure.Answered, at time.Duration) {
	if x.Question != m.truth.Question || !m.asked {
		return
	}
	key := "beard"
	if m.truth.Has("wrong_nebuliser") {
		key = "wrong_nebuliser"
	}
	switch {
	case !x.Yes:
		m.react(key, procedure.DoAnswer, at)
	case m.raised && m.open(key) != nil:
		r := m.open(key)
		after := round((at - m.st.OpenedAt).Seconds() - r.AtS)
		r.Did, r.AfterS, r.Grade = "answer_yes", &after, "wrong"
		m.lose("question_passed", key)
	}
}

func (m *marker) nameSaid(x procedure.NameSaid, at time.Duration) {
	if !m.named {
		return
	}
	if !x.Yes {
		m.refused = true
		m.react("other_name", "name_said", at)
	} else {
		m.refused = false
	}
}

// abstained: what was entered may not be more than what the wearer said, by the minute.
func (m *marker) abstained(x procedure.Abstained, at time.Duration) {
	since := seconds(60*math.Floor(m.truth.AteMin)) + at - m.st.OpenedAt
	if x.For > since+time.Minute {
		m.lose("abstinence_overstated", "")
		if r := m.open("chewed_gum"); r != nil {
			after := round((at - m.st.OpenedAt).Seconds() - r.AtS)
			r.Did, r.AfterS, r.Grade = string(procedure.DoAbstained), &after, "wrong"
		}
		return
	}
	m.react("chewed_gum", procedure.DoAbstained, at)
}

func (m *marker) entered(x procedure.Entered, at time.Duration) {
	switch x.Stage {
	case procedure.Screening:
		if m.named && !m.refused {
			m.lose("wrong_person", "other_name")
			if r := m.open("other_name"); r != nil {
				r.Grade = "missed"
			}
		}
		// On a run that is not strict the box lets a question pass unanswered.
		for _, key := range []string{"beard", "wrong_nebuliser"} {
			if r := m.open(key); r != nil && m.raised {
				r.Grade = "missed"
				m.lose("question_passed", key)
			}
		}
	case procedure.Donning:
		short := at-m.binAt < seconds(m.truth.ClearS)
		if short {
			m.lose("clearing_short", "")
		}
		if r := m.open("still_tastes"); r != nil {
			after := round((at - m.st.OpenedAt).Seconds() - r.AtS)
			r.AfterS, r.Grade = &after, "right"
			if short {
				r.Did, r.Grade = string(procedure.DoGoOn), "wrong"
			}
		}
	}
}

func (m *marker) ignored(x procedure.Ignored) {
	switch {
	case x.Why == procedure.WhyOtherRole || x.Why == procedure.WhyOtherAgent:
		m.lose("wrong_nebuliser", "")
	case x.Why == procedure.WhyWear || x.Why == procedure.WhyAbstinence || x.Why == procedure.WhyUnanswered:
		m.lose("too_soon", "")
	}
}

// ending is the verb by which a tester ended a run; empty when nobody did.
func (m *marker) ending() procedure.Verb {
	switch v := m.st.Verdict; v.Reason {
	case procedure.HoodOff:
		return procedure.DoHoodOff
	case procedure.FacepieceTouched:
		return procedure.DoTouched
	case procedure.MistCheckFailed:
		return procedure.DoMistFailed
	case procedure.StoppedForWelfare:
		return procedure.DoWelfare
	case procedure.Interrupted:
		return procedure.DoAbandon
	case procedure.Tasted, procedure.TastedBeforeClock:
		if m.byWord {
			return procedure.DoSaidAloud
		}
	}
	return ""
}

// byBox are the ends that no tester can help.
var byBox = []procedure.Reason{
	procedure.PowerLost, procedure.JournalFailed, procedure.InputGap, procedure.Stalled, procedure.CableShort, procedure.DoubtfulReport, procedure.ButtonUnproven,
}

func (m *marker) finish() {
	s := &m.sheet
	switch {
	case !m.is:
		s.Unscored = "no_drill"
		return
	case m.st.Verdict == nil:
		s.Unscored = "open"
		return
	}
	s.Outcome, s.Reason, s.Right = m.st.Verdict.Outcome, m.st.Verdict.Reason, m.st.Verdict.Outcome
	s.Truth, s.Bin, s.Threshold = &m.truth, m.st.Bin, round(Threshold(m.truth, m.st))
	m.judge()
	m.doses()
	m.curve()
	m.against()
	for _, r := range m.pending {
		s.Reactions = append(s.Reactions, *r)
	}
	if s.Unscored != "" {
		return
	}
	s.Scored = true
	m.sum()
}

// judge says what the end of the run was worth, and what of the troubles was
// missed.
func (m *marker) judge() {
	s, v := &m.sheet, m.st.Verdict
	did := m.ending()
	cause := m.cause(did)
	passedOver := false
	for _, r := range m.pending {
		if r.Grade != "" {
			continue
		}
		t, _ := TroubleOf(r.Trouble)
		since := (v.At - m.st.OpenedAt).Seconds() - r.AtS
		switch {
		case t.Right == "" && (!t.ends() || v.Reason == t.Reason):
			r.Grade = "right"
		case t.Right == "":
			r.Grade = "cut_off"
		case r == cause:
			m.grade(r, string(did), v.At)
			if did != t.Right {
				r.Grade = "wrong"
				s.Right = t.Outcome
				// Whoever stops for the person is never wrong to do so.
				if did != procedure.DoWelfare {
					m.lose("wrong_reaction", r.Trouble)
				}
			}
		case t.ByS > 0 && since <= r.ByS && v.Outcome != procedure.Pass:
			r.Grade = "cut_off"
		case t.ByS == 0 && m.st.Bin == 0:
			r.Grade = "cut_off"
		default:
			r.Grade = "missed"
			if v.Outcome == procedure.Pass {
				passedOver = true
				s.Right = t.Outcome
				if !t.ends() {
					s.Right = procedure.Fail // said aloud under the hood
				}
			} else {
				m.lose("missed", r.Trouble)
			}
		}
	}
	switch {
	case passedOver:
		m.lose("false_pass", "")
	case slices.Contains(byBox, v.Reason):
		s.Unscored = "box"
	case cause != nil || did == "":
	case did == procedure.DoWelfare:
		s.Unscored = "for_the_person"
	case did == procedure.DoAbandon && m.refused:
		// Another person than the run is about: there is nothing else to do.
	case did == procedure.DoAbandon:
		s.Unscored = "given_up"
	case did == procedure.DoSaidAloud && slices.ContainsFunc(m.pending, func(r *Reaction) bool { return r.Did == string(did) && r.Right == did }):
	default:
		m.lose("ended_without_need", "")
		s.Right = ""
	}
}

// cause is the trouble that a tester ended the run for: one of that kind, else
// the first that was open.
func (m *marker) cause(did procedure.Verb) *Reaction {
	if did == "" {
		return nil
	}
	var first *Reaction
	for _, r := range m.pending {
		if r.Grade != "" || r.Right == "" || !r.Ends {
			continue
		}
		if r.Right == did {
			return r
		}
		if first == nil {
			first = r
		}
	}
	return first
}

// against compares the end with the hidden fit.
func (m *marker) against() {
	s := &m.sheet
	switch {
	case s.Outcome == procedure.Pass && m.truth.Fits, s.Outcome == procedure.Fail && !m.truth.Fits,
		s.Outcome == procedure.CannotTaste && m.truth.Squeezes == 0:
		s.Against = "agrees"
	case s.Outcome == procedure.Pass:
		s.Against = "false_pass"
	case s.Outcome == procedure.Fail:
		s.Against = "false_fail"
	default:
		s.Against = "not_told"
	}
}

func (m *marker) sum() {
	s := &m.sheet
	s.Points = 100
	spent := map[string]int{}
	for _, l := range m.lost {
		w, _ := WeightOf(l.Key)
		l.Points = min(l.Times*w.Points, w.Most-spent[l.Key])
		spent[l.Key] += l.Points
		s.Points -= l.Points
		s.Items = append(s.Items, l)
	}
	s.Points = max(0, s.Points)
	slices.SortStableFunc(s.Items, func(a, b Item) int { return b.Points - a.Points })
}

// doses judges the squeezes of the fit test.
func (m *marker) doses() {
	s, st := &m.sheet, m.st
	if st.Verdict.Reason == procedure.TopUpShort {
		m.lose("dose_short", "")
	}
	if st.Initial.Required == 0 {
		return
	}
	r := st.Opened.Rules
	var late, gaps []float64
	hurriedUnder := r.House.HurriedUnder.Duration().Seconds()
	rhythm := func(d procedure.Dose) {
		all := slices.Sorted(slices.Values(append(slices.Clone(d.Given), d.Extra...)))
		for i := 1; i < len(all); i++ {
			gaps = append(gaps, (all[i] - all[i-1]).Seconds())
		}
		if d.Hurried {
			m.lose("hurried", "")
		}
		for range d.Extra {
			m.lose("extra", "")
		}
		s.Rhythm.Required += d.Required
		s.Rhythm.Given += len(d.Given)
		s.Rhythm.Extra += len(d.Extra)
	}
	rhythm(st.Initial)
	s.Doses = append(s.Doses, Dose{Required: st.Initial.Required, Given: len(st.Initial.Given), Extra: len(st.Initial.Extra), DueS: -1})
	for range st.Outside {
		m.lose("extra", "")
		s.Rhythm.Extra++
	}
	if st.Clock == nil {
		m.rhythm(late, gaps, hurriedUnder)
		return
	}
	end := min(st.Verdict.At-*st.Clock, r.Length())
	for n := 1; n <= r.TopUps(); n++ {
		d := st.TopUp(n)
		open, shut := r.Window(n)
		s.Doses = append(s.Doses, Dose{d.Required, len(d.Given), len(d.Extra), r.Due(n).Seconds(), shut.Seconds()})
		if open > end {
			continue
		}
		rhythm(d)
		if d.Left() > 0 || d.Required == 0 {
			continue
		}
		after := d.Given[d.Required-1] - *st.Clock - r.Due(n)
		late = append(late, after.Seconds())
		if after > r.House.LateAfter.Duration() {
			m.lose("dose_late", "")
		}
	}
	m.rhythm(late, gaps, hurriedUnder)
	for _, q := range st.Squeezes() {
		s.SqueezesS = append(s.SqueezesS, round(q.Seconds()))
	}
	e := round(end.Seconds())
	s.EndS = &e
}

func (m *marker) rhythm(late, gaps []float64, under float64) {
	h := &m.sheet.Rhythm
	if len(late) > 0 {
		mid, worst := median(late), round(slices.Max(late))
		h.LateMidS, h.LateWorstS = &mid, &worst
	}
	if len(gaps) > 0 {
		mid, n := median(gaps), 0
		for _, g := range gaps {
			if g < under {
				n++
			}
		}
		share := float64(n) / float64(len(gaps))
		h.CadenceS, h.Hurried = &mid, &share
	}
}

// curve is what came through, at every squeeze just before and just after it, at
// every change of what comes through, and every two seconds between.
func (m *marker) curve() {
	st := m.st
	if st.Clock == nil || Threshold(m.truth, st) == 0 {
		return
	}
	end := min(st.Verdict.At-*st.Clock, st.Opened.Rules.Length())
	var at []time.Duration
	for _, q := range st.Squeezes() {
		at = append(at, q-1, q)
	}
	for _, w := range m.truth.Worse {
		begin := time.Duration(w.Number) * st.Opened.Rules.Figures.Exercise.Duration()
		open, shut := begin+seconds(w.FromS), begin+st.Opened.Rules.Figures.Exercise.Duration()
		at = append(at, open-1, open, shut-1, shut)
	}
	for t := time.Duration(0); t < end; t += 2 * time.Second {
		at = append(at, t)
	}
	at = append(at, end)
	slices.Sort(at)
	for _, t := range slices.Compact(at) {
		if t > end {
			continue
		}
		x := Taste(m.truth, st, *st.Clock+t)
		m.sheet.Curve = append(m.sheet.Curve, Point{round(t.Seconds()), x})
		if x >= 1 && m.sheet.TastedS == nil {
			s := round(t.Seconds())
			m.sheet.TastedS = &s
		}
	}
}

// median of at least one value, to the millisecond.
func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	n := len(v)
	return round((v[(n-1)/2] + v[n/2]) / 2)
}

// round to the millisecond.
func round(s float64) float64 { return math.Round(s*1000) / 1000 }

// Short is a sheet for a list.
type Short struct {
	Run      string            `json:"run"`
	Trainee  string            `json:"trainee"`
	Opened   string            `json:"opened"`
	Level    string            `json:"level"`
	Troubles []string          `json:"troubles"` // those that came
	Scored   bool              `json:"scored"`
	Unscored string            `json:"unscored"`
	Points   int               `json:"points"`
	Outcome  procedure.Outcome `json:"outcome"`
	Reason   procedure.Reason  `json:"reason"`
	Against  string            `json:"against"`
}

// Short is the sheet as a line of a list.
func (s Sheet) Short() Short {
	out := Short{s.Run, s.Trainee, s.Opened, s.Ask.Level, []string{}, s.Scored, s.Unscored, s.Points, s.Outcome, s.Reason, s.Against}
	for _, r := range s.Reactions {
		if !slices.Contains(out.Troubles, r.Trouble) {
			out.Troubles = append(out.Troubles, r.Trouble)
		}
	}
	return out
}
