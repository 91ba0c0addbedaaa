// SPDX-License-Identifier: Apache-2.0

// Command guest is the first program of the virtual machine in which the
// kernel tests run: it mounts, loads modules, brings the network up, and then
// does the tasks that the host names. It must not run anywhere else.
package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"tallyhood/device/gpio"
	"tallyhood/tests/kernel/rpc"
)

// A task does what the host asks for over its connection.
type task func(c *rpc.Conn, args json.RawMessage) error

var tasks = map[string]task{}

func main() {
	if os.Getpid() != 1 {
		fmt.Fprintln(os.Stderr, "guest: this is the first program of a test machine and nothing else")
		os.Exit(2)
	}
	if err := boot(); err != nil {
		fmt.Println("guest: boot:", err)
	}
	err := serve()
	fmt.Println("guest: ended:", err)
	off()
}

func off() {
	unix.Sync()
	_ = unix.Reboot(unix.LINUX_REBOOT_CMD_POWER_OFF)
}

func boot() error {
	var errs []error
	for _, m := range [][2]string{{"proc", "/proc"}, {"sysfs", "/sys"}, {"devtmpfs", "/dev"}, {"tmpfs", "/run"}, {"tmpfs", "/tmp"}} {
		errs = append(errs, unix.Mount(m[0], m[1], m[0], 0, ""))
	}
	for k, v := range map[string]string{"PATH": "/usr/bin", "HOME": "/run", "TMPDIR": "/tmp"} {
		errs = append(errs, os.Setenv(k, v))
	}
	list, err := os.ReadFile("/modules/list")
	errs = append(errs, err)
	for _, m := range strings.Fields(string(list)) {
		if err := load("/" + m); err != nil {
			errs = append(errs, fmt.Errorf("module %s: %w", m, err))
		}
	}
	errs = append(errs, up("lo", nil), up("eth0", net.ParseIP(rpc.GuestIP)))
	return errors.Join(errs...)
}

func load(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	params := ""
	if strings.HasSuffix(path, "/snd-aloop.ko") {
		params = "id=Loopback index=0 pcm_substreams=1"
	}
	if err := unix.FinitModule(int(f.Fd()), params, 0); !errors.Is(err, unix.EEXIST) {
		return err
	}
	return nil
}

// up gives a network card its address (netdevice(7)) and switches it on.
func up(card string, ip net.IP) error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	set := func(request uintptr, family uint16, data []byte) error {
		var r [40]byte // struct ifreq: name, then a union
		copy(r[:15], card)
		*(*uint16)(unsafe.Pointer(&r[16])) = family
		copy(r[20:], data)
		if _, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), request, uintptr(unsafe.Pointer(&r))); e != 0 {
			return fmt.Errorf("network card %s: %w", card, e)
		}
		return nil
	}
	if ip != nil {
		if err := set(unix.SIOCSIFADDR, unix.AF_INET, ip.To4()); err != nil {
			return err
		}
		if err := set(unix.SIOCSIFNETMASK, unix.AF_INET, net.CIDRMask(24, 32)); err != nil {
			return err
		}
	}
	return set(unix.SIOCSIFFLAGS, unix.IFF_UP|unix.IFF_RUNNING, nil)
}

func serve() error {
	// As the daemon does it: before anything else is opened.
	if _, err := gpio.Init(); err != nil {
		fmt.Println("guest: periph:", err)
	}
	pages, err := net.Listen("tcp", fmt.Sprintf("%s:%d", rpc.GuestIP, rpc.PagePort))
	if err != nil {
		return err
	}
	go accept(pages, relay)
	l, err := net.Listen("tcp", fmt.Sprintf("%s:%d", rpc.GuestIP, rpc.Port))
	if err != nil {
		return err
	}
	fmt.Printf("guest: up after %.2f s of its own time\n", mono().Seconds())
	return accept(l, one)
}

func accept(l net.Listener, do func(net.Conn)) error {
	for {
		c, err := l.Accept()
		if err != nil {
			return err
		}
		go do(c)
	}
}

// relay passes a connection on to the daemon, which listens on the loopback.
func relay(in net.Conn) {
	defer in.Close()
	out, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", rpc.PagePort))
	if err != nil {
		return
	}
	defer out.Close()
	done := make(chan bool, 2)
	for _, pair := range [][2]net.Conn{{in, out}, {out, in}} {
		go func() {
			_, _ = io.Copy(pair[0], pair[1])
			done <- true
		}()
	}
	<-done
}

func one(conn net.Conn) {
	c := rpc.New(conn)
	r, err := c.Asked()
	switch do := tasks[r.Task]; {
	case err != nil:
	case do == nil:
		err = fmt.Errorf("the guest has no task %q", r.Task)
	default:
		err = do(c, r.Args)
	}
	c.End(err)
}

// mono is CLOCK_MONOTONIC, the clock of GPIO and input events.
func mono() time.Duration {
	var ts unix.Timespec
	_ = unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts)
	return time.Duration(ts.Nano())
}
