// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"math/bits"
	mrand "math/rand/v2"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"tallyhood/store"
	"tallyhood/store/memory"
)

// borne takes any entry.
func borne(store.Entry) error { return nil }

// said is what a record says, before it is signed.
func said(t testing.TB, run string, number uint64) Claim {
	t.Helper()
	p, err := NewPerson(mrand.NewChaCha8([32]byte{3}), "Zoë Żuraw-Łękawska", "4711")
	if err != nil {
		t.Fatal(err)
	}
	return Claim{Run: run, Outcome: "pass", Make: "Quillfeather", Model: "Half mask QF-20", Size: "medium/large", Person: p, Number: number,
		Date: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Due: time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)}
}

// claim returns a signed claim on entry 17 of a journal, and the log.
func claim(t testing.TB, entries int) (Claim, *Log, *memory.Store) {
	t.Helper()
	s := memory.New()
	l := New(s, key(t, 1))
	fill(t, s, entries)
	sign(t, l)
	c, err := l.Claim(context.Background(), said(t, "r000002", 17), borne)
	if err != nil {
		t.Fatal(err)
	}
	return c, l, s
}

func TestClaimIsVerifiedWithTheKeyAlone(t *testing.T) {
	c, _, s := claim(t, 1000)
	got, err := ParseClaim(c.Text())
	if err != nil {
		t.Fatal(err)
	}
	words, err := got.Verify(key(t, 1).Verifier())
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(words, "\n")
	for _, want := range []string{
		"Box harrowgate-1 signed this", "run r000002", "outcome pass", "Quillfeather Half mask QF-20 medium/large", "tested on 2026-03-01", "due 2027-03-01",
		"Entry 17", fmt.Sprintf("%x", c.Hash), "head of 1000 entries", "2026-03-01T09:30:00Z", "confirmed", "Not checked", "corrections",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the words lack %q:\n%s", want, text)
		}
	}
	if !got.Person.Is(" Zoë  Żuraw-Łękawska ", "4711") {
		t.Error("the person on the card is not the one in the code")
	}
	for _, other := range [][2]string{{"Zoë Żuraw-Łękawska", ""}, {"Zoë Żuraw-Łękawsk", "a4711"}, {"Zoe Zuraw-Lekawska", "4711"}, {"", ""}} {
		if got.Person.Is(other[0], other[1]) {
			t.Errorf("%q is taken for the person", other)
		}
	}
	if err := got.InJournal(context.Background(), s); err != nil {
		t.Error(err)
	}
	other := memory.New()
	fill(t, other, 16)
	if err := got.InJournal(context.Background(), other); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("in a shorter journal: %v", err)
	}
	if _, err := other.Append(context.Background(), store.Draft{Stream: "r000002", Kind: "ended", Version: 1}); err != nil {
		t.Fatal(err)
	}
	if err := got.InJournal(context.Background(), other); !errors.Is(err, ErrProof) {
		t.Errorf("in another journal: %v", err)
	}
}

// The form of a claim, for ever: what was signed is written out by hand here and
// its signature checked by crypto/ed25519 alone.
func TestKeptFormOfAClaim(t *testing.T) {
	c, _, _ := claim(t, 1000)
	var b bytes.Buffer
	b.WriteString("tallyhood.claim/1\n")
	id := c.Key
	b.Write([]byte{byte(id >> 24), byte(id >> 16), byte(id >> 8), byte(id)})
	b.WriteString("\x07r000002\x04pass\x0cQuillfeather\x0fHalf mask QF-20\x0cmedium/large")
	b.WriteString("\xd5\x4a") // 9556 days from 2000-01-01 to 2026-03-01, and 1
	b.WriteString("\xc2\x4d") // 365 later
	b.Write(c.Person.Salt[:])
	b.Write(c.Person.Sum[:])
	b.WriteByte(17)
	b.Write(c.Hash[:])
	b.WriteString("\xe8\x07") // 1000
	b.Write(c.Head.Root[:])
	b.WriteString("\x98\x8e\x90\xcd\x06") // 1772357400 seconds
	b.WriteString("\x09confirmed")
	if !bytes.Equal(b.Bytes(), c.signed()) {
		t.Fatalf("what is signed is\n%q, by hand\n%q", c.signed(), b.Bytes())
	}
	public := strings.SplitN(key(t, 1).Verifier().String(), "+", 3)
	raw, err := base64.StdEncoding.DecodeString(public[2])
	if err != nil || !ed25519.Verify(raw[1:], b.Bytes(), c.Signature[:]) {
		t.Errorf("crypto/ed25519 does not take the signature: %v", err)
	}
}

// Every bit of a claim. What is signed is named as not signed so, the proof as a
// proof, the key as another's; lengths and counts spoil the form.
func TestEveryChangedBitOfAClaimIsNamed(t *testing.T) {
	c, _, _ := claim(t, 1000)
	v := key(t, 1).Verifier()
	data := c.Bytes()
	content, proof := len(c.content()), len(data)-sigSize
	count := map[error]int{}
	for i := range len(data) * 8 {
		bad := bytes.Clone(data)
		bad[i/8] ^= 1 << (i % 8)
		var want []error
		switch at := i / 8; {
		case at < 4:
			want = []error{ErrOtherKey}
		case at < content:
			want = []error{ErrSignature, ErrForm}
		case at == content: // the count of the proof's hashes
			want = []error{ErrForm}
		case at < proof:
			want = []error{ErrProof}
		default:
			want = []error{ErrSignature}
		}
		got, err := parseClaim(bad)
		if err == nil {
			_, err = got.Verify(v)
		}
		ok := false
		for _, w := range want {
			if errors.Is(err, w) {
				ok = true
				count[w]++
			}
		}
		if !ok {
			t.Fatalf("bit %d of byte %d: %v", i%8, i/8, err)
		}
	}
	if count[ErrSignature] < 8*sigSize || count[ErrProof] != 8*32*len(c.Proof) || count[ErrOtherKey] != 32 {
		t.Errorf("named: %v", count)
	}
	for n := range data {
		if _, err := parseClaim(data[:n]); !errors.Is(err, ErrForm) {
			t.Fatalf("cut at %d: %v", n, err)
		}
	}
	if _, err := parseClaim(append(bytes.Clone(data), 0)); !errors.Is(err, ErrForm) {
		t.Errorf("a byte more: %v", err)
	}
	// The same numbers, written longer: a second text for the same claim.
	at := bytes.Index(data, c.Hash[:])
	longer := append(append(bytes.Clone(data[:at-1]), 17|0x80, 0), data[at:]...)
	if _, err := parseClaim(longer); !errors.Is(err, ErrForm) {
		t.Errorf("a number written longer: %v", err)
	}
	// Every sign of the text.
	text := c.Text()
	for i := range text {
		for _, sign := range []byte{'0', 'Z', ':', 'a'} {
			if text[i] == sign {
				continue
			}
			got, err := ParseClaim(text[:i] + string(sign) + text[i+1:])
			if err == nil {
				_, err = got.Verify(v)
			}
			if err == nil {
				t.Fatalf("sign %d as %q passes", i, sign)
			}
		}
	}
	if _, err := c.Verify(key(t, 2).Verifier()); !errors.Is(err, ErrOtherKey) {
		t.Errorf("with another box's key: %v", err)
	}
	if _, err := ParseClaim("TALLYHOOD2:00"); !errors.Is(err, ErrNewer) {
		t.Errorf("a later form: %v", err)
	}
}

func TestNothingIsSignedThatTheJournalDoesNotBear(t *testing.T) {
	ctx := context.Background()
	_, l, s := claim(t, 1000)
	no := errors.New("the outcome there is fail")
	if _, err := l.Claim(ctx, said(t, "r000002", 17), func(store.Entry) error { return no }); !errors.Is(err, no) {
		t.Errorf("an entry that says otherwise: %v", err)
	}
	if _, err := l.Claim(ctx, said(t, "r000003", 17), borne); err == nil {
		t.Error("an entry of another run")
	}
	if _, err := l.Claim(ctx, said(t, "r000101", 1001), borne); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an entry that is not there: %v", err)
	}
	fill(t, s, 1)
	if _, err := l.Claim(ctx, said(t, "r000101", 1001), borne); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an entry under no head: %v", err)
	}
	if _, err := New(s, nil).Claim(ctx, said(t, "r000002", 17), borne); !errors.Is(err, ErrNoKey) {
		t.Errorf("without a key: %v", err)
	}
	if _, err := New(s, key(t, 2)).Claim(ctx, said(t, "r000002", 17), borne); !errors.Is(err, ErrOtherKey) {
		t.Errorf("under a head of another key: %v", err)
	}
	for name, change := range map[string]func(*Claim){
		"long":       func(c *Claim) { c.Make = strings.Repeat("ß", 31) },
		"controls":   func(c *Claim) { c.Model = "a\nb" },
		"turned":     func(c *Claim) { c.Size = "a\u202eb" },
		"no text":    func(c *Claim) { c.Make = "\xff" },
		"no date":    func(c *Claim) { c.Date = time.Time{} },
		"an hour":    func(c *Claim) { c.Date = c.Date.Add(time.Hour) },
		"long ago":   func(c *Claim) { c.Due = time.Date(1999, 1, 1, 0, 0, 0, 0, time.UTC) },
		"no outcome": func(c *Claim) { c.Outcome = "" },
	} {
		c := said(t, "r000002", 17)
		change(&c)
		if _, err := l.Claim(ctx, c, borne); !errors.Is(err, ErrForm) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A backup is restored on a new box, whose key is another one. A pass of before
// gets its card from there, under the first head that the new key signed, also
// where many heads of the old key lie between.
func TestPassOfBeforeANewKeyHasAClaim(t *testing.T) {
	ctx := context.Background()
	for _, heads := range []int{1, 2, headStep, headStep + 1, headStep + 2} {
		s := memory.New()
		old, own := New(s, key(t, 1)), New(s, key(t, 2))
		fill(t, s, 17)
		for range heads {
			fill(t, s, 1)
			sign(t, old)
		}
		fill(t, s, 1)
		first := sign(t, own)
		fill(t, s, 1)
		sign(t, own)
		c, err := own.Claim(ctx, said(t, "r000002", 17), borne)
		if err != nil {
			t.Fatalf("after %d heads of the old key: %v", heads, err)
		}
		if c.Head != first.Head {
			t.Errorf("after %d heads of the old key: under the head of %d entries, want %d", heads, c.Head.Size, first.Size)
		}
		if _, err := c.Verify(key(t, 2).Verifier()); err != nil {
			t.Errorf("with the new key: %v", err)
		}
		if _, err := c.Verify(key(t, 1).Verifier()); !errors.Is(err, ErrOtherKey) {
			t.Errorf("with the old key: %v", err)
		}
	}
}

// A claim of a journal of a million entries fits QR version 25 at level M, with
// fields at their usual lengths; the figures are printed with -v.
func TestClaimFitsTheCode(t *testing.T) {
	c, _, _ := claim(t, 1000)
	for _, entries := range []uint64{1_000, 1_000_000, 100_000_000} {
		c.Head.Size, c.Number = entries, entries-1
		c.Proof = make(tlog.RecordProof, ProofDepth(entries))
		n := len(c.Text())
		t.Logf("%d entries: %d hashes, %d bytes, %d signs, QR version %d at level M", entries, len(c.Proof), len(c.Bytes()), n, QRVersion(n))
		if entries <= 1_000_000 && (n > MaxText || QRVersion(n) == 0) {
			t.Errorf("a claim in a journal of %d entries has %d signs", entries, n)
		}
	}
	// A head is signed after each verdict, so the entry is among the last under
	// it, where proofs are short.
	longest, sum, runs := 0, 0, 0
	for size := uint64(990_000); size <= 1_000_000; size += 7 {
		n := proofLength(size, size-1)
		longest, sum, runs = max(longest, n), sum+n, runs+1
	}
	t.Logf("the last entry under heads of 990,000 to 1,000,000: %.1f hashes in the mean, %d at most", float64(sum)/float64(runs), longest)
	if longest > ProofDepth(1_000_000) {
		t.Errorf("a proof of %d hashes", longest)
	}
	// The worst: every field at its most.
	c.Head.Size, c.Number = 1_000_000, 999_999
	c.Proof = make(tlog.RecordProof, ProofDepth(1_000_000))
	c.Make, c.Model, c.Size = strings.Repeat("m", 30), strings.Repeat("m", 30), strings.Repeat("s", 20)
	if n := len(c.Text()); n > MaxText {
		t.Errorf("make and model of 30 bytes and a size of 20 need %d signs", n)
	}
	if ProofDepth(1) != 0 || ProofDepth(2) != 1 || ProofDepth(3) != 2 || ProofDepth(1<<20) != 20 || ProofDepth(1<<20+1) != 21 {
		t.Error("depth of a proof")
	}
	if QRVersion(MaxText) != 25 || QRVersion(MaxText+1) != 0 || QRVersion(1) != 16 {
		t.Error("versions of a QR code")
	}
}

// proofLength counts the hashes of a proof, by the definition of PATH in RFC
// 6962, section 2.1.1.
func proofLength(size, n uint64) int {
	if size == 1 {
		return 0
	}
	k := uint64(1) << (bits.Len64(size-1) - 1)
	if n < k {
		return 1 + proofLength(k, n)
	}
	return 1 + proofLength(size-k, n-k)
}

// RFC 9285, section 4.3 and 4.4.
func TestPublishedBase45(t *testing.T) {
	for plain, coded := range map[string]string{"AB": "BB8", "Hello!!": "%69 VD92EX0", "base-45": "UJCLQE7W581", "ietf!": "QED8WEX0", "": ""} {
		if got := encode45([]byte(plain)); got != coded {
			t.Errorf("%q is %q", plain, got)
		}
		if got, err := decode45(coded); err != nil || string(got) != plain {
			t.Errorf("%q is %q, %v", coded, got, err)
		}
	}
	for _, bad := range []string{"GGW", ":::", "A", "AAAA", "::", "aa", "A\n"} {
		if got, err := decode45(bad); !errors.Is(err, ErrForm) {
			t.Errorf("%q reads as %q, %v", bad, got, err)
		}
	}
}

func FuzzBase45(f *testing.F) {
	f.Add("QED8WEX0")
	f.Fuzz(func(t *testing.T, text string) {
		if data, err := decode45(text); err == nil && encode45(data) != text {
			t.Fatalf("%q", text)
		}
		if got, err := decode45(encode45([]byte(text))); err != nil || string(got) != text {
			t.Fatalf("%q, %v", got, err)
		}
	})
}

func FuzzParseClaim(f *testing.F) {
	c, _, _ := claim(f, 40)
	v := key(f, 1).Verifier()
	good := c.Bytes()
	f.Add(good)
	f.Add(good[:100])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := parseClaim(data)
		if err != nil {
			return
		}
		if !bytes.Equal(got.Bytes(), data) {
			t.Fatal("two forms for one claim")
		}
		if _, err := got.Verify(v); err == nil && !bytes.Equal(data, good) {
			t.Fatal("a claim that was never signed passes")
		}
	})
}
