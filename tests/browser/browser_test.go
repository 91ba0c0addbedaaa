// SPDX-License-Identifier: Apache-2.0

// Package browser runs whole tests of a facepiece through the pages, in a real
// browser, against the real program on a simulated board. The scripts beside it
// press what a person can see and read what a person can read; this file only
// builds the program and starts them. It must not reach into the pages' code.
package browser

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// within is the longest that all scripts together may take.
const within = 18 * time.Minute

// day is the script of a whole day.
const day = "day.test.mjs"

func TestWholeRuns(t *testing.T) {
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	node, err := exec.LookPath("node")
	if err != nil {
		t.Skip("missing part: node, which runs the scripts")
	}
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("missing part: chromium, the browser")
	}
	for _, module := range []string{"playwright-core", "axe-core"} {
		if _, err := os.Stat(filepath.Join(root, ".ci/node_modules", module, "package.json")); err != nil {
			t.Skipf("missing part: %s, which .ci/install brings", module)
		}
	}

	program := filepath.Join(t.TempDir(), "tallyhood")
	build := exec.Command("go", "build", "-o", program, "./cmd/tallyhood")
	build.Dir = root
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build the program: %v\n%s", err, out)
	}
	scripts, err := filepath.Glob("*.test.mjs")
	if err != nil || len(scripts) == 0 {
		t.Fatalf("no scripts here: %v", err)
	}

	ctx, cancel := context.WithTimeout(t.Context(), within)
	defer cancel()
	play := func(at int, scripts ...string) {
		run := exec.CommandContext(ctx, node, append([]string{"--test", fmt.Sprintf("--test-concurrency=%d", at), "--test-reporter=spec"}, scripts...)...)
		run.Env = append(os.Environ(), "TALLYHOOD="+program, "CHROMIUM="+chromium)
		run.Cancel = func() error { return run.Process.Signal(os.Interrupt) } // lets the scripts stop what they started
		run.WaitDelay = 10 * time.Second
		out, err := run.CombinedOutput()
		t.Logf("%s", out)
		if err != nil {
			t.Errorf("scripts: %v", err)
		}
	}
	// The day's testers have the machine for themselves: neighbours make them late,
	// and it begins anew. Of the others two at a time wait more than they work.
	play(1, day)
	play(2, slices.DeleteFunc(scripts, func(s string) bool { return s == day })...)
}
