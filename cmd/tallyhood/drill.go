// SPDX-License-Identifier: Apache-2.0

package main

import (
	"time"

	"tallyhood/console/drill"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
)

// drillFacepiece stands for any where none was chosen.
var drillFacepiece = procedure.Facepiece{ID: "drill", Make: "Any", Model: "facepiece", Style: "for a drill", Size: "any", Type: procedure.HalfMask}

// newDrill makes the simulated wearer that a drill asks for.
func newDrill(d wire.DrillAsk) (session.Actor, session.DrillBound, error) {
	ask := drill.Ask{Seed: d.Seed, Level: d.Level, Troubles: d.Troubles}
	if err := ask.Check(); err != nil {
		return nil, session.DrillBound{}, err
	}
	return actor{drill.NewActor(ask)}, session.DrillBound{
		Wearer: procedure.Wearer{ID: "drill", Name: drill.Name(ask.Seed)}, Facepiece: drillFacepiece,
	}, nil
}

// An actor hands the deeds of a drill's wearer to a session.
type actor struct{ *drill.Actor }

// Act implements session.Actor.
func (a actor) Act(st procedure.State, now time.Duration) []session.Deed {
	var out []session.Deed
	for _, d := range a.Actor.Act(st, now) {
		out = append(out, session.Deed(d))
	}
	return out
}

var _ session.Actor = actor{}
