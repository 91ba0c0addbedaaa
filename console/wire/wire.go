// SPDX-License-Identifier: Apache-2.0

// Package wire holds the messages between the daemon and a browser: whole
// snapshots one way, numbered commands and their replies the other way. It
// must not decide anything about a run, nor know how messages travel.
package wire

import "tallyhood/console/procedure"

// Contract is the version of these messages. A page of another version says so
// and asks to be loaded again.
const Contract = 1

// A Role is what a browser may do and see.
type Role string

// The roles.
const (
	Tester  Role = "tester"  // drives, when it holds the lease
	Trainer Role = "trainer" // watches, names masked
	Wearer  Role = "wearer"  // the person under the hood: no counts, no verdict, no names
)

// Hello is the first message of a browser.
type Hello struct {
	Type     string `json:"type"` // hello
	Role     Role   `json:"role"`
	Contract int    `json:"contract"`
	Code     string `json:"code,omitempty"` // of a wearer's page: the run's pairing code as somebody typed it
}

// Welcome answers a Hello.
type Welcome struct {
	Type     string `json:"type"` // welcome
	Client   string `json:"client"`
	Contract int    `json:"contract"`
	Version  string `json:"version"`
	Sim      bool   `json:"sim"`    // the board is simulated: the page may press its contacts
	Paired   string `json:"paired"` // of a wearer's page: yes, wrong (no run has this code) or later (too many wrong ones, wait); empty: none was given
}

// A Command asks for something. A tester's page needs the lease for all but
// take_lease; Fence is the lease's number as the page knows it, Run the run it
// means. A command for another run or under an old fence is refused.
type Command struct {
	Type  string `json:"type"` // command
	ID    string `json:"id"`   // chosen by the page, named by the reply
	Run   string `json:"run,omitempty"`
	Fence uint64 `json:"fence"`
	// Do is open, close, take_lease, drop_lease, sim, take_up (Run: a parked
	// run), a procedure.Verb of a person (park among them), or for the Inputs
	// page, while no run is open: check_begin,
	// check_end, learn (Line), learn_end, tone (Cue), latency_begin,
	// latency_end, calibrate_begin, calibrate_end, confirm_clock (Wall; a time other than the box's sets it). At
	// any time: volume (Volume), mute (Muted).
	Do    string          `json:"do"`
	Input procedure.Input `json:"input,omitzero"` // for the verbs
	Open  *Open           `json:"open,omitempty"` // for open
	Sim   *Contact        `json:"sim,omitempty"`  // for sim
	Line  string          `json:"line,omitempty"` // for learn: squeeze or step
	Cue   string          `json:"cue,omitempty"`  // for tone: an audio.Cue
	Wall  string          `json:"wall,omitempty"` // for confirm_clock: RFC 3339
	// For volume: 0 to 100; for mute: whether the sound is to be muted.
	Volume int  `json:"volume,omitempty"`
	Muted  bool `json:"muted,omitempty"`
}

// Open begins a run.
type Open struct {
	Wearer    string `json:"wearer"`    // id
	Facepiece string `json:"facepiece"` // id
	Rules     string `json:"rules"`     // id
	Agent     string `json:"agent"`
	Tester    string `json:"tester"`
	Hood      string `json:"hood,omitempty"` // id; empty: not named
	// Drill opens a drill, with a simulated wearer; Wearer may be empty then.
	Drill *DrillAsk `json:"drill,omitempty"`
}

// A DrillAsk is the drill that a tester wants.
type DrillAsk struct {
	Seed     string   `json:"seed"`     // the same seed gives the same wearer
	Level    string   `json:"level"`    // easy, plain or hard
	Troubles []string `json:"troubles"` // keys of what shall happen; empty: the level chooses
}

// A Contact is a level for a contact of the simulated board.
type Contact struct {
	Line   string `json:"line"` // squeeze, step or taste (the whole button)
	Closed bool   `json:"closed"`
}

// A Reply answers a command.
type Reply struct {
	Type string `json:"type"` // reply
	ID   string `json:"id"`
	OK   bool   `json:"ok"`
	Why  string `json:"why,omitempty"` // a procedure.Why, or one of Refusals
}

// Refusals are the reasons of a reply beside those of a run itself.
var Refusals = []string{
	"stale", "not_driver", "unknown", "run_open", "no_run", "not_allowed", "not_saved", "facepiece_not_allowed",
	"clock_unset", "clock_served", "clock_wrong", "input_missing", "not_known", "busy", "no_pedal", "no_sound",
	"no_bulb", "calibrating", "parked", "too_many_parked", "hood_not_known", "no_nebuliser_entered", "other_facepiece_due",
	"held",
}

// What Snapshot.Storage says of facts that are not being saved. After
// StorageUnnoted a run under way may be a pass at the next start: the box could
// not even note that it is none, and goes on trying.
const (
	StorageFailed  = "failed"
	StorageUnnoted = "unnoted"
)

// A Snapshot is everything that a page shows, at one instant.
type Snapshot struct {
	Type     string  `json:"type"` // snapshot
	Number   uint64  `json:"number"`
	Fence    uint64  `json:"fence"`              // of the lease
	Driver   string  `json:"driver"`             // client that holds it; empty for none
	Watchers int     `json:"watchers"`           //
	Practice string  `json:"practice,omitempty"` // why nothing here is a test record
	Speed    float64 `json:"speed"`              // of the clock; a page runs its own shown time so much faster
	Inputs   Inputs  `json:"inputs"`
	Sound    string  `json:"sound"`   // empty when sound comes out, else why not
	Volume   int     `json:"volume"`  // of the sound, per cent
	Muted    bool    `json:"muted"`   // only what ends a run or warns of a fault sounds
	Storage  string  `json:"storage"` // empty when facts are being saved, else StorageFailed or StorageUnnoted
	Clock    Clock   `json:"clock"`
	LagMS    int64   `json:"lag_ms"` // age of the oldest fact that is not on disk yet
	Run      *Run    `json:"run"`    // the active one; null: none is
	Parked   []Run   `json:"parked"` // runs that wait between two steps, oldest first
	// Pairing is "needed" for a wearer's page that belongs to no run yet.
	Pairing string `json:"pairing"`
}

// Inputs is the state of the board.
type Inputs struct {
	Board      string `json:"board"`
	Supervised bool   `json:"supervised"`
	Cable      string `json:"cable"` // empty, cable_open or cable_short
	Squeeze    bool   `json:"squeeze"`
	Step       bool   `json:"step"`
	Report     bool   `json:"report"` // the button is down
	Noise      int    `json:"noise"`  // rejected edges of this run
	Lost       string `json:"lost,omitempty"`
	// Missing says in words which part that brings a contact does not work now.
	Missing string  `json:"missing,omitempty"`
	Lines   []Line  `json:"lines"`
	Check   *Check  `json:"check"`          // the guided check of the wiring; null: none since the start
	Latency *Timing `json:"latency"`        // the self-test of sound and contact; null: none since the start
	Learn   string  `json:"learn"`          // the contact whose pedal is being learned; empty: none
	Learned string  `json:"learned"`        // what came of the last learning, in words; empty: none since the start
	Bulb    *Bulb   `json:"bulb,omitempty"` // the calibration of the bulb sensor; absent without one
}

// A Line is one contact as the board sees it since the daemon started.
type Line struct {
	Line     string `json:"line"`     // squeeze, step, taste_no, taste_nc or taste
	Source   string `json:"source"`   // what brings it, in words
	Closed   bool   `json:"closed"`   //
	Edges    uint64 `json:"edges"`    // all
	Rejected uint64 `json:"rejected"` // of them, chatter, spikes and what else was no press
	Presses  uint64 `json:"presses"`  // sure ones
	Doubtful uint64 `json:"doubtful"` //
	QuietMS  int64  `json:"quiet_ms"` // since the last edge
}

// A Check is the guided check that no wire is crossed. The box asks for one
// thing at a time, and exactly one input may change.
type Check struct {
	Ask    string   `json:"ask"`    // rest, press_squeeze, let_squeeze, press_step, let_step, press_button, let_button; empty: it has ended
	Found  []string `json:"found"`  // what is wrong so far, as keys: see the words of the page
	Lines  []string `json:"lines"`  // the lines that Found speaks of, in its order, comma between several
	Passed bool     `json:"passed"` // it has ended and nothing was found
	LeftMS int64    `json:"left_ms"`
}

// A Timing is the self-test of sound and contact: the box sounds a tone, a
// person presses when it is heard.
type Timing struct {
	Asked    int     `json:"asked"`     // tones so far
	Of       int     `json:"of"`        // tones in all
	Done     bool    `json:"done"`      //
	Why      string  `json:"why"`       // empty, or why there is no figure: too_few, too_wide
	MidMS    float64 `json:"mid_ms"`    // median from tone to press, what a person needs included
	LeastMS  float64 `json:"least_ms"`  //
	SpreadMS float64 `json:"spread_ms"` // half of the presses lie within
	When     string  `json:"when"`      // wall time of the end, RFC 3339
}

// A Bulb is the calibration of the bulb sensor: a person squeezes flat and lets
// the bulb fill, so often as Of says. No run can be opened meanwhile.
type Bulb struct {
	Stage    string `json:"stage"`     // one of the stages below; empty: none since the start
	Done     int    `json:"done"`      // squeezes so far
	Of       int    `json:"of"`        // squeezes in all; 0 before it has begun
	LeftMS   int64  `json:"left_ms"`   // until it is given up; 0: none is under way
	Why      string `json:"why"`       // of a refusal: left, too_long, driver_gone or the box's words; of one that could not be kept, the box's words
	Known    bool   `json:"known"`     // there is a calibration in use
	When     string `json:"when"`      // wall time at which that was learned, RFC 3339; empty: not known
	OfBefore int    `json:"of_before"` // once learned: air of a flat squeeze in per cent of the former calibration's; 0: nothing to compare with
}

// Stages of a calibration of the bulb.
const (
	BulbRest    = "rest"    // hands off until its rest level is known
	BulbSqueeze = "squeeze" // squeeze flat, let it fill, wait a moment
	BulbDone    = "done"    // learned, in use and kept
	BulbUnkept  = "unkept"  // in use, but it could not be kept: the next start has the former one
	BulbRefused = "refused" // nothing was learned, the former one stays
)

// A Clock is the box's wall time; durations never depend on it.
type Clock struct {
	Wall    string `json:"wall"`    // RFC 3339
	Quality string `json:"quality"` // unset, restored, confirmed or network
	Trusted bool   `json:"trusted"` // good enough for due dates
	Steps   int    `json:"steps"`   // jumps of more than a second since the start
}

// Box is the health of the box; it is served apart from the snapshots, since
// it changes slowly. Absent figures are those that the board does not tell.
type Box struct {
	Parts      []Part   `json:"parts"`
	TimeSource string   `json:"time_source"` // kernel time or arrival time
	Volts      string   `json:"volts"`       // empty: not told; sound, low, was_low
	Heat       *float64 `json:"heat"`        // degrees Celsius, the hottest part
	HeatHigh   bool     `json:"heat_high"`
	StoreFile  string   `json:"store_file"`
	StoreFree  int64    `json:"store_free"` // bytes
	StoreOf    int64    `json:"store_of"`
	WriteMS    *float64 `json:"write_ms"` // median of a small durable write
	Practice   string   `json:"practice"` // why nothing here is a test record; empty on a real box
	Version    string   `json:"version"`
}

// A Part of the box: loaded, absent or failed.
type Part struct {
	Name   string   `json:"name"`
	State  string   `json:"state"`
	Reason string   `json:"reason"`
	Lines  []string `json:"lines"`
}

// A Run is an open run. Times are milliseconds; those named run_ms or with
// due and shut are on the run clock.
type Run struct {
	Run        string          `json:"run"`
	Stage      procedure.Stage `json:"stage"`
	StageMS    int64           `json:"stage_ms"` // how long it has been there
	Wearer     string          `json:"wearer"`   // name; empty where masked
	Facepiece  string          `json:"facepiece"`
	Agent      string          `json:"agent"`
	Rules      string          `json:"rules"` // short name
	Prevails   string          `json:"prevails"`
	Tester     string          `json:"tester"`
	Questions  []Question      `json:"questions"`
	Kit        *Kit            `json:"kit"`     // the nebuliser that the coming part needs; null: none is asked for
	Blocked    procedure.Why   `json:"blocked"` // why go on would be refused now; empty: it would not
	WaitMS     int64           `json:"wait_ms"` // left of the wait of this stage (abstinence, wear, report after thirty, button proof); 0: none
	NeedMS     int64           `json:"need_ms"` // whole length of that wait
	Screening  Screening       `json:"screening"`
	Dose       *Dose           `json:"dose"` // the one that squeezes count toward now
	Initial    *Dose           `json:"initial"`
	TopUps     []Dose          `json:"top_ups"` // all of them once the bin is known
	RunMS      *int64          `json:"run_ms"`  // null before the clock starts; stands still after the end
	Ticking    bool            `json:"ticking"` // the run clock runs
	LengthMS   int64           `json:"length_ms"`
	Exercises  []string        `json:"exercises"`
	ExerciseMS int64           `json:"exercise_ms"`  // length of one
	Exercise   int             `json:"exercise"`     // from 0; -1 when none is under way
	SqueezesMS []int64         `json:"squeezes_ms"`  // all of the fit test, on the run clock
	HalfLifeMS int64           `json:"half_life_ms"` // assumed for the modelled hood level
	Notes      []Note          `json:"notes"`        // inputs that changed nothing, newest last, at most 5
	Faults     []string        `json:"faults"`
	Verdict    *Verdict        `json:"verdict"` // only once it is on disk
	Ending     bool            `json:"ending"`  // there is a verdict that is not on disk yet

	Practice       string `json:"practice"`        // why nothing of this run can be a test record; empty when it can
	Code           string `json:"code"`            // four digits by which a wearer's page is paired with it; empty once it is over, and where masked
	Paired         int    `json:"paired"`          // wearer's pages that are
	NameSaid       string `json:"name_said"`       // what the wearer answered to being asked by name: yes, no, or empty for nothing
	WearerLanguage string `json:"wearer_language"` // code of the person's first language that there are words in; empty: not known
	Drill          *Drill `json:"drill"`           // what the simulated wearer of a drill says and does; null in a test

	Uncleared bool `json:"uncleared,omitempty"` // no clearance of the person was on record at the opening; false where masked

	NoAdd procedure.Why `json:"no_add,omitempty"` // why no squeeze may be added to the open dose by hand; empty: one may, or none is open
}

// A Drill is the simulated wearer of a run as a tester sees and hears it.
type Drill struct {
	Said []DrillLine `json:"said"` // oldest first
	Asks string      `json:"asks"` // key of what it waits for; empty: nothing
}

// A DrillLine is something that the simulated wearer said or did.
type DrillLine struct {
	AtMS int64  `json:"at_ms"` // since the run was opened
	What string `json:"what"`  // key
	Text string `json:"text"`
}

// A Question is asked before the test.
type Question struct {
	ID       string `json:"id"`
	Answered bool   `json:"answered"`
	Yes      bool   `json:"yes"`
}

// A Kit is the nebuliser that the coming part needs.
type Kit struct {
	Role string `json:"role"` // weak or strong
	Mark string `json:"mark"` // of the one that was named; empty: none yet
	Lot  string `json:"lot"`  // of the solution in it
}

// Screening is the sensitivity test.
type Screening struct {
	Squeezes int `json:"squeezes"` // sure
	Counted  int `json:"counted"`  // with doubtful ones
	Most     int `json:"most"`
	Bin      int `json:"bin"` // 0: not reached
}

// A Dose is the initial dose (n 0) or a top-up.
type Dose struct {
	N        int      `json:"n"`
	Required int      `json:"required"`
	Given    int      `json:"given"`
	Extra    int      `json:"extra"`
	Doubtful int      `json:"doubtful"`
	DueMS    int64    `json:"due_ms"`
	OpenMS   int64    `json:"open_ms"`
	ShutMS   int64    `json:"shut_ms"`
	Remarks  []string `json:"remarks"` // late, hurried, extra
}

// A Note is an input that changed nothing.
type Note struct {
	What  string        `json:"what"`
	Why   procedure.Why `json:"why"`
	AgoMS int64         `json:"ago_ms"`
}

// A Verdict is how the run ended.
type Verdict struct {
	Outcome procedure.Outcome `json:"outcome"`
	Reason  procedure.Reason  `json:"reason"`
	Next    string            `json:"next"`  // what may follow: other_facepiece, refit, other_size_or_model, other_agent, again, proof or nothing
	Proof   string            `json:"proof"` // empty, tasted, not_tasted, or why it was left unmade: welfare, left
}

// Choices is what a run can be opened with; served as JSON beside the socket.
type Choices struct {
	People     []Choice `json:"people"`
	Facepieces []Choice `json:"facepieces"`
	Rules      []Choice `json:"rules"`
	Agents     []string `json:"agents"`
	Testers    []string `json:"testers"`
	Hoods      []Hood   `json:"hoods"` // those in use; empty: none is entered
}

// A Hood is a hood to choose from. Oversized: it is larger than the published
// one and thins the mist.
type Hood struct {
	ID        string `json:"id"`
	Mark      string `json:"mark"`
	AcrossMM  int    `json:"across_mm"` // 0: not measured
	TallMM    int    `json:"tall_mm"`
	Oversized bool   `json:"oversized"`
}

// A Choice is one line of a list. Refused holds a sentence by rule set id for
// a facepiece that a rule set does not allow; Facepieces are those that a person
// needs; Uncleared: no clearance of that person is on record.
type Choice struct {
	ID      string            `json:"id"`
	Label   string            `json:"label"`
	Refused map[string]string `json:"refused,omitempty"`

	Facepieces []string `json:"facepieces,omitempty"`
	Uncleared  bool     `json:"uncleared,omitempty"`
}

// ForRole gives what a role may see of a snapshot. A wearer's page that is
// paired with a run gets ForWearer instead.
func ForRole(s Snapshot, r Role) Snapshot {
	switch r {
	case Tester:
		return s
	case Wearer:
		return ForWearer(s, "")
	}
	s.Inputs = masked(s.Inputs)
	if s.Run != nil {
		run := ForTrainer(*s.Run)
		s.Run = &run
	}
	parked := []Run{}
	for _, r := range s.Parked {
		parked = append(parked, ForTrainer(r))
	}
	s.Parked = parked
	return s
}

// masked leaves out what only the page of inputs shows.
func masked(i Inputs) Inputs {
	i.Lines, i.Check, i.Latency, i.Learn, i.Learned, i.Bulb = []Line{}, nil, nil, "", "", nil
	return i
}

// ForTrainer is a run without names, without the pairing code and without a word
// on who is cleared.
func ForTrainer(r Run) Run {
	r.Wearer, r.Tester, r.Code, r.Drill, r.Uncleared = "", "", "", Keys(r.Drill), false
	return r
}

// Keys leaves the words of a simulated wearer out: the keys say enough.
func Keys(d *Drill) *Drill {
	if d == nil {
		return nil
	}
	out := Drill{Said: []DrillLine{}, Asks: d.Asks}
	for _, l := range d.Said {
		out.Said = append(out.Said, DrillLine{AtMS: l.AtMS, What: l.What})
	}
	return &out
}

// ForWearer gives what the wearer's page that is paired with a run may see:
// nothing of any other run, no counts, no verdict, no levels; the wearer's own
// name until the page has been told whether it is right. Where the run is not
// open, or none is named, the page has to be paired.
func ForWearer(s Snapshot, run string) Snapshot {
	var mine *Run
	active := s.Run != nil && s.Run.Run == run
	if active {
		mine = s.Run
	}
	for i := range s.Parked {
		if s.Parked[i].Run == run {
			mine = &s.Parked[i]
		}
	}
	in := masked(s.Inputs)
	if !active {
		// The contacts belong to somebody else's run, or to nobody's.
		in.Squeeze, in.Step, in.Report, in.Noise = false, false, false, 0
	}
	s.Inputs, s.Run, s.Parked, s.Driver, s.Pairing = in, nil, []Run{}, "", ""
	if mine == nil || run == "" {
		s.Pairing = "needed"
		return s
	}
	s.Practice = mine.Practice
	out := Run{
		Run: mine.Run, Stage: mine.Stage, StageMS: mine.StageMS, Agent: mine.Agent, RunMS: mine.RunMS, Ticking: mine.Ticking,
		LengthMS: mine.LengthMS, Exercises: mine.Exercises, ExerciseMS: mine.ExerciseMS, Exercise: mine.Exercise,
		WaitMS: mine.WaitMS, NeedMS: mine.NeedMS, Questions: []Question{}, TopUps: []Dose{}, SqueezesMS: []int64{},
		Notes: []Note{}, Faults: []string{}, Practice: mine.Practice, NameSaid: mine.NameSaid, WearerLanguage: mine.WearerLanguage,
	}
	if mine.NameSaid == "" {
		out.Wearer = mine.Wearer
	}
	if out.Stage == procedure.Screening || out.Stage == procedure.ProvingButton {
		out.WaitMS, out.NeedMS = 0, 0 // would tell how far the count is
	}
	s.Run = &out
	return s
}
