// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/store"
)

// A Spoilt is a nebuliser or a batch, by its id, that is not any more what it was
// when a run named it.
type Spoilt struct {
	Nebuliser string // empty: it is the batch
	Batch     string // empty: it is the nebuliser
	Worthless bool   // what was done with it is, as when it was found clogged; else it is not to be used as it was named
	Seen      bool   // nothing of that: mist was seen to come, so that a pass of before keeps its ground
}

// Spoiled tells open runs of it. It is called when that is durable, from any
// goroutine but the loop's.
func (s *Session) Spoiled(x Spoilt) {
	select {
	case s.spoiled <- x:
	case <-s.ended:
	}
}

func (s *Session) spoil(x Spoilt) {
	for _, r := range s.all() {
		passed := r.over() && len(r.pending) == 0
		switch {
		case x.Seen && passed:
			r.seen = append(r.seen, x.Nebuliser)
			continue
		case x.Seen, passed && x.Nebuliser != "" && slices.Contains(r.seen, x.Nebuliser):
			continue
		}
		r.say(procedure.Input{At: s.cfg.Clock.Now(), Do: procedure.DoSpoiled, Nebuliser: x.Nebuliser, Batch: x.Batch, Yes: x.Worthless})
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
			if err != nil {
				s.cfg.Log.Error("not noted that runs were not saved; none of them may count", "runs", runs, "err", err)
			}
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
