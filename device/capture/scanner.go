// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"errors"
	"fmt"
	"io"
)

// Kinds of bytes. Bytes from 0x80 up are ink: names and texts of other
// programs may hold any encoding.
const (
	ink = iota
	space
	control
)

var kinds = func() (k [256]byte) {
	for c := range 0x20 {
		k[c] = control
	}
	k[0x7f] = control
	for _, c := range " \t\n\v\f\r" {
		k[c] = space
	}
	return k
}()

// A scanner cuts a stream into words between white space and knows where it
// stands. Its buffer is the only memory that it uses.
type scanner struct {
	src      io.Reader
	buf      []byte
	pos, end int   // unread part of buf
	base     int64 // offset in the stream of buf[0]
	line     int   // lines ended so far
	lineAt   int64 // offset of the first byte of the present line
	tokenAt  int64 // offset of the last token
	cut      bool  // the last token ends where the stream ends
	err      error // why src gives no more; io.EOF at the end
}

// A place is a point in the file, for an error that is found later.
type place struct{ line, column int }

func newScanner(src io.Reader) *scanner {
	s := &scanner{src: src, buf: make([]byte, 2*MaxToken)}
	for s.end < 3 && s.fill(0) {
	}
	// Editors of some systems put a byte order mark before the text.
	if s.end >= 3 && string(s.buf[:3]) == "\xef\xbb\xbf" {
		s.pos, s.lineAt = 3, 3
	}
	return s
}

// fill reads more behind buf[keep:end], which it may move to the front: base
// grows by as much. It is false when there is no more.
func (s *scanner) fill(keep int) bool {
	if s.err != nil {
		return false
	}
	if keep > 0 {
		copy(s.buf, s.buf[keep:s.end])
		s.pos -= keep
		s.end -= keep
		s.base += int64(keep)
	}
	for range 100 {
		n, err := s.src.Read(s.buf[s.end:])
		if n < 0 || n > len(s.buf)-s.end {
			n, err = 0, errors.New("the source counts its bytes wrongly")
		}
		s.end += n
		s.err = err
		if n > 0 {
			return true
		}
		if err != nil {
			return false
		}
	}
	s.err = io.ErrNoProgress
	return false
}

// token returns the next word, valid until the next call. The error is io.EOF
// at the end, an *Error for bytes that no text has, or that of the source.
func (s *scanner) token() ([]byte, error) {
	pos := s.pos
skip:
	for {
		buf := s.buf[:s.end]
		for ; pos < len(buf); pos++ {
			c := buf[pos]
			if kinds[c] != space {
				break skip
			}
			if c == '\n' {
				s.line++
				s.lineAt = s.base + int64(pos) + 1
			}
		}
		s.pos = pos
		if !s.fill(pos) {
			return nil, s.err
		}
		pos = s.pos
	}
	start := pos
	for {
		buf := s.buf[:s.end]
		for pos < len(buf) && kinds[buf[pos]] == ink {
			pos++
		}
		if pos < len(buf) || pos-start > MaxToken {
			break
		}
		s.pos = pos
		base := s.base
		more := s.fill(start)
		start -= int(s.base - base)
		pos = s.pos
		if !more {
			if s.err != io.EOF {
				return nil, s.err
			}
			s.cut = true
			break
		}
	}
	s.pos = pos
	s.tokenAt = s.base + int64(start)
	if pos-start > MaxToken {
		return nil, s.errorf("a word of more than %d bytes", MaxToken)
	}
	if pos < s.end && kinds[s.buf[pos]] == control {
		s.tokenAt = s.base + int64(pos)
		return nil, s.errorf("byte 0x%02x: this is not a text file", s.buf[pos])
	}
	return s.buf[start:pos], nil
}

// until appends all bytes up to the word stop to dst, without stop itself. It
// keeps white space as it stands. At the end of the stream the error is
// io.EOF; more than most bytes are an error.
func (s *scanner) until(dst []byte, stop string, most int) ([]byte, error) {
	at := s.there()
	word := len(dst)
	for {
		if s.pos == s.end && !s.fill(s.pos) {
			if s.err == io.EOF && string(dst[word:]) == stop {
				s.cut = true
				return dst[:word], nil
			}
			return nil, s.err
		}
		c := s.buf[s.pos]
		switch kinds[c] {
		case space:
			if string(dst[word:]) == stop {
				return dst[:word], nil
			}
			word = len(dst) + 1
			if c == '\n' {
				s.line++
				s.lineAt = s.base + int64(s.pos) + 1
			}
		case control:
			s.tokenAt = s.base + int64(s.pos)
			return nil, s.errorf("byte 0x%02x: this is not a text file", c)
		}
		if len(dst) == most {
			return nil, at.errorf("a note of more than %d bytes", most)
		}
		dst = append(dst, c)
		s.pos++
	}
}

// here is the place of the last token.
func (s *scanner) here() place {
	return place{s.line + 1, int(s.tokenAt-s.lineAt) + 1}
}

// there is the place where reading stopped.
func (s *scanner) there() place {
	return place{s.line + 1, int(s.base+int64(s.pos)-s.lineAt) + 1}
}

// errorf is an error at the last token.
func (s *scanner) errorf(format string, args ...any) *Error {
	return s.here().errorf(format, args...)
}

func (p place) errorf(format string, args ...any) *Error {
	return &Error{p.line, p.column, fmt.Sprintf(format, args...)}
}
