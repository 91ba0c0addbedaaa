// SPDX-License-Identifier: Apache-2.0

package review_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/review"
	"tallyhood/console/session"
	"tallyhood/console/shown"
	"tallyhood/console/wire"
	"tallyhood/device"
)

// A table plays a run on the engine that live runs use and keeps what a page
// was shown and what sounded.
type table struct {
	t      *testing.T
	e      *session.Engine
	rules  procedure.RuleSet
	rand   *rand.Rand
	zero   time.Duration
	facts  []procedure.Dated
	cues   []review.Cue
	shots  []shot
	silent bool // takes no shots
}

type shot struct {
	at  time.Duration
	run wire.Run
}

func newTable(t *testing.T, rules string, supervised bool, seed uint64) *table {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	r := all[rules]
	w, f := demo.People()[0], demo.Facepieces()[0]
	zero := 7*time.Hour + 1234567*time.Nanosecond
	b := &table{t: t, rules: r, rand: rand.New(rand.NewPCG(seed, 1)), zero: zero, e: session.NewEngine(procedure.RunOpened{
		Run: "r000041", Rules: r, Agent: "bitter", Wearer: w, Facepiece: f, Tester: "Agnes Thorley", Supervised: supervised, Strict: true,
		Practice: "simulated board", Wall: "2026-09-14T09:02:11+01:00", WallQuality: "confirmed",
	}, zero)}
	if supervised {
		b.e.Edge(device.Edge{At: zero, Line: device.TasteNC, Closed: true})
	}
	b.take()
	return b
}

func (b *table) take() {
	facts, orders := b.e.Take()
	b.facts = append(b.facts, facts...)
	ms := func(at time.Duration) int64 { return (at - b.zero).Milliseconds() }
	for _, o := range orders {
		if o.Drop {
			b.cues = slices.DeleteFunc(b.cues, func(c review.Cue) bool { return c.AtMS >= ms(o.At) })
			continue
		}
		b.cues = append(b.cues, review.Cue{AtMS: ms(o.At), Cue: o.Cue})
	}
}

// wait lets the clock go on, with looks at the page at odd instants.
func (b *table) wait(d time.Duration) {
	for to := b.e.Now() + d; b.e.Now() < to; {
		b.e.Advance(min(to, b.e.Now()+time.Duration(1+b.rand.Int64N(int64(400*time.Millisecond)))))
		b.take()
		// While a contact proves itself the page does not know of it yet.
		if st := b.e.State(); !b.silent && b.e.Panel().Reached() >= b.e.Now() {
			run := shown.Run(st, b.e.Now())
			if v := st.Verdict; v != nil {
				run.Verdict = shown.Verdict(*v, st, procedure.Next(b.rules, v.Outcome))
			}
			b.shots = append(b.shots, shot{b.e.Now(), *run})
		}
	}
}

func (b *table) edge(l device.Line, closed bool) {
	b.e.Edge(device.Edge{At: b.e.Now() + 2*time.Millisecond, Line: l, Closed: closed})
}

func (b *table) press(l device.Line, n int) {
	for range n {
		b.edge(l, true)
		b.wait(300 * time.Millisecond)
		b.edge(l, false)
		b.wait(900 * time.Millisecond)
	}
}

func (b *table) report() {
	b.edge(device.TasteNC, false)
	b.wait(12 * time.Millisecond)
	b.edge(device.TasteNO, true)
	b.wait(400 * time.Millisecond)
	b.edge(device.TasteNO, false)
	b.wait(12 * time.Millisecond)
	b.edge(device.TasteNC, true)
	b.wait(500 * time.Millisecond)
}

func (b *table) say(v procedure.Verb, in procedure.Input) {
	in.Do, in.At, in.By = v, b.e.Now()+3*time.Millisecond, "Agnes Thorley" // after what was looked at
	b.e.Input(in)
	b.wait(10 * time.Millisecond)
}

// toDosing brings a run to the initial dose, with things that mean nothing on the way.
func (b *table) toDosing() {
	b.press(device.Squeeze, 1)
	b.say(procedure.DoGoOn, procedure.Input{})
	for _, q := range b.rules.Before {
		b.say(procedure.DoAnswer, procedure.Input{Question: q.ID, Yes: true})
	}
	b.say(procedure.DoAbstained, procedure.Input{For: b.rules.Figures.Abstinence.Duration() - 7*time.Second})
	b.wait(8 * time.Second)
	b.say(procedure.DoGoOn, procedure.Input{})
	b.say(procedure.DoSaidAloud, procedure.Input{}) // before any squeeze
	b.press(device.Squeeze, 3)
	b.report()
	b.wait(3 * time.Second)
	b.press(device.Step, 1)
	b.wait(b.rules.Figures.Wear.Duration() + time.Second)
	b.press(device.Step, 1)
	b.stage(procedure.Dosing)
}

func (b *table) stage(want procedure.Stage) {
	b.t.Helper()
	if got := b.e.State().Stage; got != want {
		b.t.Fatalf("stage %s, want %s; facts %v", got, want, b.facts[max(0, len(b.facts)-4):])
	}
}

// until waits for an instant of the run clock.
func (b *table) until(t time.Duration) {
	if at := *b.e.State().Clock + t; at > b.e.Now() {
		b.wait(at - b.e.Now())
	}
}

func (b *table) topUps(each func(n int)) {
	for n := 1; n <= b.rules.TopUps() && b.e.State().Verdict == nil; n++ {
		b.until(b.rules.Due(n) + 700*time.Millisecond)
		each(n)
	}
}

var plays = []struct {
	name       string
	rules      string
	supervised bool
	outcome    procedure.Outcome
	reason     procedure.Reason
	moments    []string
	play       func(*table)
}{
	{"pass with remarks", "us-osha", true, procedure.Pass, "", []string{"late", "hurried", "extra", "ignored", "added", "taken_back", "doubtful", "verdict", "proof"}, func(b *table) {
		b.press(device.Squeeze, 10)
		b.topUps(func(n int) {
			switch n {
			case 2:
				b.wait(16 * time.Second)
			case 3:
				b.press(device.Squeeze, 1)
				b.edge(device.Squeeze, true) // too brief to be sure
				b.wait(25 * time.Millisecond)
				b.edge(device.Squeeze, false)
				b.wait(900 * time.Millisecond)
				b.press(device.Squeeze, 4)
				return
			case 4:
				b.press(device.Squeeze, 6)
				b.press(device.Step, 1)
				return
			case 5:
				b.press(device.Squeeze, 4)
				b.say(procedure.DoCorrect, procedure.Input{Delta: 1, Reason: "Agnes squeezed beside it"})
				return
			case 6:
				b.press(device.Squeeze, 5)
				b.say(procedure.DoCorrect, procedure.Input{Delta: -1, Reason: "Counted twice"})
				b.press(device.Squeeze, 1)
				return
			case 7:
				for range 5 {
					b.edge(device.Squeeze, true)
					b.wait(120 * time.Millisecond)
					b.edge(device.Squeeze, false)
					b.wait(280 * time.Millisecond)
				}
				return
			}
			b.press(device.Squeeze, 5)
		})
		b.until(b.rules.Length() + 2*time.Second)
		b.say(procedure.DoBeginProof, procedure.Input{})
		b.wait(4 * time.Second)
		b.report()
	}},
	{"tasted", "us-osha", true, procedure.Fail, procedure.Tasted, []string{"verdict"}, func(b *table) {
		b.press(device.Squeeze, 10)
		b.until(11 * time.Second)
		b.report()
	}},
	{"cable", "us-osha", true, procedure.NotValid, procedure.CableOpen, []string{"fault", "verdict"}, func(b *table) {
		b.press(device.Squeeze, 10)
		b.until(29_900 * time.Millisecond) // the call for the top-up is on its way
		b.edge(device.TasteNC, false)
		b.wait(3 * time.Second)
	}},
	{"top-up short", "uk-hse", true, procedure.NotValid, procedure.TopUpShort, []string{"verdict"}, func(b *table) {
		b.press(device.Squeeze, 10)
		b.until(70 * time.Second)
	}},
	{"nothing tasted in the proof", "us-osha", true, procedure.NotValid, procedure.MistCheckFailed, []string{"verdict", "proof"}, func(b *table) {
		b.press(device.Squeeze, 10)
		b.topUps(func(int) { b.press(device.Squeeze, 5) })
		b.until(b.rules.Length() + 2*time.Second)
		b.say(procedure.DoBeginProof, procedure.Input{})
		b.say(procedure.DoProofNothing, procedure.Input{})
	}},
}

func played(t *testing.T, i int, seed uint64) (*table, review.Sequence) {
	t.Helper()
	p := plays[i]
	b := newTable(t, p.rules, p.supervised, seed)
	b.toDosing()
	p.play(b)
	b.wait(2 * time.Second)
	st := b.e.State()
	if st.Verdict == nil || st.Verdict.Outcome != p.outcome || st.Verdict.Reason != p.reason {
		t.Fatalf("the run came to %+v, want %s %s", st.Verdict, p.outcome, p.reason)
	}
	s, err := review.Of(b.facts, "ab12")
	if err != nil {
		t.Fatal(err)
	}
	return b, s
}

// What a review shows at an instant is what the pages were shown live, to the
// millisecond that the messages are cut to.
func TestShowsWhatWasShown(t *testing.T) {
	for i, p := range plays {
		t.Run(p.name, func(t *testing.T) {
			for seed := range uint64(3) {
				b, s := played(t, i, seed)
				if len(b.shots) < 500 {
					t.Fatalf("only %d looks at the page", len(b.shots))
				}
				for _, x := range b.shots {
					at := (x.at - b.zero).Milliseconds()
					if diff := differs(x.run, s.At(at)); diff != "" {
						t.Fatalf("at %d ms: %s", at, diff)
					}
				}
				if s.Outcome != p.outcome || s.Reason != p.reason {
					t.Errorf("outcome %s %s", s.Outcome, s.Reason)
				}
			}
		})
	}
}

// differs says where two runs differ by more than a millisecond of what moves by
// itself.
func differs(a, b wire.Run) string {
	near := func(what string, x, y int64) string {
		if x-y > 1 || y-x > 1 {
			return fmt.Sprintf("%s was %d, the review has %d", what, x, y)
		}
		return ""
	}
	if (a.RunMS == nil) != (b.RunMS == nil) || len(a.Notes) != len(b.Notes) {
		return fmt.Sprintf("%+v, the review has %+v", a, b)
	}
	var all []string
	all = append(all, near("stage_ms", a.StageMS, b.StageMS), near("wait_ms", a.WaitMS, b.WaitMS))
	if a.RunMS != nil {
		all = append(all, near("run_ms", *a.RunMS, *b.RunMS))
	}
	for i := range a.Notes {
		all = append(all, near("ago_ms", a.Notes[i].AgoMS, b.Notes[i].AgoMS))
	}
	for _, x := range all {
		if x != "" {
			return x
		}
	}
	still := func(r wire.Run) string {
		r.StageMS, r.WaitMS, r.RunMS = 0, 0, nil
		r.Notes = slices.Clone(r.Notes)
		for i := range r.Notes {
			r.Notes[i].AgoMS = 0
		}
		text, err := json.Marshal(r)
		if err != nil {
			return err.Error()
		}
		return string(text)
	}
	if x, y := still(a), still(b); x != y {
		return fmt.Sprintf("was    %s\nreview %s", x, y)
	}
	return ""
}

// The tones are those that the engine ordered. A tone that answers a contact
// sounds once the contact has proven itself, which takes up to some 65 ms; in a
// review it stands where the contact closed.
func TestSoundsWhatSounded(t *testing.T) {
	byCue := func(all []review.Cue) map[procedure.Cue][]int64 {
		out := map[procedure.Cue][]int64{}
		for _, c := range all {
			out[c.Cue] = append(out[c.Cue], c.AtMS)
		}
		for _, at := range out {
			slices.Sort(at)
		}
		return out
	}
	for i, p := range plays {
		b, s := played(t, i, 9)
		want, got := byCue(b.cues), byCue(s.Cues)
		if len(want) < 6 {
			t.Errorf("%s: only these tones: %v", p.name, want)
		}
		for c := range got {
			if want[c] == nil {
				t.Errorf("%s: %s never sounded, the review has it at %v", p.name, c, got[c])
			}
		}
		for c, at := range want {
			if len(at) != len(got[c]) {
				t.Errorf("%s: %s sounded at %v, the review has %v", p.name, c, at, got[c])
				continue
			}
			for k := range at {
				late := at[k] - got[c][k]
				if ahead := c == procedure.CueDue || c == procedure.CueExercise || c == procedure.CueFive; late < 0 || late > 75 || ahead && late > 0 {
					t.Errorf("%s: %s sounded at %d ms, the review has %d ms", p.name, c, at[k], got[c][k])
				}
			}
		}
		if !slices.IsSortedFunc(s.Cues, func(x, y review.Cue) int { return int(x.AtMS - y.AtMS) }) {
			t.Errorf("%s: the tones are out of order", p.name)
		}
	}
}

func TestMoments(t *testing.T) {
	for i, p := range plays {
		_, s := played(t, i, 4)
		kinds := map[string]int{}
		for k, m := range s.Moments {
			kinds[m.Kind]++
			if !slices.Contains(review.Kinds, m.Kind) {
				t.Errorf("%s: kind %q is on no list", p.name, m.Kind)
			}
			if k > 0 && m.AtMS < s.Moments[k-1].AtMS {
				t.Errorf("%s: moment %d is out of order", p.name, k)
			}
		}
		for _, want := range p.moments {
			if kinds[want] == 0 {
				t.Errorf("%s: no moment %q among %v", p.name, want, kinds)
			}
		}
		if p.name == "tasted" && kinds["late"]+kinds["extra"]+kinds["hurried"] > 0 {
			t.Errorf("remarks that nothing stands for: %v", kinds)
		}
	}
	_, s := played(t, 0, 4)
	of := map[string][]int{}
	for _, m := range s.Moments {
		of[m.Kind] = append(of[m.Kind], m.TopUp)
	}
	if want := map[string][]int{"late": {2}, "extra": {4}, "added": {5}, "taken_back": {6}, "hurried": {7}}; !reflect.DeepEqual(map[string][]int{"late": of["late"], "extra": of["extra"], "added": of["added"], "taken_back": of["taken_back"], "hurried": of["hurried"]}, want) {
		t.Errorf("moments by top-up: %v", of)
	}
}

func TestWithoutNames(t *testing.T) {
	_, s := played(t, 0, 2)
	text := func(s review.Sequence) string {
		b, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	whole, masked := text(s), text(s.WithoutNames())
	w := demo.People()[0]
	for _, name := range []string{w.Name, "Agnes", "09:02", "+01:00", "beside it"} {
		if !strings.Contains(whole, name) {
			t.Errorf("%q is not in the whole sequence, so that nothing is tested", name)
		}
		if strings.Contains(masked, name) {
			t.Errorf("%q is in what is given without names", name)
		}
	}
	if !strings.Contains(masked, `"opened":"2026-09-14"`) || !strings.Contains(masked, "simulated board") || !strings.Contains(masked, "ab12") {
		t.Error("date, practice or hash is missing")
	}
	// It is made of a list of what is kept: a run without what people are named by is unchanged.
	f := s.Frames[len(s.Frames)-1].Run
	f.Wearer, f.Tester = "", ""
	if diff := differs(f, s.WithoutNames().Frames[len(s.Frames)-1].Run); diff != "" {
		t.Error(diff)
	}
}

// What the wearer said of the name, and what a simulated one did, are seen again
// from the instant on; without names the words of it are left out.
func TestWhatTheWearerSaid(t *testing.T) {
	b, _ := played(t, 0, 2)
	facts := slices.Clone(b.facts)
	o := facts[0].Fact.(procedure.RunOpened)
	o.Drill = &procedure.Drill{Seed: "heron", Level: "plain"}
	facts[0].Fact = o
	at := facts[1].At
	facts = slices.Insert(facts, 2,
		procedure.Dated{At: at, Fact: procedure.NameSaid{Yes: true, By: "wearer"}},
		procedure.Dated{At: at, Fact: procedure.WearerDid{What: "says_ready", Text: "Idris here, ready"}})
	s, err := review.Of(facts, "")
	if err != nil {
		t.Fatal(err)
	}
	ms := (at - facts[0].At).Milliseconds()
	if r := s.At(max(0, ms-1)); ms > 0 && (r.NameSaid != "" || len(r.Drill.Said) > 0) {
		t.Errorf("before it was said: %q, %v", r.NameSaid, r.Drill.Said)
	}
	want := []wire.DrillLine{{AtMS: ms, What: "says_ready", Text: "Idris here, ready"}}
	for _, when := range []int64{ms, s.LengthMS} {
		if r := s.At(when); r.NameSaid != "yes" || !reflect.DeepEqual(r.Drill.Said, want) {
			t.Errorf("at %d ms: %q, %v", when, r.NameSaid, r.Drill.Said)
		}
	}
	want[0].Text = ""
	if r := s.WithoutNames().At(s.LengthMS); r.NameSaid != "yes" || !reflect.DeepEqual(r.Drill.Said, want) {
		t.Errorf("without names: %q, %v", r.NameSaid, r.Drill.Said)
	}
}

func TestRefuses(t *testing.T) {
	b, _ := played(t, 1, 1)
	if _, err := review.Of(b.facts[:8], ""); !errors.Is(err, review.ErrOpen) {
		t.Errorf("an open run: %v", err)
	}
	if _, err := review.Of(nil, ""); err == nil {
		t.Error("a run without facts was reviewed")
	}
	if _, err := review.Of(b.facts[1:], ""); err == nil {
		t.Error("a run without its opening was reviewed")
	}
	turned := slices.Clone(b.facts)
	turned[3].At, turned[4].At = turned[4].At+1, turned[3].At
	if _, err := review.Of(turned, ""); err == nil {
		t.Error("facts out of order were reviewed")
	}
}

func BenchmarkOf(b *testing.B) {
	var t testing.T
	x := newTable(&t, "us-osha", true, 1)
	x.silent = true
	x.toDosing()
	plays[0].play(x)
	for b.Loop() {
		if _, err := review.Of(x.facts, ""); err != nil {
			b.Fatal(err)
		}
	}
	s, _ := review.Of(x.facts, "")
	text, _ := json.Marshal(s)
	b.ReportMetric(float64(len(text)), "bytes")
	b.ReportMetric(float64(len(s.Frames)), "frames")
}
