// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"sync"
	"time"

	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/device/contact"
	"tallyhood/device/gpio"
	"tallyhood/tests/kernel/rpc"
)

func init() { tasks["count"] = count }

// counted is what one reader made of the presses.
type counted struct {
	Reader   string        `json:"reader"`
	Pressed  []int         `json:"pressed"` // on each contact
	Doubtful int           `json:"doubtful"`
	Chatters int           `json:"chatters"` // times the contact was called worse than the contract
	Edges    int           `json:"edges"`    // changes of level
	Repeated int           `json:"repeated"` // levels that the line had already
	Lost     []string      `json:"lost"`
	Lag      time.Duration `json:"lag"`       // from an edge's instant to its coming here, median
	LagWorst time.Duration `json:"lag_worst"` //
	Starved  time.Duration `json:"starved"`   // longest time in which the guest did not run
	Counts   gpio.Counts   `json:"counts"`    // as the daemon has it
}

// count watches lines as squeezes. It emits "ready" once all have told their
// first level; then, each time the host says anything, what each reader has
// counted since it last did, for which the contacts have to be at rest. It ends
// when the host goes away.
func count(c *rpc.Conn, args json.RawMessage) error {
	var a []struct {
		Reader string
		Lines  []int
	}
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	clk := clock.New(1)
	ctx, cancel := context.WithCancel(context.Background())
	var watching sync.WaitGroup
	defer watching.Wait()
	defer cancel()
	var counters []*counter
	for _, r := range a {
		src := newReader(r.Reader, r.Lines, clk)
		k := &counter{clk: clk, src: src, contacts: map[device.Line]*watched{}, ready: make(chan bool, 1)}
		for _, l := range src.Lines() {
			k.contacts[l] = &watched{filter: contact.NewSingle(contact.SqueezeGrade, true)}
		}
		k.got.Reader = r.Reader
		counters = append(counters, k)
		watching.Go(func() { src.Watch(ctx, k) })
		select {
		case <-k.ready:
		case <-time.After(10 * time.Second):
			return fmt.Errorf("%s does not tell the levels of its lines: %+v", r.Reader, src.Report())
		}
	}
	asked := make(chan bool)
	go func() {
		defer close(asked)
		for {
			var any json.RawMessage
			if c.Told(&any) != nil {
				return
			}
			asked <- true
		}
	}()
	if err := c.Emit("ready"); err != nil {
		return err
	}
	starved, before := time.Duration(0), mono()
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			now := mono()
			starved, before = max(starved, now-before-tickEvery), now
			for _, k := range counters {
				k.advance()
			}
		case _, ok := <-asked:
			if !ok {
				return nil
			}
			for _, k := range counters {
				k.advance()
				if err := c.Emit(k.take(starved)); err != nil {
					return err
				}
			}
			starved, before = 0, mono()
		}
	}
}

const tickEvery = 5 * time.Millisecond

// A counter feeds a contact filter for each line as the daemon's loop does: in
// the order of instants, advancing a little behind the present.
type counter struct {
	clk   *clock.Clock
	src   device.Source
	ready chan bool

	mu       sync.Mutex
	contacts map[device.Line]*watched
	known    int // contacts that have had a first level
	at       time.Duration
	lags     []time.Duration
	got      counted
}

type watched struct {
	filter        *contact.Single
	known, closed bool
}

// grace is how long the daemon's loop waits for an edge that is on its way.
const grace = 2 * time.Millisecond

func (k *counter) advance() {
	before := k.clk.Now()
	k.src.Flush()
	k.mu.Lock()
	defer k.mu.Unlock()
	k.at = max(k.at, before-grace)
	for _, c := range k.contacts {
		c.filter.Advance(k.at)
	}
}

func (k *counter) Edge(l device.Line, at time.Duration, closed bool) {
	lag := k.clk.Now() - at
	k.mu.Lock()
	defer k.mu.Unlock()
	c := k.contacts[l]
	switch {
	case !c.known:
		c.known = true
		if k.known++; k.known == len(k.contacts) {
			k.ready <- true
		}
	case c.closed == closed:
		k.got.Repeated++
	default:
		k.got.Edges++
		k.lags = append(k.lags, lag)
	}
	if c.closed != closed {
		c.closed = closed
		k.at = max(k.at, at)
		c.filter.Edge(k.at, closed)
	}
}

func (k *counter) Lost(at time.Duration, reason string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.got.Lost = append(k.got.Lost, fmt.Sprintf("%v: %s", at, reason))
}

func (k *counter) Changed() {}

// take gives what was counted since it was last called.
func (k *counter) take(starved time.Duration) counted {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.got.Counts = gpio.Counts{}
	for l, c := range k.contacts {
		pressed := 0
		for _, e := range c.filter.Take() {
			switch e.Kind {
			case contact.Pressed:
				pressed++
			case contact.Doubtful:
				k.got.Doubtful++
			case contact.Chatters:
				k.got.Chatters++
			}
		}
		k.got.Pressed = append(k.got.Pressed, pressed)
		if s, ok := k.src.(*gpio.Source); ok {
			n := s.Counts(l)
			k.got.Counts.Edges += n.Edges
			k.got.Counts.Merged += n.Merged
			k.got.Counts.Missed += n.Missed
			k.got.Counts.Lost += n.Lost
		}
	}
	slices.Sort(k.lags)
	if n := len(k.lags); n > 0 {
		k.got.Lag, k.got.LagWorst = k.lags[n/2], k.lags[n-1]
	}
	k.got.Starved = starved
	got := k.got
	k.got, k.lags = counted{Reader: got.Reader}, nil
	return got
}

// newReader opens one of the daemon's readers of edges on lines of the chip.
// Low is closed. Which contacts they are named does not matter: each is counted
// as squeezes.
func newReader(kind string, lines []int, clk *clock.Clock) device.Source {
	o := gpio.Options{Clock: clk, Log: slog.New(slog.NewTextHandler(os.Stdout, nil)), Edges: kind}
	for i, l := range lines {
		o.Contacts = append(o.Contacts, gpio.Contact{Line: device.Lines()[i], Place: gpio.Place{Chip: chipLabel, Offset: l}, Pull: gpio.PullUp, ActiveLow: true})
	}
	return gpio.New(o)
}
