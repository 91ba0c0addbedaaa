// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"unicode"
	"unsafe"

	"golang.org/x/sys/unix"
)

// An identity is what a device says of itself.
type identity struct {
	vendor, product  uint16
	name, phys, uniq string
	keys             keySet // that it can send
}

// A folder holds event devices.
type folder interface {
	// list names the devices. The stamp of a name changes when another device
	// takes it, or when its permissions change.
	list() (map[string]stamp, error)
	open(name string) (node, error)
}

type stamp struct{ ino, ctime int64 }

// A node is one open event device. Its methods may be called from any
// goroutine.
type node interface {
	identify() (identity, error)
	// monotonic has the kernel date the events on CLOCK_MONOTONIC.
	monotonic() error
	// grab keeps the events from all other programs; EBUSY when another has
	// done so.
	grab(on bool) error
	// held gives the keys that are closed. It empties the kernel's queue of
	// the key events that came before.
	held() (keySet, error)
	// read never waits: EAGAIN says that there is nothing.
	read(b []byte) (int, error)
	// wait calls try now and whenever there may be something to read, until it
	// returns true or the node is closed.
	wait(try func() bool) error
	Close() error
}

// folderOf is the real one.
type folderOf string

func (dir folderOf) list() (map[string]stamp, error) {
	all, err := os.ReadDir(string(dir))
	if err != nil {
		return nil, err
	}
	found := map[string]stamp{}
	for _, e := range all {
		if !strings.HasPrefix(e.Name(), "event") {
			continue
		}
		var st unix.Stat_t
		if unix.Stat(filepath.Join(string(dir), e.Name()), &st) == nil && st.Mode&unix.S_IFMT == unix.S_IFCHR {
			found[e.Name()] = stamp{int64(st.Ino), st.Ctim.Nano()}
		}
	}
	return found, nil
}

func (dir folderOf) open(name string) (node, error) {
	f, err := os.OpenFile(filepath.Join(string(dir), name), os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	p, err := newPipe(f)
	if err != nil {
		f.Close()
		return nil, err
	}
	return evdev{p}, nil
}

// A pipe is a non-blocking file that is read through its raw connection:
// (*os.File).Fd would make it blocking, and then Close could not end a wait.
type pipe struct {
	f   *os.File
	raw syscall.RawConn
}

func newPipe(f *os.File) (pipe, error) {
	raw, err := f.SyscallConn()
	return pipe{f, raw}, err
}

func (p pipe) Close() error { return p.f.Close() }

// wait holds the file's read lock, so nothing else may be done through
// RawConn.Read meanwhile; read and the ioctls go through Control.
func (p pipe) wait(try func() bool) error {
	return p.raw.Read(func(uintptr) bool { return try() })
}

func (p pipe) read(b []byte) (int, error) {
	var n int
	var err error
	if e := p.raw.Control(func(fd uintptr) {
		for {
			if n, err = unix.Read(int(fd), b); err != unix.EINTR {
				return
			}
		}
	}); e != nil {
		return 0, e
	}
	if err == nil && n == 0 {
		err = io.EOF
	}
	return max(n, 0), err
}

// An evdev is a pipe with the ioctls of linux/input.h.
type evdev struct{ pipe }

const (
	iocRead  = 2
	iocWrite = 1
)

// request makes an ioctl's number as asm-generic/ioctl.h does, which holds for
// x86, ARM and RISC-V.
func request(dir, nr, size uintptr) uintptr { return dir<<30 | size<<16 | 'E'<<8 | nr }

func (d evdev) ioctl(req uintptr, arg unsafe.Pointer) (n int, err error) {
	return d.call(func(fd uintptr) (uintptr, unix.Errno) {
		r, _, e := unix.Syscall(unix.SYS_IOCTL, fd, req, uintptr(arg))
		return r, e
	})
}

func (d evdev) call(f func(fd uintptr) (uintptr, unix.Errno)) (n int, err error) {
	if e := d.raw.Control(func(fd uintptr) {
		r, errno := f(fd)
		for errno == unix.EINTR {
			r, errno = f(fd)
		}
		if n = int(r); errno != 0 {
			n, err = 0, errno
		}
	}); e != nil {
		return 0, e
	}
	return n, err
}

func (d evdev) text(nr uintptr) (string, error) {
	var b [256]byte
	n, err := d.ioctl(request(iocRead, nr, unsafe.Sizeof(b)), unsafe.Pointer(&b))
	if errors.Is(err, unix.ENOENT) {
		return "", nil // it has none
	}
	if err != nil {
		return "", err
	}
	s, _, _ := bytes.Cut(b[:min(n, len(b))], []byte{0})
	return plain(string(s)), nil
}

// plain makes a word from a device fit for a page, a log and a file.
func plain(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return '?'
		}
		return r
	}, s))
}

func (d evdev) identify() (id identity, err error) {
	var who struct{ bus, vendor, product, version uint16 }
	if _, err = d.ioctl(request(iocRead, 0x02, unsafe.Sizeof(who)), unsafe.Pointer(&who)); err != nil { // EVIOCGID
		return id, err
	}
	id.vendor, id.product = who.vendor, who.product
	for nr, to := range map[uintptr]*string{0x06: &id.name, 0x07: &id.phys, 0x08: &id.uniq} { // EVIOCGNAME, -PHYS, -UNIQ
		if *to, err = d.text(nr); err != nil {
			return id, err
		}
	}
	_, err = d.ioctl(request(iocRead, 0x20+evKey, unsafe.Sizeof(id.keys)), unsafe.Pointer(&id.keys)) // EVIOCGBIT
	return id, err
}

func (d evdev) monotonic() error {
	clock := int32(unix.CLOCK_MONOTONIC)
	_, err := d.ioctl(request(iocWrite, 0xa0, unsafe.Sizeof(clock)), unsafe.Pointer(&clock)) // EVIOCSCLOCKID
	return err
}

func (d evdev) grab(on bool) error {
	var arg uintptr // the value itself, not a pointer
	if on {
		arg = 1
	}
	_, err := d.call(func(fd uintptr) (uintptr, unix.Errno) {
		r, _, e := unix.Syscall(unix.SYS_IOCTL, fd, request(iocWrite, 0x90, 4), arg) // EVIOCGRAB
		return r, e
	})
	return err
}

func (d evdev) held() (keys keySet, err error) {
	_, err = d.ioctl(request(iocRead, 0x18, unsafe.Sizeof(keys)), unsafe.Pointer(&keys)) // EVIOCGKEY
	return keys, err
}
