// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/device/clock"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A liar is a journal that errs, but may have written all the same.
type liar struct {
	store.Journal
	writesEnd, refuses atomic.Bool
}

func (l *liar) Append(ctx context.Context, drafts ...store.Draft) ([]store.Entry, error) {
	if l.refuses.Load() {
		return nil, errors.New("no space left")
	}
	if l.writesEnd.Load() {
		for _, d := range drafts {
			if d.Kind == (procedure.Ended{}).Kind() {
				entries, _ := l.Journal.Append(ctx, drafts...)
				return entries, errors.New("sync: input/output error")
			}
		}
	}
	return l.Journal.Append(ctx, drafts...)
}

// What a page called not valid for want of a journal is no pass after a restart,
// though the journal that failed holds one: the write happened all the same, or
// the doubt that came after the pass is what was not written.
func TestWhatWasNotSavedIsNoPassLater(t *testing.T) {
	for name, drive := range map[string]func(d *desk, l *liar) wire.Snapshot{
		"written all the same": func(d *desk, l *liar) wire.Snapshot {
			l.writesEnd.Store(true)
			d.topUps(0)
			return d.until("a verdict", verdict)
		},
		"the proof was lost": func(d *desk, l *liar) wire.Snapshot {
			d.topUps(0)
			d.until("a pass", verdict)
			l.refuses.Store(true)
			d.say(procedure.DoBeginProof, procedure.Input{})
			d.say(procedure.DoProofNothing, procedure.Input{})
			return d.until("not valid", func(s wire.Snapshot) bool { return verdict(s) && s.Run.Verdict.Outcome == procedure.NotValid })
		},
	} {
		t.Run(name, func(t *testing.T) {
			l := &liar{Journal: memory.New()}
			said := make(chan []string, 4)
			var refuse atomic.Bool // the note, as the card does the facts
			refuse.Store(true)
			d := newDeskOn(t, newLongClock(), l, func(cfg *session.Config) {
				cfg.Rules["us-osha"] = quickRules(t, 15)
				cfg.Unsaved = func(runs []string) error {
					if refuse.Load() {
						return errors.New("read-only file system")
					}
					said <- runs
					return nil
				}
			})
			toRunning(d)
			s := drive(d, l)
			if v := s.Run.Verdict; v.Outcome != procedure.NotValid {
				t.Errorf("the page shows %+v", v)
			}
			// As long as the box cannot note it, the page says that a person has to.
			d.until("a word on the note", func(s wire.Snapshot) bool { return s.Storage == wire.StorageUnnoted })
			d.wait(10 * time.Second)
			if s := d.until("any", func(wire.Snapshot) bool { return true }); s.Storage != wire.StorageUnnoted {
				t.Errorf("not noted, and the page says %q", s.Storage)
			}
			refuse.Store(false)
			d.until("a note", func(s wire.Snapshot) bool { return s.Storage == wire.StorageFailed })
			d.stop()
			l.refuses.Store(false)
			if err := session.CloseOpenRuns(t.Context(), l.Journal); err != nil {
				t.Fatal(err)
			}
			if st, err := archive.State(t.Context(), l.Journal, d.run); err != nil || st.Verdict.Outcome != procedure.Pass {
				t.Fatalf("the journal holds %+v, %v: there is nothing to be void", st.Verdict, err)
			}
			var told []string
			select {
			case told = <-said:
			case <-time.After(time.Minute):
			}
			if len(told) != 1 || told[0] != d.run || len(said) > 0 {
				t.Fatalf("told of the runs %v, want %s once", told, d.run)
			}
			if err := session.Void(t.Context(), l.Journal, told); err != nil {
				t.Fatal(err)
			}
			if st, err := archive.State(t.Context(), l.Journal, d.run); err != nil || st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != procedure.JournalFailed {
				t.Errorf("after the next start: %+v, %v", st.Verdict, err)
			}
		})
	}
}

// A nebuliser found clogged when the run has passed: nobody who has not seen the
// pass yet may see or hear it, and nobody sees it afterwards, whatever came of
// the proof meanwhile. One filled anew for the next person changes nothing.
func TestACloggedNebuliserUndoesAPass(t *testing.T) {
	for name, c := range map[string]struct {
		shown     bool             // the pass, before the nebuliser was found clogged
		proof     []procedure.Verb // said before that
		id        string
		seen      bool // to give mist, before that
		worthless bool
		want      procedure.Outcome
	}{
		"seen to give mist after the pass":   {shown: true, seen: true, id: "n-S1", worthless: true, want: procedure.Pass},
		"seen while the pass was written":    {seen: true, id: "n-S1", worthless: true, want: procedure.NotValid},
		"while the pass is being written":    {id: "n-S1", worthless: true, want: procedure.NotValid},
		"while it is written, the weak one":  {id: "n-W1", worthless: true, want: procedure.NotValid},
		"when the pass is shown":             {shown: true, id: "n-S1", worthless: true, want: procedure.NotValid},
		"while the proof is made":            {shown: true, proof: []procedure.Verb{procedure.DoBeginProof}, id: "n-S1", worthless: true, want: procedure.NotValid},
		"when the proof is made":             {shown: true, proof: []procedure.Verb{procedure.DoBeginProof, procedure.DoProofTasted}, id: "n-S1", worthless: true, want: procedure.NotValid},
		"when the proof was left":            {shown: true, proof: []procedure.Verb{procedure.DoBeginProof, procedure.DoLeaveProof}, id: "n-S1", worthless: true, want: procedure.NotValid},
		"filled anew":                        {id: "n-S1", want: procedure.Pass},
		"another one":                        {id: "n-S9", worthless: true, want: procedure.Pass},
		"nothing tasted, not written before": {proof: []procedure.Verb{procedure.DoBeginProof, procedure.DoProofNothing}, id: "n-S9", worthless: true, want: procedure.NotValid},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := newMoody()
			d := newDeskOn(t, newStillClock(), m, func(cfg *session.Config) {
				cfg.Rules["us-osha"] = quickRules(t, 15)
				cfg.Register = &shelf{Fixed: cfg.Register.(session.Fixed), kit: map[string]procedure.Kit{
					"W1": {ID: "n-W1", Mark: "W1", Role: procedure.Weak, Agent: "bitter", Solution: "s-1", Lot: "L-7", Age: time.Hour, Checked: true},
					"S1": {ID: "n-S1", Mark: "S1", Role: procedure.Strong, Agent: "bitter", Solution: "s-2", Lot: "L-8", Age: time.Hour, Checked: true},
				}}
			})
			t.Cleanup(func() { m.letGo(0) })
			d.open()
			d.say(procedure.DoTake, procedure.Input{Mark: "W1"})
			d.say(procedure.DoGoOn, procedure.Input{})
			d.stage(procedure.Screening)
			d.press(device.Squeeze, 3)
			d.press(device.Taste, 1)
			d.stage(procedure.Clearing)
			d.say(procedure.DoTake, procedure.Input{Mark: "S1"})
			d.press(device.Step, 1)
			d.stage(procedure.Donning)
			d.wait(6 * time.Second)
			d.say(procedure.DoGoOn, procedure.Input{})
			d.stage(procedure.Dosing)
			d.dose(10)
			d.topUps(0)
			if c.shown {
				d.until("a pass", verdict)
			}
			m.hold()
			if !c.shown {
				d.until("an ending", func(s wire.Snapshot) bool { return s.Run.Ending })
			}
			for _, v := range c.proof {
				d.say(v, procedure.Input{})
			}
			if c.seen {
				d.ses.Spoiled(session.Spoilt{Nebuliser: c.id, Seen: true})
			}
			d.ses.Spoiled(session.Spoilt{Nebuliser: c.id, Worthless: c.worthless})
			d.wait(2 * time.Second)
			m.letGo(0)
			s := d.until("all of it written", func(s wire.Snapshot) bool { return verdict(s) && s.LagMS == 0 && s.Run.Verdict.Outcome == c.want })
			if c.want == procedure.NotValid && s.Run.Verdict.Reason != procedure.MistCheckFailed {
				t.Errorf("the page shows %+v", s.Run.Verdict)
			}
			if !c.shown && c.want == procedure.NotValid {
				for _, s := range d.snapshots() {
					if verdict(s) && s.Run.Verdict.Outcome == procedure.Pass {
						t.Fatalf("snapshot %d shows a pass that was undone before", s.Number)
					}
				}
				if d.heard.has(procedure.CuePass) {
					t.Error("the cue for a pass came after it was undone")
				}
			}
			if c.want == procedure.NotValid && !d.heard.has(procedure.CueNotValid) {
				t.Error("nothing was heard of it")
			}
			if c.want == procedure.Pass && !d.heard.has(procedure.CuePass) {
				t.Error("the cue for a pass never came")
			}
			d.stop()
			st, err := archive.State(t.Context(), m, d.run)
			if err != nil || st.Verdict.Outcome != c.want {
				t.Errorf("the journal holds %+v, %v", st.Verdict, err)
			}
		})
	}
}

// A daemon that is stopped while the doubt after a pass is being written, and
// whose write then fails, leaves a note for the next start; where the write comes
// to the disk after all there is nothing to note.
func TestWhatIsLostAtTheStopIsNoted(t *testing.T) {
	for _, lost := range []bool{true, false} {
		m := newMoody()
		told := make(chan []string, 8)
		d := newDeskOn(t, newStillClock(), m, func(cfg *session.Config) {
			cfg.Rules["us-osha"] = quickRules(t, 15)
			cfg.Unsaved = func(runs []string) error { told <- runs; return nil }
		})
		t.Cleanup(func() { m.letGo(0) })
		toRunning(d)
		d.topUps(0)
		d.until("a pass", verdict)
		m.hold()
		d.say(procedure.DoBeginProof, procedure.Input{}) // each is answered with ok
		d.say(procedure.DoProofNothing, procedure.Input{})
		ended := make(chan struct{})
		go func() { d.stop(); close(ended) }()
		<-d.left
		fail := 0
		if lost {
			fail = 9
		}
		m.letGo(fail)
		<-ended
		m.letGo(0)
		var runs []string
		select {
		case runs = <-told:
		default:
		}
		if err := session.CloseOpenRuns(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if err := session.Void(t.Context(), m, runs); err != nil {
			t.Fatal(err)
		}
		st, err := archive.State(t.Context(), m, d.run)
		if err != nil {
			t.Fatal(err)
		}
		want := procedure.MistCheckFailed
		if lost {
			want = procedure.JournalFailed
		}
		if st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != want || lost != (len(runs) == 1) {
			t.Errorf("lost %t: nothing was tasted, and after the next start it is %+v, noted runs %v", lost, st.Verdict, runs)
		}
	}
}

// The machine may sleep without a clock of the run going on.
func TestASleepEndsTheRun(t *testing.T) {
	for slept, ends := range map[time.Duration]bool{900 * time.Millisecond: false, 3 * time.Second: true} {
		w := &wallHand{at: time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC), quality: clock.Network}
		d := newDeskOn(t, newLongClock(), nil, func(cfg *session.Config) { cfg.Wall = w })
		toRunning(d)
		w.mu.Lock()
		w.slept = slept
		w.mu.Unlock()
		if ends {
			d.ends(procedure.Stalled)
			continue
		}
		d.wait(10 * time.Second)
		if s := d.stage(procedure.Running); verdict(s) {
			t.Errorf("slept %v: %+v", slept, s.Run.Verdict)
		}
	}
}

// An open run that has a nebuliser is told when that is found clogged, or its
// batch another, also while it waits; a run that has another is not.
func TestASpoiledNebuliserReachesItsRuns(t *testing.T) {
	for i, spoilt := range []session.Spoilt{{Nebuliser: "n-W1", Worthless: true}, {Batch: "s-1", Worthless: true}, {Nebuliser: "n-W1", Worthless: true}, {Batch: "s-1", Worthless: true}} {
		waits := i > 1
		j := memory.New()
		d := newDeskOn(t, newLongClock(), j, func(cfg *session.Config) {
			cfg.Register = &shelf{Fixed: cfg.Register.(session.Fixed), kit: map[string]procedure.Kit{
				"W1": {ID: "n-W1", Mark: "W1", Role: procedure.Weak, Agent: "bitter", Solution: "s-1", Lot: "L-7", Age: time.Hour, Checked: true},
			}}
		})
		d.open()
		d.say(procedure.DoTake, procedure.Input{Mark: "W1"})
		d.say(procedure.DoGoOn, procedure.Input{})
		d.stage(procedure.Screening)
		d.press(device.Squeeze, 3)
		d.press(device.Taste, 1)
		d.stage(procedure.Clearing)
		if waits {
			d.say(procedure.DoPark, procedure.Input{})
			d.until("it waits", func(s wire.Snapshot) bool { return len(s.Parked) == 1 })
		}
		d.ses.Spoiled(session.Spoilt{Nebuliser: "n-W9", Worthless: true})
		d.ses.Spoiled(session.Spoilt{Batch: "s-9", Worthless: true})
		d.ses.Spoiled(session.Spoilt{Nebuliser: "n-W1"}) // filled anew for the next person
		d.wait(2 * time.Second)
		open := func(s wire.Snapshot) *wire.Run {
			if waits {
				if len(s.Parked) == 0 {
					return nil
				}
				return &s.Parked[0]
			}
			return s.Run
		}
		if r := open(d.until("any", func(wire.Snapshot) bool { return true })); r == nil || r.Verdict != nil {
			t.Fatalf("waits %v: ended though its nebuliser was sound: %+v", waits, r)
		}
		d.ses.Spoiled(spoilt)
		if waits {
			d.until("the run that waited to be over", func(s wire.Snapshot) bool { return len(s.Parked) == 0 })
		} else {
			d.until("a verdict", verdict)
		}
		d.stop()
		st, err := archive.State(t.Context(), j, d.run)
		if err != nil || st.Verdict == nil || st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != procedure.MistCheckFailed {
			t.Errorf("waits %v: %+v, %v", waits, st.Verdict, err)
		}
	}
}
