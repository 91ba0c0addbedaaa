// SPDX-License-Identifier: Apache-2.0

package programme

import "context"

// What became of what was recorded after a backup that was restored. Taken: what
// speaks against passes in the backup was taken over from the store that was
// replaced; the rest is lost all the same. Unknown: nobody could tell.
const (
	LaterTaken   = "taken_over"
	LaterUnknown = "unknown"
)

// Undone is why a run is recalled that the store which a restore replaced knew
// to be no pass any more, such as by the proof after it.
const Undone = "no pass any more in the store that a restore replaced"

// Restores lists the restores that the journal comes from, in its order.
func (d *Desk) Restores(ctx context.Context) ([]Restored, error) {
	return list[Restored](ctx, d, tableRestores, "", "", mostKit)
}
