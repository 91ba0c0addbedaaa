// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"encoding/json"
	"fmt"
	"time"
)

// A Fact is something that happened in a run: past tense, never changed,
// journaled. Its kind and version are words that outlive the Go type.
type Fact interface{ Kind() string }

// A Dated fact happened at an instant of the board's monotonic clock.
type Dated struct {
	At   time.Duration
	Fact Fact
}

// FactVersion is the version of every fact's form that this code writes.
const FactVersion = 1

// A Wearer is the person under test, as little of it as a record needs.
type Wearer struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// Sealed, in a journal, is the name under the person's own key; Name is
	// empty then, and comes back where the key is at hand.
	Sealed string `json:"sealed,omitempty"`
}

// A Facepiece is what is worn, exactly.
type Facepiece struct {
	ID        string        `json:"id"`
	Make      string        `json:"make"`
	Model     string        `json:"model"`
	Style     string        `json:"style"` // style and material, in words
	Size      string        `json:"size"`
	Type      FacepieceKind `json:"type"`
	FitFactor int           `json:"fit_factor_needed,omitempty"` // 0: not stated
	Whose     string        `json:"whose,omitempty"`             // own or pool piece, and its condition
}

// A Hood is a hood as the list of kit had it when a run was opened.
type Hood struct {
	ID        string `json:"id"`
	Mark      string `json:"mark"`
	AcrossMM  int    `json:"across_mm"` // 0: not measured
	TallMM    int    `json:"tall_mm"`   // 0: not measured
	Oversized bool   `json:"oversized"` // larger than the published one, so that the same squeezes give a thinner mist
}

// A Piece is a part of the box and how it was when the run was opened.
type Piece struct {
	Name   string `json:"name"`
	State  string `json:"state"` // loaded, absent or failed
	Reason string `json:"reason,omitempty"`
}

// A Drill is how the simulated wearer of a drill was made.
type Drill struct {
	Seed     string   `json:"seed"`
	Level    string   `json:"level"`
	Troubles []string `json:"troubles"`
}

// PracticeDrill is why a drill can never be a test record.
const PracticeDrill = "drill"

// The facts of a run.
type (
	// RunOpened binds person, facepiece, rules and box before anything else.
	RunOpened struct {
		Run         string    `json:"run"`
		Rules       RuleSet   `json:"rules"`
		Agent       string    `json:"agent"`
		Wearer      Wearer    `json:"wearer"`
		Facepiece   Facepiece `json:"facepiece"`
		Tester      string    `json:"tester"`
		Supervised  bool      `json:"supervised"`         // the wearer's button is a changeover pair
		Strict      bool      `json:"strict"`             // waits and questions are demanded, not only noted
		Practice    string    `json:"practice,omitempty"` // why this can never be a test record; empty for a real one
		Wall        string    `json:"wall,omitempty"`     // wall time at opening, RFC 3339
		WallQuality string    `json:"wall_quality,omitempty"`
		TimeSource  string    `json:"time_source,omitempty"` // kernel time or arrival time of edges
		Version     string    `json:"version,omitempty"`     // of tallyhood
		// Box is the start-up report as it stood: loaded, absent or failed.
		Box []Piece `json:"box,omitempty"`
		// WiringChecked is the wall time of the last guided check of the wires
		// that found nothing, since the daemon started.
		WiringChecked string `json:"wiring_checked,omitempty"`
		// SoundMS is the figure of the last self-test from tone to press, in
		// milliseconds; a person's reaction is in it.
		SoundMS float64 `json:"sound_ms,omitempty"`
		// Kit: the nebuliser of each part has to be named before it.
		Kit bool `json:"kit,omitempty"`
		// Hood is the hood that was named when the run was opened; nil: none was.
		// It decides nothing: it tells how far the mist was spread.
		Hood *Hood `json:"hood,omitempty"`
		// Try is which try of the person with this facepiece it is in this
		// sitting, fails alone counted; 0 for the first.
		Try int `json:"try,omitempty"`
		// Beside are the runs that waited, without a verdict, when this one was
		// opened: whatever was open then is this run or one of them.
		Beside []string `json:"beside,omitempty"`
		// Drill is how the simulated wearer of a drill was made; nil in a test.
		// A drill is practice for ever.
		Drill *Drill `json:"drill,omitempty"`
	}
	// NameSaid is what the wearer answered to being asked by name.
	NameSaid struct {
		Yes bool   `json:"yes"`
		By  string `json:"by,omitempty"` // wearer for the wearer's own page, else who passed it on
	}
	// RunParked: the run waits between two steps. The contacts belong to it no
	// more; its waits (abstinence, clearing, wear) go on.
	RunParked struct {
		By string `json:"by,omitempty"`
	}
	// RunTakenUp: the run goes on where it was, with the contacts all at rest.
	RunTakenUp struct {
		By string `json:"by,omitempty"`
	}
	// WearerDid is what the simulated wearer of a drill did or said.
	WearerDid struct {
		What string `json:"what"`
		Text string `json:"text,omitempty"`
	}
	// Took: a nebuliser goes into use for the part of the run that its role is for.
	Took struct {
		Kit
		By string `json:"by,omitempty"`
	}
	// Answered is a person's answer to a question before the test.
	Answered struct {
		Question string `json:"question"`
		Yes      bool   `json:"yes"`
		By       string `json:"by,omitempty"`
	}
	// Abstained says since when the wearer has had nothing but water.
	Abstained struct {
		For time.Duration `json:"for_ns"` // before this fact's instant
		By  string        `json:"by,omitempty"`
	}
	// Entered says that the run went on to a stage.
	Entered struct {
		Stage Stage `json:"stage"`
	}
	// Squeezed is a squeeze that counts.
	Squeezed struct {
		Part  Part `json:"part"`
		TopUp int  `json:"top_up,omitempty"` // from 1
	}
	// SqueezedExtra is a sure squeeze beyond what was asked.
	SqueezedExtra struct {
		TopUp int `json:"top_up,omitempty"` // whose window it fell in; 0 for none
	}
	// SqueezeDoubted is a squeeze that may not have been one. It counts for
	// the bin alone, where more is safer.
	SqueezeDoubted struct {
		Part Part `json:"part"`
	}
	// Reported is the wearer's taste report.
	Reported struct {
		By string `json:"by"` // button or word
	}
	// BinSet ends the sensitivity test.
	BinSet struct {
		Squeezes int `json:"squeezes"` // sure ones
		Doubtful int `json:"doubtful"`
		Bin      int `json:"bin"`
	}
	// ButtonProven is a report by the button that shows it works.
	ButtonProven struct{}
	// ClockStarted: the last squeeze of the initial dose; t = 0 is At.
	ClockStarted struct{}
	// Corrected is the tester's correction of a count by one.
	Corrected struct {
		Part   Part   `json:"part"`
		TopUp  int    `json:"top_up,omitempty"`
		Delta  int    `json:"delta"` // +1 or -1
		Reason string `json:"reason"`
		By     string `json:"by,omitempty"`
	}
	// Ignored is an input that changed nothing here, and why.
	Ignored struct {
		What string `json:"what"`
		Why  Why    `json:"why"`
	}
	// Faulted is something wrong with an input or a wait.
	Faulted struct {
		What   string `json:"what"`
		Detail string `json:"detail,omitempty"`
	}
	// Healed: the pair of the button is legal again.
	Healed struct{}
	// Moved is a contact's level as far as the start of a run depends on it.
	Moved struct {
		What string `json:"what"` // report_down, report_up, squeeze_down, squeeze_up, squeeze_held
	}
	// Tallied holds what the contacts did up to the end of the run.
	Tallied struct {
		Squeeze int `json:"squeeze"` // sure presses
		Taste   int `json:"taste"`
		Step    int `json:"step"`
		Noise   int `json:"noise_edges"`
	}
	// Ended is the verdict.
	Ended struct {
		Outcome Outcome       `json:"outcome"`
		Reason  Reason        `json:"reason"`
		At      time.Duration `json:"at_ns"` // the instant that decided it
	}
	// ProofBegun: after a pass the wearer breaks the seal under the hood.
	ProofBegun struct{}
	// ProofLeft: the proof was ended with no word of what was tasted. The verdict
	// stays as it is.
	ProofLeft struct {
		Why string `json:"why"` // LeftForWelfare or LeftUndone
		By  string `json:"by,omitempty"`
	}
	// KitSpoiled: after a pass a nebuliser of the run, or what was in it, turned out
	// to be worthless. It makes the pass not valid.
	KitSpoiled struct {
		Mark string `json:"mark"` // of the nebuliser, as it was named
	}
	// Unsaved: what pages showed last did not reach the journal, so what it holds
	// is not the whole run. Written at the next start; it makes a pass not valid.
	Unsaved struct{}
	// ProofGiven is what the wearer then tasted.
	ProofGiven struct {
		Tasted bool   `json:"tasted"`
		By     string `json:"by,omitempty"`
	}
)

// Why a proof was left.
const (
	LeftForWelfare = "welfare" // for the person's well-being
	LeftUndone     = "left"    // without need
)

// Kind implements Fact, and so below; these words stand in journals for ever.
func (RunOpened) Kind() string      { return "run_opened" }
func (Took) Kind() string           { return "took" }
func (Answered) Kind() string       { return "answered" }
func (Abstained) Kind() string      { return "abstained" }
func (Entered) Kind() string        { return "entered" }
func (Squeezed) Kind() string       { return "squeezed" }
func (SqueezedExtra) Kind() string  { return "squeezed_extra" }
func (SqueezeDoubted) Kind() string { return "squeeze_doubted" }
func (Reported) Kind() string       { return "reported" }
func (BinSet) Kind() string         { return "bin_set" }
func (ButtonProven) Kind() string   { return "button_proven" }
func (ClockStarted) Kind() string   { return "clock_started" }
func (Corrected) Kind() string      { return "corrected" }
func (Ignored) Kind() string        { return "ignored" }
func (Faulted) Kind() string        { return "faulted" }
func (Healed) Kind() string         { return "healed" }
func (Moved) Kind() string          { return "moved" }
func (Tallied) Kind() string        { return "tallied" }
func (Ended) Kind() string          { return "ended" }
func (ProofBegun) Kind() string     { return "proof_begun" }
func (ProofGiven) Kind() string     { return "proof_given" }
func (ProofLeft) Kind() string      { return "proof_left" }
func (Unsaved) Kind() string        { return "unsaved" }
func (KitSpoiled) Kind() string     { return "kit_spoiled" }
func (NameSaid) Kind() string       { return "name_said" }
func (RunParked) Kind() string      { return "run_parked" }
func (RunTakenUp) Kind() string     { return "run_taken_up" }
func (WearerDid) Kind() string      { return "wearer_did" }

type decoder func(json.RawMessage) (Fact, error)

func as[T Fact](raw json.RawMessage) (Fact, error) {
	var f T
	err := json.Unmarshal(raw, &f)
	return f, err
}

// decoders by kind and version. A new version of a fact adds a line and keeps
// the old one.
var decoders = map[string]map[int]decoder{
	"run_opened": {1: as[RunOpened]}, "took": {1: as[Took]}, "answered": {1: as[Answered]}, "abstained": {1: as[Abstained]},
	"entered": {1: as[Entered]}, "squeezed": {1: as[Squeezed]}, "squeezed_extra": {1: as[SqueezedExtra]},
	"squeeze_doubted": {1: as[SqueezeDoubted]}, "reported": {1: as[Reported]}, "bin_set": {1: as[BinSet]},
	"button_proven": {1: as[ButtonProven]}, "clock_started": {1: as[ClockStarted]}, "corrected": {1: as[Corrected]},
	"ignored": {1: as[Ignored]}, "faulted": {1: as[Faulted]}, "healed": {1: as[Healed]}, "moved": {1: as[Moved]},
	"tallied": {1: as[Tallied]}, "ended": {1: as[Ended]}, "proof_begun": {1: as[ProofBegun]}, "proof_given": {1: as[ProofGiven]},
	"proof_left": {1: as[ProofLeft]}, "unsaved": {1: as[Unsaved]}, "kit_spoiled": {1: as[KitSpoiled]}, "name_said": {1: as[NameSaid]}, "run_parked": {1: as[RunParked]}, "run_taken_up": {1: as[RunTakenUp]}, "wearer_did": {1: as[WearerDid]},
}

// Kinds lists every kind of fact with its versions, for fixtures.
func Kinds() map[string][]int {
	out := map[string][]int{}
	for k, vs := range decoders {
		for v := range vs {
			out[k] = append(out[k], v)
		}
	}
	return out
}

type envelope struct {
	At   int64           `json:"at_ns"`
	Fact json.RawMessage `json:"fact"`
}

// Encode gives the body of a journal entry for a fact.
func Encode(d Dated) ([]byte, error) {
	f, err := json.Marshal(d.Fact)
	if err != nil {
		return nil, fmt.Errorf("encode fact %s: %w", d.Fact.Kind(), err)
	}
	return json.Marshal(envelope{int64(d.At), f})
}

// Decode reads the body of a journal entry. An unknown kind or version is an
// error: a record that cannot be read whole is not shown as if it could.
func Decode(kind string, version int, body []byte) (Dated, error) {
	dec := decoders[kind][version]
	if dec == nil {
		return Dated{}, fmt.Errorf("fact %s version %d is not known to this tallyhood", kind, version)
	}
	var e envelope
	if err := json.Unmarshal(body, &e); err != nil {
		return Dated{}, fmt.Errorf("fact %s: %w", kind, err)
	}
	f, err := dec(e.Fact)
	if err != nil {
		return Dated{}, fmt.Errorf("fact %s: %w", kind, err)
	}
	return Dated{time.Duration(e.At), f}, nil
}
