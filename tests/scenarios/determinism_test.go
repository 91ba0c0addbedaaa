// SPDX-License-Identifier: Apache-2.0

package scenarios

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/session"
	"tallyhood/device/capture"
)

// body is all that a replay says, as bytes.
func body(t *testing.T, facts []procedure.Dated, s procedure.State) []byte {
	t.Helper()
	var b bytes.Buffer
	for _, d := range facts {
		x, err := procedure.Encode(d)
		if err != nil {
			t.Fatal(err)
		}
		b.WriteString(d.Fact.Kind() + " ")
		b.Write(x)
		b.WriteString("\n")
	}
	rec, err := record.Of(s)
	if err != nil {
		t.Fatal(err)
	}
	j, err := rec.JSON()
	if err != nil {
		t.Fatal(err)
	}
	return append(b.Bytes(), j...)
}

// spoiled is a story with faults and, every second time, chattering contacts.
func spoiled(seed uint64) (s *story, chatter bool) {
	s = newStory(seed)
	for range seed % 4 {
		s.spoil()
	}
	s.settle()
	return s, seed%2 == 0
}

// The same capture in units of 1 fs to 1 us gives the same bytes.
func TestScalesGiveTheSameBytes(t *testing.T) {
	set := rules(t)["us-osha"]
	for seed := range uint64(12) {
		s, chatter := spoiled(seed)
		tape := s.tape(chatter)
		var first []byte
		for _, scale := range []string{"1 us", "100 ns", "10 ns", "1 ns", "100 ps", "1 ps", "1 fs"} {
			vcd, err := tape.VCD(Scales[scale])
			if err != nil {
				t.Fatal(err)
			}
			got, _, err := replay(vcd, procedure.RunOpened{Run: "replay", Rules: set, Agent: "sweet"}, nil)
			if err != nil {
				t.Fatal(err)
			}
			b := body(t, got.Facts, got.State)
			if first == nil {
				first = b
			}
			if !bytes.Equal(b, first) {
				t.Errorf("seed %d: in units of %s the facts differ\n%s", seed, scale, difference(string(b), string(first)))
			}
		}
	}
}

// However often an engine is asked, and about which instants, it says the same:
// a live run wakes when it likes.
func TestAskingOftenChangesNothing(t *testing.T) {
	set := rules(t)["us-osha"]
	for seed := range uint64(80) {
		s, chatter := spoiled(seed)
		vcd, err := s.tape(chatter).VCD(Scales["1 us"])
		if err != nil {
			t.Fatal(err)
		}
		play := func(asked *rand.Rand) ([]procedure.Dated, procedure.State) {
			r, err := capture.Open(bytes.NewReader(vcd), capture.Options{})
			if err != nil {
				t.Fatal(err)
			}
			e := session.NewEngine(procedure.RunOpened{Run: "replay", Rules: set, Agent: "sweet", Supervised: !s.single}, 0)
			ask := func(to time.Duration) {
				if asked == nil {
					return
				}
				for e.Now() < to && asked.IntN(4) > 0 {
					next := e.Now() + time.Duration(asked.Int64N(int64(to-e.Now())+1))
					if at, ok := e.Next(); ok && at < to && asked.IntN(2) == 0 {
						next = at
					}
					e.Advance(next)
				}
			}
			var facts []procedure.Dated
			for {
				it, err := r.Next()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				ask(it.At)
				if it.Note == "" && !it.Gap {
					e.Edge(it.Edge)
				}
				f, _ := e.Take()
				facts = append(facts, f...)
			}
			ask(r.End())
			e.End(r.End(), procedure.DoEnd)
			f, _ := e.Take()
			return append(facts, f...), e.State()
		}
		facts, state := play(nil)
		seldom := body(t, facts, state)
		facts, state = play(rand.New(rand.NewPCG(seed, 1)))
		often := body(t, facts, state)
		if !bytes.Equal(seldom, often) {
			t.Errorf("seed %d: asked often the engine says otherwise\n%s", seed, difference(string(often), string(seldom)))
		}
	}
}

// The facts of a run, written and read again, give the same run.
func TestFactsSurviveTheirBytes(t *testing.T) {
	set := rules(t)["uk-hse"]
	for seed := range uint64(40) {
		s, chatter := spoiled(seed)
		vcd, err := s.tape(chatter).VCD(Scales["1 us"])
		if err != nil {
			t.Fatal(err)
		}
		got, _, err := replay(vcd, procedure.RunOpened{Run: "replay", Rules: set, Agent: "sweet"}, nil)
		if err != nil {
			t.Fatal(err)
		}
		var again procedure.State
		for _, d := range got.Facts {
			b, err := procedure.Encode(d)
			if err != nil {
				t.Fatal(err)
			}
			x, err := procedure.Decode(d.Fact.Kind(), procedure.FactVersion, b)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(x, d) {
				t.Fatalf("seed %d: %s read again is %+v, was %+v", seed, d.Fact.Kind(), x, d)
			}
			again = procedure.Fold(again, x)
		}
		a, b := body(t, nil, got.State), body(t, nil, again)
		if !bytes.Equal(a, b) {
			t.Errorf("seed %d: the record of the facts read again\n%s", seed, difference(string(b), string(a)))
		}
	}
}
