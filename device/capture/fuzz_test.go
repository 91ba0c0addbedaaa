// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"bytes"
	"errors"
	"io"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"tallyhood/device"
)

// Whatever the bytes are, the reader neither panics nor hangs, points into the
// file when it complains, keeps the order of time and the change of levels,
// and what it reads can be written and read again.
func FuzzReader(f *testing.F) {
	f.Add([]byte(small + "#1\n1!\n$comment tallyhood run begin $end\n#2 x! bx \" #3\n"))
	f.Add([]byte(written))
	f.Add([]byte(written[:len(written)-3]))
	f.Add([]byte(generatedHeader + "$dumpvars 1! 0\" $end\n#99999999999999999999 1&'"))
	f.Add([]byte("$timescale 100 fs $end $var wire 1 ! \\squeeze [0] $end $var wire 1 \" step $end $var wire 1 # taste $end $enddefinitions $end #18446744073709551615 1!"))
	f.Add([]byte("\xef\xbb\xbf$comment\r\n$end\r\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := Open(bytes.NewReader(text), Options{})
		if err != nil {
			checkPlace(t, text, err)
			return
		}
		if inverted, err := Open(bytes.NewReader(text), Options{Invert: r.Lines()}); err != nil {
			t.Fatalf("inverted: %v", err)
		} else {
			for err = error(nil); err == nil; {
				_, err = inverted.Next()
			}
		}
		var all []Item
		level := map[device.Line]bool{}
		var last time.Duration
		for len(all) <= len(text) {
			it, err := r.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				checkPlace(t, text, err)
				break
			}
			if it.At < last {
				t.Fatalf("time goes back from %d to %d", last, it.At)
			}
			last = it.At
			if it.Note == "" && !it.Gap {
				if level[it.Edge.Line] == it.Edge.Closed || it.Edge.At != it.At || !slices.Contains(r.Lines(), it.Edge.Line) {
					t.Fatalf("edge %v after level %v", it.Edge, level[it.Edge.Line])
				}
				level[it.Edge.Line] = it.Edge.Closed
			}
			all = append(all, it)
		}
		if len(all) > len(text) {
			t.Fatalf("%d items out of %d bytes", len(all), len(text))
		}
		if r.End() < last {
			t.Fatalf("the capture ends at %d, its last item is at %d", r.End(), last)
		}
		slow, _, _ := items(iotest.HalfReader(bytes.NewReader(text)))
		if !reflect.DeepEqual(slow, all) {
			t.Fatalf("in pieces %v, at once %v", slow, all)
		}
		var b strings.Builder
		w, err := NewWriter(&b, Header{Lines: r.Lines()})
		if err != nil {
			t.Fatal(err)
		}
		all = slices.DeleteFunc(all, func(it Item) bool { return it.Gap }) // a Writer is never off
		for _, it := range all {
			if it.Note != "" {
				err = w.Note(it.At, it.Note)
			} else {
				err = w.Edge(it.Edge)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(r.End()); err != nil {
			t.Fatal(err)
		}
		again, end, err := items(strings.NewReader(b.String()))
		if err != nil || end != r.End() || !reflect.DeepEqual(again, all) {
			t.Fatalf("written and read again: %v, end %d, %v\nwant %v, end %d", again, end, err, all, r.End())
		}
	})
}

// checkPlace holds an error to a place inside the file, or just behind it.
func checkPlace(t *testing.T, text []byte, err error) {
	t.Helper()
	var bad *Error
	if !errors.As(err, &bad) {
		t.Fatalf("%v is no *Error", err)
	}
	checkMessage(t, err)
	rows := bytes.Split(text, []byte("\n"))
	if bad.Line < 1 || bad.Line > len(rows) || bad.Column < 1 || bad.Column > len(rows[bad.Line-1])+1 {
		t.Fatalf("%v: the file has no such place", err)
	}
}
