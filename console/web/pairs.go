// SPDX-License-Identifier: Apache-2.0

package web

import (
	"crypto/subtle"
	"maps"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/wire"
)

// Topics of the hub beside the roles: pages paired with a run, and pages that
// watch another box.
const (
	pairTopic  = "wearer/"
	boardTopic = "board/"
)

// Limits of guessing. A code has ten thousand values and lives for one run, so
// what is left of chance is small; the second limit is for one that comes back
// as a new client after each guess.
const (
	freeGuesses    = 5  // wrong ones in a row of one page before it must wait
	freeGuessesAll = 30 // wrong ones in a row of all pages together
	firstWait      = 5 * time.Second
	longestWait    = 60 * time.Second
)

// guesses counts wrong codes in a row.
type guesses struct {
	wrong int
	until time.Duration // no code is looked at before
}

// miss counts a wrong code; past the free ones each makes the next wait longer.
func (g *guesses) miss(now time.Duration, free int) {
	g.wrong++
	if g.wrong < free {
		return
	}
	wait := longestWait
	if n := g.wrong - free; n < 4 {
		wait = firstWait << n
	}
	g.until = now + min(wait, longestWait)
}

// pairs are the codes of the open runs. The server's order guards them.
type pairs struct {
	codes map[string]string // by run
	all   guesses
}

// keep takes the codes of a snapshot. Whoever waits because of the codes of
// runs that are gone need wait no longer than its own count asks.
func (p *pairs) keep(snap wire.Snapshot) {
	before := p.codes
	p.codes = map[string]string{}
	defer func() {
		if !maps.Equal(before, p.codes) {
			p.all = guesses{}
		}
	}()
	if snap.Run != nil && snap.Run.Code != "" {
		p.codes[snap.Run.Run] = snap.Run.Code
	}
	for _, r := range snap.Parked {
		if r.Code != "" {
			p.codes[r.Run] = r.Code
		}
	}
}

// try gives the run of a code and what a Welcome says of it. A try that must
// wait is not looked at, so that waiting tells nothing.
func (p *pairs) try(g *guesses, code string, now time.Duration) (run, said string) {
	if now < g.until || now < p.all.until {
		return "", "later"
	}
	for r, want := range p.codes {
		if subtle.ConstantTimeCompare([]byte(want), []byte(code)) == 1 {
			run = r
		}
	}
	if run == "" {
		g.miss(now, freeGuesses)
		p.all.miss(now, freeGuessesAll)
		return "", "wrong"
	}
	*g = guesses{} // not the others': whoever knows one code could go on guessing at the next
	return run, "yes"
}

// ofPage is what a wearer's page gets. The contacts are left out: whoever sees
// each squeeze can count.
func ofPage(snap wire.Snapshot, run string, paired bool) wire.Snapshot {
	if !paired {
		run = ""
	}
	m := wire.ForWearer(snap, run)
	m.Fence, m.Inputs = 0, wire.Inputs{Lines: []wire.Line{}}
	if m.Run != nil {
		switch m.Run.Stage {
		case procedure.Ready, procedure.Clearing, procedure.Donning:
		default:
			m.Run.Wearer = "" // it is not asked any more
		}
	}
	return m
}

// runOf is an open run of a snapshot, active or parked; nil when it is closed.
func runOf(snap wire.Snapshot, run string) *wire.Run {
	if snap.Run != nil && snap.Run.Run == run {
		return snap.Run
	}
	for i := range snap.Parked {
		if snap.Parked[i].Run == run {
			return &snap.Parked[i]
		}
	}
	return nil
}

// runsOf are the open runs of a snapshot.
func runsOf(snap wire.Snapshot) (runs []string) {
	if snap.Run != nil {
		runs = append(runs, snap.Run.Run)
	}
	for _, r := range snap.Parked {
		runs = append(runs, r.Run)
	}
	return runs
}

// withPages fills in how many wearer's pages are paired with each run.
func withPages(snap wire.Snapshot, topics map[string]int) wire.Snapshot {
	if snap.Run != nil {
		run := *snap.Run
		run.Paired = topics[pairTopic+run.Run]
		snap.Run = &run
	}
	parked := make([]wire.Run, len(snap.Parked))
	for i, r := range snap.Parked {
		r.Paired = topics[pairTopic+r.Run]
		parked[i] = r
	}
	snap.Parked = parked
	return snap
}
