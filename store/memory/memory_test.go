// SPDX-License-Identifier: Apache-2.0

package memory_test

import (
	"errors"
	"testing"

	"tallyhood/store"
	"tallyhood/store/memory"
	"tallyhood/store/storetest"
)

func TestContract(t *testing.T) {
	storetest.Run(t,
		func() store.Store { return memory.New() },
		func(s store.Store) store.Store { return s.(*memory.Store).Reopen() })
}

func TestFailWith(t *testing.T) {
	cause := errors.New("the card is full")
	draft := store.Draft{Stream: "a", Kind: "k", Version: 1}
	s := memory.New()
	if _, err := s.Append(t.Context(), draft); err != nil {
		t.Fatal(err)
	}
	s.FailWith(cause)
	for range 2 {
		if _, err := s.Append(t.Context(), draft); !errors.Is(err, store.ErrFailed) || !errors.Is(err, cause) {
			t.Errorf("append: %v, want ErrFailed with its cause", err)
		}
		if err := s.Table("t").Put(t.Context(), "k", nil); !errors.Is(err, store.ErrFailed) {
			t.Errorf("put: %v, want ErrFailed", err)
		}
	}
	if all := storetest.All(t, s); len(all) != 1 {
		t.Errorf("%d entries are read after a failure, want 1", len(all))
	}
	again := s.Reopen()
	if _, err := again.Append(t.Context(), draft); err != nil {
		t.Errorf("append after opening again: %v", err)
	}
	if all := storetest.All(t, again); len(all) != 2 {
		t.Errorf("%d entries, want 2", len(all))
	}
}
