// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"math"
	"unicode/utf8"
)

// Limits, in bytes. They bound what one entry can cost to write and to read.
const (
	MaxBody = 1 << 20 // a draft's body and a table's value
	MaxName = 255     // a stream, a kind, a table's name
	MaxKey  = 1024    // a table's key
)

// Check returns ErrInvalid, saying why, when the draft cannot be stored.
func (d Draft) Check() error {
	switch {
	case len(d.Stream) > MaxName:
		return fmt.Errorf("%w: the stream's name has %d bytes, the most is %d", ErrInvalid, len(d.Stream), MaxName)
	case d.Kind == "":
		return fmt.Errorf("%w: the kind is empty", ErrInvalid)
	case len(d.Kind) > MaxName:
		return fmt.Errorf("%w: the kind has %d bytes, the most is %d", ErrInvalid, len(d.Kind), MaxName)
	case d.Version < 1 || d.Version > math.MaxInt32:
		return fmt.Errorf("%w: version %d is not from 1 to %d", ErrInvalid, d.Version, math.MaxInt32)
	case len(d.Body) > MaxBody:
		return fmt.Errorf("%w: the body has %d bytes, the most is %d", ErrInvalid, len(d.Body), MaxBody)
	}
	return nil
}

// CheckTable returns ErrInvalid, saying why, when a table cannot have the name.
func CheckTable(name string) error {
	switch {
	case name == "" || len(name) > MaxName:
		return fmt.Errorf("%w: a table's name has 1 to %d bytes, not %d", ErrInvalid, MaxName, len(name))
	case !utf8.ValidString(name):
		return fmt.Errorf("%w: a table's name is text, not %q", ErrInvalid, name)
	}
	return nil
}

// CheckPair returns ErrInvalid, saying why, when a table cannot hold the pair.
func CheckPair(key string, value []byte) error {
	switch {
	case key == "" || len(key) > MaxKey:
		return fmt.Errorf("%w: a key has 1 to %d bytes, not %d", ErrInvalid, MaxKey, len(key))
	case len(value) > MaxBody:
		return fmt.Errorf("%w: the value has %d bytes, the most is %d", ErrInvalid, len(value), MaxBody)
	}
	return nil
}
