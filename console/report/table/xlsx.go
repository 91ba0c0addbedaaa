// SPDX-License-Identifier: Apache-2.0

//go:build !noxlsx

package table

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// measure unpacks every part of a workbook into nothing and counts, since the
// sizes that an archive states may be wrong.
func measure(raw []byte) error {
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		return fmt.Errorf("this is no whole workbook: %w", err)
	}
	if len(z.File) > MaxParts {
		return fmt.Errorf("%w: a workbook of %d parts, the bound is %d", ErrTooLarge, len(z.File), MaxParts)
	}
	left := int64(MaxOpened)
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			return fmt.Errorf("this is no whole workbook: %w", err)
		}
		n, err := io.Copy(io.Discard, io.LimitReader(r, left+1))
		if e := r.Close(); err == nil {
			err = e
		}
		if n > left {
			return fmt.Errorf("%w: a workbook that unpacks to more than %d bytes", ErrTooLarge, int64(MaxOpened))
		}
		if err != nil {
			return fmt.Errorf("this is no whole workbook: %w", err)
		}
		left -= n
	}
	return nil
}

func readXLSX(raw []byte, o Options) (t Table, err error) {
	if err := measure(raw); err != nil {
		return Table{}, err
	}
	// The library is written for workbooks as programs make them; one that was
	// made to harm must not take the daemon with it.
	defer func() {
		if p := recover(); p != nil {
			t, err = Table{}, errors.New("this workbook cannot be read; save the list as CSV")
		}
	}()
	f, err := excelize.OpenReader(bytes.NewReader(raw), excelize.Options{
		UnzipSizeLimit: MaxOpened, UnzipXMLSizeLimit: MaxOpened, ShortDatePattern: "yyyy-mm-dd",
	})
	if err != nil {
		return Table{}, fmt.Errorf("read the workbook: %w", err)
	}
	defer func() {
		if e := f.Close(); err == nil && e != nil {
			err = e
		}
	}()
	t = Table{Format: "xlsx", Sure: 1, CommaSure: 1, Sheets: f.GetSheetList(), Sheet: o.Sheet}
	if len(t.Sheets) == 0 {
		return Table{}, errors.New("the workbook has no sheet")
	}
	if t.Sheet == "" {
		t.Sheet = t.Sheets[0]
	}
	if !slices.Contains(t.Sheets, t.Sheet) {
		return Table{}, fmt.Errorf("the workbook has no sheet %q; it has %s", t.Sheet, strings.Join(t.Sheets, ", "))
	}
	rs, err := f.Rows(t.Sheet)
	if err != nil {
		return Table{}, fmt.Errorf("read sheet %q: %w", t.Sheet, err)
	}
	gather := rows{t: &t}
	for line := 1; rs.Next(); line++ {
		if line > 4*MaxRows {
			return Table{}, fmt.Errorf("%w: more than %d rows", ErrTooLarge, 4*MaxRows)
		}
		cells, err := rs.Columns()
		if err != nil {
			return Table{}, fmt.Errorf("sheet %q, row %d: %w", t.Sheet, line, err)
		}
		if err := gather.add(line, cells); err != nil {
			return Table{}, err
		}
	}
	if err := errors.Join(rs.Error(), rs.Close()); err != nil {
		return Table{}, fmt.Errorf("read sheet %q: %w", t.Sheet, err)
	}
	return t, gather.done()
}
