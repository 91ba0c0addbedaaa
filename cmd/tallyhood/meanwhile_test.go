// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/console/backup"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
	"tallyhood/store"
	"tallyhood/store/bolt"
)

// onRead does something when it is first read from, as a person does while a file
// is on its way.
type onRead struct {
	io.Reader
	do func()
}

func (r *onRead) Read(b []byte) (int, error) {
	if r.do != nil {
		r.do()
		r.do = nil
	}
	return r.Reader.Read(b)
}

// aSafe is a safe over a store of its own, and how often the daemon was ended by it.
func aSafe(t *testing.T) (s *safe, p *parts, stops *int) {
	t.Helper()
	stops = new(int)
	p = &parts{path: filepath.Join(t.TempDir(), "store"), wall: clock.NewWall(time.Time{}), log: slog.New(slog.DiscardHandler), stop: func() { *stops++ }}
	p.erased = backup.ErasedBeside(p.path)
	var err error
	if p.rules, err = procedure.Rules(); err != nil {
		t.Fatal(err)
	}
	if p.journal, err = bolt.Open(p.path, bolt.Options{}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.journal.Close() })
	if s, err = newSafe(p, "harrowgate-1"); err != nil {
		t.Fatal(err)
	}
	return s, p, stops
}

func why(err error) string {
	var r programme.Refused
	if errors.As(err, &r) {
		return r.Why
	}
	return ""
}

// A restore through the page begins on a box without records, and the box works
// while the file is on its way: what was acknowledged then is not lost, and after
// the last look nothing is acknowledged any more.
func TestARestoreLosesNothing(t *testing.T) {
	h := openHouse(t, filepath.Join(t.TempDir(), "other"))
	h.enter("Ana Ionescu")
	data := h.backup()
	h.close()
	note := func(p *parts) error {
		_, err := p.journal.Append(t.Context(), store.Draft{Stream: programme.Stream, Kind: (programme.PolicySet{}).Kind(), Version: 1, Body: []byte("{}")})
		return err
	}
	for name, c := range map[string]struct {
		onItsWay, atTheLast bool // something is recorded
		open                string
		why                 string
	}{
		"nothing":                  {},
		"a fact on its way":        {onItsWay: true, why: "meanwhile"},
		"a fact at the last":       {atTheLast: true, why: "meanwhile"},
		"a run that has no fact":   {open: "run_open", why: "meanwhile"},
		"a run that is not saved":  {open: "not_saved", why: "meanwhile"},
		"a fact and a run as well": {onItsWay: true, open: "run_open", why: "meanwhile"},
	} {
		t.Run(name, func(t *testing.T) {
			s, p, stops := aSafe(t)
			must := func(err error) {
				t.Helper()
				if err != nil {
					t.Fatal(err)
				}
			}
			must(note(p)) // what was there before does not matter
			held := 0
			s.hold = func(context.Context, ...string) (func(), string) {
				if c.open != "" {
					return func() {}, c.open
				}
				held++
				if c.atTheLast {
					must(note(p))
				}
				return func() { held-- }, ""
			}
			file := &onRead{Reader: bytes.NewReader(data)}
			if c.onItsWay {
				file.do = func() { must(note(p)) }
			}
			got, err := s.Restore(t.Context(), file, housePhrase, "Agnes Thorley")
			if why(err) != c.why || c.why == "" && err != nil {
				t.Fatalf("restored with %v", err)
			}
			_, replaced := os.Lstat(p.path + ".replaced")
			if c.why == "" {
				if replaced != nil || *stops != 1 || held != 1 || !got.Restart {
					t.Errorf("%v, ended %d times, %d holds, %+v", replaced, *stops, held, got)
				}
				if err := note(p); !errors.Is(err, store.ErrFailed) {
					t.Errorf("a fact is taken into the store that was replaced: %v", err)
				}
				return
			}
			if replaced == nil || *stops != 0 || held != 0 {
				t.Errorf("the store was replaced: %v, ended %d times, %d holds are left", replaced, *stops, held)
			}
			must(note(p))
			if left, err := filepath.Glob(p.path + ".*"); err != nil || len(left) > 0 {
				t.Errorf("left beside the store: %v, %v", left, err)
			}
		})
	}
}

// Backups and restores use the same files beside the store: while one is under way
// the next is refused as busy, and none is called damaged.
func TestOneBackupAtATime(t *testing.T) {
	s, p, _ := aSafe(t)
	if _, err := p.journal.Append(t.Context(), store.Draft{Stream: "note", Kind: "note", Version: 1, Body: bytes.Repeat([]byte("x"), 100_000)}); err != nil {
		t.Fatal(err)
	}
	stick := t.TempDir()
	folder := func() error {
		_, err := s.Folder(t.Context(), stick, housePhrase, func(int, int) {})
		return err
	}
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		err := s.Write(t.Context(), w, housePhrase)
		w.Close()
		done <- err
	}()
	var first [1]byte
	if _, err := io.ReadFull(r, first[:]); err != nil { // it is on its way to a slow reader
		t.Fatal(err)
	}
	for name, err := range map[string]error{
		"a download": s.Write(t.Context(), io.Discard, housePhrase), "a folder": folder(),
		"a restore": func() error {
			_, err := s.Restore(t.Context(), strings.NewReader("x"), housePhrase, "")
			return err
		}(),
	} {
		if why(err) != "busy" {
			t.Errorf("%s beside a download: %v", name, err)
		}
	}
	if _, err := io.Copy(io.Discard, r); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Errorf("the download itself: %v", err)
	}
	if err := folder(); err != nil {
		t.Errorf("the next one: %v", err)
	}
}

// inTheWay stands for a card without room: neither the store's file nor the list of
// the erased can be written anew. It gives what takes it away.
func inTheWay(t *testing.T, store string) func() {
	t.Helper()
	paths := []string{store + ".compact", store + ".erased.new"}
	for _, path := range paths {
		if err := os.MkdirAll(filepath.Join(path, "x"), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	return func() {
		t.Helper()
		for _, path := range paths {
			if err := os.RemoveAll(path); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// An erasure that finds no room is told as what it is, the daemon starts all the
// same, and it is brought to its end when somebody asks again, or by the box itself.
func TestAnErasureWithoutRoomIsTold(t *testing.T) {
	t.Parallel()
	for _, end := range []string{"asked again", "next start", "by itself"} {
		dir := t.TempDir()
		b := newRealBox(t, dir, 1)
		var made struct{ ID string }
		if err := json.Unmarshal(b.good("POST", "people", map[string]any{"by": "Agnes Thorley", "form": programme.PersonForm{Name: "Tomasz Zielinski"}}), &made); err != nil {
			t.Fatal(err)
		}
		freed := inTheWay(t, b.p.path)
		erase := func(want int, because string) {
			t.Helper()
			code, out := b.ask("POST", "people/"+made.ID+"/erase", map[string]any{"reason": "asked for", "by": "Agnes Thorley"})
			for i := 0; code == http.StatusAccepted && i < 6000; i++ {
				var j struct {
					Job, State, Why string
				}
				if err := json.Unmarshal(out, &j); err != nil {
					t.Fatal(err)
				}
				switch j.State {
				case "done":
					code = http.StatusOK
				case "failed":
					code, out = http.StatusConflict, []byte(`{"why":"`+j.Why+`"}`)
				default:
					time.Sleep(10 * time.Millisecond)
					_, out = b.ask("GET", "jobs/"+j.Job, nil)
				}
			}
			if code != want || !bytes.Contains(out, []byte(because)) {
				t.Fatalf("%s: erased with %d %s", end, code, out)
			}
		}
		erase(http.StatusConflict, `"why":"uncleaned"`)
		erase(http.StatusConflict, `"why":"uncleaned"`)
		if code, _ := b.ask("GET", "people/"+made.ID, nil); code != http.StatusNotFound {
			t.Errorf("%s: the person is %d", end, code)
		}
		b.end()
		if end == "next start" {
			freed()
		}
		b = newRealBox(t, dir, 1)
		switch end {
		case "asked again":
			erase(http.StatusConflict, `"why":"uncleaned"`)
			freed()
			erase(http.StatusOK, "")
		case "by itself":
			if err := b.p.office.cleanOnce(t.Context(), b.p.erased, b.p.safe.hold); !errors.Is(err, programme.ErrUncleaned) {
				t.Errorf("cleaned without room: %v", err)
			}
			freed()
			busy := func(context.Context, ...string) (func(), string) { return func() {}, "run_open" }
			if err := b.p.office.cleanOnce(t.Context(), b.p.erased, busy); err != nil {
				t.Error(err)
			}
			if owed, err := b.p.office.desk.Unclean(t.Context()); err != nil || !owed {
				t.Errorf("cleaned while a run is open: %v, %v", owed, err)
			}
			if err := b.p.office.cleanOnce(t.Context(), b.p.erased, b.p.safe.hold); err != nil {
				t.Error(err)
			}
		}
		if owed, err := b.p.office.desk.Unclean(t.Context()); err != nil || owed {
			t.Errorf("%s: still unclean: %v, %v", end, owed, err)
		}
		listed, err := b.p.erased.Read()
		if err != nil || len(listed) != 1 || listed[0] != made.ID {
			t.Errorf("%s: the list has %v, %v", end, listed, err)
		}
		b.end()
		if raw, err := os.ReadFile(b.p.path); err != nil || bytes.Contains(raw, []byte("zielinski")) {
			t.Errorf("%s: the file still has the name, %v", end, err)
		}
	}
}

// Somebody whose run has ended and is not closed is not erased: the Bench would go
// on showing the name.
func TestNobodyIsErasedWhoStandsOnTheBench(t *testing.T) {
	t.Parallel()
	b := newRealBox(t, t.TempDir(), 1)
	const by = "Agnes Thorley"
	b.good("PUT", "facepieces/corrie-m", map[string]any{"by": by, "form": programme.FacepieceForm{
		Make: "Fellside", Model: "Corrie", Style: "half mask, rubber", Size: "medium", Type: procedure.HalfMask, FitFactor: 10, Pieces: []string{},
	}})
	var made struct{ ID string }
	if err := json.Unmarshal(b.good("POST", "people", map[string]any{"by": by, "form": programme.PersonForm{Name: "Tomasz Zielinski", Facepieces: []string{"corrie-m"}}}), &made); err != nil {
		t.Fatal(err)
	}
	b.nebuliser("W1", procedure.Weak)
	p := openTablet(t, b.base+"/")
	p.must(wire.Command{Do: "take_lease"})
	p.until("the lease", func(s wire.Snapshot) bool { return s.Driver == p.me })
	p.fence = p.last.Fence
	p.must(wire.Command{Do: "open", Open: &wire.Open{Wearer: made.ID, Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: by}})
	p.until("a run", func(s wire.Snapshot) bool { return s.Run != nil })
	p.must(wire.Command{Do: string(procedure.DoAbandon), Input: procedure.Input{Reason: "called away"}})
	p.until("a verdict on disk", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Verdict != nil && s.LagMS == 0 })
	ask := map[string]any{"reason": "asked for", "by": by}
	if code, out := b.ask("POST", "people/"+made.ID+"/erase", ask); code != http.StatusConflict || !bytes.Contains(out, []byte(`"why":"run_shown"`)) {
		t.Errorf("erased with the name on the Bench: %d %s", code, out)
	}
	p.must(wire.Command{Do: "close"})
	b.good("POST", "people/"+made.ID+"/erase", ask)
}
