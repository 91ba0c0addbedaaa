// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"tallyhood/store"
	"tallyhood/store/memory"
)

// A loose reader gives entries as they are and checks nothing, as a store would
// whose own checks were got round.
type loose struct {
	entries []store.Entry
	tables  *memory.Store
}

func (l *loose) Table(name string) store.Table { return l.tables.Table(name) }

func (l *loose) Last() (uint64, [32]byte) {
	if len(l.entries) == 0 {
		return 0, [32]byte{}
	}
	return uint64(len(l.entries)), l.entries[len(l.entries)-1].Hash
}

func (l *loose) Read(_ context.Context, from uint64, f func(store.Entry) error) error {
	for _, e := range l.entries[from-1:] {
		e.Body = bytes.Clone(e.Body)
		if err := f(e); err != nil {
			return err
		}
	}
	return nil
}

func (l *loose) Commit(ctx context.Context, d []store.Draft, p []store.Pair) ([]store.Entry, error) {
	return l.tables.Commit(ctx, d, p)
}

// rehash hashes entries from n on anew, as a forger does.
func (l *loose) rehash(n uint64) {
	for i := int(n) - 1; i < len(l.entries); i++ {
		if i > 0 {
			l.entries[i].Prev = l.entries[i-1].Hash
		}
		l.entries[i].Hash = store.HashOf(l.entries[i])
	}
}

// journal returns 40 entries, with heads after 12, 25 and 40.
func journal(t testing.TB) (*loose, []SignedHead) {
	t.Helper()
	s := memory.New()
	l := New(s, key(t, 1))
	var heads []SignedHead
	for _, n := range []int{12, 13, 15} {
		fill(t, s, n)
		heads = append(heads, sign(t, l))
	}
	return copyOf(t, s), heads
}

func copyOf(t testing.TB, s *memory.Store) *loose {
	t.Helper()
	l := &loose{tables: s}
	if err := s.Read(context.Background(), 1, func(e store.Entry) error {
		l.entries = append(l.entries, e)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return l
}

func known(t testing.TB) []*Verifier { return []*Verifier{key(t, 1).Verifier()} }

// fault runs VerifyJournal and returns what it found.
func fault(t testing.TB, j Reader, o Options) *Fault {
	t.Helper()
	r, err := VerifyJournal(context.Background(), j, o)
	var f *Fault
	if err == nil {
		t.Fatalf("nothing found: %+v", r)
	}
	if !errors.As(err, &f) {
		t.Fatalf("found, but not named: %v", err)
	}
	return f
}

// Every field and every byte of every entry, changed: the entry is named.
func TestEveryChangedByteOfAnEntryIsNamed(t *testing.T) {
	l, _ := journal(t)
	changes := 0
	for i := range l.entries {
		whole := l.entries[i]
		check := func(what string) {
			changes++
			if f := fault(t, l, Options{Keys: known(t)}); f.Entry != whole.Number || f.Through != whole.Number || !errors.Is(f, store.ErrDamaged) {
				t.Fatalf("entry %d, %s: %v", whole.Number, what, f)
			}
			l.entries[i] = whole
			l.entries[i].Body = bytes.Clone(whole.Body)
		}
		e := &l.entries[i]
		e.Number++
		check("number")
		e.Version++
		check("version")
		e.Stream += "x"
		check("stream")
		e.Kind = "squeezes"
		check("kind")
		for b := range whole.Body {
			e.Body[b] ^= 1
			check("body")
		}
		for b := range whole.Hash {
			e.Hash[b] ^= 1
			check("hash")
			e.Prev[b] ^= 1
			check("link")
		}
	}
	for i := range l.entries { // one left out
		whole := l.entries
		l.entries = append(append([]store.Entry{}, whole[:i]...), whole[i+1:]...)
		if f := fault(t, l, Options{}); f.Entry != uint64(i+1) {
			t.Fatalf("entry %d left out: %v", i+1, f)
		}
		l.entries = whole
	}
	if _, err := VerifyJournal(context.Background(), l, Options{Keys: known(t)}); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d changes, each named", changes)
}

// A forger hashes everything after the change anew: the chain is whole again.
func TestRehashedJournalIsNamed(t *testing.T) {
	ctx := context.Background()
	bounds := []uint64{0, 12, 25, 40}
	for n := uint64(1); n <= 40; n++ {
		l, heads := journal(t)
		l.entries[n-1].Body = []byte(`{"at_ns":999}`)
		l.rehash(n)
		f := fault(t, l, Options{Keys: known(t)})
		if f.Entry != n || f.Through != n || !errors.Is(f, store.ErrDamaged) {
			t.Fatalf("entry %d, chain anew: %v", n, f)
		}
		// The tree anew as well: the heads on both sides are what is left.
		if err := New(l, nil).Rebuild(ctx); err != nil {
			t.Fatal(err)
		}
		f = fault(t, l, Options{Keys: known(t)})
		var low, high uint64
		for i, b := range bounds[1:] {
			if n <= b {
				low, high = bounds[i]+1, b
				break
			}
		}
		if f.Entry != low || f.Through != high || !errors.Is(f, store.ErrDamaged) {
			t.Fatalf("entry %d, chain and tree anew: %v", n, f)
		}
		// The heads as well, by another key; then by the box's own key.
		for name, k := range map[string]*Signer{"another key": key(t, 2), "the box's key": key(t, 1)} {
			forged := &loose{entries: l.entries, tables: memory.New()}
			sign(t, New(forged, k))
			if name == "another key" {
				if f := fault(t, forged, Options{Keys: known(t)}); f.Head != 40 || !errors.Is(f, ErrOtherKey) {
					t.Fatalf("entry %d, head by %s: %v", n, name, f)
				}
				continue
			}
			if _, err := VerifyJournal(ctx, forged, Options{Keys: known(t)}); err != nil {
				t.Fatalf("who has the key was found out without a head kept elsewhere: %v", err)
			}
			f := fault(t, forged, Options{Keys: known(t), Kept: [][]byte{heads[2].Note}})
			if f.Head != 40 {
				t.Fatalf("entry %d, head by %s: %v", n, name, f)
			}
		}
	}
}

// A forger who hashes the changed entry anew and none after it, or gives entries
// other numbers.
func TestHalfForgedJournalIsNamed(t *testing.T) {
	for n := uint64(1); n < 40; n++ {
		l, _ := journal(t)
		l.entries[n-1].Body = []byte(`{"at_ns":999}`)
		l.entries[n-1].Hash = store.HashOf(l.entries[n-1])
		f := fault(t, l, Options{Keys: known(t)})
		// At the size of a head the head speaks before the next entry does.
		if f.Entry != n || f.Through > n+1 || !errors.Is(f, store.ErrDamaged) {
			t.Fatalf("entry %d: %v", n, f)
		}
		bare := &loose{entries: l.entries, tables: memory.New()}
		if f := fault(t, bare, Options{}); f.Entry != n+1 || f.Through != n+1 || !errors.Is(f, store.ErrDamaged) {
			t.Fatalf("entry %d, without a tree: %v", n, f)
		}
		l, _ = journal(t)
		l.entries[n-1].Number++
		l.rehash(n)
		bare = &loose{entries: l.entries, tables: memory.New()}
		if f := fault(t, bare, Options{}); f.Entry != n || f.Through != n || !errors.Is(f, store.ErrDamaged) {
			t.Fatalf("entry %d with another number: %v", n, f)
		}
	}
}

// Without heads the kept tree alone shows a journal that was cut.
func TestTreeShowsACut(t *testing.T) {
	s := memory.New()
	fill(t, s, 40)
	if _, err := New(s, nil).Update(context.Background()); err != nil {
		t.Fatal(err)
	}
	for n := range 40 {
		l := copyOf(t, s)
		l.entries = l.entries[:n]
		if f := fault(t, l, Options{}); f.Entry != uint64(n+1) || f.Through != 40 || !errors.Is(f, ErrCut) {
			t.Fatalf("cut after %d: %v", n, f)
		}
	}
}

func TestCutJournalIsNamed(t *testing.T) {
	ctx := context.Background()
	for n := range 40 {
		l, heads := journal(t)
		l.entries = l.entries[:n]
		f := fault(t, l, Options{Keys: known(t)})
		if f.Entry != uint64(n+1) || !errors.Is(f, ErrCut) {
			t.Fatalf("cut after %d: %v", n, f)
		}
		if _, err := New(l, nil).Update(ctx); !errors.Is(err, ErrCut) {
			t.Fatalf("update of a journal cut after %d: %v", n, err)
		}
		// Without tree and heads only a kept head tells.
		bare := &loose{entries: l.entries, tables: memory.New()}
		if _, err := VerifyJournal(ctx, bare, Options{Keys: known(t)}); err != nil {
			t.Fatalf("cut after %d: %v", n, err)
		}
		f = fault(t, bare, Options{Keys: known(t), Kept: [][]byte{heads[2].Note, heads[0].Note}})
		if !errors.Is(f, ErrCut) {
			t.Fatalf("cut after %d: %v", n, f)
		}
	}
}

// Every byte of every kept head, and heads that are misplaced.
func TestEveryChangedByteOfAKeptHeadIsNamed(t *testing.T) {
	ctx := context.Background()
	l, heads := journal(t)
	table := l.tables.Table(HeadsTable)
	for _, h := range heads {
		k := headKey(h.Size, key(t, 1).Verifier().ID())
		for b := range h.Note {
			bad := bytes.Clone(h.Note)
			bad[b] ^= 0x04
			if err := table.Put(ctx, k, bad); err != nil {
				t.Fatal(err)
			}
			if f := fault(t, l, Options{Keys: known(t)}); f.Head != h.Size {
				t.Fatalf("head of %d, byte %d: %v", h.Size, b, f)
			}
		}
		other := heads[0]
		if h.Size == other.Size {
			other = heads[1]
		}
		if err := table.Put(ctx, k, other.Note); err != nil {
			t.Fatal(err)
		}
		if f := fault(t, l, Options{Keys: known(t)}); !errors.Is(f, ErrForm) || f.Head != h.Size {
			t.Fatalf("another head under %s: %v", k, f)
		}
		if err := table.Put(ctx, k, h.Note); err != nil {
			t.Fatal(err)
		}
	}
	r, err := VerifyJournal(ctx, l, Options{Keys: known(t), Kept: [][]byte{heads[1].Note}})
	if err != nil || r.Heads != 3 || r.Checked != 3 || r.Signed != 40 || r.Unsigned() != 0 {
		t.Fatalf("%+v, %v", r, err)
	}
	if s := r.String(); !strings.Contains(s, "entry 40,") || !strings.Contains(s, "3 signed heads") || !strings.Contains(s, "signatures hold") {
		t.Error(s)
	}
	r, err = VerifyJournal(ctx, l, Options{})
	if err != nil || r.Checked != 0 || !strings.Contains(r.String(), "\nNOT CHECKED, for want of a key: the signatures of 3 of 3 heads") {
		t.Errorf("without a key: %s, %v", r, err)
	}
	if _, err := VerifyJournal(ctx, l, Options{Keys: known(t), Kept: [][]byte{heads[1].Note[1:]}}); !errors.Is(err, ErrForm) && !errors.Is(err, ErrSignature) {
		t.Errorf("a kept head that is spoilt: %v", err)
	}
}

func TestEmptyJournal(t *testing.T) {
	r, err := VerifyJournal(context.Background(), memory.New(), Options{Keys: known(t)})
	if err != nil || r.Entries != 0 || r.Heads != 0 {
		t.Errorf("%+v, %v", r, err)
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := VerifyJournal(ended, memory.New(), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
}
