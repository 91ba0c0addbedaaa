// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"tallyhood/store"
)

const (
	// block is how many hashes one value of the tree's table holds. With check
	// and key it fits a page of 4096 bytes.
	block = 120
	// stretch is how many entries one commit of the tree covers, so that facts
	// of a run never wait long behind it.
	stretch  = 4096
	stateKey = "size"
	treeWord = "tallyhood.tree/1"
)

// A Log keeps the tree of a store's journal and signs its heads. It may be used
// by many goroutines; catching up holds the others. It belongs in the
// background: nothing in a run may wait for it.
type Log struct {
	store  Store
	signer *Signer

	mu     sync.Mutex
	loaded bool
	edge   edge
	// tail are the hashes of the last block that is not full; first is its number.
	tail  []tlog.Hash
	first int64
}

// New returns the log of a store. Signer may be nil: then it signs nothing.
func New(s Store, signer *Signer) *Log { return &Log{store: s, signer: signer} }

// Update catches up with the journal and returns the tree's size, in entries.
// Ended early, it goes on from there the next time. ErrCut, ErrTree, or an error
// of the store.
func (l *Log) Update(ctx context.Context) (uint64, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.update(ctx); err != nil {
		l.loaded = false // what is kept counts, not what is here
		return 0, fmt.Errorf("tree: %w", err)
	}
	return l.edge.size, nil
}

// Rebuild makes the tree anew from the journal, whatever was kept. The heads
// stay: VerifyJournal tells whether the journal is still the one they signed.
func (l *Log) Rebuild(ctx context.Context) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.edge, l.tail, l.first, l.loaded = edge{}, nil, 0, true
	if err := l.update(ctx); err != nil {
		l.loaded = false
		return fmt.Errorf("tree: %w", err)
	}
	return nil
}

func (l *Log) update(ctx context.Context) error {
	if err := l.load(ctx); err != nil {
		return err
	}
	last, _ := l.store.Last()
	switch {
	case last < l.edge.size:
		return fmt.Errorf("%w: it has %d, the tree has %d", ErrCut, last, l.edge.size)
	case last == l.edge.size:
		return nil
	}
	done := l.edge.size
	err := l.store.Read(ctx, l.edge.size+1, func(e store.Entry) error {
		if e.Number != l.edge.size+1 {
			return fmt.Errorf("%w: entry %d after %d", store.ErrDamaged, e.Number, l.edge.size)
		}
		l.tail = l.edge.add(leafOf(e.Hash), l.tail)
		if l.edge.size-done < stretch {
			return nil
		}
		done = l.edge.size
		return l.flush(ctx)
	})
	if err != nil || done == l.edge.size {
		return err
	}
	return l.flush(ctx)
}

// flush makes what was added durable, in one transaction.
func (l *Log) flush(ctx context.Context) error {
	var pairs []store.Pair
	rest, n := l.tail, l.first
	for len(rest) > 0 {
		part := rest[:min(block, len(rest))]
		value := make([]byte, 0, len(part)*tlog.HashSize)
		for _, h := range part {
			value = append(value, h[:]...)
		}
		pairs = append(pairs, store.Pair{Table: TreeTable, Key: blockKey(n), Value: value})
		if len(part) < block {
			break
		}
		rest = rest[block:]
		n++
	}
	state := fmt.Sprintf("%s %d %s\n", treeWord, l.edge.size, l.edge.root())
	pairs = append(pairs, store.Pair{Table: TreeTable, Key: stateKey, Value: []byte(state)})
	if _, err := l.store.Commit(ctx, nil, pairs); err != nil {
		return err
	}
	l.tail, l.first = append([]tlog.Hash(nil), rest...), n
	return nil
}

func blockKey(n int64) string { return fmt.Sprintf("%012d", n) }

// load takes the edge of the kept tree and proves it against the kept root.
func (l *Log) load(ctx context.Context) error {
	if l.loaded {
		return nil
	}
	l.edge, l.tail, l.first = edge{}, nil, 0
	size, root, err := treeState(ctx, l.store.Table(TreeTable))
	if err != nil {
		return err
	}
	l.edge.size = size
	levels, at := l.edge.indexes()
	r := l.hashes(ctx)
	hashes, err := r.ReadHashes(at)
	if err != nil {
		return err
	}
	for i, level := range levels {
		l.edge.roots[level] = hashes[i]
	}
	if size > 0 && l.edge.root() != root {
		return fmt.Errorf("%w: its last hashes do not give its root", ErrTree)
	}
	count := tlog.StoredHashCount(int64(size))
	l.first = count / block
	if n := count % block; n > 0 {
		b, err := r.block(l.first)
		if err != nil {
			return err
		}
		if int64(len(b)) != n {
			return fmt.Errorf("%w: its last block has %d hashes, not %d", ErrTree, len(b), n)
		}
		l.tail = append(l.tail, b...)
	}
	l.loaded = true
	return nil
}

// treeState reads how far the kept tree goes; 0 for none.
func treeState(ctx context.Context, t store.Table) (size uint64, root tlog.Hash, err error) {
	value, err := t.Get(ctx, stateKey)
	if errors.Is(err, store.ErrNotFound) {
		return 0, root, nil
	}
	if err != nil {
		return 0, root, err
	}
	f := strings.Split(strings.TrimSuffix(string(value), "\n"), " ")
	if len(f) == 3 && f[0] == treeWord {
		if size, err = parseSize(f[1]); err == nil {
			if root, err = tlog.ParseHash(f[2]); err == nil {
				return size, root, nil
			}
		}
	}
	return 0, root, fmt.Errorf("%w: %q is no size and root", ErrTree, value)
}

// hashes reads the kept tree.
func (l *Log) hashes(ctx context.Context) *hashReader {
	return &hashReader{ctx: ctx, table: l.store.Table(TreeTable), blocks: map[int64][]tlog.Hash{}}
}

// A hashReader is a tlog.HashReader over the table. It keeps the blocks it has
// read, and is thrown away after one proof.
type hashReader struct {
	ctx    context.Context
	table  store.Table
	blocks map[int64][]tlog.Hash
}

var _ tlog.HashReader = (*hashReader)(nil)

// ReadHashes fulfils tlog.HashReader.
func (r *hashReader) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, at := range indexes {
		b, err := r.block(at / block)
		if err != nil {
			return nil, err
		}
		if at%block >= int64(len(b)) {
			return nil, fmt.Errorf("%w: it lacks hash %d", ErrTree, at)
		}
		out[i] = b[at%block]
	}
	return out, nil
}

func (r *hashReader) block(n int64) ([]tlog.Hash, error) {
	if b, ok := r.blocks[n]; ok {
		return b, nil
	}
	value, err := r.table.Get(r.ctx, blockKey(n))
	if errors.Is(err, store.ErrNotFound) {
		return nil, fmt.Errorf("%w: it lacks block %d", ErrTree, n)
	}
	if err != nil {
		return nil, err
	}
	b, err := splitBlock(n, value)
	if err == nil {
		r.blocks[n] = b
	}
	return b, err
}

func splitBlock(n int64, value []byte) ([]tlog.Hash, error) {
	if len(value) == 0 || len(value)%tlog.HashSize != 0 || len(value) > block*tlog.HashSize {
		return nil, fmt.Errorf("%w: block %d has %d bytes", ErrTree, n, len(value))
	}
	b := make([]tlog.Hash, len(value)/tlog.HashSize)
	for i := range b {
		copy(b[i][:], value[i*tlog.HashSize:])
	}
	return b, nil
}

// Sign catches up, signs the head of all that the journal holds, keeps it, and
// returns it. Wall is the box's time and quality how far it can be trusted, as a
// word. When the journal has not grown since the last head, that one is
// returned. Called after each verdict, in the background.
func (l *Log) Sign(ctx context.Context, wall time.Time, quality string) (SignedHead, error) {
	if l.signer == nil {
		return SignedHead{}, ErrNoKey
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.update(ctx); err != nil {
		l.loaded = false
		return SignedHead{}, fmt.Errorf("tree: %w", err)
	}
	if l.edge.size == 0 {
		return SignedHead{}, ErrEmpty
	}
	h := Head{Size: l.edge.size, Root: l.edge.root(), Wall: wall.UTC().Truncate(time.Second), Quality: quality}
	if err := h.check(); err != nil {
		return SignedHead{}, err
	}
	key := headKey(h.Size, l.signer.Verifier().ID())
	heads := l.store.Table(HeadsTable)
	switch msg, err := heads.Get(ctx, key); {
	case err == nil:
		kept, err := OpenHead(msg, l.signer.Verifier())
		if err == nil && kept.Root != h.Root {
			err = fmt.Errorf("%w: a head of %d entries was signed with another root", ErrTree, h.Size)
		}
		return kept, err
	case !errors.Is(err, store.ErrNotFound):
		return SignedHead{}, err
	}
	msg, err := note.Sign(&note.Note{Text: h.Text()}, l.signer.signer)
	if err != nil {
		return SignedHead{}, fmt.Errorf("sign the head of %d entries: %w", h.Size, err)
	}
	if err := heads.Put(ctx, key, msg); err != nil {
		return SignedHead{}, err
	}
	return SignedHead{Head: h, Note: msg}, nil
}

// headKey is the key of a head in its table: by size, then by who signed, for a
// box may get a new key.
func headKey(size uint64, signer uint32) string { return fmt.Sprintf("%020d-%08x", size, signer) }

// signedBy says whether the head of a key in the table is a signer's.
func signedBy(key string, signer uint32) bool {
	return strings.HasSuffix(key, fmt.Sprintf("-%08x", signer))
}

// headStep is how many heads are looked at in one reading, once the first was
// another key's.
const headStep = 256

// HeadOver returns the earliest kept head under which entry n stands and which
// the log's own key signed: a store that was restored on another box holds heads
// of the key of before. ErrOtherKey when all heads over n are others',
// store.ErrNotFound when there is none. The signature is not checked: OpenHead
// does.
func (l *Log) HeadOver(ctx context.Context, n uint64) (SignedHead, error) {
	if l.signer == nil {
		return SignedHead{}, ErrNoKey
	}
	if n == 0 {
		return SignedHead{}, fmt.Errorf("entry 0: %w", store.ErrNotFound)
	}
	own := l.signer.Verifier().ID()
	var msg []byte
	missing := store.ErrNotFound
	after := headKey(n-1, ^uint32(0))
	for step := 1; msg == nil; step = headStep {
		seen := 0
		err := l.store.Table(HeadsTable).Range(ctx, "", after, step, func(key string, value []byte) error {
			seen++
			after = key
			if msg == nil && signedBy(key, own) {
				msg = value
			}
			return nil
		})
		if err != nil {
			return SignedHead{}, err
		}
		if seen > 0 {
			missing = ErrOtherKey
		}
		if seen < step {
			break
		}
	}
	if msg == nil {
		return SignedHead{}, fmt.Errorf("a head over entry %d: %w", n, missing)
	}
	return parseNote(msg)
}

// An Inclusion shows that an entry stands under a head.
type Inclusion struct {
	Number uint64   // of the entry
	Hash   [32]byte // of the entry
	Head   Head
	Proof  tlog.RecordProof
}

// Check returns ErrProof unless the proof leads from the entry to the head. The
// head's signature is another matter: OpenHead.
func (i Inclusion) Check() error {
	if i.Number == 0 || i.Number > i.Head.Size || i.Head.Size > 1<<62 {
		return fmt.Errorf("%w: entry %d cannot stand under a head of %d entries", ErrProof, i.Number, i.Head.Size)
	}
	err := tlog.CheckRecord(i.Proof, int64(i.Head.Size), i.Head.Root, int64(i.Number)-1, leafOf(i.Hash))
	if err != nil {
		return fmt.Errorf("%w: it does not lead from entry %d to the root of %d entries", ErrProof, i.Number, i.Head.Size)
	}
	return nil
}

// ProveEntry proves that entry n, as it is in the journal now, stands under a
// head. The proof has been checked: ErrTree when it does not hold.
func (l *Log) ProveEntry(ctx context.Context, n uint64, head Head) (Inclusion, error) {
	if n == 0 || n > head.Size {
		return Inclusion{}, fmt.Errorf("%w: entry %d cannot stand under a head of %d entries", ErrProof, n, head.Size)
	}
	e, err := entryAt(ctx, l.store, n)
	if err != nil {
		return Inclusion{}, err
	}
	proof, err := tlog.ProveRecord(int64(head.Size), int64(n)-1, l.hashes(ctx))
	if err != nil {
		return Inclusion{}, fmt.Errorf("prove entry %d: %w", n, err)
	}
	i := Inclusion{Number: n, Hash: e.Hash, Head: head, Proof: proof}
	if err := i.Check(); err != nil {
		return Inclusion{}, fmt.Errorf("%w: %w", ErrTree, err)
	}
	return i, nil
}

// A Consistency shows that a later head continues an earlier one: all entries
// under the earlier are under the later, unchanged and in the same places.
type Consistency struct {
	Older, Newer Head
	Proof        tlog.TreeProof
}

// Check returns ErrProof unless the proof holds.
func (c Consistency) Check() error {
	if c.Older.Size == 0 || c.Older.Size > c.Newer.Size || c.Newer.Size > 1<<62 {
		return fmt.Errorf("%w: a head of %d entries does not continue one of %d", ErrProof, c.Newer.Size, c.Older.Size)
	}
	err := tlog.CheckTree(c.Proof, int64(c.Newer.Size), c.Newer.Root, int64(c.Older.Size), c.Older.Root)
	if err != nil {
		return fmt.Errorf("%w: the head of %d entries is not shown to continue that of %d", ErrProof, c.Newer.Size, c.Older.Size)
	}
	return nil
}

// ProveHeads proves that one head continues another. The proof has been
// checked: ErrTree when it does not hold.
func (l *Log) ProveHeads(ctx context.Context, older, newer Head) (Consistency, error) {
	c := Consistency{Older: older, Newer: newer}
	if older.Size == 0 || older.Size > newer.Size {
		return Consistency{}, fmt.Errorf("%w: a head of %d entries does not continue one of %d", ErrProof, newer.Size, older.Size)
	}
	var err error
	if c.Proof, err = tlog.ProveTree(int64(newer.Size), int64(older.Size), l.hashes(ctx)); err != nil {
		return Consistency{}, fmt.Errorf("prove heads of %d and %d entries: %w", older.Size, newer.Size, err)
	}
	if err := c.Check(); err != nil {
		return Consistency{}, fmt.Errorf("%w: %w", ErrTree, err)
	}
	return c, nil
}
