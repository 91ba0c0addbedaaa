// SPDX-License-Identifier: Apache-2.0

package loudness

import (
	"math"
	"testing"

	"tallyhood/audio"
)

func sine(hertz, seconds, amplitude float64) []float64 {
	wave := make([]float64, int(seconds*audio.Rate))
	for i := range wave {
		wave[i] = amplitude * math.Sin(2*math.Pi*hertz*float64(i)/audio.Rate)
	}
	return wave
}

// The coefficients at 48 kHz are those of tables 1 and 2 of ITU-R BS.1770, from
// memory.
func TestCoefficientsAt48k(t *testing.T) {
	want := [2]section{
		{1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585},
		{1, -2, 1, -1.99004745483398, 0.99007225036621},
	}
	for i, got := range sections(48000) {
		for j, d := range []float64{got.b0 - want[i].b0, got.b1 - want[i].b1, got.b2 - want[i].b2, got.a1 - want[i].a1, got.a2 - want[i].a2} {
			if math.Abs(d) > 1e-7 {
				t.Errorf("filter %d, coefficient %d is off by %g", i+1, j, d)
			}
		}
	}
}

// A sine of 997 Hz at full scale reads -3.01 LKFS (ITU-R BS.1770, from memory).
func TestReferenceSine(t *testing.T) {
	for name, got := range map[string]float64{"gated": Of(sine(997, 2, 1)), "momentary": Momentary(sine(997, 2, 1))} {
		if math.Abs(got+3.01) > 0.03 {
			t.Errorf("%s: %.3f, want -3.01", name, got)
		}
	}
	if got := Of(sine(997, 2, 0.1)); math.Abs(got+23.01) > 0.03 {
		t.Errorf("20 dB down: %.3f", got)
	}
	// The shelf: high pitches are taken for about 3.3 dB louder than 997 Hz.
	if got := Of(sine(8000, 1, 1)); got < 0 || got > 0.8 {
		t.Errorf("8 kHz: %.3f", got)
	}
}

func TestGate(t *testing.T) {
	if Of(nil) != Silence || Of(make([]float64, 1000)) != Silence || Momentary(nil) != Silence {
		t.Error("silence is heard")
	}
	loud := Of(sine(600, 0.5, 0.5))
	soft := append(sine(600, 0.5, 0.5), sine(600, 0.5, 0.05)...)
	if got := Of(soft); math.Abs(got-loud) > 0.1 {
		t.Errorf("a part 20 dB down changes %.2f to %.2f", loud, got)
	}
	if got := Of(append(soft, make([]float64, audio.Rate)...)); math.Abs(got-loud) > 0.1 {
		t.Errorf("a pause changes %.2f to %.2f", loud, got)
	}
	near := append(sine(600, 0.5, 0.5), sine(600, 0.5, 0.25)...)
	if got := Of(near); loud-got < 1.5 || loud-got > 2.5 { // the mean of 0 and -6 dB is -2 dB
		t.Errorf("a part 6 dB down changes %.2f to %.2f", loud, got)
	}
	// 40 ms are a tenth of the block.
	if got := Of(sine(600, 0.04, 0.5)) - Momentary(sine(600, 0.04, 0.5)); math.Abs(got-10) > 0.3 {
		t.Errorf("40 ms are %.2f dB softer on the meter, want 10", got)
	}
}
