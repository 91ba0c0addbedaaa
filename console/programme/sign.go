// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

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
		[]store.Pair{{Table: tableStrokes, Key: strokesKey(run, who, name), Value: strokes}}, nil)
}

// strokesKey is where the drawing of a signature lies. A wearer's lies under the
// run, so that it goes with the person and takes nobody else's along; those of
// testers stay, and are kept once when they are alike, as typed ones are.
func strokesKey(run, who, hash string) string {
	if who == wearer {
		return key(run, hash)
	}
	return hash
}

const wearer = "wearer" // who signs beside the tester

// erased says whether somebody was erased.
func (c *change) erased(person string) (bool, error) {
	if person == "" {
		return false, nil
	}
	r, err := c.row(tableErased, person)
	return err == nil && r.value != nil, err
}

// Strokes gives the drawing of a signature under a record; store.ErrNotFound when
// it is gone.
func (d *Desk) Strokes(ctx context.Context, r Run, s Signature) ([]byte, error) {
	table := d.cfg.Store.Table(tableStrokes)
	if s.Who == wearer {
		// Somebody else's that is alike is not the one of who was erased.
		gone, err := d.change(ctx).erased(r.Person)
		if err != nil {
			return nil, err
		}
		if gone {
			return nil, fmt.Errorf("signature of %s: %w", r.Person, store.ErrNotFound)
		}
		b, err := table.Get(ctx, strokesKey(r.Run, s.Who, s.Strokes))
		if !errors.Is(err, store.ErrNotFound) {
			return b, err
		}
		// An older tallyhood kept it beside the testers'.
	}
	return table.Get(ctx, s.Strokes)
}

// forgetStrokes gives what takes the drawings of people away who are being
// erased, and leaves those of everybody else. The caller holds mu.
func (d *Desk) forgetStrokes(ctx context.Context, people []string) ([]store.Pair, error) {
	table := d.cfg.Store.Table(tableStrokes)
	has := func(key string) (bool, error) {
		_, err := table.Get(ctx, key)
		if errors.Is(err, store.ErrNotFound) {
			return false, nil
		}
		return err == nil, err
	}
	var out []store.Pair
	old := map[string]bool{} // of theirs, kept beside the testers'
	for _, id := range people {
		runs, err := d.change(ctx).runsOf(id)
		if err != nil {
			return nil, err
		}
		for _, r := range runs {
			for _, s := range r.Signed {
				if s.Who != wearer {
					continue
				}
				own := strokesKey(r.Run, s.Who, s.Strokes)
				there, err := has(own)
				if err != nil {
					return nil, err
				}
				if there {
					out = append(out, store.Pair{Table: tableStrokes, Key: own, Delete: true})
				} else if old[s.Strokes], err = has(s.Strokes); err != nil {
					return nil, err
				}
			}
		}
	}
	for hash, there := range old {
		if !there {
			delete(old, hash)
		}
	}
	if err := d.signedAlike(ctx, old, people, has); err != nil {
		return nil, err
	}
	for hash := range old {
		out = append(out, store.Pair{Table: tableStrokes, Key: hash, Delete: true})
	}
	return out, nil
}

// signedAlike takes those of some drawings out that somebody besides these people
// has signed with as well. It reads every run: seconds for each million.
func (d *Desk) signedAlike(ctx context.Context, old map[string]bool, besides []string, has func(key string) (bool, error)) error {
	if len(old) == 0 {
		return nil
	}
	return d.cfg.Store.Table(tableRuns).Range(ctx, "", "", 1<<30, func(k string, value []byte) error {
		if !bytes.Contains(value, []byte(`"strokes":"`)) {
			return nil
		}
		var r struct {
			Person string      `json:"person"`
			Signed []Signature `json:"signed"`
		}
		if err := json.Unmarshal(value, &r); err != nil {
			return fmt.Errorf("view %s of %s: %w", tableRuns, k, err)
		}
		for _, s := range r.Signed {
			if !old[s.Strokes] {
				continue
			}
			if s.Who == wearer {
				gone, err := d.change(ctx).erased(r.Person)
				if err != nil {
					return err
				}
				own, err := has(strokesKey(k, s.Who, s.Strokes))
				if err != nil {
					return err
				}
				if gone || own || slices.Contains(besides, r.Person) {
					continue
				}
			}
			delete(old, s.Strokes)
		}
		return nil
	})
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
