// SPDX-License-Identifier: Apache-2.0

package voice

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"tallyhood/audio"
	"tallyhood/audio/wav"
)

// making is part of every key: a change to how speech is shaped is a new one.
const making = "tallyhood voice 2"

// mostFile bounds a file that is read: a minute at 48,000 samples a second.
const mostFile = 6 << 20

// cacheName names the file of a rendered text by all that makes it what it is.
func cacheName(language, voice, text string, speed int, version string) string {
	h := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s\x00%s\x00%d\x00%s", making, language, voice, text, speed, version))
	return fmt.Sprintf("espeak-%x.wav", h[:16])
}

// RecordedName names the file in the folder that wins over espeak-ng: the
// language and the cue, such as "pl_say_stop.wav".
func RecordedName(language string, c audio.Cue) string { return language + "_" + string(c) + ".wav" }

// recorded gives the recording of a cue; nil without an error when there is none.
func (v *Voice) recorded(language string, c audio.Cue) ([]int16, error) {
	s, err := v.read(RecordedName(language, c))
	if err != nil || s == nil {
		return nil, err
	}
	return shape(*s)
}

// cached gives what was rendered before; nil when it was not, or when the file
// is damaged, so that it is made again.
func (v *Voice) cached(name string) []int16 {
	s, err := v.read(name)
	if err != nil || s == nil || s.Rate != audio.Rate || len(s.Wave) == 0 || len(s.Wave) > longest {
		return nil
	}
	samples := make([]int16, len(s.Wave))
	for i, w := range s.Wave {
		samples[i] = int16(w * fullScale)
	}
	return samples
}

// read gives a file of the folder; nil without an error when it is not there.
func (v *Voice) read(name string) (*wav.Sound, error) {
	if v.o.Folder == "" {
		return nil, nil
	}
	f, err := os.Open(filepath.Join(v.o.Folder, name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is no file", name)
	}
	b, err := io.ReadAll(io.LimitReader(f, mostFile+1))
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	if len(b) > mostFile {
		return nil, fmt.Errorf("%s is larger than %d MB", name, mostFile>>20)
	}
	s, err := wav.Decode(b)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return &s, nil
}

// keep puts a rendered cue into the folder, whole or not at all. It is not
// synced: a file lost with the power is made again.
func (v *Voice) keep(name string, samples []int16) error {
	if v.o.Folder == "" {
		return nil
	}
	b, err := wav.Bytes(samples)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(v.o.Folder, 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(v.o.Folder, ".making-*")
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	// Others may read it: there is nothing private in it.
	err = errors.Join(err, f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), filepath.Join(v.o.Folder, name))
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
