// SPDX-License-Identifier: Apache-2.0

package rules

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
)

// load reads the project itself.
func load(t *testing.T) *Tree {
	t.Helper()
	if _, err := exec.LookPath("git"); err != nil {
		t.Skip("missing part: git, which knows what belongs to the project")
	}
	if err := exec.Command("git", "rev-parse", "--git-dir").Run(); err != nil {
		t.Skip("not on this machine: a git checkout, which knows what belongs to the project")
	}
	tree, err := Load("../..")
	if err != nil {
		t.Fatal(err)
	}
	if !tree.Has("tests/rules") {
		t.Fatal("the rules do not see their own source")
	}
	return tree
}

func report(t *testing.T, found []Finding) {
	t.Helper()
	for _, f := range found {
		t.Error(f)
	}
}

func TestProject(t *testing.T) {
	tree := load(t)
	t.Run("parses", func(t *testing.T) { report(t, tree.Broken) })
	t.Run("pure", func(t *testing.T) {
		for _, p := range Pure {
			report(t, tree.CheckPure(p))
		}
	})
	t.Run("layers", func(t *testing.T) {
		for _, l := range Layers {
			report(t, tree.CheckLayer(l))
		}
	})
	t.Run("keepers", func(t *testing.T) {
		for _, k := range Keepers {
			report(t, tree.CheckKeeper(k))
		}
	})
	t.Run("calls", func(t *testing.T) {
		for _, c := range Calls {
			report(t, tree.CheckCall(c))
		}
	})
	t.Run("rot", func(t *testing.T) { report(t, tree.CheckRot(Planned)) })
	t.Run("root", func(t *testing.T) { report(t, tree.CheckRoot()) })
	t.Run("licence", func(t *testing.T) { report(t, tree.CheckLicence()) })
	t.Run("size", func(t *testing.T) { report(t, tree.CheckSize()) })
	t.Run("names", func(t *testing.T) { report(t, tree.CheckNames()) })
	t.Run("comments", func(t *testing.T) { report(t, tree.CheckComments()) })
	t.Run("words", func(t *testing.T) { report(t, tree.CheckWords()) })
}

// Every entry of the tables says why.
func TestReasons(t *testing.T) {
	for _, l := range Layers {
		if l.Why == "" || len(l.Never) == 0 {
			t.Errorf("layer %s without a reason or a ban", l.In)
		}
	}
	for _, k := range Keepers {
		if k.Why == "" {
			t.Errorf("keeper of %s without a reason", k.Library)
		}
	}
	for _, c := range Calls {
		if c.Why == "" || len(c.Names) == 0 {
			t.Errorf("call of %s without a reason or a name", c.Package)
		}
	}
	for _, w := range Words {
		if w.Why == "" {
			t.Errorf("word %v without a reason", w.Parts)
		}
	}
}

// Load sees new files and none that are ignored, deleted or links.
func TestLoad(t *testing.T) {
	if _, err := exec.LookPath("git"); err != nil {
		t.Skip("missing part: git, which knows what belongs to the project")
	}
	root := t.TempDir()
	git := func(args ...string) {
		t.Helper()
		cmd := exec.Command("git", args...)
		cmd.Dir = root
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("git %v: %v\n%s", args, err, out)
		}
	}
	write := func(name, text string) {
		t.Helper()
		full := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	git("init", "-q")
	write(".gitignore", "build/\n")
	write("gone.go", "package x\n")
	write("tracked.go", "package x\n")
	git("add", "-A")
	write("sub/new.go", "package sub\n")
	write("build/made.go", "package made\n")
	if err := os.Remove(filepath.Join(root, "gone.go")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("tracked.go", filepath.Join(root, "link.go")); err != nil {
		t.Fatal(err)
	}
	tree, err := Load(root)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range tree.Files {
		names = append(names, f.Path)
	}
	want := []string{".gitignore", "sub/new.go", "tracked.go"}
	if !slices.Equal(names, want) {
		t.Errorf("files %q, want %q", names, want)
	}
	if _, err := Load(t.TempDir()); err == nil {
		t.Error("a folder without git: no error")
	}
}
