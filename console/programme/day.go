// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"time"

	"tallyhood/console/procedure"
)

// An OpenRun is a run that is under way, as the session knows it.
type OpenRun struct {
	Run    string
	Person string
	Stage  procedure.Stage
	Since  time.Time // when the stage began
	Parked bool      // it waits between two steps
}

// DayOptions is what the list of a day depends on besides the facts.
type DayOptions struct {
	Now        time.Time
	From       time.Time // when the first person may come; zero or past: now
	Within     int       // days ahead in which whoever is due is expected
	Limit      int       // of people who are expected since they are due; 0: 100
	Hoods      int       // 0: the policy's, or one
	Open       []OpenRun
	LastBackup time.Time // zero: there was none
}

// A Day is who is expected, in order, and what is to be done at its end.
type Day struct {
	Day      string     `json:"day"`
	Expected []Expected `json:"expected"`
	Waiting  int        `json:"waiting"`
	More     bool       `json:"more"`      // more people are due than are listed
	NextFree string     `json:"next_free"` // instant at which the next person can begin
	Steps    []StepTime `json:"steps"`
	EndOfDay []Task     `json:"end_of_day"`
}

// The states of somebody who is expected.
const (
	DayWaiting = "waiting"
	DayInTest  = "in_test"
	DayAgain   = "again" // had a run today and needs another
	DayDone    = "done"
)

// An Expected is a person on a day.
type Expected struct {
	Person     string            `json:"person"`
	Name       string            `json:"name"`
	Number     string            `json:"number"`
	Listed     bool              `json:"listed"` // put on the list, not only due
	Place      int               `json:"place"`
	Due        []Due             `json:"due"`
	State      string            `json:"state"`
	Stage      procedure.Stage   `json:"stage"` // of the run under way
	Run        string            `json:"run"`   // the last one of the day
	Outcome    procedure.Outcome `json:"outcome"`
	SlotAt     string            `json:"slot_at"`      // reckoned beginning; empty for those who are done
	StopEating string            `json:"stop_eating"`  // from then on nothing but water
	AbstainS   int               `json:"abstain_s"`    // as the rule set asks
	AbstainWhy string            `json:"abstain_rule"` // where that stands
	rules      string

	AbstainRules string `json:"-"` // id of that rule set
}

// A Task is something to do at the end of the day.
type Task struct {
	What string `json:"what"` // rinse, mist_check, call_back or back_up
	ID   string `json:"id"`   // nebuliser or person
	Name string `json:"name"` // its mark or the person's name
}

// Day gives the list of a day (2006-01-02).
func (d *Desk) Day(ctx context.Context, on string, o DayOptions) (Day, error) {
	day, err := time.Parse(time.DateOnly, on)
	if err != nil {
		return Day{}, refuse("day", "%q is no day such as 2026-09-14", on)
	}
	out := Day{Day: on, Expected: []Expected{}, EndOfDay: []Task{}}
	policy, err := d.Policy(ctx)
	if err != nil {
		return Day{}, err
	}
	if err := d.expected(ctx, &out, day, o); err != nil {
		return Day{}, err
	}
	runs, err := d.runsOn(ctx, day)
	if err != nil {
		return Day{}, err
	}
	recent, err := d.Recent(ctx, o.Now)
	if err != nil {
		return Day{}, err
	}
	out.Steps, _ = times(d.rulesOf("", policy), recent)
	d.states(&out, runs, o)
	d.slots(&out, policy, o)
	return out, d.endOfDay(ctx, &out, runs, o)
}

func (d *Desk) rulesOf(rules string, policy Policy) procedure.RuleSet {
	if r, ok := d.cfg.Rules[first(rules, policy.Rules)]; ok {
		return r
	}
	// Without any word the one that asks for the longest wait, so that nobody
	// comes too early after a meal.
	var strict procedure.RuleSet
	for _, r := range d.cfg.Rules {
		if r.Figures.Abstinence.Value > strict.Figures.Abstinence.Value || r.Figures.Abstinence.Value == strict.Figures.Abstinence.Value && r.ID < strict.ID {
			strict = r
		}
	}
	return strict
}

// expected finds who is on the list, and after them who is due.
func (d *Desk) expected(ctx context.Context, out *Day, day time.Time, o DayOptions) error {
	on := day.Format(time.DateOnly)
	var listed []Listed
	err := d.cfg.Store.Table(tableDay).Range(ctx, on+between, "", mostKit, func(_ string, value []byte) error {
		var l Listed
		err := json.Unmarshal(value, &l)
		listed = append(listed, l)
		return err
	})
	if err != nil {
		return err
	}
	slices.SortFunc(listed, func(a, b Listed) int { // those without a place come last
		return cmp.Or(cmp.Compare(uint(a.Place)-1, uint(b.Place)-1), cmp.Compare(a.Number, b.Number))
	})
	seen := map[string]bool{}
	var ids []string
	for _, l := range listed {
		seen[l.Person] = true
		ids = append(ids, l.Person)
	}
	if ids, out.More, err = d.dueToo(ctx, ids, seen, day, o); err != nil {
		return err
	}
	people, err := d.Those(ctx, ids)
	for i, id := range ids {
		p, there := people[id]
		if !there {
			continue // erased meanwhile
		}
		e := Expected{Person: id, Name: p.Name, Number: p.Number, Due: p.Due, rules: p.Rules}
		if i < len(listed) {
			e.Listed, e.Place = true, listed[i].Place
		}
		out.Expected = append(out.Expected, e)
	}
	return err
}

// dueToo adds to some people those who are due, and says whether there are more.
func (d *Desk) dueToo(ctx context.Context, ids []string, seen map[string]bool, day time.Time, o DayOptions) (_ []string, more bool, err error) {
	limit := o.Limit
	if limit == 0 {
		limit = 100
	}
	until := day.AddDate(0, 0, o.Within).Format(time.DateOnly)
	after, found := "", 0
	for {
		due, next, err := d.DuePage(ctx, until, after, findStep)
		if err != nil {
			return ids, false, err
		}
		for _, x := range due {
			if seen[x.Person] {
				continue
			}
			if found == limit {
				return ids, true, nil
			}
			found++
			seen[x.Person] = true
			ids = append(ids, x.Person)
		}
		if next == "" {
			return ids, false, nil
		}
		after = next
	}
}

// Local time is behind that of UTC by 12 hours at the most, and ahead by 14.
const (
	mostBehind = 12 * time.Hour
	mostAhead  = 14 * time.Hour
)

// runsOn gives the runs of a day, oldest first, practice left out.
func (d *Desk) runsOn(ctx context.Context, day time.Time) ([]Run, error) {
	var out []Run
	on := day.Format(time.DateOnly)
	// Instants sort in UTC, a day is one of where they were written.
	from, until := day.Add(-mostAhead).Format(time.RFC3339), day.AddDate(0, 0, 1).Add(mostBehind+time.Second).Format(time.RFC3339)
	err := d.runsUntil(ctx, from, until, func(r Run) error {
		if dayOf(r.At) == on && !r.Practice {
			out = append(out, r)
		}
		return nil
	})
	return out, err
}

// states says where each person stands.
func (d *Desk) states(out *Day, runs []Run, o DayOptions) {
	for i := range out.Expected {
		e := &out.Expected[i]
		e.State = DayWaiting
		for _, r := range runs {
			if r.Person == e.Person {
				e.Run, e.Outcome = r.Run, r.Outcome
			}
		}
		owed := slices.ContainsFunc(e.Due, func(x Due) bool { return x.On <= out.Day && x.Why != "gone" && x.Why != "not_allowed" })
		open := slices.IndexFunc(o.Open, func(r OpenRun) bool { return r.Person == e.Person })
		switch {
		case open >= 0:
			e.State, e.Stage, e.Run, e.Outcome = DayInTest, o.Open[open].Stage, o.Open[open].Run, ""
		case e.Outcome == procedure.CannotTaste, e.Outcome == procedure.Pass && !owed:
			e.State = DayDone
		case e.Outcome != "":
			e.State = DayAgain
		}
		if e.State == DayWaiting || e.State == DayAgain {
			out.Waiting++
		}
	}
}

// slots reckons when each who waits can begin, and from when on that person
// takes nothing but water. Times are medians, so it is a promise to nobody.
func (d *Desk) slots(out *Day, policy Policy, o DayOptions) {
	l := lasting{steps: map[string]time.Duration{}, fit: true}
	for _, s := range out.Steps {
		l.steps[s.Step] = time.Duration(s.Seconds) * time.Second
	}
	free := o.Now
	for _, r := range o.Open {
		free = free.Add(l.left(r.Stage, o.Now.Sub(r.Since))) // also of those that wait: the hood is theirs before anybody else's
	}
	out.NextFree = free.Format(time.RFC3339)
	if o.From.After(free) {
		free = o.From
	}
	hoods := max(1, o.Hoods)
	if o.Hoods == 0 {
		hoods = max(1, policy.Hoods)
	}
	begins, _ := simulate(out.Waiting, hoods, 0, func() lasting { return l })
	n := 0
	for i := range out.Expected {
		e := &out.Expected[i]
		if e.State != DayWaiting && e.State != DayAgain {
			continue
		}
		slot := free.Add(begins[n])
		n++
		r := d.rulesOf(e.rules, policy)
		e.AbstainS, e.AbstainWhy, e.AbstainRules = int(r.Figures.Abstinence.Value), r.Figures.Abstinence.Source, r.ID
		e.SlotAt = slot.Format(time.RFC3339)
		// Rounded to the minute before: longer, never shorter.
		e.StopEating = slot.Add(-r.Figures.Abstinence.Duration()).Truncate(time.Minute).Format(time.RFC3339)
	}
}

// left is how long a test still takes that is in a stage for a while.
func (l lasting) left(stage procedure.Stage, for_ time.Duration) time.Duration {
	step := string(stage)
	switch stage {
	case procedure.ProvingButton:
		step = stepRunning
	case procedure.ProvingMist, procedure.Over:
		step = stepAfter
	}
	at := slices.Index(planSteps, step)
	if at < 0 {
		return 0
	}
	sum := max(0, l.steps[step]-max(0, for_))
	for _, s := range planSteps[at+1:] {
		sum += l.steps[s]
	}
	return sum
}

// endOfDay says what is to be done before going home.
func (d *Desk) endOfDay(ctx context.Context, out *Day, runs []Run, o DayOptions) error {
	nebulisers, err := d.Nebulisers(ctx)
	if err != nil {
		return err
	}
	for _, n := range nebulisers {
		if n.Gone {
			continue
		}
		used := slices.ContainsFunc(runs, func(r Run) bool { return slices.Contains(r.Nebulisers, n.ID) })
		if n.UsedNumber > n.GoodNumber { // also one of an earlier day that was forgotten
			out.EndOfDay = append(out.EndOfDay, Task{"mist_check", n.ID, n.Mark})
		}
		if used || n.Filled != "" && dayOf(n.Filled) == out.Day {
			out.EndOfDay = append(out.EndOfDay, Task{"rinse", n.ID, n.Mark})
		}
	}
	back, err := d.CallBack(ctx, mostKit)
	if err != nil {
		return err
	}
	var ids []string
	for _, x := range back {
		ids = append(ids, x.Person)
	}
	people, err := d.Those(ctx, ids)
	if err != nil {
		return err
	}
	for _, id := range ids {
		if p, there := people[id]; there {
			out.EndOfDay = append(out.EndOfDay, Task{"call_back", p.ID, first(p.Name, p.Number)})
			delete(people, id) // once, whatever number of facepieces it is about
		}
	}
	if slices.ContainsFunc(runs, func(r Run) bool { return utc(r.At) > o.LastBackup.UTC().Format("2006-01-02T15:04:05Z") }) {
		out.EndOfDay = append(out.EndOfDay, Task{What: "back_up"})
	}
	return nil
}
