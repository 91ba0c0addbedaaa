// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

const (
	erasedEnd  = ".erased" // the list beside the store
	erasedWord = "tallyhood.erased/1"
	mostID     = 64 // bytes of an id
)

// ErrSpoiltList: lines of the list of the erased cannot be read.
var ErrSpoiltList = errors.New("the list of erased people beside the store has lines that cannot be read: what the store itself knows is taken, and the list is written anew")

// An Erased is a list of ids of people who were erased, in a small file beside
// the store: ids alone, one a line, and no names. A store that is put in the
// place of this one may be older than an erasure, and would bring the person
// back; the list says whom to erase again.
//
// What it can know: every erasure made or heard of on this box, also through a
// backup that was restored here once. What it cannot know: an erasure made
// after a backup, when that backup is restored on another box, or on one whose
// list is lost. Nothing is there then that could tell; a newer backup does.
type Erased struct {
	path string
	mu   sync.Mutex
}

// ErasedBeside is the list of the store at a path.
func ErasedBeside(store string) *Erased { return &Erased{path: store + erasedEnd} }

// Read gives the ids, in order. With ErrSpoiltList it gives those that could be
// read; there are none when there is no file.
func (e *Erased) Read() ([]string, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.read()
}

func (e *Erased) read() ([]string, error) {
	b, err := os.ReadFile(e.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list of the erased: %w", err)
	}
	var people []string
	spoilt := !bytes.HasSuffix(b, []byte("\n")) // the last line may be half of an id
	lines := bufio.NewScanner(bytes.NewReader(b))
	for n := 0; lines.Scan(); n++ {
		line := lines.Text()
		switch {
		case n == 0:
			spoilt = spoilt || line != erasedWord
		case !isID(line):
			spoilt = true
		default:
			people = append(people, line)
		}
	}
	if spoilt || lines.Err() != nil {
		err = fmt.Errorf("%s: %w", e.path, ErrSpoiltList)
	}
	return tidied(people), err
}

// Add writes further ids, and returns when they are durable. A power cut leaves
// the list before or the list after. What could not be read before goes.
func (e *Erased) Add(people ...string) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, id := range people {
		if !isID(id) {
			return fmt.Errorf("list of the erased: %q is no id", id)
		}
	}
	had, err := e.read()
	if err != nil && !errors.Is(err, ErrSpoiltList) {
		return err
	}
	all := tidied(slices.Concat(had, people))
	if err == nil && len(all) == len(had) {
		return nil
	}
	if err := e.write(all); err != nil {
		return fmt.Errorf("list of the erased: %w", err)
	}
	return nil
}

func (e *Erased) write(all []string) error {
	next := e.path + ".new"
	if err := remove(next); err != nil {
		return err
	}
	file, err := os.OpenFile(next, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = file.WriteString(erasedWord + "\n" + strings.Join(append(all, ""), "\n"))
	if err == nil {
		err = file.Sync()
	}
	err = errors.Join(err, file.Close())
	if err == nil {
		err = os.Rename(next, e.path)
	}
	if err != nil {
		return errors.Join(err, remove(next))
	}
	return syncFolder(filepath.Dir(e.path))
}

func tidied(people []string) []string {
	return slices.Compact(slices.Sorted(slices.Values(people)))
}

// isID takes small letters, digits and hyphens: a name has a space or a capital.
func isID(s string) bool {
	return s != "" && len(s) <= mostID && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-')
	})
}
