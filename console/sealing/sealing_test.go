// SPDX-License-Identifier: Apache-2.0

package sealing

import (
	"bytes"
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"errors"
	mrand "math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"

	"tallyhood/store"
	"tallyhood/store/memory"
)

// ring returns a ring over a store, and the store.
func ring(t testing.TB) (*Ring, *memory.Store) {
	t.Helper()
	s := memory.New()
	return NewRing(s.Table(Table), rand.Reader), s
}

// person makes a key for a person and commits it.
func person(t testing.TB, r *Ring, s store.Store, id string) *Key {
	t.Helper()
	k, pair, err := r.New(context.Background(), id)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Commit(context.Background(), nil, []store.Pair{pair}); err != nil {
		t.Fatal(err)
	}
	return k
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	raw, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func TestSealedFactsOpenForTheirPersonAndKindOnly(t *testing.T) {
	ctx := context.Background()
	r, s := ring(t)
	anna := person(t, r, s, "p-23456789")
	person(t, r, s, "p-bcdfghjk")
	text := []byte("Anna Wójcik, 4711")
	sealed, err := anna.Seal("person_added", text)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := r.Open(ctx, "p-23456789", "person_added", sealed); err != nil || !bytes.Equal(got, text) {
		t.Fatalf("opened %q, %v", got, err)
	}
	for _, at := range [][2]string{{"p-bcdfghjk", "person_added"}, {"p-23456789", "run_opened"}, {"p-23456789", "person_adde"}} {
		if got, err := r.Open(ctx, at[0], at[1], sealed); !errors.Is(err, ErrSpoilt) || got != nil {
			t.Errorf("as %s of %s it opened to %q, %v", at[1], at[0], got, err)
		}
	}
	again, err := r.Seal(ctx, "p-23456789", "person_added", text)
	if err != nil || again == sealed {
		t.Errorf("sealed twice, the texts are equal or %v", err)
	}
}

func TestDestroyedKeyErases(t *testing.T) {
	ctx := context.Background()
	r, s := ring(t)
	k := person(t, r, s, "p-23456789")
	sealed, err := k.Seal("person_added", []byte("Anna"))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := r.New(ctx, "p-23456789"); !errors.Is(err, ErrExists) {
		t.Errorf("a second key for the same person: %v", err)
	}
	if _, err := s.Commit(ctx, nil, []store.Pair{r.Destroy("p-23456789")}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Open(ctx, "p-23456789", "person_added", sealed); !errors.Is(err, ErrErased) {
		t.Errorf("open after erasure: %v", err)
	}
	if _, err := r.Seal(ctx, "p-23456789", "person_added", nil); !errors.Is(err, ErrErased) {
		t.Errorf("seal after erasure: %v", err)
	}
	// A new key under the same id opens nothing of the old one.
	person(t, r, s, "p-23456789")
	if _, err := r.Open(ctx, "p-23456789", "person_added", sealed); !errors.Is(err, ErrSpoilt) {
		t.Errorf("open with a later key: %v", err)
	}
}

// Every bit of a sealed text, and every cut of it.
func TestEveryChangedBitSpoils(t *testing.T) {
	r, s := ring(t)
	k := person(t, r, s, "p-23456789")
	sealed, err := k.Seal("person_added", []byte("Anna Wójcik"))
	if err != nil {
		t.Fatal(err)
	}
	raw, err := base64.StdEncoding.DecodeString(sealed)
	if err != nil {
		t.Fatal(err)
	}
	for i := range len(raw) * 8 {
		raw[i/8] ^= 1 << (i % 8)
		if _, err := k.Open("person_added", base64.StdEncoding.EncodeToString(raw)); !errors.Is(err, ErrSpoilt) {
			t.Fatalf("bit %d changed: %v", i, err)
		}
		raw[i/8] ^= 1 << (i % 8)
	}
	for n := range len(sealed) {
		for _, text := range []string{sealed[:n], sealed[:n] + "\n" + sealed[n:], sealed[:n] + "=" + sealed[n:]} {
			if _, err := k.Open("person_added", text); !errors.Is(err, ErrSpoilt) {
				t.Fatalf("%q: %v", text, err)
			}
		}
	}
}

// Test case 16 of "The Galois/Counter Mode of Operation (GCM)", McGrew and
// Viega, appendix B: AES-256, 96-bit nonce, additional data. NIST SP 800-38D
// specifies the same mode.
func TestPublishedVectorOfGCM(t *testing.T) {
	key := unhex(t, "feffe9928665731c6d6a8f9467308308feffe9928665731c6d6a8f9467308308")
	nonce := unhex(t, "cafebabefacedbaddecaf888")
	plain := unhex(t, "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a72"+
		"1c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39")
	additional := unhex(t, "feedfacedeadbeeffeedfacedeadbeefabaddad2")
	want := unhex(t, "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa"+
		"8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662"+
		"76fc6ece0f4e1768cddf8853bb2d551b")
	k, err := newKey("p-23456789", key, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := k.aead.Seal(nil, nonce, plain, additional); !bytes.Equal(got, want) {
		t.Errorf("sealed to %x, published is %x", got, want)
	}
	if got, err := k.aead.Open(nil, nonce, want, additional); err != nil || !bytes.Equal(got, plain) {
		t.Errorf("opened to %x, %v", got, err)
	}
}

// The form on disk, for ever: what this key sealed with this nonce has to open
// in every later version.
func TestKeptForm(t *testing.T) {
	key := bytes.Repeat([]byte{7}, 32)
	nonce := bytes.Repeat([]byte{9}, 12)
	s := memory.New()
	r := NewRing(s.Table(Table), bytes.NewReader(append(bytes.Clone(key), nonce...)))
	k, pair, err := r.New(context.Background(), "p-23456789")
	if err != nil {
		t.Fatal(err)
	}
	if want := "tallyhood.key/1 aes-256-gcm BwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwc=\n"; string(pair.Value) != want || pair.Table != "keys" || pair.Key != "p-23456789" || pair.Delete {
		t.Errorf("the pair of a new key is %+v, value %q", pair, pair.Value)
	}
	sealed, err := k.Seal("person_added", []byte(`{"name":"Anna"}`))
	if err != nil {
		t.Fatal(err)
	}
	// The same by the library alone, written out.
	block, err := aes.NewCipher(key)
	if err != nil {
		t.Fatal(err)
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		t.Fatal(err)
	}
	want := gcm.Seal(bytes.Clone(nonce), nonce, []byte(`{"name":"Anna"}`), []byte("tallyhood.sealed/1\nperson_added\np-23456789"))
	if sealed != base64.StdEncoding.EncodeToString(want) {
		t.Errorf("sealed as %s, by the library %x", sealed, want)
	}
	const kept = "CQkJCQkJCQkJCQkJ"
	if !strings.HasPrefix(sealed, kept) {
		t.Errorf("the nonce does not stand first: %s", sealed)
	}
}

func TestLimits(t *testing.T) {
	ctx := context.Background()
	r, s := ring(t)
	for _, id := range []string{"", "p-", "p-2345678", "p-234567890", "q-23456789", "p-2345678\n", "p-2345678A", "p-234567é"} {
		if _, _, err := r.New(ctx, id); !errors.Is(err, ErrInvalid) {
			t.Errorf("New(%q): %v", id, err)
		}
		if _, err := r.Key(ctx, id); !errors.Is(err, ErrInvalid) {
			t.Errorf("Key(%q): %v", id, err)
		}
	}
	k := person(t, r, s, "p-23456789")
	for _, kind := range []string{"", "a\nb", strings.Repeat("a", 256)} {
		if _, err := k.Seal(kind, nil); !errors.Is(err, ErrInvalid) {
			t.Errorf("Seal of kind %q: %v", kind, err)
		}
	}
	if _, err := k.Seal("a", make([]byte, MaxPlain+1)); !errors.Is(err, ErrInvalid) {
		t.Errorf("Seal of too much: %v", err)
	}
	sealed, err := k.Seal("a", make([]byte, MaxPlain))
	if err != nil || len(sealed) > store.MaxBody {
		t.Fatalf("the most that is sealed: %d bytes, %v", len(sealed), err)
	}
	if got, err := k.Open("a", sealed); err != nil || len(got) != MaxPlain {
		t.Errorf("the most that is sealed opens to %d bytes, %v", len(got), err)
	}
	for _, value := range []string{"", "tallyhood.key/1 aes-256-gcm AAAA\n", "tallyhood.key/2 x\n", "tallyhood.key/1 aes-256-gcm BwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwc="} {
		if err := s.Table(Table).Put(ctx, "p-23456789", []byte(value)); err != nil {
			t.Fatal(err)
		}
		if _, err := r.Key(ctx, "p-23456789"); !errors.Is(err, ErrSpoilt) {
			t.Errorf("kept key %q: %v", value, err)
		}
	}
}

func TestNoRandomnessNoKey(t *testing.T) {
	broken := errors.New("no randomness")
	r := NewRing(memory.New().Table(Table), iotest.ErrReader(broken))
	if k, _, err := r.New(context.Background(), "p-23456789"); !errors.Is(err, broken) || k != nil {
		t.Errorf("New: %v, %v", k, err)
	}
	k, err := newKey("p-23456789", make([]byte, 32), iotest.ErrReader(broken))
	if err != nil {
		t.Fatal(err)
	}
	if sealed, err := k.Seal("a", nil); !errors.Is(err, broken) || sealed != "" {
		t.Errorf("Seal: %q, %v", sealed, err)
	}
	if id, err := NewPerson(iotest.ErrReader(broken)); !errors.Is(err, broken) || id != "" {
		t.Errorf("NewPerson: %q, %v", id, err)
	}
}

// All signs are as likely: chi squared over 28 signs, 27 degrees of freedom;
// 99.9 % of fair draws stay below 55.5. The source is seeded, so the figure is
// the same at each run.
func TestPersonsIDs(t *testing.T) {
	random := mrand.NewChaCha8([32]byte{1})
	count, seen := map[rune]int{}, map[string]bool{}
	const ids = 20_000
	for range ids {
		id, err := NewPerson(random)
		if err != nil {
			t.Fatal(err)
		}
		if err := CheckPerson(id); err != nil {
			t.Fatal(err)
		}
		for _, c := range id[2:] {
			count[c]++
		}
		seen[id] = true
	}
	if len(seen) != ids || len(count) != len(signs) || strings.ContainsAny(signs, "aeiou01l") {
		t.Errorf("%d ids differ of %d, with %d signs", len(seen), ids, len(count))
	}
	chi, expect := 0.0, float64(ids*personSize)/float64(len(signs))
	for _, n := range count {
		chi += (float64(n) - expect) * (float64(n) - expect) / expect
	}
	if chi > 55.5 {
		t.Errorf("the signs are not as likely as one another: chi squared %.1f", chi)
	}
}

// Nothing but what was sealed opens, whatever is given.
func FuzzOpen(f *testing.F) {
	r, s := ring(f)
	k := person(f, r, s, "p-23456789")
	for _, plain := range []string{"", "Anna", strings.Repeat("x", 300)} {
		sealed, err := k.Seal("person_added", []byte(plain))
		if err != nil {
			f.Fatal(err)
		}
		f.Add("person_added", sealed)
		f.Add("run_opened", sealed)
	}
	f.Add("", "")
	f.Add("a", "====")
	f.Fuzz(func(t *testing.T, kind, sealed string) {
		plain, err := k.Open(kind, sealed)
		if err != nil {
			if plain != nil || !errors.Is(err, ErrSpoilt) && !errors.Is(err, ErrInvalid) {
				t.Fatalf("%q, %v", plain, err)
			}
			return
		}
		if kind != "person_added" {
			t.Fatalf("opened under kind %q", kind)
		}
		// What opens has one text only.
		raw, err := base64.StdEncoding.DecodeString(sealed)
		if err != nil || base64.StdEncoding.EncodeToString(raw) != sealed {
			t.Fatalf("%q opens as well", sealed)
		}
	})
}

func FuzzSeal(f *testing.F) {
	r, s := ring(f)
	k := person(f, r, s, "p-23456789")
	f.Add("person_added", []byte("Anna"))
	f.Add("a", []byte{})
	f.Fuzz(func(t *testing.T, kind string, plain []byte) {
		sealed, err := k.Seal(kind, plain)
		if err != nil {
			if !errors.Is(err, ErrInvalid) {
				t.Fatal(err)
			}
			return
		}
		got, err := k.Open(kind, sealed)
		if err != nil || !bytes.Equal(got, plain) {
			t.Fatalf("%q came back as %q, %v", plain, got, err)
		}
	})
}

func BenchmarkSeal(b *testing.B) {
	r, s := ring(b)
	k := person(b, r, s, "p-23456789")
	plain := make([]byte, 200)
	for b.Loop() {
		if _, err := k.Seal("person_added", plain); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkOpen includes the look-up of the key.
func BenchmarkOpen(b *testing.B) {
	r, s := ring(b)
	k := person(b, r, s, "p-23456789")
	sealed, err := k.Seal("person_added", make([]byte, 200))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := r.Open(context.Background(), "p-23456789", "person_added", sealed); err != nil {
			b.Fatal(err)
		}
	}
}
