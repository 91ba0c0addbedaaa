// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"crypto/sha256"
	"encoding/hex"

	"tallyhood/console/archive"
	"tallyhood/store"
)

// mostStrokes bounds a drawn signature, in bytes.
const mostStrokes = 64 << 10

// Sign keeps a signature of the tester or the wearer under a record, as strokes;
// how is Drawn or Typed, or empty when nobody said. The
// fact binds its hash to the hash of the record's last entry, which has to be
// the one that was shown. The drawing itself goes when the wearer is erased.
func (d *Desk) Sign(ctx context.Context, run, who, record string, strokes []byte, how, by string) error {
	if len(strokes) == 0 || len(strokes) > mostStrokes {
		return refuse("strokes", "a drawing has 1 to %d bytes", mostStrokes)
	}
	sum := sha256.Sum256(strokes)
	name := hex.EncodeToString(sum[:])
	d.mu.Lock()
	defer d.mu.Unlock()
	at, quality := d.stamp()
	return d.do(ctx, []Fact{RunSigned{Run: run, Who: who, Record: record, Strokes: name, How: how, At: at, Quality: quality, By: by}},
		[]store.Pair{{Table: tableStrokes, Key: name, Value: strokes}}, nil)
}

// Strokes gives the drawing of a signature; store.ErrNotFound when it is gone.
func (d *Desk) Strokes(ctx context.Context, s Signature) ([]byte, error) {
	return d.cfg.Store.Table(tableStrokes).Get(ctx, s.Strokes)
}

// Amend corrects a label of a record: the tester, or whose the facepiece is.
// What stood there until now is kept with the correction.
func (d *Desk) Amend(ctx context.Context, run, field, to, reason, by string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.sync(ctx); err != nil {
		return err
	}
	r, err := d.Run(ctx, run)
	if err != nil {
		return err
	}
	from := r.Tester
	if field == "whose" {
		st, err := archive.State(ctx, d.cfg.Store, run)
		if err != nil {
			return err
		}
		from = st.Opened.Facepiece.Whose
	}
	for _, a := range r.Amended {
		if a.Field == field {
			from = a.To
		}
	}
	at, quality := d.stamp()
	return d.do(ctx, []Fact{RunAmended{Run: run, Field: field, From: from, To: to, Reason: reason, At: at, Quality: quality, By: by}}, nil, nil)
}
