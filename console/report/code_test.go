// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Picture and drawing of a code give back the text, as another program reads it.
func TestCode(t *testing.T) {
	zbar := tool(t, "zbarimg", "zbar-tools")
	for name, text := range map[string]string{"code": claim, "code-long": claim + strings.Repeat("ABCDEFGHIJKLMNOPQRSTUVWXYZ012345", 40)} {
		var pic, drawing, again bytes.Buffer
		if err := errors.Join(CodePNG(&pic, text), CodeSVG(&drawing, text), CodePNG(&again, text)); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !bytes.Equal(pic.Bytes(), again.Bytes()) {
			t.Errorf("%s: the same text gave other bytes", name)
		}
		for _, f := range []struct {
			name string
			png  []byte
		}{{name + ".png", pic.Bytes()}, {name + "-drawn.png", drawn(t, drawing.Bytes())}} {
			out, err := exec.Command(zbar, "--quiet", "--raw", keep(t, f.name, f.png)).Output()
			if err != nil || strings.TrimSuffix(string(out), "\n") != text {
				t.Errorf("%s: zbarimg read %q (%v) of a text of %d bytes", f.name, out, err, len(text))
			}
		}
	}
	for name, text := range map[string]string{"empty": "", "endless": strings.Repeat("é", 4000)} {
		if err := CodeSVG(&bytes.Buffer{}, text); !errors.Is(err, ErrNoCode) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// drawn draws the paths of a code's SVG, which are rectangles of whole units.
func drawn(t *testing.T, text []byte) []byte {
	t.Helper()
	var doc struct {
		Box   string `xml:"viewBox,attr"`
		Paths []struct {
			D    string `xml:"d,attr"`
			Fill string `xml:"fill,attr"`
		} `xml:"path"`
	}
	if err := xml.Unmarshal(text, &doc); err != nil || len(doc.Paths) != 2 {
		t.Fatalf("%v: %d paths", err, len(doc.Paths))
	}
	number := func(s string) int {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	const dots = 6
	side := number(strings.Fields(doc.Box)[2]) * dots
	pic := image.NewGray(image.Rect(0, 0, side, side))
	draw.Draw(pic, pic.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`).FindAllStringSubmatch(doc.Paths[1].D, -1) {
		x, y, w := number(m[1]), number(m[2]), number(m[3])
		draw.Draw(pic, image.Rect(x*dots, y*dots, (x+w)*dots, (y+1)*dots), image.NewUniform(color.Black), image.Point{}, draw.Src)
	}
	var out bytes.Buffer
	if err := png.Encode(&out, pic); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
