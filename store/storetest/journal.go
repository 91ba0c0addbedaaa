// SPDX-License-Identifier: Apache-2.0

package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"tallyhood/store"
)

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
