// SPDX-License-Identifier: Apache-2.0

package deb

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// exposureLimit is the worst score of systemd-analyze security that is taken,
// of 10: what remains is the pages' socket and the devices.
const exposureLimit = 2.0

// The unit has no mistake that systemd finds by reading it.
func TestUnit(t *testing.T) {
	need(t, "systemd-analyze")
	root := unpacked(t)
	unit := filepath.Join(t.TempDir(), "tallyhood.service")
	text := read(t, filepath.Join(root, "usr/lib/systemd/system/tallyhood.service"))
	// The program is not installed here, so the copy names it where it lies.
	text = strings.Replace(text, "=/usr/bin/tallyhood ", "="+filepath.Join(root, "usr/bin/tallyhood")+" ", 1)
	check := func(text string) string {
		if err := os.WriteFile(unit, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		out, _ := exec.Command("systemd-analyze", "verify", "--man=no", unit).CombinedOutput()
		var about []string // other units of this machine are not ours to judge
		for line := range strings.Lines(string(out)) {
			if strings.Contains(line, "tallyhood") {
				about = append(about, line)
			}
		}
		return strings.Join(about, "")
	}
	if got := check(text); got != "" {
		t.Errorf("verify says\n%s", got)
	}
	if got := check(strings.Replace(text, "ProtectHome=", "ProtectHomes=", 1)); !strings.Contains(got, "ProtectHomes") {
		t.Errorf("verify does not find an unknown setting: %q", got)
	}
}

// probe runs inside the booted system. Each finding is a line NAME VALUE.
const probe = `#!/bin/bash
exec >/probe.out 2>&1
unit=tallyhood.service
show() { systemctl show --value --property "$1" $unit; }
say() { echo "$1" "${@:2}"; }
wait_for() { # seconds, then a command that must hold
	local end=$((SECONDS + $1))
	shift
	until "$@"; do
		[ $SECONDS -lt $end ] || { say timeout "$@"; return 1; }
		sleep 0.2
	done
}
is() { [ "$(show "$1")" = "$2" ]; }
differs() { [ -n "$(show "$1")" ] && [ "$(show "$1")" != "$2" ]; }
health() { # what the pages say
	exec 3<>/dev/tcp/127.0.0.1/8080 && printf 'GET /healthz HTTP/1.0\r\nHost: 127.0.0.1:8080\r\n\r\n' >&3 && tail -1 <&3
	exec 3>&-
}

wait_for 60 is ActiveState active
say status "$(show StatusText)"
say health "$(health)"
pid=$(show MainPID)
say user "$(stat -c %U /proc/$pid)"
say nonewprivs "$(sed -n 's/^NoNewPrivs:\t//p' /proc/$pid/status)"
say capabilities "$(sed -n 's/^CapBnd:\t//p' /proc/$pid/status)"
say seccomp "$(sed -n 's/^Seccomp:\t//p' /proc/$pid/status)"
say exposure "$(systemd-analyze security --no-pager $unit | sed -n 's/.*Overall exposure level for.*: \([0-9.]*\) .*/\1/p')"
say store "$(stat -c '%a %U' /var/lib/tallyhood/store)"

fed=$(show WatchdogTimestamp)
wait_for 60 differs WatchdogTimestamp "$fed"
say restarts_while_fed "$(show NRestarts)"

# A loop that hangs: the process stands still, so nothing feeds the watchdog.
kill -STOP $pid
wait_for 90 is NRestarts 1
wait_for 90 is ActiveState active
say pid_after_hang_differs "$([ "$(show MainPID)" != "$pid" ] && echo yes)"
say health_after_hang "$(health)"

dpkg --install /root/second.deb >/dev/null
wait_for 90 is ActiveState active
say version "$(/proc/$(show MainPID)/exe version)"
say health_after_upgrade "$(health)"

systemctl stop $unit
say result "$(show Result)"
systemctl start $unit
dpkg --remove tallyhood >/dev/null
say processes_after_remove "$(ls -l /proc/[0-9]*/exe 2>/dev/null | grep -c /tallyhood)"
say store_after_remove "$(stat -c '%U' /var/lib/tallyhood/store)"
say end
systemctl poweroff --no-block
`

const probeUnit = `[Unit]
After=tallyhood.service
[Service]
Type=oneshot
ExecStart=/probe
TimeoutStartSec=600
`

// A real init system starts the service, sees it hang and starts it again,
// upgrades it, and stops it before it is removed.
func TestUnderSystemd(t *testing.T) {
	need(t, "systemd-nspawn")
	release(t, first)
	release(t, second)
	root := debian(t)
	in(t, root, "dpkg", "--install", give(t, root, first))
	run(t, "", nil, "cp", debOf(release(t, second), second, here()), filepath.Join(root, "root/second.deb"))
	for path, text := range map[string]string{"probe": probe, "etc/systemd/system/probe.service": probeUnit} {
		if err := os.WriteFile(filepath.Join(root, path), []byte(text), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	in(t, root, "ln", "-s", "/etc/systemd/system/probe.service", "/etc/systemd/system/multi-user.target.wants/probe.service")
	in(t, root, "systemctl", "mask", "getty.target", "console-getty.service")

	machine := "tallyhood-test-" + strconv.Itoa(os.Getpid())
	t.Cleanup(func() { _ = os.Remove("/run/systemd/nspawn/propagate/" + machine) }) // an empty folder, left behind
	ctx, cancel := context.WithTimeout(t.Context(), 12*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, "systemd-nspawn", "--quiet", "--boot", "--directory", root, "--register=no", "--keep-unit",
		"--private-network", "--console=pipe", "--machine="+machine)
	console, err := c.CombinedOutput()
	b, _ := os.ReadFile(filepath.Join(root, "probe.out"))
	if len(b) == 0 && !strings.Contains(string(console), "systemd 2") {
		t.Skipf("not on this machine: a container with an init system (%v): %s", err, console)
	}
	found := map[string]string{}
	for line := range strings.Lines(string(b)) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), " ")
		found[name] = value
	}
	if _, ok := found["end"]; !ok {
		t.Fatalf("the probe did not end (%v):\n%s\n%s", err, b, console)
	}
	for name, want := range map[string]string{
		"status": "ready on 127.0.0.1:8080", "health": "ok", "user": "tallyhood", "nonewprivs": "1",
		"capabilities": "0000000000000000", "seccomp": "2", "store": "600 tallyhood", "restarts_while_fed": "0",
		"pid_after_hang_differs": "yes", "health_after_hang": "ok", "version": second, "health_after_upgrade": "ok",
		"result": "success", "processes_after_remove": "0", "store_after_remove": "tallyhood",
	} {
		if found[name] != want {
			t.Errorf("%s is %q, want %q", name, found[name], want)
		}
	}
	if what, ok := found["timeout"]; ok {
		t.Errorf("waited in vain for: %s", what)
	}
	if !regexp.MustCompile(`^\d\.\d$`).MatchString(found["exposure"]) {
		t.Fatalf("exposure is %q", found["exposure"])
	}
	if score, err := strconv.ParseFloat(found["exposure"], 64); err != nil || score > exposureLimit {
		t.Errorf("exposure is %v, want at most %v", score, exposureLimit)
	}
	t.Logf("exposure by systemd-analyze security: %s", found["exposure"])
	if t.Failed() {
		t.Logf("probe:\n%s\nconsole:\n%s", b, console)
	}
}
