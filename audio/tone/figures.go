// SPDX-License-Identifier: Apache-2.0

package tone

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/loudness"
)

// Figures are what is measured on the samples of a cue, not what its
// description says.
type Figures struct {
	Length    time.Duration
	Pitches   []float64       // hertz of the fundamental, note by note, at its beginning
	Ends      []float64       // and at its end
	Onsets    []time.Duration // of the notes
	Harmonics []int           // numbers of those within 26 dB of the strongest, 1 being the fundamental
	Centroid  float64         // hertz: the middle of the spectrum, by amplitude
	Loudness  float64         // LKFS while it sounds, as loudness.Of
	Meter     float64         // LKFS of the loudest 400 ms
	Peak      float64         // dB against full scale
	// Above is by how many dB the A-weighted level of the cue must exceed that
	// of a workshop's noise for it to be heard; below 0 it is heard in noise
	// that is louder than itself.
	Above float64
	// Bands is how many third-octave bands stand out when the cue is 15 dB above
	// the noise, the distance that ISO 7731 asks for (from memory).
	Bands int
}

// frame is the step of the pitch track and of the envelope, 10 ms.
const frame = audio.Rate / 100

// Measure gives the figures of a sound.
func Measure(samples []int16) Figures {
	wave := make([]float64, len(samples))
	peak := 0.0
	for i, s := range samples {
		wave[i] = float64(s) / fullScale
		peak = max(peak, math.Abs(wave[i]))
	}
	f := Figures{
		Length: audio.Instant(int64(len(samples))), Loudness: loudness.Of(wave), Meter: loudness.Momentary(wave), Peak: 20 * math.Log10(peak),
	}
	f.notes(Course(wave))
	power := spectrum(wave)
	bin := float64(audio.Rate) / float64(2*len(power))
	sum, weight := 0.0, 0.0
	for k, p := range power {
		sum += math.Sqrt(p) * float64(k) * bin
		weight += math.Sqrt(p)
	}
	f.Centroid = sum / weight
	f.Harmonics = harmonicsOf(power, bin, f.Pitches)
	f.Above, f.Bands = audible(power, bin, soundingFor(wave))
	return f
}

// notes finds the notes of a course. A new one begins after a pause, or where
// the pitch leaps by more than a semitone and then stays for two more frames:
// one frame can hold the end of one note and the beginning of the next.
func (f *Figures) notes(course []float64) {
	near := func(a, b float64) bool { return a != 0 && b != 0 && math.Abs(Semitones(a, b)) <= 1 }
	last := 0.0
	for i, hertz := range course {
		stays := i+2 < len(course) && near(hertz, course[i+1]) && near(course[i+1], course[i+2])
		switch {
		case hertz == 0:
			last = 0
		case near(hertz, last):
			last = hertz
			f.Ends[len(f.Ends)-1] = hertz
		case stays:
			f.Pitches, f.Ends = append(f.Pitches, hertz), append(f.Ends, hertz)
			f.Onsets = append(f.Onsets, audio.Instant(int64(i*frame)))
			last = hertz
		}
	}
}

// Semitones is the distance from one pitch to another.
func Semitones(from, to float64) float64 { return 12 * math.Log2(to/from) }

// Course is the fundamental of each 10 ms of a sound in hertz, from the middle
// of each, 0 where it is more than 20 dB below its loudest. It knows pitches from
// 410 to 950 Hz: the shortest period that the sound repeats itself by.
func Course(wave []float64) []float64 {
	const window, shortest, longest = 3 * frame, audio.Rate / 950, audio.Rate / 410
	padded := make([]float64, len(wave)+2*window+longest)
	copy(padded[window:], wave)
	powers := make([]float64, (len(wave)+frame-1)/frame)
	most := 0.0
	for i := range powers {
		for _, v := range wave[i*frame : min((i+1)*frame, len(wave))] {
			powers[i] += v * v
		}
		most = max(most, powers[i])
	}
	out := make([]float64, len(powers))
	for i, p := range powers {
		if p < most/100 {
			continue
		}
		from := padded[window+i*frame-frame:]
		alike := func(lag int) float64 {
			var xy, xx, yy float64
			for j := range window {
				x, y := from[j], from[j+lag]
				xy, xx, yy = xy+x*y, xx+x*x, yy+y*y
			}
			return xy / math.Sqrt(xx*yy+1e-30)
		}
		all := make([]float64, longest+2)
		best := 0.0
		for lag := shortest; lag <= longest; lag++ {
			all[lag] = alike(lag)
			best = max(best, all[lag])
		}
		all[shortest-1], all[longest+1] = alike(shortest-1), alike(longest+1)
		for lag := shortest; lag <= longest; lag++ {
			// The first peak that is nearly the best: twice a period repeats too.
			if a, b, c := all[lag-1], all[lag], all[lag+1]; b >= 0.9*best && b >= a && b >= c {
				shift := 0.0
				if d := a - 2*b + c; d != 0 {
					shift = (a - c) / (2 * d)
				}
				out[i] = audio.Rate / (float64(lag) + shift)
				break
			}
		}
	}
	return out
}

// soundingFor is how long a sound is within 10 dB of its loudest.
func soundingFor(wave []float64) time.Duration {
	var powers []float64
	most := 0.0
	const step = frame / 5
	for from := 0; from < len(wave); from += step {
		sum := 0.0
		for _, v := range wave[from:min(from+step, len(wave))] {
			sum += v * v
		}
		powers = append(powers, sum)
		most = max(most, sum)
	}
	n := 0
	for _, p := range powers {
		if p >= most/10 {
			n++
		}
	}
	return audio.Instant(int64(n * step))
}

func harmonicsOf(power []float64, bin float64, pitches []float64) []int {
	if len(pitches) == 0 {
		return nil
	}
	// Over all notes: of each the power around its lines.
	var levels [10]float64
	most := 0.0
	for h := 1; h < len(levels); h++ {
		for _, hertz := range pitches {
			middle := hertz * float64(h) / bin
			for k := int(middle * 0.985); k <= int(middle*1.015) && k < len(power); k++ {
				levels[h] = max(levels[h], power[k])
			}
		}
		most = max(most, levels[h])
	}
	var out []int
	for h, p := range levels {
		if h > 0 && p > most*math.Pow(10, -2.6) {
			out = append(out, h)
		}
	}
	return out
}

// spectrum is the power of a whole sound in bins up to half the rate.
func spectrum(wave []float64) []float64 {
	size := 1
	for size < len(wave)+audio.Rate/2 {
		size *= 2
	}
	x := make([]complex128, size)
	for i, v := range wave {
		x[i] = complex(v, 0)
	}
	transform(x)
	out := make([]float64, size/2)
	for k := range out {
		out[k] = real(x[k])*real(x[k]) + imag(x[k])*imag(x[k])
	}
	return out
}

// transform is the radix-2 Fourier transform in place.
func transform(x []complex128) {
	n := len(x)
	for i, j := 1, 0; i < n; i++ {
		bit := n >> 1
		for ; j&bit != 0; bit >>= 1 {
			j ^= bit
		}
		j ^= bit
		if i < j {
			x[i], x[j] = x[j], x[i]
		}
	}
	for size := 2; size <= n; size *= 2 {
		step := cmplx.Rect(1, -2*math.Pi/float64(size))
		for from := 0; from < n; from += size {
			w := complex(1, 0)
			for k := from; k < from+size/2; k++ {
				a, b := x[k], w*x[k+size/2]
				x[k], x[k+size/2] = a+b, a-b
				w *= step
			}
		}
	}
}

// AWeight is the factor in power of the A curve of IEC 61672-1 at a pitch in
// hertz, its formula from memory, to be checked against the official text; it
// is 1 at 1 kHz.
func AWeight(f float64) float64 {
	r := func(f float64) float64 {
		f2 := f * f
		return 12194 * 12194 * f2 * f2 / ((f2 + 20.6*20.6) * math.Sqrt((f2+107.7*107.7)*(f2+737.9*737.9)) * (f2 + 12194*12194))
	}
	return math.Pow(r(f)/r(1000), 2)
}

// bands are the middles of the third-octave bands in which a signal is looked
// for, in hertz, 100 Hz to 6.3 kHz.
func bands() []float64 {
	var out []float64
	for n := -10; n <= 8; n++ {
		out = append(out, 1000*math.Pow(2, float64(n)/3))
	}
	return out
}

// noise is the level of a workshop's noise in each of the bands against the
// others, in dB: the same in every band, as of fans, compressors and traffic at
// once. Common practice, no source.
func noise() []float64 { return make([]float64, len(bands())) }

const (
	// standsOut is how far a third-octave band of a signal must lie above the
	// threshold that the noise masks up to, in dB, for the signal to be clearly
	// heard (ISO 7731, from memory, to be checked against the official text).
	standsOut = 13
	// clear is how far the A-weighted level of a signal should be above that of
	// the noise, in dB (ISO 7731, from memory).
	clear = 15
	// spreads is by how much noise in one third-octave band masks the next
	// higher: 7.5 dB an octave less (ISO 7731, from memory).
	spreads = 2.5
	// integrates is the time over which the ear gathers: the threshold of a
	// shorter sound is higher by 10 dB for a tenth of it (psychoacoustics, from
	// memory).
	integrates = 200 * time.Millisecond
)

// audible says how far above the noise's level the signal's must be, and how
// many bands stand out when it is 15 dB above it.
func audible(power []float64, bin float64, sounding time.Duration) (above float64, stand int) {
	middles, mask := bands(), noise()
	for i := 1; i < len(mask); i++ {
		mask[i] = max(mask[i], mask[i-1]-spreads)
	}
	short := 0.0
	if sounding < integrates {
		short = 10 * math.Log10(float64(integrates)/float64(sounding))
	}
	edge := math.Pow(2, 1.0/6)
	levels := make([]float64, len(middles))
	signalA, noiseA := 0.0, 0.0
	for k := 1; k < len(power); k++ {
		signalA += power[k] * AWeight(float64(k)*bin)
	}
	for i, m := range middles {
		noiseA += math.Pow(10, noise()[i]/10) * AWeight(m)
		for k := int(m / edge / bin); k < int(m*edge/bin) && k < len(power); k++ {
			levels[i] += power[k]
		}
	}
	above = math.Inf(1)
	for i, p := range levels {
		// Against its own A-weighted level, the noise against its own.
		signal := 10*math.Log10(p/signalA+1e-12) - short
		masked := mask[i] - 10*math.Log10(noiseA)
		above = min(above, standsOut-(signal-masked))
		if signal+clear-masked >= standsOut {
			stand++
		}
	}
	return above, stand
}

// Table is the table of all cues in Markdown, measured on their samples.
func Table() string {
	var b strings.Builder
	b.WriteString("| cue | fundamental, Hz | harmonics | notes begin at, ms | length, ms | loudness, LKFS | 400 ms meter, LKFS | peak, dB | spectrum's middle, Hz | heard from, dB | bands |\n")
	b.WriteString("|---|---|---|---|---|---|---|---|---|---|---|\n")
	for _, c := range audio.Cues() {
		f := Measure(Of(c))
		var pitches, onsets, harmonics []string
		for i := range f.Pitches {
			pitch := fmt.Sprintf("%.0f", f.Pitches[i])
			if math.Abs(Semitones(f.Pitches[i], f.Ends[i])) > 1 {
				pitch += fmt.Sprintf(" to %.0f", f.Ends[i])
			}
			pitches = append(pitches, pitch)
			onsets = append(onsets, fmt.Sprint(f.Onsets[i].Milliseconds()))
		}
		for _, h := range f.Harmonics {
			harmonics = append(harmonics, fmt.Sprint(h))
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %d | %.1f | %.1f | %.1f | %.0f | %+.1f | %d |\n", c, strings.Join(pitches, ", "), strings.Join(harmonics, ", "),
			strings.Join(onsets, ", "), f.Length.Milliseconds(), f.Loudness, f.Meter, f.Peak, f.Centroid, f.Above, f.Bands)
	}
	return b.String()
}
