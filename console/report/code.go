// SPDX-License-Identifier: Apache-2.0

package report

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"rsc.io/qr"
)

// codeDots is how many pixels a module of a code has in a picture of its own.
const codeDots = 8

// ErrNoCode: a text that is empty, or too long for a code.
var ErrNoCode = errors.New("no code: there is nothing to say in it, or more than a code holds")

// CodePNG writes the QR code of a text as a picture with its quiet border, the
// same bytes for the same text.
func CodePNG(w io.Writer, text string) error {
	code, err := codeOf(text)
	if err != nil {
		return err
	}
	_, err = w.Write(code.PNG())
	return err
}

// CodeSVG writes the QR code of a text as a drawing of one unit to the module,
// with its quiet border, so that it is sharp at any size.
func CodeSVG(w io.Writer, text string) error {
	code, err := codeOf(text)
	if err != nil {
		return err
	}
	var path strings.Builder
	for row := range code.Size {
		for col := 0; col < code.Size; col++ {
			from := col
			for col < code.Size && code.Black(col, row) {
				col++
			}
			if n := col - from; n > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", from+quiet, row+quiet, n, n)
			}
		}
	}
	side := code.Size + 2*quiet
	_, err = fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" shape-rendering="crispEdges"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="%s"/></svg>`+"\n",
		side, side, side*codeDots, side*codeDots, side, side, path.String())
	return err
}

// codeOf makes the code that stands the most damage and is still coarse.
func codeOf(text string) (*qr.Code, error) {
	if text == "" {
		return nil, ErrNoCode
	}
	for _, level := range []qr.Level{qr.M, qr.L} {
		if code, err := qr.Encode(text, level); err == nil {
			code.Scale = codeDots
			return code, nil
		}
	}
	return nil, ErrNoCode
}
