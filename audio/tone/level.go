// SPDX-License-Identifier: Apache-2.0

package tone

import (
	"math"

	"tallyhood/audio"
)

// loud is the level of every cue, -18 dB below full scale, which leaves room
// for cues that overlap.
var loud = math.Pow(10, -18.0/20)

// Level gives the level of a sound as a root mean square over the stretches of
// 10 ms that are within 10 dB of the loudest one: what the ear takes for its
// loudness, so that neither the pauses between pulses nor a long ring count
// against it. It is in the unit of the samples, 0 for silence. Cues from
// another source, speech for example, are brought to the same level by it.
func Level(wave []float64) float64 {
	const stretch = audio.Rate / 100
	var powers []float64
	loudest := 0.0
	for from := 0; from < len(wave); from += stretch {
		// A last piece counts over a whole stretch: the rest of it is silence.
		sum := 0.0
		for _, v := range wave[from:min(from+stretch, len(wave))] {
			sum += v * v
		}
		powers = append(powers, sum/stretch)
		loudest = max(loudest, sum/stretch)
	}
	sum, count := 0.0, 0
	for _, p := range powers {
		if p > 0 && p >= loudest/10 {
			sum += p
			count++
		}
	}
	if count == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(count))
}
