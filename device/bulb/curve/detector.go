// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"math"
	"time"
)

// A Detector reads the curve of one calibrated bulb. See NewDetector.
type Detector struct {
	p    Parameters
	flow flow
	out  []Event

	begun    bool
	last     Sample
	starting bool

	// fill is the share of a flat squeeze that the bulb holds; unsure says that
	// it was lost sight of, and only a rest makes it known again.
	fill    float64
	unsure  bool
	sucked  bool          // the last flow was into the bulb
	sucks   int           // readings of suction in a row
	sink    time.Duration // the first of them
	empty   bool          // Filled is still to be told
	blind   bool          // readings are missing since the bulb was full and at rest
	calm    bool          // the bulb is full, and nothing has been pushed since it was at rest
	missed  float64       // volume taken in since blind or calm
	rise    time.Duration // begin of the present pressure over dead, while no squeeze
	rising  bool
	fresh   bool    // it is not part of the squeeze in progress
	pre     float64 // volume expelled since rise
	spilt   float64 // share of a bulb that touches expelled since they were last told
	sq      squeeze
	active  bool
	volume  volumes // of the last squeeze, to be compared
	ratios  []float64
	odd     bool
	toldAt  float64 // rest level last told
	lvl     level
	lvlFlow float64 // volume that would have flowed while the level stood still

	same   time.Duration // since when the reading stands still
	clip   time.Duration // since when it is at the end of the range
	clips  bool
	fault  bool // Stuck or OutOfRange was told and not healed
	broken Kind
}

// A squeeze in progress or held.
type squeeze struct {
	begun   time.Duration
	before  float64
	out     float64
	peak    float64
	lastOut time.Duration
	flatAt  time.Duration
	told    bool // its verdict was given
	flat    bool
	spoilt  string
}

// volumes of one squeeze and of the filling after it.
type volumes struct {
	out, in float64
	deepest float64 // suction, pascal
	open    bool
}

// NewDetector returns a detector. It first waits for a second of rest, for the
// sensor's offset is another one every day; then it says Sound. The parameters
// have to pass their Check.
func NewDetector(p Parameters) *Detector {
	return &Detector{p: p, flow: flow{rest: p.Rest, dead: p.Dead}, toldAt: p.Rest, starting: true}
}

// start waits for the first rest.
func (d *Detector) start(s Sample) {
	if d.lvl.take(s, d.band()) < levelTime {
		return
	}
	d.starting, d.fill = false, 1
	d.flow.rest = d.lvl.mean()
	d.toldAt = d.flow.rest
	d.tell(Event{Kind: Sound})
}

// band is how far readings may differ that stand still.
func (d *Detector) band() float64 { return max(8*d.p.Noise, d.p.Dead/2) }

// Rest is the rest level in pascal.
func (d *Detector) Rest() float64 { return d.flow.rest }

// Fill is the share of a flat squeeze that the bulb holds now, 0 to 1.
func (d *Detector) Fill() float64 { return d.fill }

// Odd says that squeezes are in doubt because the volumes no longer fit the
// calibration.
func (d *Detector) Odd() bool { return d.odd }

// Ready says that the rest level is known and the readings are fit for use.
func (d *Detector) Ready() bool { return !d.starting && !d.fault }

// Pushing says that a push has begun of which it is not known what it is: the
// pressure is over Start or a touch's volume has left the bulb, or readings are
// missing that may hide one. What has left the bulb before that is less than a
// touch in pushes of up to half a second, a fifth of a bulb at 0.9 s.
func (d *Detector) Pushing() bool {
	return d.Ready() && (d.active && !d.sq.told || d.fresh && d.pre >= touchShare*d.p.Out || d.blind)
}

// Take returns the events since the last call, in the order of Known.
func (d *Detector) Take() []Event {
	out := d.out
	d.out = nil
	return out
}

func (d *Detector) tell(e Event) {
	e.Known, e.Rest = d.last.At, d.flow.rest
	d.out = append(d.out, e)
}

// Add feeds a sample. One not later than that before it is ignored.
func (d *Detector) Add(s Sample) {
	if d.begun && s.At <= d.last.At {
		return
	}
	before, had := d.last, d.begun
	d.last, d.begun = s, true
	if had && s.At-before.At > MaxGap {
		d.lose(s)
		if !d.starting {
			d.tell(Event{Kind: Gap, Begun: before.At})
		}
	}
	if !d.usable(s, before, had) {
		return
	}
	if d.starting {
		d.start(s)
		return
	}
	coarseStep := d.flow.begun && s.At-d.flow.at > coarse
	peakStep := d.flow.x
	out, in := d.flow.step(s)
	if coarseStep && (max(peakStep, d.flow.x) > d.p.Start || out > 0 && d.active) {
		d.spoil("readings are missing in the squeeze")
	}
	if coarseStep && !d.active && d.fill >= fullShare {
		d.blind, d.missed = true, 0
	}
	if d.clips {
		d.spoil("the pressure is beyond the sensor's range")
	}
	d.breathe(in)
	d.push(out)
	d.pause()
	d.settle(s, out+in)
	d.drift()
}

// lose forgets what a stretch without readings may have changed.
func (d *Detector) lose(s Sample) {
	if d.active && d.sq.flat {
		d.release(s.At)
	}
	d.active, d.rising, d.fresh, d.pre = false, false, false, 0
	d.fill, d.unsure, d.sucked, d.empty = 0, true, false, true
	d.volume, d.blind, d.calm = volumes{}, false, false
	d.flow.begun, d.flow.steady, d.lvl.on, d.lvlFlow = false, 0, false, 0
}

func (d *Detector) spoil(why string) {
	if d.active && !d.sq.told {
		d.sq.spoilt = why
	}
}

// usable says whether a reading is one of pressure, and tells of faults.
func (d *Detector) usable(s, before Sample, had bool) bool {
	edge := (d.p.High - d.p.Low) / 200
	wrong := math.IsNaN(s.Pascal) || math.IsInf(s.Pascal, 0)
	end := wrong || s.Pascal <= d.p.Low+edge || s.Pascal >= d.p.High-edge
	if end && !d.clips {
		d.clip = s.At
	}
	d.clips = end
	if !had || s.Pascal != before.Pascal {
		d.same = s.At
	}
	still := s.At - d.same
	limit := min(max(quietLeast, 8*d.p.Quiet), quietMost)
	switch {
	case !d.starting && math.Abs(s.Pascal-d.flow.rest) > d.p.Start:
		limit = min(max(frozen, 8*d.p.Quiet), quietLeast)
	case d.p.Quiet >= silentSensor:
		limit = math.MaxInt64
	}
	switch {
	case end && (wrong || s.At-d.clip > clipLimit):
		d.fail(s, OutOfRange)
	case !end && still > limit:
		d.fail(s, Stuck)
	case d.fault && (end || d.broken == Stuck && still > 0):
		return false
	case d.fault:
		d.fault = false
		d.lose(s)
		if !d.starting {
			d.tell(Event{Kind: Sound})
		}
	}
	return !d.fault
}

func (d *Detector) fail(s Sample, k Kind) {
	if !d.fault {
		d.lose(s)
		d.tell(Event{Kind: k})
	}
	d.fault, d.broken = true, k
}

// breathe takes the volume that went into the bulb.
func (d *Detector) breathe(in float64) {
	x := d.flow.x
	switch {
	case x >= -d.p.Dead:
		d.sucks = 0
	case d.sucks == 0:
		d.sucks, d.sink = 1, d.flow.at
	default:
		d.sucks++
	}
	if d.sucks > 1 || x < -d.p.Start { // a single reading may be a disturbance
		d.sucked = true
		if d.active {
			d.release(d.sink)
		}
	}
	if in == 0 {
		return
	}
	if d.blind || d.calm {
		d.missed += in
		if d.missed >= missedShare*d.p.In {
			d.blind, d.calm = false, false
			d.tell(Event{Kind: Doubted, Why: "the bulb filled after a squeeze that was not seen"})
		}
	}
	d.volume.in += in
	d.volume.deepest = max(d.volume.deepest, -x)
	if !d.unsure {
		d.fill = min(1, d.fill+in/d.p.In)
	}
	d.fillTold()
}

func (d *Detector) fillTold() {
	if d.empty && !d.active && d.fill >= fullShare {
		d.empty = false
		d.tell(Event{Kind: Filled, Before: d.fill})
	}
}

// push takes the volume that left the bulb.
func (d *Detector) push(out float64) {
	x, at := d.flow.x, d.flow.at
	switch {
	case x > d.p.Dead && !d.rising:
		// What begins after a pause is another squeeze; the release between was
		// too gentle to be seen, or there was none and the parts make no whole.
		d.rising, d.rise, d.pre = true, at, 0
		d.fresh = !d.active || d.sq.told || at-d.sq.lastOut > pauseMost
	case x <= d.p.Dead:
		if d.fresh && d.pre >= touchShare*d.p.Out && d.calm {
			d.blind, d.missed = true, 0 // whether that was a push, the filling tells
		}
		d.rising, d.fresh = false, false
	}
	if d.fresh && x > d.p.Start {
		d.fresh = false
		if d.active {
			d.release(d.rise)
		}
		d.begin()
	}
	if d.fresh || !d.active {
		d.pre += out
		return
	}
	q := &d.sq
	q.out += out
	q.peak = max(q.peak, x)
	if !d.unsure {
		d.fill = max(0, d.fill-out/d.p.Out)
	}
	if d.rising && at > d.rise { // a single reading may be a disturbance
		q.lastOut, d.sucked = at, false
	}
	if q.told {
		return
	}
	share := q.out / d.p.Out
	if share >= flatShare && x < fallen*q.peak || share >= overShare {
		d.judge(share)
	}
}

func (d *Detector) begin() {
	d.compare()
	d.blind, d.calm = false, false
	d.active, d.sq = true, squeeze{begun: d.rise, before: d.fill, out: d.pre}
	if !d.unsure {
		d.fill = max(0, d.fill-d.pre/d.p.Out)
	}
	d.volume = volumes{open: true}
	d.pre, d.empty = 0, true
}

// pause draws conclusions from rest.
func (d *Detector) pause() {
	still := d.flow.still()
	if still >= restAfter {
		d.blind, d.missed = false, 0
		d.calm = !d.active && !d.unsure && d.fill >= fullShare
	}
	if d.active {
		if !d.sq.told && still >= max(holdLeast, 3*d.p.Fill) {
			d.short(Event{Begun: d.sq.begun, Peak: d.sq.peak, Volume: d.sq.out / d.p.Out, Before: d.sq.before, Why: "held half-way"})
		}
		return
	}
	// A bulb at rest after suction is as full as the hand lets it be, and what
	// the hand keeps out is missing in the volume of the next squeeze.
	if d.sucked && still >= max(restAfter, d.p.Fill) || d.unsure && still >= max(holdLeast, 2*d.p.Fill) {
		d.compare()
		d.fill, d.unsure = 1, false
		d.fillTold()
	}
}

// settle finds a rest level that has jumped: a pressure that stands still
// although more air would have flowed than the bulb holds.
func (d *Detector) settle(s Sample, volume float64) {
	d.flow.steady = d.lvl.take(s, d.band())
	if d.flow.steady == 0 {
		d.lvlFlow = 0
	}
	d.lvlFlow += volume
	whole := d.p.Out
	if d.flow.x < 0 {
		whole = d.p.In
	}
	if d.flow.steady < levelTime || d.lvlFlow < whole {
		return
	}
	rest := d.lvl.mean()
	if d.active {
		if d.sq.flat {
			d.release(s.At)
		} else if !d.sq.told && d.sq.peak > 2*math.Abs(rest-d.flow.rest) {
			d.sq.told = true
			d.tell(Event{Kind: Doubted, Begun: d.sq.begun, Peak: d.sq.peak, Before: d.sq.before, Why: "the rest level jumped during the squeeze"})
		}
	}
	d.lose(s)
	d.flow.rest = rest
	d.toldAt = rest
	d.tell(Event{Kind: Drifted, Why: "the rest level has jumped"})
}

func (d *Detector) drift() {
	if math.Abs(d.flow.rest-d.toldAt) > d.p.Dead {
		d.toldAt = d.flow.rest
		d.tell(Event{Kind: Drifted})
	}
}
