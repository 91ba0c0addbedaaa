// SPDX-License-Identifier: Apache-2.0

package session

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/file"
	"tallyhood/console/procedure"
	"tallyhood/device"
	"tallyhood/device/capture"
)

// wholeRun is a capture of a whole run of bin 30 without a taste, 16 minutes
// with over 500 edges, written by a board's own recorder.
func wholeRun(t testing.TB, note func(*capture.Writer)) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := capture.NewWriter(&b, capture.Header{
		Lines:  []device.Line{device.Squeeze, device.Step, device.TasteNO, device.TasteNC},
		Closed: []device.Line{device.TasteNC},
	})
	if err != nil {
		t.Fatal(err)
	}
	at := time.Second
	edge := func(d time.Duration, l device.Line, closed bool) {
		if err := w.Edge(device.Edge{At: at + d, Line: l, Closed: closed}); err != nil {
			t.Fatal(err)
		}
	}
	press := func(l device.Line, then time.Duration) {
		edge(0, l, true)
		edge(100*ms, l, false)
		at += then
	}
	press(device.Step, 2*time.Second)
	for range 25 {
		press(device.Squeeze, time.Second)
	}
	edge(0, device.TasteNC, false)
	edge(0, device.TasteNO, true)
	edge(300*ms, device.TasteNO, false)
	edge(300*ms, device.TasteNC, true)
	at += time.Minute
	press(device.Step, 301*time.Second)
	press(device.Step, 2*time.Second)
	for range 30 {
		press(device.Squeeze, time.Second)
	}
	t0 := at - time.Second
	if note != nil {
		note(w)
	}
	for k := range 13 {
		at = t0 + time.Duration(30*(k+1))*time.Second
		for range 15 {
			press(device.Squeeze, 900*ms)
		}
	}
	if err := w.Close(t0 + 425*time.Second); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func play(t testing.TB, vcd []byte) (Replayed, error) {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	r, err := capture.Open(bytes.NewReader(vcd), capture.Options{})
	if err != nil {
		return Replayed{}, err
	}
	return Replay(r, procedure.RunOpened{Run: "replay", Rules: all["us-osha"], Agent: "sweet"})
}

func TestReplayWholeRun(t *testing.T) {
	got, err := play(t, wholeRun(t, nil))
	if err != nil {
		t.Fatal(err)
	}
	if v := got.State.Verdict; v == nil || v.Outcome != procedure.Pass {
		t.Fatalf("verdict %+v", v)
	}
	// A cue for every squeeze, the changes of exercise, and one for the pass.
	n := map[string]int{}
	for i, c := range got.Cues {
		n[string(c.Cue)]++
		if c.At > got.End {
			t.Errorf("cue %d, %s, at %v after the end", i, c.Cue, c.At)
		}
	}
	if n["exercise_change"] != 6 || n["five_seconds"] != 7 || n["top_up_due"] != 13 || n["pass"] != 1 || n["dose_done"] != 14 {
		t.Errorf("cues: %v", n)
	}
}

// A recording that was off over the end of the exercises may have lost a report
// in them, whenever it is on again and whether or not it says so.
func TestReplayOffOverTheEnd(t *testing.T) {
	whole := wholeRun(t, nil)
	head := whole[:bytes.LastIndexByte(whole, '#')]
	stamp, err := strconv.ParseInt(strings.TrimSpace(string(whole[len(head)+1:])), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	over := time.Duration(stamp) - 5*time.Second
	at := func(d time.Duration) string { return fmt.Sprintf("#%d\n", (over + d).Nanoseconds()) }
	const off, on, rest = "$dumpoff xa xb xc xd $end\n", "$dumpon 0a 0b 0c 1d $end\n", "1d\n"
	for _, c := range []struct {
		name, tail string
		end        time.Duration // of the file
		want       procedure.Reason
	}{
		{"on again after it", at(-30*ms) + off + at(15*ms) + on, 5 * time.Second, procedure.InputGap},
		{"off just before it", at(-ms) + off + at(29*ms) + on, 5 * time.Second, procedure.InputGap},
		{"on again without a word", at(-30*ms) + off + at(15*ms) + rest, 5 * time.Second, procedure.InputGap},
		{"off twice", at(-30*ms) + off + at(-10*ms) + off + at(15*ms) + on, 5 * time.Second, procedure.InputGap},
		{"off to the end of the file", at(-30*ms) + off, 15 * ms, procedure.InputGap},
		{"off until the cable is out", at(-30*ms) + off + at(40*ms) + on, 5 * time.Second, procedure.CableOpen},
		{"off after it", at(ms) + off + at(30*ms) + on, 5 * time.Second, ""},
	} {
		got, err := play(t, append(slices.Clone(head), c.tail+at(c.end)...))
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		v := got.State.Verdict
		if v == nil || v.Reason != c.want || (c.want == "") != (v.Outcome == procedure.Pass) {
			t.Errorf("%s: verdict %+v, want %q", c.name, v, c.want)
		}
	}
}

// A capture is read to its end, also past the verdict: what is malformed there
// is found and no verdict is given.
func TestReplayReadsPastTheVerdict(t *testing.T) {
	vcd := append(wholeRun(t, nil), "#1\n"...)
	got, err := play(t, vcd)
	var bad *capture.Error
	if !errors.As(err, &bad) || !strings.Contains(bad.What, "goes back") {
		t.Fatalf("error %v", err)
	}
	if got.State.Verdict != nil || got.Facts != nil {
		t.Errorf("a malformed capture gave %+v", got.State.Verdict)
	}
}

// Notes carry what people said, and nothing that only a contact or the box may say.
func TestNotes(t *testing.T) {
	for _, c := range []struct {
		note string
		want procedure.Reason
	}{
		{`input {"do":"hood_off"}`, procedure.HoodOff},
		{`input {"do":"said_aloud"}`, procedure.Tasted},
		{`input {"do":"press","source":"report"}`, ""},
		{`input {"do":"power_lost"}`, ""},
		{`input {"do":"end"}`, ""},
		{`input {"do":"nonsense"}`, ""},
		{`input {"do":`, ""},
		{`weather {"do":"hood_off"}`, ""},
	} {
		got, err := play(t, wholeRun(t, func(w *capture.Writer) {
			if err := w.Note(440*time.Second, c.note); err != nil {
				t.Fatal(err)
			}
		}))
		if err != nil {
			t.Fatal(err)
		}
		if got.State.Verdict.Reason != c.want {
			t.Errorf("%s: %s %q, want %q", c.note, got.State.Verdict.Outcome, got.State.Verdict.Reason, c.want)
		}
	}
	// What noteOf writes, fromNote reads.
	in := procedure.Input{At: time.Second, Do: procedure.DoCorrect, Delta: 1, Reason: "missed $end of it", By: "Tom Reed"}
	text, err := noteOf(in)
	if err != nil {
		t.Fatal(err)
	}
	if back, ok := fromNote(capture.Item{At: time.Second, Note: text}); !ok || back != in || strings.Contains(text, "$") {
		t.Errorf("%q is read as %+v %v", text, back, ok)
	}
}

// A capture of any length is replayed in bounded memory.
func TestReplayKeepsSoMuch(t *testing.T) {
	var b bytes.Buffer
	w, err := capture.NewWriter(&b, capture.Header{Lines: []device.Line{device.Squeeze, device.Step, device.Taste}})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20000 {
		at := time.Duration(i) * 300 * ms
		err = errors.Join(err, w.Edge(device.Edge{At: at, Line: device.Squeeze, Closed: true}), w.Edge(device.Edge{At: at + 100*ms, Line: device.Squeeze}))
	}
	if err = errors.Join(err, w.Close(7000*time.Second)); err != nil {
		t.Fatal(err)
	}
	got, err := play(t, b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if n := len(got.Facts); n > mostKept+100 {
		t.Errorf("%d facts kept", n)
	}
	if v := got.State.Verdict; v == nil || v.Reason != procedure.Interrupted {
		t.Errorf("verdict %+v", v)
	}
	if tally := got.State.Tally; tally == nil || tally.Squeeze != 20000 {
		t.Errorf("tally %+v", tally)
	}
	if last := got.Facts[len(got.Facts)-1].Fact; !slices.Contains([]string{"ended"}, last.Kind()) {
		t.Errorf("the last fact kept is %s", last.Kind())
	}
}

func BenchmarkReplay(b *testing.B) {
	vcd := wholeRun(b, nil)
	b.ReportAllocs()
	for b.Loop() {
		got, err := play(b, vcd)
		if err != nil || got.State.Verdict.Outcome != procedure.Pass {
			b.Fatalf("%v %+v", err, got.State.Verdict)
		}
	}
}

// BenchmarkCueTrack mixes the cues of a run into a track of 8 minutes.
func BenchmarkCueTrack(b *testing.B) {
	got, err := play(b, wholeRun(b, nil))
	if err != nil {
		b.Fatal(err)
	}
	const long = 8 * time.Minute
	from := got.End - long
	cues := slices.Clone(got.Cues)
	cues = slices.DeleteFunc(cues, func(c audio.Placed) bool { return c.At < from })
	for i := range cues {
		cues[i].At -= from
	}
	b.ResetTimer()
	for b.Loop() {
		if err := file.WriteTrack(io.Discard, cues, long); err != nil {
			b.Fatal(err)
		}
	}
}
