// SPDX-License-Identifier: Apache-2.0

package main

import (
	"testing"
	"time"

	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
)

// What a sensor says of a push beside its contact is no contact to report on.
func TestCheckBoardHearsOfAPush(t *testing.T) {
	c := clock.New(1)
	b := sim.New(c, true)
	defer b.Close()
	w := newWatch(b, c)
	at := c.Now()
	w.edge(device.Edge{At: at, Line: device.Push, Closed: true})
	w.edge(device.Edge{At: at + time.Millisecond, Line: device.Push})
	if _, ok := w.contacts[device.Push]; ok || len(w.contacts) != 4 {
		t.Errorf("contacts %v", w.contacts)
	}
}
