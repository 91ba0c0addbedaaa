// SPDX-License-Identifier: Apache-2.0

package session

import "tallyhood/console/wire"

// A Dial turns the sound; nothing in it waits.
type Dial interface {
	Volume() int // per cent
	Muted() bool
	SetVolume(percent int)
	Mute(muted bool)
}

// turn works off volume and mute; "" when it was done.
func (s *Session) turn(c wire.Command) string {
	d := s.cfg.Dial
	switch {
	case d == nil:
		return "no_sound"
	case c.Do == "mute":
		d.Mute(c.Muted)
	case c.Volume < 0 || c.Volume > 100:
		return "unknown"
	default:
		d.SetVolume(c.Volume)
	}
	s.cfg.Log.Info("the sound was turned", "volume", d.Volume(), "muted", d.Muted())
	return ""
}

// dialed fills in how the sound is turned.
func (s *Session) dialed(w *wire.Snapshot) {
	if d := s.cfg.Dial; d != nil {
		w.Volume, w.Muted = d.Volume(), d.Muted()
	}
}

// silenced says whether a tone that a person tries would not be heard.
func (s *Session) silenced() bool {
	return s.cfg.Player.Health() != "" || s.cfg.Dial != nil && (s.cfg.Dial.Muted() || s.cfg.Dial.Volume() == 0)
}
