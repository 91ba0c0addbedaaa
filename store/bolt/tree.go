// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"io"
)

// maxDepth bounds the way from a root to a leaf. A tree of the largest file
// that bbolt can map is less than half as deep.
const maxDepth = 20

// A snapshot reads the trees below one root, page by page from the file and
// never through bbolt's memory map: a damaged page gives an error, where
// bbolt's own cursor could fault or run for ever. Pages are read once and
// kept, so a snapshot is for one short piece of work by one goroutine.
type snapshot struct {
	file  io.ReaderAt
	root  uint64
	pages map[uint64]*page
}

func newSnapshot(file io.ReaderAt, root uint64) *snapshot {
	return &snapshot{file: file, root: root, pages: map[uint64]*page{}}
}

// page returns the leaf or branch page id, proven to be well formed.
func (s *snapshot) page(id uint64) (*page, error) {
	if p := s.pages[id]; p != nil {
		return p, nil
	}
	data, err := readPages(s.file, id, maxNode)
	if err != nil {
		return nil, err
	}
	p, err := parsePage(id, data)
	if err != nil {
		return nil, err
	}
	s.pages[id] = p
	return p, nil
}

// A tree is one bucket: pairs in the order of their keys.
type tree struct {
	s      *snapshot
	root   uint64
	inline *page                         // the whole bucket, when it lies inside its parent's value
	nested bool                          // the values are buckets
	check  func(key, value []byte) error // for each pair of a leaf that is read; may be nil
}

// buckets is the tree of the file's buckets.
func (s *snapshot) buckets() tree { return tree{s: s, root: s.root, nested: true} }

// bucket opens the named bucket; found is false when there is none.
func (s *snapshot) bucket(name string, check func(key, value []byte) error) (t tree, found bool, err error) {
	value, found, err := s.buckets().get([]byte(name))
	if err != nil || !found {
		return tree{}, false, err
	}
	t, err = s.openBucket(name, value, check)
	return t, err == nil, err
}

// openBucket opens the bucket that a value of the root tree describes.
func (s *snapshot) openBucket(name string, value []byte, check func(key, value []byte) error) (tree, error) {
	t := tree{s: s, check: check}
	if len(value) < bucketSize {
		return t, damaged("bucket %q has no root", name)
	}
	t.root = order.Uint64(value)
	rest := value[bucketSize:]
	switch {
	case t.root != 0 && len(rest) > 0:
		return t, damaged("bucket %q is both inside and outside its parent", name)
	case t.root == 0:
		p, err := parsePage(0, rest)
		if err != nil {
			return t, damaged("bucket %q: %w", name, err)
		}
		if !p.leaf {
			return t, damaged("bucket %q has branches inside its parent", name)
		}
		t.inline = p
	}
	return t, nil
}

// enter returns page id of the tree and proves that it hangs in the right
// place: its first key is the one the branch above has for it, its last is
// below end (nil: no bound). bbolt keeps both so; with it, a changed key in a
// branch cannot hide pairs.
func (t tree) enter(id uint64, first, end []byte) (*page, error) {
	p := t.inline
	if p == nil {
		var err error
		if p, err = t.s.page(id); err != nil {
			return nil, err
		}
	}
	if first != nil && (p.count == 0 || !bytes.Equal(p.key(0), first)) {
		return nil, damaged("page %d does not begin with the key its parent has for it", id)
	}
	if end != nil && bytes.Compare(p.key(p.count-1), end) >= 0 {
		return nil, damaged("page %d holds keys that belong to its neighbour", id)
	}
	if !p.leaf || p.checked {
		return p, nil
	}
	for i := range p.count {
		if p.bucket(i) != t.nested {
			return nil, damaged("page %d, element %d: a bucket where there is none, or none where there is one", id, i)
		}
		if t.check != nil {
			if err := t.check(p.key(i), p.value(i)); err != nil {
				return nil, damaged("page %d, element %d: %w", id, i, err)
			}
		}
	}
	p.checked = true
	return p, nil
}

// A cursor stands on a pair, or behind the last one, or before the first.
type cursor struct {
	t     tree
	stack []step // from the root to a leaf; empty when it stands on no pair
}

// A step is an element of a page on the way down.
type step struct {
	p   *page
	i   int
	end []byte // keys of the page are below it; nil: no bound
}

func (c *cursor) valid() bool   { return len(c.stack) > 0 }
func (c *cursor) top() *step    { return &c.stack[len(c.stack)-1] }
func (c *cursor) key() []byte   { return c.top().p.key(c.top().i) }
func (c *cursor) value() []byte { return c.top().p.value(c.top().i) }

// descend goes from the top of the stack down to a leaf; choose picks the
// element in each page below.
func (c *cursor) descend(choose func(*page) int) error {
	for !c.top().p.leaf {
		if len(c.stack) >= maxDepth {
			return damaged("page %d lies %d levels deep", c.top().p.id, maxDepth)
		}
		s := c.top()
		end := s.end
		if s.i+1 < s.p.count {
			end = s.p.key(s.i + 1)
		}
		p, err := c.t.enter(s.p.child(s.i), s.p.key(s.i), end)
		if err != nil {
			return err
		}
		c.stack = append(c.stack, step{p, choose(p), end})
	}
	return nil
}

func firstOf(*page) int  { return 0 }
func lastOf(p *page) int { return p.count - 1 }

// start returns a cursor on the root page.
func (t tree) start(choose func(*page) int) (*cursor, error) {
	p, err := t.enter(t.root, nil, nil)
	if err != nil {
		return nil, err
	}
	c := &cursor{t: t, stack: []step{{p: p, i: choose(p)}}}
	if err := c.descend(choose); err != nil {
		return nil, err
	}
	return c, nil
}

// seek stands on the first pair whose key is not below key.
func (t tree) seek(key []byte) (*cursor, error) {
	c, err := t.start(func(p *page) int {
		i, exact := p.find(key)
		if !p.leaf && !exact {
			i = max(i-1, 0) // the page that begins below the key
		}
		return i
	})
	if err != nil {
		return nil, err
	}
	if s := c.top(); s.i >= s.p.count {
		// The key would stand at the end of this leaf, so the next leaf is
		// looked at too: its first key proves that nothing lies between.
		s.i = s.p.count - 1
		return c, c.next()
	}
	return c, nil
}

// last stands on the last pair.
func (t tree) last() (*cursor, error) {
	c, err := t.start(lastOf)
	if err == nil && c.top().p.count == 0 {
		c.stack = nil
	}
	return c, err
}

// next goes on to the next pair; behind the last one the cursor is not valid.
func (c *cursor) next() error {
	for c.valid() {
		if s := c.top(); s.i+1 < s.p.count {
			s.i++
			return c.descend(firstOf)
		}
		c.stack = c.stack[:len(c.stack)-1]
	}
	return nil
}

// prev goes back to the pair before; before the first the cursor is not valid.
func (c *cursor) prev() error {
	for c.valid() {
		if s := c.top(); s.i > 0 {
			s.i--
			return c.descend(lastOf)
		}
		c.stack = c.stack[:len(c.stack)-1]
	}
	return nil
}

// get returns the value of a key; it is not to be changed.
func (t tree) get(key []byte) (value []byte, found bool, err error) {
	c, err := t.seek(key)
	if err != nil || !c.valid() || !bytes.Equal(c.key(), key) {
		return nil, false, err
	}
	return c.value(), true, nil
}
