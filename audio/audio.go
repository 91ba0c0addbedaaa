// SPDX-License-Identifier: Apache-2.0

// Package audio names the cues that the box can sound and the player that
// sounds them. It must not know why a cue is due, and a player never blocks
// its caller.
package audio

import (
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Cue is a short sound with one meaning.
type Cue string

// The cues. Each has a twin on the screen.
const (
	SqueezeCounted Cue = "squeeze_counted" // a soft tick: the squeeze was counted
	TopUpDue       Cue = "top_up_due"      // squeezes are due now
	DoseDone       Cue = "dose_done"       // the dose is complete
	ExerciseChange Cue = "exercise_change" // the next exercise begins
	FiveSeconds    Cue = "five_seconds"    // five seconds left to the next change
	Tick           Cue = "tick"            // one of the seconds before a change or a dose
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

// Cues lists every cue that is a tone in a fixed order.
func Cues() []Cue {
	return []Cue{
		SqueezeCounted, TopUpDue, DoseDone, ExerciseChange, FiveSeconds, Tick,
		Count5, Count4, Count3, Count2, Count1,
		Reported, Stop, NotValid, Pass, Fault, GoOn, Refused,
	}
}

// The spoken cues are words. They come beside the tones, never instead: a box
// without a voice says none of them. Which texts they are and in what language
// is the business of package voice.
const (
	SayNormalBreathing      Cue = "say_normal_breathing" // the exercise that begins, so do the next six
	SayDeepBreathing        Cue = "say_deep_breathing"
	SayHeadSideToSide       Cue = "say_head_side_to_side"
	SayHeadUpAndDown        Cue = "say_head_up_and_down"
	SayTalking              Cue = "say_talking"
	SayBendingOver          Cue = "say_bending_over"
	SayNormalBreathingAgain Cue = "say_normal_breathing_again"
	SaySqueezes5            Cue = "say_squeezes_5" // so many squeezes are due
	SaySqueezes10           Cue = "say_squeezes_10"
	SaySqueezes15           Cue = "say_squeezes_15"
	SaySqueezes20           Cue = "say_squeezes_20"
	SaySqueezes30           Cue = "say_squeezes_30"
	SayTopUpLate            Cue = "say_top_up_late"   // a top-up is due and not begun
	SayFinishDose           Cue = "say_finish_dose"   // the window of a top-up shuts soon
	SayTopUpMissed          Cue = "say_top_up_missed" // it has shut
	SayPressOnceMore        Cue = "say_press_once_more"
	SayStop                 Cue = "say_stop" // stop, hood off
	SayNotValid             Cue = "say_not_valid"
	SayPassed               Cue = "say_passed"
	SayButtonFault          Cue = "say_button_fault" // the wearer's button or its cable
	SayLook                 Cue = "say_look"         // the screen says what is wrong
	SaySoundBack            Cue = "say_sound_back"   // sound was lost and is there again
	SayParkedReady          Cue = "say_parked_ready" // the wait of a parked run is over
)

// saying begins the name of every spoken cue.
const saying = "say_"

// Spoken says whether the cue is words. A player that has no sound for such a
// cue leaves it out and counts no error.
func (c Cue) Spoken() bool { return strings.HasPrefix(string(c), saying) }

// SpokenCues lists every spoken cue in a fixed order.
func SpokenCues() []Cue {
	return append(SpokenExercises(),
		SaySqueezes5, SaySqueezes10, SaySqueezes15, SaySqueezes20, SaySqueezes30,
		SayTopUpLate, SayFinishDose, SayTopUpMissed, SayPressOnceMore,
		SayStop, SayNotValid, SayPassed, SayButtonFault, SayLook, SaySoundBack, SayParkedReady,
	)
}

// SpokenExercises lists the names of the exercises in a fixed order.
func SpokenExercises() []Cue {
	return []Cue{
		SayNormalBreathing, SayDeepBreathing, SayHeadSideToSide, SayHeadUpAndDown,
		SayTalking, SayBendingOver, SayNormalBreathingAgain,
	}
}

// SayExercise is the spoken name of an exercise; ok is false when there is none.
func SayExercise(id string) (c Cue, ok bool) {
	c = Cue(saying + id)
	return c, slices.Contains(SpokenExercises(), c)
}

// SaySqueezes says how many squeezes are due; ok is false for a number that
// nobody says.
func SaySqueezes(n int) (c Cue, ok bool) {
	switch n {
	case 5, 10, 15, 20, 30:
		return Cue(saying + "squeezes_" + strconv.Itoa(n)), true
	}
	return "", false
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
	// else why not. It begins with Lost when sound was there and has gone.
	Health() string
	Close() error
}

// The beginnings of what Health says. A page may look for them; what follows
// is for people.
const (
	NoSound = "no sound" // there was none since the start
	Lost    = "sound lost"
)

// A Part is what a start-up report says of a part of the sound.
type Part struct {
	State  string // PartLoaded, PartAbsent or PartFailed
	Reason string // in words; may be empty for a part that is loaded
}

// The states of a part.
const (
	PartLoaded = "loaded"
	PartAbsent = "absent"
	PartFailed = "failed"
)
