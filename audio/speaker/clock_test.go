// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"math"
	"sync"
	"time"
)

// A handClock goes on only when a test moves it.
type handClock struct {
	mu      sync.Mutex
	cond    *sync.Cond // a waiter came
	now     time.Duration
	waiters map[chan struct{}]time.Duration
}

func newHandClock(now time.Duration) *handClock {
	c := &handClock{now: now, waiters: map[chan struct{}]time.Duration{}}
	c.cond = sync.NewCond(&c.mu)
	return c
}

func (c *handClock) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *handClock) Wake(at time.Duration) (<-chan struct{}, func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	wake := make(chan struct{})
	if at <= c.now {
		close(wake)
		return wake, func() {}
	}
	c.waiters[wake] = at
	c.cond.Broadcast()
	return wake, func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.waiters, wake)
	}
}

// set moves the clock and wakes those whose instant has come.
func (c *handClock) set(now time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = now
	for wake, at := range c.waiters {
		if at <= now {
			close(wake)
			delete(c.waiters, wake)
		}
	}
}

func (c *handClock) add(d time.Duration) { c.set(c.Now() + d) }

// next is the earliest instant that somebody waits for.
func (c *handClock) next() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	first := time.Duration(math.MaxInt64)
	for _, at := range c.waiters {
		first = min(first, at)
	}
	return first
}

// await returns when somebody waits for an instant from earliest to latest.
func (c *handClock) await(earliest, latest time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for {
		for _, at := range c.waiters {
			if at >= earliest && at <= latest {
				return
			}
		}
		c.cond.Wait()
	}
}
