// SPDX-License-Identifier: Apache-2.0

package pedal

import (
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tallyhood/device"
)

func TestParseKey(t *testing.T) {
	if k, err := ParseKey("1a2B:003c", 48); err != nil || k != (Key{Vendor: 0x1a2b, Product: 0x3c, Code: 48}) || k.Device() != "1a2b:003c" {
		t.Errorf("%+v, %v", k, err)
	}
	for _, c := range []struct {
		kind string
		code int
	}{{"", 48}, {"1a2b", 48}, {"1a2b:", 48}, {"1a2b:3c4", 48}, {"1a2b:3c4dd", 48}, {"1a2b:3c4g", 48}, {"+a2b:3c4d", 48}, {"1a2b:3c4d:5", 48}, {"1a2b:3c4d", 0}, {"1a2b:3c4d", -1}, {"1a2b:3c4d", keyCount}} {
		if k, err := ParseKey(c.kind, c.code); err == nil {
			t.Errorf("%q, %d is read as %+v", c.kind, c.code, k)
		}
	}
}

func TestSaveAndLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pedals.json")
	if keys, err := Load(path); err != nil || len(keys) != 0 {
		t.Errorf("no file: %v, %v", keys, err)
	}
	keys := map[device.Line]Key{
		device.Squeeze: {0x1a2b, 0x3c4d, 48, `Hill"side <One>`, "usb-1/input0", "A7"},
		device.Step:    {Vendor: 1, Product: 2, Code: 3},
		device.Taste:   {},
	}
	for range 2 {
		if err := Save(path, keys); err != nil {
			t.Fatal(err)
		}
		delete(keys, device.Taste) // none learned: not in the file
		got, err := Load(path)
		if err != nil || !maps.Equal(got, keys) {
			t.Errorf("%v, %v; want %v", got, err, keys)
		}
		keys[device.Step] = Key{Vendor: 1, Product: 2, Code: 4}
	}
	if left, err := os.ReadDir(filepath.Dir(path)); err != nil || len(left) != 1 {
		t.Errorf("beside the file: %v, %v", left, err)
	}
	if err := Save(filepath.Join(path, "sub"), keys); err == nil {
		t.Error("saved below a file")
	}
	if err := Save(path, map[device.Line]Key{"knob": {1, 2, 3, "", "", ""}, device.Squeeze: {1, 2, 3, "", "", ""}, device.Step: {1, 2, 3, "", "", ""}}); err == nil {
		t.Error("one key for two contacts is saved")
	}
	if got, err := Load(path); err != nil || len(got) != 2 {
		t.Errorf("after a refused save: %v, %v", got, err)
	}
}

// The file of version 1, kept for ever.
const versionOne = `{
  "kind": "pedals",
  "version": "1",
  "keys": [
    {
      "line": "squeeze",
      "device": "1a2b:3c4d",
      "key": 48,
      "name": "Hillside One",
      "phys": "usb-1/input0"
    }
  ]
}
`

func TestFileOfVersionOne(t *testing.T) {
	want := map[device.Line]Key{device.Squeeze: {Vendor: 0x1a2b, Product: 0x3c4d, Code: 48, Name: "Hillside One", Phys: "usb-1/input0"}}
	got, err := Decode([]byte(versionOne))
	if err != nil || !maps.Equal(got, want) {
		t.Errorf("%v, %v; want %v", got, err, want)
	}
	if b, err := Encode(want); err != nil || string(b) != versionOne {
		t.Errorf("%s, %v; want %s", b, err, versionOne)
	}
}

func TestDecodeRefuses(t *testing.T) {
	for what, swap := range map[string][2]string{
		"no JSON":         {"{", "["},
		"another kind":    {`"pedals"`, `"lamps"`},
		"a later version": {`"1"`, `"2"`},
		"no such contact": {`"squeeze"`, `"knob"`},
		"no device":       {`1a2b:3c4d`, `1a2b`},
		"no key":          {`48`, `0`},
		"a huge key":      {`48`, `4800000000`},
		"too long":        {"\n", strings.Repeat(" ", maxFile)},
		"twice":           {`"keys": [`, `"keys": [{"line":"squeeze","device":"1a2b:3c4d","key":49},`},
		"shared":          {`"keys": [`, `"keys": [{"line":"step","device":"1a2b:3c4d","key":48},`},
	} {
		if keys, err := Decode([]byte(strings.Replace(versionOne, swap[0], swap[1], 1))); err == nil {
			t.Errorf("%s: read as %v", what, keys)
		}
	}
}

func TestPlain(t *testing.T) {
	if got := plain(" Hill\x00side\x1b[1m \xffpédale\n"); got != "Hill?side?[1m ?pédale?" {
		t.Errorf("%q", got)
	}
}
