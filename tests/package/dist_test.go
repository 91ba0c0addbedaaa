// SPDX-License-Identifier: Apache-2.0

package deb

import (
	"debug/buildinfo"
	"debug/elf"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The same source in another folder gives the same bytes.
func TestSameBytesTwice(t *testing.T) {
	one := release(t, first)
	tree, err := snapshot()
	if err != nil {
		t.Fatal(err)
	}
	elsewhere := filepath.Join(t.TempDir(), "a longer name")
	run(t, "", nil, "cp", "-r", tree, elsewhere)
	two, err := dist(elsewhere, first, "amd64 arm64 armv7")
	if err != nil {
		t.Fatal(err)
	}
	a, b := read(t, filepath.Join(one, "SHA256SUMS")), read(t, filepath.Join(two, "SHA256SUMS"))
	if a != b {
		t.Errorf("one\n%s\nother\n%s", a, b)
	}
	if n := strings.Count(a, "\n"); n != 6 {
		t.Errorf("%d files have a sum, want an archive and a package for each of 3 kinds:\n%s", n, a)
	}
	run(t, one, nil, "sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS")
}

// Programs are static, of the right kind, and carry their version.
func TestPrograms(t *testing.T) {
	dir := release(t, first)
	for kind, machine := range map[string]elf.Machine{"amd64": elf.EM_X86_64, "arm64": elf.EM_AARCH64, "armv7": elf.EM_ARM} {
		t.Run(kind, func(t *testing.T) {
			name := "tallyhood-" + first + "-linux-" + kind
			out := t.TempDir()
			run(t, "", nil, "tar", "-xzf", filepath.Join(dir, name+".tar.gz"), "-C", out)
			deb := t.TempDir()
			run(t, "", nil, "dpkg-deb", "-x", debOf(dir, first, kind), deb)
			program := filepath.Join(out, name, "tallyhood")
			if read(t, program) != read(t, filepath.Join(deb, "usr/bin/tallyhood")) {
				t.Error("archive and package hold different programs")
			}
			f, err := elf.Open(program)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			if f.Machine != machine {
				t.Errorf("it is for %v", f.Machine)
			}
			for _, p := range f.Progs {
				if p.Type == elf.PT_INTERP || p.Type == elf.PT_DYNAMIC {
					t.Errorf("it has a segment %v: not static", p.Type)
				}
			}
			info, err := buildinfo.ReadFile(program)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range info.Settings {
				if s.Key == "GOARM" && s.Value != "7" {
					t.Errorf("GOARM is %s", s.Value)
				}
				if s.Key == "-tags" {
					t.Errorf("built with the tags %s", s.Value)
				}
			}
			if kind == here() {
				if got := run(t, "", nil, program, "version"); got != first+"\n" {
					t.Errorf("it says version %q", got)
				}
			}
			for _, want := range []string{"LICENSE", "README.md", "licences.gz", "man1/tallyhood.1.gz", "man5/tallyhood.toml.5.gz", "completions/_tallyhood"} {
				if _, err := os.Stat(filepath.Join(out, name, want)); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

// Versions grow as dpkg compares them: before a tag, at it, after it, next tag.
func TestVersions(t *testing.T) {
	need(t, "git", "dpkg")
	tree, err := snapshot()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	run(t, tree, nil, "cp", "-r", ".ci", "cmd", "CHANGELOG.md", dir)
	git := func(args ...string) {
		t.Helper()
		who := []string{"-c", "user.name=test", "-c", "user.email=test@localhost", "-c", "commit.gpgsign=false"}
		run(t, dir, []string{"GIT_CONFIG_GLOBAL=/dev/null"}, "git", append(who, args...)...)
	}
	var versions []string
	say := func() {
		v := strings.TrimSpace(run(t, dir, nil, ".ci/dist", "--version"))
		versions = append(versions, strings.ReplaceAll(v, "-", "~"))
	}
	git("init", "-q")
	git("commit", "-q", "--allow-empty", "-m", "one")
	say()
	git("tag", "v1.2.0")
	say()
	git("commit", "-q", "--allow-empty", "-m", "two")
	say()
	git("tag", "v1.2.1")
	say()
	if versions[1] != "1.2.0" || !strings.HasPrefix(versions[2], "1.2.0+1.g") || versions[3] != "1.2.1" {
		t.Errorf("versions %q", versions)
	}
	for i := range versions[1:] {
		if _, err := output("", nil, "dpkg", "--compare-versions", versions[i], "lt", versions[i+1]); err != nil {
			t.Errorf("%s does not come before %s", versions[i], versions[i+1])
		}
	}
}

// What lies where, whose it is, and who may write it.
func TestContents(t *testing.T) {
	dir := release(t, first)
	const file, program, directory = "-rw-r--r--", "-rwxr-xr-x", "drwxr-xr-x"
	want := map[string]string{
		"./etc/tallyhood/tallyhood.toml":                       file,
		"./usr/bin/tallyhood":                                  program,
		"./usr/lib/systemd/system/tallyhood.service":           file,
		"./usr/lib/udev/rules.d/60-tallyhood.rules":            file,
		"./usr/share/bash-completion/completions/tallyhood":    file,
		"./usr/share/zsh/vendor-completions/_tallyhood":        file,
		"./usr/share/fish/vendor_completions.d/tallyhood.fish": file,
		"./usr/share/doc/tallyhood/README.md":                  file,
		"./usr/share/doc/tallyhood/changelog.gz":               file,
		"./usr/share/doc/tallyhood/copyright":                  file,
		"./usr/share/doc/tallyhood/licences.gz":                file,
		"./usr/share/doc/tallyhood/examples/tallyhood.avahi":   file,
		"./usr/share/man/man5/tallyhood.toml.5.gz":             file,
		"./usr/share/man/man1/tallyhood.1.gz":                  file,
		"./usr/share/man/man1/tallyhood-serve.1.gz":            file,
		"./usr/share/man/man1/tallyhood-records-verify.1.gz":   file,
	}
	for kind, deb := range boards {
		t.Run(kind, func(t *testing.T) {
			path := debOf(dir, first, kind)
			seen := map[string]bool{}
			for line := range strings.Lines(run(t, "", nil, "dpkg-deb", "-c", path)) {
				f := strings.Fields(line)
				mode, owner, name := f[0], f[1], f[5]
				if owner != "root/root" {
					t.Errorf("%s belongs to %s", name, owner)
				}
				switch {
				case strings.HasSuffix(name, "/"):
					if mode != directory {
						t.Errorf("%s has the mode %s", name, mode)
					}
				case strings.HasPrefix(name, "./usr/share/man/man1/tallyhood-") && want[name] == "":
					if mode != file {
						t.Errorf("%s has the mode %s", name, mode)
					}
				case want[name] != mode:
					t.Errorf("%s has the mode %s, want %q", name, mode, want[name])
				}
				seen[name] = true
			}
			for name := range want {
				if !seen[name] {
					t.Errorf("%s is missing", name)
				}
			}
			for name := range seen { // nothing is announced while the pages are for this box alone
				if strings.Contains(name, "etc/avahi") {
					t.Errorf("%s is there", name)
				}
			}
			for field, value := range map[string]string{
				"Package": "tallyhood", "Version": first, "Architecture": deb, "Depends": "passwd",
				"Recommends": "alsa-utils, espeak-ng", "Suggests": "avahi-daemon",
			} {
				if got := strings.TrimSpace(run(t, "", nil, "dpkg-deb", "-f", path, field)); got != value {
					t.Errorf("%s is %q, want %q", field, got, value)
				}
			}
		})
	}
}

// The control files: configuration, sums and scripts.
func TestControl(t *testing.T) {
	path := debOf(release(t, first), first, here())
	control, files := t.TempDir(), unpacked(t)
	run(t, "", nil, "dpkg-deb", "-e", path, control)
	if got := read(t, filepath.Join(control, "conffiles")); strings.TrimSpace(got) != "/etc/tallyhood/tallyhood.toml" {
		t.Errorf("configuration files: %q", got)
	}
	run(t, files, nil, "md5sum", "--check", "--strict", "--quiet", filepath.Join(control, "md5sums"))
	for _, script := range []string{"postinst", "prerm", "postrm"} {
		text := read(t, filepath.Join(control, script))
		if !strings.HasPrefix(text, "#!/bin/sh\n") || !strings.Contains(text, "\nset -e\n") {
			t.Errorf("%s is no sh script that ends at the first failure", script)
		}
		run(t, "", nil, "sh", "-n", filepath.Join(control, script))
		info, err := os.Stat(filepath.Join(control, script))
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm() != 0o755 {
			t.Errorf("%s has the mode %v", script, info.Mode())
		}
	}
	changes := run(t, "", nil, "gzip", "-dc", filepath.Join(files, "usr/share/doc/tallyhood/changelog.gz"))
	if !strings.HasPrefix(changes, "tallyhood ("+first+") ") {
		t.Errorf("the changelog begins %.60q", changes)
	}
	licences := run(t, "", nil, "gzip", "-dc", filepath.Join(files, "usr/share/doc/tallyhood/licences.gz"))
	var linked []string
	info, err := buildinfo.ReadFile(filepath.Join(files, "usr/bin/tallyhood"))
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range info.Deps {
		linked = append(linked, m.Path+" "+m.Version)
	}
	if len(linked) == 0 {
		t.Error("the program names no module that it holds")
	}
	for _, m := range slices.Sorted(slices.Values(linked)) {
		if !strings.Contains(licences, "==== "+m+" ====\n") {
			t.Errorf("the licence of %s is missing", m)
		}
	}
}
