// SPDX-License-Identifier: Apache-2.0

// Package backup writes the whole store, encrypted, to a folder or a stream,
// proves at once that it can be restored, and restores it.
//
// A backup is an age file (age-encryption.org/v1), locked with a passphrase or
// with X25519 recipients. Inside stand, in this order:
//
//	tallyhood.backup/1          and a line feed
//	{"box":"harrowgate-1",...}  one line of JSON: Header
//	the store's file            as many bytes as the header says
//	sha256 and 64 hex digits    one line: the hash of all before it
//
// age proves every 64 KiB as they are read, and that none are missing at the
// end. The hash beside it proves this package and the memory it ran in. What
// decides is the proof by restoring: the file is decrypted again from where it
// was written, checked in full as a store, and has to end with the entry that
// the header names. Memory stays bounded whatever the store's size.
//
// What it does not protect against:
//
//   - A passphrase that is lost, told or guessed. Nobody can reset it.
//   - Who owns the box: its store is in clear. The encryption is for the stick.
//   - An old backup that is restored as if it were new, or another box's: the
//     header says from when and from where, and somebody has to read it.
//   - Erasure: a person who was erased after the backup is in it still, with the
//     key, so old backups have an end like all records. The list beside the store
//     (Erased) tells a restore whom to erase again. A box that has only an old
//     backup, and no such list, cannot know of erasures made after it.
//   - What was recorded after it. The restored journal goes on from there, so it
//     and heads that were signed later and kept elsewhere contradict one another:
//     the caller records the restore as a fact, in Place.Prepare.
//   - With recipients, that their key is lost: the proof uses a key of its own,
//     made for this backup and forgotten with it, not theirs.
//   - A stick that forgets: the proof reads from the medium where the system lets
//     it, but cannot say what will be there in a year.
//   - The box's signing key is not in it, unless Header.SigningKey is filled in.
//
// While proving and restoring, the store lies in clear in a file beside the
// store's own, with mode 0600; Tidy removes what a power cut left.
//
// The package must not read a clock, and must never touch the last good backup
// before the next one is proven.
package backup

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"filippo.io/age"
)

const (
	word      = "tallyhood.backup/"
	version   = 1
	maxHeader = 16 << 10 // bytes of a line inside
	maxOuter  = 64 << 10 // bytes that may be read before the lock has opened

	// MaxSize is the most that a restore writes, in bytes, unless told otherwise.
	MaxSize = 8 << 30
)

// The kinds of error; test with errors.Is. Their texts are for the person who
// restores.
var (
	// ErrLocked: the passphrase or key is not the right one.
	ErrLocked = errors.New("this does not open the backup: look at capitals, spaces and the keyboard's language; or it is the passphrase of another backup")
	// ErrOtherLock: it wants a key's file where a passphrase was given, or the
	// other way about.
	ErrOtherLock = errors.New("this backup is locked in another way: one with a passphrase wants the passphrase, one with a key wants the key's file")
	// ErrNoBackup: something else than a backup.
	ErrNoBackup = errors.New("this is no backup of tallyhood")
	// ErrDamaged: bytes were changed, or are missing.
	ErrDamaged = errors.New("this backup is spoilt: it was cut short or changed")
	// ErrNewer: made by a later version.
	ErrNewer = errors.New("this backup was made by a newer version of tallyhood: update first")
	// ErrTooLarge: it would need more room, or more work, than is allowed.
	ErrTooLarge = errors.New("this backup asks for more than is allowed")
	// ErrDiffers: the store in it is sound, but not the one that its header names.
	ErrDiffers = errors.New("the store in this backup is not the one it names")
	// ErrHasRecords: there is a store already, with records or not readable.
	ErrHasRecords = errors.New("there is a store with records here: it is replaced only with --over, and stays beside the new one")
	// ErrWeak: a passphrase too short to be worth a lock.
	ErrWeak = errors.New("the passphrase is too short: take at least " + strconv.Itoa(minPassphrase) + " signs, better four or more words")
)

// A Source gives a snapshot of a store while it goes on being written.
type Source interface {
	// Snapshot writes the store's file as of one durable transaction. It calls
	// begin once, before the first byte, with the size in bytes that it is going
	// to write and with number and hash of the last entry in it. An error of
	// begin or of w ends it, and is returned.
	Snapshot(ctx context.Context, w io.Writer, begin func(size int64, number uint64, hash [32]byte) error) error
}

// A Header says what a backup holds. It stands inside the encryption.
type Header struct {
	Box        string `json:"box"`
	Program    string `json:"program"` // version of tallyhood
	Wall       string `json:"wall"`    // time of the backup, RFC 3339
	Quality    string `json:"quality"` // how far that clock could be trusted
	Entries    uint64 `json:"entries"` // in the journal, so the number of the last
	Hash       string `json:"hash"`    // of the last entry, hexadecimal
	Size       int64  `json:"size"`    // of the store's file, bytes
	SigningKey string `json:"signing_key,omitempty"`
}

// String says it in words, without the signing key.
func (h Header) String() string {
	s := fmt.Sprintf("backup of box %s, made %s (clock: %s) by tallyhood %s: %d entries, the last with hash %s, %d bytes", h.Box, h.Wall, h.Quality, h.Program, h.Entries, h.Hash, h.Size)
	if h.SigningKey != "" {
		s += ", and the box's signing key"
	}
	return s
}

// GoString is String, so that no way of printing shows the key.
func (h Header) GoString() string { return h.String() }

// Made is a backup that was written, and the key to prove it with.
type Made struct {
	Header
	Proof Key
}

// Write writes a backup to a stream. The caller fills in box, program, time and
// quality, and the signing key if somebody asked for it. What was written counts
// for nothing until Write has returned nil, and for little before Prove.
func Write(ctx context.Context, w io.Writer, src Source, h Header, lock Lock) (Made, error) {
	recipients, proof, err := lock.use()
	if err != nil {
		return Made{}, fmt.Errorf("backup: %w", err)
	}
	sealed, err := age.Encrypt(&guarded{ctx: ctx, w: w}, recipients...)
	if err != nil {
		return Made{}, fmt.Errorf("backup: %w", err)
	}
	sum := sha256.New()
	out := &counting{w: io.MultiWriter(sealed, sum)}
	err = src.Snapshot(ctx, out, func(size int64, number uint64, hash [32]byte) error {
		h.Size, h.Entries, h.Hash = size, number, hex.EncodeToString(hash[:])
		line, err := json.Marshal(h)
		if err != nil {
			return err
		}
		if len(line) >= maxHeader {
			return fmt.Errorf("the header has %d bytes", len(line))
		}
		_, err = fmt.Fprintf(out, "%s%d\n%s\n", word, version, line)
		out.n = 0
		return err
	})
	switch {
	case err != nil:
	case h.Size == 0:
		err = errors.New("the store gave nothing")
	case out.n != h.Size:
		err = fmt.Errorf("the store gave %d bytes, it had announced %d", out.n, h.Size)
	}
	if err == nil {
		_, err = fmt.Fprintf(sealed, "sha256 %x\n", sum.Sum(nil))
	}
	if err == nil {
		err = sealed.Close() // the last block; without it nothing restores
	}
	if err != nil {
		return Made{}, fmt.Errorf("backup: %w", err)
	}
	return Made{h, proof}, nil
}

// guarded writes until the context ends.
type guarded struct {
	ctx context.Context
	w   io.Writer
}

func (g *guarded) Write(p []byte) (int, error) {
	if err := g.ctx.Err(); err != nil {
		return 0, err
	}
	return g.w.Write(p)
}

type counting struct {
	w io.Writer
	n int64
}

func (c *counting) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// Read decrypts a backup. Begin is called with the header and returns where the
// store's file goes; nothing of it counts until Read has returned nil. Limit is
// the most bytes the file may have, 0 for MaxSize.
func Read(ctx context.Context, r io.Reader, key Key, limit int64, begin func(Header) (io.Writer, error)) (Header, error) {
	in := &incoming{ctx: ctx, r: r, left: maxOuter}
	h, err := read(in, key, limit, begin)
	switch {
	case err == nil:
		return h, nil
	case in.err != nil && in.err != errTooMuch: // of the medium, or of the context
		err = in.err
	}
	return h, fmt.Errorf("backup: %w", err)
}

func read(in *incoming, key Key, limit int64, begin func(Header) (io.Writer, error)) (Header, error) {
	if limit <= 0 {
		limit = MaxSize
	}
	const outer = "age-encryption.org/v1\n"
	start := make([]byte, len(outer))
	n, err := io.ReadFull(in, start)
	if err != nil || string(start) != outer {
		if err != nil && n > 0 && strings.HasPrefix(outer, string(start[:n])) {
			return Header{}, ErrDamaged
		}
		return Header{}, ErrNoBackup
	}
	opened, err := age.Decrypt(io.MultiReader(bytes.NewReader(start), in), key.identities...)
	if err != nil {
		return Header{}, key.refusal(err)
	}
	in.left = limit + limit/1024 + maxOuter // age adds 16 bytes to 64 KiB

	sum := sha256.New()
	// The reader holds a line at most; what it reads ahead is bounded too.
	clear := bufio.NewReaderSize(opened, maxHeader)
	line := func() (string, error) {
		text, err := clear.ReadSlice('\n')
		if err != nil {
			return "", ErrDamaged
		}
		sum.Write(text)
		return string(text), nil
	}
	first, err := line()
	if err != nil {
		return Header{}, err
	}
	if err := checkVersion(first); err != nil {
		return Header{}, err
	}
	second, err := line()
	if err != nil {
		return Header{}, err
	}
	h, err := parseHeader(second)
	if err != nil {
		return Header{}, err
	}
	if h.Size > limit {
		return h, fmt.Errorf("%w: the store in it has %d bytes, the most is %d", ErrTooLarge, h.Size, limit)
	}
	w, err := begin(h)
	if err != nil {
		return h, err
	}
	out := &failing{w: w}
	if _, err := io.CopyN(io.MultiWriter(out, sum), clear, h.Size); err != nil {
		if out.err != nil {
			return h, out.err
		}
		return h, ErrDamaged
	}
	want := fmt.Sprintf("sha256 %x\n", sum.Sum(nil))
	last, err := io.ReadAll(io.LimitReader(clear, int64(len(want))+1))
	if err != nil || string(last) != want {
		return h, ErrDamaged
	}
	return h, nil
}

func checkVersion(line string) error {
	text, ok := strings.CutPrefix(strings.TrimSuffix(line, "\n"), word)
	n, err := strconv.Atoi(text)
	switch {
	case !ok || err != nil || n < 1 || strconv.Itoa(n) != text:
		return ErrNoBackup
	case n > version:
		return ErrNewer
	}
	return nil
}

func parseHeader(line string) (Header, error) {
	var h Header
	d := json.NewDecoder(strings.NewReader(line))
	d.DisallowUnknownFields() // what this version does not know belongs to another
	if err := d.Decode(&h); err != nil || d.InputOffset() != int64(len(line)-1) {
		return Header{}, fmt.Errorf("%w: its header cannot be read", ErrDamaged)
	}
	if hash, err := hex.DecodeString(h.Hash); err != nil || len(hash) != sha256.Size || h.Size <= 0 {
		return Header{}, fmt.Errorf("%w: its header contradicts itself", ErrDamaged)
	}
	return h, nil
}

var errTooMuch = errors.New("more than there should be")

// incoming reads until the context ends or too much has come, and remembers an
// error of what it reads: age wraps it beyond telling.
type incoming struct {
	ctx  context.Context
	r    io.Reader
	left int64
	err  error
}

func (in *incoming) Read(p []byte) (int, error) {
	if in.err == nil {
		in.err = in.ctx.Err()
	}
	if in.err == nil && in.left <= 0 {
		in.err = errTooMuch
	}
	if in.err != nil {
		return 0, in.err
	}
	n, err := in.r.Read(p[:min(int64(len(p)), in.left)])
	in.left -= int64(n)
	if err != nil && err != io.EOF {
		in.err = err
	}
	return n, err
}

// failing remembers an error of what is written to.
type failing struct {
	w   io.Writer
	err error
}

func (f *failing) Write(p []byte) (int, error) {
	n, err := f.w.Write(p)
	if err != nil {
		f.err = err
	}
	return n, err
}
