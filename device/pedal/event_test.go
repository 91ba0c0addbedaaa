// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"encoding/binary"
	"encoding/hex"
	"slices"
	"strconv"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// The layouts of linux/input.h written out by hand: seconds and microseconds
// in a machine word each, __u16 type, __u16 code, __s32 value.
func TestDecodeByHand(t *testing.T) {
	want := event{at: 0x01020304*time.Second + 0x0506*time.Microsecond, typ: 1, code: 0x0130, value: -2}
	for name, text := range map[string]string{
		"24 bytes, little-endian": "0403020100000000" + "0605000000000000" + "0100" + "3001" + "feffffff",
		"16 bytes, little-endian": "04030201" + "06050000" + "0100" + "3001" + "feffffff",
		"24 bytes, big-endian":    "0000000001020304" + "0000000000000506" + "0001" + "0130" + "fffffffe",
		"16 bytes, big-endian":    "01020304" + "00000506" + "0001" + "0130" + "fffffffe",
	} {
		b, err := hex.DecodeString(text)
		if err != nil {
			t.Fatal(err)
		}
		l := layouts[name]
		if got, rest := l.decode(nil, b); rest != 0 || !slices.Equal(got, []event{want}) {
			t.Errorf("%s: %v and %d bytes, want %v", name, got, rest, want)
		}
		if l.size() != len(b) {
			t.Errorf("%s: an event has %d bytes, want %d", name, l.size(), len(b))
		}
		for cut := range len(b) {
			if got, rest := l.decode(nil, slices.Concat(b, b[:cut])); len(got) != 1 || rest != cut {
				t.Errorf("%s with %d bytes more: %d events and %d bytes", name, cut, len(got), rest)
			}
		}
	}
}

func TestNativeLayout(t *testing.T) {
	type inputEvent struct {
		Time       unix.Timeval
		Type, Code uint16
		Value      int32
	}
	if got, want := native.size(), int(unsafe.Sizeof(inputEvent{})); got != want {
		t.Errorf("an event of this build has %d bytes, want %d", got, want)
	}
	if got, want := native.size(), map[int]int{64: 24, 32: 16}[strconv.IntSize]; got != want {
		t.Errorf("an event of this build has %d bytes, want %d", got, want)
	}
	e := inputEvent{Time: unix.NsecToTimeval(7_000_012_000), Type: evKey, Code: 48, Value: 1}
	b := unsafe.Slice((*byte)(unsafe.Pointer(&e)), unsafe.Sizeof(e))
	want := event{at: 7*time.Second + 12*time.Microsecond, typ: evKey, code: 48, value: 1}
	if got, rest := native.decode(nil, b); rest != 0 || !slices.Equal(got, []event{want}) {
		t.Errorf("%v and %d bytes, want %v", got, rest, want)
	}
}

// Short seconds after 2^31 are seconds still, and absurd times stay positive.
func TestDecodeTimes(t *testing.T) {
	b := make([]byte, 16)
	binary.LittleEndian.PutUint32(b, 1<<31+5)
	if got, _ := layouts["16 bytes, little-endian"].decode(nil, b); got[0].at != (1<<31+5)*time.Second {
		t.Errorf("%v, want %v", got[0].at, (1<<31+5)*time.Second)
	}
	b = make([]byte, 24)
	for i := range 16 {
		b[i] = 0xff
	}
	if got, _ := layouts["24 bytes, little-endian"].decode(nil, b); got[0].at <= 0 {
		t.Errorf("a time of all ones is %v", got[0].at)
	}
}

func TestPackets(t *testing.T) {
	syn := event{typ: evSyn}
	a, b := event{typ: evKey, code: 30, value: 1}, event{typ: evKey, code: 48, value: 1}
	scan := event{typ: 4, code: 4, value: 7}
	var p packets
	feed := func(e event, want ...event) {
		t.Helper()
		if whole, dropped := p.add(e); dropped || !slices.Equal(whole, want) {
			t.Errorf("%v gives %v, dropped %v; want %v", e, whole, dropped, want)
		}
	}
	feed(scan)
	feed(a)
	feed(b)
	feed(event{typ: evKey, code: 48, value: repeated})
	feed(event{typ: evKey, code: keyCount, value: 1}) // there is no such key
	feed(syn, a, b)
	feed(syn)
	feed(a)
	if whole, dropped := p.add(event{typ: evSyn, code: synDropped}); !dropped || len(whole) != 0 {
		t.Errorf("SYN_DROPPED gives %v, dropped %v", whole, dropped)
	}
	feed(syn) // the open packet went with it
	for i := range maxPacket {
		if _, dropped := p.add(a); dropped {
			t.Fatalf("dropped at %d events", i)
		}
	}
	if _, dropped := p.add(a); !dropped {
		t.Errorf("a packet without an end is not given up after %d events", maxPacket)
	}
}

func TestKeySet(t *testing.T) {
	var s keySet
	for _, code := range []uint16{0, 7, 8, 255, keyCount - 1} {
		s.set(code, true)
		if !s.has(code) || s.has(code^1) {
			t.Errorf("key %d is not alone", code)
		}
		s.set(code, false)
		if !s.empty() {
			t.Errorf("key %d stays", code)
		}
	}
	for _, code := range []uint16{keyCount, 0xffff} {
		s.set(code, true)
		if s.has(code) || !s.empty() {
			t.Errorf("key %d is there", code)
		}
	}
}

// Whatever bytes come: the count is right, times are positive, what is decoded
// encodes to the same events, and no packet outgrows its bound.
func FuzzDecode(f *testing.F) {
	f.Add([]byte{})
	f.Add(make([]byte, 16))
	f.Add(make([]byte, 24))
	f.Add([]byte("\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01\x00\x30\x00\x01\x00\x00\x00rest"))
	f.Fuzz(func(t *testing.T, b []byte) {
		for name, l := range layouts {
			events, rest := l.decode(nil, b)
			if len(events)*l.size()+rest != len(b) || rest >= l.size() {
				t.Errorf("%s: %d bytes are %d events and %d bytes", name, len(b), len(events), rest)
			}
			var p packets
			for _, e := range events {
				if e.at < 0 {
					t.Errorf("%s: dated %v", name, e.at)
				}
				if again, _ := l.decode(nil, encode(l, e)); l.word == 8 && again[0] != e {
					t.Errorf("%s: %v comes back as %v", name, e, again[0])
				}
				whole, _ := p.add(e)
				for _, k := range whole {
					if k.typ != evKey || k.code >= keyCount || k.value == repeated {
						t.Errorf("%s: a packet holds %v", name, k)
					}
				}
				if len(p.open) > maxPacket {
					t.Errorf("%s: a packet of %d", name, len(p.open))
				}
			}
		}
	})
}
