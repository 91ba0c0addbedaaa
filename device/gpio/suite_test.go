// SPDX-License-Identifier: Apache-2.0

package gpio

import (
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"tallyhood/device"
	"tallyhood/device/gpio/linetest"
)

func (b *bed) rig() linetest.Rig {
	lines := make([]device.Line, 0, len(b.contacts))
	for _, c := range b.contacts {
		lines = append(lines, c.Line)
	}
	return linetest.Rig{
		Clock: b.clock, Lines: lines, Hand: b, Late: 5 * time.Millisecond,
		New:    func(buffer int) device.Source { return b.source(buffer) },
		Unplug: func() error { b.plug(0, false); return nil },
		Replug: func() error { b.plug(0, true); return nil },
	}
}

// The whole contract over the own reader, in virtual time: with a kernel whose
// interrupt thread is quick, and with one that runs edges together.
func TestContract(t *testing.T) {
	for _, latency := range []time.Duration{0, 400 * time.Microsecond, 2 * time.Millisecond} {
		t.Run(latency.String(), func(t *testing.T) {
			for _, c := range linetest.Cases() {
				if c.Name == "queue overrun" && latency > 0 {
					continue // this hand takes no time, so all edges would be one event
				}
				t.Run(c.Name, func(t *testing.T) {
					synctest.Test(t, func(t *testing.T) {
						b := newBed(t, Kernel)
						b.latency = latency
						c.Run(t, b.rig())
					})
				})
			}
		})
	}
}

// The same over both readers in real time, with a hand that is slow, so that
// edges do come one by one.
func TestContractRealTime(t *testing.T) {
	for _, mode := range []string{Kernel, Periph} {
		for _, c := range linetest.Cases() {
			if c.Name == "flush" {
				continue // a busy machine may not have queued the edge yet; virtual time shows it
			}
			t.Run(mode+" "+c.Name, func(t *testing.T) {
				t.Parallel()
				b := newBed(t, mode)
				b.latency = 400 * time.Microsecond
				r := b.rig()
				r.Hand = slowHand{b}
				r.Patience, r.Late, r.Still = time.Minute, time.Minute, true // the machine may be busy
				c.Run(t, r)
			})
		}
	}
}

// A slowHand moves a line when the kernel has told all moves before.
type slowHand struct{ *bed }

func (h slowHand) Set(l device.Line, closed bool) error {
	for busy := true; busy; {
		time.Sleep(300 * time.Microsecond)
		h.do(func() {
			busy = slices.ContainsFunc(h.chips[0].requests, func(r *fakeRequest) bool { return r.chip.plugged && slices.Contains(r.due, true) })
		})
	}
	return h.bed.Set(l, closed)
}
