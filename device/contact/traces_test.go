// SPDX-License-Identifier: Apache-2.0

package contact

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"pgregory.net/rapid"
)

// The lines of a panel, as test traces name them.
type line uint8

const (
	squeeze line = iota
	step
	no // or the single contact of an unsupervised button
	nc
)

// A move is an edge of a trace.
type move struct {
	at     time.Duration
	line   line
	closed bool
}

func (m move) String() string {
	return fmt.Sprintf("%s%s%v", [...]string{"sq", "st", "no", "nc"}[m.line], map[bool]string{true: "+", false: "-"}[m.closed], m.at)
}

// A trace is what a panel gets, in order.
type trace []move

func (tr trace) sorted() trace {
	slices.SortStableFunc(tr, func(a, b move) int { return cmp.Compare(a.at, b.at) })
	return tr
}

func (tr trace) String() string {
	var all []string
	for _, m := range tr {
		all = append(all, m.String())
	}
	return strings.Join(all, " ")
}

func (tr trace) end() time.Duration {
	if len(tr) == 0 {
		return 0
	}
	return tr[len(tr)-1].at
}

func feed(p *Panel, m move) {
	switch m.line {
	case squeeze:
		p.SqueezeEdge(m.at, m.closed)
	case step:
		p.StepEdge(m.at, m.closed)
	case no:
		p.ReportEdge(m.at, m.closed)
	case nc:
		p.RestEdge(m.at, m.closed)
	}
}

// between draws a duration of [lo, hi], in whole microseconds.
func between(t *rapid.T, lo, hi time.Duration, what string) time.Duration {
	return time.Duration(rapid.Int64Range(int64(lo/time.Microsecond), int64(hi/time.Microsecond)).Draw(t, what)) * time.Microsecond
}

// chattering appends an edge to a level and chatter of up to longest after it.
// It returns when the chatter is over.
func chattering(t *rapid.T, tr *trace, l line, at time.Duration, closed bool, longest time.Duration) time.Duration {
	*tr = append(*tr, move{at, l, closed})
	n := 2 * rapid.IntRange(0, 6).Draw(t, "chatter pairs")
	cuts := make([]time.Duration, n)
	for i := range cuts {
		cuts[i] = between(t, 1, longest, "chatter")
	}
	slices.Sort(cuts)
	for _, c := range cuts {
		closed = !closed
		at2 := at + c
		*tr = append(*tr, move{at2, l, closed})
	}
	if n == 0 {
		return at
	}
	return at + cuts[n-1]
}

// spike may put one lone spike into a quiet stretch of a line.
func spike(t *rapid.T, tr *trace, l line, from, to time.Duration, closed bool, clear time.Duration) {
	length := between(t, 0, MaxSpike, "spike length")
	if to-from < 2*clear+length || !rapid.Bool().Draw(t, "spike") {
		return
	}
	at := between(t, from+clear, to-clear-length, "spike at")
	*tr = append(*tr, move{at, l, closed}, move{at + length, l, !closed})
}

// minHold is the shortest press that is sure whatever its chatter: what is
// left between the chatter of its make and of its release is longer than any
// run inside them.
const minHold = 60 * ms

// clear is how far a spike stays from everything else to be a lone one.
const clear = MaxChatter + ms

// a drawn press of one contact, or of the button.
type drawn struct{ first, release time.Duration }

// presses draws a train of presses of one contact in the contract, with
// spikes that stay clear of other edges.
func presses(t *rapid.T, tr *trace, l line, start, clear time.Duration) []drawn {
	var all []drawn
	at := start
	quiet := start - 200*ms
	for range rapid.IntRange(0, 8).Draw(t, "presses") {
		interval := between(t, 195*ms, 600*ms, "interval")
		if rapid.Bool().Draw(t, "fast") {
			interval = between(t, 195*ms, 205*ms, "fast interval")
		}
		hold := between(t, minHold, interval-75*ms, "hold")
		spike(t, tr, l, quiet, at, true, clear)
		quiet = chattering(t, tr, l, at, true, MaxChatter)
		spike(t, tr, l, quiet, at+hold, false, clear)
		quiet = chattering(t, tr, l, at+hold, false, MaxChatter)
		all = append(all, drawn{at, at + hold})
		at += interval
	}
	spike(t, tr, l, quiet, quiet+200*ms, true, clear)
	return all
}

// buttons draws presses of the changeover pair, at rest since 0. Each contact
// chatters for itself.
func buttons(t *rapid.T, tr *trace, start time.Duration) []drawn {
	var all []drawn
	*tr = append(*tr, move{0, nc, true})
	at := start
	quietNO, quietNC := start-200*ms, start-200*ms
	for range rapid.IntRange(0, 6).Draw(t, "reports") {
		there := between(t, 0, CableGrace-ms, "transit there")
		hold := between(t, minHold, 500*ms, "hold")
		back := between(t, 0, CableGrace-ms, "transit back")
		makeNO, breakNO := at+there, at+there+hold
		makeNC := breakNO + back
		// One line of the pair has a spike at a time, far from the other's.
		switch rapid.IntRange(0, 3).Draw(t, "spiked") {
		case 0:
			spike(t, tr, no, max(quietNO, quietNC), at, true, clear)
		case 1:
			spike(t, tr, nc, max(quietNO, quietNC), at, false, clear)
		}
		quietNC = chattering(t, tr, nc, at, false, MaxChatter)
		quietNO = chattering(t, tr, no, makeNO, true, MaxChatter)
		switch quiet := max(quietNO, quietNC); rapid.IntRange(0, 3).Draw(t, "spiked") {
		case 0:
			spike(t, tr, no, quiet, breakNO, false, clear)
		case 1:
			spike(t, tr, nc, quiet, breakNO, true, clear)
		}
		quietNO = chattering(t, tr, no, breakNO, false, MaxChatter)
		quietNC = chattering(t, tr, nc, makeNC, true, MaxChatter)
		all = append(all, drawn{at, breakNO})
		at = max(quietNO, quietNC) + between(t, 60*ms, 400*ms, "rest")
	}
	return all
}

// wild draws edges that keep to no contract.
func wild(t *rapid.T, lines []line) trace {
	var tr trace
	at := time.Duration(0)
	level := map[line]bool{}
	for range rapid.IntRange(0, 150).Draw(t, "edges") {
		switch rapid.IntRange(0, 5).Draw(t, "pause") {
		case 0:
		case 1:
			at += between(t, 0, 200*time.Microsecond, "dt")
		case 2, 3:
			at += between(t, 0, 30*ms, "dt")
		case 4:
			at += between(t, 0, 120*ms, "dt")
		case 5:
			at += rapid.SampledFrom([]time.Duration{MaxSpike, 5 * ms, 20 * ms, MaxChatter, 40 * ms, CableGrace, flapLimit, minApart, patience, 3 * time.Second}).Draw(t, "round dt")
		}
		l := rapid.SampledFrom(lines).Draw(t, "line")
		level[l] = !level[l] != (rapid.IntRange(0, 20).Draw(t, "again") == 0)
		tr = append(tr, move{at, l, level[l]})
	}
	return tr
}
