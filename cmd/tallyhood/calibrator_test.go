// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"tallyhood/console/session"
	"tallyhood/device"
	"tallyhood/device/bulb"
	"tallyhood/device/bulb/bulbsim"
	"tallyhood/device/clock"
)

type noSink struct{}

func (noSink) Edge(device.Line, time.Duration, bool) {}
func (noSink) Lost(time.Duration, string)            {}
func (noSink) Changed()                              {}

// onBulb is a calibrator with its sensor on a simulated bulb, watched until the
// function ends. It must be in a bubble.
func onBulb(t *testing.T, file string, do func(c calibrator, b *bulbsim.Wire)) {
	t.Helper()
	clk := clock.New(1)
	b := bulbsim.NewWire(clk.Now, 4)
	s, err := bulb.New(bulb.Options{
		Sensor: "hsc:005PD-A", File: file, Clock: clk, Log: slog.New(slog.DiscardHandler), OpenBus: b.Open,
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var done sync.WaitGroup
	done.Go(func() { s.Watch(ctx, noSink{}) })
	time.Sleep(10 * time.Millisecond)
	do(calibrator{s}, b)
	cancel()
	done.Wait()
}

func TestCalibratorOfASimulatedBulb(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bulb.json")
	synctest.Test(t, func(t *testing.T) {
		onBulb(t, file, func(c calibrator, b *bulbsim.Wire) {
			if k := c.Bulb(); k != (session.Bulb{}) {
				t.Errorf("known before: %+v", k)
			}
			var said []session.BulbStep
			b.Squeeze(10, 3*time.Second, 1)
			got, err := c.Calibrate(t.Context(), "2026-09-14T09:00:00Z", func(s session.BulbStep) { said = append(said, s) })
			if err != nil || got != (session.Bulb{Known: true, When: "2026-09-14T09:00:00Z"}) {
				t.Fatalf("%+v, %v", got, err)
			}
			if len(said) < 11 || said[0] != (session.BulbStep{Of: 10}) || said[1] != (session.BulbStep{Squeeze: true, Of: 10}) {
				t.Fatalf("said %+v", said)
			}
			for i, s := range said[2:11] {
				if s != (session.BulbStep{Squeeze: true, Done: i + 1, Of: 10}) {
					t.Errorf("step %d is %+v", i+1, s)
				}
			}
		})
		// The next start knows it, and when it was. A refusal leaves it.
		onBulb(t, file, func(c calibrator, b *bulbsim.Wire) {
			before := session.Bulb{Known: true, When: "2026-09-14T09:00:00Z"}
			if k := c.Bulb(); k != before {
				t.Errorf("kept %+v", k)
			}
			time.AfterFunc(6*time.Second, b.Cut)
			b.Squeeze(10, 3*time.Second, 1)
			got, err := c.Calibrate(t.Context(), "2026-09-15T09:00:00Z", func(session.BulbStep) {})
			if err == nil || !strings.Contains(err.Error(), "does not answer") || got.Known {
				t.Errorf("the sensor was unplugged: %+v, %v", got, err)
			}
			if k := c.Bulb(); k != before {
				t.Errorf("after a refusal: %+v", k)
			}
		})
		// Ten equally shallow squeezes are taken for flat ones: only the person at
		// the bulb and the air of before can tell.
		onBulb(t, file, func(c calibrator, b *bulbsim.Wire) {
			b.Squeeze(10, 3*time.Second, 0.6)
			got, err := c.Calibrate(t.Context(), "", func(session.BulbStep) {})
			if err != nil || !got.Known || got.When != "" || got.OfBefore < 50 || got.OfBefore > 70 {
				t.Errorf("shallow ones: %+v, %v; want 60 %% of the air", got, err)
			}
		})
	})
}

// What cannot be kept is in use all the same, and the error comes with it.
func TestCalibratorThatCannotKeep(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "gone")
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		onBulb(t, filepath.Join(folder, "bulb.json"), func(c calibrator, b *bulbsim.Wire) {
			if err := os.Remove(folder); err != nil {
				t.Fatal(err)
			}
			b.Squeeze(10, 3*time.Second, 1)
			got, err := c.Calibrate(t.Context(), "2026-09-14T09:00:00Z", func(session.BulbStep) {})
			if !errors.Is(err, fs.ErrNotExist) || !got.Known || c.Bulb() != got {
				t.Errorf("%+v, %v", got, err)
			}
		})
	})
}

func TestABoardWithoutABulbSensorHasNoCalibrator(t *testing.T) {
	if c := (&parts{}).calibrator(); c != nil {
		t.Errorf("%v", c)
	}
}
