// SPDX-License-Identifier: Apache-2.0

package procedure

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

var add = flag.Bool("add", false, "write the fixtures of kinds and versions that have none; those there are never changed")

// samples are facts with something in every field, to make new fixtures of.
func samples(t *testing.T) []Fact {
	t.Helper()
	all, err := Rules()
	if err != nil {
		t.Fatal(err)
	}
	return []Fact{
		RunOpened{
			Run: "R-1", Rules: all["us-osha"], Agent: "bitter", Wearer: Wearer{ID: "W-1", Name: "Ada Marsh"},
			Facepiece: Facepiece{"F-1", "Harrowgate", "Dustward 2", "half mask, rubber", "M", HalfMask, 10, "own piece, good"},
			Tester:    "Tom Reed", Supervised: true, Strict: true, Practice: "simulated board",
			Wall: "2026-03-02T09:30:00Z", WallQuality: "trusted", TimeSource: "kernel", Version: "0.1.0",
		},
		Answered{"cleared", true, "Tom Reed"}, Abstained{20 * time.Minute, "Tom Reed"}, Entered{Dosing},
		Squeezed{PartTopUp, 3}, SqueezedExtra{3}, SqueezeDoubted{PartInitial}, Reported{"button"}, BinSet{9, 2, 20},
		ButtonProven{}, ClockStarted{}, Corrected{PartTopUp, 3, -1, "counted twice", "Tom Reed"},
		Ignored{"press step", WhyReportFirst}, Faulted{"wear_short", "worn 12.0 s of 300 s"}, Healed{}, Moved{"report_down"},
		Took{Kit{ID: "n-2", Mark: "B2", Role: Strong, Agent: "bitter", Solution: "s-9", Lot: "L-77", Age: 90 * time.Minute, Expired: true, Checked: true}, "Tom Reed"},
		Tallied{82, 1, 3, 4}, Ended{NotValid, TopUpShort, 55 * time.Second}, ProofBegun{}, ProofGiven{true, "Tom Reed"}, Unsaved{}, KitSpoiled{"B2"},
		ProofLeft{LeftForWelfare, "wearer"}, NameSaid{true, "wearer"}, RunParked{"Tom Reed"}, RunTakenUp{"Tom Reed"}, WearerDid{"says_taste", "I taste something"},
	}
}

func fixture(kind string, version int) string {
	return filepath.Join("testdata", "facts", fmt.Sprintf("%s.%d.json", kind, version))
}

// Every kind and version of fact that was ever written has a fixture, kept for
// ever: what stands in a journal has to be read by every later tallyhood.
func TestFixtures(t *testing.T) {
	if *add {
		for _, f := range samples(t) {
			path := fixture(f.Kind(), FactVersion)
			if _, err := os.Stat(path); err == nil {
				continue
			}
			b, err := Encode(Dated{1234567890123, f})
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, append(b, '\n'), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	known := map[string]bool{}
	for kind, versions := range Kinds() {
		for _, v := range versions {
			path := fixture(kind, v)
			known[path] = true
			raw, err := os.ReadFile(path)
			if err != nil {
				t.Errorf("%s version %d has no fixture: %v", kind, v, err)
				continue
			}
			raw = bytes.TrimSpace(raw)
			d, err := Decode(kind, v, raw)
			if err != nil {
				t.Errorf("%s: %v", path, err)
				continue
			}
			if d.Fact.Kind() != kind {
				t.Errorf("%s is read as %s", path, d.Fact.Kind())
			}
			if d.At != 1234567890123 {
				t.Errorf("%s: at %d", path, d.At)
			}
			// A field renamed in Go reads as nothing.
			empty := slices.DeleteFunc(empties(reflect.ValueOf(d.Fact), kind), func(field string) bool { return field == "took.Kit.GoodFor" })
			if len(empty) > 0 && kind != "run_opened" {
				t.Errorf("%s: nothing in %v", path, empty)
			}
			if v != FactVersion {
				continue
			}
			again, err := Encode(d)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(again, raw) {
				t.Errorf("%s: written again it is\n%s\nwas\n%s", path, again, raw)
			}
		}
	}
	files, err := filepath.Glob(filepath.Join("testdata", "facts", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !known[f] {
			t.Errorf("%s: its kind and version can no longer be read", f)
		}
	}
}

func empties(v reflect.Value, name string) []string {
	if v.Kind() != reflect.Struct {
		if v.IsZero() {
			return []string{name}
		}
		return nil
	}
	var out []string
	for i := range v.NumField() {
		out = append(out, empties(v.Field(i), name+"."+v.Type().Field(i).Name)...)
	}
	return out
}

// The samples are the facts that the fixtures hold.
func TestSamplesAreTheFixtures(t *testing.T) {
	kinds := Kinds()
	for _, f := range samples(t) {
		delete(kinds, f.Kind())
		raw, err := os.ReadFile(fixture(f.Kind(), FactVersion))
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		d, err := Decode(f.Kind(), FactVersion, raw)
		if err != nil {
			t.Errorf("%s: %v", f.Kind(), err)
			continue
		}
		// The rule set in the opening is that of its day.
		if o, ok := d.Fact.(RunOpened); ok {
			if len(o.Rules.Exercises) != 7 || len(o.Rules.Bins) != 3 || o.Rules.Figures.Exercise.Value != 60 || o.Rules.House.WindowBefore.Mark != "[H]" {
				t.Errorf("run_opened: its rule set is not whole: %+v", o.Rules)
			}
			want := f.(RunOpened)
			o.Rules, want.Rules = RuleSet{}, RuleSet{}
			d.Fact, f = o, want
		}
		if !reflect.DeepEqual(d.Fact, f) {
			t.Errorf("%s: the fixture holds %+v, want %+v", f.Kind(), d.Fact, f)
		}
	}
	if len(kinds) > 0 {
		t.Errorf("kinds without a sample: %v", kinds)
	}
}

// A field that a fact got later stands in journals as it is in its fixture; a fact
// without it has no word of it, so that what was written before keeps its hash.
func TestFieldsThatCameLater(t *testing.T) {
	facts := map[string]Fact{}
	for _, f := range samples(t) {
		facts[f.Kind()] = f
	}
	opened, took := facts["run_opened"].(RunOpened), facts["took"].(Took)
	opened.Hood = &Hood{ID: "h-1", Mark: "H1", AcrossMM: 400, TallMM: 450, Oversized: true}
	took.GoodFor = 14*time.Hour + 30*time.Minute
	for _, c := range []struct {
		dir, word string
		fact      Fact
	}{{"hood", `"hood"`, opened}, {"good_for", `"good_for_ns"`, took}} {
		path := filepath.Join("testdata", c.dir, fmt.Sprintf("%s.%d.json", c.fact.Kind(), FactVersion))
		plain, err := Encode(Dated{1234567890123, facts[c.fact.Kind()]})
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(plain, []byte(c.word)) {
			t.Errorf("there is none, and the fact speaks of %s: %s", c.word, plain)
		}
		full, err := Encode(Dated{1234567890123, c.fact})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(path); *add && err != nil {
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, append(full, '\n'), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		raw = bytes.TrimSpace(raw)
		d, err := Decode(c.fact.Kind(), FactVersion, raw)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Encode(d)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(again, raw) {
			t.Errorf("%s: written again it is\n%s\nwas\n%s", path, again, raw)
		}
		// The rule set in an opening is that of its day.
		if o, ok := d.Fact.(RunOpened); ok {
			o.Rules = c.fact.(RunOpened).Rules
			d.Fact = o
		}
		if !reflect.DeepEqual(d.Fact, c.fact) {
			t.Errorf("%s holds %+v, want %+v", path, d.Fact, c.fact)
		}
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct {
		kind    string
		version int
		body    string
		word    string
	}{
		{"squeezed", 2, `{"at_ns":1,"fact":{"part":"initial"}}`, "not known"},
		{"squeezed", 0, `{"at_ns":1,"fact":{"part":"initial"}}`, "not known"},
		{"sneezed", 1, `{"at_ns":1,"fact":{}}`, "not known"},
		{"squeezed", 1, `{"at_ns":1,"fact":`, "squeezed"},
		{"squeezed", 1, `{"at_ns":"one","fact":{}}`, "squeezed"},
		{"squeezed", 1, `{"at_ns":1,"fact":{"top_up":"three"}}`, "squeezed"},
	} {
		if d, err := Decode(c.kind, c.version, []byte(c.body)); err == nil || !strings.Contains(err.Error(), c.word) {
			t.Errorf("%s %d %s: %+v, %v", c.kind, c.version, c.body, d, err)
		}
	}
}
