// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"errors"
	"net/http"
	"unicode/utf8"

	"tallyhood/console/report/table"
)

// tables reads files with package report/table.
type tables struct{}

// mostFilled bounds the empty lines that are kept so that a row has the number
// that a spreadsheet shows.
const mostFilled = 2 * table.MaxRows

// Read implements TableReader.
func (tables) Read(_ context.Context, _ string, file []byte, how Reading) (Table, error) {
	comma, size := utf8.DecodeRuneInString(how.Delimiter)
	if how.Delimiter == "" {
		comma = 0
	} else if comma == utf8.RuneError || size != len(how.Delimiter) || comma == '"' || comma == '\r' || comma == '\n' {
		return Table{}, problem(http.StatusUnprocessableEntity, WhyMalformed, "The delimiter is one character, and no quotation mark or line end.")
	}
	t, err := table.Read(file, table.Options{Encoding: how.Encoding, Comma: comma, Sheet: how.Sheet})
	switch {
	case errors.Is(err, table.ErrTooLarge):
		return Table{}, problem(http.StatusRequestEntityTooLarge, WhyTooLarge, err.Error())
	case errors.Is(err, errors.ErrUnsupported):
		return Table{}, problem(http.StatusNotImplemented, WhyNotThere, err.Error())
	case err != nil:
		return Table{}, problem(http.StatusUnprocessableEntity, "file", err.Error())
	}
	out := Table{Encoding: t.Encoding, Sheets: t.Sheets}
	if t.Comma != 0 {
		out.Delimiter = string(t.Comma)
	}
	for i, row := range t.Rows {
		// Lines without text are left out of the table; their numbers are not. The
		// titles come first wherever they stand.
		for i > 0 && len(out.Rows) < row.Line-1 && len(out.Rows) < mostFilled {
			out.Rows = append(out.Rows, []string{})
		}
		out.Rows = append(out.Rows, row.Cells)
	}
	return out, nil
}
