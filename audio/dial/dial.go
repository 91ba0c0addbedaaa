// SPDX-License-Identifier: Apache-2.0

// Package dial is the volume of the box and its mute. Volume goes to the mixer
// of the sound card where there is one, else to the samples; what is muted is
// made of silence. It must not wait for a disk or a mixer.
//
// Neither reaches what ends a run or warns of a fault: those tones, and the word
// that calls for the hood to come off, are never muted, and never softer than
// Least. A person turns the sound down because ticks disturb the room; under the
// hood somebody still waits to be told that it is over.
package dial

import (
	"math"
	"sync"

	"tallyhood/audio"
)

// Least is the lowest volume of what is never silent, in per cent.
const Least = 60

// Options of a dial.
type Options struct {
	Volume int  // at the start, 0 to 100
	Muted  bool // at the start
	Sound  func(audio.Cue) []int16
	// Mixer sets the level of the sound card in per cent; nil where there is
	// none to be set. It must return at once.
	Mixer func(percent int)
	// Keep is told of each change, to keep it for the next start; it must return
	// at once and may be nil.
	Keep func(volume int, muted bool)
}

// A Dial is safe for use by several goroutines.
type Dial struct {
	o Options

	mu     sync.Mutex // never held while anything is waited for
	volume int
	muted  bool
	made   map[audio.Cue]made
}

// made is a cue at another volume.
type made struct {
	of   []int16
	gain float64
	out  []int16
}

// New makes a dial, and sets the mixer.
func New(o Options) *Dial {
	d := &Dial{o: o, volume: min(max(o.Volume, 0), 100), muted: o.Muted, made: map[audio.Cue]made{}}
	d.set()
	return d
}

// Volume is in per cent, as the ear takes it.
func (d *Dial) Volume() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.volume
}

// Muted says whether only what is never silent sounds.
func (d *Dial) Muted() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.muted
}

// SetVolume turns the dial to a volume from 0 to 100; another one is brought
// into that range. What sounds already goes on as it is.
func (d *Dial) SetVolume(percent int) {
	d.turn(func() { d.volume = min(max(percent, 0), 100) })
}

// Mute silences all but what is never silent, or lets it sound again.
func (d *Dial) Mute(muted bool) {
	d.turn(func() { d.muted = muted })
}

func (d *Dial) turn(change func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	change()
	d.set()
	if d.o.Keep != nil {
		d.o.Keep(d.volume, d.muted)
	}
}

func (d *Dial) set() {
	if d.o.Mixer != nil {
		d.o.Mixer(max(d.volume, Least))
	}
}

// NeverSilent says whether a cue sounds although the box is muted.
func NeverSilent(c audio.Cue) bool { return c.Urgent() || c == audio.SayStop }

// nothing is a tone that is not heard: a player takes it for a sound.
var nothing = []int16{0}

// Of gives the samples of a cue as they are to be sounded now, nil for one that
// has none. The slice is shared: it must not be changed.
func (d *Dial) Of(c audio.Cue) []int16 {
	of := d.o.Sound(c)
	if len(of) == 0 {
		return nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	gain := d.gain(c)
	switch {
	case gain == 1:
		return of
	case gain == 0 && c.Spoken():
		return nil
	case gain == 0:
		return nothing
	}
	m := d.made[c]
	if m.gain != gain || len(m.of) != len(of) || &m.of[0] != &of[0] {
		m = made{of: of, gain: gain, out: make([]int16, len(of))}
		for i, v := range of {
			m.out[i] = int16(math.Round(float64(v) * gain))
		}
		d.made[c] = m
	}
	return m.out
}

// gain is the factor on the samples of a cue: what the mixer does not do.
func (d *Dial) gain(c audio.Cue) float64 {
	mixer := 100
	if d.o.Mixer != nil {
		mixer = max(d.volume, Least)
	}
	want := d.volume
	switch {
	case NeverSilent(c):
		want = max(want, Least)
	case d.muted:
		want = 0
	}
	return Gain(want) / Gain(mixer)
}

// Gain is the factor in amplitude of a volume: the cube, 18 dB for each half,
// which is about what mixers on a screen do for a card with a wide range.
func Gain(percent int) float64 { return math.Pow(float64(percent)/100, 3) }
