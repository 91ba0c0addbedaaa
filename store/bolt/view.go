// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"io"
	"strings"

	"tallyhood/store"
)

// Bounds of one stretch of reading: more is read in further stretches, each
// in a transaction of its own.
const (
	maxBatch      = 128       // entries, streams or keys
	maxBatchBytes = 256 << 10 // bodies, but for the last of a stretch
)

// A view reads what the buckets of one snapshot mean.
type view struct {
	*snapshot
	st      *state // the snapshot's
	trees   map[string]tree
	entries map[uint64]store.Entry // decoded so far
}

func newView(file io.ReaderAt, st *state) *view {
	return &view{snapshot: newSnapshot(file, st.root), st: st, trees: map[string]tree{}, entries: map[uint64]store.Entry{}}
}

// tree opens one of the buckets that every file has.
func (v *view) tree(name string) (tree, error) {
	if t, ok := v.trees[name]; ok {
		return t, nil
	}
	check, _ := checkOf(name)
	t, found, err := v.bucket(name, check)
	if err == nil && !found {
		err = damaged("the bucket %q is missing", name)
	}
	if err == nil {
		v.trees[name] = t
	}
	return t, err
}

func cutTable(bucket string) (table string, ok bool) { return strings.CutPrefix(bucket, tablePrefix) }

func hexOf(h [32]byte) string { return hex.EncodeToString(h[:]) }

// lastNumber is the number under the cursor, 0 when it stands nowhere.
func lastNumber(c *cursor) (n uint64, ok bool) {
	if !c.valid() {
		return 0, true
	}
	if len(c.key()) != 8 {
		return 0, false
	}
	return binary.BigEndian.Uint64(c.key()), true
}

// format refuses a file of another form.
func (v *view) format() error {
	t, err := v.tree(metaBucket)
	if err != nil {
		return err
	}
	value, found, err := t.get([]byte(formatKey))
	if err == nil && !found {
		err = damaged("it does not name its form")
	}
	if err != nil {
		return err
	}
	return checkFormat(value)
}

func (v *view) head() (head, error) {
	t, err := v.tree(metaBucket)
	if err != nil {
		return head{}, err
	}
	value, found, err := t.get([]byte(headKey))
	if err == nil && !found {
		err = damaged("it has no head")
	}
	if err != nil {
		return head{}, err
	}
	return decodeHead(value)
}

// run reads entries from number from to number to, as many as one stretch
// takes, each with its hash and its links proven: to the entry before it, and
// from the one behind it, or from the head if it is the last. Only the second
// shows an entry that was rewritten with a hash that fits. With an error run
// returns the sound entries before.
func (v *view) run(from, to uint64) (read []store.Entry, err error) {
	t, err := v.tree(entriesBucket)
	if err != nil {
		return nil, err
	}
	n := max(from, 2) - 1
	c, err := t.seek(numberKey(n))
	if err != nil {
		return nil, err
	}
	var prev [32]byte
	for size := 0; ; n++ {
		var e store.Entry
		link := v.st.hash
		if n <= v.st.number {
			if e, err = v.at(c, n); err != nil {
				return read, err
			}
			link = e.Prev
		}
		if (n == 1 || n >= from) && link != prev {
			return read[:max(len(read), 1)-1], damaged("entry %d is not the one that was written", max(n, 2)-1)
		}
		if n > to || n > v.st.number || len(read) == maxBatch || size >= maxBatchBytes {
			return read, nil
		}
		if n >= from {
			read = append(read, e)
			size += len(e.Body)
		}
		prev = e.Hash
		if err := c.next(); err != nil {
			return read, err
		}
	}
}

// at decodes entry n, on which the cursor has to stand.
func (v *view) at(c *cursor, n uint64) (store.Entry, error) {
	if e, ok := v.entries[n]; ok {
		return e, nil
	}
	if !c.valid() || !bytes.Equal(c.key(), numberKey(n)) {
		return store.Entry{}, damaged("entry %d is missing", n)
	}
	e, err := decodeEntry(n, c.value())
	if err == nil {
		v.entries[n] = e
	}
	return e, err
}

// entry reads entry n, proven like those of run.
func (v *view) entry(n uint64) (store.Entry, error) {
	if n == 0 || n > v.st.number {
		return store.Entry{}, damaged("an entry %d is named, there are %d", n, v.st.number)
	}
	read, err := v.run(n, n)
	if err != nil {
		return store.Entry{}, err
	}
	return read[0], nil
}

// stream returns the record of a stream.
func (v *view) stream(name string) (r streamRecord, found bool, err error) {
	t, err := v.tree(streamsBucket)
	if err != nil {
		return r, false, err
	}
	value, found, err := t.get(streamKey(name))
	if err != nil || !found {
		return r, false, err
	}
	r = decodeStream(value)
	if r.first == 0 || r.first > r.last || r.count == 0 || r.count > r.last-r.first+1 || r.place == 0 || r.place > r.first {
		return r, false, damaged("the record of stream %q contradicts itself", name)
	}
	return r, true, nil
}

// streamRun reads entries of a stream from its place on, in the way of run;
// from is the lowest number the next can have.
func (v *view) streamRun(name string, r streamRecord, place, from uint64) (read []store.Entry, err error) {
	t, err := v.tree(indexBucket)
	if err != nil {
		return nil, err
	}
	c, err := t.seek(indexKey(r.first, from))
	if err != nil {
		return nil, err
	}
	for size := 0; place <= r.count && len(read) < maxBatch && size < maxBatchBytes; place++ {
		var first, n uint64
		if c.valid() {
			first, n = decodeIndexKey(c.key())
		}
		if first != r.first || binary.BigEndian.Uint64(c.value()) != place || n > r.last ||
			place == 1 && n != r.first || place == r.count && n != r.last {
			return read, damaged("the index lacks entry %d of %d of stream %q", place, r.count, name)
		}
		e, err := v.entry(n)
		if err != nil {
			return read, err
		}
		if e.Stream != name {
			return read, damaged("entry %d is of stream %q, not %q", n, e.Stream, name)
		}
		read = append(read, e)
		size += len(e.Body)
		if err := c.next(); err != nil {
			return read, err
		}
	}
	return read, nil
}

// streamAt returns the stream whose index record is under the cursor, which
// stands on the stream's last.
func (v *view) streamAt(c *cursor) (store.StreamInfo, streamRecord, error) {
	first, last := decodeIndexKey(c.key())
	place := binary.BigEndian.Uint64(c.value())
	e, err := v.entry(first)
	if err != nil {
		return store.StreamInfo{}, streamRecord{}, err
	}
	name := e.Stream
	r, found, err := v.stream(name)
	if err != nil {
		return store.StreamInfo{}, r, err
	}
	if !found || r.first != first || r.last != last || r.count != place {
		return store.StreamInfo{}, r, damaged("index and record of stream %q contradict one another", name)
	}
	return store.StreamInfo{Stream: name, First: first, Last: last}, r, nil
}

// streamList lists streams whose first entry is below before (0: all), newest
// first, as many as one stretch takes. It counts the streams down, so that one
// missing from the index shows.
func (v *view) streamList(before, streams uint64, limit int) (infos []store.StreamInfo, err error) {
	t, err := v.tree(indexBucket)
	if err != nil {
		return nil, err
	}
	var c *cursor
	place := streams // of the stream that is to come
	if before > 0 {
		if c, err = t.seek(indexKey(before, 0)); err == nil && c.valid() {
			if place, err = v.placeOf(c); err == nil {
				place--
				err = c.prev()
			}
		} else if err == nil {
			c, err = t.last()
		}
	} else {
		c, err = t.last()
	}
	for ; err == nil && c.valid() && len(infos) < min(limit, maxBatch); place-- {
		info, r, err := v.streamAt(c)
		if err != nil {
			return nil, err
		}
		if r.place != place {
			return nil, damaged("the index has stream %q in place %d, its record in place %d", info.Stream, place, r.place)
		}
		infos = append(infos, info)
		// Over the stream's other entries to the last one of the stream before.
		if c, err = t.seek(indexKey(info.First, 0)); err == nil {
			err = c.prev()
		}
		if err != nil {
			return nil, err
		}
	}
	if err == nil && !c.valid() && place != 0 {
		err = damaged("the index lacks %d streams", place)
	}
	return infos, err
}

// placeOf returns the place of the stream whose index record is under the
// cursor.
func (v *view) placeOf(c *cursor) (uint64, error) {
	first, _ := decodeIndexKey(c.key())
	e, err := v.entry(first)
	if err != nil {
		return 0, err
	}
	r, found, err := v.stream(e.Stream)
	if err == nil && (!found || r.first != first) {
		err = damaged("index and record of stream %q contradict one another", e.Stream)
	}
	return r.place, err
}

// tail proves that the last entry stands in the index and in the record of its
// stream, and that the newest stream is the last that was counted.
func (v *view) tail(st *state, e store.Entry) error {
	r, found, err := v.stream(e.Stream)
	if err != nil {
		return err
	}
	if !found || r.last != e.Number || r.place > st.streams {
		return damaged("the record of stream %q lacks entry %d, the last one", e.Stream, e.Number)
	}
	t, err := v.tree(indexBucket)
	if err != nil {
		return err
	}
	value, found, err := t.get(indexKey(r.first, e.Number))
	if err != nil {
		return err
	}
	if !found || binary.BigEndian.Uint64(value) != r.count {
		return damaged("the index lacks entry %d, the last one", e.Number)
	}
	_, err = v.streamList(0, st.streams, 1)
	return err
}

// empty proves that a file without entries has nothing else of a journal.
func (v *view) empty(h head) error {
	for _, name := range []string{indexBucket, streamsBucket} {
		t, err := v.tree(name)
		if err != nil {
			return err
		}
		if c, err := t.last(); err != nil || c.valid() {
			return damaged("bucket %q has records of a journal without entries", name)
		}
	}
	if h.Streams != 0 || h.Hash != hexOf([32]byte{}) {
		return damaged("its head counts streams in a journal without entries")
	}
	return nil
}

// table opens a table; found is false when nothing was ever put there.
func (v *view) table(name string) (t tree, found bool, err error) {
	return v.bucket(tablePrefix+name, checkPair(name))
}
