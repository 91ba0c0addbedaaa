// SPDX-License-Identifier: Apache-2.0

// Package storetest is the contract of package store as tests. Every
// implementation runs it. It must not know how an implementation works.
package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"tallyhood/store"
)

// Run runs the contract. open returns an empty store of its own at each call;
// reopen closes a store and opens it again with what it held.
func Run(t *testing.T, open func() store.Store, reopen func(store.Store) store.Store) {
	c := contract{open, reopen}
	for _, test := range []struct {
		name string
		run  func(*testing.T, contract)
	}{
		{"Empty", empty},
		{"Append", appendReads},
		{"AppendAllOrNone", allOrNone},
		{"AppendOwnsNothing", ownsNothing},
		{"AppendEndedContext", endedContext},
		{"AppendAtOnce", atOnce},
		{"AppendLimits", limits},
		{"Read", read},
		{"ReadHoldsNothing", holdsNothing},
		{"ReadWhileAppending", readWhileAppending},
		{"Streams", streams},
		{"ManyStreams", manyStreams},
		{"Table", table},
		{"TableLimits", tableLimits},
		{"Reopen", reopens},
		{"Closed", closed},
		{"AnyOrder", anyOrder},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, c) })
	}
}

type contract struct {
	open   func() store.Store
	reopen func(store.Store) store.Store
}

// fresh opens an empty store that is closed when the test ends.
func (c contract) fresh(t *testing.T) store.Store {
	t.Helper()
	s := c.open()
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return s
}

func draft(stream, kind, body string) store.Draft {
	return store.Draft{Stream: stream, Kind: kind, Version: 1, Body: []byte(body)}
}

// mustAppend appends and fails the test if that fails.
func mustAppend(t *testing.T, s store.Store, drafts ...store.Draft) []store.Entry {
	t.Helper()
	entries, err := s.Append(t.Context(), drafts...)
	if err != nil {
		t.Fatalf("append: %v", err)
	}
	if len(entries) != len(drafts) {
		t.Fatalf("%d entries for %d drafts", len(entries), len(drafts))
	}
	return entries
}

// All reads the whole journal and fails the test unless it is a chain without
// holes that ends where Last says.
func All(t *testing.T, s store.Store) []store.Entry {
	t.Helper()
	var all []store.Entry
	var prev [32]byte
	err := s.Read(t.Context(), 1, func(e store.Entry) error {
		if e.Number != uint64(len(all)+1) || e.Prev != prev || e.Hash != store.HashOf(e) {
			return fmt.Errorf("entry %d out of place or not chained: %+v", len(all)+1, e)
		}
		prev = e.Hash
		all = append(all, e)
		return nil
	})
	if err != nil {
		t.Fatalf("read: %v", err)
	}
	if n, h := s.Last(); n != uint64(len(all)) || h != prev {
		t.Fatalf("last is %d %x, read until %d %x", n, h, len(all), prev)
	}
	return all
}

// Stream reads one stream.
func Stream(t *testing.T, s store.Store, name string) []store.Entry {
	t.Helper()
	var all []store.Entry
	err := s.ReadStream(t.Context(), name, func(e store.Entry) error {
		all = append(all, e)
		return nil
	})
	if err != nil {
		t.Fatalf("read stream %q: %v", name, err)
	}
	return all
}

func equal(a, b store.Entry) bool {
	return a.Number == b.Number && a.Stream == b.Stream && a.Kind == b.Kind && a.Version == b.Version &&
		bytes.Equal(a.Body, b.Body) && a.Prev == b.Prev && a.Hash == b.Hash
}

func same(t *testing.T, what string, got, want []store.Entry) {
	t.Helper()
	if !slices.EqualFunc(got, want, equal) {
		t.Errorf("%s:\n%s\nwant\n%s", what, numbers(got), numbers(want))
	}
}

func numbers(entries []store.Entry) string {
	var b strings.Builder
	for _, e := range entries {
		fmt.Fprintf(&b, "%d %q %q %d %d bytes %x\n", e.Number, e.Stream, e.Kind, e.Version, len(e.Body), e.Hash[:4])
	}
	return b.String()
}

func empty(t *testing.T, c contract) {
	s := c.fresh(t)
	if n, h := s.Last(); n != 0 || h != [32]byte{} {
		t.Errorf("last of an empty journal: %d %x", n, h)
	}
	if all := All(t, s); len(all) != 0 {
		t.Errorf("an empty journal holds %d entries", len(all))
	}
	if infos, err := s.Streams(t.Context(), 0, 10); err != nil || len(infos) != 0 {
		t.Errorf("streams of an empty journal: %v, %v", infos, err)
	}
	if entries, err := s.Append(t.Context()); err != nil || len(entries) != 0 {
		t.Errorf("append of nothing: %v, %v", entries, err)
	}
	if n, _ := s.Last(); n != 0 {
		t.Errorf("appending nothing left %d entries", n)
	}
}

func appendReads(t *testing.T, c contract) {
	s := c.fresh(t)
	want := mustAppend(t, s, draft("run-1", "began", `{}`))
	want = append(want, mustAppend(t, s,
		store.Draft{Stream: "run-1", Kind: "squeeze", Version: 3, Body: []byte("a\nb\x00c")},
		store.Draft{Kind: "note", Version: 1},
		draft("\xff\x00 any bytes", "squeeze", "x"))...)
	want = append(want, mustAppend(t, s, store.Draft{Stream: "run-1", Kind: "photo", Version: 1, Body: bytes.Repeat([]byte{7}, 100_000)})...)
	same(t, "what is read", All(t, s), want)
	for i, e := range want {
		if e.Number != uint64(i+1) {
			t.Errorf("entry %d has number %d", i+1, e.Number)
		}
	}
	if want[1].Version != 3 || want[1].Kind != "squeeze" || string(want[1].Body) != "a\nb\x00c" || want[2].Stream != "" || len(want[2].Body) != 0 {
		t.Errorf("fields changed: %+v", want)
	}
}

func allOrNone(t *testing.T, c contract) {
	s := c.fresh(t)
	mustAppend(t, s, draft("a", "k", "1"))
	if _, err := s.Append(t.Context(), draft("a", "k", "2"), draft("a", "", "no kind"), draft("a", "k", "3")); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("append with an unfit draft: %v, want ErrInvalid", err)
	}
	if all := All(t, s); len(all) != 1 {
		t.Errorf("%d entries after a refused append, want 1", len(all))
	}
	mustAppend(t, s, draft("a", "k", "4"))
	if all := All(t, s); len(all) != 2 || string(all[1].Body) != "4" {
		t.Errorf("the journal does not go on after a refusal: %s", numbers(all))
	}
}

func ownsNothing(t *testing.T, c contract) {
	s := c.fresh(t)
	body := []byte("before")
	entries := mustAppend(t, s, store.Draft{Stream: "a", Kind: "k", Version: 1, Body: body})
	copy(body, "AFTER!")
	if string(entries[0].Body) != "before" {
		t.Errorf("the returned entry shares the draft's body: %q", entries[0].Body)
	}
	copy(entries[0].Body, "AFTER!")
	for range 2 {
		read := All(t, s)
		if string(read[0].Body) != "before" {
			t.Errorf("the store shares a body with its caller: %q", read[0].Body)
		}
		copy(read[0].Body, "AFTER!")
	}
	value := []byte("before")
	settings := s.Table("settings")
	if err := settings.Put(t.Context(), "k", value); err != nil {
		t.Fatal(err)
	}
	copy(value, "AFTER!")
	for range 2 {
		got, err := settings.Get(t.Context(), "k")
		if err != nil || string(got) != "before" {
			t.Errorf("the table shares a value with its caller: %q, %v", got, err)
		}
		copy(got, "AFTER!")
	}
}

func endedContext(t *testing.T, c contract) {
	s := c.fresh(t)
	mustAppend(t, s, draft("a", "k", "1"))
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	never := func(store.Entry) error { return errors.New("called although the context had ended") }
	_, aerr := s.Append(ended, draft("a", "k", "2"))
	_, serr := s.Streams(ended, 0, 1)
	_, gerr := s.Table("t").Get(ended, "k")
	_, kerr := s.Table("t").Keys(ended, "k")
	for what, err := range map[string]error{
		"append": aerr, "streams": serr, "get": gerr, "keys": kerr,
		"read": s.Read(ended, 1, never), "read stream": s.ReadStream(ended, "a", never),
		"put": s.Table("t").Put(ended, "k", nil),
	} {
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%s with an ended context: %v", what, err)
		}
	}
	if all := All(t, s); len(all) != 1 {
		t.Errorf("an append with an ended context wrote: %s", numbers(all))
	}
	if _, err := s.Table("t").Get(t.Context(), "k"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("a put with an ended context wrote: %v", err)
	}
	during, cancel := context.WithCancel(t.Context())
	defer cancel()
	mustAppend(t, s, draft("a", "k", "2"), draft("a", "k", "3"))
	seen := 0
	if err := s.Read(during, 1, func(store.Entry) error { seen++; cancel(); return nil }); !errors.Is(err, context.Canceled) || seen != 1 {
		t.Errorf("read whose context ended at its first entry: %v after %d entries", err, seen)
	}
}

func atOnce(t *testing.T, c contract) {
	s := c.fresh(t)
	const callers, rounds = 20, 15
	var wg sync.WaitGroup
	errs := make([]error, callers)
	for i := range callers {
		wg.Go(func() {
			for round := range rounds {
				stream := fmt.Sprintf("stream-%d", i%5)
				entries, err := s.Append(t.Context(),
					draft(stream, "one", fmt.Sprint(i, round)), draft("", "two", fmt.Sprint(i, round)), draft(stream, "three", fmt.Sprint(i, round)))
				if err == nil && (len(entries) != 3 || entries[1].Number != entries[0].Number+1 || entries[2].Number != entries[0].Number+2) {
					err = fmt.Errorf("drafts of one append are not together: %s", numbers(entries))
				}
				if n, _ := s.Last(); err == nil && n < entries[2].Number {
					err = fmt.Errorf("last is %d, but %d was acknowledged", n, entries[2].Number)
				}
				if err == nil && round%5 == 0 {
					err = s.Table("t").Put(t.Context(), fmt.Sprint("key-", i), []byte(fmt.Sprint(round)))
				}
				if err != nil {
					errs[i] = err
					return
				}
			}
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	all := All(t, s)
	if len(all) != callers*rounds*3 {
		t.Fatalf("%d entries, want %d", len(all), callers*rounds*3)
	}
	for i := 0; i < len(all); i += 3 {
		if all[i].Kind != "one" || all[i+1].Kind != "two" || all[i+2].Kind != "three" ||
			!bytes.Equal(all[i].Body, all[i+1].Body) || !bytes.Equal(all[i].Body, all[i+2].Body) {
			t.Fatalf("drafts of two appends are mixed:\n%s", numbers(all[i:i+3]))
		}
	}
	checkStreams(t, s, all)
	keys, err := s.Table("t").Keys(t.Context(), "key-")
	if err != nil || len(keys) != callers {
		t.Errorf("%d keys of %d, %v", len(keys), callers, err)
	}
}

func limits(t *testing.T, c contract) {
	s := c.fresh(t)
	long := strings.Repeat("n", store.MaxName)
	want := mustAppend(t, s,
		store.Draft{Stream: long, Kind: long, Version: 1<<31 - 1, Body: bytes.Repeat([]byte("b"), store.MaxBody)},
		draft(long, "k", "small"), draft(long[1:], "k", ""))
	same(t, "entries at the limits", All(t, s), want)
	same(t, "the long stream", Stream(t, s, long), want[:2])
	for _, d := range []store.Draft{
		{Stream: long + "n", Kind: "k", Version: 1}, {Kind: long + "n", Version: 1}, {Kind: "k"},
		{Kind: "k", Version: -1}, {Kind: "k", Version: 1, Body: make([]byte, store.MaxBody+1)},
	} {
		if _, err := s.Append(t.Context(), d); !errors.Is(err, store.ErrInvalid) {
			t.Errorf("a draft beyond the limits: %v, want ErrInvalid", err)
		}
	}
	same(t, "entries after refusals", All(t, s), want)
}

func read(t *testing.T, c contract) {
	s := c.fresh(t)
	var want []store.Entry
	for i := range 300 {
		want = append(want, mustAppend(t, s, draft(fmt.Sprint("s", i%3), "k", strings.Repeat("b", i)))...)
	}
	collect := func(from uint64) []store.Entry {
		var got []store.Entry
		if err := s.Read(t.Context(), from, func(e store.Entry) error { got = append(got, e); return nil }); err != nil {
			t.Errorf("read from %d: %v", from, err)
		}
		return got
	}
	same(t, "from 0", collect(0), want)
	for _, from := range []uint64{1, 2, 128, 129, 130, 299, 300} {
		same(t, fmt.Sprint("from ", from), collect(from), want[from-1:])
	}
	for _, from := range []uint64{301, 1 << 40, 1<<64 - 1} {
		same(t, fmt.Sprint("from ", from), collect(from), nil)
	}
	stop := errors.New("stop here")
	seen := 0
	stopAt := func(e store.Entry) error {
		if seen++; seen == 7 {
			return stop
		}
		return nil
	}
	if err := s.Read(t.Context(), 1, stopAt); err != stop || seen != 7 {
		t.Errorf("read returned %v after %d entries, want its caller's error after 7", err, seen)
	}
	seen = 0
	if err := s.ReadStream(t.Context(), "s1", stopAt); err != stop || seen != 7 {
		t.Errorf("read stream returned %v after %d entries, want its caller's error after 7", err, seen)
	}
}

// While f runs, the store can be used in every way.
func holdsNothing(t *testing.T, c contract) {
	s := c.fresh(t)
	mustAppend(t, s, draft("a", "k", "1"), draft("a", "k", "2"))
	use := func(store.Entry) error {
		if _, err := s.Append(t.Context(), draft("a", "more", "")); err != nil {
			return err
		}
		if err := s.Table("t").Put(t.Context(), "k", nil); err != nil {
			return err
		}
		if _, err := s.Streams(t.Context(), 0, 1); err != nil {
			return err
		}
		return s.ReadStream(t.Context(), "a", func(store.Entry) error { return nil })
	}
	if err := s.Read(t.Context(), 1, use); err != nil {
		t.Errorf("using the store inside read: %v", err)
	}
	if n, _ := s.Last(); n != 4 {
		t.Errorf("read went on to entries written after its beginning: last is %d, want 4", n)
	}
	if err := s.ReadStream(t.Context(), "a", use); err != nil {
		t.Errorf("using the store inside read stream: %v", err)
	}
	if n, _ := s.Last(); n != 8 {
		t.Errorf("read stream went on to entries written after its beginning: last is %d, want 8", n)
	}
	err := s.Read(t.Context(), 1, func(store.Entry) error { return s.Close() })
	if !errors.Is(err, store.ErrClosed) {
		t.Errorf("read after a close from inside: %v, want ErrClosed", err)
	}
}

func readWhileAppending(t *testing.T, c contract) {
	s := c.fresh(t)
	mustAppend(t, s, draft("a", "k", "first"))
	done := make(chan error, 1)
	go func() {
		for i := range 200 {
			if _, err := s.Append(t.Context(), draft(fmt.Sprint("s", i%10), "k", strings.Repeat("x", 50*(i%40)))); err != nil {
				done <- err
				return
			}
		}
		done <- nil
	}()
	for {
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
			if n := len(All(t, s)); n != 201 {
				t.Errorf("%d entries, want 201", n)
			}
			return
		default:
		}
		last, _ := s.Last()
		var n uint64
		if err := s.Read(t.Context(), 1, func(e store.Entry) error { n = e.Number; return nil }); err != nil || n < last {
			t.Fatalf("read while appending: %v, until %d of %d", err, n, last)
		}
		infos, err := s.Streams(t.Context(), 0, 20)
		if err != nil {
			t.Fatalf("streams while appending: %v", err)
		}
		for _, info := range infos {
			n := uint64(0)
			if err := s.ReadStream(t.Context(), info.Stream, func(e store.Entry) error { n = e.Number; return nil }); err != nil || n < info.Last {
				t.Fatalf("read of stream %q while appending: %v, until %d of %d", info.Stream, err, n, info.Last)
			}
		}
	}
}

// checkStreams compares streams and their lists with what all says.
func checkStreams(t *testing.T, s store.Store, all []store.Entry) {
	t.Helper()
	want := map[string][]store.Entry{"": nil, "unknown": nil}
	var infos []store.StreamInfo
	at := map[string]int{}
	for _, e := range all {
		want[e.Stream] = append(want[e.Stream], e)
		if e.Stream == "" {
			continue
		}
		if i, known := at[e.Stream]; known {
			infos[i].Last = e.Number
		} else {
			at[e.Stream] = len(infos)
			infos = append(infos, store.StreamInfo{Stream: e.Stream, First: e.Number, Last: e.Number})
		}
	}
	slices.Reverse(infos)
	for name, entries := range want {
		same(t, fmt.Sprintf("stream %q", name), Stream(t, s, name), entries)
	}
	for _, before := range []uint64{0, 1, 2, uint64(len(all)/2 + 1), uint64(len(all)), uint64(len(all) + 1), 1<<64 - 1} {
		below := infos
		if before > 0 {
			below = slices.DeleteFunc(slices.Clone(infos), func(i store.StreamInfo) bool { return i.First >= before })
		}
		for _, limit := range []int{-1, 0, 1, 2, len(infos), 1 << 30} {
			got, err := s.Streams(t.Context(), before, limit)
			want := below[:min(max(limit, 0), len(below))]
			if err != nil || !slices.Equal(got, want) {
				t.Errorf("streams below %d, at most %d: %v, %v, want %v", before, limit, got, err, want)
			}
		}
	}
}

func streams(t *testing.T, c contract) {
	s := c.fresh(t)
	mustAppend(t, s, draft("b", "k", "1"), draft("", "k", "2"), draft("a", "k", "3"))
	mustAppend(t, s, draft("b", "k", "4"), draft("c", "k", "5"), draft("a", "k", "6"), draft("", "k", "7"))
	checkStreams(t, s, All(t, s))
	got, err := s.Streams(t.Context(), 0, 10)
	want := []store.StreamInfo{{Stream: "c", First: 5, Last: 5}, {Stream: "a", First: 3, Last: 6}, {Stream: "b", First: 1, Last: 4}}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("streams: %v, %v, want %v", got, err, want)
	}
}

func manyStreams(t *testing.T, c contract) {
	s := c.fresh(t)
	for i := range 60 {
		var drafts []store.Draft
		for j := range 50 {
			name := fmt.Sprintf("stream %d of many", (i*i+j)%700)
			if j%20 == 0 {
				name = ""
			}
			drafts = append(drafts, draft(name, "k", fmt.Sprint(i, j)))
		}
		mustAppend(t, s, drafts...)
	}
	checkStreams(t, s, All(t, s))
}

func table(t *testing.T, c contract) {
	s := c.fresh(t)
	settings, people := s.Table("settings"), s.Table("people")
	if _, err := settings.Get(t.Context(), "volume"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("get from an empty table: %v, want ErrNotFound", err)
	}
	if keys, err := settings.Keys(t.Context(), ""); err != nil || len(keys) != 0 {
		t.Errorf("keys of an empty table: %v, %v", keys, err)
	}
	put := func(table store.Table, key, value string) {
		t.Helper()
		if err := table.Put(t.Context(), key, []byte(value)); err != nil {
			t.Fatalf("put %q: %v", key, err)
		}
	}
	expect := func(table store.Table, key, value string) {
		t.Helper()
		if got, err := table.Get(t.Context(), key); err != nil || string(got) != value {
			t.Errorf("get %q: %q, %v, want %q", key, got, err, value)
		}
	}
	put(settings, "volume", "7")
	put(settings, "volume", "8")
	put(settings, "voice", "")
	put(settings, "lang", strings.Repeat("long", 5000))
	put(settings, "v", "short")
	put(settings, "w\xff\xff", "any bytes")
	put(people, "volume", "another table")
	expect(settings, "volume", "8")
	expect(settings, "voice", "")
	expect(settings, "lang", strings.Repeat("long", 5000))
	expect(settings, "w\xff\xff", "any bytes")
	expect(people, "volume", "another table")
	expect(s.Table("people"), "volume", "another table")
	for _, missing := range []string{"vo", "volumes", "", "zzz"} {
		if _, err := settings.Get(t.Context(), missing); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("get %q: %v, want ErrNotFound", missing, err)
		}
	}
	for prefix, want := range map[string][]string{
		"": {"lang", "v", "voice", "volume", "w\xff\xff"}, "v": {"v", "voice", "volume"}, "vo": {"voice", "volume"},
		"volume": {"volume"}, "volumes": nil, "w\xff": {"w\xff\xff"}, "\xff": nil,
	} {
		if got, err := settings.Keys(t.Context(), prefix); err != nil || !slices.Equal(got, want) {
			t.Errorf("keys with %q: %q, %v, want %q", prefix, got, err, want)
		}
	}
	if n, _ := s.Last(); n != 0 {
		t.Errorf("tables are part of the journal: last is %d", n)
	}
	var want []string
	for i := range 500 {
		key := fmt.Sprintf("person-%03d", (i*37)%500)
		put(people, key, strings.Repeat(key, i%30))
		want = append(want, fmt.Sprintf("person-%03d", i))
	}
	if got, err := people.Keys(t.Context(), "person-"); err != nil || !slices.Equal(got, want) {
		t.Errorf("keys of 500 people: %d, %v", len(got), err)
	}
	for i := range 500 {
		key := fmt.Sprintf("person-%03d", (i*37)%500)
		expect(people, key, strings.Repeat(key, i%30))
	}
}

func tableLimits(t *testing.T, c contract) {
	s := c.fresh(t)
	long := strings.Repeat("n", store.MaxName)
	value := bytes.Repeat([]byte("v"), store.MaxBody)
	key := strings.Repeat("k", store.MaxKey)
	if err := s.Table(long).Put(t.Context(), key, value); err != nil {
		t.Fatalf("put at every limit: %v", err)
	}
	if got, err := s.Table(long).Get(t.Context(), key); err != nil || !bytes.Equal(got, value) {
		t.Errorf("get at every limit: %d bytes, %v", len(got), err)
	}
	for _, name := range []string{"", long + "n", "\xff"} {
		bad := s.Table(name)
		_, gerr := bad.Get(t.Context(), "k")
		_, kerr := bad.Keys(t.Context(), "k")
		for _, err := range []error{gerr, kerr, bad.Put(t.Context(), "k", nil)} {
			if !errors.Is(err, store.ErrInvalid) {
				t.Errorf("table %.10q: %v, want ErrInvalid", name, err)
			}
		}
	}
	for _, err := range []error{
		s.Table("t").Put(t.Context(), "", nil), s.Table("t").Put(t.Context(), key+"k", nil),
		s.Table("t").Put(t.Context(), "k", append(value, 'v')),
	} {
		if !errors.Is(err, store.ErrInvalid) {
			t.Errorf("put beyond the limits: %v, want ErrInvalid", err)
		}
	}
	mustAppend(t, s, draft("a", "k", "refusals do not stop the journal"))
}

func reopens(t *testing.T, c contract) {
	s := c.open()
	defer func() { s.Close() }()
	var want []store.Entry
	for round := range 4 {
		for i := range 40 {
			want = append(want, mustAppend(t, s, draft(fmt.Sprint("s", (round+i)%6), "k", strings.Repeat("x", i*i)))...)
		}
		if err := s.Table("t").Put(t.Context(), fmt.Sprint("round-", round), []byte("x")); err != nil {
			t.Fatal(err)
		}
		s = c.reopen(s)
		all := All(t, s)
		same(t, "what is there after opening again", all, want)
		checkStreams(t, s, all)
		if keys, err := s.Table("t").Keys(t.Context(), ""); err != nil || len(keys) != round+1 {
			t.Errorf("keys after opening again: %q, %v", keys, err)
		}
	}
}

func closed(t *testing.T, c contract) {
	s := c.open()
	mustAppend(t, s, draft("a", "k", "1"))
	for range 2 {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	}
	ignore := func(store.Entry) error { return nil }
	_, aerr := s.Append(t.Context(), draft("a", "k", "2"))
	_, nerr := s.Append(t.Context())
	_, serr := s.Streams(t.Context(), 0, 1)
	_, gerr := s.Table("t").Get(t.Context(), "k")
	_, kerr := s.Table("t").Keys(t.Context(), "")
	for what, err := range map[string]error{
		"append": aerr, "append of nothing": nerr, "streams": serr, "get": gerr, "keys": kerr,
		"read": s.Read(t.Context(), 1, ignore), "read past the end": s.Read(t.Context(), 9, ignore),
		"read stream": s.ReadStream(t.Context(), "a", ignore),
		"put":         s.Table("t").Put(t.Context(), "k", nil),
	} {
		if !errors.Is(err, store.ErrClosed) {
			t.Errorf("%s after close: %v, want ErrClosed", what, err)
		}
	}
	if n, _ := s.Last(); n != 1 {
		t.Errorf("last after close: %d, want 1", n)
	}
}
