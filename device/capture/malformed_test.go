// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/iotest"
)

// The table gives the place by a mark in the text: the error must be at the
// first byte behind ‹, which is taken out before reading.
func TestMalformed(t *testing.T) {
	const mark = "‹"
	pair := func(vars ...string) string {
		return "$timescale 1ns $end\n" + strings.Join(vars, "\n") + "\n‹$enddefinitions $end\n"
	}
	sq, st, ta := "$var wire 1 ! squeeze $end", `$var wire 1 " step $end`, "$var wire 1 # taste $end"
	no, nc := "$var wire 1 $ taste_no $end", "$var wire 1 % taste_nc $end"
	own := strings.Replace(small, "$timescale", "$version tallyhood $end $timescale", 1)
	long := strings.Repeat("1", MaxToken+1)
	tests := []struct{ name, text, what string }{
		{"empty", "‹", "the file is empty"},
		{"white space", "\n\n  ‹", "the file is empty"},
		{"mark of byte order alone", "\ufeff‹", "the file is empty"},
		{"plain text", "\n  ‹Dear tester,\n", "begins with a section"},
		{"binary", "‹\x7fELF\x02\x01\x01\x00", "not a text file"},
		{"compressed", "‹\x1f\x8b\x08\x00\x00", "not a text file"},
		{"two bytes a character", "\xff\xfe$‹\x00t\x00", "not a text file"},
		{"zero byte in the body", small + "#1\n1‹\x00\n", "byte 0x00"},
		{"zero bytes at the end, as after a power loss", small + "#1\n1!\n‹\x00\x00\x00\x00", "byte 0x00"},
		{"zero byte in a comment", small + "$comment abc‹\x00 $end\n", "byte 0x00"},
		{"zero byte in a note", small + "$comment tallyhood abc\n‹\x00 $end\n", "byte 0x00"},
		{"zero byte in the header", "$date ‹\x00 $end\n", "byte 0x00"},
		{"mark of byte order inside", small + "‹\ufeff#1\n", "neither a time stamp"},

		{"ends in the header", "$timescale 1 us $end\n‹", "ends inside its header"},
		{"ends in a section", "$timescale 1 us ‹", "ends inside $timescale, which begins at line 1"},
		{"ends in $date", "$date\nMonday\n‹", "ends inside $date, which begins at line 1"},
		{"ends in $version", "\n$version‹", "ends inside $version, which begins at line 2"},
		{"ends in $var", "$scope module b $end\n$var wire 1 !‹", "ends inside"},
		{"ends in the name of $var", "$var wire 1 ! squeeze\n‹", "ends inside $var, which begins at line 1"},
		{"ends in $scope", "$scope module\n‹", "ends inside $scope"},
		{"ends in $upscope", "$scope module b $end $upscope\n‹", "ends inside $upscope"},
		{"ends in $comment", "$comment\nno end\n‹", "ends inside $comment, which begins at line 1"},
		{"ends in $enddefinitions", strings.TrimSuffix(small, " $end\n") + "‹", "ends inside $enddefinitions, which begins at line 8"},
		{"ends in a keyword", "$timesc‹", `ends inside "$timesc"`},
		{"no $enddefinitions, then a stamp", strings.Replace(small, "$enddefinitions $end\n", "‹#0\n", 1), `"#0" stands outside every section`},
		{"no $enddefinitions, then values", strings.Replace(small, "$enddefinitions $end\n", "‹1!\n", 1), "stands outside every section"},
		{"no $enddefinitions, then $dumpvars", strings.Replace(small, "$enddefinitions $end\n", "‹$dumpvars\n", 1), "$dumpvars stands before $enddefinitions"},
		{"no $end for $enddefinitions", strings.Replace(small, "$enddefinitions $end\n", "$enddefinitions\n‹#0\n", 1), "$end of $enddefinitions is due"},
		{"$end alone", "$timescale 1ns $end ‹$end", "$end without a section"},
		{"no $end for $date", "$date Monday\n‹$timescale 1ns $end\n", "$timescale stands inside $date, which begins at line 1 and lacks its $end"},
		{"no $end for $timescale", "$timescale 1ns\n‹$scope module b $end", "$scope stands inside $timescale"},
		{"no $end for $scope", "$scope module b\n‹$var wire 1 ! squeeze $end", "$var stands inside $scope"},
		{"no $end for $upscope", "$scope module b $end $upscope\n‹$enddefinitions $end", `$end of $upscope is due`},
		{"no $end for $var", "$var wire 1 ! squeeze\n‹$var wire 1 \" step $end", "$var stands inside $var, which begins at line 1"},
		{"$end stuck to a word", "$timescale 1ns$end\n‹$var wire 1 ! squeeze $end", "$var stands inside $timescale"},
		{"word in $upscope", "$scope module b $end $upscope ‹b $end", `"b" stands where the $end`},
		{"$upscope alone", "$timescale 1ns $end\n‹$upscope $end", "$upscope without a $scope"},

		{"no timescale", "‹$enddefinitions $end\n", "$timescale is missing"},
		{"no timescale, with lines", strings.Replace(strings.Replace(small, "$timescale 1 us $end", "", 1), "$endd", "‹$endd", 1), "$timescale is missing"},
		{"second timescale", "$timescale 1ns $end\n  ‹$timescale 1ns $end", "a second $timescale"},
		{"empty timescale", " ‹$timescale $end", `$timescale "" is not`},
		{"timescale without unit", "$timescale ‹1 $end", `"1" is not 1, 10 or 100`},
		{"timescale without number", "$timescale ‹ns $end", `"ns" is not`},
		{"timescale of 2 ns", "$timescale\n ‹2 ns $end", `"2ns" is not`},
		{"timescale of 1000 ns", "$timescale ‹1000ns $end", "is not 1, 10 or 100"},
		{"timescale of 01 ns", "$timescale ‹01ns $end", "is not 1, 10 or 100"},
		{"timescale of -1 ns", "$timescale ‹-1 ns $end", "is not 1, 10 or 100"},
		{"timescale of 1.0 ns", "$timescale ‹1.0 ns $end", "is not 1, 10 or 100"},
		{"timescale of minutes", "$timescale ‹1 min $end", "is not 1, 10 or 100"},
		{"timescale in capitals", "$timescale ‹1 NS $end", "is not 1, 10 or 100"},
		{"timescale with a rest", "$timescale ‹1 ns ns $end", "is not 1, 10 or 100"},
		{"timescale that does not end", "$timescale ‹1 " + strings.Repeat("ns ", 1000) + " $end", "is not 1, 10 or 100"},

		{"$var without all", "$var ‹$end", "$var without its type"},
		{"$var without size", "$var wire ‹$end", "$var without its size"},
		{"$var without identifier", "$var wire 1 ‹$end", "$var without its identifier"},
		{"$var without name", "$var wire 1 ! ‹$end", "$var without its name"},
		{"size that is no number", "$var wire ‹one ! x $end", `the size "one"`},
		{"negative size", "$var wire ‹-1 ! x $end", `the size "-1"`},
		{"size with a sign", "$var wire ‹+1 ! x $end", `the size "+1"`},
		{"size that overflows", "$var wire ‹99999999999999999999 ! x $end", "the size"},
		{"identifier that is not ASCII", "$var wire 1 ‹é x $end", "not printable ASCII"},
		{"our name on two bits", "$timescale 1ns $end\n$var wire ‹2 ! squeeze $end", "squeeze is declared 2 bits wide"},
		{"our name on no bit", "$timescale 1ns $end\n$var wire ‹0 ! squeeze [0] $end", "squeeze is declared 0 bits wide"},
		{"our name with a range", "$var wire 1 ! ‹squeeze [7:0] $end", `"squeeze [7:0]" does not select one bit`},
		{"our name with a range attached", "$var wire 1 ! ‹squeeze[1:0] $end", "does not select one bit"},
		{"our name with an odd select", "$var wire 1 ! ‹squeeze[x] $end", "does not select one bit"},
		{"our name as a real", "$var real 1 ! ‹squeeze $end", "squeeze is declared with the type real"},
		{"our name as a string", "$var string 1 ! ‹step $end", "step is declared with the type string"},
		{"our name as an event", "$var event 1 ! ‹taste_nc $end", "taste_nc is declared with the type event"},
		{"our name twice", "$var wire 1 ! squeeze $end\n$var wire 1 ‹\" squeeze $end", "squeeze is declared twice"},
		{"our name twice, one a bit of a bus", "$var wire 1 ! squeeze [0] $end\n$var wire 1 ‹\" squeeze [1] $end", "squeeze is declared twice"},
		{"two of ours on one wire", "$var wire 1 ! squeeze $end\n$var wire 1 ‹! step $end", "two contacts cannot be one wire"},

		{"no squeeze", pair(st, ta), "missing: squeeze"},
		{"no step", pair(sq, ta), "missing: step"},
		{"no taste", pair(sq, st), "missing: taste or the pair taste_no, taste_nc"},
		{"nothing of ours", pair("$var wire 1 ! D0 $end", "$var wire 1 \" D1 $end"), `missing: squeeze; step; taste or the pair taste_no, taste_nc (names match exactly; the capture has "D0", "D1")`},
		{"name in several words", pair("$var wire 1 ! squeeze left $end", st, ta), `the capture has "squeeze left"`},
		{"half a pair, closed when pressed", pair(sq, st, no), "missing: taste_nc (the other half of the pair)"},
		{"half a pair, closed when released", pair(sq, st, nc), "missing: taste_no (the other half of the pair)"},
		{"single contact and pair", pair(sq, st, ta, no, nc), "both taste and a contact of the pair"},
		{"single contact and half a pair", pair(sq, st, ta, nc), "both taste and a contact of the pair"},

		{"undeclared", small + "#1\n‹1%\n", `the identifier "%" is not declared`},
		{"undeclared, two characters", small + "#1\n‹1!!\n", `the identifier "!!" is not declared`},
		{"undeclared, three characters", small + "#1 0! ‹1!!!\n", `the identifier "!!!" is not declared`},
		{"undeclared vector", small + "#1\nb1 ‹%\n", `the identifier "%" is not declared`},
		{"undeclared real", small + "#1\nr1 ‹speed\n", `the identifier "speed" is not declared`},
		{"undeclared, not ASCII", small + "#1\n‹1é\n", `the identifier "\u00e9" is not declared`},
		{"undeclared in a block", small + "$dumpvars ‹x% $end\n", `the identifier "%" is not declared`},
		{"value alone", small + "#1\n‹1 !\n", `value "1" without an identifier`},
		{"vector without digits", small + "#1\n‹b !\n", `"b" without a value`},
		{"real without digits", small + "#1\n‹r $\n", `"r" without a value`},
		{"vector without identifier", small + "$dumpvars\nb1 ‹$end\n", "$end stands where the identifier"},
		{"ends in a vector", small + "#1\nb1‹", "ends inside a value change"},
		{"ends in a value", small + "#1\n‹1", `value "1" without an identifier`},
		{"wide value on a contact", small + "#1\n‹b01 !\n", "squeeze has a value of 2 bits"},
		{"odd bit on a contact", small + "#1\n‹bu !\n", "squeeze has the value 'u'"},
		{"nine-valued level on a contact", small + "#1\n‹H!\n", `squeeze has the value "H"`},
		{"real on a contact", small + "#1\n‹r1 !\n", "squeeze has a real or a string"},
		{"string on a contact", small + "#1\n‹s1 \"\n", "step has a real or a string"},
		{"port", small + "#1\n‹pU 6 0 !\n", "changes of ports"},
		{"word", small + "#1\n‹hello\n", `"hello" is neither a time stamp, a value change nor a section`},
		{"digit of no value", small + "#1\n‹2!\n", `"2!" is neither`},
		{"text without ASCII", small + "‹über\n", `"\u00fcber" is neither`},
		{"hostile word", small + "‹\u202e;rm\n", `"\u202e;rm" is neither`},

		{"time goes back", small + "#5\n#6 1! ‹#5\n", "time goes back from 6 to 5"},
		{"time goes back to 0", small + "#5\n‹#0", "time goes back from 5 to 0"},
		{"stamp without number", small + "  ‹#\n", "# without a number"},
		{"stamp with a space", small + "‹# 5\n", "# without a number"},
		{"negative time", small + "‹#-5\n", `"-5" is negative`},
		{"time with a sign", small + "‹#+5\n", `"+5" is not a whole number`},
		{"time with a fraction", small + "‹#5.0\n", `"5.0" is not a whole number`},
		{"time with an exponent", small + "‹#5e3\n", "not a whole number"},
		{"time in hexadecimal", small + "‹#0x5\n", "not a whole number"},
		{"ticks overflow", small + "#1\n‹#18446744073709551616\n", "too large"},
		{"ticks overflow far", small + "#1\n‹#99999999999999999999999999999999999999999999999\n", "too large"},
		{"nanoseconds overflow", small + "#1\n‹#9223372036854776\n", "lies beyond 2^63 nanoseconds"},
		{"nanoseconds overflow by one", "$timescale 1ns $end " + sq + " " + st + " " + ta + " $enddefinitions $end ‹#9223372036854775808", "lies beyond 2^63"},

		{"ends in $dumpvars", small + "$dumpvars\n1!\n‹", "ends inside $dumpvars, which begins at line 9"},
		{"ends in $dumpoff", small + "#1 $dumpoff‹", "ends inside $dumpoff"},
		{"ends in a body comment", small + "#1\n$comment 1!\n#2\n‹", "ends inside $comment, which begins at line 10"},
		{"ends at a body comment", small + "#1\n$comment‹", "ends inside $comment"},
		{"ends in a note", small + "#1\n$comment tallyhood run begin\n‹", "ends inside $comment, which begins at line 10"},
		{"stamp in $dumpvars", small + "$dumpvars\n1!\n‹#1\n", "a time stamp inside $dumpvars, which begins at line 9 and lacks its $end"},
		{"block in a block", small + "$dumpvars ‹$dumpall $end", "$dumpall stands inside $dumpvars"},
		{"$end in the body", small + "#1\n‹$end\n", "$end without a section"},
		{"header again", small + "#1\n‹$timescale 1ns $end\n", "$timescale stands after $enddefinitions"},
		{"two captures in one file", small + "#1\n" + "‹" + small, "$timescale stands after $enddefinitions"},
		{"$enddefinitions again", small + "‹$enddefinitions $end\n", "$enddefinitions stands after"},
		{"section of an extended dump", small + "#1\n‹$dumpports $end\n", `"$dumpports" is not a section`},
		{"$ alone", small + "‹$\n", `"$" is not a section`},

		{"note of two lines", small + "‹$comment tallyhood run\nbegin $end\n", "holds a line break"},
		{"note with a tab", small + "‹$comment tallyhood run\tbegin $end\n", "control character"},
		{"note with a line separator", small + "‹$comment tallyhood run\u2028begin $end\n", "holds a line break"},
		{"note that is not UTF-8", small + "‹$comment tallyhood \xff $end\n", "is not UTF-8"},
		{"note with $end inside", small + "‹$comment tallyhood a$endb $end\n", "holds $end"},
		{"long note", small + "‹$comment tallyhood " + strings.Repeat("a", MaxNote+1) + " $end\n", "longer than"},
		{"endless note", small + "$comment tallyhood‹ " + strings.Repeat("a b\n", MaxNote), "a note of more than"},

		{"long word in the header", "$date ‹" + long + " $end", "a word of more than 65536 bytes"},
		{"long word in the body", small + "#1\n‹b" + long + " $\n", "a word of more than"},
		{"long stamp", small + "‹#" + long + "\n", "a word of more than"},
		{"long word in a comment", small + "$comment ‹" + long + " $end\n", "a word of more than"},
		{"long word at the end", small + "‹" + long, "a word of more than"},

		{"own file without its last line end", own + "#5\n#123‹", "ends in mid-line"},
		{"own file cut in a change", own + "#5\n1!‹", "ends in mid-line"},
		{"own file cut in a vector", own + "#5\nb1 !‹", "ends in mid-line"},
		{"own file cut behind a note", own + "#5\n$comment tallyhood x $end‹", "ends in mid-line"},
		{"own file cut behind a comment", own + "#5\n$comment x $end‹", "ends in mid-line"},
		{"own file cut behind its header", strings.TrimSuffix(own, "\n") + "‹", "ends in mid-line"},
		{"perhaps a cut identifier", with("$var wire 1 !a q $end") + "#1\n‹1!", "can be the beginning of another identifier"},
		{"surely a cut identifier", with("$var wire 1 ab q $end") + "#1\n‹1a", "can be the beginning of another identifier"},
		{"perhaps a long cut identifier", with("$var wire 1 !abc q $end") + "#1\n‹1!", "can be the beginning of another identifier"},
		{"perhaps a cut identifier of a vector", with("$var wire 1 !a q $end") + "#1\nb1 ‹!", "can be the beginning of another identifier"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if strings.Count(tt.text, mark) != 1 {
				t.Fatal("the text needs one mark")
			}
			before, after, _ := strings.Cut(tt.text, mark)
			line := strings.Count(before, "\n") + 1
			column := len(before) - strings.LastIndexByte(before, '\n')
			if line == 1 && strings.HasPrefix(before, "\ufeff") {
				column -= len("\ufeff")
			}
			text := before + after
			_, err := tell(strings.NewReader(text), Options{})
			var bad *Error
			if !errors.As(err, &bad) {
				t.Fatalf("%v, want an *Error", err)
			}
			if bad.Line != line || bad.Column != column || !strings.Contains(bad.What, tt.what) {
				t.Errorf("%v\nwant line %d, column %d: ... %s", err, line, column, tt.what)
			}
			if want := fmt.Sprintf("line %d, column %d: ", line, column); !strings.HasPrefix(err.Error(), want) {
				t.Errorf("%q does not begin with %q", err, want)
			}
			checkMessage(t, err)
			if len(text) < 4096 {
				_, slow := tell(iotest.OneByteReader(strings.NewReader(text)), Options{})
				if slow == nil || slow.Error() != err.Error() {
					t.Errorf("byte by byte: %v\nat once:      %v", slow, err)
				}
			}
		})
	}
}

// checkMessage holds a message to one short line of printable ASCII, whatever
// the file holds.
func checkMessage(t testing.TB, err error) {
	t.Helper()
	for _, c := range err.Error() {
		if c < ' ' || c > '~' {
			t.Errorf("the message %q has the character %q", err, c)
		}
	}
	if len(err.Error()) > 3000 {
		t.Errorf("the message has %d bytes", len(err.Error()))
	}
}

func TestTooManyIdentifiers(t *testing.T) {
	var b strings.Builder
	for i := range MaxIdentifiers + 10 {
		fmt.Fprintf(&b, "$var wire 1 id%d n $end\n", i)
	}
	_, err := tell(strings.NewReader(with(b.String())), Options{})
	var bad *Error
	if !errors.As(err, &bad) || !strings.Contains(bad.What, "variables are declared") {
		t.Errorf("%v, want an *Error on the number of variables", err)
	}
	b.Reset()
	for i := range 100 {
		fmt.Fprintf(&b, "$var wire 1 %s%d n $end\n", strings.Repeat("i", MaxToken-10), i)
	}
	_, err = tell(strings.NewReader(with(b.String())), Options{})
	if !errors.As(err, &bad) || !strings.Contains(bad.What, "identifiers are too long") {
		t.Errorf("%v, want an *Error on the length of the identifiers", err)
	}
}
