// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/iotest"

	"tallyhood/store/memory"
)

// The form of a signed head, for ever. The signature is recomputed from the
// parts, by crypto/ed25519 alone.
func TestKeptFormOfAHead(t *testing.T) {
	s := memory.New()
	fill(t, s, 3)
	h := sign(t, New(s, key(t, 1)))
	const text = "tallyhood.head/1\n3\n%s\n2026-03-01T09:30:00Z confirmed\n"
	want := fmt.Sprintf(text, h.Root)
	body, rest, ok := strings.Cut(string(h.Note), "\n\n")
	if !ok || body+"\n" != want {
		t.Fatalf("the note is %q", h.Note)
	}
	coded, ok := strings.CutPrefix(rest, "— tallyhood/harrowgate-1 ")
	if !ok {
		t.Fatalf("the signature line is %q", rest)
	}
	sig, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(coded, "\n"))
	if err != nil || len(sig) != 4+64 {
		t.Fatalf("the signature is %q", coded)
	}
	public := strings.SplitN(key(t, 1).Verifier().String(), "+", 3)
	raw, err := base64.StdEncoding.DecodeString(public[2])
	if err != nil || !ed25519.Verify(raw[1:], []byte(want), sig[4:]) {
		t.Errorf("crypto/ed25519 does not take the signature: %v", err)
	}
}

// Every byte of a signed head, changed in three ways, cut at every place, and
// with bytes added.
func TestEveryChangedByteOfAHead(t *testing.T) {
	s := memory.New()
	fill(t, s, 3)
	h := sign(t, New(s, key(t, 1)))
	v := key(t, 1).Verifier()
	if got, err := OpenHead(h.Note, v); err != nil || got.Head != h.Head {
		t.Fatalf("%+v, %v", got, err)
	}
	kinds := []error{ErrForm, ErrSignature, ErrOtherKey, ErrNewer}
	named := func(err error) bool {
		for _, k := range kinds {
			if errors.Is(err, k) {
				return true
			}
		}
		return false
	}
	for i := range h.Note {
		for _, x := range []byte{0x01, 0x20, 0x80} {
			bad := bytes.Clone(h.Note)
			bad[i] ^= x
			if got, err := OpenHead(bad, v); !named(err) {
				t.Fatalf("byte %d: %+v, %v", i, got.Head, err)
			}
		}
		if _, err := OpenHead(h.Note[:i], v); !named(err) {
			t.Fatalf("cut at %d: %v", i, err)
		}
	}
	for _, more := range []string{"\n", "x", "— a AAAAAAAA\n"} {
		if _, err := OpenHead(append(bytes.Clone(h.Note), more...), v); !named(err) {
			t.Errorf("with %q: %v", more, err)
		}
	}
	if _, err := OpenHead(h.Note, key(t, 2).Verifier()); !errors.Is(err, ErrOtherKey) {
		t.Errorf("with another box's key: %v", err)
	}
}

// One head has one text.
func TestOtherTextsOfAHead(t *testing.T) {
	good := Head{Size: 3, Wall: wall, Quality: "confirmed"}.Text()
	if _, err := ParseHead(good); err != nil {
		t.Fatal(err)
	}
	for _, change := range [][2]string{
		{"09:30:00Z", "10:30:00+01:00"}, {"09:30:00Z", "09:30:00.0Z"}, {"09:30:00Z", "09:30:00+00:00"},
		{"\n3\n", "\n03\n"}, {"\n3\n", "\n+3\n"}, {" confirmed", "  confirmed"}, {"confirmed\n", "confirmed"}, {"confirmed\n", "confirmed\n\n"}, {"/1\n", "/01\n"},
	} {
		if text := strings.Replace(good, change[0], change[1], 1); text == good {
			t.Fatalf("%q is not in it", change[0])
		} else if h, err := ParseHead(text); !errors.Is(err, ErrForm) {
			t.Errorf("%q reads as %+v, %v", text, h, err)
		}
	}
	if _, err := ParseHead(strings.Replace(good, "/1\n", "/2\n", 1)); !errors.Is(err, ErrNewer) {
		t.Errorf("a later form: %v", err)
	}
}

func FuzzParseHead(f *testing.F) {
	f.Add(Head{Size: 1, Wall: wall, Quality: "unset"}.Text())
	f.Add("tallyhood.head/2\n1\n\n\n")
	f.Fuzz(func(t *testing.T, text string) {
		if h, err := ParseHead(text); err == nil && h.Text() != text {
			t.Fatalf("%q reads as %q", text, h.Text())
		}
	})
}

func FuzzOpenHead(f *testing.F) {
	s := memory.New()
	fill(f, s, 3)
	h := sign(f, New(s, key(f, 1)))
	v := key(f, 1).Verifier()
	f.Add(h.Note)
	f.Add([]byte("a\n\n— b AAAA\n"))
	f.Fuzz(func(t *testing.T, msg []byte) {
		if got, err := OpenHead(msg, v); err == nil && (got.Head != h.Head || !bytes.Equal(msg, h.Note)) {
			t.Fatalf("%q opens", msg)
		}
	})
}

func TestKeys(t *testing.T) {
	for n := range byte(50) { // some have a plus sign in the key itself
		k, err := ParseSigner(key(t, n).Secret())
		if err != nil || k.Verifier().String() != key(t, n).Verifier().String() {
			t.Fatalf("key %d: %v", n, err)
		}
	}
	k := key(t, 1)
	again, err := ParseSigner(k.Secret())
	if err != nil || again.Verifier().String() != k.Verifier().String() || again.Verifier().Box() != "harrowgate-1" {
		t.Fatalf("%v, %v", again, err)
	}
	if v, err := ParseVerifier(" " + k.Verifier().String() + "\n"); err != nil || v.ID() != k.Verifier().ID() {
		t.Errorf("%v, %v", v, err)
	}
	coded := strings.SplitN(strings.TrimSpace(string(k.Secret())), "+", 5)[4]
	for _, f := range []string{"%v", "%+v", "%#v", "%s"} {
		if text := fmt.Sprintf(f, k); strings.Contains(text, coded) {
			t.Errorf("%s shows the key", f)
		}
	}
	for _, bad := range []string{"", "x", k.Verifier().String(), strings.Replace(string(k.Secret()), "tallyhood/", "other/", 1), string(k.Secret()) + "\n"} {
		if _, err := ParseSigner([]byte(bad)); !errors.Is(err, ErrForm) || strings.Contains(err.Error(), coded) {
			t.Errorf("%d bytes read as a key: %v", len(bad), err)
		}
	}
	for _, bad := range []string{"", "a+b+c", strings.Replace(k.Verifier().String(), "1+", "2+", 1)} {
		if _, err := ParseVerifier(bad); !errors.Is(err, ErrForm) {
			t.Errorf("%q reads as a public key: %v", bad, err)
		}
	}
	for _, box := range []string{"", "A", "a b", "a+b", "ä", strings.Repeat("a", 41)} {
		if _, err := NewSigner(iotest.ErrReader(errors.New("not asked")), box); !errors.Is(err, ErrForm) {
			t.Errorf("box %q: %v", box, err)
		}
	}
	broken := errors.New("no randomness")
	if _, err := NewSigner(iotest.ErrReader(broken), "a"); !errors.Is(err, broken) {
		t.Errorf("without randomness: %v", err)
	}
}
