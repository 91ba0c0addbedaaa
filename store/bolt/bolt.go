// SPDX-License-Identifier: Apache-2.0

// Package bolt keeps a store in one file, on bbolt.
//
// What it adds to bbolt, which has no checksum on its pages and trusts them:
//
//   - Entries are hashed and chained; the records beside them carry checks, and
//     say the same in two places.
//   - A file is surveyed before bbolt maps it (survey.go): heads, branches and
//     the list of free pages, with bounds on all that is read.
//   - Reading goes past bbolt's map and cursors (tree.go): pages come through
//     read calls and are proven one by one, so damage is an error and never a
//     fault or an endless loop. bbolt keeps the pages of a snapshot in place
//     meanwhile, for as long as one stretch of reading takes.
//   - Before a page is written, the way to it is proven in the same manner.
//
// Files: the one given, mode 0600; beside it, while it is created, the same
// name with ".new", and while it is compacted with ".compact". One process at a time writes it (flock); any number may
// read it while none writes.
//
// Limits, openly:
//
//   - A file put back whole from an earlier moment, or one whose newer head was
//     put back to the one before, is sound in itself: only a Last that is kept
//     elsewhere shows it.
//   - A single page put back from an earlier time is reported for entries,
//     streams and the index; a table's page is not, and a stream whose only
//     record was on such a page reads as unknown. Check finds the latter.
//   - Opening does not read every page (a hundredth, or so). What it leaves is
//     reported when it is read; Check reads all.
//   - Pages that go bad between their proof and bbolt's use of them, a moment
//     later, can fault inside bbolt. The fault is caught and the store stops
//     writing; a loop inside bbolt would not be caught, only a watchdog of the
//     process ends it.
//   - After a failed write the store reads on, as of the last durable entry.
//
// The package must not know what it stores, and must not repair: a damaged
// file stays as it is, for somebody to look at.
package bolt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime/debug"
	"sync"
	"sync/atomic"

	"go.etcd.io/bbolt"

	"tallyhood/store"
)

// Options for Open. The zero value opens for writing and creates the file if
// there is none.
type Options struct {
	// ReadOnly opens a file that exists, without changing a byte of it. The
	// file and its folder may be on a medium that cannot be written.
	ReadOnly bool
	// FallBack accepts a file one of whose two heads is spoilt, and takes the
	// other. The transaction that the spoilt one stood for may be lost, so a
	// person has to ask for this, and to be told.
	FallBack bool
}

// A Store is an open file.
type Store struct {
	path  string
	file  file
	db    *bbolt.DB // nil when open for reading only
	queue chan *request
	idle  chan struct{} // closed when the writer has ended
	// finish commits; a test puts one here that fails.
	finish func(*bbolt.Tx) error

	state  atomic.Pointer[state]
	failed atomic.Pointer[error] // why the store no longer writes

	// use is held shared while a call needs the file, and by Close.
	use    sync.RWMutex
	closed bool

	// settle is held by the writer during a commit, and shared while a
	// snapshot is taken: so the state that is read is the one whose pages the
	// reader's transaction keeps in place.
	settle sync.RWMutex
}

var _ store.Store = (*Store)(nil)

// A file is an open os.File, or a test's.
type file interface {
	io.ReaderAt
	io.Closer
	Stat() (fs.FileInfo, error)
}

// A state is what the last durable transaction left.
type state struct {
	root    uint64 // page of the root bucket
	number  uint64 // of the last entry
	hash    [32]byte
	streams uint64
	buckets []string
}

// Open opens the store at path. It returns ErrBusy when another process keeps
// it open for more than a second, ErrDamaged, ErrNewer, or an error of the
// file system; fs.ErrNotExist for a missing file that is to be read only. It
// never empties or replaces a file that is there.
func Open(path string, options Options) (*Store, error) {
	s, err := open(path, options)
	if err != nil {
		return nil, fmt.Errorf("store %s: %w", path, err)
	}
	return s, nil
}

func open(path string, options Options) (*Store, error) {
	if !options.ReadOnly {
		if err := create(path); err != nil {
			return nil, err
		}
	}
	file, err := openLocked(path, !options.ReadOnly)
	if err != nil {
		return nil, err
	}
	s, m, err := openFile(file, options.FallBack)
	if err == nil && !options.ReadOnly {
		err = s.startWriter(path, file, m)
	}
	if err != nil {
		release(file)
		return nil, err
	}
	return s, nil
}

// openFile returns the store in a file, for reading.
func openFile(file file, fallBack bool) (*Store, meta, error) {
	m, st, err := inspect(context.Background(), file, fallBack, false)
	if err != nil {
		return nil, m, err
	}
	s := &Store{file: file}
	s.state.Store(st)
	return s, m, nil
}

// startWriter gives the file, which has been inspected, to bbolt as well.
func (s *Store) startWriter(path string, file *os.File, m meta) error {
	db, err := openDB(path, file)
	if err != nil {
		return err
	}
	root, tx, err := current(db)
	if err != nil {
		return err // bbolt is not fit to be closed
	}
	if root != m.root || tx != m.tx {
		return errors.Join(damaged("bbolt reads transaction %d, not %d", tx, m.tx), db.Close())
	}
	s.path, s.db = path, db
	s.queue = make(chan *request, 256)
	s.idle = make(chan struct{})
	s.finish = (*bbolt.Tx).Commit
	go s.write()
	return nil
}

// inspect proves the file, quickly or in full, and returns how it stands.
func inspect(ctx context.Context, file file, fallBack, full bool) (meta, *state, error) {
	info, err := file.Stat()
	if err != nil {
		return meta{}, nil, err
	}
	m, err := loadMeta(file, info.Size(), fallBack)
	if err != nil {
		return m, nil, err
	}
	// The form first: another one may have other buckets.
	if err := newView(file, &state{root: m.root}).format(); err != nil {
		return m, nil, err
	}
	sv := survey{file: file, meta: m, full: full}
	buckets, err := sv.run(ctx)
	if err != nil {
		return m, nil, err
	}
	st, err := reconcile(file, m, buckets)
	return m, st, err
}

// Check opens the file at path for reading and proves all of it: every page,
// every entry, the whole chain, and that index, streams and tables hold what
// they should and nothing more. It takes as long as reading the file does; the
// context ends it earlier.
func Check(ctx context.Context, path string) error {
	file, err := openLocked(path, false)
	if err != nil {
		return fmt.Errorf("store %s: %w", path, err)
	}
	defer file.Close()
	_, st, err := inspect(ctx, file, false, true)
	if err == nil {
		err = crossCheck(ctx, func() *view { return newView(file, st) }, st)
	}
	if err != nil {
		return fmt.Errorf("store %s: %w", path, err)
	}
	return nil
}

// Last fulfils store.Journal.
func (s *Store) Last() (uint64, [32]byte) {
	st := s.state.Load()
	return st.number, st.hash
}

// view calls f with the durable state and a view of it. No callback of a
// caller is ever run inside.
func (s *Store) view(ctx context.Context, f func(v *view, st *state) error) (err error) {
	s.use.RLock()
	defer s.use.RUnlock()
	if s.closed {
		return store.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	s.settle.RLock()
	st := s.state.Load()
	// While the store writes, a transaction keeps the snapshot's pages in
	// place. Otherwise nothing changes them.
	var pin *bbolt.Tx
	if s.db != nil && s.failure() == nil {
		pin, err = begin(s.db, false)
	}
	s.settle.RUnlock()
	if err != nil {
		s.fail(err)
		return err
	}
	if pin != nil {
		defer pin.Rollback()
	}
	return f(newView(s.file, st), st)
}

// failure is why the store no longer writes, nil while it does.
func (s *Store) failure() error {
	if err := s.failed.Load(); err != nil {
		return *err
	}
	return nil
}

// fail stops all further writing.
func (s *Store) fail(cause error) error {
	err := fmt.Errorf("%w: %w", store.ErrFailed, cause)
	s.failed.CompareAndSwap(nil, &err)
	return err
}

// ErrGrown: the journal has entries that whoever asked did not know of.
var ErrGrown = errors.New("the journal has grown meanwhile")

// unwritable says why nothing can be written; nil: it can. The caller holds use.
func (s *Store) unwritable() error {
	switch {
	case s.closed:
		return store.ErrClosed
	case s.db == nil:
		return store.ErrReadOnly
	}
	return s.failure()
}

// End takes nothing more from here on: each later write gives store.ErrFailed. What
// was under way is durable, what is there can be read, and the file stays locked
// until Close. It is for who puts another file in the place of this one, and has
// seen the journal up to an entry: where there are further ones nothing is ended,
// and the error is ErrGrown.
func (s *Store) End(number uint64) error {
	s.use.Lock() // nothing waits for the writer
	defer s.use.Unlock()
	if err := s.unwritable(); err != nil {
		return err
	}
	if last, _ := s.Last(); last != number {
		return fmt.Errorf("%w: entry %d is the last, not %d", ErrGrown, last, number)
	}
	s.fail(errors.New("another file takes its place; start the console again"))
	return nil
}

// Close fulfils store.Journal.
func (s *Store) Close() error {
	s.use.Lock()
	defer s.use.Unlock()
	if s.closed {
		return nil
	}
	s.closed = true
	if s.db == nil {
		return s.file.Close()
	}
	close(s.queue)
	<-s.idle
	if errors.Is(s.failure(), errFault) {
		// bbolt may still hold its locks and would wait for itself. Its map of
		// the file stays until the process ends.
		return release(s.file)
	}
	return s.db.Close() // closes the file
}

// errFault marks what a panic inside bbolt left.
var errFault = errors.New("fault inside bbolt")

// guard runs f and turns a panic or a fault on the memory map into an error.
func guard(f func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if r := recover(); r != nil {
			err = damaged("%w: %v", errFault, r)
		}
	}()
	return f()
}

// begin starts a transaction of bbolt.
func begin(db *bbolt.DB, writable bool) (tx *bbolt.Tx, err error) {
	err = guard(func() (err error) {
		tx, err = db.Begin(writable)
		return err
	})
	return tx, err
}

// current returns the root page and the number of bbolt's last transaction.
func current(db *bbolt.DB) (root, tx uint64, err error) {
	err = guard(func() error {
		return db.View(func(t *bbolt.Tx) error {
			root, tx = uint64(t.Cursor().Bucket().Root()), uint64(t.ID())
			return nil
		})
	})
	return root, tx, err
}
