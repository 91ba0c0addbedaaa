// SPDX-License-Identifier: Apache-2.0

package programme

import "tallyhood/console/procedure"

// The tables that hold the views. All of them can be made anew from the journal.
const (
	tableViews      = "views"       // "form" -> the version of all this; "at" -> the last entry taken in; "rules"; "redo"; "clock" -> clockSeen; "keeping"
	tablePeople     = "people"      // person -> Person
	tableFind       = "people.find" // folded word, 0, person -> nothing
	tableDue        = "due"         // day, 0, why, 0, person, 0, facepiece -> nothing
	tableDay        = "day"         // day, 0, person -> Listed
	tableErased     = "erased"      // person -> nothing: ids that nobody gets again
	tableFacepieces = "facepieces"  // id -> Facepiece
	tableHoods      = "hoods"       // id -> Hood
	tableNebulisers = "nebulisers"  // id -> Nebuliser
	tableSolutions  = "solutions"   // id -> Solution
	tablePolicy     = "policy"      // "policy" -> Policy
	tableRuns       = "runs"        // run -> Run
	tableRunsOf     = "runs.of"     // person, 0, run -> nothing
	tableRunsAt     = "runs.at"     // instant in UTC, 0, run -> nothing
	tableMarks      = "runs.marks"  // number of the first run, turned round -> stack
	tableRestores   = "restores"    // number of the entry -> Restored
	tableUsed       = "used"        // nebuliser, 0, number of the entry that ended the run, 0, run -> nothing
	tableBatches    = "used.batch"  // batch of solution, 0, number of the entry that ended the run, 0, run -> nothing
	tableSpoils     = "spoils"      // "nebuliser" or "batch", 0, id -> what befell it, oldest first
	tableKeep       = "keep"        // rule set, 0, day -> how many runs of it can be past their time
	tableRetired    = "retired"     // day of leaving, 0, person -> retired
	tableOwed       = "recalls"     // run that counts as recalled, of which the journal does not say so yet -> RunsRecalled
)

// viewTables are all of them.
var viewTables = []string{
	tableViews, tablePeople, tableFind, tableDue, tableDay, tableErased, tableFacepieces, tableHoods, tableNebulisers,
	tableSolutions, tablePolicy, tableRuns, tableRunsOf, tableRunsAt, tableMarks, tableUsed, tableRestores,
	tableBatches, tableSpoils, tableOwed, tableKeep, tableRetired,
}

// tableStrokes holds drawn signatures: a tester's by their hash, a wearer's by
// the run and their hash. It is no view: what is drawn is not in the journal, so
// that it can go.
const tableStrokes = "strokes"

// viewsForm is the version of the views; another one is made anew at the start.
const viewsForm = "8"

// A Person is somebody who wears a facepiece, as the facts leave them.
type Person struct {
	ID string `json:"id"`
	PersonForm
	Cleared   *Clearance     `json:"cleared"` // the last one; null: none is known
	Triggered *Happened      `json:"triggered"`
	Left      string         `json:"left"` // day; empty: still here
	Tested    []Tested       `json:"tested"`
	Due       []Due          `json:"due"`
	Fails     map[string]int `json:"fails"`    // by facepiece, since the last pass with it
	Recalled  []string       `json:"recalled"` // facepieces whose last evidence was taken away
	Days      []string       `json:"days"`     // on whose lists the person is
}

// A Clearance is a clinician's word.
type Clearance struct {
	On  string `json:"on"`
	Who string `json:"who"`
}

// Happened is a trigger and its day.
type Happened struct {
	Trigger Trigger `json:"trigger"`
	On      string  `json:"on"`
	Number  uint64  `json:"number"` // of the fact
}

// Listed is a person on the list of a day.
type Listed struct {
	Person string `json:"person"`
	Place  int    `json:"place"`
	Number uint64 `json:"number"` // of the fact: who was listed first comes first
}

// Tested is the last pass of a person with a facepiece.
type Tested struct {
	Facepiece string `json:"facepiece"`
	Make      string `json:"make"` // as it was then
	Model     string `json:"model"`
	Style     string `json:"style"`
	Size      string `json:"size"`
	Type      string `json:"type"`
	FitFactor int    `json:"fit_factor"` // needed
	Run       string `json:"run"`
	On        string `json:"on"` // day
	Rules     string `json:"rules"`
	Trusted   bool   `json:"trusted"` // the box's clock could be trusted then
	Number    uint64 `json:"number"`  // of the entry that ended the run
}

// Due is a test that a person needs.
type Due struct {
	Person    string `json:"person"`
	Facepiece string `json:"facepiece"`
	On        string `json:"on"`  // day; DueNow when it is due already
	Why       string `json:"why"` // one of Whys
}

// Whys lists why a test is due. All but interval are due now: never tested; the
// last test showed a leak; its evidence was taken away; something happened
// since; the day of the pass is not known for sure; the facepiece is another
// model than the one that was tested; it is not used any more; the rule set does
// not allow the taste test for it; the last test was one under other rules.
func Whys() []string {
	return []string{"never_tested", "failed", "recalled", "trigger", "date_unknown", "changed", "gone", "not_allowed", "other_rules", "interval"}
}

// DueNow sorts before every day.
const DueNow = "0000-00-00"

// A Facepiece is a model of facepiece, as the facts leave it.
type Facepiece struct {
	ID string `json:"id"`
	FacepieceForm
	Cleaned map[string]string `json:"cleaned"` // last cleaning of a piece
}

// ForRun is the facepiece as a run binds it.
func (f Facepiece) ForRun() procedure.Facepiece {
	return procedure.Facepiece{ID: f.ID, Make: f.Make, Model: f.Model, Style: f.Style, Size: f.Size, Type: f.Type, FitFactor: f.FitFactor}
}

// A Hood is a hood.
type Hood struct {
	ID string `json:"id"`
	HoodForm
}

// ForRun is the hood as a run notes it.
func (h Hood) ForRun() procedure.Hood {
	return procedure.Hood{ID: h.ID, Mark: h.Mark, AcrossMM: h.AcrossMM, TallMM: h.TallMM, Oversized: h.Oversized()}
}

// A Nebuliser is a nebuliser, as the facts leave it.
type Nebuliser struct {
	ID string `json:"id"`
	NebuliserForm
	Solution string `json:"solution"` // batch in it; empty: not filled yet
	Filled   string `json:"filled"`   // instant
	Squeezes int    `json:"squeezes"` // since it was filled
	Checked  string `json:"checked"`  // instant of the last mist check
	Good     bool   `json:"good"`     // what it found
	GoodAt   string `json:"good_at"`  // instant of the last good one
	Fresh    bool   `json:"fresh"`    // the last check since it was filled was good
	// Numbers of entries, since clocks are set and the journal's order is not:
	// of the last good check, and of the end of the last run with it.
	GoodNumber uint64 `json:"good_number"`
	UsedNumber uint64 `json:"used_number"`
}

// A Solution is a batch of solution.
type Solution struct {
	ID string `json:"id"`
	SolutionForm
}

// A Run is a run as a list shows it. Outcome is as of now: a recalled run is
// not valid, whatever its own facts say.
type Run struct {
	Run        string            `json:"run"`
	Person     string            `json:"person"`
	Facepiece  string            `json:"facepiece"`
	Make       string            `json:"make"`
	Model      string            `json:"model"`
	Style      string            `json:"style"`
	Size       string            `json:"size"`
	Type       string            `json:"type"`
	FitFactor  int               `json:"fit_factor"` // needed, as it was then
	Rules      string            `json:"rules"`
	Agent      string            `json:"agent"`
	Tester     string            `json:"tester"`
	At         string            `json:"at"` // instant of opening
	Quality    string            `json:"quality"`
	Outcome    procedure.Outcome `json:"outcome"`
	Reason     procedure.Reason  `json:"reason"`
	First      procedure.Outcome `json:"first"`    // outcome of its own facts
	Recalled   string            `json:"recalled"` // why; empty: it was not
	Recall     *Recall           `json:"recall"`   // null: it was not
	Practice   bool              `json:"practice"`
	Bin        int               `json:"bin"`
	Screening  int               `json:"screening"` // squeezes at the report
	Squeezes   int               `json:"squeezes"`  // of the fit test
	Late       int               `json:"late"`      // remarks
	Hurried    int               `json:"hurried"`
	Extra      int               `json:"extra"`
	StagesS    map[string]int    `json:"stages_s"` // seconds in each stage
	Nebulisers []string          `json:"nebulisers"`
	Hood       string            `json:"hood"`      // id; empty: none was named
	Oversized  bool              `json:"oversized"` // the hood was larger than the published one
	Ended      uint64            `json:"ended"`     // number of the entry with the verdict
	Number     uint64            `json:"number"`    // of its last entry
	Hash       string            `json:"hash"`      // of its last entry, hexadecimal
	Signed     []Signature       `json:"signed"`
	Amended    []RunAmended      `json:"amended"`

	uses []use // of a run that is being taken in
}

// A Recall says when a run was recalled, and by whom.
type Recall struct {
	At      string `json:"at" doc:"RFC 3339; empty: not known."`
	Quality string `json:"quality" doc:"How far the clock could be trusted then."`
	By      string `json:"by"`
}

// A Signature was made under a record.
type Signature struct {
	Who     string `json:"who"`
	Record  string `json:"record"`
	Strokes string `json:"strokes"`
	How     string `json:"how" doc:"Drawn, or typed: the strokes are letters of a name. Empty: not known."`
	At      string `json:"at" doc:"RFC 3339; empty: not known."`
	Quality string `json:"quality" doc:"How far the clock could be trusted then."`
	Holds   bool   `json:"holds"` // the record's last entry is still the one signed
}
