// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"slices"
	"time"
)

// judge gives the verdict on a squeeze of a flat one's volume.
func (d *Detector) judge(share float64) {
	q := &d.sq
	q.told = true
	e := Event{Kind: Doubted, Begun: q.begun, FlatAt: d.flow.at, Peak: q.peak, Volume: share, Before: q.before}
	switch {
	case q.spoilt != "":
		e.Why = q.spoilt
	case share >= overShare:
		e.Why = "more air than the bulb holds: is the nebuliser clogged?"
	case d.unsure:
		e.Why = "it is not known whether the bulb was full"
	case q.before < filledShare:
		e.Kind = Unfilled
	case q.peak < peakShare*d.p.Peak:
		e.Why = "squeezed much more slowly than when the bulb was calibrated"
	case d.odd:
		e.Why = "the curve no longer fits the calibration"
	default:
		e.Kind = Flattened
		q.flat, q.flatAt = true, d.flow.at
		d.fill = 0
	}
	d.tell(e)
}

// release ends the squeeze in progress.
func (d *Detector) release(at time.Duration) {
	q := &d.sq
	d.active = false
	d.volume.out = q.out
	e := Event{Begun: q.begun, FlatAt: q.flatAt, Released: at, Peak: q.peak, Volume: q.out / d.p.Out, Before: q.before}
	switch {
	case q.flat:
		e.Kind = Squeezed
	case q.told:
		return
	default:
		d.short(e)
		return
	}
	d.tell(e)
}

// short tells of a squeeze that did not reach the volume of a flat one.
func (d *Detector) short(e Event) {
	q := &d.sq
	q.told = true
	switch {
	case e.Volume < touchShare && d.spill(e.Volume):
		e.Kind, e.Why = Doubted, "the touches together are as much as half a squeeze"
	case e.Volume < touchShare:
		e.Kind = Touched
	case q.spoilt != "" && e.Volume >= flatShare/2:
		e.Kind, e.Why = Doubted, q.spoilt
	case !d.unsure && q.before < flatShare:
		e.Kind = Unfilled
	default:
		e.Kind = Shallow
	}
	d.tell(e)
}

// spill adds what a touch expelled, and says whether it has to be told.
func (d *Detector) spill(share float64) bool {
	d.spilt += share
	if d.spilt < spiltShare {
		return false
	}
	d.spilt = 0
	return true
}

// compare holds the volume expelled against the one taken in afterwards.
func (d *Detector) compare() {
	v := d.volume
	d.volume = volumes{}
	out, in := v.out/d.p.Out, v.in/d.p.In
	if !v.open || d.unsure || d.flow.still() == 0 && d.flow.x < 0 || out < agreeLeast || v.deepest < agreeLeast*d.p.Suction || d.sq.peak < agreePeak*d.p.Peak || d.sq.spoilt != "" {
		return
	}
	d.ratios = append(d.ratios, in/out)
	if len(d.ratios) > agreeOf {
		d.ratios = d.ratios[1:]
	}
	if len(d.ratios) < agreeMin {
		return
	}
	m := median(d.ratios)
	low, high := agreeLow, agreeHigh
	if d.odd {
		low, high = againLow, againHigh
	}
	odd := m < low || m > high
	if odd == d.odd {
		return
	}
	d.odd = odd
	if !odd {
		d.tell(Event{Kind: Agrees})
		return
	}
	why := "more air is squeezed out than comes back: the nebuliser may be clogged; clear it, or calibrate the bulb anew"
	if m > agreeHigh {
		why = "less air is squeezed out than comes back: bulb, tube or nebuliser may leak; mend it, or calibrate the bulb anew"
	}
	d.tell(Event{Kind: Disagrees, Volume: m, Why: why})
}

func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	n := len(s)
	if n == 0 {
		return 0
	}
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}
