// SPDX-License-Identifier: Apache-2.0

package drill_test

import (
	"slices"
	"strconv"
	"testing"
	"time"

	"tallyhood/console/drill"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/device"
)

const (
	ms  = time.Millisecond
	sec = time.Second
)

var rules = func() map[string]procedure.RuleSet {
	all, err := procedure.Rules()
	if err != nil {
		panic(err)
	}
	return all
}()

// A mistake is what a tester does wrong; the zero one is nothing.
type mistake struct {
	name      string
	ask       drill.Ask
	until     func(drill.Truth) bool // which seed's wearer it needs
	deaf      string                 // trouble that the tester does nothing about
	slow      time.Duration          // before the reaction
	instead   procedure.Verb         // another reaction
	yes       bool                   // to the wearer's no
	boast     bool                   // says more of the abstinence than the wearer
	clear     bool                   // does not wait for the taste to go
	hasty     bool                   // goes on before the wait is over
	wear      bool                   // on a run that is not strict
	short     int                    // a squeeze less at this top-up
	late      int                    // this top-up is complete 22 s after it was due
	hurried   int                    // this top-up is squeezed every 0.3 s
	extra     int                    // so many squeezes too much at top-up 3
	needless  procedure.Verb         // at 100 s, without anything having happened
	otherNeb  bool                   // tries the weak one for the dose
	anyPerson bool                   // goes on under another name
	want      map[string]int         // points lost by key
	unscored  string
}

// A world is one drill in virtual time, with a tester who makes no mistake but
// the given one.
type world struct {
	e     *session.Engine
	a     *drill.Actor
	m     mistake
	facts []procedure.Dated
	plan  []act
	done  map[string]bool
	now   time.Duration
}

type act struct {
	at time.Duration
	do func(at time.Duration)
}

func newWorld(ask drill.Ask, rule, agent string, m mistake) *world {
	o := procedure.RunOpened{
		Run: "r000001", Rules: rules[rule], Agent: agent, Tester: "Bram Okafor", Supervised: true, Strict: !m.wear, Kit: m.otherNeb,
		Drill: &procedure.Drill{Seed: ask.Seed, Level: ask.Level, Troubles: ask.Troubles}, Practice: procedure.PracticeDrill,
		Wearer: procedure.Wearer{Name: drill.Name(ask.Seed)}, Facepiece: procedure.Facepiece{Make: "Harrowgate", Model: "drill"},
	}
	w := &world{e: session.NewEngine(o, 0), a: drill.NewActor(ask), m: m, done: map[string]bool{}}
	w.e.Edge(device.Edge{At: 0, Line: device.TasteNC, Closed: true})
	return w
}

// later plans something of the tester's.
func (w *world) later(at time.Duration, do func(at time.Duration)) {
	i := 0
	for i < len(w.plan) && w.plan[i].at <= at {
		i++
	}
	w.plan = slices.Insert(w.plan, i, act{max(at, w.now), do})
}

func (w *world) once(what string) bool {
	fresh := !w.done[what]
	w.done[what] = true
	return fresh
}

func (w *world) squeeze(at time.Duration) {
	w.later(at, func(at time.Duration) { w.e.Edge(device.Edge{At: at, Line: device.Squeeze, Closed: true}) })
	w.later(at+100*ms, func(at time.Duration) { w.e.Edge(device.Edge{At: at, Line: device.Squeeze}) })
}

func (w *world) say(at time.Duration, in procedure.Input) {
	w.later(at, func(at time.Duration) { in.At = at; w.e.Input(in) })
}

// deed does what the wearer does, as a session would.
func (w *world) deed(d drill.Deed) {
	edge := func(l device.Line, closed bool) { w.e.Edge(device.Edge{At: d.At, Line: l, Closed: closed}) }
	switch d.What {
	case "press":
		edge(device.TasteNC, false)
		edge(device.TasteNO, true)
	case "release":
		edge(device.TasteNO, false)
		edge(device.TasteNC, true)
	case "cable_out":
		edge(device.TasteNC, false)
		edge(device.TasteNO, false)
	case "cable_in":
		edge(device.TasteNC, true)
	default:
		w.e.Input(procedure.Input{At: d.At, Do: procedure.DoWearerDid, Source: d.What, Detail: d.Text})
	}
}

// run goes on until there is a verdict, at most 40 minutes.
func (w *world) run(t testing.TB) (procedure.State, []procedure.Dated) {
	t.Helper()
	for w.now < 40*time.Minute {
		next := w.now + sec
		for _, f := range []func() (time.Duration, bool){w.e.Next, func() (time.Duration, bool) { return w.a.Next(w.e.State()) }} {
			if at, ok := f(); ok && at < next {
				next = max(at, w.now)
			}
		}
		if len(w.plan) > 0 && w.plan[0].at < next {
			next = max(w.now, w.plan[0].at)
		}
		w.now = next
		w.e.Advance(w.now)
		for _, d := range w.a.Act(w.e.State(), w.now) {
			w.deed(d)
		}
		for len(w.plan) > 0 && w.plan[0].at <= w.now {
			p := w.plan[0]
			w.plan = w.plan[1:]
			p.do(w.now)
		}
		w.e.Advance(w.now)
		facts, _ := w.e.Take()
		w.facts = append(w.facts, facts...)
		st := w.e.State()
		if st.Verdict != nil {
			return st, w.facts
		}
		w.think(st)
	}
	t.Fatalf("no verdict after 40 minutes: stage %s, blocked %q", w.e.State().Stage, w.e.State().Blocked(w.now))
	return procedure.State{}, nil
}

func (w *world) said(what string) (procedure.DatedDid, bool) {
	did := w.e.State().Did
	i := slices.IndexFunc(did, func(d procedure.DatedDid) bool { return d.What == what })
	if i < 0 {
		return procedure.DatedDid{}, false
	}
	return did[i], true
}

// think is the tester.
func (w *world) think(st procedure.State) {
	switch st.Stage {
	case procedure.Ready:
		w.ready(st)
	case procedure.Screening:
		if w.once("screening") {
			w.screen(0)
		}
	case procedure.Clearing:
		w.clearing(st)
	case procedure.Donning:
		w.donning(st)
	case procedure.Dosing:
		if w.once("dosing") {
			for i := range st.Initial.Required {
				w.squeeze(st.Since + 2*sec + time.Duration(i)*sec)
			}
		}
	case procedure.Running:
		w.running(st)
	}
	w.react(st)
}

func (w *world) ready(st procedure.State) {
	name, _ := w.said("says_name")
	ate, ok := w.said("ate")
	if !ok || w.now < st.OpenedAt+5*sec {
		return
	}
	if w.once("asked") {
		right := name.Text == st.Opened.Wearer.Name || w.m.anyPerson
		w.say(w.now, procedure.Input{Do: procedure.DoNameSaid, Yes: right})
		if !right {
			w.say(w.now+5*sec, procedure.Input{Do: procedure.DoAbandon})
			return
		}
		_, no := w.said("answers_no")
		_, strong := w.said("hands_strong")
		for _, q := range st.Opened.Rules.Before {
			bad := no && q.ID == "no_hair_at_seal" || strong && q.ID == "weak_nebuliser"
			w.say(w.now, procedure.Input{Do: procedure.DoAnswer, Question: q.ID, Yes: !bad || w.m.yes})
		}
		minutes, _ := strconv.Atoi(ate.Text)
		nothing := time.Duration(minutes) * time.Minute
		if w.m.boast {
			nothing += 10 * time.Minute
		}
		w.say(w.now, procedure.Input{Do: procedure.DoAbstained, For: nothing + w.now - st.OpenedAt})
		if w.m.otherNeb {
			w.say(w.now, procedure.Input{Do: procedure.DoTake, Kit: kit(procedure.Strong)})
			w.say(w.now+sec, procedure.Input{Do: procedure.DoTake, Kit: kit(procedure.Weak)})
		}
		if w.m.hasty {
			w.say(w.now+sec, procedure.Input{Do: procedure.DoGoOn})
		}
	}
	if d, ok := w.said("put_right"); ok && w.once("put_right") {
		w.say(w.now+sec, procedure.Input{Do: procedure.DoAnswer, Question: d.Text, Yes: true})
	}
	if w.now > st.OpenedAt+8*sec && st.Blocked(w.now) == "" && w.once("start") {
		w.say(w.now+sec, procedure.Input{Do: procedure.DoGoOn})
	}
}

func kit(role string) *procedure.Kit {
	return &procedure.Kit{ID: role, Mark: role, Role: role, Agent: "sweet", Solution: "s", Checked: true}
}

// screen squeezes once a second until the wearer has said something.
func (w *world) screen(n int) {
	w.later(w.now+sec, func(at time.Duration) {
		_, said := w.said("says_taste")
		if w.e.State().Stage != procedure.Screening || n == 30 || said && w.m.deaf != "says_aloud" {
			return
		}
		w.e.Edge(device.Edge{At: at, Line: device.Squeeze, Closed: true})
		w.later(at+100*ms, func(at time.Duration) { w.e.Edge(device.Edge{At: at, Line: device.Squeeze}) })
		w.screen(n + 1)
	})
}

func (w *world) clearing(st procedure.State) {
	_, on := w.said("donned")
	early := w.m.clear && w.now > st.Since+10*sec
	if (on || early) && w.once("cleared") {
		w.say(w.now+2*sec, procedure.Input{Do: procedure.DoGoOn})
	}
}

func (w *world) donning(st procedure.State) {
	if w.m.otherNeb && w.once("strong") {
		w.say(w.now+sec, procedure.Input{Do: procedure.DoTake, Kit: kit(procedure.Strong)})
	}
	if w.m.wear && w.now > st.Since+60*sec && w.once("donned") {
		w.say(w.now, procedure.Input{Do: procedure.DoGoOn})
	}
	if st.Blocked(w.now) == "" && w.now > st.Since+st.Opened.Rules.Figures.Wear.Duration() && w.once("donned") {
		w.say(w.now+sec, procedure.Input{Do: procedure.DoGoOn})
	}
}

func (w *world) running(st procedure.State) {
	t0, r := *st.Clock, st.Opened.Rules
	if !w.once("running") {
		return
	}
	for n := 1; n <= r.TopUps(); n++ {
		need := st.TopUp(n).Required
		first, every := t0+r.Due(n)+800*ms, 900*ms
		switch n {
		case w.m.short:
			need--
		case w.m.late:
			first = t0 + r.Due(n) + 22*sec - time.Duration(need-1)*every
		case w.m.hurried:
			every = 300 * ms
		case 3:
			need += w.m.extra
		}
		for i := range need {
			w.squeeze(first + time.Duration(i)*every)
		}
	}
	if w.m.needless != "" {
		w.say(t0+100*sec, procedure.Input{Do: w.m.needless})
	}
}

// react: three seconds after the tester sees something.
func (w *world) react(st procedure.State) {
	for _, d := range st.Did {
		for _, x := range drill.Troubles {
			if x.Sees != d.What || x.Right == "" || x.Stage == procedure.Ready || x.Key == w.m.deaf || x.Key+"_later" == w.m.deaf && st.Bin > 0 {
				continue
			}
			if !w.once(d.What + d.At.String()) {
				continue
			}
			verb := x.Right
			if w.m.instead != "" {
				verb = w.m.instead
			}
			w.say(d.At+3*sec+w.m.slow, procedure.Input{Do: verb})
		}
	}
}
