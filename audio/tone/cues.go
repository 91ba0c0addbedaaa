// SPDX-License-Identifier: Apache-2.0

package tone

import "tallyhood/audio"

// Pitches in hertz, equal temperament on 440 Hz.
const (
	a4  = 440.0
	b4  = 493.883
	c5  = 523.251
	cs5 = 554.365
	ds5 = 622.254
	e5  = 659.255
	fs5 = 739.989
	a5  = 880.0
)

// cues describes every sound; the table of the package says it in words. The
// count goes down a stair of equal steps of a quarter octave.
var cues = map[audio.Cue][]note{
	audio.SqueezeCounted: {{length: 0.045, pitch: a5, colour: mellow, fall: 0.06}},
	audio.TopUpDue: {
		{length: 0.11, pitch: cs5, colour: hollow},
		{at: 0.13, length: 0.24, pitch: fs5, colour: hollow},
	},
	audio.DoseDone: {
		{length: 0.11, pitch: fs5, colour: mellow},
		{at: 0.13, length: 0.24, pitch: cs5, colour: mellow, fall: 0.3},
	},
	audio.ExerciseChange: {{length: 0.6, pitch: e5, colour: bell, release: 0.16, fall: 0.8}},
	audio.FiveSeconds:    {{length: 0.32, pitch: b4, colour: hollow, attack: 0.26, release: 0.03}},
	audio.Tick:           {{length: 0.03, pitch: b4, colour: hollow, attack: 0.004, release: 0.012, fall: 0.06}},

	audio.Count5: {{length: 0.09, pitch: a5, colour: plain}},
	audio.Count4: {{length: 0.09, pitch: fs5, colour: plain}},
	audio.Count3: {{length: 0.09, pitch: ds5, colour: plain}},
	audio.Count2: {{length: 0.09, pitch: c5, colour: plain}},
	audio.Count1: {{length: 0.18, pitch: a4, colour: plain}},

	audio.Reported: {{length: 0.24, pitch: a4, to: a5, colour: mellow, attack: 0.02, release: 0.04}},
	audio.Stop: {
		{at: 0.00, length: 0.09, pitch: a5, colour: shrill},
		{at: 0.12, length: 0.09, pitch: a5, colour: shrill},
		{at: 0.24, length: 0.09, pitch: a5, colour: shrill},
		{at: 0.46, length: 0.09, pitch: a5, colour: shrill},
		{at: 0.58, length: 0.17, pitch: a5, colour: shrill},
	},
	audio.NotValid: {
		{at: 0.00, length: 0.20, pitch: ds5, colour: plain, rasp: 28},
		{at: 0.24, length: 0.20, pitch: c5, colour: plain, rasp: 28},
		{at: 0.48, length: 0.36, pitch: a4, colour: plain, rasp: 28, release: 0.08},
	},
	audio.Pass: {
		{at: 0.00, length: 0.12, pitch: a4, colour: bell, fall: 0.3},
		{at: 0.11, length: 0.12, pitch: cs5, colour: bell, fall: 0.3},
		{at: 0.22, length: 0.12, pitch: e5, colour: bell, fall: 0.3},
		{at: 0.33, length: 0.47, pitch: a5, colour: bell, fall: 1.2, release: 0.16, level: 0.65},
		{at: 0.33, length: 0.47, pitch: cs5, colour: bell, fall: 1.2, release: 0.16, level: 0.4},
	},
	audio.Fault: {
		{at: 0.00, length: 0.11, pitch: fs5, colour: hollow},
		{at: 0.12, length: 0.11, pitch: a4, colour: hollow},
		{at: 0.24, length: 0.11, pitch: fs5, colour: hollow},
		{at: 0.36, length: 0.11, pitch: a4, colour: hollow},
		{at: 0.48, length: 0.11, pitch: fs5, colour: hollow},
		{at: 0.60, length: 0.14, pitch: a4, colour: hollow},
	},
	audio.GoOn: {
		{length: 0.05, pitch: e5, colour: mellow},
		{at: 0.055, length: 0.075, pitch: a5, colour: mellow},
	},
	audio.Refused: {
		{length: 0.08, pitch: a4, colour: shrill, rasp: 40},
		{at: 0.12, length: 0.08, pitch: a4, colour: shrill, rasp: 40},
	},
}
