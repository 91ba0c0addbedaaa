// SPDX-License-Identifier: Apache-2.0

package page

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

func fixedEm(em sfnt.Units) fixed.Int26_6 { return fixed.I(int(em)) }

// Pixels draws at a resolution in dots per inch, on white.
func (d *Drawing) Pixels(dpi float64) (*image.RGBA, error) {
	if d.err != nil {
		return nil, d.err
	}
	k := dpi / 25.4
	img := image.NewRGBA(image.Rect(0, 0, int(math.Round(d.W*k)), int(math.Round(d.H*k))))
	draw.Draw(img, img.Bounds(), image.White, image.Point{}, draw.Src)
	r := &brush{img: img, k: k}
	for _, m := range d.marks {
		if err := r.draw(m); err != nil {
			return nil, err
		}
	}
	return img, nil
}

// PNG writes the drawing as a picture that says its resolution.
func (d *Drawing) PNG(w io.Writer, dpi float64) error {
	img, err := d.Pixels(dpi)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return fmt.Errorf("make a PNG: %w", err)
	}
	// The picture's header is 33 bytes: signature and IHDR. After it comes the
	// chunk with the pixels per metre (PNG, chunk pHYs), which the encoder lacks.
	const header = 33
	perMetre := uint32(math.Round(dpi / 0.0254))
	chunk := []byte("\x00\x00\x00\x09pHYs")
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = append(chunk, 1)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	raw := b.Bytes()
	for _, part := range [][]byte{raw[:header], chunk, raw[header:]} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return nil
}

// A brush draws marks into a picture.
type brush struct {
	img *image.RGBA
	k   float64 // pixels per millimetre
	buf sfnt.Buffer
}

func (b *brush) draw(m mark) error {
	if m.run != nil {
		return b.text(m)
	}
	paths := m.paths
	if m.round {
		paths = nil
		for _, p := range m.paths {
			paths = append(paths, corners(p[0], p[1].X))
		}
	}
	if m.fill != nil {
		b.fill(paths, *m.fill)
	}
	if m.pen.Width > 0 {
		for _, path := range paths {
			b.stroke(path, m.close, m.pen)
		}
	}
	return nil
}

// A patch is the part of the picture that a shape touches.
type patch struct {
	*vector.Rasterizer
	in image.Rectangle
}

// patch begins a shape that lies within two corners given in pixels.
func (b *brush) patch(x0, y0, x1, y1 float64) patch {
	in := image.Rect(int(math.Floor(x0))-1, int(math.Floor(y0))-1, int(math.Ceil(x1))+1, int(math.Ceil(y1))+1).Intersect(b.img.Bounds())
	return patch{vector.NewRasterizer(in.Dx(), in.Dy()), in}
}

func (p patch) x(v float64) float32 { return float32(v - float64(p.in.Min.X)) }
func (p patch) y(v float64) float32 { return float32(v - float64(p.in.Min.Y)) }

func (b *brush) fill(paths [][]Point, c Color) {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, path := range paths {
		for _, at := range path {
			x0, y0, x1, y1 = min(x0, at.X*b.k), min(y0, at.Y*b.k), max(x1, at.X*b.k), max(y1, at.Y*b.k)
		}
	}
	if x1 < x0 {
		return
	}
	r := b.patch(x0, y0, x1, y1)
	for _, path := range paths {
		for i, at := range path {
			if i == 0 {
				r.MoveTo(r.x(at.X*b.k), r.y(at.Y*b.k))
			} else {
				r.LineTo(r.x(at.X*b.k), r.y(at.Y*b.k))
			}
		}
		r.ClosePath()
	}
	r.Draw(b.img, r.in, ink(c), image.Point{})
}

func ink(c Color) *image.Uniform {
	v := func(f float64) uint8 { return uint8(math.Round(f * 255)) }
	return image.NewUniform(color.RGBA{v(c[0]), v(c[1]), v(c[2]), 255})
}

// stroke draws each straight piece as a rectangle and rounds the joins.
func (b *brush) stroke(path []Point, closed bool, pen Pen) {
	if closed {
		path = append(append([]Point(nil), path...), path[0])
	}
	half := pen.Width / 2
	for i := 1; i < len(path); i++ {
		for _, piece := range dashes(path[i-1], path[i], pen.Dash) {
			p, q := piece[0], piece[1]
			dx, dy := q.X-p.X, q.Y-p.Y
			l := math.Hypot(dx, dy)
			if l == 0 {
				continue
			}
			nx, ny := -dy/l*half, dx/l*half
			b.fill([][]Point{{{p.X + nx, p.Y + ny}, {q.X + nx, q.Y + ny}, {q.X - nx, q.Y - ny}, {p.X - nx, p.Y - ny}}}, pen.Color)
		}
		if len(pen.Dash) == 0 && len(path) > 2 {
			b.fill([][]Point{corners(path[i], half)}, pen.Color)
		}
	}
}

// dashes cuts a straight line into the pieces that a dashed pen draws.
func dashes(p, q Point, dash []float64) [][2]Point {
	l := math.Hypot(q.X-p.X, q.Y-p.Y)
	if len(dash) < 2 || dash[0]+dash[1] <= 0 || l == 0 {
		return [][2]Point{{p, q}}
	}
	along := func(s float64) Point { return Point{p.X + (q.X-p.X)*s/l, p.Y + (q.Y-p.Y)*s/l} }
	var out [][2]Point
	for s := 0.0; s < l; s += dash[0] + dash[1] {
		out = append(out, [2]Point{along(s), along(min(l, s+dash[0]))})
	}
	return out
}

func (b *brush) text(m mark) error {
	f, err := theFace(m.bold)
	if err != nil {
		return err
	}
	em := f.pix.UnitsPerEm()
	scale := m.size * MM * b.k / float64(em) / 64
	x := m.at.X * b.k
	y := m.at.Y * b.k
	size := m.size * MM * b.k
	r := b.patch(x-size, y-1.4*size, x+width(m.run, m.size)*b.k+size, y+0.6*size)
	for _, g := range m.run {
		segments, err := f.pix.LoadGlyph(&b.buf, sfnt.GlyphIndex(g.id), fixedEm(em), nil)
		if err != nil {
			return fmt.Errorf("glyph %d: %w", g.id, err)
		}
		ox := x + g.shift*m.size*MM*b.k
		pt := func(p fixed.Point26_6) (float32, float32) {
			return r.x(ox + float64(p.X)*scale), r.y(y + float64(p.Y)*scale)
		}
		for _, s := range segments {
			ax, ay := pt(s.Args[0])
			switch s.Op {
			case sfnt.SegmentOpMoveTo:
				r.ClosePath()
				r.MoveTo(ax, ay)
			case sfnt.SegmentOpLineTo:
				r.LineTo(ax, ay)
			case sfnt.SegmentOpQuadTo:
				bx, by := pt(s.Args[1])
				r.QuadTo(ax, ay, bx, by)
			case sfnt.SegmentOpCubeTo:
				bx, by := pt(s.Args[1])
				cx, cy := pt(s.Args[2])
				r.CubeTo(ax, ay, bx, by, cx, cy)
			}
		}
		r.ClosePath()
		x += g.advance * m.size * MM * b.k
	}
	r.Draw(b.img, r.in, ink(m.color), image.Point{})
	return nil
}
