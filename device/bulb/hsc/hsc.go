// SPDX-License-Identifier: Apache-2.0

// Package hsc reads board-mount pressure sensors of the HSC and SSC families
// over I2C: 14 bits of pressure, corrected in the sensor, read at any time
// without a command. Other families with the same two status bits and the same
// output range are read by it as well. It must not decide what a pressure means.
package hsc

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/i2c"
)

// Figures of the families, as the Linux kernel's driver for them and its
// device-tree description give them after the published data sheets: the first
// two of the answer's bits are the status, 14 bits of pressure follow; output
// runs from 10 % to 90 % of 2^14 counts over the range with transfer function A
// (5-95 % with B, 5-85 % with C, 4-94 % with F). From memory: the usual address,
// and that readings are renewed about every 0.5 ms. Not tried on a sensor.
const (
	DefaultAddress = 0x28
	counts         = 1 << 14

	normal     = 0b00
	command    = 0b01
	stale      = 0b10
	diagnostic = 0b11
)

// transfer functions by letter: share of the counts at either end.
var transfer = map[byte][2]float64{'A': {0.10, 0.90}, 'B': {0.05, 0.95}, 'C': {0.05, 0.85}, 'F': {0.04, 0.94}}

// units of the range, by the letter in the sensor's listing, in pascal. A
// pound-force per square inch is 6894.757 Pa, a millibar 100 Pa, an inch of
// water 249.089 Pa (conventional values, NIST SP 811).
var units = map[byte]float64{'M': 100, 'K': 1000, 'P': 6894.757, 'N': 249.089}

// A Sensor is one on a bus. See New.
type Sensor struct {
	dev       i2c.Dev
	low, high float64 // pascal
	from, to  float64 // counts
	last      uint16
	read      bool
}

// New returns the sensor of a kind at an address of a bus. The kind is the
// range as in the sensor's listing, five characters such as "005PD" (5 psi) or
// "250MD" (250 mbar), and the letter of its transfer function, such as
// "005PD-A"; without a letter it is A. Only kinds that measure both ways (D) are
// of use here: others do not show suction, and are refused.
func New(bus i2c.Bus, address uint16, kind string) (*Sensor, error) {
	if address == 0 {
		address = DefaultAddress
	}
	if address > 0x7f {
		return nil, fmt.Errorf("the sensor's I2C address %#x is none of 7 bits", address)
	}
	listing, letter, dashed := strings.Cut(strings.ToUpper(kind), "-")
	if !dashed {
		letter = "A"
	}
	if len(listing) != 5 || len(letter) != 1 {
		return nil, fmt.Errorf("the sensor's kind %q is not like 005PD-A: three characters of range, unit, D, transfer function", kind)
	}
	share, ok := transfer[letter[0]]
	if !ok {
		return nil, fmt.Errorf("the sensor's kind %q names a transfer function other than A, B, C or F", kind)
	}
	number, err := strconv.ParseFloat(listing[:3], 64)
	if err != nil || !(number > 0) || math.IsInf(number, 0) {
		return nil, fmt.Errorf("the sensor's kind %q does not begin with its range in three characters", kind)
	}
	unit, ok := units[listing[3]]
	if !ok {
		return nil, fmt.Errorf("the sensor's kind %q has a unit other than M (mbar), K (kPa), P (psi) or N (inches of water)", kind)
	}
	if listing[4] != 'D' {
		return nil, fmt.Errorf("the sensor's kind %q does not show suction: one that measures both ways is needed (its listing ends in D)", kind)
	}
	return &Sensor{
		dev: i2c.Dev{Bus: bus, Addr: address}, low: -number * unit, high: number * unit,
		from: share[0] * counts, to: share[1] * counts,
	}, nil
}

// Range is what the sensor measures, in pascal.
func (s *Sensor) Range() (low, high float64) { return s.low, s.high }

// Rate is the number of readings a second beyond which nothing new is learned.
func (s *Sensor) Rate() float64 { return 1000 }

// Read gives the gauge pressure in pascal. A reading that was fetched already
// is given once more: its standing still is for the reader of the curve to see.
func (s *Sensor) Read() (pascal float64, err error) {
	var b [2]byte
	if err := s.dev.Tx(nil, b[:]); err != nil {
		return 0, fmt.Errorf("the pressure sensor does not answer: %w", err)
	}
	count := uint16(b[0]&0x3f)<<8 | uint16(b[1])
	switch b[0] >> 6 {
	case diagnostic:
		return 0, errors.New("the pressure sensor reports a fault of its own")
	case command:
		return 0, errors.New("the pressure sensor is in its factory mode: switch it off and on")
	case stale:
		if !s.read {
			return 0, errors.New("the pressure sensor has no reading yet")
		}
		count = s.last
	case normal:
		s.last, s.read = count, true
	}
	return s.low + (float64(count)-s.from)/(s.to-s.from)*(s.high-s.low), nil
}
