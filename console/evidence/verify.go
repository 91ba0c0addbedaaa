// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"tallyhood/store"
)

// Options for VerifyJournal.
type Options struct {
	// Keys are the box's public keys, from where the box cannot change them.
	// Without one, signatures of heads are not checked, and the report says so.
	Keys []*Verifier
	// Kept are signed heads that were kept elsewhere: on a tablet, on a printed
	// record. They are what shows a journal that was cut or written anew.
	Kept [][]byte
}

// A Report is what VerifyJournal found whole.
type Report struct {
	Entries uint64
	Hash    [32]byte  // of the last entry
	Root    tlog.Hash // of the tree over all entries
	Heads   int       // whose roots are those of the journal
	Checked int       // of them, those whose signature was checked
	Signed  uint64    // size of the last head
	Tree    uint64    // entries whose hashes in the kept tree are right
}

// Unsigned is how many entries came after the last head: these are chained, and
// no signature holds them yet.
func (r Report) Unsigned() uint64 { return r.Entries - r.Signed }

// Unchecked is how many heads have the journal's root and no key to check their
// signature with.
func (r Report) Unchecked() int { return r.Heads - r.Checked }

// String says in words, a line for each, what stands on the chain: the tree, the
// signed heads, their signatures.
func (r Report) String() string {
	s := fmt.Sprintf("the tree over %d entries is right\n", r.Tree)
	if r.Heads == 0 {
		return s + "no head is signed yet"
	}
	s += fmt.Sprintf("%d signed heads have the journal's root; the last covers entry %d, and %d entries came after it\n", r.Heads, r.Signed, r.Unsigned())
	if r.Unchecked() == 0 {
		return s + "their signatures hold"
	}
	return s + fmt.Sprintf("NOT CHECKED, for want of a key: the signatures of %d of %d heads", r.Unchecked(), r.Heads)
}

// A Fault is the first thing that is not as it should be. It wraps
// store.ErrDamaged, ErrCut, ErrTree, ErrSignature, ErrOtherKey, ErrForm or
// ErrNewer.
type Fault struct {
	Entry   uint64 // the first bad entry; 0 when it is not an entry
	Through uint64 // the bad one is from Entry to this one; equal to Entry when it is known
	Head    uint64 // size of the bad head; 0 when it is not a head
	Err     error
}

// Error names the place.
func (f *Fault) Error() string {
	switch {
	case f.Entry == 0 && f.Head == 0:
		return f.Err.Error()
	case f.Entry == 0:
		return fmt.Sprintf("head of %d entries: %v", f.Head, f.Err)
	case f.Entry == f.Through:
		return fmt.Sprintf("entry %d: %v", f.Entry, f.Err)
	default:
		return fmt.Sprintf("an entry from %d to %d: %v", f.Entry, f.Through, f.Err)
	}
}

// Unwrap gives the kind.
func (f *Fault) Unwrap() error { return f.Err }

// VerifyJournal reads the whole journal and proves each entry's hash and link,
// the tree's hashes as far as they are kept, and that every signed head has the
// root of the journal up to its size. It stops at the first thing that is wrong
// and returns a *Fault that names it; other errors are the context's and the
// store's. Memory does not grow with the journal, but for the heads in Kept.
//
// An entry that was changed and not hashed anew is named. If all after it were
// hashed anew, the kept tree names it; if the tree was written anew as well, the
// head before it and the head after it do. If the heads were signed anew by who
// has the key, only a head of Kept shows it.
func VerifyJournal(ctx context.Context, j Reader, o Options) (Report, error) {
	v := verifier{ctx: ctx, table: j.Table(TreeTable), heads: headList{ctx: ctx, table: j.Table(HeadsTable), keys: o.Keys}}
	if err := v.heads.keep(o.Kept); err != nil {
		return Report{}, err
	}
	var err error
	if v.size, v.root, err = treeState(ctx, v.table); err != nil {
		return Report{}, faulty(err, &Fault{Err: err})
	}
	if err := v.heads.next(); err != nil {
		return Report{}, err
	}
	err = j.Read(ctx, 1, func(e store.Entry) error {
		if e.Number != v.edge.size+1 || e.Prev != v.report.Hash || e.Hash != store.HashOf(e) {
			return v.broken(fmt.Errorf("%w: it is not the one that follows", store.ErrDamaged))
		}
		return v.entry(e)
	})
	var f *Fault
	if err != nil && !errors.As(err, &f) {
		return v.report, faulty(err, v.broken(err))
	}
	if err != nil {
		return v.report, err
	}
	return v.finish(j)
}

// faulty returns the fault if err says that bytes are wrong, and err otherwise.
func faulty(err error, f *Fault) error {
	for _, kind := range []error{store.ErrDamaged, ErrTree, ErrForm, ErrCut, ErrNewer, ErrSignature, ErrOtherKey} {
		if errors.Is(err, kind) {
			return f
		}
	}
	return err
}

// A verifier goes along the journal.
type verifier struct {
	ctx    context.Context
	report Report
	edge   edge
	heads  headList

	table   store.Table // the kept tree
	size    uint64      // its entries
	root    tlog.Hash
	kept    []tlog.Hash // of the block that is being compared
	at      int64       // index of the next hash
	made    []tlog.Hash // by the entry that is being compared
	suspect uint64      // the first entry whose kept hashes differ; a head has to say who is right
}

// entry adds an entry and compares what it makes with what is kept.
func (v *verifier) entry(e store.Entry) error {
	v.made = v.edge.add(leafOf(e.Hash), v.made[:0])
	v.report.Entries, v.report.Hash = e.Number, e.Hash
	if v.suspect == 0 && e.Number <= v.size {
		for _, h := range v.made {
			same, err := v.compare(h)
			if err != nil {
				return err
			}
			if !same {
				v.suspect = e.Number
				break
			}
		}
		if v.suspect == 0 {
			v.report.Tree = e.Number
		}
	}
	for v.heads.there && v.heads.head.Size == e.Number {
		if err := v.head(); err != nil {
			return err
		}
		if err := v.heads.next(); err != nil {
			return err
		}
	}
	return nil
}

// compare says whether the next hash of the kept tree is h.
func (v *verifier) compare(h tlog.Hash) (bool, error) {
	if v.at%block == 0 {
		value, err := v.table.Get(v.ctx, blockKey(v.at/block))
		switch {
		case errors.Is(err, store.ErrNotFound):
			v.kept = nil
		case err != nil:
			return false, faulty(err, &Fault{Err: fmt.Errorf("%w: block %d: %w", ErrTree, v.at/block, err)})
		default:
			v.kept, _ = splitBlock(v.at/block, value) // nil, which differs
		}
	}
	i := v.at % block
	v.at++
	return i < int64(len(v.kept)) && v.kept[i] == h, nil
}

// head compares the root with that of the head at this size.
func (v *verifier) head() error {
	h := v.heads.head
	if v.edge.root() == h.Root {
		if v.suspect != 0 {
			return v.wrongTree()
		}
		v.report.Heads++
		if v.heads.checked {
			v.report.Checked++
		}
		v.report.Signed = h.Size
		return nil
	}
	f := &Fault{Entry: v.report.Signed + 1, Through: h.Size, Head: h.Size,
		Err: fmt.Errorf("%w: it is not the one that the head of %d entries was signed over", store.ErrDamaged, h.Size)}
	if v.report.Signed == h.Size {
		f.Entry, f.Through = 0, 0
		f.Err = fmt.Errorf("%w: another head of this size has the journal's root", ErrTree)
	}
	if v.suspect != 0 {
		f.Entry, f.Through = v.suspect, v.suspect
	}
	return f
}

// broken is the fault of a chain that does not go on. Where the kept tree spoke of
// another entry before, and no head against it, that one was changed and alone
// hashed anew.
func (v *verifier) broken(err error) *Fault {
	f := &Fault{Entry: v.edge.size + 1, Through: v.edge.size + 1, Err: err}
	if v.suspect != 0 {
		f.Entry = v.suspect
	}
	return f
}

func (v *verifier) wrongTree() error {
	return &Fault{Err: fmt.Errorf("%w: the hashes kept for entry %d are others; the entry is as it was signed", ErrTree, v.suspect)}
}

// finish looks at what the journal should have had and did not.
func (v *verifier) finish(j Reader) (Report, error) {
	v.report.Root = v.edge.root()
	switch {
	case v.heads.there:
		return v.report, &Fault{Entry: v.edge.size + 1, Through: v.heads.head.Size, Head: v.heads.head.Size,
			Err: fmt.Errorf("%w: it ends with entry %d, a head was signed over %d", ErrCut, v.edge.size, v.heads.head.Size)}
	case v.suspect != 0:
		return v.report, &Fault{Entry: v.suspect, Through: v.suspect,
			Err: fmt.Errorf("%w: its hash in the tree is another, and no head was signed since to say which is right", ErrTree)}
	case v.size > v.edge.size:
		return v.report, &Fault{Entry: v.edge.size + 1, Through: v.size,
			Err: fmt.Errorf("%w: it ends with entry %d, the tree has %d", ErrCut, v.edge.size, v.size)}
	case v.size == v.edge.size && v.size > 0 && v.root != v.report.Root:
		return v.report, &Fault{Err: fmt.Errorf("%w: its root is another", ErrTree)}
	}
	return v.report, nil
}

// A headList gives heads in the order of their sizes: those of the table, a page
// at a time, and those kept elsewhere.
type headList struct {
	ctx   context.Context
	table store.Table
	keys  []*Verifier

	there   bool // head is the next one
	head    SignedHead
	checked bool

	elsewhere []SignedHead // what is left of them, in order
	page      []SignedHead
	after     string // the last key that was read
	done      bool
}

const headPage = 1000

// open reads a head, and proves its signature if keys are known.
func (l *headList) open(msg []byte) (SignedHead, error) {
	if len(l.keys) == 0 {
		return parseNote(msg)
	}
	return OpenHead(msg, l.keys...)
}

func (l *headList) keep(msgs [][]byte) error {
	for i, msg := range msgs {
		h, err := l.open(msg)
		if err != nil {
			return &Fault{Err: fmt.Errorf("kept head %d: %w", i+1, err)}
		}
		l.elsewhere = append(l.elsewhere, h)
	}
	slices.SortStableFunc(l.elsewhere, func(a, b SignedHead) int { return cmp.Compare(a.Size, b.Size) })
	return nil
}

// next goes on to the next head.
func (l *headList) next() error {
	if len(l.page) == 0 && !l.done {
		if err := l.read(); err != nil {
			return err
		}
	}
	l.checked = len(l.keys) > 0
	switch {
	case len(l.elsewhere) > 0 && (len(l.page) == 0 || l.elsewhere[0].Size <= l.page[0].Size):
		l.there, l.head, l.elsewhere = true, l.elsewhere[0], l.elsewhere[1:]
		if len(l.page) > 0 && bytes.Equal(l.head.Note, l.page[0].Note) {
			return l.next() // the same one twice: it counts once
		}
	case len(l.page) > 0:
		l.there, l.head, l.page = true, l.page[0], l.page[1:]
	default:
		l.there = false
		return nil
	}
	if l.head.Size == 0 {
		return &Fault{Err: fmt.Errorf("a head of no entries: %w", ErrForm)}
	}
	return nil
}

func (l *headList) read() error {
	n := 0
	err := l.table.Range(l.ctx, "", l.after, headPage, func(key string, msg []byte) error {
		n++
		l.after = key
		h, err := l.open(msg)
		if err == nil && !bytes.HasPrefix([]byte(key), []byte(headKey(h.Size, 0)[:21])) {
			err = fmt.Errorf("%w: the head under %q is of %d entries", ErrForm, key, h.Size)
		}
		if err != nil {
			size, _ := parseSize(trimZeros(key))
			return &Fault{Head: size, Err: err}
		}
		l.page = append(l.page, h)
		return nil
	})
	l.done = n < headPage
	return err
}

// trimZeros is the size in a head's key, for naming a head that cannot be read.
func trimZeros(key string) string {
	size := []byte(key)
	if i := bytes.IndexByte(size, '-'); i >= 0 {
		size = size[:i]
	}
	return string(bytes.TrimLeft(size, "0"))
}
