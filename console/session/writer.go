// SPDX-License-Identifier: Apache-2.0

package session

import (
	"context"
	"sync"

	"tallyhood/console/procedure"
	"tallyhood/store"
)

// A writer makes facts durable behind the loop's back: what comes while a
// commit is under way goes into the next one together. After an error it writes
// nothing more: facts behind a hole would tell another run than the one that was.
type writer struct {
	journal store.Journal
	done    chan written
	wake    chan struct{}
	stopped chan struct{}

	mu    sync.Mutex
	queue []batch
	shut  bool

	failed error // the first; owned by the loop until stopped is closed
}

type batch struct {
	run   string
	facts []procedure.Dated
}

// written says that the next n facts of a run are on disk, or that they are not.
type written struct {
	run string
	n   int
	err error
}

func newWriter(j store.Journal) *writer {
	w := &writer{journal: j, done: make(chan written, 1024), wake: make(chan struct{}, 1), stopped: make(chan struct{})}
	go w.loop()
	return w
}

// write queues facts; it never waits.
func (w *writer) write(run string, facts []procedure.Dated) {
	w.mu.Lock()
	if n := len(w.queue); n > 0 && w.queue[n-1].run == run {
		w.queue[n-1].facts = append(w.queue[n-1].facts, facts...)
	} else {
		w.queue = append(w.queue, batch{run, append([]procedure.Dated(nil), facts...)})
	}
	w.mu.Unlock()
	select {
	case w.wake <- struct{}{}:
	default:
	}
}

func (w *writer) loop() {
	defer close(w.stopped)
	for range w.wake {
		for {
			w.mu.Lock()
			if len(w.queue) == 0 {
				shut := w.shut
				w.mu.Unlock()
				if shut {
					return
				}
				break
			}
			b := w.queue[0]
			w.queue = w.queue[1:]
			w.mu.Unlock()
			if w.failed == nil { // what follows a hole is worth nothing
				var drafts []store.Draft
				if drafts, w.failed = draftsOf(b.run, b.facts); w.failed == nil {
					_, w.failed = w.journal.Append(context.Background(), drafts...)
				}
			}
			select {
			case w.done <- written{b.run, len(b.facts), w.failed}:
			default: // only at shutdown does nobody listen
			}
		}
	}
}

// close writes what is queued and waits for it. What became of it is in done, as
// far as that had room; the error is of anything that was not written.
func (w *writer) close() error {
	w.mu.Lock()
	w.shut = true
	w.mu.Unlock()
	select {
	case w.wake <- struct{}{}:
	default:
	}
	<-w.stopped
	return w.failed
}
