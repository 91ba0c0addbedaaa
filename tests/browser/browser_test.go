// SPDX-License-Identifier: Apache-2.0

// Package browser runs whole tests of a facepiece through the pages, in a real
// browser, against the real program on a simulated board. The scripts beside it
// press what a person can see and read what a person can read; this file only
// builds the program and starts them. It must not reach into the pages' code.
package browser

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// within is the longest that all scripts together may take.
const within = 14 * time.Minute

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
	// Two scripts at a time wait more than they work. More would make late
	// testers of each other: the clock runs many times faster than the world.
	run := exec.CommandContext(ctx, node, append([]string{"--test", "--test-concurrency=2", "--test-reporter=spec"}, scripts...)...)
	run.Env = append(os.Environ(), "TALLYHOOD="+program, "CHROMIUM="+chromium)
	run.Cancel = func() error { return run.Process.Signal(os.Interrupt) } // lets the scripts stop what they started
	run.WaitDelay = 10 * time.Second
	out, err := run.CombinedOutput()
	t.Logf("%s", out)
	if err != nil {
		t.Fatalf("scripts: %v", err)
	}
}
