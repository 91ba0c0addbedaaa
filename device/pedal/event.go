// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"encoding/binary"
	"math"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Types, codes and values of linux/input-event-codes.h, as far as a pedal
// needs them.
const (
	evSyn      = 0
	evKey      = 1
	synReport  = 0
	synDropped = 3
	repeated   = 2 // the value of a key that the kernel repeats while it is held

	keyCount = 0x300 // KEY_CNT
)

// A layout is how struct input_event lies in memory: two machine words of
// seconds and microseconds, then type, code and value. A 32-bit program gets
// the short one from a 64-bit kernel too.
type layout struct {
	word  int // bytes of a machine word
	order binary.ByteOrder
}

func (l layout) size() int { return 2*l.word + 8 }

// native is what the kernel gives to this program.
var native = layout{word: int(unsafe.Sizeof(unix.Timeval{})) / 2, order: binary.NativeEndian}

// An event is one of the kernel's, dated on CLOCK_MONOTONIC.
type event struct {
	at    time.Duration
	typ   uint16
	code  uint16
	value int32
}

// decode appends the events that b holds and says how many bytes at its end
// are no whole event; the kernel never leaves any.
func (l layout) decode(to []event, b []byte) (events []event, rest int) {
	for ; len(b) >= l.size(); b = b[l.size():] {
		tail := b[2*l.word:]
		to = append(to, event{
			at:    l.instant(b),
			typ:   l.order.Uint16(tail),
			code:  l.order.Uint16(tail[2:]),
			value: int32(l.order.Uint32(tail[4:])),
		})
	}
	return to, len(b)
}

// instant reads seconds and microseconds. A short word of seconds is unsigned
// (so it is in kernels with 64-bit time); counted from the start of the machine
// it does not overflow in 2038, and not for 136 years.
func (l layout) instant(b []byte) time.Duration {
	var s, us uint64
	if l.word == 4 {
		s, us = uint64(l.order.Uint32(b)), uint64(l.order.Uint32(b[4:]))
	} else {
		s, us = l.order.Uint64(b), l.order.Uint64(b[8:])
	}
	const most = math.MaxInt64 / uint64(time.Second) / 2
	if s > most || us > most {
		return time.Duration(most) * time.Second // no clock stands there
	}
	return time.Duration(s)*time.Second + time.Duration(us)*time.Microsecond
}

// maxPacket bounds a packet; a pedal's has a handful of events.
const maxPacket = 1024

// Packets gathers events into whole packets. After SYN_DROPPED nothing is worth
// anything until the state has been asked anew, so the caller drops the
// packet, asks, and goes on.
type packets struct {
	open []event
}

// add takes an event. whole are the key events of a packet that it completed,
// valid until the next call. dropped says that events were lost.
func (p *packets) add(e event) (whole []event, dropped bool) {
	switch {
	case e.typ == evSyn && e.code == synDropped, len(p.open) == maxPacket:
		p.open = p.open[:0]
		return nil, true
	case e.typ == evSyn && e.code == synReport:
		whole, p.open = p.open, p.open[:0]
		return whole, false
	case e.typ == evKey && e.code < keyCount && e.value != repeated:
		p.open = append(p.open, e)
	}
	return nil, false
}

// A keySet is the kernel's bit field of keys.
type keySet [keyCount / 8]byte

func (s *keySet) has(code uint16) bool { return code < keyCount && s[code/8]>>(code%8)&1 == 1 }

func (s *keySet) set(code uint16, on bool) {
	if code >= keyCount {
		return
	}
	s[code/8] &^= 1 << (code % 8)
	if on {
		s[code/8] |= 1 << (code % 8)
	}
}

func (s *keySet) empty() bool { return *s == keySet{} }
