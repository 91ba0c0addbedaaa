// SPDX-License-Identifier: Apache-2.0

// Package archive reads finished runs back from the journal. It must not write:
// the journal is the only truth and every view is a replay of it.
package archive

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/store"
)

// A Line is a run in a list.
type Line struct {
	Run       string            `json:"run"`
	Opened    string            `json:"opened"` // wall time, RFC 3339
	Wearer    string            `json:"wearer"`
	Facepiece string            `json:"facepiece"`
	Outcome   procedure.Outcome `json:"outcome"` // as of now: a recalled run is not valid; empty while the run is open
	Reason    procedure.Reason  `json:"reason"`
	Practice  string            `json:"practice"`
	Recalled  *record.Recalled  `json:"recalled,omitempty"` // absent: the run was not recalled
}

// Names gives the name of a wearer that a journal holds sealed, or a word that
// says why there is none.
type Names func(ctx context.Context, w procedure.Wearer) string

// sealedWord stands where nobody can open a name.
const sealedWord = "(sealed)"

func nameOf(ctx context.Context, w procedure.Wearer, names Names) string {
	switch {
	case w.Name != "" || w.Sealed == "":
		return w.Name
	case names == nil:
		return sealedWord
	}
	return names(ctx, w)
}

// IsRun says whether a stream of the journal is a run: r and digits.
func IsRun(stream string) bool {
	digits, ok := strings.CutPrefix(stream, "r")
	return ok && digits != "" && strings.Trim(digits, "0123456789") == ""
}

// A View is a run with everything that its record page shows.
type View struct {
	Line
	Tester      string               `json:"tester"`
	WallQuality string               `json:"wall_quality"`
	TimeSource  string               `json:"time_source"`
	Style       string               `json:"style"`
	Size        string               `json:"size"`
	Whose       string               `json:"whose"`
	Record      *record.Record       `json:"record"` // null while the run is open
	SqueezesS   []record.Seconds     `json:"squeezes_s"`
	Answers     []procedure.Answered `json:"answers"`
	RulesName   string               `json:"rules_name"`
	Prevails    string               `json:"prevails"`
	Next        string               `json:"next"`
	Version     string               `json:"version"`
	Number      uint64               `json:"number"` // of the last entry
	Hash        string               `json:"hash"`   // of the last entry, hexadecimal

	Box           []procedure.Piece `json:"box"`            // what of the box was loaded, absent or failed
	Kit           []procedure.Kit   `json:"kit"`            // nebulisers as each went into use
	Hood          *procedure.Hood   `json:"hood"`           // null: none was named
	WiringChecked string            `json:"wiring_checked"` // wall time of the last guided check of the wires; empty: none
	Remarks       []string          `json:"remarks"`        // on the run as a whole: tried_before, no_nebuliser_named, name_not_confirmed
	Try           int               `json:"try"`            // with the same facepiece in one sitting, fails alone counted; 0: the first
	SoundMS       float64           `json:"sound_ms"`       // self-test from tone to press, a person's reaction included; 0: none
}

// Run reads one run; store.ErrNotFound when there is none of that name.
func Run(ctx context.Context, j store.Journal, names Names, run string) (View, error) {
	st, last, err := state(ctx, j, run)
	if err != nil {
		return View{}, err
	}
	recalled, err := Recalled(ctx, j, run)
	if err != nil {
		return View{}, err
	}
	v := View{
		Line: line(run, st, nameOf(ctx, st.Opened.Wearer, names), recalled), Tester: st.Opened.Tester, WallQuality: st.Opened.WallQuality, TimeSource: st.Opened.TimeSource,
		Style: st.Opened.Facepiece.Style, Size: st.Opened.Facepiece.Size, Whose: st.Opened.Facepiece.Whose,
		SqueezesS: []record.Seconds{}, Answers: st.Answers, RulesName: st.Opened.Rules.Name, Prevails: st.Opened.Rules.Prevails,
		Version: st.Opened.Version, Number: last.Number, Hash: hex.EncodeToString(last.Hash[:]),
		Box: st.Opened.Box, Hood: st.Opened.Hood, WiringChecked: st.Opened.WiringChecked, SoundMS: st.Opened.SoundMS,
	}
	v.Kit, v.Remarks = []procedure.Kit{}, []string{}
	for _, t := range st.Took {
		v.Kit = append(v.Kit, t.Kit)
	}
	if v.Box == nil {
		v.Box = []procedure.Piece{}
	}
	if v.Answers == nil {
		v.Answers = []procedure.Answered{}
	}
	if st.Verdict != nil {
		r, err := record.Of(st)
		if err != nil {
			return View{}, err
		}
		r = r.Standing(recalled)
		v.Record, v.Try = &r, r.Try
		v.Remarks = append(v.Remarks, r.Remarks...)
		if r.Fit != nil {
			v.SqueezesS = r.Fit.SqueezesS
		}
		v.Next = procedure.Next(st.Opened.Rules, r.Outcome)
	}
	return v, nil
}

// State folds one run from the journal.
func State(ctx context.Context, j store.Journal, run string) (procedure.State, error) {
	st, _, err := state(ctx, j, run)
	return st, err
}

// Folded is State with the run's last entry.
func Folded(ctx context.Context, j store.Journal, run string) (procedure.State, store.Entry, error) {
	return state(ctx, j, run)
}

func state(ctx context.Context, j store.Journal, run string) (st procedure.State, last store.Entry, err error) {
	if run == "" {
		return st, last, fmt.Errorf("run: %w", store.ErrNotFound)
	}
	err = j.ReadStream(ctx, run, func(e store.Entry) error {
		d, err := procedure.Decode(e.Kind, e.Version, e.Body)
		if err != nil {
			return err
		}
		st, last = procedure.Fold(st, d), e
		return nil
	})
	switch {
	case err == nil && last.Number == 0:
		err = store.ErrNotFound
	case err == nil && st.Opened == nil:
		err = errors.New("it does not begin with run_opened")
	}
	if err != nil {
		return st, last, fmt.Errorf("run %s: %w", run, err)
	}
	return st, last, nil
}

func line(run string, st procedure.State, name string, recalled *record.Recalled) Line {
	o := st.Opened
	l := Line{Run: run, Opened: o.Wall, Wearer: name, Facepiece: o.Facepiece.Make + " " + o.Facepiece.Model + ", " + o.Facepiece.Size, Practice: o.Practice}
	if st.Verdict != nil {
		var now procedure.Ended
		now, l.Recalled = record.Standing(*st.Verdict, recalled)
		l.Outcome, l.Reason = now.Outcome, now.Reason
	}
	return l
}

// List gives the newest runs, newest first, at most limit.
func List(ctx context.Context, j store.Journal, names Names, limit int) ([]Line, error) {
	infos, err := j.Streams(ctx, 0, limit)
	if err != nil {
		return nil, fmt.Errorf("list runs: %w", err)
	}
	recalls, err := Recalls(ctx, j)
	if err != nil {
		return nil, err
	}
	out := []Line{}
	for _, info := range infos {
		if !IsRun(info.Stream) {
			continue
		}
		st, _, err := state(ctx, j, info.Stream)
		if errors.Is(err, store.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, line(info.Stream, st, nameOf(ctx, st.Opened.Wearer, names), of(recalls, info.Stream)))
	}
	return out, nil
}
