// SPDX-License-Identifier: Apache-2.0

package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"tallyhood/store"
)

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
