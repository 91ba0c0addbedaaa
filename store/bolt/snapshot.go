// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"context"
	"fmt"
	"io"

	"tallyhood/store"
)

// Snapshot writes the whole file as it stood after one durable transaction,
// while the store goes on being written. It calls start once, before the first
// byte, with the size in bytes and with number and hash of the last entry. The
// first error of start or of w ends it.
//
// A transaction keeps the snapshot's pages in place for as long as w takes: the
// file grows meanwhile, and a commit that has to enlarge bbolt's map of it waits
// for the end, as Compact and Close do. So no run should be open.
func (s *Store) Snapshot(ctx context.Context, w io.Writer, start func(size int64, number uint64, hash [32]byte) error) error {
	s.use.RLock()
	defer s.use.RUnlock()
	switch {
	case s.closed:
		return store.ErrClosed
	case s.db == nil:
		return store.ErrReadOnly
	case ctx.Err() != nil:
		return ctx.Err()
	}
	if err := s.failure(); err != nil {
		return err
	}
	s.settle.RLock()
	st := s.state.Load()
	pin, err := begin(s.db, false)
	s.settle.RUnlock()
	if err != nil {
		return s.fail(err)
	}
	defer pin.Rollback()
	size := pin.Size()
	if err := start(size, st.number, st.hash); err != nil {
		return err
	}
	out := &snapshotWriter{ctx: ctx, w: w, odd: pin.ID()%2 == 1}
	n, err := pin.WriteTo(out)
	switch {
	case out.err != nil:
		err = out.err
	case err == nil && n != size:
		err = damaged("the file ends %d bytes early", size-n)
	}
	if err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	return nil
}

// A snapshotWriter passes bytes on until the context ends. bbolt writes the head
// of the snapshot's transaction first, and second that of the one before it; a
// file has the head of an odd transaction second.
type snapshotWriter struct {
	ctx   context.Context
	w     io.Writer
	odd   bool
	heads []byte // the first two pages, until they are whole
	err   error
}

func (s *snapshotWriter) Write(p []byte) (int, error) {
	if s.err == nil {
		s.err = s.ctx.Err()
	}
	if s.err != nil {
		return 0, s.err
	}
	taken := 0
	if s.odd && len(s.heads) < 2*pageSize {
		taken = min(len(p), 2*pageSize-len(s.heads))
		s.heads = append(s.heads, p[:taken]...)
		if len(s.heads) < 2*pageSize {
			return taken, nil
		}
		// The pages' own numbers stay, what stands on them changes places.
		first, second := s.heads[pageHeader:pageSize], s.heads[pageSize+pageHeader:]
		for i := range first {
			first[i], second[i] = second[i], first[i]
		}
		if _, s.err = s.w.Write(s.heads); s.err != nil {
			return 0, s.err
		}
		if taken == len(p) {
			return taken, nil
		}
	}
	n, err := s.w.Write(p[taken:])
	s.err = err
	return taken + n, err
}
