// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/audio"
)

// pipeSize is what the pipe to aplay holds, in bytes: the least that Linux
// grants on most boards. The usual 64 KiB would be 0.7 s of delay.
const pipeSize = 4096

// A sink is a running program that takes sound.
type sink interface {
	// Write takes a block, and blocks while there is no room.
	io.Writer
	// Room is false when a block of n bytes would wait in the pipe for longer
	// than intended.
	Room(n int) bool
	// Name is what people know the program by.
	Name() string
	// Ended is closed when the program has ended; then Why says how.
	Ended() <-chan struct{}
	Why() string
	// Shut ends its input, so that it plays what it has and ends; a Write that
	// blocks returns with an error. Kill ends it at once.
	Shut()
	Kill()
}

// arguments of aplay: raw samples from standard input, and a buffer as small as
// a busy board can keep filled.
func arguments(o Options) []string {
	args := []string{
		"-q", "-t", "raw", "-f", "S16_LE", "-r", strconv.Itoa(audio.Rate), "-c", "1",
		"--buffer-time=" + strconv.FormatInt(o.Buffer.Microseconds(), 10),
		"--period-time=" + strconv.FormatInt(o.Period.Microseconds(), 10),
	}
	if o.Device != "" {
		args = append(args, "-D", o.Device)
	}
	return args
}

// A child is a running aplay.
type child struct {
	name  string
	cmd   *exec.Cmd
	in    *os.File
	wide  bool // the pipe is larger than pipeSize
	said  tail
	err   error // valid when ended is closed
	ended chan struct{}
}

var _ sink = (*child)(nil)

// launch starts the program with a pipe of so many bytes to it.
func launch(command string, args []string, size int, log *slog.Logger) (sink, error) {
	name := filepath.Base(command)
	out, in, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("no pipe to %s: %w", name, err)
	}
	defer out.Close()
	c := &child{name: name, in: in, ended: make(chan struct{})}
	c.cmd = exec.Command(command, args...)
	c.cmd.Stdin = out
	c.cmd.Stderr = &c.said
	// A group of its own: an interrupt from the terminal is for the daemon,
	// which then ends aplay in order.
	c.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	// Something that aplay left behind may hold its standard error open.
	c.cmd.WaitDelay = time.Second
	if c.wide = !c.resize(size); c.wide {
		// Pages of 16 or 64 KiB: Room keeps the pipe from filling.
		log.Info("the pipe to the sound program is larger than asked for", "asked", size)
	}
	if err := c.cmd.Start(); err != nil {
		in.Close()
		if errors.Is(err, exec.ErrNotFound) || errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("the program %s is not installed", name)
		}
		return nil, fmt.Errorf("%s cannot be started: %w", name, err)
	}
	go func() {
		c.err = c.cmd.Wait()
		close(c.ended)
	}()
	return c, nil
}

// resize asks for a pipe of so many bytes and reports whether it now holds no
// more than pipeSize.
func (c *child) resize(size int) bool {
	conn, err := c.in.SyscallConn() // Fd would make the file a blocking one
	if err != nil {
		return false
	}
	got, fcntlErr := 0, error(nil)
	err = conn.Control(func(fd uintptr) {
		got, fcntlErr = unix.FcntlInt(fd, unix.F_SETPIPE_SZ, size)
	})
	return err == nil && fcntlErr == nil && got <= pipeSize
}

func (c *child) Write(b []byte) (int, error) { return c.in.Write(b) }

func (c *child) Room(n int) bool {
	if !c.wide {
		return true
	}
	conn, err := c.in.SyscallConn()
	if err != nil {
		return true // Write tells what is wrong
	}
	unread := 0
	err = conn.Control(func(fd uintptr) {
		if v, e := unix.IoctlGetInt(int(fd), unix.TIOCINQ); e == nil {
			unread = v
		}
	})
	return err != nil || unread+n <= pipeSize
}

func (c *child) Name() string           { return c.name }
func (c *child) Ended() <-chan struct{} { return c.ended }

// Why gives the last thing that the program said and how it ended.
func (c *child) Why() string {
	how := "without an error"
	if c.err != nil {
		how = c.err.Error()
	}
	if last := c.said.last(); last != "" {
		return last + ", " + how
	}
	return how
}

func (c *child) Shut() { c.in.Close() }
func (c *child) Kill() { c.cmd.Process.Kill() }

// A tail keeps the end of what a program says on standard error.
type tail struct {
	mu sync.Mutex
	b  []byte
}

const tailSize = 1024

func (t *tail) Write(b []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.b = append(t.b, b...); len(t.b) > tailSize {
		t.b = append(t.b[:0], t.b[len(t.b)-tailSize:]...)
	}
	return len(b), nil
}

// last gives the last line that is not empty, cut to what fits on a page.
func (t *tail) last() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	lines := strings.Split(strings.TrimSpace(string(t.b)), "\n")
	line := strings.TrimSpace(strings.ToValidUTF8(lines[len(lines)-1], "?"))
	if r := []rune(line); len(r) > 120 {
		line = string(r[:120]) + "..."
	}
	return line
}
