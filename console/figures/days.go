// SPDX-License-Identifier: Apache-2.0

package figures

import (
	"cmp"
	"math"
	"slices"
	"time"

	"tallyhood/console/insight"
	"tallyhood/console/procedure"
)

// A days keeps the dated tests of a month one by one, in the order of their
// days, so that some days of it are counted without reading a run. A test takes
// 40 bytes.
type days []packed

// A packed is a test of which nothing is lost that a set counts.
type packed struct {
	person insight.ID
	day    insight.Day
	clock  uint32 // seconds of the day
	kind   uint32 // place among the kinds
	tester uint32 // place among the testers
	stages [len(insight.StageOrder)]uint16
	bin    uint8 // in tens; 255: the test cannot be counted
	exact  uint8 // squeezes
	flags  uint8
}

// What flags hold: a remark of the kind, and whether it is not the first fit
// test of the sitting.
const (
	flagLate = 1 << iota
	flagHurried
	flagExtra
	flagAgain
)

// uncounted is the bin of a test that no set takes.
const uncounted = math.MaxUint8

// A kind is what many tests have in common.
type kind struct {
	face         insight.Facepiece
	agent, rules string
	outcome, why string
}

// A packer gives kinds and testers their places.
type packer struct {
	kinds     []kind
	testers   []insight.ID
	kindAt    map[kind]uint32
	testersAt map[insight.ID]uint32
}

func newPacker() packer {
	return packer{kindAt: map[kind]uint32{}, testersAt: map[insight.ID]uint32{}}
}

func place[K comparable](all *[]K, at map[K]uint32, k K) uint32 {
	n, known := at[k]
	if !known {
		n = uint32(len(*all))
		at[k], *all = n, append(*all, k)
	}
	return n
}

// seconds of a stage. One of 18 hours is as long as any longer one: it is in the
// last class of its histogram, alone and in the sum of all.
func seconds(d time.Duration) uint16 { return uint16(min(d/time.Second, math.MaxUint16)) }

func flag(is bool, f uint8) uint8 {
	if is {
		return f
	}
	return 0
}

// pack packs a test; counts says whether a set takes it.
func (p *packer) pack(t insight.Test, counts bool) packed {
	if !counts {
		return packed{day: t.Day, bin: uncounted}
	}
	out := packed{
		person: t.Person, day: t.Day, clock: uint32(t.Clock / time.Second),
		kind:   place(&p.kinds, p.kindAt, kind{t.Facepiece, t.Agent, t.Rules, string(t.Outcome), string(t.Reason)}),
		tester: place(&p.testers, p.testersAt, t.Tester), bin: uint8(t.Bin / 10), exact: uint8(t.Squeezes),
		flags: flag(t.Late > 0, flagLate) | flag(t.Hurried > 0, flagHurried) | flag(t.Extra > 0, flagExtra) | flag(t.Attempt > 1, flagAgain),
	}
	for i, d := range t.Stages {
		out.stages[i] = seconds(d)
	}
	return out
}

// unpack gives a test as a set counts it.
func (p *packer) unpack(x packed) insight.Test {
	bit := func(f uint8) int { return int(min(x.flags&f, 1)) }
	k := p.kinds[x.kind]
	t := insight.Test{
		Person: x.person, Tester: p.testers[x.tester], Facepiece: k.face, Agent: k.agent, Rules: k.rules,
		Outcome: procedure.Outcome(k.outcome), Reason: procedure.Reason(k.why), Bin: 10 * int(x.bin), Squeezes: int(x.exact),
		Late: bit(flagLate), Hurried: bit(flagHurried), Extra: bit(flagExtra), Attempt: 1 + bit(flagAgain),
		Day: x.day, Clock: time.Duration(x.clock) * time.Second,
	}
	for i, s := range x.stages {
		t.Stages[i] = time.Duration(s) * time.Second
	}
	return t
}

func byDay(x packed, day insight.Day) int { return cmp.Compare(x.day, day) }

// put adds a test behind those of its day.
func (d *days) put(x packed) {
	at, _ := slices.BinarySearchFunc(*d, x.day+1, byDay)
	*d = slices.Insert(*d, at, x)
}

// take takes back a test that is the same; false when there is none.
func (d *days) take(x packed) bool {
	at, _ := slices.BinarySearchFunc(*d, x.day, byDay)
	for ; at < len(*d) && (*d)[at].day == x.day; at++ {
		if (*d)[at] == x {
			*d = slices.Delete(*d, at, at+1)
			return true
		}
	}
	return false
}

// span is the tests from a day to another one (2006-01-02), both in it; empty: no
// bound.
func (d days) span(from, to string) days {
	byDate := func(x packed, day string) int {
		return cmp.Compare(x.day.Date().Format(time.DateOnly), day)
	}
	first, _ := slices.BinarySearchFunc(d, from, byDate)
	d = d[first:]
	if to == "" {
		return d
	}
	end, _ := slices.BinarySearchFunc(d, to+"\xff", byDate) // behind the day itself
	return d[:end]
}
