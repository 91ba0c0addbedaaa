// SPDX-License-Identifier: Apache-2.0

// Package curve reads the pressure curve of a nebuliser's rubber bulb: samples
// of gauge pressure in, squeezes out, and for each whether the bulb was
// squeezed flat and whether it had filled again before.
//
// Volume, not height, decides. While the bulb is squeezed its air leaves
// through the nebuliser's jet, when it is let go air returns through its valve.
// By Bernoulli's law the flow through an orifice is k*sqrt(|p|) with one
// constant per way (air taken as incompressible, which costs some per cent at
// the pressures in question; fluid mechanics textbooks, "orifice equation").
// So the integral of sqrt(p) over positive pressure measures the volume
// expelled, and over suction the volume taken in. Neither constant has to be
// known: both volumes are told as shares of those of ten flat squeezes of the
// same bulb, jet and tube (see Calibrate). The peak alone would not do: it
// grows with the square of the speed of the hand, flat or not. A bulb that is
// held flat shows no pressure, and neither does a full one; only the volume
// taken in since tells them apart.
//
// Where part of the jet's resistance is laminar, slow squeezes look larger than
// they are, by a tenth at half the calibration's speed if that part is a fifth
// (Hagen and Poiseuille's law beside the orifice equation); slower ones are in
// doubt for it. All this has been tried on simulated bulbs only (package
// bulbsim), which hold to the same laws.
//
// What it cannot see: that all ten squeezes of the calibration were equally
// shallow; and a push of under a quarter of a bulb that is so gentle that its
// pressure stays in the noise, under Start (some 70 Pa, 7 mm of water). A larger
// one is told when the bulb fills. A jet that clogs makes every squeeze look
// larger; the volume taken in does not follow, and from that it is told
// (Disagrees).
//
// It must not import anything of tallyhood, read a clock or do I/O, and it must
// not know what a squeeze means for a run.
package curve

import "time"

const ms = time.Millisecond

// A Sample is the gauge pressure at an instant.
type Sample struct {
	At     time.Duration
	Pascal float64
}

// A Kind says what was found on the curve.
type Kind uint8

// The kinds of event. A squeeze is told by exactly one of Flattened, Shallow,
// Unfilled and Doubted; what came of a flattened one follows as Squeezed.
const (
	Flattened  Kind = iota // a full bulb was squeezed flat; it may still be held
	Squeezed               // a flattened bulb was let go: the squeeze is complete
	Shallow                // let go, or held, before it was flat
	Unfilled               // the squeeze began before the bulb had filled again
	Doubted                // flat by the numbers, but they cannot be trusted; see Why
	Touched                // too little to be a squeeze; many together are Doubted
	Filled                 // the bulb has filled again after a squeeze
	Drifted                // the rest level has moved
	Disagrees              // volumes out and in no longer fit the calibration
	Agrees                 // they fit again
	Stuck                  // the readings do not change any more
	OutOfRange             // the readings are at the end of the sensor's range or no numbers
	Gap                    // no readings for a while: a squeeze may be missing
	Sound                  // the readings are fit for use, for the first time or again
)

// String names the kind in words.
func (k Kind) String() string {
	return [...]string{"flattened", "squeezed", "shallow", "unfilled", "doubted", "touched", "filled", "drifted",
		"disagrees", "agrees", "stuck", "out of range", "gap", "sound"}[k]
}

// An Event is what was found. Instants that do not apply are zero.
type Event struct {
	Kind Kind
	// Known is the instant of the sample that told.
	Known time.Duration
	// Begun is where the pressure began to rise, FlatAt where it was known that
	// the bulb is flat, Released where suction began. For a Gap, Begun is the
	// last sample before it.
	Begun, FlatAt, Released time.Duration
	// Peak is the highest pressure of the squeeze over the rest level, in pascal.
	Peak float64
	// Volume expelled, and Before, what the bulb held when the squeeze began,
	// both as shares of a flat squeeze of a full bulb.
	Volume, Before float64
	// Rest is the rest level in pascal.
	Rest float64
	// Why says it in words where the kind alone does not.
	Why string
}

// The figures of judgement. All are assumptions without a published source;
// where a true volume lies between 0.70 and 0.95 of a flat squeeze either
// answer is accepted (curve's tests hold what lies outside).
const (
	// flatShare of the calibrated volume makes a squeeze flat.
	flatShare = 0.85
	// overShare: a bulb does not hold more than it holds.
	overShare = 1.35
	// filledShare: a bulb that took in less of its volume had not filled. It is
	// the coarser of the two measures, for suction is weak and its end is lost
	// in the noise; that the bulb was full is proved by the volume it gives.
	filledShare = 0.50
	// fullShare: a bulb is called filled.
	fullShare = 0.90
	// touchShare: less is a touch.
	touchShare = 0.10
	// spiltShare: touches that together expelled so much are told as a doubtful
	// squeeze. Mist is made of the air that goes through the jet, so that what
	// nobody hears of is bounded by half a bulb, however many touches there are.
	spiltShare = 0.50
	// peakShare of the usual peak, half the usual speed: the share of the jet's
	// resistance that is laminar, and not of the orifice equation, grows as flow
	// falls, and makes the volume of slower squeezes look larger than it is.
	peakShare = 0.25
	// fallen: the push is over when pressure has fallen to this share of its peak.
	fallen = 0.15
	// agreeLow and agreeHigh bound the volume taken in over that given out.
	agreeLow, agreeHigh = 0.82, 1.25
	// againLow and againHigh: closer, once they were out of bounds.
	againLow, againHigh = 0.87, 1.18
	// agreeOf squeezes are compared; their median counts from agreeMin on.
	agreeOf, agreeMin = 5, 4
	// agreeLeast: what expelled or sucked in less is not compared.
	agreeLeast = 0.6
	// agreePeak of the usual peak: slower ones are not compared, for more of
	// their volume is lost in the noise.
	agreePeak = 0.2

	// MaxGap is the longest time without a sample that hides no squeeze: at 5
	// a second push and filling take 150 ms and more, and of one that falls into
	// a shorter gap the end of the filling is seen (missedShare).
	MaxGap = 100 * ms
	// missedShare of a bulb taken in by one that was full: a squeeze was missed,
	// for want of readings or since it was too gentle to stand out.
	missedShare = 0.25
	// coarse: with samples further apart than this a squeeze's volume is not
	// to be trusted.
	coarse = 16 * ms
	// clipLimit: a longer stay at the end of the range is a fault of the sensor.
	clipLimit = 500 * ms
	// frozen: longest time that a reading far from rest may stand still.
	frozen = 150 * ms
	// quietLeast and quietMost bound how long readings at rest may stand still;
	// between them eight times what was the longest in the calibration.
	quietLeast, quietMost = 2 * time.Second, 30 * time.Second
	// silentSensor: of one that showed no noise for so long in the calibration
	// nothing can be concluded from standing still at rest. If it is stuck, no
	// squeeze is counted.
	silentSensor = time.Second
	// restAfter: the bulb is at rest when there was no flow for so long; only
	// then the rest level is followed, with the time constant restTime.
	restAfter, restTime = 300 * ms, 3 * time.Second
	// pauseMost is the longest pause within one squeeze.
	pauseMost = 120 * ms
	// holdLeast: a squeeze that stops half-way and is neither continued nor
	// let go for so long is called shallow.
	holdLeast = time.Second
	// levelTime: pressure that stands still for so long while more than a
	// bulb's volume would have flowed is no pressure but a moved rest level.
	levelTime = time.Second
)
