// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/store"
)

// A memFile is a file held in memory, so that thousands of damaged ones cost
// no writing.
type memFile struct {
	*bytes.Reader
	size int64
}

func (f memFile) Close() error               { return nil }
func (f memFile) Stat() (fs.FileInfo, error) { return memInfo{size: f.size}, nil }

type memInfo struct {
	fs.FileInfo
	size int64
}

func (i memInfo) Size() int64 { return i.size }

func openBytes(b []byte) (*Store, error) {
	s, _, err := openFile(memFile{bytes.NewReader(b), int64(len(b))}, false)
	return s, err
}

// sample writes a store of a few hundred entries, with every kind of record
// and page, and returns its path and the file at several times on the way.
func sample(t testing.TB) (path string, times [][]byte) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "sample.db")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	for i := range 60 {
		var drafts []store.Draft
		for j := range 5 {
			d := store.Draft{Stream: fmt.Sprint("run-", i/3), Kind: "squeeze", Version: 1, Body: fmt.Appendf(nil, `{"at":%d,"n":%d}`, i, j)}
			if j == 3 {
				d = store.Draft{Stream: fmt.Sprint("sitting-", i%7), Kind: "note", Version: 1, Body: bytes.Repeat([]byte("n"), i*3)}
			}
			if i%20 == 10 && j == 4 {
				d.Body = bytes.Repeat([]byte("long"), 2500) // with overflow pages
			}
			if i%13 == 5 && j == 2 {
				d.Stream = ""
			}
			drafts = append(drafts, d)
		}
		if _, err := s.Append(ctx, drafts...); err != nil {
			t.Fatal(err)
		}
		if i%4 == 0 {
			err = errors.Join(s.Table("people").Put(ctx, fmt.Sprint("person-", i*7%16), bytes.Repeat([]byte("p"), 40*i)),
				s.Table("settings").Put(ctx, fmt.Sprint("setting-", i%8), fmt.Append(nil, i)))
			if err != nil {
				t.Fatal(err)
			}
		}
		if i%3 == 2 {
			now, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			times = append(times, now)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := Check(ctx, path); err != nil {
		t.Fatal(err)
	}
	return path, times
}

// answers are what a store gave to every call there is, by a name of the call.
type answers map[string]answer

type answer struct {
	value any
	err   error
}

// ask calls everything that reads. The names to ask for come from known, which
// is the answers of the sound file; nil: from the store itself.
func ask(s *Store, known answers) answers {
	ctx := context.Background()
	got := answers{}
	n, h := s.Last()
	got["last"] = answer{value: fmt.Sprintf("%d %x", n, h)}
	collect := func(call func(func(store.Entry) error) error) answer {
		var entries []store.Entry
		err := call(func(e store.Entry) error { entries = append(entries, e); return nil })
		return answer{entries, err}
	}
	got["read"] = collect(func(f func(store.Entry) error) error { return s.Read(ctx, 1, f) })
	got["read 150"] = collect(func(f func(store.Entry) error) error { return s.Read(ctx, 150, f) })
	infos, err := s.Streams(ctx, 0, 1000)
	got["streams"] = answer{infos, err}
	infos, err = s.Streams(ctx, 100, 5)
	got["streams below 100"] = answer{infos, err}
	names := []string{""}
	for i := range 20 {
		names = append(names, fmt.Sprint("run-", i))
	}
	for i := range 7 {
		names = append(names, fmt.Sprint("sitting-", i))
	}
	for _, name := range names {
		got["stream "+name] = collect(func(f func(store.Entry) error) error { return s.ReadStream(ctx, name, f) })
	}
	for _, name := range []string{"people", "settings"} {
		keys, err := s.Table(name).Keys(ctx, "")
		got["keys of "+name] = answer{keys, err}
		if known != nil {
			keys = known["keys of "+name].value.([]string)
		}
		for _, key := range keys {
			value, err := s.Table(name).Get(ctx, key)
			got["get "+name+" "+key] = answer{value, err}
		}
	}
	return got
}

// askBytes opens a file and asks; an error of opening is the answer to all.
func askBytes(b []byte, known answers) answers {
	s, err := openBytes(b)
	if err == nil {
		return ask(s, known)
	}
	got := answers{}
	for call := range known {
		got[call] = answer{err: err}
	}
	return got
}

// silent returns the calls that gave something else than the truth and did not
// say so, and whether damage was reported at all.
func silent(got, truth answers) (calls []string, reported bool) {
	for call, want := range truth {
		have := got[call]
		if errors.Is(have.err, store.ErrDamaged) || errors.Is(have.err, store.ErrNewer) {
			reported = true
			continue
		}
		if have.err != nil || !reflect.DeepEqual(have.value, want.value) {
			calls = append(calls, call)
		}
	}
	slices.Sort(calls)
	return calls, reported
}

// A damage is one way to change a file.
type damage struct {
	name string
	do   func([]byte) []byte // may change its argument
}

// damages spreads over all pages in use: each is hit many times.
func damages(t *testing.T, file []byte) []damage {
	r := rand.New(rand.NewPCG(1, 2))
	m, err := loadMeta(bytes.NewReader(file), int64(len(file)), false)
	if err != nil {
		t.Fatal(err)
	}
	pages := int(m.pages)
	var all []damage
	add := func(do func([]byte) []byte, format string, args ...any) {
		all = append(all, damage{fmt.Sprintf(format, args...), do})
	}
	change := func(at, n int, with func(i int, b byte) byte) func([]byte) []byte {
		return func(b []byte) []byte {
			for i := at; i < min(at+n, len(b)); i++ {
				b[i] = with(i-at, b[i])
			}
			return b
		}
	}
	zero := func(int, byte) byte { return 0 }
	for page := range pages {
		// The heads of pages and their first elements, and anywhere else.
		for i := range 64 {
			bit := byte(1) << r.IntN(8)
			at := page*pageSize + i
			if page < 2 {
				at += pageHeader // all of the two heads
			} else if i%5 != page%5 {
				continue
			}
			add(change(at, 1, func(_ int, b byte) byte { return b ^ bit }), "flip %#x at %d", bit, at)
		}
		for range 8 {
			at, bit := page*pageSize+r.IntN(pageSize), byte(1)<<r.IntN(8)
			add(change(at, 1, func(_ int, b byte) byte { return b ^ bit }), "flip %#x at %d", bit, at)
		}
		for _, n := range []int{4, 300} {
			at := page*pageSize + r.IntN(pageSize)/n*n
			add(change(at, n, zero), "zero %d at %d", n, at)
			noise := make([]byte, n)
			for i := range noise {
				noise[i] = byte(r.Uint32())
			}
			at = page*pageSize + r.IntN(pageSize)
			add(change(at, n, func(i int, _ byte) byte { return noise[i] }), "noise %d at %d", n, at)
		}
		add(change(page*pageSize, pageSize, zero), "zero page %d", page)
		add(change(page*pageSize, pageSize, func(int, byte) byte { return 0xff }), "fill page %d", page)
		other := r.IntN(pages)
		add(func(b []byte) []byte {
			copy(b[page*pageSize:][:pageSize], file[other*pageSize:][:pageSize])
			return b
		}, "page %d over page %d", other, page)
		add(func(b []byte) []byte {
			copy(b[page*pageSize:][:pageSize], file[other*pageSize:][:pageSize])
			copy(b[other*pageSize:][:pageSize], file[page*pageSize:][:pageSize])
			return b
		}, "swap pages %d and %d", other, page)
		// As a page that names itself rightly, so that only what it holds is wrong.
		add(func(b []byte) []byte {
			copy(b[page*pageSize+8:][:pageSize-8], file[other*pageSize+8:][:pageSize-8])
			return b
		}, "page %d as page %d", other, page)
		for _, n := range []int{0, 100} {
			size := page*pageSize + n
			add(func(b []byte) []byte { return b[:size] }, "cut at %d", size)
		}
	}
	return all
}

// judge runs the damages on as many goroutines as there are processors and
// calls verdict, one at a time, with each outcome.
func judge(t *testing.T, file []byte, all []damage, truth answers, verdict func(d damage, wrong []string, reported bool)) {
	t.Helper()
	var mu sync.Mutex
	var wg sync.WaitGroup
	next := 0
	for range 2 {
		wg.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(all) {
					return
				}
				wrong, reported := silent(askBytes(all[i].do(bytes.Clone(file)), truth), truth)
				mu.Lock()
				verdict(all[i], wrong, reported)
				mu.Unlock()
			}
		})
	}
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(5 * time.Minute):
		t.Fatal("reading a damaged file does not end")
	}
}

// Each call on a damaged file gives the truth or ErrDamaged, for each of some
// thousand damages.
func TestDamageIsReported(t *testing.T) {
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
	if reports < len(all)/3 {
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
			if n := min(len(after), len(before)); !reflect.DeepEqual(after[:n], before[:n]) || err == nil && len(after) != len(before)+2 {
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

// resum gives a head page the checksum of what it holds.
func resum(page []byte) {
	sum := fnv.New64a()
	sum.Write(page[pageHeader:][:metaSum])
	order.PutUint64(page[pageHeader+metaSum:], sum.Sum64())
}
