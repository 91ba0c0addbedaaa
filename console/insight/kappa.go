// SPDX-License-Identifier: Apache-2.0

package insight

import "math"

// FewPairs is the house limit [H] under which agreement is called too little
// to say; kappa of twenty pairs is uncertain by some four tenths.
const FewPairs = 20

// A Table2 counts pairs of results: row the one, column the other, 0 for a
// pass and 1 for a fail.
type Table2 [2][2]int

// Kappa is agreement beyond chance.
type Kappa struct {
	Pairs    int
	Observed Estimate // share of pairs that agree
	Chance   float64  // share expected were both ratings independent
	Kappa    float64  // 0 when not defined
	Lo, Hi   float64  // 95 % interval, held within -1 and 1
	// Defined is false without pairs, or when both only ever gave one and the
	// same result: then nothing can be told from chance.
	Defined bool
}

// Few tells whether there are too few pairs to say.
func (k Kappa) Few() bool { return k.Pairs < FewPairs }

// Kappa is the coefficient of J. Cohen, Educ. Psychol. Meas. 20 (1960) 37-46.
// Its interval is by the large-sample variance of J. L. Fleiss, J. Cohen and
// B. S. Everitt, Psychol. Bull. 72 (1969) 323-327, and for few pairs only a hint.
func (t Table2) Kappa() Kappa {
	n := t[0][0] + t[0][1] + t[1][0] + t[1][1]
	k := Kappa{Pairs: n, Observed: Wilson(t[0][0]+t[1][1], n, Level)}
	if n <= 0 || min(t[0][0], t[0][1], t[1][0], t[1][1]) < 0 {
		return k
	}
	var p [2][2]float64
	var row, col [2]float64
	for i := range 2 {
		for j := range 2 {
			p[i][j] = float64(t[i][j]) / float64(n)
			row[i] += p[i][j]
			col[j] += p[i][j]
		}
	}
	po := k.Observed.Share
	k.Chance = row[0]*col[0] + row[1]*col[1]
	for i := range 2 {
		if t[i][0]+t[i][1] == n && t[0][i]+t[1][i] == n {
			k.Chance = 1
			return k // exact, whatever rounding makes of 1 - Chance
		}
	}
	rest := 1 - k.Chance
	k.Kappa, k.Defined = (po-k.Chance)/rest, true
	// The variance is that of kappa's slope over the four cells.
	var mean, square float64
	for i := range 2 {
		for j := range 2 {
			slope := -(1 - po) * (col[i] + row[j]) / (rest * rest)
			if i == j {
				slope += 1 / rest
			}
			mean += slope * p[i][j]
			square += slope * slope * p[i][j]
		}
	}
	half := z(Level) * math.Sqrt(max(0, square-mean*mean)/float64(n))
	k.Lo, k.Hi = max(-1, k.Kappa-half), min(1, k.Kappa+half)
	return k
}
