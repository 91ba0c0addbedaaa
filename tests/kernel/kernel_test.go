// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/tests/kernel/vm"
)

// The lines of the GPIO controller, in the order of their numbers.
const (
	squeeze = iota
	step
	tasteNO
	tasteNC
	taste
	due
	run
	stop
)

var lineNames = []string{"SQUEEZE", "STEP", "TASTE_NO", "TASTE_NC", "TASTE", "DUE", "RUN", "STOP"}

// Contacts close to ground and a pull-up holds them high, so high is open. At
// rest the changeover button has its resting contact closed.
var atRest = []int{squeeze, step, tasteNO, taste}

// bootTime is generous: a loaded machine took 15 s.
const bootTime = 2 * time.Minute

// An image is an initramfs, made once and used by every machine that runs it.
type image struct {
	daemon bool // holds the daemon beside the guest
	once   sync.Once
	kernel string
	initrd string
	err    error
}

var (
	guestImage  = &image{}
	daemonImage = &image{daemon: true}
	made        string // the folder of both
)

func TestMain(m *testing.M) {
	code := m.Run()
	if made != "" {
		_ = os.RemoveAll(made)
	}
	os.Exit(code)
}

// cache is the folder that tests/kernel/fetch fills.
func cache() string {
	if c := os.Getenv("TALLYHOOD_KERNEL"); c != "" {
		return filepath.Join(c, "current")
	}
	return "../../build/kernel/current"
}

// formatter makes file systems; it lies where the path of a user may not lead.
func formatter() string {
	for _, name := range []string{"mke2fs", "/usr/sbin/mke2fs", "/sbin/mke2fs"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	return ""
}

// need skips where something is missing that .ci/install and fetch bring.
func need(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("only when asked: a virtual machine (without -short)")
	}
	for _, p := range []string{vm.QEMU, vm.TreeEditor} {
		if _, err := exec.LookPath(p); err != nil {
			t.Skipf("missing part: %s, which .ci/install brings", p)
		}
	}
	if formatter() == "" {
		t.Skip("missing part: mke2fs, which .ci/install brings")
	}
	if _, err := os.Stat(filepath.Join(cache(), "kernel")); err != nil {
		t.Skip("missing part: a kernel for the virtual machine, which tests/kernel/fetch brings")
	}
}

// build makes the initramfs: the guest, the daemon, and what they call.
func (i *image) build(t *testing.T) {
	t.Helper()
	i.once.Do(func() {
		if made == "" {
			if made, i.err = os.MkdirTemp("", "tallyhood-kernel-"); i.err != nil {
				return
			}
		}
		i.err = i.assemble(made)
	})
	if i.err != nil {
		t.Fatal(i.err)
	}
}

// sources looks at every source file of what is built for the guest, so that
// the go command knows that a cached result stands on them.
func sources() error {
	for _, folder := range []string{"audio", "cmd", "console", "device", "store", "tests/kernel"} {
		err := filepath.WalkDir(filepath.Join("../..", folder), func(p string, d os.DirEntry, err error) error {
			if err == nil && d.Type().IsRegular() {
				_, err = os.Stat(p)
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	for _, f := range []string{"go.mod", "go.sum"} {
		if _, err := os.Stat(filepath.Join("../..", f)); err != nil {
			return err
		}
	}
	return nil
}

func (i *image) assemble(dir string) error {
	if err := sources(); err != nil {
		return err
	}
	root, err := filepath.EvalSymlinks(cache())
	if err != nil {
		return err
	}
	im := vm.NewImage()
	programs := map[string]string{"init": "tallyhood/tests/kernel/guest"}
	if i.daemon {
		programs["usr/bin/tallyhood"] = "tallyhood/cmd/tallyhood"
	}
	for guest, pkg := range programs {
		bin := filepath.Join(dir, filepath.Base(guest))
		if err := compile(bin, pkg); err != nil {
			return err
		}
		im.Add(guest, bin)
	}
	for _, p := range []string{"aplay", "arecord", "amixer"} {
		if err := im.AddProgram("usr/bin/"+p, filepath.Join(root, "root/usr/bin", p), filepath.Join(root, "root/lib")); err != nil {
			return err
		}
	}
	if err := im.AddTree("usr/share/alsa", filepath.Join(root, "root/usr/share/alsa")); err != nil {
		return err
	}
	if err := im.AddModules(filepath.Join(root, "modules"), "virtio_pci", "virtio_net", "virtio_blk", "ext4", "crc32c_generic", "evdev", "uinput", "snd-aloop"); err != nil {
		return err
	}
	i.kernel = filepath.Join(root, "kernel")
	i.initrd = filepath.Join(dir, fmt.Sprintf("initrd-%v", i.daemon))
	return im.WriteFile(i.initrd)
}

// compile makes a program for the guest.
func compile(to, pkg string) error {
	c := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", to, pkg)
	c.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH=arm64")
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("build %s: %w\n%s", pkg, err, out)
	}
	return nil
}

// start boots a machine and waits for its guest. What the guest prints is
// shown when the test fails.
func (i *image) start(t *testing.T, disk string) *vm.Machine {
	t.Helper()
	i.build(t)
	ctx, cancel := context.WithCancel(context.Background())
	m, err := vm.Start(ctx, vm.Config{Kernel: i.kernel, Initrd: i.initrd, Dir: t.TempDir(), Lines: lineNames, High: atRest, Disk: disk})
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	t.Cleanup(func() {
		m.Cut()
		cancel()
		if t.Failed() {
			t.Logf("the guest's console:\n%s", strings.Join(m.Log(), "\n"))
		}
	})
	if err := m.Expect("guest: up", bootTime); err != nil {
		t.Fatal(err)
	}
	t.Logf("the guest is up after %.1f s", time.Since(m.Started).Seconds())
	return m
}
