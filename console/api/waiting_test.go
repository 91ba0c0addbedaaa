// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"encoding/base64"
	"slices"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
)

// A run that only waits between two steps is open all the same: nobody is
// erased meanwhile, and the answer says in words which run and what to do.
func TestNobodyIsErasedWhileARunWaits(t *testing.T) {
	var open []programme.OpenRun
	s := newSite(t, func(c *Config) { c.OpenRuns = func() []programme.OpenRun { return open } })
	person := s.enter()
	ask := object{"reason": "asked for", "by": agnes}
	waits := programme.OpenRun{Run: "r000300", Person: person, Parked: true}
	for _, c := range []struct {
		open []programme.OpenRun
		says string
	}{
		{[]programme.OpenRun{waits}, "A run waits between two steps: r000300. Take it up again"},
		{[]programme.OpenRun{waits, {Run: "r000301", Person: person}}, "A run is open."},
	} {
		open = c.open
		s.runOpen = len(open) > 1 // the daemon says so for both; one that waits is enough
		for _, path := range []string{"/people/" + person + "/erase", "/retention"} {
			body := ask
			if path == "/retention" {
				body = object{"shown": []string{person}, "by": agnes}
			}
			got := s.ask("POST", path, body)
			var p Problem
			got.is(409, &p)
			if p.Why != WhyRunOpen || !strings.HasPrefix(p.Detail, c.says) {
				t.Errorf("%s: %s", path, got.body)
			}
		}
	}
	s.ask("GET", "/people/"+person, nil).is(200, nil)
	open, s.runOpen = nil, false
	s.ask("POST", "/people/"+person+"/erase", ask).is(200, nil)
	s.ask("GET", "/people/"+person, nil).why(404, WhyNotKnown)
}

// No run is opened while somebody is erased, and nobody is erased whose last run
// still stands on the Bench with the name.
func TestErasureHoldsRuns(t *testing.T) {
	var about []string
	why, held := "", 0
	s := newSite(t, func(c *Config) {
		c.Hold = func(_ context.Context, people ...string) (func(), string) {
			about = people
			if why != "" {
				return func() {}, why
			}
			held++
			return func() { held-- }, ""
		}
	})
	person := s.enter()
	ask, path := object{"reason": "asked for", "by": agnes}, "/people/"+person+"/erase"
	for _, why = range []string{WhyRunShown, WhyRunOpen, "not_saved"} {
		want := why
		if why == "not_saved" {
			want = WhyRunOpen
		}
		s.ask("POST", path, ask).why(409, want)
		s.ask("POST", "/retention", object{"shown": []string{person}, "by": agnes}).why(409, want)
	}
	s.ask("GET", "/people/"+person, nil).is(200, nil)
	why = ""
	s.ask("POST", "/people/p-zzzzzzzz/erase", ask).why(404, WhyNotKnown)
	s.ask("POST", path, ask).is(200, nil)
	if !slices.Equal(about, []string{person}) || held != 0 {
		t.Errorf("held for %v, %d holds are left", about, held)
	}
}

// A record tells how it was signed, and when it was signed, corrected and
// recalled, with how far the clock could be trusted.
func TestARecordTellsWhen(t *testing.T) {
	s := newSite(t, nil)
	person := s.enter()
	s.play("r000100", person, procedure.Pass)
	var page RunPage
	s.ask("GET", "/runs/r000100", nil).is(200, &page)
	if page.Run.Recall != nil {
		t.Errorf("recalled: %+v", page.Run.Recall)
	}
	sign := object{"who": "tester", "how": "typed", "strokes": base64.StdEncoding.EncodeToString([]byte("[[[0.1,0.2],[0.3,0.4]]]")), "record": page.Run.Hash, "by": agnes}
	s.ask("POST", "/runs/r000100/sign", sign).is(200, nil)
	sign["how"] = "stamped"
	s.ask("POST", "/runs/r000100/sign", sign).why(422, WhyMalformed)
	s.untrusted = true
	s.ask("POST", "/runs/r000100/amend", object{"field": "tester", "to": "Bram Okafor", "reason": "wrong name picked", "by": agnes}).is(200, nil)
	s.untrusted = false
	s.ask("POST", "/nebulisers/bitter-strong-1/mist", object{"good": false, "shown": []string{"r000100"}, "by": agnes}).is(200, nil)
	s.ask("GET", "/runs/r000100", nil).is(200, &page)
	at := today.Format("2006-01-02T15:04:05Z07:00")
	if g := page.Run.Signed; len(g) != 1 || g[0].How != "typed" || g[0].At != at || g[0].Quality != "confirmed" {
		t.Errorf("signed %+v", g)
	}
	if g := page.Run.Amended; len(g) != 1 || g[0].At != at || g[0].Quality != "unset" {
		t.Errorf("amended %+v", g)
	}
	if g := page.Run.Recall; g == nil || *g != (programme.Recall{At: at, Quality: "confirmed", By: agnes}) {
		t.Errorf("recalled %+v", g)
	}
}
