// SPDX-License-Identifier: Apache-2.0

package onefile

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/review"
)

var pages = os.DirFS("../../web/page")

// play gives the facts of a run from what was put in, by the run's own rules.
func play(t *testing.T, practice string, taste, cable time.Duration) []procedure.Dated {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	r := all["us-osha"]
	o := procedure.RunOpened{
		Run: "r000412", Rules: r, Agent: "bitter", Wearer: demo.People()[0], Facepiece: demo.Facepieces()[0], Tester: "Agnes Thorley", Supervised: true,
		Practice: practice, Wall: "2026-09-14T09:02:11+01:00", WallQuality: "confirmed",
	}
	st := procedure.New(o, 0)
	facts := []procedure.Dated{{At: 0, Fact: o}}
	do := func(in procedure.Input) {
		got, _ := procedure.Decide(st, in)
		for _, f := range got {
			facts = append(facts, f)
			st = procedure.Fold(st, f)
		}
		st = st.Reach(in.At)
	}
	to := func(at time.Duration) {
		for w, ok := st.Wake(); ok && w <= at; w, ok = st.Wake() {
			do(procedure.Input{At: w, Do: procedure.DoTick})
		}
	}
	at := time.Duration(0)
	put := func(after time.Duration, do_ procedure.Verb, source string) {
		at += after
		to(at)
		do(procedure.Input{At: at, Do: do_, Source: source, Delta: 1, Reason: "Agnes saw it", By: "Agnes Thorley"})
	}
	for _, q := range r.Before {
		at += 2 * time.Second
		do(procedure.Input{At: at, Do: procedure.DoAnswer, Question: q.ID, Yes: true, By: "Agnes Thorley"})
	}
	do(procedure.Input{At: at, Do: procedure.DoAbstained, For: time.Hour, By: "Agnes Thorley"})
	put(2*time.Second, procedure.DoGoOn, "")
	for range 7 {
		put(1200*time.Millisecond, procedure.DoPress, "squeeze")
	}
	put(time.Second, procedure.DoPress, "report")
	put(300*time.Millisecond, procedure.DoRelease, "report")
	put(90*time.Second, procedure.DoGoOn, "")
	put(305*time.Second, procedure.DoGoOn, "")
	for range 10 {
		put(1100*time.Millisecond, procedure.DoPress, "squeeze")
	}
	for n := 1; n <= r.TopUps() && st.Verdict == nil; n++ {
		next := *st.Clock + r.Due(n) + 900*time.Millisecond
		if n == 3 {
			next += 17 * time.Second
		}
		for _, x := range []struct {
			at time.Duration
			do procedure.Verb
		}{{taste, procedure.DoPress}, {cable, procedure.DoCableOpen}} {
			if x.at > 0 && st.Verdict == nil && *st.Clock+x.at < next {
				at = *st.Clock + x.at
				put(0, x.do, "report")
			}
		}
		if st.Verdict != nil {
			break
		}
		at = next
		for i := range 5 {
			if n == 4 && i == 4 {
				put(time.Second, procedure.DoCorrect, "")
				continue
			}
			put(1100*time.Millisecond, procedure.DoPress, "squeeze")
		}
		if n == 2 {
			put(1100*time.Millisecond, procedure.DoPress, "squeeze")
			put(time.Second, procedure.DoPress, "step")
		}
	}
	to(*st.Clock + r.Length() + time.Minute)
	if st.Verdict == nil {
		t.Fatal("the run has no verdict")
	}
	return facts
}

func file(t *testing.T, practice string, taste, cable time.Duration) (string, review.Sequence) {
	t.Helper()
	s, err := review.Of(play(t, practice, taste, cable), "9f2c4a7be1d05836fa47c01d2be98f60a3d7715c84e2b96f0d3a5c7e18b4f602")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	m := Maker{Pages: pages, Version: "test", Sound: func(c procedure.Cue) []byte { return []byte("RIFF " + c) }}
	if err := m.Write(&out, s, "en"); err != nil {
		t.Fatal(err)
	}
	return out.String(), s
}

// The file holds no name of anybody of the demo, no id of a person, no time of
// the day and no text that a person typed; it is stamped and carries the hash.
func TestWithoutNames(t *testing.T) {
	text, s := file(t, "simulated board", 0, 0)
	if s.Outcome != procedure.Pass {
		t.Fatalf("outcome %s %s", s.Outcome, s.Reason)
	}
	whole, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	names := []string{"Agnes Thorley", "Agnes", "saw it", "09:02"}
	for _, p := range demo.People() {
		names = append(names, p.Name, p.ID)
		names = append(names, strings.Fields(p.Name)...)
	}
	names = append(names, demo.Testers()...)
	found := 0
	for _, n := range names {
		if strings.Contains(string(whole), n) {
			found++
		}
		if strings.Contains(text, n) {
			t.Errorf("the file holds %q", n)
		}
	}
	if found < 5 {
		t.Errorf("only %d of the names are in the whole sequence, so that little is tested", found)
	}
	for _, want := range []string{"2026-09-14", "PRACTICE", "simulated board", s.Hash} {
		if !strings.Contains(text, want) {
			t.Errorf("the file lacks %q", want)
		}
	}
	if len(text) > 1<<20 {
		t.Errorf("the file has %d bytes without its tones", len(text))
	}
	t.Logf("%d bytes without tones", len(text))
	if real, _ := file(t, "", 0, 0); strings.Contains(real, "PRACTICE") {
		t.Error("a test is stamped as practice")
	}
}

// No reference leads out of the file, and its policy allows the script and style
// that are in it by their hashes (CSP level 2, section 4.2.5) and nothing else.
func TestStandsAlone(t *testing.T) {
	text, _ := file(t, "", 263*time.Second, 0)
	for _, bad := range []string{`src=`, `href="`, `url(`, `@import`, `import(`, `sourceMappingURL`, `http:`} {
		// Views write links with ${...} for pages of a box; a file draws none.
		if i := strings.Index(text, bad); i >= 0 {
			t.Errorf("the file holds %q: %s", bad, text[max(0, i-60):min(len(text), i+60)])
		}
	}
	policy := regexp.MustCompile(`Content-Security-Policy" content="([^"]*)"`).FindStringSubmatch(text)
	if policy == nil {
		t.Fatal("no policy")
	}
	want := []string{"default-src 'none'", "base-uri 'none'", "form-action 'none'"}
	for kind, pattern := range map[string]string{"style": `(?s)<style>(.*?)</style>`, "script": `(?s)<script type="module">(.*?)</script>`} {
		all := regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1)
		if len(all) != 1 {
			t.Fatalf("%d elements of %s", len(all), kind)
		}
		sum := sha256.Sum256([]byte(all[0][1]))
		want = append(want, kind+"-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	}
	got := strings.Split(policy[1], "; ")
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("policy %q, want %q", got, want)
	}
}

// Frames that hold what changed come back whole.
func TestFolded(t *testing.T) {
	_, s := file(t, "", 0, 40*time.Second)
	if s.Outcome != procedure.NotValid {
		t.Fatalf("outcome %s", s.Outcome)
	}
	f, err := fold(s.WithoutNames())
	if err != nil {
		t.Fatal(err)
	}
	now := map[string]json.RawMessage{}
	for i, x := range f.Frames {
		for k, v := range x.Run {
			now[k] = v
		}
		got, _ := json.Marshal(now)
		want, _ := json.Marshal(s.WithoutNames().Frames[i].Run)
		var a, b any
		if json.Unmarshal(got, &a) != nil || json.Unmarshal(want, &b) != nil {
			t.Fatal("a frame is no JSON")
		}
		ga, _ := json.Marshal(a)
		gb, _ := json.Marshal(b)
		if !bytes.Equal(ga, gb) {
			t.Fatalf("frame %d\n%s\n%s", i, ga, gb)
		}
	}
}

func TestLinkRefuses(t *testing.T) {
	one := func(files map[string]string) error {
		fs := fstest.MapFS{}
		for name, text := range files {
			fs[name] = &fstest.MapFile{Data: []byte(text)}
		}
		_, err := link(fs, "a.js")
		return err
	}
	for name, files := range map[string]map[string]string{
		"missing": {"a.js": "import { b } from \"./b.js\";\n"},
		"circle":  {"a.js": "import { b } from \"./b.js\";\n", "b.js": "import { a } from \"./a.js\";\n"},
		"star":    {"a.js": "import * as b from \"./b.js\";\n", "b.js": ""},
		"default": {"a.js": "export default 1;\n"},
		"again":   {"a.js": "export { b } from \"./b.js\";\n", "b.js": "export const b = 1;\n"},
	} {
		if one(files) == nil {
			t.Errorf("%s: joined all the same", name)
		}
	}
	if err := one(map[string]string{"a.js": "import { b, c as d } from \"./b.js\";\nd(b);\n", "b.js": "export const b = 1;\nexport function c() {}\n"}); err != nil {
		t.Error(err)
	}
}

// Files and sequences to look at: go test -run Files -artifacts.
func TestFiles(t *testing.T) {
	for name, x := range map[string]struct {
		practice     string
		taste, cable time.Duration
	}{"pass": {"", 0, 0}, "practice": {"simulated board", 0, 0}, "fail": {"", 263 * time.Second, 0}, "cable": {"", 0, 131 * time.Second}} {
		text, s := file(t, x.practice, x.taste, x.cable)
		data, err := json.Marshal(s.WithoutNames())
		if err != nil {
			t.Fatal(err)
		}
		for ending, b := range map[string][]byte{".html": []byte(text), ".json": data} {
			if err := os.WriteFile(filepath.Join(t.ArtifactDir(), name+ending), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
}
