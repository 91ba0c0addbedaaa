// SPDX-License-Identifier: Apache-2.0

// Package wav writes samples of audio.Rate, 16 bits, one channel, as a WAV
// file (RIFF, PCM; the layout of Microsoft's and IBM's "Multimedia Programming
// Interface and Data Specifications 1.0", 1991, from memory), and decodes what
// others recorded, from bytes in memory. It must not know what the samples
// sound like, and it must not read files.
package wav

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"tallyhood/audio"
)

const (
	headerSize = 44
	sampleSize = 2
	// MaxSamples is what the 32-bit sizes of the format can hold, 13.5 hours.
	MaxSamples = (math.MaxUint32 - headerSize) / sampleSize
)

// ErrTooLong says that a file would hold more than MaxSamples.
var ErrTooLong = errors.New("a WAV file holds at most 13.5 hours of sound")

// Header gives the header of a file of so many samples.
func Header(samples int64) ([]byte, error) {
	if samples < 0 || samples > MaxSamples {
		return nil, ErrTooLong
	}
	size := uint32(samples * sampleSize)
	b := make([]byte, 0, headerSize)
	b = append(b, "RIFF"...)
	b = binary.LittleEndian.AppendUint32(b, headerSize-8+size)
	b = append(b, "WAVEfmt "...)
	b = binary.LittleEndian.AppendUint32(b, 16) // size of what describes the format
	b = binary.LittleEndian.AppendUint16(b, 1)  // PCM
	b = binary.LittleEndian.AppendUint16(b, 1)  // channels
	b = binary.LittleEndian.AppendUint32(b, audio.Rate)
	b = binary.LittleEndian.AppendUint32(b, audio.Rate*sampleSize)
	b = binary.LittleEndian.AppendUint16(b, sampleSize)
	b = binary.LittleEndian.AppendUint16(b, 8*sampleSize)
	b = append(b, "data"...)
	return binary.LittleEndian.AppendUint32(b, size), nil
}

// Append adds samples to b as the bytes of a stream: little end first.
func Append(b []byte, samples []int16) []byte {
	for _, s := range samples {
		b = append(b, byte(s), byte(uint16(s)>>8))
	}
	return b
}

// A Writer writes a file as its samples come. The length in the header is 0
// until Close, so that a file broken off is seen to be one. The first error
// stays: all later calls give it too. It is not safe for use by several
// goroutines.
type Writer struct {
	out     io.WriteSeeker
	start   int64
	samples int64
	buf     []byte
	err     error
	closed  bool
}

// NewWriter begins a file at the present position of out; Close goes back there
// to put the length into the header. For an output that cannot go back use
// Header with a known length.
func NewWriter(out io.WriteSeeker) (*Writer, error) {
	start, err := out.Seek(0, io.SeekCurrent)
	if err != nil {
		return nil, fmt.Errorf("begin WAV file: %w", err)
	}
	header, err := Header(0)
	if err != nil {
		return nil, err
	}
	if _, err := out.Write(header); err != nil {
		return nil, fmt.Errorf("begin WAV file: %w", err)
	}
	return &Writer{out: out, start: start}, nil
}

// Samples is the number of samples written.
func (w *Writer) Samples() int64 { return w.samples }

// Write appends samples.
func (w *Writer) Write(samples []int16) error {
	if !w.room(int64(len(samples))) {
		return w.err
	}
	w.buf = Append(w.buf[:0], samples)
	return w.put(w.buf, int64(len(samples)))
}

// zeros is what silence is written from.
var zeros [64 << 10]byte

// Silence appends n samples of silence.
func (w *Writer) Silence(n int64) error {
	if !w.room(n) {
		return w.err
	}
	for n > 0 && w.err == nil {
		piece := min(n, int64(len(zeros)/sampleSize))
		w.put(zeros[:piece*sampleSize], piece)
		n -= piece
	}
	return w.err
}

// room sets the error when there is no place for n more samples.
func (w *Writer) room(n int64) bool {
	switch {
	case w.err != nil:
	case w.closed:
		w.err = errors.New("write WAV file: it is closed")
	case n > MaxSamples-w.samples:
		w.err = ErrTooLong
	}
	return w.err == nil
}

func (w *Writer) put(b []byte, samples int64) error {
	if _, err := w.out.Write(b); err != nil {
		w.err = fmt.Errorf("write WAV file: %w", err)
		return w.err
	}
	w.samples += samples
	return nil
}

// Close puts the length into the header and leaves the output at the end of the
// file, open. It may be called more than once.
func (w *Writer) Close() error {
	if w.closed || w.err != nil {
		w.closed = true
		return w.err
	}
	w.closed = true
	header, err := Header(w.samples)
	if err != nil {
		w.err = err
		return err
	}
	if _, err := w.out.Seek(w.start, io.SeekStart); err != nil {
		w.err = fmt.Errorf("end WAV file: %w", err)
	} else if _, err := w.out.Write(header); err != nil {
		w.err = fmt.Errorf("end WAV file: %w", err)
	} else if _, err := w.out.Seek(0, io.SeekEnd); err != nil {
		w.err = fmt.Errorf("end WAV file: %w", err)
	}
	return w.err
}
