// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/health"
)

// boxHealth looks at supply, heat and storage from time to time.
type boxHealth struct {
	clk *clock.Clock

	mu    sync.Mutex
	box   *health.Box
	write time.Duration // median of a small durable write; 0: not measured
	seen  wire.Box
}

func newHealth(store string, clk *clock.Clock) *boxHealth {
	return &boxHealth{clk: clk, box: health.New(store), seen: wire.Box{StoreFile: store}}
}

// lookEvery is short enough that a dip of the supply in a run is noticed.
const lookEvery = 5 * time.Second

// tight is the free space in bytes below which storage is called short: a run
// takes some 100 kB.
const tight = 100 << 20

// watch looks again and again until ctx ends, and says in the log what became worse.
func (h *boxHealth) watch(ctx context.Context, log *slog.Logger) {
	took, err := h.box.WriteTime(h.clk.Now)
	if err != nil {
		log.Warn("storage", "err", err)
	}
	h.mu.Lock()
	h.write = h.clk.Real(took)
	h.mu.Unlock()
	said := map[string]string{}
	for {
		for _, p := range h.look() {
			if p.Reason != said[p.Name] && p.Reason != "" {
				log.Info("part", "name", p.Name, "state", p.State, "reason", p.Reason)
			}
			said[p.Name] = p.Reason
		}
		if h.clk.Sleep(ctx, h.clk.Now()+time.Duration(float64(lookEvery)*h.clk.Speed())) != nil {
			return
		}
	}
}

// look reads everything once and gives it as parts of the start-up report.
func (h *boxHealth) look() []device.Part {
	h.mu.Lock()
	defer h.mu.Unlock()
	w := &h.seen
	supply := h.box.Supply()
	w.Volts = string(supply)
	w.Heat = nil
	if d, ok := h.box.Heat(); ok {
		w.Heat, w.HeatHigh = &d, d >= health.Hot
	}
	if h.write > 0 {
		ms := float64(h.write.Microseconds()) / 1000
		w.WriteMS = &ms
	}
	var err error
	w.StoreFree, w.StoreOf, err = h.box.Room()
	return h.reckon(err)
}

func (h *boxHealth) reckon(room error) []device.Part {
	w := &h.seen
	power := device.Part{Name: "power supply", State: device.Loaded}
	switch health.Supply(w.Volts) {
	case health.Untold:
		power.State, power.Reason = device.Absent, "this board does not measure its supply"
	case health.Low:
		power.State, power.Reason = device.Failed, "the supply voltage is too low now"
	case health.WasLow:
		power.Reason = "the supply voltage was too low at some time"
	}
	heat := device.Part{Name: "temperature", State: device.Loaded}
	switch {
	case w.Heat == nil:
		heat.State, heat.Reason = device.Absent, "this board does not measure its temperature"
	case w.HeatHigh:
		heat.State, heat.Reason = device.Failed, fmt.Sprintf("the board is hot: %.0f degrees Celsius", *w.Heat)
	}
	store := device.Part{Name: "storage", State: device.Loaded}
	switch {
	case room != nil:
		store.State, store.Reason = device.Failed, room.Error()
	case w.StoreFree < tight:
		store.State, store.Reason = device.Failed, fmt.Sprintf("only %d MB are free", w.StoreFree/1e6)
	}
	return []device.Part{power, heat, store}
}

// parts are the newest findings without looking again.
func (h *boxHealth) parts() []device.Part {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.seen.StoreOf == 0 {
		return nil
	}
	return h.reckon(nil)
}

// report is the whole start-up report as it stands.
func (p *parts) report() []device.Part {
	all := append(p.board.Report(), p.sound.parts()...)
	all = append(all, device.Part{Name: "store", State: device.Loaded, Reason: p.path})
	return append(all, p.health.parts()...)
}

// box is the health of the box for the Inputs page.
func (p *parts) box() wire.Box {
	p.health.look()
	p.health.mu.Lock()
	w := p.health.seen
	p.health.mu.Unlock()
	w.TimeSource, w.Version, w.Practice, w.Parts = p.source(), version, p.practised, []wire.Part{}
	for _, q := range p.report() {
		line := wire.Part{Name: q.Name, State: string(q.State), Reason: q.Reason, Lines: []string{}}
		for _, l := range q.Lines {
			line.Lines = append(line.Lines, string(l))
		}
		w.Parts = append(w.Parts, line)
	}
	return w
}
