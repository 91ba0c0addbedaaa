// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/backup"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/device/clock"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// A house is a store with its desk and the list beside it, as the daemon opens
// them.
type house struct {
	t     *testing.T
	path  string
	store *bolt.Store
	desk  *programme.Desk
	again []string // at the start
	log   *bytes.Buffer
}

func openHouse(t *testing.T, path string) *house {
	t.Helper()
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	h := &house{t: t, path: path, log: &bytes.Buffer{}}
	if h.store, err = bolt.Open(path, bolt.Options{}); err != nil {
		t.Fatal(err)
	}
	list, log := backup.ErasedBeside(path), slog.New(slog.NewTextHandler(h.log, nil))
	h.desk, err = programme.New(t.Context(), programme.Config{
		Store: h.store, Ring: sealing.NewRing(h.store.Table(sealing.Table), rand.Reader), Rules: rules, Random: rand.Reader, Log: log,
		Now:    func() (time.Time, bool) { return time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC), true },
		Erased: func(people []string) error { return list.Add(people...) },
	})
	if err == nil {
		h.again, err = erasedAgain(t.Context(), h.desk, list, log)
	}
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func (h *house) close() {
	h.t.Helper()
	if err := h.store.Close(); err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) enter(name string) string {
	h.t.Helper()
	id, err := h.desk.Enter(h.t.Context(), programme.PersonForm{Name: name}, "Agnes Thorley")
	if err != nil {
		h.t.Fatal(err)
	}
	return id
}

func (h *house) erase(id string) {
	h.t.Helper()
	if err := h.desk.Erase(h.t.Context(), id, "asked for", "Agnes Thorley"); err != nil {
		h.t.Fatal(err)
	}
}

const housePhrase = "seven dusty chisels under glass"

func (h *house) backup() []byte {
	h.t.Helper()
	lock, err := backup.WithPassphrase(housePhrase)
	if err != nil {
		h.t.Fatal(err)
	}
	var b bytes.Buffer
	head := backup.Header{Box: "harrowgate-1", Program: "0.4.0", Wall: "2026-09-14T16:00:00Z", Quality: "confirmed"}
	if _, err := backup.Write(h.t.Context(), &b, h.store, head, lock); err != nil {
		h.t.Fatal(err)
	}
	return b.Bytes()
}

// restored runs the command, and gives what it prints.
func restored(t *testing.T, path string, data []byte, more ...string) (string, error) {
	t.Helper()
	dir := t.TempDir()
	file, phrase := filepath.Join(dir, "b.age"), filepath.Join(dir, "phrase")
	for name, b := range map[string][]byte{file: data, phrase: []byte(housePhrase + "\n")} {
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c := restoreCommand()
	var out bytes.Buffer
	c.SetOut(&out)
	c.SetErr(&out)
	c.SetArgs(append([]string{file, "--store", path, "--passphrase-file", phrase}, more...))
	err := c.ExecuteContext(t.Context())
	return out.String(), err
}

// facts lists kinds of the programme's stream, newest last.
func facts(t *testing.T, path string) (kinds []string, restored programme.Restored) {
	t.Helper()
	s, err := bolt.Open(path, bolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	err = s.ReadStream(context.Background(), programme.Stream, func(e store.Entry) error {
		kinds = append(kinds, e.Kind)
		if e.Kind == restored.Kind() {
			f, err := programme.Decode(e, nil)
			if err != nil {
				return err
			}
			restored = f.(programme.Restored)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return kinds, restored
}

// Somebody was erased after the backup: the restore says that it was one, and
// erases the person before the store is in its place.
func TestRestoreErasesAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, path)
	ana, ben := h.enter("Ana Ionescu"), h.enter("Ben Quarles")
	data := h.backup()
	_, before := h.store.Last()
	h.erase(ana)
	h.close()

	_, err := restored(t, path, data)
	if err == nil || !strings.Contains(err.Error(), backup.ErrHasRecords.Error()) {
		t.Fatalf("without --over: %v", err)
	}
	out, err := restored(t, path, data, "--over", "--by", "Bram Okafor")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out, "One person who had been erased after this backup is erased again.") || strings.Contains(out, "Ionescu") {
		t.Errorf("it prints %s", out)
	}
	raw, err := os.ReadFile(path)
	if err != nil || bytes.Contains(raw, []byte("ionescu")) || !bytes.Contains(raw, []byte("quarles")) {
		t.Errorf("the restored file: %v, Ana %v, Ben %v", err, bytes.Contains(raw, []byte("ionescu")), bytes.Contains(raw, []byte("quarles")))
	}
	kinds, r := facts(t, path)
	if want := []string{"person_entered", "person_entered", "restored", "person_erased"}; !slices.Equal(kinds, want) {
		t.Errorf("facts %v, want %v", kinds, want)
	}
	if r.By != "Bram Okafor" || r.Box != "harrowgate-1" || r.Made != "2026-09-14T16:00:00Z" || r.Head != hex.EncodeToString(before[:]) || r.Quality == "" || r.At == "" {
		t.Errorf("%+v", r)
	}
	h = openHouse(t, path)
	if len(h.again) > 0 {
		t.Errorf("the start erases %v once more", h.again)
	}
	if _, err := h.desk.Person(t.Context(), ana); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("Ana: %v", err)
	}
	if p, err := h.desk.Person(t.Context(), ben); err != nil || p.Name != "Ben Quarles" {
		t.Errorf("Ben: %+v, %v", p, err)
	}
	h.close()
}

// The list alone is enough, when the store that is replaced is spoilt; and the
// replaced store alone, when it is from before there were lists.
func TestRestoreKnowsFromEither(t *testing.T) {
	for _, lost := range []string{"store", "list", "both"} {
		path := filepath.Join(t.TempDir(), "store")
		h := openHouse(t, path)
		ana := h.enter("Ana Ionescu")
		data := h.backup()
		h.erase(ana)
		h.close()
		if lost != "list" {
			if err := os.WriteFile(path, []byte("spoilt"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if lost != "store" {
			if err := os.Remove(path + ".erased"); err != nil {
				t.Fatal(err)
			}
		}
		out, err := restored(t, path, data, "--over")
		if err != nil {
			t.Fatalf("%s: %v", lost, err)
		}
		again := strings.Contains(out, "erased again")
		if again != (lost != "both") { // nothing is left then that could tell
			t.Errorf("lost %s: it prints %s", lost, out)
		}
		if spoilt := strings.Contains(out, "cannot be read"); spoilt != (lost != "list") {
			t.Errorf("lost %s: it prints %s", lost, out)
		}
	}
}

// Erasures go along in newer backups, also of people whom the journal never had:
// a box that restored such a backup erases them out of an older one.
func TestErasuresGoAlongInBackups(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, path)
	none := h.backup() // from before Ana
	ana := h.enter("Ana Ionescu")
	with := h.backup()
	h.erase(ana)
	h.close()
	if _, err := restored(t, path, none, "--over"); err != nil { // its journal has no Ana, but the list has
		t.Fatal(err)
	}
	h = openHouse(t, path)
	newer := h.backup()
	h.close()

	other := filepath.Join(t.TempDir(), "store") // another box
	if _, err := restored(t, other, newer); err != nil {
		t.Fatal(err)
	}
	out, err := restored(t, other, with, "--over")
	if err != nil || !strings.Contains(out, "One person") {
		t.Errorf("%v, it prints %s", err, out)
	}
}

// A copy of the file that somebody put there by hand is caught at the start.
func TestStartErasesAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, path)
	ana := h.enter("Ana Ionescu")
	h.close()
	old, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	h = openHouse(t, path)
	h.erase(ana)
	h.close()
	if err := os.WriteFile(path, old, 0o600); err != nil {
		t.Fatal(err)
	}
	h = openHouse(t, path)
	defer h.close()
	if !slices.Equal(h.again, []string{ana}) || !strings.Contains(h.log.String(), "erased again") || strings.Contains(h.log.String(), "Ionescu") {
		t.Errorf("%v, log %s", h.again, h.log)
	}
	raw, err := os.ReadFile(path)
	if err != nil || bytes.Contains(raw, []byte("ionescu")) {
		t.Errorf("the file has Ana still, %v", err)
	}
}

// A console that is started while a restore puts its file in place would write
// into the file that is replaced: it waits, or is refused.
func TestNoConsoleBeginsDuringARestore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, path)
	h.enter("Ana Ionescu")
	data := h.backup()
	h.close()
	rules, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	key, err := backup.Passphrase(housePhrase)
	if err != nil {
		t.Fatal(err)
	}
	b := comeback{rules: rules, list: backup.ErasedBeside(path), log: slog.New(slog.DiscardHandler), now: func(time.Time) (time.Time, clock.Quality) {
		return time.Date(2026, 9, 15, 9, 0, 0, 0, time.UTC), clock.Confirmed
	}}
	p := b.at(path)
	prepare := p.Prepare
	var begun error
	p.Prepare = func(ctx context.Context, unpacked string, h backup.Header) error {
		err := prepare(ctx, unpacked, h)
		// The last moment before the file is put in place.
		var j *bolt.Store
		if j, begun = bolt.Open(path, bolt.Options{}); begun == nil {
			begun = j.Close()
		}
		return err
	}
	if _, err := p.Restore(t.Context(), bytes.NewReader(data), key, true); err != nil {
		t.Fatal(err)
	}
	if !errors.Is(begun, store.ErrBusy) {
		t.Errorf("a console opened the store that was about to be replaced: %v", begun)
	}
	if err := b.old.Close(); err != nil {
		t.Fatal(err)
	}
	if b.kept != path+".replaced" {
		t.Errorf("the store that was replaced is said to be %q", b.kept)
	}
	openHouse(t, path).close()
}

func TestRestoreWhileTheConsoleRuns(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store")
	h := openHouse(t, path)
	defer h.close()
	h.enter("Ana Ionescu")
	if _, err := restored(t, path, h.backup(), "--over"); err == nil || !strings.Contains(err.Error(), "stop the console first") {
		t.Errorf("%v", err)
	}
	if _, err := os.Lstat(path + ".replaced"); err == nil {
		t.Error("the store in use was replaced")
	}
}
