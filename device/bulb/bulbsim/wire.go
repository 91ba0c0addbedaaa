// SPDX-License-Identifier: Apache-2.0

package bulbsim

import (
	"errors"
	"math/rand/v2"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// A Wire is an I2C bus on which a sensor of the kind hsc:005PD-A answers for a
// simulated bulb of the usual make, by the time of its clock. Its methods may be
// called from any goroutine.
type Wire struct {
	now   func() time.Duration
	mu    sync.Mutex
	bulb  *Bulb
	gauge *Gauge
	cut   bool
}

// NewWire makes one with a bulb at rest. The seed is of the sensor's noise.
func NewWire(now func() time.Duration, seed uint64) *Wire {
	return &Wire{now: now, bulb: NewBulb(Usual()), gauge: &Gauge{Low: -43000, High: 43000, Noise: 8, Rest: 60, Random: rand.New(rand.NewPCG(seed, seed))}}
}

// Open gives the bus, whatever its name.
func (w *Wire) Open(string) (i2c.BusCloser, error) { return w, nil }

// Squeeze has the hand squeeze so many times from an instant after now on, at an
// easy pace; depth is the share of the way to flat.
func (w *Wire) Squeeze(n int, after time.Duration, depth float64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for i := range n {
		w.bulb.Squeeze(Squeeze{
			At: w.now() + after + time.Duration(i)*1300*time.Millisecond, Push: 170 * time.Millisecond, Hold: 40 * time.Millisecond, Release: 80 * time.Millisecond, Depth: depth,
		})
	}
}

// Cut takes the sensor off: nothing answers any more.
func (w *Wire) Cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cut = true
}

// Tx implements i2c.Bus: the answer is 14 bits, of which the middle 80 % are the
// range of 5 psi to either side.
func (w *Wire) Tx(_ uint16, _, in []byte) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cut || len(in) != 2 {
		return errors.New("remote I/O error")
	}
	const counts, share, fivePsi = 1 << 14, 0.4, 34473.785
	at := w.now()
	p := w.gauge.Read(at, w.bulb.Run(at))
	n := min(counts-1, max(0, int(counts/2+p/fivePsi*share*counts+0.5)))
	in[0], in[1] = byte(n>>8), byte(n)
	return nil
}

// String, SetSpeed and Close implement i2c.BusCloser.
func (w *Wire) String() string { return "simulated" }

// SetSpeed takes every speed.
func (w *Wire) SetSpeed(physic.Frequency) error { return nil }

// Close does nothing.
func (w *Wire) Close() error { return nil }
