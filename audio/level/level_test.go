// SPDX-License-Identifier: Apache-2.0

package level_test

import (
	"cmp"
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
	"tallyhood/audio/level"
	"tallyhood/audio/speaker"
)

// A mixer stands in amixer's place. Its script keeps the level and the switch in
// files, and says what is there in the shape of one kind of card. The shapes are
// those of alsa-utils 1.2.8.
type mixer struct{ dir, script string }

// reply is what "sget" prints; LEVEL, UP (of another channel) and SWITCH stand
// for what is kept.
func newMixer(t *testing.T, reply string) mixer {
	t.Helper()
	m := mixer{dir: t.TempDir()}
	m.script = filepath.Join(m.dir, "amixer")
	m.write(t, "reply", reply)
	m.write(t, "level", "31")
	m.write(t, "switch", "off")
	m.write(t, "amixer", `#!/bin/sh
cd "$(dirname "$0")" || exit 9
echo "$*" >>calls
[ -e hang ] && exec sleep 600
[ -e broken ] && { cat broken >&2; exit 1; }
last=
for a in "$@"; do
	case $a in
	*%) [ -e stiff ] || echo "${a%\%}" >level ;;
	unmute) [ -e stuck ] || echo on >switch ;;
	scontrols) last=scontrols ;;
	esac
done
if [ "$last" = scontrols ]; then
	echo "Simple mixer control 'Master',0"; echo "Simple mixer control 'Speaker',0"
	echo "Simple mixer control 'Speaker',1"; exit 0
fi
case "$*" in *Woofer*) echo "amixer: Unable to find simple control 'Woofer',0" >&2; exit 1 ;; esac
sed -e "s/LEVEL/$(cat level)/" -e "s/SWITCH/$(cat switch)/" reply
`)
	return m
}

func (m mixer) write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(m.dir, name), []byte(text), 0o755); err != nil {
		t.Fatal(err)
	}
}

func (m mixer) calls(t *testing.T) []string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(m.dir, "calls"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(string(b)), "\n")
}

// set sets a level and waits for what comes of it.
func set(t *testing.T, o level.Options) audio.Part {
	t.Helper()
	o.Log = slog.New(slog.DiscardHandler)
	o.Limit = cmp.Or(o.Limit, time.Minute) // a busy machine may be slow to start a program
	l := level.New(o)
	defer l.Close()
	l.Set()
	for deadline := time.Now().Add(time.Minute); l.Sets() == 0; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("nothing came of it in a minute")
		}
	}
	return l.Part()
}

const (
	mono = `Simple mixer control 'PCM',0
  Capabilities: pvolume pvolume-joined pswitch pswitch-joined
  Playback channels: Mono
  Limits: Playback -10239 - 400
  Mono: Playback -1766 [LEVEL%] [-17.66dB] [SWITCH]
`
	stereo = `Simple mixer control 'PCM',0
  Capabilities: pvolume pswitch
  Playback channels: Front Left - Front Right
  Limits: Playback 0 - 64
  Mono:
  Front Left: Playback 51 [LEVEL%] [-13.00dB] [SWITCH]
  Front Right: Playback 51 [LEVEL%] [-13.00dB] [SWITCH]
`
	noSwitch = `Simple mixer control 'PCM',0
  Capabilities: pvolume
  Playback channels: Front Left - Front Right
  Limits: Playback 0 - 255
  Mono:
  Front Left: Playback 204 [LEVEL%] [-10.20dB]
  Front Right: Playback 204 [LEVEL%] [-10.20dB]
`
	noVolume = `Simple mixer control 'PCM',0
  Capabilities: pswitch pswitch-joined
  Playback channels: Mono
  Mono: Playback [SWITCH]
`
	headset = `Simple mixer control 'PCM',0
  Capabilities: pvolume cvolume cvolume-joined pswitch pswitch-joined cswitch cswitch-joined
  Playback channels: Front Left - Front Right
  Capture channels: Mono
  Limits: Playback 0 - 24 Capture 0 - 4
  Mono: Capture 1 [25%] [2.00dB] [off]
  Front Left: Playback 20 [LEVEL%] [-3.00dB] [SWITCH]
  Front Right: Playback 20 [LEVEL%] [-3.00dB] [SWITCH]
`
	oneLine = `Simple mixer control 'PCM',0
  Capabilities: pvolume cvolume pswitch cswitch
  Playback channels: Front Left - Front Right
  Capture channels: Front Left - Front Right
  Limits: Playback 0 - 31 Capture 0 - 15
  Front Left: Playback 25 [LEVEL%] [-9.00dB] [SWITCH] Capture 0 [0%] [0.00dB] [off]
  Front Right: Playback 25 [LEVEL%] [-9.00dB] [SWITCH] Capture 0 [0%] [0.00dB] [off]
`
	shared = `Simple mixer control 'PCM',0
  Capabilities: volume pswitch pswitch-joined
  Playback channels: Front Left - Front Right
  Capture channels: Front Left - Front Right
  Limits: 0 - 255
  Front Left: 245 [LEVEL%] [-5.00dB] Playback [SWITCH]
  Front Right: 245 [LEVEL%] [-5.00dB] Playback [SWITCH]
`
	recording = `Simple mixer control 'PCM',0
  Capabilities: cvolume cswitch
  Capture channels: Mono
  Limits: Capture 0 - 15
  Mono: Capture 8 [53%] [12.00dB] [on]
`
	lopsided = `Simple mixer control 'PCM',0
  Capabilities: pvolume
  Playback channels: Front Left - Front Right
  Limits: Playback 0 - 64
  Front Left: Playback 51 [LEVEL%] [-13.00dB]
  Front Right: Playback 9 [14%] [-40.00dB]
`
	coarse = `Simple mixer control 'PCM',0
  Capabilities: pvolume
  Playback channels: Mono
  Limits: Playback 0 - 3
  Mono: Playback 2 [67%]
`
)

func TestShapes(t *testing.T) {
	for _, c := range []struct {
		name, reply string
		want        audio.Part
		sset        string // empty: nothing may be set
	}{
		{"mono", mono, audio.Part{State: "loaded", Reason: "PCM is at 80 %"}, "-M sset PCM playback 80% unmute"},
		{"stereo", stereo, audio.Part{State: "loaded", Reason: "PCM is at 80 %"}, "-M sset PCM playback 80% unmute"},
		{"without a switch", noSwitch, audio.Part{State: "loaded", Reason: "PCM is at 80 %"}, "-M sset PCM playback 80%"},
		{"without a volume", noVolume, audio.Part{State: "loaded", Reason: "PCM is on; it has no level to set"}, "-M sset PCM unmute"},
		{"headset", headset, audio.Part{State: "loaded", Reason: "PCM is at 80 %"}, "-M sset PCM playback 80% unmute"},
		{"playing and recording in a line", oneLine, audio.Part{State: "loaded", Reason: "PCM is at 80 %"}, "-M sset PCM playback 80% unmute"},
		{"one level for both", shared, audio.Part{State: "loaded", Reason: "PCM is at 80 %"}, "-M sset PCM 80% unmute"},
		{"recording alone", recording, audio.Part{State: "absent", Reason: "the control PCM of the sound card sets no level of what is played"}, ""},
		{"one channel stays low", lopsided, audio.Part{State: "failed", Reason: "the level of PCM reads 14 % after being set to 80 %"}, "-M sset PCM playback 80%"},
		{"four steps", coarse, audio.Part{State: "loaded", Reason: "PCM is at 67 %"}, "-M sset PCM playback 80%"},
		{"no answer", "", audio.Part{State: "absent", Reason: "the control PCM of the sound card sets no level of what is played"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := newMixer(t, c.reply)
			if got := set(t, level.Options{Control: "PCM", Percent: 80, Command: m.script}); got != c.want {
				t.Errorf("%+v, want %+v", got, c.want)
			}
			want := []string{"-M sget PCM"}
			if c.sset != "" {
				want = append(want, c.sset, "-M sget PCM")
			}
			if got := m.calls(t); !slices.Equal(got, want) {
				t.Errorf("calls %q, want %q", got, want)
			}
		})
	}
}

func TestReadBackTells(t *testing.T) {
	for _, c := range []struct{ name, reply, flag, want string }{
		{"the level does not follow", stereo, "stiff", "the level of PCM reads 31 % after being set to 80 %"},
		{"it stays muted", stereo, "stuck", "PCM is still muted after being unmuted"},
		{"it stays off", noVolume, "stuck", "PCM is still muted after being unmuted"},
	} {
		m := newMixer(t, c.reply)
		m.write(t, c.flag, "")
		got := set(t, level.Options{Control: "PCM", Percent: 80, Command: m.script})
		if want := (audio.Part{State: "failed", Reason: c.want}); got != want {
			t.Errorf("%s: %+v, want %+v", c.name, got, want)
		}
	}
}

func TestWhatIsMissing(t *testing.T) {
	m := newMixer(t, mono)
	got := set(t, level.Options{Control: "Woofer", Percent: 80, Command: m.script})
	if want := (audio.Part{State: "absent", Reason: "no such control: the sound card has no Woofer; it has Master, Speaker"}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	// What alsa-utils 1.2.8 says without a card, tried.
	for said, reason := range map[string]string{
		"Invalid card number '7'.\n": "the sound card is not there: Invalid card number '7'.",
		"ALSA lib control.c:1528:(snd_ctl_open_noupdate) Invalid CTL x\namixer: Mixer attach x error: No such file or directory\n": "the sound card is not there: Mixer attach x error: No such file or directory",
	} {
		m.write(t, "broken", said)
		got = set(t, level.Options{Control: "PCM", Percent: 80, Command: m.script})
		if want := (audio.Part{State: "absent", Reason: reason}); got != want {
			t.Errorf("%+v, want %+v", got, want)
		}
	}
	m.write(t, "broken", "amixer: Control default open error: Permission denied\n")
	got = set(t, level.Options{Control: "PCM", Percent: 80, Command: m.script})
	if want := (audio.Part{State: "failed", Reason: "the level of PCM cannot be set: Control default open error: Permission denied"}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	got = set(t, level.Options{Control: "PCM", Percent: 80, Command: filepath.Join(t.TempDir(), "amixer")})
	if want := (audio.Part{State: "absent", Reason: "the program amixer (of alsa-utils) is not installed"}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	got = set(t, level.Options{Control: "PCM", Percent: 101, Command: m.script})
	if got.State != "failed" {
		t.Errorf("101 %%: %+v", got)
	}
}

func TestHangingProgramIsEnded(t *testing.T) {
	m := newMixer(t, mono)
	m.write(t, "hang", "")
	got := set(t, level.Options{Control: "PCM", Percent: 80, Command: m.script, Limit: 50 * time.Millisecond})
	if want := (audio.Part{State: "failed", Reason: "the level of PCM cannot be set: amixer took longer than 50ms"}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	// Close does not wait for the limit.
	m = newMixer(t, mono)
	m.write(t, "hang", "")
	l := level.New(level.Options{Control: "PCM", Percent: 80, Command: m.script, Limit: time.Hour, Log: slog.New(slog.DiscardHandler)})
	l.Set()
	for began := time.Now(); time.Since(began) < time.Minute; time.Sleep(time.Millisecond) {
		if _, err := os.Stat(filepath.Join(m.dir, "calls")); err == nil {
			break
		}
	}
	began := time.Now()
	l.Close()
	if took := time.Since(began); took > 10*time.Minute {
		t.Errorf("Close took %v", took)
	}
	if l.Sets() != 0 {
		t.Error("what was broken off counts as done")
	}
}

func TestDevices(t *testing.T) {
	for device, want := range map[string]string{
		"":                              "-M sget PCM",
		"default":                       "-M sget PCM",
		"hw:1":                          "-M -c 1 sget PCM",
		"plughw:1,0":                    "-M -c 1 sget PCM",
		"hw:Headphones":                 "-M -c Headphones sget PCM",
		"plughw:CARD=Device,DEV=0":      "-M -c Device sget PCM",
		"sysdefault:CARD=vc4hdmi":       "-M -c vc4hdmi sget PCM",
		"pulse":                         "-M -D pulse sget PCM",
		"plug:'dmix:CARD=Device,DEV=0'": "-M -c Device sget PCM",
	} {
		m := newMixer(t, mono)
		set(t, level.Options{Device: device, Control: "PCM", Percent: 80, Command: m.script})
		if got := m.calls(t)[0]; got != want {
			t.Errorf("device %q: %q, want %q", device, got, want)
		}
	}
}

func TestNoControlNamed(t *testing.T) {
	l := level.New(level.Options{Command: filepath.Join(t.TempDir(), "amixer"), Log: slog.New(slog.DiscardHandler)})
	l.Set()
	if p := l.Part(); p.State != "absent" || !strings.HasPrefix(p.Reason, "no mixer control is named") {
		t.Errorf("%+v", p)
	}
	l.Close()
	if l.Sets() != 0 {
		t.Error("a level was set that nobody named")
	}
}

// A real card, wherever there is one with a control that may be set to what it
// is set to already.
func TestRealCard(t *testing.T) {
	if _, err := exec.LookPath("amixer"); err != nil {
		t.Skip("missing part: amixer (of alsa-utils)")
	}
	cards, err := speaker.Cards()
	if err != nil {
		t.Fatal(err)
	}
	at := slices.IndexFunc(cards, func(c speaker.Card) bool { return c.Driver == "Dummy" })
	if at < 0 {
		t.Skip("not on this machine: a sound card of the kernel's snd-dummy, whose level nobody hears")
	}
	for _, percent := range []int{80, 35} {
		got := set(t, level.Options{Device: cards[at].Device(), Control: "Master", Percent: percent})
		if want := fmt.Sprintf("Master is at %d %%", percent); got.State != "loaded" {
			t.Errorf("%+v, want %q or near it", got, want)
		}
	}
}

// Another level that is asked for is set and read back, the last one last.
func TestAnotherLevel(t *testing.T) {
	m := newMixer(t, "Simple mixer control 'PCM',0\n  Capabilities: pvolume pswitch\n  Playback channels: Mono\n  Limits: Playback 0 - 100\n  Mono: Playback 31 [LEVEL%] [SWITCH]\n")
	l := level.New(level.Options{Control: "PCM", Percent: 80, Command: m.script, Limit: time.Minute, Log: slog.New(slog.DiscardHandler)})
	defer l.Close()
	l.Set()
	l.To(70)
	l.To(65)
	for deadline := time.Now().Add(time.Minute); l.Part() != (audio.Part{State: audio.PartLoaded, Reason: "PCM is at 65 %"}); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%+v", l.Part())
		}
	}
}
