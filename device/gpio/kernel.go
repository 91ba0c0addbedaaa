// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// A port is the descriptor of a request for line events.
type port interface {
	await() error
	// read takes whole events as the kernel writes them and never waits; 0
	// says that it holds none.
	read([]byte) (int, error)
	values(mask uint64) (uint64, error)
	interrupt()
	close() error
}

// burst is the most that is taken in one go, so that a line that chatters for
// ever cannot keep the looks at the levels or the end of the source waiting.
const burst = 4 * maxBuffer

// kernelRequest reads the kernel's line events.
type kernelRequest struct {
	port  port
	clock Clock
	index map[uint32]int // by offset
	last  []uint32       // number of the last event of each line
	buf   []byte
}

var _ request = (*kernelRequest)(nil)

func newKernelRequest(p port, lines []asked, c Clock) *kernelRequest {
	k := &kernelRequest{port: p, clock: c, index: map[uint32]int{}, last: make([]uint32, len(lines)), buf: make([]byte, 64*eventSize)}
	for i, l := range lines {
		k.index[uint32(l.offset)] = i
	}
	return k
}

func (k *kernelRequest) await() error { return k.port.await() }
func (k *kernelRequest) interrupt()   { k.port.interrupt() }
func (k *kernelRequest) close() error { return k.port.close() }

func (k *kernelRequest) levels() (uint64, error) {
	return k.port.values(1<<len(k.last) - 1)
}

func (k *kernelRequest) drain(give func(event)) (bool, error) {
	for taken := 0; taken < burst; {
		n, err := k.port.read(k.buf)
		if err != nil {
			return false, err
		}
		if n == 0 {
			return false, nil
		}
		if n%eventSize != 0 {
			return false, fmt.Errorf("the kernel gave %d bytes, which are no whole number of events", n)
		}
		for b := k.buf[:n]; len(b) > 0; b = b[eventSize:] {
			taken++
			if e, ok := k.decode(b); ok {
				give(e)
			}
		}
	}
	return true, nil
}

// decode makes an event of its bytes. Each line's events are numbered from 1
// when they are put into the queue, so a hole is what the queue dropped. (The
// numbers across lines also count edges that ran together before they came
// there; what those hid, the levels show.)
func (k *kernelRequest) decode(b []byte) (event, bool) {
	order := binary.NativeEndian
	i, ok := k.index[order.Uint32(b[12:])]
	id := order.Uint32(b[8:])
	if !ok || id != eventRising && id != eventFalling {
		return event{}, false
	}
	number := order.Uint32(b[20:])
	missing := number - k.last[i] - 1
	k.last[i] = number
	at := k.clock.FromMonotonic(time.Duration(order.Uint64(b)))
	return event{index: i, high: id == eventRising, at: at, missing: int(int32(missing))}, true
}

// filePort is a port of the kernel. The file is never asked for its
// descriptor, which would make it block.
type filePort struct {
	f   *os.File
	raw syscall.RawConn
}

func newFilePort(fd int, name string) (*filePort, error) {
	f := os.NewFile(uintptr(fd), name)
	if err := f.SetReadDeadline(time.Time{}); err != nil {
		f.Close()
		return nil, fmt.Errorf("lines of %s cannot be waited for: %w", name, err)
	}
	raw, err := f.SyscallConn()
	if err != nil {
		f.Close()
		return nil, err
	}
	return &filePort{f, raw}, nil
}

func (p *filePort) await() error {
	var bad error
	err := p.raw.Read(func(fd uintptr) bool {
		look := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
		n, err := unix.Poll(look, 0)
		switch {
		case errors.Is(err, unix.EINTR), err == nil && n == 0:
			return false
		case err != nil:
			bad = err
		case look[0].Revents&unix.POLLIN != 0: // what came before an error is taken first
		case look[0].Revents&(unix.POLLERR|unix.POLLHUP|unix.POLLNVAL) != 0:
			bad = errGone
		}
		return true
	})
	switch {
	case bad != nil:
		return bad
	case errors.Is(err, os.ErrDeadlineExceeded), errors.Is(err, os.ErrClosed):
		return errInterrupted
	}
	return err
}

func (p *filePort) read(b []byte) (n int, err error) {
	outer := p.raw.Control(func(fd uintptr) {
		for {
			n, err = unix.Read(int(fd), b)
			if !errors.Is(err, unix.EINTR) {
				return
			}
		}
	})
	switch {
	case outer != nil:
		return 0, outer
	case errors.Is(err, unix.EAGAIN):
		return 0, nil
	case err != nil:
		return 0, err
	case n == 0: // the end of a file: a line never has one
		return 0, errGone
	}
	return n, nil
}

func (p *filePort) values(mask uint64) (uint64, error) {
	v := lineValues{mask: mask}
	var err error
	if outer := p.raw.Control(func(fd uintptr) { err = ioctl(int(fd), getValues, &v) }); outer != nil {
		return 0, outer
	}
	return v.bits, err
}

// interrupt sets a deadline that is long past.
func (p *filePort) interrupt() { _ = p.f.SetReadDeadline(time.Unix(1, 0)) }

func (p *filePort) close() error { return p.f.Close() }
