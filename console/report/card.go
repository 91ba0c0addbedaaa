// SPDX-License-Identifier: Apache-2.0

package report

import (
	"errors"
	"fmt"
	"io"

	"rsc.io/qr"

	"tallyhood/console/procedure"
	"tallyhood/console/record"
	"tallyhood/console/report/page"
)

// The wallet card: the size of ISO/IEC 7810 ID-1, drawn at 300 dots per inch.
const (
	cardW, cardH = 85.6, 54.0
	cardDPI      = 300
	cardMargin   = 3.0
	// dot is a pixel of the card in millimetres. A module of the QR is a whole
	// number of them, so that its edges are sharp in the picture, and five at
	// least: 0.42 mm, above the 0.4 mm that a telephone reads with ease.
	dot       = 25.4 / cardDPI
	leastDots = 5
	mostDots  = 8
	// quiet is the empty border that a reader needs, in modules (ISO/IEC 18004).
	quiet = 4
	// leastText is the width that the words of the card need.
	leastText = 33.0
)

// Why a record has no card.
var (
	ErrCardPractice  = errors.New("no card: it was practice")
	ErrCardOutcome   = errors.New("no card: only a pass has one")
	ErrCardRecalled  = errors.New("no card: the run was recalled and is not valid any more")
	ErrCardProof     = errors.New("no card: with the seal broken nothing was tasted, so the pass does not stand")
	ErrCardDate      = errors.New("no card: the box's clock could not be trusted on that day")
	ErrCardErased    = errors.New("no card: the person's data were erased")
	ErrCardFacepiece = errors.New("no card: make, model and size of the facepiece are not all known")
	ErrCardName      = errors.New("no card: neither a name nor a number is known")
	ErrCardLater     = errors.New("no card: a later test with this facepiece counts instead")
	ErrCardFailed    = errors.New("no card: a later test with this facepiece showed a leak")
	ErrCardTrigger   = errors.New("no card: something happened since after which the person is to be tested again")
	ErrCardChanged   = errors.New("no card: the facepiece is entered otherwise now than it was tested")
	ErrCardGone      = errors.New("no card: the facepiece is not used any more, or not allowed for this test")
	ErrCardRules     = errors.New("no card: the person is to be tested under other rules than those of this test")
)

// CardPDF writes the wallet card as a PDF of its own size.
func CardPDF(w io.Writer, s Sheet) error {
	d, say, err := card(s)
	if err != nil {
		return err
	}
	return page.PDF(w, page.Info{Title: say.say("card.title") + " " + s.View.Run, Language: say.lang, Made: s.opened()}, d)
}

// CardPNG writes the wallet card as a picture of 300 dots per inch.
func CardPNG(w io.Writer, s Sheet) error {
	d, _, err := card(s)
	if err != nil {
		return err
	}
	return d.PNG(w, cardDPI)
}

// mayHaveCard is nil only for a pass that stands: not practice, not recalled,
// not in doubt, of a known day.
func mayHaveCard(s Sheet) error {
	r := s.View.Record
	switch {
	case r == nil:
		return errNoVerdict
	case s.practice():
		return ErrCardPractice
	case s.Recalled != nil || r.Recalled != nil:
		return ErrCardRecalled
	case r.Outcome != procedure.Pass || r.Reason != "":
		return ErrCardOutcome
	case r.Proof != nil && *r.Proof == record.ProofNotTasted:
		return ErrCardProof
	case !s.trusted() || s.opened().IsZero():
		return ErrCardDate
	case s.Person.Erased:
		return ErrCardErased
	case s.Void != nil:
		return s.Void
	case page.Clean(s.Person.Name)+page.Clean(s.Person.Number) == "":
		return ErrCardName
	case s.Facepiece.Make == "" || s.Facepiece.Model == "" || s.Facepiece.Size == "":
		return ErrCardFacepiece
	}
	return nil
}

func card(s Sheet) (*page.Drawing, words, error) {
	if err := mayHaveCard(s); err != nil {
		return nil, words{}, err
	}
	say, err := wordsIn(s.Language, s.Own)
	if err != nil {
		return nil, words{}, err
	}
	code, side, err := qrFor(s.Claim)
	if err != nil {
		return nil, words{}, err
	}
	d := page.New(cardW, cardH)
	d.Rect(0.15, 0.15, cardW-0.3, cardH-0.3, nil, page.Pen{Width: 0.2, Color: page.Rule})
	textW := cardW - 2*cardMargin
	if code != nil {
		x := snap(cardW - side - 1)
		y := snap((cardH - side) / 2)
		if side < 36 {
			y = snap(4)
		}
		drawQR(d, code, x, y, side)
		textW = x - cardMargin
		if side < 36 {
			small := page.Style{Size: 5, Color: page.Soft, Align: page.Center}
			for i, line := range page.Wrap(say.say("card.scan"), small, side-2) {
				d.Text(x+side/2, y+side+1.6+float64(i)*2.2, line, small)
			}
		}
	}
	for scale := 1.0; ; scale -= 0.05 {
		if scale < 0.8 {
			if s.Own != nil { // longer words are no reason to have no card
				s.Own, s.Language = nil, ""
				return card(s)
			}
			return nil, words{}, fmt.Errorf("no card: the words do not fit on %.1f x %.0f mm; name, make, model, style or place is too long", cardW, cardH)
		}
		try := page.New(cardW, cardH)
		if bottom := cardWords(try, s, say, textW, scale); bottom <= cardH-2 {
			cardWords(d, s, say, textW, scale)
			break
		}
	}
	return d, say, d.Err()
}

// cardWords writes the words of the card and gives where they end.
func cardWords(d *page.Drawing, s Sheet, say words, w, scale float64) float64 {
	x, y := cardMargin, cardMargin
	outcomeMark(d, x, y, 7*scale, procedure.Pass)
	line := func(y float64, text string, st page.Style) {
		if most := w - 8.6*scale - 1; page.Width(text, st) > most {
			st.Size *= most / page.Width(text, st)
		}
		d.Text(x+8.6*scale, y, text, st)
	}
	line(y+3.2*scale, say.say("card.title"), page.Style{Size: 9 * scale, Bold: true, Color: page.Ink})
	agent := s.View.Record.Agent
	if key := "card.agent." + agent; has(key) {
		agent = say.say(key)
	}
	line(y+6.3*scale, say.say("card.subtitle", agent), page.Style{Size: 5.6 * scale, Color: page.Soft})
	y += 8.2 * scale
	put := func(what, text string, size float64, bold bool, c page.Color) {
		if text == "" {
			return
		}
		st := page.Style{Size: size * scale, Bold: bold, Color: c}
		d.In = what
		for _, line := range page.Wrap(text, st, w-1) {
			y += st.Size * page.MM * 1.2
			d.Text(x, y-0.2*st.Size*page.MM, line, st)
		}
		d.In = "the card"
	}
	put(say.say("name"), s.Person.Name, 8.4, true, page.Ink)
	put(say.say("number"), s.Person.Number, 6.8, false, page.Ink)
	y += 0.9 * scale
	put(say.say("model"), s.Facepiece.Make+" "+s.Facepiece.Model, 8.4, true, page.Ink)
	put(say.say("size"), say.say("card.size", s.Facepiece.Size), 7.4, true, page.Ink)
	put(say.say("style"), s.Facepiece.Style, 6.2, false, page.Ink)
	y += 0.9 * scale
	due := s.Due.On
	if due == "" {
		if due = s.Due.Why; due == english["card.due.no_time"] {
			due = say.say("card.due.no_time")
		}
	}
	if due == "" {
		due = say.say("due.unknown")
	}
	put(say.say("date"), say.say("card.dates")+" "+day(s.View.Opened), 6.8, false, page.Ink)
	put(say.say("due"), say.say("card.due")+" "+due, 6.8, true, page.Ink)
	y += 0.9 * scale
	rules := s.View.RulesName
	if key := "card.rules." + s.View.Record.Rules; has(key) && rules == english[key] { // as it is published, not as a house calls it
		rules = say.say(key)
	}
	put(say.say("rules"), rules, 5.6, false, page.Ink)
	if s.Site != "" {
		put(say.say("site"), say.say("card.site")+" "+s.Site, 5.6, false, page.Ink)
	}
	put(say.say("card.run"), say.say("card.run", s.View.Run), 5.6, false, page.Soft)
	put("", say.say("card.valid"), 5.2, false, page.Ink)
	put("", say.say("card.prevails"), 5.2, false, page.Ink)
	return y
}

func snap(mm float64) float64 { return float64(int(mm/dot+0.5)) * dot }

// qrFor makes the code of a claim with the most correction that leaves room for
// the words, and gives its side with the quiet border. No claim: no code.
func qrFor(claim string) (*qr.Code, float64, error) {
	if claim == "" {
		return nil, 0, nil
	}
	most := cardW - cardMargin - leastText - 1
	most = min(most, cardH-2)
	for _, level := range []qr.Level{qr.Q, qr.M, qr.L} {
		code, err := qr.Encode(claim, level)
		if err != nil {
			continue
		}
		// Prefer a code that leaves half of the card to the words.
		limit := 30.0
		if level == qr.L {
			limit = most
		}
		for dots := mostDots; dots >= leastDots; dots-- {
			side := float64(code.Size+2*quiet) * float64(dots) * dot
			if side <= 30 || dots == leastDots && side <= limit {
				code.Scale = dots
				return code, side, nil
			}
		}
	}
	return nil, 0, fmt.Errorf("no card: the claim of %d bytes makes a code that would be too fine to read on a card", len(claim))
}

// drawQR draws the code with its quiet border in white.
func drawQR(d *page.Drawing, code *qr.Code, x, y, side float64) {
	white := page.White
	d.Rect(x, y, side, side, &white, page.Pen{})
	m := float64(code.Scale) * dot
	var dark [][4]float64
	for row := range code.Size {
		for col := 0; col < code.Size; col++ {
			if !code.Black(col, row) {
				continue
			}
			from := col
			for col < code.Size && code.Black(col, row) {
				col++
			}
			dark = append(dark, [4]float64{x + float64(from+quiet)*m, y + float64(row+quiet)*m, float64(col-from) * m, m})
		}
	}
	d.Rects(dark, page.Color{})
}
