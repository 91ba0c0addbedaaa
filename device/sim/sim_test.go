// SPDX-License-Identifier: Apache-2.0

package sim_test

import (
	"bufio"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/sim"
)

func take(t *testing.T, b *sim.Board) device.Edge {
	t.Helper()
	late, stop := clock.New(1).Wake(time.Minute)
	defer stop()
	select {
	case e := <-b.Edges():
		return e
	case <-late:
		t.Fatal("no edge came")
		return device.Edge{}
	}
}

// newBoard returns a board whose first edges, the levels at rest, are taken.
func newBoard(t *testing.T, supervised bool) *sim.Board {
	t.Helper()
	b := sim.New(clock.New(1), supervised)
	t.Cleanup(func() { b.Close() })
	for i, l := range b.Lines() {
		if e := take(t, b); e.Line != l || e.Closed != (l == device.TasteNC) || e.Seq != uint64(i+1) {
			t.Fatalf("first edge %d is %+v", i, e)
		}
	}
	return b
}

// dial opens the board's socket and connects to it.
func dial(t *testing.T, b *sim.Board) net.Conn {
	t.Helper()
	path := filepath.Join(t.TempDir(), "board")
	if err := b.Listen(path, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	c, err := net.Dial("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// Lines that were told beforehand come at their instants of the board's clock,
// and a board that is closed does not wait for them.
func TestSocketWaits(t *testing.T) {
	b := newBoard(t, true)
	c := dial(t, b)
	fmt.Fprint(c, "step 1\nmark 0\nwait 40\nstep 0\nat 100\nsqueeze 1\nat 20\nsqueeze 0\nwait 2000000000\nstep 1\n")
	from := take(t, b).At
	if e := take(t, b); e.Line != device.Step || e.Closed || e.At < from+40*time.Millisecond {
		t.Errorf("after a wait of 40 ms came %+v, from %v", e, from)
	}
	if e := take(t, b); e.Line != device.Squeeze || !e.Closed || e.At < from+100*time.Millisecond {
		t.Errorf("at 100 ms after the mark came %+v, from %v", e, from)
	}
	if e := take(t, b); e.Line != device.Squeeze || e.Closed {
		t.Errorf("an instant that is over holds nothing back, and yet came %+v", e)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if e, ok := <-b.Edges(); ok {
		t.Errorf("after Close came %+v", e)
	}
}

// The whole button is one line, and its two contacts move at one instant.
func TestSocketButton(t *testing.T) {
	b := newBoard(t, true)
	c := dial(t, b)
	for _, pressed := range []bool{true, false} {
		if _, err := fmt.Fprintf(c, "button %d\n", map[bool]int{true: 1}[pressed]); err != nil {
			t.Fatal(err)
		}
		one, two := <-b.Edges(), <-b.Edges()
		if one.At != two.At || one.Line != device.TasteNC || one.Closed == pressed || two.Line != device.TasteNO || two.Closed != pressed {
			t.Errorf("pressed %v: %+v, %+v", pressed, one, two)
		}
	}
}

func TestSocket(t *testing.T) {
	b := newBoard(t, true)
	path := filepath.Join(t.TempDir(), "board")
	if err := b.Listen(path, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	c, err := net.Dial("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	answers := bufio.NewScanner(c)
	seq := uint64(len(b.Lines()))
	for _, l := range []struct {
		text   string
		line   device.Line
		closed bool
	}{{"squeeze 1\n", device.Squeeze, true}, {"  squeeze   0 \r\n", device.Squeeze, false}, {"\n\nstep 1\n", device.Step, true}, {"taste_no 1\n", device.TasteNO, true}, {"taste_nc 0\n", device.TasteNC, false}} {
		fmt.Fprint(c, l.text)
		seq++
		if e := take(t, b); e.Line != l.line || e.Closed != l.closed || e.Seq != seq {
			t.Errorf("%q gave %+v, want %s %t, number %d", l.text, e, l.line, l.closed, seq)
		}
	}
	for _, text := range []string{"bell 1", "squeeze", "squeeze 2", "squeeze on", "squeeze 1 1", "taste 1", "1 squeeze", "wait", "wait -1", "at soon", "mark 1"} {
		fmt.Fprintln(c, text)
		if !answers.Scan() || !strings.HasPrefix(answers.Text(), "error: ") || len(answers.Text()) < 20 {
			t.Errorf("%q was answered %q, %v", text, answers.Text(), answers.Err())
		}
	}
	// The level that a line has already is no edge; the next number shows it.
	fmt.Fprint(c, "step 1\nstep 0\n")
	if e := take(t, b); e.Line != device.Step || e.Closed || e.Seq != seq+1 {
		t.Errorf("after a repeated level came %+v", e)
	}

	other := newBoard(t, true)
	if err := other.Listen(path, slog.New(slog.DiscardHandler)); err == nil {
		t.Error("a socket in use was taken over")
	}
	// Close sends whoever is connected away and leaves no file.
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if answers.Scan() {
		t.Errorf("after Close came %q", answers.Text())
	}
	if err := b.Close(); err != nil {
		t.Errorf("a second Close: %v", err)
	}
	if err := b.Set(device.Squeeze, true); err != nil {
		t.Errorf("a press after Close: %v", err)
	}
	if _, err := os.Stat(path); !os.IsNotExist(err) {
		t.Errorf("the socket's file after Close: %v", err)
	}
}

func TestDeadSocketIsReplacedAndAFileIsNot(t *testing.T) {
	dir := t.TempDir()
	dead := filepath.Join(dir, "dead")
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: dead, Net: "unix"})
	if err != nil {
		t.Fatal(err)
	}
	l.SetUnlinkOnClose(false) // as a killed process leaves it
	l.Close()
	b := newBoard(t, true)
	if err := b.Listen(dead, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatalf("a dead socket stood in the way: %v", err)
	}
	c, err := net.Dial("unix", dead)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintln(c, "squeeze 1")
	if e := take(t, b); e.Line != device.Squeeze {
		t.Errorf("the new socket gave %+v", e)
	}

	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("keep"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := newBoard(t, true).Listen(file, slog.New(slog.DiscardHandler)); err == nil {
		t.Error("a file was taken for a socket")
	}
	if text, err := os.ReadFile(file); err != nil || string(text) != "keep" {
		t.Errorf("the file in the way is now %q, %v", text, err)
	}
}

func TestButton(t *testing.T) {
	pair := newBoard(t, true)
	pair.Button(true)
	// Both open for a moment as in a real changeover, never both closed.
	if a, b := take(t, pair), take(t, pair); a.Line != device.TasteNC || a.Closed || b.Line != device.TasteNO || !b.Closed {
		t.Errorf("pressed: %+v, %+v", a, b)
	}
	single := newBoard(t, false)
	single.Button(true)
	if e := take(t, single); e.Line != device.Taste || !e.Closed {
		t.Errorf("pressed: %+v", e)
	}
	if slices.Contains(single.Lines(), device.TasteNC) {
		t.Error("a single contact has a pair")
	}
	if err := single.Set(device.TasteNO, true); err == nil {
		t.Error("a line that the board does not have was set")
	}
}

// A script dates its edges exactly, however late they are handed over.
func TestPlayDatesExactly(t *testing.T) {
	for _, speed := range []float64{1, 50} {
		clk := clock.New(speed)
		b := sim.New(clk, true)
		for range b.Lines() {
			take(t, b)
		}
		start := clk.Now()
		moves := []sim.Move{{At: 5 * time.Millisecond, Line: device.Squeeze, Closed: true}, {At: 27 * time.Millisecond, Line: device.Squeeze}, {At: 40 * time.Millisecond, Line: device.Taste, Closed: true}}
		if err := b.Play(t.Context(), start, moves); err != nil {
			t.Fatal(err)
		}
		if now := clk.Now(); now < start+40*time.Millisecond {
			t.Errorf("the script ended at %v, before its last move", now-start)
		}
		for _, want := range []time.Duration{5, 27, 40, 40} {
			if e := take(t, b); e.At != start+want*time.Millisecond {
				t.Errorf("speed %g: an edge is dated %v after the start, want %d ms", speed, e.At-start, want)
			}
		}
		if err := b.Play(t.Context(), clk.Now(), []sim.Move{{Line: "bell"}}); err == nil {
			t.Error("a script for a line that is not there was played")
		}
		b.Close()
	}
}

// A reader that is too slow is told, and the numbers show the hole.
func TestOverrunIsReported(t *testing.T) {
	b := newBoard(t, true)
	const n = 5000
	for i := range n {
		if err := b.Set(device.Squeeze, i%2 == 0); err != nil {
			t.Fatal(err)
		}
	}
	select {
	case l := <-b.Lost():
		if l.Reason == "" {
			t.Error("a loss without a reason")
		}
	default:
		t.Fatal("edges were lost without a word")
	}
	last := uint64(0)
	for len(b.Edges()) > 0 {
		last = (<-b.Edges()).Seq
	}
	if err := b.Set(device.Step, true); err != nil {
		t.Fatal(err)
	}
	if e := take(t, b); e.Seq != n+5 || e.Seq == last+1 {
		t.Errorf("after %d came number %d, want %d", last, e.Seq, n+5)
	}
}

func TestLamps(t *testing.T) {
	b := newBoard(t, true)
	if b.Lit(device.LampRun) {
		t.Error("a lamp is lit at rest")
	}
	b.Light(device.LampRun, true)
	if !b.Lit(device.LampRun) || b.Lit(device.LampStop) {
		t.Error("the lamps are not as they were set")
	}
}
