// SPDX-License-Identifier: Apache-2.0

// Package silent is the player of a box without a sound card. It must not be
// mistaken for one that sounds: its Health always says so.
package silent

import (
	"time"

	"tallyhood/audio"
)

// A Player sounds nothing.
type Player struct{}

var _ audio.Player = Player{}

// Play does nothing.
func (Player) Play(audio.Placed) {}

// Drop does nothing: no cue waits.
func (Player) Drop(time.Duration) {}

// Health says that there is no sound card.
func (Player) Health() string { return "no sound card" }

// Close does nothing.
func (Player) Close() error { return nil }
