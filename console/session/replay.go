// SPDX-License-Identifier: Apache-2.0

package session

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"tallyhood/audio"
	"tallyhood/console/procedure"
	"tallyhood/device"
	"tallyhood/device/capture"
)

// A Replayed run is what a capture came to.
type Replayed struct {
	State procedure.State
	Facts []procedure.Dated
	Cues  []audio.Placed // that would have sounded, on the capture's clock
	End   time.Duration  // of the capture
}

// Replay runs a capture through the engine that live runs use, from Ready on.
// What is said in o about the board is taken from the capture. The capture is
// read to its end, also past the verdict, so that a malformed one is always
// found: then the error is a *capture.Error.
func Replay(r *capture.Reader, o procedure.RunOpened) (Replayed, error) {
	o.Supervised = true
	for _, l := range r.Lines() {
		if l == device.Taste {
			o.Supervised = false
		}
	}
	e := NewEngine(o, 0)
	var out Replayed
	var orders []procedure.Order
	for {
		item, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Replayed{}, err
		}
		switch {
		case item.Gap:
			e.Advance(item.At)
			e.Input(procedure.Input{At: item.At, Do: procedure.DoGap, Detail: "the recording was switched off"})
		case item.Note == "":
			e.Edge(item.Edge)
		case item.Note == noteStrict && item.At == 0:
			e.strict()
			if len(out.Facts) > 0 {
				out.Facts[0].Fact = *e.state.Opened
			}
		case item.Note == pushNotes[true], item.Note == pushNotes[false]:
			e.Edge(device.Edge{At: item.At, Line: device.Push, Closed: item.Note == pushNotes[true]})
		case item.Note == noteUnsaved:
			e.Advance(item.At)
			e.fold(procedure.Dated{At: max(item.At, e.state.At), Fact: procedure.Unsaved{}})
		default:
			if in, ok := fromNote(item); ok {
				e.Advance(item.At)
				e.Input(in)
			}
		}
		facts, ords := e.Take()
		// A capture may hold any number of presses that mean nothing; what
		// they say is in the state, so that only so many are kept.
		if len(out.Facts) < mostKept {
			out.Facts = append(out.Facts, facts...)
		}
		if len(orders) < mostKept {
			orders = append(orders, ords...)
		}
	}
	out.End = r.End()
	e.End(out.End, procedure.DoEnd)
	facts, ords := e.Take()
	out.Facts, out.State = append(out.Facts, facts...), e.state
	out.Cues = cues(append(orders, ords...))
	return out, nil
}

// mostKept bounds what a replay keeps; a whole run has some 400 facts.
const mostKept = 1 << 14

// cues are the sounds that a list of orders makes, dropped ones left out.
func cues(orders []procedure.Order) []audio.Placed {
	var out []audio.Placed
	for _, o := range orders {
		if o.Drop {
			n := 0
			for _, c := range out {
				if c.At < o.At {
					out[n] = c
					n++
				}
			}
			out = out[:n]
			continue
		}
		out = append(out, audio.Placed{Cue: audio.Cue(o.Cue), At: o.At})
	}
	return out
}

// Notes of a capture carry what people and the box itself said, since no contact
// shows it.
const notePrefix = "input "

// noteStrict, at the beginning of a capture, says that the live run demanded
// waits and answers, so that what was refused then is refused again.
const noteStrict = "strict"

// noteUnsaved says that the journal did not take what pages showed of the live
// run, so that its pass does not stand.
const noteUnsaved = "unsaved"

// pushNotes are the edges of device.Push in a capture, which has wires for
// contacts alone.
var pushNotes = map[bool]string{true: "push begun", false: "push told"}

// strict makes a run that has just been opened a strict one.
func (e *Engine) strict() {
	o := *e.state.Opened
	o.Strict = true
	e.state.Opened = &o
	for i, f := range e.facts {
		if _, opened := f.Fact.(procedure.RunOpened); opened {
			e.facts[i].Fact = o
		}
	}
}

// noteOf is the note of a capture for an input.
func noteOf(in procedure.Input) (string, error) {
	b, err := json.Marshal(in)
	if err != nil {
		return "", fmt.Errorf("note: %w", err)
	}
	// A capture ends a note at this word.
	return notePrefix + strings.ReplaceAll(string(b), "$", "\\u0024"), nil
}

func fromNote(item capture.Item) (procedure.Input, bool) {
	text, ok := strings.CutPrefix(item.Note, notePrefix)
	if !ok {
		return procedure.Input{}, false
	}
	var in procedure.Input
	if json.Unmarshal([]byte(text), &in) != nil || !procedure.FromPerson(in.Do) && !procedure.FromBox(in.Do) {
		return procedure.Input{}, false
	}
	in.At = item.At
	return in, true
}
