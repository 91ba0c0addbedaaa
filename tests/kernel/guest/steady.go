// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"sync/atomic"
	"time"

	"tallyhood/tests/kernel/rpc"
)

func init() { tasks["steady"] = steady }

// gaps watches whether the machine runs: it keeps the longest time in which
// nothing ran here.
type gaps struct {
	worst atomic.Int64
	stop  chan bool
}

func watchGaps() *gaps {
	const every = 10 * time.Millisecond
	g := &gaps{stop: make(chan bool)}
	go func() {
		tick := time.NewTicker(every)
		defer tick.Stop()
		for before := mono(); ; {
			select {
			case <-tick.C:
			case <-g.stop:
				return
			}
			now := mono()
			if gap := int64(now - before - every); gap > g.worst.Load() {
				g.worst.Store(gap)
			}
			before = now
		}
	}()
	return g
}

// take gives the longest gap since it was last called.
func (g *gaps) take() time.Duration { return time.Duration(g.worst.Swap(0)) }

// steady emits the longest gap each time the host says anything.
func steady(c *rpc.Conn, _ json.RawMessage) error {
	g := watchGaps()
	defer close(g.stop)
	for {
		var any json.RawMessage
		if c.Told(&any) != nil {
			return nil
		}
		if err := c.Emit(g.take()); err != nil {
			return err
		}
	}
}
