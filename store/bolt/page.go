// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"io"

	"tallyhood/store"
)

// The layout of a page, as bbolt v1.5 writes it (its package internal/common),
// in the byte order of the machine.
const (
	pageSize   = 4096
	pageHeader = 16 // id 8, type 2, count 2, overflow 4
	elemSize   = 16 // leaf: flags 4, pos 4, key size 4, value size 4; branch: pos 4, key size 4, child 8
	bucketSize = 16 // head of a bucket's value: root page 8, sequence 8

	typeBranch   = 0x01
	typeLeaf     = 0x02
	typeFreelist = 0x10

	flagBucket = 0x01

	metaMagic   = 0xED0CDAED
	metaVersion = 2
	metaSum     = 56         // bytes under the checksum
	noFreelist  = ^uint64(0) // the free list is not kept; never so in our files

	// maxSize bounds the file, and with it what a survey costs: some hundred
	// thousand runs.
	maxSize = 16 << 30

	// maxNode bounds the bytes of one page with its overflow. bbolt leaves up to
	// four pairs together however large they are.
	maxNode = 8 * (store.MaxBody + 4*pageSize)
)

var order = binary.NativeEndian

// damaged is ErrDamaged with a place and a reason.
func damaged(format string, args ...any) error {
	return fmt.Errorf("%w: %w", store.ErrDamaged, fmt.Errorf(format, args...))
}

// A page is a leaf or branch page whose every element is known to lie inside.
type page struct {
	id       uint64 // 0 for the page inside a bucket's value
	leaf     bool
	count    int
	overflow uint64 // further pages that belong to it
	data     []byte
	checked  bool // a bucket's own check has passed over its values
}

func (p *page) elem(i int) []byte { return p.data[pageHeader+i*elemSize:] }

func (p *page) key(i int) []byte {
	e := p.elem(i)
	if p.leaf {
		pos, size := order.Uint32(e[4:]), order.Uint32(e[8:])
		return e[pos : pos+size : pos+size]
	}
	pos, size := order.Uint32(e), order.Uint32(e[4:])
	return e[pos : pos+size : pos+size]
}

// value is that of a leaf's element.
func (p *page) value(i int) []byte {
	e := p.elem(i)
	pos := order.Uint32(e[4:]) + order.Uint32(e[8:])
	size := order.Uint32(e[12:])
	return e[pos : pos+size : pos+size]
}

// bucket says whether a leaf's element is a bucket.
func (p *page) bucket(i int) bool { return order.Uint32(p.elem(i)) == flagBucket }

// child is the page below a branch's element.
func (p *page) child(i int) uint64 { return order.Uint64(p.elem(i)[8:]) }

// find returns the first element whose key is not below key.
func (p *page) find(key []byte) (i int, exact bool) {
	lo, hi := 0, p.count
	for lo < hi {
		mid := (lo + hi) / 2
		switch bytes.Compare(p.key(mid), key) {
		case -1:
			lo = mid + 1
		case 0:
			return mid, true
		default:
			hi = mid
		}
	}
	return lo, false
}

// parsePage takes data apart and proves that nothing in it leads outside. It
// asks for more than bbolt does: elements packed without gaps, keys rising,
// overflow exactly as large as the content needs. bbolt writes nothing else,
// so a changed count, size or position shows here.
func parsePage(id uint64, data []byte) (*page, error) {
	if len(data) < pageHeader {
		return nil, damaged("page %d ends inside its head", id)
	}
	if got := order.Uint64(data); got != id {
		return nil, damaged("page %d calls itself page %d", id, got)
	}
	p := &page{
		id:       id,
		count:    int(order.Uint16(data[10:])),
		overflow: uint64(order.Uint32(data[12:])),
		data:     data,
	}
	switch kind := order.Uint16(data[8:]); kind {
	case typeBranch:
	case typeLeaf:
		p.leaf = true
	default:
		return nil, damaged("page %d is of type %#x where a leaf or branch belongs", id, kind)
	}
	end := pageHeader + p.count*elemSize // of what is proven so far
	if end > len(data) {
		return nil, damaged("page %d has no room for its %d elements", id, p.count)
	}
	for i := range p.count {
		at := pageHeader + i*elemSize
		e := data[at:]
		var flags, pos, key, value uint64
		if p.leaf {
			flags, pos = uint64(order.Uint32(e)), uint64(order.Uint32(e[4:]))
			key, value = uint64(order.Uint32(e[8:])), uint64(order.Uint32(e[12:]))
		} else {
			pos, key = uint64(order.Uint32(e)), uint64(order.Uint32(e[4:]))
		}
		if flags > flagBucket || key == 0 || uint64(at)+pos != uint64(end) || uint64(end)+key+value > uint64(len(data)) {
			return nil, damaged("page %d, element %d: wrong flags, place or size", id, i)
		}
		end += int(key + value)
		if i > 0 && bytes.Compare(p.key(i-1), p.key(i)) >= 0 {
			return nil, damaged("page %d, element %d: the key is not above the one before", id, i)
		}
	}
	if !p.leaf && p.count == 0 {
		return nil, damaged("branch page %d is empty", id)
	}
	want := uint64(0)
	if id != 0 {
		want = uint64(max(end, 1)-1) / pageSize
	}
	if p.overflow != want || id == 0 && end != len(data) {
		return nil, damaged("page %d does not fill the room it claims", id)
	}
	return p, nil
}

// readPages reads a page with its overflow pages, at most most bytes.
func readPages(file io.ReaderAt, id uint64, most int) ([]byte, error) {
	if id < 2 || id > 1<<40 {
		return nil, damaged("page %d cannot be part of a tree", id)
	}
	data := make([]byte, pageSize)
	if err := readAt(file, data, id); err != nil {
		return nil, err
	}
	size := (uint64(order.Uint32(data[12:])) + 1) * pageSize
	if size > uint64(most) {
		return nil, damaged("page %d claims %d bytes", id, size)
	}
	if size > pageSize {
		whole := make([]byte, size)
		copy(whole, data)
		if err := readAt(file, whole[pageSize:], id+1); err != nil {
			return nil, err
		}
		data = whole
	}
	return data, nil
}

// readAt fills data from page id on. A page that cannot be read is damage: the
// bytes that were written there do not come back.
func readAt(file io.ReaderAt, data []byte, id uint64) error {
	if n, err := file.ReadAt(data, int64(id)*pageSize); n < len(data) {
		return damaged("page %d: %w", id, err)
	}
	return nil
}

// A meta is one of the two heads of the file; the valid one with the higher
// transaction counts.
type meta struct {
	root     uint64 // page of the root bucket
	freelist uint64 // page of the free list
	pages    uint64 // pages in use, free ones included
	tx       uint64 // transaction that wrote it
}

// parseMeta reads the head on page id, 0 or 1.
func parseMeta(id int, data []byte) (meta, error) {
	b := data[pageHeader:]
	sum := fnv.New64a()
	sum.Write(b[:metaSum])
	switch {
	case order.Uint32(b) != metaMagic:
		return meta{}, damaged("head %d: not a store's file", id)
	case order.Uint32(b[4:]) != metaVersion:
		return meta{}, damaged("head %d: unknown version of the file's pages", id)
	case order.Uint64(b[metaSum:]) != sum.Sum64():
		return meta{}, damaged("head %d: wrong checksum", id)
	case order.Uint32(b[8:]) != pageSize:
		return meta{}, damaged("head %d: pages of %d bytes, not %d", id, order.Uint32(b[8:]), pageSize)
	}
	return meta{
		root:     order.Uint64(b[16:]),
		freelist: order.Uint64(b[32:]),
		pages:    order.Uint64(b[40:]),
		tx:       order.Uint64(b[48:]),
	}, nil
}
