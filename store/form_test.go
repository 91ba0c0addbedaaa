// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"os/exec"
	"reflect"
	"strings"
	"testing"

	"tallyhood/store"
)

// golden entries: the forms are written out by hand after the description of
// AppendForm, and the hashes were computed over those bytes by another program
// (hashlib.sha256 of Python 3; sha256sum gives the same).
var golden = []struct {
	entry store.Entry
	form  string
	hash  string
}{
	{
		store.Entry{Number: 1, Stream: "run-1", Kind: "squeeze", Version: 1, Body: []byte(`{"at":12}`)},
		"tallyhood.entry/1\nnumber 1\n" +
			"prev 0000000000000000000000000000000000000000000000000000000000000000\n" +
			"stream 5:run-1\nkind 7:squeeze\nversion 1\nbody 9:{\"at\":12}\n",
		"5c92e10ea2a04c9853f3c908145eabf25340eb727460d9ee1b21ff97b6f3e4c9",
	},
	{
		store.Entry{Number: 2, Kind: "note", Version: 12, Body: []byte("a\nb:9\n\x00"),
			Prev: unhex("5c92e10ea2a04c9853f3c908145eabf25340eb727460d9ee1b21ff97b6f3e4c9")},
		"tallyhood.entry/1\nnumber 2\n" +
			"prev 5c92e10ea2a04c9853f3c908145eabf25340eb727460d9ee1b21ff97b6f3e4c9\n" +
			"stream 0:\nkind 4:note\nversion 12\nbody 7:a\nb:9\n\x00\n",
		"ca201c310b3b4754b37f0abec9608992a089ad44d82f751bb8b6f139bd310bc0",
	},
}

func unhex(s string) (h [32]byte) {
	if n, err := hex.Decode(h[:], []byte(s)); n != len(h) || err != nil {
		panic("not a hash: " + s)
	}
	return h
}

func TestGoldenForms(t *testing.T) {
	for _, g := range golden {
		if got := string(store.AppendForm(nil, g.entry)); got != g.form {
			t.Errorf("form of entry %d:\n%q\nwant\n%q", g.entry.Number, got, g.form)
		}
		if got := store.HashOf(g.entry); got != unhex(g.hash) {
			t.Errorf("hash of entry %d: %x, want %s", g.entry.Number, got, g.hash)
		}
		want := g.entry
		want.Hash = unhex(g.hash)
		if got, err := store.ParseForm([]byte(g.form)); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("parsed entry %d: %+v, %v, want %+v", g.entry.Number, got, err, want)
		}
	}
}

// The hashes are those of a program that shares no code with this one.
func TestGoldenHashesBySha256sum(t *testing.T) {
	program, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("missing part: sha256sum, of the GNU coreutils")
	}
	for _, g := range golden {
		c := exec.Command(program)
		c.Stdin = strings.NewReader(g.form)
		out, err := c.Output()
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Fields(string(out))[0]; got != g.hash {
			t.Errorf("sha256sum of entry %d: %s, want %s", g.entry.Number, got, g.hash)
		}
	}
}

// Every field changes the hash, and moving bytes from one field to its
// neighbour does too.
func TestHashCoversEveryField(t *testing.T) {
	base := store.Entry{Number: 3, Stream: "ab", Kind: "cd", Version: 1, Body: []byte("ef"), Prev: [32]byte{1}}
	others := map[string]func(*store.Entry){
		"number":         func(e *store.Entry) { e.Number = 4 },
		"stream":         func(e *store.Entry) { e.Stream = "ac" },
		"kind":           func(e *store.Entry) { e.Kind = "ce" },
		"version":        func(e *store.Entry) { e.Version = 2 },
		"body":           func(e *store.Entry) { e.Body = []byte("eg") },
		"prev":           func(e *store.Entry) { e.Prev[31] = 1 },
		"stream to kind": func(e *store.Entry) { e.Stream, e.Kind = "a", "bcd" },
		"kind to body":   func(e *store.Entry) { e.Kind, e.Body = "c", []byte("def") },
		"empty body":     func(e *store.Entry) { e.Body = nil },
		"swapped fields": func(e *store.Entry) { e.Stream, e.Kind = e.Kind, e.Stream },
		"field in field": func(e *store.Entry) { e.Stream, e.Kind = "ab\nkind 2:cd", "" },
	}
	seen := map[[32]byte]string{store.HashOf(base): "the base"}
	for name, change := range others {
		e := base
		change(&e)
		h := store.HashOf(e)
		if before, taken := seen[h]; taken {
			t.Errorf("%s has the hash of %s", name, before)
		}
		seen[h] = name
	}
	// The set of fields is fixed: a new one must find its way into the form.
	if n := reflect.TypeFor[store.Entry]().NumField(); n != 7 {
		t.Errorf("an entry has %d fields, the form knows 7 (with Hash)", n)
	}
}

func TestParseFormRefuses(t *testing.T) {
	good := golden[0].form
	for name, form := range map[string]string{
		"nothing":               "",
		"another version":       strings.Replace(good, "entry/1", "entry/2", 1),
		"a leading zero":        strings.Replace(good, "number 1", "number 01", 1),
		"a sign":                strings.Replace(good, "number 1", "number +1", 1),
		"no digits":             strings.Replace(good, "number 1", "number ", 1),
		"a number over 64 bits": strings.Replace(good, "number 1", "number 18446744073709551616", 1),
		"very many digits":      strings.Replace(good, "number 1", "number "+strings.Repeat("9", 400), 1),
		"a version over 31":     strings.Replace(good, "version 1", "version 2147483648", 1),
		"capital hexadecimals":  strings.Replace(good, "prev 0", "prev A", 1),
		"a short hash":          strings.Replace(good, "prev 00", "prev ", 1),
		"a length too long":     strings.Replace(good, "body 9:", "body 99:", 1),
		"a length too short":    strings.Replace(good, "body 9:", "body 8:", 1),
		"a tail":                good + "\n",
		"a missing end":         strings.TrimSuffix(good, "\n"),
		"a carriage return":     strings.ReplaceAll(good, "\n", "\r\n"),
	} {
		if e, err := store.ParseForm([]byte(form)); err == nil {
			t.Errorf("%s was read as %+v", name, e)
		}
	}
}

// What is read is what would be written: one entry, one form.
func FuzzParseForm(f *testing.F) {
	for _, g := range golden {
		f.Add([]byte(g.form))
	}
	f.Fuzz(func(t *testing.T, form []byte) {
		e, err := store.ParseForm(form)
		if err != nil {
			return
		}
		if again := store.AppendForm(nil, e); !bytes.Equal(again, form) {
			t.Errorf("%q was read and is written as %q", form, again)
		}
		if e.Hash != store.HashOf(e) {
			t.Errorf("hash %x, want %x", e.Hash, store.HashOf(e))
		}
	})
}

func TestLimits(t *testing.T) {
	long := func(n int) string { return strings.Repeat("x", n) }
	ok := store.Draft{Stream: long(store.MaxName), Kind: long(store.MaxName), Version: 1<<31 - 1, Body: make([]byte, store.MaxBody)}
	if err := ok.Check(); err != nil {
		t.Errorf("a draft at every limit: %v", err)
	}
	for name, spoil := range map[string]func(*store.Draft){
		"long stream":  func(d *store.Draft) { d.Stream += "x" },
		"long kind":    func(d *store.Draft) { d.Kind += "x" },
		"no kind":      func(d *store.Draft) { d.Kind = "" },
		"version 0":    func(d *store.Draft) { d.Version = 0 },
		"version -1":   func(d *store.Draft) { d.Version = -1 },
		"large body":   func(d *store.Draft) { d.Body = make([]byte, store.MaxBody+1) },
		"version 2^31": func(d *store.Draft) { d.Version++ },
	} {
		d := ok
		spoil(&d)
		if err := d.Check(); !errors.Is(err, store.ErrInvalid) {
			t.Errorf("%s: %v, want ErrInvalid", name, err)
		}
	}
	for _, err := range []error{
		store.CheckTable(""), store.CheckTable(long(store.MaxName + 1)), store.CheckTable("\xff"),
		store.CheckPair("", nil), store.CheckPair(long(store.MaxKey+1), nil),
		store.CheckPair("k", make([]byte, store.MaxBody+1)),
	} {
		if !errors.Is(err, store.ErrInvalid) {
			t.Errorf("got %v, want ErrInvalid", err)
		}
	}
	if err := errors.Join(store.CheckTable(long(store.MaxName)), store.CheckPair(long(store.MaxKey), make([]byte, store.MaxBody))); err != nil {
		t.Errorf("a table at every limit: %v", err)
	}
}
