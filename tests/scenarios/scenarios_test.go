// SPDX-License-Identifier: Apache-2.0

package scenarios

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/session"
	"tallyhood/device"
	"tallyhood/device/capture"
)

var update = flag.Bool("update", false, "write the timelines of the scripts anew; what a script expects and checks stays")

// mark divides what is written by hand from the timeline that came of it.
const mark = "-- timeline --\n"

func rules(t testing.TB) map[string]procedure.RuleSet {
	t.Helper()
	all, err := procedure.Rules()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func replay(vcd []byte, o procedure.RunOpened, invert map[string]bool) (session.Replayed, record.Record, error) {
	var inv []device.Line
	for l := range invert {
		inv = append(inv, device.Line(l))
	}
	r, err := capture.Open(bytes.NewReader(vcd), capture.Options{Invert: inv})
	if err != nil {
		return session.Replayed{}, record.Record{}, err
	}
	got, err := session.Replay(r, o)
	if err != nil {
		return session.Replayed{}, record.Record{}, err
	}
	rec, err := record.Of(got.State)
	return got, rec, err
}

func (c Case) play(t testing.TB) (session.Replayed, record.Record) {
	t.Helper()
	vcd, err := c.Tape.VCD(c.Scale)
	if err != nil {
		t.Fatal(err)
	}
	set, ok := rules(t)[c.Rules]
	if !ok {
		t.Fatalf("no rule set %q", c.Rules)
	}
	got, rec, err := replay(vcd, procedure.RunOpened{Run: "replay", Rules: set, Agent: c.Agent}, c.Tape.Invert)
	if err != nil {
		t.Fatal(err)
	}
	return got, rec
}

func TestScripts(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	reasons, played := map[procedure.Reason]bool{}, 0
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			raw, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			script, want, _ := strings.Cut(string(raw), mark)
			cases, err := Parse(script)
			if err != nil {
				t.Fatal(err)
			}
			played++
			var line strings.Builder
			for _, c := range cases {
				got, rec := c.play(t)
				reasons[rec.Reason] = true
				if text := strings.TrimSpace(string(rec.Outcome) + " " + string(rec.Reason)); text != c.Expect {
					t.Errorf("case %q came to %q, expected %q", c.Name, text, c.Expect)
				}
				b, err := rec.JSON()
				if err != nil {
					t.Fatal(err)
				}
				for _, k := range c.Checks {
					if v := part(t, b, k[0]); v != k[1] {
						t.Errorf("case %q: %s is %q, expected %q", c.Name, k[0], v, k[1])
					}
				}
				fmt.Fprintf(&line, "case %s\n%s", c.Name, timeline(t, got))
			}
			if *update {
				if t.Failed() {
					t.Fatal("not updated: what the script expects by hand does not hold")
				}
				if err := os.WriteFile(file, []byte(script+mark+line.String()), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if line.String() != want {
				t.Errorf("the timeline differs; from the first difference\n%s", difference(line.String(), want))
			}
		})
	}
	if played < len(files) {
		return // only some were asked for
	}
	// The reasons that no contact and no person at a page can give.
	never := map[procedure.Reason]bool{procedure.PowerLost: true, procedure.JournalFailed: true, procedure.InputGap: true, procedure.Stalled: true}
	for _, r := range []procedure.Reason{
		"", procedure.Tasted, procedure.TastedBeforeClock, procedure.TopUpShort, procedure.Interrupted, procedure.CableOpen,
		procedure.CableShort, procedure.HoodOff, procedure.FacepieceTouched, procedure.StoppedForWelfare, procedure.MistCheckFailed,
		procedure.NoTasteBy30, procedure.DoubtfulReport, procedure.ButtonUnproven,
		procedure.PowerLost, procedure.JournalFailed, procedure.InputGap, procedure.Stalled,
	} {
		if reasons[r] == never[r] {
			t.Errorf("reason %q: in a script %v", r, reasons[r])
		}
	}
}

// part is one value of a record; places in a list count from 1.
func part(t *testing.T, rec []byte, path string) string {
	t.Helper()
	var v any
	if err := json.Unmarshal(rec, &v); err != nil {
		t.Fatal(err)
	}
	for key := range strings.SplitSeq(path, ".") {
		switch x := v.(type) {
		case map[string]any:
			y, ok := x[key]
			if !ok {
				t.Fatalf("the record has no %s", path)
			}
			v = y
		case []any:
			n, err := strconv.Atoi(key)
			if err != nil || n < 1 || n > len(x) {
				return "absent"
			}
			v = x[n-1]
		default:
			t.Fatalf("%s: %v has no parts", path, v)
		}
	}
	return say(v)
}

func say(v any) string {
	switch x := v.(type) {
	case nil:
		return "null"
	case float64:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case []any:
		if len(x) == 0 {
			return "none"
		}
		var out []string
		for _, e := range x {
			out = append(out, say(e))
		}
		return strings.Join(out, "; ")
	case map[string]any:
		return fmt.Sprintf("%d parts", len(x))
	}
	return fmt.Sprint(v)
}

// timeline is the facts of a run, runs of equal ones on one line. The opening
// is left out, and so is the contacts' own business: the edges rejected and when
// a release or a cable put in again was sure.
func timeline(t *testing.T, r session.Replayed) string {
	t.Helper()
	type row struct {
		first, last time.Duration
		text        string
		n           int
	}
	var rows []row
	for _, d := range r.Facts {
		f := d.Fact
		if _, open := f.(procedure.RunOpened); open {
			continue
		}
		if _, ok := f.(procedure.Healed); ok {
			continue
		}
		if x, ok := f.(procedure.Moved); ok && !strings.HasSuffix(x.What, "_down") {
			continue
		}
		if x, ok := f.(procedure.Tallied); ok {
			x.Noise = 0
			f = x
		}
		b, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		text := f.Kind() + " " + string(b)
		if n := len(rows); n > 0 && rows[n-1].text == text {
			rows[n-1].last = d.At
			rows[n-1].n++
			continue
		}
		rows = append(rows, row{d.At, d.At, text, 1})
	}
	var b strings.Builder
	for _, x := range rows {
		fmt.Fprintf(&b, "  %s %s", stamp(x.first), x.text)
		if x.n > 1 {
			fmt.Fprintf(&b, " x%d to %s", x.n, stamp(x.last))
		}
		b.WriteString("\n")
	}
	return b.String()
}

// stamp writes an instant to the millisecond, and a remainder in nanoseconds.
func stamp(d time.Duration) string {
	s := fmt.Sprintf("%.3f", float64(d.Truncate(time.Millisecond))/float64(time.Second))
	if rest := d % time.Millisecond; rest != 0 {
		s += fmt.Sprintf("+%dns", rest)
	}
	return s
}

func difference(got, want string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	i := 0
	for i < len(g) && i < len(w) && g[i] == w[i] {
		i++
	}
	at := func(x []string) string {
		if i < len(x) {
			return x[i]
		}
		return "(end)"
	}
	return fmt.Sprintf("got  %s\nwant %s", at(g), at(w))
}
