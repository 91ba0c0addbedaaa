// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"image/png"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store"
)

// coded asks for the code of a run's claim.
func (s *site) coded(p *parts) {
	s.t.Helper()
	pic := s.ask("GET", "/evidence/r000100/code.png", nil).is(200, nil)
	if c, err := png.DecodeConfig(bytes.NewReader(pic.body)); err != nil || c.Width < 200 || pic.header.Get("Content-Type") != typePNG {
		s.t.Errorf("picture %v, %v, %v", c, err, pic.header)
	}
	drawing := s.ask("GET", "/evidence/r000100/code.svg", nil).is(200, nil)
	if !strings.HasPrefix(string(drawing.body), "<svg ") || drawing.header.Get("Content-Type") != typeSVG {
		s.t.Errorf("drawing %.80s, %v", drawing.body, drawing.header)
	}
	p.fail = programme.Refused{Why: "no_card", Text: "only a pass has a claim"}
	s.ask("GET", "/evidence/r000100/code.png", nil).why(409, "no_card")
	s.ask("GET", "/evidence/r000100/code.svg", nil).why(409, "no_card")
	p.fail = nil
}

// A browser that follows a link to a file gets a refusal as a page in its
// language; everybody else, and every other route, gets the problem.
func TestProblemAsPage(t *testing.T) {
	p := &parts{}
	s := newSite(t, func(c *Config) {
		p.all(c)
		c.Pages = os.DirFS("../web/page")
	})
	person := s.enter()
	s.play("r000100", person, procedure.Fail)
	get := func(path, accept, languages string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodGet, "http://"+host+Base+path, nil)
		r.Header.Set("Accept", accept)
		r.Header.Set("Accept-Language", languages)
		w := httptest.NewRecorder()
		s.handler.ServeHTTP(w, r)
		return w
	}
	const browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
	p.fail = programme.Refused{Why: "not_a_pass", Text: "only a pass has a card"}
	for _, c := range []struct {
		path, accept, languages string
		status                  int
		kind, has               string
	}{
		{"/runs/r000100/card.pdf", browser, "", 409, typeHTML, "There is no card: only a pass has one."},
		{"/runs/r000100/card.pdf", browser, "xx, pl-PL;q=0.9, en;q=0.5", 409, typeHTML, `<html lang="pl">`},
		{"/runs/r000100/card.pdf", browser, "en-GB, pl", 409, typeHTML, `href="/records"`},
		{"/people.csv", browser, "../e", 409, typeHTML, `href="/people"`},
		{"/runs/x/card.pdf", browser, "", 422, typeHTML, "That was not taken"}, // found before the route
		{"/runs/r000100/card.pdf?<b>=1", browser, "", 422, typeHTML, "href"},
		{"/runs/r000100/card.pdf", "application/json", "", 409, typeProblem, `"why":"not_a_pass"`},
		{"/runs/r000100/card.pdf", "*/*", "", 409, typeProblem, `"why"`},
		{"/runs/r000100/card.pdf", "text/html;q=0, */*", "", 409, typeProblem, `"why"`},
		{"/people/p-22222222", browser, "", 404, typeProblem, `"why"`},
	} {
		w := get(c.path, c.accept, c.languages)
		if w.Code != c.status || w.Header().Get("Content-Type") != c.kind || !strings.Contains(w.Body.String(), c.has) || strings.Contains(w.Body.String(), "<b>") {
			t.Errorf("%s as %s in %q: %d, %v\n%s", c.path, c.accept, c.languages, w.Code, w.Header(), w.Body)
		}
		if policy := w.Header().Get("Content-Security-Policy"); !strings.HasPrefix(policy, "default-src 'none'") || w.Header().Get("Content-Disposition") != "" {
			t.Errorf("%s: %v", c.path, w.Header())
		}
	}
	if w := get("/runs/r000100/card.pdf", browser, "fr"); strings.Contains(w.Body.String(), "There is no card") {
		t.Errorf("in French: %s", w.Body)
	}
	p.fail = store.ErrNotFound
	if w := get("/runs/r000100/card.pdf", browser, ""); w.Code != 404 || !strings.Contains(w.Body.String(), "There is no such thing here.") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	p.fail = nil
	if w := get("/people.csv", browser, ""); w.Code != 200 || w.Header().Get("Content-Type") != typeCSV {
		t.Errorf("a file: %d %v", w.Code, w.Header())
	}
	// Something that goes wrong before the first byte.
	p.breaks = true
	if w := get("/people.csv", browser, ""); w.Code != 500 || w.Header().Get("Content-Type") != typeHTML {
		t.Errorf("a file that broke: %d %v", w.Code, w.Header())
	}
	bare := newSite(t, func(c *Config) { p.all(c) })
	s.handler = bare.handler
	if w := get("/people.csv", browser, "pl"); w.Code != 500 || !strings.Contains(w.Body.String(), "This did not work.") {
		t.Errorf("without words: %d %s", w.Code, w.Body)
	}
}
