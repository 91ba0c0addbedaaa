// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/tests/kernel/rpc"
	"tallyhood/tests/kernel/vm"
)

// config is that of a box whose squeezes and button come by wires and whose
// steps come by a pedal.
const config = `
[store]
file = "/store/records"
[board]
kind = "wired"
edges = "%s"
[contact.squeeze]
line = "SQUEEZE"
[contact.step]
by = "pedal"
device = "1209:0001"
key = 48
[contact.taste_no]
line = "TASTE_NO"
[contact.taste_nc]
chip = "9030000.pl061"
offset = 3
[sound]
device = "hw:Loopback,0,0"
speak = false
[output.lamp_due]
line = "DUE"
shows = "due"
[output.lamp_run]
line = "RUN"
shows = "run"
[output.lamp_stop]
line = "STOP"
shows = "stop"
`

// A box is the daemon on its wired board in the machine, with a tester's page
// before it, a hand at its contacts and a foot at its pedal.
type box struct {
	t *testing.T
	m *vm.Machine
	d *daemon
	p *tablet
	h *hand
	f *foot

	flags  []string  // of serve
	steady *rpc.Conn // watches whether the machine runs
}

// disk makes a file system whose files outlast a power cut.
func disk(t *testing.T) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "disk")
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(512 << 20); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(formatter(), "-q", "-t", "ext4", file).CombinedOutput(); err != nil {
		t.Fatalf("mke2fs: %v\n%s", err, out)
	}
	return file
}

// bringUp boots a machine on a disk and starts the box, with further flags.
func bringUp(t *testing.T, disk string, flags ...string) *box {
	t.Helper()
	b := &box{t: t, m: daemonImage.start(t, disk), flags: flags}
	if err := b.m.Do("mount", map[string]string{"device": "/dev/vda", "path": "/store", "kind": "ext4"}, nil); err != nil {
		t.Fatal(err)
	}
	var err error
	if b.steady, err = b.m.Call("steady", nil); err != nil {
		t.Fatal(err)
	}
	b.h = newHand(t, b.m)
	b.f = plugIn(t, b.m)
	b.serve("kernel")
	return b
}

// serve starts the daemon with one of its readers of edges and takes the lead.
func (b *box) serve(reader string) {
	b.t.Helper()
	if err := b.m.Do("write", map[string]string{"path": "/run/tallyhood.toml", "text": fmt.Sprintf(config, reader)}, nil); err != nil {
		b.t.Fatal(err)
	}
	b.d = serve(b.t, b.m, append([]string{"--config", "/run/tallyhood.toml"}, b.flags...)...)
	b.p = b.d.tablet()
	b.whole()
	b.p.lead()
	// A real run names its nebulisers, and how old a filling is only a clock tells
	// that can be trusted.
	if why := b.p.ask(wire.Command{Do: "confirm_clock", Wall: b.p.last.Clock.Wall}); why != "" && why != "clock_served" {
		b.t.Fatalf("the clock was not confirmed: %s", why)
	}
	b.d.stock(b.p.last.Clock.Wall)
}

// whole waits until every part that brings a contact works.
func (b *box) whole() {
	b.t.Helper()
	b.p.until("all parts", func(s wire.Snapshot) bool { return s.Inputs.Missing == "" && len(s.Inputs.Lines) == 4 })
}

// scene is a subtest that goes on with the box; what it leaves may outlast it.
func (b *box) scene(name string, f func(t *testing.T)) {
	top := b.t
	use := func(t *testing.T) { b.t, b.d.t, b.p.t, b.h.t, b.f.t = t, t, t, t, t }
	defer func() { use(top) }()
	top.Run(name, func(t *testing.T) {
		use(t)
		f(t)
	})
}

// toScreening takes a new run to the sensitivity test by the pedal and gives
// some squeezes.
func (b *box) toScreening(n int) (run string) {
	b.t.Helper()
	for range tries {
		run = b.p.open()
		b.f.press()
		b.p.stage(procedure.Screening)
		good := true
		for range n {
			good = good && b.squeeze(120*time.Millisecond, func(s wire.Snapshot) int { return s.Run.Screening.Squeezes })
		}
		if good {
			return run
		}
	}
	b.t.Fatal("the machine stands still in every run")
	return ""
}

// report takes a new run through a whole sensitivity test.
func (b *box) report(n int) (run string) {
	b.t.Helper()
	for range tries {
		run = b.toScreening(n)
		b.h.button(300 * time.Millisecond)
		b.p.until("the report", func(s wire.Snapshot) bool { return s.Run.Stage != procedure.Screening })
		for settled := time.After(700 * time.Millisecond); ; { // the button's last edges too
			if _, err := b.p.read(settled); err != nil {
				break
			}
		}
		if !b.stood() {
			b.p.stage(procedure.Clearing)
			return run
		}
	}
	b.t.Fatal("the machine stands still in every run")
	return ""
}

// tries bounds how often a run is begun again because the machine stood still.
const tries = 20

// stood tells whether the run was ended because the machine stood still while
// a contact moved: a press might have been hidden. That is right of the box and
// no business of the scene, which begins anew.
func (b *box) stood() bool {
	b.t.Helper()
	if b.p.last.Run.Stage != procedure.Over {
		return false
	}
	b.p.verdict(procedure.NotValid, procedure.InputGap)
	why := b.p.last.Inputs.Lost
	if !strings.Contains(why, "stood still") {
		b.t.Fatalf("edges were lost: %q", why)
	}
	b.t.Logf("a run is begun again: %s", why)
	return true
}

// squeeze presses until one more squeeze counts, and leaves some time after.
// It counts at once and once, but where the machine stood still in between:
// then the contact was not moved as the hand moved it. It is false if the run
// has ended for that.
func (b *box) squeeze(held time.Duration, count func(wire.Snapshot) int) bool {
	b.t.Helper()
	b.still()
	before := count(b.p.last)
	for range 10 {
		b.h.press(squeeze, held)
		after := time.After(held)
		for wait := time.After(time.Second); count(b.p.last) == before && b.p.last.Run.Stage != procedure.Over; {
			if _, err := b.p.read(wait); err != nil {
				break
			}
		}
		if b.stood() {
			return false
		}
		<-after
		got, still := count(b.p.last)-before, b.still()
		if got == 1 {
			return true
		}
		if still < stoodStill {
			b.t.Errorf("one squeeze counted as %d", got)
		}
		if got > 1 {
			return true
		}
		b.t.Logf("a squeeze did not count; the machine stood still for %.0f ms", inMS(still))
	}
	b.t.Fatal("squeezes do not count")
	return false
}

// still is the longest time that the machine stood still since last asked.
func (b *box) still() (d time.Duration) {
	b.t.Helper()
	if err := b.steady.Tell("how long"); err != nil {
		b.t.Fatal(err)
	}
	if err := b.steady.Next(&d); err != nil {
		b.t.Fatal(err)
	}
	return d
}

// abandon ends a run that has shown what it was for.
func (b *box) abandon() {
	b.t.Helper()
	b.p.must(wire.Command{Do: string(procedure.DoAbandon)})
	b.p.verdict(procedure.NotValid, procedure.Interrupted)
}

// verify proves the journal of a daemon that has ended.
func (b *box) verify() {
	b.t.Helper()
	var last struct {
		Out  string
		Exit *int
	}
	args := []string{"/usr/bin/tallyhood", "records", "verify", "--store", "/store/records"}
	if err := b.m.Do("run", map[string]any{"args": args}, &last); err != nil || last.Exit == nil || *last.Exit != 0 {
		b.t.Errorf("the journal does not hold together: %v, %+v", err, last)
	}
}
