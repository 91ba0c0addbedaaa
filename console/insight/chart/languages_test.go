// SPDX-License-Identifier: Apache-2.0

package chart

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
)

// phrasesOf are the sentences of the charts as the pages' catalogues have them.
func phrasesOf(t *testing.T, lang string) map[string]string {
	t.Helper()
	raw, err := os.ReadFile("../../web/page/lang/" + lang + "/charts.json")
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]string
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for key, text := range all {
		out[strings.TrimPrefix(key, "charts.")] = text
	}
	return out
}

// The pages' English is the charts' own, so that translators see what is said.
// That the others have the same keys and places is for lang.test.js.
func TestTheCataloguesSayWhatTheChartsSay(t *testing.T) {
	en := phrasesOf(t, "en")
	for key, text := range Catalogue {
		if en[key] != text {
			t.Errorf("lang/en/charts.json has %q for %s, the charts say %q: write it alike, in every language", en[key], key, text)
		}
	}
	for key := range en {
		if _, ok := Catalogue[key]; !ok {
			t.Errorf("no chart says %s: take it out of every language", key)
		}
	}
}

// In every language the words of a drawing stay inside of it and apart.
func TestWordsOfEveryLanguageFit(t *testing.T) {
	s := harrowgate(t, 1200)
	for _, lang := range []string{"es", "fr", "pl", "ro", "pt"} {
		own := phrasesOf(t, lang)
		for _, w := range widths {
			for name, c := range all(Drawer{Words: In(own), Width: w}, s) {
				t.Run(fmt.Sprintf("%s/%s/%.0f", lang, name, w), func(t *testing.T) {
					for key, text := range Catalogue {
						if len(text) > 12 && strings.Contains(c.Title+c.Say+strings.Join(c.Notes, " "), text) && own[key] != text {
							t.Errorf("%s is said in English", key)
						}
					}
					if c.SVG == "" {
						return
					}
					var boxes []box
					var texts []string
					var across, tall float64
					if _, err := fmt.Sscanf(parse(t, c.SVG).attr["viewBox"], "0 0 %f %f", &across, &tall); err != nil {
						t.Fatal(err)
					}
					parse(t, c.SVG).walk(func(n *node) {
						if n.name != "text" {
							return
						}
						b := textBox(t, n)
						if b.x0 < -0.5 || b.x1 > across+0.5 || b.y1 > tall+0.5 {
							t.Errorf("%q leaves the drawing of %.0f: %.0f to %.0f", n.text, across, b.x0, b.x1)
						}
						for i, o := range boxes {
							if b.meets(o) {
								t.Errorf("%q stands on %q", n.text, texts[i])
							}
						}
						boxes, texts = append(boxes, b), append(texts, n.text)
					})
				})
			}
		}
	}
}
