// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store/memory"
)

// past is so many runs that took 60 + 120 s with the tester, 180 + 300 s alone,
// 30 + 420 s with the tester; 120 s after each are assumed.
func past(n int, o procedure.Outcome) []programme.Run {
	var out []programme.Run
	for range n {
		out = append(out, programme.Run{First: o, StagesS: map[string]int{"ready": 60, "screening": 120, "clearing": 180, "donning": 300, "dosing": 30, "running": 420}})
	}
	return out
}

// A case worked out by hand. With one hood a person takes
// 60+120+180+300+30+420+120 = 1230 s, and 28,800/1230 = 23.4. With two the first
// begins at 0 and the second at 180; the first is ready for the fit test at
// 180+480 = 660 and done at 660+570 = 1230, the second then at 1800, and the next
// two begin. Two people every 1800 s are 32 in eight hours, the last at 28,800.
func TestPlanByHand(t *testing.T) {
	rules := ruleSets(t)["us-osha"]
	for hoods, want := range map[int]struct{ perDay, three int }{1: {23, 3690}, 2: {32, 3030}} {
		p := programme.Plan(programme.PlanInput{People: 3, Hoods: hoods, Rules: rules, Past: past(10, procedure.Pass), Tries: 20})
		if p.PerDay != (programme.Spread{Median: want.perDay, Low: want.perDay, High: want.perDay}) || p.FinishS.Median != want.three || p.Past != 10 {
			t.Errorf("%d hoods: %+v, three people %+v; want %d and %d s", hoods, p.PerDay, p.FinishS, want.perDay, want.three)
		}
	}
	// Nobody ever passes: each takes three runs, and 23 runs hold 7 people.
	p := programme.Plan(programme.PlanInput{Hoods: 1, Rules: rules, Past: past(10, procedure.NotValid), Tries: 20})
	if p.PerDay.Median != 7 {
		t.Errorf("three runs each: %+v", p.PerDay)
	}
	// Without enough runs the rules speak: 180+60+180+300+30+420+120 = 1290 s, 22.3.
	few := past(9, procedure.Pass)
	few = append(few, programme.Run{Practice: true, First: procedure.Pass, StagesS: few[0].StagesS})
	p = programme.Plan(programme.PlanInput{Hoods: 1, Rules: rules, Past: few, Tries: 20})
	if p.PerDay.Median != 22 || p.Past != 0 || !strings.Contains(strings.Join(p.Said, " "), "too few") {
		t.Errorf("nine runs and one of practice: %+v", p)
	}
	for _, s := range p.Steps {
		if s.Source == "" || s.Mark == "" {
			t.Errorf("step %s says not where its %d s come from", s.Step, s.Seconds)
		}
	}
}

// The same seed gives the same plan; more hoods and a longer day never fewer
// people; the middle lies between the ends.
func TestPlanSpread(t *testing.T) {
	rules := ruleSets(t)["uk-hse"]
	runs := past(20, procedure.Pass)
	for i := range runs {
		s := map[string]int{}
		for k, v := range runs[i].StagesS {
			s[k] = v + 17*i
		}
		runs[i].StagesS = s
		if i%5 == 0 {
			runs[i].First = procedure.Fail
		}
	}
	in := programme.PlanInput{People: 12, Hoods: 1, Rules: rules, Past: runs, Seed: 5, Tries: 200}
	a, b := programme.Plan(in), programme.Plan(in)
	if !reflect.DeepEqual(a, b) {
		t.Errorf("the same seed: %+v and %+v", a, b)
	}
	if !(a.PerDay.Low <= a.PerDay.Median && a.PerDay.Median <= a.PerDay.High && a.PerDay.Low < a.PerDay.High) {
		t.Errorf("spread %+v", a.PerDay)
	}
	// What the page says of a slow and of a fast day, counted day by day.
	ref := in
	ref.Tries = 0 // as many days as the page asks for
	r := programme.Plan(ref)
	slow, fast, short, long := 0, 0, 0, 0
	const days = 2000
	for n := range uint64(days) {
		one := in
		one.Seed, one.Tries = 1000+n, 1
		d := programme.Plan(one)
		slow += count(d.PerDay.Median < r.PerDay.Low)
		fast += count(d.PerDay.Median > r.PerDay.High)
		short += count(d.FinishS.Median < r.FinishS.Low)
		long += count(d.FinishS.Median > r.FinishS.High)
	}
	for what, n := range map[string]int{"fewer than on a slow day": slow, "more than on a fast day": fast, "sooner": short, "later": long} {
		if n > days/20+days/50 {
			t.Errorf("%s: %d of %d days, more than one in twenty", what, n, days)
		}
	}
	in.Hoods = 2
	two := programme.Plan(in)
	in.Day = 10 * time.Hour
	more := programme.Plan(in)
	if two.PerDay.Median <= a.PerDay.Median || more.PerDay.Median <= two.PerDay.Median {
		t.Errorf("one hood %+v, two %+v, two in ten hours %+v", a.PerDay, two.PerDay, more.PerDay)
	}
}

// count is 1 for true.
func count(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

func TestDay(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	ctx := t.Context()
	withKit(t, d)
	must(t, d.Do(ctx, programme.FacepieceEntered{ID: "corrie-m", Form: corrie, By: who}))
	var ids []string
	for _, name := range []string{"Ana", "Bo", "Cem", "Dora", "Eli"} {
		f := programme.PersonForm{Name: name, Facepieces: []string{"corrie-m"}, Rules: "us-osha"}
		if name == "Cem" {
			f.Rules = "uk-hse"
		}
		id, err := d.Enter(ctx, f, who)
		must(t, err)
		ids = append(ids, id)
	}
	n := 0
	run := func(id, day string, o procedure.Outcome) {
		n++
		play(t, s, d, played{run: fmt.Sprintf("r%06d", n), person: id, facepiece: "corrie-m", form: corrie, at: onDay(day), outcome: o, weak: "n-weak", strong: "n-strong", rules: "us-osha"})
	}
	run(ids[4], "2026-09-01", procedure.Pass) // Eli is not due
	run(ids[3], "2025-09-20", procedure.Pass) // Dora is due in six days
	run(ids[0], "2026-09-14", procedure.Pass) // Ana is done today
	run(ids[1], "2026-09-14", procedure.Fail) // Bo needs another
	must(t, d.Do(ctx, programme.DayListed{Person: ids[4], Day: "2026-09-14", Place: 2, By: who}, programme.DayListed{Person: ids[2], Day: "2026-09-14", Place: 1, By: who},
		programme.DayListed{Person: ids[0], Day: "2026-09-14", By: who}, programme.DayListed{Person: ids[3], Day: "2026-09-15", By: who}))
	now := onDay("2026-09-14").Add(time.Hour)
	day, err := d.Day(ctx, "2026-09-14", programme.DayOptions{Now: now, Within: 7, Hoods: 2})
	must(t, err)
	// Two hoods, times of the rules and assumed ones: 240 s to the end of a
	// sensitivity test, 480 s alone, 570 s for the fit test: two begin at 0 and
	// 240, are done at 1290 and 1860, and the next two begin at 1860 and 2100.
	want := []struct {
		id, state, slot, stop string
	}{
		{ids[2], programme.DayWaiting, "10:00:00", "09:30:00"}, // UK: 30 minutes
		{ids[4], programme.DayWaiting, "10:04:00", "09:49:00"}, // US: 15 minutes
		{ids[0], programme.DayDone, "", ""},
		{ids[1], programme.DayAgain, "10:31:00", "10:16:00"},
		{ids[3], programme.DayWaiting, "10:35:00", "10:20:00"},
	}
	clock := func(s string) string {
		if s == "" {
			return ""
		}
		x, err := time.Parse(time.RFC3339, s)
		must(t, err)
		return x.Format(time.TimeOnly)
	}
	if len(day.Expected) != len(want) || day.Waiting != 4 || day.More {
		t.Fatalf("expected %+v", day.Expected)
	}
	for i, w := range want {
		e := day.Expected[i]
		if e.Person != w.id || e.State != w.state || clock(e.SlotAt) != w.slot || clock(e.StopEating) != w.stop {
			t.Errorf("%d: %s %s slot %s, stop eating %s; want %+v", i, e.Name, e.State, e.SlotAt, e.StopEating, w)
		}
		if r := ruleSets(t)[e.AbstainRules]; e.SlotAt != "" && (e.AbstainS == 0 || r.Figures.Abstinence.Source != e.AbstainWhy || int(r.Figures.Abstinence.Value) != e.AbstainS) {
			t.Errorf("%s waits %d s by %q, and that is not what %q asks", e.Name, e.AbstainS, e.AbstainWhy, e.AbstainRules)
		}
	}
	var tasks []string
	for _, x := range day.EndOfDay {
		tasks = append(tasks, x.What+" "+x.ID)
	}
	if got := strings.Join(tasks, ", "); got != "mist_check n-strong, rinse n-strong, mist_check n-weak, rinse n-weak, back_up " {
		t.Errorf("end of day: %s", got)
	}
	// The weak nebuliser is found clogged: all runs with it since the check an
	// hour before today's first.
	sweep, err := d.Sweep(ctx, "n-weak")
	must(t, err)
	var shown []string
	for _, r := range sweep.Runs {
		shown = append(shown, r.Run)
	}
	must(t, d.Recall(ctx, programme.MistChecked{ID: "n-weak", At: at(0), By: who}, shown))
	open := programme.OpenRun{Run: "r000009", Person: ids[2], Stage: procedure.Donning, Since: now.Add(-time.Minute)}
	day, err = d.Day(ctx, "2026-09-14", programme.DayOptions{Now: now, Within: 7, Limit: 1, Open: []programme.OpenRun{open}, LastBackup: now.Add(time.Hour)})
	must(t, err)
	calls, backup := 0, false
	for _, x := range day.EndOfDay {
		if x.What == "call_back" {
			calls++
		}
		backup = backup || x.What == "back_up"
	}
	if calls != 4 || backup || !day.More {
		t.Errorf("%d to be called back, backup %v, more %v: %+v", calls, backup, day.More, day.EndOfDay)
	}
	if e := day.Expected[0]; e.State != programme.DayInTest || e.Stage != procedure.Donning || e.SlotAt != "" {
		t.Errorf("under test: %+v", e)
	}
	// 240 s of wearing are left, then 30 + 420 + 120 s.
	if day.NextFree != now.Add(810*time.Second).Format(time.RFC3339) {
		t.Errorf("next free %s", day.NextFree)
	}
}
