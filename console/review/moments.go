// SPDX-License-Identifier: Apache-2.0

package review

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
)

// moments keeps what a fact is worth looking at for.
func (m *maker) moments(before procedure.State, d procedure.Dated) {
	at := m.ms(d.At)
	add := func(kind, key string, topUp int, text string) {
		m.out.Moments = append(m.out.Moments, Moment{AtMS: at, Kind: kind, Key: key, TopUp: topUp, Text: text})
	}
	by := func(who, kind, key string, topUp int, text string) {
		m.out.Moments = append(m.out.Moments, Moment{at, kind, key, topUp, text, who})
	}
	m.remarks(record.OnRun(before), at)
	if m.st.Initial.Hurried && !before.Initial.Hurried {
		add("hurried", string(procedure.PartInitial), 0, "")
	}
	if n := topUpOf(d.Fact); n > 0 {
		had := record.Remarks(before, n)
		for _, r := range record.Remarks(m.st, n) {
			if !slices.Contains(had, r) {
				add(r, string(procedure.PartTopUp), n, "")
			}
		}
	}
	switch f := d.Fact.(type) {
	case procedure.SqueezedExtra:
		if f.TopUp == 0 {
			add("extra", "", 0, "")
		}
	case procedure.SqueezeDoubted:
		add("doubtful", string(f.Part), 0, "")
	case procedure.Ignored:
		add("ignored", string(f.Why), 0, "")
	case procedure.Faulted:
		add("fault", f.What, 0, f.Detail)
	case procedure.KitSpoiled:
		add("fault", "nebuliser_spoiled", 0, f.Mark)
	case procedure.Healed:
		add("healed", "", 0, "")
	case procedure.Corrected:
		kind := "added"
		if f.Delta < 0 {
			kind = "taken_back"
		}
		by(f.By, kind, string(f.Part), f.TopUp, f.Reason)
	case procedure.NameSaid:
		by(f.By, "name_said", map[bool]string{true: "yes", false: "no"}[f.Yes], 0, "")
	case procedure.RunParked:
		add("parked", "", 0, "")
	case procedure.RunTakenUp:
		add("taken_up", "", 0, "")
	case procedure.WearerDid:
		add("wearer_did", f.What, 0, f.Text)
	case procedure.Ended:
		add("verdict", string(f.Outcome), 0, "")
	case procedure.ProofGiven:
		key := "not_tasted"
		if f.Tasted {
			key = "tasted"
		}
		by(f.By, "proof", key, 0, "")
	case procedure.ProofLeft:
		by(f.By, "proof", f.Why, 0, "")
	}
}

// remarks keeps those on the run as a whole that are new at an instant.
func (m *maker) remarks(had []string, at int64) {
	for _, r := range record.OnRun(m.st) {
		if !slices.Contains(had, r) {
			m.out.Moments = append(m.out.Moments, Moment{AtMS: at, Kind: "remark", Key: r})
		}
	}
}

// topUpOf is the top-up that a fact is about; 0 for none.
func topUpOf(f procedure.Fact) int {
	switch f := f.(type) {
	case procedure.Squeezed:
		return f.TopUp
	case procedure.SqueezedExtra:
		return f.TopUp
	case procedure.Corrected:
		return f.TopUp
	}
	return 0
}

// A Cue is a tone of the box and when it began to sound.
type Cue struct {
	AtMS int64         `json:"at_ms"`
	Cue  procedure.Cue `json:"cue"`
}

func (m *maker) cue(at time.Duration, c procedure.Cue) {
	m.out.Cues = append(m.out.Cues, Cue{m.ms(at), c})
}

// ticks asks the procedure itself what it ordered by the clock up to an instant:
// tones that stand in no fact, since they follow from the rules. A tick at the
// very instant of a fact comes before it. The facts that such a tick gives are
// among the run's own.
func (m *maker) ticks(to time.Duration) {
	st := m.st
	for {
		at, ok := st.Wake()
		if !ok || at > to || st.Verdict != nil {
			break
		}
		_, orders := procedure.Decide(st, procedure.Input{At: at, Do: procedure.DoTick})
		for _, o := range orders {
			if o.At > 0 && !o.Drop {
				m.ahead = append(m.ahead, o)
			}
		}
		st = st.Reach(at)
	}
	m.st = st
}

// sound keeps the tone that came with a fact, as procedure.Decide orders them.
func (m *maker) sound(before procedure.State, d procedure.Dated) {
	switch f := d.Fact.(type) {
	case procedure.Squeezed:
		if f.Part == procedure.PartScreening {
			m.cue(d.At, procedure.CueCounted)
		} else {
			m.countDown(d.At, before, f.Part, f.TopUp)
		}
	case procedure.Corrected:
		if f.Part == procedure.PartInitial {
			m.countDown(d.At, before, f.Part, 0)
		}
	case procedure.Reported:
		if before.Stage == procedure.Screening {
			m.cue(d.At, procedure.CueReported)
		}
	case procedure.Entered:
		if f.Stage != procedure.ProvingButton {
			m.cue(d.At, procedure.CueGoOn)
		}
	case procedure.Ignored:
		if refused(before, f) {
			m.cue(d.At, procedure.CueRefused)
		}
	case procedure.Faulted:
		switch procedure.Verb(f.What) {
		case procedure.DoCableOpen, procedure.DoCableShort, procedure.DoStalled, procedure.DoJournalFailed, "input_gap":
			m.cue(d.At, procedure.CueFault)
		}
	case procedure.Ended:
		// What was yet to sound is forgotten.
		m.ahead = slices.DeleteFunc(m.ahead, func(o procedure.Order) bool { return o.At >= d.At })
		switch f.Outcome {
		case procedure.Pass:
			m.cue(d.At, procedure.CuePass)
		case procedure.Fail:
			m.cue(d.At, procedure.CueStop)
		default:
			m.cue(d.At, procedure.CueNotValid)
		}
	case procedure.ProofBegun:
		m.cue(d.At, procedure.CueGoOn)
	case procedure.ProofGiven:
		if f.Tasted {
			m.cue(d.At, procedure.CueReported)
		} else {
			m.cue(d.At, procedure.CueNotValid)
		}
	case procedure.KitSpoiled:
		m.cue(d.At, procedure.CueNotValid)
	case procedure.ProofLeft:
		if f.Why == procedure.LeftForWelfare {
			m.cue(d.At, procedure.CueStop)
		} else {
			m.cue(d.At, procedure.CueGoOn)
		}
	}
}

func (m *maker) countDown(at time.Duration, before procedure.State, part procedure.Part, topUp int) {
	left := m.st.Initial.Left()
	if part == procedure.PartTopUp {
		left = m.st.TopUp(topUp).Left()
	}
	switch {
	case left == 0:
		m.cue(at, procedure.CueDoseDone)
	case left <= 5:
		m.cue(at, procedure.Cue("count_"+strconv.Itoa(left)))
	default:
		m.cue(at, procedure.CueCounted)
	}
}

// refused says whether an input without effect was answered by a tone: what a
// contact does by itself is not, what somebody asked for is.
func refused(before procedure.State, f procedure.Ignored) bool {
	verb, source, _ := strings.Cut(f.What, " ")
	switch {
	case source == "step":
		return verb == string(procedure.DoPress)
	case source == "report" || verb == string(procedure.DoSaidAloud):
		return before.Stage == procedure.Screening && verb != string(procedure.DoDoubt)
	}
	return source == ""
}
