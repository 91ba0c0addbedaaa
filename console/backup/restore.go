// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Endings of files beside the store.
const (
	restoringEnd = ".restoring" // a restore that is not finished
	proofEnd     = ".proof"     // a proof that is not finished
	replacedEnd  = ".replaced"  // what a restore has replaced
	outgoingEnd  = ".outgoing"  // a backup on its way to a stream
)

// A Place is where a store lies, and how it is checked.
type Place struct {
	// Path is the store's file. Proofs and restores write beside it.
	Path string
	// Check proves the file at a path in full and returns number and hash of its
	// last entry. What it opens comes from a backup and may be hostile: a caller
	// that fears for memory and time runs it in a child.
	Check func(ctx context.Context, path string) (number uint64, hash [32]byte, err error)
	// Prepare, if not nil, is called by Restore with the proven file before that
	// takes the store's place, and closes it again: what it writes is there from
	// the first moment. Its error ends the restore and leaves the old store.
	Prepare func(ctx context.Context, path string, h Header) error
	// Kept, if not nil, is told by Restore which name the store that was replaced
	// has from then on.
	Kept func(path string)
	// Limit is the most that a restored file may have, in bytes; 0 for MaxSize.
	Limit int64
}

// Prove restores a backup into a file that is thrown away, checks that in full,
// and compares its last entry with the header's. It does not touch the store.
func (p Place) Prove(ctx context.Context, r io.Reader, key Key) (Header, error) {
	path := p.Path + proofEnd
	h, err := p.unpack(ctx, r, key, path)
	if gone := remove(path); err == nil && gone != nil {
		err = fmt.Errorf("the proof is left over in clear: %w", gone)
	}
	if err != nil {
		return h, fmt.Errorf("prove: %w", err)
	}
	return h, nil
}

// Stream writes a backup that was proven to a stream, such as a download. It is
// made beside the store first, encrypted, so that it can be read twice; nothing
// goes to w before the proof. What then arrives is not known here: the caller
// says how many bytes and which hash there should be, with what Stream gives to
// begin before the first byte. Begin may be nil.
func (p Place) Stream(ctx context.Context, w io.Writer, src Source, h Header, lock Lock, begin func(size int64, sum [32]byte) error) (Header, error) {
	path := p.Path + outgoingEnd
	made, err := p.stream(ctx, path, w, src, h, lock, begin)
	if err = errors.Join(err, remove(path)); err != nil {
		return Header{}, fmt.Errorf("stream: %w", err)
	}
	return made, nil
}

func (p Place) stream(ctx context.Context, path string, w io.Writer, src Source, h Header, lock Lock, begin func(size int64, sum [32]byte) error) (Header, error) {
	if err := remove(path); err != nil {
		return Header{}, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return Header{}, err
	}
	defer file.Close()
	made, err := Write(ctx, file, src, h, lock)
	if err == nil {
		err = file.Sync()
	}
	if err != nil {
		return Header{}, err
	}
	if err := prove(ctx, path, made, p); err != nil {
		return Header{}, err
	}
	if begin != nil {
		sum := sha256.New()
		size, err := rewound(file, sum)
		if err == nil {
			err = begin(size, [32]byte(sum.Sum(nil)))
		}
		if err != nil {
			return Header{}, err
		}
	}
	_, err = rewound(file, &guarded{ctx: ctx, w: w})
	return made.Header, err
}

// rewound copies a file from its beginning.
func rewound(file *os.File, w io.Writer) (int64, error) {
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return 0, err
	}
	return io.Copy(w, file)
}

// Restore puts the store of a backup in its place, when it was checked in full.
// The store must not be open. Where there is one with records, or one that
// cannot be read, ErrHasRecords is returned unless over is true; then the old
// file stays beside it with the ending ".replaced", or ".replaced-2" and so on
// where earlier ones lie, until somebody deletes it. A power cut leaves the old
// store or the new one. The signing key, if the header has one, is the caller's
// to put away. A caller beside whom others may open the store holds its lock
// until Restore returns; where there was none and one came meanwhile, that is an
// error.
func (p Place) Restore(ctx context.Context, r io.Reader, key Key, over bool) (Header, error) {
	there, err := p.there(ctx, over)
	if err != nil {
		return Header{}, fmt.Errorf("restore: %w", err)
	}
	path := p.Path + restoringEnd
	h, err := p.unpack(ctx, r, key, path)
	if err == nil && p.Prepare != nil {
		err = p.Prepare(ctx, path, h)
	}
	if err == nil {
		err = p.replace(path, there)
	}
	if err != nil {
		return h, fmt.Errorf("restore: %w", errors.Join(err, remove(path)))
	}
	return h, nil
}

// there says whether there is a store, and refuses when it must not be replaced.
func (p Place) there(ctx context.Context, over bool) (bool, error) {
	info, err := os.Lstat(p.Path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err != nil:
		return false, err
	case !info.Mode().IsRegular():
		return false, fmt.Errorf("%w: %s is no file", ErrHasRecords, p.Path)
	case over:
		return true, nil
	}
	number, _, err := p.Check(ctx, p.Path)
	switch {
	case ctx.Err() != nil:
		return false, ctx.Err()
	case err != nil:
		return false, fmt.Errorf("%w: it cannot be read: %w", ErrHasRecords, err)
	case number > 0:
		return false, fmt.Errorf("%w: it has %d entries", ErrHasRecords, number)
	}
	return true, nil
}

// replace puts the file at path in the store's place.
func (p Place) replace(path string, there bool) error {
	if !there {
		// Not by renaming, which would take the place of a store that a console
		// has begun meanwhile.
		err := os.Link(path, p.Path)
		if errors.Is(err, fs.ErrExist) {
			err = fmt.Errorf("%w: it was begun meanwhile; stop the console and restore again", ErrHasRecords)
		}
		if err == nil {
			err = errors.Join(remove(path), syncFolder(filepath.Dir(p.Path)))
		}
		return err
	}
	// A second name for the old file first, so that there is no moment without a
	// store.
	kept, err := p.keep()
	if err == nil {
		err = os.Rename(path, p.Path)
	}
	if err == nil {
		err = syncFolder(filepath.Dir(p.Path))
	}
	if err == nil && p.Kept != nil {
		p.Kept(kept)
	}
	return err
}

// keep gives the store's file a second name beside it that nothing else has.
func (p Place) keep() (string, error) {
	for n := 1; ; n++ {
		kept := p.Path + replacedEnd
		if n > 1 {
			kept = fmt.Sprintf("%s-%d", kept, n)
		}
		err := os.Link(p.Path, kept)
		if !errors.Is(err, fs.ErrExist) {
			return kept, err
		}
		// A power cut may have come between the second name and the new file.
		one, err := os.Lstat(kept)
		if err != nil {
			return "", err
		}
		if two, err := os.Lstat(p.Path); err != nil || os.SameFile(one, two) {
			return kept, err
		}
	}
}

// unpack restores into a new file and checks it.
func (p Place) unpack(ctx context.Context, r io.Reader, key Key, path string) (Header, error) {
	if err := remove(path); err != nil {
		return Header{}, err
	}
	var file *os.File
	h, err := Read(ctx, r, key, p.Limit, func(Header) (w io.Writer, err error) {
		file, err = os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		return file, err
	})
	if file != nil {
		if err == nil {
			err = file.Sync()
		}
		err = errors.Join(err, file.Close())
	}
	if err != nil {
		return h, err
	}
	number, hash, err := p.Check(ctx, path)
	if err != nil {
		return h, fmt.Errorf("the store in the backup: %w", err)
	}
	if number != h.Entries || hex.EncodeToString(hash[:]) != h.Hash {
		return h, fmt.Errorf("%w: it ends with entry %d, hash %x, the header names entry %d, hash %s", ErrDiffers, number, hash, h.Entries, h.Hash)
	}
	return h, nil
}

// Tidy removes what an ended process left beside the store: unfinished restores
// and proofs, which hold it in clear, and backups on their way. Called at start, before anything else.
func (p Place) Tidy() error {
	return errors.Join(remove(p.Path+restoringEnd), remove(p.Path+proofEnd), remove(p.Path+outgoingEnd))
}

func remove(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func syncFolder(dir string) error {
	folder, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}
