// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"tallyhood/store"
)

// Each call on a damaged file gives the truth or ErrDamaged, for each of some
// thousand damages.
func TestDamageIsReported(t *testing.T) {
	if testing.Short() {
		t.Skip("only when asked: thousands of stores are hashed whole, in one goroutine (not with -short)")
	}
	path, _ := sample(t)
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := openBytes(file)
	if err != nil {
		t.Fatal(err)
	}
	truth := ask(sound, nil)
	for call, a := range truth {
		if a.err != nil {
			t.Fatalf("%s of the sound file: %v", call, a.err)
		}
	}
	if n := len(truth["read"].value.([]store.Entry)); n != 300 {
		t.Fatalf("the sound file has %d entries, want 300", n)
	}
	all := damages(t, file)
	reports := 0
	judge(t, file, all, truth, func(d damage, wrong []string, reported bool) {
		if len(wrong) > 0 {
			t.Errorf("%s: silently wrong: %s", d.name, strings.Join(wrong, ", "))
		}
		if reported {
			reports++
		}
	})
	t.Logf("%d damages: %d reported, the others changed nothing that is read", len(all), reports)
	if reports < len(all)*8/10 {
		t.Errorf("only %d of %d damages were reported: does the test still hit what is read?", reports, len(all))
	}
}

// A page put back from an earlier time is reported, but for what the package
// comment admits: a table's page, and a stream unknown on such a page.
func TestStalePages(t *testing.T) {
	path, times := sample(t)
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := openBytes(file)
	if err != nil {
		t.Fatal(err)
	}
	truth := ask(sound, nil)
	var all []damage
	seen := map[string]bool{string(make([]byte, pageSize)): true}
	for at, old := range times {
		for page := range min(len(old), len(file)) / pageSize {
			was, is := old[page*pageSize:][:pageSize], file[page*pageSize:][:pageSize]
			if !bytes.Equal(was, is) && !seen[string(was)] {
				seen[string(was)] = true
				all = append(all, damage{fmt.Sprintf("page %d of time %d", page, at), func(b []byte) []byte {
					copy(b[page*pageSize:], was)
					return b
				}})
			}
		}
	}
	reports, tables, unknown := 0, 0, 0
	judge(t, file, all, truth, func(d damage, wrong []string, reported bool) {
		if reported {
			reports++
		}
		got := answers{}
		for _, call := range wrong {
			switch {
			case strings.HasPrefix(call, "get ") || strings.HasPrefix(call, "keys "):
				tables++
				continue
			case strings.HasPrefix(call, "stream "):
				if len(got) == 0 {
					got = askBytes(d.do(bytes.Clone(file)), truth)
				}
				if got[call].err == nil && len(got[call].value.([]store.Entry)) == 0 {
					unknown++
					continue
				}
			}
			t.Errorf("%s: silently wrong: %s", d.name, call)
		}
	})
	t.Logf("%d old pages: %d reported; silent were %d answers of tables and %d streams read as unknown", len(all), reports, tables, unknown)
	if reports == 0 {
		t.Error("no old page was reported: does the test still put any back?")
	}
}

// A damaged file that still opens for writing is written without a panic or a
// hang, and afterwards gives the truth or ErrDamaged.
func TestWritingToDamage(t *testing.T) {
	path, _ := sample(t)
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := openBytes(file)
	if err != nil {
		t.Fatal(err)
	}
	truth := ask(sound, nil)
	before := truth["read"].value.([]store.Entry)
	all := damages(t, file)
	rand.New(rand.NewPCG(3, 4)).Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	folder, err := os.MkdirTemp("/dev/shm", "tallyhood") // writing these needs no disk
	if err != nil {
		folder = t.TempDir()
	}
	defer os.RemoveAll(folder)
	opened, written := 0, 0
	for i, d := range all[:min(600, len(all))] {
		path := filepath.Join(folder, fmt.Sprint(i))
		if err := os.WriteFile(path, d.do(bytes.Clone(file)), 0o600); err != nil {
			t.Fatal(err)
		}
		done := make(chan bool)
		go func() {
			defer close(done)
			s, err := Open(path, Options{})
			if err != nil {
				return
			}
			opened++
			ctx := context.Background()
			_, err1 := s.Append(ctx, store.Draft{Stream: "run-3", Kind: "late", Version: 1}, store.Draft{Stream: "new", Kind: "late", Version: 1})
			err2 := s.Table("people").Put(ctx, "person-1", []byte("late"))
			for _, err := range []error{err1, err2} {
				if err != nil && !errors.Is(err, store.ErrFailed) {
					t.Errorf("%s: write: %v, want ErrFailed", d.name, err)
				}
			}
			if err := s.Close(); err != nil {
				t.Errorf("%s: close: %v", d.name, err)
			}
			if err1 != nil {
				return
			}
			written++
			s, err = Open(path, Options{ReadOnly: true})
			if err != nil {
				t.Errorf("%s: opened and written before, now: %v", d.name, err)
				return
			}
			defer s.Close()
			var after []store.Entry
			err = s.Read(ctx, 1, func(e store.Entry) error { after = append(after, e); return nil })
			if n := min(len(after), len(before)); n > 0 && !reflect.DeepEqual(after[:n], before[:n]) || err == nil && len(after) != len(before)+2 {
				t.Errorf("%s: silently wrong after writing: %d entries, %v", d.name, len(after), err)
			}
			if err != nil && !errors.Is(err, store.ErrDamaged) {
				t.Errorf("%s: read: %v", d.name, err)
			}
		}()
		select {
		case <-done:
		case <-time.After(time.Minute):
			t.Fatalf("%s: writing does not end", d.name)
		}
		os.Remove(path)
	}
	t.Logf("600 damages: %d files opened for writing, %d took an entry", opened, written)
	if opened == 0 || written == 0 {
		t.Error("no damaged file was written to: the test shows nothing")
	}
}

// Any file at all gives an answer or an error.
func FuzzOpen(f *testing.F) {
	path, _ := sample(f)
	file, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	sound, err := openBytes(file)
	if err != nil {
		f.Fatal(err)
	}
	truth := ask(sound, nil)
	f.Add(uint32(8), []byte{1}, false)
	f.Add(uint32(3*pageSize), bytes.Repeat([]byte{0xff}, 20), true)
	f.Fuzz(func(t *testing.T, at uint32, with []byte, rehead bool) {
		b := bytes.Clone(file)
		copy(b[int(at)%len(b):], with)
		if rehead { // the change may be in a head: give it a good checksum again
			resum(b[:pageSize])
			resum(b[pageSize : 2*pageSize])
		}
		wrong, _ := silent(askBytes(b, truth), truth)
		if len(wrong) > 0 && !rehead {
			t.Errorf("silently wrong: %v", wrong)
		}
	})
}
