// SPDX-License-Identifier: Apache-2.0

// Package tone makes the sound of every cue: 44.1 kHz, 16-bit, one channel,
// from a few lines of description each. All are ours, meant to be told apart
// with eyes shut and through a workshop:
//
//	cue              how it sounds
//	squeeze_counted  a soft high tick, shorter than a blink
//	top_up_due       a rising call of two hollow notes, the second longer
//	dose_done        the same two notes falling, mellow: settled
//	exercise_change  one struck bell that rings out
//	five_seconds     one hollow note that swells from nothing and stops
//	tick             a dry low knock: one of the last seconds
//	count_5          a clear note at the top of a stair
//	count_4          one step down
//	count_3          one step down
//	count_2          one step down
//	count_1          the bottom step, an octave below the first, twice as long
//	reported         a smooth glide upwards, as if to say "heard you"
//	stop             shrill pulses, three quick and two more: hands off
//	not_valid        three slow rasping notes that sink: it came to nothing
//	pass             four notes climbing into a ringing chord
//	fault            a hollow high-low, high-low, high-low, as of a horn
//	go_on            a quick light hop upwards, mellow
//	refused          two short low buzzes on one note
//
// Fundamentals lie from 440 to 880 Hz with harmonics up to 4 kHz: small
// loudspeakers give little below, ears that have worked in noise hear little
// above. That pulses in groups call for attention more than steady notes do,
// and that a warning must differ from everything else in rhythm as well as in
// pitch, are notions of ISO 7731 and IEC 60601-1-8 from memory, to be checked
// against the official text; no conformity is claimed.
//
// Every cue is equally loud (see package loudness). Those that come with each
// squeeze are shorter than the 0.2 s between the fastest squeezes, and a tick is
// shorter than every other cue, so that it can hide none. The package must not
// play anything, read a file or a clock.
package tone

import (
	"math"
	"math/cmplx"
	"sync"

	"tallyhood/audio"
	"tallyhood/audio/loudness"
)

// Of gives the samples of a cue, nil for one that has no sound. The slice is
// shared: it must not be changed.
func Of(c audio.Cue) []int16 {
	if made, ok := sounds[c]; ok {
		return made()
	}
	return nil
}

// sounds makes each cue when it is first asked for, so that the start of the
// daemon does not wait for all of them.
var sounds = func() map[audio.Cue]func() []int16 {
	m := make(map[audio.Cue]func() []int16, len(cues))
	for c := range cues {
		m[c] = sync.OnceValue(func() []int16 { return Make(c) })
	}
	return m
}()

// Make computes the samples of a cue afresh, nil for one that has no sound.
func Make(c audio.Cue) []int16 {
	notes, ok := cues[c]
	if !ok {
		return nil
	}
	end := 0.0
	for _, n := range notes {
		end = max(end, n.at+n.length)
	}
	wave := make([]float64, int(math.Ceil(end*audio.Rate)))
	for _, n := range notes {
		n.add(wave)
	}
	gain := math.Pow(10, (Loudness-loudness.Of(wave))/20)
	samples := make([]int16, len(wave))
	for i, v := range wave {
		samples[i] = int16(math.Round(v * gain * fullScale))
	}
	return samples
}

// Loudness is that of every cue, in LKFS. It leaves room for cues that overlap.
const Loudness = -18.0

const (
	fullScale = 1 << 15
	highest   = 4000.0 // Hz, no harmonic above
)

// A note is one sound of a cue. Times are in seconds, pitches in hertz.
type note struct {
	at, length float64
	pitch      float64
	to         float64 // the pitch at the end of a glide; zero stays on pitch
	colour     colour
	level      float64 // amplitude against the other notes of the cue; zero means 1
	attack     float64 // zero means 6 ms
	release    float64 // zero means 18 ms
	fall       float64 // the time in which it dies away by 20 dB; zero holds it
	rasp       float64 // hertz of a deep tremolo; zero has none
}

// A colour gives the amplitudes of the fundamental and its harmonics in turn.
type colour []float64

var (
	mellow = colour{1, 0.35, 0.12}
	hollow = colour{1, 0, 0.65, 0, 0.4, 0, 0.25}
	plain  = colour{1, 0.6, 0.45, 0.3, 0.2}
	shrill = colour{0.7, 0.8, 1, 0.9, 0.8, 0.6, 0.5}
	bell   = colour{1, 0.3, 0, 0.25, 0, 0.1}
)

// add mixes the note into the wave of its cue.
func (n note) add(wave []float64) {
	first := int(math.Round(n.at * audio.Rate))
	count := min(int(math.Round(n.length*audio.Rate)), len(wave)-first)
	to := or(n.to, n.pitch)
	level := or(n.level, 1)
	harmonics := n.harmonics(max(n.pitch, to))
	turns, pitch := 0.0, n.pitch
	for i := range count {
		t := float64(i) / audio.Rate
		if to != n.pitch {
			pitch = n.pitch * math.Pow(to/n.pitch, t/n.length)
		}
		// The powers of one turning pointer are the pointers of the harmonics.
		fundamental := cmplx.Rect(1, 2*math.Pi*turns)
		pointer, v := complex(1, 0), 0.0
		for _, h := range harmonics {
			pointer *= fundamental
			v += imag(h * pointer)
		}
		wave[first+i] += level * n.envelope(t) * v
		turns += pitch / audio.Rate
		turns -= math.Floor(turns)
	}
}

// harmonics gives the amplitudes of the colour up to the highest pitch that
// counts, as complex factors. Shifted phases keep the harmonics from all
// peaking at once, which would cost headroom for no more loudness.
func (n note) harmonics(pitch float64) []complex128 {
	var all []complex128
	for k, amplitude := range n.colour {
		h := float64(k + 1)
		if h*pitch > highest {
			break
		}
		all = append(all, cmplx.Rect(amplitude, -math.Pi*h*(h-1)/float64(len(n.colour))))
	}
	return all
}

// envelope gives the amplitude of the note t seconds after it began. It rises
// and falls along half cosines, which is what keeps clicks out.
func (n note) envelope(t float64) float64 {
	e := 1.0
	if attack := or(n.attack, 0.006); t < attack {
		e *= (1 - math.Cos(math.Pi*t/attack)) / 2
	}
	if left, release := n.length-t, or(n.release, 0.018); left < release {
		e *= (1 - math.Cos(math.Pi*left/release)) / 2
	}
	if n.fall > 0 {
		e *= math.Pow(10, -t/n.fall)
	}
	if n.rasp > 0 {
		e *= (1.15 - 0.85*math.Cos(2*math.Pi*n.rasp*t)) / 2
	}
	return e
}

func or(v, unset float64) float64 {
	if v == 0 {
		return unset
	}
	return v
}
