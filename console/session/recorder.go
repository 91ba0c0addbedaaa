// SPDX-License-Identifier: Apache-2.0

package session

import (
	"errors"
	"fmt"
	"io/fs"
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
	last time.Duration     // the newest instant that was handed over, on the capture's clock
	end  time.Duration     // of the capture; set with over
	hole bool              // what came after end is not in it; set with over
	done chan struct{}
	log  *slog.Logger
}

// startRecorder begins a capture. Runs after the first of a session get a number,
// and a file that is there is never written over: the next free number is taken.
func startRecorder(path string, n int, lines []device.Line, levels map[device.Line]bool, zero time.Duration, log *slog.Logger) (*recorder, error) {
	if path == "" {
		return nil, nil
	}
	f, err := os.OpenFile(numbered(path, n), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	for errors.Is(err, fs.ErrExist) {
		n++
		f, err = os.OpenFile(numbered(path, n), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	}
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
		if err := r.close(w); err != nil {
			log.Error("record capture", "err", err)
		}
	}()
	log.Info("record capture", "file", f.Name())
	return r, nil
}

// numbered is the path of the capture with a number: before the ending, and none
// for the first.
func numbered(path string, n int) string {
	if n <= 1 {
		return path
	}
	ext := filepath.Ext(path)
	return fmt.Sprintf("%s-%d%s", strings.TrimSuffix(path, ext), n, ext)
}

// close writes the end. Before a hole it writes what a replay takes for missing
// edges, and, since a pass may be undone later, that one does not stand either.
func (r *recorder) close(w *capture.Writer) error {
	if r.hole {
		text, err := noteOf(procedure.Input{Do: procedure.DoGap, Detail: "the capture ends here: the disk did not keep up"})
		if err == nil {
			err = errors.Join(w.Note(r.end, text), w.Note(r.end, noteUnsaved))
		}
		if err != nil {
			return err
		}
	}
	return w.Close(r.end)
}

// do hands a job to the one who writes. A capture that would lack one ends, since
// what is missing may be a report.
func (r *recorder) do(job func(*capture.Writer) error) {
	if r == nil || r.over {
		return
	}
	select {
	case r.jobs <- job:
	default:
		r.log.Error("record capture", "err", "the disk does not keep up; the capture ends here, and a replay of it is not valid")
		r.hole = true
		r.over, r.end = true, r.last
		close(r.jobs)
	}
}

func (r *recorder) edge(e device.Edge) {
	if r == nil {
		return
	}
	r.notes(e.At)
	e.At -= r.zero
	r.last = max(r.last, e.At)
	r.do(func(w *capture.Writer) error {
		if e.Line == device.Push {
			return w.Note(e.At, pushNotes[e.Closed])
		}
		return w.Edge(e)
	})
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
		r.last = max(r.last, at)
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
	r.last = max(r.last, at)
	r.do(func(w *capture.Writer) error { return w.Note(at, noteUnsaved) })
	r.flush()
}

// flush brings to the file what has come so far. One that finds the queue full
// is left out: nothing of the capture is lost by it.
func (r *recorder) flush() {
	if r == nil || r.over {
		return
	}
	select {
	case r.jobs <- (*capture.Writer).Flush:
	default:
	}
}

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
	if r.notes(end); r.over {
		return // it had a hole
	}
	r.over, r.end = true, end-r.zero
	close(r.jobs)
}
