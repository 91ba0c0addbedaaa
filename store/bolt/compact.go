// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"go.etcd.io/bbolt"
)

// compactStep bounds what one transaction of the new file holds, in bytes: the
// memory that it takes.
const compactStep = 4 << 20

// Compact fulfils store.Store. The new file is built beside the old one under
// another name, proven in full, and put in its place by a rename, so that a
// power cut leaves one whole file or the other. What the old file held stays on
// the medium until something else is written there; a card may keep it longer.
func (s *Store) Compact(ctx context.Context) error {
	s.use.Lock() // nobody reads, and nothing waits for the writer
	defer s.use.Unlock()
	if err := s.unwritable(); err != nil {
		return err
	}
	unfinished := s.path + ".compact"
	if err := os.Remove(unfinished); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("compact: %w", err)
	}
	db, file, st, err := s.rewrite(ctx, unfinished)
	if err != nil {
		os.Remove(unfinished)
		return fmt.Errorf("compact: %w", err)
	}
	if err := os.Rename(unfinished, s.path); err != nil {
		db.Close()
		os.Remove(unfinished)
		return fmt.Errorf("compact: %w", err)
	}
	old := s.db
	s.db, s.file = db, file
	s.state.Store(st)
	err = errors.Join(syncFolder(s.path), old.Close())
	if err != nil {
		return s.fail(fmt.Errorf("compact: %w", err))
	}
	return nil
}

func syncFolder(path string) error {
	folder, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer folder.Close()
	return folder.Sync()
}

// rewrite builds the new file and proves it. It is open, locked and synced when
// there is no error, and closed otherwise.
func (s *Store) rewrite(ctx context.Context, path string) (db *bbolt.DB, file *os.File, st *state, err error) {
	file, err = os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, nil, nil, err
	}
	if err = lock(file, true); err == nil {
		db, err = openDB(path, file)
	}
	if err != nil {
		file.Close()
		return nil, nil, nil, err
	}
	defer func() {
		if err != nil {
			db.Close()
		}
	}()
	if err = guard(func() error { return bbolt.Compact(db, s.db, compactStep) }); err != nil {
		return db, file, nil, err
	}
	was := s.state.Load()
	err = guard(func() error {
		return db.Update(func(tx *bbolt.Tx) error {
			h := head{Tx: uint64(tx.ID()), Number: was.number, Hash: hexOf(was.hash), Streams: was.streams, Buckets: was.buckets}
			return tx.Bucket([]byte(metaBucket)).Put([]byte(headKey), h.encode())
		})
	})
	if err == nil {
		err = file.Sync()
	}
	if err != nil {
		return db, file, nil, err
	}
	m, st, err := inspect(ctx, file, false, true)
	if err == nil {
		err = crossCheck(ctx, func() *view { return newView(file, st) }, st)
	}
	if err != nil {
		return db, file, nil, err
	}
	root, tx, err := current(db)
	switch {
	case err != nil:
	case root != m.root || tx != m.tx:
		err = damaged("bbolt reads transaction %d, not %d", tx, m.tx)
	case st.number != was.number || st.hash != was.hash:
		err = damaged("the new file ends with entry %d, not %d", st.number, was.number)
	}
	return db, file, st, err
}
