// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/device"
)

// sigrok runs sigrok-cli (sigrok project, libsigrok), which has its own
// reader and writer of the format and so is the outside reference here.
func sigrok(t *testing.T, args ...string) string {
	t.Helper()
	path, err := exec.LookPath("sigrok-cli")
	if err != nil {
		t.Skip("missing part: sigrok-cli; captures are not compared with those of another program")
	}
	var complaint bytes.Buffer
	cmd := exec.Command(path, args...)
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("sigrok-cli %s: %v\n%s", strings.Join(args, " "), err, &complaint)
	}
	return string(out)
}

// samples takes the levels out of comma-separated values: a row of the lines'
// names is not there, so the columns are in the order of the capture.
func samples(t *testing.T, csv string, columns int) []string {
	t.Helper()
	var rows []string
	for row := range strings.Lines(csv) {
		row = strings.ReplaceAll(strings.TrimSpace(row), ",", "")
		if len(row) == columns && strings.Trim(row, "01") == "" {
			rows = append(rows, row)
		}
	}
	return rows
}

// sampled turns a capture back into rows of levels, one a period.
func sampled(t *testing.T, text string, order []device.Line, period time.Duration, o Options) []string {
	t.Helper()
	r, err := Open(strings.NewReader(text), o)
	if err != nil {
		t.Fatal(err)
	}
	all, err := rest(r)
	if err != nil {
		t.Fatal(err)
	}
	end := r.End()
	var rows []string
	closed := map[device.Line]bool{}
	for at := time.Duration(0); at < end; at += period {
		for len(all) > 0 && all[0].At <= at {
			closed[all[0].Edge.Line] = all[0].Edge.Closed
			all = all[1:]
		}
		row := ""
		for _, l := range order {
			row += level(closed[l])
		}
		rows = append(rows, row)
	}
	return rows
}

func compareRows(t *testing.T, what string, got, want []string) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s: %d samples, the reference has %d", what, len(got), len(want))
	}
	for i := range min(len(got), len(want)) {
		if got[i] != want[i] {
			t.Fatalf("%s: sample %d is %s, the reference has %s", what, i, got[i], want[i])
		}
	}
}

// One capture of sigrok's demonstration device, exported as a dump and as
// comma-separated values, must tell the same levels.
func TestReadsCapturesOfAnotherProgram(t *testing.T) {
	t.Log("reference: " + strings.SplitN(sigrok(t, "--version"), "\n", 2)[0])
	order := []device.Line{device.Squeeze, device.Step, device.TasteNO, device.TasteNC}
	for _, c := range []struct {
		pattern, rate string
		period        time.Duration
		count         int
	}{
		{"random", "1k", time.Millisecond, 300},
		{"random", "100k", 10 * time.Microsecond, 20000},
		{"graycode", "1m", time.Microsecond, 20000},
		{"sigrok", "100m", 10 * time.Nanosecond, 3000},
		{"all-high", "10", 100 * time.Millisecond, 3},
		{"all-low", "1g", time.Nanosecond, 20},
	} {
		t.Run(c.pattern+" "+c.rate, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "demo.sr")
			sigrok(t, "-d", "demo:logic_channels=5:analog_channels=0",
				"--config", "samplerate="+c.rate, "--config", "channel_group=Logic:pattern="+c.pattern,
				"--samples", fmt.Sprint(c.count), "-C", "D0=squeeze,D1=step,D2=taste_no,D3=taste_nc,D4=lamp", "-o", file)
			want := samples(t, sigrok(t, "-i", file, "-O", "csv"), 5)
			if len(want) != c.count {
				t.Fatalf("the reference has %d samples of %d", len(want), c.count)
			}
			for i := range want {
				want[i] = want[i][:4]
			}
			dump := sigrok(t, "-i", file, "-O", "vcd")
			compareRows(t, "dump", sampled(t, dump, order, c.period, Options{}), want)

			flip := strings.NewReplacer("0", "1", "1", "0")
			for i := range want {
				want[i] = flip.Replace(want[i])
			}
			compareRows(t, "inverted", sampled(t, dump, order, c.period, Options{Invert: order}), want)
		})
	}
}

// A capture of a Writer, read by sigrok's reader, must tell the levels that
// were written. It has no notes: that reader stops at a comment of the body
// (seen with libsigrok 0.5.2).
func TestAnotherProgramReadsOurCaptures(t *testing.T) {
	t.Log("reference: " + strings.SplitN(sigrok(t, "--version"), "\n", 2)[0])
	var b bytes.Buffer
	w, err := NewWriter(&b, Header{Lines: supervised, Closed: []device.Line{device.TasteNC, device.Squeeze}})
	if err != nil {
		t.Fatal(err)
	}
	closed := map[device.Line]bool{device.TasteNC: true, device.Squeeze: true}
	var want []string
	const end = 4000
	for at := range time.Duration(end) {
		for i, l := range supervised {
			if int(at)%(i+3) == 2 && int(at)/50%(i+2) != 0 {
				closed[l] = !closed[l]
				if err := w.Edge(device.Edge{At: at, Line: l, Closed: closed[l]}); err != nil {
					t.Fatal(err)
				}
			}
		}
		row := ""
		for _, l := range supervised {
			row += level(closed[l])
		}
		want = append(want, row)
	}
	if err := w.Close(end); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "ours.vcd")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	got := samples(t, sigrok(t, "-i", file, "-I", "vcd", "-O", "csv"), len(supervised))
	compareRows(t, "ours", got, want)
}
