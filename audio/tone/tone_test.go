// SPDX-License-Identifier: Apache-2.0

package tone_test

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/tone"
)

func db(ratio float64) float64 { return 20 * math.Log10(ratio) }

// rms gives the root mean square against full scale over the 10 ms stretches
// that lie within 10 dB of the loudest, written apart from the code under test.
func rms(sound []int16) float64 {
	var all []float64
	for piece := range slices.Chunk(sound, audio.Rate/100) {
		sum := 0.0
		for _, s := range piece {
			sum += float64(s) / 32768 * float64(s) / 32768
		}
		all = append(all, sum/(audio.Rate/100))
	}
	most := slices.Max(all)
	all = slices.DeleteFunc(all, func(p float64) bool { return 10*math.Log10(p/most) < -10 })
	sum := 0.0
	for _, p := range all {
		sum += p
	}
	return math.Sqrt(sum / float64(len(all)))
}

func TestEveryCueSounds(t *testing.T) {
	doc, err := os.ReadFile("tone.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range audio.Cues() {
		sound := tone.Of(c)
		if len(sound) == 0 {
			t.Errorf("%s has no sound", c)
			continue
		}
		if again := tone.Make(c); !slices.Equal(again, sound) {
			t.Errorf("%s does not sound the same twice", c)
		}
		if !strings.Contains(string(doc), "\n//\t"+string(c)+" ") {
			t.Errorf("the table of the package does not say how %s sounds", c)
		}
	}
	if tone.Of("no such cue") != nil || tone.Make("no such cue") != nil {
		t.Error("an unknown cue has a sound")
	}
}

func TestLevelAndPeak(t *testing.T) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range audio.Cues() {
		sound := tone.Of(c)
		level := db(rms(sound))
		if math.Abs(level+18) > 0.1 {
			t.Errorf("%s: level %.2f dBFS, want -18", c, level)
		}
		peak := 0.0
		for _, s := range sound {
			peak = max(peak, math.Abs(float64(s))/32768)
		}
		// -1 dBFS would do for a lone cue; 0.4 of full scale lets any two
		// overlap without the mixer having to bend the sum.
		if peak > 0.4 {
			t.Errorf("%s: peak %.2f dBFS, want at most -7.96", c, db(peak))
		}
		// How loud the ear takes it for: the same level weighted by the A curve.
		const size = 1 << 16
		var plain, weighted float64
		for k, p := range powers(sound, -(size-len(sound))/2, size) {
			plain += p
			if k > 0 {
				weighted += p * aWeight(float64(k)*audio.Rate/size)
			}
		}
		heard := level + 10*math.Log10(weighted/plain)
		low, high = min(low, heard), max(high, heard)
		t.Logf("%-16s %4d ms, level %.2f dBFS, peak %.2f dBFS, A-weighted %.2f dB", c, len(sound)*1000/audio.Rate, level, db(peak), heard)
	}
	if high-low > 3 {
		t.Errorf("A-weighted levels from %.1f to %.1f dB: more than 3 dB apart", low, high)
	}
}

func TestLevelOfKnownSounds(t *testing.T) {
	wave := make([]float64, audio.Rate)
	if got := tone.Level(wave); got != 0 {
		t.Errorf("silence has level %v", got)
	}
	for i := range audio.Rate / 2 {
		wave[i] = 0.5 * math.Sin(2*math.Pi*400*float64(i)/audio.Rate)
	}
	if got, want := tone.Level(wave), 0.5/math.Sqrt2; math.Abs(got-want) > 1e-9 {
		t.Errorf("a sine and as much silence have level %v, want %v", got, want)
	}
	for i := audio.Rate / 2; i < audio.Rate; i++ {
		wave[i] = 0.05 * math.Sin(2*math.Pi*400*float64(i)/audio.Rate)
	}
	if got, want := tone.Level(wave), 0.5/math.Sqrt2; math.Abs(got-want) > 1e-9 {
		t.Errorf("a part 20 dB down changes the level to %v, want %v", got, want)
	}
}

func TestLengths(t *testing.T) {
	most := map[audio.Cue]time.Duration{
		// Squeezes come up to five a second; neither these nor what answers
		// them may run into the next.
		audio.SqueezeCounted: 60 * time.Millisecond,
		audio.Count5:         100 * time.Millisecond,
		audio.Count4:         100 * time.Millisecond,
		audio.Count3:         100 * time.Millisecond,
		audio.Count2:         100 * time.Millisecond,
		audio.Count1:         200 * time.Millisecond,
		audio.GoOn:           250 * time.Millisecond,
		audio.Reported:       250 * time.Millisecond,
		audio.Refused:        250 * time.Millisecond,
	}
	for _, c := range audio.Cues() {
		limit, ok := most[c]
		if !ok {
			limit = 900 * time.Millisecond
		}
		if got := audio.Instant(int64(len(tone.Of(c)))); got > limit || got < 20*time.Millisecond {
			t.Errorf("%s lasts %v, want 20 ms to %v", c, got, limit)
		}
	}
}

// A click is a step, and a step has power at every frequency. So a cue begins
// and ends near zero and nowhere has power above 8 kHz.
func TestNoClicks(t *testing.T) {
	for _, c := range audio.Cues() {
		sound := tone.Of(c)
		for i := range 8 {
			if s := sound[i]; s < -160 || s > 160 {
				t.Errorf("%s: sample %d is %d", c, i, s)
			}
			if s := sound[len(sound)-1-i]; s < -160 || s > 160 {
				t.Errorf("%s: sample %d from the end is %d", c, i, s)
			}
		}
		// Short windows, so that a click cannot hide in a long one.
		const size = 256
		worst, loudest := 0.0, 0.0
		for from := -size / 2; from < len(sound); from += size / 4 {
			high, all := 0.0, 0.0
			for k, p := range powers(sound, from, size) {
				all += p
				if float64(k)*audio.Rate/size > 8000 {
					high += p
				}
			}
			worst, loudest = max(worst, high), max(loudest, all)
		}
		if ratio := 10 * math.Log10(worst/loudest); ratio > -60 {
			t.Errorf("%s: a stretch has %.1f dB of its loudest above 8 kHz, want under -60", c, ratio)
		}
	}
}

// The check above finds the clicks it is for.
func TestClickIsFound(t *testing.T) {
	sound := slices.Clone(tone.Of(audio.FiveSeconds))
	cut := sound[:len(sound)*3/4] // ends loud
	const size = 256
	high, all := 0.0, 0.0
	for k, p := range powers(cut, len(cut)-size/2, size) {
		all += p
		if float64(k)*audio.Rate/size > 8000 {
			high += p
		}
	}
	if ratio := 10 * math.Log10(high/all); ratio < -60 {
		t.Errorf("a cue cut short has only %.1f dB above 8 kHz", ratio)
	}
}

func TestPitchRange(t *testing.T) {
	for _, c := range audio.Cues() {
		sound := tone.Of(c)
		const size = 1 << 16
		var inside, all float64
		for k, p := range powers(sound, -(size-len(sound))/2, size) {
			all += p
			if f := float64(k) * audio.Rate / size; f >= 380 && f <= 4200 {
				inside += p
			}
		}
		if inside/all < 0.995 {
			t.Errorf("%s: %.2f %% of the power lies outside 380 to 4200 Hz", c, 100*(1-inside/all))
		}
	}
}

func TestCountGoesDownAStair(t *testing.T) {
	stair := []audio.Cue{audio.Count5, audio.Count4, audio.Count3, audio.Count2, audio.Count1}
	for i, c := range stair {
		f := pitch(tone.Of(c))
		t.Logf("%s: %.1f Hz", c, f)
		if want := 880 * math.Pow(2, -float64(i)/4); math.Abs(12*math.Log2(f/want)) > 0.3 {
			t.Errorf("%s: %.1f Hz, want %.1f", c, f, want)
		}
	}
	if len(tone.Of(audio.Count1)) < 3*len(tone.Of(audio.Count2))/2 {
		t.Error("the last of the count is not longer than the others")
	}
}

// Any two cues are at least 0.4 apart on the scale of distance, and those that
// end a run or warn at least 0.6 from each other and from every other cue.
func TestToldApart(t *testing.T) {
	grave := []audio.Cue{audio.Stop, audio.NotValid, audio.Fault, audio.Pass}
	all := audio.Cues()
	pictures := make([]picture, len(all))
	for i, c := range all {
		pictures[i] = pictureOf(tone.Of(c))
	}
	nearest := map[bool]float64{true: 1, false: 1}
	for i, a := range all {
		if d := distance(pictures[i], pictures[i]); d > 1e-9 {
			t.Errorf("%s is %.3f from itself", a, d)
		}
		for j, b := range all[:i] {
			isGrave := slices.Contains(grave, a) || slices.Contains(grave, b)
			want := 0.4
			if isGrave {
				want = 0.6
			}
			d := distance(pictures[i], pictures[j])
			if d < want {
				t.Errorf("%s and %s are %.3f apart, want %.1f", a, b, d, want)
			}
			if d < nearest[isGrave] {
				nearest[isGrave] = d
				t.Logf("nearest so far (grave %v): %s and %s, %.3f", isGrave, a, b, d)
			}
		}
	}
}

// A sound that is only delayed, or only softer by 1 dB, is the same sound to
// the measure: it cannot pass as told apart.
func TestDistanceIgnoresWhatIsTheSame(t *testing.T) {
	sound := tone.Of(audio.Fault)
	late := append(make([]int16, 2*hop), sound...)
	soft := slices.Clone(sound)
	for i := range soft {
		soft[i] = int16(float64(soft[i]) * 0.891)
	}
	for name, other := range map[string][]int16{"late": late, "soft": soft} {
		if d := distance(pictureOf(sound), pictureOf(other)); d > 0.1 {
			t.Errorf("%s: %.3f", name, d)
		}
	}
}

func BenchmarkMakeAll(b *testing.B) {
	for b.Loop() {
		for _, c := range audio.Cues() {
			if tone.Make(c) == nil {
				b.Fatal("no sound")
			}
		}
	}
}
