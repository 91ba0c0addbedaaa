// SPDX-License-Identifier: Apache-2.0

package dial_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/dial"
	"tallyhood/audio/mix"
	"tallyhood/audio/tone"
)

// words are samples for what is spoken.
var words = func() []int16 {
	s := make([]int16, 1000)
	for i := range s {
		s[i] = int16(8000 * math.Sin(float64(i)/10))
	}
	return s
}()

func sound(c audio.Cue) []int16 {
	if c.Spoken() {
		return words
	}
	return tone.Of(c)
}

func every() []audio.Cue { return append(audio.Cues(), audio.SpokenCues()...) }

func peak(s []int16) float64 {
	most := 0.0
	for _, v := range s {
		most = max(most, math.Abs(float64(v)))
	}
	return most
}

func never(c audio.Cue) bool {
	return slices.Contains([]audio.Cue{audio.Stop, audio.NotValid, audio.Fault, audio.SayStop}, c)
}

// Muted means silent, but for what ends a run or warns of a fault, at every
// volume, with a mixer and without.
func TestMutedButForStopAndFault(t *testing.T) {
	for _, mixer := range []func(int){nil, func(int) {}} {
		for _, volume := range []int{0, 1, 30, 60, 100} {
			d := dial.New(dial.Options{Volume: volume, Muted: true, Sound: sound, Mixer: mixer})
			for _, c := range every() {
				got := d.Of(c)
				if heard := peak(got) > 0; heard != never(c) {
					t.Errorf("%s at %d %%, muted: heard %v", c, volume, heard)
				}
				if !c.Spoken() && len(got) == 0 {
					t.Errorf("%s has no samples: a player would count it as lost", c)
				}
			}
		}
	}
}

// With a mixer or without, a cue comes out at the same level: that of the
// volume, and what is never silent at Least at least.
func TestLevels(t *testing.T) {
	for _, withMixer := range []bool{false, true} {
		level := 100
		var mixer func(int)
		if withMixer {
			mixer = func(p int) { level = p }
		}
		d := dial.New(dial.Options{Volume: 80, Sound: sound, Mixer: mixer})
		for _, volume := range []int{100, 80, 60, 59, 25, 5, 0} {
			d.SetVolume(volume)
			for _, c := range every() {
				want := dial.Gain(volume)
				if never(c) {
					want = dial.Gain(max(volume, dial.Least))
				}
				got := peak(d.Of(c)) / peak(sound(c)) * dial.Gain(level)
				if math.Abs(got-want) > 2e-4 {
					t.Errorf("mixer %v, %s at %d %%: %.5f, want %.5f", withMixer, c, volume, got, want)
				}
			}
		}
	}
	if got := 20 * math.Log10(dial.Gain(100)/dial.Gain(50)); math.Abs(got-18.06) > 0.01 {
		t.Errorf("half the volume is %.2f dB down", got)
	}
}

func TestKept(t *testing.T) {
	var kept []string
	d := dial.New(dial.Options{Volume: 250, Sound: sound, Keep: func(v int, m bool) { kept = append(kept, fmt.Sprint(v, m)) }})
	if d.Volume() != 100 || d.Muted() {
		t.Errorf("%d, %v", d.Volume(), d.Muted())
	}
	d.SetVolume(-5)
	d.SetVolume(45)
	d.Mute(true)
	d.Mute(false)
	if want := []string{"0 false", "45 false", "45 true", "45 false"}; !slices.Equal(kept, want) {
		t.Errorf("kept %q, want %q", kept, want)
	}
}

// Turning the dial moves no cue: at full volume the samples are the very same,
// and at another one they begin and end on the same samples.
func TestPlacementIsUntouched(t *testing.T) {
	d := dial.New(dial.Options{Volume: 100, Sound: sound})
	for _, c := range every() {
		if a, b := d.Of(c), sound(c); len(a) != len(b) || &a[0] != &b[0] {
			t.Errorf("%s is copied at full volume", c)
		}
	}
	d.SetVolume(70)
	m := mix.New(0, d.Of)
	at := 123_456 * time.Microsecond
	m.Place(audio.Placed{Cue: audio.TopUpDue, At: at})
	got := make([]int16, audio.Rate)
	m.Next(got)
	first, of := int(audio.Sample(at)), tone.Of(audio.TopUpDue)
	for i, v := range got {
		want := 0.0
		if i >= first && i < first+len(of) {
			want = math.Round(float64(of[i-first]) * dial.Gain(70))
		}
		if float64(v) != want {
			t.Fatalf("sample %d is %d, want %v", i, v, want)
		}
	}
	if a, b := d.Of(audio.Pass), d.Of(audio.Pass); &a[0] != &b[0] {
		t.Error("a cue is made anew each time")
	}
}
