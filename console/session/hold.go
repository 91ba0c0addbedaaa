// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"slices"
)

// A holding asks the loop to open no run, or no longer to.
type holding struct {
	on     bool
	people []string
	reply  chan string
}

// Why no hold was given, beside the keys of commands.
const HoldShown = "run_shown" // one of the people is still on the Bench, with a run that has ended

// Hold keeps runs from being opened until release is called, for work that no
// run may meet, such as writing the store's file anew. It is refused, with why,
// while a run is under way or not saved, and while one of the people is shown
// with a run that has ended. It may be called from any goroutine but the loop's;
// holds add up. Release is never nil.
func (s *Session) Hold(ctx context.Context, people ...string) (release func(), why string) {
	none := func() {}
	h := holding{on: true, people: people, reply: make(chan string, 1)}
	select {
	case s.holds <- h:
	case <-s.ended: // nothing opens a run any more
		return none, ""
	case <-ctx.Done():
		return none, "stale"
	}
	if why := <-h.reply; why != "" {
		return none, why
	}
	return func() {
		select {
		case s.holds <- holding{}:
		case <-s.ended:
		}
	}, ""
}

func (s *Session) hold(h holding) {
	if !h.on {
		s.held--
		return
	}
	why := ""
	for _, r := range s.all() {
		switch {
		case !r.over():
			why = "run_open"
		case len(r.pending) > 0 && s.failed == "" && why != "run_open":
			why = "not_saved"
		case slices.Contains(h.people, r.engine.State().Opened.Wearer.ID) && why == "":
			why = HoldShown
		}
	}
	if why == "" {
		s.held++
	}
	h.reply <- why
}
