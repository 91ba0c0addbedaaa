// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"

	"tallyhood/console/procedure"
)

// made is when a file was made, which differs from one to the next.
var made = regexp.MustCompile(`(?s)/(CreationDate|ModDate) ?\([^)]*\)|/ID ?\[[^\]]*\]|<xmp:(Create|Modify)Date>[^<]*`)

// What a wearer carries away is printed in the wearer's first language of which
// there are printed words; without being asked it is in English, as it was.
func TestPapersInTheWearersLanguage(t *testing.T) {
	s := newSite(t, func(c *Config) { c.Pages = os.DirFS("../web/page") })
	s.enter() // and the facepieces that people have
	enter := func(number string, languages ...string) string {
		form := exampleForm()
		form.Number, form.Languages = number, languages
		var known struct{ ID string }
		s.ask("POST", "/people", object{"form": form, "by": agnes}).is(200, &known)
		return known.ID
	}
	file := func(path string) []byte {
		t.Helper()
		return made.ReplaceAll(s.ask("GET", path, nil).is(200, nil).body, nil)
	}
	for _, c := range []struct {
		run, wants string
		languages  []string
	}{
		{"r000100", "pl", []string{"pl", "en"}},
		{"r000200", "ro", []string{"de", "ro", "fr"}}, // there are no printed words in German
		{"r000300", "pt", []string{"pt-BR"}},
		{"r000400", "en", []string{"en", "pl"}},
		{"r000500", "en", []string{"ar"}},
		{"r000600", "en", nil},
	} {
		s.play(c.run, enter("N-"+c.run, c.languages...), procedure.Pass)
		for _, kind := range []string{"card.png", "card.pdf"} {
			path := "/runs/" + c.run + "/" + kind
			own := file(path + "?lang=own")
			if !bytes.Equal(own, file(path+"?lang="+c.wants)) {
				t.Errorf("%s: the card of somebody who speaks %v is not in %s", kind, c.languages, c.wants)
			}
			if english := file(path); bytes.Equal(english, own) != (c.wants == "en") || !bytes.Equal(english, file(path+"?lang=en")) {
				t.Errorf("%s: unasked the card of somebody who speaks %v is not in English", kind, c.languages)
			}
		}
	}
	s.ask("GET", "/runs/r000100/card.png?lang=xx", nil).why(422, WhyMalformed)
	s.ask("GET", "/runs/r000100/card.png?lang=../en", nil).why(422, WhyMalformed)
}

// A slip is in the language of whom it reminds.
func TestRemindersInTheWearersLanguage(t *testing.T) {
	s := newSite(t, func(c *Config) { c.Pages = os.DirFS("../web/page") })
	s.enter() // speaks Polish, then English
	file := func(path string) []byte { return made.ReplaceAll(s.ask("GET", path, nil).is(200, nil).body, nil) }
	own, english := file("/day/reminders.pdf?lang=own"), file("/day/reminders.pdf")
	if !bytes.Equal(own, file("/day/reminders.pdf?lang=pl")) || bytes.Equal(own, english) {
		t.Error("the slip of somebody who speaks Polish is not in Polish")
	}
	if !bytes.Equal(english, file("/day/reminders.pdf?lang=en")) {
		t.Error("unasked the slips are not in English")
	}
}

// The figures are said in the language that is asked for, and each language is
// kept apart.
func TestFiguresInALanguage(t *testing.T) {
	s := newSite(t, func(c *Config) { c.Pages = os.DirFS("../web/page") })
	person := s.enter()
	s.play("r000100", person, procedure.Pass)
	s.play("r000200", person, procedure.Fail)
	ask := func(query string) (out Insight) {
		s.ask("GET", "/insight"+query, nil).is(200, &out)
		return out
	}
	unasked := ask("")
	for range 2 { // the second time from what is kept
		for lang, want := range map[string][2]string{
			"pl": {"Zaliczone według części twarzowej", "Zaliczono 50 % wszystkich ważnych testów (1 z 2)."},
			"fr": {"Réussites par pièce faciale", "50 % de tous les essais valables ont réussi (1 sur 2)."},
			"en": {"Passing by facepiece", "50 % of all valid tests passed (1 of 2)."},
		} {
			got := ask("?lang=" + lang)
			if c := got.Charts[0]; c.Title != want[0] || c.Say != want[1] || !strings.Contains(c.SVG, want[0]) {
				t.Errorf("%s: %q, %q", lang, c.Title, c.Say)
			}
			if got.Counts != unasked.Counts || len(got.Charts) != len(unasked.Charts) {
				t.Errorf("%s: other figures: %+v", lang, got.Counts)
			}
		}
	}
	if unasked.Charts[0].Title != "Passing by facepiece" {
		t.Errorf("unasked: %q", unasked.Charts[0].Title)
	}
	s.ask("GET", "/insight?lang=xx", nil).why(422, WhyMalformed)
}
