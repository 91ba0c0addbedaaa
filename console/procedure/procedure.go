// SPDX-License-Identifier: Apache-2.0

// Package procedure knows how a qualitative fit test goes: rule sets as data,
// the stages of a run, what each input means in each stage, and what comes out.
// It is pure: Decide turns a state and an input into facts and orders, Fold
// turns a state and a fact into the next state, and the same inputs give the
// same facts. It must not read a clock, do I/O, or import anything else of
// tallyhood.
package procedure

import "time"

// A Stage is where a run stands.
type Stage string

// The stages, in order. Running and the ones before it may end in Over at any time.
const (
	Ready         Stage = "ready"          // person and facepiece are chosen, questions are answered
	Screening     Stage = "screening"      // sensitivity test
	Clearing      Stage = "clearing"       // the taste clears
	Donning       Stage = "donning"        // the facepiece is donned and worn, seal check
	Dosing        Stage = "dosing"         // initial dose
	Running       Stage = "running"        // the run clock runs
	ProvingButton Stage = "proving_button" // an unsupervised button is pressed once more
	Over          Stage = "over"           // there is a verdict
	ProvingMist   Stage = "proving_mist"   // after a pass: seal broken under the hood
)

// A Part is a dose, or the sensitivity test.
type Part string

// The parts of a run that have squeezes.
const (
	PartScreening Part = "screening"
	PartInitial   Part = "initial"
	PartTopUp     Part = "top_up"
)

// An Outcome is how a run ended. Nothing else is an outcome.
type Outcome string

// The outcomes.
const (
	Pass        Outcome = "pass"
	Fail        Outcome = "fail"
	NotValid    Outcome = "not_valid"
	CannotTaste Outcome = "cannot_taste"
)

// A Reason says why, from a closed list; empty for a pass.
type Reason string

// The reasons.
const (
	Tasted            Reason = "tasted"
	TastedBeforeClock Reason = "tasted_before_clock"
	TopUpShort        Reason = "top_up_short"
	Interrupted       Reason = "interrupted"
	CableOpen         Reason = "cable_open"
	CableShort        Reason = "cable_short"
	PowerLost         Reason = "power_lost"
	HoodOff           Reason = "hood_off"
	FacepieceTouched  Reason = "facepiece_touched"
	JournalFailed     Reason = "journal_failed"
	StoppedForWelfare Reason = "stopped_for_welfare"
	MistCheckFailed   Reason = "mist_check_failed"
	NoTasteBy30       Reason = "no_taste_by_30"
	DoubtfulReport    Reason = "doubtful_report"
	ButtonUnproven    Reason = "button_unproven"
	InputGap          Reason = "input_gap"
	Stalled           Reason = "stalled"
)

// A Why names the cause of a refusal or of an input that changed nothing. The
// page has a sentence for each.
type Why string

// The whys.
const (
	WhyNoSqueezeYet     Why = "no_squeeze_yet"       // a report before any squeeze
	WhyNotHere          Why = "not_in_this_stage"    // the input means nothing in this stage
	WhyNoted            Why = "noted_only"           // a report while clearing or donning
	WhyTooShort         Why = "too_short_to_be_sure" // a doubtful report outside the fit test
	WhyScreeningFull    Why = "thirty_given"         // no more squeezes in the sensitivity test
	WhyReportFirst      Why = "report_or_thirty"     // go on comes after the report or squeeze 30
	WhyButtonDown       Why = "button_is_down"       // the wearer's button is pressed
	WhyButtonFaulty     Why = "button_is_faulty"     // its cable is open or shorted
	WhyPedalHeld        Why = "pedal_is_held"        // held over two seconds
	WhyCrossed          Why = "button_and_pedal_move_together"
	WhyUnanswered       Why = "questions_open"       // a question is open or answered no
	WhyAbstinence       Why = "abstinence_not_over"  // something but water too lately
	WhyWear             Why = "not_worn_long_enough" // worn under the rule's time
	WhyButtonUnproven   Why = "button_not_proven"    // the wearer said it; the button is yet to be pressed
	WhyOutsideWindow    Why = "outside_its_window"   // a correction too early or too late
	WhyHalfByHand       Why = "half_by_hand"         // half of a dose was added already
	WhyNothingToCorrect Why = "nothing_to_take_back"
	WhyNoReason         Why = "reason_missing"
	WhyJournal          Why = "journal_failed"
	WhyNotPassed        Why = "only_after_a_pass"
	WhyWrongPerson      Why = "wrong_person"  // the wearer said that the name is not theirs
	WhyNotParkable      Why = "not_parkable"  // a run waits only between two steps
	WhyParked           Why = "parked"        // it waits, and has to be taken up first
	WhyOtherSitting     Why = "other_sitting" // the sensitivity test is too long ago

	// The nebuliser that goes into use.
	WhyNoNebuliser      Why = "nebuliser_not_named"     // its mark was not given
	WhyOtherRole        Why = "nebuliser_of_other_role" // weak for strong or strong for weak
	WhyOtherAgent       Why = "nebuliser_of_other_agent"
	WhyNotFilled        Why = "nebuliser_not_filled"
	WhyExpired          Why = "solution_expired"
	WhyStale            Why = "nebuliser_stale"     // filled too long ago
	WhyMistNotChecked   Why = "mist_not_checked"    // no good mist check since it was filled
	WhyUnknownNebuliser Why = "nebuliser_not_known" // no such mark
)

// A Verb is what an input does.
type Verb string

// The verbs. The contacts give the first group, the box the second, people at
// a page the third.
const (
	DoPress      Verb = "press"       // Source: a sure press
	DoDoubt      Verb = "doubt"       // Source: a doubtful one
	DoRelease    Verb = "release"     // Source
	DoHeld       Verb = "held"        // Source: pressed for over two seconds
	DoChatters   Verb = "chatters"    // Source: worse than the contract
	DoCableOpen  Verb = "cable_open"  //
	DoCableShort Verb = "cable_short" //
	DoCableSound Verb = "cable_sound" //

	DoTick          Verb = "tick"           // an instant that the state asked for has come
	DoGap           Verb = "gap"            // edges may be missing
	DoStalled       Verb = "stalled"        // the daemon lost more than a second
	DoClockStepped  Verb = "clock_stepped"  // Detail: wall time jumped; nothing depends on it
	DoJournalFailed Verb = "journal_failed" //
	DoPowerLost     Verb = "power_lost"     // found open after a restart
	DoEnd           Verb = "end"            // nothing more will come
	DoSpoiled       Verb = "spoiled"        // Nebuliser or Batch; Yes: what was done with it is worthless, else it was filled or entered anew, or is not used any more
	DoWearerDid     Verb = "wearer_did"     // Source, Detail: what the simulated wearer of a drill did, and its words

	DoGoOn         Verb = "go_on"         // the step contact's twin on the page
	DoAnswer       Verb = "answer"        // Question, Yes
	DoAbstained    Verb = "abstained"     // For: nothing but water for so long
	DoSaidAloud    Verb = "said_aloud"    // the wearer said that there is a taste
	DoHoodOff      Verb = "hood_off"      //
	DoTouched      Verb = "touched"       // the facepiece was touched or adjusted
	DoWelfare      Verb = "welfare"       // stop for the person
	DoMistFailed   Verb = "mist_failed"   // no mist comes
	DoAbandon      Verb = "abandon"       // end without need
	DoCorrect      Verb = "correct"       // Delta, Reason
	DoTake         Verb = "take"          // Kit: the nebuliser that goes into use
	DoBeginProof   Verb = "begin_proof"   //
	DoProofNothing Verb = "proof_nothing" // the wearer tasted nothing with the seal broken
	DoProofTasted  Verb = "proof_tasted"  // the wearer said so
	DoLeaveProof   Verb = "leave_proof"   // the proof is left unmade; the pass stays
	DoNameSaid     Verb = "name_said"     // Yes: the wearer says that the name is right
	DoPark         Verb = "park"          // the run waits, so that another person can be tested
	DoTakeUp       Verb = "take_up"       // it goes on where it was
)

// An Input is something that the run has to answer.
type Input struct {
	At       time.Duration `json:"-"`
	Tag      uint64        `json:"-"` // whose it is, for whoever waits for an answer
	Do       Verb          `json:"do"`
	Source   string        `json:"source,omitempty"` // squeeze, step or report; a key for wearer_did
	Question string        `json:"question,omitempty"`
	Yes      bool          `json:"yes,omitempty"`
	For      time.Duration `json:"for_ns,omitempty"`
	Delta    int           `json:"delta,omitempty"`
	TopUp    int           `json:"top_up,omitempty"` // for correct: the top-up that is meant; 0: whichever is open
	Reason   string        `json:"reason,omitempty"`
	By       string        `json:"by,omitempty"`
	Detail   string        `json:"detail,omitempty"`
	Kit      *Kit          `json:"kit,omitempty"`  // for take; filled in from the list of kit, never by a page
	Mark     string        `json:"mark,omitempty"` // for take, from a page: the nebuliser's mark
	// For spoiled, by id: marks change, and a batch may be in no nebuliser any more.
	// Captures of before have a nebuliser's Mark.
	Nebuliser string `json:"nebuliser,omitempty"`
	Batch     string `json:"batch,omitempty"`
}

// A Kit is a nebuliser as the list of kit has it at an instant.
type Kit struct {
	ID       string        `json:"id"`
	Mark     string        `json:"mark"`
	Role     string        `json:"role"`     // weak or strong
	Agent    string        `json:"agent"`    //
	Solution string        `json:"solution"` // id of the batch in it; empty: not filled
	Lot      string        `json:"lot"`
	Age      time.Duration `json:"age_ns"`  // since it was filled
	Expired  bool          `json:"expired"` // the batch is past its date
	Checked  bool          `json:"checked"` // there was a good mist check since it was filled
	// GoodFor is how long it is then to the end of the batch's last day. 0: no day
	// is known, or, in an older journal, nobody wrote it down.
	GoodFor time.Duration `json:"good_for_ns,omitempty"`
}

// Roles of a nebuliser.
const (
	Weak   = "weak"   // for the sensitivity test
	Strong = "strong" // for the fit test
)

// A Cue is a sound order by name; the names are those of package audio.
type Cue string

// The cues that a run orders.
const (
	CueCounted   Cue = "squeeze_counted"
	CueDue       Cue = "top_up_due"
	CueDoseDone  Cue = "dose_done"
	CueExercise  Cue = "exercise_change"
	CueFive      Cue = "five_seconds"
	CueReported  Cue = "reported"
	CueStop      Cue = "stop"
	CueNotValid  Cue = "not_valid"
	CuePass      Cue = "pass"
	CueFault     Cue = "fault"
	CueGoOn      Cue = "go_on"
	CueRefused   Cue = "refused"
	cueCountDown Cue = "count_" // and the number left, 5 to 1
)

// An Order is something to do now or at an instant; it is never stored.
type Order struct {
	Cue Cue
	// At is when the cue sounds; 0 for at once.
	At time.Duration
	// Durable: only after every fact so far is on disk.
	Durable bool
	// Drop, instead of a cue: forget the cues that are yet to sound.
	Drop bool
}

// lead is how long before its instant a cue is ordered, so that it can be
// placed on its sample however long a contact takes to prove itself.
const lead = 300 * time.Millisecond

// dueAfterChange keeps two cues of one instant apart for the ear.
const dueAfterChange = 450 * time.Millisecond
