// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"errors"
	"flag"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/tests/kernel/rpc"
	"tallyhood/tests/kernel/vm"
)

var cuts = flag.Int("cuts", 1, "power cuts of the daemon's test")

// Signals, as Linux numbers them on every processor.
const (
	sigCont = 18
	sigStop = 19
)

// soundOff spares the emulated processor the work; TestParts hears the cues.
var soundOff = []string{"--sound", "off"}

// TestDaemon is the whole program on a wired board, one scene after the other
// in one machine; the last is a power cut.
func TestDaemon(t *testing.T) {
	need(t)
	store := disk(t)
	b := bringUp(t, store, soundOff...)
	b.scene("parts", func(t *testing.T) { partsUp(t, b) })
	b.scene("sensitivity test", func(t *testing.T) { sensitivity(t, b) })
	b.scene("cable pulled", func(t *testing.T) { cablePulled(t, b) })
	b.scene("cable shorted", func(t *testing.T) { cableShorted(t, b) })
	b.scene("pedal unplugged", func(t *testing.T) { pedalUnplugged(t, b) })
	b.scene("chip gone", func(t *testing.T) { chipGone(t, b) })
	b.scene("queue overrun", func(t *testing.T) { queueOverrun(t, b) })
	b.scene("lamps", func(t *testing.T) { lamps(t, b) })
	b.scene("edge to page", func(t *testing.T) { edgeToPage(t, b) })
	for i := range *cuts {
		b = powerCut(t, b, store, i)
	}
	b.d.stop()
	b.verify()
}

func partsUp(t *testing.T, b *box) {
	if s := b.p.last.Inputs; !s.Supervised || s.Squeeze || s.Step || s.Report || s.Cable != "" {
		t.Errorf("at rest the inputs are %+v", s)
	}
	var box wire.Box
	b.d.get("/api/box", &box)
	if box.TimeSource != device.KernelTime {
		t.Errorf("edges are dated by %s", box.TimeSource)
	}
}

// A whole sensitivity test by the contacts alone.
func sensitivity(t *testing.T, b *box) {
	b.report(7)
	if bin := b.p.last.Run.Screening.Bin; bin != 10 {
		t.Errorf("the report after seven squeezes gave bin %d", bin)
	}
	b.abandon()
}

func cablePulled(t *testing.T, b *box) {
	b.toScreening(3)
	b.h.set(tasteNC, true)
	b.p.verdict(procedure.NotValid, procedure.CableOpen)
	b.h.set(tasteNC, false)
	b.p.shut()
	b.p.until("a sound cable", func(s wire.Snapshot) bool { return s.Inputs.Cable == "" })
	// The page shows it outside a run too, so the time can be taken often. It
	// is from before the hand moves until a page outside the machine knows.
	var found []time.Duration
	for range 20 {
		time.Sleep(150 * time.Millisecond)
		at := time.Now()
		b.h.set(tasteNC, true)
		b.p.until("the open cable", func(s wire.Snapshot) bool { return s.Inputs.Cable == "cable_open" })
		found = append(found, b.p.at.Sub(at))
		b.h.set(tasteNC, false)
		b.p.until("a sound cable", func(s wire.Snapshot) bool { return s.Inputs.Cable == "" })
	}
	slices.Sort(found)
	t.Logf("20 pulls: a page outside the machine knows after %.1f ms (least), %.1f ms (median), %.1f ms (worst)",
		inMS(found[0]), inMS(quantile(found, .5)), inMS(found[len(found)-1]))
	// The worst is the emulated machine's, which may stand still meanwhile.
	if q := quantile(found, .25); q > 100*time.Millisecond {
		t.Errorf("three in four pulled cables are found after more than %v", q)
	}
}

func cableShorted(_ *testing.T, b *box) {
	b.toScreening(2)
	b.h.set(tasteNO, false)
	b.p.verdict(procedure.NotValid, procedure.CableShort)
	b.h.set(tasteNO, true)
	b.p.shut()
	b.p.until("a sound cable", func(s wire.Snapshot) bool { return s.Inputs.Cable == "" })
}

// missing waits for a word that a part is missing; no run can be opened then.
func missing(t *testing.T, b *box, words string) {
	t.Helper()
	b.p.until("word of it", func(s wire.Snapshot) bool { return s.Inputs.Missing != "" })
	if m := b.p.last.Inputs.Missing; !strings.Contains(m, words) {
		t.Errorf("the page says %q and nothing of %q", m, words)
	}
	b.p.shut()
	if why := b.p.ask(wire.Command{Do: "open", Open: b.p.usual}); why != "input_missing" {
		t.Errorf("a run on a box without a contact was refused with %q", why)
	}
}

func pedalUnplugged(t *testing.T, b *box) {
	b.toScreening(2)
	b.f.unplug()
	b.p.verdict(procedure.NotValid, procedure.InputGap)
	missing(t, b, "unplugged")
	b.f.plugIn()
	b.whole()
	b.toScreening(2)
	b.abandon()
}

func chipGone(t *testing.T, b *box) {
	sysfs := func(do string) {
		t.Helper()
		if err := b.m.Do("write", map[string]string{"path": "/sys/bus/amba/drivers/pl061_gpio/" + do, "text": "9030000.pl061"}, nil); err != nil {
			t.Fatal(err)
		}
	}
	b.toScreening(2)
	sysfs("unbind")
	b.p.verdict(procedure.NotValid, procedure.InputGap)
	missing(t, b, "gone")
	var box wire.Box
	b.d.get("/api/box", &box)
	failed := 0
	for _, part := range box.Parts {
		if part.State == string(device.Failed) && len(part.Lines) > 0 {
			failed++
		}
	}
	if failed != 3 {
		t.Errorf("three contacts are gone, and the box says %+v", box.Parts)
	}
	sysfs("bind")
	b.whole()
	b.toScreening(3)
	b.abandon()
}

// The daemon stands still while more edges come than the kernel can hold.
func queueOverrun(t *testing.T, b *box) {
	b.toScreening(2)
	b.d.signal(sigStop)
	time.Sleep(50 * time.Millisecond)
	var moves []vm.Move
	for i := range 4000 {
		moves = append(moves, vm.Move{At: time.Duration(i) * 150 * time.Microsecond, Line: squeeze, High: i%2 == 1})
	}
	b.h.play(moves)
	b.d.signal(sigCont)
	b.p.verdict(procedure.NotValid, procedure.InputGap)
}

func lamps(t *testing.T, b *box) {
	lit := func(line int, want bool) {
		t.Helper()
		for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
			if on, _ := b.m.Output(line); on == want {
				return
			}
			if time.Now().After(deadline) {
				t.Fatalf("the lamp on %s is not %v", lineNames[line], want)
			}
		}
	}
	b.toScreening(1)
	lit(stop, false)
	b.h.set(tasteNC, true)
	b.p.verdict(procedure.NotValid, procedure.CableOpen)
	lit(stop, true)
	b.h.set(tasteNC, false)
	b.p.shut()
	lit(stop, false)
}

// edgeToPage measures from the kernel's time of an edge to a page on the
// guest's own loopback.
func edgeToPage(t *testing.T, b *box) {
	// Each state is waited for in turn: snapshots that are read late are none
	// of the present.
	gone := func() { b.p.until("word of the pedal", func(s wire.Snapshot) bool { return s.Inputs.Missing != "" }) }
	b.f.unplug()
	gone()
	c, err := b.m.Call("reach", map[string]any{"vendor": 0x1209, "product": 1, "name": "test pedal", "key": 48, "moves": 200, "apart": 80 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	var took []time.Duration
	for {
		var d time.Duration
		if err := c.Next(&d); errors.Is(err, rpc.ErrEnd) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		took = append(took, d)
	}
	c.Close()
	if len(took) != 200 {
		t.Fatalf("%d of 200 moves of the pedal came to the page", len(took))
	}
	still := b.still()
	slices.Sort(took)
	t.Logf("200 edges from the kernel to a page in the machine: p50 %.2f ms, p90 %.2f ms, p99 %.2f ms, worst %.2f ms; the machine stood still for %.0f ms at worst",
		inMS(quantile(took, .5)), inMS(quantile(took, .9)), inMS(quantile(took, .99)), inMS(took[len(took)-1]), inMS(still))
	if mid := quantile(took, .5); mid > 100*time.Millisecond {
		t.Errorf("an edge takes %v to a page", mid)
	}
	b.whole()
	gone()
	b.f.plugIn()
	b.whole()
}

// powerCut takes the power away in a run and starts again: the run was closed
// as not valid, and what had been shown as saved is there.
func powerCut(t *testing.T, b *box, store string, round int) *box {
	r := rand.New(rand.NewPCG(uint64(round), 13))
	run := b.toScreening(1 + r.IntN(6))
	saved, since, n := 0, int64(0), -1
	// A snapshot of the very instant of a fact has no lag yet; a later one that
	// has none says that the fact is on disk.
	note := func() {
		if k := b.p.last.Run.Screening.Squeezes; k != n {
			n, since = k, b.p.last.Run.StageMS
		}
		if b.p.last.LagMS == 0 && b.p.last.Run.StageMS > since+1 {
			saved = n
		}
	}
	if round > 0 { // at any moment, while squeezes come
		pressed := make(chan bool)
		go func() { // a cut machine has no contacts; what the hand says then is nothing
			defer close(pressed)
			for range 4 {
				_, _ = b.m.Play([]vm.Move{{Line: squeeze}, {At: 120 * time.Millisecond, Line: squeeze, High: true}, {At: 250 * time.Millisecond, Line: squeeze, High: true}})
			}
		}()
		for deadline := time.After(time.Duration(r.IntN(900)) * time.Millisecond); ; {
			if _, err := b.p.read(deadline); err != nil {
				break
			}
			note()
		}
		b.m.Cut()
		<-pressed
	} else {
		b.p.until("all facts on disk", func(wire.Snapshot) bool { note(); return saved > 0 && saved == n })
		b.m.Cut()
	}
	b = bringUp(t, store, soundOff...)
	if b.p.last.Run != nil {
		t.Errorf("a run goes on after a power cut: %+v", b.p.last.Run)
	}
	var v archive.View
	b.d.get("/api/records/"+run, &v)
	if v.Outcome != procedure.NotValid || v.Reason != procedure.PowerLost {
		t.Errorf("after a power cut the run is %s %s", v.Outcome, v.Reason)
	}
	if v.Record == nil || v.Record.Screening.Squeezes < saved {
		t.Errorf("%d squeezes were shown as saved, and the record has %+v", saved, v.Record)
	}
	return b
}
