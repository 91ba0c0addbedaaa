// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/device/clock"
)

// guided runs the guided check on a simulated board whose wires go as cross
// says: what is asked for moves the contact that stands there.
func guided(t *testing.T, cross map[string]string) (code int, said string) {
	t.Helper()
	socket := filepath.Join(t.TempDir(), "sim")
	r, w := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(t.Context(), []string{"check-board", "--guide", "--sim-socket", socket}, w, io.Discard)
		w.Close()
	}()
	set := func(contact string, closed bool) {
		c, err := net.Dial("unix", socket)
		if err != nil {
			t.Error(err)
			return
		}
		defer c.Close()
		b := 0
		if closed {
			b = 1
		}
		fmt.Fprintf(c, "%s %d\n", contact, b)
	}
	last := ""
	var all strings.Builder
	for in := bufio.NewScanner(r); in.Scan(); {
		line := in.Text()
		all.WriteString(line + "\n")
		for word, contact := range map[string]string{"Press the pedal": "squeeze", "Press the step": "step", "Press the wearer": "button"} {
			if strings.HasPrefix(line, word) {
				last = contact
				if c := cross[contact]; c != "" {
					last = c
				}
				pause()
				set(last, true)
			}
		}
		if strings.HasPrefix(line, "Let go") || strings.Contains(line, "wrong:") {
			pause()
			set(last, false)
		}
	}
	return <-ended, all.String()
}

func pause() {
	ch, _ := clock.New(1).Wake(300 * time.Millisecond)
	<-ch
}

func TestGuidedCheck(t *testing.T) {
	t.Parallel()
	code, said := guided(t, nil)
	if code != 0 || !strings.Contains(said, "No wire is crossed.") {
		t.Errorf("exit code %d\n%s", code, said)
	}
	for _, line := range []string{"squeeze", "step", "taste_no"} {
		if !strings.Contains(strings.Join(strings.Fields(said), " "), line+" open 2 0 1 0") {
			t.Errorf("the table does not show one press of %s:\n%s", line, said)
		}
	}
	code, said = guided(t, map[string]string{"squeeze": "step", "step": "squeeze"})
	if code != 1 || !strings.Contains(said, "another contact moved than the one that was asked for: squeeze, step") {
		t.Errorf("crossed wires: exit code %d\n%s", code, said)
	}
}

// A wired board without the hardware says so part by part, and exits with 1.
func TestCheckBoardWithoutHardware(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	conf := strings.ReplaceAll(wiredFile, "/var/lib/tallyhood/store", filepath.Join(t.TempDir(), "store"))
	conf = strings.ReplaceAll(conf, "GPIO", "NO-SUCH-LINE-")
	conf = strings.ReplaceAll(conf, "pinctrl-bcm2711", "no-such-chip")
	code := run(t.Context(), []string{"check-board", "--json", "--watch", "300ms", "--config", confFile(t, conf)}, &out, io.Discard)
	var r boardReport
	if err := json.Unmarshal([]byte(out.String()), &r); err != nil || code != 1 || r.Sound {
		t.Fatalf("exit code %d, %v\n%s", code, err, out.String())
	}
	for _, c := range r.Contacts {
		if c.Known || c.Closed {
			t.Errorf("a level was made up: %+v", c)
		}
	}
	for _, want := range []string{"NO-SUCH-LINE-17", "no-such-chip", "pedal"} {
		failed := false
		for _, p := range r.Parts {
			failed = failed || p.State == "failed" && strings.Contains(p.Name+" "+p.Reason, want)
		}
		if !failed {
			t.Errorf("%s is not among what failed: %+v", want, r.Parts)
		}
	}
	if len(r.Contacts) != 4 || r.WriteMS <= 0 || r.Quality == "" {
		t.Errorf("report %+v", r)
	}
}

func TestCalibrateWithoutASensor(t *testing.T) {
	for want, args := range map[string][]string{
		"--store is needed":      {"check-board", "--calibrate-bulb"},
		"come from a bulb":       {"check-board", "--calibrate-bulb", "--store", filepath.Join(t.TempDir(), "store")},
		"bulb.sensor is missing": {"check-board", "--calibrate-bulb", "--config", confFile(t, "[board]\nkind = \"wired\"\n[contact.squeeze]\nby = \"bulb\"\n")},
	} {
		var errOut strings.Builder
		if code := run(t.Context(), args, io.Discard, &errOut); code != 2 || !strings.Contains(errOut.String(), want) {
			t.Errorf("%v: exit code %d, %q, want %q", args, code, errOut.String(), want)
		}
	}
}
