// SPDX-License-Identifier: Apache-2.0

// Package store is the box's memory: an append-only journal of entries, each
// hashed and chained to the one before, and small tables beside it. The
// implementations are store/bolt and store/memory; store/storetest is the
// contract that both fulfil. It must not know what it stores.
package store

import (
	"context"
	"errors"
)

// A Draft is an entry before it is written.
type Draft struct {
	Stream  string // whose entry it is, such as a run's id; may be empty: nobody's
	Kind    string // what the body is, as a word; never empty
	Version int    // version of the body's form, from 1
	Body    []byte // opaque, at most MaxBody bytes
}

// An Entry is a durable, numbered and chained draft.
type Entry struct {
	Number  uint64   // from 1, without holes
	Stream  string   //
	Kind    string   //
	Version int      //
	Body    []byte   //
	Prev    [32]byte // Hash of entry Number-1; zero for the first
	Hash    [32]byte // SHA-256 over all fields above in a fixed, self-delimiting form: HashOf
}

// The kinds of error; test with errors.Is.
var (
	// ErrNotFound: no such entry or key.
	ErrNotFound = errors.New("not in the store")
	// ErrBusy: another process has the store open.
	ErrBusy = errors.New("the store is open elsewhere")
	// ErrDamaged: bytes are not what was written.
	ErrDamaged = errors.New("the store is damaged")
	// ErrFailed: a write failed and may or may not have happened; the journal
	// takes no more entries until it is opened again.
	ErrFailed = errors.New("the store no longer writes")
	// ErrClosed: the store was closed.
	ErrClosed = errors.New("the store is closed")
	// ErrInvalid: the draft, name or key is outside the limits. Nothing was
	// written, and the journal goes on.
	ErrInvalid = errors.New("not fit to be stored")
	// ErrReadOnly: the store was opened for reading only.
	ErrReadOnly = errors.New("the store is open for reading only")
	// ErrNewer: the store has a form that this program does not know yet.
	ErrNewer = errors.New("the store was written by a newer program")
)

// A Journal keeps entries for ever. All methods may be called at once from
// many goroutines. They return the context's error when the context ends
// first, ErrClosed after Close, ErrDamaged when the stored bytes are wrong.
type Journal interface {
	// Append makes the drafts durable, all or none, in order, and returns the
	// numbered entries. When it returns nil they survive a power cut. It keeps
	// no body and returns its own copies. With no drafts it does nothing.
	// The context counts until the write begins: an Append that returns the
	// context's error wrote nothing. ErrInvalid and ErrReadOnly also wrote
	// nothing; after ErrFailed nobody knows until the store is opened again.
	Append(ctx context.Context, drafts ...Draft) ([]Entry, error)
	// Last is the number of the last durable entry and its hash; 0 and zero
	// for an empty journal. It never waits, and still answers after Close.
	Last() (uint64, [32]byte)
	// Read calls f with the entries from number from on (0 as 1), in order,
	// until f returns an error, which Read returns, or the entries end that
	// were there when it was called. It holds no lock and no read transaction
	// while f runs, and f owns the body. It checks each entry's hash and its
	// link and returns ErrDamaged (naming the number) at the first that is wrong.
	Read(ctx context.Context, from uint64, f func(Entry) error) error
	// ReadStream is Read restricted to one stream, without scanning others. An
	// unknown stream has no entries. The empty name reads the entries that are
	// nobody's.
	ReadStream(ctx context.Context, stream string, f func(Entry) error) error
	// Streams lists stream names in order of their first entry, newest first;
	// only those whose first entry is below before (0: all), at most limit.
	// The empty name is never listed.
	Streams(ctx context.Context, before uint64, limit int) ([]StreamInfo, error)
	// Close waits for what is under way and releases the files. A second
	// Close does nothing.
	Close() error
}

// A StreamInfo says where a stream stands in the journal.
type StreamInfo struct {
	Stream string
	First  uint64 // number of its first entry
	Last   uint64 // number of its latest entry
}

// A Table keeps the latest value of a key, for settings and lists of demo
// people; it is no part of the chain. A Put that fails stops the journal as a
// failed Append does, for both are written in one file.
type Table interface {
	// Get returns the value, which the caller owns, or ErrNotFound.
	Get(ctx context.Context, key string) ([]byte, error)
	// Put makes the value durable. Its errors are those of Append.
	Put(ctx context.Context, key string, value []byte) error
	// Some calls f with those of the keys that are there, in byte order, each
	// once, in the way of Range. It costs far less than as many calls of Get.
	Some(ctx context.Context, keys []string, f func(key string, value []byte) error) error
	// Keys lists the keys with a prefix, in byte order.
	Keys(ctx context.Context, prefix string) ([]string, error)
	// Range calls f with the pairs whose keys have a prefix and come after a
	// key (empty: from the first on), in byte order, at most limit of them,
	// until f returns an error, which Range returns. It holds no lock and no
	// read transaction while f runs, and f owns the value. What is written
	// meanwhile may be seen or not.
	Range(ctx context.Context, prefix, after string, limit int, f func(key string, value []byte) error) error
}

// A Pair is one change of a table.
type Pair struct {
	Table  string
	Key    string
	Value  []byte
	Delete bool // the key goes, whether it was there or not; Value counts for nothing
}

// Check returns ErrInvalid, saying why, when the pair cannot be stored.
func (p Pair) Check() error {
	if err := CheckTable(p.Table); err != nil {
		return err
	}
	return CheckPair(p.Key, p.Value)
}

// A Store is a journal and its named tables.
type Store interface {
	Journal
	// Table returns the named table; it comes into being with its first Put.
	// A name outside the limits shows at the first use of the table.
	Table(name string) Table
	// Commit is Append with changes of tables in the same transaction: all of
	// it becomes durable or none. Either list may be empty. Of two pairs with
	// the same key the later one counts.
	Commit(ctx context.Context, drafts []Draft, pairs []Pair) ([]Entry, error)
	// Compact writes everything that is kept anew and throws the rest away, so
	// that nothing deleted is left in the file. Other calls wait meanwhile. When
	// it fails the store is as before, or takes nothing more (ErrFailed).
	Compact(ctx context.Context) error
}
