// SPDX-License-Identifier: Apache-2.0

package audio_test

import (
	"math/big"
	"math/rand/v2"
	"testing"
	"time"

	"tallyhood/audio"
)

// nearest is round(at*Rate), half away from zero, in whole numbers of any size.
func nearest(at time.Duration) int64 {
	n := new(big.Int).Mul(big.NewInt(int64(at)), big.NewInt(2*audio.Rate))
	second := big.NewInt(int64(time.Second))
	if at < 0 {
		n.Sub(n, second)
	} else {
		n.Add(n, second)
	}
	return n.Quo(n, big.NewInt(2*int64(time.Second))).Int64()
}

func TestSample(t *testing.T) {
	for at, want := range map[time.Duration]int64{
		0:                         0,
		time.Second:               44100,
		-time.Second:              -44100,
		11337:                     0, // half a sample is 11 337.87 ns
		11338:                     1,
		-11338:                    -1,
		30 * time.Second:          1323000,
		10 * time.Millisecond:     441,
		365 * 24 * time.Hour:      44100 * 31536000,
		365*24*time.Hour + 500000: 44100*31536000 + 22,
	} {
		if got := audio.Sample(at); got != want {
			t.Errorf("Sample(%d ns) = %d, want %d", at, got, want)
		}
	}
	r := rand.New(rand.NewPCG(3, 44100))
	for range 100_000 {
		at := time.Duration(r.Int64() >> r.IntN(62))
		if r.IntN(2) == 0 {
			at = -at
		}
		if got, want := audio.Sample(at), nearest(at); got != want {
			t.Fatalf("Sample(%d ns) = %d, want %d", at, got, want)
		}
		n := audio.Sample(at)
		if back := audio.Sample(audio.Instant(n)); back != n {
			t.Fatalf("Sample(Instant(%d)) = %d", n, back)
		}
	}
}

func TestCuesAreListedOnce(t *testing.T) {
	seen := map[audio.Cue]bool{}
	for _, c := range audio.Cues() {
		if c == "" || seen[c] {
			t.Errorf("cue %q is empty or listed twice", c)
		}
		seen[c] = true
	}
	for _, c := range []audio.Cue{audio.Stop, audio.NotValid, audio.Fault} {
		if !seen[c] || !c.Urgent() {
			t.Errorf("%q is not a listed urgent cue", c)
		}
	}
	if audio.Pass.Urgent() || audio.SqueezeCounted.Urgent() {
		t.Error("a cue that warns of nothing is urgent")
	}
}

func TestSpokenCuesAreListedOnce(t *testing.T) {
	seen := map[audio.Cue]bool{}
	for _, c := range audio.Cues() {
		seen[c] = true
		if c.Spoken() {
			t.Errorf("%q is listed as a tone and spoken", c)
		}
	}
	for _, c := range audio.SpokenCues() {
		if seen[c] || !c.Spoken() || c.Urgent() {
			t.Errorf("%q is listed twice, is not spoken, or is urgent", c)
		}
		seen[c] = true
	}
	// The ids of the exercises, as the record names them.
	ids := []string{
		"normal_breathing", "deep_breathing", "head_side_to_side", "head_up_and_down",
		"talking", "bending_over", "normal_breathing_again",
	}
	for i, id := range ids {
		if c, ok := audio.SayExercise(id); !ok || c != audio.SpokenExercises()[i] || !seen[c] {
			t.Errorf("exercise %q: %q, %v", id, c, ok)
		}
	}
	for _, id := range []string{"", "stop", "squeezes_5", "grimace"} {
		if c, ok := audio.SayExercise(id); ok {
			t.Errorf("%q is no exercise and is said as %q", id, c)
		}
	}
	for n := range 40 {
		c, ok := audio.SaySqueezes(n)
		if want := n == 5 || n == 10 || n == 15 || n == 20 || n == 30; ok != want || ok && !seen[c] {
			t.Errorf("%d squeezes: %q, %v", n, c, ok)
		}
	}
}
