// SPDX-License-Identifier: Apache-2.0

package wav

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// A Sound is what a file holds, its channels mixed to one.
type Sound struct {
	Rate int       // samples in a second
	Wave []float64 // 1 is full scale
}

// What Decode takes: more than any cue needs, little enough that a wrong file
// does no harm.
const (
	lowestRate   = 4000
	highestRate  = 192_000
	mostChannels = 8
)

const (
	formatPCM        = 1
	formatFloat      = 3
	formatExtensible = 0xFFFE // the real one stands in the first bytes of a GUID
)

// Decode reads a WAV file of whole numbers with 8, 16, 24 or 32 bits or of
// floats with 32. The length that the header claims may be too large, as it is
// in a file that a program wrote into a pipe: then all that is there counts.
func Decode(b []byte) (Sound, error) {
	if len(b) < 12 || string(b[:4]) != "RIFF" || string(b[8:12]) != "WAVE" {
		return Sound{}, errors.New("this is no WAV file")
	}
	var format []byte
	for rest := b[12:]; len(rest) >= 8; {
		name, size := string(rest[:4]), uint64(binary.LittleEndian.Uint32(rest[4:]))
		rest = rest[8:]
		body := rest[:min(size, uint64(len(rest)))]
		switch name {
		case "fmt ":
			format = body
		case "data":
			if format == nil {
				return Sound{}, errors.New("the WAV file does not say what its samples are")
			}
			return decode(format, body)
		}
		rest = rest[min(size+size%2, uint64(len(rest))):] // a chunk begins on an even byte
	}
	return Sound{}, errors.New("the WAV file holds no samples")
}

func decode(format, data []byte) (Sound, error) {
	if len(format) < 16 {
		return Sound{}, errors.New("the WAV file does not say what its samples are")
	}
	kind := int(binary.LittleEndian.Uint16(format))
	channels := int(binary.LittleEndian.Uint16(format[2:]))
	rate := int64(binary.LittleEndian.Uint32(format[4:]))
	bits := int(binary.LittleEndian.Uint16(format[14:]))
	if kind == formatExtensible && len(format) >= 26 {
		kind = int(binary.LittleEndian.Uint16(format[24:]))
	}
	value := reader(kind, bits)
	switch {
	case value == nil:
		return Sound{}, fmt.Errorf("samples of format %d with %d bits cannot be read", kind, bits)
	case channels < 1 || channels > mostChannels:
		return Sound{}, fmt.Errorf("a sound of %d channels cannot be read", channels)
	case rate < lowestRate || rate > highestRate:
		return Sound{}, fmt.Errorf("a sound of %d samples a second cannot be read", rate)
	}
	size := bits / 8
	frame := size * channels
	wave := make([]float64, len(data)/frame)
	for i := range wave {
		sum := 0.0
		for c := range channels {
			sum += value(data[i*frame+c*size:])
		}
		wave[i] = sum / float64(channels)
	}
	return Sound{int(rate), wave}, nil
}

// reader gives what reads one value, nil for a format that is not known.
func reader(kind, bits int) func([]byte) float64 {
	switch {
	case kind == formatPCM && bits == 8: // the only one without a sign
		return func(b []byte) float64 { return float64(int(b[0])-128) / (1 << 7) }
	case kind == formatPCM && bits == 16:
		return func(b []byte) float64 { return float64(int16(binary.LittleEndian.Uint16(b))) / (1 << 15) }
	case kind == formatPCM && bits == 24:
		return func(b []byte) float64 {
			return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / (1 << 31)
		}
	case kind == formatPCM && bits == 32:
		return func(b []byte) float64 { return float64(int32(binary.LittleEndian.Uint32(b))) / (1 << 31) }
	case kind == formatFloat && bits == 32:
		return func(b []byte) float64 {
			v := float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return 0
			}
			return v
		}
	}
	return nil
}

// Bytes gives a whole file of samples; it fails with ErrTooLong.
func Bytes(samples []int16) ([]byte, error) {
	b, err := Header(int64(len(samples)))
	if err != nil {
		return nil, err
	}
	return Append(b, samples), nil
}
