// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/device"
	"tallyhood/device/capture"
	"tallyhood/device/sim"
	"tallyhood/store/memory"
)

// A bulbBoard is a simulated board of which the squeezes come from a sensor.
type bulbBoard struct {
	*sim.Board
	clock *stillClock
	out   chan device.Edge

	mu  sync.Mutex
	due []device.Edge // in order
}

func (k *bulbBoard) Edges() <-chan device.Edge { return k.out }

// Flush hands over what has come by now.
func (k *bulbBoard) Flush() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for n := len(k.Board.Edges()); n > 0; n-- {
		e := <-k.Board.Edges()
		e.Seq = 0
		k.out <- e
	}
	for len(k.due) > 0 && k.due[0].At <= k.clock.Now() {
		k.out <- k.due[0]
		k.due = k.due[1:]
	}
}

// squeeze pushes the bulb in so long from now on, known after so long.
func (k *bulbBoard) squeeze(after, known, closed time.Duration) {
	k.mu.Lock()
	defer k.mu.Unlock()
	at := k.clock.Now() + after
	k.due = append(k.due,
		device.Edge{At: at, Line: device.Push, Closed: true}, device.Edge{At: at + known, Line: device.Squeeze, Closed: true},
		device.Edge{At: at + known, Line: device.Push}, device.Edge{At: at + known + closed, Line: device.Squeeze})
}

// The bin of a run whose eleventh squeeze was being pushed at the report is that
// of eleven, in the journal and in the replay of the capture.
func TestCaptureOfASqueezeInItsPush(t *testing.T) {
	t.Parallel()
	c := newStillClock()
	c.stride = 10 * time.Millisecond
	m := memory.New()
	k := &bulbBoard{clock: c, out: make(chan device.Edge, 1<<16)}
	file := filepath.Join(t.TempDir(), "run.vcd")
	d := newDeskOn(t, c, m, func(cfg *session.Config) {
		cfg.Grace, cfg.Capture = 5*time.Millisecond, file
		k.Board = cfg.Board.(*sim.Board)
		cfg.Board = k
	})
	d.open()
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Screening)
	for i := range 10 {
		k.squeeze(time.Duration(i)*1200*time.Millisecond, 300*time.Millisecond, 100*time.Millisecond)
	}
	k.squeeze(12*time.Second, 700*time.Millisecond, 100*time.Millisecond)
	d.wait(12*time.Second + 200*time.Millisecond)
	d.press(device.Taste, 1)
	d.stage(procedure.Clearing)
	d.say(procedure.DoAbandon, procedure.Input{})
	d.until("a verdict", verdict)
	d.stop() // the capture is whole when the session has ended

	st, err := archive.State(t.Context(), m, d.run)
	if err != nil {
		t.Fatal(err)
	}
	if st.Bin != 20 || st.SureAtBin != 11 {
		t.Errorf("bin %d after %d squeezes", st.Bin, st.SureAtBin)
	}
	text := replays(t, file, st)
	// Without the words on pushes, as in a capture of before there were any, it
	// is read as it was then.
	var old []string
	for line := range strings.Lines(text) {
		if !strings.Contains(line, " push ") {
			old = append(old, line)
		}
	}
	r, err := capture.Open(strings.NewReader(strings.Join(old, "")), capture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	before, err := session.Replay(r, *st.Opened)
	if err != nil {
		t.Fatal(err)
	}
	if before.State.Bin != 10 {
		t.Errorf("an old capture gives bin %d", before.State.Bin)
	}
}
