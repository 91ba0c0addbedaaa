// SPDX-License-Identifier: Apache-2.0

package deb

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A service is the daemon as the unit would start it, in a root without an
// init system; the test is its service manager.
type service struct {
	t      *testing.T
	cmd    *exec.Cmd
	said   strings.Builder
	notify *net.UnixConn
	addr   string
}

// ids are the numbers of the package's user and of its groups.
func ids(t *testing.T, root string) *syscall.Credential {
	t.Helper()
	numbers := func(flag string) []uint32 {
		var all []uint32
		for _, f := range strings.Fields(in(t, root, "id", flag, "tallyhood")) {
			n, err := strconv.ParseUint(f, 10, 32)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, uint32(n))
		}
		return all
	}
	return &syscall.Credential{Uid: numbers("-u")[0], Gid: numbers("-g")[0], Groups: numbers("-G")}
}

// start runs the unit's command and waits until it says that it is ready.
func start(t *testing.T, root string, more ...string) *service {
	t.Helper()
	unit := read(t, filepath.Join(root, "usr/lib/systemd/system/tallyhood.service"))
	setting := func(name string) string {
		m := regexp.MustCompile(`(?m)^` + name + `=(.*)$`).FindStringSubmatch(unit)
		if m == nil {
			t.Fatalf("the unit does not set %s", name)
		}
		return m[1]
	}
	if got := setting("Type"); got != "notify" {
		t.Fatalf("the unit is of type %s", got)
	}
	seconds, err := strconv.Atoi(setting("WatchdogSec"))
	if err != nil {
		t.Fatal(err)
	}
	command := append(strings.Fields(setting("ExecStart")), more...)
	s := &service{t: t}
	socket := filepath.Join(root, "run/notify")
	_ = os.Remove(socket)
	if s.notify, err = net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"}); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(socket, 0o666); err != nil {
		t.Fatal(err)
	}
	s.cmd = &exec.Cmd{
		Path: command[0], Args: command, Dir: "/",
		Env:    []string{"PATH=/usr/bin:/bin", "NOTIFY_SOCKET=/run/notify", fmt.Sprint("WATCHDOG_USEC=", seconds*1_000_000)},
		Stdout: &s.said, Stderr: &s.said,
		SysProcAttr: &syscall.SysProcAttr{Chroot: root, Credential: ids(t, root)},
	}
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.cmd.Process.Kill() })
	ready := s.hear("READY=1", time.Minute)
	m := regexp.MustCompile(`(?m)^STATUS=ready on (\S+)$`).FindStringSubmatch(ready)
	if m == nil {
		t.Fatalf("ready without an address: %q", ready)
	}
	s.addr = m[1]
	return s
}

// hear waits for a word and gives the message that it came in.
func (s *service) hear(word string, within time.Duration) string {
	s.t.Helper()
	if err := s.notify.SetReadDeadline(time.Now().Add(within)); err != nil {
		s.t.Fatal(err)
	}
	b := make([]byte, 4096)
	for {
		n, err := s.notify.Read(b)
		if err != nil {
			s.t.Fatalf("no %s within %v: %v\n%s", word, within, err, s.said.String())
		}
		for line := range strings.Lines(string(b[:n])) {
			if strings.TrimSpace(line) == word {
				return string(b[:n])
			}
		}
	}
}

func (s *service) get(path string) string {
	s.t.Helper()
	client := http.Client{Timeout: time.Minute}
	r, err := client.Get("http://" + s.addr + path)
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		s.t.Fatalf("%s: %s %v", path, r.Status, err)
	}
	return string(body)
}

// stop ends it in order, as systemd does.
func (s *service) stop() {
	s.t.Helper()
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		s.t.Fatal(err)
	}
	s.hear("STOPPING=1", time.Minute)
	if err := s.cmd.Wait(); err != nil {
		s.t.Fatalf("stopped with %v\n%s", err, s.said.String())
	}
	_ = s.notify.Close()
}

// record lets the demo make one whole record in the box's own store.
func record(t *testing.T, root string) {
	t.Helper()
	s := start(t, root, "--demo", "--speed", "100")
	for until := time.Now().Add(2 * time.Minute); ; time.Sleep(200 * time.Millisecond) {
		var runs []struct{ Run, Outcome string }
		if err := json.Unmarshal([]byte(s.get("/api/records")), &runs); err != nil {
			t.Fatal(err)
		}
		if len(runs) > 0 && runs[0].Outcome != "" {
			break
		}
		if time.Now().After(until) {
			t.Fatalf("no record:\n%s", s.said.String())
		}
	}
	s.stop()
}

const (
	storePath = "/var/lib/tallyhood/store"
	confPath  = "/etc/tallyhood/tallyhood.toml"
	wanted    = "/etc/systemd/system/multi-user.target.wants/tallyhood.service"
)

// A box's whole life without an init system: installed, run, upgraded, removed,
// purged, installed again. Records stay through all of it.
func TestLifeOfABox(t *testing.T) {
	release(t, second)
	root := debian(t)
	in(t, root, "dpkg", "--install", give(t, root, first))
	for path, want := range map[string]string{"/var/lib/tallyhood": "700 tallyhood tallyhood", confPath: "644 root root", "/usr/bin/tallyhood": "755 root root"} {
		if got := strings.TrimSpace(in(t, root, "stat", "-c", "%a %U %G", path)); got != want {
			t.Errorf("%s is %s, want %s", path, got, want)
		}
	}
	for _, group := range []string{"tallyhood", "gpio", "i2c", "audio"} {
		if !strings.Contains(" "+strings.TrimSpace(in(t, root, "id", "-Gn", "tallyhood"))+" ", " "+group+" ") {
			t.Errorf("the user is not in the group %s", group)
		}
	}
	if !exists(root, wanted) {
		t.Error("the unit is not enabled")
	}
	// The owner's choice of an address is kept over the upgrade.
	in(t, root, "sed", "-i", `s/^address = .*/address = "127.0.0.1:0"/`, confPath)
	conf := read(t, filepath.Join(root, confPath))

	record(t, root)
	s := start(t, root)
	if got := s.get("/healthz"); got != "ok\n" {
		t.Errorf("healthz says %q", got)
	}
	s.hear("WATCHDOG=1", time.Minute)
	s.hear("WATCHDOG=1", time.Minute)
	s.stop()

	list := in(t, root, "tallyhood", "records", "list", "--store", storePath)
	verified := in(t, root, "tallyhood", "records", "verify", "--store", storePath)
	if !regexp.MustCompile(`(?m)^r\d{6} `).MatchString(list) {
		t.Errorf("no record to keep:\n%s", list)
	}
	same := func(when string) {
		t.Helper()
		if got := in(t, root, "tallyhood", "records", "list", "--store", storePath); got != list {
			t.Errorf("%s the records are\n%s\nbefore\n%s", when, got, list)
		}
		if got := in(t, root, "tallyhood", "records", "verify", "--store", storePath); got != verified {
			t.Errorf("%s verify says\n%s\nbefore\n%s", when, got, verified)
		}
	}

	in(t, root, "dpkg", "--install", give(t, root, second))
	if got := in(t, root, "tallyhood", "version"); got != second+"\n" {
		t.Errorf("after the upgrade it is version %q", got)
	}
	if read(t, filepath.Join(root, confPath)) != conf {
		t.Error("the upgrade changed the configuration")
	}
	same("after the upgrade")
	s = start(t, root)
	if got := s.get("/healthz"); got != "ok\n" {
		t.Errorf("after the upgrade healthz says %q", got)
	}
	s.stop()
	same("after a start of the new program")

	before := read(t, filepath.Join(root, storePath))
	in(t, root, "dpkg", "--remove", "tallyhood")
	if exists(root, "/usr/bin/tallyhood") || !exists(root, confPath) {
		t.Error("remove takes the program and leaves the configuration")
	}
	if exists(root, "/usr/share/doc/tallyhood") || exists(root, "/usr/lib/systemd/system/tallyhood.service") {
		t.Error("remove left files of the package")
	}
	if read(t, filepath.Join(root, storePath)) != before {
		t.Error("remove changed the store")
	}
	said := in(t, root, "dpkg", "--purge", "tallyhood")
	if exists(root, "/etc/tallyhood") || exists(root, wanted) {
		t.Error("purge left the configuration")
	}
	if !strings.Contains(said, "records in /var/lib/tallyhood are kept") {
		t.Errorf("purge does not say that records are kept:\n%s", said)
	}
	if read(t, filepath.Join(root, storePath)) != before {
		t.Error("purge changed the store")
	}

	in(t, root, "dpkg", "--install", give(t, root, second))
	same("after a new installation")
	if got := strings.TrimSpace(in(t, root, "stat", "-c", "%U", storePath)); got != "tallyhood" {
		t.Errorf("after a new installation the store belongs to %s", got)
	}
}

// A box that never made a record is clean after purge.
func TestNothingLeft(t *testing.T) {
	release(t, first)
	root := debian(t)
	in(t, root, "dpkg", "--install", give(t, root, first))
	said := in(t, root, "dpkg", "--purge", "tallyhood")
	if strings.Contains(said, "are kept") {
		t.Errorf("nothing was made, yet purge says\n%s", said)
	}
	for _, path := range []string{"/var/lib/tallyhood", "/var/cache/tallyhood", "/etc/tallyhood", wanted} {
		if exists(root, path) {
			t.Errorf("%s is left", path)
		}
	}
	if left := in(t, root, "find", "/", "-xdev", "-path", "/proc", "-prune", "-o", "-name", "*tallyhood*", "-not", "-path", "/root/*", "-print"); strings.TrimSpace(left) != "" {
		t.Errorf("left:\n%s", left)
	}
}
