// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"context"
	"fmt"
	"path/filepath"
	"syscall"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"tallyhood/store"
	"tallyhood/store/bolt"
)

const (
	benchRuns    = 10_000
	benchEntries = 100 // of a run
)

// bench makes a store of 10,000 runs of 100 entries, 1,000,000 in all, on a
// file, with a signed head after each run and the tree. They are committed
// together, to get there sooner.
func bench(b *testing.B) (*bolt.Store, *Log) {
	b.Helper()
	ctx := context.Background()
	s, err := bolt.Open(filepath.Join(b.TempDir(), "store"), bolt.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	k := key(b, 1)
	var drafts []store.Draft
	var e edge
	for run := range benchRuns {
		for i := range benchEntries {
			drafts = append(drafts, store.Draft{Stream: fmt.Sprintf("r%06d", run+1), Kind: "squeezed", Version: 1,
				Body: fmt.Appendf(nil, `{"at_ns":%d,"fact":{"part":"top_up","top_up":%d,"more":"%060d"}}`, run*1e9+i, i%13, i)})
		}
		if len(drafts) < 5000 {
			continue
		}
		entries, err := s.Append(ctx, drafts...)
		if err != nil {
			b.Fatal(err)
		}
		drafts = drafts[:0]
		var heads []store.Pair
		for _, entry := range entries {
			e.add(leafOf(entry.Hash), nil)
			if e.size%benchEntries > 0 {
				continue
			}
			h := Head{Size: e.size, Root: e.root(), Wall: wall, Quality: "confirmed"}
			msg, err := note.Sign(&note.Note{Text: h.Text()}, k.signer)
			if err != nil {
				b.Fatal(err)
			}
			heads = append(heads, store.Pair{Table: HeadsTable, Key: headKey(h.Size, k.Verifier().ID()), Value: msg})
		}
		if _, err := s.Commit(ctx, nil, heads); err != nil {
			b.Fatal(err)
		}
	}
	l := New(s, k)
	if _, err := l.Update(ctx); err != nil {
		b.Fatal(err)
	}
	return s, l
}

// processor reports the processor time of the loop beside the time by the clock,
// which on a shared machine says little.
func processor(b *testing.B) func() {
	used := func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
	}
	before := used()
	return func() { b.ReportMetric((used()-before)/float64(b.N), "cpu-s/op") }
}

// BenchmarkUpdate catches up with 1,000,000 entries from nothing.
func BenchmarkUpdate(b *testing.B) {
	s, _ := bench(b)
	defer processor(b)()
	for b.Loop() {
		l := New(s, nil)
		if err := l.Rebuild(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(benchRuns*benchEntries*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

// BenchmarkVerdict is what a verdict costs in the background: catching up with
// a run of 100 entries and signing the head, on top of 1,000,000.
func BenchmarkVerdict(b *testing.B) {
	s, l := bench(b)
	ctx := context.Background()
	for b.Loop() {
		b.StopTimer()
		fill(b, s, benchEntries)
		b.StartTimer()
		if _, err := l.Sign(ctx, wall, "confirmed"); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkClaim makes and signs a claim with its proof, in a journal of
// 1,000,000 entries.
func BenchmarkClaim(b *testing.B) {
	_, l := bench(b)
	for b.Loop() {
		if _, err := l.Claim(context.Background(), said(b, "r004713", 471_234), borne); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkVerifyClaim is what a phone or another box does with a code.
func BenchmarkVerifyClaim(b *testing.B) {
	c, _, _ := claim(b, 1000)
	text, v := c.Text(), key(b, 1).Verifier()
	for b.Loop() {
		got, err := ParseClaim(text)
		if err == nil {
			_, err = got.Verify(v)
		}
		if err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkVerifyJournal proves 10,000 runs, 1,000,000 entries, with 10,000
// heads and their signatures and the kept tree, on a file.
func BenchmarkVerifyJournal(b *testing.B) {
	s, _ := bench(b)
	keys := []*Verifier{key(b, 1).Verifier()}
	defer processor(b)()
	for b.Loop() {
		r, err := VerifyJournal(context.Background(), s, Options{Keys: keys})
		if err != nil || r.Entries != benchRuns*benchEntries || r.Checked != benchRuns || r.Tree != r.Entries {
			b.Fatalf("%+v, %v", r, err)
		}
	}
	b.ReportMetric(benchRuns*benchEntries*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

// BenchmarkGrowth is the size of the table of hashes and of the heads, by the
// bytes of keys and values.
func BenchmarkGrowth(b *testing.B) {
	s, _ := bench(b)
	for b.Loop() {
		for _, name := range []string{TreeTable, HeadsTable} {
			n := 0
			err := s.Table(name).Range(context.Background(), "", "", 1<<30, func(key string, value []byte) error {
				n += len(key) + len(value)
				return nil
			})
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(n)/1e6, "MB-"+name)
		}
	}
}
