// SPDX-License-Identifier: Apache-2.0

package hsc

import (
	"math"
	"strings"
	"testing"

	"periph.io/x/conn/v3/i2c/i2ctest"
)

func TestRead(t *testing.T) {
	for _, c := range []struct {
		kind       string
		counts     []uint16
		pascal     []float64
		low, grain float64
	}{
		// Counts of the ends as a second implementation has them: 1638 and 14746
		// for A, 819 and 15565 for B; ranges in pascal: 34474 for 005PD, 25000 for
		// 250MD, 6895 for 001PD.
		{"005PD", []uint16{1638, 8192, 14746, 8193}, []float64{-34474, 0, 34474, 5.26}, -34474, 5.3},
		{"005pd-b", []uint16{819, 8192, 15565}, []float64{-34474, 0, 34474}, -34474, 5},
		{"250MD-A", []uint16{1638, 8192, 14746}, []float64{-25000, 0, 25000}, -25000, 4},
		{"001PD-C", []uint16{819, 13926}, []float64{-6895, 6895}, -6895, 1.1},
		{"1.6KD-F", []uint16{655, 15401}, []float64{-1600, 1600}, -1600, 0.3},
		// Beyond the ends the scale goes on, 10 % of the counts each way being
		// an eighth of 20 kPa; the reader of the curve judges.
		{"010KD", []uint16{0, 16383}, []float64{-12500, 12500}, -10000, 2},
	} {
		bus := &i2ctest.Playback{DontPanic: true}
		for _, n := range c.counts {
			bus.Ops = append(bus.Ops, i2ctest.IO{Addr: 0x28, R: []byte{byte(n >> 8), byte(n)}})
		}
		s, err := New(bus, 0, c.kind)
		if err != nil {
			t.Fatal(err)
		}
		if low, high := s.Range(); math.Abs(low-c.low) > 1 || high != -low {
			t.Errorf("%s: range %v to %v", c.kind, low, high)
		}
		for i, want := range c.pascal {
			p, err := s.Read()
			if err != nil || math.Abs(p-want) > c.grain {
				t.Errorf("%s, %d counts: %v Pa, %v; want %v", c.kind, c.counts[i], p, err, want)
			}
		}
		if err := bus.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestStatus(t *testing.T) {
	read := func(b ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x36, R: b} }
	bus := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{
		read(0x80, 0), read(0x20, 0), read(0xa0, 7), read(0xe0, 0), read(0x60, 0), read(0x20, 1),
	}}
	s, err := New(bus, 0x36, "005PD-A")
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"no reading yet", "", "", "fault of its own", "factory mode", "", "does not answer"} {
		p, err := s.Read()
		switch {
		case want == "" && err != nil, want != "" && (err == nil || !strings.Contains(err.Error(), want)):
			t.Errorf("reading %d: %v, want %q", i, err, want)
		case i == 2 && p != 0:
			t.Errorf("stale reading %v, want the one before", p)
		case i == 5 && !(p > 5 && p < 5.5):
			t.Errorf("one count over zero is %v Pa", p)
		}
	}
}

func TestRefused(t *testing.T) {
	for kind, word := range map[string]string{
		"": "not like", "005PD-": "not like", "005PD-AA": "not like", "5PD": "not like", "005PD-X": "transfer", "abcPD": "range",
		"000PD": "range", "NanPD": "range", "-05PD": "not like", "005XD": "unit", "005PG": "suction", "015PA": "suction",
	} {
		if _, err := New(&i2ctest.Playback{}, 0, kind); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%q: %v, want a word of %q", kind, err, word)
		}
	}
	if _, err := New(&i2ctest.Playback{}, 0x128, "005PD"); err == nil || !strings.Contains(err.Error(), "7 bits") {
		t.Errorf("address of 9 bits: %v", err)
	}
}
