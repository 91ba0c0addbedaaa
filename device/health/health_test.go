// SPDX-License-Identifier: Apache-2.0

package health

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"tallyhood/device/clock"
)

func write(t *testing.T, root, file, text string) {
	t.Helper()
	path := filepath.Join(root, file)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestSupply(t *testing.T) {
	root := t.TempDir()
	b := &Box{sys: root}
	if got := b.Supply(); got != Untold {
		t.Errorf("a board that does not measure says %q", got)
	}
	write(t, root, "class/hwmon/hwmon0/name", "cpu_thermal")
	write(t, root, "class/hwmon/hwmon0/in0_lcrit_alarm", "1") // another's
	write(t, root, "class/hwmon/hwmon1/name", "rpi_volt")
	for _, step := range []struct {
		alarm string
		want  Supply
	}{{"0", Sound}, {"1", Low}, {"0", WasLow}, {"", Untold}} {
		write(t, root, "class/hwmon/hwmon1/in0_lcrit_alarm", step.alarm)
		if got := b.Supply(); got != step.want {
			t.Errorf("alarm %q: %q, want %q", step.alarm, got, step.want)
		}
	}

	root = t.TempDir()
	for said, want := range map[string]Supply{"0": Sound, "0x50000": WasLow, "50005": Low, "4": Sound, "nothing": Untold} {
		write(t, root, "devices/platform/soc/soc:firmware/get_throttled", said)
		if got := (&Box{sys: root}).Supply(); got != want {
			t.Errorf("throttled %s: %q, want %q", said, got, want)
		}
	}
}

func TestHeat(t *testing.T) {
	root := t.TempDir()
	b := &Box{sys: root}
	if h, ok := b.Heat(); ok {
		t.Errorf("%v degrees from nowhere", h)
	}
	write(t, root, "class/thermal/thermal_zone0/temp", "48312")
	write(t, root, "class/thermal/thermal_zone1/temp", "81250")
	write(t, root, "class/thermal/thermal_zone2/temp", "0")
	if h, ok := b.Heat(); !ok || h != 81.25 || h < Hot {
		t.Errorf("%v %v, want 81.25", h, ok)
	}
}

func TestStorage(t *testing.T) {
	dir := t.TempDir()
	b := New(filepath.Join(dir, "store"))
	free, of, err := b.Room()
	if err != nil || free <= 0 || of < free {
		t.Errorf("free %d of %d, %v", free, of, err)
	}
	d, err := b.WriteTime(clock.New(1).Now)
	if err != nil || d <= 0 || d > 10*time.Second {
		t.Errorf("a write takes %v, %v", d, err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 0 {
		t.Errorf("the probe left %v", left)
	}
	if _, err := New(filepath.Join(dir, "no", "store")).WriteTime(clock.New(1).Now); err == nil {
		t.Error("a folder that is not there can be written to")
	}
	if _, _, err := New(filepath.Join(dir, "no", "store")).Room(); err == nil {
		t.Error("a folder that is not there has room")
	}
}
