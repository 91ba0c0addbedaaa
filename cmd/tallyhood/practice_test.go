// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"os"
	"regexp"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/device/sim"
)

// The pages say in their language why something is practice by finding the
// English phrase that the box's text fits. So every text that this program can
// give has to fit one phrase, and every phrase has to be one of them.
func TestThePagesKnowEveryReasonForPractice(t *testing.T) {
	simulated := &parts{sim: &sim.Board{}}
	if why := (&parts{}).practice(options{speed: 1}); why != "" {
		t.Errorf("a wired board is practice: %q", why)
	}
	texts := []string{procedure.PracticeDrill}
	for _, speed := range []float64{1, 0.5, 2, 2.5, 60, 1e6} {
		texts = append(texts, simulated.practice(options{speed: speed}))
	}

	raw, err := os.ReadFile("../../console/web/page/lang/en/run.json")
	if err != nil {
		t.Fatal(err)
	}
	var book map[string]json.RawMessage
	if err := json.Unmarshal(raw, &book); err != nil {
		t.Fatal(err)
	}
	used := map[string]int{}
	for _, text := range texts {
		var fits []string
		for key, phrase := range book {
			if !strings.HasPrefix(key, "run.practice_why.") {
				continue
			}
			used[key] += 0
			var one string
			forms := map[string]string{}
			if json.Unmarshal(phrase, &one) == nil {
				forms["other"] = one
			} else if err := json.Unmarshal(phrase, &forms); err != nil {
				t.Fatalf("%s: %v", key, err)
			}
			pattern := strings.ReplaceAll(regexp.QuoteMeta(forms["other"]), `\{n\}`, `[0-9][0-9.e+]*`)
			if regexp.MustCompile("^" + pattern + "$").MatchString(text) {
				fits = append(fits, key)
				used[key]++
			}
		}
		if len(fits) != 1 {
			t.Errorf("%q fits %v: the pages' English phrases under run.practice_why must have it once", text, fits)
		}
	}
	for key, n := range used {
		if n == 0 {
			t.Errorf("%s is a phrase for what this program never says", key)
		}
	}
}
