// SPDX-License-Identifier: Apache-2.0

package main

import (
	"strings"
	"testing"
)

const pass = `{"Action":"output","Package":"p","Test":"TestA","Output":"--- PASS: TestA (0.00s)\n"}
{"Action":"pass","Package":"p","Test":"TestA"}
{"Action":"output","Package":"p","Output":"PASS\n"}
{"Action":"output","Package":"p","Output":"ok  \tp\t0.01s\n"}
{"Action":"pass","Package":"p"}
`

func skipped(text string) string {
	return `{"Action":"output","Package":"p","Test":"TestB","Output":"=== RUN   TestB\n"}
{"Action":"output","Package":"p","Test":"TestB","Output":"    b_test.go:9: ` + text + `\n"}
{"Action":"output","Package":"p","Test":"TestB","Output":"--- SKIP: TestB (0.00s)\n"}
{"Action":"skip","Package":"p","Test":"TestB"}
`
}

func TestTookLong(t *testing.T) {
	l, err := read(strings.NewReader(pass+`{"Action":"pass","Package":"q","Test":"TestL","Elapsed":12.4}
{"Action":"pass","Package":"q","Test":"TestL/part","Elapsed":12}
{"Action":"pass","Package":"q","Test":"TestS","Elapsed":9.9}
`), &strings.Builder{})
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if l.close(&out, true) != 0 || strings.Count(out.String(), "took long:") != 1 || !strings.Contains(out.String(), "took long: q TestL 12 s\n") {
		t.Errorf("said %q", out.String())
	}
}

func TestRun(t *testing.T) {
	fail := `{"Action":"output","Package":"q","Test":"TestC/x","Output":"    c_test.go:7: 1 is not 2\n"}
{"Action":"fail","Package":"q","Test":"TestC/x"}
{"Action":"fail","Package":"q","Test":"TestC"}
{"Action":"fail","Package":"q"}
`
	for _, c := range []struct {
		name, in string
		strict   bool
		code     int
		want     string
	}{
		{"pass", pass, true, 0, "tests: 1 passed, 0 failed, 0 skipped"},
		{"package line", pass, true, 0, "ok  \tp\t0.01s\n"},
		{"failure", pass + fail, false, 1, "1 is not 2"},
		{"failure is counted once", pass + fail, false, 1, "tests: 1 passed, 1 failed, 0 skipped"},
		{"package fails without a test", pass + `{"Action":"fail","Package":"q"}` + "\n", false, 1, ""},
		{"build output", pass + `{"ImportPath":"q","Action":"build-output","Output":"q.go:1: broken\n"}` + "\n", false, 0, "q.go:1: broken"},
		{"missing part at home", pass + skipped("missing part: aplay"), false, 0, "skipped: p TestB: b_test.go:9: missing part: aplay"},
		{"missing part in CI", pass + skipped("missing part: aplay"), true, 1, "SKIPPED"},
		{"unknown reason in CI", pass + skipped("aplay is away"), true, 1, "SKIPPED"},
		{"no reason in CI", pass + `{"Action":"skip","Package":"p","Test":"TestB"}` + "\n", true, 1, "SKIPPED"},
		{"subtest in CI", pass + `{"Action":"skip","Package":"p","Test":"TestA/x"}` + "\n", true, 1, "SKIPPED"},
		{"two reasons in CI", pass + skipped("missing part: qemu, not on this machine: /dev/kvm"), true, 1, "SKIPPED"},
		{"not on this machine in CI", pass + skipped("not on this machine: /dev/kvm"), true, 0, "skipped: p TestB"},
		{"only when asked in CI", pass + skipped("only when asked: a million runs"), true, 0, "1 passed, 0 failed, 1 skipped"},
		{"package without tests", pass + `{"Action":"skip","Package":"r"}` + "\n", true, 0, "0 skipped"},
		{"nothing ran", `{"Action":"pass","Package":"p"}` + "\n", false, 1, "no test passed"},
		{"not JSON", "go: no such package\n", false, 1, "go: no such package"},
		{"empty", "", false, 1, "no test event"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out strings.Builder
			code := run(strings.NewReader(c.in), &out, c.strict)
			if code != c.code {
				t.Errorf("exit code %d, want %d", code, c.code)
			}
			if !strings.Contains(out.String(), c.want) {
				t.Errorf("printed\n%s\nwant %q in it", out.String(), c.want)
			}
		})
	}
}
