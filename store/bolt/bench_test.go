// SPDX-License-Identifier: Apache-2.0

package bolt_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"tallyhood/store"
	"tallyhood/store/bolt"
)

// BenchmarkAppend measures appends side by side with bbolt alone, which puts
// values of the same size under a number and nothing else: no hash, no chain,
// no index. Both run in turn, so that the machine's mood is the same, and the
// ratio is the figure to keep. bbolt is asked in its own way: Update for one
// at a time, Batch with a full batch of 100 for many at once.
func BenchmarkAppend(b *testing.B) {
	body := make([]byte, 150)
	// A value of bbolt's has as many bytes as one of ours: a form and its hash.
	kept := len(store.AppendForm(nil, store.Entry{Number: 1000, Stream: "run-10", Kind: "squeeze_counted", Version: 1, Body: body})) + 70
	for _, callers := range []int{1, 100} {
		b.Run(fmt.Sprintf("%d", callers), func(b *testing.B) {
			s := mustOpen(b, filepath.Join(b.TempDir(), "store.db"), bolt.Options{})
			db, err := bbolt.Open(filepath.Join(b.TempDir(), "bbolt.db"), 0o600, &bbolt.Options{FreelistType: bbolt.FreelistMapType, PageSize: 4096})
			if err != nil {
				b.Fatal(err)
			}
			defer db.Close()
			db.MaxBatchSize = 100
			if err := db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("b")); return err }); err != nil {
				b.Fatal(err)
			}
			put := func(tx *bbolt.Tx) error {
				bucket := tx.Bucket([]byte("b"))
				n, err := bucket.NextSequence()
				if err != nil {
					return err
				}
				return bucket.Put(binary.BigEndian.AppendUint64(nil, n), make([]byte, kept))
			}
			update := db.Update
			if callers > 1 {
				update = db.Batch
			}
			const each = 20 // by a caller, one after the other
			all := func(one func() error) time.Duration {
				var wg sync.WaitGroup
				began := time.Now()
				for range callers {
					wg.Go(func() {
						for range each {
							if err := one(); err != nil {
								b.Error(err)
								return
							}
						}
					})
				}
				wg.Wait()
				return time.Since(began)
			}
			var ours, theirs time.Duration
			rounds := 0
			for b.Loop() {
				ours += all(func() error {
					_, err := s.Append(context.Background(), store.Draft{Stream: fmt.Sprint("run-", rounds/50), Kind: "squeeze_counted", Version: 1, Body: body})
					return err
				})
				theirs += all(func() error { return update(put) })
				rounds++
			}
			n := float64(rounds * callers * each)
			b.ReportMetric(ours.Seconds()/theirs.Seconds(), "ratio")
			b.ReportMetric(n/ours.Seconds(), "entries/s")
			b.ReportMetric(n/theirs.Seconds(), "bbolt-entries/s")
		})
	}
}

// BenchmarkOpen measures opening, with its survey, and reading of a journal of
// some hundred runs.
func BenchmarkOpen(b *testing.B) {
	path := filepath.Join(b.TempDir(), "store.db")
	s := mustOpen(b, path, bolt.Options{})
	const runs, each = 500, 100
	body := make([]byte, 150)
	for run := range runs {
		drafts := make([]store.Draft, each)
		for i := range drafts {
			drafts[i] = store.Draft{Stream: fmt.Sprint("run-", run), Kind: "squeeze_counted", Version: 1, Body: body}
		}
		if _, err := s.Append(context.Background(), drafts...); err != nil {
			b.Fatal(err)
		}
	}
	s.Close()
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			s, err := bolt.Open(path, bolt.Options{})
			if err != nil {
				b.Fatal(err)
			}
			s.Close()
		}
	})
	s = mustOpen(b, path, bolt.Options{ReadOnly: true})
	ignore := func(store.Entry) error { return nil }
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			if err := s.Read(context.Background(), 1, ignore); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(b.N)*runs*each/b.Elapsed().Seconds(), "entries/s")
	})
	b.Run("stream", func(b *testing.B) {
		for b.Loop() {
			if err := s.ReadStream(context.Background(), "run-250", ignore); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("streams", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.Streams(context.Background(), 0, 50); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("check", func(b *testing.B) {
		for b.Loop() {
			if err := bolt.Check(context.Background(), path); err != nil {
				b.Fatal(err)
			}
		}
	})
}
