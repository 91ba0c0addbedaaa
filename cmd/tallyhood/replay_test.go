// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/tests/scenarios"
)

// captureOf writes a script's capture into a file.
func captureOf(t *testing.T, script string) string {
	t.Helper()
	cases, err := scenarios.Parse("expect x\n" + script)
	if err != nil {
		t.Fatal(err)
	}
	vcd, err := cases[0].Tape.VCD(cases[0].Scale)
	if err != nil {
		t.Fatal(err)
	}
	return textFile(t, string(vcd))
}

func textFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "capture.vcd")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func tallyhood(t *testing.T, args ...string) (code int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, &o, &e)
	return code, o.String(), e.String()
}

const passing = "0:01 start 7\n+2 dose 10\ntop-ups 1-13 5\n"

// The exit code is 0 whatever the outcome, and the text names it first.
func TestReplayOutcomes(t *testing.T) {
	for _, c := range []struct{ script, first, outcome, reason string }{
		{passing, "PASS", "pass", ""},
		{passing + "@200 report\n", "FAIL: ", "fail", "tasted"},
		{passing + "@200 cable out\n", "NOT VALID: ", "not_valid", "cable_open"},
		{passing + "@200 cut\n", "NOT VALID: ", "not_valid", "interrupted"},
		{"0:01 step\n0:03 squeeze 30\n", "CANNOT TASTE: ", "cannot_taste", "no_taste_by_30"},
		{"0:01 wait\n", "NOT VALID: ", "not_valid", "interrupted"},
	} {
		path := captureOf(t, c.script)
		code, out, errOut := tallyhood(t, "replay", path)
		if code != 0 || errOut != "" {
			t.Errorf("%s: exit code %d, %q", c.first, code, errOut)
		}
		first, rest, _ := strings.Cut(out, "\n")
		if !strings.HasPrefix(first, c.first) || c.reason == "" && first != c.first {
			t.Errorf("%s: the first line is %q", c.first, first)
		}
		if !strings.Contains(rest, "Local law and a licensed or competent person always prevail") {
			t.Errorf("%s: the text does not say who prevails", c.first)
		}
		code, out, errOut = tallyhood(t, "replay", "--json", "--rules", "uk-hse", "--agent=bitter", path)
		if code != 0 || errOut != "" {
			t.Errorf("%s: exit code %d, %q", c.first, code, errOut)
		}
		var rec struct{ Schema, Outcome, Reason, Rules, Agent string }
		dec := json.NewDecoder(strings.NewReader(out))
		if err := dec.Decode(&rec); err != nil {
			t.Fatalf("%s: %v in %q", c.first, err, out)
		}
		if dec.More() {
			t.Errorf("%s: more than one JSON object", c.first)
		}
		if rec.Schema != "tallyhood.record/1" || rec.Outcome != c.outcome || rec.Reason != c.reason || rec.Rules != "uk-hse" || rec.Agent != "bitter" {
			t.Errorf("%s: %+v", c.first, rec)
		}
	}
}

// The JSON has at least the parts that the contract names; absent ones are null.
func TestReplayJSONParts(t *testing.T) {
	parts := func(script string) map[string]any {
		_, out, _ := tallyhood(t, "replay", "--json", captureOf(t, script))
		var m map[string]any
		if err := json.Unmarshal([]byte(out), &m); err != nil {
			t.Fatal(err)
		}
		return m
	}
	has := func(m map[string]any, keys ...string) {
		t.Helper()
		for _, k := range keys {
			if _, ok := m[k]; !ok {
				t.Errorf("%s is missing", k)
			}
		}
	}
	m := parts(passing)
	has(m, "schema", "outcome", "reason", "rules", "agent", "screening", "fit", "inputs")
	has(m["screening"].(map[string]any), "squeezes", "bin")
	has(m["inputs"].(map[string]any), "squeeze", "taste", "step", "noise_edges", "supervised", "faults")
	fit := m["fit"].(map[string]any)
	has(fit, "initial", "top_ups", "exercises", "taste_s", "taste_exercise", "squeezes_total", "duration_s", "level")
	has(fit["initial"].(map[string]any), "required", "given")
	has(fit["level"].(map[string]any), "mean", "min")
	up := fit["top_ups"].([]any)[0].(map[string]any)
	has(up, "n", "due_s", "required", "given", "extra", "first_s", "done_s", "remarks")
	if up["first_s"] != 30.8 || up["done_s"] != 34.4 || up["due_s"] != 30.0 {
		t.Errorf("top-up 1: %v", up)
	}
	has(fit["exercises"].([]any)[0].(map[string]any), "id", "start_s", "end_s")
	if fit["taste_s"] != nil || fit["taste_exercise"] != nil {
		t.Errorf("a pass was tasted: %v", fit)
	}
	if m := parts("0:01 step\n"); m["fit"] != nil || m["screening"].(map[string]any)["bin"] != 0.0 {
		t.Errorf("a run that never got to the fit test: %v", m)
	}
	// The dose was never given up to the clock: no time on it.
	if fit := parts("0:01 start 7\n+2 squeeze 4\n")["fit"].(map[string]any); fit["duration_s"] != nil || fit["level"] != nil {
		t.Errorf("a run without a clock: %v", fit)
	}
}

// Bad input: exit code 2, one line that names line and column, nothing on
// standard output.
func TestReplayBadInput(t *testing.T) {
	const head = "$timescale 1 us $end\n$scope module b $end\n"
	vars := func(names ...string) string {
		s := head
		for i, n := range names {
			s += "$var wire 1 " + string(rune('!'+i)) + " " + n + " $end\n"
		}
		return s + "$upscope $end\n$enddefinitions $end\n"
	}
	good := vars("squeeze", "step", "taste")
	for name, text := range map[string]string{
		"empty":              "",
		"no VCD":             "hello\nworld\n",
		"ends in its header": head,
		"squeeze missing":    vars("step", "taste") + "#0\n",
		"step missing":       vars("squeeze", "taste") + "#0\n",
		"taste missing":      vars("squeeze", "step") + "#0\n",
		"half a pair":        vars("squeeze", "step", "taste_no") + "#0\n",
		"both kinds":         vars("squeeze", "step", "taste", "taste_no", "taste_nc") + "#0\n",
		"undeclared":         good + "#0\n1~\n",
		"time goes back":     good + "#5\n1!\n#4\n0!\n",
		"time overflows":     good + "#99999999999999999999999\n",
		"too far":            good + "#18446744073709551615\n",
		"negative":           good + "#-1\n",
		"after a whole run":  good + "#0\n0!\n#900000000\n1!\n#900100000\n0!\nrubbish\n",
		"binary":             "\x00\x01\x02\xff",
		"unterminated block": good + "#0\n$dumpvars\n0!\n",
		"split identifier":   good + "#0\n\"a\nb\"\n",
	} {
		for _, flags := range [][]string{nil, {"--json"}} {
			path := textFile(t, text)
			code, out, errOut := tallyhood(t, append(append([]string{"replay"}, flags...), path)...)
			if code != 2 {
				t.Errorf("%s: exit code %d", name, code)
			}
			if out != "" {
				t.Errorf("%s: standard output has %q", name, out)
			}
			if strings.Count(errOut, "\n") != 1 || !strings.HasSuffix(errOut, "\n") {
				t.Errorf("%s: standard error is not one line: %q", name, errOut)
			}
			if !strings.Contains(errOut, "line ") || !strings.Contains(errOut, "column ") {
				t.Errorf("%s: no line and column: %q", name, errOut)
			}
		}
	}
}

// What was asked wrongly is bad input as well.
func TestReplayBadCommand(t *testing.T) {
	path := captureOf(t, passing)
	for name, args := range map[string][]string{
		"no capture":       {"replay"},
		"two captures":     {"replay", path, path},
		"no such file":     {"replay", path + ".gone"},
		"a folder":         {"replay", t.TempDir()},
		"rules":            {"replay", "--rules", "mars", path},
		"agent":            {"replay", "--agent", "salty", path},
		"unknown flag":     {"replay", "--hurry", path},
		"invert nothing":   {"replay", "--invert", "bulb", path},
		"invert not there": {"replay", "--invert", "taste", path},
	} {
		code, out, errOut := tallyhood(t, args...)
		if code != 2 || out != "" || strings.Count(errOut, "\n") != 1 {
			t.Errorf("%s: exit code %d, out %q, err %q", name, code, out, errOut)
		}
	}
}

func TestReplayInvert(t *testing.T) {
	path := captureOf(t, "invert squeeze step\n"+passing)
	if code, out, errOut := tallyhood(t, "replay", "--invert", "squeeze,step", path); code != 0 || !strings.HasPrefix(out, "PASS\n") {
		t.Errorf("exit code %d, %q, %q", code, out, errOut)
	}
	if _, out, _ := tallyhood(t, "replay", path); strings.HasPrefix(out, "PASS") {
		t.Error("without the inversion the same capture passes")
	}
}

// A language without words is said so, and the record is given all the same.
func TestReplayLanguage(t *testing.T) {
	path := captureOf(t, passing)
	for lang, warned := range map[string]bool{"en": false, "en-GB": false, "xx": true} {
		code, out, errOut := tallyhood(t, "replay", "--lang", lang, path)
		if code != 0 || !strings.HasPrefix(out, "PASS\n") || (errOut != "") != warned {
			t.Errorf("%s: exit code %d, %q, %q", lang, code, out, errOut)
		}
	}
}

// The cue track is as long as the capture.
func TestReplayCues(t *testing.T) {
	path := captureOf(t, passing+"@200 cut\n")
	track := filepath.Join(t.TempDir(), "cues.wav")
	if code, _, errOut := tallyhood(t, "replay", "--cues", track, path); code != 0 {
		t.Fatalf("exit code %d, %s", code, errOut)
	}
	info, err := os.Stat(track)
	if err != nil {
		t.Fatal(err)
	}
	// 342 s to the initial dose, 9 s more to t = 0, then 200 s; two bytes a
	// sample after a header of 44.
	if want := 44 + 2*audio.Sample(551*time.Second); info.Size() != want {
		t.Errorf("the track has %d bytes, want %d", info.Size(), want)
	}
	if code, out, errOut := tallyhood(t, "replay", "--cues", filepath.Join(t.TempDir(), "no", "cues.wav"), path); code == 0 || out != "" || errOut == "" {
		t.Errorf("a track that cannot be written: exit code %d, %q, %q", code, out, errOut)
	}
}
