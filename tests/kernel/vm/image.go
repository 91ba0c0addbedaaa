// SPDX-License-Identifier: Apache-2.0

// Package vm starts a small arm64 machine in QEMU, emulated in software so
// that it behaves alike everywhere: Debian's kernel, an initramfs made here, a
// GPIO controller whose lines the test moves from outside, a network that
// reaches the machine on the loopback alone, and a disk that survives a power
// cut. It must not know what runs inside, and never uses hardware
// virtualisation.
package vm

import (
	"bufio"
	"bytes"
	"debug/elf"
	"fmt"
	"io"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// An Image collects the files of an initramfs. Guest paths have no slash in
// front.
type Image struct {
	files   map[string]string // guest path: host file
	texts   map[string][]byte
	modules []string // in the order of loading
}

// ModuleList is the guest's file that names the modules in their order.
const ModuleList = "modules/list"

// NewImage begins an empty one.
func NewImage() *Image { return &Image{files: map[string]string{}, texts: map[string][]byte{}} }

// Add takes a file of the host.
func (im *Image) Add(guest, host string) { im.files[strings.Trim(guest, "/")] = host }

// AddText takes a file's content.
func (im *Image) AddText(guest, text string) { im.texts[strings.Trim(guest, "/")] = []byte(text) }

// AddTree takes all files beneath a folder.
func (im *Image) AddTree(guest, host string) error {
	return filepath.WalkDir(host, func(p string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(host, p)
		if info, statErr := os.Stat(p); statErr == nil && info.Mode().IsRegular() {
			im.Add(path.Join(guest, filepath.ToSlash(rel)), p)
		}
		return err
	})
}

// AddProgram takes a program and the loader and libraries that it names, which
// lie in one folder of the host.
func (im *Image) AddProgram(guest, host, libs string) error {
	im.Add(guest, host)
	f, err := elf.Open(host)
	if err != nil {
		return err
	}
	defer f.Close()
	for _, p := range f.Progs {
		if p.Type == elf.PT_INTERP {
			b, err := io.ReadAll(p.Open())
			if err != nil {
				return err
			}
			loader := string(bytes.TrimRight(b, "\x00"))
			im.Add(loader, filepath.Join(libs, path.Base(loader)))
		}
	}
	needs, err := f.ImportedLibraries()
	if err != nil {
		return err
	}
	for _, l := range needs {
		if _, there := im.files["lib/"+l]; there || strings.HasPrefix(l, "ld-linux") {
			continue
		}
		if err := im.AddProgram("lib/"+l, filepath.Join(libs, l), libs); err != nil {
			return fmt.Errorf("library of %s: %w", host, err)
		}
	}
	return nil
}

// AddModules takes kernel modules from a folder with all that they depend on.
// The dependencies are read from each module's own section .modinfo.
func (im *Image) AddModules(folder string, names ...string) error {
	for _, n := range names {
		host := ""
		for _, file := range []string{n, strings.ReplaceAll(n, "_", "-"), strings.ReplaceAll(n, "-", "_")} {
			if p := filepath.Join(folder, file+".ko"); host == "" {
				if _, err := os.Stat(p); err == nil {
					host = p
				}
			}
		}
		if host == "" {
			return fmt.Errorf("kernel module %s is not in %s", n, folder)
		}
		guest := "modules/" + filepath.Base(host)
		if _, there := im.files[guest]; there {
			continue
		}
		im.files[guest] = host
		needs, err := dependencies(host)
		if err != nil {
			return err
		}
		if err := im.AddModules(folder, needs...); err != nil {
			return err
		}
		im.modules = append(im.modules, guest)
	}
	return nil
}

func dependencies(module string) ([]string, error) {
	f, err := elf.Open(module)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info := f.Section(".modinfo")
	if info == nil {
		return nil, fmt.Errorf("%s has no section .modinfo", module)
	}
	b, err := info.Data()
	if err != nil {
		return nil, err
	}
	for word := range strings.SplitSeq(string(b), "\x00") {
		if v, ok := strings.CutPrefix(word, "depends="); ok && v != "" {
			return strings.Split(v, ","), nil
		}
	}
	return nil, nil
}

// WriteFile writes the initramfs. It is not compressed: under emulation
// unpacking costs more than reading.
func (im *Image) WriteFile(name string) error {
	im.texts[ModuleList] = []byte(strings.Join(im.modules, "\n") + "\n")
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<20)
	err = im.write(&cpio{w: w})
	if err == nil {
		err = w.Flush()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}

func (im *Image) write(c *cpio) error {
	folders := map[string]bool{"dev": true, "proc": true, "sys": true, "run": true, "mnt": true, "tmp": true}
	names := map[string]bool{}
	for n := range im.files {
		names[n] = true
	}
	for n := range im.texts {
		names[n] = true
	}
	for n := range names {
		for d := path.Dir(n); d != "."; d = path.Dir(d) {
			folders[d] = true
		}
	}
	for _, d := range slices.Sorted(maps.Keys(folders)) {
		c.entry(d, 0o040755, 0, 0, nil)
	}
	c.entry("dev/console", 0o020600, 5, 1, nil) // so that /init has somewhere to write
	for _, n := range slices.Sorted(maps.Keys(names)) {
		b, ok := im.texts[n]
		if !ok {
			var err error
			if b, err = os.ReadFile(im.files[n]); err != nil {
				return err
			}
		}
		c.entry(n, 0o100755, 0, 0, b)
	}
	c.entry("TRAILER!!!", 0, 0, 0, nil)
	return c.err
}

// cpio writes the "newc" form of an archive (Linux, initramfs buffer format).
type cpio struct {
	w     io.Writer
	n     int64
	inode int
	err   error
}

func (c *cpio) entry(name string, mode, major, minor int, data []byte) {
	c.inode++
	c.put(fmt.Appendf(nil, "070701%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%s\x00",
		c.inode, mode, 0, 0, 1, 0, len(data), 0, 0, major, minor, len(name)+1, 0, name))
	c.pad()
	c.put(data)
	c.pad()
}

func (c *cpio) put(b []byte) {
	if c.err == nil {
		var n int
		n, c.err = c.w.Write(b)
		c.n += int64(n)
	}
}

func (c *cpio) pad() { c.put(make([]byte, (4-c.n%4)%4)) }
