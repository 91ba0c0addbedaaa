// SPDX-License-Identifier: Apache-2.0

// Package virtual makes pedals out of nothing: devices of the kernel's
// uinput, which every program takes for real ones. It is for tests in a machine
// whose kernel has uinput and whose user may use it. It must not be used by the
// program itself.
package virtual

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Device is uinput's file.
const Device = "/dev/uinput"

// Options of a pedal.
type Options struct {
	Name            string // at most 79 bytes
	Phys            string // the port, like usb-1/input0; may be empty
	Vendor, Product uint16
	Keys            []uint16 // codes of linux/input-event-codes.h
	Repeat          bool     // the kernel repeats a key that is held
}

// A Pedal is plugged in from New to Unplug. Its methods may be called from any
// goroutine.
type Pedal struct {
	mu sync.Mutex // an event is not split by another
	f  *os.File
}

// An Event is one event; Send adds the report that ends a packet.
type Event struct {
	Type, Code uint16
	Value      int32
}

// inputEvent is struct input_event: two machine words of time, which the
// kernel fills in itself.
type inputEvent struct {
	Time unix.Timeval
	Event
}

// Types of events, and what a repeated key says.
const (
	evSyn, evKey, evRep = 0, 1, 0x14
	repeated            = 2
)

// Numbers of ioctls in linux/uinput.h.
const (
	devCreate, devDestroy, devSetup = 1, 2, 3
	setEvBit, setKeyBit, setPhys    = 100, 101, 108
	getSysname                      = 44
	none, write, read               = 0, 1, 2
)

func request(dir, nr, size uintptr) uintptr { return dir<<30 | size<<16 | 'U'<<8 | nr }

// New plugs a pedal in.
func New(o Options) (*Pedal, error) {
	f, err := os.OpenFile(Device, os.O_WRONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	p := &Pedal{f: f}
	if err := p.create(o); err != nil {
		f.Close()
		return nil, fmt.Errorf("virtual pedal %q: %w", o.Name, err)
	}
	return p, nil
}

func (p *Pedal) create(o Options) error {
	var setup struct {
		bus, vendor, product, version uint16
		name                          [80]byte
		ff                            uint32
	}
	const usb = 3
	setup.bus, setup.vendor, setup.product, setup.version = usb, o.Vendor, o.Product, 1
	if copy(setup.name[:len(setup.name)-1], o.Name); o.Name == "" || len(o.Name) >= len(setup.name) {
		return fmt.Errorf("the name has %d bytes; want 1 to %d", len(o.Name), len(setup.name)-1)
	}
	var err error
	number := func(nr, v uintptr) {
		if err == nil {
			err = p.value(request(write, nr, 4), v)
		}
	}
	number(setEvBit, evKey)
	if o.Repeat {
		number(setEvBit, evRep)
	}
	for _, k := range o.Keys {
		number(setKeyBit, uintptr(k))
	}
	if err == nil && o.Phys != "" {
		var phys *byte
		if phys, err = unix.BytePtrFromString(o.Phys); err == nil {
			_, err = p.pointer(request(write, setPhys, unsafe.Sizeof(phys)), unsafe.Pointer(phys))
		}
	}
	if err == nil {
		_, err = p.pointer(request(write, devSetup, unsafe.Sizeof(setup)), unsafe.Pointer(&setup))
	}
	if err == nil {
		err = p.value(request(none, devCreate, 0), 0)
	}
	return err
}

// value and pointer are ioctls with either kind of argument.
func (p *Pedal) value(req, v uintptr) error {
	_, err := p.call(func(fd uintptr) (uintptr, unix.Errno) {
		r, _, e := unix.Syscall(unix.SYS_IOCTL, fd, req, v)
		return r, e
	})
	return err
}

func (p *Pedal) pointer(req uintptr, v unsafe.Pointer) (int, error) {
	return p.call(func(fd uintptr) (uintptr, unix.Errno) {
		r, _, e := unix.Syscall(unix.SYS_IOCTL, fd, req, uintptr(v))
		return r, e
	})
}

func (p *Pedal) call(f func(fd uintptr) (uintptr, unix.Errno)) (n int, err error) {
	raw, err := p.f.SyscallConn()
	if err != nil {
		return 0, err
	}
	if e := raw.Control(func(fd uintptr) {
		r, errno := f(fd)
		if n = int(r); errno != 0 {
			err = errno
		}
	}); e != nil {
		return 0, e
	}
	return n, err
}

// Send writes events as one packet.
func (p *Pedal) Send(events ...Event) error {
	var b []byte
	for _, e := range append(events[:len(events):len(events)], Event{Type: evSyn}) {
		var err error
		if b, err = binary.Append(b, binary.NativeEndian, inputEvent{Event: e}); err != nil {
			return err
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	_, err := p.f.Write(b)
	return err
}

func (p *Pedal) key(code uint16, value int32) error {
	return p.Send(Event{Type: evKey, Code: code, Value: value})
}

// Press closes a key.
func (p *Pedal) Press(code uint16) error { return p.key(code, 1) }

// Release opens a key.
func (p *Pedal) Release(code uint16) error { return p.key(code, 0) }

// Repeat says what the kernel says of a key that is held.
func (p *Pedal) Repeat(code uint16) error { return p.key(code, repeated) }

// Node is the name of the event device, like event3.
func (p *Pedal) Node() (string, error) {
	var name [64]byte
	if _, err := p.pointer(request(read, getSysname, unsafe.Sizeof(name)), unsafe.Pointer(&name)); err != nil {
		return "", err
	}
	found, err := filepath.Glob("/sys/devices/virtual/input/" + unix.ByteSliceToString(name[:]) + "/event*")
	if err != nil {
		return "", err
	}
	if len(found) == 0 {
		return "", fmt.Errorf("%s has no event device; is the module evdev loaded?", unix.ByteSliceToString(name[:]))
	}
	return filepath.Base(found[0]), nil
}

// Unplug takes the pedal away. It may be called more than once.
func (p *Pedal) Unplug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	err := p.value(request(none, devDestroy, 0), 0)
	if e := p.f.Close(); errors.Is(e, os.ErrClosed) {
		return nil
	} else if err == nil {
		err = e
	}
	return err
}
