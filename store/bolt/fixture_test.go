// SPDX-License-Identifier: Apache-2.0

package bolt_test

import (
	"bytes"
	"flag"
	"fmt"
	"path/filepath"
	"testing"

	"tallyhood/store"
	"tallyhood/store/bolt"
	"tallyhood/store/storetest"
)

// Files of every form that was ever written stay in testdata and have to open
// for ever. A new form gets a new file; an old file is never written again.
var writeFixture = flag.String("write-fixture", "", "write the fixture of the present form to this new file")

// fixtureDrafts are the entries of testdata/form-1.db.
func fixtureDrafts() [][]store.Draft {
	var groups [][]store.Draft
	for i := range 30 {
		group := []store.Draft{
			{Stream: fmt.Sprint("run-", i/8), Kind: "squeeze", Version: 1 + i%2, Body: fmt.Appendf(nil, `{"n":%d}`, i)},
			{Kind: "note", Version: 1, Body: bytes.Repeat([]byte{byte(i)}, i*5)},
		}
		if i == 12 {
			group[1].Body = bytes.Repeat([]byte("large "), 1000)
		}
		groups = append(groups, group)
	}
	return groups
}

// fixtureHash is the hash of the last entry of form-1.db.
const fixtureHash = "b02a81ac2d06bd57d8ac446550b3b942e32dd9ccd9c1adb72e39cf58dc5d6e60"

func fixturePairs() map[string][]byte {
	pairs := map[string][]byte{"volume": []byte("7"), "empty": {}}
	for i := range 20 {
		pairs[fmt.Sprint("person-", i)] = bytes.Repeat([]byte("p"), i*20)
	}
	return pairs
}

func TestWriteFixture(t *testing.T) {
	if *writeFixture == "" {
		t.Skip("only when asked: writes a fixture of a new form, only when -write-fixture names a file")
	}
	s := mustOpen(t, *writeFixture, bolt.Options{})
	for _, group := range fixtureDrafts() {
		if _, err := s.Append(t.Context(), group...); err != nil {
			t.Fatal(err)
		}
	}
	for key, value := range fixturePairs() {
		if err := s.Table("settings").Put(t.Context(), key, value); err != nil {
			t.Fatal(err)
		}
	}
	_, hash := s.Last()
	t.Logf("last hash %x", hash)
}

func TestFixtureOfForm1(t *testing.T) {
	fixture := filepath.Join("testdata", "form-1.db")
	path := filepath.Join(t.TempDir(), "form-1.db")
	writeFile(t, path, readFile(t, fixture))
	if err := bolt.Check(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	for _, o := range []bolt.Options{{ReadOnly: true}, {}} {
		s := mustOpen(t, path, o)
		if n, h := s.Last(); n != 60 || fmt.Sprintf("%x", h) != fixtureHash {
			t.Errorf("last %d %x, want 60 %s", n, h, fixtureHash)
		}
		all := storetest.All(t, s)
		for i, e := range all {
			d := fixtureDrafts()[i/2][i%2]
			if e.Stream != d.Stream || e.Kind != d.Kind || e.Version != d.Version || !bytes.Equal(e.Body, d.Body) {
				t.Errorf("entry %d is %+v, want %+v", i+1, e, d)
			}
		}
		infos, err := s.Streams(t.Context(), 0, 10)
		want := "[{run-3 49 59} {run-2 33 47} {run-1 17 31} {run-0 1 15}]"
		if err != nil || fmt.Sprint(infos) != want {
			t.Errorf("streams %v, %v, want %s", infos, err, want)
		}
		if n := len(storetest.Stream(t, s, "run-1")); n != 8 {
			t.Errorf("%d entries in run-1, want 8", n)
		}
		for key, value := range fixturePairs() {
			if got, err := s.Table("settings").Get(t.Context(), key); err != nil || !bytes.Equal(got, value) {
				t.Errorf("setting %q: %q, %v, want %q", key, got, err, value)
			}
		}
		if !o.ReadOnly {
			// It goes on from there.
			if _, err := s.Append(t.Context(), store.Draft{Stream: "run-1", Kind: "later", Version: 1}); err != nil {
				t.Error(err)
			}
		}
		s.Close()
	}
	if err := bolt.Check(t.Context(), path); err != nil {
		t.Error(err)
	}
}
