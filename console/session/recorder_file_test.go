// SPDX-License-Identifier: Apache-2.0

package session

import (
	"bytes"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/device"
	"tallyhood/device/capture"
)

var buttonPair = []device.Line{device.Squeeze, device.Step, device.TasteNO, device.TasteNC}

// recording begins a capture at path as the first run of a daemon does.
func recording(t *testing.T, path string) *recorder {
	t.Helper()
	r, err := startRecorder(path, 1, buttonPair, map[device.Line]bool{device.TasteNC: true}, 0, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A daemon that is started anew, after a crash or an upgrade, writes beside the
// captures of before, never over them.
func TestCapturesOfBeforeARestartStay(t *testing.T) {
	path := filepath.Join(t.TempDir(), "field.vcd")
	var kept [][]byte
	for n, name := range []string{"field.vcd", "field-2.vcd", "field-3.vcd"} {
		r := recording(t, path)
		for i := range n + 3 {
			r.edge(device.Edge{At: time.Duration(i+1) * time.Second, Line: device.Squeeze, Closed: i%2 == 0})
		}
		r.finish(time.Minute)
		r.wait()
		b, err := os.ReadFile(filepath.Join(filepath.Dir(path), name))
		if err != nil {
			t.Fatal(err)
		}
		kept = append(kept, b)
	}
	for n, name := range []string{"field.vcd", "field-2.vcd", "field-3.vcd"} {
		if b, err := os.ReadFile(filepath.Join(filepath.Dir(path), name)); err != nil || !bytes.Equal(b, kept[n]) {
			t.Errorf("%s was written over, %v", name, err)
		}
	}
}

// Where the disk does not keep up, what is lost may be a report or the word that
// undoes a pass: the replay of such a capture never passes.
func TestCaptureWithAHoleDoesNotPass(t *testing.T) {
	whole := wholeRun(t, nil)
	if got, err := play(t, whole); err != nil || got.State.Verdict.Outcome != procedure.Pass {
		t.Fatalf("the run itself: %+v, %v", got.State.Verdict, err)
	}
	for name, c := range map[string]struct {
		written int // edges that the queue takes, of those of the whole run
		reason  procedure.Reason
	}{
		"in the fit test": {150, procedure.InputGap},
		"after the pass":  {1 << 20, procedure.JournalFailed},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "run.vcd")
			r := recording(t, path)
			written, err := capture.Open(bytes.NewReader(whole), capture.Options{})
			if err != nil {
				t.Fatal(err)
			}
			// The disk stands still; the queue takes so many edges and no more, and
			// goes on when one report has been lost.
			disk, reached := make(chan struct{}), make(chan struct{})
			n, stood := 0, false
			stop := func() {
				r.do(func(*capture.Writer) error { close(reached); <-disk; return nil })
				<-reached
				for len(r.jobs) < cap(r.jobs) {
					r.do(func(*capture.Writer) error { return nil })
				}
				stood = true
			}
			for {
				item, err := written.Next()
				if err == io.EOF {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				if n == c.written {
					stop()
					r.edge(device.Edge{At: item.Edge.At, Line: device.TasteNC})
					close(disk)
				}
				r.edge(item.Edge)
				n++
			}
			if !stood {
				stop()
				r.input(procedure.Input{At: written.End(), Do: procedure.DoProofNothing, By: "Agnes Thorley"})
				r.notes(written.End())
				close(disk)
			}
			r.finish(written.End())
			r.wait()
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			got, err := play(t, b)
			if err != nil {
				t.Fatal(err)
			}
			if v := got.State.Verdict; v.Outcome != procedure.NotValid || v.Reason != c.reason {
				t.Errorf("the replay says %s %s, want not_valid %s", v.Outcome, v.Reason, c.reason)
			}
		})
	}
}
