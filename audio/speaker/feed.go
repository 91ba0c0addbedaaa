// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"time"

	"tallyhood/audio"
	"tallyhood/audio/wav"
)

// A feeder writes blocks to a sink in a goroutine of its own, so that a sink
// that blocks can be left.
type feeder struct {
	out    sink
	blocks chan []byte
	wrote  chan error
}

func newFeeder(out sink) *feeder {
	f := &feeder{out: out, blocks: make(chan []byte), wrote: make(chan error, 1)}
	go func() {
		for b := range f.blocks {
			_, err := out.Write(b)
			f.wrote <- err
		}
	}()
	return f
}

// end lets the goroutine go, once its last write has returned.
func (f *feeder) end() { close(f.blocks) }

// put writes a block. It takes as long as the sound card takes to make room,
// which is what paces the stream.
func (p *Player) put(f *feeder, b []byte) error {
	for !f.out.Room(len(b)) {
		if err := p.pause(p.clock.Now()+5*time.Millisecond, f.out.Ended()); err != nil {
			return err
		}
	}
	f.blocks <- b
	for range 2 {
		wake, stop := p.clock.Wake(p.clock.Now() + stall)
		select {
		case err := <-f.wrote:
			stop()
			if err != nil {
				return errEnded // nobody reads any more; how it ended says why
			}
			return nil
		case <-p.quit:
			stop()
			return errClosed
		case <-wake:
		}
	}
	return errStuck
}

// feed keeps a stream going until it ends.
func (p *Player) feed(f *feeder) error {
	for {
		if err := p.tie(f); err != nil {
			return err
		}
		if err := p.flow(f); err != errDry {
			return err
		}
		p.log.Warn("the stream of sound ran dry")
		p.mu.Lock()
		p.stats.Realigned++
		p.mu.Unlock()
	}
}

// tie fills what lies between here and the loudspeaker with silence. ALSA
// starts a sound card when its buffer is full. Until then nothing waits, so the
// block after those that fill the buffer is taken as the card starts: that ties
// the samples to the clock. The last block of the silence would not do: a pipe
// of one page takes nothing more before the page is empty, and by then the card
// has played a good part of it (40 ms, seen with 4 KiB on a real kernel).
func (p *Player) tie(f *feeder) error {
	silence := make([]byte, 2*block)
	var started time.Duration
	for n := range p.preroll {
		if err := p.put(f, silence); err != nil {
			return err
		}
		if n <= p.fills {
			started = p.clock.Now()
		}
	}
	p.mu.Lock()
	p.mix.Jump(audio.Sample(started) + int64(p.preroll*block))
	p.dropStale()
	p.stats.Lead = audio.Instant(int64(p.preroll * block))
	anew := p.health != ""
	p.health, p.heard = "", true
	p.mu.Unlock()
	if anew {
		p.log.Info("sound comes out")
		if p.opened != nil {
			p.opened()
		}
	}
	return nil
}

// flow mixes and writes block after block.
func (p *Player) flow(f *feeder) error {
	var (
		samples = make([]int16, block)
		bytes   = make([]byte, 0, 2*block)
		drift   drift
	)
	for {
		p.mu.Lock()
		at := p.mix.At()
		p.mu.Unlock()
		if lead := audio.Instant(at) - p.clock.Now(); lead > ahead {
			if err := p.pause(audio.Instant(at)-ahead, f.out.Ended()); err != nil {
				return err
			}
			continue
		}
		p.mu.Lock()
		p.mix.Next(samples)
		at = p.mix.At()
		p.mu.Unlock()
		if err := p.put(f, wav.Append(bytes[:0], samples)); err != nil {
			return err
		}
		lead := audio.Instant(at) - p.clock.Now()
		if lead < 0 {
			// What was written should have sounded already: all that lies
			// between here and the loudspeaker has run empty.
			return errDry
		}
		p.align(drift.note(lead))
	}
}

// align changes the number of the next sample by what the sound card's clock
// is off, in a silence only.
func (p *Player) align(d *drift) {
	if d == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stats.Lead = d.top
	if off := d.full - d.top; (off > tolerance || off < -tolerance) && p.mix.Quiet() != 0 {
		p.mix.Jump(p.mix.At() + audio.Sample(off))
		p.stats.Realigned++
	}
}

// A drift watches how far the stream is ahead of the clock when all that lies
// between here and the loudspeaker is full: the most in a window, since a block
// that was written late only ever makes it less. The first window says what
// full is for this sound card.
type drift struct {
	count int
	most  time.Duration // in this window so far
	top   time.Duration // in the last whole window
	full  time.Duration // in the first whole window
}

// note takes a lead, and gives the drift when a window is whole, else nil.
func (d *drift) note(lead time.Duration) *drift {
	if d.count == 0 || lead > d.most {
		d.most = lead
	}
	if d.count++; d.count < window {
		return nil
	}
	d.count, d.top = 0, d.most
	if d.full == 0 {
		d.full = d.top
	}
	return d
}
