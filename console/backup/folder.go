// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// A Folder keeps two generations of a box's backups, on a stick for instance.
// Their files are tallyhood-BOX-a.age, the newest, and tallyhood-BOX-b.age, the
// one before. A new one is written as tallyhood-BOX-new.age, and is called
// tallyhood-BOX-proven.age from the moment it was proven until it becomes a:
//
//	new is written, synced, read back and proven
//	new becomes proven
//	a becomes b
//	proven becomes a
//
// Each step is one rename. So at every moment, power cuts and full disks
// included, a backup that was proven lies there if there ever was one, and the
// next Make goes on from where the last ended. No clock and no list is needed to
// tell which is which.
type Folder struct {
	Dir string
	Box string // the box's id

	create func(path string) (written, error) // a test's
}

// A written is a file that is written.
type written interface {
	io.WriteCloser
	Sync() error
}

// Make writes a backup into the folder and proves it by a restore at place. An
// error leaves the generations that were there.
func (f Folder) Make(ctx context.Context, src Source, h Header, lock Lock, place Place) (Header, error) {
	made, err := f.make(ctx, src, h, lock, place)
	if err != nil {
		return Header{}, fmt.Errorf("%s: %w", f.Dir, err)
	}
	return made, nil
}

func (f Folder) make(ctx context.Context, src Source, h Header, lock Lock, place Place) (Header, error) {
	if h.Box != f.Box || f.Box == "" || strings.ContainsAny(f.Box, `/\`) {
		return Header{}, fmt.Errorf("a backup of box %q does not belong here, box %q does", h.Box, f.Box)
	}
	if err := f.rotate(); err != nil {
		return Header{}, err
	}
	path := f.path("new")
	if err := remove(path); err != nil {
		return Header{}, err
	}
	made, err := f.write(ctx, path, src, h, lock)
	if err == nil {
		err = prove(ctx, path, made, place)
	}
	if err != nil {
		return Header{}, errors.Join(err, remove(path))
	}
	if err := os.Rename(path, f.path("proven")); err != nil {
		return Header{}, err
	}
	if err := syncFolder(f.Dir); err != nil {
		return Header{}, err
	}
	return made.Header, f.rotate()
}

// write writes the new backup and syncs it.
func (f Folder) write(ctx context.Context, path string, src Source, h Header, lock Lock) (Made, error) {
	create := f.create
	if create == nil {
		create = func(path string) (written, error) {
			return os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		}
	}
	file, err := create(path)
	if err != nil {
		return Made{}, err
	}
	made, err := Write(ctx, file, src, h, lock)
	if err == nil {
		err = file.Sync()
	}
	return made, errors.Join(err, file.Close())
}

// prove reads a backup back from the medium and proves it.
func prove(ctx context.Context, path string, made Made, place Place) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	forget(file)
	h, err := place.Prove(ctx, file, made.Proof)
	if err == nil && h != made.Header {
		err = fmt.Errorf("prove: %w: it is another backup than was written", ErrDiffers)
	}
	return err
}

// rotate finishes what a Make had begun after its proof.
func (f Folder) rotate() error {
	if _, err := os.Lstat(f.path("proven")); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	}
	if err := os.Rename(f.path("a"), f.path("b")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(f.path("proven"), f.path("a")); err != nil {
		return err
	}
	return syncFolder(f.Dir)
}

func (f Folder) path(which string) string {
	return filepath.Join(f.Dir, "tallyhood-"+f.Box+"-"+which+".age")
}

// A File is a backup that lies in a folder.
type File struct {
	Path string
	Size int64
}

// Files lists the proven backups of the box, newest first.
func (f Folder) Files() ([]File, error) {
	var files []File
	for _, which := range []string{"proven", "a", "b"} {
		switch info, err := os.Lstat(f.path(which)); {
		case err == nil && info.Mode().IsRegular():
			files = append(files, File{f.path(which), info.Size()})
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return files, err
		}
	}
	return files, nil
}
