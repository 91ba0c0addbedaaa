// SPDX-License-Identifier: Apache-2.0

// Package review makes a finished run visible again: from its facts alone, what
// the pages showed at every instant, what was worth a remark, and which tones
// the box sounded. It is pure. It must not judge a run: the verdict is the one
// among the facts.
package review

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/shown"
	"tallyhood/console/wire"
)

// ErrOpen: the run has no verdict yet.
var ErrOpen = errors.New("the run has no verdict yet; it can be reviewed when it has ended")

// A Sequence is a run from its opening to its last fact. Instants are whole
// milliseconds since it was opened.
type Sequence struct {
	Run      string            `json:"run"`
	Opened   string            `json:"opened"` // wall time, RFC 3339; the day alone where names are left out
	Masked   bool              `json:"masked"` // without names and free text
	Practice string            `json:"practice"`
	Outcome  procedure.Outcome `json:"outcome"` // as of now: a recalled run is not valid
	Reason   procedure.Reason  `json:"reason"`
	// Recalled: the run was called back after its end, and is shown with that
	// before anything else; null: it was not.
	Recalled *record.Recalled `json:"recalled"`
	Hash     string           `json:"hash"` // of the run's last entry in the journal, hexadecimal
	// Supervised: the wearer's button was a changeover pair.
	Supervised bool     `json:"supervised"`
	LengthMS   int64    `json:"length_ms"`
	ClockMS    *int64   `json:"clock_ms"` // when the run clock started; null: it never did
	Stages     []Staged `json:"stages"`
	Frames     []Frame  `json:"frames"`
	Moments    []Moment `json:"moments"`
	Cues       []Cue    `json:"cues"`
}

// A Staged is a stage and when it began.
type Staged struct {
	AtMS  int64           `json:"at_ms"`
	Stage procedure.Stage `json:"stage"`
}

// A Frame is the run as pages showed it from an instant on. Until the next one
// nothing changes but what Later moves on.
type Frame struct {
	AtMS  int64    `json:"at_ms"`
	Facts []string `json:"facts"` // kinds of those of this instant; empty: only the clock went on
	Run   wire.Run `json:"run"`
}

// A Moment is something worth looking at.
type Moment struct {
	AtMS  int64  `json:"at_ms"`
	Kind  string `json:"kind"`   // one of Kinds
	Key   string `json:"key"`    // of a why, a fault, an outcome or a part, as the kind has it; may be empty
	TopUp int    `json:"top_up"` // that it is about; 0 for none
	Text  string `json:"text"`   // free text; empty where names are left out
	By    string `json:"by"`     // whose word it is, wearer for the wearer's own page; empty: nobody's, not known, or names are left out
}

// Kinds of moments.
var Kinds = []string{
	"late", "hurried", "extra", "doubtful", "ignored", "fault", "healed", "added", "taken_back",
	"parked", "taken_up", "wearer_did", "verdict", "proof", "recalled", "name_said", "remark",
}

// tail is how long a review goes on after the last fact, so that it is seen.
const tail = 3 * time.Second

// Of makes the sequence of a run that was not recalled, from its facts.
func Of(facts []procedure.Dated, hash string) (Sequence, error) { return OfNow(facts, hash, nil) }

// OfNow makes the sequence of a run from its facts, the first of them
// run_opened, and from its recall, nil for none: the recall follows the last
// fact as if it had come then. Hash is the one of the run's last entry. It gives
// ErrOpen for a run without a verdict.
func OfNow(facts []procedure.Dated, hash string, recalled *record.Recalled) (Sequence, error) {
	if len(facts) == 0 {
		return Sequence{}, errors.New("a run without facts cannot be reviewed")
	}
	o, ok := facts[0].Fact.(procedure.RunOpened)
	if !ok {
		return Sequence{}, errors.New("the run does not begin with run_opened; its record cannot be read whole")
	}
	m := maker{zero: facts[0].At, out: Sequence{
		Run: o.Run, Opened: o.Wall, Practice: o.Practice, Hash: hash, Supervised: o.Supervised,
		Stages: []Staged{}, Frames: []Frame{}, Moments: []Moment{}, Cues: []Cue{},
	}}
	for i := 0; i < len(facts); {
		at := facts[i].At
		if i > 0 && at < facts[i-1].At {
			return Sequence{}, fmt.Errorf("fact %d lies before the one before it; the record cannot be read whole", i+1)
		}
		m.until(at)
		kinds := []string{}
		for ; i < len(facts) && facts[i].At == at; i++ {
			m.take(facts[i])
			kinds = append(kinds, facts[i].Fact.Kind())
		}
		m.frame(at, kinds)
	}
	if m.st.Verdict == nil {
		return Sequence{}, ErrOpen
	}
	m.stand(recalled)
	for _, o := range m.ahead {
		m.cue(o.At, o.Cue)
	}
	slices.SortStableFunc(m.out.Cues, func(a, b Cue) int { return int(a.AtMS - b.AtMS) })
	return m.out, nil
}

// stand sets what the run comes to as of now, and shows it at the end.
func (m *maker) stand(recalled *record.Recalled) {
	v, c := record.Standing(*m.st.Verdict, recalled)
	m.out.Outcome, m.out.Reason, m.out.Recalled = v.Outcome, v.Reason, c
	end := m.st.At + tail
	if record.Proof(m.st) == record.ProofNotAnswered && m.st.ProofLeft == nil {
		m.out.Moments = append(m.out.Moments, Moment{AtMS: m.ms(m.st.At), Kind: "proof", Key: record.ProofNotAnswered})
	}
	if c != nil {
		run := m.at(end)
		run.Verdict = shown.Verdict(v, m.st, procedure.Next(m.st.Opened.Rules, v.Outcome))
		m.out.Frames = append(m.out.Frames, Frame{AtMS: m.ms(end), Facts: []string{"runs_recalled"}, Run: run})
		m.out.Moments = append(m.out.Moments, Moment{AtMS: m.ms(end), Kind: "recalled", Key: string(c.Outcome), Text: c.Why})
		end += tail
	}
	m.out.LengthMS = m.ms(end)
}

type maker struct {
	st    procedure.State
	zero  time.Duration
	ahead []procedure.Order // tones that the clock brought
	out   Sequence
}

func (m *maker) ms(at time.Duration) int64 { return (at - m.zero).Milliseconds() }

// until lets the clock go on to an instant at which the next fact lies.
func (m *maker) until(to time.Duration) {
	if m.st.Opened == nil {
		return
	}
	from := m.st.At
	m.ticks(to)
	for _, at := range m.changes() {
		if at > from && at < to && !reflect.DeepEqual(m.at(at), m.seen(at)) {
			m.frame(at, []string{})
		}
	}
}

// seen is what the last frame makes of an instant.
func (m *maker) seen(at time.Duration) wire.Run {
	f := m.out.Frames[len(m.out.Frames)-1]
	return Later(f.Run, m.ms(at)-f.AtMS)
}

// changes are the instants, in order, at which a run may look different though
// nothing happens.
func (m *maker) changes() []time.Duration {
	r := m.st.Opened.Rules
	var out []time.Duration
	switch m.st.Stage {
	case procedure.Ready, procedure.Donning:
		if m.st.Abstained != nil {
			out = append(out, *m.st.Abstained+r.Figures.Abstinence.Duration())
		}
		out = append(out, m.st.Since+r.Figures.Wear.Duration())
		for _, t := range m.st.Took {
			out = append(out, t.At+r.Refill()-t.Age) // it is stale from then on
			if t.GoodFor > 0 {
				out = append(out, t.At+t.GoodFor) // and its batch past its date
			}
		}
	case procedure.Running:
		for n := 1; n <= r.TopUps(); n++ {
			open, shut := r.Window(n)
			out = append(out, *m.st.Clock+open, *m.st.Clock+shut)
		}
		for n := 1; n < len(r.Exercises); n++ {
			out = append(out, *m.st.Clock+time.Duration(n)*r.Figures.Exercise.Duration())
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// at is the run at an instant as a page shows it.
func (m *maker) at(at time.Duration) wire.Run {
	run := shown.Run(m.st, at)
	if v := m.st.Verdict; v != nil {
		run.Verdict = shown.Verdict(*v, m.st, procedure.Next(m.st.Opened.Rules, v.Outcome))
	}
	return *run
}

func (m *maker) frame(at time.Duration, kinds []string) {
	f := Frame{AtMS: m.ms(at), Facts: kinds, Run: m.at(at)}
	if n := len(m.out.Frames); n > 0 && m.out.Frames[n-1].AtMS == f.AtMS {
		// Within one millisecond the later state is the one that is shown.
		f.Facts = append(m.out.Frames[n-1].Facts, kinds...)
		m.out.Frames = m.out.Frames[:n-1]
	}
	m.out.Frames = append(m.out.Frames, f)
}

// take folds a fact and keeps what it is worth.
func (m *maker) take(d procedure.Dated) {
	before := m.st
	m.st = procedure.Fold(m.st, d)
	at := m.ms(d.At)
	if before.Opened == nil || m.st.Stage != before.Stage {
		m.out.Stages = append(m.out.Stages, Staged{at, m.st.Stage})
	}
	if before.Opened == nil {
		m.remarks(nil, at)
		return
	}
	if before.Clock == nil && m.st.Clock != nil {
		m.out.ClockMS = &at
	}
	m.moments(before, d)
	m.sound(before, d)
}

// Later moves on what goes by itself after a frame: run clock, waits, ages.
// Everything else stays; a change of it has a frame of its own.
func Later(run wire.Run, ms int64) wire.Run {
	run.StageMS += ms
	run.WaitMS = max(0, run.WaitMS-ms)
	if run.Ticking && run.RunMS != nil {
		t := min(*run.RunMS+ms, run.LengthMS)
		run.RunMS = &t
	}
	notes := make([]wire.Note, 0, len(run.Notes))
	for _, n := range run.Notes {
		n.AgoMS += ms
		notes = append(notes, n)
	}
	run.Notes = notes
	return run
}

// At is the run as it was shown at an instant; before the first frame it is
// the first, after the last it is the last, moved on.
func (s Sequence) At(ms int64) wire.Run {
	i, found := slices.BinarySearchFunc(s.Frames, ms, func(f Frame, ms int64) int { return int(f.AtMS - ms) })
	if !found {
		i = max(0, i-1)
	}
	return Later(s.Frames[i].Run, max(0, ms-s.Frames[i].AtMS))
}

// WithoutNames leaves out who was tested and by whom, every text that a person
// typed, the time of the day, and what only a page that takes part may know.
// It names what is kept, so that a field that comes later is left out.
func (s Sequence) WithoutNames() Sequence {
	s.Masked = true
	s.Opened = dayOf(s.Opened)
	if c := s.Recalled; c != nil {
		s.Recalled = &record.Recalled{Outcome: c.Outcome, Reason: c.Reason, At: dayOf(c.At), Quality: c.Quality}
	}
	frames := make([]Frame, len(s.Frames))
	for i, f := range s.Frames {
		f.Run = nameless(f.Run)
		frames[i] = f
	}
	s.Frames = frames
	moments := make([]Moment, len(s.Moments))
	for i, m := range s.Moments {
		m.Text, m.By = "", ""
		moments[i] = m
	}
	s.Moments = moments
	return s
}

// dayOf is the day of an instant where it was written.
func dayOf(instant string) string { return instant[:min(len(instant), len(time.DateOnly))] }

func nameless(r wire.Run) wire.Run {
	out := wire.Run{
		Run: r.Run, Stage: r.Stage, StageMS: r.StageMS, Facepiece: r.Facepiece, Agent: r.Agent, Rules: r.Rules, Prevails: r.Prevails,
		Questions: r.Questions, Blocked: r.Blocked, WaitMS: r.WaitMS, NeedMS: r.NeedMS, Screening: r.Screening,
		Dose: r.Dose, Initial: r.Initial, TopUps: r.TopUps, RunMS: r.RunMS, Ticking: r.Ticking, LengthMS: r.LengthMS,
		Exercises: r.Exercises, ExerciseMS: r.ExerciseMS, Exercise: r.Exercise, SqueezesMS: r.SqueezesMS, HalfLifeMS: r.HalfLifeMS,
		Notes: r.Notes, Faults: []string{}, Verdict: r.Verdict, Practice: r.Practice, NameSaid: r.NameSaid, Drill: wire.Keys(r.Drill),
	}
	if r.Kit != nil {
		out.Kit = &wire.Kit{Role: r.Kit.Role} // marks and lots are typed by people
	}
	for _, f := range r.Faults {
		what, _, _ := strings.Cut(f, ": ")
		out.Faults = append(out.Faults, what)
	}
	return out
}
