// SPDX-License-Identifier: Apache-2.0

// Package sealing keeps what identifies a person unreadable without that
// person's own key. The journal keeps its entries for ever; destroying the key
// erases the person and leaves every hash as it was.
//
// A key is 256 random bits in the store's table "keys", under the person's id.
// A text is sealed with AES-256-GCM, a random 96-bit nonce before it, and is
// bound to the kind of its fact and to the person (additionalData), so it opens
// nowhere else. In a body it stands as base64.
//
// What it does not protect against:
//
//   - Who has the store's file has the keys as well: it is erasure that is meant
//     here, not secrecy of the medium.
//   - A key that was destroyed lives on in earlier backups and copies, and in the
//     file itself until it is compacted; a memory card may keep it longer.
//   - What was printed, exported or remembered stays.
//   - The length of a text shows, and how often a person appears, and when.
//   - A sealed text put in the place of another of the same person and the same
//     kind opens: order and place are for the journal's chain to keep.
//
// The package must not keep a key beyond a call, must not log, and must not
// write: it gives pairs, which its caller commits together with the facts.
package sealing

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"

	"tallyhood/store"
)

// Table is the store's table of keys.
const Table = "keys"

// MaxPlain is the most that is sealed at once, in bytes: as base64 it stays
// well inside a draft's body.
const MaxPlain = store.MaxBody / 2

const (
	keySize    = 32
	nonceSize  = 12
	tagSize    = 16
	keyWord    = "tallyhood.key/1 aes-256-gcm "
	sealedWord = "tallyhood.sealed/1"
)

var (
	// ErrErased: the person has no key. It was destroyed, or never made.
	ErrErased = errors.New("erased: there is no key for this person")
	// ErrSpoilt: the sealed text is not what was sealed for this person and kind.
	ErrSpoilt = errors.New("spoilt: the sealed text does not open")
	// ErrExists: the person has a key already. A second one would erase what
	// the first has sealed.
	ErrExists = errors.New("this person has a key already")
	// ErrInvalid: an id, a kind or a text is outside the limits.
	ErrInvalid = errors.New("not fit to be sealed")
)

// base64 without the freedom of several texts for the same bytes.
var encoding = base64.StdEncoding.Strict()

// A Ring makes keys, finds them and destroys them. It may be used by many
// goroutines when its random source may.
type Ring struct {
	keys   store.Table
	random io.Reader
}

// NewRing returns a ring over the table of keys. Random is crypto/rand.Reader,
// but in tests.
func NewRing(keys store.Table, random io.Reader) *Ring { return &Ring{keys, random} }

// New makes a key for a person who has none, and the pair that keeps it. The
// caller seals the person's first facts with the key and commits them with the
// pair; before that commit nobody else can open them. ErrExists when the person
// has a key.
func (r *Ring) New(ctx context.Context, person string) (*Key, store.Pair, error) {
	if err := CheckPerson(person); err != nil {
		return nil, store.Pair{}, err
	}
	switch _, err := r.keys.Get(ctx, person); {
	case err == nil:
		return nil, store.Pair{}, fmt.Errorf("%w: %s", ErrExists, person)
	case !errors.Is(err, store.ErrNotFound):
		return nil, store.Pair{}, err
	}
	var raw [keySize]byte
	if _, err := io.ReadFull(r.random, raw[:]); err != nil {
		return nil, store.Pair{}, fmt.Errorf("key for %s: %w", person, err)
	}
	k, err := newKey(person, raw[:], r.random)
	if err != nil {
		return nil, store.Pair{}, err
	}
	value := keyWord + encoding.EncodeToString(raw[:]) + "\n"
	return k, store.Pair{Table: Table, Key: person, Value: []byte(value)}, nil
}

// Key finds a person's key, for opening many texts at one look-up. ErrErased
// when there is none, ErrSpoilt when what is kept is no key.
func (r *Ring) Key(ctx context.Context, person string) (*Key, error) {
	if err := CheckPerson(person); err != nil {
		return nil, err
	}
	value, err := r.keys.Get(ctx, person)
	if errors.Is(err, store.ErrNotFound) {
		return nil, fmt.Errorf("%w: %s", ErrErased, person)
	}
	if err != nil {
		return nil, err
	}
	text, ok := strings.CutPrefix(string(value), keyWord)
	text, end := strings.CutSuffix(text, "\n")
	raw, err := encoding.DecodeString(text)
	if !ok || !end || err != nil || len(raw) != keySize || strings.ContainsAny(text, "\r\n") {
		return nil, fmt.Errorf("%w: the key of %s is not in a form that is known here", ErrSpoilt, person)
	}
	return newKey(person, raw, r.random)
}

// Seal seals a text of a kind for a person who has a key.
func (r *Ring) Seal(ctx context.Context, person, kind string, plain []byte) (string, error) {
	k, err := r.Key(ctx, person)
	if err != nil {
		return "", err
	}
	return k.Seal(kind, plain)
}

// Open opens what was sealed for this person under this kind.
func (r *Ring) Open(ctx context.Context, person, kind, sealed string) ([]byte, error) {
	k, err := r.Key(ctx, person)
	if err != nil {
		return nil, err
	}
	return k.Open(kind, sealed)
}

// Destroy gives the pair that deletes a person's key. Once it is committed and
// the store compacted, nothing that was sealed for the person opens again.
func (r *Ring) Destroy(person string) store.Pair {
	return store.Pair{Table: Table, Key: person, Delete: true}
}

// A Key seals and opens for one person.
type Key struct {
	person string
	aead   cipher.AEAD
	random io.Reader
}

func newKey(person string, raw []byte, random io.Reader) (*Key, error) {
	block, err := aes.NewCipher(raw)
	if err != nil {
		return nil, err
	}
	aead, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	return &Key{person, aead, random}, nil
}

// Person is whose key it is.
func (k *Key) Person() string { return k.person }

// Seal returns the sealed text as base64. The nonce is random: one key may seal
// 2^32 texts before two nonces alike become likely enough to matter (NIST SP
// 800-38D, 8.3), far more than a person has facts.
func (k *Key) Seal(kind string, plain []byte) (string, error) {
	if err := checkKind(kind); err != nil {
		return "", err
	}
	if len(plain) > MaxPlain {
		return "", fmt.Errorf("%w: the text has %d bytes, the most is %d", ErrInvalid, len(plain), MaxPlain)
	}
	out := make([]byte, nonceSize, nonceSize+len(plain)+tagSize)
	if _, err := io.ReadFull(k.random, out); err != nil {
		return "", fmt.Errorf("seal for %s: %w", k.person, err)
	}
	out = k.aead.Seal(out, out, plain, additionalData(kind, k.person))
	return encoding.EncodeToString(out), nil
}

// Open returns the text. ErrSpoilt covers every way in which it is not the one
// that was sealed; which, nobody can tell.
func (k *Key) Open(kind, sealed string) ([]byte, error) {
	if err := checkKind(kind); err != nil {
		return nil, err
	}
	const most = nonceSize + MaxPlain + tagSize
	// The decoder passes over line breaks: two texts for the same bytes.
	if len(sealed) > encoding.EncodedLen(most) || strings.ContainsAny(sealed, "\r\n") {
		return nil, fmt.Errorf("%w (%s of %s)", ErrSpoilt, kind, k.person)
	}
	raw, err := encoding.DecodeString(sealed)
	if err != nil || len(raw) < nonceSize+tagSize {
		return nil, fmt.Errorf("%w (%s of %s)", ErrSpoilt, kind, k.person)
	}
	plain, err := k.aead.Open(nil, raw[:nonceSize], raw[nonceSize:], additionalData(kind, k.person))
	if err != nil {
		return nil, fmt.Errorf("%w (%s of %s)", ErrSpoilt, kind, k.person)
	}
	return plain, nil
}

// additionalData binds a text to its place. A kind has no line feed and the id
// has a fixed form, so no two places give the same bytes.
func additionalData(kind, person string) []byte {
	return []byte(sealedWord + "\n" + kind + "\n" + person)
}

func checkKind(kind string) error {
	if kind == "" || len(kind) > store.MaxName || strings.Contains(kind, "\n") {
		return fmt.Errorf("%w: %q is no kind", ErrInvalid, kind)
	}
	return nil
}
