// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"

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

// Each calls f with the views of a table as they lie there.
func Each(ctx context.Context, s store.Store, table string, f func(key string, value []byte)) error {
	return s.Table(table).Range(ctx, "", "", 1<<30, func(key string, value []byte) error {
		f(key, value)
		return nil
	})
}
