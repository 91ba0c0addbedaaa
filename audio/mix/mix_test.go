// SPDX-License-Identifier: Apache-2.0

package mix_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/mix"
	"tallyhood/audio/tone"
)

// marks gives sounds whose every sample tells where it belongs: cue "a" is 100,
// 101, 102, ... and "b" is 1000, 1001, ...
func marks(c audio.Cue) []int16 {
	sound := make([]int16, 7)
	switch c {
	case "a", "b":
		for i := range sound {
			sound[i] = map[audio.Cue]int16{"a": 100, "b": 1000}[c] + int16(i)
		}
		return sound
	}
	return nil
}

func read(m *mix.Mixer, sizes ...int) []int16 {
	var all []int16
	for _, n := range sizes {
		block := make([]int16, n)
		for i := range block {
			block[i] = 9999 // must be overwritten
		}
		m.Next(block)
		all = append(all, block...)
	}
	return all
}

func place(t *testing.T, m *mix.Mixer, c audio.Cue, at time.Duration) {
	t.Helper()
	if !m.Place(audio.Placed{Cue: c, At: at}) {
		t.Fatalf("%q was not taken", c)
	}
}

func TestOverlapOnExactSamples(t *testing.T) {
	want := []int16{0, 0, 0, 100, 101, 1102, 1104, 1106, 1108, 1110, 1005, 1006, 0, 0, 0, 0}
	for _, sizes := range [][]int{{16}, {1, 2, 3, 4, 5, 1}, {3, 2, 11}, {4, 12}, {15, 1}} {
		m := mix.New(0, marks)
		place(t, m, "b", audio.Instant(5))
		place(t, m, "a", audio.Instant(3))
		if got := read(m, sizes...); !slices.Equal(got, want) {
			t.Errorf("blocks of %v: %v, want %v", sizes, got, want)
		}
		if m.At() != 16 || m.Waiting() != 0 || m.Quiet() != -1 {
			t.Errorf("blocks of %v: ends at %d, waiting %d, quiet %d", sizes, m.At(), m.Waiting(), m.Quiet())
		}
	}
}

func TestLateCueBeginsAtOnce(t *testing.T) {
	m := mix.New(audio.Sample(5*time.Second), marks)
	place(t, m, "a", 4*time.Second)
	if got, want := read(m, 8), []int16{100, 101, 102, 103, 104, 105, 106, 0}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestUnknownCue(t *testing.T) {
	m := mix.New(0, marks)
	if m.Place(audio.Placed{Cue: "no such cue"}) || m.Waiting() != 0 {
		t.Error("a cue without a sound was taken")
	}
}

func TestQuietJumpDropBreak(t *testing.T) {
	m := mix.New(0, marks)
	place(t, m, "a", audio.Instant(10))
	place(t, m, "b", audio.Instant(100))
	if q := m.Quiet(); q != 10 {
		t.Errorf("quiet for %d, want 10", q)
	}
	if !m.Next(make([]int16, 10)) || m.Quiet() != 0 {
		t.Error("the silence before a cue is not silent, or the cue is not due after it")
	}
	if m.Next(make([]int16, 2)) || m.Quiet() != 0 {
		t.Error("a cue is silent")
	}
	// The loudspeaker goes away two samples into the first cue.
	if lost := m.Break(func(p audio.Placed) bool { return p.Cue == "a" }); lost != 0 || m.Waiting() != 2 {
		t.Errorf("lost %d, waiting %d", lost, m.Waiting())
	}
	m.Jump(95)
	if got, want := read(m, 8), []int16{100, 101, 102, 103, 104, 1105, 1107, 1002}; !slices.Equal(got, want) {
		t.Errorf("after the jump %v, want %v", got, want)
	}
	if lost := m.Break(func(audio.Placed) bool { return false }); lost != 1 {
		t.Errorf("lost %d, want the one that was sounding", lost)
	}
	place(t, m, "a", audio.Instant(200))
	place(t, m, "b", audio.Instant(300))
	if n := m.Drop(func(p audio.Placed) bool { return p.At < audio.Instant(250) }); n != 1 || m.Waiting() != 1 {
		t.Errorf("dropped %d, waiting %d", n, m.Waiting())
	}
}

// Against the plain way: a whole track in one buffer. Random cues, random
// blocks, instants of a board that has been up for weeks.
func TestAgainstWholeTrack(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 44100))
	for range 50 {
		start := time.Duration(r.Int64N(int64(60 * 24 * time.Hour)))
		base := audio.Sample(start)
		plain := make([]int32, 5*audio.Rate)
		m := mix.New(base, tone.Of)
		for range 6 {
			p := audio.Placed{
				Cue: audio.Cues()[r.IntN(len(audio.Cues()))],
				At:  start + time.Duration(r.Int64N(int64(4*time.Second))),
			}
			if !m.Place(p) {
				t.Fatal(p.Cue, "has no sound")
			}
			for i, v := range tone.Make(p.Cue) {
				plain[int(audio.Sample(p.At)-base)+i] += int32(v)
			}
		}
		var got []int16
		for len(got) < len(plain) {
			got = append(got, read(m, min(1+r.IntN(3000), len(plain)-len(got)))...)
		}
		for i, want := range plain {
			if want > 26214 || want < -26214 {
				if got[i] > 29204 || got[i] < -29204 || (got[i] > 0) != (want > 0) {
					t.Fatalf("sample %d: a sum of %d became %d", i, want, got[i])
				}
				continue
			}
			if int32(got[i]) != want {
				t.Fatalf("sample %d: %d, want %d", i, got[i], want)
			}
		}
	}
}

// Any two cues that begin together pass unchanged, and no pile of cues is cut
// off: the same sum comes out larger the larger it is.
func TestHeadroom(t *testing.T) {
	for _, a := range audio.Cues() {
		for _, b := range audio.Cues() {
			x, y := tone.Of(a), tone.Of(b)
			m := mix.New(0, tone.Of)
			place(t, m, a, 0)
			place(t, m, b, 0)
			got := read(m, max(len(x), len(y)))
			for i, v := range got {
				want := int16(0)
				if i < len(x) {
					want += x[i]
				}
				if i < len(y) {
					want += y[i]
				}
				if v != want {
					t.Fatalf("%s with %s: sample %d is %d, want %d", a, b, i, v, want)
				}
			}
		}
	}
	last := int16(0)
	for n := 1; n <= 40; n++ {
		m := mix.New(0, func(audio.Cue) []int16 { return []int16{2000, -2000} })
		for range n {
			place(t, m, "x", 0)
		}
		got := read(m, 2)
		if got[0] > 29204 || got[1] != -got[0] || got[0] < last || n <= 15 && got[0] == last {
			t.Fatalf("%d at once: %v after %d", n, got, last)
		}
		last = got[0]
	}
}

func BenchmarkBlock(b *testing.B) {
	for _, cues := range []int{0, 1, 4} {
		b.Run(fmt.Sprintf("cues=%d", cues), func(b *testing.B) {
			block := make([]int16, 441)
			m := mix.New(0, tone.Of)
			for b.Loop() {
				for m.Waiting() == 0 && m.Quiet() == -1 && cues > 0 {
					for range cues {
						m.Place(audio.Placed{Cue: audio.NotValid, At: audio.Instant(m.At())})
					}
				}
				m.Next(block)
			}
		})
	}
}
