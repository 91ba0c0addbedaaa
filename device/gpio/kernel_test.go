// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Sizes and offsets of linux/gpio.h, and the codes that it makes of them, on
// every architecture.
func TestLayout(t *testing.T) {
	for _, c := range []struct {
		what      string
		got, want uintptr
	}{
		{"gpiochip_info", unsafe.Sizeof(chipInfo{}), 68},
		{"gpio_v2_line_attribute", unsafe.Sizeof(lineAttr{}), 16},
		{"gpio_v2_line_config_attribute", unsafe.Sizeof(configAttr{}), 24},
		{"gpio_v2_line_config", unsafe.Sizeof(lineConfig{}), 272},
		{"gpio_v2_line_info", unsafe.Sizeof(lineInfo{}), 256},
		{"gpio_v2_line_request", unsafe.Sizeof(lineRequest{}), 592},
		{"gpio_v2_line_values", unsafe.Sizeof(lineValues{}), 16},
		{"gpio_v2_line_event", unsafe.Sizeof(lineEvent{}), 48},
		{"line_request.config", unsafe.Offsetof(lineRequest{}.config), 288},
		{"line_request.num_lines", unsafe.Offsetof(lineRequest{}.numLines), 560},
		{"line_request.fd", unsafe.Offsetof(lineRequest{}.fd), 588},
		{"line_config.attrs", unsafe.Offsetof(lineConfig{}.attrs), 32},
		{"line_info.flags", unsafe.Offsetof(lineInfo{}.flags), 72},
		{"line_event.line_seqno", unsafe.Offsetof(lineEvent{}.lineSeq), 20},
		{"GPIO_GET_CHIPINFO_IOCTL", getChipInfo, 0x8044b401},
		{"GPIO_V2_GET_LINEINFO_IOCTL", getLineInfo, 0xc100b405},
		{"GPIO_V2_GET_LINE_IOCTL", getLine, 0xc250b407},
		{"GPIO_V2_LINE_GET_VALUES_IOCTL", getValues, 0xc010b40e},
		{"GPIO_V2_LINE_SET_VALUES_IOCTL", setValues, 0xc010b40f},
	} {
		if c.got != c.want {
			t.Errorf("%s: %#x, want %#x", c.what, c.got, c.want)
		}
	}
}

// The request for inputs: one bias for all, others by attribute.
func TestInputs(t *testing.T) {
	r, err := inputs([]asked{{4, PullUp}, {17, PullNone}, {27, PullDown}, {5, PullUp}}, 0, flagNoPull)
	if err != nil {
		t.Fatal(err)
	}
	const plain = 1<<2 | 1<<4 | 1<<5
	if r.config.flags != plain|1<<10 || r.config.numAttrs != 2 || r.numLines != 4 || r.buffer != 1024 {
		t.Errorf("%+v", r)
	}
	if a := r.config.attrs[0]; a != (configAttr{lineAttr{id: 1, value: plain | 1<<8}, 0b1001}) {
		t.Errorf("pull up: %+v", a)
	}
	if a := r.config.attrs[1]; a != (configAttr{lineAttr{id: 1, value: plain | 1<<9}, 0b0100}) {
		t.Errorf("pull down: %+v", a)
	}
	if [4]uint32(r.offsets[:4]) != [4]uint32{4, 17, 27, 5} {
		t.Errorf("offsets %v", r.offsets[:4])
	}
	for _, bad := range [][]asked{nil, make([]asked, 65), {{1, "sideways"}}} {
		if _, err := inputs(bad, 0, 0); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}

// A pipe stands for the descriptor of a request: the same reads, waits and
// ends, but no levels.
func TestFilePort(t *testing.T) {
	var fds [2]int
	if err := unix.Pipe2(fds[:], unix.O_CLOEXEC|unix.O_NONBLOCK); err != nil {
		t.Fatal(err)
	}
	w := os.NewFile(uintptr(fds[1]), "writer")
	p, err := newFilePort(fds[0], "pipe")
	if err != nil {
		t.Fatal(err)
	}
	clock := newTestClock()
	k := newKernelRequest(p, []asked{{offset: 9}, {offset: 3}}, clock)
	none := func(event) { t.Error("an event out of nothing") }
	if more, err := k.drain(none); more || err != nil {
		t.Fatalf("empty: %v, %v", more, err)
	}
	woken := make(chan error)
	go func() { woken <- k.await() }()
	select {
	case err := <-woken:
		t.Fatalf("await of nothing returns %v", err)
	case <-time.After(20 * ms):
	}
	put := func(offset, id, number uint32, at time.Duration) {
		t.Helper()
		if err := binary.Write(w, binary.NativeEndian, wireEvent(lineEvent{time: uint64(at), id: id, offset: offset, lineSeq: number})); err != nil {
			t.Fatal(err)
		}
	}
	put(3, eventRising, 1, boot+5*ms)
	if err := <-woken; err != nil {
		t.Fatal(err)
	}
	put(3, eventFalling, 4, boot+6*ms) // 2 and 3 were dropped
	put(9, eventFalling, 1, boot+7*ms)
	put(77, eventFalling, 1, boot) // no line of ours
	put(9, 99, 2, boot)            // no edge
	var got []event
	if more, err := k.drain(func(e event) { got = append(got, e) }); more || err != nil {
		t.Fatalf("%v, %v", more, err)
	}
	want := []event{{1, true, 5 * ms, 0}, {1, false, 6 * ms, 2}, {0, false, 7 * ms, 0}}
	if len(got) != 3 || [3]event(got) != [3]event(want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if v, err := k.levels(); err == nil {
		t.Errorf("levels of a pipe: %b", v)
	}

	// interrupt ends the wait that goes on and every later one.
	go func() { woken <- k.await() }()
	time.Sleep(5 * ms)
	k.interrupt()
	for range 2 {
		if err := <-woken; !errors.Is(err, errInterrupted) {
			t.Errorf("interrupted: %v", err)
		}
		go func() { woken <- k.await() }()
	}
	<-woken
	if err := k.close(); err != nil {
		t.Error(err)
	}

	// The other end closes: a line that hangs up is gone.
	if err := unix.Pipe2(fds[:], unix.O_CLOEXEC|unix.O_NONBLOCK); err != nil {
		t.Fatal(err)
	}
	if p, err = newFilePort(fds[0], "pipe"); err != nil {
		t.Fatal(err)
	}
	unix.Close(fds[1])
	if err := p.await(); !gone(err) {
		t.Errorf("await: %v", err)
	}
	if _, err := p.read(make([]byte, eventSize)); !gone(err) {
		t.Errorf("read: %v", err)
	}
	p.close()
}

// A file that cannot be waited for is refused.
func TestNoWait(t *testing.T) {
	f, err := os.CreateTemp(t.TempDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	fd, err := unix.Dup(int(f.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := newFilePort(fd, "file"); err == nil {
		t.Error("no error")
	}
}

// A node that is no chip, or that may not be opened, is an error in words.
func TestNoChip(t *testing.T) {
	chips, err := readChips([]string{"/dev/null", "/nowhere/gpiochip0"})
	if len(chips) != 0 || err == nil {
		t.Errorf("%v, %v", chips, err)
	}
	if _, err := ask(Chip{Path: "/dev/null"}, &lineRequest{}); err == nil {
		t.Error("/dev/null grants lines")
	}
	l := &linux{clock: newTestClock()}
	if l.present(Chip{Path: "/nowhere"}) || !l.present(Chip{Path: "/dev/null"}) {
		t.Error("present")
	}
}

// In a child, since it closes descriptors: Init leaves 0, 1 and 2 open and
// works once.
func TestInit(t *testing.T) {
	if os.Getenv("TALLYHOOD_TEST_INIT") == "" {
		self, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(self, "-test.run=^TestInit$")
		cmd.Env = append(os.Environ(), "TALLYHOOD_TEST_INIT=1")
		out, err := cmd.CombinedOutput()
		if errors.Is(err, unix.ENOEXEC) {
			t.Skip("not on this machine: starting a program for another processor, which this test is")
		}
		if err != nil {
			t.Errorf("%v: %s", err, out)
		}
		return
	}
	for _, fd := range []int{0, 2} {
		unix.Close(fd)
	}
	chips, err := Init()
	now, err2 := Probe()
	if len(chips) != len(now) || (err == nil) != (err2 == nil) {
		t.Errorf("%v, %v; but %v, %v", chips, err, now, err2)
	}
	for fd := range 3 {
		if _, err := unix.FcntlInt(uintptr(fd), unix.F_GETFD, 0); err != nil {
			t.Errorf("descriptor %d: %v", fd, err)
		}
	}
	f, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	if f.Fd() < 3 {
		t.Errorf("the next file gets descriptor %d", f.Fd())
	}
	again, _ := Init()
	if len(again) != len(chips) {
		t.Errorf("%v the second time", again)
	}
}
