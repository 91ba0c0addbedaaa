// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"testing"

	"tallyhood/audio"
	"tallyhood/audio/dial"
	"tallyhood/audio/tone"
	"tallyhood/console/session"
	"tallyhood/console/wire"
)

// A page turns the sound, at any time and under the lease, and every page sees
// how it is turned. A muted box measures no delay of its sound.
func TestSoundIsTurned(t *testing.T) {
	var languages []string
	d := newDeskOn(t, newStillClock(), nil, func(c *session.Config) {
		c.Dial = dial.New(dial.Options{Volume: 80, Sound: tone.Of})
		c.Speak = func(wearer string) { languages = append(languages, wearer) }
	})
	d.fence = d.lease("page 1")
	ask := func(c wire.Command, want string) {
		t.Helper()
		c.Fence = d.fence
		if why := d.askAs("page 1", wire.Tester, c); why != want {
			t.Errorf("%s %d %v: %q, want %q", c.Do, c.Volume, c.Muted, why, want)
		}
	}
	is := func(volume int, muted bool) {
		t.Helper()
		d.until("the dial", func(s wire.Snapshot) bool { return s.Volume == volume && s.Muted == muted })
	}
	is(80, false)
	ask(wire.Command{Do: "volume", Volume: 101}, "unknown")
	ask(wire.Command{Do: "volume", Volume: -1}, "unknown")
	ask(wire.Command{Do: "volume", Volume: 30}, "")
	is(30, false)
	ask(wire.Command{Do: "mute", Muted: true}, "")
	is(30, true)
	ask(wire.Command{Do: "latency_begin"}, "no_sound")
	if why := d.askAs("page 2", wire.Tester, wire.Command{Do: "mute", Fence: d.fence}); why != "not_driver" {
		t.Errorf("another page may turn the sound: %q", why)
	}
	if why := d.askAs("page 3", wire.Wearer, wire.Command{Do: "mute", Fence: d.fence}); why != "not_allowed" {
		t.Errorf("a wearer's page may turn the sound: %q", why)
	}
	d.open()
	ask(wire.Command{Do: "mute"}, "")
	is(30, false)
	d.until("a run", func(s wire.Snapshot) bool { return s.Run != nil })
	d.stop()
	if len(languages) != 1 {
		t.Errorf("the wearer's language was chosen %d times in one run", len(languages))
	}
	if n := len(d.heard.at(audio.Count5)); n != 0 {
		t.Errorf("%d tones of the self-test of a muted box", n)
	}
}
