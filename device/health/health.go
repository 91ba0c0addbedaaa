// SPDX-License-Identifier: Apache-2.0

// Package health reads what a box tells about itself: supply voltage, heat,
// room and speed of its storage. A board that tells nothing is not thereby
// well: absent figures are absent. It must not decide what follows from them.
package health

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// A Supply says how the supply voltage is.
type Supply string

// The states of the supply.
const (
	Untold Supply = ""        // the board does not measure it
	Sound  Supply = "sound"   //
	Low    Supply = "low"     // too low now
	WasLow Supply = "was_low" // too low at some time since the board started
)

// Hot is the temperature in degrees Celsius from which a board is called hot:
// common boards slow down at 80 to 85 (from memory of their documents).
const Hot = 80

// A Box is where to look.
type Box struct {
	sys  string
	file string // the store's
	low  bool   // seen low before
}

// New makes a box that looks under /sys and at the file system of a file.
func New(file string) *Box { return &Box{sys: "/sys", file: file} }

// Supply reads the alarm of the board's own voltage monitor, where the kernel
// has one: a hwmon called rpi_volt, or the firmware's word on throttling (bit 0
// now, bit 16 since the start; from memory of the board's documents).
func (b *Box) Supply() Supply {
	said := Untold
	for _, d := range glob(b.sys, "class/hwmon/hwmon*") {
		if line(d, "name") != "rpi_volt" {
			continue
		}
		if v, err := strconv.Atoi(line(d, "in0_lcrit_alarm")); err == nil {
			said = Sound
			if v != 0 {
				said, b.low = Low, true
			}
		}
	}
	for _, d := range glob(b.sys, "devices/platform/soc/soc:firmware") {
		if v, err := strconv.ParseUint(strings.TrimPrefix(line(d, "get_throttled"), "0x"), 16, 32); err == nil {
			if said == Untold {
				said = Sound
			}
			b.low = b.low || v&(1<<16) != 0
			if v&1 != 0 {
				said, b.low = Low, true
			}
		}
	}
	if said == Sound && b.low {
		return WasLow
	}
	return said
}

// Heat is the highest temperature that any sensor of the board tells, in
// degrees Celsius.
func (b *Box) Heat() (degrees float64, ok bool) {
	for _, d := range glob(b.sys, "class/thermal/thermal_zone*") {
		// Thousandths; a sensor that is off reads zero or far below it.
		if v, err := strconv.Atoi(line(d, "temp")); err == nil && v > 1000 && v < 200_000 {
			degrees, ok = max(degrees, float64(v)/1000), true
		}
	}
	return degrees, ok
}

// Room is the free space for the store and the size of its file system, bytes.
func (b *Box) Room() (free, of int64, err error) {
	var st unix.Statfs_t
	if err := unix.Statfs(filepath.Dir(b.file), &st); err != nil {
		return 0, 0, fmt.Errorf("room for the store: %w", err)
	}
	return int64(st.Bavail) * int64(st.Frsize), int64(st.Blocks) * int64(st.Frsize), nil
}

// probes is the number of writes that WriteTime makes: few, for the card's sake.
const probes = 9

// WriteTime is the median time of a small write that has reached the disk,
// beside the store, measured now with the clock that is given.
func (b *Box) WriteTime(now func() time.Duration) (median time.Duration, err error) {
	f, err := os.CreateTemp(filepath.Dir(b.file), ".write-time-*")
	if err != nil {
		return 0, fmt.Errorf("write speed: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(f.Name())) }()
	took := make([]time.Duration, probes)
	block := make([]byte, 4096)
	for i := range took {
		from := now()
		if _, err := f.WriteAt(block, int64(i)*4096); err != nil {
			return 0, fmt.Errorf("write speed: %w", err)
		}
		if err := f.Sync(); err != nil {
			return 0, fmt.Errorf("write speed: %w", err)
		}
		took[i] = now() - from
	}
	slices.Sort(took)
	return took[len(took)/2], nil
}

func glob(root, pattern string) []string {
	found, _ := filepath.Glob(filepath.Join(root, pattern)) // the pattern is sound
	return found
}

func line(dir, file string) string {
	b, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
