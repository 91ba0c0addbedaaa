// SPDX-License-Identifier: Apache-2.0

package page

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"io"
	"strings"
	"sync"
	"unicode"

	"github.com/carlos7ags/folio/font"
	"github.com/carlos7ags/folio/layout"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/norm"
)

//go:embed fonts/DejaVuSans.ttf.gz
var regularGz []byte

//go:embed fonts/DejaVuSans-Bold.ttf.gz
var boldGz []byte

// A face is one font: for widths and the PDF, and for pixels.
type face struct {
	pdf  font.Face
	pix  *sfnt.Font
	data []byte
	// em is how many of the font's units a size has.
	em float64
}

var faces = sync.OnceValues(func() ([2]*face, error) {
	var out [2]*face
	for i, gz := range [][]byte{regularGz, boldGz} {
		r, err := gzip.NewReader(bytes.NewReader(gz))
		if err != nil {
			return out, fmt.Errorf("font %d: %w", i, err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			return out, fmt.Errorf("font %d: %w", i, err)
		}
		f := &face{data: data}
		if f.pdf, err = font.ParseTTF(data); err != nil {
			return out, fmt.Errorf("font %d: %w", i, err)
		}
		if f.pix, err = sfnt.Parse(data); err != nil {
			return out, fmt.Errorf("font %d: %w", i, err)
		}
		f.em = float64(f.pdf.UnitsPerEm())
		out[i] = f
	}
	return out, nil
})

func theFace(bold bool) (*face, error) {
	fs, err := faces()
	if err != nil {
		return nil, err
	}
	if bold {
		return fs[1], nil
	}
	return fs[0], nil
}

// A glyph is a drawn form, left to right, with the text it stands for.
type glyph struct {
	id      uint16
	advance float64 // of an em
	shift   float64 // of an em, for a mark that sits on the glyph before it
	text    string
	form    rune // the character that the font knows it by
}

func width(run []glyph, size float64) float64 {
	w := 0.0
	for _, g := range run {
		w += g.advance
	}
	return w * size * MM
}

// Clean gives text as it can be drawn on one line: composed, spaces for control
// characters, and without the characters that only steer the order of others,
// so that nobody can make a line read as what it is not.
func Clean(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r) || r == 0x2028 || r == 0x2029:
			return ' '
		case r == nonJoiner:
			return r // steers how letters join, as Persian spelling asks
		case unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Variation_Selector, r):
			return -1
		}
		return r
	}, norm.NFC.String(strings.ToValidUTF8(text, "\uFFFD")))
}

const nonJoiner = 0x200C

// shape gives the glyphs of a line in the order in which they stand.
func shape(text string, bold bool) ([]glyph, error) {
	f, err := theFace(bold)
	if err != nil {
		return nil, err
	}
	var out []glyph
	for _, run := range visual(Clean(text)) {
		gs, err := f.glyphs(run)
		if err != nil {
			return nil, err
		}
		out = append(out, gs...)
	}
	return out, nil
}

// glyphs of one run of one direction.
func (f *face) glyphs(run span) ([]glyph, error) {
	text := run.text
	if run.rtl {
		text = layout.ShapeArabic(text)
	}
	// A character and the marks on it stay together when the order turns.
	var clusters [][]glyph
	for _, r := range text {
		if run.rtl {
			r = mirrored(r)
		}
		if r == nonJoiner {
			continue
		}
		id := f.pdf.GlyphIndex(r)
		if id == 0 {
			return nil, &MissingGlyph{Rune: r}
		}
		g := glyph{id: id, advance: float64(f.pdf.GlyphAdvance(id)) / f.em, text: string(r), form: r}
		if isForm(r) {
			g.text = norm.NFKC.String(string(r)) // of a presentation form: the letters themselves
		}
		if n := len(clusters); unicode.Is(unicode.Mn, r) && n > 0 {
			base := clusters[n-1][0]
			g.shift = f.centre(base.id) - f.centre(id) - base.advance
			g.advance = 0
			clusters[n-1] = append(clusters[n-1], g)
			continue
		}
		clusters = append(clusters, []glyph{g})
	}
	var out []glyph
	for i := range clusters {
		if run.rtl {
			i = len(clusters) - 1 - i
		}
		out = append(out, clusters[i]...)
	}
	return out, nil
}

func isForm(r rune) bool { return r >= 0xFB50 && r <= 0xFDFF || r >= 0xFE70 && r <= 0xFEFC }

// centre of a glyph's outline, of an em from its origin.
func (f *face) centre(id uint16) float64 {
	var b sfnt.Buffer
	em := f.pix.UnitsPerEm()
	segments, err := f.pix.LoadGlyph(&b, sfnt.GlyphIndex(id), fixedEm(em), nil)
	if err != nil || len(segments) == 0 {
		return 0
	}
	r := segments.Bounds()
	return float64(r.Min.X+r.Max.X) / 2 / 64 / float64(em)
}

func mirrored(r rune) rune {
	const pairs = "()[]{}<>«»‹›"
	all := []rune(pairs)
	for i, p := range all {
		if p == r {
			return all[i^1]
		}
	}
	return r
}
