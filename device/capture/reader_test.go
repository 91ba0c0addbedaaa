// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"tallyhood/device"
)

// small is a header with the three lines of an unsupervised board and a bus.
const small = `$timescale 1 us $end
$scope module board $end
$var wire 1 ! squeeze $end
$var wire 1 " step $end
$var wire 1 # taste $end
$var wire 8 $ bus $end
$upscope $end
$enddefinitions $end
`

// declare makes a header out of three declarations of our lines.
func declare(timescale string, vars ...string) string {
	return "$timescale " + timescale + " $end\n" + strings.Join(vars, "\n") + "\n$enddefinitions $end\n"
}

// with puts a declaration before the end of the small header.
func with(vars string) string {
	return strings.Replace(small, "$upscope", vars+"\n$upscope", 1)
}

// tell reads a whole capture and tells it in words: instant in ns, + closed or
// - open, then the name; a note in quotes; the end; at last the error.
func tell(src io.Reader, o Options) (string, error) {
	r, err := Open(src, o)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for {
		it, err := r.Next()
		if err != nil {
			fmt.Fprintf(&b, "%d.", r.End())
			if err == io.EOF {
				err = nil
			}
			return b.String(), err
		}
		switch {
		case it.Gap:
			fmt.Fprintf(&b, "%d gap ", it.At)
		case it.Note != "":
			fmt.Fprintf(&b, "%d %q ", it.At, it.Note)
		case it.At != it.Edge.At:
			return "", errors.New("Item.At and Edge.At differ")
		case it.Edge.Closed:
			fmt.Fprintf(&b, "%d+%s ", it.At, it.Edge.Line)
		default:
			fmt.Fprintf(&b, "%d-%s ", it.At, it.Edge.Line)
		}
	}
}

func TestReader(t *testing.T) {
	const scale = "#7 1!\n#8\n"
	three := func(timescale string) string {
		return declare(timescale, "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste $end")
	}
	allOpen := "#0\n"
	tests := []struct {
		name, text, want string
		invert           []device.Line
	}{
		{"header alone", small, "0.", nil},
		{"one stamp", small + "#5\n", "5000.", nil},
		{"edges", small + "#1\n1!\n#2\n0!\n#4\n", "1000+squeeze 2000-squeeze 4000.", nil},
		{"changes on the line of the stamp", small + "#1 1! 1#\n#2 0! #4", "1000+squeeze 1000+taste 2000-squeeze 4000.", nil},
		{"everything on one line", strings.ReplaceAll(small+"#1 1! #2 0!", "\n", " "), "1000+squeeze 2000-squeeze 2000.", nil},
		{"CRLF", strings.ReplaceAll(small+"#1\n1!\n$comment tallyhood a  b $end\n#2\n", "\n", "\r\n"), `1000+squeeze 1000 "a  b" 2000.`, nil},
		{"byte order mark", "\ufeff" + small + "#1\n1!\n", "1000+squeeze 1000.", nil},
		{"other white space", strings.ReplaceAll(small, " ", "\t\f\v ") + "#1\t1!\n", "1000+squeeze 1000.", nil},
		{"no line end at the end", small + "#1\n1!", "1000+squeeze 1000.", nil},
		{"change before the first stamp", small + "1!\n#3\n0!\n", "0+squeeze 3000-squeeze 3000.", nil},
		{"same stamp again", small + "#3\n1!\n#3\n1\"\n#003\n", "3000+squeeze 3000+step 3000.", nil},
		{"same level again", small + "#1\n0!\n1!\n1!\n#2\n1!\n0!\n#3\n0!\n", "1000+squeeze 2000-squeeze 3000.", nil},
		{"glitch of no width", small + "#1\n1!\n0!\n1!\n#2\n", "1000+squeeze 1000-squeeze 1000+squeeze 2000.", nil},
		{"unknown is open", small + "#1\n1!\n#2\nx!\n#3\n1!\n#4\nZ!\n#5\nz!\n#6\n0!\n#7\nX!\n", "1000+squeeze 2000-squeeze 3000+squeeze 4000-squeeze 7000.", nil},
		{"inverted", small + "#1\n0!\n0\"\n#2\n1!\n#3\n0!\n", "1000+squeeze 2000-squeeze 3000+squeeze 3000.", []device.Line{device.Squeeze}},
		{"inverted and unknown is open", small + "x!\n#1\n0!\n#2\nx!\n#3\nz!\n#4\n0!\n#5\nb1 !\n", "1000+squeeze 2000-squeeze 4000+squeeze 5000-squeeze 5000.", []device.Line{device.Squeeze, device.Step}},
		{"off with a pair", declare("1 us", "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste_no $end", "$var wire 1 % taste_nc $end") +
			"#0 1% #1 $dumpoff x! x\" x# x% $end #2 $dumpon 1% $end #3 $dumpoff $end #4 $dumpon $end", "0+taste_nc 1000-taste_nc 1000 gap 2000+taste_nc 3000 gap 4000.", nil},
		{"off with a pair, and on without a word", declare("1 us", "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste_no $end", "$var wire 1 % taste_nc $end") +
			"#0 1% #1 $dumpoff x# x% $end #2 1% #3", "0+taste_nc 1000-taste_nc 1000 gap 2000+taste_nc 3000.", nil},
		{"off with a pair to the end", declare("1 us", "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste_no $end", "$var wire 1 % taste_nc $end") +
			"#0 1% #1 $dumpoff x# x% $end #2 $dumpoff $end #3", "0+taste_nc 1000-taste_nc 1000 gap 3000.", nil},
		{"off with a pair until the cable is out", declare("1 us", "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste_no $end", "$var wire 1 % taste_nc $end") +
			"#0 1% #1 $dumpoff x# x% $end #60000 $dumpon 1% $end", "0+taste_nc 1000-taste_nc 60000000 gap 60000000+taste_nc 60000000.", nil},
		{"dump blocks", small + "$dumpvars\n1!\nx\"\nbxx $\n$end\n#1\n$dumpoff x! x\" x# bx $ $end\n#2\n$dumpon 1! 0\" $end #3 $dumpall 1! 1\" $end\n", "0+squeeze 1000-squeeze 1000 gap 2000+squeeze 3000+step 3000.", nil},
		{"comment in a block", small + "$dumpvars 1! $comment tallyhood go $end $comment 1\" $end 1# $end\n", `0+squeeze 0 "go" 0+taste 0.`, nil},
		{"our name alone in a comment", small + "#1 $comment tallyhood $end 1! #2", "1000+squeeze 2000.", nil},
		{"empty block", small + "$dumpvars $end #1", "1000.", nil},
		{"one-bit vector", small + "#1\nb1 !\n#2\nB0 !\n#3\nbX !\n#4\nB1\n!\n", "1000+squeeze 2000-squeeze 4000+squeeze 4000.", nil},
		{"other signals", with("$var real 64 % speed $end\n$var string 0 & s $end\n$var integer 32 ' i $end\n$var event 1 ( e $end\n$var reg 1 ) r $end") +
			"#1 b10xz $ bUUWL- $ r-1.5e+3 % R.5 % shello_w\u00f6rld & s & S & b0 ' 1( 1) h) -) U) W) l) sA$end & 1!\n", "1000+squeeze 1000.", nil},
		{"identifiers that look like something else", declare("1ns", "$var wire 1 # squeeze $end", "$var wire 1 $ step $end", "$var wire 1 b1 taste $end", "$var wire 1 #1 q $end", "$var wire 1 $endx v $end", "$var wire 1 0 w $end") +
			"#1 1# b1 $ bx #1 b0 $endx 1$endx 1b1 00 b1 0 #2", "1+squeeze 1+step 1+taste 2.", nil},
		{"long identifiers", declare("1ns", "$var wire 1 ab squeeze $end", "$var wire 1 abc step $end", "$var wire 1 "+strings.Repeat("q", 5000)+" taste $end", "$var wire 1 a other $end") +
			"#1 1abc 1a 1ab 1" + strings.Repeat("q", 5000) + " #2", "1+step 1+squeeze 1+taste 2.", nil},
		{"long identifier as the last word", declare("1ns", "$var wire 1 abc squeeze $end", "$var wire 1 b step $end", "$var wire 1 cc taste $end") + "#1 1abc", "1+squeeze 1.", nil},
		{"every printable identifier", func() string {
			var b strings.Builder
			for c := '!'; c <= '~'; c++ {
				fmt.Fprintf(&b, "$var wire 1 %c n%d $end $var wire 1 %c%c m%d $end\n", c, c, c, c, c)
			}
			return with(strings.NewReplacer("$var wire 1 ! n33 $end", "", "$var wire 1 \" n34 $end", "", "$var wire 1 # n35 $end", "").Replace(b.String()))
		}() + "#1 1~~ 1!! 1! x~ #2", "1000+squeeze 2000.", nil},
		{"aliases", with("$scope module inner $end\n$var wire 1 ! squeeze $end\n$var wire 1 ! bulb $end\n$var reg 1 \" step [0] $end\n$upscope $end\n$var wire 4 $ buss $end") + "#1 1!\n", "1000+squeeze 1000.", nil},
		{"an alias before", declare("1ns", "$var wire 1 ! net12 $end", "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste $end") + "#1 1! #2", "1+squeeze 2.", nil},
		{"ways to write a name", declare("1ns", `$var wire 1 ! \squeeze $end`, `$var wire 1 " step [0] $end`, "$var wire 1 # taste_no[3] $end", `$var wire 1 $ \taste_nc [ 0 : 0 ] $end`) + "#1 1! 1\" 1# 1$", "1+squeeze 1+step 1+taste_no 1+taste_nc 1.", nil},
		{"names that are not ours", with("$var wire 8 % squeeze2 $end\n$var wire 8 & SQUEEZE $end\n$var wire 8 ' top.squeeze $end\n$var wire 8 ( squeeze left $end\n$var wire 8 ) taste_no.x $end\n$var wire 3 * taste_n [2:0] $end") + "#1 1!", "1000+squeeze 1000.", nil},
		{"pair", declare("1ns", "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste_no $end", "$var wire 1 $ taste_nc $end") + "#0 1$ #1 0$ 1# #2", "0+taste_nc 1-taste_nc 1+taste_no 2.", nil},
		{"header sections", "$date\n  20 May, in \u00fcber words $version2\n$end $version x $dumpfile(\"a.vcd\") $end $comment $var $enddefinitions tallyhood x $end $attrbegin misc 02 $end $scope $end\n$scope begin $unit extra $end\n" + small, "0.", nil},
		{"timescale after the variables", strings.NewReplacer("$timescale 1 us $end", "", "$endd", "$timescale 10ms $end $endd").Replace(small) + "#3", "30000000.", nil},
		{"body comments", small + "#1\n$comment nothing of ours $end\n$comment tallyhoods 1! $end\n$comment $end\n$comment tallyhood run begin  \u00fcber $var $end\n1!\n$comment\n  tallyhood\n  step\n$end\n#2\n", `1000 "run begin  über $var" 1000+squeeze 1000 "step" 2000.`, nil},
		{"comment ends the file", small + "#1 $comment tallyhood go on $end", `1000 "go on" 1000.`, nil},
		{"1 s", three("1 s") + scale, "7000000000+squeeze 8000000000.", nil},
		{"10 s", three("10s") + scale, "70000000000+squeeze 80000000000.", nil},
		{"100 s", three("100\ns") + scale, "700000000000+squeeze 800000000000.", nil},
		{"1 ms", three("1ms") + scale, "7000000+squeeze 8000000.", nil},
		{"10 ms", three("\n10\n  ms\n") + scale, "70000000+squeeze 80000000.", nil},
		{"100 ms", three("100 ms") + scale, "700000000+squeeze 800000000.", nil},
		{"10 us", three("10us") + scale, "70000+squeeze 80000.", nil},
		{"100 us", three("100us") + scale, "700000+squeeze 800000.", nil},
		{"1 ns", three("1ns") + scale, "7+squeeze 8.", nil},
		{"10 ns", three("10ns") + scale, "70+squeeze 80.", nil},
		{"100 ns", three("100ns") + scale, "700+squeeze 800.", nil},
		{"1 ps", three("1ps") + "#1999 1! #2000 0! #2001 1!", "1+squeeze 2-squeeze 2+squeeze 2.", nil},
		{"10 ps", three("10ps") + "#199 1! #200 0!", "1+squeeze 2-squeeze 2.", nil},
		{"100 ps", three("100 ps") + "#19 1! #20 0!", "1+squeeze 2-squeeze 2.", nil},
		{"1 fs", three("1fs") + "#999999 1! #1000000 0!", "0+squeeze 1-squeeze 1.", nil},
		{"10 fs", three("10fs") + "#99999 1! #100000 0!", "0+squeeze 1-squeeze 1.", nil},
		{"100 fs", three("100fs") + "#9999 1! #10000 0!", "0+squeeze 1-squeeze 1.", nil},
		{"largest instant", three("1ns") + "#9223372036854775807 1!", "9223372036854775807+squeeze 9223372036854775807.", nil},
		{"most ticks of 1 fs", three("1fs") + "#18446744073709551615 1!", "18446744073709+squeeze 18446744073709.", nil},
		{"most ticks of 100 ps", three("100ps") + "#18446744073709551615 1!", "1844674407370955161+squeeze 1844674407370955161.", nil},
		{"largest word", small + "#1 b" + strings.Repeat("1", MaxToken-1) + " $ 1!", "1000+squeeze 1000.", nil},
		{"nothing closed", small + allOpen + "0! x\" z#", "0.", nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tell(strings.NewReader(tt.text), Options{Invert: tt.invert})
			if got != tt.want || err != nil {
				t.Errorf("got  %s, %v\nwant %s", got, err, tt.want)
			}
			// The pieces in which the bytes come must make no difference.
			got, err = tell(iotest.OneByteReader(strings.NewReader(tt.text)), Options{Invert: tt.invert})
			if got != tt.want || err != nil {
				t.Errorf("byte by byte: got  %s, %v\nwant %s", got, err, tt.want)
			}
			got, err = tell(iotest.DataErrReader(strings.NewReader(tt.text)), Options{Invert: tt.invert})
			if got != tt.want || err != nil {
				t.Errorf("end with the data: got  %s, %v\nwant %s", got, err, tt.want)
			}
		})
	}
}

func TestReaderLines(t *testing.T) {
	r, err := Open(strings.NewReader(small), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := fmt.Sprint(r.Lines()), "[squeeze step taste]"; got != want {
		t.Errorf("Lines() = %s, want %s", got, want)
	}
	if len(device.Lines()) != lineCount || len(codes) != lineCount {
		t.Errorf("a board has %d lines, this package knows %d", len(device.Lines()), lineCount)
	}
}

func TestInvertNeedsTheLine(t *testing.T) {
	for _, l := range []device.Line{device.TasteNO, "bulb", ""} {
		_, err := Open(strings.NewReader(small), Options{Invert: []device.Line{l}})
		var bad *Error
		if err == nil || errors.As(err, &bad) {
			t.Errorf("Invert %q: %v, want an error that is not bad input", l, err)
		}
	}
}

func TestSourceFails(t *testing.T) {
	broken := errors.New("disk gone")
	for _, text := range []string{"", "$timesc", small, small + "#1\n1!\n#23", small + "$comment tallyhood x", small + "b1 "} {
		_, err := tell(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), Options{})
		var bad *Error
		if !errors.Is(err, broken) || errors.As(err, &bad) {
			t.Errorf("after %q: %v, want the error of the source", text, err)
		}
	}
	// A word that the failure cut must not be taken for a whole one.
	r, err := Open(io.MultiReader(strings.NewReader(small+"#1\n1!\n#23"), iotest.ErrReader(broken)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if it, err := r.Next(); err != nil || it.Edge.Line != device.Squeeze {
		t.Fatalf("the edge before the failure is lost: %v, %v", it, err)
	}
	if _, err := r.Next(); !errors.Is(err, broken) || r.End() != 1000 {
		t.Errorf("End() = %d after %v, want 1000", r.End(), err)
	}
	_, err = tell(stuck{}, Options{})
	if !errors.Is(err, io.ErrNoProgress) {
		t.Errorf("a source that gives nothing: %v, want io.ErrNoProgress", err)
	}
	if _, err := tell(miscounting{}, Options{}); err == nil || !strings.Contains(err.Error(), "counts its bytes wrongly") {
		t.Errorf("a source that gives more than was asked for: %v", err)
	}
}

type miscounting struct{}

func (miscounting) Read(p []byte) (int, error) { return len(p) + 1, nil }

type stuck struct{}

func (stuck) Read([]byte) (int, error) { return 0, nil }

func TestErrorStays(t *testing.T) {
	r, err := Open(strings.NewReader(small+"#5\n#4\n1!\n#9\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	_, first := r.Next()
	_, second := r.Next()
	if first == nil || first != second {
		t.Errorf("Next after an error: %v, then %v", first, second)
	}
}
