// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"filippo.io/age"
)

const (
	minPassphrase = 12 // signs

	// workFactor makes scrypt take 64 MiB and a few tenths of a second: what a
	// board of 512 MiB can spare beside the daemon. mostWork is what a backup
	// from elsewhere may ask for: 128 MiB.
	workFactor = 16
	mostWork   = 17
)

// A Lock closes backups.
type Lock struct {
	passphrase string
	recipients []age.Recipient
}

// A Key opens backups.
type Key struct {
	identities []age.Identity
	passphrase bool
}

// WithPassphrase is the lock of a passphrase; ErrWeak for one that is too short.
// Space at its ends does not count.
func WithPassphrase(text string) (Lock, error) {
	text = strings.TrimSpace(text)
	if utf8.RuneCountInString(text) < minPassphrase {
		return Lock{}, ErrWeak
	}
	return Lock{passphrase: text}, nil
}

// WithRecipients is the lock of one or more X25519 public keys, one a line, as
// age-keygen prints them (age1...). Empty lines and those after # do not count.
func WithRecipients(text string) (Lock, error) {
	var l Lock
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		r, err := age.ParseX25519Recipient(line)
		if err != nil {
			return Lock{}, fmt.Errorf("%q is no public key of age (age1...)", line)
		}
		l.recipients = append(l.recipients, r)
	}
	if len(l.recipients) == 0 {
		return Lock{}, errors.New("there is no public key to lock with")
	}
	return l, nil
}

// use gives recipients for one backup, and the key to prove it with.
func (l Lock) use() ([]age.Recipient, Key, error) {
	switch {
	case l.passphrase != "":
		r, err := age.NewScryptRecipient(l.passphrase)
		if err != nil {
			return nil, Key{}, err
		}
		r.SetWorkFactor(workFactor)
		k, err := Passphrase(l.passphrase)
		return []age.Recipient{r}, k, err
	case len(l.recipients) > 0:
		own, err := age.GenerateX25519Identity()
		if err != nil {
			return nil, Key{}, err
		}
		return append([]age.Recipient{own.Recipient()}, l.recipients...), Key{identities: []age.Identity{own}}, nil
	}
	return nil, Key{}, errors.New("a backup is never written without a lock")
}

// Passphrase is the key that a passphrase is.
func Passphrase(text string) (Key, error) {
	i, err := age.NewScryptIdentity(strings.TrimSpace(text))
	if err != nil {
		return Key{}, ErrLocked
	}
	i.SetMaxWorkFactor(mostWork)
	return Key{identities: []age.Identity{i}, passphrase: true}, nil
}

// Identities is the key of one or more X25519 secret keys, as age-keygen writes
// them into a file (AGE-SECRET-KEY-1...).
func Identities(text string) (Key, error) {
	var k Key
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		i, err := age.ParseX25519Identity(line)
		if err != nil {
			return Key{}, errors.New("this is no file with a secret key of age (AGE-SECRET-KEY-1...)") // never with the line
		}
		k.identities = append(k.identities, i)
	}
	if len(k.identities) == 0 {
		return Key{}, errors.New("there is no secret key in this file")
	}
	return k, nil
}

// String shows nothing of the key.
func (k Key) String() string { return "a key" }

// GoString is String.
func (k Key) GoString() string { return k.String() }

// String shows nothing of the passphrase.
func (l Lock) String() string { return "a lock" }

// GoString is String.
func (l Lock) GoString() string { return l.String() }

// refusal says in the words of this package why a lock did not open.
func (k Key) refusal(err error) error {
	var none *age.NoIdentityMatchError
	if !errors.As(err, &none) {
		if strings.Contains(err.Error(), "work factor too large") {
			return fmt.Errorf("%w: its passphrase would take too much memory and time", ErrTooLarge)
		}
		return ErrDamaged
	}
	byPassphrase := false
	for _, t := range none.StanzaTypes {
		byPassphrase = byPassphrase || t == "scrypt"
	}
	if byPassphrase != k.passphrase {
		return ErrOtherLock
	}
	return ErrLocked
}
