// SPDX-License-Identifier: Apache-2.0

package session

import (
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/wire"
	"tallyhood/device"
)

// publish gives the present snapshot away.
func (s *Session) publish() {
	s.number++
	s.cfg.Publish(s.snapshot())
}

func (s *Session) snapshot() wire.Snapshot {
	now := s.cfg.Clock.Now()
	w := wire.Snapshot{
		Type: "snapshot", Number: s.number, Fence: s.fence, Driver: s.driver, Practice: s.cfg.Practice,
		Speed: s.cfg.Clock.Speed(), Sound: s.cfg.Player.Health(), Storage: s.failed,
		Inputs: wire.Inputs{
			Board: s.cfg.BoardName, Supervised: s.supervised(), Lost: s.lost,
			Squeeze: s.levels[device.Squeeze], Step: s.levels[device.Step],
			Report:  s.levels[device.Taste] || s.levels[device.TasteNO],
			Missing: s.missing(), Lines: s.lines(now), Check: s.inputs.checkState(), Latency: s.inputs.latencyState(), Learn: string(s.inputs.learning), Learned: s.inputs.said,
		},
	}
	wall, quality := s.cfg.Wall.Now()
	w.Clock = wire.Clock{Wall: wall.Format(time.RFC3339), Quality: string(quality), Trusted: quality.Trusted(), Steps: s.cfg.Wall.Steps()}
	if len(s.pending) > 0 {
		w.LagMS = s.cfg.Clock.Real(now - s.oldest).Milliseconds()
	}
	if !s.panel.Sound() {
		w.Inputs.Cable = s.cableWord() // also after a verdict, which the run no longer looks beyond
	}
	if s.engine == nil {
		w.Inputs.Noise = s.panel.Noise()
		return w
	}
	st := s.engine.State()
	w.Practice = st.Opened.Practice
	w.Inputs.Noise = s.engine.Panel().Noise()
	w.Run = s.run(st, s.engine.Now())
	return w
}

func (s *Session) cableWord() string {
	if s.levels[device.TasteNO] {
		return string(procedure.CableShort)
	}
	return string(procedure.CableOpen)
}

func millis(d time.Duration) int64 { return d.Milliseconds() }

func (s *Session) run(st procedure.State, now time.Duration) *wire.Run {
	o, r := st.Opened, st.Opened.Rules
	out := &wire.Run{
		Run: o.Run, Stage: st.Stage, StageMS: millis(now - st.Since), Wearer: o.Wearer.Name,
		Facepiece: o.Facepiece.Make + " " + o.Facepiece.Model + ", " + o.Facepiece.Size, Agent: o.Agent, Rules: r.Short,
		Prevails: r.Prevails, Tester: o.Tester, Questions: []wire.Question{}, Blocked: st.Blocked(now),
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
	out.Kit = kitOf(st)
	s.wait(out, st, now)
	s.doses(out, st, now)
	s.verdict(out, st)
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
	for _, t := range st.Took {
		if t.Role == k.Role {
			k.Mark, k.Lot = t.Mark, t.Lot
		}
	}
	return k
}

// wait fills in the wait of the stage.
func (s *Session) wait(out *wire.Run, st procedure.State, now time.Duration) {
	r := st.Opened.Rules
	var from, need time.Duration
	switch st.Stage {
	case procedure.Ready:
		if st.Abstained == nil {
			return
		}
		from, need = *st.Abstained, r.Figures.Abstinence.Duration()
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

func (s *Session) doses(out *wire.Run, st procedure.State, now time.Duration) {
	r := st.Opened.Rules
	if st.Initial.Required > 0 {
		d := dose(st.Initial, 0)
		if st.Initial.Hurried {
			d.Remarks = append(d.Remarks, "hurried")
		}
		out.Initial = &d
		if st.Stage == procedure.Dosing {
			out.Dose = &d
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
			out.Dose = &d
		}
	}
	for _, q := range st.Squeezes() {
		out.SqueezesMS = append(out.SqueezesMS, millis(q))
	}
}

func dose(d procedure.Dose, n int) wire.Dose {
	return wire.Dose{N: n, Required: d.Required, Given: len(d.Given), Extra: len(d.Extra), Doubtful: d.Doubtful, Remarks: []string{}}
}

// verdict fills in what was decided, once it is on disk. A verdict that cannot
// be saved is no verdict: the run is not valid.
func (s *Session) verdict(out *wire.Run, st procedure.State) {
	if st.Verdict == nil {
		return
	}
	v := s.durable.Verdict
	if v == nil || s.failed != "" && len(s.pending) > 0 {
		if s.failed == "" {
			out.Ending = true
			out.Stage = procedure.Over
			return
		}
		v = &procedure.Ended{Outcome: procedure.NotValid, Reason: procedure.JournalFailed}
	}
	out.Verdict = &wire.Verdict{Outcome: v.Outcome, Reason: v.Reason, Next: s.next(st, v.Outcome)}
	if p := s.durable.Proof; p != nil {
		out.Verdict.Proof = "not_tasted"
		if p.Tasted {
			out.Verdict.Proof = "tasted"
		}
	}
}

// next is what may follow, with the fails of this sitting in mind.
func (s *Session) next(st procedure.State, o procedure.Outcome) string {
	if o == procedure.Fail {
		return procedure.NextAfterFails(st.Opened.Rules, s.fails[sitting(st)])
	}
	return procedure.Next(st.Opened.Rules, o)
}

// sitting names a wearer with a facepiece.
func sitting(st procedure.State) string { return st.Opened.Wearer.ID + " " + st.Opened.Facepiece.ID }
