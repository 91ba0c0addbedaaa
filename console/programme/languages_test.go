// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"os"
	"testing"

	"tallyhood/console/programme"
)

func TestLanguageOf(t *testing.T) {
	dirs, err := os.ReadDir("../web/page/lang")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, d := range dirs {
		if d.IsDir() {
			if n++; programme.LanguageOf(d.Name()) != d.Name() {
				t.Errorf("the pages have words in %s, and a list may not name it", d.Name())
			}
		}
	}
	if n < 7 {
		t.Fatalf("%d catalogues", n)
	}
	// Names of languages and their codes: Unicode CLDR, BCP 47.
	for text, want := range map[string]string{
		"Polish": "pl", " polski ": "pl", "PL": "pl", "pl-PL": "pl", "Español": "es", "espanol": "es", "Română": "ro", "limba română": "ro", "العربية": "ar", "FRANÇAIS": "fr",
		"Portuguese": "pt", "pt_BR": "pt", "English": "en", "Klingon": "", "german": "", "de": "", "plx": "", "": "",
	} {
		if got := programme.LanguageOf(text); got != want {
			t.Errorf("%q is %q, want %q", text, got, want)
		}
	}
}
