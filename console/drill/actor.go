// SPDX-License-Identifier: Apache-2.0

package drill

import (
	"slices"
	"strconv"
	"time"

	"tallyhood/console/hoodlevel"
	"tallyhood/console/procedure"
)

// A Deed is something that the simulated wearer does at an instant of the
// board's clock. What is press or release of the button, cable_out or cable_in
// of its plug, or the key of what a tester sees and hears.
type Deed struct {
	At   time.Duration
	What string
	Text string
}

// An Actor is the wearer of a drill. It waits for nothing and draws nothing
// that its seed does not give; it is for one run and one goroutine.
type Actor struct {
	ask   Ask
	truth *Truth // known with the rules of the run
	done  map[string]bool
	queue []planned

	looked  time.Duration // taste is judged up to here
	tasted  bool          // in the fit test
	residue bool          // donned before the taste was gone
	asked   time.Duration // not asked to press again before
}

type planned struct {
	Deed
	in []procedure.Stage // stages in which it is still done; empty: whatever the stage
}

// NewActor is the wearer of an ask that Check lets through.
func NewActor(a Ask) *Actor {
	return &Actor{ask: a, done: map[string]bool{}, looked: -1 << 62}
}

// Next is the instant at which the wearer does something next, as things stand.
func (a *Actor) Next(st procedure.State) (time.Duration, bool) {
	a.see(st, st.At)
	at, ok := time.Duration(0), false
	if len(a.queue) > 0 {
		at, ok = a.queue[0].At, true
	}
	if st.Stage == procedure.Running && !a.tasted {
		for _, w := range a.openings(st) {
			if w > max(a.looked, st.At) && (!ok || w < at) {
				at, ok = w, true
			}
		}
	}
	return at, ok
}

// Act gives what the wearer does up to an instant, oldest first.
func (a *Actor) Act(st procedure.State, now time.Duration) []Deed {
	a.see(st, now)
	var out []Deed
	for len(a.queue) > 0 && a.queue[0].At <= now {
		d := a.queue[0]
		a.queue = a.queue[1:]
		if len(d.in) == 0 || slices.Contains(d.in, st.Stage) {
			out = append(out, d.Deed)
		}
	}
	return out
}

// Asks is the key of what the wearer waits for or is about, as a tester sees it;
// empty while there is nothing to wait for. It tells nothing that is hidden: no
// taste, no leak, and no trouble before it shows.
func (a *Actor) Asks(st procedure.State) string {
	switch st.Stage {
	case procedure.Ready:
		for _, q := range st.Answers {
			if !q.Yes && a.truth != nil && q.Question == a.truth.Question && !did(st, "put_right") {
				return "mending"
			}
		}
		return "questions"
	case procedure.Screening, procedure.Dosing:
		return "mist"
	case procedure.Clearing:
		switch {
		case did(st, "donned"):
			return "facepiece"
		case did(st, "taste_gone"):
			return "donning"
		}
		return "rinsing"
	case procedure.Donning:
		if did(st, "donned") {
			return "wearing"
		}
		return "donning"
	case procedure.ProvingButton:
		return "button"
	case procedure.ProvingMist:
		return "seal"
	}
	return ""
}

// did says whether something was seen or heard already.
func did(st procedure.State, what string) bool {
	return slices.ContainsFunc(st.Did, func(d procedure.DatedDid) bool { return d.What == what })
}

// once says whether something has not been planned before.
func (a *Actor) once(what string) bool {
	fresh := !a.done[what]
	a.done[what] = true
	return fresh
}

// will plans a deed, for as long as the run is in one of some stages.
func (a *Actor) will(at time.Duration, what, text string, in ...procedure.Stage) {
	p := planned{Deed{at, what, text}, in}
	i, _ := slices.BinarySearchFunc(a.queue, p, func(x, y planned) int {
		if x.At <= y.At {
			return -1 // equal instants keep the order in which they were planned
		}
		return 1
	})
	a.queue = slices.Insert(a.queue, i, p)
}

// press plans a press of the button long enough to be sure.
func (a *Actor) press(at time.Duration, in ...procedure.Stage) {
	a.will(at, "press", "", in...)
	a.will(at+400*time.Millisecond, "release", "")
}

// see plans what follows from the run as it stands.
func (a *Actor) see(st procedure.State, now time.Duration) {
	if st.Opened == nil {
		return
	}
	if a.truth == nil {
		t := TruthOf(a.ask, st.Opened.Rules, st.Opened.Agent)
		a.truth = &t
	}
	switch st.Stage {
	case procedure.Ready:
		a.ready(st)
	case procedure.Screening:
		a.screening(st)
	case procedure.Clearing:
		a.clearing(st)
	case procedure.Donning:
		a.donning(st)
	case procedure.Dosing, procedure.Running:
		a.fit(st, now)
	case procedure.ProvingButton:
		a.fit(st, now)
		if a.once("prove") {
			a.press(st.Since+3*time.Second, procedure.ProvingButton)
		}
	case procedure.ProvingMist:
		// The seal is broken: everything comes through.
		if a.once("mist") {
			a.press(st.Since+seconds(3+a.truth.ReactionS), procedure.ProvingMist)
		}
	}
}

func (a *Actor) ready(st procedure.State) {
	t := a.truth
	if a.once("ready") {
		name := t.Name
		if t.OtherName != "" {
			name = t.OtherName
		}
		a.will(st.OpenedAt+500*time.Millisecond, "says_name", name, procedure.Ready)
		a.will(st.OpenedAt+time.Second, "ate", strconv.Itoa(int(t.AteMin)), procedure.Ready)
		for _, p := range t.Troubles {
			if x, _ := TroubleOf(p.Key); x.Sees == "answers_no" || x.Sees == "hands_strong" {
				a.will(st.OpenedAt+seconds(p.AtS), x.Sees, t.Question, procedure.Ready)
			}
		}
	}
	if t.Question == "" || !a.done["ready"] {
		return
	}
	if yes, answered := st.Answer(t.Question); answered && !yes && a.once("put_right") {
		a.will(st.At+20*time.Second, "put_right", t.Question, procedure.Ready)
	}
}

func (a *Actor) screening(st procedure.State) {
	n := a.truth.Squeezes
	if n == 0 || len(st.Screening) < n || !a.once("screening") {
		return
	}
	a.taste(st.Screening[n-1], procedure.Screening)
}

// taste: the wearer tastes at an instant and says so, by button or by word.
func (a *Actor) taste(at time.Duration, in ...procedure.Stage) {
	at += seconds(a.truth.ReactionS)
	if a.truth.Has("says_aloud") {
		a.will(at, "says_taste", "", in...)
		return
	}
	a.press(at, in...)
}

func (a *Actor) clearing(st procedure.State) {
	a.prove(st)
	if !a.once("clearing") {
		return
	}
	if p, ok := a.truth.planned("still_tastes"); ok {
		a.will(st.Since+seconds(p.AtS), "still_tastes", "", procedure.Clearing)
	}
	gone := st.Since + seconds(a.truth.ClearS)
	a.will(gone, "taste_gone", "", procedure.Clearing)
	a.will(gone+dons, "donned", "", procedure.Clearing)
}

// dons is how long the wearer takes to put the facepiece on and check its seal.
const dons = 25 * time.Second

// prove: the wearer is asked to press once where the button is not proven, as
// after a word said aloud or after the run waited.
func (a *Actor) prove(st procedure.State) {
	if st.Proven || st.Parked || st.At < a.asked {
		return
	}
	at := max(st.Since, st.At) + 6*time.Second
	a.asked = at + 10*time.Second
	a.press(at, procedure.Clearing, procedure.Donning)
}

func (a *Actor) donning(st procedure.State) {
	a.prove(st)
	if !a.once("donning") {
		return
	}
	a.residue = len(st.Spent) > 0 && st.Spent[len(st.Spent)-1].For < seconds(a.truth.ClearS)
	if !did(st, "donned") { // the tester went on before it was on
		a.will(st.Since+dons, "donned", "", procedure.Donning)
	}
}

// openings are the instants at which more begins to come through.
func (a *Actor) openings(st procedure.State) []time.Duration {
	var out []time.Duration
	if st.Clock != nil {
		for _, w := range a.truth.Worse {
			out = append(out, *st.Clock+time.Duration(w.Number)*st.Opened.Rules.Figures.Exercise.Duration()+seconds(w.FromS))
		}
	}
	return out
}

func (a *Actor) fit(st procedure.State, now time.Duration) {
	fit := []procedure.Stage{procedure.Dosing, procedure.Running, procedure.ProvingButton}
	if a.residue && a.once("residue") {
		a.tasted = true
		a.press(st.Since+seconds(2+a.truth.ReactionS), fit...)
	}
	if st.Clock != nil {
		a.troubles(st)
	}
	if a.tasted {
		return
	}
	for _, at := range a.moments(st, now) {
		if Taste(*a.truth, st, at) >= 1 {
			a.tasted = true
			a.taste(at, fit...)
			break
		}
	}
	a.looked = max(a.looked, now)
}

// moments are the instants since it last looked at which the taste may begin:
// between them the level only falls.
func (a *Actor) moments(st procedure.State, now time.Duration) []time.Duration {
	out := append(squeezes(st), a.openings(st)...)
	out = slices.DeleteFunc(out, func(at time.Duration) bool { return at <= a.looked-late || at > now })
	slices.Sort(out)
	return out
}

// late is how long after its date a squeeze may come to be known.
const late = time.Second

// troubles plans what comes while the clock runs.
func (a *Actor) troubles(st procedure.State) {
	for _, p := range a.truth.Troubles {
		x, _ := TroubleOf(p.Key)
		if x.Stage != procedure.Running {
			continue
		}
		at := *st.Clock + seconds(p.AtS)
		if p.Key == "no_mist" {
			// It shows at the first squeeze that brings none.
			i := slices.IndexFunc(squeezes(st), func(s time.Duration) bool { return s >= at })
			if i < 0 {
				continue
			}
			at = squeezes(st)[i] + time.Second
		}
		if !a.once(p.Key) {
			continue
		}
		a.will(at, x.Sees, "", procedure.Running)
		if p.Key == "button_out" {
			a.will(at, "cable_out", "", procedure.Running)
			a.will(at+20*time.Second, "cable_in", "")
		}
	}
}

// squeezes are the instants of all squeezes of the fit test, in order.
func squeezes(st procedure.State) []time.Duration {
	out := slices.Concat(st.Initial.Given, st.Initial.Extra, st.Outside)
	for _, d := range st.TopUps {
		out = append(append(out, d.Given...), d.Extra...)
	}
	slices.Sort(out)
	return out
}

// Threshold is the level, in squeezes of the weak solution, at which the wearer
// tastes: the modelled one at the squeeze of the sensitivity test that brought
// the taste. 0 when there was none.
func Threshold(t Truth, st procedure.State) float64 {
	n := t.Squeezes
	if n == 0 || len(st.Screening) < n {
		return 0
	}
	level, _ := hoodlevel.Model{}.At(st.Screening[:n], 1, st.Screening[n-1])
	return level
}

// Taste is what comes through the facepiece at an instant in units of the
// threshold: from 1 on it is tasted. 0 when there is no threshold.
func Taste(t Truth, st procedure.State, at time.Duration) float64 {
	threshold := Threshold(t, st)
	if threshold == 0 {
		return 0
	}
	given := squeezes(st)
	run := time.Duration(-1)
	if st.Clock != nil {
		run = at - *st.Clock
		if p, ok := t.planned("no_mist"); ok {
			given = slices.DeleteFunc(given, func(s time.Duration) bool { return s >= *st.Clock+seconds(p.AtS) })
		}
	}
	level, _ := hoodlevel.Model{}.At(given, 1, at)
	return level * Assumed.Strong.Values[0] * t.Through(st.Opened.Rules, run) / threshold
}
