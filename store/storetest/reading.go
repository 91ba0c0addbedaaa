// SPDX-License-Identifier: Apache-2.0

package storetest

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"tallyhood/store"
)

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
