// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"tallyhood/console/session"
	"tallyhood/store"
)

// An unsaved is a small file beside the store with the ids of runs, one a line,
// of which something that was shown could not be saved. The store may hold a
// pass of such a run: a write that was said to have failed may have happened,
// and what came after a pass may be what is missing. They stand there until the
// store has taken the word on them.
//
// The file is kept with blank room for some 500 runs, which a note is written
// over: a full card has no room for a new one.
type unsaved struct {
	path string
	mu   sync.Mutex
}

const unsavedRoom = 4096 // octets: a block of most cards' file systems

func unsavedBeside(store string) *unsaved { return &unsaved{path: store + ".unsaved"} }

// add notes runs, and returns when that is durable.
func (u *unsaved) add(runs []string) (err error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	b, err := os.ReadFile(u.path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	said := strings.Fields(string(b))
	for _, run := range runs {
		if !slices.Contains(said, run) {
			said = append(said, run)
		}
	}
	return u.write(said)
}

// reserve has room kept on the card; what stands in the file stays.
func (u *unsaved) reserve() error { return u.add(nil) }

// write has runs stand in the file, over what stood there, and returns when that
// is durable. Runs are added to those that stand there already, so a write that
// is cut short takes none away.
func (u *unsaved) write(runs []string) (err error) {
	f, err := os.OpenFile(u.path, os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	text := strings.Join(append(runs, ""), "\n")
	text += strings.Repeat("\n", max(0, unsavedRoom-len(text)))
	if _, err := f.WriteAt([]byte(text), 0); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	d, err := os.Open(filepath.Dir(u.path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// void makes the runs of the file not valid where they are a pass, and takes the
// file away once that is durable. A file without any is left.
func (u *unsaved) void(ctx context.Context, j store.Journal) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	b, err := os.ReadFile(u.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("runs that were not saved whole: %w", err)
	}
	runs := strings.Fields(string(b))
	if len(runs) == 0 {
		return nil
	}
	if err := session.Void(ctx, j, runs); err != nil {
		return err
	}
	return os.Remove(u.path)
}
