// SPDX-License-Identifier: Apache-2.0

package deb

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// release of Debian that the roots hold, and the init system beside the least.
const (
	suite = "bookworm"
	extra = "systemd-sysv"
)

// mirror is where this machine's own settings fetch Debian from.
func mirror(t *testing.T) string {
	t.Helper()
	files, err := filepath.Glob("/etc/apt/sources.list.d/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range append(files, "/etc/apt/sources.list") {
		if !strings.HasSuffix(f, ".list") && !strings.HasSuffix(f, ".sources") {
			continue
		}
		b, err := os.ReadFile(f)
		if err != nil {
			continue
		}
		for line := range strings.Lines(string(b)) {
			fields := strings.Fields(line)
			if len(fields) < 2 || fields[0] != "deb" && fields[0] != "URIs:" {
				continue
			}
			for _, f := range fields[1:] {
				if strings.Contains(f, "://") && strings.HasSuffix(strings.TrimSuffix(f, "/"), "/debian") {
					return f
				}
			}
		}
	}
	t.Skip("not on this machine: apt settings that say where Debian is fetched from")
	return ""
}

// debian unpacks a Debian root of its own for a test. The archive of it is made
// once and kept in build/.
func debian(t *testing.T) string {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("not on this machine: root, who alone can make a Debian root")
	}
	need(t, "debootstrap", "tar")
	cache, err := filepath.Abs(filepath.Join(project, "build/debian"))
	if err != nil {
		t.Fatal(err)
	}
	archive := filepath.Join(cache, suite+"-"+extra+"-"+runtime.GOARCH+".tar")
	if _, err := os.Stat(archive); err != nil {
		if err := os.MkdirAll(cache, 0o755); err != nil {
			t.Fatal(err)
		}
		fresh := t.TempDir()
		proxy := strings.TrimSpace(run(t, "", nil, "sh", "-c", "eval $(apt-config shell P Acquire::http::Proxy); echo $P"))
		var env []string
		if proxy != "" && os.Getenv("http_proxy") == "" {
			env = []string{"http_proxy=" + proxy}
		}
		run(t, "", env, "debootstrap", "--variant=minbase", "--include="+extra, suite, fresh, mirror(t))
		run(t, fresh, nil, "rm", "-rf", "var/cache/apt/archives", "var/lib/apt/lists", "usr/share/locale", "usr/share/zoneinfo")
		run(t, "", nil, "tar", "-C", fresh, "--numeric-owner", "-cf", archive+".part", ".")
		if err := os.Rename(archive+".part", archive); err != nil {
			t.Fatal(err)
		}
	}
	root := t.TempDir()
	run(t, "", nil, "tar", "-C", root, "--numeric-owner", "-xpf", archive)
	return root
}

// in runs a command inside a root, without an init system.
func in(t *testing.T, root string, command ...string) string {
	t.Helper()
	env := []string{"LC_ALL=C", "DEBIAN_FRONTEND=noninteractive", "PATH=/usr/sbin:/usr/bin:/sbin:/bin"}
	return run(t, "/", env, "chroot", append([]string{root}, command...)...)
}

// give copies a package into a root and tells its name there.
func give(t *testing.T, root, version string) string {
	t.Helper()
	path := debOf(release(t, version), version, here())
	run(t, "", nil, "cp", path, filepath.Join(root, "root", filepath.Base(path)))
	return "/root/" + filepath.Base(path)
}

func exists(root, path string) bool {
	_, err := os.Lstat(filepath.Join(root, path))
	return err == nil
}
