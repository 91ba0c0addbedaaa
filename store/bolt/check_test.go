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
