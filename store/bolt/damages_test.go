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
			if j == 4 && i%2 == 0 {
				d.Stream = fmt.Sprint("single-", i)
			}
			drafts = append(drafts, d)
		}
		if _, err := s.Append(ctx, drafts...); err != nil {
			t.Fatal(err)
		}
		if i%2 == 0 {
			err = errors.Join(s.Table("people").Put(ctx, fmt.Sprint("person-", i*7%64), bytes.Repeat([]byte("p"), 10*i)),
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
	infos, err = s.Streams(ctx, 160, 3)
	got["streams below 160"] = answer{infos, err}
	names := []string{"", "single-0", "single-10", "single-28", "single-30", "single-46", "single-58"}
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
	sv := survey{file: bytes.NewReader(file), meta: m, full: true}
	if _, err := sv.run(t.Context()); err != nil {
		t.Fatal(err)
	}
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
		if sv.used[page] == free {
			continue
		}
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
		for _, i := range flips(file, page, r) {
			at, bit := page*pageSize+i, byte(1)<<r.IntN(8)
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

// flips chooses places in a page for the flip of a bit: many in the pages that
// say where things are, some in the others.
func flips(file []byte, page int, r *rand.Rand) (places []int) {
	p, err := parsePage(uint64(page), file[page*pageSize:])
	if err != nil || p.count == 0 {
		return []int{r.IntN(pageSize), r.IntN(pageSize)}
	}
	used := pageSize
	if e := p.elem(p.count - 1); p.leaf {
		used = pageHeader + (p.count-1)*elemSize + int(order.Uint32(e[4:])+order.Uint32(e[8:])+order.Uint32(e[12:]))
	} else {
		used = pageHeader + (p.count-1)*elemSize + int(order.Uint32(e)+order.Uint32(e[4:]))
	}
	used = min(used, pageSize)
	switch {
	case !p.leaf || p.key(0)[0] == '=': // a branch, or streams
		for i := page % 3; i < used; i += 3 {
			places = append(places, i)
		}
	default:
		for range 10 {
			places = append(places, r.IntN(used))
		}
	}
	return places
}

// resum gives a head page the checksum of what it holds.
func resum(page []byte) {
	sum := fnv.New64a()
	sum.Write(page[pageHeader:][:metaSum])
	order.PutUint64(page[pageHeader+metaSum:], sum.Sum64())
}
