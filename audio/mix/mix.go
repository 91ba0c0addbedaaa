// SPDX-License-Identifier: Apache-2.0

// Package mix turns placed cues into one continuous stream of samples. Each
// cue begins on its exact sample and cues that overlap are added. It must not
// read a clock, and it leaves to its user where the stream goes and what to do
// with a cue that is late.
package mix

import (
	"cmp"
	"slices"

	"tallyhood/audio"
)

// A Mixer is at one sample of the stream at a time, numbered by audio.Sample,
// and only goes on from there, but for Jump. It is not safe for use by several
// goroutines.
type Mixer struct {
	sound   func(audio.Cue) []int16
	at      int64
	waiting []waiting // by sample
	playing []playing
	sum     []int32
}

type waiting struct {
	first  int64
	placed audio.Placed
}

type playing struct {
	placed audio.Placed
	left   []int16
}

// New makes a mixer whose next sample is at. The samples of a cue come from
// sound, nil for a cue that has none; they are read and never changed.
func New(at int64, sound func(audio.Cue) []int16) *Mixer {
	return &Mixer{sound: sound, at: at}
}

// At is the number of the next sample.
func (m *Mixer) At() int64 { return m.at }

// Place adds a cue. It begins on the sample of its instant or, when that is
// past, on the next one. It reports false for a cue without a sound.
func (m *Mixer) Place(p audio.Placed) bool {
	if len(m.sound(p.Cue)) == 0 {
		return false
	}
	m.wait(p)
	return true
}

func (m *Mixer) wait(p audio.Placed) {
	w := waiting{audio.Sample(p.At), p}
	i, _ := slices.BinarySearchFunc(m.waiting, w, func(a, b waiting) int { return cmp.Compare(a.first, b.first) })
	m.waiting = slices.Insert(m.waiting, i, w)
}

// Waiting is the number of cues that have not begun.
func (m *Mixer) Waiting() int { return len(m.waiting) }

// Quiet gives the number of samples for which the stream is silent from here:
// 0 while a cue sounds, and -1 when no cue waits.
func (m *Mixer) Quiet() int64 {
	switch {
	case len(m.playing) > 0:
		return 0
	case len(m.waiting) == 0:
		return -1
	default:
		return max(0, m.waiting[0].first-m.at)
	}
}

// Jump goes on at another sample, back or ahead, without any sound between.
// Cues that wait keep their instants; what sounds now goes on sounding.
func (m *Mixer) Jump(at int64) { m.at = at }

// Drop takes back the waiting cues for which late is true, and says how many
// there were.
func (m *Mixer) Drop(late func(audio.Placed) bool) int {
	before := len(m.waiting)
	m.waiting = slices.DeleteFunc(m.waiting, func(w waiting) bool { return late(w.placed) })
	return before - len(m.waiting)
}

// Break stops all that sounds, as when the loudspeaker has gone away under it.
// The cues for which again is true wait once more, to be heard from their
// beginning; it says how many others were broken off.
func (m *Mixer) Break(again func(audio.Placed) bool) int {
	lost := 0
	for _, p := range m.playing {
		if again(p.placed) {
			m.wait(p.placed)
		} else {
			lost++
		}
	}
	m.playing = m.playing[:0]
	return lost
}

// Next fills the block with the samples from At on and goes past them. It
// reports whether all of them are zero because no cue sounds there.
func (m *Mixer) Next(block []int16) (silent bool) {
	end := m.at + int64(len(block))
	if len(m.playing) == 0 && (len(m.waiting) == 0 || m.waiting[0].first >= end) {
		clear(block)
		m.at = end
		return true
	}
	if cap(m.sum) < len(block) {
		m.sum = make([]int32, len(block))
	}
	sum := m.sum[:len(block)]
	clear(sum)
	still := m.playing[:0]
	for _, p := range m.playing {
		if p.left = add(sum, p.left); len(p.left) > 0 {
			still = append(still, p)
		}
	}
	m.playing = still
	begun := 0
	for _, w := range m.waiting {
		if w.first >= end {
			break
		}
		begun++
		offset := max(0, w.first-m.at)
		if left := add(sum[offset:], m.sound(w.placed.Cue)); len(left) > 0 {
			m.playing = append(m.playing, playing{w.placed, left})
		}
	}
	m.waiting = slices.Delete(m.waiting, 0, begun)
	for i, v := range sum {
		block[i] = bend(v)
	}
	m.at = end
	return false
}

// add adds as much of the sound as fits and gives what is left of it.
func add(sum []int32, sound []int16) []int16 {
	n := min(len(sum), len(sound))
	for i, v := range sound[:n] {
		sum[i] += int32(v)
	}
	return sound[n:]
}
