// SPDX-License-Identifier: Apache-2.0

package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func confFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "tallyhood.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

const wiredFile = `
[board]
kind = "wired"
[store]
file = "/var/lib/tallyhood/store"
[contact.squeeze]
by = "pedal"
device = "1a2b:3c4d"
key = 48
[contact.step]
line = "GPIO17"
[contact.taste_no]
chip = "pinctrl-bcm2711"
offset = 27
pull = "up"
active = "low"
[contact.taste_nc]
line = "GPIO22"
[output.beacon]
line = "GPIO23"
shows = "stop"
pulse = "250ms"
[sound]
level = 70
languages = ["pl", "en"]
`

func TestConfig(t *testing.T) {
	c, err := readConfig(confFile(t, wiredFile))
	if err != nil {
		t.Fatal(err)
	}
	if c.Contact["squeeze"].Key != 48 || *c.Contact["taste_no"].Offset != 27 || time.Duration(c.Output["beacon"].Pulse) != 250*time.Millisecond {
		t.Errorf("read as %+v", c)
	}
	if c.Pages.Address != "127.0.0.1:8080" || c.Board.Edges != "kernel" || !c.Sound.Speak || c.Sound.Level != 70 {
		t.Errorf("what is not in the file is not the standard: %+v", c)
	}
	o := options{board: "sim", storePath: "/elsewhere"}
	o.over(&c, func(flag string) bool { return flag == "store" })
	if c.Board.Kind != "wired" || c.Store.File != "/elsewhere" {
		t.Errorf("flags over the file: %+v", c)
	}
	if c, err := readConfig(""); err != nil || c.Board.Kind != "sim" {
		t.Errorf("without a file: %+v, %v", c, err)
	}
}

func TestWrongConfigIsNamed(t *testing.T) {
	for text, want := range map[string]string{
		"[board]\nkimd = \"sim\"":                                 "line 2, column 1: no such key: board.kimd",
		"[board]\nkind = \"simm\"":                                `board.kind is "simm"; it can be sim, wired`,
		"[board\n":                                                "line 1",
		"[board]\nkind = 3":                                       "line 2, column 8",
		"[contact.bell]\nline = \"GPIO4\"":                        "contact.bell: there is no such contact",
		"[contact.step]\npull = \"up\"":                           "contact.step: line is missing",
		"[contact.step]\nline = \"A\"\nchip = \"b\"":              "either line, or chip and offset",
		"[contact.step]\nchip = \"b\"\noffset = -1":               "offset is -1",
		"[contact.step]\nline = \"A\"\nactive = \"on\"":           `contact.step.active is "on"`,
		"[contact.taste]\nby = \"pedal\"":                         "the wearer's button needs a wire",
		"[contact.step]\nby = \"bulb\"":                           "squeeze alone",
		"[contact.squeeze]\nby = \"bulb\"":                        "bulb.sensor is missing",
		"[output.horn]\nline = \"A\"\nshows = \"noise\"":          `output.horn.shows is "noise"`,
		"[output.horn]\nline = \"A\"\nshows=\"due\"\npulse=\"x\"": "no length of time",
		"[sound]\nlevel = 300":                                    "sound.level is 300",
		"[logging]\nlevel = \"loud\"":                             "line 2",
	} {
		_, err := readConfig(confFile(t, text))
		var bad badInput
		if err == nil || !errors.As(err, &bad) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	if _, err := readConfig("/nowhere/at/all"); err == nil {
		t.Error("a file that is not there was read")
	}
}
