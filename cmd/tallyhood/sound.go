// SPDX-License-Identifier: Apache-2.0

package main

import (
	"errors"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/file"
	"tallyhood/audio/level"
	"tallyhood/audio/silent"
	"tallyhood/audio/speaker"
	"tallyhood/audio/tone"
	"tallyhood/audio/voice"
	"tallyhood/device"
)

// sound is how the box sounds: the player, the voice and the mixer's level.
type sound struct {
	player audio.Player
	part   device.Part // of the player, when it was opened
	voice  *voice.Voice
	level  *level.Level
}

// voiceFolder, beside the store, keeps what was spoken, and recordings that a
// person puts there.
const voiceFolder = "voice"

func (p *parts) openSound(o options) error {
	s := &sound{part: device.Part{Name: "sound", State: device.Loaded}}
	p.sound = s
	of := tone.Of
	absent := func(why string) error {
		s.part.State, s.part.Reason, s.player = device.Absent, why, silent.Player{}
		p.player = s.player
		return nil
	}
	toFile := filepath.Ext(o.sound) == ".wav"
	switch {
	case o.sound == "off":
		return absent("switched off")
	case !toFile && o.sound != "auto":
		return fmt.Errorf("--sound %s: auto, off or a file ending in .wav", o.sound)
	case !toFile && o.speed != 1:
		return absent("the clock does not run at the speed of sound cards")
	}
	if !toFile {
		if _, err := exec.LookPath("aplay"); err != nil {
			return absent("no aplay")
		}
		cards, err := speaker.Cards()
		if err != nil {
			p.log.Warn("sound cards", "err", err)
		}
		// A real box waits for a card that may be plugged in later.
		if len(cards) == 0 && p.conf.Sound.Device == "" && p.sim != nil {
			return absent("no sound card")
		}
	}
	if p.conf.Sound.Speak && len(p.conf.Sound.Languages) > 0 {
		s.voice = voice.New(voice.Options{
			Languages: p.conf.Sound.Languages, Folder: filepath.Join(filepath.Dir(p.path), voiceFolder), Log: p.log,
		})
		of = s.voice.Over(tone.Of)
	}
	if toFile {
		f, err := file.CreateWith(o.sound, p.clk.Now, of)
		if err != nil {
			return errors.Join(err, s.close())
		}
		s.player, s.part.Reason = f, "into a file"
		p.player = f
		return nil
	}
	s.level = level.New(level.Options{Device: p.conf.Sound.Device, Control: p.conf.Sound.Mixer, Percent: p.conf.Sound.Level, Log: p.log})
	s.level.Set()
	s.player = speaker.New(speaker.Options{Clock: p.clk, Device: p.conf.Sound.Device, Log: p.log, Sound: of, Opened: s.level.Set})
	p.player = s.player
	return nil
}

func (s *sound) close() error {
	var errs []error
	if s.player != nil {
		errs = append(errs, s.player.Close())
	}
	if s.level != nil {
		errs = append(errs, s.level.Close())
	}
	if s.voice != nil {
		errs = append(errs, s.voice.Close())
	}
	return errors.Join(errs...)
}

// parts say how sound, voice and level do now.
func (s *sound) parts() []device.Part {
	p := s.part
	if why := s.player.Health(); why != "" && p.State == device.Loaded {
		p.State, p.Reason = device.Failed, why
	}
	out := []device.Part{p}
	add := func(name string, a audio.Part) {
		out = append(out, device.Part{Name: name, State: device.State(a.State), Reason: strings.TrimSpace(a.Reason)})
	}
	if s.voice != nil {
		add("voice", s.voice.Part())
	}
	if s.level != nil {
		add("sound level", s.level.Part())
	}
	return out
}

// phrase is how long the voice takes for a spoken cue; nothing without a voice.
func (s *sound) phrase(c audio.Cue) time.Duration {
	if s.voice == nil {
		return 0
	}
	return audio.Instant(int64(len(s.voice.Of(c))))
}
