// SPDX-License-Identifier: Apache-2.0

package api

import (
	"encoding/json"
	"fmt"
	"html/template"
	"io/fs"
	"mime"
	"strings"

	"tallyhood/console/programme"
)

// wantsPage says whether a browser asks for something to show, as it does when
// somebody follows a link.
func wantsPage(accept string) bool {
	for kind := range strings.SplitSeq(accept, ",") {
		if media, params, err := mime.ParseMediaType(kind); err == nil && media == "text/html" && params["q"] != "0" {
			return true
		}
	}
	return false
}

// A told page is a problem in words, and the way back.
type toldPage struct {
	Language, Title, Say, Back, To string
}

// Styles are the box's own; nothing runs on the page.
var pageOf = template.Must(template.New("problem").Parse(`<!doctype html>
<html lang="{{.Language}}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>{{.Title}} · tallyhood</title><link rel="stylesheet" href="/page/style.css"></head>
<body><main class="sheet plain"><h1>{{.Title}}</h1><p class="say">{{.Say}}</p><p><a href="{{.Back}}">{{.To}}</a></p></main></body></html>
`))

const examplePage = `<!doctype html><html lang="en"><head><title>Records</title></head><body><main><h1>Records</h1><p>There is no card: only a pass has one.</p><p><a href="/records">Records</a></p></main></body></html>`

// backFrom is the page that links to a file, by the beginning of its path, and
// the key of its name.
var backFrom = []struct{ path, page, name string }{
	{"/people", "/people", "people"}, {"/due", "/people", "people"}, {"/day", "/day", "day"}, {"/solutions", "/kit", "kit"}, {"/recipes", "/kit", "kit"},
	{"/backup", "/settings", "settings"}, {"", "/records", "records"},
}

// page tells a held problem as a page in the reader's language, as far as the
// pages have words for it.
func (a *api) page(out *answer, path, languages string) {
	var p Problem
	if err := json.Unmarshal(out.held.Bytes(), &p); err != nil {
		p = *problem(out.status, WhyFailed, "This did not work. The log says more.")
	}
	w := out.ResponseWriter
	t := toldPage{Language: "en", Say: p.Detail}
	words := a.phrases("en", toldAreas...)
	for tag := range strings.SplitSeq(languages, ",") {
		code, _, _ := strings.Cut(strings.TrimSpace(tag), ";")
		code, _, _ = strings.Cut(strings.ToLower(code), "-")
		if code == "en" {
			break
		}
		if theirs := a.phrases(code, toldAreas...); theirs["run.nav.records"] != "" {
			t.Language, words = code, theirs
			break
		}
	}
	for _, b := range backFrom {
		if strings.HasPrefix(path, Base+b.path) {
			t.Back, t.To = b.page, words["run.nav."+b.name]
			break
		}
	}
	if t.To == "" {
		t.To = "tallyhood"
	}
	t.Title = t.To
	for _, area := range []string{"desk", "office"} {
		known := words[area+".refusals."+p.Why]
		if known == "" {
			continue
		}
		if t.Say = known; strings.HasSuffix(known, ":") {
			t.Say += " " + p.Detail
		}
		break
	}
	h := w.Header()
	h.Set("Content-Type", typeHTML)
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'")
	h.Del("Content-Disposition")
	h.Del("Content-Length")
	w.WriteHeader(out.status)
	_ = pageOf.Execute(w, t) // who asked may be gone
}

// toldAreas hold what a told page needs.
var toldAreas = []string{"run", "desk", "office"}

// phrases are the pages' words in a language, those of these areas that are one
// text; none where the pages are not at hand.
func (a *api) phrases(code string, areas ...string) map[string]string {
	out := map[string]string{}
	if a.cfg.Pages == nil || len(code) != 2 {
		return out
	}
	for _, area := range areas {
		text, err := fs.ReadFile(a.cfg.Pages, fmt.Sprintf("lang/%s/%s.json", code, area))
		var all map[string]any
		if err != nil || json.Unmarshal(text, &all) != nil {
			continue
		}
		for key, phrase := range all {
			if s, ok := phrase.(string); ok {
				out[key] = s
			}
		}
	}
	return out
}

// said are the phrases of one area without its name; nil where the language has
// none of them, and for English, which the makers of papers and charts know.
func (a *api) said(code, area string) map[string]string {
	if code == "en" {
		return nil
	}
	all := a.phrases(code, area)
	if len(all) == 0 {
		return nil
	}
	out := make(map[string]string, len(all))
	for key, text := range all {
		out[strings.TrimPrefix(key, area+".")] = text
	}
	return out
}

// PaperLang is the language of what a wearer carries away.
type PaperLang struct {
	Lang string `query:"lang" enum:"en,es,fr,pl,ro,pt,own" default:"en" doc:"Language of the words. own: the first language of the person of which there are printed words, else English." example:"own"`
}

// printed finds the language of a person's paper and its words; the words are
// nil for English.
func (a *api) printed(lang string, persons []string) (string, map[string]string) {
	among := []string{lang}
	if lang == "own" {
		among = persons
	}
	for _, code := range among {
		if code = programme.LanguageOf(code); code == "en" { // a list of old may hold a language's name
			break
		}
		if own := a.said(code, "papers"); code != "" && own != nil {
			return code, own
		}
	}
	return "en", nil
}
