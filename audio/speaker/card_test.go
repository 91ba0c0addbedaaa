// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"errors"
	"math"
	"sync"
	"time"

	"tallyhood/audio"
)

// A card is a sound card with the program and the pipe before it, as the player
// sees them: a place for so many samples that the card empties at its own rate.
// Like ALSA it starts when its buffer is full, and after running dry it starts
// anew. It keeps what it played and when.
type card struct {
	clock  *handClock
	rate   float64 // samples a second by the clock
	buffer int     // samples that make it start
	holds  int     // samples in all that may be written and not yet played
	opens  time.Duration
	// page: the pipe before the card is one page of four blocks, as one of 4 KiB
	// is: when it is full it takes nothing before all of it has been read.
	page bool
	from int // first sample on the page

	mu      sync.Mutex
	written int
	heard   []int16
	spans   []span
	stuck   bool
	ended   chan struct{}
	done    bool
}

// A span is a stretch played without a break: sample first sounds at start.
type span struct {
	first int
	start float64 // seconds
	end   int     // math.MaxInt while it lasts
}

func newCard(c *handClock, ppm float64) *card {
	return &card{
		clock: c, rate: audio.Rate * (1 + ppm/1e6),
		buffer: 4 * block, holds: 9 * block, opens: c.Now(),
		ended: make(chan struct{}),
	}
}

// played brings the card up to date and gives the number of samples played.
// The caller holds mu.
func (c *card) played(now float64) int {
	if len(c.spans) == 0 {
		return 0
	}
	s := &c.spans[len(c.spans)-1]
	if s.end < math.MaxInt {
		return s.end
	}
	n := s.first + int((now-s.start)*c.rate)
	if n >= c.written {
		s.end = c.written // ran dry
		return c.written
	}
	return n
}

var errCardEnded = errors.New("the card has ended")

func (c *card) Write(b []byte) (int, error) {
	n := len(b) / 2
	for {
		c.mu.Lock()
		now := c.clock.Now().Seconds()
		played := c.played(now)
		room := c.holds - (c.written - played)
		if c.clock.Now() < c.opens {
			room = 4*block - c.written // the pipe alone
		}
		if c.page {
			read := 0
			if c.clock.Now() >= c.opens {
				read = min(c.written, played+c.buffer+block) // the program holds a block in its hands
			}
			if read >= c.written {
				c.from = c.written
			}
			if room = 4*block - (c.written - c.from); room < n {
				room = read - c.written + n - 1 // less than a block, until all is read
			}
		}
		if room >= n && !c.stuck && !c.done {
			for i := range n {
				c.heard = append(c.heard, int16(uint16(b[2*i])|uint16(b[2*i+1])<<8))
			}
			c.written += n
			running := len(c.spans) > 0 && c.spans[len(c.spans)-1].end == math.MaxInt
			if !running && c.written-played >= c.buffer && c.clock.Now() >= c.opens {
				c.spans = append(c.spans, span{played, now, math.MaxInt})
			}
			c.mu.Unlock()
			return len(b), nil
		}
		done, stuck := c.done, c.stuck
		c.mu.Unlock()
		if done {
			return 0, errCardEnded
		}
		again := c.clock.Now() + 2*time.Millisecond
		if !stuck {
			// When there will be room, or the card opens.
			again = max(again, c.opens, c.clock.Now()+time.Duration(float64(n-room)/c.rate*1e9)+1)
		}
		wake, stop := c.clock.Wake(again)
		select {
		case <-wake:
		case <-c.ended:
			stop()
		}
	}
}

func (c *card) Name() string           { return "card" }
func (c *card) Room(int) bool          { return true }
func (c *card) Ended() <-chan struct{} { return c.ended }
func (c *card) Why() string            { return "unplugged" }
func (c *card) Shut()                  { c.end() }
func (c *card) Kill()                  { c.end() }

func (c *card) end() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.done {
		c.done = true
		close(c.ended)
	}
}

func (c *card) setStuck(stuck bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stuck = stuck
}

// onsets gives the instants, in seconds, at which a sound began after silence
// of at least a block.
func (c *card) onsets() []float64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.played(c.clock.Now().Seconds())
	var all []float64
	silent := block
	for i, v := range c.heard {
		if v == 0 {
			silent++
			continue
		}
		if silent >= block {
			for _, s := range c.spans {
				if i >= s.first && i < s.end {
					all = append(all, s.start+float64(i-s.first)/c.rate)
				}
			}
		}
		silent = 0
	}
	return all
}

var _ sink = (*card)(nil)
