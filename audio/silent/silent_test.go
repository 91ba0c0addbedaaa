// SPDX-License-Identifier: Apache-2.0

package silent_test

import (
	"testing"

	"tallyhood/audio"
	"tallyhood/audio/silent"
)

func TestNeverClaimsSound(t *testing.T) {
	var p audio.Player = silent.Player{}
	p.Play(audio.Placed{Cue: audio.Stop})
	p.Drop(0)
	if p.Health() != "no sound card" {
		t.Errorf("health %q", p.Health())
	}
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	if p.Health() != "no sound card" {
		t.Errorf("health after Close %q", p.Health())
	}
	if got := (silent.Player{Why: "switched off"}).Health(); got != "switched off" {
		t.Errorf("health of what was switched off %q", got)
	}
}
