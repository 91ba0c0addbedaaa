// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"slices"
	"strings"
)

// spoken are the languages that cues and pages have words in: by code, the names
// that a list may give them, folded: in English and in the language itself.
var spoken = map[string][]string{
	"en": {"english"}, "es": {"spanish", "espanol", "castellano"}, "fr": {"french", "francais"}, "pl": {"polish", "polski", "jezyk polski"},
	"ro": {"romanian", "romana", "limba romana"}, "pt": {"portuguese", "portugues"}, "ar": {"arabic", "العربية", "عربي"},
}

// LanguageOf is the code of a language that cues and pages have words in, from
// its code, with or without a region, or its name; empty for any other.
func LanguageOf(text string) string {
	name := squeeze(text)
	for code, names := range spoken {
		if name == code || strings.HasPrefix(name, code+"-") || strings.HasPrefix(name, code+"_") || slices.ContainsFunc(names, func(n string) bool { return squeeze(n) == name }) {
			return code
		}
	}
	return ""
}
