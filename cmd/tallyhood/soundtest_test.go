// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"tallyhood/audio"
	"tallyhood/audio/tone"
	"tallyhood/audio/voice"
	"tallyhood/audio/wav"
)

// The test of the sounds plays each tone and each language, one after another,
// and says what each is.
func TestSoundsAreTried(t *testing.T) {
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		t.Skip("missing part: espeak-ng")
	}
	path := filepath.Join(t.TempDir(), "test.wav")
	var said strings.Builder
	if code := run(t.Context(), []string{"check-board", "--sounds", "--sound", path}, &said, io.Discard); code != 0 {
		t.Fatalf("code %d: %s", code, said.String())
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := wav.Decode(b)
	if err != nil {
		t.Fatal(err)
	}
	// Each tone stands in the file sample for sample, in the order of the list.
	from := 0
	for _, c := range audio.Cues() {
		if means[c] == "" || !strings.Contains(said.String(), string(c)+" ") || !strings.Contains(said.String(), means[c]) {
			t.Errorf("it is not said what %s is", c)
		}
		want := tone.Of(c)
		at := -1
	look:
		for i := from; i+len(want) <= len(sound.Wave); i++ {
			for j, v := range want {
				if int16(sound.Wave[i+j]*32768) != v {
					continue look
				}
			}
			at = i
			break
		}
		if at < 0 {
			t.Fatalf("%s is not in the file after sample %d", c, from)
		}
		from = at + len(want)
	}
	for _, l := range voice.Languages() {
		for _, c := range phrases {
			if !strings.Contains(said.String(), voice.Text(l, c)) {
				t.Errorf("%s %s is not announced", l, c)
			}
		}
	}
	loud := 0
	for _, v := range sound.Wave[from:] {
		if v > 0.1 || v < -0.1 {
			loud++
		}
	}
	if loud < audio.Rate*len(voice.Languages())/4 {
		t.Errorf("only %d loud samples of speech", loud)
	}
	if code := run(t.Context(), []string{"check-board", "--sounds", "--sound", "loud"}, io.Discard, io.Discard); code != 2 {
		t.Errorf("code %d for a sound that is none", code)
	}
}

// How the sound was turned is there after a restart; what cannot be read is not
// taken.
func TestDialIsKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), dialFile)
	open := func(conf soundConfig) *sound {
		s := &sound{log: slog.New(slog.DiscardHandler)}
		s.turnable(path, conf, tone.Of)
		return s
	}
	s := open(soundConfig{Level: 30})
	if s.dial.Volume() != 100 || s.dial.Muted() {
		t.Errorf("without a mixer %d, %v", s.dial.Volume(), s.dial.Muted())
	}
	for v := range 50 {
		s.dial.SetVolume(v)
	}
	s.dial.Mute(true)
	s.keeper.close()
	s = open(soundConfig{Level: 30})
	if s.dial.Volume() != 49 || !s.dial.Muted() {
		t.Errorf("after a restart %d, %v", s.dial.Volume(), s.dial.Muted())
	}
	s.keeper.close()
	for _, bad := range []string{"", "{", `{"volume":400,"muted":true}`} {
		if err := os.WriteFile(path, []byte(bad), 0o644); err != nil {
			t.Fatal(err)
		}
		s = open(soundConfig{})
		if s.dial.Volume() != 100 || s.dial.Muted() {
			t.Errorf("%q gives %d, %v", bad, s.dial.Volume(), s.dial.Muted())
		}
		s.keeper.close()
	}
	left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".sound-*"))
	if b, _ := json.Marshal(dialKept{40, true}); string(b) != `{"volume":40,"muted":true}` || len(left) != 0 {
		t.Errorf("%s, left over %v", b, left)
	}
}
