// SPDX-License-Identifier: Apache-2.0

package insight

import "tallyhood/console/procedure"

// Counts are tests by how they ended. Fail and not valid are never merged.
type Counts struct {
	Pass, Fail, NotValid, CannotTaste int
	Begun                             int // tests whose initial dose was begun
	// Tests with at least one remark of the kind, and of any kind.
	Late, Hurried, Extra, Remarked int
	// First fit tests of a sitting that came to a verdict.
	FirstPass, FirstFail int
}

// Tests is how many there are in all.
func (c Counts) Tests() int { return c.Pass + c.Fail + c.NotValid + c.CannotTaste }

// Valid is how many came to pass or fail.
func (c Counts) Valid() int { return c.Pass + c.Fail }

// Passing is the share of passes among valid tests.
func (c Counts) Passing() Estimate { return Wilson(c.Pass, c.Valid(), Level) }

// Invalid is the share of tests that were not valid, among all.
func (c Counts) Invalid() Estimate { return Wilson(c.NotValid, c.Tests(), Level) }

// WithRemark is the share with a remark, among tests whose initial dose was begun.
func (c Counts) WithRemark() Estimate { return Wilson(c.Remarked, c.Begun, Level) }

// of is what one test adds.
func of(t Test) Counts {
	c := Counts{
		Begun: one(t.begun()),
		Late:  one(t.Late > 0), Hurried: one(t.Hurried > 0), Extra: one(t.Extra > 0),
		Remarked: one(t.begun() && t.Late+t.Hurried+t.Extra > 0),
	}
	first := one(t.Attempt <= 1)
	switch t.Outcome {
	case procedure.Pass:
		c.Pass, c.FirstPass = 1, first
	case procedure.Fail:
		c.Fail, c.FirstFail = 1, first
	case procedure.NotValid:
		c.NotValid = 1
	case procedure.CannotTaste:
		c.CannotTaste = 1
	}
	return c
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// plus adds the other counts, sign times.
func (c *Counts) plus(o Counts, sign int) {
	for _, p := range [...]struct {
		to   *int
		from int
	}{
		{&c.Pass, o.Pass}, {&c.Fail, o.Fail}, {&c.NotValid, o.NotValid}, {&c.CannotTaste, o.CannotTaste},
		{&c.Begun, o.Begun}, {&c.Late, o.Late}, {&c.Hurried, o.Hurried}, {&c.Extra, o.Extra},
		{&c.Remarked, o.Remarked}, {&c.FirstPass, o.FirstPass}, {&c.FirstFail, o.FirstFail},
	} {
		*p.to += sign * p.from
	}
}

// holds tells whether the other counts can be taken from these.
func (c Counts) holds(o Counts) bool {
	c.plus(o, -1)
	return min(c.Pass, c.Fail, c.NotValid, c.CannotTaste, c.Begun, c.Late, c.Hurried, c.Extra,
		c.Remarked, c.FirstPass, c.FirstFail) >= 0
}
