// SPDX-License-Identifier: Apache-2.0

package session_test

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/session"
	"tallyhood/console/wire"
	"tallyhood/device"
	"tallyhood/store"
	"tallyhood/store/memory"
)

// A shelf is a register that seals names and keeps kit.
type shelf struct {
	session.Fixed
	mu   sync.Mutex
	kit  map[string]procedure.Kit
	hood procedure.Hood // the only one
	fail error
}

func (s *shelf) May(ctx context.Context, person, facepiece, rules string) (session.Bound, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fail != nil {
		return session.Bound{}, s.fail
	}
	b, err := s.Fixed.May(ctx, person, facepiece, rules)
	b.Wearer.Sealed = "c2VhbGVk"
	return b, err
}

func (s *shelf) Hood(id string) *procedure.Hood {
	if id != s.hood.ID {
		return nil
	}
	return new(s.hood)
}

func (s *shelf) Kept() bool { return true }
func (s *shelf) Nebuliser(mark string) *procedure.Kit {
	s.mu.Lock()
	defer s.mu.Unlock()
	k, ok := s.kit[mark]
	if !ok {
		return nil
	}
	return &k
}

// The whole run with kit that is kept: the journal has the name sealed, the
// page has it plain, and each part waits for its nebuliser.
func TestKitAndSealedName(t *testing.T) {
	j := memory.New()
	sh := &shelf{kit: map[string]procedure.Kit{
		"W1": {ID: "n-1", Mark: "W1", Role: procedure.Weak, Agent: "bitter", Solution: "s-1", Lot: "L-7", Age: time.Hour, Checked: true},
		"S1": {ID: "n-2", Mark: "S1", Role: procedure.Strong, Agent: "bitter", Solution: "s-2", Lot: "L-8", Age: time.Hour, Checked: true},
	}}
	ended := make(chan string, 4)
	d := newDeskOn(t, newStillClock(), j, func(c *session.Config) {
		sh.Fixed = c.Register.(session.Fixed)
		c.Register = sh
		c.Ended = func(run string) { ended <- run }
	})
	d.open()
	s := d.until("the weak one asked for", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Kit != nil })
	if s.Run.Kit.Role != procedure.Weak || s.Run.Kit.Mark != "" || s.Run.Wearer != "Ilse Brandvold" {
		t.Errorf("kit %+v, wearer %q", s.Run.Kit, s.Run.Wearer)
	}
	take := func(mark string) string {
		return d.ask(wire.Command{Do: string(procedure.DoTake), Input: procedure.Input{Mark: mark, Kit: &procedure.Kit{ID: "forged", Role: procedure.Strong}, By: "Agnes Thorley"}})
	}
	for mark, want := range map[string]procedure.Why{"X9": procedure.WhyUnknownNebuliser, "S1": procedure.WhyOtherRole} {
		if why := take(mark); why != string(want) {
			t.Errorf("%s: %q, want %s", mark, why, want)
		}
	}
	if why := d.ask(wire.Command{Do: string(procedure.DoGoOn)}); why != string(procedure.WhyNoNebuliser) {
		t.Errorf("went on without a nebuliser: %q", why)
	}
	if why := take("W1"); why != "" {
		t.Fatalf("W1 was refused: %s", why)
	}
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Screening)
	d.press(device.Squeeze, 3)
	d.press(device.Taste, 1)
	d.stage(procedure.Clearing)
	if why := take("S1"); why != "" {
		t.Fatalf("S1 was refused: %s", why)
	}
	d.until("its lot", func(s wire.Snapshot) bool { return s.Run.Kit != nil && s.Run.Kit.Lot == "L-8" })
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Donning)
	d.wait(6 * time.Second)
	d.say(procedure.DoGoOn, procedure.Input{})
	d.stage(procedure.Dosing)
	d.say(procedure.DoAbandon, procedure.Input{})
	d.until("the verdict", verdict)
	select {
	case run := <-ended:
		if run != d.run {
			t.Errorf("run %s ended, want %s", run, d.run)
		}
	case <-time.After(time.Minute):
		t.Error("nobody was told that the run has ended")
	}
	var took []procedure.Took
	err := j.ReadStream(t.Context(), d.run, func(e store.Entry) error {
		if bytes.Contains(e.Body, []byte("Brandvold")) {
			t.Errorf("the journal holds the name: %s", e.Body)
		}
		f, err := procedure.Decode(e.Kind, e.Version, e.Body)
		if k, ok := f.Fact.(procedure.Took); ok {
			took = append(took, k)
		}
		return err
	})
	if err != nil || len(took) != 2 || took[0].ID != "n-1" || took[1].ID != "n-2" || took[0].By != "Agnes Thorley" {
		t.Errorf("took %+v, %v", took, err)
	}
}

// Who may not be tested is refused with the reason, and a register that fails
// is no yes.
func TestTheRegisterRefuses(t *testing.T) {
	sh := &shelf{}
	d := newDeskOn(t, newStillClock(), nil, func(c *session.Config) {
		sh.Fixed = c.Register.(session.Fixed)
		c.Register = sh
	})
	d.fence = d.lease("page 1")
	for err, want := range map[error]string{session.Refusal{Why: "not_known"}: "not_known", errors.New("the disk is gone"): "unknown"} {
		sh.mu.Lock()
		sh.fail = err
		sh.mu.Unlock()
		if why := d.ask(wire.Command{Do: "open", Open: opening}); why != want {
			t.Errorf("%v: %q, want %q", err, why, want)
		}
	}
}

// The hood that is named at the opening stands in the run's first fact, one that
// is too large too; one that nobody knows is refused, and a run that names none
// has none. A run that waits keeps its hood, and the next may have the same one.
func TestHoodOfARun(t *testing.T) {
	j := memory.New()
	large := procedure.Hood{ID: "h-2", Mark: "H2", AcrossMM: 400, TallMM: 450, Oversized: true}
	sh := &shelf{hood: large}
	d := newDeskOn(t, newStillClock(), j, func(c *session.Config) {
		sh.Fixed = c.Register.(session.Fixed)
		c.Register = sh
	})
	d.fence = d.lease("page 1")
	with := func(person, hood string) *wire.Open {
		o := *opening
		o.Wearer, o.Hood = person, hood
		return &o
	}
	first, second := opening.Wearer, demo.People()[1].ID
	if first == second {
		second = demo.People()[0].ID
	}
	if why := d.ask(wire.Command{Do: "open", Open: with(first, "h-1")}); why != "hood_not_known" || !slices.Contains(wire.Refusals, why) {
		t.Fatalf("a hood that nobody knows: %q", why)
	}
	hoodOf := func() (hood *procedure.Hood) {
		t.Helper()
		s := d.until("a run", func(s wire.Snapshot) bool { return s.Run != nil })
		d.run = s.Run.Run
		d.until("its facts on disk", func(s wire.Snapshot) bool {
			st, err := archive.State(t.Context(), j, d.run)
			if err != nil {
				return false
			}
			hood = st.Opened.Hood
			return true
		})
		return hood
	}
	if why := d.ask(wire.Command{Do: "open", Open: with(first, "h-2")}); why != "" {
		t.Fatalf("one too large was refused: %q", why)
	}
	if got := hoodOf(); got == nil || *got != large {
		t.Errorf("the run notes %+v, want %+v", got, large)
	}
	if why := d.ask(wire.Command{Do: string(procedure.DoPark), Run: d.run}); why != "" {
		t.Fatalf("park: %q", why)
	}
	d.until("nothing open", func(s wire.Snapshot) bool { return s.Run == nil && len(s.Parked) == 1 })
	if why := d.ask(wire.Command{Do: "open", Open: with(second, "h-2")}); why != "" {
		t.Fatalf("the same hood, while the first run waits: %q", why)
	}
	if got := hoodOf(); got == nil || *got != large {
		t.Errorf("the second run notes %+v, want %+v", got, large)
	}
	d.say(procedure.DoAbandon, procedure.Input{})
	d.until("the verdict", verdict)
	if why := d.ask(wire.Command{Do: "close", Run: d.run}); why != "" {
		t.Fatalf("close: %q", why)
	}
	if why := d.ask(wire.Command{Do: "open", Open: with(second, "")}); why != "" {
		t.Fatalf("without a hood: %q", why)
	}
	if got := hoodOf(); got != nil {
		t.Errorf("no hood was named, and the run notes %+v", got)
	}
}
