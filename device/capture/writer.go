// SPDX-License-Identifier: Apache-2.0

package capture

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"

	"tallyhood/device"
)

// A Header says what a Writer writes before the first edge.
type Header struct {
	// Lines are the contacts: squeeze, step, and taste or the pair.
	Lines []device.Line
	// Closed are those that are closed at time 0.
	Closed []device.Line
	// Date is the text of $date; empty leaves $date out.
	Date string
}

// codes are the identifiers of the lines, in the order of names.
const codes = "abcde"

// chunk is how much a Writer gathers before it writes.
const chunk = 32 << 10

// A Writer writes a capture with a time unit of 1 ns. The same calls give the
// same bytes. It hands whole lines to the underlying writer, so that a file
// which loses its tail between two lines after the header is a capture still.
// It is for one goroutine.
type Writer struct {
	w      io.Writer
	buf    []byte
	have   [lineCount]bool
	closed [lineCount]bool
	now    time.Duration
	done   bool
	err    error // of the underlying writer; it stays
}

// NewWriter gathers the header; it reaches w with the first Flush or chunk.
// The error says what is wrong with h.
func NewWriter(w io.Writer, h Header) (*Writer, error) {
	c := &Writer{w: w, buf: make([]byte, 0, chunk+MaxNote)}
	for _, l := range h.Lines {
		i := index(string(l))
		if i < 0 {
			return nil, fmt.Errorf("capture: %s is not a line of a board", quote(string(l)))
		}
		if c.have[i] {
			return nil, fmt.Errorf("capture: %s is named twice", l)
		}
		c.have[i] = true
	}
	if what := checkLines(func(l device.Line) bool { return slices.Contains(h.Lines, l) }); what != "" {
		return nil, fmt.Errorf("capture: %s", what)
	}
	for _, l := range h.Closed {
		i := index(string(l))
		if i < 0 || !c.have[i] {
			return nil, fmt.Errorf("capture: %s is closed but is not one of the lines", quote(string(l)))
		}
		c.closed[i] = true
	}
	if h.Date != "" {
		if what := checkText(h.Date); what != "" {
			return nil, fmt.Errorf("capture: the date %s", what)
		}
		if slices.ContainsFunc(bytes.Fields([]byte(h.Date)), isHeaderWord) {
			return nil, errors.New("capture: the date holds a keyword of the format")
		}
		c.put("$date ", h.Date, " $end\n")
	}
	c.put("$version ", noteMark, " $end\n$timescale 1 ns $end\n$scope module board $end\n")
	for i, n := range names {
		if c.have[i] {
			c.put("$var wire 1 ", codes[i:i+1], " ", string(n), " $end\n")
		}
	}
	// The first levels stand on one line: cut off between its lines a section
	// could not be read.
	c.put("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars ")
	for i := range names {
		if c.have[i] {
			c.put(level(c.closed[i]), codes[i:i+1], " ")
		}
	}
	c.put("$end\n")
	return c, nil
}

func level(closed bool) string {
	if closed {
		return "1"
	}
	return "0"
}

// Edge writes a change of level; an edge to the level that the line has
// already writes nothing. Instants must not go back or be negative.
func (c *Writer) Edge(e device.Edge) error {
	i := index(string(e.Line))
	if i < 0 || !c.have[i] {
		return fmt.Errorf("capture: %s is not one of the lines", quote(string(e.Line)))
	}
	if err := c.check(e.At); err != nil {
		return err
	}
	if e.Closed == c.closed[i] {
		return nil
	}
	c.closed[i] = e.Closed
	c.stamp(e.At)
	c.put(level(e.Closed), codes[i:i+1], "\n")
	return c.spill()
}

// Note writes a comment that a Reader delivers as Item.Note: one line of
// UTF-8 without $end and of at most MaxNote bytes.
func (c *Writer) Note(at time.Duration, text string) error {
	if what := checkText(text); what != "" {
		return fmt.Errorf("capture: the note %s", what)
	}
	if err := c.check(at); err != nil {
		return err
	}
	c.stamp(at)
	c.put("$comment ", noteMark, " ", text, " $end\n")
	return c.spill()
}

// Flush hands all lines to the underlying writer.
func (c *Writer) Flush() error {
	if c.err != nil || len(c.buf) == 0 {
		return c.err
	}
	n, err := c.w.Write(c.buf)
	if err == nil && n != len(c.buf) {
		err = io.ErrShortWrite
	}
	if err != nil {
		c.err = fmt.Errorf("capture: write: %w", err)
	}
	c.buf = c.buf[:0]
	return c.err
}

// Close writes the time stamp of the end and flushes. It does not close the
// underlying writer. A second call only returns the error of the first write
// that failed.
func (c *Writer) Close(end time.Duration) error {
	if c.done {
		return c.err
	}
	if err := c.check(end); err != nil {
		return err
	}
	c.done = true
	c.putStamp(end)
	return c.Flush()
}

// check refuses an instant that a reader would refuse.
func (c *Writer) check(at time.Duration) error {
	switch {
	case c.err != nil:
		return c.err
	case c.done:
		return errors.New("capture: the capture is closed")
	case at < c.now:
		return fmt.Errorf("capture: time goes back from %d ns to %d ns", c.now, at)
	}
	return nil
}

func (c *Writer) stamp(at time.Duration) {
	if at != c.now {
		c.putStamp(at)
	}
}

func (c *Writer) putStamp(at time.Duration) {
	c.now = at
	c.buf = append(c.buf, '#')
	c.buf = strconv.AppendInt(c.buf, int64(at), 10)
	c.buf = append(c.buf, '\n')
}

func (c *Writer) put(parts ...string) {
	for _, p := range parts {
		c.buf = append(c.buf, p...)
	}
}

func (c *Writer) spill() error {
	if len(c.buf) < chunk {
		return nil
	}
	return c.Flush()
}
