// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/web"
	"tallyhood/console/wire"
)

// What nobody but the tester may read stands in these snapshots as words that
// are found anywhere in a message.
const (
	nameA, nameB     = "Ilse Brandvold", "Tomasz Okonjo"
	testerA, pieceA  = "Oda Fennimore", "Corrie half mask"
	codeA, codeB     = "4711", "0815"
	runA, runB       = "r000011", "r000012"
	secretCount      = 7919 // in every figure that tells a count
	secretMS         = 6007001
	verdictOf, saidB = "fail", "no"
)

func openRun(id, name, code string) wire.Run {
	dose := func(n int) wire.Dose {
		return wire.Dose{N: n, Required: secretCount, Given: secretCount, Extra: secretCount, Doubtful: secretCount, Remarks: []string{"late"}}
	}
	d := dose(0)
	ms := int64(83_000)
	return wire.Run{
		Run: id, Stage: procedure.Running, Wearer: name, Facepiece: pieceA, Tester: testerA, Agent: "bitter", Rules: "US rule", Prevails: "Local law",
		Questions: []wire.Question{{ID: "no_hair", Answered: true}}, Kit: &wire.Kit{Role: "weak", Mark: "W1"}, Screening: wire.Screening{Squeezes: secretCount, Counted: secretCount, Bin: 30},
		Dose: &d, Initial: &d, TopUps: []wire.Dose{dose(1)}, RunMS: &ms, Ticking: true, LengthMS: 420_000, Exercises: []string{"normal_breathing"}, ExerciseMS: 60_000,
		SqueezesMS: []int64{secretMS}, Notes: []wire.Note{{What: "press", Why: "not_in_this_stage"}}, Faults: []string{"cable_open"},
		Verdict: &wire.Verdict{Outcome: verdictOf, Reason: "tasted"}, Code: code, WearerLanguage: "pl",
	}
}

func twoRuns(number uint64) wire.Snapshot {
	a, b := openRun(runA, nameA, codeA), openRun(runB, nameB, codeB)
	b.Stage, b.NameSaid = procedure.Donning, saidB
	return wire.Snapshot{Type: "snapshot", Number: number, Fence: 3, Driver: "page-1", Speed: 1, Run: &a, Parked: []wire.Run{b},
		Inputs: wire.Inputs{Squeeze: true, Report: true, Lines: []wire.Line{{Line: "squeeze", Presses: secretCount}}}}
}

// hears reads messages until one fits.
func (p page) hears(what string, fits func(map[string]any) bool) map[string]any {
	p.t.Helper()
	for range 200 {
		if m := p.hear(); fits(m) {
			return m
		}
	}
	p.t.Fatalf("%s never came", what)
	return nil
}

func kind(of string) func(map[string]any) bool {
	return func(m map[string]any) bool { return m["type"] == of }
}

// paired says hello as a wearer's page with a code and returns what it is told.
func (p page) paired(code string) string {
	p.t.Helper()
	p.say(fmt.Sprintf(`{"type":"hello","role":"wearer","contract":%d,"code":%q}`, wire.Contract, code))
	return fmt.Sprint(p.hears("a welcome", kind("welcome"))["paired"])
}

// next publishes a snapshot and returns the one with its number, as sent.
func (p page) next(srv *web.Server, snap wire.Snapshot) (map[string]any, string) {
	p.t.Helper()
	srv.Publish(snap)
	m := p.hears("the snapshot", func(m map[string]any) bool { return m["type"] == "snapshot" && m["number"] == float64(snap.Number) })
	raw, err := json.Marshal(m)
	if err != nil {
		p.t.Fatal(err)
	}
	return m, string(raw)
}

func TestEachRoleHearsItsPart(t *testing.T) {
	srv, s, _ := newServer(t)
	srv.Publish(twoRuns(1))
	for _, c := range []struct {
		who, hello string
		must, not  []string
	}{
		{"tester", `"role":"tester"`, []string{nameA, nameB, testerA, codeA, codeB, "7919", "6007001", verdictOf}, nil},
		{"trainer", `"role":"trainer"`, []string{pieceA, "7919", "6007001", verdictOf, runB}, []string{nameA, nameB, testerA, codeA, codeB}},
		{"unpaired wearer", `"role":"wearer"`, []string{`"pairing":"needed"`, `"run":null`}, []string{nameA, nameB, testerA, pieceA, codeA, codeB, runA, runB, "7919", "6007001", verdictOf, "page-1"}},
		{"wearer of the active run", `"role":"wearer","code":"` + codeA + `"`, []string{runA, `"pairing":""`}, []string{nameA, nameB, testerA, pieceA, codeA, codeB, runB, "7919", "6007001", verdictOf, "tasted", `"late"`, "cable_open", "W1", "page-1", `"squeeze":true`, `"report":true`}},
		{"wearer of the parked run", `"role":"wearer","code":"` + codeB + `"`, []string{runB, `"name_said":"no"`}, []string{nameA, nameB, testerA, pieceA, codeA, codeB, runA, "7919", "6007001", verdictOf, "page-1", `"squeeze":true`, `"report":true`}},
	} {
		p := open(t, s)
		p.say(`{"type":"hello","contract":1,` + c.hello + `}`)
		// The first snapshot, brought up for a topic that nobody was in, and a later one.
		first := p.hears("a first snapshot", kind("snapshot"))
		raw, err := json.Marshal(first)
		if err != nil {
			t.Fatal(err)
		}
		_, later := p.next(srv, twoRuns(2))
		for i, text := range []string{string(raw), later} {
			for _, m := range c.must {
				if !strings.Contains(text, m) {
					t.Errorf("%s, message %d: lacks %q", c.who, i+1, m)
				}
			}
			for _, n := range c.not {
				if strings.Contains(text, n) {
					t.Errorf("%s, message %d: has %q: %s", c.who, i+1, n, text)
				}
			}
		}
		p.c.Close()
	}
	// The wearer's own name comes only while somebody may be the wrong person.
	p := open(t, s)
	if got := p.paired(codeA); got != "yes" {
		t.Fatalf("paired: %q", got)
	}
	early := twoRuns(3)
	early.Run.Stage = procedure.Ready
	if _, text := p.next(srv, early); !strings.Contains(text, nameA) || strings.Contains(text, nameB) {
		t.Errorf("before the test the page got %s", text)
	}
	early = twoRuns(4)
	early.Run.Stage, early.Run.NameSaid = procedure.Ready, "yes"
	if _, text := p.next(srv, early); strings.Contains(text, nameA) {
		t.Errorf("once confirmed the page got %s", text)
	}
}

// A page that leaves before its run is closed leaves nothing of the run in
// memory: what was last said of it would be there until the box is switched off.
func TestClosedRunIsForgotten(t *testing.T) {
	srv, s, _ := newServer(t)
	srv.Publish(twoRuns(1))
	p := open(t, s)
	if got := p.paired(codeA); got != "yes" {
		t.Fatalf("paired: %q", got)
	}
	p.next(srv, twoRuns(2))
	p.c.Close()
	tester := open(t, s)
	tester.say(`{"type":"hello","role":"tester","contract":1}`)
	tester.hears("that the page has left", func(m map[string]any) bool {
		srv.Publish(twoRuns(3))
		r, _ := m["run"].(map[string]any)
		return r != nil && r["paired"] == 0.0
	})
	if !srv.Keeps(runA) {
		t.Error("an open run is forgotten: this test shows nothing")
	}
	closed := twoRuns(4)
	closed.Run = nil
	srv.Publish(closed)
	if srv.Keeps(runA) {
		t.Error("the last snapshot of a closed run is kept")
	}
}

// Every message of every role: what reaches the session, as whom and for which run.
func TestRolesAndMessages(t *testing.T) {
	srv, s, a := newServer(t)
	srv.Publish(twoRuns(1))
	verbs := []string{
		"go_on", "open", "close", "take_lease", "drop_lease", "sim", "take_up", "park", "answer", "said_aloud", "touched", "hood_off", "mist_failed", "abandon",
		"add", "begin_proof", "welfare", "name_said", "check_begin", "learn", "calibrate_begin", "tone", "confirm_clock", "", "nothing",
	}
	for _, c := range []struct{ who, hello, run string }{
		{"wearer", `"role":"wearer"`, ""}, {"paired", `"role":"wearer","code":"` + codeA + `"`, runA}, {"parked", `"role":"wearer","code":"` + codeB + `"`, runB},
		{"trainer", `"role":"trainer"`, ""}, {"tester", `"role":"tester"`, ""},
	} {
		p := open(t, s)
		p.say(`{"type":"hello","contract":1,` + c.hello + `}`)
		p.hears("a welcome", kind("welcome"))
		for _, verb := range verbs {
			for _, run := range []string{"", runA, runB, "r999999"} {
				before := len(a.commands())
				p.say(fmt.Sprintf(`{"type":"command","id":"x","do":%q,"run":%q,"fence":3,"input":{"do":"go_on","yes":true,"by":"x","reason":"x"},"open":{"wearer":"w"}}`, verb, run))
				m := p.hears("a reply", kind("reply"))
				got := a.commands()[before:]
				page := c.who == "wearer" || c.who == "paired" || c.who == "parked"
				want := !page || c.run != "" && (verb == "welfare" || verb == "name_said") && (run == "" || run == c.run)
				at := fmt.Sprintf("%s says %q for run %q", c.who, verb, run)
				if (len(got) == 1) != want || m["ok"] != want {
					t.Errorf("%s: reached the session %d times, reply %v", at, len(got), m)
					continue
				}
				if !want || !page {
					continue
				}
				if g := got[0]; g.Run != c.run || string(g.Input.Do) != verb || g.Input.By != "" || g.Input.Reason != "" || g.Open != nil || g.Fence != 0 || g.Input.Yes != (verb == "name_said") {
					t.Errorf("%s: the session got %+v", at, g)
				}
			}
		}
		p.c.Close()
	}
	for _, r := range a.as() {
		if !slices.Contains([]wire.Role{wire.Tester, wire.Trainer, wire.Wearer}, r) {
			t.Errorf("the session was asked as %q", r)
		}
	}
}

func TestPairingEndsWithTheRun(t *testing.T) {
	srv, s, a := newServer(t)
	srv.Publish(twoRuns(1))
	tester, one, two, other := open(t, s), open(t, s), open(t, s), open(t, s)
	tester.say(`{"type":"hello","role":"tester","contract":1}`)
	tester.hears("a welcome", kind("welcome"))
	for _, c := range []struct {
		p    page
		code string
	}{{one, codeA}, {two, codeA}, {other, codeB}} {
		if got := c.p.paired(c.code); got != "yes" {
			t.Fatalf("code %s: %q", c.code, got)
		}
	}
	m, _ := tester.next(srv, twoRuns(2))
	if got := m["run"].(map[string]any)["paired"]; got != 2.0 {
		t.Errorf("the active run has %v pages, want 2", got)
	}
	if got := m["parked"].([]any)[0].(map[string]any)["paired"]; got != 1.0 {
		t.Errorf("the parked run has %v pages, want 1", got)
	}
	if got := m["watchers"]; got != 4.0 {
		t.Errorf("%v watchers, want 4", got)
	}
	// Parking and taking up keep the pairing; another run in its place does not get it.
	swapped := twoRuns(3)
	swapped.Run, swapped.Parked = &swapped.Parked[0], []wire.Run{*swapped.Run}
	if m, _ := one.next(srv, swapped); m["run"].(map[string]any)["run"] != runA {
		t.Errorf("after parking the page has %v", m["run"])
	}
	next := openRun("r000013", "Marit Quayle", "1234")
	closed := twoRuns(4)
	closed.Run = &next
	for _, p := range []page{one, two} {
		m, raw := p.next(srv, closed)
		if m["run"] != nil || m["pairing"] != "needed" || strings.Contains(raw, "Marit") {
			t.Errorf("after its run was closed a page got %s", raw)
		}
		srv.Publish(closed)
	}
	if m, _ := other.next(srv, twoRuns(5)); m["run"].(map[string]any)["run"] != runB {
		t.Errorf("the other page lost its run: %v", m["run"])
	}
	one.say(`{"type":"command","id":"x","do":"welfare","run":"` + runA + `"}`)
	if m := one.hears("a reply", kind("reply")); m["why"] != "not_allowed" || len(a.commands()) > 0 {
		t.Errorf("a page whose pairing ended was answered %v", m)
	}
	// A code of nothing pairs with nothing.
	over := twoRuns(6)
	over.Run.Code = ""
	srv.Publish(over)
	fresh := open(t, s)
	fresh.say(`{"type":"hello","role":"wearer","contract":1,"code":""}`)
	if m := fresh.hears("a welcome", kind("welcome")); m["paired"] != "" {
		t.Errorf("an empty code was answered %v", m)
	}
	if got := fresh.paired(codeA); got != "wrong" {
		t.Errorf("the code of a run that is over: %q", got)
	}
}

func TestWrongCodesMustWait(t *testing.T) {
	at := new(fakeTime)
	srv, s, _ := newServerAt(t, at.now, nil)
	srv.Publish(twoRuns(1))
	p := open(t, s)
	for i := range 5 {
		if got := p.paired("9999"); got != "wrong" {
			t.Fatalf("guess %d: %q", i+1, got)
		}
	}
	if got := p.paired(codeA); got != "later" {
		t.Fatalf("the right code while waiting: %q, want later", got)
	}
	// Each further wrong one doubles the wait, up to a minute.
	for _, want := range []time.Duration{5, 10, 20, 40, 60, 60} {
		at.pass(want*time.Second - time.Millisecond)
		if got := p.paired("9999"); got != "later" {
			t.Errorf("just before %d s: %q", want, got)
		}
		at.pass(time.Millisecond)
		if got := p.paired("9999"); got != "wrong" {
			t.Errorf("after %d s: %q", want, got)
		}
	}
	at.pass(time.Minute)
	if got := p.paired(codeA); got != "yes" {
		t.Errorf("the right code after the wait: %q", got)
	}
	if got := p.paired("9999"); got != "wrong" {
		t.Errorf("a wrong code of a paired page: %q", got)
	}
	if m, _ := p.next(srv, twoRuns(2)); m["run"] == nil {
		t.Error("a wrong code ended a pairing")
	}
	// One that comes back as a new client after each guess is stopped as well; the
	// right code in between has made up for none of the twelve wrong ones.
	for i := range 40 {
		q := open(t, s)
		got := q.paired("8888")
		q.c.Close()
		if want := map[bool]string{true: "wrong", false: "later"}[i < 18]; got != want {
			t.Fatalf("guess %d as a new client: %q, want %q", i+1, got, want)
		}
	}
}

// Whoever knows one code cannot guess at the other by giving the known one in
// between; a code that is new to all begins anew.
func TestKnownCodeGivesNoMoreGuesses(t *testing.T) {
	at := new(fakeTime)
	srv, s, _ := newServerAt(t, at.now, nil)
	srv.Publish(twoRuns(1))
	p := open(t, s)
	wrong := 0
	for i := range 60 {
		switch got := p.paired(map[bool]string{true: codeA, false: "9999"}[i%3 == 2]); got {
		case "wrong":
			wrong++
		case "later":
			if wrong != 30 {
				t.Fatalf("made to wait after %d wrong codes", wrong)
			}
			next := twoRuns(2)
			next.Parked[0].Code = "2323"
			srv.Publish(next)
			if got := p.paired("2323"); got != "yes" {
				t.Errorf("a code that is new: %q", got)
			}
			return
		}
	}
	t.Errorf("%d wrong codes without a wait", wrong)
}

func TestBoardsGoToWatchersAlone(t *testing.T) {
	srv, s, _ := newServerAt(t, new(fakeTime).now, []string{"Bench B", "Bench C"})
	srv.Publish(twoRuns(1))
	other := wire.ForRole(twoRuns(9), wire.Trainer)
	srv.Board(wire.Board{Type: "board", Name: "Bench B", State: wire.BoardLive, Snapshot: &other})
	plain, watcher := open(t, s), open(t, s)
	for _, p := range []page{plain, watcher} {
		p.say(`{"type":"hello","role":"trainer","contract":1}`)
		p.hears("a snapshot", kind("snapshot"))
	}
	watcher.say(`{"type":"watch"}`)
	if m := watcher.hears("the board that came before", kind("board")); m["name"] != "Bench B" || m["state"] != "live" {
		t.Errorf("got %v", m)
	}
	srv.Board(wire.Board{Type: "board", Name: "Bench C", State: wire.BoardLost, AgeMS: -1})
	if m := watcher.hears("the other board", func(m map[string]any) bool { return m["name"] == "Bench C" }); m["state"] != "lost" || m["snapshot"] != nil {
		t.Errorf("got %v", m)
	}
	if m, _ := watcher.next(srv, twoRuns(2)); m["watchers"] != 2.0 {
		t.Errorf("%v watchers, want 2: a board is no watcher", m["watchers"])
	}
	plain.say(`{"type":"command","id":"x","do":"go_on"}`)
	for m := plain.hear(); m["type"] != "reply"; m = plain.hear() {
		if m["type"] == "board" {
			t.Error("a page that did not ask got a board")
		}
	}
	for _, role := range []string{"tester", "wearer"} {
		p := open(t, s)
		p.say(`{"type":"hello","contract":1,"role":"` + role + `"}`)
		p.hears("a welcome", kind("welcome"))
		p.say(`{"type":"watch"}`)
		if m := p.hears("a reply", kind("reply")); m["why"] != "unknown" {
			t.Errorf("%s asked to watch and got %v", role, m)
		}
	}
}
