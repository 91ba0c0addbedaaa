// SPDX-License-Identifier: Apache-2.0

// Package file puts cues into a WAV file: a whole track at once, or as they are
// played. It serves tests and demonstrations and must not be taken for a
// loudspeaker: its Health says that nothing is heard.
package file

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/mix"
	"tallyhood/audio/tone"
	"tallyhood/audio/wav"
)

// WriteTrack writes a WAV file of all that sounds from instant 0 to end, each
// cue on its exact sample. What still sounds at end is cut off there; a cue
// before 0 begins at 0. Spoken cues are left out: a track is made of tones, so
// that it is the same on every machine. It fails for a cue without a sound, for
// an end before 0 and for one past what a file can hold (wav.ErrTooLong).
func WriteTrack(out io.Writer, cues []audio.Placed, end time.Duration) error {
	return write(out, cues, tone.Of, 0, audio.Sample(end))
}

// block is how much is mixed at a time: long enough that the cost of a write
// does not count, short enough to stay in the processor's cache.
const block = 8192

// silence is a stretch of it, as bytes; nothing writes to it.
var silence [64 << 10]byte

// write writes the samples [from, to) as a WAV file.
func write(out io.Writer, cues []audio.Placed, sound func(audio.Cue) []int16, from, to int64) error {
	header, err := wav.Header(to - from)
	if err != nil {
		return fmt.Errorf("write cue track: %w", err)
	}
	m := mix.New(from, sound)
	for _, p := range cues {
		if !m.Place(p) && !p.Cue.Spoken() {
			return fmt.Errorf("write cue track: the cue %q has no sound", p.Cue)
		}
	}
	if _, err := out.Write(header); err != nil {
		return fmt.Errorf("write cue track: %w", err)
	}
	samples, buf := make([]int16, block), make([]byte, 0, 2*block)
	for m.At() < to {
		left := to - m.At()
		if quiet := m.Quiet(); quiet != 0 {
			// Silence is not mixed, only written.
			if quiet < 0 {
				quiet = left
			}
			quiet = min(quiet, left)
			m.Jump(m.At() + quiet)
			err = writeSilence(out, 2*quiet)
		} else {
			piece := samples[:min(left, block)]
			m.Next(piece)
			_, err = out.Write(wav.Append(buf[:0], piece))
		}
		if err != nil {
			return fmt.Errorf("write cue track: %w", err)
		}
	}
	return nil
}

// writeSilence writes n bytes of silence. At the end of a file that can be made
// longer it leaves a hole instead, which reads as zeros and costs nothing: most
// of a track is silence.
func writeSilence(out io.Writer, n int64) error {
	if f, ok := out.(*os.File); ok && n >= int64(len(silence)) {
		if at, err := f.Seek(0, io.SeekCurrent); err == nil {
			if end, err := f.Seek(0, io.SeekEnd); err == nil && end == at && f.Truncate(at+n) == nil {
				_, err := f.Seek(at+n, io.SeekStart)
				return err
			}
			if _, err := f.Seek(at, io.SeekStart); err != nil {
				return err
			}
		}
	}
	for n > 0 {
		piece := min(n, int64(len(silence)))
		if _, err := out.Write(silence[:piece]); err != nil {
			return err
		}
		n -= piece
	}
	return nil
}

// most is how many cues a Player takes, an hour of squeezes at five a second.
const most = 18_000

// A Player keeps the cues it is given and writes them when it is closed.
type Player struct {
	now   func() time.Duration
	sound func(audio.Cue) []int16
	start time.Duration

	mu      sync.Mutex
	out     *os.File // nil when closed
	cues    []audio.Placed
	dropped int
}

var _ audio.Player = (*Player)(nil)

// Create makes the file, emptying one that is there. Its first sample is the
// one of the present instant of the board's clock, which now gives. Spoken cues
// are left out.
func Create(path string, now func() time.Duration) (*Player, error) {
	return CreateWith(path, now, tone.Of)
}

// CreateWith is Create for cues whose samples come from sound, speech for
// example.
func CreateWith(path string, now func() time.Duration, sound func(audio.Cue) []int16) (*Player, error) {
	out, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("create cue file: %w", err)
	}
	return &Player{now: now, sound: sound, start: now(), out: out}, nil
}

// Play takes a cue. One whose instant is past begins at the present one. A cue
// without a sound, and one after Close, is dropped.
func (p *Player) Play(c audio.Placed) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.sound(c.Cue)) == 0 && c.Cue.Spoken() {
		return // words that nobody can say
	}
	if p.out == nil || len(p.cues) == most || len(p.sound(c.Cue)) == 0 {
		p.dropped++
		return
	}
	c.At = max(c.At, p.now())
	p.cues = append(p.cues, c)
}

// Drop forgets the cues from an instant on that have not begun.
func (p *Player) Drop(from time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	from = max(from, p.now())
	p.cues = slices.DeleteFunc(p.cues, func(c audio.Placed) bool { return c.At >= from })
}

// Health says that the sound goes into a file, and how many cues did not.
func (p *Player) Health() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.dropped > 0 {
		return fmt.Sprintf("sound goes into a file and is not heard; %d cues were dropped", p.dropped)
	}
	return "sound goes into a file and is not heard"
}

// Close writes the file, from its start to the present instant or the end of
// the last cue, whichever is later. It may be called more than once.
func (p *Player) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out == nil {
		return nil
	}
	end := audio.Sample(p.now())
	for _, c := range p.cues {
		end = max(end, audio.Sample(c.At)+int64(len(p.sound(c.Cue))))
	}
	err := errors.Join(write(p.out, p.cues, p.sound, audio.Sample(p.start), end), p.out.Close())
	p.out, p.cues = nil, nil
	return err
}
