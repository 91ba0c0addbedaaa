// SPDX-License-Identifier: Apache-2.0

package report

import (
	"archive/zip"
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Limits of a workbook (ECMA-376, as spreadsheet programs hold it).
const (
	sheetRows  = 1_048_576
	cellChars  = 32_767
	nameChars  = 31
	xmlHead    = `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>` + "\n"
	mainSpace  = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
	docSpace   = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	packSpace  = "http://schemas.openxmlformats.org/package/2006"
	sheetTypes = "application/vnd.openxmlformats-officedocument.spreadsheetml."
)

// XLSX writes tables as the sheets of one workbook. Text is text, whatever it
// begins with; days are dates; instants stay text, since a workbook's times have
// no zone.
func XLSX(w io.Writer, tables ...Table) error {
	if len(tables) == 0 {
		return errors.New("a workbook needs a table")
	}
	names := make([]string, len(tables))
	for i, t := range tables {
		if err := t.check(); err != nil {
			return err
		}
		if len(t.Rows) >= sheetRows {
			return errRows
		}
		names[i] = t.Name
	}
	book, err := newBook(w, names)
	if err != nil {
		return err
	}
	for _, t := range tables {
		s, err := book.sheet(t.Columns)
		if err != nil {
			return err
		}
		for _, r := range t.Rows {
			if err := s.put(r); err != nil {
				return err
			}
		}
		if err := s.Close(); err != nil {
			return err
		}
	}
	return book.close()
}

// NewXLSX begins a workbook of one sheet that is written row by row: a long
// list needs no memory and leaves no file behind.
func NewXLSX(w io.Writer, name string, cols []Column) (*Rows, error) {
	book, err := newBook(w, []string{name})
	if err != nil {
		return nil, err
	}
	s, err := book.sheet(cols)
	if err != nil {
		return nil, err
	}
	end := s.end
	s.end = func() error { return errors.Join(end(), book.close()) }
	return s, nil
}

var errRows = fmt.Errorf("more than %d rows do not fit on a sheet of a workbook; use CSV", sheetRows-1)

// A book is a workbook being written: its parts in order, the sheets last.
type book struct {
	z *zip.Writer
	n int // sheets begun
}

func (k *book) part(name string) (*bufio.Writer, error) {
	out, err := k.z.Create(name)
	if err != nil {
		return nil, fmt.Errorf("write a workbook: %w", err)
	}
	b := bufio.NewWriterSize(out, 64<<10)
	_, err = b.WriteString(xmlHead)
	return b, err
}

func (k *book) close() error {
	if err := k.z.Close(); err != nil {
		return fmt.Errorf("write a workbook: %w", err)
	}
	return nil
}

func newBook(w io.Writer, names []string) (*book, error) {
	k := &book{z: zip.NewWriter(w)}
	used := map[string]bool{}
	var types, sheets, rels strings.Builder
	for i, n := range names {
		fmt.Fprintf(&types, `<Override PartName="/xl/worksheets/sheet%d.xml" ContentType="%sworksheet+xml"/>`, i+1, sheetTypes)
		fmt.Fprintf(&sheets, `<sheet name="%s" sheetId="%d" r:id="rId%d"/>`, xmlText(sheetName(n, i, used)), i+1, i+1)
		fmt.Fprintf(&rels, `<Relationship Id="rId%d" Type="%s/worksheet" Target="worksheets/sheet%d.xml"/>`, i+1, docSpace, i+1)
	}
	for _, p := range []struct{ name, text string }{
		{"[Content_Types].xml", fmt.Sprintf(`<Types xmlns="%s/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="%ssheet.main+xml"/><Override PartName="/xl/styles.xml" ContentType="%sstyles+xml"/>%s</Types>`, packSpace, sheetTypes, sheetTypes, types.String())},
		{"_rels/.rels", fmt.Sprintf(`<Relationships xmlns="%s/relationships"><Relationship Id="rId1" Type="%s/officeDocument" Target="xl/workbook.xml"/></Relationships>`, packSpace, docSpace)},
		{"xl/workbook.xml", fmt.Sprintf(`<workbook xmlns="%s" xmlns:r="%s"><sheets>%s</sheets></workbook>`, mainSpace, docSpace, sheets.String())},
		{"xl/_rels/workbook.xml.rels", fmt.Sprintf(`<Relationships xmlns="%s/relationships">%s<Relationship Id="rId%d" Type="%s/styles" Target="styles.xml"/></Relationships>`, packSpace, rels.String(), len(names)+1, docSpace)},
		// Cell styles by number: 0 plain, 1 a day, 2 the head, 3 text.
		{"xl/styles.xml", fmt.Sprintf(`<styleSheet xmlns="%s"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd"/></numFmts>`+
			`<fonts count="2"><font><sz val="11"/><name val="Calibri"/></font><font><b/><sz val="11"/><name val="Calibri"/></font></fonts>`+
			`<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>`+
			`<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>`+
			`<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>`+
			`<cellXfs count="4"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/><xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>`+
			`<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/><xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/></cellXfs>`+
			`<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>`, mainSpace)},
	} {
		b, err := k.part(p.name)
		if err != nil {
			return nil, err
		}
		b.WriteString(p.text)
		if err := b.Flush(); err != nil {
			return nil, fmt.Errorf("write a workbook: %w", err)
		}
	}
	return k, nil
}

// sheet begins the next sheet.
func (k *book) sheet(cols []Column) (*Rows, error) {
	if len(cols) == 0 {
		return nil, errNoColumn
	}
	k.n++
	b, err := k.part(fmt.Sprintf("xl/worksheets/sheet%d.xml", k.n))
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(b, `<worksheet xmlns="%s"><sheetViews><sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews><cols>`, mainSpace)
	for i, c := range cols {
		fmt.Fprintf(b, `<col min="%d" max="%d" width="%d" customWidth="1"/>`, i+1, i+1, min(60, max(11, len([]rune(c.Name))+2)))
	}
	b.WriteString(`</cols><sheetData><row r="1">`)
	refs := make([]string, len(cols))
	for i, c := range cols {
		refs[i] = columnName(i)
		textCell(b, refs[i], 1, 2, c.Name)
	}
	b.WriteString("</row>")
	line := 1
	put := func(r []Cell) error {
		if line++; line > sheetRows {
			return errRows
		}
		fmt.Fprintf(b, `<row r="%d">`, line)
		for i, c := range r {
			c.xml(b, refs[i], line)
		}
		_, err := b.WriteString("</row>")
		return err
	}
	end := func() error {
		b.WriteString("</sheetData></worksheet>")
		return b.Flush()
	}
	return &Rows{cols: cols, put: put, end: end}, nil
}

// sheetName is a name that a workbook takes: without []:*?/\, 31 characters at
// most, each once.
func sheetName(name string, i int, used map[string]bool) string {
	name = strings.Trim(strings.Map(func(r rune) rune {
		if strings.ContainsRune(`[]:*?/\`, r) || r < ' ' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(name, " ")), " '")
	if r := []rune(name); len(r) > nameChars-6 {
		name = string(r[:nameChars-6])
	}
	if name == "" || used[strings.ToLower(name)] {
		name = strings.TrimSpace(name + " " + strconv.Itoa(i+1))
	}
	used[strings.ToLower(name)] = true
	return name
}

// columnName is A to Z, AA and on.
func columnName(i int) string {
	out := ""
	for i++; i > 0; i = (i - 1) / 26 {
		out = string(rune('A'+(i-1)%26)) + out
	}
	return out
}

func textCell(b *bufio.Writer, column string, row, style int, text string) {
	fmt.Fprintf(b, `<c r="%s%d" s="%d" t="inlineStr"><is><t xml:space="preserve">%s</t></is></c>`, column, row, style, xmlText(text))
}

func (c Cell) xml(b *bufio.Writer, column string, row int) {
	if !c.full {
		return
	}
	switch c.kind {
	case Integer, Number:
		fmt.Fprintf(b, `<c r="%s%d"><v>%s</v></c>`, column, row, c.Text())
	case Bool:
		fmt.Fprintf(b, `<c r="%s%d" t="b"><v>%d</v></c>`, column, row, c.i)
	case Day:
		// Days since 1899-12-30, which is right from March 1900 on; the
		// format counts the 29th of February 1900, which never was.
		d, err := time.Parse("2006-01-02", c.s)
		if err != nil || d.Before(time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC)) {
			textCell(b, column, row, 3, c.s)
			return
		}
		fmt.Fprintf(b, `<c r="%s%d" s="1"><v>%d</v></c>`, column, row, int(d.Sub(time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC))/(24*time.Hour)))
	default:
		textCell(b, column, row, 3, c.s)
	}
}

// xmlText escapes text, takes out what XML cannot hold and keeps to the length
// of a cell.
func xmlText(s string) string {
	if utf8.RuneCountInString(s) > cellChars {
		s = string([]rune(s)[:cellChars])
	}
	var b strings.Builder
	for _, r := range strings.ToValidUTF8(s, "\uFFFD") {
		switch {
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '"':
			b.WriteString("&quot;")
		case r == '\r':
		case r < ' ' && r != '\t' && r != '\n' || r == 0xFFFE || r == 0xFFFF:
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
