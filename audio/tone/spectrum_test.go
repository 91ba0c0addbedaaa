// SPDX-License-Identifier: Apache-2.0

package tone_test

import (
	"math"
	"math/cmplx"

	"tallyhood/audio"
)

// fft is the plain radix-2 transform; the length is a power of two.
func fft(x []complex128) {
	n := len(x)
	if n == 1 {
		return
	}
	even, odd := make([]complex128, n/2), make([]complex128, n/2)
	for i := range even {
		even[i], odd[i] = x[2*i], x[2*i+1]
	}
	fft(even)
	fft(odd)
	for k := range even {
		w := cmplx.Rect(1, -2*math.Pi*float64(k)/float64(n)) * odd[k]
		x[k], x[k+n/2] = even[k]+w, even[k]-w
	}
}

// powers gives the power in each bin of width audio.Rate/size hertz, of a
// stretch of a sound under a Hann window. Beyond its ends the sound is silent.
func powers(sound []int16, from, size int) []float64 {
	x := make([]complex128, size)
	for i := range x {
		if k := from + i; k >= 0 && k < len(sound) {
			hann := (1 - math.Cos(2*math.Pi*float64(i)/float64(size))) / 2
			x[i] = complex(float64(sound[k])/32768*hann, 0)
		}
	}
	fft(x)
	p := make([]float64, size/2)
	for k := range p {
		p[k] = real(x[k])*real(x[k]) + imag(x[k])*imag(x[k])
	}
	return p
}

// A picture is the power of a sound over time and pitch: a row each 10 ms, a
// column each sixth of an octave (a whole tone) from 370 Hz to 4.7 kHz, about
// what an ear keeps apart.
type picture [][]float64

const (
	lowest  = 370.0 // Hz
	columns = 22
	hop     = audio.Rate / 100
	window  = 2048 // 46 ms
)

func pictureOf(sound []int16) picture {
	var pic picture
	for from := -window / 2; from < len(sound)-window/2+hop; from += hop {
		row := make([]float64, columns)
		for k, p := range powers(sound, from, window) {
			if k == 0 {
				continue
			}
			if c := math.Log2(float64(k)*audio.Rate/window/lowest) * 6; c >= 0 && c < columns {
				row[int(c)] += p
			}
		}
		pic = append(pic, row)
	}
	return pic
}

// distance says how different two sounds are: 0 for the same, 1 for sounds
// that share no pitch at any time. It is the sum of the differences of the two
// pictures, in amplitude so that a soft part counts too, over their sum, at the
// shift in time within 50 ms that makes them most alike.
func distance(a, b picture) float64 {
	at := func(p picture, row, col int) float64 {
		if row < 0 || row >= len(p) {
			return 0
		}
		return math.Sqrt(p[row][col])
	}
	least := 1.0
	for shift := -5; shift <= 5; shift++ {
		var differ, total float64
		for row := -5; row < max(len(a), len(b))+5; row++ {
			for col := range columns {
				x, y := at(a, row, col), at(b, row+shift, col)
				differ += math.Abs(x - y)
				total += x + y
			}
		}
		least = min(least, differ/total)
	}
	return least
}

// pitch gives the strongest frequency below 1 kHz in hertz.
func pitch(sound []int16) float64 {
	const size = 1 << 15
	best, at := 0.0, 0
	for k, p := range powers(sound, -(size-len(sound))/2, size) {
		if float64(k)*audio.Rate/size < 1000 && p > best {
			best, at = p, k
		}
	}
	return float64(at) * audio.Rate / size
}
