// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A moody journal can be made to hold its writes, or to fail some.
type moody struct {
	*memory.Store
	mu   sync.Mutex
	gate chan struct{} // closed: open
	fail int           // writes to fail without a trace, and then work again
}

func newMoody() *moody {
	m := &moody{Store: memory.New(), gate: make(chan struct{})}
	close(m.gate)
	return m
}

var errCard = errors.New("the card does not answer")

func (m *moody) Append(ctx context.Context, drafts ...store.Draft) ([]store.Entry, error) {
	m.mu.Lock()
	gate := m.gate
	m.mu.Unlock()
	<-gate
	m.mu.Lock()
	bad := m.fail > 0
	if bad {
		m.fail--
	}
	m.mu.Unlock()
	if bad {
		return nil, errCard
	}
	return m.Store.Append(ctx, drafts...)
}

func (m *moody) hold() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.gate = make(chan struct{})
}

func (m *moody) letGo(fail int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fail = fail
	select {
	case <-m.gate:
	default:
		close(m.gate)
	}
}

func (m *moody) failNext(n int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fail = n
}

func moodyDesk(t *testing.T) (*desk, *moody) {
	m := newMoody()
	d := newDeskOn(t, newStillClock(), m, func(cfg *session.Config) { cfg.Rules["us-osha"] = quickRules(t, 15) })
	t.Cleanup(func() { m.letGo(0) }) // a session ends when its writes have
	return d, m
}

// toHeldPass brings a run to a pass that cannot be written.
func toHeldPass(d *desk, m *moody) {
	d.t.Helper()
	toRunning(d)
	d.topUps(0)
	m.hold()
	s := d.until("an ending", func(s wire.Snapshot) bool { return s.Run.Ending })
	if s.Run.Verdict != nil || s.LagMS < 0 {
		d.t.Errorf("a verdict is shown before it is on disk: %+v", s.Run.Verdict)
	}
	d.wait(2 * time.Second)
	d.until("a lag of two seconds", func(s wire.Snapshot) bool { return s.LagMS > 1900 })
	for _, s := range d.snapshots() {
		if verdict(s) {
			d.t.Fatalf("snapshot %d shows a verdict that is not on disk: %+v", s.Number, s.Run.Verdict)
		}
	}
	if d.heard.has(procedure.CuePass) {
		d.t.Fatal("the cue for a pass came before the pass was on disk")
	}
	if why := d.ask(wire.Command{Do: "close"}); why != "not_saved" {
		d.t.Errorf("closing a run that is not saved: %q, want not_saved", why)
	}
}

func TestPassIsShownWhenItIsOnDisk(t *testing.T) {
	t.Parallel()
	d, m := moodyDesk(t)
	toHeldPass(d, m)
	m.letGo(0)
	s := d.until("a verdict", verdict)
	if s.Run.Verdict.Outcome != procedure.Pass || s.Run.Ending {
		t.Errorf("after the write the page shows %+v, ending %t", s.Run.Verdict, s.Run.Ending)
	}
	if !d.heard.has(procedure.CuePass) {
		t.Error("the cue for a pass never came")
	}
	// What is said after the verdict does not take it off the page while it is
	// being written.
	seen := s.Number
	m.hold()
	d.say(procedure.DoBeginProof, procedure.Input{})
	s = d.until("the proof", func(s wire.Snapshot) bool { return s.Number > seen && s.Run.Stage == procedure.ProvingMist })
	if !verdict(s) || s.Run.Verdict.Outcome != procedure.Pass {
		t.Errorf("while the proof is being written the page shows %+v", s.Run.Verdict)
	}
	m.letGo(0)
}

// brokenDesk checks what holds once the journal has failed.
func brokenDesk(t *testing.T, d *desk, m *moody) {
	t.Helper()
	d.ends(procedure.JournalFailed)
	d.wait(120 * time.Second) // longer than the run would have been
	// After a pass this gives a fact, which a card that is well again would take.
	_ = d.ask(wire.Command{Do: string(procedure.DoBeginProof)})
	d.wait(2 * time.Second)
	s := d.until("any", func(wire.Snapshot) bool { return true })
	if s.Storage == "" || !verdict(s) || s.Run.Verdict.Reason != procedure.JournalFailed {
		t.Errorf("later the page shows storage %q and %+v", s.Storage, s.Run.Verdict)
	}
	d.noPass()
	st, err := archive.State(t.Context(), m, d.run)
	if err != nil {
		t.Fatal(err)
	}
	if st.Verdict != nil {
		t.Errorf("behind a hole the journal has a verdict: %+v", st.Verdict)
	}
	d.must(wire.Command{Do: "close"})
	if why := d.ask(wire.Command{Do: "open", Open: opening}); why != string(procedure.WhyJournal) {
		t.Errorf("a new run on a journal that failed: %q, want %s", why, procedure.WhyJournal)
	}
}

func TestJournalThatFailsInARun(t *testing.T) {
	t.Parallel()
	for name, fail := range map[string]int{"for good": 1 << 30, "once": 1} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d, m := moodyDesk(t)
			toRunning(d)
			m.failNext(fail)
			d.press(device.Squeeze, 1)
			brokenDesk(t, d, m)
		})
	}
}

func TestJournalThatFailsAtTheVerdict(t *testing.T) {
	t.Parallel()
	for name, fail := range map[string]int{"for good": 1 << 30, "once": 1} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d, m := moodyDesk(t)
			toHeldPass(d, m)
			m.letGo(fail)
			brokenDesk(t, d, m)
		})
	}
}
