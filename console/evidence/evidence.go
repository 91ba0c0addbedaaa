// SPDX-License-Identifier: Apache-2.0

// Package evidence makes the journal provable to somebody who does not trust
// the box's memory: a Merkle tree over the entries, heads of it signed with the
// box's key, proofs that an entry stands under a head and that a later head
// continues an earlier one, and claims that a wallet card carries in its code.
//
// The tree is that of RFC 6962, section 2.1, with SHA-256. Its record n is the
// 32 bytes of Entry.Hash of entry n+1, the hash that every record page prints;
// that hash covers the entry's whole form. So leaf n is SHA-256(0x00 || Hash).
//
// Kept in the store: table "tree" with the tree's hashes (Log), table "heads"
// with each signed head under its size and key. Both can be made again or checked from
// the journal; the key cannot, and lies outside the store.
//
// What it does not protect against:
//
//   - Who has the box's key can sign anything. The key lies beside the store, so
//     who owns the medium can write another journal and sign it. What reveals
//     that is a head, a claim or a printed record kept elsewhere: Options.Kept.
//   - What was false when it was entered is kept as faithfully as what was true.
//   - Entries after the last signed head are only chained: who cuts them off and
//     writes others leaves no trace. Report.Unsigned counts them.
//   - A claim says what the box recorded when it was signed. A correction, a
//     sweep or an erasure of later is not in it, and whether the person who shows
//     the card is the one on it, a look at the person has to say.
//   - Times in heads are the box's own; their quality stands beside them.
//   - A code on a card can be copied like the card.
//
// The package does no I/O but through the journal and the tables it is given,
// reads no clock, and must never sign what it has not read from the journal.
package evidence

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"

	"tallyhood/store"
)

// Names of the tables.
const (
	TreeTable  = "tree"
	HeadsTable = "heads"
)

var (
	// ErrCut: the journal has fewer entries than were hashed or signed.
	ErrCut = errors.New("entries are missing at the journal's end")
	// ErrTree: the kept tree is not that of the journal. Rebuild makes it anew.
	ErrTree = errors.New("the kept tree is not that of the journal")
	// ErrProof: a proof does not lead where it should.
	ErrProof = errors.New("the proof does not hold")
	// ErrSignature: the signature is not the key's over these bytes.
	ErrSignature = errors.New("the signature does not hold")
	// ErrOtherKey: it was signed with another key than the one given.
	ErrOtherKey = errors.New("it was signed with another key")
	// ErrForm: bytes are not in the form that is written here.
	ErrForm = errors.New("not in the form that it should have")
	// ErrNewer: it is in a form of a later version.
	ErrNewer = errors.New("it was written by a newer program")
	// ErrNoKey: the log was opened without a key to sign with.
	ErrNoKey = errors.New("there is no key to sign with")
	// ErrEmpty: there is nothing to sign yet.
	ErrEmpty = errors.New("the journal is empty")
)

// A Reader is what is read of a store.
type Reader interface {
	Last() (uint64, [32]byte)
	Read(ctx context.Context, from uint64, f func(store.Entry) error) error
	Table(name string) store.Table
}

// A Store is what a Log needs of a store.
type Store interface {
	Reader
	Commit(ctx context.Context, drafts []store.Draft, pairs []store.Pair) ([]store.Entry, error)
}

// leafOf is the tree's leaf for an entry's hash.
func leafOf(hash [32]byte) tlog.Hash { return tlog.RecordHash(hash[:]) }

// errEnough ends a read early.
var errEnough = errors.New("enough")

// entryAt reads entry n, store.ErrNotFound if there is none.
func entryAt(ctx context.Context, j Reader, n uint64) (entry store.Entry, err error) {
	if last, _ := j.Last(); n == 0 || n > last {
		return entry, fmt.Errorf("entry %d: %w", n, store.ErrNotFound)
	}
	err = j.Read(ctx, n, func(e store.Entry) error {
		entry = e
		return errEnough
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	if err == nil && entry.Number != n {
		err = fmt.Errorf("entry %d: %w", n, store.ErrDamaged)
	}
	return entry, err
}

// An edge is the right edge of a tree: the roots of the full subtrees that it
// is made of, one for each bit of its size. It is all that adding needs.
type edge struct {
	size  uint64
	roots [64]tlog.Hash // by level; those of bits that are set count
}

// add adds a leaf and appends the hashes that it completes to out, in the order
// in which tlog stores them.
func (e *edge) add(leaf tlog.Hash, out []tlog.Hash) []tlog.Hash {
	h, level := leaf, 0
	out = append(out, h)
	for ; e.size>>level&1 == 1; level++ {
		h = tlog.NodeHash(e.roots[level], h)
		out = append(out, h)
	}
	e.roots[level] = h
	e.size++
	return out
}

// root is the root hash of the tree.
func (e *edge) root() tlog.Hash {
	if e.size == 0 {
		h, _ := tlog.TreeHash(0, nil) // a constant
		return h
	}
	var h tlog.Hash
	for level, first := 0, true; e.size>>level > 0; level++ {
		switch {
		case e.size>>level&1 == 0:
		case first:
			h, first = e.roots[level], false
		default:
			h = tlog.NodeHash(e.roots[level], h)
		}
	}
	return h
}

// indexes are where tlog stores the edge's subtrees, highest level first.
func (e *edge) indexes() (levels []int, at []int64) {
	for level := 63; level >= 0; level-- {
		if e.size>>level&1 == 1 {
			levels = append(levels, level)
			at = append(at, tlog.StoredHashIndex(level, int64(e.size>>level)-1))
		}
	}
	return levels, at
}

func parseSize(text string) (uint64, error) {
	n, err := strconv.ParseUint(text, 10, 63)
	if err != nil || strconv.FormatUint(n, 10) != text {
		return 0, fmt.Errorf("%w: %q is no number", ErrForm, text)
	}
	return n, nil
}
