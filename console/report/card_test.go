// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"errors"
	"image/png"
	"os/exec"
	"strings"
	"testing"

	"tallyhood/console/procedure"
)

// The QR of card and picture gives back the claim, whatever its length.
func TestCardCode(t *testing.T) {
	zbar := tool(t, "zbarimg", "zbar-tools")
	ppm := tool(t, "pdftoppm", "poppler-utils")
	long := claim + strings.Repeat("ABCDEFGHIJKLMNOPQRSTUVWXYZ012345", 20)
	for name, text := range map[string]string{"card": claim, "card-short": "TALLYHOOD1:R42", "card-lower": strings.ToLower(claim), "card-long": long} {
		s := sheetOf(t, courses["pass"])
		s.Claim = text
		var pic, pdf, again bytes.Buffer
		if err := errors.Join(CardPNG(&pic, s), CardPDF(&pdf, s), CardPNG(&again, s)); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !bytes.Equal(pic.Bytes(), again.Bytes()) {
			t.Errorf("%s: the same card gave other bytes", name)
		}
		read := func(file string) {
			out, err := exec.Command(zbar, "--quiet", "--raw", file).Output()
			if err != nil || strings.TrimSuffix(string(out), "\n") != text {
				t.Errorf("%s: zbarimg read %q (%v) of a claim of %d bytes", file, out, err, len(text))
			}
		}
		read(keep(t, name+".png", pic.Bytes()))
		file := keep(t, name+".pdf", pdf.Bytes())
		if out, err := exec.Command(ppm, "-r", "300", "-png", "-singlefile", file, strings.TrimSuffix(file, ".pdf")+"-print").CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		read(strings.TrimSuffix(file, ".pdf") + "-print.png")
		cfg, err := png.DecodeConfig(&pic)
		if err != nil || cfg.Width != 1011 || cfg.Height != 638 { // 85.6 x 54 mm at 300 dpi
			t.Errorf("%s: the picture is %d x %d (%v)", name, cfg.Width, cfg.Height, err)
		}
		_, side, err := qrFor(text)
		if err != nil || side > cardH-2 {
			t.Errorf("%s: the code is %.1f mm wide (%v)", name, side, err)
		}
	}
	if _, _, err := qrFor(strings.Repeat("x", 3000)); err == nil {
		t.Error("a claim of 3000 bytes found place on a card")
	}
}

// A card exists only for a pass that stands.
func TestCardOnlyForAPass(t *testing.T) {
	no := "not_tasted"
	for _, c := range []struct {
		what   string
		course string
		change func(*Sheet)
		want   error
	}{
		{"fail", "fail", func(*Sheet) {}, ErrCardOutcome},
		{"not valid", "not-valid", func(*Sheet) {}, ErrCardOutcome},
		{"cannot taste", "cannot-taste", func(*Sheet) {}, ErrCardOutcome},
		{"practice", "pass", func(s *Sheet) { s.View.Practice = "simulated" }, ErrCardPractice},
		{"recalled", "pass", func(s *Sheet) { s.Recalled = &Recall{Reason: "clogged"} }, ErrCardRecalled},
		{"restored clock", "pass", func(s *Sheet) { s.View.WallQuality = "restored" }, ErrCardDate},
		{"no clock", "pass", func(s *Sheet) { s.View.Opened = "" }, ErrCardDate},
		{"proof", "pass", func(s *Sheet) { s.View.Record.Proof = &no }, ErrCardProof},
		{"erased", "pass", func(s *Sheet) { s.Person = Person{Erased: true} }, ErrCardErased},
		{"no name", "pass", func(s *Sheet) { s.Person = Person{} }, ErrCardName},
		{"no size", "pass", func(s *Sheet) { s.Facepiece.Size = "" }, ErrCardFacepiece},
		{"failed since", "pass", func(s *Sheet) { s.Void = ErrCardFailed }, ErrCardFailed},
		{"open", "pass", func(s *Sheet) { s.View.Record = nil }, errNoVerdict},
	} {
		s := sheetOf(t, courses[c.course])
		c.change(&s)
		var b bytes.Buffer
		if err := CardPDF(&b, s); !errors.Is(err, c.want) || b.Len() > 0 {
			t.Errorf("%s: error %v with %d bytes, want %v and nothing", c.what, err, b.Len(), c.want)
		}
		if err := CardPNG(&b, s); !errors.Is(err, c.want) || b.Len() > 0 {
			t.Errorf("%s: error %v with %d bytes, want %v and nothing", c.what, err, b.Len(), c.want)
		}
	}
	s := sheetOf(t, courses["pass"])
	s.Person.Name = strings.Repeat("Wolfeschlegelstein ", 16)
	if err := CardPNG(&bytes.Buffer{}, s); err == nil {
		t.Error("a name of 300 characters found place on a card")
	}
	if got := s.View.Record.Outcome; got != procedure.Pass {
		t.Errorf("the course of the test gave %s", got)
	}
}
