// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"context"
	"encoding/binary"
)

// crossCheck proves every entry and the whole chain, and that the index and
// the streams hold what the entries say and nothing more. The pages have been
// surveyed. fresh gives views: each is dropped after a stretch, with its pages.
func crossCheck(ctx context.Context, fresh func() *view, st *state) error {
	streams := map[string]*streamRecord{}
	for from := uint64(1); from <= st.number; {
		if err := ctx.Err(); err != nil {
			return err
		}
		v := fresh()
		read, err := v.run(from, st.number)
		if err != nil {
			return err
		}
		index, err := v.tree(indexBucket)
		if err != nil {
			return err
		}
		for _, e := range read {
			r := streams[e.Stream]
			if r == nil {
				r = &streamRecord{first: e.Number, place: uint64(len(streams) + 1)}
				streams[e.Stream] = r
			}
			r.last = e.Number
			r.count++
			value, found, err := index.get(indexKey(r.first, e.Number))
			if err != nil {
				return err
			}
			if !found || binary.BigEndian.Uint64(value) != r.count {
				return damaged("the index lacks entry %d of stream %q", e.Number, e.Stream)
			}
		}
		from += uint64(len(read))
	}
	v := fresh()
	for name, want := range streams {
		got, found, err := v.stream(name)
		if err != nil {
			return err
		}
		if !found || got != *want {
			return damaged("the record of stream %q is not what its entries say", name)
		}
	}
	if uint64(len(streams)) != st.streams {
		return damaged("its head counts %d streams, the entries are of %d", st.streams, len(streams))
	}
	// All that should be there is: as many records as that, and there are no others.
	for bucket, want := range map[string]uint64{indexBucket: st.number, streamsBucket: st.streams, entriesBucket: st.number} {
		got, err := count(ctx, fresh(), bucket)
		if err != nil {
			return err
		}
		if got != want {
			return damaged("the bucket %q has %d records, it should have %d", bucket, got, want)
		}
	}
	return nil
}

// count counts the records of a bucket.
func count(ctx context.Context, v *view, bucket string) (n uint64, err error) {
	t, err := v.tree(bucket)
	if err != nil {
		return 0, err
	}
	c, err := t.start(firstOf)
	if err != nil || c.top().p.count == 0 {
		return 0, err
	}
	for c.valid() {
		if n%maxBatch == 0 && ctx.Err() != nil {
			return n, ctx.Err()
		}
		n++
		if err := c.next(); err != nil {
			return n, err
		}
		clear(v.pages) // the cursor holds those it needs
	}
	return n, nil
}
