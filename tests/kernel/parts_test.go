// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"testing"

	"tallyhood/tests/kernel/vm"
)

// TestParts tries the parts of the program that touch the kernel, each by
// itself, in one machine.
func TestParts(t *testing.T) {
	need(t)
	m := guestImage.start(t, "")
	t.Run("contract of the periph reader", func(t *testing.T) { contract(t, m, "periph", "unplugged") })
	t.Run("presses", func(t *testing.T) { atRestAgain(t, m); countPresses(t, m) })
	t.Run("cues", func(t *testing.T) { cueOnsets(t, m) })
	// Last, since it takes the chip away, which periph does not find again.
	t.Run("contract of the kernel reader", func(t *testing.T) { atRestAgain(t, m); contract(t, m, "kernel") })
}

// atRestAgain lets all contacts go.
func atRestAgain(t *testing.T, m *vm.Machine) {
	t.Helper()
	for _, l := range atRest {
		if err := m.Set(l, true); err != nil {
			t.Fatal(err)
		}
	}
}
