// SPDX-License-Identifier: Apache-2.0

// Package drill is practice for testers: a simulated wearer with a hidden
// threshold and a hidden fit, troubles that come by a script, a score of the
// whole drill from its facts, and agreement with a trainer. The same seed gives
// the same wearer. It is pure. It must not decide anything about a run, and
// nothing in it is ever evidence: what it simulates is assumed, and says so.
package drill

import (
	"fmt"
	"slices"
	"time"

	"tallyhood/console/procedure"
)

// Practice is why no drill can ever be a test record.
const Practice = procedure.PracticeDrill

// NoTroubles, alone in an Ask, asks for a wearer without any.
const NoTroubles = "none"

// An Ask is the drill that somebody wants.
type Ask struct {
	Seed     string   `json:"seed"`
	Level    string   `json:"level"`
	Troubles []string `json:"troubles"` // empty: the level and the seed choose
}

// Check says what is wrong with an ask; nil when it can be held.
func (a Ask) Check() error {
	if a.Seed == "" || len(a.Seed) > 60 {
		return fmt.Errorf("a drill needs a seed of 1 to 60 characters. Open it from the Drill page, which makes one")
	}
	if _, ok := LevelOf(a.Level); !ok {
		return fmt.Errorf("there is no level %q. Choose one of the Drill page", a.Level)
	}
	for _, key := range a.Troubles {
		if _, ok := TroubleOf(key); !ok && (key != NoTroubles || len(a.Troubles) > 1) {
			return fmt.Errorf("there is no trouble %q. Choose from those of the Drill page", key)
		}
	}
	return nil
}

// A Level is how hard a drill is.
type Level struct {
	Key string `json:"key"`
	// Leaky is the share of wearers whose facepiece leaks, and Hairline the
	// share of those leaks that open in one exercise alone.
	Leaky    float64 `json:"leaky"`
	Hairline float64 `json:"hairline"`
	// Insensitive: some wearers cannot taste at all (see Assumed.Insensitive).
	Insensitive bool `json:"insensitive"`
	// Least and Most troubles when the level chooses them.
	Least int `json:"least"`
	Most  int `json:"most"`
	// From a taste to the press, in seconds.
	QuickS float64 `json:"quick_s"`
	SlowS  float64 `json:"slow_s"`
}

// Levels are data; all figures are house choices [H] for practice.
var Levels = []Level{
	{Key: "easy", Leaky: 0.3, Hairline: 0.5, Least: 0, Most: 1, QuickS: 0.6, SlowS: 1.5},
	{Key: "plain", Leaky: 0.4, Hairline: 0.6, Insensitive: true, Least: 1, Most: 2, QuickS: 0.7, SlowS: 2.5},
	{Key: "hard", Leaky: 0.5, Hairline: 0.8, Insensitive: true, Least: 2, Most: 4, QuickS: 1, SlowS: 4},
}

// LevelOf finds a level by its key.
func LevelOf(key string) (Level, bool) {
	i := slices.IndexFunc(Levels, func(l Level) bool { return l.Key == key })
	if i < 0 {
		return Level{}, false
	}
	return Levels[i], true
}

// An Assumption is a figure that the simulated wearer stands on, and what is
// known of it.
type Assumption struct {
	Key    string    `json:"key"`
	Values []float64 `json:"values"`
	Says   string    `json:"says"`
	Source string    `json:"source"`
}

// Assumed holds what the simulated wearer stands on. Nothing here is a figure
// of real people unless a source is named.
var Assumed = struct {
	Bins        Assumption // shares of those who taste: within 10, 20 and 30 squeezes
	Insensitive Assumption // share of those who taste nothing by 30 squeezes: sweet, bitter
	Strong      Assumption // how many squeezes of the weak solution one of the strong one is to the tongue
	Tight       Assumption // share that comes through a good fit: least, most
	Leak        Assumption // through a bad one
	Worse       Assumption // by how much more comes through in an exercise that is worse for this face: least, most
	Clear       Assumption // seconds until the taste is gone: least, most; and with slow clearing: least, most
}{
	Bins: Assumption{"bins", []float64{0.6, 0.3, 0.1},
		"How many people taste within 10, 20 and 30 squeezes was not found published; these shares are assumed.", ""},
	Insensitive: Assumption{"insensitive", []float64{9.0 / 26, 0},
		"A fixed leak was missed by 9 of 26 people with sweet and by none of 26 with bitter. That the same share tastes nothing by 30 squeezes is assumed; the study does not say it.",
		"McKay et al., Appl Occup Environ Hyg 2000;15(6):479-484"},
	Strong: Assumption{"strong", []float64{100},
		"One squeeze of the strong solution is taken as a hundred of the weak one for either agent. That is the nominal ratio of the sweet solutions; the bitter ones differ 12.5 times, and that a tongue makes it up is assumed.",
		"29 CFR 1910.134 App. A, Part I.B.3 (0.83 g and 83 g in 100 ml)"},
	Tight: Assumption{"tight", []float64{1.0 / 20000, 1.0 / 8000},
		"Through a good fit comes between 1/20000 and 1/8000 of the level under the hood: assumed, far from what any of these wearers tastes, so that no drill hangs on a hair.", ""},
	Leak: Assumption{"leak", []float64{1.0 / 30, 1.0 / 8},
		"Through a leak comes between 1/30 and 1/8 of it: assumed, well beyond what every one of these wearers tastes.", ""},
	Worse: Assumption{"worse", []float64{1.5, 2.5},
		"In one or two exercises more comes through, 1.5 to 2.5 times as much: assumed.", ""},
	Clear: Assumption{"clear", []float64{30, 75, 120, 200},
		"After rinsing the taste is gone within 30 to 75 seconds, with a slow tongue within 120 to 200: assumed. A wearer who dons before that tastes the rest of it under the hood.", ""},
}

// Assumptions lists them, with the half-life of the modelled level.
func Assumptions() []Assumption {
	a := Assumed
	return []Assumption{a.Bins, a.Insensitive, a.Strong, a.Tight, a.Leak, a.Worse, a.Clear, {"half_life", []float64{30},
		"The level under the hood is modelled: it halves in 30 seconds, as the rule of half a dose every 30 seconds implies. Real hoods differ.", ""}}
}

// names of simulated wearers, and names that they may give instead; invented.
var names = []string{
	"Ilse Marrow", "Dafydd Quill", "Noor Penhale", "Otto Tarn", "Rosa Teague", "Karel Bright", "Maeve Oxley", "Sunil Harrow",
	"Wanda Sallow", "Piet Larch", "Amina Coldwell", "Jonas Fell",
}

// Name is the invented name of a seed's wearer.
func Name(seed string) string { return names[newChance(seed, "name").below(len(names))] }

// A Planned trouble is one that will come, if the drill gets that far.
type Planned struct {
	Key string `json:"key"`
	// AtS is when, in seconds after the drill's stage in which it comes began.
	AtS float64 `json:"at_s"`
}

// A Truth is what only the box knows while a drill goes on.
type Truth struct {
	Name      string    `json:"name"`
	OtherName string    `json:"other_name"` // what the wearer says instead; empty: the right one
	Squeezes  int       `json:"squeezes"`   // of the sensitivity test until the taste; 0: tastes nothing
	Leak      float64   `json:"leak"`       // share of the hood's level that comes through
	Worse     []Worse   `json:"worse"`      // exercises in which it is more
	Fits      bool      `json:"fits"`       // never tasted through it
	ReactionS float64   `json:"reaction_s"`
	ClearS    float64   `json:"clear_s"`  // until the taste is gone
	AteMin    float64   `json:"ate_min"`  // minutes since something but water, when the drill is opened
	Question  string    `json:"question"` // answered with no at first; empty: none
	Troubles  []Planned `json:"troubles"`
}

// Worse is an exercise in which more comes through, from some seconds into it.
type Worse struct {
	Exercise string  `json:"exercise"`
	Number   int     `json:"number"` // from 0
	Times    float64 `json:"times"`
	FromS    float64 `json:"from_s"` // after the exercise began
}

// Has says whether a trouble was planned.
func (t Truth) Has(key string) bool {
	_, ok := t.planned(key)
	return ok
}

func (t Truth) planned(key string) (Planned, bool) {
	i := slices.IndexFunc(t.Troubles, func(p Planned) bool { return p.Key == key })
	if i < 0 {
		return Planned{}, false
	}
	return t.Troubles[i], true
}

// Through is the share that comes through at an instant of the run clock,
// before it as in the first moment.
func (t Truth) Through(r procedure.RuleSet, at time.Duration) float64 {
	share := t.Leak
	if at < 0 {
		return share
	}
	long := r.Figures.Exercise.Duration()
	for _, w := range t.Worse {
		begin := time.Duration(w.Number) * long
		if at >= begin+seconds(w.FromS) && at < begin+long {
			share = max(share, t.Leak*w.Times)
		}
	}
	return share
}

// TruthOf is the wearer of an ask under a rule set with an agent. The ask is one that
// Check lets through; an unknown level is taken as the first.
func TruthOf(a Ask, r procedure.RuleSet, agent string) Truth {
	level, ok := LevelOf(a.Level)
	if !ok {
		level = Levels[0]
	}
	draw := func(what string) *chance { return newChance(a.Seed, what) }
	t := Truth{Name: Name(a.Seed), Worse: []Worse{}, Troubles: plan(a, level)}
	if t.Has("other_name") {
		// The next in the list is always another one.
		t.OtherName = names[(slices.Index(names, t.Name)+1+draw("other").below(len(names)-1))%len(names)]
	}
	t.Squeezes = threshold(draw("threshold"), level, agent)
	t.ReactionS = draw("reaction").between(level.QuickS, level.SlowS)
	c := Assumed.Clear.Values
	t.ClearS = draw("clear").between(c[0], c[1])
	if t.Has("still_tastes") {
		t.ClearS = draw("clear").between(c[2], c[3])
	}
	need := r.Figures.Abstinence.Duration().Minutes()
	t.AteMin = need + draw("ate").between(5, 90)
	if t.Has("chewed_gum") {
		t.AteMin = need - draw("ate").between(1, 3)
	}
	switch {
	case t.Has("beard"):
		t.Question = "no_hair_at_seal"
	case t.Has("wrong_nebuliser"):
		t.Question = "weak_nebuliser"
	}
	t.fit(draw("fit"), level, r)
	return t
}

// threshold is the squeeze of the sensitivity test at which the wearer tastes.
func threshold(c *chance, level Level, agent string) int {
	share := Assumed.Insensitive.Values[0]
	if agent != "sweet" {
		share = Assumed.Insensitive.Values[1]
	}
	insensitive := c.share() < share
	bin, sum, at := 0, 0.0, c.share()
	for i, s := range Assumed.Bins.Values {
		if sum += s; at < sum {
			bin = i
			break
		}
	}
	n := 10*bin + 1 + c.below(10)
	if insensitive && level.Insensitive {
		return 0
	}
	return n
}

// fit draws what comes through, and where more of it does.
func (t *Truth) fit(c *chance, level Level, r procedure.RuleSet) {
	tight, leak, times := Assumed.Tight.Values, Assumed.Leak.Values, Assumed.Worse.Values
	leaks, hairline := c.share() < level.Leaky, c.share() < level.Hairline
	good, bad := c.ratio(tight[0], tight[1]), c.ratio(leak[0], leak[1])
	// Never the first: what leaks at once leaks in the initial dose.
	first := 1 + c.below(len(r.Exercises)-1)
	second := 1 + c.below(len(r.Exercises)-1)
	worse := func(k int, by float64) {
		t.Worse = append(t.Worse, Worse{r.Exercises[k].ID, k, by, c.between(2, 20)})
	}
	t.Fits, t.Leak = !leaks, good
	switch {
	case leaks && hairline:
		worse(first, bad/good)
	case leaks:
		t.Leak = bad
		worse(first, c.between(times[0], times[1]))
	default:
		worse(first, c.between(times[0], times[1]))
		if second != first {
			worse(second, c.between(times[0], times[1]))
		}
	}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
