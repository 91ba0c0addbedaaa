// SPDX-License-Identifier: Apache-2.0

package vm

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"tallyhood/tests/kernel/rpc"
)

// QEMU and TreeEditor are the programs that must be found.
const (
	QEMU       = "qemu-system-aarch64"
	TreeEditor = "fdtput"
)

// A Config says what to boot.
type Config struct {
	Kernel string // Image, as Debian's package holds it
	Initrd string
	Dir    string   // for sockets and the device tree; there already
	Lines  []string // names of the eight lines of the GPIO controller
	High   []int    // lines that a pull-up holds high: the controller has none of its own
	Disk   string   // raw image of a virtio disk; empty: none
	// Console gets a copy of what the guest prints, with the time since the
	// start before each line; may be nil.
	Console io.Writer
}

// A Machine runs. Its methods may be called from any goroutine.
type Machine struct {
	*Hand
	Started time.Time

	cmd   *exec.Cmd
	qmp   *control
	ports map[string]string // of the guest: address on the host's loopback

	mu      sync.Mutex
	log     []string
	changed chan struct{}
	done    chan struct{}
}

const board = "virt,gic-version=2"

// The memory of the guest in MB.
const memory = "384"

// tree takes the board's own device tree, names the lines in it, and takes out
// the power key, which sits on one of them. (The editor also packs the tree:
// QEMU dumps 1 MiB and doubles that on loading, and the kernel hangs without a
// word on a tree above 2 MiB.)
func tree(ctx context.Context, c Config) (string, error) {
	file := filepath.Join(c.Dir, "board.dtb")
	out, err := exec.CommandContext(ctx, QEMU, "-M", board+",dumpdtb="+file, "-cpu", "cortex-a53", "-m", memory, "-nodefaults", "-display", "none").CombinedOutput()
	if err == nil {
		out, err = exec.CommandContext(ctx, TreeEditor, "-r", file, "/gpio-keys").CombinedOutput()
	}
	if err == nil {
		args := append([]string{"-t", "s", file, "/pl061@9030000", "gpio-line-names"}, c.Lines...)
		out, err = exec.CommandContext(ctx, TreeEditor, args...).CombinedOutput()
	}
	if err != nil {
		return "", fmt.Errorf("device tree: %w: %s", err, out)
	}
	return file, nil
}

// hurry puts this program's threads before their neighbours, where that is
// allowed: the hand has to move at its instants, as the machine has to run. A
// starved one makes other contacts of those that are asked for.
func hurry() {
	threads, _ := filepath.Glob("/proc/self/task/*")
	for _, t := range threads {
		if id, err := strconv.Atoi(filepath.Base(t)); err == nil {
			_ = syscall.Setpriority(syscall.PRIO_PROCESS, id, -10)
		}
	}
}

// Start boots a machine and returns when its GPIO lines can be moved, long
// before the guest is up. It dies with ctx, and any crash of the guest ends it.
func Start(ctx context.Context, c Config) (*Machine, error) {
	for _, s := range []string{"qmp", "qtest"} {
		_ = os.Remove(filepath.Join(c.Dir, s))
	}
	dtb, err := tree(ctx, c)
	if err != nil {
		return nil, err
	}
	args := []string{
		"-nodefaults", "-no-user-config", "-display", "none", "-no-reboot",
		"-M", board, "-cpu", "cortex-a53", "-accel", "tcg,thread=multi", "-m", memory,
		"-smp", "1", // on two, edges run together while one waits for its turn
		"-kernel", c.Kernel, "-initrd", c.Initrd, "-dtb", dtb, "-serial", "stdio",
		"-qmp", "unix:" + filepath.Join(c.Dir, "qmp") + ",server=on,wait=off",
		"-qtest", "unix:" + filepath.Join(c.Dir, "qtest") + ",server=on,wait=off", "-qtest-log", "none",
		"-netdev", fmt.Sprintf("user,id=net,restrict=on,hostfwd=tcp:127.0.0.1:0-:%d,hostfwd=tcp:127.0.0.1:0-:%d", rpc.Port, rpc.PagePort),
		"-device", "virtio-net-pci,netdev=net,romfile=",
		"-append", "console=ttyAMA0 panic=-1 quiet mitigations=off lsm= audit=0 cryptomgr.notests random.trust_cpu=on",
	}
	if c.Disk != "" {
		args = append(args, "-drive", "if=none,id=disk,format=raw,cache=writeback,file="+c.Disk, "-device", "virtio-blk-pci,drive=disk")
	}
	hurry()
	cmd := exec.CommandContext(ctx, QEMU, args...)                     // it inherits the priority
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} // no machine outlives its test
	cmd.WaitDelay = time.Second
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	cmd.Stderr = cmd.Stdout
	m := &Machine{Started: time.Now(), cmd: cmd, changed: make(chan struct{}), done: make(chan struct{})}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	go m.follow(out, c.Console)
	if err := m.connect(c); err != nil {
		m.Cut()
		return nil, fmt.Errorf("%w\n%s", err, strings.Join(m.Log(), "\n"))
	}
	return m, nil
}

func (m *Machine) connect(c Config) error {
	conn, err := dial(filepath.Join(c.Dir, "qmp"), m.done)
	if err != nil {
		return err
	}
	m.qmp = &control{c: conn, in: json.NewDecoder(conn)}
	if _, err := m.qmp.do("qmp_capabilities", nil); err != nil {
		return err
	}
	if m.ports, err = m.forwards(); err != nil {
		return err
	}
	chip, err := m.controller()
	if err != nil {
		return err
	}
	if conn, err = dial(filepath.Join(c.Dir, "qtest"), m.done); err != nil {
		return err
	}
	if m.Hand, err = newHand(conn, chip); err != nil {
		return err
	}
	for _, n := range c.High {
		if err := m.Set(n, true); err != nil {
			return err
		}
	}
	return nil
}

func dial(socket string, ended <-chan struct{}) (net.Conn, error) {
	for range 1000 {
		if c, err := net.Dial("unix", socket); err == nil {
			return c, nil
		}
		select {
		case <-ended:
			return nil, ErrEnded
		case <-time.After(20 * time.Millisecond):
		}
	}
	return nil, fmt.Errorf("QEMU does not answer on %s", filepath.Base(socket))
}

func (m *Machine) follow(out io.Reader, to io.Writer) {
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		line := strings.TrimRight(lines.Text(), "\r")
		if to != nil {
			fmt.Fprintf(to, "[%6.2f] %s\n", time.Since(m.Started).Seconds(), line)
		}
		m.mu.Lock()
		m.log = append(m.log, line)
		m.wake()
		m.mu.Unlock()
	}
	_ = m.cmd.Wait()
	m.mu.Lock()
	m.wake()
	m.mu.Unlock()
	close(m.done)
}

func (m *Machine) wake() {
	close(m.changed)
	m.changed = make(chan struct{})
}

// ErrEnded: the machine stopped before what was waited for.
var ErrEnded = errors.New("the machine has ended")

// Expect waits for a console line that holds some words.
func (m *Machine) Expect(words string, d time.Duration) error {
	deadline := time.After(d)
	for seen := 0; ; {
		m.mu.Lock()
		fresh, changed := m.log[seen:], m.changed
		seen = len(m.log)
		m.mu.Unlock()
		for _, l := range fresh {
			if strings.Contains(l, words) {
				return nil
			}
		}
		select {
		case <-changed:
		case <-m.done:
			return ErrEnded
		case <-deadline:
			return fmt.Errorf("the console did not say %q within %v", words, d)
		}
	}
}

// Log is what the guest printed.
func (m *Machine) Log() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]string(nil), m.log...)
}

// Cut ends the machine as a power cut would: at once, whatever it was doing.
func (m *Machine) Cut() {
	_ = m.cmd.Process.Kill()
	<-m.done
}

// Port gives the address on the host's loopback of a port of the guest.
func (m *Machine) Port(n int) string { return m.ports[fmt.Sprint(n)] }

// Call starts a task in the guest; the caller closes it.
func (m *Machine) Call(task string, args any) (*rpc.Conn, error) {
	c, err := net.DialTimeout("tcp", m.Port(rpc.Port), 10*time.Second)
	if err != nil {
		return nil, err
	}
	r := rpc.New(c)
	return r, r.Ask(task, args)
}

// Do runs a task to its end and keeps its last value in result, which may be nil.
func (m *Machine) Do(task string, args, result any) error {
	c, err := m.Call(task, args)
	if err != nil {
		return fmt.Errorf("%s: %w", task, err)
	}
	defer c.Close()
	for {
		if err := c.Next(result); errors.Is(err, rpc.ErrEnd) {
			return nil
		} else if err != nil {
			return fmt.Errorf("%s: %w", task, err)
		}
	}
}

// control is the connection of QEMU's machine protocol.
type control struct {
	mu sync.Mutex
	c  net.Conn
	in *json.Decoder
}

func (q *control) do(command string, args any) (json.RawMessage, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	ask := map[string]any{"execute": command}
	if args != nil {
		ask["arguments"] = args
	}
	_ = q.c.SetDeadline(time.Now().Add(20 * time.Second))
	if err := json.NewEncoder(q.c).Encode(ask); err != nil {
		return nil, err
	}
	for { // events and the greeting come between
		var a struct {
			Return json.RawMessage
			Error  *struct{ Desc string }
		}
		if err := q.in.Decode(&a); err != nil {
			return nil, err
		}
		if a.Error != nil {
			return nil, fmt.Errorf("%s: %s", command, a.Error.Desc)
		}
		if a.Return != nil {
			return a.Return, nil
		}
	}
}

// TCP[HOST_FORWARD]  fd  127.0.0.1  host-port  guest-ip  guest-port  0  0
var forward = regexp.MustCompile(`TCP\[HOST_FORWARD\]\s+\d+\s+127\.0\.0\.1\s+(\d+)\s+\S+\s+(\d+)`)

// forwards asks which free ports QEMU took, so that none is taken twice.
func (m *Machine) forwards() (map[string]string, error) {
	r, err := m.qmp.do("human-monitor-command", map[string]string{"command-line": "info usernet"})
	if err != nil {
		return nil, err
	}
	var text string
	if err := json.Unmarshal(r, &text); err != nil {
		return nil, err
	}
	ports := map[string]string{}
	for _, f := range forward.FindAllStringSubmatch(text, -1) {
		ports[f[2]] = "127.0.0.1:" + f[1]
	}
	if len(ports) != 2 {
		return nil, fmt.Errorf("no forwarded ports in %q", text)
	}
	return ports, nil
}

// controller finds the GPIO controller in QEMU's tree of objects.
func (m *Machine) controller() (string, error) {
	r, err := m.qmp.do("qom-list", map[string]string{"path": "/machine/unattached"})
	if err != nil {
		return "", err
	}
	var objects []struct{ Name, Type string }
	if err := json.Unmarshal(r, &objects); err != nil {
		return "", err
	}
	for _, o := range objects {
		if strings.Contains(o.Type, "pl061") {
			return "/machine/unattached/" + o.Name, nil
		}
	}
	return "", errors.New("the machine has no GPIO controller")
}
