// SPDX-License-Identifier: Apache-2.0

// Package silent is the player of a box without a sound card. It must not be
// mistaken for one that sounds: its Health always says so.
package silent

import (
	"cmp"
	"time"

	"tallyhood/audio"
)

// A Player sounds nothing. Why says why not, as a part of the box does; empty: no
// sound card is there.
type Player struct{ Why string }

var _ audio.Player = Player{}

// Play does nothing.
func (Player) Play(audio.Placed) {}

// Drop does nothing: no cue waits.
func (Player) Drop(time.Duration) {}

// Health says why there is no sound; it is never empty.
func (p Player) Health() string { return cmp.Or(p.Why, "no sound card") }

// Close does nothing.
func (Player) Close() error { return nil }
