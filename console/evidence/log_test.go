// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	mrand "math/rand/v2"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"tallyhood/store"
	"tallyhood/store/memory"
)

var wall = time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC)

// key returns a box's key; the same number, the same key.
func key(t testing.TB, n byte) *Signer {
	t.Helper()
	s, err := NewSigner(mrand.NewChaCha8([32]byte{n}), "harrowgate-1")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fill appends n entries to a store, ten to a run.
func fill(t testing.TB, s store.Store, n int) {
	t.Helper()
	last, _ := s.Last()
	drafts := make([]store.Draft, 0, 1000)
	for i := range n {
		at := int(last) + i
		drafts = append(drafts, store.Draft{Stream: fmt.Sprintf("r%06d", at/10+1), Kind: "squeezed", Version: 1, Body: fmt.Appendf(nil, `{"at_ns":%d}`, at)})
		if len(drafts) == cap(drafts) || i == n-1 {
			if _, err := s.Append(context.Background(), drafts...); err != nil {
				t.Fatal(err)
			}
			drafts = drafts[:0]
		}
	}
}

// sign signs the head of all that is there.
func sign(t testing.TB, l *Log) SignedHead {
	t.Helper()
	h, err := l.Sign(context.Background(), wall, "confirmed")
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// memoryTree is what tlog itself makes of leaves: the yardstick for edge and Log.
type memoryTree []tlog.Hash

func (m memoryTree) ReadHashes(at []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(at))
	for i, n := range at {
		out[i] = m[n]
	}
	return out, nil
}

func (m *memoryTree) add(t testing.TB, n int64, leaf tlog.Hash) {
	t.Helper()
	hashes, err := tlog.StoredHashesForRecordHash(n, leaf, m)
	if err != nil {
		t.Fatal(err)
	}
	*m = append(*m, hashes...)
}

func hashesOf(t testing.TB, texts ...string) []tlog.Hash {
	t.Helper()
	var out []tlog.Hash
	for _, s := range texts {
		raw, err := hex.DecodeString(s)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, tlog.Hash(raw))
	}
	return out
}

// The test data of the reference implementation of RFC 6962 (Certificate
// Transparency, merkletree tests): eight inputs, the roots of trees of 0 to 8
// of them, and proofs of inclusion and of consistency.
func TestPublishedTreesOfRFC6962(t *testing.T) {
	inputs := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots := hashesOf(t,
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328")
	var e edge
	var kept memoryTree
	for i, in := range inputs {
		if e.root() != roots[i] {
			t.Errorf("root of %d: %x", i, e.root())
		}
		raw, err := hex.DecodeString(in)
		if err != nil {
			t.Fatal(err)
		}
		kept = e.add(tlog.RecordHash(raw), kept)
	}
	if e.root() != roots[8] {
		t.Errorf("root of 8: %x", e.root())
	}
	paths := map[int64][]tlog.Hash{ // by entry, from 0, in the tree of 8
		0: hashesOf(t, "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7", "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e", "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"),
		5: hashesOf(t, "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b", "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0", "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"),
	}
	for n, want := range paths {
		got, err := tlog.ProveRecord(8, n, kept)
		if err != nil || fmt.Sprint([]tlog.Hash(got)) != fmt.Sprint(want) {
			t.Errorf("path of %d in 8: %v, %v", n, got, err)
		}
	}
	got, err := tlog.ProveTree(8, 6, kept)
	want := hashesOf(t, "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a", "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0", "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7")
	if err != nil || fmt.Sprint([]tlog.Hash(got)) != fmt.Sprint(want) {
		t.Errorf("8 continues 6: %v, %v", got, err)
	}
	c := Consistency{Older: Head{Size: 6, Root: roots[6]}, Newer: Head{Size: 8, Root: roots[8]}, Proof: got}
	if err := c.Check(); err != nil {
		t.Error(err)
	}
}

// Whatever the steps in which the log catches up, and however often it is opened
// anew, the kept tree is the one that tlog makes, and every proof passes tlog's
// own checkers.
func TestLogIsTheTreeOfTheJournal(t *testing.T) {
	ctx := context.Background()
	rapid.Check(t, func(rt *rapid.T) {
		s := memory.New()
		l := New(s, key(t, 1))
		var yard memoryTree
		var heads []SignedHead
		for range rapid.IntRange(1, 6).Draw(rt, "steps") {
			before, _ := s.Last()
			fill(t, s, rapid.IntRange(0, 200).Draw(rt, "entries"))
			if err := s.Read(ctx, before+1, func(e store.Entry) error {
				yard.add(t, int64(e.Number)-1, tlog.RecordHash(e.Hash[:]))
				return nil
			}); err != nil {
				rt.Fatal(err)
			}
			last, _ := s.Last()
			if rapid.Bool().Draw(rt, "opened anew") {
				l = New(s, key(t, 1))
			}
			if size, err := l.Update(ctx); err != nil || size != last {
				rt.Fatalf("caught up with %d of %d: %v", size, last, err)
			}
			if last == 0 {
				continue
			}
			h := sign(t, l)
			want, err := tlog.TreeHash(int64(last), yard)
			if err != nil || h.Root != want || h.Size != last {
				rt.Fatalf("head %d %s, want %d %s, %v", h.Size, h.Root, last, want, err)
			}
			heads = append(heads, h)
		}
		if len(heads) == 0 {
			return
		}
		r := l.hashes(ctx)
		for i := range yard {
			got, err := r.ReadHashes([]int64{int64(i)})
			if err != nil || got[0] != yard[i] {
				rt.Fatalf("hash %d is %v, want %v: %v", i, got, yard[i], err)
			}
		}
		newest := heads[len(heads)-1]
		n := rapid.Uint64Range(1, newest.Size).Draw(rt, "entry")
		over, err := l.HeadOver(ctx, n)
		if err != nil || over.Size < n {
			rt.Fatalf("head over %d: %d, %v", n, over.Size, err)
		}
		for _, h := range heads {
			if h.Size >= n && h.Size < over.Size {
				rt.Fatalf("the head over %d is %d, there is %d", n, over.Size, h.Size)
			}
			c, err := l.ProveHeads(ctx, h.Head, newest.Head)
			if err != nil {
				rt.Fatal(err)
			}
			if err := tlog.CheckTree(c.Proof, int64(newest.Size), newest.Root, int64(h.Size), h.Root); err != nil {
				rt.Fatal(err)
			}
		}
		i, err := l.ProveEntry(ctx, n, over.Head)
		if err != nil {
			rt.Fatal(err)
		}
		if err := tlog.CheckRecord(i.Proof, int64(over.Size), over.Root, int64(n)-1, tlog.RecordHash(i.Hash[:])); err != nil {
			rt.Fatal(err)
		}
		if len(i.Proof) > ProofDepth(over.Size) {
			rt.Fatalf("proof of %d hashes in a tree of %d", len(i.Proof), over.Size)
		}
		report, err := VerifyJournal(ctx, s, Options{Keys: []*Verifier{key(t, 1).Verifier()}})
		if err != nil || report.Entries != newest.Size || report.Signed != newest.Size || report.Tree != newest.Size || report.Checked != report.Heads {
			rt.Fatalf("%+v, %v", report, err)
		}
	})
}

// Each byte of a proof, of what it proves and of what it leads to.
func TestEveryChangedByteBreaksAProof(t *testing.T) {
	ctx := context.Background()
	s := memory.New()
	l := New(s, key(t, 1))
	fill(t, s, 11)
	older := sign(t, l)
	fill(t, s, 14)
	newer := sign(t, l)
	for n := uint64(1); n <= newer.Size; n++ {
		i, err := l.ProveEntry(ctx, n, newer.Head)
		if err != nil {
			t.Fatal(err)
		}
		parts := [][]byte{i.Hash[:], i.Head.Root[:]}
		for k := range i.Proof {
			parts = append(parts, i.Proof[k][:])
		}
		for p, part := range parts {
			for b := range part {
				part[b] ^= 0x40
				if err := i.Check(); !errors.Is(err, ErrProof) {
					t.Fatalf("entry %d, part %d, byte %d changed: %v", n, p, b, err)
				}
				part[b] ^= 0x40
			}
		}
		for other := uint64(0); other <= newer.Size+1; other++ {
			j := i
			if j.Number = other; other != n && j.Check() == nil {
				t.Fatalf("the proof of entry %d passes for entry %d", n, other)
			}
		}
		j := i
		j.Proof = append(append(tlog.RecordProof{}, i.Proof...), tlog.Hash{})
		if j.Check() == nil {
			t.Fatal("a proof with one hash more passes")
		}
	}
	c, err := l.ProveHeads(ctx, older.Head, newer.Head)
	if err != nil {
		t.Fatal(err)
	}
	parts := [][]byte{c.Older.Root[:], c.Newer.Root[:]}
	for k := range c.Proof {
		parts = append(parts, c.Proof[k][:])
	}
	for p, part := range parts {
		for b := range part {
			part[b] ^= 1
			if err := c.Check(); !errors.Is(err, ErrProof) {
				t.Fatalf("part %d, byte %d changed: %v", p, b, err)
			}
			part[b] ^= 1
		}
	}
	if _, err := l.ProveHeads(ctx, newer.Head, older.Head); !errors.Is(err, ErrProof) {
		t.Errorf("the older continues the newer: %v", err)
	}
	if _, err := l.ProveEntry(ctx, 12, older.Head); !errors.Is(err, ErrProof) {
		t.Errorf("entry 12 under a head of 11: %v", err)
	}
}

// A tree that was spoilt gives no proof, and can be made anew.
func TestSpoiltTreeGivesNoProof(t *testing.T) {
	ctx := context.Background()
	s := memory.New()
	l := New(s, key(t, 1))
	fill(t, s, 300)
	head := sign(t, l)
	table := s.Table(TreeTable)
	keys, err := table.Keys(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range keys {
		value, err := table.Get(ctx, k)
		if err != nil {
			t.Fatal(err)
		}
		for b := 0; b < len(value); b += 31 {
			bad := bytes.Clone(value)
			bad[b] ^= 1
			if err := table.Put(ctx, k, bad); err != nil {
				t.Fatal(err)
			}
			if _, err := VerifyJournal(ctx, s, Options{}); err == nil {
				t.Fatalf("block %s, byte %d: not noticed", k, b)
			} else if !errors.Is(err, ErrTree) {
				t.Fatalf("block %s, byte %d: %v", k, b, err)
			}
			for _, n := range []uint64{1, 100, 300} {
				if i, err := l.ProveEntry(ctx, n, head.Head); err == nil && i.Check() != nil {
					t.Fatalf("block %s, byte %d: a proof that does not hold", k, b)
				}
			}
		}
		if err := table.Put(ctx, k, value); err != nil {
			t.Fatal(err)
		}
	}
	// What the log goes on from is proven when it is opened.
	_, at := l.edge.indexes()
	for _, i := range at {
		k := blockKey(i / block)
		value, err := table.Get(ctx, k)
		if err != nil {
			t.Fatal(err)
		}
		bad := bytes.Clone(value)
		bad[i%block*32] ^= 1
		if err := table.Put(ctx, k, bad); err != nil {
			t.Fatal(err)
		}
		if _, err := New(s, nil).Update(ctx); !errors.Is(err, ErrTree) {
			t.Errorf("the root of a subtree is spoilt: %v", err)
		}
		if err := table.Put(ctx, k, value); err != nil {
			t.Fatal(err)
		}
	}
	if err := table.Put(ctx, blockKey(1), make([]byte, 32*block)); err != nil {
		t.Fatal(err)
	}
	if _, err := New(s, key(t, 1)).ProveEntry(ctx, 70, head.Head); !errors.Is(err, ErrTree) {
		t.Errorf("proof from a spoilt tree: %v", err)
	}
	if err := l.Rebuild(ctx); err != nil {
		t.Fatal(err)
	}
	if _, err := l.ProveEntry(ctx, 70, head.Head); err != nil {
		t.Error(err)
	}
	if r, err := VerifyJournal(ctx, s, Options{}); err != nil || r.Tree != 300 {
		t.Errorf("%+v, %v", r, err)
	}
}

// A commit that fails, and a context that ends, leave a tree to go on from.
func TestUpdateGoesOnAfterAFailure(t *testing.T) {
	ctx := context.Background()
	s := memory.New()
	l := New(s, key(t, 1))
	fill(t, s, 3*stretch/2)
	s.FailWith(errors.New("card gone"))
	if _, err := l.Update(ctx); !errors.Is(err, store.ErrFailed) {
		t.Fatalf("update on a store that fails: %v", err)
	}
	s = s.Reopen()
	l = New(s, key(t, 1))
	ended, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := l.Update(ended); !errors.Is(err, context.Canceled) {
		t.Fatalf("update with an ended context: %v", err)
	}
	if size, err := l.Update(ctx); err != nil || size != 3*stretch/2 {
		t.Fatalf("update after that: %d, %v", size, err)
	}
	if r, err := VerifyJournal(ctx, s, Options{}); err != nil || r.Tree != 3*stretch/2 {
		t.Errorf("%+v, %v", r, err)
	}
}

// flaky is a store whose commits fail at times, and that works again.
type flaky struct {
	*memory.Store
	fail error
}

func (f *flaky) Commit(ctx context.Context, d []store.Draft, p []store.Pair) ([]store.Entry, error) {
	if f.fail != nil {
		return nil, f.fail
	}
	return f.Store.Commit(ctx, d, p)
}

// A log that lives on after a commit failed starts from what is kept.
func TestSameLogGoesOnAfterAFailure(t *testing.T) {
	ctx := context.Background()
	s := &flaky{Store: memory.New()}
	l := New(s, key(t, 1))
	for _, n := range []int{5, 300, 7} {
		fill(t, s.Store, n)
		s.fail = errors.New("not now")
		if _, err := l.Update(ctx); !errors.Is(err, s.fail) {
			t.Fatal(err)
		}
		if _, err := l.Sign(ctx, wall, "unset"); !errors.Is(err, s.fail) {
			t.Fatal(err)
		}
		s.fail = nil
		sign(t, l)
	}
	if r, err := VerifyJournal(ctx, s, Options{Keys: known(t)}); err != nil || r.Tree != 312 || r.Checked != 3 {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestSign(t *testing.T) {
	ctx := context.Background()
	s := memory.New()
	if _, err := New(s, nil).Sign(ctx, wall, "confirmed"); !errors.Is(err, ErrNoKey) {
		t.Errorf("sign without a key: %v", err)
	}
	l := New(s, key(t, 1))
	if _, err := l.Sign(ctx, wall, "confirmed"); !errors.Is(err, ErrEmpty) {
		t.Errorf("sign nothing: %v", err)
	}
	fill(t, s, 5)
	for _, q := range []string{"", "Confirmed", "a b", "a\n", "aaaaaaaaaaaaaaaaaaaaa"} {
		if _, err := l.Sign(ctx, wall, q); !errors.Is(err, ErrForm) {
			t.Errorf("quality %q: %v", q, err)
		}
	}
	first := sign(t, l)
	again, err := l.Sign(ctx, wall.Add(time.Hour), "network")
	if err != nil || !bytes.Equal(again.Note, first.Note) {
		t.Errorf("signed twice over the same journal: %v", err)
	}
	// A box with a new key signs anew; the earlier head stays.
	other, err := New(s, key(t, 2)).Sign(ctx, wall, "confirmed")
	if err != nil || bytes.Equal(other.Note, first.Note) {
		t.Fatalf("a new key: %v", err)
	}
	if _, err := VerifyJournal(ctx, s, Options{Keys: []*Verifier{key(t, 1).Verifier()}}); !errors.Is(err, ErrOtherKey) {
		t.Errorf("a head of an unknown key: %v", err)
	}
	r, err := VerifyJournal(ctx, s, Options{Keys: []*Verifier{key(t, 1).Verifier(), key(t, 2).Verifier()}})
	if err != nil || r.Heads != 2 || r.Checked != 2 {
		t.Errorf("%+v, %v", r, err)
	}
}
