// SPDX-License-Identifier: Apache-2.0

// Package shown says what pages show of a run at an instant, from its state
// alone, so that a run looks the same live and in a review of it. It is pure. It
// must not know who watches, nor what is on disk.
package shown

import (
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/wire"
)

func millis(d time.Duration) int64 { return d.Milliseconds() }

// Run is a run at an instant of the board's clock, without its verdict: whether
// that stands depends on more than the state.
func Run(st procedure.State, now time.Duration) *wire.Run {
	o, r := st.Opened, st.Opened.Rules
	out := &wire.Run{
		Run: o.Run, Stage: st.Stage, StageMS: millis(now - st.Since), Wearer: o.Wearer.Name,
		Facepiece: o.Facepiece.Make + " " + o.Facepiece.Model + ", " + o.Facepiece.Size, Agent: o.Agent, Rules: r.Short,
		Prevails: r.Prevails, Tester: o.Tester, Practice: o.Practice, Questions: []wire.Question{}, Blocked: st.Blocked(now),
		Screening: wire.Screening{Squeezes: len(st.Screening), Counted: st.Counted(), Most: int(r.Figures.ScreeningMost.Value), Bin: st.Bin},
		TopUps:    []wire.Dose{}, LengthMS: millis(r.Length()), ExerciseMS: millis(r.Figures.Exercise.Duration()), Exercise: -1,
		SqueezesMS: []int64{}, HalfLifeMS: 30000, Notes: []wire.Note{}, Faults: []string{},
	}
	for _, q := range r.Before {
		yes, answered := st.Answer(q.ID)
		out.Questions = append(out.Questions, wire.Question{ID: q.ID, Answered: answered, Yes: yes})
	}
	for _, e := range r.Exercises {
		out.Exercises = append(out.Exercises, e.ID)
	}
	for _, n := range st.Notes {
		out.Notes = append(out.Notes, wire.Note{What: n.What, Why: n.Why, AgoMS: millis(now - n.At)})
	}
	for _, f := range st.Faults {
		text := f.What
		if f.Detail != "" {
			text += ": " + f.Detail
		}
		out.Faults = append(out.Faults, text)
	}
	if n := st.NameSaid; n != nil {
		out.NameSaid = map[bool]string{true: "yes", false: "no"}[n.Yes]
	}
	if o.Drill != nil {
		out.Drill = &wire.Drill{Said: []wire.DrillLine{}}
		for _, x := range st.Did {
			out.Drill.Said = append(out.Drill.Said, wire.DrillLine{AtMS: millis(x.At - st.OpenedAt), What: x.What, Text: x.Text})
		}
	}
	out.Kit = kitOf(st)
	wait(out, st, now)
	doses(out, st, now)
	return out
}

// kitOf is the nebuliser that is asked for now.
func kitOf(st procedure.State) *wire.Kit {
	if !st.Opened.Kit {
		return nil
	}
	k := &wire.Kit{Role: procedure.Weak}
	switch st.Stage {
	case procedure.Ready:
	case procedure.Clearing, procedure.Donning:
		k.Role = procedure.Strong
	default:
		return nil
	}
	for _, t := range st.Took[st.KitFrom:] {
		if t.Role == k.Role {
			k.Mark, k.Lot = t.Mark, t.Lot
		}
	}
	return k
}

// wait fills in the wait of the stage.
func wait(out *wire.Run, st procedure.State, now time.Duration) {
	r := st.Opened.Rules
	var from, need time.Duration
	switch st.Stage {
	case procedure.Ready:
		since, said := st.Water(now)
		if !said {
			return
		}
		from, need = since, r.Figures.Abstinence.Duration()
	case procedure.Donning:
		from, need = st.Since, r.Figures.Wear.Duration()
	case procedure.Screening:
		n := len(st.Screening)
		if n < int(r.Figures.ScreeningMost.Value) {
			return
		}
		from, need = st.Screening[n-1], r.Figures.FullExposureFor.Duration()
	case procedure.ProvingButton:
		from, need = *st.Clock+r.Length(), r.House.ButtonProof.Duration()
	default:
		return
	}
	out.WaitMS, out.NeedMS = millis(max(0, from+need-now)), millis(need)
}

func doses(out *wire.Run, st procedure.State, now time.Duration) {
	r := st.Opened.Rules
	if st.Initial.Required > 0 {
		d := dose(st.Initial, 0)
		if st.Initial.Hurried {
			d.Remarks = append(d.Remarks, "hurried")
		}
		out.Initial = &d
		if st.Stage == procedure.Dosing {
			out.Dose, out.NoAdd = &d, noAdd(st.Initial)
		}
	}
	if st.Bin > 0 {
		for n := 1; n <= r.TopUps(); n++ {
			d := dose(st.TopUp(n), n)
			open, shut := r.Window(n)
			d.DueMS, d.OpenMS, d.ShutMS = millis(r.Due(n)), millis(open), millis(shut)
			d.Remarks = record.Remarks(st, n)
			out.TopUps = append(out.TopUps, d)
		}
	}
	if st.Clock == nil {
		return
	}
	end := now
	if st.Verdict != nil {
		end = st.Verdict.At
	}
	t := min(end-*st.Clock, r.Length())
	ms := millis(t)
	out.RunMS, out.Ticking = &ms, st.Stage == procedure.Running
	if out.Ticking {
		out.Exercise = r.ExerciseAt(t)
		if n := r.WindowAt(t); n > 0 {
			d := out.TopUps[n-1]
			out.Dose, out.NoAdd = &d, noAdd(st.TopUp(n))
		}
	}
	for _, q := range st.Squeezes() {
		out.SqueezesMS = append(out.SqueezesMS, millis(q))
	}
}

// noAdd is why no squeeze may be added to a dose by hand as long as it is short.
func noAdd(d procedure.Dose) procedure.Why {
	if d.Left() > 0 && d.HalfByHand() {
		return procedure.WhyHalfByHand
	}
	return ""
}

func dose(d procedure.Dose, n int) wire.Dose {
	return wire.Dose{N: n, Required: d.Required, Given: len(d.Given), Extra: len(d.Extra), Doubtful: d.Doubtful, Remarks: []string{}}
}

// Verdict is what pages show of a verdict, of what came of the proof after it in
// a state, and of what may follow.
func Verdict(v procedure.Ended, st procedure.State, next string) *wire.Verdict {
	out := &wire.Verdict{Outcome: v.Outcome, Reason: v.Reason, Next: next}
	if st.Stage != procedure.ProvingMist { // while it is being made, nobody was to answer yet
		out.Proof = record.Proof(st)
	}
	if l := st.ProofLeft; l != nil {
		out.Proof = l.Why
	}
	return out
}
