// SPDX-License-Identifier: Apache-2.0

package page

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/carlos7ags/folio/content"
	"github.com/carlos7ags/folio/document"
	"github.com/carlos7ags/folio/font"
)

// Info is what a PDF says about itself. Made must come from the data, so that
// the same record gives the same file; it may be zero.
type Info struct {
	Title    string
	Subject  string
	Language string // BCP 47
	Made     time.Time
	Attached []File
}

// A File is attached to a PDF.
type File struct {
	Name, Type, About string
	Data              []byte
}

// PDF writes the drawings, one a page, as PDF/A-3b with the glyphs that they
// use.
func PDF(w io.Writer, info Info, pages ...*Drawing) error {
	if len(pages) == 0 {
		return errors.New("a PDF needs a page")
	}
	fs, err := faces()
	if err != nil {
		return err
	}
	doc := document.NewDocument(size(pages[0]))
	doc.Info = document.Info{
		Title: Clean(info.Title), Subject: Clean(info.Subject), Creator: "tallyhood", Producer: "tallyhood",
		Language: info.Language, CreationDate: info.Made.UTC(), ModDate: info.Made.UTC(),
	}
	doc.SetPdfA(document.PdfAConfig{Level: document.PdfA3B})
	for _, f := range info.Attached {
		doc.AttachFile(document.FileAttachment{
			FileName: f.Name, MIMEType: f.Type, Description: f.About, AFRelationship: "Data", Data: f.Data, CreationDate: info.Made.UTC(),
		})
	}
	p := pen{}
	for i, f := range fs {
		p.fonts[i] = font.NewEmbeddedFont(f.pdf)
		p.said[i], p.taken[i] = map[uint16]string{}, map[string]bool{}
	}
	for _, d := range pages {
		if d.err != nil {
			return d.err
		}
		pg := doc.AddPage()
		pg.SetSize(size(d))
		// An empty text is how a page comes to know a font: F1 and F2.
		for _, f := range p.fonts {
			pg.AddTextEmbedded("", f, 1, 0, 0)
		}
		p.to, p.h = pg.ContentStream(), d.H
		for _, m := range d.marks {
			p.draw(m)
		}
	}
	raw, err := doc.ToBytesWithOptions(document.WriteOptions{Deterministic: true})
	if err != nil {
		return fmt.Errorf("make a PDF: %w", err)
	}
	_, err = w.Write(raw)
	return err
}

func size(d *Drawing) document.PageSize {
	return document.PageSize{Width: round(d.W / MM), Height: round(d.H / MM)}
}

func round(v float64) float64 { return math.Round(v*1000) / 1000 }

// A pen writes marks into a page.
type pen struct {
	to    *content.Stream
	h     float64
	fonts [2]*font.EmbeddedFont
	said  [2]map[uint16]string // what a glyph stands for in the font's own table
	taken [2]map[string]bool   // letters that stand in it
}

func (p *pen) xy(at Point) (x, y float64) { return round(at.X / MM), round((p.h - at.Y) / MM) }

func (p *pen) draw(m mark) {
	if m.run != nil {
		p.text(m)
		return
	}
	p.to.SaveState()
	if m.fill != nil {
		p.to.SetFillColorRGB(m.fill[0], m.fill[1], m.fill[2])
	}
	stroke := m.pen.Width > 0
	if stroke {
		p.to.SetStrokeColorRGB(m.pen.Color[0], m.pen.Color[1], m.pen.Color[2])
		p.to.SetLineWidth(round(m.pen.Width / MM))
		p.to.SetLineJoin(1)
		if len(m.pen.Dash) > 0 {
			dash := make([]float64, len(m.pen.Dash))
			for i, v := range m.pen.Dash {
				dash[i] = round(v / MM)
			}
			p.to.SetDashPattern(dash, 0)
		} else {
			p.to.SetLineCap(1)
		}
	}
	for _, path := range m.paths {
		if m.round {
			x, y := p.xy(path[0])
			p.to.Circle(x, y, round(path[1].X/MM))
			continue
		}
		for i, at := range path {
			x, y := p.xy(at)
			if i == 0 {
				p.to.MoveTo(x, y)
			} else {
				p.to.LineTo(x, y)
			}
		}
		if m.close {
			p.to.ClosePath()
		}
	}
	switch {
	case m.fill != nil && stroke:
		p.to.FillAndStroke()
	case m.fill != nil:
		p.to.Fill()
	case stroke:
		p.to.Stroke()
	default:
		p.to.EndPath()
	}
	p.to.RestoreState()
}

// encode gives the code of a glyph, and what the font's own table says that it
// stands for: its letter for the first form of a letter that is used, the form
// itself for the others. Each entry of the table is there once, since the
// library writes those that share a letter in no fixed order.
func (p *pen) encode(which int, id uint16, letter string, form rune) ([]byte, string) {
	text, known := p.said[which][id]
	if !known {
		text = letter
		if p.taken[which][letter] {
			text = string(form)
		}
		p.said[which][id], p.taken[which][text] = text, true
	}
	return p.fonts[which].EncodeGIDs([]uint16{id}, text), text
}

// text writes a run. A glyph that stands for other text than the font's table
// says carries its text with it.
func (p *pen) text(m mark) {
	which := 0
	if m.bold {
		which = 1
	}
	f := p.fonts[which]
	p.to.SetFillColorRGB(m.color[0], m.color[1], m.color[2])
	p.to.BeginText()
	p.to.SetFont([2]string{"F1", "F2"}[which], m.size)
	at := m.at
	last := Point{}
	x0, y0 := p.xy(at)
	place := func(x, y float64) {
		p.to.MoveText(round(x-last.X), round(y-last.Y))
		last = Point{x, y}
	}
	place(x0, y0)
	var plain []byte
	x, shown := x0, x0 // where the next glyph stands, and where the pen would put it
	flush := func() {
		if len(plain) > 0 {
			p.to.ShowTextHex(plain)
			plain = nil
		}
	}
	for _, g := range m.run {
		// A form that joins two letters, as lam and alef, reads as the right one;
		// the ones to its left stand there unseen and without width, since readers
		// put letters of this direction in order by their place.
		if rs := []rune(g.text); len(rs) > 1 {
			flush()
			place(round(x), y0)
			p.to.SetTextRenderingMode(3)
			p.to.SetHorizontalScaling(1)
			for i := len(rs) - 1; i > 0; i-- {
				if id := f.Face().GlyphIndex(rs[i]); id != 0 {
					code, _ := p.encode(which, id, string(rs[i]), rs[i])
					p.to.ShowTextHex(code)
				}
			}
			p.to.SetHorizontalScaling(100)
			p.to.SetTextRenderingMode(0)
			g.text = string(rs[0])
			shown = math.NaN()
		}
		code, text := p.encode(which, g.id, g.text, g.form)
		if g.shift != 0 {
			flush()
			place(round(x+g.shift*m.size), y0)
		} else if shown != x {
			flush()
			place(round(x), y0)
			shown = x
		}
		if text != g.text {
			flush()
			if g.shift == 0 {
				place(round(x), y0)
			}
			p.to.BeginMarkedContentActualText(g.text)
			p.to.ShowTextHex(code)
			p.to.EndMarkedContent()
			shown = math.NaN()
		} else {
			plain = append(plain, code...)
			if g.shift != 0 {
				flush()
				shown = math.NaN()
			} else {
				shown += g.advance * m.size
			}
		}
		x += g.advance * m.size
	}
	flush()
	p.to.EndText()
}
