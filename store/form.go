// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strconv"
)

// formWord opens every form and names its version.
const formWord = "tallyhood.entry/1"

// HashOf is the SHA-256 of the entry's form (see AppendForm). It covers every
// field but Hash itself.
func HashOf(e Entry) [32]byte {
	return sha256.Sum256(AppendForm(nil, e))
}

// AppendForm appends the form of an entry to dst: the bytes that are hashed,
// and that store/bolt keeps. An entry of kind "squeeze" in stream "run-1"
// whose body is the nine bytes {"at":12} has the form
//
//	tallyhood.entry/1
//	number 7
//	prev 2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae
//	stream 5:run-1
//	kind 7:squeeze
//	version 1
//	body 9:{"at":12}
//
// Each line ends with one line feed (0x0A), the last too. Numbers are decimal,
// without sign and without leading zeros. Prev is 64 lower-case hexadecimal
// digits. Stream, kind and body are their length in bytes, a colon, and the
// bytes as they are, which may hold anything, line feeds too: a reader counts
// and never searches. So no two entries have the same form, and
//
//	printf 'tallyhood.entry/1\nnumber 7\n...' | sha256sum
//
// gives the hash.
func AppendForm(dst []byte, e Entry) []byte {
	dst = append(dst, formWord+"\nnumber "...)
	dst = strconv.AppendUint(dst, e.Number, 10)
	dst = append(dst, "\nprev "...)
	dst = hex.AppendEncode(dst, e.Prev[:])
	dst = append(dst, "\nstream "...)
	dst = appendCounted(dst, e.Stream)
	dst = append(dst, "\nkind "...)
	dst = appendCounted(dst, e.Kind)
	dst = append(dst, "\nversion "...)
	dst = strconv.AppendInt(dst, int64(e.Version), 10)
	dst = append(dst, "\nbody "...)
	dst = appendCounted(dst, e.Body)
	return append(dst, '\n')
}

func appendCounted[T string | []byte](dst []byte, field T) []byte {
	dst = strconv.AppendInt(dst, int64(len(field)), 10)
	dst = append(dst, ':')
	return append(dst, field...)
}

// ParseForm reads a form back. The entry's Hash is computed from the bytes and
// its Body is a copy. Only what AppendForm writes is accepted; any other byte
// is an error.
func ParseForm(form []byte) (Entry, error) {
	p := parser{rest: form}
	var e Entry
	p.word(formWord + "\nnumber ")
	e.Number = p.number(math.MaxUint64)
	p.word("\nprev ")
	p.hash(&e.Prev)
	p.word("\nstream ")
	e.Stream = string(p.counted())
	p.word("\nkind ")
	e.Kind = string(p.counted())
	p.word("\nversion ")
	e.Version = int(p.number(math.MaxInt32))
	p.word("\nbody ")
	e.Body = bytes.Clone(p.counted())
	p.word("\n")
	if p.err == nil && len(p.rest) > 0 {
		p.fail("nothing more")
	}
	if p.err != nil {
		return Entry{}, fmt.Errorf("form of an entry, %d bytes before its end: %w", len(p.rest), p.err)
	}
	e.Hash = sha256.Sum256(form)
	return e, nil
}

// A parser takes a form apart from the front; after the first error it takes
// nothing more.
type parser struct {
	rest []byte
	err  error
}

func (p *parser) fail(want string) {
	if p.err == nil {
		p.err = errors.New("expected " + want)
	}
}

func (p *parser) word(w string) {
	if p.err != nil {
		return
	}
	if !bytes.HasPrefix(p.rest, []byte(w)) {
		p.fail(strconv.Quote(w))
		return
	}
	p.rest = p.rest[len(w):]
}

// number takes the digits at the front.
func (p *parser) number(most uint64) uint64 {
	if p.err != nil {
		return 0
	}
	n := 0
	for n < len(p.rest) && p.rest[n] >= '0' && p.rest[n] <= '9' {
		n++
	}
	digits := p.rest[:n]
	v, err := strconv.ParseUint(string(digits[:min(n, 21)]), 10, 64)
	if err != nil || v > most || n > 1 && digits[0] == '0' {
		p.fail("a number")
		return 0
	}
	p.rest = p.rest[n:]
	return v
}

func (p *parser) hash(h *[32]byte) {
	if p.err != nil {
		return
	}
	const digits = 2 * len(h)
	if len(p.rest) < digits {
		p.fail("a hash")
		return
	}
	if _, err := hex.Decode(h[:], p.rest[:digits]); err != nil || bytes.ContainsAny(p.rest[:digits], "ABCDEF") {
		p.fail("a hash")
		return
	}
	p.rest = p.rest[digits:]
}

func (p *parser) counted() []byte {
	n := p.number(math.MaxInt32)
	p.word(":")
	if p.err != nil {
		return nil
	}
	if n > uint64(len(p.rest)) {
		p.fail("more bytes")
		return nil
	}
	field := p.rest[:n]
	p.rest = p.rest[n:]
	return field
}
