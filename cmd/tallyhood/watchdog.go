// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"tallyhood/device/clock"
)

// A watchdog tells systemd that the loop goes round. The loop only counts; the
// word is sent behind its back, and only when the count has gone on, so that
// nothing but the loop itself feeds it.
type watchdog struct {
	log   *slog.Logger
	every time.Duration // 0: nobody asks
	beats atomic.Uint64
}

func newWatchdog(log *slog.Logger) *watchdog {
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("watchdog", "err", err)
	}
	return &watchdog{log: log, every: every}
}

func (w *watchdog) beat() { w.beats.Add(1) }

func (w *watchdog) say(state string) {
	if _, err := daemon.SdNotify(false, state); err != nil {
		w.log.Warn("word to the service manager", "err", err)
	}
}

func (w *watchdog) ready(addr string) {
	w.say(daemon.SdNotifyReady + "\nSTATUS=ready on " + addr)
}

// locked says that the daemon is up, and that its records are not.
func (w *watchdog) locked(addr string) {
	w.say(daemon.SdNotifyReady + "\nSTATUS=records locked: they cannot be opened, see http://" + addr + "/")
}

func (w *watchdog) stopping() { w.say(daemon.SdNotifyStopping) }

// run feeds until ctx ends, three times in the time that systemd allows.
func (w *watchdog) run(ctx context.Context, clk *clock.Clock) {
	fed := uint64(0)
	w.feed(ctx, clk, func() bool {
		n := w.beats.Load()
		on := n != fed
		fed = n
		return on
	})
}

// still feeds as run does where there is no loop that could stand still.
func (w *watchdog) still(ctx context.Context, clk *clock.Clock) {
	w.feed(ctx, clk, func() bool { return true })
}

// feed feeds whenever it goes on.
func (w *watchdog) feed(ctx context.Context, clk *clock.Clock, on func() bool) {
	if w.every == 0 {
		return
	}
	for {
		if on() {
			w.say(daemon.SdNotifyWatchdog)
		}
		if clk.Sleep(ctx, clk.Now()+time.Duration(float64(w.every/3)*clk.Speed())) != nil {
			return
		}
	}
}
