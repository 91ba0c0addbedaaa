// SPDX-License-Identifier: Apache-2.0

// Package demo holds Harrowgate Stoneworks, a small stone-cutting yard that
// does not exist, with its people, facepieces and one scripted run. It must
// never be mixed with real records: whatever is made with it is practice.
package demo

import (
	"time"

	"tallyhood/console/procedure"
	"tallyhood/device"
	"tallyhood/device/sim"
)

// People work at Harrowgate Stoneworks.
func People() []procedure.Wearer {
	return []procedure.Wearer{
		{ID: "hs-014", Name: "Ilse Brandvold"}, {ID: "hs-021", Name: "Tomasz Zieliński"}, {ID: "hs-007", Name: "Maren Okonjo"},
		{ID: "hs-033", Name: "Despina Λάμπρου"}, {ID: "hs-040", Name: "Rhodri Vance"}, {ID: "hs-052", Name: "Pilar Echevarne"},
	}
}

// Languages are the first languages of people who would rather not be asked in
// English, by id.
func Languages() map[string]string { return map[string]string{"hs-021": "pl", "hs-052": "es"} }

// Testers are people of the yard who may test.
func Testers() []string { return []string{"Agnes Thorley", "Bram Okafor"} }

// Facepieces are of makers that do not exist.
func Facepieces() []procedure.Facepiece {
	return []procedure.Facepiece{
		{ID: "corrie-m", Make: "Fellside", Model: "Corrie", Style: "half mask, rubber, with two P3 filters", Size: "medium", Type: procedure.HalfMask, FitFactor: 100, Whose: "own piece, clean, no damage"},
		{ID: "corrie-s", Make: "Fellside", Model: "Corrie", Style: "half mask, rubber, with two P3 filters", Size: "small", Type: procedure.HalfMask, FitFactor: 100, Whose: "pool piece, clean, no damage"},
		{ID: "moss-1", Make: "Tarnwick", Model: "Moss", Style: "disposable, folded, with valve", Size: "one size", Type: procedure.Disposable, FitFactor: 100, Whose: "new, from the box"},
		{ID: "beacon-m", Make: "Tarnwick", Model: "Beacon", Style: "full face mask, silicone", Size: "medium", Type: procedure.FullFace, FitFactor: 500, Whose: "pool piece"},
	}
}

// Script is the contacts of one whole run with a bin of 10 that ends in a
// pass: the steps, seven squeezes and the report, ten for the initial dose, and
// thirteen top-ups of five. Instants count from its beginning.
func Script(r procedure.RuleSet) []sim.Move {
	var moves []sim.Move
	t := 2 * time.Second
	press := func(l device.Line, hold time.Duration) {
		moves = append(moves, sim.Move{At: t, Line: l, Closed: true}, sim.Move{At: t + hold, Line: l})
	}
	press(device.Step, 150*time.Millisecond)
	t += 4 * time.Second
	for range 7 {
		press(device.Squeeze, 220*time.Millisecond)
		t += 1200 * time.Millisecond
	}
	press(device.Taste, 600*time.Millisecond)
	t += 60 * time.Second
	press(device.Step, 150*time.Millisecond)
	t += r.Figures.Wear.Duration() + 2*time.Second
	press(device.Step, 150*time.Millisecond)
	t += 3 * time.Second
	bin := r.BinOf(7)
	zero := t
	for range bin.Initial {
		zero = t
		press(device.Squeeze, 220*time.Millisecond)
		t += 1200 * time.Millisecond
	}
	for n := 1; n <= r.TopUps(); n++ {
		t = zero + r.Due(n) + 900*time.Millisecond + time.Duration(n*7%5)*400*time.Millisecond
		for range bin.TopUp {
			press(device.Squeeze, 220*time.Millisecond)
			t += 1300 * time.Millisecond
		}
	}
	return moves
}
