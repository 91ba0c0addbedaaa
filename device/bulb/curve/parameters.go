// SPDX-License-Identifier: Apache-2.0

package curve

import (
	"errors"
	"math"
	"time"
)

// Schema names the form of Parameters as they are kept.
const Schema = "tallyhood.bulb/1"

// Parameters are what a calibration has learned of one bulb with its jet, tube
// and sensor. Volumes are in root pascal seconds, spreads are relative (1.4826
// times the median absolute deviation, over the median).
type Parameters struct {
	Schema string `json:"schema"`
	// Low and High are the ends of the sensor's range in pascal.
	Low  float64 `json:"low_pa"`
	High float64 `json:"high_pa"`
	// Rest is the level at rest and Noise its standard deviation, in pascal.
	Rest  float64 `json:"rest_pa"`
	Noise float64 `json:"noise_pa"`
	// Quiet is the longest time for which readings at rest stood still.
	Quiet time.Duration `json:"quiet_ns"`
	// Dead: nearer to rest there is no flow. Start: above it a squeeze begins.
	Dead  float64 `json:"dead_pa"`
	Start float64 `json:"start_pa"`
	// Peak is the median of the highest pressures, Suction of the deepest.
	Peak       float64 `json:"peak_pa"`
	PeakSpread float64 `json:"peak_spread"`
	Suction    float64 `json:"suction_pa"`
	// Out and In are the medians of the volumes expelled and taken in.
	Out       float64 `json:"out"`
	OutSpread float64 `json:"out_spread"`
	In        float64 `json:"in"`
	InSpread  float64 `json:"in_spread"`
	// Push is the usual time of pushing, Fill from release to filled.
	Push time.Duration `json:"push_ns"`
	Fill time.Duration `json:"fill_ns"`
	// When is the wall time of the calibration, RFC 3339: a label, on which
	// nothing depends. Empty: no clock was set.
	When string `json:"when,omitempty"`
}

// Check says in words why parameters cannot be used; nil if they can.
func (p Parameters) Check() error {
	for _, v := range []float64{p.Low, p.High, p.Rest, p.Noise, p.Dead, p.Start, p.Peak, p.PeakSpread, p.Suction, p.Out, p.OutSpread, p.In, p.InSpread} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errors.New("the bulb's calibration holds something that is no number")
		}
	}
	switch {
	case p.Schema != Schema:
		return errors.New("the bulb's calibration is of another form than " + Schema)
	case p.Low >= 0 || p.High <= 0 || p.Rest <= p.Low || p.Rest >= p.High:
		return errors.New("the bulb's calibration has no range that shows both pressure and suction")
	case p.Noise < 0 || p.Dead <= 0 || p.Start <= p.Dead || p.Peak <= p.Start || p.Suction <= p.Dead || p.Out <= 0 || p.In <= 0 || p.Fill <= 0 || p.Push <= 0 || p.Quiet < 0:
		return errors.New("the bulb's calibration contradicts itself: calibrate it anew")
	}
	return nil
}
