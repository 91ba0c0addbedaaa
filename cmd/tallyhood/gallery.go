// SPDX-License-Identifier: Apache-2.0

package main

import (
	"math/rand/v2"
	"time"

	"tallyhood/console/relay"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
)

// boards are the names of the other boxes that the Gallery shows.
func (p *parts) boards() []string {
	var out []string
	for _, b := range p.conf.places() {
		out = append(out, b.Name)
	}
	return out
}

// relay watches the other boxes.
func (p *parts) relay(real *clock.Clock, publish func(wire.Board)) *relay.Relay {
	return &relay.Relay{
		Places: p.conf.places(), Publish: publish, Now: real.Now, Wall: clock.Moment, Chance: rand.Float64, Log: p.log,
		Tick: func(d time.Duration) (<-chan struct{}, func()) { return real.Wake(real.Now() + d) },
	}
}
