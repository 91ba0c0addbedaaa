// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"tallyhood/console/api"
	"tallyhood/device/clock"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// The list of backups tells what each holds, survives a restart, and says when
// a stick is out.
func TestBackupsMade(t *testing.T) {
	dir, stick := t.TempDir(), t.TempDir()
	const words = "six plain words of your own"
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	p := &parts{path: filepath.Join(dir, "store"), wall: clock.NewWall(time.Time{}), log: slog.New(slog.DiscardHandler)}
	var err error
	p.journal, err = bolt.Open(p.path, bolt.Options{})
	must(err)
	defer p.journal.Close()
	safe, err := newSafe(p, "harrowgate-1")
	must(err)
	if !safe.lastBackup().IsZero() {
		t.Error("a backup before the first")
	}
	grow := func() {
		t.Helper()
		_, err := p.journal.Append(t.Context(), store.Draft{Stream: "note", Kind: "note", Version: 1, Body: bytes.Repeat([]byte("x"), 100_000)})
		must(err)
	}
	for range 3 {
		grow()
		var far [][2]int
		_, err := safe.Folder(t.Context(), stick, words, func(done, of int) { far = append(far, [2]int{done, of}) })
		must(err)
		if want := [][2]int{{0, 3}, {1, 3}, {2, 3}, {3, 3}}; !slices.Equal(far, want) {
			t.Errorf("how far it is was told as %v, want %v", far, want)
		}
	}
	grow()
	var sent bytes.Buffer
	must(safe.Write(t.Context(), &sent, words))

	again, err := newSafe(p, "harrowgate-1")
	must(err)
	made, err := again.Made(t.Context())
	must(err)
	if len(made) != 3 {
		t.Fatalf("made %+v", made)
	}
	number, _ := p.journal.Last()
	for i, want := range []struct {
		where, file string
		entries     uint64
		here        bool
	}{{"", "", number, false}, {stick, "tallyhood-harrowgate-1-a.age", number - 1, true}, {stick, "tallyhood-harrowgate-1-b.age", number - 2, true}} {
		g := made[i]
		if g.Where != want.where || want.file != "" && filepath.Base(g.File) != want.file || g.Entries != want.entries || g.Here != want.here || len(g.Hash) != 64 || g.Proven == "" || g.Made == "" {
			t.Errorf("backup %d: %+v", i, g)
		}
		if info, err := os.Stat(g.File); want.file != "" && (err != nil || info.Size() != g.Bytes) {
			t.Errorf("backup %d: %v, %d bytes told", i, err, g.Bytes)
		}
	}
	if made[0].Bytes != int64(sent.Len()) || again.lastBackup().IsZero() {
		t.Errorf("%d bytes of %d were told; last %v", made[0].Bytes, sent.Len(), again.lastBackup())
	}

	must(os.Remove(made[2].File))
	must(os.WriteFile(made[1].File, []byte("cut"), 0o600))
	made, err = again.Made(t.Context())
	must(err)
	if made[1].Here || made[2].Here {
		t.Errorf("a file that is gone or cut is here: %+v", made)
	}

	must(os.WriteFile(again.list(), []byte("{"), 0o600))
	broken, err := newSafe(p, "harrowgate-1")
	must(err)
	if made, err := broken.Made(t.Context()); err != nil || len(made) != 0 {
		t.Errorf("of a broken list: %+v, %v", made, err)
	}
	var _ api.Backup = broken
}
