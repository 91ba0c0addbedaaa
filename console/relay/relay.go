// SPDX-License-Identifier: Apache-2.0

// Package relay watches other boxes: it joins the live socket of each as a
// trainer's page does and hands on what it hears, so that one Gallery shows a
// whole classroom. It must not drive anything there, nor hand on a name.
package relay

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"strings"
	"sync"
	"time"

	"tallyhood/console/hub"
	"tallyhood/console/wire"
)

// Times of a line. Boxes send four snapshots a second.
const (
	silentFor   = 8 * time.Second // then the line is given up
	sayEvery    = time.Second     // how often the age of a board that says nothing is told
	firstWait   = 250 * time.Millisecond
	longestWait = 5 * time.Second
)

// A Place is another box.
type Place struct {
	Name    string
	Address string // HOST:PORT
}

// Most boxes that one relay watches.
const Most = 40

// Check says what is wrong with a list of places, in words. An address is one
// of this machine or of a private network, as a number: no name is looked up,
// and nothing beyond the own network is asked.
func Check(places []Place) error {
	var errs []error
	if len(places) > Most {
		errs = append(errs, fmt.Errorf("there are %d boards; at most %d can be watched", len(places), Most))
	}
	names := map[string]bool{}
	for i, p := range places {
		at := fmt.Sprintf("board %d", i+1)
		switch {
		case strings.TrimSpace(p.Name) == "" || len(p.Name) > 60:
			errs = append(errs, fmt.Errorf("%s: its name is missing or longer than 60 letters; give it a short one", at))
		case names[p.Name]:
			errs = append(errs, fmt.Errorf("%s: the name %q is taken; give each its own", at, p.Name))
		}
		names[p.Name] = true
		if !own(p.Address) {
			errs = append(errs, fmt.Errorf("%s: the address %q is not one of this machine or the own network; write it as numbers with a port, such as 127.0.0.1:8081", at, p.Address))
		}
	}
	return errors.Join(errs...)
}

func own(address string) bool {
	host, port, err := net.SplitHostPort(address)
	if err != nil || port == "" {
		return false
	}
	if host == "localhost" {
		_, err := netip.ParseAddrPort("127.0.0.1:" + port)
		return err == nil
	}
	a, err := netip.ParseAddrPort(address)
	if err != nil || a.Port() == 0 {
		return false
	}
	ip := a.Addr().Unmap()
	return ip.IsLoopback() || ip.IsPrivate() || ip.IsLinkLocalUnicast()
}

// A Relay watches boxes. Publish is called from several goroutines.
type Relay struct {
	Places  []Place
	Publish func(wire.Board)
	Now     func() time.Duration                            // real time that never jumps
	Wall    func() time.Time                                // that deadlines of the network are set by
	Tick    func(d time.Duration) (<-chan struct{}, func()) // receives once after a stretch of real time
	Chance  func() float64                                  // in [0, 1), so that not all come back at once
	Log     *slog.Logger
}

// Run watches until ctx ends.
func (r *Relay) Run(ctx context.Context) {
	var all sync.WaitGroup
	for _, p := range r.Places {
		b := &board{relay: r, place: p, state: wire.BoardLost}
		all.Go(func() { b.watch(ctx) })
		all.Go(func() { b.tell(ctx) })
	}
	all.Wait()
}

// A board is one place and what is known of it.
type board struct {
	relay *Relay
	place Place

	mu    sync.Mutex
	state wire.BoardState
	last  *wire.Snapshot
	heard time.Duration // when last came
	told  time.Duration // when it was published
}

// publish tells how it stands; snap may be nil for nothing new.
func (b *board) publish(state wire.BoardState, snap *wire.Snapshot) {
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.relay.Now()
	if snap != nil {
		b.last, b.heard = snap, now
	}
	b.state, b.told = state, now
	m := wire.Board{Type: "board", Name: b.place.Name, State: state, AgeMS: -1, Snapshot: b.last}
	if b.last != nil {
		m.AgeMS = (now - b.heard).Milliseconds()
	}
	b.relay.Publish(m)
}

// tell says once a second how old a board is that is silent itself.
func (b *board) tell(ctx context.Context) {
	for {
		tick, stop := b.relay.Tick(sayEvery)
		select {
		case <-ctx.Done():
			stop()
			return
		case <-tick:
		}
		b.mu.Lock()
		state, quiet := b.state, b.relay.Now()-b.told >= sayEvery*3/4
		b.mu.Unlock()
		if quiet {
			b.publish(state, nil)
		}
	}
}

// watch keeps the line up, with growing waits between attempts.
func (b *board) watch(ctx context.Context) {
	for attempt := 0; ctx.Err() == nil; attempt++ {
		got, err := b.hear(ctx)
		if ctx.Err() != nil {
			return
		}
		if got {
			attempt = 0
		}
		state := wire.BoardLost
		switch {
		case errors.Is(err, errOther):
			state = wire.BoardOther
		case errors.Is(err, hub.ErrRefused):
			state = wire.BoardRefused
		}
		b.relay.Log.Debug("board", "name", b.place.Name, "err", err)
		b.publish(state, nil)
		wait := min(firstWait<<min(attempt, 10), longestWait)
		wait += time.Duration(float64(wait) * b.relay.Chance() / 4)
		tick, stop := b.relay.Tick(wait)
		select {
		case <-ctx.Done():
			stop()
			return
		case <-tick:
		}
	}
}

var errOther = errors.New("a box of another version")

// hear connects and hands snapshots on until the line breaks; got says whether
// any came.
func (b *board) hear(ctx context.Context) (got bool, err error) {
	line, err := hub.Dial(ctx, b.place.Address, b.relay.Wall)
	if err != nil {
		return false, err
	}
	defer line.Close()
	defer context.AfterFunc(ctx, line.Close)()
	hello, err := json.Marshal(wire.Hello{Type: "hello", Role: wire.Trainer, Contract: wire.Contract})
	if err != nil {
		return false, err
	}
	if err := line.Say(hello); err != nil {
		return false, err
	}
	for {
		data, err := line.Hear(silentFor)
		if err != nil {
			return got, err
		}
		var kind struct {
			Type     string
			Contract int
		}
		if json.Unmarshal(data, &kind) != nil {
			return got, errOther
		}
		switch {
		case kind.Type == "welcome" && kind.Contract != wire.Contract:
			return got, errOther
		case kind.Type == "snapshot":
			snap, err := read(data)
			if err != nil {
				return got, err
			}
			got = true
			b.publish(wire.BoardLive, snap)
		}
	}
}

// read takes a snapshot that fits exactly. It is masked once more: what
// another box lets through is not this box's to pass on.
func read(data []byte) (*wire.Snapshot, error) {
	d := json.NewDecoder(strings.NewReader(string(data)))
	d.DisallowUnknownFields()
	var s wire.Snapshot
	if err := d.Decode(&s); err != nil {
		return nil, fmt.Errorf("%w: %w", errOther, err)
	}
	s = wire.ForRole(s, wire.Trainer)
	return &s, nil
}
