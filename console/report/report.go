// SPDX-License-Identifier: Apache-2.0

// Package report turns a record, and lists around the records, into what people
// carry away: a printed sheet, a wallet card, labels and slips, CSV, XLSX,
// iCalendar and the schema of the record's JSON. It is a function from data to
// bytes: the same input gives the same bytes. It must not read a clock, a file
// or the network, decide an outcome, or claim that anybody or anything is
// certified.
package report

import (
	"errors"
	"strings"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/report/page"
)

// A Sheet is all that a printed record needs. The caller has opened what is
// sealed and looked up what lies outside the run.
type Sheet struct {
	View archive.View
	// Rules are those that the run was opened with.
	Rules     procedure.RuleSet
	Person    Person
	Facepiece procedure.Facepiece
	Site      string // employer and place: for whom the test was done
	Due       Due
	// Void is why a pass does not count any more, one of ErrCard; nil: it counts,
	// or is none.
	Void error
	Kit  []procedure.Kit // nebulisers as each went into use
	Hood *procedure.Hood // as it was named at the opening; nil: it was not

	Amendments []Amendment
	Recalled   *Recall
	Signatures []Signature

	// Head is the text of the signed head of the journal, Proof the lines that
	// show the record to lie under it. Both are printed as they are.
	Head  string
	Proof []string
	// Claim is the text of the card's QR; empty: none.
	Claim string
	// Language of the printed words, a key of Catalogues; empty: "en".
	Language string
	// Own are the words of the card in Language, by the keys of Carried; nil:
	// those that are built in.
	Own Catalogue
}

// A Person is the wearer as far as a record needs one.
type Person struct {
	Name, Number, Job string
	Languages         []string // codes, first choice first
	Erased            bool     // the key was destroyed; nobody can tell who it was
}

// Due is when the next test falls due. One of the two is empty.
type Due struct {
	On  string // 2006-01-02
	Why string // why there is no day, in words
}

// An Amendment corrects a label of the record.
type Amendment struct {
	Field, From, To, Reason, By string
	At, Quality                 string // RFC 3339, and of the clock then; may be empty
}

// A Recall makes a run not valid from here on.
type Recall struct {
	Reason, By  string
	At, Quality string // RFC 3339, and of the clock then; may be empty
}

// A Signature was made under the record, on the screen.
type Signature struct {
	Who         string // tester or wearer
	Name        string
	How         string // drawn, or typed: the strokes are letters of a name; empty: not known
	At, Quality string // RFC 3339, and of the clock then; may be empty
	// Strokes are lines from 0 to 1 in both directions, downwards, in a field
	// Ratio times as wide as tall; 0 stands for 3.
	Strokes [][]page.Point
	Ratio   float64
	Holds   bool // the record's last entry is still the one that was signed
}

// settled is the sheet with its recall in both places: what is printed and the
// attached data must not differ.
func (s Sheet) settled() Sheet {
	r := s.View.Record
	switch {
	case r == nil:
	case s.Recalled == nil && r.Recalled != nil:
		s.Recalled = &Recall{Reason: r.Recalled.Why, By: r.Recalled.By, At: r.Recalled.At, Quality: r.Recalled.Quality}
	case s.Recalled != nil && r.Recalled == nil:
		now := r.Standing(&record.Recalled{Why: s.Recalled.Reason, By: s.Recalled.By, At: s.Recalled.At, Quality: s.Recalled.Quality})
		s.View.Record = &now
	}
	return s
}

// Outcome is the outcome as of now: a recalled run is not valid, whatever its
// own facts say.
func (s Sheet) Outcome() procedure.Outcome {
	if s.View.Record == nil {
		return ""
	}
	if s.Recalled != nil {
		return procedure.NotValid
	}
	return s.View.Record.Outcome
}

// inDoubt: a pass whose proof with the seal broken was not tasted. One that was
// begun and not answered is a remark: the proof is optional.
func (s Sheet) inDoubt() bool {
	return s.Outcome() == procedure.Pass && s.View.Record.Proof != nil && *s.View.Record.Proof == record.ProofNotTasted
}

// shape is the outcome whose shape is drawn: that of a pass is for one that
// stands.
func (s Sheet) shape() procedure.Outcome {
	if s.inDoubt() {
		return procedure.NotValid
	}
	return s.Outcome()
}

// practice says whether the run can never be a test record.
func (s Sheet) practice() bool { return s.View.Practice != "" }

// trusted says whether due dates may be reckoned from the run's day: qualities
// of wall time as the board's clock names them.
func (s Sheet) trusted() bool {
	return s.View.WallQuality == "confirmed" || s.View.WallQuality == "network"
}

// errNoVerdict is given for a run that is still open.
var errNoVerdict = errors.New("the run has no verdict yet, so there is no record to print")

// opened is the wall time of the run's opening; zero where none was known.
func (s Sheet) opened() time.Time { return instant(s.View.Opened) }

func instant(rfc3339 string) time.Time {
	t, err := time.Parse(time.RFC3339, rfc3339)
	if err != nil {
		return time.Time{}
	}
	return t
}

// minute writes an instant to the minute with its zone, day first by ISO 8601.
func minute(rfc3339 string) string {
	t := instant(rfc3339)
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02 15:04 -07:00")
}

func day(rfc3339 string) string {
	t := instant(rfc3339)
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02")
}

func join(sep string, parts ...string) string {
	var out []string
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, sep)
}
