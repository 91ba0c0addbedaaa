// SPDX-License-Identifier: Apache-2.0

package voice

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/mix"
	"tallyhood/audio/tone"
	"tallyhood/audio/wav"
)

// A talker stands in espeak-ng's place. It says the same for every text, and
// what it was asked.
type talker struct{ dir, command string }

func newTalker(t *testing.T) talker {
	t.Helper()
	f := talker{dir: t.TempDir()}
	f.command = filepath.Join(f.dir, "espeak-ng")
	f.write(t, "espeak-ng", `#!/bin/sh
cd "$(dirname "$0")" || exit 9
echo "$PULSE_SERVER $ALSA_CONFIG_PATH $*" >>calls
case "$*" in
--version) cat version; exit 0 ;;
esac
[ -e hang ] && exec sleep 600
[ -e flood ] && exec cat /dev/zero
case "$*" in
*"-v nobody"*) echo "Error: The specified espeak-ng voice does not exist." >&2; exit 1 ;;
*Passed*) [ -e mumble ] && { echo "no sound at all"; exit 0; } ;;
esac
cat speech
`)
	f.write(t, "version", "eSpeak NG text-to-speech: 9.9  Data at: /nowhere\n")
	// As espeak-ng does it, the header claims more than there is.
	speech := make([]int16, 22050)
	for i, v := range sine(22050, 600, 0.5, 0.5) {
		speech[5000+i] = int16(v * fullScale)
	}
	b, err := wav.Bytes(speech)
	if err != nil {
		t.Fatal(err)
	}
	binary.LittleEndian.PutUint32(b[24:], 22050)
	binary.LittleEndian.PutUint32(b[40:], 0x7ffff000)
	f.write(t, "speech", string(b))
	return f
}

func (f talker) write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(f.dir, name), []byte(text), 0o755); err != nil {
		t.Fatal(err)
	}
}

// calls gives what was asked since the last time.
func (f talker) calls(t *testing.T) []string {
	t.Helper()
	path := filepath.Join(f.dir, "calls")
	b, err := os.ReadFile(path)
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(string(b)), "\n")
}

// open makes a voice and waits until it is ready.
func open(t *testing.T, o Options) *Voice {
	t.Helper()
	o.Log = slog.New(slog.DiscardHandler)
	if o.Limit == 0 {
		o.Limit = time.Minute // a busy machine may be slow to start a program
	}
	v := New(o)
	t.Cleanup(func() { v.Close() })
	await(t, v)
	return v
}

func await(t *testing.T, v *Voice) {
	t.Helper()
	select {
	case <-v.Ready():
	case <-time.After(5 * time.Minute):
		t.Fatalf("not ready in 5 min: %s", v.Health())
	}
}

var all = len(audio.SpokenCues())

func TestRenderedOnceAndKept(t *testing.T) {
	f := newTalker(t)
	folder := filepath.Join(t.TempDir(), "voice")
	o := Options{Languages: []string{"en"}, Folder: folder, Command: f.command}
	v := open(t, o)
	if s := v.Stats(); v.Health() != "" || s != (Stats{Rendered: all}) {
		t.Fatalf("%q, %+v", v.Health(), s)
	}
	calls := f.calls(t)
	if len(calls) != all+1 {
		t.Errorf("%d calls for %d cues", len(calls), all)
	}
	// It has no card to open and no server to ask for one.
	if want := "unix:/dev/null /dev/null -b 1 -z -v en-gb -s 170 --stdout Normal breathing"; calls[1] != want {
		t.Errorf("called with %q, want %q", calls[1], want)
	}
	for _, c := range audio.SpokenCues() {
		s := v.Of(c)
		rms, top := measure(s)
		if n := float64(len(s)) / audio.Rate; n < 0.5 || n > 0.57 || rms < -18.1 || rms > -17.9 || top > -6 {
			t.Errorf("%s: %.3f s, %.2f dB, peak %.2f dB", c, n, rms, top)
		}
	}
	for _, c := range audio.Cues() {
		if v.Of(c) != nil {
			t.Errorf("the tone %s is spoken", c)
		}
	}
	first := v.Of(audio.SayStop)
	v.Close()

	// The next start reads them, sample for sample.
	v = open(t, o)
	if s := v.Stats(); s != (Stats{Cached: all}) {
		t.Errorf("%+v", s)
	}
	if calls := f.calls(t); len(calls) != 1 || !strings.HasSuffix(calls[0], "--version") {
		t.Errorf("calls %q", calls)
	}
	if !slices.Equal(v.Of(audio.SayStop), first) {
		t.Error("what was kept differs from what was rendered")
	}
	v.Close()

	// Another speed, voice or version is made anew, and so is a damaged file.
	files, err := filepath.Glob(filepath.Join(folder, "*"))
	if err != nil || len(files) != all {
		t.Fatalf("%d files, %v", len(files), err)
	}
	if err := os.Truncate(files[0], 20); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(files[1], nil, 0o644); err != nil {
		t.Fatal(err)
	}
	v = open(t, o)
	if s := v.Stats(); s != (Stats{Cached: all - 2, Rendered: 2}) {
		t.Errorf("with two damaged files %+v", s)
	}
	o.Speed = 150
	if s := open(t, o).Stats(); s != (Stats{Rendered: all}) {
		t.Errorf("at another speed %+v", s)
	}
	o.Voices = map[string]string{"en": "en-us"}
	if s := open(t, o).Stats(); s != (Stats{Rendered: all}) {
		t.Errorf("in another voice %+v", s)
	}
	f.write(t, "version", "eSpeak NG text-to-speech: 10.0  Data at: /nowhere\n")
	if s := open(t, o).Stats(); s != (Stats{Rendered: all}) {
		t.Errorf("by another version %+v", s)
	}
	left, err := filepath.Glob(filepath.Join(folder, ".making-*"))
	if err != nil || len(left) != 0 {
		t.Errorf("left over: %v, %v", left, err)
	}
}

// record puts a person's recording into a folder: a tone in stereo at 48 kHz,
// loud on one side, with silence around it.
func record(t *testing.T, folder, name string, seconds float64) {
	t.Helper()
	mono := slices.Concat(make([]float64, 24000), sine(48000, 440, seconds, 0.9), make([]float64, 24000))
	body := []byte("WAVEfmt \x10\x00\x00\x00\x01\x00\x02\x00\x80\xbb\x00\x00\x00\xee\x02\x00\x04\x00\x10\x00data")
	body = binary.LittleEndian.AppendUint32(body, uint32(4*len(mono)))
	for _, v := range mono {
		body = binary.LittleEndian.AppendUint16(body, uint16(int16(v*32767)))
		body = binary.LittleEndian.AppendUint16(body, 0)
	}
	b := append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
	if err := os.WriteFile(filepath.Join(folder, name), b, 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestRecordingWins(t *testing.T) {
	f, folder := newTalker(t), t.TempDir()
	record(t, folder, "en_say_stop.wav", 0.9)
	record(t, folder, "en_say_look.wav", 9) // too long to be a cue
	if err := os.WriteFile(filepath.Join(folder, "en_say_passed.wav"), []byte("not sound"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(folder, "en_say_talking.wav"), 0o755); err != nil {
		t.Fatal(err)
	}
	v := open(t, Options{Languages: []string{"en"}, Folder: folder, Command: f.command})
	if s := v.Stats(); s != (Stats{Recorded: 1, Rendered: all - 1}) {
		t.Errorf("%+v", s)
	}
	s := v.Of(audio.SayStop)
	rms, top := measure(s)
	if n := float64(len(s)) / audio.Rate; n < 0.9 || n > 0.97 || rms < -18.1 || rms > -17.9 || top > -6 {
		t.Errorf("the recording: %.3f s, %.2f dB, peak %.2f dB", n, rms, top)
	}
	p := v.Part()
	if p.State != "loaded" || v.Health() != "" {
		t.Errorf("%+v, %q", p, v.Health())
	}
	for _, want := range []string{
		"the recording en_say_look.wav is not used: it is longer than 6 s",
		"the recording en_say_passed.wav is not used: en_say_passed.wav: this is no WAV file",
		"the recording en_say_talking.wav is not used: en_say_talking.wav is no file",
	} {
		if !strings.Contains(p.Reason, want) {
			t.Errorf("%q is not in %q", want, p.Reason)
		}
	}
	// A recording is no part of the cache: what was spoken for it is kept too.
	if err := os.Remove(filepath.Join(folder, "en_say_stop.wav")); err != nil {
		t.Fatal(err)
	}
	if s := open(t, Options{Languages: []string{"en"}, Folder: folder, Command: f.command}).Stats(); s.Rendered != 1 || s.Cached != all-1 {
		t.Errorf("%+v", s)
	}
}

// With recordings a box speaks a language that nobody wrote texts for, and
// without espeak-ng.
func TestRecordingsAlone(t *testing.T) {
	folder := t.TempDir()
	for _, c := range audio.SpokenCues() {
		record(t, folder, RecordedName("uk", c), 0.3)
	}
	v := open(t, Options{Languages: []string{"uk"}, Folder: folder, Command: filepath.Join(folder, "none")})
	if s := v.Stats(); v.Health() != "" || v.Part() != (audio.Part{State: "loaded"}) || s != (Stats{Recorded: all}) {
		t.Errorf("%q, %+v, %+v", v.Health(), v.Part(), s)
	}
}

func TestWhatIsMissing(t *testing.T) {
	f := newTalker(t)
	for _, c := range []struct {
		name  string
		o     Options
		flag  string
		want  string
		state string
		stats Stats
	}{
		{"no program", Options{Languages: []string{"en", "pl"}, Command: filepath.Join(t.TempDir(), "espeak-ng")}, "",
			"no voice: the program espeak-ng is not installed", "absent", Stats{Failed: 6}},
		{"no language", Options{Command: f.command}, "", "no voice: no language is chosen", "absent", Stats{}},
		{"no texts", Options{Languages: []string{"tlh"}, Command: f.command}, "",
			`no voice: there are no texts in the language "tlh"`, "failed", Stats{Failed: 3}},
		{"no such voice", Options{Languages: []string{"pl"}, Voices: map[string]string{"pl": "nobody"}, Command: f.command}, "",
			"no voice: espeak-ng: The specified espeak-ng voice does not exist.", "failed", Stats{Failed: 3}},
		{"one text gives no sound", Options{Languages: []string{"en"}, Command: f.command}, "mumble",
			fmt.Sprintf("no voice: 1 of %d cues in en: espeak-ng gave something else than sound: this is no WAV file", all), "failed", Stats{Rendered: all - 1, Failed: 1}},
		{"it hangs", Options{Languages: []string{"en"}, Command: f.command, Limit: 50 * time.Millisecond}, "hang",
			"no voice: espeak-ng took longer than 50ms", "failed", Stats{Failed: 3}},
		{"it never ends", Options{Languages: []string{"en"}, Command: f.command}, "flood",
			"no voice: espeak-ng: it said more than any cue is long", "failed", Stats{Failed: 3}},
	} {
		if c.flag != "" {
			f.write(t, c.flag, "")
		}
		v := open(t, c.o)
		if h := v.Health(); h != c.want {
			t.Errorf("%s: health %q, want %q", c.name, h, c.want)
		}
		if p := v.Part(); p.State != c.state || !strings.HasPrefix(p.Reason, c.want) {
			t.Errorf("%s: %+v", c.name, p)
		}
		if s := v.Stats(); s != c.stats {
			t.Errorf("%s: %+v, want %+v", c.name, s, c.stats)
		}
		if c.flag != "" {
			if err := os.Remove(filepath.Join(f.dir, c.flag)); err != nil {
				t.Fatal(err)
			}
			// It heals when it is next asked for.
			v.Use("", c.o.Languages...)
			await(t, v)
			if h := v.Health(); c.flag != "hang" && h != "" { // its limit is short for a busy machine
				t.Errorf("%s: once more: %q", c.name, h)
			}
		}
		v.Close()
		if h := v.Health(); h != "no voice: it is closed" {
			t.Errorf("%s: health after Close %q", c.name, h)
		}
	}
}

// A folder that cannot be written costs the cache, not the voice.
func TestFolderCannotBeWritten(t *testing.T) {
	f := newTalker(t)
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	v := open(t, Options{Languages: []string{"en"}, Folder: filepath.Join(file, "voice"), Command: f.command})
	if v.Health() != "" || len(v.Of(audio.SayStop)) == 0 {
		t.Errorf("health %q", v.Health())
	}
	if r := v.Part().Reason; !strings.Contains(r, "not kept for the next start") {
		t.Errorf("reason %q", r)
	}
}

func TestNothingWaits(t *testing.T) {
	f := newTalker(t)
	f.write(t, "hang", "")
	v := New(Options{Languages: []string{"en"}, Command: f.command, Limit: time.Hour, Log: slog.New(slog.DiscardHandler)})
	for f.calls(t) == nil {
		time.Sleep(time.Millisecond)
	}
	if v.Of(audio.SayStop) != nil || v.Health() != "no voice yet: the spoken cues are being made" || v.Part().State != "loaded" {
		t.Errorf("%q, %+v", v.Health(), v.Part())
	}
	v.Use("fr")
	select {
	case <-v.Ready():
		t.Error("ready with a program that hangs")
	default:
	}
	began := time.Now()
	v.Close()
	v.Close()
	if took := time.Since(began); took > 10*time.Minute {
		t.Errorf("Close took %v", took)
	}
}

func TestTwoLanguages(t *testing.T) {
	f := newTalker(t)
	v := open(t, Options{Languages: []string{"en", "pl", "en"}, Command: f.command})
	if s := v.Stats(); v.Health() != "" || s.Rendered != all+len(forWearer) {
		t.Errorf("%q, %+v", v.Health(), s)
	}
	if r := v.Part().Reason; r != "the texts in pl are machine-made, not reviewed" {
		t.Errorf("reason %q", r)
	}
	one := len(v.Of(audio.SayStop))
	for _, c := range audio.SpokenCues() {
		s := v.Of(c)
		if !slices.Contains(forWearer, c) {
			if len(s) != one {
				t.Errorf("%s: %d samples, want the %d of one language", c, len(s), one)
			}
			continue
		}
		gap := s[one : len(s)-one]
		if len(gap) != audio.Rate*150/1000 || slices.ContainsFunc(gap, func(v int16) bool { return v != 0 }) {
			t.Errorf("%s: %d samples, of which the middle %d are not 150 ms of silence", c, len(s), len(gap))
		}
		if !slices.Equal(s[:one], s[len(s)-one:]) {
			t.Errorf("%s: not both languages", c)
		}
	}
	// The next run is in one language.
	v.Use("pl")
	await(t, v)
	if s := v.Of(audio.SayTalking); len(s) != one || v.Health() != "" {
		t.Errorf("%d samples, %q", len(s), v.Health())
	}
	// The second language fails: the first goes on alone.
	v.o.Voices = map[string]string{"fr": "nobody"}
	v.Use("pl", "pl", "fr")
	await(t, v)
	if s := v.Of(audio.SayTalking); len(s) != one || !strings.HasPrefix(v.Health(), "no voice: espeak-ng: ") {
		t.Errorf("%d samples, %q", len(s), v.Health())
	}
}

// Words begin on their sample, as every cue; without them the tones go on alone.
func TestThroughTheMixer(t *testing.T) {
	f := newTalker(t)
	v := open(t, Options{Languages: []string{"en"}, Command: f.command})
	sound := v.Over(tone.Of)
	m := mix.New(0, sound)
	words := audio.Placed{Cue: audio.SayDeepBreathing, At: 950*time.Millisecond + 7*time.Microsecond}
	if !m.Place(audio.Placed{Cue: audio.ExerciseChange}) || !m.Place(words) {
		t.Fatal("a cue is not taken")
	}
	got := make([]int16, 2*audio.Rate)
	m.Next(got)
	want := make([]int16, len(got))
	copy(want, tone.Of(audio.ExerciseChange))
	copy(want[audio.Sample(words.At):], v.Of(audio.SayDeepBreathing))
	if !slices.Equal(got, want) {
		t.Error("the words do not begin on their sample")
	}
	v.Use("") // nobody speaks
	if sound(audio.SayDeepBreathing) != nil || m.Place(words) || !m.Place(audio.Placed{Cue: audio.Stop}) {
		t.Error("without a voice the words are not left out, or the tones are")
	}
}

// The wearer is told what to do in a language of its own, and in the tester's
// where that cannot be spoken.
func TestWearersLanguage(t *testing.T) {
	f, folder := newTalker(t), t.TempDir()
	record(t, folder, RecordedName("uk", audio.SayTalking), 0.9)
	record(t, folder, RecordedName("uk", audio.SayStop), 0.9)
	v := open(t, Options{Languages: []string{"en"}, Folder: folder, Command: f.command})
	english := len(v.Of(audio.SayTalking))
	v.Use("en", "uk")
	await(t, v)
	for c, own := range map[audio.Cue]bool{audio.SayTalking: true, audio.SayStop: false, audio.SayBendingOver: false, audio.SaySqueezes5: false} {
		if got := len(v.Of(c)); (got != english) != own || got == 0 {
			t.Errorf("%s: %d samples, in English %d", c, got, english)
		}
	}
	if h := v.Health(); !strings.Contains(h, `cues in uk: there are no texts in the language "uk"`) {
		t.Errorf("health %q", h)
	}
	v.Use("en")
	await(t, v)
	if got := len(v.Of(audio.SayTalking)); got != english || v.Health() != "" {
		t.Errorf("%d samples, %q", got, v.Health())
	}
}

func TestFits(t *testing.T) {
	samples := make([]int16, audio.Rate)
	for within, want := range map[time.Duration]bool{
		0: false, time.Second: false, 1100*time.Millisecond - 1: false, 1100 * time.Millisecond: true, time.Hour: true, -time.Second: false,
	} {
		if got := Fits(samples, within); got != want {
			t.Errorf("a second within %v: %v", within, got)
		}
	}
	if Fits(nil, time.Hour) {
		t.Error("words that are not there fit")
	}
}

func TestCatalogue(t *testing.T) {
	if got := Languages(); !slices.Equal(got, []string{"ar", "en", "es", "fr", "pl", "pt", "ro"}) {
		t.Errorf("languages %v", got)
	}
	for _, l := range Languages() {
		said := map[string]audio.Cue{}
		for _, c := range audio.SpokenCues() {
			text := Text(l, c)
			if text == "" || text != strings.TrimSpace(text) || strings.HasPrefix(text, "-") || strings.ContainsAny(text, "<>[]&") {
				t.Errorf("%s %s: %q cannot be spoken", l, c, text)
			}
			if other, ok := said[text]; ok {
				t.Errorf("%s: %s and %s both say %q", l, c, other, text)
			}
			said[text] = c
		}
		if n := len(catalogue[l].texts); n != all {
			t.Errorf("%s has %d texts for %d cues", l, n, all)
		}
		if Reviewed(l) != (l == "en") {
			t.Errorf("%s: reviewed is %v", l, Reviewed(l))
		}
	}
	if Text("tlh", audio.SayStop) != "" || Text("en", audio.Stop) != "" {
		t.Error("a text that nobody wrote")
	}
}

// What the real program says: every text is short enough for the moments at
// which it is said, and as loud as every other cue. That none runs into what is
// due is shown where the moments are, in package session.
func TestRealSpeech(t *testing.T) {
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		t.Skip("missing part: espeak-ng")
	}
	folder := t.TempDir()
	// Said where something is due soon after, or while squeezes are under way.
	timed := append(audio.SpokenExercises(), audio.SaySqueezes5, audio.SaySqueezes10, audio.SaySqueezes15,
		audio.SaySqueezes20, audio.SaySqueezes30, audio.SayTopUpLate, audio.SayFinishDose, audio.SayPressOnceMore)
	for _, l := range Languages() {
		v := open(t, Options{Languages: []string{l}, Folder: folder})
		if h := v.Health(); h != "" {
			t.Errorf("%s: %s", l, h)
			continue
		}
		seen := map[[sha256.Size]byte]bool{}
		longest, latest, low, high, top := time.Duration(0), time.Duration(0), 0.0, -100.0, -100.0
		for _, c := range audio.SpokenCues() {
			s := v.Of(c)
			length := audio.Instant(int64(len(s)))
			rms, p := measure(s)
			hash := sha256.Sum256(wav.Append(nil, s))
			if seen[hash] {
				t.Errorf("%s %s sounds like another", l, c)
			}
			seen[hash] = true
			if length < 250*time.Millisecond || rms < -18.5 || rms > -17.5 || p > -6 {
				t.Errorf("%s %s: %v, %.2f dB, peak %.2f dB", l, c, length, rms, p)
			}
			switch {
			case slices.Contains(timed, c):
				longest = max(longest, length)
				if length > 1600*time.Millisecond {
					t.Errorf("%s %s takes %v, want at most 1.6 s", l, c, length)
				}
			case length > 2*time.Second:
				t.Errorf("%s %s takes %v, want at most 2 s", l, c, length)
			}
			low, high, top = min(low, rms), max(high, rms), max(top, p)
			// 40 dB below full scale; what comes before is a soft consonant at most.
			onset := audio.Instant(int64(slices.IndexFunc(s, func(v int16) bool { return v > fullScale/100 || v < -fullScale/100 })))
			latest = max(latest, onset)
			if onset > 100*time.Millisecond {
				t.Errorf("%s %s is heard %v after it begins", l, c, onset)
			}
		}
		t.Logf("%s: at most %v where it is timed; level %.2f to %.2f dB, peaks to %.2f dB; heard at most %v after it begins", l, longest, low, high, top, latest)
	}
}

func BenchmarkRender(b *testing.B) {
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		b.Skip("missing part: espeak-ng")
	}
	v := New(Options{Log: slog.New(slog.DiscardHandler)})
	defer v.Close()
	b.Run("child", func(b *testing.B) {
		for b.Loop() {
			if _, err := v.speak(b.Context(), "en-gb", "Head side to side"); err != nil {
				b.Fatal(err)
			}
		}
	})
	s, err := v.speak(b.Context(), "en-gb", "Head side to side")
	if err != nil {
		b.Fatal(err)
	}
	b.Run("shape", func(b *testing.B) {
		for b.Loop() {
			if _, err := shape(s); err != nil {
				b.Fatal(err)
			}
		}
	})
	v.o.Folder = b.TempDir()
	samples, err := shape(s)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("keep", func(b *testing.B) {
		for b.Loop() {
			if err := v.keep("espeak-x.wav", samples); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("cached", func(b *testing.B) {
		for b.Loop() {
			if v.cached("espeak-x.wav") == nil {
				b.Fatal("nothing is kept")
			}
		}
	})
}

// A whole start in one language, with all cues in the cache.
func BenchmarkStartFromCache(b *testing.B) {
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		b.Skip("missing part: espeak-ng")
	}
	o := Options{Languages: []string{"en"}, Folder: b.TempDir(), Log: slog.New(slog.DiscardHandler)}
	for range 2 { // fill, then see that it is filled
		v := New(o)
		<-v.Ready()
		v.Close()
	}
	for b.Loop() {
		v := New(o)
		<-v.Ready()
		if v.Stats().Cached != all {
			b.Fatalf("%+v", v.Stats())
		}
		v.Close()
	}
}
