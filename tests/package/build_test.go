// SPDX-License-Identifier: Apache-2.0

// Package deb tests what is given out: the archives and Debian packages that
// .ci/dist makes, installed and started in a Debian system of their own. It
// never touches the packages, users or services of the machine it runs on.
package deb

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
)

// The release that most tests look at, and the one after it.
const (
	first  = "9.1.0"
	second = "9.2.0"
	epoch  = "1780000000"
)

const project = "../.."

// boards are the kinds of boards with their Debian names.
var boards = map[string]string{"amd64": "amd64", "arm64": "arm64", "armv7": "armhf"}

// here is the kind of this machine; empty when there is no package for it.
func here() string {
	switch runtime.GOARCH {
	case "amd64", "arm64":
		return runtime.GOARCH
	}
	return ""
}

var made string // the folder of everything built here

func TestMain(m *testing.M) {
	code := m.Run()
	if made != "" {
		_ = os.RemoveAll(made)
	}
	os.Exit(code)
}

// need skips where programs are missing that .ci/install brings.
func need(t *testing.T, programs ...string) {
	t.Helper()
	if testing.Short() {
		t.Skip("only when asked: packages (without -short)")
	}
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			t.Skipf("missing part: %s, which .ci/install brings", p)
		}
	}
}

func run(t *testing.T, dir string, env []string, name string, args ...string) string {
	t.Helper()
	out, err := output(dir, env, name, args...)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func output(dir string, env []string, name string, args ...string) (string, error) {
	c := exec.Command(name, args...)
	c.Dir, c.Env = dir, append(os.Environ(), env...)
	out, err := c.CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out), nil
}

// snapshot copies the project as it stands, without git, so that what others
// change meanwhile changes nothing.
var snapshot = sync.OnceValues(func() (string, error) {
	var err error
	if made, err = os.MkdirTemp("", "tallyhood-package-"); err != nil {
		return "", err
	}
	dir := filepath.Join(made, "snapshot")
	if err := os.Mkdir(dir, 0o755); err != nil {
		return "", err
	}
	from, err := filepath.Abs(project)
	if err != nil {
		return "", err
	}
	// A file that is deleted and not yet committed is listed and not there.
	const script = `cd "$1"; git ls-files -z --cached --others --exclude-standard |
		while IFS= read -r -d '' f; do [ ! -f "$f" ] || printf '%s\0' "$f"; done | tar -c --null -T - | tar -x -C "$2"`
	if _, err := output("", nil, "bash", "-euo", "pipefail", "-c", script, "copy", from, dir); err != nil {
		return "", err
	}
	return dir, nil
})

// nfpm is the packager, built at the version in .ci/tools/go.mod.
var nfpm = sync.OnceValues(func() (string, error) {
	if _, err := output(project, nil, "make", "--no-print-directory", "build/tools/nfpm"); err != nil {
		return "", err
	}
	return filepath.Abs(filepath.Join(project, "build/tools/nfpm"))
})

// dist makes a release of the snapshot for some kinds of boards.
func dist(tree, version, kinds string) (string, error) {
	packager, err := nfpm()
	if err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp(made, "dist-")
	if err != nil {
		return "", err
	}
	_, err = output(tree, []string{"VERSION=" + version, "SOURCE_DATE_EPOCH=" + epoch, "ARCHS=" + kinds, "NFPM=" + packager}, ".ci/dist", dir)
	return dir, err
}

var firstRelease = sync.OnceValues(func() (string, error) {
	tree, err := snapshot()
	if err != nil {
		return "", err
	}
	return dist(tree, first, "amd64 arm64 armv7")
})

var secondRelease = sync.OnceValues(func() (string, error) {
	tree, err := snapshot()
	if err != nil {
		return "", err
	}
	return dist(tree, second, here())
})

// release is the folder of a release.
func release(t *testing.T, version string) string {
	t.Helper()
	need(t, "git", "dpkg-deb", "gzip", "tar")
	if here() == "" {
		t.Skipf("not on this machine: a package for %s", runtime.GOARCH)
	}
	make := firstRelease
	if version == second {
		make = secondRelease
	}
	dir, err := make()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

func debOf(dir, version, kind string) string {
	return filepath.Join(dir, "tallyhood_"+version+"_"+boards[kind]+".deb")
}

// unpacked is the content of the package for this machine.
func unpacked(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	run(t, "", nil, "dpkg-deb", "-x", debOf(release(t, first), first, here()), dir)
	return dir
}
