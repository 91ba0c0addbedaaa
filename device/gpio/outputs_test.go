// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"tallyhood/device"
)

func outputs(t *testing.T, b *bed, outs ...Output) *Outputs {
	o := NewOutputs(OutputOptions{Clock: b.clock, Outputs: outs, machine: fakeMachine{b.fakeKernel, 0}})
	t.Cleanup(func() { o.Close() })
	return o
}

var (
	lamp = Output{Name: "lamp", Place: Place{Name: "LAMP"}, ActiveLow: true, Shows: device.LampDue}
	horn = Output{Name: "horn", Place: Place{Name: "HORN"}, Shows: device.LampDue, Pulse: 250 * ms}
)

// A lamp that is on while its line is low never flashes: its line is high from
// the request on.
func TestOutput(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		o := outputs(t, b, lamp)
		line := b.chips[0].lines[4]
		o.Light(device.LampDue, true)
		pass(ms)
		o.Light(device.LampDue, true)
		o.Light(device.LampRun, true) // not its own
		pass(ms)
		o.Light(device.LampDue, false)
		pass(ms)
		o.Light(device.LampDue, true)
		pass(ms)
		if p := o.Report(); len(p) != 1 || p[0].State != device.Loaded || !line.used {
			t.Errorf("%+v, used %v", p, line.used)
		}
		o.Close()
		if want := []bool{true, false, true, false, true}; !slices.Equal(line.writes, want) {
			t.Errorf("levels %v, want %v", line.writes, want)
		}
		if line.used {
			t.Error("the line is not released")
		}
		if err := o.Close(); err != nil {
			t.Error(err)
		}
		o.Light(device.LampDue, true)
	})
}

// A pulsed output begins with on and keeps its beat.
func TestPulse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		o := outputs(t, b, horn, lamp)
		line := b.chips[0].lines[5]
		pass(170 * ms)
		o.Light(device.LampDue, true)
		var got []bool
		pass(ms)
		for range 20 {
			b.do(func() { got = append(got, line.high) })
			pass(125 * ms)
		}
		for i, high := range got {
			if want := i/2%2 == 0; high != want {
				t.Errorf("after %d ms: %v, want %v", i*125, high, want)
			}
		}
		b.do(func() {
			if b.chips[0].lines[4].high {
				t.Error("the steady lamp is off")
			}
		})
		o.Light(device.LampDue, false)
		pass(ms)
		var n int
		b.do(func() { n = len(line.writes) })
		pass(check - ms)
		b.do(func() {
			if line.high || len(line.writes) > n+1 {
				t.Errorf("off: high %v, %d writes", line.high, len(line.writes)-n)
			}
		})
	})
}

// A chip that goes is found within check, and its lamps come back as they
// should be then.
func TestOutputHeals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		o := outputs(t, b, lamp)
		b.plug(0, false)
		pass(check + ms)
		if p := o.Report()[0]; p.State != device.Failed || !strings.Contains(p.Reason, "gone") && !strings.Contains(p.Reason, "no GPIO chip") {
			t.Errorf("%+v", p)
		}
		o.Light(device.LampDue, true)
		b.plug(0, true)
		pass(lastRetry + ms)
		if p := o.Report()[0]; p.State != device.Loaded || b.chips[0].lines[4].high {
			t.Errorf("%+v, off", p)
		}
	})
}

// A busy line and a missing one are said at once; the others work.
func TestOutputFailed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBed(t, Kernel)
		b.chips[0].lines[5].used, b.chips[0].lines[5].consumer = true, "fan"
		o := outputs(t, b, horn, lamp, Output{Name: "pad", Place: Place{Name: "GPIO99"}})
		p := o.Report()
		if p[0].State != device.Failed || !strings.Contains(p[0].Reason, "in use by fan") ||
			p[1].State != device.Loaded || p[2].State != device.Failed || !strings.Contains(p[2].Reason, "there is no line GPIO99") {
			t.Errorf("%+v", p)
		}
		o.Light(device.LampDue, true)
		pass(ms)
		b.do(func() { b.chips[0].lines[5].used = false })
		pass(lastRetry + ms)
		if p := o.Report()[0]; p.State != device.Loaded || len(b.chips[0].lines[5].writes) == 0 {
			t.Errorf("%+v", p)
		}
	})
}
