// SPDX-License-Identifier: Apache-2.0

package voice

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tallyhood/audio"
	"tallyhood/audio/loudness"
	"tallyhood/audio/wav"
)

func sine(rate int, hertz, seconds, amplitude float64) []float64 {
	wave := make([]float64, int(seconds*float64(rate)))
	for i := range wave {
		wave[i] = amplitude * math.Sin(2*math.Pi*hertz*float64(i)/float64(rate))
	}
	return wave
}

// level gives the amplitude of one pitch in the middle of a sound, in dB below
// full scale, under a Blackman window.
func level(wave []float64, rate int, hertz float64) float64 {
	wave = wave[len(wave)/4 : 3*len(wave)/4]
	re, im, sum := 0.0, 0.0, 0.0
	for i, v := range wave {
		x := 2 * math.Pi * float64(i) / float64(len(wave))
		w := 0.42 - 0.5*math.Cos(x) + 0.08*math.Cos(2*x)
		a := 2 * math.Pi * hertz * float64(i) / float64(rate)
		re, im, sum = re+w*v*math.Cos(a), im+w*v*math.Sin(a), sum+w
	}
	return 20 * math.Log10(2*math.Hypot(re, im)/sum)
}

func TestResample(t *testing.T) {
	for _, rate := range []int{8000, 11025, 16000, 22050, 24000, 32000, 44100, 48000, 88200, 96000, 192000} {
		nyquist := float64(min(rate, audio.Rate)) / 2
		worst, image := 0.0, math.Inf(-1)
		for _, part := range []float64{0.05, 0.2, 0.5, 0.8} {
			hertz := part * nyquist
			got, err := resample(sine(rate, hertz, 0.25, 0.5), rate, audio.Rate)
			if err != nil {
				t.Fatal(err)
			}
			if len(got) < audio.Rate/4-1 || len(got) > audio.Rate/4+1 {
				t.Fatalf("%d: a quarter of a second became %d samples", rate, len(got))
			}
			worst = max(worst, math.Abs(level(got, audio.Rate, hertz)+20*math.Log10(2)))
			if mirror := float64(rate) - hertz; mirror < audio.Rate/2 && rate < audio.Rate {
				image = max(image, level(got, audio.Rate, mirror))
			}
		}
		// What the new rate cannot hold must not come back at another pitch.
		for _, part := range []float64{1.05, 1.3, 1.7} {
			if hertz := part * nyquist; hertz < float64(rate)/2 {
				got, err := resample(sine(rate, hertz, 0.25, 0.5), rate, audio.Rate)
				if err != nil {
					t.Fatal(err)
				}
				image = max(image, level(got, audio.Rate, audio.Rate-hertz))
			}
		}
		t.Logf("%6d: pitches to 0.8 of Nyquist within %.4f dB, images at most %.0f dB", rate, worst, image)
		if worst > 0.02 {
			t.Errorf("%d: a pitch is off by %.3f dB", rate, worst)
		}
		if image > -80 {
			t.Errorf("%d: an image at %.1f dB", rate, image)
		}
	}
	for _, rate := range []int{44101, 12345} {
		if _, err := resample(make([]float64, 100), rate, audio.Rate); err == nil {
			t.Errorf("a rate of %d is taken", rate)
		}
	}
}

// A click stays where it is: the filter shifts nothing.
func TestResampleKeepsTime(t *testing.T) {
	for _, rate := range []int{16000, 22050, 48000, 96000} {
		wave := make([]float64, rate)
		wave[rate/2] = 1
		got, err := resample(wave, rate, audio.Rate)
		if err != nil {
			t.Fatal(err)
		}
		most := 0
		for i, v := range got {
			if v > got[most] {
				most = i
			}
		}
		if most < audio.Rate/2-1 || most > audio.Rate/2+1 {
			t.Errorf("%d: a click at 0.5 s is at sample %d", rate, most)
		}
	}
}

func TestTrim(t *testing.T) {
	wave := slices.Concat(make([]float64, audio.Rate/2), sine(audio.Rate, 500, 0.3, 0.5), make([]float64, audio.Rate))
	// A floor of noise 60 dB down is silence.
	r := rand.New(rand.NewPCG(1, 2))
	for i := range wave {
		wave[i] += 0.0005 * (2*r.Float64() - 1)
	}
	got := trim(wave)
	if s := float64(len(got)) / audio.Rate; s < 0.34 || s > 0.37 {
		t.Errorf("0.3 s between silence became %.3f s, want that and 50 ms", s)
	}
	if n := len(trim(make([]float64, audio.Rate))); n != 0 {
		t.Errorf("%d samples are left of silence", n)
	}
	if n := len(trim(nil)); n != 0 {
		t.Errorf("%d samples are left of nothing", n)
	}
}

func TestLimit(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		wave := make([]float64, 1+r.IntN(4000))
		for i := range wave {
			wave[i] = math.Pow(2, 4*r.Float64()-2) * (2*r.Float64() - 1)
		}
		before := slices.Clone(wave)
		limit(wave)
		for i, v := range wave {
			if math.Abs(v) > peak+1e-12 {
				t.Fatalf("sample %d of %d is %v", i, len(wave), v)
			}
			if math.Abs(v) > math.Abs(before[i])+1e-12 || v*before[i] < 0 {
				t.Fatalf("sample %d went from %v to %v", i, before[i], v)
			}
		}
	}
	quiet := sine(audio.Rate, 500, 0.1, peak)
	before := slices.Clone(quiet)
	if limit(quiet); !slices.Equal(quiet, before) {
		t.Error("a sound below the limit is changed")
	}
}

// measure gives level and peak in dB below full scale.
func measure(samples []int16) (lkfs, top float64) {
	wave := make([]float64, len(samples))
	most := 0.0
	for i, v := range samples {
		wave[i] = float64(v) / fullScale
		most = max(most, math.Abs(wave[i]))
	}
	return loudness.Of(wave), 20 * math.Log10(most)
}

// Whatever comes in, a cue is as loud as the others.
func TestShape(t *testing.T) {
	pulses := make([]float64, 48000)
	for i := 4800; i < 43200; i += 400 { // a hard voice: a throat that strikes a resonance of 600 Hz
		for j := range 400 {
			at := float64(j) / 48000
			pulses[i+j] = 0.01 * math.Exp(-at/0.0015) * math.Sin(2*math.Pi*600*at)
		}
	}
	off := sine(16000, 300, 0.5, 0.1)
	for i := range off {
		off[i] += 0.3
	}
	for name, s := range map[string]wav.Sound{
		"quiet":             {Rate: 44100, Wave: sine(44100, 700, 0.4, 0.001)},
		"loud":              {Rate: 22050, Wave: sine(22050, 700, 0.4, 1)},
		"pulses":            {Rate: 48000, Wave: pulses},
		"off its middle":    {Rate: 16000, Wave: off},
		"larger than scale": {Rate: 48000, Wave: sine(48000, 400, 0.5, 1e6)},
	} {
		got, err := shape(s)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		lkfs, top := measure(got)
		t.Logf("%s: %.2f dB, peak %.2f dB", name, lkfs, top)
		if math.Abs(lkfs+18) > 0.3 || top > -6 {
			t.Errorf("%s: %.2f dB with a peak of %.2f dB, want -18 and at most -6", name, lkfs, top)
		}
		if got[0] != 0 || got[len(got)-1] != 0 {
			t.Errorf("%s: begins with %d and ends with %d: it clicks", name, got[0], got[len(got)-1])
		}
	}
	for name, s := range map[string]wav.Sound{
		"silence":  {Rate: 44100, Wave: make([]float64, 1000)},
		"nothing":  {Rate: 44100},
		"too long": {Rate: 44100, Wave: sine(44100, 400, 7, 0.5)},
		"an hour":  {Rate: 8000, Wave: make([]float64, 8000*3600)},
		"odd rate": {Rate: 44101, Wave: sine(44101, 400, 0.1, 0.5)},
	} {
		if got, err := shape(s); err == nil {
			t.Errorf("%s: %d samples", name, len(got))
		}
	}
}
