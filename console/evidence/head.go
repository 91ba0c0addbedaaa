// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

const (
	headWord = "tallyhood.head/1"
	boxWord  = "tallyhood/" // before a box's id, as the name of its key
	maxBox   = 40           // bytes of a box's id
	maxWord  = 20           // bytes of a quality
	maxNote  = 4096         // bytes of a signed head
)

// A Head says what a journal held at a moment.
type Head struct {
	Size    uint64    // entries
	Root    tlog.Hash // of the tree over their hashes
	Wall    time.Time // by the box's clock, UTC, whole seconds
	Quality string    // how far that clock can be trusted, as a word
}

// Text is the head as it is signed: four lines.
//
//	tallyhood.head/1
//	1284
//	47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=
//	2026-03-01T09:30:00Z confirmed
func (h Head) Text() string {
	return fmt.Sprintf("%s\n%d\n%s\n%s %s\n", headWord, h.Size, h.Root, h.Wall.UTC().Format(time.RFC3339), h.Quality)
}

func (h Head) check() error {
	if y := h.Wall.UTC().Year(); y < 1970 || y > 9999 {
		return fmt.Errorf("%w: a head's year is %d", ErrForm, y)
	}
	if h.Quality == "" || len(h.Quality) > maxWord || strings.Trim(h.Quality, "abcdefghijklmnopqrstuvwxyz") != "" {
		return fmt.Errorf("%w: %q is no quality of a clock", ErrForm, h.Quality)
	}
	return nil
}

// ParseHead reads the text back; only what Text writes is accepted.
func ParseHead(text string) (Head, error) {
	f := strings.Split(text, "\n")
	if word, ok := strings.CutPrefix(f[0], "tallyhood.head/"); ok && f[0] != headWord {
		if n, err := strconv.Atoi(word); err == nil && n > 1 {
			return Head{}, fmt.Errorf("head: %w", ErrNewer)
		}
	}
	var h Head
	err := ErrForm
	if len(f) == 5 && f[0] == headWord {
		wall, quality, _ := strings.Cut(f[3], " ")
		var errs [3]error
		h.Size, errs[0] = parseSize(f[1])
		h.Root, errs[1] = tlog.ParseHash(f[2])
		h.Wall, errs[2] = time.Parse(time.RFC3339, wall)
		h.Wall, h.Quality = h.Wall.UTC(), quality
		err = errors.Join(append(errs[:], h.check())...)
	}
	if err != nil || h.Text() != text {
		return Head{}, fmt.Errorf("head: %w", ErrForm)
	}
	return h, nil
}

// A SignedHead is a head and the note that carries it: its text, a blank line
// and a line with the signature, as golang.org/x/mod/sumdb/note writes them.
type SignedHead struct {
	Head
	Note []byte
}

// parseNote reads a note without checking who signed it.
func parseNote(msg []byte) (SignedHead, error) {
	if len(msg) > maxNote {
		return SignedHead{}, fmt.Errorf("head: %w", ErrForm)
	}
	_, err := note.Open(msg, note.VerifierList())
	var unverified *note.UnverifiedNoteError
	if !errors.As(err, &unverified) {
		return SignedHead{}, fmt.Errorf("head: %w", ErrForm)
	}
	h, err := ParseHead(unverified.Note.Text)
	return SignedHead{Head: h, Note: msg}, err
}

// OpenHead reads a signed head and checks its signature against the keys that
// are known: ErrSignature when a known key's does not hold, ErrOtherKey when
// none of them has signed.
func OpenHead(msg []byte, known ...*Verifier) (SignedHead, error) {
	if len(msg) > maxNote {
		return SignedHead{}, fmt.Errorf("head: %w", ErrForm)
	}
	list := make([]note.Verifier, len(known))
	for i, v := range known {
		list[i] = v.verifier
	}
	n, err := note.Open(msg, note.VerifierList(list...))
	var unverified *note.UnverifiedNoteError
	var invalid *note.InvalidSignatureError
	switch {
	case errors.As(err, &invalid):
		return SignedHead{}, fmt.Errorf("head: %w", ErrSignature)
	case errors.As(err, &unverified):
		return SignedHead{}, fmt.Errorf("head: %w", ErrOtherKey)
	case err != nil:
		return SignedHead{}, fmt.Errorf("head: %w", ErrForm)
	}
	h, err := ParseHead(n.Text)
	if err == nil && len(n.UnverifiedSigs) > 0 {
		err = fmt.Errorf("head: %w: lines after the signature", ErrForm)
	}
	return SignedHead{Head: h, Note: msg}, err
}

// A Signer is a box's key.
type Signer struct {
	signer   note.Signer
	verifier *Verifier
	secret   string
}

// NewSigner makes a key for a box. Random is crypto/rand.Reader, but in tests.
func NewSigner(random io.Reader, box string) (*Signer, error) {
	if box == "" || len(box) > maxBox || strings.Trim(box, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return nil, fmt.Errorf("%w: %q is no box's id: lower-case letters, digits and hyphens, at most %d", ErrForm, box, maxBox)
	}
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(random, seed); err != nil {
		return nil, fmt.Errorf("the box's key: %w", err)
	}
	public := ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey)
	text, err := note.NewEd25519VerifierKey(boxWord+box, public)
	if err != nil {
		return nil, err
	}
	name, rest, _ := strings.Cut(text, "+")
	hash, _, _ := strings.Cut(rest, "+")
	secret := "PRIVATE+KEY+" + name + "+" + hash + "+" + base64.StdEncoding.EncodeToString(append([]byte{1}, seed...))
	return ParseSigner([]byte(secret + "\n"))
}

// ParseSigner reads what Secret gives.
func ParseSigner(text []byte) (*Signer, error) {
	secret := strings.TrimSuffix(string(text), "\n")
	part := strings.SplitN(secret, "+", 5) // PRIVATE, KEY, name, hash, key; a plus may stand in the last
	signer, err := note.NewSigner(secret)
	if err != nil || !strings.HasPrefix(signer.Name(), boxWord) || strings.ContainsAny(secret, "\r\n") {
		return nil, fmt.Errorf("the box's key: %w", ErrForm) // never with the text
	}
	raw, err := base64.StdEncoding.DecodeString(part[4])
	if err != nil || len(raw) != 1+ed25519.SeedSize {
		return nil, fmt.Errorf("the box's key: %w", ErrForm)
	}
	public := ed25519.NewKeyFromSeed(raw[1:]).Public().(ed25519.PublicKey)
	known, err := note.NewEd25519VerifierKey(signer.Name(), public)
	if err != nil {
		return nil, err
	}
	v, err := ParseVerifier(known)
	if err != nil {
		return nil, err
	}
	return &Signer{signer, v, secret}, nil
}

// Secret is the content of the key's file: one line, to be kept with mode 0600
// beside the store, and in no backup unless somebody asks for it.
func (s *Signer) Secret() []byte { return []byte(s.secret + "\n") }

// Verifier is the public half.
func (s *Signer) Verifier() *Verifier { return s.verifier }

// String names the key and never shows it.
func (s *Signer) String() string { return s.signer.Name() }

// GoString is String, so that no way of printing shows the key.
func (s *Signer) GoString() string { return s.String() }

// A Verifier is the public half of a box's key. Its text is what a person
// copies to where the box cannot change it.
type Verifier struct {
	verifier note.Verifier
	text     string
}

// ParseVerifier reads what String gives.
func ParseVerifier(text string) (*Verifier, error) {
	text = strings.TrimSpace(text)
	v, err := note.NewVerifier(text)
	if err != nil || !strings.HasPrefix(v.Name(), boxWord) {
		return nil, fmt.Errorf("%q is no box's public key: %w", text, ErrForm)
	}
	return &Verifier{v, text}, nil
}

// String is the key as one line: name, id and key, with plus signs between.
func (v *Verifier) String() string { return v.text }

// Box is the id of the box.
func (v *Verifier) Box() string { return strings.TrimPrefix(v.verifier.Name(), boxWord) }

// ID tells keys apart, in short: a hash over name and key, no proof.
func (v *Verifier) ID() uint32 { return v.verifier.KeyHash() }
