// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"tallyhood/console/session"
	"tallyhood/store"
)

// An unsaved is a small file beside the store with the ids of runs, one a line,
// of which something that was shown could not be saved. The store may hold a
// pass of such a run: a write that was said to have failed may have happened,
// and what came after a pass may be what is missing. It lies there until the
// store has taken the word on them.
type unsaved struct {
	path string
	mu   sync.Mutex
}

func unsavedBeside(store string) *unsaved { return &unsaved{path: store + ".unsaved"} }

// add notes runs, and returns when that is durable.
func (u *unsaved) add(runs []string) (err error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	f, err := os.OpenFile(u.path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err := f.WriteString(strings.Join(runs, "\n") + "\n"); err != nil {
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
// file away once that is durable.
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
	if err := session.Void(ctx, j, strings.Fields(string(b))); err != nil {
		return err
	}
	return os.Remove(u.path)
}
