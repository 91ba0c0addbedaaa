// SPDX-License-Identifier: Apache-2.0

package drill_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/drill"
	"tallyhood/console/procedure"
)

var (
	levels   = []string{"easy", "plain", "hard"}
	troubles = func() []string {
		var out []string
		for _, t := range drill.Troubles {
			out = append(out, t.Key)
		}
		return out
	}()
)

// A tester who makes no mistake gets full marks from every wearer, whatever
// goes wrong, and the outcome is the one that the hidden truth and the troubles
// ask for.
func TestPerfectTester(t *testing.T) {
	seen := map[string]int{}
	outcomes := map[procedure.Outcome]int{}
	for i := range 1000 {
		ask := drill.Ask{Seed: fmt.Sprint("seed ", i), Level: levels[i%3]}
		switch {
		case i%4 == 1:
			ask.Troubles = []string{troubles[i/4%len(troubles)]}
		case i%4 == 2:
			ask.Troubles = []string{drill.NoTroubles}
		case i%4 == 3:
			ask.Troubles = []string{troubles[i/4%len(troubles)], troubles[i/7%len(troubles)]}
		}
		if err := ask.Check(); err != nil {
			t.Fatal(err)
		}
		rule, agent := []string{"us-osha", "uk-hse"}[i/3%2], []string{"sweet", "bitter"}[i/5%2]
		st, facts := newWorld(ask, rule, agent, mistake{}).run(t)
		s := drill.Score(facts)
		if !s.Scored || s.Points != 100 || len(s.Items) != 0 {
			t.Fatalf("drill %d %+v under %s with %s: points %d, %q, items %+v, reactions %+v; ended %+v, truth %+v", i, ask, rule, agent, s.Points, s.Unscored, s.Items, s.Reactions, st.Verdict, s.Truth)
		}
		if s.Practice == "" || st.Opened.Practice == "" {
			t.Fatalf("drill %d is not practice", i)
		}
		if s.Outcome == procedure.Pass && !s.Truth.Fits || s.Outcome == procedure.Fail && s.Truth.Fits || s.Right != s.Outcome {
			t.Fatalf("drill %d ended %s (right %s) with truth %+v", i, s.Outcome, s.Right, s.Truth)
		}
		// The curve tells the same as the wearer: through a good fit nothing is
		// tasted, through a bad one the report follows the taste.
		if s.Truth.Fits && s.TastedS != nil {
			t.Fatalf("drill %d: tasted at %v through a good fit", i, *s.TastedS)
		}
		if s.Reason == procedure.Tasted && (s.TastedS == nil || *s.EndS < *s.TastedS || *s.EndS > *s.TastedS+8) {
			t.Fatalf("drill %d: the report at %v, the taste at %v", i, s.EndS, s.TastedS)
		}
		outcomes[s.Outcome]++
		for _, r := range s.Reactions {
			if r.Grade != "right" && r.Grade != "cut_off" {
				t.Fatalf("drill %d: %+v", i, r)
			}
			seen[r.Trouble]++
		}
	}
	for _, key := range troubles {
		if seen[key] == 0 {
			t.Errorf("the trouble %s never came", key)
		}
	}
	for _, o := range []procedure.Outcome{procedure.Pass, procedure.Fail, procedure.NotValid, procedure.CannotTaste} {
		if outcomes[o] < 20 {
			t.Errorf("%s came %d times in 1000", o, outcomes[o])
		}
	}
}

func fits(t drill.Truth) bool  { return t.Fits && t.Squeezes > 0 }
func leaks(t drill.Truth) bool { return !t.Fits && t.Squeezes > 0 }

// late30 is a wearer whose fit is good and whose trouble comes early enough for
// a slow reaction to come before the end.
func soon(key string) func(drill.Truth) bool {
	return func(t drill.Truth) bool {
		i := slices.IndexFunc(t.Troubles, func(p drill.Planned) bool { return p.Key == key })
		return fits(t) && i >= 0 && t.Troubles[i].AtS < 300
	}
}

// Each mistake costs what its weight says, and nothing else.
func TestMistakes(t *testing.T) {
	one := func(key string) drill.Ask { return drill.Ask{Level: "easy", Troubles: []string{key}} }
	none := one(drill.NoTroubles)
	for _, m := range []mistake{
		{name: "touched and passed over", ask: one("touches_facepiece"), until: soon("touches_facepiece"), deaf: "touches_facepiece", want: map[string]int{"false_pass": 60}},
		{name: "hood lifted and passed over", ask: one("lifts_hood"), until: soon("lifts_hood"), deaf: "lifts_hood", want: map[string]int{"false_pass": 60}},
		{name: "no mist and passed over", ask: one("no_mist"), until: soon("no_mist"), deaf: "no_mist", want: map[string]int{"false_pass": 60}},
		{name: "dizzy and passed over", ask: one("dizzy"), until: soon("dizzy"), deaf: "dizzy", want: map[string]int{"false_pass": 60}},
		{name: "said aloud under the hood and passed over", ask: one("says_aloud"), until: hairline, deaf: "says_aloud_later", want: map[string]int{"false_pass": 60}},
		{name: "said aloud in the sensitivity test and not heard", ask: one("says_aloud"), until: fits, deaf: "says_aloud", want: map[string]int{"missed": 25}},
		{name: "touched and ended late", ask: one("touches_facepiece"), until: soon("touches_facepiece"), slow: 20 * time.Second, want: map[string]int{"late_reaction": 5}},
		{name: "dizzy and stopped late", ask: one("dizzy"), until: soon("dizzy"), slow: 12 * time.Second, want: map[string]int{"late_reaction": 5}},
		{name: "touched, said hood off", ask: one("touches_facepiece"), until: soon("touches_facepiece"), instead: procedure.DoHoodOff, want: map[string]int{"wrong_reaction": 10}},
		{name: "touched, given up", ask: one("touches_facepiece"), until: soon("touches_facepiece"), instead: procedure.DoAbandon, want: map[string]int{"wrong_reaction": 10}},
		{name: "touched, stopped for the person", ask: one("touches_facepiece"), until: soon("touches_facepiece"), instead: procedure.DoWelfare, want: map[string]int{}},
		{name: "yes for a beard", ask: one("beard"), until: fits, yes: true, want: map[string]int{"question_passed": 25}},
		{name: "yes for the strong nebuliser", ask: one("wrong_nebuliser"), until: fits, yes: true, want: map[string]int{"question_passed": 25}},
		{name: "another person tested", ask: one("other_name"), until: fits, anyPerson: true, want: map[string]int{"wrong_person": 40}},
		{name: "gum talked away", ask: one("chewed_gum"), until: fits, boast: true, want: map[string]int{"abstinence_overstated": 20}},
		{name: "did not wait for the taste to go", ask: one("still_tastes"), until: fits, clear: true, want: map[string]int{"clearing_short": 20}},
		{name: "did not wait, without a word", ask: none, until: fits, clear: true, want: map[string]int{"clearing_short": 20}},
		{name: "went on before the abstinence was over", ask: one("chewed_gum"), until: fits, hasty: true, want: map[string]int{"too_soon": 2}},
		{name: "worn for a minute", ask: none, until: fits, wear: true, want: map[string]int{"wear_short": 15}},
		{name: "a top-up one short", ask: none, until: fits, short: 4, want: map[string]int{"dose_short": 30}},
		{name: "a top-up late", ask: none, until: fits, late: 4, want: map[string]int{"dose_late": 3}},
		{name: "a top-up hurried", ask: none, until: fits, hurried: 4, want: map[string]int{"hurried": 2}},
		{name: "two squeezes too many", ask: none, until: fits, extra: 2, want: map[string]int{"extra": 2}},
		{name: "nine squeezes too many", ask: none, until: fits, extra: 9, want: map[string]int{"extra": 5}},
		{name: "the strong nebuliser first", ask: none, until: fits, otherNeb: true, want: map[string]int{"wrong_nebuliser": 10}},
		{name: "hood off without it", ask: none, until: fits, needless: procedure.DoHoodOff, want: map[string]int{"ended_without_need": 25}},
		{name: "taste without a word", ask: none, until: fits, needless: procedure.DoSaidAloud, want: map[string]int{"ended_without_need": 25}},
		{name: "ended for a cough", ask: one("harmless"), until: soon("harmless"), needless: procedure.DoTouched, want: map[string]int{"ended_without_need": 25}},
		{name: "stopped for the person without a word", ask: none, until: fits, needless: procedure.DoWelfare, unscored: "for_the_person"},
		{name: "given up", ask: none, until: fits, needless: procedure.DoAbandon, unscored: "given_up"},
	} {
		t.Run(m.name, func(t *testing.T) {
			tried := 0
			for i := 0; tried < 6; i++ {
				m.ask.Seed = fmt.Sprint(m.name, i)
				if !m.until(drill.TruthOf(m.ask, rules["us-osha"], "sweet")) {
					continue
				}
				tried++
				st, facts := newWorld(m.ask, "us-osha", "sweet", m).run(t)
				s := drill.Score(facts)
				if s.Unscored != m.unscored || s.Scored == (m.unscored != "") {
					t.Fatalf("unscored %q, want %q; ended %+v", s.Unscored, m.unscored, st.Verdict)
				}
				got, lost := map[string]int{}, 0
				for _, it := range s.Items {
					got[it.Key] += it.Points
					lost += it.Points
					if it.Rule == "" || it.Times < 1 {
						t.Errorf("%+v stands on nothing", it)
					}
				}
				if m.unscored == "" && (!maps.Equal(got, m.want) || s.Points != 100-lost) {
					t.Fatalf("seed %q lost %v, want %v (%d points); ended %+v; reactions %+v", m.ask.Seed, got, m.want, s.Points, st.Verdict, s.Reactions)
				}
			}
		})
	}
}

// hairline is a wearer whose leak opens late enough to be told from the dose.
func hairline(t drill.Truth) bool { return leaks(t) && t.Leak < 0.001 }

// A run that nobody ended as a drill is not scored as one, and a drill is
// practice whatever its facts say.
func TestNeverATest(t *testing.T) {
	_, facts := newWorld(drill.Ask{Seed: "x", Level: "easy"}, "us-osha", "sweet", mistake{}).run(t)
	o := facts[0].Fact.(procedure.RunOpened)
	o.Practice = ""
	facts[0].Fact = o
	st := procedure.State{}
	for _, f := range facts {
		st = procedure.Fold(st, f)
	}
	if st.Opened.Practice == "" || drill.Score(facts).Practice == "" {
		t.Error("a drill whose fact lost its mark is no practice any more")
	}
	o.Drill = nil
	facts[0].Fact = o
	if s := drill.Score(facts); s.Scored || s.Unscored != "no_drill" {
		t.Errorf("a test was scored as a drill: %+v", s)
	}
	if s := drill.Score(nil); s.Scored || s.Unscored != "no_drill" {
		t.Errorf("nothing was scored: %+v", s)
	}
}

// Until the end the sheet tells nothing of the truth; what the box ended is not
// the tester's.
func TestOpenAndBox(t *testing.T) {
	_, facts := newWorld(drill.Ask{Seed: "y", Level: "easy", Troubles: []string{drill.NoTroubles}}, "us-osha", "sweet", mistake{}).run(t)
	i := slices.IndexFunc(facts, func(f procedure.Dated) bool { _, ok := f.Fact.(procedure.Ended); return ok })
	if s := drill.Score(facts[:i]); s.Scored || s.Unscored != "open" || s.Truth != nil || len(s.Curve) > 0 {
		t.Errorf("open: %+v", s)
	}
	for _, r := range []procedure.Reason{procedure.PowerLost, procedure.Stalled, procedure.JournalFailed, procedure.InputGap} {
		cut := append(slices.Clone(facts[:i]), procedure.Dated{At: facts[i].At, Fact: procedure.Ended{Outcome: procedure.NotValid, Reason: r, At: facts[i].At}})
		if s := drill.Score(cut); s.Scored || s.Unscored != "box" {
			t.Errorf("%s: scored %v, %q", r, s.Scored, s.Unscored)
		}
	}
}

// The same seed gives the same wearer and the same drill, to the byte.
func TestSameSeed(t *testing.T) {
	ask := drill.Ask{Seed: "again", Level: "hard"}
	_, a := newWorld(ask, "us-osha", "sweet", mistake{}).run(t)
	_, b := newWorld(ask, "us-osha", "sweet", mistake{}).run(t)
	if !reflect.DeepEqual(a, b) {
		t.Error("two drills of one seed differ")
	}
	others := map[string]bool{}
	for i := range 50 {
		j, err := json.Marshal(drill.TruthOf(drill.Ask{Seed: fmt.Sprint(i), Level: "hard"}, rules["us-osha"], "sweet"))
		if err != nil {
			t.Fatal(err)
		}
		others[string(j)] = true
	}
	if len(others) != 50 {
		t.Errorf("50 seeds gave %d wearers", len(others))
	}
	c, err := json.Marshal(drill.Score(a))
	if err != nil || len(c) < 1000 {
		t.Errorf("sheet as JSON: %d bytes, %v", len(c), err)
	}
}

// The wearers are as the assumptions say, within four standard deviations.
func TestAssumed(t *testing.T) {
	const n = 20000
	near := func(what string, k, of int, share float64) {
		t.Helper()
		if d := math.Abs(float64(k)/float64(of) - share); d > 4*math.Sqrt(share*(1-share)/float64(of)) {
			t.Errorf("%s: %d of %d, assumed %.3f", what, k, of, share)
		}
	}
	var insensitive, bitter, tasters, leaky, hair int
	bins := [3]int{}
	for i := range n {
		ask := drill.Ask{Seed: fmt.Sprint(i), Level: "plain", Troubles: []string{drill.NoTroubles}}
		w := drill.TruthOf(ask, rules["us-osha"], "sweet")
		switch {
		case w.Squeezes == 0:
			insensitive++
		case w.Squeezes > 30:
			t.Fatalf("tastes at %d", w.Squeezes)
		default:
			tasters++
			bins[(w.Squeezes-1)/10]++
		}
		if drill.TruthOf(ask, rules["us-osha"], "bitter").Squeezes == 0 {
			bitter++
		}
		if ask.Level = "easy"; drill.TruthOf(ask, rules["us-osha"], "sweet").Squeezes == 0 {
			t.Fatal("an easy drill with somebody who cannot taste")
		}
		if !w.Fits {
			leaky++
			if w.Leak < 0.001 {
				hair++
			}
		}
	}
	// McKay et al. 2000: 9 of 26 with sweet, none of 26 with bitter.
	near("insensitive to sweet", insensitive, n, 9.0/26)
	if bitter != 0 {
		t.Errorf("%d insensitive to bitter", bitter)
	}
	for i, share := range []float64{0.6, 0.3, 0.1} {
		near(fmt.Sprint("bin ", 10*i+10), bins[i], tasters, share)
	}
	near("leaky", leaky, n, 0.4)
	near("hairline", hair, leaky, 0.6)
}

func TestAskCheck(t *testing.T) {
	for _, a := range []drill.Ask{{"", "easy", nil}, {strings.Repeat("x", 61), "easy", nil}, {"x", "mean", nil}, {"x", "easy", []string{"earthquake"}}, {"x", "easy", []string{drill.NoTroubles, "dizzy"}}} {
		if a.Check() == nil {
			t.Errorf("%+v was taken", a)
		}
	}
	if err := (drill.Ask{"x", "hard", []string{"dizzy", "beard"}}).Check(); err != nil {
		t.Error(err)
	}
}

// Every key that a page shows has its words, and every weight its reason.
func TestWords(t *testing.T) {
	raw, err := os.ReadFile("../web/page/lang/en/drill.json")
	if err != nil {
		t.Fatal(err)
	}
	var words map[string]any
	if err := json.Unmarshal(raw, &words); err != nil {
		t.Fatal(err)
	}
	has := func(key string) {
		t.Helper()
		if _, ok := words[key]; !ok {
			t.Errorf("no words for %s", key)
		}
	}
	for _, w := range drill.Weights {
		has("drill.item." + w.Key)
		has("drill.improve." + w.Key)
		if w.Rule == "" || w.Why == "" || w.Points <= 0 || w.Most < w.Points {
			t.Errorf("weight %+v", w)
		}
	}
	for _, x := range drill.Troubles {
		has("drill.trouble." + x.Key)
		has("drill.said." + x.Sees)
		has("drill.right." + x.Key)
		if x.Rule == "" {
			t.Errorf("trouble %+v stands on nothing", x)
		}
	}
	for _, what := range []string{"says_name", "ate", "put_right", "taste_gone", "donned"} {
		has("drill.said." + what)
	}
	for _, key := range []string{"questions", "mending", "mist", "rinsing", "facepiece", "donning", "wearing", "button", "seal"} {
		has("drill.asks." + key)
	}
	for _, l := range drill.Levels {
		has("drill.level." + l.Key)
		has("drill.level_about." + l.Key)
	}
	for _, a := range drill.Assumptions() {
		has("drill.assumed." + a.Key)
	}
	for _, key := range []string{"given_up", "for_the_person", "box", "open"} {
		has("drill.unscored." + key)
	}
	for _, key := range []string{"right", "late", "wrong", "missed", "cut_off"} {
		has("drill.grade." + key)
	}
}

// What the wearer waits for follows what was seen, and never what is hidden: two
// wearers who differ in all that is hidden ask for the same.
func TestAsks(t *testing.T) {
	fits, leaks := drill.NewActor(drill.Ask{Seed: "seed 1", Level: "easy", Troubles: []string{drill.NoTroubles}}), drill.NewActor(drill.Ask{Seed: "seed 77", Level: "hard", Troubles: []string{"still_tastes", "dizzy"}})
	seen := func(what ...string) (out []procedure.DatedDid) {
		for _, w := range what {
			out = append(out, procedure.DatedDid{WearerDid: procedure.WearerDid{What: w}})
		}
		return out
	}
	for _, c := range []struct {
		stage procedure.Stage
		did   []procedure.DatedDid
		want  string
	}{
		{procedure.Ready, nil, "questions"}, {procedure.Screening, nil, "mist"}, {procedure.Dosing, nil, "mist"},
		{procedure.Clearing, nil, "rinsing"}, {procedure.Clearing, seen("still_tastes"), "rinsing"}, {procedure.Clearing, seen("still_tastes", "taste_gone"), "donning"}, {procedure.Clearing, seen("taste_gone", "donned"), "facepiece"},
		{procedure.Donning, seen("taste_gone"), "donning"}, {procedure.Donning, seen("taste_gone", "donned"), "wearing"},
		{procedure.Running, seen("donned"), ""}, {procedure.ProvingButton, nil, "button"}, {procedure.ProvingMist, nil, "seal"}, {procedure.Over, nil, ""},
	} {
		for _, a := range []*drill.Actor{fits, leaks} {
			if got := a.Asks(procedure.State{Stage: c.stage, Did: c.did}); got != c.want {
				t.Errorf("at %s after %d deeds it waits for %q, want %q", c.stage, len(c.did), got, c.want)
			}
		}
	}

	// Answered no, the wearer puts it right; of another question it knows nothing.
	beard := drill.NewActor(drill.Ask{Seed: "seed 5", Level: "easy", Troubles: []string{"beard"}})
	opened := procedure.RunOpened{Rules: rules["us-osha"], Agent: "bitter"}
	st := procedure.State{Stage: procedure.Ready, Opened: &opened}
	beard.Next(st)
	asked := drill.TruthOf(drill.Ask{Seed: "seed 5", Level: "easy", Troubles: []string{"beard"}}, opened.Rules, "bitter").Question
	for _, c := range []struct {
		question string
		yes      bool
		did      []procedure.DatedDid
		want     string
	}{{asked, false, nil, "mending"}, {asked, true, nil, "questions"}, {"another", false, nil, "questions"}, {asked, false, seen("put_right"), "questions"}} {
		st.Answers, st.Did = []procedure.Answered{{Question: c.question, Yes: c.yes}}, c.did
		if got := beard.Asks(st); got != c.want {
			t.Errorf("%q answered %t: it waits for %q, want %q", c.question, c.yes, got, c.want)
		}
	}
}

// Agreement is the kappa of console/insight, on counts made here by hand.
func TestAgreement(t *testing.T) {
	var pairs []drill.Pair
	add := func(n int, outcome, would procedure.Outcome, did string, acts bool) {
		for range n {
			run := fmt.Sprintf("r%06d", len(pairs)+1)
			s := drill.Sheet{Run: run, Trainee: "Bram Okafor", Outcome: outcome, Scored: true, Reactions: []drill.Reaction{{N: 1, Trouble: "dizzy", Did: did, Grade: "right"}}}
			pairs = append(pairs, drill.Pair{Sheet: s, Judged: drill.Judged{Run: run, Trainer: "Agnes Thorley", Outcome: would, Acts: map[int]bool{1: acts}}})
		}
	}
	// The cells 331, 7, 35, 383 of PMC7112791, table 3: kappa 0.888.
	add(331, procedure.Pass, procedure.Pass, "welfare", true)
	add(7, procedure.Pass, procedure.Fail, "welfare", false)
	add(35, procedure.Fail, procedure.Pass, "", true)
	add(383, procedure.NotValid, procedure.Fail, "", false)
	a := drill.Agree("Bram Okafor", pairs)
	for _, k := range []drill.Agreed{a.Verdicts, a.Reactions} {
		if math.Abs(k.Kappa-0.888514) > 1e-6 || k.Both != 331 || k.Trainee != 7 || k.Trainer != 35 || k.Neither != 383 || !k.Defined || k.Few || k.Lo >= k.Kappa || k.Hi <= k.Kappa {
			t.Errorf("%+v", k)
		}
	}
	// A trainer's later word counts instead; nobody judges an own drill; another
	// trainee's drills are not counted.
	again := pairs[0]
	again.Judged.Outcome = procedure.Fail
	own := pairs[1]
	own.Judged.Trainer, own.Judged.Outcome = "bram okafor ", procedure.Fail
	if b := drill.Agree("Bram Okafor", append(slices.Clone(pairs), again, own)); b.Verdicts.Both != 330 || b.Verdicts.Trainee != 8 || b.Drills != 756 {
		t.Errorf("%+v", b)
	}
	if b := drill.Agree("Iris Vane", pairs); b.Drills != 0 || b.Verdicts.Defined {
		t.Errorf("%+v", b)
	}
	few := drill.Agree("Bram Okafor", pairs[:3])
	if few.Verdicts.Defined || !few.Verdicts.Few {
		t.Errorf("one result only: %+v", few.Verdicts)
	}
}

// A judgement outlives its type.
func TestJudgedFixture(t *testing.T) {
	const body = `{"run":"r000007","trainer":"Agnes Thorley","outcome":"not_valid","acts":{"1":true,"2":false},"note":"saw it at once","wall":"2026-09-14T08:12:00Z"}`
	want := drill.Judged{Run: "r000007", Trainer: "Agnes Thorley", Outcome: procedure.NotValid, Acts: map[int]bool{1: true, 2: false}, Note: "saw it at once", Wall: "2026-09-14T08:12:00Z"}
	got, err := drill.DecodeJudged("drill_judged", 1, []byte(body))
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v", got, err)
	}
	if b, err := want.Encode(); err != nil || string(b) != body {
		t.Errorf("%s, %v", b, err)
	}
	if _, err := drill.DecodeJudged("drill_judged", 2, []byte(body)); err == nil {
		t.Error("an unknown version was read")
	}
}
