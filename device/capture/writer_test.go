// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"bytes"
	"errors"
	"io"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tallyhood/device"
)

var (
	supervised = []device.Line{device.Squeeze, device.Step, device.TasteNO, device.TasteNC}
	single     = []device.Line{device.Squeeze, device.Step, device.Taste}
)

// written is the form of a capture that must stay: files outlive the program.
const written = `$date 2031-05-04 $end
$version tallyhood $end
$timescale 1 ns $end
$scope module board $end
$var wire 1 a squeeze $end
$var wire 1 b step $end
$var wire 1 c taste_no $end
$var wire 1 d taste_nc $end
$upscope $end
$enddefinitions $end
#0
$dumpvars 0a 0b 0c 1d $end
1a
#1500
0a
$comment tallyhood run begin "Ü" $end
1a
#2000
0d
1c
#9000
`

func TestWriterBytes(t *testing.T) {
	var b bytes.Buffer
	w, err := NewWriter(&b, Header{
		Lines:  []device.Line{device.TasteNC, device.Step, device.TasteNO, device.Squeeze},
		Closed: []device.Line{device.TasteNC},
		Date:   "2031-05-04",
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, err := range []error{
		w.Edge(device.Edge{Line: device.TasteNC, Closed: true}), // as it was: writes nothing
		w.Edge(device.Edge{Line: device.Squeeze, Closed: true, Seq: 7}),
		w.Edge(device.Edge{At: 1500, Line: device.Squeeze}),
		w.Note(1500, `run begin "Ü"`),
		w.Edge(device.Edge{At: 1500, Line: device.Squeeze, Closed: true}),
		w.Edge(device.Edge{At: 2000, Line: device.TasteNC}),
		w.Edge(device.Edge{At: 2000, Line: device.TasteNO, Closed: true}),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if b.Len() != 0 {
		t.Errorf("%d bytes before Flush", b.Len())
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if got, want := b.String(), strings.TrimSuffix(written, "#9000\n"); got != want {
		t.Errorf("flushed:\n%s\nwant:\n%s", got, want)
	}
	if err := w.Close(9000); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(9000); err != nil {
		t.Errorf("second Close: %v", err)
	}
	if b.String() != written {
		t.Errorf("closed:\n%s\nwant:\n%s", &b, written)
	}
	if err := w.Edge(device.Edge{At: 9000, Line: device.Squeeze}); err == nil {
		t.Error("Edge after Close gives no error")
	}
	if err := w.Note(9000, "x"); err == nil {
		t.Error("Note after Close gives no error")
	}
	got, err := tell(&b, Options{})
	want := `0+taste_nc 0+squeeze 1500-squeeze 1500 "run begin \"Ü\"" 1500+squeeze 2000-taste_nc 2000+taste_no 9000.`
	if got != want || err != nil {
		t.Errorf("read back %s, %v\nwant %s", got, err, want)
	}
}

// A file of a Writer that lost its tail is a capture when it was cut between
// two lines after its header, and bad input when it was cut anywhere else.
func TestCutFile(t *testing.T) {
	header := strings.Index(written, "#0\n")
	for n := range len(written) {
		got, err := tell(strings.NewReader(written[:n]), Options{})
		var bad *Error
		if n < header || written[n-1] != '\n' {
			if !errors.As(err, &bad) {
				t.Errorf("cut behind %q: %s, %v, want an *Error", written[:n], got, err)
			}
		} else if err != nil {
			t.Errorf("cut behind %q: %v", written[:n], err)
		}
	}
}

func TestWriterRefuses(t *testing.T) {
	for name, h := range map[string]Header{
		"no lines":             {},
		"no step":              {Lines: []device.Line{device.Squeeze, device.Taste}},
		"half a pair":          {Lines: []device.Line{device.Squeeze, device.Step, device.TasteNO}},
		"pair and single":      {Lines: device.Lines()},
		"a line twice":         {Lines: append([]device.Line{device.Step}, single...)},
		"an unknown line":      {Lines: append([]device.Line{"bulb"}, single...)},
		"closed but not there": {Lines: single, Closed: []device.Line{device.TasteNC}},
		"closed but unknown":   {Lines: single, Closed: []device.Line{"bulb"}},
		"date of two lines":    {Lines: single, Date: "a\nb"},
		"date with $end":       {Lines: single, Date: "a $end"},
		"date with a keyword":  {Lines: single, Date: "a $var b"},
	} {
		if _, err := NewWriter(io.Discard, h); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	w, err := NewWriter(io.Discard, Header{Lines: single})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Edge(device.Edge{At: -1, Line: device.Squeeze, Closed: true}); err == nil {
		t.Error("an edge before time 0 gives no error")
	}
	if err := w.Note(5, "x"); err != nil {
		t.Fatal(err)
	}
	if err := w.Edge(device.Edge{At: 4, Line: device.Squeeze, Closed: true}); err == nil {
		t.Error("an edge that goes back in time gives no error")
	}
	if err := w.Edge(device.Edge{At: 5, Line: device.TasteNO, Closed: true}); err == nil {
		t.Error("an edge of a line that is not there gives no error")
	}
	if err := w.Close(4); err == nil {
		t.Error("an end that goes back in time gives no error")
	}
	for _, text := range []string{"", " a", "a ", "a\nb", "a\rb", "a\tb", "a\x00", "a $end b", "$end", "\xff", "a\u2028b", strings.Repeat("a", MaxNote+1)} {
		if err := w.Note(5, text); err == nil {
			t.Errorf("the note %q gives no error", text)
		}
	}
}

// lines is a writer that keeps what it is given in pieces, and fails after
// some of them.
type lines struct {
	pieces []string
	left   int
}

func (l *lines) Write(p []byte) (int, error) {
	if l.left == 0 {
		return 0, errors.New("card full")
	}
	l.left--
	l.pieces = append(l.pieces, string(p))
	return len(p), nil
}

func TestWriterWritesWholeLines(t *testing.T) {
	out := &lines{left: 5}
	w, err := NewWriter(out, Header{Lines: single})
	if err != nil {
		t.Fatal(err)
	}
	for i := range time.Duration(1_000_000) {
		if err = w.Edge(device.Edge{At: i * time.Millisecond, Line: device.Squeeze, Closed: i%2 == 0}); err != nil {
			break
		}
	}
	if err == nil || !strings.Contains(err.Error(), "card full") {
		t.Fatalf("%v, want the error of the underlying writer", err)
	}
	if again := w.Note(time.Hour, "x"); again != err {
		t.Errorf("after a failed write: %v, want the same error", again)
	}
	if again := w.Flush(); again != err {
		t.Errorf("Flush after a failed write: %v, want the same error", again)
	}
	if again := w.Close(time.Hour); again != err {
		t.Errorf("Close after a failed write: %v, want the same error", again)
	}
	if len(out.pieces) != 5 {
		t.Fatalf("%d pieces", len(out.pieces))
	}
	for _, p := range out.pieces {
		if !strings.HasSuffix(p, "\n") || len(p) > chunk+MaxNote {
			t.Errorf("a piece of %d bytes ends with %q", len(p), p[len(p)-5:])
		}
	}
}

type short struct{}

func (short) Write(p []byte) (int, error) { return len(p) - 1, nil }

func TestShortWriteIsAnError(t *testing.T) {
	w, err := NewWriter(short{}, Header{Lines: single})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(0); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("%v, want io.ErrShortWrite", err)
	}
}

// What goes through a Writer and a Reader comes out as it went in, but for
// edges that change nothing.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		have := rapid.SampledFrom([][]device.Line{supervised, single}).Draw(t, "lines")
		h := Header{Lines: have, Date: rapid.SampledFrom([]string{"", "once upon a time"}).Draw(t, "date")}
		levels := map[device.Line]bool{}
		var want []Item
		for _, l := range have {
			if rapid.Bool().Draw(t, "closed at 0") {
				h.Closed = append(h.Closed, l)
				levels[l] = true
				want = append(want, Item{Edge: device.Edge{Line: l, Closed: true}})
			}
		}
		var b bytes.Buffer
		w, err := NewWriter(&b, h)
		if err != nil {
			t.Fatal(err)
		}
		var now time.Duration
		for range rapid.IntRange(0, 60).Draw(t, "items") {
			now += time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "pause"))
			switch rapid.IntRange(0, 6).Draw(t, "kind") {
			case 0:
				text := rapid.StringMatching(`[!-~üé€]([ -~üé€]{0,30}[!-~üé€])?`).Draw(t, "note")
				err := w.Note(now, text)
				if strings.Contains(text, "$end") {
					if err == nil {
						t.Fatalf("the note %q gives no error", text)
					}
					continue
				}
				if err != nil {
					t.Fatal(err)
				}
				want = append(want, Item{At: now, Note: text})
			case 1:
				if err := w.Flush(); err != nil {
					t.Fatal(err)
				}
			default:
				e := device.Edge{At: now, Line: rapid.SampledFrom(have).Draw(t, "line"), Closed: rapid.Bool().Draw(t, "level")}
				if err := w.Edge(e); err != nil {
					t.Fatal(err)
				}
				if levels[e.Line] != e.Closed {
					levels[e.Line] = e.Closed
					want = append(want, Item{At: now, Edge: e})
				}
			}
		}
		now += time.Duration(rapid.Int64Range(0, 5).Draw(t, "rest"))
		if err := w.Close(now); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		got, end, err := items(strings.NewReader(text))
		if err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		if !reflect.DeepEqual(got, want) || end != now {
			t.Fatalf("got  %v, end %d\nwant %v, end %d\n%s", got, end, want, now, text)
		}
		// A tail that is lost takes nothing but what stood in it.
		cut := rapid.IntRange(0, len(text)).Draw(t, "cut")
		part, _, err := items(strings.NewReader(text[:cut]))
		if len(part) > len(want) || len(part) > 0 && !reflect.DeepEqual(part, want[:len(part)]) {
			t.Fatalf("cut behind %d bytes: %v is no beginning of %v", cut, part, want)
		}
		var bad *Error
		// Right behind the header is no longer inside it.
		if whole := cut >= strings.Index(text, "#0\n") && text[cut-1] == '\n'; whole != (err == nil) || err != nil && !errors.As(err, &bad) {
			t.Fatalf("cut behind %q: %v", text[:cut], err)
		}
	})
}

// A capture that lost all but its header is one in which nothing happened; one
// byte less and it ends inside its header.
func TestHeaderAlone(t *testing.T) {
	var b bytes.Buffer
	w, err := NewWriter(&b, Header{Lines: supervised})
	if err == nil {
		err = w.Close(0)
	}
	if err != nil {
		t.Fatal(err)
	}
	header, _, ok := strings.Cut(b.String(), "#0\n")
	if !ok {
		t.Fatalf("no #0 in %q", b.String())
	}
	if got, end, err := items(strings.NewReader(header)); err != nil || len(got) != 0 || end != 0 {
		t.Errorf("the header alone: %v, end %v, %v", got, end, err)
	}
	var bad *Error
	if _, _, err := items(strings.NewReader(header[:len(header)-1])); !errors.As(err, &bad) {
		t.Errorf("the header without its last byte: %v", err)
	}
}

// items reads a capture as far as it can be read.
func items(src io.Reader) (all []Item, end time.Duration, err error) {
	r, err := Open(src, Options{})
	if err != nil {
		return nil, 0, err
	}
	all, err = rest(r)
	return all, r.End(), err
}

// rest is what a reader has left to give, and why it stops; nil at the end.
func rest(r *Reader) (all []Item, err error) {
	for {
		it, err := r.Next()
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		all = append(all, it)
	}
}
