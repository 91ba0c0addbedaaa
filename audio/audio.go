// SPDX-License-Identifier: Apache-2.0

// Package audio names the cues that the box can sound and the player that
// sounds them. It must not know why a cue is due, and a player never blocks
// its caller.
package audio

import "time"

// A Cue is a short sound with one meaning.
type Cue string

// The cues. Each has a twin on the screen.
const (
	SqueezeCounted Cue = "squeeze_counted" // a soft tick: the squeeze was counted
	TopUpDue       Cue = "top_up_due"      // squeezes are due now
	DoseDone       Cue = "dose_done"       // the dose is complete
	ExerciseChange Cue = "exercise_change" // the next exercise begins
	FiveSeconds    Cue = "five_seconds"    // five seconds left to the next change
	Count5         Cue = "count_5"         // five squeezes of the dose are left, and so down to one
	Count4         Cue = "count_4"
	Count3         Cue = "count_3"
	Count2         Cue = "count_2"
	Count1         Cue = "count_1"
	Reported       Cue = "reported"  // the wearer's report in the sensitivity test was taken
	Stop           Cue = "stop"      // tasted: the run has ended, hood off
	NotValid       Cue = "not_valid" // the run has ended and says nothing
	Pass           Cue = "pass"      // the run was passed and is saved
	Fault          Cue = "fault"     // an input is faulty
	GoOn           Cue = "go_on"     // a step was taken
	Refused        Cue = "refused"   // what was asked cannot be done now; the screen says why
)

// Cues lists every cue in a fixed order.
func Cues() []Cue {
	return []Cue{
		SqueezeCounted, TopUpDue, DoseDone, ExerciseChange, FiveSeconds,
		Count5, Count4, Count3, Count2, Count1,
		Reported, Stop, NotValid, Pass, Fault, GoOn, Refused,
	}
}

// Urgent says whether the cue ends what is going on or warns of a fault. A
// player that has to choose keeps an urgent cue and plays it late rather than
// not at all.
func (c Cue) Urgent() bool { return c == Stop || c == NotValid || c == Fault }

// Rate is the number of samples in a second of every stream of cues; a sample
// is one signed 16-bit value, one channel.
const Rate = 44100

// Sample numbers the sample that is nearest to an instant, sample 0 being at
// instant 0; every player places cues by it. It is exact for every instant: a
// board that has been up for three days is past what at*Rate holds in 64 bits,
// so whole seconds go apart.
func Sample(at time.Duration) int64 {
	seconds, rest := int64(at/time.Second), int64(at%time.Second)
	scaled := rest * Rate
	half := int64(time.Second / 2)
	if scaled < 0 {
		half = -half
	}
	return seconds*Rate + (scaled+half)/int64(time.Second)
}

// Instant gives the instant of a sample, cut to whole nanoseconds.
func Instant(sample int64) time.Duration {
	seconds, rest := sample/Rate, sample%Rate
	return time.Duration(seconds)*time.Second + time.Duration(rest)*time.Second/Rate
}

// A Placed cue begins at an instant of the board's monotonic clock.
type Placed struct {
	Cue Cue
	At  time.Duration
}

// A Player sounds cues. Play returns at once. A cue whose instant is past
// begins as soon as it can; one in the future begins on its sample.
type Player interface {
	Play(Placed)
	// Drop forgets the cues that begin at or after from and have not begun:
	// the run they belonged to has ended.
	Drop(from time.Duration)
	// Health says in a few words whether sound comes out: "" when it does,
	// else why not.
	Health() string
	Close() error
}
