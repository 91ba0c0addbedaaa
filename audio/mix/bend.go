// SPDX-License-Identifier: Apache-2.0

package mix

import "math"

// A sum up to knee passes unchanged: that is any two of our cues, whose peaks
// are below 0.4 of full scale. Above it the sum is bent ever closer to ceiling,
// -1 dB below full scale, without a corner and without ever reaching it, so that
// no pile of cues is cut off flat.
const (
	knee    = 26214 // 0.8 of full scale
	ceiling = 29204 // 10^(-1/20) of full scale
)

func bend(sum int32) int16 {
	if sum >= -knee && sum <= knee {
		return int16(sum)
	}
	over := math.Abs(float64(sum)) - knee
	v := knee + (ceiling-knee)*(1-math.Exp(-over/(ceiling-knee)))
	return int16(math.Copysign(math.Floor(v), float64(sum)))
}
