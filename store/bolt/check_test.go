// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"slices"
	"testing"

	"go.etcd.io/bbolt"

	"tallyhood/store"
)

// without returns a leaf as bbolt would write it without element drop.
func without(p *page, drop int) []byte {
	out := make([]byte, len(p.data))
	copy(out, p.data[:pageHeader])
	order.PutUint16(out[10:], uint16(p.count-1))
	at, data := pageHeader, pageHeader+(p.count-1)*elemSize
	for i := range p.count {
		if i == drop {
			continue
		}
		e := out[at:]
		copy(e, p.elem(i)[:elemSize])
		order.PutUint32(e[4:], uint32(data-at))
		data += copy(out[data:], p.key(i))
		data += copy(out[data:], p.value(i))
		at += elemSize
	}
	return out
}

// A well-formed page that lacks a record shows nothing wrong by itself. What
// contradicts it is found by reading, where reading passes there, and by Check
// in any case.
func TestMissingRecords(t *testing.T) {
	path, _ := sample(t)
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := openBytes(file)
	if err != nil {
		t.Fatal(err)
	}
	truth := ask(sound, nil)
	for _, test := range []struct {
		bucket  string
		key     []byte
		silent  []string // calls that cannot know
		reports []string // calls that have to report
	}{
		{streamsBucket, streamKey("run-7"), []string{"stream run-7"}, []string{"streams"}},
		{indexBucket, indexKey(1, 2), nil, []string{"stream run-0"}},
		{indexBucket, indexKey(155, 155), nil, []string{"streams", "streams below 160", "stream single-30"}},
		{entriesBucket, numberKey(150), nil, []string{"read", "read 150"}},
	} {
		v := newView(bytes.NewReader(file), sound.state.Load())
		tr, err := v.tree(test.bucket)
		if err != nil {
			t.Fatal(err)
		}
		c, err := tr.seek(test.key)
		if err != nil || !c.valid() || !bytes.Equal(c.key(), test.key) {
			t.Fatalf("%s: no key %q, %v", test.bucket, test.key, err)
		}
		p, i := c.top().p, c.top().i
		if i == 0 {
			t.Fatalf("%s: key %q is the first of its page, which its parent knows too; choose another", test.bucket, test.key)
		}
		b := bytes.Clone(file)
		copy(b[p.id*pageSize:], without(p, i))
		got := askBytes(b, truth)
		if wrong, _ := silent(got, truth); !slices.Equal(wrong, test.silent) {
			t.Errorf("%s without %q: silently wrong: %v, expected %v", test.bucket, test.key, wrong, test.silent)
		}
		for _, call := range test.reports {
			if !errors.Is(got[call].err, store.ErrDamaged) {
				t.Errorf("%s without %q: %s gives %v, want ErrDamaged", test.bucket, test.key, call, got[call].err)
			}
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := Check(t.Context(), path); !errors.Is(err, store.ErrDamaged) {
			t.Errorf("%s without %q: check gives %v, want ErrDamaged", test.bucket, test.key, err)
		}
	}
}

// A record in the place of another is not taken for it.
func TestMisplacedRecords(t *testing.T) {
	e := store.Entry{Number: 7, Stream: "a", Kind: "k", Version: 1}
	value := encodeEntry(&e)
	if got, err := decodeEntry(7, value); err != nil || got.Hash != store.HashOf(e) {
		t.Errorf("entry 7: %+v, %v", got, err)
	}
	if _, err := decodeEntry(8, value); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("entry 7 in the place of 8: %v, want ErrDamaged", err)
	}
	if err := checkPair("t")([]byte("k"), encodePair("t", []byte("k"), []byte("v"))); err != nil {
		t.Errorf("a pair in its place: %v", err)
	}
	for _, other := range [][2]string{{"t", "l"}, {"s", "k"}, {"tk", ""}} {
		if err := checkPair(other[0])([]byte(other[1]), encodePair("t", []byte("k"), []byte("v"))); err == nil {
			t.Errorf("a pair of table t is taken for one of %q", other)
		}
	}
	key, record := encodeIndex(3, 9, 2)
	if err := checkIndex(key, record); err != nil {
		t.Errorf("an index record in its place: %v", err)
	}
	if err := checkIndex(indexKey(3, 10), record); err == nil {
		t.Error("the index record of entry 9 is taken for that of 10")
	}
	if err := checkStream(key, record); err == nil {
		t.Error("an index record is taken for one of streams")
	}
}

// forge returns the sample with the record of a key exchanged for one of the
// same length, as only somebody who knows the form can do, and its truth.
func forge(t *testing.T, bucket string, key []byte, exchange func(key, value []byte) (k, v []byte)) (path string, b []byte, truth answers) {
	t.Helper()
	path, _ = sample(t)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := openBytes(b)
	if err != nil {
		t.Fatal(err)
	}
	truth = ask(sound, nil)
	tr, err := newView(bytes.NewReader(b), sound.state.Load()).tree(bucket)
	if err != nil {
		t.Fatal(err)
	}
	c, err := tr.seek(key)
	if err != nil || !c.valid() || !bytes.Equal(c.key(), key) {
		t.Fatalf("%s has no key %q: %v", bucket, key, err)
	}
	id := c.top().p.id * pageSize
	was := append(bytes.Clone(c.key()), c.value()...)
	k, v := exchange(c.key(), bytes.Clone(c.value()))
	at := bytes.Index(b[id:], was)
	if at < 0 || len(k)+len(v) != len(was) || len(k) != len(c.key()) {
		t.Fatalf("%s, key %q: the record does not fit", bucket, key)
	}
	copy(b[int(id)+at:], append(bytes.Clone(k), v...))
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path, b, truth
}

// Records that are good in themselves and contradict the others.
func TestForgedRecords(t *testing.T) {
	rewrite := func(key, value []byte) (k, v []byte) {
		e, err := decodeEntry(binary.BigEndian.Uint64(key), value)
		if err != nil {
			t.Fatal(err)
		}
		e.Body = bytes.Repeat([]byte("x"), len(e.Body))
		return key, encodeEntry(&e)
	}
	for _, test := range []struct {
		name     string
		bucket   string
		key      []byte
		exchange func(key, value []byte) (k, v []byte)
		reports  []string // calls that have to report; none: only Check can
	}{
		// The third entry of run-0 is entry 3; entry 4 is of a sitting.
		{"index names an entry of another stream", indexBucket, indexKey(1, 3),
			func(_, _ []byte) (k, v []byte) { return encodeIndex(1, 4, 3) }, []string{"stream run-0"}},
		{"index names the same place twice", indexBucket, indexKey(1, 3),
			func(_, _ []byte) (k, v []byte) { return encodeIndex(1, 3, 2) }, []string{"stream run-0"}},
		{"index names an entry that is not there", indexBucket, indexKey(295, 295),
			func(_, _ []byte) (k, v []byte) { return encodeIndex(400, 400, 1) }, []string{"streams", "stream single-58"}},
		{"an entry is rewritten, with a hash that fits", entriesBucket, numberKey(150), rewrite, []string{"read", "read 150"}},
		{"the first entry is rewritten", entriesBucket, numberKey(1), rewrite, []string{"read"}},
		{"the last entry is rewritten", entriesBucket, numberKey(300), rewrite, []string{"last", "read", "streams"}},
		{"the record of a stream has a later end", streamsBucket, streamKey("run-3"),
			func(key, value []byte) (k, v []byte) {
				r := decodeStream(value)
				r.last++
				return key, r.encode(key)
			}, []string{"stream run-3", "streams"}},
		{"the record of a stream has another beginning", streamsBucket, streamKey("run-3"),
			func(key, value []byte) (k, v []byte) {
				r := decodeStream(value)
				r.first++
				return key, r.encode(key)
			}, []string{"stream run-3", "streams"}},
		{"the record of a stream counts fewer entries", streamsBucket, streamKey("run-3"),
			func(key, value []byte) (k, v []byte) {
				r := decodeStream(value)
				r.count--
				return key, r.encode(key)
			}, []string{"stream run-3", "streams"}},
		{"the record of a stream has another place", streamsBucket, streamKey("run-3"),
			func(key, value []byte) (k, v []byte) {
				r := decodeStream(value)
				r.place++
				return key, r.encode(key)
			}, []string{"streams"}},
		// The name that is gone reads as unknown; see the package's limits.
		{"a record of a stream is under another name", streamsBucket, streamKey("single-4"),
			func(_, value []byte) (k, v []byte) {
				key := streamKey("single-5")
				return key, decodeStream(value).encode(key)
			}, []string{"streams"}},
	} {
		path, b, truth := forge(t, test.bucket, test.key, test.exchange)
		got := askBytes(b, truth)
		if wrong, _ := silent(got, truth); len(wrong) > 0 {
			t.Errorf("%s: silently wrong: %v", test.name, wrong)
		}
		for _, call := range test.reports {
			if err := got[call].err; !errors.Is(err, store.ErrDamaged) {
				t.Errorf("%s: %s gives %v, want ErrDamaged", test.name, call, err)
			}
		}
		if err := Check(t.Context(), path); !errors.Is(err, store.ErrDamaged) {
			t.Errorf("%s: check gives %v, want ErrDamaged", test.name, err)
		}
	}
}

// A head that names the root of an earlier transaction has a good checksum,
// and all it leads to is whole.
func TestHeadOfAnotherTime(t *testing.T) {
	path, _ := sample(t)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	m, err := loadMeta(bytes.NewReader(b), int64(len(b)), false)
	if err != nil {
		t.Fatal(err)
	}
	newer, older := int(m.tx%2)*pageSize, int(1-m.tx%2)*pageSize
	// From the root on, all as in the older one, but for the transaction.
	copy(b[newer+pageHeader+16:], b[older+pageHeader+16:][:32])
	resum(b[newer:])
	if _, err := openBytes(b); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("open: %v, want ErrDamaged", err)
	}
}

// A list of free pages with a page too many would let bbolt write over it, one
// with a page too few has lost it.
func TestForgedFreelist(t *testing.T) {
	path, _ := sample(t)
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	m, err := loadMeta(bytes.NewReader(file), int64(len(file)), false)
	if err != nil {
		t.Fatal(err)
	}
	at := int(m.freelist) * pageSize
	count := order.Uint16(file[at+10:])
	if count < 3 {
		t.Fatalf("only %d free pages: the test needs more", count)
	}
	id := func(b []byte, i int) []byte { return b[at+pageHeader+8*i:] }
	for name, change := range map[string]func(b []byte){
		"one page fewer":      func(b []byte) { order.PutUint16(b[at+10:], count-1) },
		"the root among them": func(b []byte) { order.PutUint64(id(b, 0), m.root) },
		"the list itself":     func(b []byte) { order.PutUint64(id(b, 0), m.freelist) },
		"the root besides": func(b []byte) {
			i := 0
			for i < int(count) && order.Uint64(id(b, i)) < m.root {
				i++
			}
			copy(id(b, i+1)[:8*(int(count)-i)], bytes.Clone(id(b, i)[:8*(int(count)-i)]))
			order.PutUint64(id(b, i), m.root)
			order.PutUint16(b[at+10:], count+1)
		},
		"a head":                   func(b []byte) { order.PutUint64(id(b, 0), 1) },
		"a page beyond the end":    func(b []byte) { order.PutUint64(id(b, int(count)-1), m.pages) },
		"a page twice":             func(b []byte) { copy(id(b, 1)[:8], id(b, 0)[:8]) },
		"more than the page holds": func(b []byte) { order.PutUint16(b[at+10:], 0xFFFE) },
		"a count of its own":       func(b []byte) { order.PutUint16(b[at+10:], 0xFFFF) },
	} {
		b := bytes.Clone(file)
		change(b)
		if _, err := openBytes(b); !errors.Is(err, store.ErrDamaged) {
			t.Errorf("%s: %v, want ErrDamaged", name, err)
		}
	}
}

// Check counts: what nobody asks for is found too.
func TestRecordTooMany(t *testing.T) {
	for _, bucket := range []string{indexBucket, streamsBucket} {
		path, _ := sample(t)
		db, err := bbolt.Open(path, 0o600, nil)
		if err != nil {
			t.Fatal(err)
		}
		err = db.Update(func(tx *bbolt.Tx) error {
			meta := tx.Bucket([]byte(metaBucket))
			h, err := decodeHead(meta.Get([]byte(headKey)))
			if err != nil {
				return err
			}
			h.Tx = uint64(tx.ID())
			key := streamKey("zzz")
			value := streamRecord{first: 4, last: 4, count: 1, place: 2}.encode(key)
			if bucket == indexBucket {
				key, value = encodeIndex(1, 299, 9)
			}
			return errors.Join(tx.Bucket([]byte(bucket)).Put(key, value), meta.Put([]byte(headKey), h.encode()))
		})
		if err := errors.Join(err, db.Close()); err != nil {
			t.Fatal(err)
		}
		s, err := Open(path, Options{})
		if err != nil {
			t.Fatalf("%s: %v", bucket, err)
		}
		s.Close()
		if err := Check(t.Context(), path); !errors.Is(err, store.ErrDamaged) {
			t.Errorf("a record too many in %s: check gives %v, want ErrDamaged", bucket, err)
		}
	}
}

// leaf makes a leaf page of pairs, as bbolt does.
func leaf(id uint64, pairs ...string) []byte {
	b := make([]byte, pageSize)
	order.PutUint64(b, id)
	order.PutUint16(b[8:], typeLeaf)
	order.PutUint16(b[10:], uint16(len(pairs)))
	data := pageHeader + len(pairs)*elemSize
	for i, pair := range pairs {
		at := pageHeader + i*elemSize
		order.PutUint32(b[at+4:], uint32(data-at))
		order.PutUint32(b[at+8:], uint32(len(pair)))
		data += copy(b[data:], pair)
	}
	return b
}

func TestParsePage(t *testing.T) {
	if p, err := parsePage(5, leaf(5, "a", "b", "c")); err != nil || p.count != 3 || string(p.key(2)) != "c" || len(p.value(2)) != 0 {
		t.Fatalf("a good page: %+v, %v", p, err)
	}
	for name, change := range map[string]func(b []byte) []byte{
		"another number":       func(b []byte) []byte { b[0] = 6; return b },
		"another type":         func(b []byte) []byte { b[8] = 4; return b },
		"two types":            func(b []byte) []byte { b[8] = 3; return b },
		"one element fewer":    func(b []byte) []byte { b[10] = 2; return b },
		"one element more":     func(b []byte) []byte { b[10] = 4; return b },
		"very many elements":   func(b []byte) []byte { b[11] = 0xff; return b },
		"overflow":             func(b []byte) []byte { b[12] = 1; return b },
		"unknown flags":        func(b []byte) []byte { b[pageHeader] = 2; return b },
		"a gap":                func(b []byte) []byte { b[pageHeader+4]++; return b },
		"a place far outside":  func(b []byte) []byte { b[pageHeader+7] = 0xff; return b },
		"an empty key":         func(b []byte) []byte { b[pageHeader+8] = 0; return b },
		"a key that is long":   func(b []byte) []byte { b[pageHeader+2*elemSize+11] = 0xff; return b },
		"a value that is long": func(b []byte) []byte { b[pageHeader+2*elemSize+15] = 0xff; return b },
		"keys out of order":    func([]byte) []byte { return leaf(5, "b", "a") },
		"the same key twice":   func([]byte) []byte { return leaf(5, "a", "a") },
		"a cut head":           func(b []byte) []byte { return b[:10] },
		"an empty branch":      func([]byte) []byte { b := leaf(5); b[8] = typeBranch; return b },
	} {
		if p, err := parsePage(5, change(leaf(5, "a", "b", "c"))); !errors.Is(err, store.ErrDamaged) {
			t.Errorf("%s: %+v, %v, want ErrDamaged", name, p, err)
		}
	}
}
