// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"errors"
	"fmt"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
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
		s.noting.Go(func() { s.noteUnsaved(runs) })
	}
}

// noteAgain is how long it takes to the next attempt at a note that failed, in
// real time.
const noteAgain = time.Second

// noted is what became of an attempt to note runs.
type noted struct {
	runs []string
	err  error
}

// noteUnsaved has runs noted, again and again until that is done: the card that took
// no facts may take no note either. It runs beside the loop.
func (s *Session) noteUnsaved(runs []string) {
	for {
		err := s.cfg.Unsaved(runs)
		select {
		case s.noted <- noted{runs, err}:
		case <-s.ended:
			return
		}
		if err == nil {
			return
		}
		again, stop := s.cfg.Clock.Wake(s.cfg.Clock.Now() + time.Duration(float64(noteAgain)*s.cfg.Clock.Speed()))
		select {
		case <-again:
		case <-s.ended:
			stop()
			return
		}
	}
}

// onNoted has the page say what a person has to write down as long as the box
// cannot: after a restart such a run may be a pass.
func (s *Session) onNoted(n noted) {
	for _, run := range n.runs {
		if n.err != nil {
			s.unnoted[run] = true
		} else {
			delete(s.unnoted, run)
		}
	}
}

// storage says whether facts are being saved, as a snapshot does.
func (s *Session) storage() string {
	if len(s.unnoted) > 0 {
		return wire.StorageUnnoted
	}
	return s.failed
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
