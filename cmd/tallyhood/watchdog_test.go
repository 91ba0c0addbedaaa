// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tallyhood/device/clock"
)

// The service manager's end of the socket.
func manager(t *testing.T) *net.UnixConn {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	t.Setenv("NOTIFY_SOCKET", path)
	return c
}

// hear gives what is said within a time; empty for nothing.
func hear(t *testing.T, c *net.UnixConn, within time.Duration) string {
	t.Helper()
	if err := c.SetReadDeadline(clock.Moment().Add(within)); err != nil {
		t.Fatal(err)
	}
	b := make([]byte, 4096)
	n, err := c.Read(b)
	if err != nil {
		return ""
	}
	return string(b[:n])
}

// Only beats of the loop feed the watchdog.
func TestWatchdogIsFedByTheLoopAlone(t *testing.T) {
	c := manager(t)
	t.Setenv("WATCHDOG_USEC", "60000")
	w := newWatchdog(slog.New(slog.DiscardHandler))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	go w.run(ctx, clock.New(1))
	if got := hear(t, c, 200*time.Millisecond); got != "" {
		t.Errorf("no beat, yet it says %q", got)
	}
	for range 5 {
		w.beat()
		if got := hear(t, c, time.Minute); got != "WATCHDOG=1" {
			t.Errorf("after a beat it says %q", got)
		}
	}
	if got := hear(t, c, 200*time.Millisecond); got != "" {
		t.Errorf("the beats have ended, yet it says %q", got)
	}
}

// The whole daemon: ready once it answers, fed while it runs, stopping at the end.
func TestServiceManagerHears(t *testing.T) {
	c := manager(t)
	t.Setenv("WATCHDOG_USEC", "10000000")
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, []string{"serve", "--addr", "127.0.0.1:0", "--sound", "off"}, io.Discard, io.Discard)
	}()
	said := ""
	for !strings.Contains(said, "READY=1") {
		got := hear(t, c, time.Minute)
		if got == "" {
			t.Fatalf("not ready; it said %q", said)
		}
		said += got + "\n"
	}
	if !strings.Contains(said, "STATUS=ready on 127.0.0.1:") {
		t.Errorf("said %q", said)
	}
	for !strings.Contains(said, "WATCHDOG=1") {
		got := hear(t, c, time.Minute)
		if got == "" {
			t.Fatalf("not fed; it said %q", said)
		}
		said += got + "\n"
	}
	cancel()
	if code := <-done; code != 0 {
		t.Errorf("exit code %d", code)
	}
	for !strings.Contains(said, "STOPPING=1") {
		got := hear(t, c, time.Minute)
		if got == "" {
			t.Fatalf("no word of stopping; it said %q", said)
		}
		said += got + "\n"
	}
}
