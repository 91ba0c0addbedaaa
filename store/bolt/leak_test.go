// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"fmt"
	"path/filepath"
	"runtime"
	"testing"

	"tallyhood/store"
)

// What a commit took in memory is given back: a box is up for months.
func TestCommitsLeaveNothingInMemory(t *testing.T) {
	s, err := Open(filepath.Join(t.TempDir(), "store.db"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	body := bytes.Repeat([]byte("b"), 2000)
	commit := func(n int) uint64 {
		t.Helper()
		for i := range n {
			_, err := s.Commit(t.Context(), []store.Draft{{Stream: fmt.Sprint("run-", i%5), Kind: "k", Version: 1, Body: body}},
				[]store.Pair{{Table: "t", Key: fmt.Sprint(i % 50), Value: body}})
			if err != nil {
				t.Fatal(err)
			}
		}
		runtime.GC()
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := commit(200)
	after := commit(1500)
	// A commit reads some pages of 4 KiB; kept, 1,500 of them were over 30 MB.
	if after > before+4<<20 {
		t.Errorf("the heap went from %d to %d kB over 1,500 commits", before>>10, after>>10)
	}
}
