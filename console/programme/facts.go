// SPDX-License-Identifier: Apache-2.0

package programme

import "tallyhood/console/procedure"

// Stream is the stream of the journal that holds the programme's facts.
const Stream = "programme"

// FactVersion is the version of a fact's form that this code writes, but for the
// kinds of which there are newer ones.
const FactVersion = 1

// newer are the kinds whose form has changed. Version 2 of each says when, and
// of a signature how it was made, of a restore what became of what was recorded
// after the backup; in version 1 these are empty: not known.
var newer = map[string]int{"runs_recalled": 2, "run_amended": 2, "run_signed": 2, "restored": 2}

// VersionOf is the version of a kind of fact that this code writes.
func VersionOf(kind string) int {
	if v := newer[kind]; v > 0 {
		return v
	}
	return FactVersion
}

// A Fact is something that happened around the runs: past tense, never
// changed, journaled. Its kind and version are words that outlive the Go type.
type Fact interface{ Kind() string }

// A Personal fact is about a person: all but the person's id is sealed with the
// person's own key, and can be read no more once the key is destroyed.
type Personal interface {
	Fact
	About() string // the person's id
}

// The facts about people. Dates are days, written 2006-01-02.
type (
	// PersonEntered holds a person as entered or changed, whole.
	PersonEntered struct {
		Person string     `json:"-"`
		Form   PersonForm `json:"form"`
		By     string     `json:"by"`
	}
	// PersonCleared: a clinician said that the person may wear a facepiece.
	// There are no medical answers here.
	PersonCleared struct {
		Person string `json:"-"`
		On     string `json:"on"`
		Who    string `json:"who"` // the clinician or practice
		By     string `json:"by"`
	}
	// Triggered: something happened after which a test is due again.
	Triggered struct {
		Person  string  `json:"-"`
		Trigger Trigger `json:"trigger"`
		On      string  `json:"on"`
		By      string  `json:"by"`
	}
	// PersonLeft: no test is due any more; without a day the person is back.
	PersonLeft struct {
		Person string `json:"-"`
		On     string `json:"on"`
		By     string `json:"by"`
	}
	// DayListed puts a person on the list of a day, or takes the person off it.
	DayListed struct {
		Person string `json:"-"`
		Day    string `json:"day"`
		Place  int    `json:"place"` // among those of the day, from 1; 0: behind them
		Off    bool   `json:"off"`
		By     string `json:"by"`
	}
	// PersonErased: the key was destroyed. It is the one fact about a person
	// that is not sealed, and says nothing about who it was.
	PersonErased struct {
		Person string `json:"person"`
		Reason string `json:"reason"`
		By     string `json:"by"`
	}
)

// The facts about facepieces and kit. Instants are RFC 3339.
type (
	// FacepieceEntered holds a facepiece model as entered or changed, whole.
	FacepieceEntered struct {
		ID   string        `json:"id"`
		Form FacepieceForm `json:"form"`
		By   string        `json:"by"`
	}
	// PieceCleaned is a line of the cleaning log of a test piece.
	PieceCleaned struct {
		Facepiece string `json:"facepiece"`
		Piece     string `json:"piece"` // mark of the piece
		At        string `json:"at"`
		By        string `json:"by"`
	}
	// HoodEntered holds a hood as entered or changed, whole.
	HoodEntered struct {
		ID   string   `json:"id"`
		Form HoodForm `json:"form"`
		By   string   `json:"by"`
	}
	// NebuliserEntered holds a nebuliser as entered or changed, whole.
	NebuliserEntered struct {
		ID   string        `json:"id"`
		Form NebuliserForm `json:"form"`
		By   string        `json:"by"`
	}
	// NebuliserFilled: emptied, rinsed and filled from a batch of solution.
	NebuliserFilled struct {
		ID       string `json:"id"`
		Solution string `json:"solution"` // id of the batch
		At       string `json:"at"`
		By       string `json:"by"`
	}
	// MistChecked: somebody looked whether mist comes.
	MistChecked struct {
		ID   string `json:"id"`
		Good bool   `json:"good"`
		At   string `json:"at"`
		By   string `json:"by"`
	}
	// SolutionEntered holds a batch of solution as entered or changed, whole.
	SolutionEntered struct {
		ID   string       `json:"id"`
		Form SolutionForm `json:"form"`
		By   string       `json:"by"`
	}
)

// The facts about records and rules of the house.
type (
	// RunsRecalled: runs whose evidence turned out to be worth nothing, such as
	// those with a nebuliser that was found clogged. Each is not valid from here
	// on; its own facts stay as they are.
	RunsRecalled struct {
		Nebuliser string   `json:"nebuliser"` // empty when it was not for one
		Runs      []string `json:"runs"`
		Reason    string   `json:"reason"`
		At        string   `json:"at"`      // RFC 3339; empty: not known
		Quality   string   `json:"quality"` // of the clock then
		By        string   `json:"by"`
	}
	// RunAmended corrects a label of a record. The first value stays visible,
	// and no label changes an outcome.
	RunAmended struct {
		Run     string `json:"run"`
		Field   string `json:"field"` // tester, or whose the facepiece is
		From    string `json:"from"`
		To      string `json:"to"`
		Reason  string `json:"reason"`
		At      string `json:"at" doc:"RFC 3339; empty: not known."`
		Quality string `json:"quality" doc:"How far the clock could be trusted then."`
		By      string `json:"by"`
	}
	// RunSigned: a person signed on the screen, under the hash of the record's
	// last entry. The strokes lie in a table apart, found by their own hash.
	RunSigned struct {
		Run     string `json:"run"`
		Who     string `json:"who"`     // tester or wearer
		Record  string `json:"record"`  // hash of the last entry of the run, hexadecimal
		Strokes string `json:"strokes"` // SHA-256 of the strokes, hexadecimal
		How     string `json:"how"`     // Drawn or Typed; empty: nobody said
		At      string `json:"at"`      // RFC 3339; empty: not known
		Quality string `json:"quality"` // of the clock then
		By      string `json:"by"`
	}
	// Restored: the store was taken from a backup. What was recorded after that
	// backup is not in it.
	Restored struct {
		At      string `json:"at"`      // RFC 3339
		Quality string `json:"quality"` // of the clock, as in a run's opening
		Box     string `json:"box"`     // that made the backup
		Made    string `json:"made"`    // when, as the backup says
		Entries uint64 `json:"entries"` // of the journal in it
		Head    string `json:"head"`    // hash of the last of them, hexadecimal
		By      string `json:"by"`      // as typed; empty when nobody said
		Later   string `json:"later"`   // what was recorded after the backup: LaterTaken or LaterUnknown; empty: nobody noted it
	}
	// ErasuresKnown notes ids of people who were erased but of whom this journal
	// knows nothing, such as one restored from a time before they were entered.
	// With it they stay erased wherever this journal or a backup of it goes.
	ErasuresKnown struct {
		People []string `json:"people"`
		By     string   `json:"by"`
	}
	// PolicySet holds the rules of the house, whole.
	PolicySet struct {
		Policy Policy `json:"policy"`
		By     string `json:"by"`
	}
)

func (PersonEntered) Kind() string    { return "person_entered" }
func (PersonCleared) Kind() string    { return "person_cleared" }
func (Triggered) Kind() string        { return "person_triggered" }
func (PersonLeft) Kind() string       { return "person_left" }
func (DayListed) Kind() string        { return "day_listed" }
func (PersonErased) Kind() string     { return "person_erased" }
func (FacepieceEntered) Kind() string { return "facepiece_entered" }
func (PieceCleaned) Kind() string     { return "piece_cleaned" }
func (HoodEntered) Kind() string      { return "hood_entered" }
func (NebuliserEntered) Kind() string { return "nebuliser_entered" }
func (NebuliserFilled) Kind() string  { return "nebuliser_filled" }
func (MistChecked) Kind() string      { return "mist_checked" }
func (SolutionEntered) Kind() string  { return "solution_entered" }
func (RunsRecalled) Kind() string     { return "runs_recalled" }
func (RunAmended) Kind() string       { return "run_amended" }
func (RunSigned) Kind() string        { return "run_signed" }
func (Restored) Kind() string         { return "restored" }
func (ErasuresKnown) Kind() string    { return "erasures_known" }
func (PolicySet) Kind() string        { return "policy_set" }

// About implements Personal, and so below.
func (f PersonEntered) About() string { return f.Person }

// About implements Personal.
func (f PersonCleared) About() string { return f.Person }

// About implements Personal.
func (f Triggered) About() string { return f.Person }

// About implements Personal.
func (f PersonLeft) About() string { return f.Person }

// About implements Personal.
func (f DayListed) About() string { return f.Person }

// A Trigger is why a test is due again before its time.
type Trigger string

// The triggers (29 CFR 1910.134(f)(3); INDG479: common practice names the same).
const (
	TriggerWeight Trigger = "weight" // a marked change of weight
	TriggerDental Trigger = "dental" // substantial dental work
	TriggerScars  Trigger = "scars"  // scars or other change where the seal runs
	TriggerModel  Trigger = "model"  // another make, model or size
	TriggerOther  Trigger = "other"
)

// Triggers lists them in a fixed order.
func Triggers() []Trigger {
	return []Trigger{TriggerWeight, TriggerDental, TriggerScars, TriggerModel, TriggerOther}
}

// How a signature was made: its strokes are a person's hand, or the letters of a
// name that was typed.
const (
	Drawn = "drawn"
	Typed = "typed"
)

// A PersonForm is what is kept about a person: as little as a record needs.
type PersonForm struct {
	Name       string   `json:"name"`
	Number     string   `json:"number"`     // the company's number
	Job        string   `json:"job"`        //
	Languages  []string `json:"languages"`  // for cues and pages, first choice first
	Facepieces []string `json:"facepieces"` // ids of the models that the job requires
	Rules      string   `json:"rules"`      // id of the rule set; empty: the policy's
	Agent      string   `json:"agent"`      // the agent to use; empty: any
	Note       string   `json:"note"`       // short; never medical
}

// A FacepieceForm is a model of facepiece.
type FacepieceForm struct {
	Make      string                  `json:"make"`
	Model     string                  `json:"model"`
	Style     string                  `json:"style"` // style and material, in words
	Size      string                  `json:"size"`
	Type      procedure.FacepieceKind `json:"type"`
	FitFactor int                     `json:"fit_factor"` // needed; 0: not stated
	Pieces    []string                `json:"pieces"`     // marks of the test pieces in stock
	Stock     int                     `json:"stock"`      // unmarked ones in stock
	Gone      bool                    `json:"gone"`       // not used any more
}

// A HoodForm is a hood.
type HoodForm struct {
	Mark     string `json:"mark"`
	AcrossMM int    `json:"across_mm"` // 0: not measured
	TallMM   int    `json:"tall_mm"`
	Gone     bool   `json:"gone"`
}

// A NebuliserForm is a nebuliser. It has one role and one agent, so that weak
// and strong are never mixed up.
type NebuliserForm struct {
	Mark  string `json:"mark"`
	Role  string `json:"role"` // weak (sensitivity test) or strong (fit test)
	Agent string `json:"agent"`
	Gone  bool   `json:"gone"`
}

// A SolutionForm is a batch of solution.
type SolutionForm struct {
	Agent    string `json:"agent"`
	Strength string `json:"strength"` // weak or strong
	Lot      string `json:"lot"`
	Made     string `json:"made"` // day it was made or opened
	Expires  string `json:"expires"`
	Recipe   string `json:"recipe"` // as text; never computed one from another
	Source   string `json:"source"` // of the recipe
	Who      string `json:"who"`    // made or opened it
	Gone     bool   `json:"gone"`
}

// A Policy is the rules of the house: never looser than the rule sets.
type Policy struct {
	Rules        string `json:"rules"`         // id of the rule set that is used where none is named
	RetestMonths int    `json:"retest_months"` // 0: as the rule set says
	KeepMonths   int    `json:"keep_months"`   // 0: as the rule set says
	Site         string `json:"site"`          // employer and place, for printed records
	Hoods        int    `json:"hoods"`         // used at once, for the plan of a day
}
