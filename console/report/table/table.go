// SPDX-License-Identifier: Apache-2.0

// Package table reads the lists that people bring, CSV and XLSX, into rows of
// text: byte order marks, code pages, delimiters and quotes of many programs,
// within bounds on size. What it guesses it says, with how sure it is and what
// else it could be, so that a person can say otherwise. It must not know what
// the columns mean, change a cell's text, or trust what a file says of its own
// size.
package table

import (
	"bytes"
	"errors"
	"fmt"
)

// The bounds.
const (
	MaxBytes   = 32 << 20 // of the file as it comes
	MaxOpened  = 64 << 20 // of a workbook's parts, unpacked, all together
	MaxParts   = 2000     // of a workbook
	MaxRows    = 250_000
	MaxColumns = 256
	MaxCells   = 4_000_000
	MaxCell    = 32_767 // bytes in one cell
)

// ErrTooLarge is wrapped by every error about a bound.
var ErrTooLarge = errors.New("the file is larger than can be read here")

// Options say what a person knows better than the guess.
type Options struct {
	Encoding string // one of Encodings; empty: guess
	Comma    rune   // between fields; 0: guess
	Sheet    string // of a workbook; empty: the first
}

// A Table is what was read.
type Table struct {
	Format    string      // csv or xlsx
	Encoding  string      // of a CSV
	Sure      float64     // of the encoding: 0.5 a toss-up, 1 certain
	Others    []Candidate // other encodings that would read as other text, best first
	Comma     rune        // between fields, of a CSV
	CommaSure float64     // share of the first lines that have the same number of fields
	Sheets    []string    // of a workbook
	Sheet     string
	Rows      []Row
	Width     int   // fields of the longest row
	Wider     []int // lines that have more fields than the first one, at most 20
}

// A Row is a line with its number in the file, counted from 1.
type Row struct {
	Line  int
	Cells []string
}

// A Candidate is another way to read a file.
type Candidate struct {
	Encoding string
	Sample   string // a piece of text as it would read
}

// Preview is the first n rows.
func (t Table) Preview(n int) []Row { return t.Rows[:min(n, len(t.Rows))] }

// Read reads a file that came whole.
func Read(raw []byte, o Options) (Table, error) {
	switch {
	case len(raw) > MaxBytes:
		return Table{}, fmt.Errorf("%w: %d bytes, the bound is %d", ErrTooLarge, len(raw), MaxBytes)
	case len(bytes.TrimSpace(raw)) == 0:
		return Table{}, errors.New("the file is empty")
	case bytes.HasPrefix(raw, []byte("PK\x03\x04")):
		return readXLSX(raw, o)
	case bytes.HasPrefix(raw, []byte("\xD0\xCF\x11\xE0")):
		return Table{}, errors.New("this is a workbook of the older kind (XLS), or one locked with a password; save it as XLSX or CSV without a password")
	case bytes.HasPrefix(raw, []byte("%PDF")):
		return Table{}, errors.New("this is a PDF, not a list; save the list as XLSX or CSV")
	}
	return readCSV(raw, o)
}

// rows gathers rows within the bounds.
type rows struct {
	t     *Table
	cells int
}

func (r *rows) add(line int, cells []string) error {
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	if len(cells) == 0 {
		return nil
	}
	r.cells += len(cells)
	switch {
	case len(r.t.Rows) >= MaxRows:
		return fmt.Errorf("%w: more than %d rows", ErrTooLarge, MaxRows)
	case len(cells) > MaxColumns:
		return fmt.Errorf("line %d: %w: %d columns, the bound is %d", line, ErrTooLarge, len(cells), MaxColumns)
	case r.cells > MaxCells:
		return fmt.Errorf("%w: more than %d cells", ErrTooLarge, MaxCells)
	}
	for _, c := range cells {
		if len(c) > MaxCell {
			return fmt.Errorf("line %d: %w: a cell of %d bytes; a quotation mark that is never closed may be the cause", line, ErrTooLarge, len(c))
		}
	}
	r.t.Rows = append(r.t.Rows, Row{line, cells})
	r.t.Width = max(r.t.Width, len(cells))
	return nil
}

// done notes rows wider than the head and refuses a table without rows.
func (r *rows) done() error {
	if len(r.t.Rows) == 0 {
		return errors.New("the file holds no rows")
	}
	head := len(r.t.Rows[0].Cells)
	for _, row := range r.t.Rows {
		if len(row.Cells) > head && len(r.t.Wider) < 20 {
			r.t.Wider = append(r.t.Wider, row.Line)
		}
	}
	return nil
}
