// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"go.etcd.io/bbolt"

	"tallyhood/store"
)

const (
	lockWait  = time.Second           // for a lock that another process holds
	lockPause = 50 * time.Millisecond // between two tries
)

// create makes an empty store at path if nothing is there. It is built under
// another name and renamed when it is whole, so a power cut leaves a good file
// or none.
func create(path string) error {
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	folder, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer folder.Close()
	// Two processes that start at once build one file, not two.
	if err := lock(folder, true); err != nil {
		return err
	}
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	unfinished := path + ".new"
	if err := os.Remove(unfinished); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := build(unfinished); err != nil {
		os.Remove(unfinished) // or the next try does
		return fmt.Errorf("create: %w", err)
	}
	if err := os.Rename(unfinished, path); err != nil {
		return err
	}
	return folder.Sync()
}

// build writes an empty store and syncs it.
func build(path string) error {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	db, err := openDB(path, file)
	if err != nil {
		file.Close()
		return err
	}
	err = db.Update(func(tx *bbolt.Tx) error {
		h := head{Tx: uint64(tx.ID()), Hash: hexOf([32]byte{})}
		h.Buckets = []string{entriesBucket, indexBucket, metaBucket, streamsBucket}
		slices.Sort(h.Buckets)
		for _, name := range h.Buckets {
			if _, err := tx.CreateBucket([]byte(name)); err != nil {
				return err
			}
		}
		meta := tx.Bucket([]byte(metaBucket))
		return errors.Join(
			meta.Put([]byte(formatKey), []byte(format())),
			meta.Put([]byte(headKey), h.encode()))
	})
	if err == nil {
		err = file.Sync() // the size too, which bbolt's own sync may leave out
	}
	return errors.Join(err, db.Close())
}

// openDB gives an open file to bbolt, which closes it.
func openDB(path string, file *os.File) (db *bbolt.DB, err error) {
	err = guard(func() error {
		db, err = bbolt.Open(path, 0o600, &bbolt.Options{
			Timeout:      lockWait,
			FreelistType: bbolt.FreelistMapType,
			PageSize:     pageSize,
			MaxSize:      min(maxSize, math.MaxInt),
			NoStatistics: true,
			// The file that was locked and surveyed, not another of the same name.
			OpenFile: func(string, int, os.FileMode) (*os.File, error) { return file, nil },
		})
		return err
	})
	return db, err
}

// openLocked opens a file that exists and locks it, for writing or for reading.
func openLocked(path string, write bool) (*os.File, error) {
	// A pipe would wait for its other end, a device might do anything.
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, damaged("it is no file")
	}
	flag := os.O_RDONLY
	if write {
		flag = os.O_RDWR
	}
	file, err := os.OpenFile(path, flag|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if err := lock(file, write); err != nil {
		file.Close()
		return nil, err
	}
	// Between opening and locking another process may have put a new file there.
	opened, err := file.Stat()
	if err == nil {
		info, err = os.Stat(path)
	}
	if err == nil && !os.SameFile(opened, info) {
		err = fmt.Errorf("%w: the file was replaced meanwhile", store.ErrBusy)
	}
	if err != nil {
		file.Close()
		return nil, err
	}
	return file, nil
}

// lock locks a file for this process alone, or together with other readers,
// until it is closed. It returns ErrBusy when that takes longer than lockWait.
func lock(file *os.File, alone bool) error {
	how := syscall.LOCK_SH
	if alone {
		how = syscall.LOCK_EX
	}
	patience, cancel := context.WithTimeout(context.Background(), lockWait)
	defer cancel()
	for {
		err := syscall.Flock(int(file.Fd()), how|syscall.LOCK_NB)
		switch {
		case err == nil:
			return nil
		case errors.Is(err, syscall.EINTR):
			continue
		case !errors.Is(err, syscall.EWOULDBLOCK):
			return fmt.Errorf("lock: %w", err)
		case patience.Err() != nil:
			return store.ErrBusy
		}
		pause, cancel := context.WithTimeout(patience, lockPause)
		<-pause.Done()
		cancel()
	}
}

// release unlocks and closes a file. Closing alone would leave the lock while
// a map of the file is left over.
func release(file file) error {
	if f, ok := file.(*os.File); ok {
		syscall.Flock(int(f.Fd()), syscall.LOCK_UN)
	}
	return file.Close()
}
