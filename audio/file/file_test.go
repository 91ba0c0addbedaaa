// SPDX-License-Identifier: Apache-2.0

package file_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/file"
	"tallyhood/audio/tone"
	"tallyhood/audio/wav"
)

// run gives the cues of a whole run of bin 30: ticks and calls for 14 doses,
// the changes of seven exercises with their warnings, and the end.
func run() []audio.Placed {
	var cues []audio.Placed
	add := func(c audio.Cue, at time.Duration) { cues = append(cues, audio.Placed{Cue: c, At: at}) }
	const start = 30 * time.Second
	count := []audio.Cue{audio.Count5, audio.Count4, audio.Count3, audio.Count2, audio.Count1}
	dose := func(at time.Duration, n int) {
		add(audio.TopUpDue, at)
		for i := range n {
			t := at + time.Duration(i)*611*time.Millisecond + 137*time.Microsecond
			add(audio.SqueezeCounted, t)
			if left := n - i; left <= 5 {
				add(count[5-left], t)
			}
		}
		add(audio.DoseDone, at+time.Duration(n)*611*time.Millisecond)
	}
	dose(0, 30)
	for k := range 13 {
		dose(start+time.Duration(k+1)*30*time.Second, 15)
	}
	for k := 1; k <= 7; k++ {
		end := start + time.Duration(k)*time.Minute
		add(audio.FiveSeconds, end-5*time.Second)
		add(audio.ExerciseChange, end)
	}
	add(audio.Pass, start+421*time.Second)
	return cues
}

const eightMinutes = 480 * time.Second

func samples(t testing.TB, b []byte) []int16 {
	t.Helper()
	if len(b) < 44 || string(b[36:40]) != "data" {
		t.Fatal("no WAV file")
	}
	if n := int(binary.LittleEndian.Uint32(b[40:])); n != len(b)-44 {
		t.Fatalf("the header says %d bytes of sound, the file holds %d", n, len(b)-44)
	}
	var s []int16
	for pair := range slices.Chunk(b[44:], 2) {
		s = append(s, int16(binary.LittleEndian.Uint16(pair)))
	}
	return s
}

func TestTrack(t *testing.T) {
	cues := run()
	slices.Reverse(cues) // the order of the list does not matter
	var out bytes.Buffer
	if err := file.WriteTrack(&out, cues, eightMinutes); err != nil {
		t.Fatal(err)
	}
	got := samples(t, out.Bytes())
	if len(got) != 480*audio.Rate {
		t.Fatalf("%d samples, want %d", len(got), 480*audio.Rate)
	}
	want := make([]int32, len(got))
	for _, p := range cues {
		for i, v := range tone.Make(p.Cue) {
			want[audio.Sample(p.At)+int64(i)] += int32(v)
		}
	}
	// Where three cues begin at once a few sums are so loud that the mixer has
	// to bend them: over 0.8 of full scale.
	bent := 0
	for i, v := range want {
		if v > 26214 || v < -26214 {
			if bent++; got[i] > 29204 || got[i] < -29204 || (got[i] > 0) != (v > 0) {
				t.Fatalf("sample %d: a sum of %d became %d", i, v, got[i])
			}
		} else if int32(got[i]) != v {
			t.Fatalf("sample %d: %d, want %d", i, got[i], v)
		}
	}
	t.Logf("%d samples bent", bent)
	if bent > 100 {
		t.Error("an ordinary run is too loud for the mixer")
	}
}

// Whatever the track is written to, its bytes are the same: a new file, one
// opened to append, one that already holds more, and a pipe.
func TestTrackIsTheSameEverywhere(t *testing.T) {
	var want bytes.Buffer
	if err := file.WriteTrack(&want, run(), eightMinutes); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "cues.wav")
	for _, c := range []struct {
		name   string
		before []byte
		flag   int
		tail   []byte
	}{
		{"new", nil, os.O_CREATE, nil},
		{"append", nil, os.O_APPEND, nil},
		{"overwrite", bytes.Repeat([]byte{0x55}, want.Len()+1000), 0, bytes.Repeat([]byte{0x55}, 1000)},
	} {
		os.Remove(path)
		if c.flag&os.O_CREATE == 0 {
			if err := os.WriteFile(path, c.before, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		f, err := os.OpenFile(path, os.O_WRONLY|c.flag, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(file.WriteTrack(f, run(), eightMinutes), f.Close()); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, append(slices.Clone(want.Bytes()), c.tail...)) {
			t.Errorf("%s: %d bytes differ from the %d wanted", c.name, len(got), want.Len())
		}
	}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- errors.Join(file.WriteTrack(w, run(), eightMinutes), w.Close()) }()
	got, err := io.ReadAll(r)
	if err := errors.Join(err, <-done, r.Close()); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want.Bytes()) {
		t.Errorf("pipe: %d bytes differ from the %d wanted", len(got), want.Len())
	}
}

func TestTrackIsCutAtItsEnd(t *testing.T) {
	whole := tone.Of(audio.Pass)
	var out bytes.Buffer
	err := file.WriteTrack(&out, []audio.Placed{
		{Cue: audio.Pass, At: -time.Second},
		{Cue: audio.Stop, At: time.Hour},
	}, audio.Instant(1000)+1)
	if err != nil {
		t.Fatal(err)
	}
	if got := samples(t, out.Bytes()); !slices.Equal(got, whole[:1000]) {
		t.Errorf("%d samples, not the first 1000 of the cue", len(got))
	}
	out.Reset()
	if err := file.WriteTrack(&out, nil, 0); err != nil || out.Len() != 44 {
		t.Errorf("an empty track: %v, %d bytes", err, out.Len())
	}
}

func TestTrackErrors(t *testing.T) {
	if err := file.WriteTrack(io.Discard, []audio.Placed{{Cue: "hoot"}}, time.Second); err == nil || !strings.Contains(err.Error(), "hoot") {
		t.Errorf("an unknown cue: %v", err)
	}
	if err := file.WriteTrack(io.Discard, nil, 14*time.Hour); !errors.Is(err, wav.ErrTooLong) {
		t.Errorf("14 hours: %v", err)
	}
	if err := file.WriteTrack(io.Discard, nil, -time.Second); err == nil {
		t.Error("an end before the beginning is taken")
	}
	for after := range 4 {
		if err := file.WriteTrack(&failing{after: after}, run(), eightMinutes); !errors.Is(err, errFull) {
			t.Errorf("a write that fails after %d: %v", after, err)
		}
	}
}

var errFull = errors.New("no space left")

type failing struct{ after int }

func (f *failing) Write(b []byte) (int, error) {
	if f.after--; f.after < 0 {
		return 0, errFull
	}
	return len(b), nil
}

func TestPlayer(t *testing.T) {
	path := filepath.Join(t.TempDir(), "cues.wav")
	now := 100*time.Hour + 12345*time.Nanosecond
	start := now
	p, err := file.Create(path, func() time.Duration { return now })
	if err != nil {
		t.Fatal(err)
	}
	p.Play(audio.Placed{Cue: audio.TopUpDue, At: start + 2*time.Second + 7*time.Microsecond})
	now += 500 * time.Millisecond
	p.Play(audio.Placed{Cue: audio.SqueezeCounted, At: start + 100*time.Millisecond}) // past: begins now
	if h := p.Health(); !strings.Contains(h, "not heard") || strings.Contains(h, "dropped") {
		t.Errorf("health %q", h)
	}
	p.Play(audio.Placed{Cue: "hoot", At: now})
	if h := p.Health(); !strings.Contains(h, "1 cues were dropped") {
		t.Errorf("health after an unknown cue %q", h)
	}
	for range 2 {
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
	}
	p.Play(audio.Placed{Cue: audio.Stop, At: now}) // after Close: dropped, no panic
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	base := audio.Sample(start)
	call := audio.Sample(start+2*time.Second+7*time.Microsecond) - base
	tick := audio.Sample(start+500*time.Millisecond) - base
	want := make([]int16, call+int64(len(tone.Of(audio.TopUpDue))))
	copy(want[tick:], tone.Of(audio.SqueezeCounted))
	copy(want[call:], tone.Of(audio.TopUpDue))
	if got := samples(t, b); !slices.Equal(got, want) {
		t.Errorf("%d samples differ from the %d wanted", len(got), len(want))
	}
}

// Drop takes back what is to come and leaves what has begun.
func TestDrop(t *testing.T) {
	path := filepath.Join(t.TempDir(), "cues.wav")
	now := time.Second
	p, err := file.Create(path, func() time.Duration { return now })
	if err != nil {
		t.Fatal(err)
	}
	p.Play(audio.Placed{Cue: audio.TopUpDue, At: now})
	p.Play(audio.Placed{Cue: audio.FiveSeconds, At: now + 2*time.Second})
	p.Play(audio.Placed{Cue: audio.ExerciseChange, At: now + 7*time.Second})
	now += 100 * time.Millisecond
	p.Drop(now + 7*time.Second) // nothing is that late
	p.Drop(now + 5*time.Second) // the change
	p.Drop(0)                   // the warning, but not the call, which sounds
	p.Play(audio.Placed{Cue: audio.Stop, At: now})
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	stop := audio.Sample(100 * time.Millisecond)
	want := make([]int16, stop+int64(len(tone.Of(audio.Stop))))
	copy(want, tone.Of(audio.TopUpDue))
	for i, v := range tone.Of(audio.Stop) {
		want[stop+int64(i)] += v
	}
	if got := samples(t, b); !slices.Equal(got, want) {
		t.Errorf("%d samples differ from the %d wanted", len(got), len(want))
	}
}

// Words are left out where nobody can say them, without an error; where
// somebody can, they begin on their sample like any cue.
func TestSpokenCues(t *testing.T) {
	words := []audio.Placed{{Cue: audio.SayStop, At: time.Second}, {Cue: audio.GoOn, At: 2 * time.Second}}
	var with, without bytes.Buffer
	if err := file.WriteTrack(&with, words, 3*time.Second); err != nil {
		t.Fatal(err)
	}
	if err := file.WriteTrack(&without, words[1:], 3*time.Second); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(with.Bytes(), without.Bytes()) {
		t.Error("a spoken cue changes a track of tones")
	}
	said := []int16{1000, 2000, 3000}
	for _, c := range []struct {
		sound func(audio.Cue) []int16
		want  []int16
	}{
		{tone.Of, make([]int16, audio.Rate)},
		{func(audio.Cue) []int16 { return said }, append(make([]int16, audio.Rate/2), append(said, make([]int16, audio.Rate/2-3)...)...)},
	} {
		path, now := filepath.Join(t.TempDir(), "cues.wav"), time.Second
		p, err := file.CreateWith(path, func() time.Duration { return now }, c.sound)
		if err != nil {
			t.Fatal(err)
		}
		p.Play(audio.Placed{Cue: audio.SayStop, At: 1500 * time.Millisecond})
		if h := p.Health(); strings.Contains(h, "dropped") {
			t.Errorf("health %q", h)
		}
		now += time.Second
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := samples(t, b); !slices.Equal(got, c.want) {
			t.Errorf("%d samples differ from the %d wanted", len(got), len(c.want))
		}
	}
}

func TestCreateFails(t *testing.T) {
	if _, err := file.Create(filepath.Join(t.TempDir(), "none", "cues.wav"), func() time.Duration { return 0 }); err == nil {
		t.Error("a file in no folder is made")
	}
}

func BenchmarkEightMinuteTrack(b *testing.B) {
	cues := run()
	b.Logf("%d cues", len(cues))
	for _, c := range audio.Cues() {
		tone.Of(c)
	}
	b.Run("mixed", func(b *testing.B) {
		for b.Loop() {
			if err := file.WriteTrack(io.Discard, cues, eightMinutes); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("memory", func(b *testing.B) {
		out := bytes.NewBuffer(make([]byte, 0, 44+2*480*audio.Rate))
		for b.Loop() {
			out.Reset()
			if err := file.WriteTrack(out, cues, eightMinutes); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("file", func(b *testing.B) {
		path := filepath.Join(b.TempDir(), "cues.wav")
		for b.Loop() {
			out, err := os.Create(path)
			if err != nil {
				b.Fatal(err)
			}
			if err := errors.Join(file.WriteTrack(out, cues, eightMinutes), out.Close()); err != nil {
				b.Fatal(err)
			}
		}
	})
}
