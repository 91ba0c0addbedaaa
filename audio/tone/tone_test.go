// SPDX-License-Identifier: Apache-2.0

package tone_test

import (
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/tone"
)

func db(ratio float64) float64 { return 20 * math.Log10(ratio) }

// heard gives the loudness of a sound in LKFS while it is within 10 dB of its
// loudest, computed apart from the code under test: by the spectrum, whose bins
// are weighted with the response of the two filters that tables 1 and 2 of
// ITU-R BS.1770 give for 48 kHz (from memory), and the time that it sounds.
func heard(sound []int16) float64 {
	response := func(f float64, b, a [3]float64) float64 {
		z := cmplx.Rect(1, -2*math.Pi*f/48000)
		h := cmplx.Abs((complex(b[0], 0) + complex(b[1], 0)*z + complex(b[2], 0)*z*z) / (complex(a[0], 0) + complex(a[1], 0)*z + complex(a[2], 0)*z*z))
		return h * h
	}
	var stretches [][]int16
	most := 0.0
	power := func(piece []int16) float64 {
		sum := 0.0
		for _, s := range piece {
			sum += float64(s) * float64(s)
		}
		return sum
	}
	for piece := range slices.Chunk(sound, audio.Rate/100) {
		stretches = append(stretches, piece)
		most = max(most, power(piece))
	}
	inside, all := 0.0, 0.0
	count := 0
	for _, piece := range stretches {
		p := power(piece)
		all += p
		if p >= most/10 {
			inside += p
			count++
		}
	}
	const size = 1 << 16
	x := make([]complex128, size)
	for i, s := range sound {
		x[i] = complex(float64(s)/32768, 0)
	}
	fft(x)
	weighted := 0.0
	for k := 1; k < size/2; k++ {
		f := float64(k) * audio.Rate / size
		p := real(x[k])*real(x[k]) + imag(x[k])*imag(x[k])
		weighted += 2 * p / size *
			response(f, [3]float64{1.53512485958697, -2.69169618940638, 1.19839281085285}, [3]float64{1, -1.69065929318241, 0.73248077421585}) *
			response(f, [3]float64{1, -2, 1}, [3]float64{1, -1.99004745483398, 0.99007225036621})
	}
	return -0.691 + 10*math.Log10(weighted*inside/all/float64(count*audio.Rate/100))
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

// All cues are equally loud within 1 dB, by a way of computing of its own.
func TestLoudnessAndPeak(t *testing.T) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range audio.Cues() {
		sound := tone.Of(c)
		level := heard(sound)
		low, high = min(low, level), max(high, level)
		if f := tone.Measure(sound); math.Abs(f.Loudness-tone.Loudness) > 0.05 {
			t.Errorf("%s: %.2f LKFS, want %.1f", c, f.Loudness, tone.Loudness)
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
		t.Logf("%-16s %4d ms, %.2f LKFS, peak %.2f dBFS", c, len(sound)*1000/audio.Rate, level, db(peak))
	}
	t.Logf("loudness from %.2f to %.2f LKFS", low, high)
	if high-low > 1 || math.Abs(low-tone.Loudness) > 0.5 || math.Abs(high-tone.Loudness) > 0.5 {
		t.Errorf("loudness from %.2f to %.2f LKFS", low, high)
	}
}

func TestLengths(t *testing.T) {
	most := map[audio.Cue]time.Duration{
		// Squeezes come up to five a second; neither these nor what answers
		// them may run into the next.
		audio.SqueezeCounted: 60 * time.Millisecond,
		audio.Tick:           40 * time.Millisecond,
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

// A stretch of sound in the three ways in which ears tell cues apart.
type sketch struct {
	length   float64 // s
	envelope []float64
	course   []float64 // hertz, each 10 ms; 0: too soft
	centroid float64
}

func sketchOf(sound []int16) sketch {
	wave := make([]float64, len(sound))
	for i, s := range sound {
		wave[i] = float64(s) / 32768
	}
	s := sketch{length: float64(len(sound)) / audio.Rate, course: tone.Course(wave), centroid: tone.Measure(sound).Centroid}
	most := 0.0
	for piece := range slices.Chunk(wave, audio.Rate/100) {
		sum := 0.0
		for _, v := range piece {
			sum += v * v
		}
		s.envelope = append(s.envelope, math.Sqrt(sum))
		most = max(most, math.Sqrt(sum))
	}
	for i := range s.envelope {
		s.envelope[i] /= most
	}
	return s
}

// What untrained ears notice, several times over since the ears here are busy.
// Just noticeable are, from memory of psychoacoustics, to be checked: 0.5 % of
// pitch, 10 % of a length of time, and 5 % of the middle of the spectrum.
const (
	pitchApart  = 2.0  // semitones on average, some 25 just noticeable steps
	rhythmApart = 0.35 // of the sound's time with sound in one and none in the other
	timbreApart = 1.25 // ratio of the middles of the spectra, five steps
)

// ways says in which ways two sounds differ, as multiples of that.
func ways(a, b sketch) (rhythm, pitch, timbre float64, text string) {
	differ, total := 0.0, 0.0
	semitones, n := 0.0, 0
	for i := range max(len(a.envelope), len(b.envelope)) {
		var x, y float64
		if i < len(a.envelope) {
			x = a.envelope[i]
		}
		if i < len(b.envelope) {
			y = b.envelope[i]
		}
		differ += math.Abs(x - y)
		total += max(x, y)
		if i < len(a.course) && i < len(b.course) && a.course[i] > 0 && b.course[i] > 0 {
			semitones += math.Abs(tone.Semitones(a.course[i], b.course[i]))
			n++
		}
	}
	r, p, c := differ/total, semitones/float64(max(n, 1)), max(a.centroid/b.centroid, b.centroid/a.centroid)
	return r / rhythmApart, p / pitchApart, math.Log(c) / math.Log(timbreApart), fmt.Sprintf("rhythm %.2f, pitch %.1f semitones, spectrum %.2f", r, p, c)
}

// Any two cues differ in two ways out of rhythm, pitch and timbre, or in one of
// them twice over; the steps of the count, which mean the same but for the
// number, at least in pitch. What ends a run or warns of a fault differs from
// all others in rhythm, whatever else.
func TestToldApartInTwoWays(t *testing.T) {
	count := []audio.Cue{audio.Count5, audio.Count4, audio.Count3, audio.Count2, audio.Count1}
	all := audio.Cues()
	sketches := map[audio.Cue]sketch{}
	for _, c := range all {
		sketches[c] = sketchOf(tone.Of(c))
	}
	for i, a := range all {
		for _, b := range all[:i] {
			rhythm, pitch, timbre, text := ways(sketches[a], sketches[b])
			n := min(int(rhythm), 2) + min(int(pitch), 2) + min(int(timbre), 2)
			switch {
			case slices.Contains(count, a) && slices.Contains(count, b):
				if pitch < 1 {
					t.Errorf("%s and %s: %s", a, b, text)
				}
			case n < 2:
				t.Errorf("%s and %s are too alike: %s", a, b, text)
			case rhythm < 1 && a.Urgent() != b.Urgent():
				t.Errorf("%s and %s have one rhythm: %s", a, b, text)
			}
		}
	}
	if r, p, c, text := ways(sketches[audio.Stop], sketchOf(tone.Make(audio.Stop))); r+p+c > 0.01 {
		t.Errorf("stop differs from itself: %s", text)
	}
}

// Every cue is clearly heard when it is 15 dB above the noise of a workshop, and
// what ends a run or warns of a fault stands out in several places of the
// spectrum, so that no one saw or fan hides it.
func TestHeardInNoise(t *testing.T) {
	for _, c := range audio.Cues() {
		f := tone.Measure(tone.Of(c))
		want := 1
		if c.Urgent() {
			want = 3
		}
		if f.Bands < want || f.Above > 15 {
			t.Errorf("%s: %d bands stand out, want %d; heard from %+.1f dB", c, f.Bands, want, f.Above)
		}
		t.Logf("%-16s heard from %+.1f dB, %d bands", c, f.Above, f.Bands)
	}
	// What must not be found: noise of the same kind as the workshop's.
	r := rand.New(rand.NewPCG(5, 6))
	noise := make([]int16, audio.Rate)
	var a, b, c float64 // three slow followers of white noise make it pink
	for i := range noise {
		white := 2*r.Float64() - 1
		a, b, c = 0.99765*a+0.099*white, 0.963*b+0.2965*white, 0.57*c+1.0527*white
		noise[i] = int16(2000 * (a + b + c + 0.1848*white))
	}
	if f := tone.Measure(noise); f.Above < 11 || f.Above > 15 {
		t.Errorf("noise stands out of its like from %+.1f dB, want about 13", f.Above)
	}
}

// The fundamentals that are measured lie from 440 to 880 Hz, and every cue that
// is longer than a knock has harmonics up to 4 kHz, none beyond.
func TestFundamentals(t *testing.T) {
	for _, c := range audio.Cues() {
		f := tone.Measure(tone.Of(c))
		if len(f.Pitches) == 0 {
			t.Errorf("%s has no pitch", c)
		}
		for i, hertz := range append(f.Pitches, f.Ends...) {
			if hertz < 425 || hertz > 900 {
				t.Errorf("%s: note %d at %.0f Hz", c, i, hertz)
			}
			if last := float64(f.Harmonics[len(f.Harmonics)-1]) * hertz; i < len(f.Pitches) && len(f.Pitches) == 1 && last > 4100 {
				t.Errorf("%s: a harmonic at %.0f Hz", c, last)
			}
		}
		if len(f.Harmonics) < 3 {
			t.Errorf("%s has harmonics %v only", c, f.Harmonics)
		}
	}
}

var update = flag.Bool("update", false, "write the table of the cues anew")

// The table beside this package is that of the samples.
func TestTable(t *testing.T) {
	got := tone.Table()
	if *update {
		if err := os.WriteFile("tones.md", []byte(tableHead+got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b, err := os.ReadFile("tones.md")
	if err != nil {
		t.Fatal(err)
	}
	have, ok := strings.CutPrefix(string(b), tableHead)
	a, w := strings.Fields(got), strings.Fields(have)
	if !ok || len(a) != len(w) {
		t.Fatalf("tones.md is not the table of these cues; write it with: go test ./audio/tone -run TestTable -update")
	}
	for i := range a {
		x, errX := strconv.ParseFloat(strings.TrimSuffix(a[i], ","), 64)
		y, errY := strconv.ParseFloat(strings.TrimSuffix(w[i], ","), 64)
		switch {
		case errX != nil || errY != nil:
			if a[i] != w[i] {
				t.Errorf("field %d is %q, in tones.md %q", i, a[i], w[i])
			}
		case math.Abs(x-y) > 0.15+0.01*math.Abs(x): // another processor rounds otherwise
			t.Errorf("field %d is %v, in tones.md %v", i, x, y)
		}
	}
}

const tableHead = `# The cues in figures

Measured on the samples by ` + "`go test ./audio/tone -run TestTable -update`" + `. Loudness is by the K curve of ITU-R BS.1770 while the cue
sounds; the meter's figure is over 400 ms and falls for short cues, as the ear's loudness does. "Heard from" is by how many dB(A) the
cue must be above a workshop's noise (alike in all third-octave bands) for one band to stand 13 dB above what is masked, and "bands"
how many do at 15 dB above it: notions of ISO 7731 from memory, to be checked against the official text; no conformity is claimed.

`

func BenchmarkMakeAll(b *testing.B) {
	for b.Loop() {
		for _, c := range audio.Cues() {
			if tone.Make(c) == nil {
				b.Fatal("no sound")
			}
		}
	}
}
