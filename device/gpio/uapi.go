// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"bytes"
	"unsafe"

	"golang.org/x/sys/unix"
)

// The second version of the kernel's GPIO character device interface, after
// linux/gpio.h. All its structures are the same on 32 and 64 bits: 64-bit
// fields stand on 64-bit boundaries by their order alone.

const (
	maxName   = 32   // GPIO_MAX_NAME_SIZE, the closing zero included
	maxLines  = 64   // GPIO_V2_LINES_MAX, of one request
	maxAttrs  = 10   // GPIO_V2_LINE_NUM_ATTRS_MAX
	maxBuffer = 1024 // the kernel holds no more than 16 events for each of 64 lines
	perLine   = 16   // events that it holds for a line when not asked for more
)

const (
	flagUsed     = 1 << 0
	flagInput    = 1 << 2
	flagOutput   = 1 << 3
	flagRising   = 1 << 4
	flagFalling  = 1 << 5
	flagPullUp   = 1 << 8
	flagPullDown = 1 << 9
	flagNoPull   = 1 << 10

	attrFlags  = 1
	attrValues = 2

	eventRising  = 1
	eventFalling = 2
)

type chipInfo struct {
	name, label [maxName]byte
	lines       uint32
}

type lineAttr struct {
	id, _ uint32
	value uint64
}

type lineInfo struct {
	name, consumer [maxName]byte
	offset, _      uint32
	flags          uint64
	_              [maxAttrs]lineAttr
	_              [4]uint32
}

type configAttr struct {
	attr lineAttr
	mask uint64
}

type lineConfig struct {
	flags    uint64
	numAttrs uint32
	_        [5]uint32
	attrs    [maxAttrs]configAttr
}

type lineRequest struct {
	offsets  [maxLines]uint32
	consumer [maxName]byte
	config   lineConfig
	numLines uint32
	buffer   uint32
	_        [5]uint32
	fd       int32
}

type lineValues struct{ bits, mask uint64 }

// lineEvent is read as bytes; the fields are in the machine's byte order.
type lineEvent struct {
	time                       uint64
	id, offset, seqno, lineSeq uint32
	_                          [6]uint32
}

const eventSize = int(unsafe.Sizeof(lineEvent{}))

const (
	iocRead  = 2 << 30
	iocWrite = 1 << 30
	iocGPIO  = 0xb4 << 8

	getChipInfo  = iocRead | iocGPIO | 0x01 | unsafe.Sizeof(chipInfo{})<<16
	getLineInfo  = iocRead | iocWrite | iocGPIO | 0x05 | unsafe.Sizeof(lineInfo{})<<16
	getLine      = iocRead | iocWrite | iocGPIO | 0x07 | unsafe.Sizeof(lineRequest{})<<16
	getValues    = iocRead | iocWrite | iocGPIO | 0x0e | unsafe.Sizeof(lineValues{})<<16
	setValues    = iocRead | iocWrite | iocGPIO | 0x0f | unsafe.Sizeof(lineValues{})<<16
	consumerName = "tallyhood"
)

func ioctl[T any](fd int, code uintptr, arg *T) error {
	for {
		_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), code, uintptr(unsafe.Pointer(arg)))
		switch errno {
		case 0:
			return nil
		case unix.EINTR:
		default:
			return errno
		}
	}
}

// text is a name up to its closing zero.
func text(b []byte) string {
	if i := bytes.IndexByte(b, 0); i >= 0 {
		b = b[:i]
	}
	return string(b)
}
