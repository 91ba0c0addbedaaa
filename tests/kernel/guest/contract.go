// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"runtime"
	"sync"
	"testing"
	"time"

	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/gpio"
	"tallyhood/device/gpio/linetest"
	"tallyhood/tests/kernel/rpc"
)

func init() { tasks["contract"] = contract }

// chipLabel is the kernel's name of the only GPIO controller.
const chipLabel = "9030000.pl061"

// places are the contacts of the contract and their lines on the chip.
var places = map[device.Line]int{device.Squeeze: 0, device.Step: 1, device.Taste: 4}

// contract runs every clause of the contract of a source against one of the
// daemon's readers. It emits {"set": {line, high}} for each move that the host
// is to make, which the host answers, and {"clause": ...} for each clause.
func contract(c *rpc.Conn, args json.RawMessage) error {
	var a struct{ Edges string }
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	clk := clock.New(1)
	rig := linetest.Rig{
		Clock: clk, Lines: []device.Line{device.Squeeze, device.Step, device.Taste}, Hand: far{c},
		Patience: 20 * time.Second, Late: 500 * time.Millisecond, Dwell: 50 * time.Millisecond,
	}
	if a.Edges == gpio.Kernel { // periph finds no chip that comes back
		rig.Unplug = func() error { return sysfs("unbind") }
		rig.Replug = func() error { return sysfs("bind") }
	}
	rig.New = func(buffer int) device.Source {
		o := gpio.Options{Clock: clk, Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Edges: a.Edges, Buffer: buffer}
		for _, l := range rig.Lines {
			o.Contacts = append(o.Contacts, gpio.Contact{Line: l, Place: gpio.Place{Chip: chipLabel, Offset: places[l]}, Pull: gpio.PullUp, ActiveLow: true})
		}
		return gpio.New(o)
	}
	still := watchGaps()
	defer close(still.stop)
	for _, k := range linetest.Cases() {
		// A clause that failed while the machine stood still says nothing of the
		// reader: edges run together then, and a reader that says so is right.
		for try := 1; ; try++ {
			still.take()
			began := clk.Now()
			v := &verdict{out: outcome{Clause: k.Name}}
			v.run(func() { k.Run(v, rig) })
			v.out.Took, v.out.Still = clk.Now()-began, still.take()
			v.out.Again = v.out.Failed && v.out.Still >= 10*time.Millisecond && try < 10
			if err := c.Emit(v.out); err != nil {
				return err
			}
			if !v.out.Again {
				break
			}
		}
	}
	return nil
}

func sysfs(do string) error {
	return os.WriteFile("/sys/bus/amba/drivers/pl061_gpio/"+do, []byte(chipLabel), 0)
}

// far is the host's hand; closed is low.
type far struct{ c *rpc.Conn }

func (h far) Set(l device.Line, closed bool) error {
	if err := h.c.Emit(map[string]any{"set": map[string]any{"line": places[l], "high": !closed}}); err != nil {
		return err
	}
	var done json.RawMessage
	return h.c.Told(&done)
}

// An outcome is that of one clause.
type outcome struct {
	Clause  string        `json:"clause"`
	Failed  bool          `json:"failed"`
	Skipped bool          `json:"skipped"`
	Said    []string      `json:"said"`
	Took    time.Duration `json:"took"`
	Still   time.Duration `json:"still"` // longest time in which nothing ran
	Again   bool          `json:"again"` // the clause is tried again
}

// verdict stands for the *testing.T of a clause: no test runs in the guest.
// What it does not have of a testing.TB panics.
type verdict struct {
	testing.TB
	out outcome

	mu     sync.Mutex
	undone []func()
}

// run runs f, which may end its goroutine, and then what it left to be undone.
func (v *verdict) run(f func()) {
	each := func(f func()) {
		done := make(chan any)
		go func() {
			var why any
			defer func() {
				if r := recover(); r != nil {
					why = r
				}
				done <- why
			}()
			f()
		}()
		if why := <-done; why != nil {
			v.Errorf("panic: %v", why)
		}
	}
	each(f)
	for len(v.undone) > 0 {
		last := v.undone[len(v.undone)-1]
		v.undone = v.undone[:len(v.undone)-1]
		each(last)
	}
}

func (v *verdict) say(text string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.out.Said = append(v.out.Said, text)
}

func (v *verdict) Helper()                   {}
func (v *verdict) Name() string              { return v.out.Clause }
func (v *verdict) Cleanup(f func())          { v.undone = append(v.undone, f) }
func (v *verdict) Log(a ...any)              { v.say(fmt.Sprintln(a...)) }
func (v *verdict) Logf(f string, a ...any)   { v.say(fmt.Sprintf(f, a...)) }
func (v *verdict) Error(a ...any)            { v.Fail(); v.Log(a...) }
func (v *verdict) Errorf(f string, a ...any) { v.Fail(); v.Logf(f, a...) }
func (v *verdict) Fatal(a ...any)            { v.Error(a...); runtime.Goexit() }
func (v *verdict) Fatalf(f string, a ...any) { v.Errorf(f, a...); runtime.Goexit() }
func (v *verdict) FailNow()                  { v.Fail(); runtime.Goexit() }
func (v *verdict) Skip(a ...any)             { v.Log(a...); v.SkipNow() }
func (v *verdict) Skipf(f string, a ...any)  { v.Logf(f, a...); v.SkipNow() }
func (v *verdict) SkipNow()                  { v.out.Skipped = true; runtime.Goexit() }

func (v *verdict) Fail() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.out.Failed = true
}

func (v *verdict) Failed() bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.out.Failed
}
