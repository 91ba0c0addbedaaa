// SPDX-License-Identifier: Apache-2.0

package backup

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"tallyhood/store"
	"tallyhood/store/bolt"
)

// The store goes on being written while it is backed up; what comes back is one
// moment of it, whole.
func TestBackupOfAStoreInUse(t *testing.T) {
	ctx := context.Background()
	s, err := bolt.Open(filepath.Join(t.TempDir(), "store"), bolt.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	stop, stopped := make(chan struct{}), make(chan error)
	go func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				stopped <- nil
				return
			default:
			}
			d := store.Draft{Stream: fmt.Sprintf("r%06d", i/50+1), Kind: "squeezed", Version: 1, Body: bytes.Repeat([]byte{byte(i)}, 300)}
			pairs := []store.Pair{
				{Table: "keys", Key: fmt.Sprint(i % 40), Value: d.Body, Delete: i%3 == 0},
				{Table: "view", Key: fmt.Sprint(i), Value: d.Body},
			}
			if _, err := s.Commit(ctx, []store.Draft{d}, pairs); err != nil {
				<-stop
				stopped <- err
				return
			}
		}
	}()
	l, k := byKey(t)
	last := uint64(0)
	for range 40 {
		var b bytes.Buffer
		before, _ := s.Last()
		m, err := Write(ctx, &b, s, what(), l)
		if err != nil {
			t.Fatal(err)
		}
		after, _ := s.Last()
		h, err := place(t).Prove(ctx, &b, k)
		if err != nil {
			t.Fatal(err)
		}
		if h != m.Header || h.Entries < before || h.Entries > after {
			t.Fatalf("%v, made between %d and %d", h, before, after)
		}
		last = h.Entries
	}
	close(stop)
	if err := <-stopped; err != nil {
		t.Fatal(err)
	}
	t.Logf("40 backups while %d entries were written", last)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := s.Snapshot(ctx, &bytes.Buffer{}, func(int64, uint64, [32]byte) error { return nil }); err == nil {
		t.Error("a snapshot of a closed store")
	}
}
