// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"fmt"
	"time"

	"tallyhood/store"
)

// ViewTables are the tables of views.
var ViewTables = viewTables

// TableStrokes holds drawn signatures.
const TableStrokes = tableStrokes

// BatchNews makes transactions of views hold so much, and gives back what makes
// them as large as before.
func BatchNews(n int) (back func()) {
	was := batchNews
	batchNews = n
	return func() { batchNews = was }
}

// RecentRuns makes a plan rest on so many runs at the most, and gives back what
// undoes it.
func RecentRuns(n int) (back func()) {
	was := recentRuns
	recentRuns = n
	return func() { recentRuns = was }
}

// MostShown makes a preview of retention hold so much, and gives back what undoes
// it.
func MostShown(n int) (back func()) {
	was := mostShown
	mostShown = n
	return func() { mostShown = was }
}

// MostRow makes a view hold so many bytes, and gives back what undoes it.
func MostRow(n int) (back func()) {
	was := mostRow
	mostRow = n
	return func() { mostRow = was }
}

// Keeping are the tables of what retention asks, and the key in the table of views
// that says up to where they are right.
var Keeping = struct {
	Tables []string
	Key    string
}{[]string{tableKeep, tableRetired}, keeping}

// TableMarks holds the marks of runs.
const TableMarks = tableMarks

// RunsOn gives the runs of a day.
func (d *Desk) RunsOn(ctx context.Context, day time.Time) ([]Run, error) { return d.runsOn(ctx, day) }

// Each calls f with the views of a table as they lie there.
func Each(ctx context.Context, s store.Store, table string, f func(key string, value []byte)) error {
	return s.Table(table).Range(ctx, "", "", 1<<30, func(key string, value []byte) error {
		f(key, value)
		return nil
	})
}

// EachMark gives the marks of one row of TableMarks, each with its run.
func EachMark(key string, value []byte, f func(run, what string)) error {
	s, err := decodeStack(nil, key, value)
	for _, m := range s {
		f(idOf(m.number), fmt.Sprintf("%+v", m))
	}
	return err
}
