// SPDX-License-Identifier: Apache-2.0

package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
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
	back   comeback
	end    func(number uint64) error // of the store, see bolt.Store.End
	// hold keeps runs from being opened, see session.Session.Hold; nil: none can be.
	hold func(ctx context.Context, people ...string) (release func(), why string)

	// Backups and a restore have the names of their files beside the store in
	// common. A download may last as long as its reader wants: the next is refused.
	busy sync.Mutex

	mu   sync.Mutex
	made []api.Generation // newest first, as the file beside the store has them
}

// backupsFile, beside the store, says which backups were made: what is in them
// can only be read with their passphrase.
const backupsFile = "backups.json"

// How many backups are remembered: of a folder those that it keeps, of
// downloads, which may lie anywhere, the last ones.
const (
	keptInFolder   = 2
	keptDownloads  = 3
	keptBackupsAll = 20
)

func newSafe(p *parts, box string) (*safe, error) {
	source, ok := p.journal.(interface {
		backup.Source
		End(number uint64) error
	})
	if !ok {
		return nil, errors.New("this store gives no snapshots")
	}
	s := &safe{source: source, end: source.End, place: backup.Place{Path: p.path, Check: checkStore}, box: box, wall: p.wall, store: p.journal, stop: p.stop}
	s.back = comeback{
		rules: p.rules, list: p.erased, old: p.journal, log: p.log,
		now: func(time.Time) (time.Time, clock.Quality) { return p.wall.Now() },
	}
	if b, err := os.ReadFile(s.list()); err == nil {
		if err := json.Unmarshal(b, &s.made); err != nil {
			s.made = nil
			p.log.Warn("which backups were made cannot be read; new ones are noted from now on", "file", s.list(), "err", err)
		}
	}
	return s, s.place.Tidy()
}

func (s *safe) list() string { return filepath.Join(filepath.Dir(s.place.Path), backupsFile) }

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

// proven notes a backup that was proven just now.
func (s *safe) proven(h backup.Header, where, file string, size int64) error {
	wall, _ := s.wall.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	all := []api.Generation{{
		Where: where, File: file, Bytes: size, Made: h.Wall, Quality: h.Quality, Proven: wall.Format(time.RFC3339), Entries: h.Entries, Hash: h.Hash,
	}}
	same := 1
	for _, g := range s.made {
		if g.Where == where {
			same++
			if where == "" && same > keptDownloads || where != "" && same > keptInFolder {
				continue
			}
		}
		if all = append(all, g); len(all) == keptBackupsAll {
			break
		}
	}
	s.made = all
	b, err := json.Marshal(all)
	if err == nil {
		err = writeWhole(s.list(), append(b, '\n'))
	}
	if err != nil {
		return fmt.Errorf("the backup is proven, but the list of backups was not written: %w", err)
	}
	return nil
}

// lastBackup is when the last backup was proven; zero when none is known.
func (s *safe) lastBackup() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.made) == 0 {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339, s.made[0].Proven)
	if err != nil {
		return time.Time{}
	}
	return t
}

// Made implements api.Backup. The folder's files change their names as they
// grow old, so each is found again by its size.
func (s *safe) Made(context.Context) ([]api.Generation, error) {
	s.mu.Lock()
	all := slices.Clone(s.made)
	s.mu.Unlock()
	next := map[string]int{} // of the files of a folder
	for i := range all {
		g := &all[i]
		if g.Where == "" {
			continue
		}
		n := next[g.Where]
		next[g.Where] = n + 1
		// A stick that is out is no failure: its files are not here.
		files, err := backup.Folder{Dir: g.Where, Box: s.box}.Files()
		if err == nil && n < len(files) {
			g.File, g.Here = files[n].Path, files[n].Size == g.Bytes
		}
	}
	return all, nil
}

// errBusy refuses what would meet another backup or restore.
var errBusy = programme.Refused{Why: api.WhyBusy, Text: "a backup or a restore is under way; wait for its end"}

// quiet is hold, and keeps backups from being made too: for work that writes the
// store's file anew, which would wait for a slow stick with everything behind it.
func (s *safe) quiet(ctx context.Context, people ...string) (release func(), why string) {
	if !s.busy.TryLock() {
		return func() {}, api.WhyBusy
	}
	if s.hold == nil {
		return s.busy.Unlock, ""
	}
	held, why := s.hold(ctx, people...)
	if why != "" {
		s.busy.Unlock()
		return held, why
	}
	return func() {
		held()
		s.busy.Unlock()
	}, ""
}

// Write implements api.Backup.
func (s *safe) Write(ctx context.Context, w io.Writer, passphrase string) error {
	if !s.busy.TryLock() {
		return errBusy
	}
	defer s.busy.Unlock()
	lock, err := backup.WithPassphrase(passphrase)
	if err != nil {
		return inWords(err)
	}
	h := s.header()
	var bytes int64
	h, err = s.place.Stream(ctx, w, s.source, h, lock, func(size int64, _ [32]byte) error {
		bytes = size
		return nil
	})
	if err != nil {
		return inWords(err)
	}
	return s.proven(h, "", "", bytes)
}

// Folder implements api.Backup.
func (s *safe) Folder(ctx context.Context, folder, passphrase string, progress api.Progress) (api.BackedUp, error) {
	if !s.busy.TryLock() {
		return api.BackedUp{}, errBusy
	}
	defer s.busy.Unlock()
	lock, err := backup.WithPassphrase(passphrase)
	if err != nil {
		return api.BackedUp{}, inWords(err)
	}
	if !filepath.IsAbs(folder) {
		return api.BackedUp{}, programme.Refused{Why: "folder", Text: "name the folder from the root, such as /media/stick"}
	}
	f := backup.Folder{Dir: folder, Box: s.box}
	// Written, read back, checked in full: about as long each.
	const steps = 3
	progress(0, steps)
	place := s.place
	place.Check = func(ctx context.Context, path string) (uint64, [32]byte, error) {
		progress(2, steps)
		return s.place.Check(ctx, path)
	}
	h, err := f.Make(ctx, writing{s.source, func() { progress(1, steps) }}, s.header(), lock, place)
	if err != nil {
		return api.BackedUp{}, inWords(err)
	}
	progress(steps, steps)
	made := api.BackedUp{Proven: true}
	files, err := f.Files()
	if err == nil && len(files) > 0 {
		made.File, made.Bytes = files[0].Path, files[0].Size
	}
	return made, errors.Join(err, s.proven(h, filepath.Clean(folder), made.File, made.Bytes))
}

// writing is a source that says when it has been written.
type writing struct {
	backup.Source
	done func()
}

// Snapshot implements backup.Source.
func (w writing) Snapshot(ctx context.Context, to io.Writer, begin func(size int64, number uint64, hash [32]byte) error) error {
	err := w.Source.Snapshot(ctx, to, begin)
	if err == nil {
		w.done()
	}
	return err
}

// First implements api.Backup.
func (s *safe) First(ctx context.Context) (bool, error) {
	// What is no run, such as the stream of people and kit, may have begun later.
	const streams = 64
	infos, err := s.store.Streams(ctx, 0, streams)
	if err != nil || slices.ContainsFunc(infos, func(i store.StreamInfo) bool { return archive.IsRun(i.Stream) }) {
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
// open, which has nothing in it; then the daemon ends, to be started on it. The
// file may be long on its way, and the box works meanwhile: what is recorded then
// would be lost, so the restore is given up for it, and from the last look on
// nothing more is taken.
func (s *safe) Restore(ctx context.Context, r io.Reader, passphrase, by string) (api.Restored, error) {
	if !s.busy.TryLock() {
		return api.Restored{}, errBusy
	}
	defer s.busy.Unlock()
	number, _ := s.store.Last()
	if first, err := s.First(ctx); err != nil || !first {
		return api.Restored{}, cmp.Or(err, error(errMeanwhile))
	}
	key, err := backup.Passphrase(passphrase)
	if err != nil {
		return api.Restored{}, inWords(err)
	}
	back := s.back // a copy for this restore
	back.by = by
	place := s.place
	ended := false
	place.Prepare = func(ctx context.Context, path string, h backup.Header) error {
		if err := back.prepare(ctx, path, h); err != nil {
			return err
		}
		release := func() {}
		if s.hold != nil {
			var why string
			if release, why = s.hold(ctx); why != "" {
				return errMeanwhile
			}
		}
		if err := s.end(number); err != nil {
			release()
			return err
		}
		ended = true // and no run is opened any more
		return nil
	}
	h, err := place.Restore(ctx, r, key, true)
	if err != nil {
		if ended && s.stop != nil {
			s.stop() // the next start has the store that was there
		}
		return api.Restored{}, inWords(err)
	}
	out := api.Restored{Entries: h.Entries, Erased: len(back.again), Recalled: back.recalled, Later: back.later, Restart: true}
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

// errMeanwhile refuses a restore that something came before.
var errMeanwhile = programme.Refused{Why: "meanwhile", Text: "something was recorded on this box while the backup was on its way, so nothing was restored"}

// inWords gives the errors that a person can do something about as refusals.
func inWords(err error) error {
	switch {
	case errors.Is(err, bolt.ErrGrown):
		return errMeanwhile
	case errors.Is(err, programme.ErrUncleaned), errors.Is(err, programme.ErrSaved):
		return errors.New(err.Error()) // in the file that was not put in place: here nothing was erased or saved
	}
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
