// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/bits"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/tlog"

	"tallyhood/store"
)

const (
	// claimText opens the text in the code; every sign is one of Base45.
	claimText  = "TALLYHOOD1:"
	claimWord  = "tallyhood.claim/1\n" // before what is signed
	personWord = "tallyhood.person/1\n"
	maxField   = 60   // bytes of a text in a claim
	maxClaim   = 4000 // signs of a claim's text
	saltSize   = 8
	sigSize    = 64
)

// A Claim is what a card's code says. The signature covers all of it but the
// proof, which proves itself.
type Claim struct {
	Key     uint32 // which of a box's keys signed; Verifier.ID
	Run     string
	Outcome string // as the record has it
	Make    string
	Model   string
	Size    string // of the facepiece
	Date    time.Time
	Due     time.Time // zero: none
	Person  Person

	Number    uint64   // of the entry that the claim stands on
	Hash      [32]byte // of that entry, as it is printed on the record
	Head      Head
	Proof     tlog.RecordProof // that the entry stands under the head
	Signature [sigSize]byte
}

// A Person is a salted hash of a name and a number: the name stands on the card
// in print, and the code lets one check that it is the name that was signed,
// without holding it. The salt keeps codes from being compared with one another.
// Who guesses both name and number can confirm the guess.
type Person struct {
	Salt [saltSize]byte
	Sum  [16]byte
}

// NewPerson hashes a name and a company number, which may be empty. Random is
// crypto/rand.Reader, but in tests.
func NewPerson(random io.Reader, name, number string) (p Person, err error) {
	if _, err := io.ReadFull(random, p.Salt[:]); err != nil {
		return p, fmt.Errorf("salt of a claim: %w", err)
	}
	p.Sum = p.sum(name, number)
	return p, nil
}

// Is says whether it is the hash of this name and number. Space around and
// between words does not count; everything else does.
func (p Person) Is(name, number string) bool {
	sum := p.sum(name, number)
	return subtle.ConstantTimeCompare(sum[:], p.Sum[:]) == 1
}

func (p Person) sum(name, number string) (sum [16]byte) {
	data := append([]byte(personWord), p.Salt[:]...)
	for _, s := range []string{name, number} {
		data = appendText(data, strings.Join(strings.Fields(s), " "))
	}
	h := sha256.Sum256(data)
	copy(sum[:], h[:])
	return sum
}

// Claim completes and signs a claim: the caller gives what the record says, and
// the number of the entry it stands on; hash, head, proof, key and signature are
// put in. The entry has to be of the run's stream and under a head that this
// box's key signed.
// Bears is called with that entry, and has to return an error when it does not
// bear the claim out: nothing is signed then. A practice run has no claim.
func (l *Log) Claim(ctx context.Context, c Claim, bears func(store.Entry) error) (Claim, error) {
	if l.signer == nil {
		return Claim{}, ErrNoKey
	}
	e, err := entryAt(ctx, l.store, c.Number)
	if err != nil {
		return Claim{}, fmt.Errorf("claim: %w", err)
	}
	if e.Stream != c.Run {
		return Claim{}, fmt.Errorf("claim: entry %d is of %q, not of run %q", e.Number, e.Stream, c.Run)
	}
	if err := bears(e); err != nil {
		return Claim{}, fmt.Errorf("claim: entry %d does not bear it out: %w", e.Number, err)
	}
	head, err := l.HeadOver(ctx, c.Number)
	if err == nil {
		head, err = OpenHead(head.Note, l.signer.Verifier())
	}
	if err != nil {
		return Claim{}, fmt.Errorf("claim: %w", err)
	}
	i, err := l.ProveEntry(ctx, c.Number, head.Head)
	if err != nil {
		return Claim{}, fmt.Errorf("claim: %w", err)
	}
	c.Key, c.Hash, c.Head, c.Proof = l.signer.Verifier().ID(), i.Hash, i.Head, i.Proof
	if err := c.check(); err != nil {
		return Claim{}, err
	}
	sig, err := l.signer.signer.Sign(c.signed())
	if err != nil || len(sig) != sigSize {
		return Claim{}, fmt.Errorf("claim: sign: %w", errors.Join(err, ErrSignature))
	}
	copy(c.Signature[:], sig)
	return c, nil
}

// day0 is the day from which days in a claim are counted.
var day0 = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// check says whether the claim can be written and read back.
func (c Claim) check() error {
	for _, f := range []struct{ name, text string }{
		{"run", c.Run}, {"outcome", c.Outcome}, {"make", c.Make}, {"model", c.Model}, {"size", c.Size},
	} {
		switch {
		case len(f.text) > maxField:
			return fmt.Errorf("%w: the %s has %d bytes, the most in a claim is %d", ErrForm, f.name, len(f.text), maxField)
		case !utf8.ValidString(f.text) || strings.ContainsFunc(f.text, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }):
			return fmt.Errorf("%w: the %s is no plain text", ErrForm, f.name)
		}
	}
	if c.Run == "" || c.Outcome == "" {
		return fmt.Errorf("%w: a claim has a run and an outcome", ErrForm)
	}
	for _, d := range []time.Time{c.Date, c.Due} {
		if !d.IsZero() && (!d.Equal(d.UTC().Truncate(24*time.Hour)) || d.Before(day0) || d.Year() > 2999) {
			return fmt.Errorf("%w: %s is no day from 2000 on", ErrForm, d.Format(time.RFC3339))
		}
	}
	if c.Date.IsZero() {
		return fmt.Errorf("%w: a claim has a date", ErrForm)
	}
	return c.Head.check()
}

// content is the claim but for proof and signature:
//
//	key                       4 bytes, big-endian
//	run outcome make model size   each a length and the bytes
//	date, due                 days since 2000-01-01 plus 1, 0 for none
//	salt, hash of the person  8 and 16 bytes
//	entry's number, its hash  and 32 bytes
//	head: size, root, time    and 32 bytes, seconds since 1970
//	quality of the time       a length and the bytes
//
// Numbers and lengths are unsigned varints of 7 bits a byte, lowest first.
func (c Claim) content() []byte {
	b := binary.BigEndian.AppendUint32(nil, c.Key)
	for _, s := range []string{c.Run, c.Outcome, c.Make, c.Model, c.Size} {
		b = appendText(b, s)
	}
	b = binary.AppendUvarint(b, days(c.Date))
	b = binary.AppendUvarint(b, days(c.Due))
	b = append(b, c.Person.Salt[:]...)
	b = append(b, c.Person.Sum[:]...)
	b = binary.AppendUvarint(b, c.Number)
	b = append(b, c.Hash[:]...)
	b = binary.AppendUvarint(b, c.Head.Size)
	b = append(b, c.Head.Root[:]...)
	b = binary.AppendUvarint(b, uint64(c.Head.Wall.Unix()))
	return appendText(b, c.Head.Quality)
}

func days(t time.Time) uint64 {
	if t.IsZero() {
		return 0
	}
	return uint64(t.Sub(day0)/(24*time.Hour)) + 1
}

func appendText(b []byte, s string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

func (c Claim) signed() []byte { return append([]byte(claimWord), c.content()...) }

// Bytes is the claim as bytes: the content, the proof as a count and 32 bytes
// each, and the signature.
func (c Claim) Bytes() []byte {
	b := binary.AppendUvarint(c.content(), uint64(len(c.Proof)))
	for _, h := range c.Proof {
		b = append(b, h[:]...)
	}
	return append(b, c.Signature[:]...)
}

// Text is the claim for a QR code, all of its signs from the alphanumeric set.
func (c Claim) Text() string { return claimText + encode45(c.Bytes()) }

// ParseClaim reads the text of a code; only what Text writes is accepted.
func ParseClaim(text string) (Claim, error) {
	text = strings.Trim(text, "\r\n\t")
	rest, ok := strings.CutPrefix(text, claimText)
	switch {
	case len(text) > maxClaim:
		return Claim{}, fmt.Errorf("claim: %w: it has %d signs, the most is %d", ErrForm, len(text), maxClaim)
	case !ok && strings.HasPrefix(text, strings.TrimSuffix(claimText, "1:")):
		return Claim{}, fmt.Errorf("claim: %w", ErrNewer)
	case !ok:
		return Claim{}, fmt.Errorf("claim: %w: it does not begin with %s", ErrForm, claimText)
	}
	data, err := decode45(rest)
	if err != nil {
		return Claim{}, fmt.Errorf("claim: %w", err)
	}
	return parseClaim(data)
}

func parseClaim(data []byte) (Claim, error) {
	p := claimParser{rest: data}
	var c Claim
	p.into(func(b []byte) { c.Key = binary.BigEndian.Uint32(b) }, 4)
	for _, f := range []*string{&c.Run, &c.Outcome, &c.Make, &c.Model, &c.Size} {
		*f = p.text()
	}
	c.Date, c.Due = p.day(), p.day()
	p.into(func(b []byte) { copy(c.Person.Salt[:], b) }, saltSize)
	p.into(func(b []byte) { copy(c.Person.Sum[:], b) }, len(c.Person.Sum))
	c.Number = p.number()
	p.into(func(b []byte) { copy(c.Hash[:], b) }, 32)
	c.Head.Size = p.number()
	p.into(func(b []byte) { copy(c.Head.Root[:], b) }, 32)
	c.Head.Wall = time.Unix(int64(min(p.number(), 1<<40)), 0).UTC()
	c.Head.Quality = p.text()
	for range min(p.number(), 64) {
		p.into(func(b []byte) { c.Proof = append(c.Proof, tlog.Hash(b)) }, tlog.HashSize)
	}
	p.into(func(b []byte) { copy(c.Signature[:], b) }, sigSize)
	if p.bad || len(p.rest) > 0 {
		return Claim{}, fmt.Errorf("claim: %w", ErrForm)
	}
	if err := c.check(); err != nil {
		return Claim{}, fmt.Errorf("claim: %w", err)
	}
	if !bytes.Equal(c.Bytes(), data) {
		return Claim{}, fmt.Errorf("claim: %w", ErrForm)
	}
	return c, nil
}

// A claimParser takes bytes apart from the front; after the first error it
// gives zeros.
type claimParser struct {
	rest []byte
	bad  bool
}

func (p *claimParser) into(f func([]byte), n int) {
	if p.bad = p.bad || n > len(p.rest); !p.bad {
		f(p.rest[:n])
		p.rest = p.rest[n:]
	}
}

func (p *claimParser) number() uint64 {
	v, n := binary.Uvarint(p.rest)
	if p.bad = p.bad || n <= 0; p.bad {
		return 0
	}
	p.rest = p.rest[n:]
	return v
}

func (p *claimParser) text() (s string) {
	p.into(func(b []byte) { s = string(b) }, int(min(p.number(), maxField+1)))
	return s
}

func (p *claimParser) day() time.Time {
	n := p.number()
	if n == 0 || n > 1<<20 {
		p.bad = p.bad || n > 0
		return time.Time{}
	}
	return day0.AddDate(0, 0, int(n-1))
}

// Verify proves a claim with nothing but the box's public key. Words says, in
// sentences, what was found in order and what was not looked at; it ends where
// the error begins: ErrOtherKey, ErrSignature or ErrProof.
func (c Claim) Verify(v *Verifier) (words []string, err error) {
	if err := c.check(); err != nil {
		return nil, fmt.Errorf("claim: %w", err)
	}
	if c.Key != v.ID() {
		return nil, fmt.Errorf("claim: %w: that has the id %08x, the one given (box %s) has %08x", ErrOtherKey, c.Key, v.Box(), v.ID())
	}
	if !v.verifier.Verify(c.signed(), c.Signature[:]) {
		return nil, fmt.Errorf("claim: %w: outcome, facepiece, dates, person, entry or head are not what box %s signed", ErrSignature, v.Box())
	}
	words = append(words, fmt.Sprintf("Box %s signed this: run %s, outcome %s, facepiece %s, tested on %s%s.",
		v.Box(), c.Run, c.Outcome, strings.Join(strings.Fields(c.Make+" "+c.Model+" "+c.Size), " "), c.Date.Format(time.DateOnly), due(c.Due)))
	i := Inclusion{Number: c.Number, Hash: c.Hash, Head: c.Head, Proof: c.Proof}
	if err := i.Check(); err != nil {
		return words, fmt.Errorf("claim: %w", err)
	}
	return append(words,
		fmt.Sprintf("Entry %d, with hash %x, was in the box's journal when its head of %d entries was signed, at %s by a clock that was %s.",
			c.Number, c.Hash, c.Head.Size, c.Head.Wall.Format(time.RFC3339), c.Head.Quality),
		"Not checked: who holds the card (compare the name), corrections that came later, and whether the due date has passed.",
	), nil
}

func due(d time.Time) string {
	if d.IsZero() {
		return ", no due date"
	}
	return ", due " + d.Format(time.DateOnly)
}

// InJournal compares the claim with a journal that is at hand: that the entry it
// stands on is there, of its run, with its hash.
func (c Claim) InJournal(ctx context.Context, j Reader) error {
	e, err := entryAt(ctx, j, c.Number)
	switch {
	case err != nil:
		return fmt.Errorf("claim: %w", err)
	case e.Hash != c.Hash || e.Stream != c.Run:
		return fmt.Errorf("claim: %w: entry %d of this journal is another", ErrProof, c.Number)
	}
	return nil
}

// capacity is how many alphanumeric signs a QR code of a version holds at level
// M, for versions 16 to 25: ISO/IEC 18004, table 7.
var capacity = []int{656, 734, 816, 909, 970, 1035, 1134, 1248, 1326, 1451}

// MaxText is the longest text that fits QR version 25 at level M.
const MaxText = 1451

// QRVersion is the smallest QR version from 16 to 25 that holds so many
// alphanumeric signs at level M; 0 if none does.
func QRVersion(signs int) int {
	for i, most := range capacity {
		if signs <= most {
			return 16 + i
		}
	}
	return 0
}

// ProofDepth is the most hashes a proof has in a journal of so many entries.
func ProofDepth(entries uint64) int {
	if entries < 2 {
		return 0
	}
	return bits.Len64(entries - 1)
}
