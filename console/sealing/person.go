// SPDX-License-Identifier: Apache-2.0

package sealing

import (
	"fmt"
	"io"
	"strings"
)

const (
	personWord = "p-"
	personSize = 8 // signs after the word
	// signs are digits and letters that are not taken for one another when they
	// are read aloud or copied (no 0, 1, l, o), and no vowels, which would make
	// words. 28 are left: 28^8 ids, 3.8 * 10^11.
	signs = "23456789bcdfghjkmnpqrstvwxyz"
)

// NewPerson returns a random id, such as p-7kq2m9xd. It says nothing of the
// person. Two alike among 100,000 people have a chance of about one in a
// hundred: New refuses an id that has a key, and the caller takes another.
func NewPerson(random io.Reader) (string, error) {
	id := []byte(personWord)
	var b [1]byte
	for len(id) < len(personWord)+personSize {
		if _, err := io.ReadFull(random, b[:]); err != nil {
			return "", fmt.Errorf("id for a person: %w", err)
		}
		// Bytes beyond the last multiple are thrown away: all signs are as likely.
		if int(b[0]) < 256/len(signs)*len(signs) {
			id = append(id, signs[int(b[0])%len(signs)])
		}
	}
	return string(id), nil
}

// CheckPerson returns ErrInvalid unless the id is "p-" and eight lower-case
// letters or digits; that is wider than what NewPerson makes.
func CheckPerson(id string) error {
	rest, ok := strings.CutPrefix(id, personWord)
	bad := func(r rune) bool { return !(r >= '0' && r <= '9' || r >= 'a' && r <= 'z') }
	if !ok || len(rest) != personSize || strings.ContainsFunc(rest, bad) {
		return fmt.Errorf("%w: %q is no person's id", ErrInvalid, id)
	}
	return nil
}
