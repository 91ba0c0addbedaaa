// SPDX-License-Identifier: Apache-2.0

// Package loudness says how loud the ear takes a short sound for, so that every
// cue and every spoken word can be made equally loud. It is computing alone: it
// must not make a sound nor read one from anywhere.
//
// The weighting is the K curve of ITU-R BS.1770 (a shelf that lifts what a head
// in a free field lifts, and a high pass). That recommendation measures over
// blocks of 400 ms, longer than most cues, so the gate here works on stretches
// of 10 ms. The recommendation's texts and figures are from memory, to be
// checked against the official one; no conformity is claimed.
package loudness

import (
	"math"

	"tallyhood/audio"
)

// Silence is the loudness of no sound.
var Silence = math.Inf(-1)

// offset makes a sine of 997 Hz at full scale read -3.01.
const offset = -0.691

// gate is how far below the loudest stretch a stretch may lie and still count,
// in dB: neither the pauses between pulses nor a long ring make a cue softer.
const gate = 10

// block of the recommendation's momentary loudness.
const block = 400 * audio.Rate / 1000

// Of is the loudness of a sound at audio.Rate, full scale being 1, in LKFS: the
// mean over the stretches of 10 ms within 10 dB of the loudest one. A stretch
// cut short counts over a whole one, as if silence followed.
func Of(wave []float64) float64 {
	const stretch = audio.Rate / 100
	weighted := weigh(wave, audio.Rate)
	var powers []float64
	loudest := 0.0
	for from := 0; from < len(weighted); from += stretch {
		p := power(weighted[from:min(from+stretch, len(weighted))]) / stretch
		powers = append(powers, p)
		loudest = max(loudest, p)
	}
	sum, count := 0.0, 0
	for _, p := range powers {
		if p > 0 && p >= loudest*math.Pow(10, -gate/10.0) {
			sum += p
			count++
		}
	}
	if count == 0 {
		return Silence
	}
	return decibels(sum / float64(count))
}

// Momentary is the most that any 400 ms with the sound in them reach, in LKFS:
// what a meter shows. It falls for a sound that is shorter than that, as the
// ear's own loudness does.
func Momentary(wave []float64) float64 {
	weighted := weigh(wave, audio.Rate)
	most, sum := 0.0, 0.0
	for i, v := range weighted {
		sum += v * v
		if i >= block {
			sum -= weighted[i-block] * weighted[i-block]
		}
		most = max(most, sum)
	}
	if most <= 0 {
		return Silence
	}
	return decibels(most / block)
}

func decibels(meanSquare float64) float64 { return offset + 10*math.Log10(meanSquare) }

func power(wave []float64) float64 {
	sum := 0.0
	for _, v := range wave {
		sum += v * v
	}
	return sum
}

// A section is one filter of second order; the leading coefficient below is 1.
type section struct{ b0, b1, b2, a1, a2 float64 }

// sections are the two filters of the K curve for a rate of samples: those
// whose coefficients at 48 kHz the recommendation prints, seen as analogue ones
// and brought to the rate by the bilinear transform.
func sections(rate float64) [2]section {
	k := math.Tan(math.Pi * 1681.974450955533 / rate)
	const q, lift = 0.7071752369554196, 3.999843853973347
	high := math.Pow(10, lift/20)
	band := math.Pow(high, 0.4996667741545416)
	a0 := 1 + k/q + k*k
	shelf := section{
		b0: (high + band*k/q + k*k) / a0, b1: 2 * (k*k - high) / a0, b2: (high - band*k/q + k*k) / a0,
		a1: 2 * (k*k - 1) / a0, a2: (1 - k/q + k*k) / a0,
	}
	k = math.Tan(math.Pi * 38.13547087602444 / rate)
	const q2 = 0.5003270373238773
	a0 = 1 + k/q2 + k*k
	pass := section{b0: 1, b1: -2, b2: 1, a1: 2 * (k*k - 1) / a0, a2: (1 - k/q2 + k*k) / a0}
	return [2]section{shelf, pass}
}

// weigh passes a sound through the K curve.
func weigh(wave []float64, rate float64) []float64 {
	out := append([]float64(nil), wave...)
	for _, s := range sections(rate) {
		z1, z2 := 0.0, 0.0
		for i, x := range out {
			y := s.b0*x + z1
			z1 = s.b1*x - s.a1*y + z2
			z2 = s.b2*x - s.a2*y
			out[i] = y
		}
	}
	return out
}
