// SPDX-License-Identifier: Apache-2.0

package page

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"image/color"
	"image/png"
	"math"
	"os"
	"strings"
	"testing"
	"time"
)

// The fonts inside are those that fonts/README.md names.
func TestFonts(t *testing.T) {
	readme, err := os.ReadFile("fonts/README.md")
	if err != nil {
		t.Fatal(err)
	}
	fs, err := faces()
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range fs {
		sum := sha256.Sum256(f.data)
		if !strings.Contains(string(readme), hex.EncodeToString(sum[:])) {
			t.Errorf("font %d has the checksum %x, which is not in the README", i, sum)
		}
	}
}

// asSeen gives a line as it stands from left to right, letters unshaped.
func asSeen(text string) string {
	var b strings.Builder
	for _, s := range visual(Clean(text)) {
		rs := []rune(s.text)
		for i := range rs {
			if s.rtl {
				b.WriteRune(mirrored(rs[len(rs)-1-i]))
			} else {
				b.WriteRune(rs[i])
			}
		}
	}
	return b.String()
}

// Order of mixed lines, by the rules of Unicode Standard Annex 9 worked by
// hand; Hebrew letters stand for themselves, so that the order can be seen.
func TestOrder(t *testing.T) {
	for _, c := range []struct{ rule, text, want string }{
		{"left to right alone", "Ilse (7)", "Ilse (7)"},
		{"P3, right to left alone", "אבג דה", "הד גבא"},
		{"W2, N1, I1: number after Hebrew", "אב 42", "42 בא"},
		{"N2: Hebrew within Latin", "Ilse אב, x", "Ilse בא, x"},
		{"P3: Latin within Hebrew", "אב Ilse גד", "דג Ilse בא"},
		{"W4: separator within a number", "אב 1,5", "1,5 בא"},
		{"W5: sign at a number", "אב 5%", "5% בא"},
		{"L4: brackets are turned", "אב (גד)", "(דג) בא"},
		{"L1: white space at the end", "אב  ", "  בא"},
		{"W7: number after Latin", "x 12", "x 12"},
	} {
		if got := asSeen(c.text); got != c.want {
			t.Errorf("%s: %q stands as %q, want %q", c.rule, c.text, got, c.want)
		}
	}
}

// Arabic letters take the form that their neighbours ask for; each glyph keeps
// the letters it stands for.
func TestArabicForms(t *testing.T) {
	run, err := shape("سلام", false) // seen, lam-alef, meem
	if err != nil {
		t.Fatal(err)
	}
	f, err := theFace(false)
	if err != nil {
		t.Fatal(err)
	}
	// Seen from the left: meem alone, lam-alef final, seen initial.
	want := []rune{0xFEE1, 0xFEFC, 0xFEB3}
	text := []string{"م", "لا", "س"}
	if len(run) != 3 {
		t.Fatalf("%d glyphs, want 3", len(run))
	}
	for i, g := range run {
		if g.id != f.pdf.GlyphIndex(want[i]) || g.text != text[i] {
			t.Errorf("glyph %d is %d for %q, want the form U+%04X for %q", i, g.id, g.text, want[i], text[i])
		}
	}
	// A mark stands on its letter and takes no room.
	bare, err := shape("مد", false)
	if err != nil {
		t.Fatal(err)
	}
	marked, err := shape("مَدّ", false)
	if err != nil {
		t.Fatal(err)
	}
	if w1, w2 := width(bare, 10), width(marked, 10); math.Abs(w1-w2) > 1e-9 || len(marked) != 4 {
		t.Errorf("with marks %d glyphs %.3f mm wide, without %.3f mm", len(marked), w2, w1)
	}
}

func TestClean(t *testing.T) {
	for in, want := range map[string]string{"a\tb\x00c": "a b c", "\u202Eabc": "abc", "e\u0301": "é", "a\u200Bb\uFEFF": "ab", "می\u200Cخ": "می\u200Cخ", "\xff": "\uFFFD"} {
		if got := Clean(in); got != want {
			t.Errorf("%q became %q, want %q", in, got, want)
		}
	}
}

// No line is wider than asked, and nothing of the text is lost.
func TestWrap(t *testing.T) {
	s := Style{Size: 9}
	for _, text := range []string{"", "one", "a line that is longer than its column by far", strings.Repeat("x", 200), "Zażółć gęślą jaźń " + strings.Repeat("ó", 90), "محمد الأمين محمد الأمين محمد"} {
		got := Wrap(text, s, 20)
		for _, l := range got {
			if w := Width(l, s); w > 20 {
				t.Errorf("%q is %.1f mm wide", l, w)
			}
		}
		if a, b := strings.ReplaceAll(strings.Join(got, ""), " ", ""), strings.ReplaceAll(text, " ", ""); a != b {
			t.Errorf("%q became %q", b, a)
		}
	}
	if got := Wrap("WW", s, 0.5); len(got) < 2 || strings.Join(got, "") != "WW" {
		t.Errorf("a column narrower than a letter gave %q", got)
	}
}

func TestMissingGlyph(t *testing.T) {
	d := New(50, 50)
	d.In = "Name"
	d.Text(1, 10, "a 中", Style{Size: 9})
	var m *MissingGlyph
	if !errors.As(d.Err(), &m) || m.Rune != '中' || !strings.Contains(m.Error(), "Name holds") || !strings.Contains(m.Error(), "U+4E2D") {
		t.Fatalf("error %v", d.Err())
	}
	var b bytes.Buffer
	if PDF(&b, Info{}, d) == nil || d.PNG(&b, 100) == nil || b.Len() > 0 {
		t.Error("a drawing with an error was written")
	}
	if PDF(&b, Info{}) == nil {
		t.Error("a PDF without pages was written")
	}
}

// A shape stands where it was put, in the picture as in the PDF's operators.
func TestPlaces(t *testing.T) {
	d := New(50.8, 25.4)
	black := Color{}
	d.Rect(25.4, 12.7, 12.7, 6.35, &black, Pen{})
	img, err := d.Pixels(100)
	if err != nil {
		t.Fatal(err)
	}
	dark := func(x, y int) bool { return img.RGBAAt(x, y) == color.RGBA{0, 0, 0, 255} }
	for _, c := range []struct {
		x, y int
		want bool
	}{{100, 50, true}, {149, 74, true}, {99, 60, false}, {150, 60, false}, {120, 49, false}, {120, 75, false}} {
		if dark(c.x, c.y) != c.want {
			t.Errorf("pixel %d,%d dark: %v", c.x, c.y, !c.want)
		}
	}
	var b, again bytes.Buffer
	info := Info{Title: "x", Made: time.Date(2026, 11, 23, 9, 30, 0, 0, time.UTC)}
	if err := errors.Join(PDF(&b, info, d), PDF(&again, info, d)); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Errorf("the same drawing gave other bytes (%v)", err)
	}
	if !bytes.Contains(b.Bytes(), []byte("/MediaBox [0 0 144.0 72.0]")) {
		i := bytes.Index(b.Bytes(), []byte("/MediaBox"))
		t.Errorf("the page is not 144 x 72 points: %.40q", b.Bytes()[max(0, i):])
	}
	b.Reset()
	if err := d.PNG(&b, 100); err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(b.Bytes(), append([]byte("pHYs\x00\x00"), 0x0F, 0x61)) { // 3937 pixels a metre
		t.Error("the picture does not say 100 dpi")
	}
	if _, err := png.Decode(&b); err != nil {
		t.Error(err)
	}
}
