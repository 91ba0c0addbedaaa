// SPDX-License-Identifier: Apache-2.0

package main

import (
	"cmp"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/backup"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/record"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// An undoing is what the store that a restore replaces knows against passes in
// the backup: without it they would count again.
type undoing struct {
	recalls []programme.RunsRecalled // of runs that the backup holds
	again   []programme.Triggered    // people who are due since, and why
	whole   bool                     // the store goes on from the backup, and all of it could be read
}

// undone compares the store that is replaced with the restored one. The first
// error leaves it unfinished, with what was found so far.
func undone(ctx context.Context, old, restored store.Journal, h backup.Header, keys func(person string) (*sealing.Key, error)) (undoing, error) {
	var out undoing
	on, err := goesOn(ctx, old, h)
	if err != nil {
		return out, err
	}
	from := uint64(1)
	if on {
		from = h.Entries + 1
	}
	touched := map[string]bool{} // runs with entries of later, and those that were recalled
	err = old.Read(ctx, from, func(e store.Entry) error {
		switch {
		case archive.IsRun(e.Stream):
			touched[e.Stream] = true
		case e.Stream != programme.Stream:
		case e.Kind == (programme.RunsRecalled{}).Kind():
			f, err := programme.Decode(e, keys)
			if err != nil {
				return fmt.Errorf("entry %d: %w", e.Number, err)
			}
			for _, run := range f.(programme.RunsRecalled).Runs {
				touched[run] = true
			}
		case e.Kind == (programme.Triggered{}).Kind():
			f, err := programme.Decode(e, keys)
			if errors.Is(err, sealing.ErrErased) || errors.Is(err, store.ErrNotFound) {
				return nil // of somebody erased, or entered after the backup
			}
			if err != nil {
				return fmt.Errorf("entry %d: %w", e.Number, err)
			}
			out.again = append(out.again, f.(programme.Triggered))
		}
		return nil
	})
	if err != nil {
		return out, err
	}
	recalled, err := archive.Recalls(ctx, old)
	if err != nil {
		return out, err
	}
	for _, run := range slices.Sorted(maps.Keys(touched)) {
		if err := out.run(ctx, run, old, restored, recalled); err != nil {
			return out, err
		}
	}
	out.whole = on
	return out, nil
}

// run adds what one run of the store that is replaced has against the backup.
func (u *undoing) run(ctx context.Context, run string, old, restored store.Journal, recalled map[string]record.Recalled) error {
	was, err := archive.State(ctx, old, run)
	if errors.Is(err, store.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	same, err := sameRun(ctx, run, old, restored)
	if err != nil {
		return err
	}
	if was.Verdict == nil || was.Opened.Practice != "" {
		return nil
	}
	if !same {
		// The record is lost, and that the person is due since must not be.
		person := was.Opened.Wearer.ID
		noted := slices.ContainsFunc(u.again, func(f programme.Triggered) bool { return f.Person == person })
		if was.Verdict.Outcome == procedure.Fail && person != "" && !noted {
			u.again = append(u.again, programme.Triggered{Person: person, Trigger: programme.TriggerOther})
		}
		return nil
	}
	is, err := archive.State(ctx, restored, run)
	if err != nil {
		return err
	}
	if is.Verdict == nil || is.Verdict.Outcome == procedure.NotValid {
		return nil
	}
	c, found := recalled[run]
	switch {
	case found:
		u.recalls = append(u.recalls, programme.RunsRecalled{Runs: []string{run}, Reason: c.Why, At: c.At, Quality: c.Quality, By: c.By})
	case was.Verdict.Outcome != is.Verdict.Outcome:
		u.recalls = append(u.recalls, programme.RunsRecalled{Runs: []string{run}, Reason: programme.Undone})
	}
	return nil
}

// goesOn says whether a journal holds the last entry of a backup, so that what
// comes after it is what was recorded after the backup.
func goesOn(ctx context.Context, j store.Journal, h backup.Header) (bool, error) {
	if h.Entries == 0 {
		return true, nil
	}
	found, first := false, errors.New("one is enough")
	err := j.Read(ctx, h.Entries, func(e store.Entry) error {
		found = e.Number == h.Entries && hex.EncodeToString(e.Hash[:]) == h.Hash
		return first
	})
	if errors.Is(err, first) {
		err = nil
	}
	return found, err
}

// sameRun says whether a run of two journals is the same one: its first entry
// is. After a restore, or on another box, numbers of runs are given anew.
func sameRun(ctx context.Context, run string, a, b store.Journal) (bool, error) {
	var hashes [2][32]byte
	first := errors.New("one is enough")
	for i, j := range []store.Journal{a, b} {
		err := j.ReadStream(ctx, run, func(e store.Entry) error {
			hashes[i] = e.Hash
			return first
		})
		if err == nil || errors.Is(err, store.ErrNotFound) {
			return false, nil
		}
		if !errors.Is(err, first) {
			return false, err
		}
	}
	return hashes[0] == hashes[1], nil
}

// write puts into the restored store what the replaced one had against it; it
// gives how many runs are not valid again.
func (u undoing) write(ctx context.Context, desk *programme.Desk, wall time.Time, quality string, by string) (runs int, err error) {
	for _, f := range u.recalls {
		r, err := desk.Run(ctx, f.Runs[0])
		if errors.Is(err, store.ErrNotFound) || err == nil && r.Recalled != "" {
			continue
		}
		if err != nil {
			return runs, err
		}
		if _, err := time.Parse(time.RFC3339, f.At); err != nil {
			f.At, f.Quality = wall.Format(time.RFC3339), quality
		}
		f.By = cmp.Or(f.By, by)
		if err := desk.Do(ctx, f); err != nil {
			return runs, fmt.Errorf("make run %s not valid again: %w", f.Runs[0], err)
		}
		runs++
	}
	for _, f := range u.again {
		if _, err := desk.Person(ctx, f.Person); errors.Is(err, store.ErrNotFound) {
			continue // erased, or entered after the backup
		} else if err != nil {
			return runs, err
		}
		if today := wall.Format(time.DateOnly); f.On == "" || f.On > today {
			f.On = today // a day to come would be refused
		}
		f.By = cmp.Or(f.By, by)
		if err := desk.Do(ctx, f); err != nil {
			return runs, fmt.Errorf("note that a test is due again: %w", err)
		}
	}
	return runs, nil
}

// laterWords says to who restores what became of what was recorded after the
// backup, and what is to be done.
func laterWords(later string, runs int, made string) string {
	words := "What was recorded after this backup is not in it: enter again what you have on paper."
	if later == programme.LaterUnknown {
		return words + "\nNobody knows which tests were recalled after this backup was made (" + made + "), so a pass in it may be one that does not count any more." +
			"\nGo through the mist checks since that day, on paper or in the store that was replaced. Enter each bad one again in Kit, which recalls the tests since the last good one; test again whoever failed since."
	}
	switch runs {
	case 0:
	case 1:
		words += "\nOne test that did not count any more is not valid again."
	default:
		words += fmt.Sprintf("\n%d tests that did not count any more are not valid again.", runs)
	}
	return words + "\nWho failed a test since, or is due since for a reason of their own, is due again."
}
