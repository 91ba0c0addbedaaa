// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"tallyhood/device"
)

// A Key is one key of one kind of pedal. Vendor, Product and Code say what it
// is, so that it is found in any port. Name, Phys (the port) and Uniq (a serial
// number) may be empty; they only choose between several devices that fit.
type Key struct {
	Vendor, Product  uint16
	Code             uint16 // of linux/input-event-codes.h; 0: none has been learned
	Name, Phys, Uniq string
}

// Device is the pedal's kind as vendor:product in hexadecimal.
func (k Key) Device() string { return fmt.Sprintf("%04x:%04x", k.Vendor, k.Product) }

// Same says whether two keys cannot be told apart after a replug.
func (k Key) Same(o Key) bool {
	return k.Code != 0 && k.Vendor == o.Vendor && k.Product == o.Product && k.Code == o.Code
}

// ParseKey reads a key that is configured by hand: the pedal as
// vendor:product, four hexadecimal digits each, and the key's code.
func ParseKey(kind string, code int) (Key, error) {
	v, p, ok := strings.Cut(kind, ":")
	vendor, err1 := strconv.ParseUint(v, 16, 16)
	product, err2 := strconv.ParseUint(p, 16, 16)
	if !ok || len(v) != 4 || len(p) != 4 || err1 != nil || err2 != nil {
		return Key{}, fmt.Errorf("%q is no pedal; want vendor:product, like 1a2b:3c4d", kind)
	}
	if code < 1 || code >= keyCount {
		return Key{}, fmt.Errorf("%d is no key code; want 1 to %d", code, keyCount-1)
	}
	return Key{Vendor: uint16(vendor), Product: uint16(product), Code: uint16(code)}, nil
}

// The file of learned keys.
const (
	fileKind    = "pedals"
	fileVersion = "1"
	maxFile     = 64 << 10
)

type fileOfKeys struct {
	Kind    string    `json:"kind"`
	Version string    `json:"version"`
	Keys    []fileKey `json:"keys"`
}

type fileKey struct {
	Line   device.Line `json:"line"`
	Device string      `json:"device"`
	Key    int         `json:"key"`
	Name   string      `json:"name,omitempty"`
	Phys   string      `json:"phys,omitempty"`
	Uniq   string      `json:"uniq,omitempty"`
}

// Encode writes learned keys as JSON; a line without a key is left out.
func Encode(keys map[device.Line]Key) ([]byte, error) {
	f := fileOfKeys{Kind: fileKind, Version: fileVersion, Keys: []fileKey{}}
	for _, l := range device.Lines() {
		if k := keys[l]; k.Code != 0 {
			f.Keys = append(f.Keys, fileKey{l, k.Device(), int(k.Code), k.Name, k.Phys, k.Uniq})
		}
	}
	b, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return nil, err
	}
	b = append(b, '\n')
	_, err = Decode(b) // what cannot be read again is not written
	return b, err
}

// Decode reads what Encode wrote.
func Decode(b []byte) (map[device.Line]Key, error) {
	if len(b) > maxFile {
		return nil, fmt.Errorf("learned pedals: longer than %d bytes", maxFile)
	}
	var f fileOfKeys
	if err := json.Unmarshal(b, &f); err != nil {
		return nil, fmt.Errorf("learned pedals: %w", err)
	}
	if f.Kind != fileKind || f.Version != fileVersion {
		return nil, fmt.Errorf("learned pedals: %q of version %q, want %q of version %q", f.Kind, f.Version, fileKind, fileVersion)
	}
	keys := map[device.Line]Key{}
	for _, e := range f.Keys {
		if !slices.Contains(device.Lines(), e.Line) {
			return nil, fmt.Errorf("learned pedals: there is no contact %q", e.Line)
		}
		k, err := ParseKey(e.Device, e.Key)
		if err != nil {
			return nil, fmt.Errorf("learned pedals: %s: %w", e.Line, err)
		}
		if _, twice := keys[e.Line]; twice {
			return nil, fmt.Errorf("learned pedals: %s stands there twice", e.Line)
		}
		k.Name, k.Phys, k.Uniq = plain(e.Name), plain(e.Phys), plain(e.Uniq)
		keys[e.Line] = k
	}
	if err := distinct(keys); err != nil {
		return nil, fmt.Errorf("learned pedals: %w", err)
	}
	return keys, nil
}

// A TakenError says that a key is another line's already. Two equal pedals for
// two lines are refused for the same reason: in other ports nothing would tell
// which is which.
type TakenError struct {
	Line device.Line // whose key it is
	Key  Key
}

func (e TakenError) Error() string {
	return fmt.Sprintf("key %d of pedal %s is the one for %s already; equal pedals need different keys", e.Key.Code, e.Key.Device(), e.Line)
}

func taken(keys map[device.Line]Key, by device.Line, k Key) error {
	for _, l := range device.Lines() {
		if l != by && k.Same(keys[l]) {
			return TakenError{l, k}
		}
	}
	return nil
}

func distinct(keys map[device.Line]Key) error {
	for l, k := range keys {
		if err := taken(keys, l, k); err != nil {
			return err
		}
	}
	return nil
}

// Load reads the file of learned keys; no file means that none are learned.
func Load(path string) (map[device.Line]Key, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return map[device.Line]Key{}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("learned pedals: %w", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err != nil {
		return nil, fmt.Errorf("learned pedals: %w", err)
	}
	return Decode(b)
}

// Save writes the file of learned keys so that a power cut leaves the old one
// or the new one, whole.
func Save(path string, keys map[device.Line]Key) error {
	b, err := Encode(keys)
	if err != nil {
		return err
	}
	if err := replace(path, b); err != nil {
		return fmt.Errorf("learned pedals: %w", err)
	}
	return nil
}

func replace(path string, b []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(b); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer dir.Close()
	return dir.Sync() // the new name is on the disk only then
}
