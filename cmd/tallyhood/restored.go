// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"time"

	"tallyhood/console/backup"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/device/clock"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// erasedAgain compares a store with the list beside it: who is in the list and
// here all the same is erased again, and the list gets whom the store knows to
// be erased. A list that cannot be read is said and made anew.
func erasedAgain(ctx context.Context, desk *programme.Desk, list *backup.Erased, log *slog.Logger) ([]string, error) {
	known, err := list.Read()
	if errors.Is(err, backup.ErrSpoiltList) {
		log.Error("erased people", "err", err)
		err = nil
	}
	if err != nil {
		return nil, err
	}
	again, err := desk.EraseAgain(ctx, known)
	if err != nil {
		return again, fmt.Errorf("erase again who was erased before: %w", err)
	}
	all, err := desk.Erased(ctx)
	if err == nil && (len(all) > 0 || len(known) > 0) {
		if err = list.Add(all...); err != nil {
			err = fmt.Errorf("%w: %w", programme.ErrUncleaned, err)
		}
	}
	if len(again) > 0 {
		log.Warn("an older copy of the store had brought back people who were erased; they are erased again", "people", len(again), "ids", again)
	}
	return again, err
}

// A comeback is what a restore does to the proven file before it takes the
// store's place: the restore becomes a fact, and erasures and recalls of later
// are made again, so that nobody who was erased is there for a moment, and no
// pass that does not count any more.
type comeback struct {
	rules map[string]procedure.RuleSet
	list  *backup.Erased
	old   store.Store                                      // the store that is replaced; nil: none, or it cannot be read
	now   func(floor time.Time) (time.Time, clock.Quality) // floor: of the newest record in the backup
	by    string
	log   *slog.Logger

	again    []string // who was erased again
	recalled int      // runs that are not valid again
	later    string   // as the fact has it
	kept     string   // the file that was replaced; empty: there was none
}

func (b *comeback) prepare(ctx context.Context, path string, h backup.Header) (err error) {
	if b.old != nil {
		people, err := programme.ErasedIn(ctx, b.old)
		if err != nil { // a spoilt store is what restores are for
			b.log.Warn("not all erasures of the store that is replaced can be read", "found", len(people), "err", err)
		}
		if len(people) > 0 {
			if err := b.list.Add(people...); err != nil {
				return err
			}
		}
	}
	j, err := bolt.Open(path, bolt.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	floor, err := newest(ctx, j)
	if err != nil {
		return err
	}
	wall, quality := b.now(floor)
	desk, err := programme.New(ctx, programme.Config{
		Store: j, Ring: sealing.NewRing(j.Table(sealing.Table), rand.Reader), Rules: b.rules, Random: rand.Reader, Log: b.log,
		Now: func() (time.Time, bool) { return wall, quality.Trusted() },
	})
	if err != nil {
		return err
	}
	var found undoing
	if b.old != nil {
		ring := sealing.NewRing(j.Table(sealing.Table), rand.Reader)
		found, err = undone(ctx, b.old, j, h, func(person string) (*sealing.Key, error) { return ring.Key(ctx, person) })
		if err != nil { // a spoilt store is what restores are for
			b.log.Warn("not all that was recorded after the backup can be read in the store that is replaced", "recalls", len(found.recalls), "err", err)
		}
	}
	b.later = programme.LaterUnknown
	if found.whole {
		b.later = programme.LaterTaken
	}
	err = desk.Do(ctx, programme.Restored{
		At: wall.Format(time.RFC3339), Quality: string(quality), Box: h.Box, Made: h.Wall, Entries: h.Entries, Head: h.Hash, By: b.by, Later: b.later,
	})
	if err != nil {
		return err
	}
	if b.recalled, err = found.write(ctx, desk, wall, string(quality), "the box"); err != nil {
		return err
	}
	b.again, err = erasedAgain(ctx, desk, b.list, b.log)
	return err
}

// replaced opens the store that a restore is going to replace; nil when there is
// none or it cannot be read, which is said. One that is in use is an error: the
// console would go on with the old file.
func replaced(path string, log *slog.Logger) (store.Store, error) {
	j, err := bolt.Open(path, bolt.Options{ReadOnly: true})
	switch {
	case err == nil:
		return j, nil
	case errors.Is(err, store.ErrBusy):
		return nil, fmt.Errorf("stop the console first: %w", err)
	case !errors.Is(err, fs.ErrNotExist):
		log.Warn("erasures are taken from the list beside the store alone: the store that is replaced cannot be read", "err", err)
	}
	return nil, nil
}

// againWords says it for who restores; empty when nobody was erased again.
func againWords(again []string) string {
	switch len(again) {
	case 0:
		return ""
	case 1:
		return "One person who had been erased after this backup is erased again."
	}
	return fmt.Sprintf("%d people who had been erased after this backup are erased again.", len(again))
}
