// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"slices"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
)

// run takes in a run that has ended, with what came after its end.
func (c *change) run(r Run) error {
	var known Run
	found, err := c.get(tableRuns, r.Run, &known)
	if err != nil {
		return err
	}
	if found {
		r.Ended, r.Recalled, r.Recall, r.Signed, r.Amended = known.Ended, known.Recalled, known.Recall, known.Signed, known.Amended
		for i := range r.Signed {
			r.Signed[i].Holds = r.Signed[i].Record == r.Hash
		}
		if r.Recalled != "" {
			// What the run itself says after that takes nothing of the recall back.
			r.Outcome, r.Reason, r.First = procedure.NotValid, procedure.MistCheckFailed, known.First
		}
		err := c.put(tableRuns, r.Run, r)
		if err != nil || r.Outcome == known.Outcome && r.First == known.First {
			return err // it comes to what it came to before
		}
		return c.reckon(r.Person)
	}
	if err := c.judge(&r); err != nil {
		return err
	}
	if err := c.put(tableRuns, r.Run, r); err != nil {
		return err
	}
	c.mark(tableRunsAt, key(utc(r.At), r.Run))
	c.addRun(r.Person, r.Run)
	c.keeps.run(r)
	if err := c.used(r); err != nil {
		return err
	}
	if err := c.runSeen(r); err != nil {
		return err
	}
	// It is the person's last run, so what came before needs no second look.
	var p Person
	found, err = c.get(tablePeople, r.Person, &p)
	if err != nil || !found {
		return err // nobody of the list, or erased
	}
	c.unlist(p, p.words())
	p.met(r)
	return c.list(p, p.words())
}

// judge recalls a run whose kit did not last: what was found out while it was
// under way no sweep has seen, and a good check afterwards says nothing of it.
func (c *change) judge(r *Run) error {
	if r.Practice || r.Outcome == procedure.NotValid {
		return nil
	}
	s, err := c.spoilt(*r)
	if err != nil || s == nil {
		return err
	}
	return c.lose(r, *s)
}

// lose makes a run not valid for a spoil, and notes that the journal does not say
// so yet. The caller keeps the run.
func (c *change) lose(r *Run, s spoil) error {
	r.Outcome, r.Reason, r.Recalled = procedure.NotValid, procedure.MistCheckFailed, s.Why
	r.Recall = &Recall{At: s.At, By: s.By}
	return c.put(tableOwed, r.Run, RunsRecalled{Nebuliser: s.nebuliser, Runs: []string{r.Run}, Reason: s.Why, By: s.By})
}

// used notes with which nebulisers a run was made. Practice tells nothing: its
// squeezes may have given no mist.
func (c *change) used(r Run) error {
	if r.Practice {
		return nil
	}
	for _, u := range r.uses {
		if u.batch != "" {
			c.mark(tableBatches, usedKey(u.batch, r.Ended, r.Run))
		}
	}
	for _, id := range r.Nebulisers {
		c.mark(tableUsed, usedKey(id, r.Ended, r.Run))
		var n Nebuliser
		found, err := c.get(tableNebulisers, id, &n)
		if err != nil {
			return err
		}
		if !found {
			continue
		}
		n.UsedNumber = r.Ended
		if n.Role == procedure.Weak {
			n.Squeezes += r.Screening
		} else {
			n.Squeezes += r.Squeezes
		}
		if err := c.put(tableNebulisers, id, n); err != nil {
			return err
		}
	}
	return nil
}

// utc brings an instant into a form that sorts.
func utc(instant string) string {
	t, err := time.Parse(time.RFC3339, instant)
	if err != nil {
		return instant
	}
	return t.UTC().Format("2006-01-02T15:04:05Z")
}

// recall makes a run not valid in the views.
func (c *change) recall(run string, f RunsRecalled) error {
	if owed, err := c.row(tableOwed, run); err != nil {
		return err
	} else if owed.value != nil {
		c.drop(tableOwed, run)
	}
	var r Run
	found, err := c.get(tableRuns, run, &r)
	if err != nil || !found {
		return err
	}
	r.Outcome, r.Reason, r.Recalled = procedure.NotValid, procedure.MistCheckFailed, f.Reason
	r.Recall = &Recall{At: f.At, Quality: f.Quality, By: f.By}
	if err := c.put(tableRuns, run, r); err != nil {
		return err
	}
	return c.reckon(r.Person)
}

// reckon works out anew what a person's runs come to.
func (c *change) reckon(person string) error {
	var p Person
	found, err := c.get(tablePeople, person, &p)
	if err != nil || !found {
		return err // nobody of the list, or erased
	}
	runs, err := c.runsOf(person)
	if err != nil {
		return err
	}
	c.unlist(p, p.words())
	p.Tested, p.Fails, p.Recalled = []Tested{}, map[string]int{}, nil
	for _, r := range runs {
		p.met(r)
	}
	return c.list(p, p.words())
}

// met folds a person's next run into what the person's runs come to.
func (p *Person) met(r Run) {
	if r.Practice {
		return
	}
	undo := func() {
		p.Tested = slices.DeleteFunc(p.Tested, func(t Tested) bool { return t.Facepiece == r.Facepiece })
		p.Recalled = slices.DeleteFunc(p.Recalled, func(f string) bool { return f == r.Facepiece })
	}
	if p.Fails == nil {
		p.Fails = map[string]int{}
	}
	switch {
	case r.Recalled != "" && (r.First == procedure.Pass || r.First == procedure.Fail):
		// The person has to come back, whatever an older pass said; and a fail
		// with too little mist speaks against the fit all the more.
		undo()
		p.Recalled = append(p.Recalled, r.Facepiece)
	case r.Outcome == procedure.Pass:
		undo()
		p.Tested = append(p.Tested, Tested{
			Facepiece: r.Facepiece, Make: r.Make, Model: r.Model, Style: r.Style, Size: r.Size, Type: r.Type, FitFactor: r.FitFactor, Run: r.Run, On: dayOf(r.At), Rules: r.Rules,
			Trusted: trusted(r.Quality), Number: r.Ended,
		})
		delete(p.Fails, r.Facepiece)
	case r.Outcome == procedure.Fail:
		// A later fail is evidence against the fit that an earlier pass showed.
		undo()
		p.Fails[r.Facepiece]++
	}
}

// lastDay is the day on which a run was over, as far as its stages say; empty
// when its opening has no instant.
func (r Run) lastDay() string {
	at, err := time.Parse(time.RFC3339, r.At)
	if err != nil {
		return ""
	}
	for _, s := range r.StagesS {
		at = at.Add(time.Duration(s) * time.Second)
	}
	return at.Format(time.DateOnly)
}

// dayOf is the day of an instant where it was written.
func dayOf(instant string) string {
	if len(instant) > len(time.DateOnly) {
		return instant[:len(time.DateOnly)]
	}
	return instant
}

// lineOf is a run as a list shows it, from its own facts; number and hash are
// those of its last entry.
func lineOf(st procedure.State, number uint64, hash string) Run {
	o := st.Opened
	r := Run{
		Run: o.Run, Person: o.Wearer.ID, Facepiece: o.Facepiece.ID, Make: o.Facepiece.Make, Model: o.Facepiece.Model, Style: o.Facepiece.Style, Size: o.Facepiece.Size, Type: string(o.Facepiece.Type), FitFactor: o.Facepiece.FitFactor,
		Rules: o.Rules.ID, Agent: o.Agent, Tester: o.Tester, At: o.Wall, Quality: o.WallQuality, Practice: o.Practice != "",
		Bin: st.Bin, Screening: len(st.Screening), Squeezes: st.Total(), StagesS: map[string]int{}, Nebulisers: []string{},
		Number: number, Hash: hash, Signed: []Signature{}, Amended: []RunAmended{},
	}
	if o.Hood != nil {
		r.Hood, r.Oversized = o.Hood.ID, o.Hood.Oversized
	}
	if rec, err := record.Of(st); err == nil {
		r.Outcome, r.Reason, r.First = rec.Outcome, rec.Reason, rec.Outcome
		if rec.Fit != nil {
			for _, t := range rec.Fit.TopUps {
				for _, m := range t.Remarks {
					switch m {
					case "late":
						r.Late++
					case "hurried":
						r.Hurried++
					case "extra":
						r.Extra++
					}
				}
			}
		}
	}
	for _, s := range st.Spent {
		r.StagesS[string(s.Stage)] += int(s.For.Round(time.Second).Seconds())
	}
	for _, t := range st.Took {
		if !slices.Contains(r.Nebulisers, t.ID) {
			r.Nebulisers = append(r.Nebulisers, t.ID)
		}
	}
	return r
}
