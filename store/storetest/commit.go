// SPDX-License-Identifier: Apache-2.0

package storetest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"tallyhood/store"
)

// pairs reads a whole table through Range, in steps of so many.
func pairs(t *testing.T, s store.Store, table, prefix string, step int) []string {
	t.Helper()
	var out []string
	for after := ""; ; {
		n := 0
		err := s.Table(table).Range(t.Context(), prefix, after, step, func(key string, value []byte) error {
			out = append(out, key+"="+string(value))
			after = key
			n++
			return nil
		})
		if err != nil {
			t.Fatalf("range: %v", err)
		}
		if n > step {
			t.Fatalf("range gave %d pairs, at most %d were asked for", n, step)
		}
		if n < step {
			return out
		}
	}
}

func put(table, key, value string) store.Pair {
	return store.Pair{Table: table, Key: key, Value: []byte(value)}
}

func gone(table, key string) store.Pair { return store.Pair{Table: table, Key: key, Delete: true} }

func commit(t *testing.T, c contract) {
	s := c.fresh(t)
	entries, err := s.Commit(t.Context(), []store.Draft{draft("a", "k", "1"), draft("b", "k", "2")},
		[]store.Pair{put("x", "one", "1"), put("y", "one", "other table"), put("x", "two", "first"), put("x", "two", "second"), gone("x", "never there"), gone("no table", "k")})
	if err != nil || len(entries) != 2 {
		t.Fatalf("commit: %d entries, %v", len(entries), err)
	}
	same(t, "what was committed", All(t, s), entries)
	if got := pairs(t, s, "x", "", 10); !slices.Equal(got, []string{"one=1", "two=second"}) {
		t.Errorf("table x: %v", got)
	}
	if entries, err := s.Commit(t.Context(), nil, []store.Pair{gone("x", "one"), put("x", "three", ""), gone("x", "two"), put("x", "two", "again")}); err != nil || len(entries) != 0 {
		t.Errorf("commit of pairs alone: %v, %v", entries, err)
	}
	if got := pairs(t, s, "x", "", 1); !slices.Equal(got, []string{"three=", "two=again"}) {
		t.Errorf("table x: %v", got)
	}
	if _, err := s.Table("x").Get(t.Context(), "one"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("a deleted key: %v", err)
	}
	// All or none: one bad pair or draft, and nothing of it is written.
	before := All(t, s)
	for _, bad := range []error{
		err2(s.Commit(t.Context(), []store.Draft{draft("a", "k", "x")}, []store.Pair{put("x", "four", "4"), put("", "k", "v")})),
		err2(s.Commit(t.Context(), []store.Draft{draft("a", "", "no kind")}, []store.Pair{put("x", "four", "4")})),
		err2(s.Commit(t.Context(), nil, []store.Pair{put("x", "four", "4"), gone("x", "")})),
	} {
		if !errors.Is(bad, store.ErrInvalid) {
			t.Errorf("bad commit: %v, want ErrInvalid", bad)
		}
	}
	same(t, "after refusals", All(t, s), before)
	if got := pairs(t, s, "x", "", 3); len(got) != 2 {
		t.Errorf("after refusals table x: %v", got)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Commit(ended, nil, []store.Pair{put("x", "five", "5")}); !errors.Is(err, context.Canceled) {
		t.Errorf("commit with an ended context: %v", err)
	}
	// The last pair of a table goes, and the table fills again.
	if _, err := s.Commit(t.Context(), nil, []store.Pair{gone("x", "three"), gone("x", "two")}); err != nil {
		t.Fatal(err)
	}
	if got := pairs(t, s, "x", "", 3); len(got) != 0 {
		t.Errorf("an emptied table has %v", got)
	}
	if err := s.Table("x").Put(t.Context(), "back", []byte("again")); err != nil {
		t.Fatal(err)
	}
	s = c.reopen(s)
	defer s.Close()
	if got := pairs(t, s, "x", "", 3); !slices.Equal(got, []string{"back=again"}) {
		t.Errorf("opened again, table x: %v", got)
	}
}

func err2(_ []store.Entry, err error) error { return err }

func ranges(t *testing.T, c contract) {
	s := c.fresh(t)
	var changes []store.Pair
	for i := range 3000 {
		changes = append(changes, put("people", fmt.Sprintf("p%05d", (i*701)%3000), strings.Repeat("v", i%40)))
	}
	if _, err := s.Commit(t.Context(), nil, changes); err != nil {
		t.Fatal(err)
	}
	all := pairs(t, s, "people", "", 10_000)
	if len(all) != 3000 || !slices.IsSorted(all) {
		t.Fatalf("%d pairs, in order: %v", len(all), slices.IsSorted(all))
	}
	for _, step := range []int{7, 999, 3000} {
		if got := pairs(t, s, "people", "", step); !slices.Equal(got, all) {
			t.Errorf("in steps of %d: %d pairs", step, len(got))
		}
	}
	if got := pairs(t, s, "people", "p0012", 3); len(got) != 10 || !strings.HasPrefix(got[0], "p00120=") {
		t.Errorf("with a prefix: %v", got)
	}
	count := func(prefix, after string, limit int) (n int, first string) {
		err := s.Table("people").Range(t.Context(), prefix, after, limit, func(key string, _ []byte) error {
			if n++; n == 1 {
				first = key
			}
			return nil
		})
		if err != nil {
			t.Error(err)
		}
		return n, first
	}
	for _, q := range []struct {
		prefix, after string
		limit, want   int
		first         string
	}{
		{"", "p02990", 100, 9, "p02991"}, {"", "p02990x", 100, 9, "p02991"}, {"p001", "p00050", 5, 5, "p00100"},
		{"p001", "p00250", 5, 0, ""}, {"", "", 0, 0, ""}, {"", "", -3, 0, ""}, {"q", "", 5, 0, ""}, {"", "p02999", 5, 0, ""},
	} {
		if n, first := count(q.prefix, q.after, q.limit); n != q.want || first != q.first {
			t.Errorf("prefix %q after %q, %d: %d from %q, want %d from %q", q.prefix, q.after, q.limit, n, first, q.want, q.first)
		}
	}
	// Some of them, asked for in any order, many times over, and some that are
	// not there; one has an empty value.
	asked := []string{"p02999", "q", "p00000", "p00040", "", "p00040"}
	for i := range 700 {
		asked = append(asked, fmt.Sprintf("p%05d", 1000+i*3))
	}
	var some []string
	take := func(key string, value []byte) error {
		some = append(some, key+"="+string(value))
		clear(value)
		return nil
	}
	if err := s.Table("people").Some(t.Context(), asked, take); err != nil {
		t.Error(err)
	}
	want := slices.DeleteFunc(slices.Clone(all), func(pair string) bool { return !slices.Contains(asked, strings.SplitN(pair, "=", 2)[0]) })
	if !slices.Equal(some, want) {
		t.Errorf("some: %d pairs, want %d", len(some), len(want))
	}
	if err := s.Table("nothing here").Some(t.Context(), asked, take); err != nil {
		t.Errorf("some of a table that is not there: %v", err)
	}
	if err := s.Table("").Some(t.Context(), nil, take); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("some of a table without a name: %v", err)
	}
	// The callback may use the store, and its error ends the range.
	stop := errors.New("enough")
	n := 0
	err := s.Table("people").Range(t.Context(), "", "", 3000, func(key string, value []byte) error {
		if n++; n == 5 {
			return stop
		}
		clear(value)
		return s.Table("seen").Put(t.Context(), key, nil)
	})
	if !errors.Is(err, stop) || n != 5 || len(pairs(t, s, "seen", "", 10)) != 4 {
		t.Errorf("stopped after %d: %v", n, err)
	}
	if got := pairs(t, s, "people", "", 3000); !slices.Equal(got, all) {
		t.Error("a callback changed what is stored")
	}
	if err := s.Table("").Range(t.Context(), "", "", 1, nil); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("a table without a name: %v", err)
	}
}

// Random changes against a map, compacted now and then.
func changes(t *testing.T, c contract) {
	s := c.fresh(t)
	r := rand.New(rand.NewPCG(5, 18))
	model := map[string]string{}
	for round := range 60 {
		var list []store.Pair
		var drafts []store.Draft
		for range r.IntN(120) {
			key := fmt.Sprintf("k%03d", r.IntN(400))
			if r.IntN(3) == 0 || round%15 == 14 {
				list = append(list, gone("t", key))
				delete(model, key)
			} else {
				value := strings.Repeat(fmt.Sprint(round), r.IntN(60))
				list = append(list, put("t", key, value))
				model[key] = value
			}
		}
		for range r.IntN(4) {
			drafts = append(drafts, draft(fmt.Sprint("s", r.IntN(9)), "k", "b"))
		}
		if _, err := s.Commit(t.Context(), drafts, list); err != nil {
			t.Fatal(err)
		}
		if round%20 == 7 {
			if err := s.Compact(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		var want []string
		for key, value := range model {
			want = append(want, key+"="+value)
		}
		slices.Sort(want)
		got := pairs(t, s, "t", "", 64)
		if slices.Sort(got); !slices.Equal(got, want) {
			t.Fatalf("round %d: %d pairs, want %d", round, len(got), len(want))
		}
	}
	All(t, s)
}

func compacts(t *testing.T, c contract) {
	s := c.fresh(t)
	for i := range 300 {
		if _, err := s.Commit(t.Context(), []store.Draft{draft(fmt.Sprint("run-", i%7), "k", strings.Repeat("b", i))}, []store.Pair{put("t", fmt.Sprint(i), strings.Repeat("v", 3*i))}); err != nil {
			t.Fatal(err)
		}
	}
	want, table := All(t, s), pairs(t, s, "t", "", 1000)
	if err := s.Compact(t.Context()); err != nil {
		t.Fatal(err)
	}
	same(t, "compacted", All(t, s), want)
	if got := pairs(t, s, "t", "", 1000); !slices.Equal(got, table) {
		t.Errorf("compacted, table t has %d pairs, want %d", len(got), len(table))
	}
	mustAppend(t, s, draft("run-3", "k", "it goes on"))
	if err := s.Compact(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := len(Stream(t, s, "run-3")); n != 44 {
		t.Errorf("%d entries in a stream, want 44", n)
	}
	s = c.reopen(s)
	if n := len(All(t, s)); n != 301 {
		t.Errorf("opened again: %d entries", n)
	}
	s.Close()
	if err := s.Compact(t.Context()); !errors.Is(err, store.ErrClosed) {
		t.Errorf("a closed store: %v", err)
	}
}
