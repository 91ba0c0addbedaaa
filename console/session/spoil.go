// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"errors"
	"fmt"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/store"
)

// A spoiled nebuliser is not any more what it was when a run named it.
type spoiled struct {
	marks     []string
	worthless bool
}

// Spoiled says that what was done with nebulisers, by their marks, is worthless,
// as when one is found clogged, or that they were filled or entered anew: an open
// run that has one is told. It is called when that is durable, from any goroutine
// but the loop's.
func (s *Session) Spoiled(marks []string, worthless bool) {
	select {
	case s.spoiled <- spoiled{marks, worthless}:
	case <-s.ended:
	}
}

func (s *Session) spoil(x spoiled) {
	for _, r := range s.all() {
		for _, mark := range x.marks {
			r.say(procedure.Input{At: s.cfg.Clock.Now(), Do: procedure.DoSpoiled, Mark: mark, Yes: x.worthless})
		}
	}
}

// unsaved passes on which runs were shown with what is not on disk and will not
// come there: what the journal holds of them is not the whole run.
func (s *Session) unsaved() {
	if s.failed == "" {
		return
	}
	var runs []string
	for _, r := range s.all() {
		if len(r.pending) > 0 && !r.unsaved {
			r.unsaved = true
			r.record.unsaved(r.engine.Now())
			runs = append(runs, r.id())
		}
	}
	if len(runs) > 0 && s.cfg.Unsaved != nil {
		go s.cfg.Unsaved(runs)
	}
}

// Void makes runs not valid of which a session said that they were not saved
// whole. One without a verdict is left to CloseOpenRuns, one that the journal
// does not hold has nothing to be taken for a pass. It may be called again.
func Void(ctx context.Context, j store.Journal, runs []string) error {
	for _, run := range runs {
		st, err := archive.State(ctx, j, run)
		switch {
		case errors.Is(err, store.ErrNotFound):
			continue
		case err != nil:
			return fmt.Errorf("make run %s not valid: %w", run, err)
		case st.Verdict == nil || st.Verdict.Outcome != procedure.Pass:
			continue
		}
		drafts, err := draftsOf(run, []procedure.Dated{{At: st.At, Fact: procedure.Unsaved{}}})
		if err != nil {
			return err
		}
		if _, err := j.Append(ctx, drafts...); err != nil {
			return fmt.Errorf("make run %s not valid: %w", run, err)
		}
	}
	return nil
}
