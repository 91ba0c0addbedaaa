// SPDX-License-Identifier: Apache-2.0

package drill

import "math"

// A chance gives numbers that look like chance and are the same for a seed on
// every machine: splitmix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable
// pseudorandom number generators", OOPSLA 2014), begun with the FNV-1a hash of
// the seed's text and of what is drawn, so that one draw more leaves the others
// as they were.
type chance struct{ state uint64 }

func newChance(seed, what string) *chance {
	const offset, prime = 14695981039346656037, 1099511628211
	h := uint64(offset)
	for _, b := range []byte(seed + "\x00" + what) {
		h = (h ^ uint64(b)) * prime
	}
	return &chance{h}
}

func (c *chance) next() uint64 {
	c.state += 0x9e3779b97f4a7c15
	z := c.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// share is in [0, 1).
func (c *chance) share() float64 { return float64(c.next()>>11) / (1 << 53) }

// below is in [0, n); its bias is under n/2^53.
func (c *chance) below(n int) int { return int(c.share() * float64(n)) }

func (c *chance) between(a, b float64) float64 { return a + c.share()*(b-a) }

// ratio is between a and b, every doubling as likely as another.
func (c *chance) ratio(a, b float64) float64 { return a * math.Pow(b/a, c.share()) }
