// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/dial"
	"tallyhood/audio/file"
	"tallyhood/audio/level"
	"tallyhood/audio/silent"
	"tallyhood/audio/speaker"
	"tallyhood/audio/tone"
	"tallyhood/audio/voice"
	"tallyhood/console/session"
	"tallyhood/device"
)

// sound is how the box sounds: the player, the voice and the mixer's level.
type sound struct {
	player audio.Player
	part   device.Part // of the player, when it was opened
	voice  *voice.Voice
	level  *level.Level
	dial   *dial.Dial // nil where nothing is heard
	keeper *keeper
	log    *slog.Logger
}

// voiceFolder, beside the store, keeps what was spoken, and recordings that a
// person puts there.
const voiceFolder = "voice"

func (p *parts) openSound(o options) error {
	s := &sound{part: device.Part{Name: "sound", State: device.Loaded}, log: p.log}
	p.sound = s
	of := tone.Of
	absent := func(why string) error {
		s.part.State, s.part.Reason, s.player = device.Absent, why, silent.Player{Why: why}
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
			Languages: p.conf.Sound.Languages, Folder: filepath.Join(filepath.Dir(p.path), voiceFolder), Speed: p.conf.Sound.Speed, Log: p.log,
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
	s.turnable(filepath.Join(filepath.Dir(p.path), dialFile), p.conf.Sound, of)
	s.level.Set()
	s.player = speaker.New(speaker.Options{Clock: p.clk, Device: p.conf.Sound.Device, Log: p.log, Sound: s.dial.Of, Opened: s.level.Set})
	p.player = s.player
	return nil
}

// dialFile, beside the store, keeps how the sound was turned.
const dialFile = "sound.json"

// dialKept is what the file holds.
type dialKept struct {
	Volume int  `json:"volume"`
	Muted  bool `json:"muted"`
}

// turnable makes the dial: as it was left, else at the level of the
// configuration file, else at full volume where no mixer is named.
func (s *sound) turnable(path string, conf soundConfig, of func(audio.Cue) []int16) {
	was := dialKept{Volume: 100}
	var mixer func(int)
	if conf.Mixer != "" {
		was.Volume, mixer = conf.Level, s.level.To
	}
	if b, err := os.ReadFile(path); err == nil {
		kept := was
		if err := json.Unmarshal(b, &kept); err != nil || kept.Volume < 0 || kept.Volume > 100 {
			s.log.Warn("how the sound was turned cannot be read; it is as the configuration says", "file", path, "err", err)
		} else {
			was = kept
		}
	}
	s.keeper = newKeeper(path, s.log)
	s.dial = dial.New(dial.Options{
		Volume: was.Volume, Muted: was.Muted, Sound: of, Mixer: mixer,
		Keep: func(volume int, muted bool) { s.keeper.keep(dialKept{volume, muted}) },
	})
}

// A keeper writes the newest of what it is given behind its caller's back.
type keeper struct {
	path  string
	log   *slog.Logger
	next  chan dialKept // holds one
	ended chan struct{}
}

func newKeeper(path string, log *slog.Logger) *keeper {
	k := &keeper{path: path, log: log, next: make(chan dialKept, 1), ended: make(chan struct{})}
	go func() {
		defer close(k.ended)
		for v := range k.next {
			if err := k.write(v); err != nil {
				k.log.Warn("how the sound is turned is not kept for the next start", "err", err)
			}
		}
	}()
	return k
}

// keep is for one caller at a time.
func (k *keeper) keep(v dialKept) {
	select {
	case <-k.next: // an older one that is not written yet
	default:
	}
	k.next <- v
}

func (k *keeper) write(v dialKept) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(k.path), ".sound-*")
	if err != nil {
		return err
	}
	_, err = f.Write(append(b, '\n'))
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), k.path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// close writes what is not written yet.
func (k *keeper) close() {
	close(k.next)
	<-k.ended
}

// turned gives the dial to a session; nil where the sound cannot be turned.
func (s *sound) turned() session.Dial {
	if s.dial == nil {
		return nil
	}
	return s.dial
}

// speak chooses the wearer's language for a run; the tester's is the first of
// the configuration. Where it is not known, the wearer is told in all of them.
func (s *sound) speak(tester []string, wearer string) {
	switch {
	case s.voice == nil || len(tester) == 0:
	case wearer == "":
		s.voice.Use(tester[0], tester...)
	default:
		s.voice.Use(tester[0], wearer)
	}
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
	if s.keeper != nil {
		s.keeper.close()
	}
	return errors.Join(errs...)
}

// parts say how sound, voice and level do now.
func (s *sound) parts() []device.Part {
	p := s.part
	if why := s.player.Health(); why != "" && p.State == device.Loaded {
		p.State, p.Reason = device.Failed, why
	} else if s.dial != nil {
		p.Reason = fmt.Sprintf("volume %d %%", s.dial.Volume())
		if s.dial.Muted() {
			p.Reason += "; muted: only what ends a run or warns of a fault sounds"
		}
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
