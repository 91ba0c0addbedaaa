// SPDX-License-Identifier: Apache-2.0

package voice

import (
	"errors"
	"fmt"
	"math"

	"tallyhood/audio"
	"tallyhood/audio/loudness"
	"tallyhood/audio/tone"
	"tallyhood/audio/wav"
)

const (
	fullScale = 1 << 15
	// peak is the most that a sample of speech reaches, -6 dB below full scale:
	// a word and a tone at once are then hardly more than the mixer passes on
	// unbent.
	peak = 0.5
	// longest is the longest spoken cue in one language, in samples.
	longest = 6 * audio.Rate
)

// shape makes a cue of what was spoken: resampled, without the silence around
// it, as loud as every other cue.
func shape(s wav.Sound) ([]int16, error) {
	if len(s.Wave) > 4*longest/audio.Rate*s.Rate {
		return nil, fmt.Errorf("it is longer than %d s", longest/audio.Rate)
	}
	wave, err := resample(s.Wave, s.Rate, audio.Rate)
	if err != nil {
		return nil, err
	}
	center(wave)
	wave = trim(wave)
	switch {
	case len(wave) == 0:
		return nil, errors.New("it is silent")
	case len(wave) > longest:
		return nil, fmt.Errorf("it is longer than %d s", longest/audio.Rate)
	}
	fade(wave)
	if loudness.Of(wave) == loudness.Silence {
		return nil, errors.New("it is silent")
	}
	// Limiting takes some of the loudness, so that the two go in turns.
	for range 12 {
		gain := math.Pow(10, (tone.Loudness-loudness.Of(wave))/20)
		for i := range wave {
			wave[i] *= gain
		}
		limit(wave)
		if math.Abs(loudness.Of(wave)-tone.Loudness) < 0.05 {
			break
		}
	}
	samples := make([]int16, len(wave))
	for i, v := range wave {
		samples[i] = int16(math.Round(v * fullScale))
	}
	return samples, nil
}

// center takes out what would make the loudspeaker's cone stand off its rest.
func center(wave []float64) {
	mean := 0.0
	for _, v := range wave {
		mean += v
	}
	mean /= float64(max(1, len(wave)))
	for i := range wave {
		wave[i] -= mean
	}
}

const stretch = audio.Rate / 100

// trim cuts the silence off both ends: the stretches of 10 ms that are 40 dB
// below the loudest one. A little stays, for soft consonants.
func trim(wave []float64) []float64 {
	const before, after = stretch, 4 * stretch
	var powers []float64
	loudest := 0.0
	for from := 0; from < len(wave); from += stretch {
		sum := 0.0
		for _, v := range wave[from:min(from+stretch, len(wave))] {
			sum += v * v
		}
		powers = append(powers, sum)
		loudest = max(loudest, sum)
	}
	// 10^-9 of full scale is less than one bit of any file.
	if loudest < 1e-9*stretch {
		return nil
	}
	first, last := -1, 0
	for i, p := range powers {
		if p >= loudest*1e-4 {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	return wave[max(0, first*stretch-before):min(len(wave), (last+1)*stretch+after)]
}

// fade keeps clicks out of both ends: 3 ms in, 15 ms out, along half cosines.
func fade(wave []float64) {
	ramp := func(n int, at func(i int) int) {
		n = min(n, len(wave)/2)
		for i := range n {
			wave[at(i)] *= (1 - math.Cos(math.Pi*float64(i)/float64(n))) / 2
		}
	}
	ramp(audio.Rate*3/1000, func(i int) int { return i })
	ramp(audio.Rate*15/1000, func(i int) int { return len(wave) - 1 - i })
}

// limit turns the sound down around its peaks, so that none is above peak. The
// gain is the least of what each sample within 4 ms needs, averaged over as
// much: every sample in the average allows for this one, so it never passes.
func limit(wave []float64) {
	const reach = audio.Rate * 4 / 1000
	need := make([]float64, len(wave))
	for i, v := range wave {
		need[i] = 1
		if a := math.Abs(v); a > peak {
			need[i] = peak / a
		}
	}
	least := leastWithin(need, reach)
	sums := make([]float64, len(wave)+1)
	for i, g := range least {
		sums[i+1] = sums[i] + g
	}
	for i := range wave {
		from, to := max(0, i-reach), min(len(wave), i+reach+1)
		wave[i] *= (sums[to] - sums[from]) / float64(to-from)
	}
}

// leastWithin gives, for each place, the least value at most reach away.
func leastWithin(values []float64, reach int) []float64 {
	out := make([]float64, len(values))
	var queue []int // places whose values rise
	next := 0
	for i := range values {
		for ; next < min(len(values), i+reach+1); next++ {
			for len(queue) > 0 && values[queue[len(queue)-1]] >= values[next] {
				queue = queue[:len(queue)-1]
			}
			queue = append(queue, next)
		}
		for queue[0] < i-reach {
			queue = queue[1:]
		}
		out[i] = values[queue[0]]
	}
	return out
}

// The filter of the resampler: a sinc under a Kaiser window that takes what is
// beyond the lower of the two Nyquist frequencies down by over 80 dB, and leaves
// what is below 0.8 of it as it is.
const (
	kaiser     = 9.0
	crossings  = 32   // of the sinc on each side
	cutoff     = 0.91 // of the lower Nyquist frequency
	mostPhases = 512
)

// resample changes the rate of a sound. It takes the rates that recorders use:
// those whose ratio to the other is made of numbers up to 512.
func resample(wave []float64, from, to int) ([]float64, error) {
	if from == to {
		return append([]float64(nil), wave...), nil
	}
	a, b := from, to
	for b != 0 {
		a, b = b, a%b
	}
	up, down := to/a, from/a
	if up > mostPhases {
		return nil, fmt.Errorf("a sound of %d samples a second cannot be used", from)
	}
	cut := cutoff / 2 * min(1, float64(to)/float64(from)) // cycles a sample
	half := int(math.Ceil(crossings / (2 * cut)))
	phases := make([][]float64, up)
	for p := range phases {
		taps := make([]float64, 2*half)
		sum := 0.0
		for k := range taps {
			t := float64(k-half+1) - float64(p)/float64(up)
			taps[k] = sinc(2*cut*t) * window(t/float64(half))
			sum += taps[k]
		}
		for k := range taps {
			taps[k] /= sum
		}
		phases[p] = taps
	}
	out := make([]float64, (len(wave)*up+down-1)/down)
	for n := range out {
		at, taps := n*down/up, phases[n*down%up]
		first := at - half + 1
		sum := 0.0
		for k := max(0, -first); k < min(len(taps), len(wave)-first); k++ {
			sum += taps[k] * wave[first+k]
		}
		out[n] = sum
	}
	return out, nil
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// window is Kaiser's, for x from -1 to 1.
func window(x float64) float64 {
	if x <= -1 || x >= 1 {
		return 0
	}
	return bessel(kaiser*math.Sqrt(1-x*x)) / bessel(kaiser)
}

// bessel is the modified Bessel function of the first kind, of order zero.
func bessel(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-12*sum; k++ {
		term *= (x / 2 / k) * (x / 2 / k)
		sum += term
	}
	return sum
}
