// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"sync"
	"time"

	"tallyhood/console/api"
	"tallyhood/console/archive"
	"tallyhood/console/backup"
	"tallyhood/console/programme"
	"tallyhood/device/clock"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// A safe makes and proves backups of the store.
type safe struct {
	source backup.Source
	place  backup.Place
	box    string
	wall   *clock.Wall
	store  store.Store
	stop   func() // ends the daemon, after a restore

	mu   sync.Mutex
	last time.Time // of the last backup that was proven since the start
}

func newSafe(p *parts, box string) (*safe, error) {
	source, ok := p.journal.(backup.Source)
	if !ok {
		return nil, errors.New("this store gives no snapshots")
	}
	s := &safe{source: source, place: backup.Place{Path: p.path, Check: checkStore}, box: box, wall: p.wall, store: p.journal, stop: p.stop}
	return s, s.place.Tidy()
}

// checkStore proves a store's file in full.
func checkStore(ctx context.Context, path string) (number uint64, hash [32]byte, err error) {
	if err := bolt.Check(ctx, path); err != nil {
		return 0, hash, err
	}
	s, err := bolt.Open(path, bolt.Options{ReadOnly: true})
	if err != nil {
		return 0, hash, err
	}
	number, hash = s.Last()
	return number, hash, s.Close()
}

func (s *safe) header() backup.Header {
	wall, quality := s.wall.Now()
	return backup.Header{Box: s.box, Program: version, Wall: wall.Format(time.RFC3339), Quality: string(quality)}
}

func (s *safe) proven() {
	wall, _ := s.wall.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last = wall
}

func (s *safe) lastBackup() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last
}

// Write implements api.Backup.
func (s *safe) Write(ctx context.Context, w io.Writer, passphrase string) error {
	lock, err := backup.WithPassphrase(passphrase)
	if err != nil {
		return inWords(err)
	}
	if _, err := s.place.Stream(ctx, w, s.source, s.header(), lock, nil); err != nil {
		return inWords(err)
	}
	s.proven()
	return nil
}

// Folder implements api.Backup.
func (s *safe) Folder(ctx context.Context, folder, passphrase string, _ api.Progress) (api.BackedUp, error) {
	lock, err := backup.WithPassphrase(passphrase)
	if err != nil {
		return api.BackedUp{}, inWords(err)
	}
	if !filepath.IsAbs(folder) {
		return api.BackedUp{}, programme.Refused{Why: "folder", Text: "name the folder from the root, such as /media/stick"}
	}
	f := backup.Folder{Dir: folder, Box: s.box}
	if _, err := f.Make(ctx, s.source, s.header(), lock, s.place); err != nil {
		return api.BackedUp{}, inWords(err)
	}
	s.proven()
	files, err := f.Files()
	if err != nil || len(files) == 0 {
		return api.BackedUp{Proven: true}, err
	}
	return api.BackedUp{File: files[0].Path, Bytes: files[0].Size, Proven: true}, nil
}

// First implements api.Backup.
func (s *safe) First(ctx context.Context) (bool, error) {
	runs, err := archive.List(ctx, s.store, nil, 1)
	if err != nil || len(runs) > 0 {
		return false, err
	}
	people := false
	err = s.store.ReadStream(ctx, programme.Stream, func(e store.Entry) error {
		people = people || e.Kind == (programme.PersonEntered{}).Kind()
		return nil
	})
	return !people, err
}

// Restore implements api.Backup: the file is put in the place of the one that is
// open, which has nothing in it; then the daemon ends, to be started on it.
func (s *safe) Restore(ctx context.Context, r io.Reader, passphrase string) (api.Restored, error) {
	key, err := backup.Passphrase(passphrase)
	if err != nil {
		return api.Restored{}, inWords(err)
	}
	h, err := s.place.Restore(ctx, r, key, true)
	if err != nil {
		return api.Restored{}, inWords(err)
	}
	out := api.Restored{Entries: h.Entries, Restart: true}
	if j, err := bolt.Open(s.place.Path, bolt.Options{ReadOnly: true}); err == nil {
		runs, err := archive.List(ctx, j, nil, 1_000_000)
		out.Runs = len(runs)
		if err = errors.Join(err, j.Close()); err != nil {
			return out, fmt.Errorf("look at what was restored: %w", err)
		}
	}
	if s.stop != nil {
		s.stop()
	}
	return out, nil
}

// inWords gives the errors that a person can do something about as refusals.
func inWords(err error) error {
	for kind, why := range map[error]string{
		backup.ErrLocked: "locked", backup.ErrOtherLock: "locked", backup.ErrNoBackup: "no_backup", backup.ErrDamaged: "backup_damaged",
		backup.ErrNewer: "backup_newer", backup.ErrTooLarge: "too_large", backup.ErrDiffers: "backup_damaged",
		backup.ErrHasRecords: "not_first", backup.ErrWeak: "passphrase_weak",
	} {
		if errors.Is(err, kind) {
			return programme.Refused{Why: why, Text: kind.Error()}
		}
	}
	return err
}

var _ api.Backup = (*safe)(nil)
var _ api.Evidence = (*notary)(nil)
