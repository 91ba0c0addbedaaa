// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/file"
	"tallyhood/audio/level"
	"tallyhood/audio/speaker"
	"tallyhood/audio/tone"
	"tallyhood/audio/voice"
	"tallyhood/device/clock"
)

// means says of each tone when it sounds.
var means = map[audio.Cue]string{
	audio.SqueezeCounted: "a squeeze was counted",
	audio.TopUpDue:       "squeezes are due now",
	audio.DoseDone:       "the dose is complete",
	audio.ExerciseChange: "the next exercise begins",
	audio.FiveSeconds:    "five seconds to the next change",
	audio.Tick:           "one of the last seconds before a change or a dose",
	audio.Count5:         "five squeezes of the dose are left",
	audio.Count4:         "four are left",
	audio.Count3:         "three are left",
	audio.Count2:         "two are left",
	audio.Count1:         "one is left",
	audio.Reported:       "the wearer's report was taken",
	audio.Stop:           "tasted: the run has ended, hood off",
	audio.NotValid:       "the run has ended and says nothing",
	audio.Pass:           "the run was passed and is saved",
	audio.Fault:          "an input is faulty",
	audio.GoOn:           "a step was taken",
	audio.Refused:        "what was asked cannot be done now",
}

// phrases are said in each language: one to the wearer, two to the tester.
var phrases = []audio.Cue{audio.SayDeepBreathing, audio.SaySqueezes5, audio.SayStop}

// apart is the silence between two sounds of the test.
const apart = 500 * time.Millisecond

// A soundTest plays one sound after another and says what it is. Its player is
// asked for numbered cues, since a phrase is another one in each language.
type soundTest struct {
	player audio.Player
	clk    *clock.Clock
	wait   bool // for each sound to be over
	at     time.Duration

	mu      sync.Mutex
	samples map[audio.Cue][]int16
}

func (s *soundTest) of(c audio.Cue) []int16 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.samples[c]
}

func (s *soundTest) play(ctx context.Context, samples []int16) error {
	s.mu.Lock()
	c := audio.Cue(fmt.Sprintf("test_%d", len(s.samples)))
	s.samples[c] = samples
	s.mu.Unlock()
	s.at = max(s.at, s.clk.Now()+apart/2)
	s.player.Play(audio.Placed{Cue: c, At: s.at})
	s.at += audio.Instant(int64(len(samples))) + apart
	if !s.wait {
		return nil
	}
	over, stop := s.clk.Wake(s.at - apart/2)
	defer stop()
	select {
	case <-over:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// testSounds plays every tone, and phrases in every language, to the sound card
// or into a file.
func testSounds(ctx context.Context, to string, conf config, out io.Writer) (err error) {
	log := slog.New(slog.DiscardHandler)
	s := &soundTest{clk: clock.New(1), samples: map[audio.Cue][]int16{}}
	switch {
	case filepath.Ext(to) == ".wav":
		if s.player, err = file.CreateWith(to, s.clk.Now, s.of); err != nil {
			return err
		}
	case to != "auto":
		return badInput{fmt.Errorf("check-board: --sound %s: auto or a file ending in .wav", to)}
	default:
		set := level.New(level.Options{Device: conf.Sound.Device, Control: conf.Sound.Mixer, Percent: conf.Sound.Level, Log: log})
		defer func() { err = errors.Join(err, set.Close()) }()
		s.player = speaker.New(speaker.Options{Clock: s.clk, Device: conf.Sound.Device, Log: log, Sound: s.of, Opened: set.Set})
		s.wait = true
	}
	closed := false
	end := func() error {
		if closed {
			return nil
		}
		closed = true
		return s.player.Close()
	}
	defer func() { err = errors.Join(err, end()) }()
	folder, err := os.MkdirTemp("", "tallyhood-voice")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(folder) }()
	words := voice.New(voice.Options{Languages: []string{"en"}, Folder: folder, Speed: conf.Sound.Speed, Log: log})
	defer func() { err = errors.Join(err, words.Close()) }()

	fmt.Fprintln(out, "Listen where the tester stands, with the noise of the work around.")
	for _, c := range audio.Cues() {
		samples := tone.Of(c)
		f := tone.Measure(samples)
		fmt.Fprintf(out, "  %-16s %s (%d ms, from %.0f Hz)\n", c, means[c], f.Length.Milliseconds(), f.Pitches[0])
		if err := s.play(ctx, samples); err != nil {
			return err
		}
	}
	missing := false
	for _, l := range voice.Languages() {
		words.Use(l)
		select {
		case <-words.Ready():
		case <-ctx.Done():
			return ctx.Err()
		}
		reviewed := ""
		if !voice.Reviewed(l) {
			reviewed = " (machine-made, not reviewed)"
		}
		for _, c := range phrases {
			fmt.Fprintf(out, "  %s %-19s %q%s\n", l, c, voice.Text(l, c), reviewed)
			samples := words.Of(c)
			if len(samples) == 0 {
				fmt.Fprintf(out, "  %s is not spoken: %s\n", l, words.Health())
				missing = true
				break
			}
			if err := s.play(ctx, samples); err != nil {
				return err
			}
		}
	}
	if why := s.player.Health(); s.wait && why != "" {
		return fmt.Errorf("check-board: nothing is heard: %s; look at the cable, the card (\"aplay -l\") and sound.device", why)
	}
	if err := end(); err != nil {
		return err
	}
	if missing {
		_, err = fmt.Fprintln(out, "Not every language can be spoken here; the tones do without.")
		return err
	}
	_, err = fmt.Fprintln(out, "Each tone should be told from the others with eyes shut.")
	return err
}
