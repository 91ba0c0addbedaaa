// SPDX-License-Identifier: Apache-2.0

package archive

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"sync"

	"tallyhood/console/record"
	"tallyhood/store"
)

// Where a recall stands in the journal: the programme's stream and its kind of
// fact. They are no person's facts, so that nobody's key is needed.
const (
	recallStream = "programme"
	recallKind   = "runs_recalled"
)

// recallsOf is the newest form of the fact that is known here.
const recallsOf = 2

// Recalls gives the runs that were recalled after their end. A recall that
// cannot be read is an error: the run might be taken for a pass.
func Recalls(ctx context.Context, j store.Journal) (map[string]record.Recalled, error) {
	if f, ok := j.(*Followed); ok {
		return f.recalls(ctx)
	}
	out := map[string]record.Recalled{}
	if err := j.ReadStream(ctx, recallStream, recallInto(out)); err != nil {
		return nil, fmt.Errorf("recalled runs: %w", err)
	}
	return out, nil
}

// recallInto notes the runs of each recall. The first recall of a run is not the
// last word of why, but any is enough: the newest stays, as in the views.
func recallInto(out map[string]record.Recalled) func(store.Entry) error {
	return func(e store.Entry) error {
		if e.Stream != recallStream || e.Kind != recallKind {
			return nil
		}
		var f struct {
			Runs    []string `json:"runs"`
			Reason  string   `json:"reason"`
			At      string   `json:"at"`
			Quality string   `json:"quality"`
			By      string   `json:"by"`
		}
		if e.Version < 1 || e.Version > recallsOf {
			return fmt.Errorf("entry %d: a recall of version %d is not known; use a newer program", e.Number, e.Version)
		}
		if err := json.Unmarshal(e.Body, &f); err != nil {
			return fmt.Errorf("entry %d, %s: %w", e.Number, e.Kind, err)
		}
		for _, run := range f.Runs {
			out[run] = record.Recalled{Why: f.Reason, At: f.At, Quality: f.Quality, By: f.By}
		}
		return nil
	}
}

// Recalled is the recall of one run; nil when there was none.
func Recalled(ctx context.Context, j store.Journal, run string) (*record.Recalled, error) {
	all, err := Recalls(ctx, j)
	if err != nil {
		return nil, err
	}
	return of(all, run), nil
}

func of(all map[string]record.Recalled, run string) *record.Recalled {
	if c, ok := all[run]; ok {
		return &c
	}
	return nil
}

// A Followed is a journal of which the recalls are kept at hand, so that each
// look at a record reads only what was written since the last one.
type Followed struct {
	store.Journal

	mu  sync.Mutex
	at  uint64 // the last entry that was looked at
	all map[string]record.Recalled
}

// Follow keeps the recalls of a journal at hand.
func Follow(j store.Journal) *Followed { return &Followed{Journal: j} }

// mostNew is how many entries may lie between two looks before the programme's
// stream alone is read anew: a run has some 400.
const mostNew = 20_000

func (f *Followed) recalls(ctx context.Context) (map[string]record.Recalled, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	last, _ := f.Last()
	if f.all != nil && last == f.at {
		return f.all, nil
	}
	next := maps.Clone(f.all) // who has the one before goes on reading it
	var err error
	if next == nil || last-f.at > mostNew {
		next = map[string]record.Recalled{}
		err = f.ReadStream(ctx, recallStream, recallInto(next))
	} else {
		err = f.Read(ctx, f.at+1, recallInto(next))
	}
	if err != nil {
		return nil, fmt.Errorf("recalled runs: %w", err)
	}
	f.at, f.all = last, next
	return next, nil
}
