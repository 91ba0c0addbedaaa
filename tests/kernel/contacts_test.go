// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"tallyhood/tests/kernel/rpc"
	"tallyhood/tests/kernel/vm"
)

// hand is a person's: it presses contacts that bounce.
type hand struct {
	t *testing.T
	*vm.Machine
	*rand.Rand
}

func newHand(t *testing.T, m *vm.Machine) *hand {
	return &hand{t, m, rand.New(rand.NewPCG(7, 11))}
}

// press closes a contact for a while; make and break chatter up to 15 ms.
func (h *hand) press(line int, held time.Duration) {
	h.t.Helper()
	h.change(line, true)
	time.Sleep(held)
	h.change(line, false)
}

func (h *hand) change(line int, closed bool) {
	h.t.Helper()
	h.play(vm.Bounce(h.Rand, 0, line, !closed, h.IntN(6), 15*time.Millisecond))
}

func (h *hand) play(moves []vm.Move) {
	h.t.Helper()
	if _, err := h.Play(moves); err != nil {
		h.t.Fatal(err)
	}
}

func (h *hand) set(line int, high bool) {
	h.t.Helper()
	h.play([]vm.Move{{Line: line, High: high}})
}

// button presses the changeover button: its resting contact opens first, and
// on the way both are open for some milliseconds.
func (h *hand) button(held time.Duration) {
	h.t.Helper()
	h.change(tasteNC, false)
	time.Sleep(4 * time.Millisecond)
	h.change(tasteNO, true)
	time.Sleep(held)
	h.change(tasteNO, false)
	time.Sleep(4 * time.Millisecond)
	h.change(tasteNC, true)
}

// A foot is a virtual pedal that is plugged in.
type foot struct {
	t    *testing.T
	m    *vm.Machine
	task *rpc.Conn
}

func plugIn(t *testing.T, m *vm.Machine) *foot {
	t.Helper()
	f := &foot{t: t, m: m}
	f.plugIn()
	t.Cleanup(f.unplug)
	return f
}

func (f *foot) plugIn() {
	f.t.Helper()
	task, err := f.m.Call("pedal", map[string]any{"vendor": 0x1209, "product": 1, "name": "test pedal", "keys": []int{48}})
	if err != nil {
		f.t.Fatal(err)
	}
	f.task = task
	if err := task.Next(nil); err != nil {
		f.t.Fatal(err)
	}
}

func (f *foot) press() {
	f.t.Helper()
	for _, down := range []bool{true, false} {
		if err := f.task.Tell(map[string]any{"key": 48, "down": down}); err != nil {
			f.t.Fatal(err)
		}
		if err := f.task.Next(nil); err != nil {
			f.t.Fatal(err)
		}
		time.Sleep(120 * time.Millisecond)
	}
}

func (f *foot) unplug() { f.task.Close() }
