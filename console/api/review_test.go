// SPDX-License-Identifier: Apache-2.0

package api

import (
	"os"
	"strings"
	"testing"

	"tallyhood/audio"
	"tallyhood/audio/tone"
	"tallyhood/audio/wav"
	"tallyhood/console/procedure"
	"tallyhood/console/review"
)

// reviewed asks for everything about reviews: r000100 has ended, r000300 is open.
func (s *site) reviewed() {
	s.t.Helper()
	const wearer = "Tomasz Zieliński"
	var r review.Sequence
	g := s.ask("GET", "/runs/r000100/review", nil).is(200, &r)
	if !r.Masked || r.Opened != "2026-09-14" || r.Outcome != procedure.Pass || len(r.Hash) != 64 || len(r.Frames) < 10 || strings.Contains(string(g.body), "Tomasz") || strings.Contains(string(g.body), agnes) {
		s.t.Errorf("review %.600s", g.body)
	}
	s.ask("GET", "/runs/r000100/review?names=true", nil).is(200, &r)
	if r.Masked || r.Frames[0].Run.Wearer != wearer || r.Frames[0].Run.Tester != agnes {
		s.t.Errorf("review with names: %+v", r.Frames[0].Run)
	}
	s.ask("GET", "/runs/r000300/review", nil).why(409, WhyRunOpen)
	s.ask("GET", "/runs/r000300/review.html", nil).why(409, WhyRunOpen)
	s.ask("GET", "/runs/r999999/review", nil).why(404, WhyNotKnown)
	s.ask("GET", "/runs/r999999/review.html", nil).why(404, WhyNotKnown)
	s.ask("GET", "/runs/r000100/review?names=perhaps", nil).why(422, WhyMalformed)
	f := s.ask("GET", "/runs/r000100/review.html", nil).is(200, nil)
	if !strings.HasPrefix(f.header.Get("Content-Disposition"), "attachment;") || !strings.Contains(string(f.body), r.Hash) || strings.Contains(string(f.body), "Tomasz") || strings.Contains(string(f.body), "Thorley") {
		s.t.Errorf("file of %d bytes, %v", len(f.body), f.header)
	}
	s.t.Logf("the file has %d bytes", len(f.body))

	w := s.ask("GET", "/cues/top_up_due.wav", nil).is(200, nil)
	sound, err := wav.Decode(w.body)
	if err != nil || w.header.Get("Content-Type") != typeWAV || len(sound.Wave) != len(tone.Of(audio.TopUpDue)) {
		s.t.Errorf("tone: %v, %v", err, w.header)
	}
	s.ask("GET", "/cues/say_passed.wav", nil).why(404, WhyNotKnown)
	s.ask("GET", "/cues/top_up_due.mp3", nil).why(422, WhyMalformed)
}

func TestReviews(t *testing.T) {
	s := newSite(t, func(c *Config) { c.Pages = os.DirFS("../web/page") })
	person := s.enter()
	s.play("r000100", person, procedure.Pass)
	s.play("r000300", person, "")
	s.reviewed()
	bare := newSite(t, nil)
	bare.ask("GET", "/runs/r000100/review.html", nil).why(501, WhyNotThere)
}
