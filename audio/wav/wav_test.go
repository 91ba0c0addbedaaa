// SPDX-License-Identifier: Apache-2.0

package wav_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"tallyhood/audio"
	"tallyhood/audio/wav"
)

// A chunk of RIFF as any reader sees it: four letters, a length, the bytes.
type chunk struct {
	name string
	data []byte
}

// parse reads a file without knowing how it was written.
func parse(t *testing.T, b []byte) (format []byte, samples []int16) {
	t.Helper()
	if len(b) < 12 || string(b[:4]) != "RIFF" || string(b[8:12]) != "WAVE" {
		t.Fatalf("not a WAVE file: % x", b[:min(len(b), 12)])
	}
	if n := binary.LittleEndian.Uint32(b[4:]); int(n) != len(b)-8 {
		t.Fatalf("RIFF length %d in a file of %d bytes", n, len(b))
	}
	var chunks []chunk
	for rest := b[12:]; len(rest) > 0; {
		n := int(binary.LittleEndian.Uint32(rest[4:]))
		chunks = append(chunks, chunk{string(rest[:4]), rest[8 : 8+n]})
		rest = rest[8+n:]
	}
	if len(chunks) != 2 || chunks[0].name != "fmt " || chunks[1].name != "data" {
		t.Fatalf("chunks %v", chunks)
	}
	for pair := range slices.Chunk(chunks[1].data, 2) {
		samples = append(samples, int16(binary.LittleEndian.Uint16(pair)))
	}
	return chunks[0].data, samples
}

func TestFile(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "cues.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w, err := wav.NewWriter(f)
	if err != nil {
		t.Fatal(err)
	}
	want := []int16{0, 1, -1, 32767, -32768, 256, -257}
	if err := w.Write(want); err != nil {
		t.Fatal(err)
	}
	if err := w.Silence(100_000); err != nil {
		t.Fatal(err)
	}
	if err := w.Write([]int16{42}); err != nil {
		t.Fatal(err)
	}
	half, err := os.ReadFile(f.Name())
	if err != nil {
		t.Fatal(err)
	}
	if n := binary.LittleEndian.Uint32(half[40:]); n != 0 {
		t.Errorf("before Close the header says %d bytes", n)
	}
	for range 2 {
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if w.Samples() != 100_008 {
		t.Errorf("%d samples", w.Samples())
	}
	b, err := os.ReadFile(f.Name())
	if err != nil {
		t.Fatal(err)
	}
	format, got := parse(t, b)
	want = append(append(want, make([]int16, 100_000)...), 42)
	if !slices.Equal(got, want) {
		t.Errorf("%d samples differ from the %d written", len(got), len(want))
	}
	// PCM, one channel, 44 100 a second, 88 200 bytes a second, 2 bytes, 16 bits
	if want := []byte{1, 0, 1, 0, 0x44, 0xac, 0, 0, 0x88, 0x58, 1, 0, 2, 0, 16, 0}; !bytes.Equal(format, want) {
		t.Errorf("format % x, want % x", format, want)
	}
	if err := w.Write([]int16{1}); err == nil {
		t.Error("a write after Close succeeds")
	}
}

// A file may begin in the middle of another.
func TestBeginsWhereTheOutputIs(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "two"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteString("before"); err != nil {
		t.Fatal(err)
	}
	w, err := wav.NewWriter(f)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Write([]int16{7}), w.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString("after"); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(f.Name())
	if err != nil {
		t.Fatal(err)
	}
	middle, ok := bytes.CutPrefix(b, []byte("before"))
	middle, end := bytes.CutSuffix(middle, []byte("after"))
	if !ok || !end {
		t.Fatalf("%q", b)
	}
	if _, got := parse(t, middle); !slices.Equal(got, []int16{7}) {
		t.Errorf("%v", got)
	}
}

func TestTooLong(t *testing.T) {
	if _, err := wav.Header(wav.MaxSamples); err != nil {
		t.Error(err)
	}
	for _, n := range []int64{-1, wav.MaxSamples + 1} {
		if _, err := wav.Header(n); !errors.Is(err, wav.ErrTooLong) {
			t.Errorf("%d samples: %v", n, err)
		}
	}
	w, err := wav.NewWriter(&sieve{})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Silence(wav.MaxSamples); err != nil {
		t.Fatal(err)
	}
	if err := w.Write([]int16{1}); !errors.Is(err, wav.ErrTooLong) {
		t.Errorf("one sample too many: %v", err)
	}
}

// A sieve keeps nothing; after fail bytes it fails, when fail is not 0.
type sieve struct{ n, fail int64 }

var errFull = errors.New("no space left")

func (s *sieve) Write(b []byte) (int, error) {
	s.n += int64(len(b))
	if s.fail > 0 && s.n > s.fail {
		return 0, errFull
	}
	return len(b), nil
}

func (s *sieve) Seek(offset int64, whence int) (int64, error) { return offset, nil }

func TestErrorStays(t *testing.T) {
	w, err := wav.NewWriter(&sieve{fail: 100})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(make([]int16, 100)); !errors.Is(err, errFull) {
		t.Errorf("write: %v", err)
	}
	for name, err := range map[string]error{
		"write": w.Write(nil), "silence": w.Silence(1), "close": w.Close(), "close again": w.Close(),
	} {
		if !errors.Is(err, errFull) {
			t.Errorf("%s after the error: %v", name, err)
		}
	}
	if _, err := wav.NewWriter(&sieve{fail: 10}); !errors.Is(err, errFull) {
		t.Errorf("begin: %v", err)
	}
}

func BenchmarkSilenceOfEightMinutes(b *testing.B) {
	for b.Loop() {
		w, err := wav.NewWriter(&sieve{})
		if err != nil {
			b.Fatal(err)
		}
		if err := w.Silence(480 * audio.Rate); err != nil {
			b.Fatal(err)
		}
	}
}

var _ io.WriteSeeker = (*sieve)(nil)
