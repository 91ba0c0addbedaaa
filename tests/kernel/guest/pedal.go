// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"os"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"tallyhood/tests/kernel/rpc"
)

func init() { tasks["pedal"] = pedal }

// A virtual pedal shows itself as a small USB keyboard (linux/uinput.h).
type virtual struct{ f *os.File }

type inputEvent struct {
	Time       unix.Timeval
	Type, Code uint16
	Value      int32
}

const (
	typeSyn    = 0
	typeKey    = 1
	typeRepeat = 0x14
	usb        = 3
)

// plugIn makes the device; the kernel repeats its held keys as a keyboard's.
func plugIn(vendor, product uint16, name string, keys ...int) (*virtual, error) {
	f, err := os.OpenFile("/dev/uinput", os.O_WRONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	raw, err := f.SyscallConn()
	if err != nil {
		return nil, err
	}
	control := func(request, arg uintptr) {
		if err != nil {
			return
		}
		err = raw.Control(func(fd uintptr) {
			if _, _, e := unix.Syscall(unix.SYS_IOCTL, fd, request, arg); e != 0 {
				err = e
			}
		})
	}
	const base = 'U' << 8
	put := func(nr, size uintptr) uintptr { return 1<<30 | size<<16 | base | nr }
	control(put(100, 4), typeKey)
	control(put(100, 4), typeRepeat)
	for _, k := range keys {
		control(put(101, 4), uintptr(k))
	}
	var setup struct {
		bus, vendor, product, version uint16
		name                          [80]byte
		effects                       uint32
	}
	setup.bus, setup.vendor, setup.product, setup.version = usb, vendor, product, 1
	copy(setup.name[:79], name)
	control(put(3, unsafe.Sizeof(setup)), uintptr(unsafe.Pointer(&setup)))
	control(base|1, 0)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &virtual{f}, nil
}

// key moves a key and gives the instant just before.
func (v *virtual) key(code uint16, down bool) (time.Duration, error) {
	value := int32(0)
	if down {
		value = 1
	}
	b, err := binary.Append(nil, binary.NativeEndian, []inputEvent{{Type: typeKey, Code: code, Value: value}, {Type: typeSyn}})
	if err != nil {
		return 0, err
	}
	at := mono()
	_, err = v.f.Write(b)
	return at, err
}

func (v *virtual) unplug() { v.f.Close() }

// pedal plugs a pedal in, emits "plugged", and moves its keys as the host
// tells, each answered with the instant; when the host closes it is unplugged.
func pedal(c *rpc.Conn, args json.RawMessage) error {
	var a struct {
		Vendor, Product uint16
		Name            string
		Keys            []int
	}
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	v, err := plugIn(a.Vendor, a.Product, a.Name, a.Keys...)
	if err != nil {
		return err
	}
	defer v.unplug()
	if err := c.Emit("plugged"); err != nil {
		return err
	}
	for {
		var m struct {
			Key  uint16
			Down bool
		}
		if c.Told(&m) != nil {
			return nil
		}
		at, err := v.key(m.Key, m.Down)
		if err != nil {
			return err
		}
		if err := c.Emit(at); err != nil {
			return err
		}
	}
}
