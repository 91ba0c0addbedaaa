// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"slices"
	"time"
)

// A Dose is the squeezes of one dose, by their instants on the board's clock.
type Dose struct {
	Required int
	Given    []time.Duration // those that count, in order
	Extra    []time.Duration
	Doubtful int
	Added    int  // corrections upward
	Taken    int  // corrections downward
	Hurried  bool // an interval was shorter than the bulb needs to fill

	byHand []int // indices in Given of those that were added
}

// Left is how many squeezes are still due.
func (d Dose) Left() int { return max(0, d.Required-len(d.Given)) }

// HalfByHand says that no more squeezes may be added to a dose: of those that
// count, as many as half of it rounded down are a word alone. One that is taken
// back is the last that counted, whether a contact saw it or not.
func (d Dose) HalfByHand() bool { return len(d.byHand) >= d.Required/2 }

// byHand follows a correction that was just made to a list of squeezes of now n
// by the indices of those that were added.
func byHand(added []int, delta, n int) []int {
	last := len(added) - 1
	switch {
	case delta > 0:
		return append(slices.Clip(added), n-1)
	case last >= 0 && added[last] >= n:
		return added[:last]
	}
	return added
}

// A State is what is known of a run. It is a value: Fold never changes the
// state it is given. Instants are of the board's monotonic clock.
type State struct {
	Opened   *RunOpened // never changed; nil only before the run was opened
	plan     *plan      // what the run clock brings, made when the run was opened
	OpenedAt time.Duration
	Stage    Stage
	Since    time.Duration // when the stage began

	Answers   []Answered     // the latest for each question
	Abstained *time.Duration // nothing but water since; nil: not said
	waterSaid time.Duration  // when that was said

	// What of the contacts the start depends on.
	ReportDown, SqueezeDown, SqueezeHeld bool
	Cable                                Verb // DoCableOpen or DoCableShort while faulty
	lastSqueeze, lastReport              *time.Duration
	crossed                              *time.Duration

	NameSaid *NameSaid // the latest answer to being asked by name; nil: none since the run was opened or taken up
	Names    []DatedName
	Unnamed  bool // it went on to a next step while nobody had confirmed the name
	Stranger bool // the name was said to be another's once the sensitivity test had begun
	Parked   bool // it waits, and no contact reaches it
	Did      []DatedDid

	// The sensitivity test.
	Screening   []time.Duration // sure squeezes
	ScreenDoubt int
	ScreenAdded int
	ScreenTaken int

	screenByHand []int // indices in Screening of those that were added
	Bin          int   // 0: not reached
	BinAt        time.Duration
	SureAtBin    int  // sure squeezes when it was set
	Proven       bool // the wearer's button was pressed in this run

	// The fit test.
	Initial Dose
	Clock   *time.Duration  // t = 0
	TopUps  []Dose          // top-up n at n-1
	Outside []time.Duration // extra squeezes outside any window

	Faults      []Faulted
	Corrections []DatedCorrected
	Took        []DatedTook // nebulisers that went into use
	KitFrom     int         // those before it in Took were named before the run last waited
	Spent       []Spent     // stages that are over
	Tally       *Tallied
	Verdict     *Ended
	Proof       *ProofGiven
	ProofLeft   *ProofLeft     // the proof was begun and left
	Notes       []DatedIgnored // the last five
	Refused     []Ignored      // what kept the run from going on, each once

	At time.Duration // reached so far
}

// A DatedCorrected is a correction with its instant on the board's clock.
type DatedCorrected struct {
	At time.Duration
	Corrected
}

// A DatedTook is a nebuliser that went into use at an instant.
type DatedTook struct {
	At time.Duration
	Took
}

// A DatedName is an answer to being asked by name at an instant.
type DatedName struct {
	At time.Duration
	NameSaid
}

// A DatedDid is what the simulated wearer of a drill did at an instant.
type DatedDid struct {
	At time.Duration
	WearerDid
}

// A Spent is how long a stage took.
type Spent struct {
	Stage Stage
	For   time.Duration
}

// A DatedIgnored is an input without effect, for the page.
type DatedIgnored struct {
	At time.Duration
	Ignored
}

// Bin10 and so on: the doses of the state's bin.
func (s State) bin() Bin {
	for _, b := range s.Opened.Rules.Bins {
		if b.Bin == s.Bin {
			return b
		}
	}
	return Bin{}
}

// RunTime is an instant on the run clock; ok is false before it started.
func (s State) RunTime(at time.Duration) (t time.Duration, ok bool) {
	if s.Clock == nil {
		return 0, false
	}
	return at - *s.Clock, true
}

// Counted is how many squeezes of the sensitivity test count for the bin:
// the sure ones and, since more is safer, the doubtful ones.
func (s State) Counted() int { return len(s.Screening) + s.ScreenDoubt }

// Total is the number of squeezes of the fit test, extras included.
func (s State) Total() int {
	n := len(s.Initial.Given) + len(s.Initial.Extra) + len(s.Outside)
	for _, d := range s.TopUps {
		n += len(d.Given) + len(d.Extra)
	}
	return n
}

// Squeezes are the instants of all squeezes of the fit test on the run clock,
// in order; nil before the clock started.
func (s State) Squeezes() []time.Duration {
	if s.Clock == nil {
		return nil
	}
	var all []time.Duration
	add := func(ts []time.Duration) {
		for _, t := range ts {
			all = append(all, t-*s.Clock)
		}
	}
	add(s.Initial.Given)
	add(s.Initial.Extra)
	add(s.Outside)
	for _, d := range s.TopUps {
		add(d.Given)
		add(d.Extra)
	}
	slices.Sort(all)
	return all
}

// Answer is the latest answer to a question.
func (s State) Answer(id string) (yes, answered bool) {
	for _, a := range s.Answers {
		if a.Question == id {
			return a.Yes, true
		}
	}
	return false, false
}

// DoseAt is the dose that a squeeze at an instant would count toward and its
// name; nil when none is open.
func (s State) doseAt(at time.Duration) (part Part, n int, d Dose, open bool) {
	switch s.Stage {
	case Dosing:
		return PartInitial, 0, s.Initial, true
	case Running:
		if n = s.Opened.Rules.WindowAt(at - *s.Clock); n > 0 {
			return PartTopUp, n, s.topUp(n), true
		}
	}
	return "", 0, Dose{}, false
}

// topUp is the n-th top-up as it stands, also before its first squeeze.
func (s State) topUp(n int) Dose {
	if n <= len(s.TopUps) {
		return s.TopUps[n-1]
	}
	return Dose{Required: s.bin().TopUp}
}

// TopUp is the n-th top-up (from 1) as it stands.
func (s State) TopUp(n int) Dose { return s.topUp(n) }

// A plan is what the run clock brings whatever happens, on the run clock.
type plan struct {
	ticks  []time.Duration // instants at which there is something to decide or to order, sorted
	cues   []Order
	shuts  []time.Duration // end of the window of top-up n at n-1
	length time.Duration
}

func planOf(r *RuleSet) *plan {
	p := &plan{length: r.Length()}
	ex := r.Figures.Exercise.Duration()
	for n := 1; n <= len(r.Exercises); n++ {
		end := time.Duration(n) * ex
		p.cues = append(p.cues, Order{Cue: CueFive, At: end - 5*time.Second})
		if n < len(r.Exercises) {
			p.cues = append(p.cues, Order{Cue: CueExercise, At: end})
			p.ticks = append(p.ticks, end)
		}
	}
	for n := 1; n <= r.TopUps(); n++ {
		at := r.Due(n)
		if at%ex == 0 {
			at += dueAfterChange
		}
		p.cues = append(p.cues, Order{Cue: CueDue, At: at})
		_, shut := r.Window(n)
		p.shuts = append(p.shuts, shut)
	}
	for _, c := range p.cues {
		p.ticks = append(p.ticks, c.At-lead)
	}
	p.ticks = append(append(p.ticks, p.shuts...), p.lastMoment())
	slices.Sort(p.ticks)
	return p
}

// lastMoment is just past the end of the last exercise: a report at the very
// end still counts.
func (p *plan) lastMoment() time.Duration { return p.length + 1 }

// Wake is the next instant at which the state has something to decide or to
// order without any input; ok is false when there is none.
func (s State) Wake() (at time.Duration, ok bool) {
	switch s.Stage {
	case Screening:
		r := &s.Opened.Rules
		if n := len(s.Screening); n >= int(r.Figures.ScreeningMost.Value) {
			at = s.Screening[n-1] + r.Figures.FullExposureFor.Duration()
		}
	case Running:
		i, _ := slices.BinarySearch(s.plan.ticks, s.At-*s.Clock+1)
		if i < len(s.plan.ticks) {
			at = *s.Clock + s.plan.ticks[i]
		}
	case ProvingButton:
		at = *s.Clock + s.plan.length + s.Opened.Rules.House.ButtonProof.Duration()
	}
	return at, at > s.At
}

// New is the state of a run that was just opened.
func New(o RunOpened, at time.Duration) State {
	return Fold(State{}, Dated{at, o})
}

// Reach says that the state has been asked everything up to an instant.
func (s State) Reach(at time.Duration) State {
	s.At = max(s.At, at)
	return s
}

// Fold gives the state after a fact. It changes nothing in s.
func Fold(s State, d Dated) State {
	next := fold(s, d)
	if s.Opened != nil && next.Stage != s.Stage {
		next.Spent = append(slices.Clip(next.Spent), Spent{s.Stage, max(0, next.Since-s.Since)})
	}
	return next
}

func fold(s State, d Dated) State {
	at := d.At
	if !s.fits(d.Fact) {
		return s // such as one of a run that was never opened: it says nothing
	}
	s.At = max(s.At, at)
	switch f := d.Fact.(type) {
	case RunOpened:
		if f.Drill != nil {
			f.Practice = PracticeDrill
		}
		s = State{Opened: &f, plan: planOf(&f.Rules), OpenedAt: at, Stage: Ready, Since: at, At: at}
	case Answered:
		s.Answers = slices.DeleteFunc(slices.Clone(s.Answers), func(a Answered) bool { return a.Question == f.Question })
		s.Answers = append(s.Answers, f)
	case Took:
		s.Took = append(slices.Clip(s.Took), DatedTook{at, f})
	case Abstained:
		since := at - f.For
		s.Abstained, s.waterSaid = &since, at
	case Entered:
		s.Stage, s.Since = f.Stage, at
		s.Unnamed = s.Unnamed || s.NameSaid == nil && s.Opened.Wearer != (Wearer{}) && f.Stage != ProvingButton
		if f.Stage == Dosing {
			s.Initial = Dose{Required: s.bin().Initial}
		}
	case Squeezed:
		s = s.squeezed(f, at)
	case SqueezedExtra:
		if f.TopUp > 0 {
			s.withTopUp(f.TopUp, func(t *Dose) {
				t.Extra = append(slices.Clip(t.Extra), at)
				t.Hurried = t.Hurried || s.hurried(at)
			})
		} else {
			s.Outside = append(slices.Clip(s.Outside), at)
		}
	case SqueezeDoubted:
		switch f.Part {
		case PartScreening:
			s.ScreenDoubt++
		case PartInitial:
			s.Initial.Doubtful++
		case PartTopUp:
			if n := s.Opened.Rules.WindowAt(at - *s.Clock); n > 0 {
				s.withTopUp(n, func(t *Dose) { t.Doubtful++ })
			}
		}
	case BinSet:
		s.Bin, s.BinAt, s.SureAtBin = f.Bin, at, f.Squeezes
		s.Stage, s.Since = Clearing, at
	case ButtonProven:
		s.Proven = true
	case ClockStarted:
		s.Clock = &at
		s.Stage, s.Since = Running, at
	case Corrected:
		s = s.corrected(f, at)
		s.Corrections = append(slices.Clip(s.Corrections), DatedCorrected{at, f})
	case Ignored:
		s.Notes = append(slices.Clip(s.Notes[max(0, len(s.Notes)-4):]), DatedIgnored{at, f})
		if s.heldBack(f) && !slices.Contains(s.Refused, f) {
			s.Refused = append(slices.Clip(s.Refused), f)
		}
	case Faulted:
		if !slices.Contains(s.Faults, f) {
			s.Faults = append(slices.Clip(s.Faults), f)
		}
		if f.What == nebuliserSpoiled {
			s.KitFrom = len(s.Took) // it is named anew
		}
		switch broken := f.What == string(DoCableOpen) || f.What == string(DoCableShort); {
		case s.Parked && (broken || f.What == string(InputGap) || f.What == string(Stalled)):
			s.Proven = false // nobody can say what became of the button meanwhile
		case broken:
			s.Cable = Verb(f.What)
		}
	case Healed:
		s.Cable = ""
	case Moved:
		s = s.moved(f, at)
	case Tallied:
		s.Tally = &f
	case Ended:
		s.Verdict = &f
		s.Stage, s.Since = Over, f.At
	case NameSaid:
		s.NameSaid = &f
		s.Names = append(slices.Clip(s.Names), DatedName{at, f})
		s.Stranger = s.Stranger || !f.Yes && s.Stage != Ready
	case RunParked:
		// What the contacts do from here on is another run's, or nobody's.
		s.Parked, s.ReportDown, s.SqueezeDown, s.SqueezeHeld, s.Cable = true, false, false, false, ""
	case RunTakenUp:
		// Meanwhile another's nebuliser was at hand: it is named anew.
		s.Parked, s.KitFrom = false, len(s.Took)
		if s.NameSaid != nil && s.NameSaid.Yes {
			s.NameSaid = nil // who comes back may be somebody else; a no stays
		}
	case WearerDid:
		s.Did = append(slices.Clip(s.Did), DatedDid{at, f})
	case ProofBegun:
		s.Stage, s.Since = ProvingMist, at
	case ProofLeft:
		s.ProofLeft, s.Stage, s.Since = &f, Over, at
	case Unsaved:
		v := *s.Verdict
		if v.Outcome == Pass {
			v.Outcome, v.Reason = NotValid, JournalFailed
		}
		s.Verdict, s.Stage = &v, Over
	case KitSpoiled:
		v, fault := *s.Verdict, Faulted{nebuliserSpoiled, f.Mark}
		if v.Outcome == Pass {
			v.Outcome, v.Reason = NotValid, MistCheckFailed
		}
		s.Verdict, s.Stage = &v, Over
		if !slices.Contains(s.Faults, fault) {
			s.Faults = append(slices.Clip(s.Faults), fault)
		}
	case ProofGiven:
		s.Proof = &f
		s.Stage = Over
		if !f.Tasted {
			// The pass is in doubt, and doubt is never a pass.
			v := *s.Verdict
			v.Outcome, v.Reason = NotValid, MistCheckFailed
			s.Verdict = &v
		}
	}
	return s
}

// heldBack says whether an input without effect was a step that did not lead on,
// or a report that came before any squeeze.
func (s State) heldBack(f Ignored) bool {
	switch f.What {
	case "press report", string(DoSaidAloud):
		return f.Why == WhyNoSqueezeYet
	case "press step", string(DoGoOn):
		return s.Stage == Ready || s.Stage == Clearing || s.Stage == Donning
	}
	return false
}

func (s *State) withTopUp(n int, f func(*Dose)) {
	ups := slices.Clone(s.TopUps)
	for len(ups) < n {
		ups = append(ups, Dose{Required: s.bin().TopUp})
	}
	f(&ups[n-1])
	s.TopUps = ups
}

// hurried says whether a squeeze at an instant follows the last one of the fit
// test sooner than the bulb needs to fill.
func (s State) hurried(at time.Duration) bool {
	last := time.Duration(-1 << 62)
	for _, ts := range [][]time.Duration{s.Initial.Given, s.Outside} {
		if n := len(ts); n > 0 {
			last = max(last, ts[n-1])
		}
	}
	for i := max(0, len(s.TopUps)-2); i < len(s.TopUps); i++ {
		for _, ts := range [][]time.Duration{s.TopUps[i].Given, s.TopUps[i].Extra} {
			if n := len(ts); n > 0 {
				last = max(last, ts[n-1])
			}
		}
	}
	return at-last < s.Opened.Rules.House.HurriedUnder.Duration()
}

func (s State) squeezed(f Squeezed, at time.Duration) State {
	switch f.Part {
	case PartScreening:
		s.Screening = append(slices.Clip(s.Screening), at)
	case PartInitial:
		s.Initial.Hurried = s.Initial.Hurried || s.hurried(at)
		s.Initial.Given = append(slices.Clip(s.Initial.Given), at)
	case PartTopUp:
		h := s.hurried(at)
		s.withTopUp(f.TopUp, func(t *Dose) {
			t.Given = append(slices.Clip(t.Given), at)
			t.Hurried = t.Hurried || h
		})
	}
	return s
}

func (s State) corrected(f Corrected, at time.Duration) State {
	change := func(ts []time.Duration) []time.Duration {
		if f.Delta > 0 {
			return append(slices.Clip(ts), at)
		}
		return slices.Clone(ts[:len(ts)-1])
	}
	count := func(added, taken *int) {
		if f.Delta > 0 {
			*added++
		} else {
			*taken++
		}
	}
	switch f.Part {
	case PartScreening:
		s.Screening = change(s.Screening)
		s.screenByHand = byHand(s.screenByHand, f.Delta, len(s.Screening))
		count(&s.ScreenAdded, &s.ScreenTaken)
		if f.Delta < 0 {
			s.ScreenDoubt++ // it may have given mist: the bin never sinks by a word
		}
	case PartInitial:
		s.Initial.Given = change(s.Initial.Given)
		s.Initial.byHand = byHand(s.Initial.byHand, f.Delta, len(s.Initial.Given))
		count(&s.Initial.Added, &s.Initial.Taken)
	case PartTopUp:
		s.withTopUp(f.TopUp, func(t *Dose) {
			if f.Delta < 0 && len(t.Extra) > 0 {
				t.Extra = slices.Clone(t.Extra[:len(t.Extra)-1])
			} else {
				t.Given = change(t.Given)
				t.byHand = byHand(t.byHand, f.Delta, len(t.Given))
			}
			count(&t.Added, &t.Taken)
		})
	}
	return s
}

// together is how close two contacts that a person presses one by one never
// change; a crossed wire does.
const together = 50 * time.Millisecond

func (s State) moved(f Moved, at time.Duration) State {
	near := func(other *time.Duration) bool { return other != nil && at-*other < together }
	switch f.What {
	case "report_down":
		s.ReportDown, s.lastReport = true, &at
		if near(s.lastSqueeze) {
			s.crossed = &at
		}
	case "report_up":
		s.ReportDown = false
	case "squeeze_down":
		s.SqueezeDown, s.lastSqueeze = true, &at
		if near(s.lastReport) {
			s.crossed = &at
		}
	case "squeeze_up":
		s.SqueezeDown, s.SqueezeHeld = false, false
	case "squeeze_held":
		s.SqueezeHeld = true
	}
	return s
}

// Crossed says that button and pedal have changed together and have not each
// been pressed alone since.
func (s State) Crossed() bool {
	return s.crossed != nil && (!(s.lastSqueeze != nil && *s.lastSqueeze > *s.crossed) || !(s.lastReport != nil && *s.lastReport > *s.crossed))
}
