// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var carriedIn = []string{"es", "fr", "pl", "ro", "pt"}

// phrasesOf are the words of card and reminder as the pages' catalogues have them.
func phrasesOf(t *testing.T, lang string) Catalogue {
	t.Helper()
	raw, err := os.ReadFile("../web/page/lang/" + lang + "/papers.json")
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]string
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	out := Catalogue{}
	for key, text := range all {
		out[strings.TrimPrefix(key, "papers.")] = text
	}
	return out
}

// The pages' English is what is printed, so that translators see it; and every
// language has each key.
func TestEveryLanguageHasTheWordsThatAreCarried(t *testing.T) {
	keys := Carried()
	en := phrasesOf(t, "en")
	for _, key := range keys {
		want := english[key]
		for i := 0; strings.Contains(want, "%s"); i++ {
			want = strings.Replace(want, "%s", "{"+strconv.Itoa(i)+"}", 1)
		}
		if en[key] != want {
			t.Errorf("lang/en/papers.json has %q for %s, the papers say %q: write it alike, in every language", en[key], key, want)
		}
	}
	for _, lang := range append([]string{"en"}, carriedIn...) {
		var have []string
		for key := range phrasesOf(t, lang) {
			have = append(have, key)
		}
		if slices.Sort(have); !slices.Equal(have, keys) {
			t.Errorf("%s has the keys %v, the papers say %v", lang, have, keys)
		}
	}
}

// A word of a PDF and where it stands, in points from the top left corner.
type placed struct {
	X0   float64 `xml:"xMin,attr"`
	Y0   float64 `xml:"yMin,attr"`
	X1   float64 `xml:"xMax,attr"`
	Y1   float64 `xml:"yMax,attr"`
	Text string  `xml:",chardata"`
}

func placedIn(t *testing.T, raw []byte) []placed {
	t.Helper()
	var doc struct {
		Pages []struct {
			Words []placed `xml:"word"`
		} `xml:"body>doc>page"`
	}
	if err := xml.Unmarshal([]byte(textBy(t, "-bbox", raw)), &doc); err != nil || len(doc.Pages) != 1 {
		t.Fatalf("%d pages, %v", len(doc.Pages), err)
	}
	return doc.Pages[0].Words
}

// inEnglish finds words that were left in English.
func inEnglish(t *testing.T, text string, own Catalogue) {
	t.Helper()
	for _, key := range Carried() {
		en := strings.ReplaceAll(english[key], "%s", "")
		if en = strings.TrimSpace(en); len(en) > 8 && own[key] != english[key] && strings.Contains(text, en) {
			t.Errorf("%s is printed in English", key)
		}
	}
}

// The card is in the wearer's language; what is tested stands in it unchanged,
// and no line runs over its edge or into the code.
func TestCardInEveryLanguage(t *testing.T) {
	const pt = 72 / 25.4
	for _, course := range []string{"pass", "pass-uk"} {
		for _, lang := range carriedIn {
			s := sheetOf(t, courses[course])
			s.Claim = claim
			s.Language, s.Own = lang, phrasesOf(t, lang)
			var pdf, pic bytes.Buffer
			if err := CardPDF(&pdf, s); err != nil {
				t.Fatalf("%s: %v", lang, err)
			}
			if err := CardPNG(&pic, s); err != nil {
				t.Fatalf("%s: %v", lang, err)
			}
			keep(t, "card-"+course+"-"+lang+".png", pic.Bytes())
			text := flat(textOf(t, pdf.Bytes()))
			agent := s.View.Record.Agent
			put := func(key, value string) string { return strings.ReplaceAll(s.Own[key], "{0}", value) }
			for _, want := range []string{
				s.Person.Name, s.Person.Number, s.Facepiece.Make + " " + s.Facepiece.Model, put("card.size", s.Facepiece.Size), "2026-11-23", s.View.Run,
				s.Own["card.title"], put("card.subtitle", s.Own["card.agent."+agent]), s.Own["card.valid"], s.Own["card.prevails"], s.Own["card.rules."+s.View.Record.Rules],
			} {
				if !strings.Contains(text, want) {
					t.Errorf("%s %s: %q is not on the card: %s", course, lang, want, text)
				}
			}
			inEnglish(t, text, s.Own)
			_, side, err := qrFor(s.Claim)
			if err != nil {
				t.Fatal(err)
			}
			code := snap(cardW - side - 1)
			for _, w := range placedIn(t, pdf.Bytes()) {
				edge := cardW - 1
				if w.X0 < code*pt {
					edge = code
				}
				if w.X1 > edge*pt || w.Y1 > cardH*pt {
					t.Errorf("%s %s: %q reaches %.1f, %.1f mm; its edge is at %.1f", course, lang, w.Text, w.X1/pt, w.Y1/pt, edge)
				}
			}
		}
	}
}

// A card is never refused for its translation: where the longer words find no
// place the card is in English.
func TestALongNameGetsACardInEveryLanguage(t *testing.T) {
	base := sheetOf(t, courses["pass"])
	base.Claim = claim
	english, other := 0, 0
	own := phrasesOf(t, "ro") // the longest words
	for name := 4; name < 14; name++ {
		for style := range 4 {
			s := base
			s.Person.Name = strings.TrimSpace(strings.Repeat("Brandvold ", name))
			s.Facepiece.Style = strings.TrimSpace(strings.Repeat("silicone, two P3 filters, ", style))
			if _, _, err := card(s); err == nil {
				english++
			}
			s.Language, s.Own = "ro", own
			if _, _, err := card(s); err == nil {
				other++
			}
		}
	}
	if english != other || english == 0 || english == 40 {
		t.Errorf("%d of 40 cards find place in English and %d in Romanian", english, other)
	}
}

// Slips in the languages of eight people on one sheet: each in its own, and no
// line over the edge of its slip.
func TestReminderInEveryLanguage(t *testing.T) {
	const pt = 72 / 25.4
	for _, lang := range carriedIn {
		own := phrasesOf(t, lang)
		var slips []Reminder
		for i := range 8 {
			r := Reminder{Person: "Zdzisława Wiśniewska-Błaszczykiewicz", Day: "2026-11-24", At: "08:" + strconv.Itoa(10+i), Place: "Harrowgate Stoneworks, North Quarry", From: "07:" + strconv.Itoa(10+i), Rules: "us-osha", Minutes: 15}
			if i != 5 {
				r.Language, r.Own = lang, own
			}
			slips = append(slips, r)
		}
		var b bytes.Buffer
		if err := RemindersPDF(&b, slips, Paperwork{Paper: A4, Site: "Harrowgate Stoneworks, North Quarry"}); err != nil {
			t.Fatalf("%s: %v", lang, err)
		}
		keep(t, "reminders-"+lang+".pdf", b.Bytes())
		text := flat(textOf(t, b.Bytes()))
		if n := strings.Count(text, own["reminder.title"]+":"); n != 7 {
			t.Errorf("%s: %d slips in the language, want 7", lang, n)
		}
		if n := strings.Count(text, english["reminder.title"]+":"); n != 1 {
			t.Errorf("%s: %d slips in English, want 1", lang, n)
		}
		for _, want := range []string{strings.ReplaceAll(own["reminder.water"], "{0}", "07:12"), own["reminder.unwell"],
			// The figure of 29 CFR 1910.134, Appendix A, Part I.B.3(a) and B.4(a), in the person's own words.
			strings.NewReplacer("{0}", "15", "{1}", own["card.rules.us-osha"]).Replace(own["reminder.rule"])} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is on no slip: %.400s", lang, want, text)
			}
		}
		for _, w := range placedIn(t, b.Bytes()) {
			col, row := int(w.X0/pt/(A4.W/2)), int(w.Y0/pt/(A4.H/4))
			if w.X1/pt > float64(col+1)*A4.W/2-8 || w.Y1/pt > float64(row+1)*A4.H/4-3 {
				t.Errorf("%s: %q reaches %.1f, %.1f mm on slip %d, %d", lang, w.Text, w.X1/pt, w.Y1/pt, col, row)
			}
		}
	}
}
