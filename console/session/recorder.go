// SPDX-License-Identifier: Apache-2.0

package session

import (
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/device"
	"tallyhood/device/capture"
)

// A recorder writes what the board of one run saw as a capture, so that the
// run can be replayed: to the verdict, and after a pass until the run is let go,
// since a pass may be undone. It works behind a queue; the loop never waits for it.
// A nil recorder records nothing.
type recorder struct {
	jobs chan func(*capture.Writer) error
	zero time.Duration
	over bool
	held []procedure.Input // not written yet: an edge with an earlier date may follow
	done chan struct{}
	log  *slog.Logger
}

// startRecorder begins a capture. Runs after the first of a session get a number.
func startRecorder(path string, n int, lines []device.Line, levels map[device.Line]bool, zero time.Duration, log *slog.Logger) (*recorder, error) {
	if path == "" {
		return nil, nil
	}
	if n > 1 {
		ext := filepath.Ext(path)
		path = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(path, ext), n, ext)
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return nil, fmt.Errorf("record capture: %w", err)
	}
	h := capture.Header{Lines: lines}
	for _, l := range lines {
		if levels[l] {
			h.Closed = append(h.Closed, l)
		}
	}
	w, err := capture.NewWriter(f, h)
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("record capture: %w", err)
	}
	r := &recorder{jobs: make(chan func(*capture.Writer) error, 8192), zero: zero, done: make(chan struct{}), log: log}
	go func() {
		defer close(r.done)
		defer f.Close()
		for job := range r.jobs {
			if err := job(w); err != nil {
				log.Error("record capture", "err", err)
			}
		}
	}()
	return r, nil
}

func (r *recorder) do(job func(*capture.Writer) error) {
	if r == nil || r.over {
		return
	}
	select {
	case r.jobs <- job:
	default:
		r.log.Error("record capture", "err", "the disk does not keep up; the capture has a hole")
	}
}

func (r *recorder) edge(e device.Edge) {
	if r == nil {
		return
	}
	r.notes(e.At)
	e.At -= r.zero
	r.do(func(w *capture.Writer) error { return w.Edge(e) })
}

// input takes what a page said; it is written in its place between the edges.
func (r *recorder) input(in procedure.Input) {
	if r == nil || r.over {
		return
	}
	i := len(r.held)
	for i > 0 && r.held[i-1].At > in.At {
		i--
	}
	r.held = slices.Insert(r.held, i, in)
}

// notes writes the inputs up to an instant.
func (r *recorder) notes(to time.Duration) {
	for len(r.held) > 0 && r.held[0].At <= to {
		in := r.held[0]
		r.held = r.held[1:]
		at := in.At - r.zero
		r.do(func(w *capture.Writer) error {
			text, err := noteOf(in)
			if err != nil {
				return err
			}
			return w.Note(at, text)
		})
	}
}

// unsaved notes that what pages showed of the run did not reach the journal.
func (r *recorder) unsaved(at time.Duration) {
	if r == nil || r.over {
		return
	}
	r.notes(at)
	at -= r.zero
	r.do(func(w *capture.Writer) error { return w.Note(at, noteUnsaved) })
	r.flush()
}

// flush brings to the file what has come so far.
func (r *recorder) flush() { r.do((*capture.Writer).Flush) }

// wait returns when a finished capture is written.
func (r *recorder) wait() {
	if r != nil && r.over {
		<-r.done
	}
}

// written says that nothing of the capture is to come any more.
func (r *recorder) written() bool {
	if r == nil {
		return true
	}
	select {
	case <-r.done:
		return true
	default:
		return false
	}
}

// finish closes the capture at an instant; what was said later is left out.
func (r *recorder) finish(end time.Duration) {
	if r == nil || r.over {
		return
	}
	r.notes(end)
	r.do(func(w *capture.Writer) error { return w.Close(end - r.zero) })
	r.over = true
	close(r.jobs)
}
