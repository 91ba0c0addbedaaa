// SPDX-License-Identifier: Apache-2.0

// Package bulb watches the nebuliser's rubber bulb by its air: a gauge-pressure
// sensor on I2C, tapped in through a T-piece, gives samples, package curve finds
// squeezes in them, and this package makes of them closures of the contact
// squeeze, so that the rest of the program hears of them as of a pedal.
//
// A squeeze that was flat, of a bulb that was full, closes the contact when
// that is known, at the end of the push, for as long as the bulb is then held,
// and for at least 60 ms: sure in the sense of device/contact. One that was
// shallow, or begun before the bulb had filled, or that cannot be trusted,
// closes it for 30 ms when that is known, at the release: doubtful. Closures
// begin at least 175 ms apart, so that none is taken for the bounce of another;
// one that comes sooner is put off by what is missing. No edge is dated before
// the instant at which it could be known, nor in the future: a squeeze is closed
// as much later than by a pedal as the push takes, mostly 0.1 to 0.4 s, a shallow
// one up to a second and more. So that nothing overtakes it, device.Push is closed
// from the begin of each push until what came of it is told, at most 3 s: then the
// push is told as doubtful.
//
// The buses of package i2creg are there once periph's host.Init has been called,
// which device/gpio does. It must not know what a squeeze means for a run, nor
// calibrate while one is open: that is for its caller to see to.
package bulb

import (
	"errors"
	"io/fs"
	"log/slog"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"

	"tallyhood/device"
	"tallyhood/device/bulb/curve"
)

const (
	// Rate is how many samples a second are taken (assumption: a push of 80 ms
	// then has 16; curve's tests hold it).
	Rate = 200.0
	// again: a sensor that failed is looked for so often.
	again = time.Second
	// leaving bounds the wait for a bus that does not come back.
	leaving = 2 * time.Second
	// longRead: a reading that took longer is not known well enough in time.
	longRead = 10 * ms
)

// A Clock dates samples and wakes at instants.
type Clock interface {
	Now() time.Duration
	Wake(at time.Duration) (<-chan struct{}, func())
}

// Options of a source.
type Options struct {
	Bus     string // name or number of the I2C bus; empty for the first
	Address uint16 // 0 for the sensor's usual one
	Sensor  string // driver and kind, such as "hsc:005PD-A"
	// File keeps the calibration. Empty: it is lost with the program.
	File  string
	Clock Clock
	Log   *slog.Logger
	// OpenBus opens a bus by its name; nil for the buses of the host.
	OpenBus func(name string) (i2c.BusCloser, error)
}

// Live is what the bulb does now.
type Live struct {
	Pascal float64 // over the rest level
	Fill   float64 // share of a flat squeeze that the bulb holds
	// Counts since the start.
	Flat, Shallow, Unfilled, Doubted, Touched int
	// Stage and Done say how far a calibration is; Calibrating whether one is on.
	Calibrating bool
	Stage       curve.Stage
	Done        int
}

// A Source is a device.Source for the contact squeeze. See New.
type Source struct {
	o      Options
	driver Driver
	kind   string
	stir   chan struct{} // something is due sooner than was known

	mu      sync.Mutex
	to      device.Sink // nil while not watching
	changed bool        // Changed is to be said on unlocking
	train   train
	param   *curve.Parameters // nil: not calibrated
	unread  string            // why it could not be read
	det     *curve.Detector   // nil while there is nothing to detect with
	cal     *calibration
	open    bool // the sensor is
	low     float64
	high    float64
	good    time.Duration // last sample, while open
	silent  bool          // readings fail, and it was told
	part    device.Part
	live    Live
}

type calibration struct {
	*curve.Calibration
	when string // wall time of its begin
	last Progress
	step chan Progress // has room for every step
	done chan result
}

// Progress is how far a calibration is: what is to be done now, and how many
// squeezes are complete.
type Progress struct {
	Stage curve.Stage
	Done  int
}

type result struct {
	p   curve.Parameters
	err error
}

var _ device.Source = (*Source)(nil)

// New returns a source. A name of no driver is an error; a sensor that is not
// there, or not calibrated, is reported by Report.
func New(o Options) (*Source, error) {
	d, kind, err := driver(o.Sensor)
	if err != nil {
		return nil, err
	}
	if o.Clock == nil {
		return nil, errors.New("a bulb sensor needs a clock")
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.OpenBus == nil {
		o.OpenBus = i2creg.Open
	}
	s := &Source{o: o, driver: d, kind: kind, stir: make(chan struct{}, 1)}
	s.part = device.Part{Name: "bulb sensor", State: device.Failed, Reason: "not opened yet", Lines: s.Lines()}
	if o.File == "" {
		return s, nil
	}
	switch p, err := Load(o.File); {
	case err == nil:
		s.param = &p
	case !errors.Is(err, fs.ErrNotExist):
		s.unread = err.Error()
		o.Log.Error("bulb sensor", "err", err)
	}
	return s, nil
}

// Lines implements device.Source.
func (s *Source) Lines() []device.Line { return []device.Line{device.Squeeze} }

// TimeSource implements device.Source.
func (s *Source) TimeSource() string { return device.ArrivalTime }

// Report implements device.Source.
func (s *Source) Report() []device.Part {
	s.mu.Lock()
	defer s.mu.Unlock()
	return []device.Part{s.part}
}

// Live says what the bulb does now.
func (s *Source) Live() Live {
	s.mu.Lock()
	defer s.mu.Unlock()
	l := s.live
	if s.cal != nil {
		l.Calibrating, l.Stage, l.Done = true, s.cal.Stage(), s.cal.Count()
	}
	return l
}

// Parameters in use; ok is false when the bulb is not calibrated.
func (s *Source) Parameters() (p curve.Parameters, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.param == nil {
		return p, false
	}
	return *s.param, true
}

// unlock gives up mu and says Changed outside it.
func (s *Source) unlock() {
	to, changed := s.to, s.changed
	s.changed = false
	s.mu.Unlock()
	if to != nil && changed {
		to.Changed()
	}
}

// say sets the report; the caller holds mu.
func (s *Source) say(state device.State, reason string) {
	if s.part.State != state || s.part.Reason != reason {
		s.part.State, s.part.Reason = state, reason
		s.changed = true
	}
}

// Flush implements device.Source.
func (s *Source) Flush() {
	s.mu.Lock()
	defer s.unlock()
	s.send()
}

// send hands over the edges whose instants have come; the caller holds mu.
func (s *Source) send() {
	if s.to == nil {
		return
	}
	for _, e := range s.train.take(s.o.Clock.Now()) {
		s.to.Edge(e.line, e.at, e.closed)
	}
}

// lost says that squeezes may be missing and ends a closure; the caller holds mu.
func (s *Source) lost(why string) {
	now := s.o.Clock.Now()
	s.train.release(now)
	s.train.push(now, false)
	s.send()
	if s.to != nil {
		s.to.Lost(now, why)
	}
}
