// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"context"
	"io"
	"slices"
)

// A survey proves the structure of a file before anything trusts it: heads,
// branches, free list, and that each page belongs to exactly one of them.
//
// A quick survey, at each opening, reads the branches and the free list: about
// a hundredth of the file. Leaves are proven when they are read, and again
// before they are written. A full survey reads every page.
type survey struct {
	file io.ReaderAt
	meta meta
	full bool
	used []use // by page
}

// use is what a page is for.
type use byte

const (
	unknown  use = iota
	heading      // the first page of a node, or the only one
	overflow     // a further page of a node
	free
)

// loadMeta returns the head that counts. Both have to be sound and of
// successive transactions, for a spoilt one may be the newer, and the other
// would then quietly lack the last transaction. With fallBack one is enough.
func loadMeta(file io.ReaderAt, size int64, fallBack bool) (meta, error) {
	if size < 4*pageSize {
		return meta{}, damaged("the file has only %d bytes", size)
	}
	var heads [2]meta
	var errs [2]error
	for i := range heads {
		data := make([]byte, pageSize)
		if errs[i] = readAt(file, data, uint64(i)); errs[i] == nil {
			heads[i], errs[i] = parseMeta(i, data)
		}
		if errs[i] == nil && heads[i].tx%2 != uint64(i) {
			errs[i] = damaged("head %d stands in the place of the other", i)
		}
	}
	newer, older := heads[0], heads[1]
	switch {
	case errs[0] != nil && (errs[1] != nil || !fallBack):
		return meta{}, errs[0]
	case errs[1] != nil && !fallBack:
		return meta{}, errs[1]
	case errs[0] != nil:
		newer = heads[1]
	case errs[1] != nil:
	default:
		if heads[1].tx > heads[0].tx {
			newer, older = heads[1], heads[0]
		}
		if newer.tx != older.tx+1 {
			return meta{}, damaged("the heads are of transactions %d and %d, which do not follow one another", older.tx, newer.tx)
		}
	}
	if newer.pages > uint64(size)/pageSize || newer.pages > maxSize/pageSize {
		return meta{}, damaged("the file has %d bytes, its %d pages need more", size, newer.pages)
	}
	return newer, nil
}

// run proves the structure and returns the names of the buckets, in order.
func (s *survey) run(ctx context.Context) ([]string, error) {
	s.used = make([]use, s.meta.pages)
	if err := s.freelist(); err != nil {
		return nil, err
	}
	sn := newSnapshot(s.file, s.meta.root)
	root := sn.buckets()
	if err := s.tree(ctx, root, true); err != nil {
		return nil, err
	}
	var names []string
	c, err := root.start(firstOf)
	if err != nil {
		return nil, err
	}
	for c.valid() && c.top().p.count > 0 {
		name := string(c.key())
		check, known := checkOf(name)
		if !known {
			return nil, damaged("it holds a bucket %q that nobody writes", name)
		}
		t, err := sn.openBucket(name, c.value(), check)
		if err == nil && (t.inline == nil || s.full) {
			err = s.tree(ctx, t, s.full)
		}
		if err != nil {
			return nil, err
		}
		names = append(names, name)
		if err := c.next(); err != nil {
			return nil, err
		}
	}
	return names, s.gaps()
}

// checkOf returns the check of the named bucket's records; known is false for
// a name that this form of the file does not have.
func checkOf(name string) (check func(key, value []byte) error, known bool) {
	switch name {
	case metaBucket, entriesBucket:
		return nil, true // their records carry their own
	case indexBucket:
		return checkIndex, true
	case streamsBucket:
		return checkStream, true
	}
	if table, ok := cutTable(name); ok {
		return checkPair(table), true
	}
	return nil, false
}

// claim notes that pages are in use, and refuses one that already is or that
// the file does not have.
func (s *survey) claim(id, more uint64, as use) error {
	for i := id; i <= id+more; i++ {
		if i < 2 || i >= s.meta.pages || s.used[i] != unknown {
			return damaged("page %d is used twice, or is no page of the file", i)
		}
		s.used[i] = as
		if as == heading {
			as = overflow
		}
	}
	return nil
}

// freelist reads the list of free pages. bbolt writes new data to these, so a
// page in use among them would be lost later.
func (s *survey) freelist() error {
	if s.meta.freelist == noFreelist || s.meta.freelist >= s.meta.pages {
		return damaged("the list of free pages is missing")
	}
	most := int(s.meta.pages)*8 + 2*pageSize
	data, err := readPages(s.file, s.meta.freelist, most)
	if err != nil {
		return err
	}
	if order.Uint64(data) != s.meta.freelist || order.Uint16(data[8:]) != typeFreelist {
		return damaged("page %d is not the list of free pages", s.meta.freelist)
	}
	if err := s.claim(s.meta.freelist, uint64(len(data)/pageSize-1), heading); err != nil {
		return err
	}
	count, ids := uint64(order.Uint16(data[10:])), data[pageHeader:]
	if count == 0xFFFF {
		count, ids = order.Uint64(ids), ids[8:]
	}
	if count > uint64(len(ids)/8) {
		return damaged("the list of free pages claims %d", count)
	}
	var before uint64
	for i := range count {
		id := order.Uint64(ids[8*i:])
		if id <= before {
			return damaged("the list of free pages is out of order at page %d", id)
		}
		if err := s.claim(id, 0, free); err != nil {
			return err
		}
		before = id
	}
	return nil
}

// tree proves a bucket's branches, and its leaves too if leaves is set, and
// claims their pages.
func (s *survey) tree(ctx context.Context, t tree, leaves bool) error {
	if t.inline != nil {
		_, err := t.enter(0, nil, nil)
		return err
	}
	// All leaves lie equally deep: the way to the first tells how deep.
	c, err := t.start(firstOf)
	if err != nil {
		return err
	}
	return s.walk(ctx, t, t.root, nil, nil, len(c.stack)-1, leaves)
}

// walk proves and claims page id, which is above steps above the leaves.
func (s *survey) walk(ctx context.Context, t tree, id uint64, first, end []byte, above int, leaves bool) error {
	if above == 0 && !leaves {
		return s.claim(id, 0, heading)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	p, err := t.enter(id, first, end)
	if err != nil {
		return err
	}
	if p.leaf != (above == 0) {
		return damaged("page %d is a leaf where a branch belongs, or a branch where a leaf belongs", id)
	}
	if err := s.claim(id, p.overflow, heading); err != nil {
		return err
	}
	if p.leaf {
		if !t.nested {
			delete(t.s.pages, id) // a full survey does not hold the file in memory
		}
		return nil
	}
	for i := range p.count {
		below := end
		if i+1 < p.count {
			below = p.key(i + 1)
		}
		if err := s.walk(ctx, t, p.child(i), p.key(i), below, above-1, leaves); err != nil {
			return err
		}
	}
	return nil
}

// gaps proves of each page that nobody has claimed that it is an overflow of
// the leaf before it.
func (s *survey) gaps() error {
	for id := uint64(2); id < s.meta.pages; id++ {
		if s.used[id] != unknown {
			continue
		}
		if s.used[id-1] != heading {
			return damaged("page %d is neither in use nor free", id)
		}
		data, err := readPages(s.file, id-1, maxNode)
		if err != nil {
			return err
		}
		p, err := parsePage(id-1, data)
		if err != nil {
			return err
		}
		if p.overflow == 0 {
			return damaged("page %d is neither in use nor free", id)
		}
		if err := s.claim(id, p.overflow-1, overflow); err != nil {
			return err
		}
	}
	return nil
}

// reconcile reads the file's own head and proves the tail of the journal: the
// last entry with its hash and its link, and its stream's records. It returns
// the state that the file is in.
func reconcile(file io.ReaderAt, m meta, buckets []string) (*state, error) {
	st := &state{root: m.root, buckets: buckets}
	v := newView(file, st)
	h, err := v.head()
	if err != nil {
		return nil, err
	}
	switch {
	case h.Tx != m.tx:
		return nil, damaged("its parts are of transactions %d and %d", h.Tx, m.tx)
	case !slices.Equal(h.Buckets, buckets):
		return nil, damaged("its buckets are not those that were written")
	}
	st.number, st.hash, st.streams = h.Number, h.hash, h.Streams
	entries, err := v.tree(entriesBucket)
	if err != nil {
		return nil, err
	}
	c, err := entries.last()
	if err != nil {
		return nil, err
	}
	if n, ok := lastNumber(c); !ok || n != h.Number {
		return nil, damaged("the last entry is %d, it should be %d", n, h.Number)
	}
	if st.number == 0 {
		return st, v.empty(h)
	}
	e, err := v.entry(st.number)
	if err != nil {
		return nil, err
	}
	return st, v.tail(st, e)
}
