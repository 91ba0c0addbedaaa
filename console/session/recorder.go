// SPDX-License-Identifier: Apache-2.0

package session

import (
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"tallyhood/console/procedure"
	"tallyhood/device"
	"tallyhood/device/capture"
)

// A recorder writes what the board of one run saw as a capture, so that the
// run can be replayed. It works behind a queue; the loop never waits for it.
// A nil recorder records nothing.
type recorder struct {
	jobs chan func(*capture.Writer) error
	zero time.Duration
	over bool
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
	e.At -= r.zero
	r.do(func(w *capture.Writer) error { return w.Edge(e) })
}

func (r *recorder) input(in procedure.Input) {
	if r == nil {
		return
	}
	at := in.At - r.zero
	r.do(func(w *capture.Writer) error {
		text, err := noteOf(in)
		if err != nil {
			return err
		}
		return w.Note(at, text)
	})
}

// finish closes the capture and waits until it is written.
func (r *recorder) finish(end time.Duration) {
	if r == nil || r.over {
		return
	}
	r.do(func(w *capture.Writer) error { return w.Close(end - r.zero) })
	r.over = true
	close(r.jobs)
}
