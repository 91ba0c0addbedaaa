// SPDX-License-Identifier: Apache-2.0

package standards

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"tallyhood/console/procedure"
)

// file is a published rule set as data that a test can bend.
func file(t *testing.T, id string) map[string]any {
	t.Helper()
	raw, err := os.ReadFile("../../console/procedure/rules/" + id + ".json")
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(raw, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

// set puts a value at a path of keys and places (from 0); nil takes it away.
func set(t *testing.T, m map[string]any, path string, v any) {
	t.Helper()
	keys := strings.Split(path, ".")
	var at any = m
	for i, k := range keys {
		last := i == len(keys)-1
		switch x := at.(type) {
		case map[string]any:
			if last && v == nil {
				delete(x, k)
			} else if last {
				x[k] = v
			}
			at = x[k]
		case []any:
			var n int
			if _, err := fmt.Sscan(k, &n); err != nil || n >= len(x) {
				t.Fatalf("%s: no place %s", path, k)
			}
			if last {
				x[n] = v
			}
			at = x[n]
		default:
			t.Fatalf("%s: nothing at %s", path, k)
		}
	}
}

func parse(t *testing.T, m map[string]any, base map[string]procedure.RuleSet) (procedure.RuleSet, error) {
	t.Helper()
	raw, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return procedure.ParseRules(raw, base)
}

// No file is looser than the floors on which the published sets agree.
func TestFloors(t *testing.T) {
	for _, c := range []struct {
		path string
		v    any
		word string // what the message has to name
	}{
		{"figures.abstinence_s.value", 899, "abstinence_s"},          // 15 min [1]
		{"figures.wear_s.value", 299, "wear_s"},                      // 5 min [1][M]
		{"figures.exercise_s.value", 59.9, "exercise_s"},             // 60 s [1]
		{"figures.exercise_s.value", 30, "exercise_s"},               // 60 s [1]
		{"figures.exercise_s.value", 15, "exercise_s"},               // proposed and withdrawn [5]
		{"figures.exercise_s.value", 70, "exercise_s"},               // no whole number of top-ups
		{"figures.top_up_interval_s.value", 31, "top_up_interval_s"}, // 30 s [1]
		{"figures.top_up_interval_s.value", 60, "top_up_interval_s"}, // 30 s [1]
		{"figures.screening_most.value", 31, "screening_most"},       // 30 [1]
		{"figures.abstinence_s.value", 0, "abstinence_s"},            //
		{"figures.wear_s.value", -1, "wear_s"},                       //
		{"figures.full_exposure_wait_s.value", 0, "full_exposure"},   //
		{"house.window_before_s.value", 6, "window"},                 // [H]
		{"house.window_after_s.value", 26, "window"},                 // [H]
		{"house.late_after_s.value", 21, "late"},                     // [H]
		{"house.hurried_under_s.value", 0.4, "hurried"},              // [H]
		{"house.button_proof_s.value", 21, "button proof"},           // [H]
		{"bins.0.initial", 9, "initial dose"},                        // never below 10 [1]
		{"bins.1.initial", 19, "initial dose"},                       // the bin [1]
		{"bins.2.initial", 29, "initial dose"},                       // the bin [1]
		{"bins.0.top_up", 4, "top-ups"},                              // half [1]
		{"bins.1.top_up", 9, "top-ups"},                              // half [1]
		{"bins.2.top_up", 14, "top-ups"},                             // half [1]
		{"bins.2.bin", 20, "bin"},                                    // the bin holds the count [1]
		{"bins.0.to", 11, "bin"},                                     // 11 is bin 20 [1]
		{"bins.1.from", 12, "holes"},                                 // no holes
		{"bins.0.from", 0, "holes"},                                  // nothing tasted has no bin
		{"bins.2.to", 29, "bins end"},                                // to the last squeeze
		{"exercises.6", nil, ""},                                     //
		{"exercises.6.id", "grimace", "not known"},                   // for quantitative tests only [1]
		{"exercises.6.id", "normal_breathing", "twice"},              //
		{"exercises", []any{}, "exercises"},                          // at least 7 [1][2]
		{"agents", []any{}, "agents"},                                //
		{"prevails", "", "prevails"},                                 // local law prevails
		{"source", " ", "source"},                                    //
		{"figures.wear_s.source", "", "wear_s"},                      // no figure without a source
		{"figures.exercise_s.mark", "", "exercise_s"},                // or a mark
		{"house.window_after_s.mark", "", "window_after_s"},          // or a mark
		{"bins.1.mark", "", "bin 20"},                                //
		{"before.0.mark", "", "before"},                              //
		{"after_fail.fails_to_other", 0, "after_fail"},               //
		{"facepieces.source", "", "facepieces"},                      //
		{"figures.exercise_seconds", map[string]any{}, "unknown"},    // no unknown word
		{"figures.exercise_s.value", "60", "value"},                  // no text for a number
	} {
		m := file(t, "us-osha")
		if c.path == "exercises.6" {
			m["exercises"] = m["exercises"].([]any)[:6]
			c.word = "exercises"
		} else {
			set(t, m, c.path, c.v)
		}
		_, err := parse(t, m, nil)
		if err == nil {
			t.Errorf("%s = %v is taken", c.path, c.v)
		} else if !strings.Contains(err.Error(), c.word) {
			t.Errorf("%s = %v: the message does not name %q: %v", c.path, c.v, c.word, err)
		}
	}
	// Exercises of 59 s that are a whole number of top-ups all the same.
	m := file(t, "us-osha")
	for path, v := range map[string]float64{
		"figures.exercise_s.value": 59, "figures.top_up_interval_s.value": 29.5,
		"house.window_before_s.value": 5, "house.window_after_s.value": 24.5,
	} {
		set(t, m, path, v)
	}
	if _, err := parse(t, m, nil); err == nil || !strings.Contains(err.Error(), "60 s") {
		t.Errorf("exercises of 59 s: %v", err)
	}
	set(t, m, "figures.exercise_s.value", 118)
	if _, err := parse(t, m, nil); err != nil {
		t.Errorf("exercises of 118 s: %v", err)
	}
	for _, id := range []string{"us-osha", "uk-hse"} {
		if _, err := parse(t, file(t, id), nil); err != nil {
			t.Errorf("%s as it stands: %v", id, err)
		}
	}
}

// A set that extends another may only be stricter.
func TestNeverLooserThanTheBase(t *testing.T) {
	base := published(t)
	for _, c := range []struct {
		extends, path string
		v             any
		word          string
	}{
		{"uk-hse", "figures.abstinence_s.value", 900, "abstinence_s"},                     // 30 min [2]
		{"uk-hse", "facepieces.full_face", true, "full face"},                             // never full face [2]
		{"us-osha", "facepieces.fit_factor_most", 0, "fit_factor"},                        // 100 [1]
		{"us-osha", "facepieces.fit_factor_most", 500, "fit_factor"},                      // 100 [1]
		{"us-osha", "after_fail.refit", true, "refit"},                                    // other facepiece [1]
		{"us-osha", "after_fail.fails_to_other", 2, "fails_to_other"},                     // [1]
		{"uk-hse", "after_fail.fails_to_other", 3, "fails_to_other"},                      // [CP]
		{"us-osha", "before.1.id", "something_else", "question"},                          // no hair at the seal [1]
		{"us-osha", "after_fail.screening_again", false, "screening_again"},               // the whole procedure again [1]
		{"us-osha", "facepieces.negative_pressure_only", false, "negative_pressure_only"}, // [1]
		{"us-osha", "agents", []any{"sweet", "sour"}, "sour"},                             // [1]
		{"nowhere", "name", "x", "nowhere"},                                               //
	} {
		id := c.extends
		if id == "nowhere" {
			id = "us-osha"
		}
		m := file(t, id)
		m["id"], m["extends"] = "site", c.extends
		if _, err := parse(t, m, base); err != nil && c.extends != "nowhere" {
			t.Errorf("a copy of %s: %v", c.extends, err)
		}
		set(t, m, c.path, c.v)
		_, err := parse(t, m, base)
		if err == nil {
			t.Errorf("extends %s, %s = %v is taken", c.extends, c.path, c.v)
		} else if !strings.Contains(err.Error(), c.word) {
			t.Errorf("extends %s, %s = %v: the message does not name %q: %v", c.extends, c.path, c.v, c.word, err)
		}
	}
}

// What a site has tightened, an extension of it does not loosen again, though
// the floors would allow it; and fewer squeezes in the sensitivity test are
// stricter.
func TestNeverLooserThanATightenedBase(t *testing.T) {
	base := published(t)
	tight := map[string]float64{
		"figures.abstinence_s.value": 3600, "figures.wear_s.value": 600, "figures.exercise_s.value": 80, "figures.top_up_interval_s.value": 20,
		"house.window_before_s.value": 4, "house.window_after_s.value": 16, "house.late_after_s.value": 10,
		"house.hurried_under_s.value": 0.8, "house.button_proof_s.value": 10, "figures.screening_most.value": 20,
	}
	m := file(t, "us-osha")
	m["id"], m["extends"] = "site", "us-osha"
	for path, v := range tight {
		set(t, m, path, v)
	}
	m["bins"] = m["bins"].([]any)[:2]
	site, err := parse(t, m, base)
	if err != nil {
		t.Fatal(err)
	}
	base["site"] = site
	m["id"], m["extends"] = "annex", "site"
	if _, err := parse(t, m, base); err != nil {
		t.Fatalf("an extension as strict as its base: %v", err)
	}
	for path, loose := range map[string]float64{
		"figures.abstinence_s.value": 1800, "figures.wear_s.value": 300, "figures.exercise_s.value": 60,
		"house.late_after_s.value": 20, "house.hurried_under_s.value": 0.5, "house.button_proof_s.value": 20,
	} {
		set(t, m, path, loose)
		_, err := parse(t, m, base)
		if name := strings.Split(path, ".")[1]; err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s loosened from %v to %v: %v", path, tight[path], loose, err)
		}
		set(t, m, path, tight[path])
	}
	// Windows have to meet, so their two bounds loosen in turn.
	for name, w := range map[string][2]float64{"window_before_s": {5, 15}, "window_after_s": {3, 17}} {
		set(t, m, "house.window_before_s.value", w[0])
		set(t, m, "house.window_after_s.value", w[1])
		if _, err := parse(t, m, base); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("windows %v: %v", w, err)
		}
	}
}

// A third rule set comes from one file, and a run under it goes by its figures.
func TestThirdRuleSet(t *testing.T) {
	m := file(t, "uk-hse")
	m["id"], m["extends"], m["name"] = "harrowgate", "uk-hse", "Harrowgate Stoneworks, site rule"
	m["short"], m["source"] = "site rule", "Harrowgate Stoneworks site rule 4"
	set(t, m, "figures.exercise_s.value", 90)
	set(t, m, "figures.wear_s.value", 600)
	set(t, m, "bins.0.initial", 12)
	set(t, m, "bins.0.top_up", 7)
	raw, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	base := published(t)
	sets, err := procedure.LoadRules(fstest.MapFS{"harrowgate.json": {Data: raw}, "notes.txt": {Data: []byte("no rule set")}}, base)
	if err != nil {
		t.Fatal(err)
	}
	r, ok := sets["harrowgate"]
	if len(sets) != 1 || !ok {
		t.Fatalf("loaded %d sets", len(sets))
	}
	rec := run(t, r, 7, nil)
	if rec.Outcome != procedure.Pass || rec.Rules != "harrowgate" {
		t.Fatalf("%s %s under %s", rec.Outcome, rec.Reason, rec.Rules)
	}
	// 7 exercises of 90 s; a top-up every 30 s, none at the end: 20.
	f := rec.Fit
	if got := time.Duration(*f.DurationS); got != 630*s || len(f.TopUps) != 20 || f.Initial.Given != 12 || f.SqueezesTotal != 12+20*7 {
		t.Errorf("duration %v, %d top-ups, initial %d, %d squeezes", got, len(f.TopUps), f.Initial.Given, f.SqueezesTotal)
	}
	if len(rec.Inputs.Faults) != 0 {
		t.Errorf("faults %v", rec.Inputs.Faults)
	}
	// The file's name is the set's id.
	if _, err := procedure.LoadRules(fstest.MapFS{"other.json": {Data: raw}}, base); err == nil || !strings.Contains(err.Error(), "other.json") {
		t.Errorf("a set in a file of another name: %v", err)
	}
	// A message names the file.
	set(t, m, "figures.exercise_s.value", 15)
	raw, _ = json.Marshal(m)
	if _, err := procedure.LoadRules(fstest.MapFS{"harrowgate.json": {Data: raw}}, base); err == nil || !strings.Contains(err.Error(), "harrowgate.json") || !strings.Contains(err.Error(), "exercise_s") {
		t.Errorf("a set with short exercises: %v", err)
	}
}
