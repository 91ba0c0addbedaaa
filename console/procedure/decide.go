// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"fmt"
	"slices"
	"strconv"
	"time"
)

// Decide says what an input means in a state: the facts that follow, in order,
// and what to do at once. It changes nothing. An input that has no meaning in
// this state gives an Ignored fact that says why, but for what comes after the
// verdict, which gives nothing.
func Decide(s State, in Input) ([]Dated, []Order) {
	d := decision{s: s.Reach(in.At), in: in}
	switch {
	case s.Stage == Over || s.Stage == ProvingMist:
		d.afterVerdict()
	case s.Parked:
		d.parked()
	case in.Do == DoTick:
		d.tick()
	default:
		d.input()
	}
	return d.facts, d.orders
}

type decision struct {
	s      State
	in     Input
	facts  []Dated
	orders []Order
}

// say adds a fact and folds it, so that what follows in the same decision
// stands on it.
func (d *decision) say(f Fact) {
	x := Dated{d.in.At, f}
	d.facts = append(d.facts, x)
	d.s = Fold(d.s, x)
}

func (d *decision) cue(c Cue) { d.orders = append(d.orders, Order{Cue: c}) }

func (d *decision) ignore(why Why) {
	what := string(d.in.Do)
	if d.in.Source != "" {
		what += " " + d.in.Source
	}
	d.say(Ignored{what, why})
}

func (d *decision) refuse(why Why) {
	d.ignore(why)
	d.cue(CueRefused)
}

func (d *decision) end(o Outcome, r Reason, at time.Duration) {
	d.facts = append(d.facts, Dated{d.in.At, Ended{o, r, at}})
	d.s = Fold(d.s, d.facts[len(d.facts)-1])
	d.orders = append(d.orders, Order{Drop: true})
	switch o {
	case Pass:
		// A pass is promised only when it is on disk.
		d.orders = append(d.orders, Order{Cue: CuePass, Durable: true})
	case Fail:
		d.cue(CueStop)
	default:
		d.cue(CueNotValid)
	}
}

// inRun: from the first squeeze of the sensitivity test to the verdict a run
// may not be unsupervised for a moment.
func (d *decision) inRun() bool { return d.s.Stage != Ready }

// inFit: the stages in which a report is a fail.
func (d *decision) inFit() bool { return d.s.Stage == Dosing || d.s.Stage == Running }

func (d *decision) input() {
	in := d.in
	switch in.Do {
	case DoPress:
		switch in.Source {
		case "squeeze":
			d.squeeze()
		case "report":
			d.report("button")
		case "step":
			d.goOn()
		}
	case DoDoubt:
		d.doubt()
	case DoRelease:
		if in.Source == "report" && d.s.ReportDown {
			d.say(Moved{"report_up"})
		} else if in.Source == "squeeze" && (d.s.SqueezeHeld || d.s.Stage == Ready && d.s.SqueezeDown) {
			d.say(Moved{"squeeze_up"})
		}
	case DoHeld:
		if in.Source == "squeeze" {
			d.say(Moved{"squeeze_held"})
			d.say(Faulted{"pedal_held", "closed for over 2 s"})
		}
	case DoChatters:
		if f := (Faulted{"chatters", in.Source}); !slices.Contains(d.s.Faults, f) {
			d.say(f)
		}
	case DoCableOpen, DoCableShort:
		d.say(Faulted{string(in.Do), ""})
		if d.inRun() {
			d.end(NotValid, Reason(in.Do), in.At)
		}
		d.cue(CueFault)
	case DoCableSound:
		if d.s.Cable != "" {
			d.say(Healed{})
		}
	case DoGap, DoStalled, DoJournalFailed:
		d.say(Faulted{map[Verb]string{DoGap: "input_gap", DoStalled: "stalled", DoJournalFailed: "journal_failed"}[in.Do], in.Detail})
		if d.inRun() {
			d.end(NotValid, map[Verb]Reason{DoGap: InputGap, DoStalled: Stalled, DoJournalFailed: JournalFailed}[in.Do], in.At)
		}
		d.cue(CueFault)
	case DoClockStepped:
		d.say(Faulted{"clock_stepped", in.Detail})
	case DoPowerLost:
		d.end(NotValid, PowerLost, in.At)
	case DoEnd, DoAbandon:
		d.end(NotValid, Interrupted, in.At)
	case DoGoOn:
		d.goOn()
	case DoSaidAloud:
		d.report("word")
	case DoWelfare:
		d.end(NotValid, StoppedForWelfare, in.At)
	case DoHoodOff:
		d.stopIn(HoodOff, Screening, Dosing, Running, ProvingButton)
	case DoTouched:
		d.stopIn(FacepieceTouched, Dosing, Running, ProvingButton)
	case DoMistFailed:
		d.stopIn(MistCheckFailed, Screening, Dosing, Running, ProvingButton)
	case DoAnswer:
		d.answer()
	case DoAbstained:
		if d.s.Stage != Ready {
			d.refuse(WhyNotHere)
			return
		}
		d.say(Abstained{in.For, in.By})
	case DoCorrect:
		d.correct()
	case DoTake:
		d.take()
	case DoSpoiled:
		d.spoiled()
	case DoNameSaid:
		d.nameSaid()
	case DoPark:
		d.park()
	case DoTakeUp:
		d.refuse(WhyNotHere)
	case DoWearerDid:
		d.wearerDid()
	case DoBeginProof, DoProofNothing, DoProofTasted, DoLeaveProof:
		d.refuse(WhyNotPassed)
	default:
		d.refuse(WhyNotHere)
	}
}

// park: a run waits only where nobody is under the hood and nothing is counted,
// and never while what a contact does is not known.
func (d *decision) park() {
	switch d.s.Stage {
	case Ready, Clearing, Donning:
		d.say(RunParked{d.in.By})
	default:
		d.refuse(WhyNotParkable)
	}
}

// parked answers for a run that waits. No contact means anything to it; what
// makes the watch over its button doubtful is kept, and no input but that it is
// taken up brings it nearer to a pass.
func (d *decision) parked() {
	in := d.in
	switch in.Do {
	case DoTakeUp:
		d.say(RunTakenUp{in.By})
		d.cue(CueGoOn)
	case DoCableOpen, DoCableShort, DoStalled, DoGap:
		f := Faulted{string(in.Do), whileParked}
		if in.Do == DoGap {
			f.What = string(InputGap)
		}
		if d.s.Proven || !slices.Contains(d.s.Faults, f) {
			d.say(f) // once is enough until the button has been proven anew
		}
	case DoPress, DoDoubt, DoRelease, DoHeld, DoChatters, DoCableSound, DoTick:
	case DoSpoiled:
		d.spoiled()
	case DoJournalFailed, DoClockStepped, DoPowerLost, DoEnd, DoAbandon, DoWelfare, DoNameSaid, DoWearerDid:
		d.input()
	default:
		d.refuse(WhyParked)
	}
}

const whileParked = "while the run waited"

// nameSaid: a wrong name stops the way to the fit test. In the fit test itself
// there is no step left to refuse, so it ends there.
func (d *decision) nameSaid() {
	d.say(NameSaid{d.in.Yes, d.in.By})
	if d.in.Yes {
		return
	}
	d.cue(CueRefused)
	if d.inFit() || d.s.Stage == ProvingButton {
		d.say(Faulted{string(WhyWrongPerson), ""})
		d.end(NotValid, Interrupted, d.in.At)
	}
}

// wrongPerson says that the wearer's last word was that the name is another's.
// Before the sensitivity test a slip may be put right; later nobody can say who
// it was that tasted.
func (s State) wrongPerson() bool { return s.Stranger || s.NameSaid != nil && !s.NameSaid.Yes }

func (d *decision) wearerDid() {
	if d.s.Opened.Drill == nil {
		d.refuse(WhyNotHere)
		return
	}
	d.say(WearerDid{d.in.Source, d.in.Detail})
}

// take: a nebuliser goes into use, the weak one before the sensitivity test, the
// strong one before the dose.
func (d *decision) take() {
	role := Weak
	switch d.s.Stage {
	case Ready:
	case Clearing, Donning:
		role = Strong
	default:
		d.refuse(WhyNotHere)
		return
	}
	if d.in.Kit == nil {
		d.refuse(WhyUnknownNebuliser)
		return
	}
	if why := d.s.unfit(*d.in.Kit, role, 0); why != "" {
		d.refuse(why)
		return
	}
	d.say(Took{*d.in.Kit, d.in.By})
}

// unfit says why a nebuliser may not be used for a part; later is how long ago
// it was looked up.
func (s State) unfit(k Kit, role string, later time.Duration) Why {
	switch {
	case k.Role != role:
		return WhyOtherRole
	case k.Agent != s.Opened.Agent:
		return WhyOtherAgent
	case k.Solution == "":
		return WhyNotFilled
	case k.Expired || k.GoodFor > 0 && later >= k.GoodFor:
		return WhyExpired
	case k.Age+later >= s.Opened.Rules.Refill():
		return WhyStale
	case !k.Checked:
		return WhyMistNotChecked
	}
	return ""
}

// nebuliserSpoiled is the fault of a nebuliser that is not any more what it was
// when it was named.
const nebuliserSpoiled = "nebuliser_spoiled"

// spoiled: a nebuliser was found clogged, or was filled or entered anew, while
// the run has it, or its batch turned out to be another. In the part that it is
// for nobody can say what mist there was; before that part it is named anew. What
// gave no mist, or another one, takes along what was done with it, as a bad mist
// check does with every run since its last good one.
func (d *decision) spoiled() {
	role := Strong
	if d.s.Stage == Ready || d.s.Stage == Screening {
		role = Weak
	}
	used, current, mark := false, false, ""
	for i, t := range d.s.Took {
		if !d.in.spoils(t.Kit) {
			continue
		}
		mark = t.Mark
		used = used || d.s.Stage != Ready
		current = current || t.Role == role && i >= d.s.KitFrom
	}
	switch {
	case d.inFit() || d.s.Stage == Screening || d.s.Stage == ProvingButton:
		used = current || used && d.in.Yes
	default:
		used = used && d.in.Yes
	}
	if used || current {
		d.say(Faulted{nebuliserSpoiled, mark})
	}
	if used {
		d.end(NotValid, MistCheckFailed, d.in.At)
	}
}

// undone: what a run that has passed was done with turned out to be worthless. The
// pass may not have been seen yet, and does not stand whatever its proof gave.
func (d *decision) undone() {
	if !d.in.Yes || d.s.Verdict == nil || d.s.Verdict.Outcome != Pass {
		return
	}
	for _, t := range d.s.Took {
		if d.in.spoils(t.Kit) {
			d.say(KitSpoiled{t.Mark})
			d.cue(CueNotValid)
			return
		}
	}
}

// spoils says whether it is a nebuliser, as it was when it was named, that an
// input speaks of.
func (in Input) spoils(k Kit) bool {
	switch {
	case in.Nebuliser != "":
		return k.ID == in.Nebuliser
	case in.Batch != "":
		return k.Solution == in.Batch
	}
	return in.Mark != "" && k.Mark == in.Mark
}

// nebuliser says why the part that a role is for cannot begin at an instant;
// empty where kit is not kept.
func (s State) nebuliser(role string, at time.Duration) Why {
	if !s.Opened.Kit {
		return ""
	}
	for i := len(s.Took) - 1; i >= s.KitFrom; i-- {
		if t := s.Took[i]; t.Role == role {
			return s.unfit(t.Kit, role, at-t.At)
		}
	}
	return WhyNoNebuliser
}

func (d *decision) stopIn(r Reason, stages ...Stage) {
	for _, st := range stages {
		if d.s.Stage == st {
			d.end(NotValid, r, d.in.At)
			return
		}
	}
	d.refuse(WhyNotHere)
}

func (d *decision) answer() {
	if d.s.Stage != Ready {
		d.refuse(WhyNotHere)
		return
	}
	for _, q := range d.s.Opened.Rules.Before {
		if q.ID == d.in.Question {
			d.say(Answered{d.in.Question, d.in.Yes, d.in.By})
			return
		}
	}
	d.refuse(WhyNotHere)
}

func (d *decision) squeeze() {
	switch d.s.Stage {
	case Ready:
		d.say(Moved{"squeeze_down"})
		d.ignore(WhyNotHere)
	case Screening:
		if len(d.s.Screening) >= d.most() {
			d.ignore(WhyScreeningFull)
			return
		}
		d.say(Squeezed{Part: PartScreening})
		d.cue(CueCounted)
	case Dosing:
		d.say(Squeezed{Part: PartInitial})
		d.dosed()
	case Running:
		part, n, dose, open := d.s.doseAt(d.in.At)
		if !open || dose.Left() == 0 {
			d.say(SqueezedExtra{n})
			return
		}
		d.say(Squeezed{part, n})
		d.countDown(dose.Left() - 1)
	default:
		d.ignore(WhyNotHere)
	}
}

// dosed follows a change of the initial dose: its last squeeze starts the clock.
func (d *decision) dosed() {
	left := d.s.Initial.Left()
	d.countDown(left)
	if left == 0 {
		d.say(ClockStarted{})
	}
}

func (d *decision) countDown(left int) {
	switch {
	case left == 0:
		d.cue(CueDoseDone)
	case left <= 5:
		d.cue(cueCountDown + Cue(strconv.Itoa(left)))
	default:
		d.cue(CueCounted)
	}
}

func (d *decision) most() int { return int(d.s.Opened.Rules.Figures.ScreeningMost.Value) }

func (d *decision) doubt() {
	switch {
	case d.in.Source == "squeeze":
		switch d.s.Stage {
		case Screening:
			d.say(SqueezeDoubted{PartScreening})
		case Dosing:
			d.say(SqueezeDoubted{PartInitial})
		case Running:
			d.say(SqueezeDoubted{PartTopUp})
		default:
			d.ignore(WhyTooShort)
		}
	case d.in.Source == "report" && d.inFit():
		d.say(Faulted{"doubtful_report", ""})
		d.end(NotValid, DoubtfulReport, d.in.At)
	default:
		d.ignore(WhyTooShort)
	}
}

// report is the wearer's: by the button, or by a word that the tester passes on.
func (d *decision) report(by string) {
	button := by == "button"
	if button {
		d.say(Moved{"report_down"})
	}
	switch d.s.Stage {
	case Ready:
		d.ignore(WhyNoSqueezeYet)
	case Screening:
		if len(d.s.Screening) == len(d.s.screenByHand) {
			// Also after a doubtful one alone, or one that a person added: the contact
			// has shown nothing, and how much there was to taste is not known.
			d.refuse(WhyNoSqueezeYet)
			return
		}
		d.say(Reported{by})
		if button {
			d.say(ButtonProven{})
		}
		if d.s.beyond() {
			d.end(CannotTaste, NoTasteBy30, d.in.At)
			return
		}
		d.say(BinSet{len(d.s.Screening), d.s.ScreenDoubt, d.s.Opened.Rules.BinOf(d.s.Counted()).Bin})
		d.cue(CueReported)
	case Clearing, Donning:
		if button && !d.s.Proven {
			d.say(ButtonProven{})
		}
		d.ignore(WhyNoted)
	case Dosing:
		d.say(Reported{by})
		d.end(Fail, TastedBeforeClock, d.in.At)
	case Running:
		d.say(Reported{by})
		d.end(Fail, Tasted, d.in.At)
	case ProvingButton:
		if !button {
			// Said aloud after the last exercise: the hood is still on.
			d.say(Reported{by})
			d.end(Fail, Tasted, d.in.At)
			return
		}
		d.say(ButtonProven{})
		d.pass()
	}
}

// beyond: more may have gone into the hood than the highest bin stands for.
// Doubtful squeezes are counted where that makes the bin higher; where the sure
// ones have the highest bin by themselves it takes as many doubtful ones again.
func (s State) beyond() bool {
	most, r := int(s.Opened.Rules.Figures.ScreeningMost.Value), s.Opened.Rules
	sure, shallow := len(s.Screening), s.ScreenDoubt-s.ScreenTaken
	if sure+s.ScreenTaken > most || shallow > most {
		return true
	}
	return s.Counted() > most && r.BinOf(s.Counted()).Bin > r.BinOf(sure).Bin
}

// goOn is the step contact or its twin on the page.
func (d *decision) goOn() {
	switch d.s.Stage {
	case Ready:
		if why := d.s.Blocked(d.in.At); why != "" {
			d.refuse(why)
			return
		}
		d.enter(Screening)
	case Screening:
		if len(d.s.Screening) < d.most() {
			d.refuse(WhyReportFirst)
			return
		}
		d.end(CannotTaste, NoTasteBy30, d.in.At)
	case Clearing:
		if why := d.s.Blocked(d.in.At); why != "" {
			d.refuse(why)
			return
		}
		d.enter(Donning)
	case Donning:
		if why := d.s.Blocked(d.in.At); why != "" {
			d.refuse(why)
			return
		}
		worn, need := d.in.At-d.s.Since, d.s.Opened.Rules.Figures.Wear.Duration()
		if worn < need {
			d.say(Faulted{"wear_short", fmt.Sprintf("worn %.1f s of %.0f s", worn.Seconds(), need.Seconds())})
		}
		d.enter(Dosing)
	default:
		d.refuse(WhyNotHere)
	}
}

func (d *decision) enter(st Stage) {
	d.say(Entered{st})
	d.cue(CueGoOn)
}

// Blocked says why a state cannot go on by a step at an instant; empty when it
// can. What is only noted on a run that is not strict does not block.
func (s State) Blocked(at time.Duration) Why {
	switch {
	case s.Stage != Ready && s.Stage != Clearing && s.Stage != Donning:
		return ""
	case s.Parked:
		return WhyParked
	case s.wrongPerson():
		return WhyWrongPerson
	case s.Stage != Ready && at-s.BinAt > s.Opened.Rules.Sitting():
		return WhyOtherSitting
	case s.Stage == Clearing:
		return ""
	case s.Cable != "":
		return WhyButtonFaulty
	case s.ReportDown:
		return WhyButtonDown
	case s.SqueezeHeld:
		return WhyPedalHeld
	case s.Stage == Ready && s.Crossed():
		return WhyCrossed
	case s.Stage == Ready && s.journalFailed():
		return WhyJournal
	case s.Stage == Ready && s.Opened.Strict && s.open():
		return WhyUnanswered
	case s.Stage == Ready && s.Opened.Strict && !s.abstained(at):
		return WhyAbstinence
	case s.Stage == Ready && s.nebuliser(Weak, at) != "":
		return s.nebuliser(Weak, at)
	case s.Stage == Donning && !s.Proven:
		return WhyButtonUnproven
	case s.Stage == Donning && s.nebuliser(Strong, at) != "":
		return s.nebuliser(Strong, at)
	case s.Stage == Donning && s.Opened.Strict && at-s.Since < s.Opened.Rules.Figures.Wear.Duration():
		return WhyWear
	}
	return ""
}

// Water is since when the wearer has had nothing but water, by a word of this
// sitting; ok is false without one.
func (s State) Water(at time.Duration) (since time.Duration, ok bool) {
	if s.Abstained == nil || at-s.waterSaid > s.Opened.Rules.Sitting() {
		return 0, false
	}
	return *s.Abstained, true
}

func (s State) abstained(at time.Duration) bool {
	since, ok := s.Water(at)
	return ok && at-since >= s.Opened.Rules.Figures.Abstinence.Duration()
}

func (s State) open() bool {
	for _, q := range s.Opened.Rules.Before {
		if yes, _ := s.Answer(q.ID); !yes {
			return true
		}
	}
	return false
}

func (s State) journalFailed() bool {
	for _, f := range s.Faults {
		if f.What == string(JournalFailed) {
			return true
		}
	}
	return false
}

// correct adds a squeeze that the contact missed or takes one back, only while
// the part it belongs to is open. Of a dose no more than half is added: one that
// no contact has seen is no evidence, so that it closes short.
func (d *decision) correct() {
	in := d.in
	part, n, dose, open := d.s.doseAt(in.At)
	count := len(dose.Given) + len(dose.Extra)
	if d.s.Stage == Screening {
		part, open, count = PartScreening, true, len(d.s.Screening)
	}
	switch {
	case in.Delta != 1 && in.Delta != -1:
		d.refuse(WhyNotHere)
	case in.Reason == "":
		d.refuse(WhyNoReason)
	case !open, in.TopUp > 0 && in.TopUp != n:
		d.refuse(WhyOutsideWindow) // also where the next window has opened meanwhile
	case in.Delta < 0 && count == 0:
		d.refuse(WhyNothingToCorrect)
	case in.Delta > 0 && part == PartScreening && count >= d.most():
		d.refuse(WhyScreeningFull)
	case in.Delta > 0 && part == PartTopUp && dose.Left() == 0:
		d.refuse(WhyNotHere)
	case in.Delta > 0 && part != PartScreening && dose.HalfByHand():
		d.refuse(WhyHalfByHand)
	default:
		d.say(Corrected{part, n, in.Delta, in.Reason, in.By})
		if part == PartInitial {
			d.dosed()
		}
	}
}

func (d *decision) tick() {
	s, at := d.s, d.in.At
	r := s.Opened.Rules
	switch s.Stage {
	case Screening:
		if n := len(s.Screening); n >= d.most() && at >= s.Screening[n-1]+r.Figures.FullExposureFor.Duration() {
			d.end(CannotTaste, NoTasteBy30, s.Screening[n-1]+r.Figures.FullExposureFor.Duration())
		}
	case Running:
		t0 := *s.Clock
		for _, c := range s.plan.cues {
			if t0+c.At-lead != at {
				continue
			}
			if c.Cue == CueDue && s.topUp(s.Opened.Rules.WindowAt(c.At)).Left() == 0 {
				continue
			}
			c.At += t0
			d.orders = append(d.orders, c)
		}
		for i, shut := range s.plan.shuts {
			if t0+shut == at && s.topUp(i+1).Left() > 0 {
				d.end(NotValid, TopUpShort, at)
				return
			}
		}
		if at == t0+s.plan.lastMoment() {
			if s.Opened.Supervised {
				d.pass()
				return
			}
			d.say(Entered{ProvingButton})
		}
	case ProvingButton:
		if end := *s.Clock + r.Length(); at >= end+r.House.ButtonProof.Duration() {
			d.end(NotValid, ButtonUnproven, end)
		}
	}
}

// pass ends a run that has everything a pass needs. It looks at all of it once
// more, so that no way here leads round a rule.
func (d *decision) pass() {
	end := *d.s.Clock + d.s.Opened.Rules.Length()
	if reason := d.s.lacking(); reason != "" {
		d.end(NotValid, reason, end)
		return
	}
	d.end(Pass, "", end)
}

// lacking is the reason why a run that reached its end is no pass; empty when
// every positive evidence is there.
func (s State) lacking() Reason {
	r := s.Opened.Rules
	b := s.bin()
	switch {
	case b.Bin == 0 || s.Clock == nil || len(s.Initial.Given) < b.Initial || b.Initial < 10:
		return TopUpShort
	case !s.Proven:
		return ButtonUnproven
	case s.Cable == DoCableOpen:
		return CableOpen
	case s.Cable == DoCableShort:
		return CableShort
	case s.journalFailed():
		return JournalFailed
	case s.Parked || s.wrongPerson() || *s.Clock-s.BinAt > r.Sitting():
		return Interrupted
	case s.At < *s.Clock+r.Length():
		return Interrupted
	}
	for n := 1; n <= r.TopUps(); n++ {
		if t := s.topUp(n); t.Required < b.TopUp || t.Left() > 0 {
			return TopUpShort
		}
	}
	return ""
}

// afterVerdict: nothing changes a verdict but the proof after a pass, and a
// nebuliser of it that was found worthless, and these only toward not valid.
func (d *decision) afterVerdict() {
	passed := d.s.Verdict != nil && d.s.Verdict.Outcome == Pass && d.s.Proof == nil && d.s.ProofLeft == nil
	proving := d.s.Stage == ProvingMist
	in := d.in
	switch {
	case in.Do == DoSpoiled:
		d.undone()
	case in.Do == DoBeginProof && passed && !proving:
		d.say(ProofBegun{})
		d.cue(CueGoOn)
	case proving && (in.Do == DoProofTasted || in.Do == DoPress && in.Source == "report"):
		d.say(ProofGiven{true, in.By})
		d.cue(CueReported)
	case proving && in.Do == DoProofNothing:
		d.say(ProofGiven{false, in.By})
		d.cue(CueNotValid)
	case proving && in.Do == DoWelfare:
		d.say(ProofLeft{LeftForWelfare, in.By})
		d.cue(CueStop)
	case proving && in.Do == DoLeaveProof:
		d.say(ProofLeft{LeftUndone, in.By})
		d.cue(CueGoOn)
	case in.Do == DoLeaveProof || in.Do == DoBeginProof || in.Do == DoProofTasted || in.Do == DoProofNothing:
		d.refuse(WhyNotPassed)
	case FromPerson(in.Do):
		d.refuse(WhyNotHere)
	}
}

// FromBox says whether a verb is the box's own word about itself: none of them
// can make a run better than it is.
func FromBox(v Verb) bool {
	switch v {
	case DoGap, DoStalled, DoClockStepped, DoJournalFailed, DoCableOpen, DoCableShort, DoSpoiled, DoWearerDid:
		return true
	}
	return false
}

// FromPerson says whether a verb is one that people at a page give.
func FromPerson(v Verb) bool {
	switch v {
	case DoGoOn, DoAnswer, DoAbstained, DoSaidAloud, DoHoodOff, DoTouched, DoWelfare, DoMistFailed, DoAbandon, DoCorrect, DoTake,
		DoBeginProof, DoProofNothing, DoProofTasted, DoLeaveProof, DoNameSaid, DoPark, DoTakeUp:
		return true
	}
	return false
}
