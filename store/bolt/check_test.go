// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"errors"
	"os"
	"testing"

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
		silent  string   // the calls that cannot know
		reports []string // some that have to report
	}{
		{streamsBucket, streamKey("run-7"), "[stream run-7]", []string{"streams"}},
		{indexBucket, indexKey(1, 2), "[]", []string{"stream run-0"}},
		{indexBucket, indexKey(155, 155), "[]", []string{"streams", "stream sole"}},
		{entriesBucket, numberKey(150), "[]", []string{"read", "read 150"}},
	} {
		v := newView(bytes.NewReader(file), sound.state.Load().root)
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
		if wrong, _ := silent(got, truth); len(wrong) == 0 != (test.silent == "[]") || len(wrong) > 0 && "["+wrong[0]+"]" != test.silent || len(wrong) > 1 {
			t.Errorf("%s without %q: silently wrong: %v, expected %s", test.bucket, test.key, wrong, test.silent)
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

// An index whose records are good in themselves and name the wrong stream, as
// only somebody who knows the form can write it.
func TestForgedIndex(t *testing.T) {
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
	v := newView(bytes.NewReader(file), sound.state.Load().root)
	index, err := v.tree(indexBucket)
	if err != nil {
		t.Fatal(err)
	}
	// The third entry of run-0 is entry 3; entry 4 is of a sitting.
	c, err := index.seek(indexKey(1, 3))
	if err != nil || !bytes.Equal(c.key(), indexKey(1, 3)) {
		t.Fatalf("no index record of entry 3: %v", err)
	}
	key, value := encodeIndex(1, 4, 3)
	b := bytes.Clone(file)
	at := bytes.Index(b[c.top().p.id*pageSize:], c.key()) + int(c.top().p.id*pageSize)
	copy(b[at:], key)
	copy(b[at+len(key):], value)
	got := askBytes(b, truth)
	if wrong, _ := silent(got, truth); len(wrong) > 0 {
		t.Errorf("silently wrong: %v", wrong)
	}
	if err := got["stream run-0"].err; !errors.Is(err, store.ErrDamaged) {
		t.Errorf("stream run-0: %v, want ErrDamaged", err)
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
