// SPDX-License-Identifier: Apache-2.0

package report

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// A Kind is what the cells of a column hold.
type Kind int

// The kinds.
const (
	Text    Kind = iota
	Integer      // whole number
	Number       // number with a fraction
	Bool
	Day     // 2006-01-02
	Instant // RFC 3339
)

// A Column of an export.
type Column struct {
	Name string
	Kind Kind
}

// A Cell holds a value of its kind or nothing; the zero value holds nothing.
type Cell struct {
	kind Kind
	full bool
	s    string
	i    int64
	f    float64
}

// TextCell holds text.
func TextCell(s string) Cell { return Cell{kind: Text, full: true, s: s} }

// IntegerCell holds a whole number.
func IntegerCell(n int64) Cell { return Cell{kind: Integer, full: true, i: n} }

// NumberCell holds a number.
func NumberCell(f float64) Cell { return Cell{kind: Number, full: true, f: f} }

// BoolCell holds yes or no.
func BoolCell(b bool) Cell {
	c := Cell{kind: Bool, full: true}
	if b {
		c.i = 1
	}
	return c
}

// DayCell holds a day written 2006-01-02; an empty one is nothing.
func DayCell(day string) Cell { return Cell{kind: Day, full: day != "", s: day} }

// InstantCell holds an instant written by RFC 3339; an empty one is nothing.
func InstantCell(at string) Cell { return Cell{kind: Instant, full: at != "", s: at} }

// Text is the cell in plain text, without regard to what reads it.
func (c Cell) Text() string {
	switch {
	case !c.full:
		return ""
	case c.kind == Integer:
		return strconv.FormatInt(c.i, 10)
	case c.kind == Number:
		return strconv.FormatFloat(c.f, 'f', -1, 64)
	case c.kind == Bool:
		return strconv.FormatBool(c.i != 0)
	}
	return c.s
}

// A Table is a list to export.
type Table struct {
	Name    string // of the sheet in a workbook
	Columns []Column
	Rows    [][]Cell
}

func (t Table) check() error {
	if len(t.Columns) == 0 {
		return errNoColumn
	}
	for i, r := range t.Rows {
		if err := checkRow(t.Columns, i+1, r); err != nil {
			return err
		}
	}
	return nil
}

var errNoColumn = errors.New("a table needs a column")

func checkRow(cols []Column, n int, r []Cell) error {
	if len(r) != len(cols) {
		return fmt.Errorf("row %d has %d cells for %d columns", n, len(r), len(cols))
	}
	for j, c := range r {
		if !c.full {
			continue
		}
		bad := ""
		switch {
		case c.kind != cols[j].Kind:
			bad = "a cell of another kind"
		case c.kind == Number && (math.IsNaN(c.f) || math.IsInf(c.f, 0)):
			bad = "not a number"
		case c.kind == Day && !isDay(c.s):
			bad = fmt.Sprintf("%q is no day", c.s)
		case c.kind == Instant && instant(c.s).IsZero():
			bad = fmt.Sprintf("%q is no instant", c.s)
		}
		if bad != "" {
			return fmt.Errorf("row %d, column %q: %s", n, cols[j].Name, bad)
		}
	}
	return nil
}

func isDay(s string) bool {
	_, err := time.Parse("2006-01-02", s)
	return err == nil
}

// CellOf reads text as a cell of a kind; empty text is nothing.
func CellOf(kind Kind, s string) (Cell, error) {
	if s == "" {
		return Cell{}, nil
	}
	switch kind {
	case Integer:
		n, err := strconv.ParseInt(s, 10, 64)
		return IntegerCell(n), err
	case Number:
		f, err := strconv.ParseFloat(s, 64)
		return NumberCell(f), err
	case Bool:
		b, err := strconv.ParseBool(s)
		return BoolCell(b), err
	}
	return Cell{kind: kind, full: true, s: s}, nil
}

// Rows writes a table row by row, so that a long list is never held whole.
// Close ends it; what was written before an error is not a whole file.
type Rows struct {
	cols []Column
	n    int
	put  func([]Cell) error
	end  func() error
}

// Add writes a row.
func (r *Rows) Add(cells ...Cell) error {
	r.n++
	if err := checkRow(r.cols, r.n, cells); err != nil {
		return err
	}
	return r.put(cells)
}

// AddText writes a row given as text, each cell read by its column's kind.
func (r *Rows) AddText(row []string) error {
	cells := make([]Cell, len(row))
	for i, s := range row {
		kind := Text
		if i < len(r.cols) {
			kind = r.cols[i].Kind
		}
		var err error
		if cells[i], err = CellOf(kind, s); err != nil {
			return fmt.Errorf("row %d, cell %d: %w", r.n+1, i+1, err)
		}
	}
	return r.Add(cells...)
}

// Close ends the file.
func (r *Rows) Close() error { return r.end() }

// CSVStyle says how a CSV is written. The zero value is comma and no byte
// order mark.
type CSVStyle struct {
	Semicolon bool // between fields, for spreadsheets whose decimal sign is a comma
	BOM       bool // so that spreadsheets take it for UTF-8
	// DecimalComma writes 0,5 for 0.5; it needs Semicolon.
	DecimalComma bool
}

// Spreadsheet is what most spreadsheet programs open well.
var Spreadsheet = CSVStyle{Semicolon: true, BOM: true}

// CSV writes the table as RFC 4180 text with a head line. Text that a
// spreadsheet would run as a formula gets an apostrophe before it.
func CSV(w io.Writer, t Table, style CSVStyle) error {
	if err := t.check(); err != nil {
		return err
	}
	out, err := NewCSV(w, t.Columns, style)
	if err != nil {
		return err
	}
	for _, r := range t.Rows {
		if err := out.put(r); err != nil {
			return err
		}
	}
	return out.Close()
}

// NewCSV begins a CSV that is written row by row.
func NewCSV(w io.Writer, cols []Column, style CSVStyle) (*Rows, error) {
	switch {
	case len(cols) == 0:
		return nil, errNoColumn
	case style.DecimalComma && !style.Semicolon:
		return nil, errors.New("a decimal comma needs semicolons between the fields")
	}
	b := bufio.NewWriter(w)
	if style.BOM {
		if _, err := b.WriteString("\uFEFF"); err != nil {
			return nil, err
		}
	}
	out := csv.NewWriter(b)
	out.UseCRLF = true
	if style.Semicolon {
		out.Comma = ';'
	}
	row := make([]string, len(cols))
	for i, c := range cols {
		row[i] = guard(c.Name)
	}
	if err := out.Write(row); err != nil {
		return nil, err
	}
	put := func(r []Cell) error {
		for i, c := range r {
			row[i] = c.Text()
			switch {
			case c.kind == Text:
				row[i] = guard(row[i])
			case c.kind == Number && style.DecimalComma:
				row[i] = strings.ReplaceAll(row[i], ".", ",")
			}
		}
		return out.Write(row)
	}
	end := func() error {
		out.Flush()
		return errors.Join(out.Error(), b.Flush())
	}
	return &Rows{cols: cols, put: put, end: end}, nil
}

// guard keeps a spreadsheet from taking text for a formula: one that begins
// with = + - @ or, as some look past white space, with such after it, or with a
// tab or line end.
func guard(s string) string {
	text := strings.TrimLeft(s, " \u00A0\u3000")
	if text == "" {
		return s
	}
	if strings.ContainsRune("=+-@\t\r\n\uFF1D\uFF0B\uFF0D\uFF20", []rune(text)[0]) {
		return "'" + s
	}
	return s
}
