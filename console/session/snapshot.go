// SPDX-License-Identifier: Apache-2.0

package session

import (
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/shown"
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
		Speed: s.cfg.Clock.Speed(), Sound: s.cfg.Player.Health(), Storage: s.storage(), Parked: []wire.Run{},
		Inputs: wire.Inputs{
			Board: s.cfg.BoardName, Supervised: s.supervised(), Lost: s.lost,
			Squeeze: s.levels[device.Squeeze], Step: s.levels[device.Step],
			Report:  s.levels[device.Taste] || s.levels[device.TasteNO],
			Missing: s.missing(), Lines: s.lines(now), Check: s.inputs.checkState(), Latency: s.inputs.latencyState(), Learn: string(s.inputs.learning), Learned: s.inputs.said, Bulb: s.bulbState(now),
		},
	}
	s.dialed(&w)
	wall, quality := s.cfg.Wall.Now()
	w.Clock = wire.Clock{Wall: wall.Format(time.RFC3339), Quality: string(quality), Trusted: quality.Trusted(), Steps: s.cfg.Wall.Steps()}
	for _, r := range s.all() {
		if len(r.pending) > 0 {
			w.LagMS = max(w.LagMS, s.cfg.Clock.Real(now-r.oldest).Milliseconds())
		}
	}
	for _, r := range s.parked {
		w.Parked = append(w.Parked, *s.show(r))
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
	w.Inputs.Noise = s.engine.Noise()
	if s.actor != nil {
		w.Inputs.Supervised, w.Inputs.Report, w.Inputs.Cable = true, s.button.down && !s.button.out, ""
		if !s.engine.Panel().Sound() {
			w.Inputs.Cable = string(procedure.CableOpen) // no deed shorts it
		}
	}
	w.Run = s.show(s.openRun)
	return w
}

func (s *Session) cableWord() string {
	if s.levels[device.TasteNO] {
		return string(procedure.CableShort)
	}
	return string(procedure.CableOpen)
}

// show is a run as a tester's page sees it.
func (s *Session) show(r *openRun) *wire.Run {
	st := r.engine.State()
	out := shown.Run(st, r.engine.Now())
	out.WearerLanguage, out.Uncleared = r.language, r.uncleared
	if a, ok := r.actor.(Asker); ok {
		out.Drill.Asks = a.Asks(st)
	}
	if st.Verdict == nil {
		out.Code = r.code
	}
	s.verdict(out, r, st)
	return out
}

// verdict fills in what was decided, once it is on disk. A verdict that cannot
// be saved is no verdict: the run is not valid.
func (s *Session) verdict(out *wire.Run, r *openRun, st procedure.State) {
	if st.Verdict == nil {
		return
	}
	v := r.durable.Verdict
	undone := v != nil && v.Outcome != st.Verdict.Outcome // which is being written
	if v == nil || undone || s.failed != "" && len(r.pending) > 0 {
		if s.failed == "" {
			out.Ending = true
			out.Stage = procedure.Over
			return
		}
		v = &procedure.Ended{Outcome: procedure.NotValid, Reason: procedure.JournalFailed}
	}
	out.Verdict = shown.Verdict(*v, r.durable, next(st, v.Outcome))
}

// next is what may follow, with the fails of this sitting in mind.
func next(st procedure.State, o procedure.Outcome) string {
	if o == procedure.Fail {
		return procedure.NextAfterFails(st.Opened.Rules, max(1, st.Opened.Try))
	}
	return procedure.Next(st.Opened.Rules, o)
}
