// SPDX-License-Identifier: Apache-2.0

package wav_test

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"tallyhood/audio"
	"tallyhood/audio/wav"
)

// piece is a chunk of a file as the format wants it.
func piece(name string, body []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(name), uint32(len(body)))
	b = append(b, body...)
	if len(body)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

func format(kind, channels, rate, bits int) []byte {
	var b []byte
	for _, v := range []int{kind, channels} {
		b = binary.LittleEndian.AppendUint16(b, uint16(v))
	}
	b = binary.LittleEndian.AppendUint32(b, uint32(rate))
	b = binary.LittleEndian.AppendUint32(b, uint32(rate*channels*bits/8))
	b = binary.LittleEndian.AppendUint16(b, uint16(channels*bits/8))
	return binary.LittleEndian.AppendUint16(b, uint16(bits))
}

func riff(chunks ...[]byte) []byte {
	body := []byte("WAVE")
	for _, c := range chunks {
		body = append(body, c...)
	}
	return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

func TestDecodeFormats(t *testing.T) {
	float := binary.LittleEndian.AppendUint32(nil, math.Float32bits(0.5))
	float = binary.LittleEndian.AppendUint32(float, math.Float32bits(-1))
	float = binary.LittleEndian.AppendUint32(float, math.Float32bits(float32(math.NaN())))
	extensible := append(format(0xFFFE, 1, 48000, 16), make([]byte, 24)...)
	extensible[16], extensible[24] = 22, 1
	for _, c := range []struct {
		name   string
		format []byte
		data   []byte
		rate   int
		want   []float64
	}{
		{"8 bits", format(1, 1, 8000, 8), []byte{0, 128, 192}, 8000, []float64{-1, 0, 0.5}},
		{"16 bits", format(1, 1, 22050, 16), []byte{0, 0x80, 0, 0, 0, 0x40}, 22050, []float64{-1, 0, 0.5}},
		{"24 bits", format(1, 1, 44100, 24), []byte{0, 0, 0x80, 0, 0, 0x40}, 44100, []float64{-1, 0.5}},
		{"32 bits", format(1, 1, 96000, 32), []byte{0, 0, 0, 0x80, 0, 0, 0, 0x40}, 96000, []float64{-1, 0.5}},
		{"floats", format(3, 1, 48000, 32), float, 48000, []float64{0.5, -1, 0}},
		{"stereo", format(1, 2, 44100, 16), []byte{0, 0x40, 0, 0, 0, 0x40, 0, 0x40}, 44100, []float64{0.25, 0.5}},
		{"extensible", extensible, []byte{0, 0x40}, 48000, []float64{0.5}},
		{"half a frame too much", format(1, 2, 44100, 16), []byte{0, 0x40, 0, 0x40, 1, 2}, 44100, []float64{0.5}},
	} {
		// Chunks of odd length before and after are passed over.
		file := riff(piece("LIST", []byte("odd")), piece("fmt ", c.format), piece("junk", []byte{1}), piece("data", c.data), piece("tail", nil))
		got, err := wav.Decode(file)
		if err != nil || got.Rate != c.rate || len(got.Wave) != len(c.want) {
			t.Errorf("%s: %+v, %v", c.name, got, err)
			continue
		}
		for i, v := range c.want {
			if got.Wave[i] != v {
				t.Errorf("%s: sample %d is %v, want %v", c.name, i, got.Wave[i], v)
			}
		}
	}
}

func TestDecodeWhatIsWritten(t *testing.T) {
	b, err := wav.Bytes([]int16{0, 1, -1, 32767, -32768})
	if err != nil {
		t.Fatal(err)
	}
	got, err := wav.Decode(b)
	if err != nil || got.Rate != audio.Rate || len(got.Wave) != 5 || got.Wave[4] != -1 || got.Wave[3] != 32767.0/32768 {
		t.Errorf("%+v, %v", got, err)
	}
	// A file written into a pipe claims more than it holds.
	binary.LittleEndian.PutUint32(b[40:], 0x7ffff000)
	if got, err := wav.Decode(b); err != nil || len(got.Wave) != 5 {
		t.Errorf("%d samples, %v", len(got.Wave), err)
	}
}

func TestDecodeRefuses(t *testing.T) {
	data := piece("data", []byte{0, 0, 0, 0})
	for want, file := range map[string][]byte{
		"no WAV file":              []byte("RIFF"),
		"no samples":               riff(piece("fmt ", format(1, 1, 44100, 16))),
		"does not say":             riff(data),
		"what its samples are":     riff(piece("fmt ", []byte{1, 0}), data),
		"format 85 with 16 bits":   riff(piece("fmt ", format(85, 1, 44100, 16)), data),
		"format 1 with 12 bits":    riff(piece("fmt ", format(1, 1, 44100, 12)), data),
		"0 channels":               riff(piece("fmt ", format(1, 0, 44100, 16)), data),
		"1000000 samples a second": riff(piece("fmt ", format(1, 1, 1_000_000, 16)), data),
	} {
		if _, err := wav.Decode(file); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}

func FuzzDecode(f *testing.F) {
	whole, _ := wav.Bytes([]int16{1, 2, 3})
	f.Add(whole)
	f.Add(riff(piece("fmt ", format(3, 8, 8000, 32)), piece("data", make([]byte, 64))))
	f.Add(riff(piece("fmt ", append(format(0xFFFE, 1, 48000, 24), make([]byte, 24)...))))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := wav.Decode(b)
		if err != nil {
			return
		}
		if len(s.Wave) > len(b) || s.Rate <= 0 {
			t.Fatalf("%d samples at %d from %d bytes", len(s.Wave), s.Rate, len(b))
		}
		for _, v := range s.Wave {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatal("a sample is no number")
			}
		}
	})
}
