// SPDX-License-Identifier: Apache-2.0

package bulb

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"tallyhood/device"
	"tallyhood/device/bulb/bulbsim"
	"tallyhood/device/bulb/curve"
	"tallyhood/device/clock"
	"tallyhood/device/contact"
)

const second = time.Second

// A wire is an I2C bus with a simulated sensor of the kind hsc on a simulated
// bulb.
type wire struct {
	clock *clock.Clock
	mu    sync.Mutex
	bulb  *bulbsim.Bulb
	gauge *bulbsim.Gauge
	cut   bool          // nothing answers
	hang  chan struct{} // a reading waits for it to be closed
	fixed []byte        // the answer, if set
	delay time.Duration // of each reading
	opens int
	shut  int
}

func newWire(c *clock.Clock) *wire {
	return &wire{clock: c, bulb: bulbsim.NewBulb(bulbsim.Usual()), gauge: &bulbsim.Gauge{
		Low: -43000, High: 43000, Noise: 8, Rest: 60, Random: rand.New(rand.NewPCG(4, 4)),
	}}
}

func (w *wire) String() string                  { return "simulated" }
func (w *wire) SetSpeed(physic.Frequency) error { return nil }

func (w *wire) Close() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.shut++
	return nil
}

func (w *wire) open(name string) (i2c.BusCloser, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if name != "1" {
		return nil, fmt.Errorf("no bus %q", name)
	}
	w.opens++
	return w, nil
}

func (w *wire) Tx(addr uint16, out, in []byte) error {
	w.mu.Lock()
	hang, delay := w.hang, w.delay
	w.mu.Unlock()
	time.Sleep(delay)
	if hang != nil {
		<-hang
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case w.cut:
		return errors.New("remote I/O error")
	case addr != 0x28 || len(out) != 0 || len(in) != 2:
		return fmt.Errorf("unexpected transfer with %#x", addr)
	case w.fixed != nil:
		copy(in, w.fixed)
		return nil
	}
	at := w.clock.Now()
	p := w.gauge.Read(at, w.bulb.Run(at))
	n := min(16383, max(0, int(8192+p/34473.785*0.4*16384+0.5)))
	in[0], in[1] = byte(n>>8), byte(n)
	return nil
}

func (w *wire) squeeze(after, push, hold time.Duration, depth float64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.bulb.Squeeze(bulbsim.Squeeze{At: w.clock.Now() + after, Push: push, Hold: hold, Release: 80 * ms, Depth: depth})
}

func (w *wire) set(f func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f()
}

// A sink remembers and feeds a contact's filter.
type sink struct {
	t       *testing.T
	clock   *clock.Clock
	mu      sync.Mutex
	y       *tally
	last    time.Duration
	edges   int
	all     []device.Edge
	lost    []string
	changed int
}

func (k *sink) Edge(l device.Line, at time.Duration, closed bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if l != device.Squeeze && l != device.Push || at < k.last || at > k.clock.Now() {
		k.t.Errorf("edge of %s at %v after %v, now %v", l, at, k.last, k.clock.Now())
	}
	k.last = at
	k.all = append(k.all, device.Edge{At: at, Line: l, Closed: closed})
	if l == device.Push {
		return
	}
	k.edges++
	if k.y.c.Closed() != closed { // a board passes no level that the line has
		k.y.c.Edge(at, closed)
	}
}

func (k *sink) Lost(_ time.Duration, reason string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.lost = append(k.lost, reason)
}

func (k *sink) Changed() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.changed++
}

func (k *sink) closed() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.y.c.Closed()
}

// saw gives what came since the last call: sure, doubtful, gaps.
func (k *sink) saw() (sure, doubtful int, lost []string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.y.to(k.clock.Now())
	if n := k.y.n[contact.Chatters]; n > 0 {
		k.t.Errorf("%d times chatter", n)
	}
	sure, doubtful, lost = k.y.n[contact.Pressed], k.y.n[contact.Doubtful], k.lost
	k.y.n, k.lost = map[contact.Kind]int{}, nil
	return
}

// A stand is a source that watches a simulated bulb.
type stand struct {
	*Source
	t    *testing.T
	wire *wire
	sink *sink
	stop func()
}

// watch starts a source with a calibration file; it must be in a bubble, where
// time passes as fast as it can and no sample is late.
func watch(t *testing.T, file string) *stand {
	c := clock.New(1)
	w := newWire(c)
	s, err := New(Options{Bus: "1", Sensor: "hsc:005PD-A", File: file, Clock: c, Log: slog.New(slog.DiscardHandler), OpenBus: w.open})
	if err != nil {
		t.Fatal(err)
	}
	k := &sink{t: t, clock: c, y: newTally()}
	ctx, cancel := context.WithCancel(context.Background())
	var done sync.WaitGroup
	done.Go(func() { s.Watch(ctx, k) })
	return &stand{s, t, w, k, func() { cancel(); done.Wait() }}
}

func (s *stand) expect(sure, doubtful int, lost ...string) {
	s.t.Helper()
	a, b, gaps := s.sink.saw()
	ok := a == sure && b == doubtful && len(gaps) == len(lost)
	for i := range min(len(gaps), len(lost)) {
		ok = ok && strings.Contains(gaps[i], lost[i])
	}
	if !ok {
		s.t.Errorf("%d sure, %d doubtful, lost %q; want %d, %d, %q", a, b, gaps, sure, doubtful, lost)
	}
}

func (s *stand) state(want device.State, word string) {
	s.t.Helper()
	p := s.Report()[0]
	if p.State != want || !strings.Contains(p.Reason, word) || !slices.Equal(p.Lines, []device.Line{device.Squeeze}) {
		s.t.Errorf("%+v, want %s with %q", p, want, word)
	}
}

// calibrate squeezes ten times for a calibration.
func (s *stand) calibrate(depths ...float64) (curve.Parameters, error) {
	for i := range curve.Squeezes {
		depth := 1.0
		if i < len(depths) {
			depth = depths[i]
		}
		s.wire.squeeze(3*second+time.Duration(i)*1300*ms, 170*ms, 40*ms, depth)
	}
	return s.Calibrate(context.Background(), "", nil)
}

// learned is a calibration file.
func learned(t *testing.T) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "bulb.json")
	s := watch(t, file)
	defer s.stop()
	time.Sleep(10 * ms)
	if _, err := s.calibrate(); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestSqueezes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(500 * ms)
		s.state(device.Failed, "let go of the bulb")
		time.Sleep(1500 * ms)
		s.state(device.Loaded, "")
		s.expect(0, 0)

		s.wire.squeeze(0, 150*ms, 50*ms, 1)
		time.Sleep(second)
		s.expect(1, 0)
		s.wire.squeeze(0, 150*ms, 50*ms, 0.5)
		time.Sleep(second)
		s.expect(0, 1)
		s.wire.squeeze(0, 30*ms, 0, 0.03) // a touch
		time.Sleep(second)
		s.expect(0, 0)
		// Before it has filled again.
		s.wire.squeeze(0, 80*ms, 20*ms, 1)
		s.wire.squeeze(110*ms, 80*ms, 0, 1)
		time.Sleep(second)
		s.expect(1, 1)
		// Ten at five a second, and ten with every third one shallow.
		for i := range 10 {
			s.wire.squeeze(time.Duration(i)*200*ms, 80*ms, 0, 1)
		}
		time.Sleep(3 * second)
		s.expect(10, 0)
		for i := range 10 {
			depth := 1.0
			if i%3 == 0 {
				depth = 0.55
			}
			s.wire.squeeze(time.Duration(i)*230*ms, 85*ms, 10*ms, depth)
		}
		time.Sleep(4 * second)
		s.expect(6, 4)
		if l := s.Live(); l.Flat != 18 || l.Shallow+l.Unfilled != 6 || l.Fill < 0.99 {
			t.Errorf("%+v", l)
		}
	})
}

// TestHeld: the contact is closed for as long as the bulb is held flat.
func TestHeld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(2 * second)
		s.wire.squeeze(0, 150*ms, 1500*ms, 1)
		time.Sleep(second)
		if !s.sink.closed() {
			t.Error("open while the bulb is held flat")
		}
		time.Sleep(second)
		if s.sink.closed() {
			t.Error("closed after the bulb was let go")
		}
		s.expect(1, 0)
	})
}

// TestFlush: an edge whose instant has come is handed over by Flush, with that
// instant, also when nothing else of the source gets to run.
func TestFlush(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := clock.New(1)
		s, err := New(Options{Sensor: "hsc:005PD-A", Clock: c})
		if err != nil {
			t.Fatal(err)
		}
		k := &sink{t: t, clock: c, y: newTally()}
		s.to = k
		at := c.Now()
		s.train.doubt(at)
		s.Flush()
		time.Sleep(doubtful - 1)
		s.Flush()
		if k.edges != 1 || k.last != at || !k.closed() {
			t.Errorf("%d edges, the last at %v, want one at %v", k.edges, k.last, at)
		}
		time.Sleep(300 * ms)
		s.Flush()
		if k.edges != 2 || k.last != at+doubtful || k.closed() {
			t.Errorf("%d edges, the last at %v, want two, at %v", k.edges, k.last, at+doubtful)
		}
		if sure, doubtful, _ := k.saw(); sure != 0 || doubtful != 1 {
			t.Errorf("%d sure, %d doubtful", sure, doubtful)
		}
	})
}

func TestUnplugged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(2 * second)
		s.expect(0, 0)
		s.wire.set(func() { s.wire.cut = true })
		time.Sleep(120 * ms)
		s.state(device.Failed, "stopped answering")
		s.expect(0, 0, "stopped answering")
		time.Sleep(5 * second)
		s.state(device.Failed, "does not answer")
		s.expect(0, 0)
		s.wire.set(func() { s.wire.cut = false })
		time.Sleep(4 * second)
		s.state(device.Loaded, "")
		s.wire.squeeze(0, 150*ms, 50*ms, 1)
		time.Sleep(second)
		s.expect(1, 0)
		s.wire.set(func() {
			if s.wire.opens != s.wire.shut+1 {
				t.Errorf("opened %d times, closed %d times", s.wire.opens, s.wire.shut)
			}
		})
	})
}

// TestShortBreak: readings stop for less than it takes to open anew.
func TestShortBreak(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(2 * second)
		s.wire.set(func() { s.wire.cut = true })
		time.Sleep(300 * ms)
		s.wire.set(func() { s.wire.cut = false })
		time.Sleep(100 * ms)
		s.state(device.Loaded, "")
		time.Sleep(2 * second)
		s.wire.squeeze(0, 150*ms, 50*ms, 1)
		time.Sleep(second)
		s.expect(1, 0, "stopped answering")
	})
}

// TestHang: a bus that does not come back neither hides the loss nor keeps
// Watch from ending.
func TestHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		time.Sleep(2 * second)
		s.wire.squeeze(0, 150*ms, 10*second, 1)
		time.Sleep(500 * ms)
		hang := make(chan struct{})
		s.wire.set(func() { s.wire.hang = hang })
		time.Sleep(150 * ms)
		s.state(device.Failed, "stopped answering")
		s.expect(1, 0, "stopped answering")
		if s.sink.closed() {
			t.Error("closed though nothing is known")
		}
		s.Flush()
		from := time.Now()
		s.stop()
		if d := time.Since(from); d > 3*second {
			t.Errorf("it took %v to end", d)
		}
		close(hang)
		time.Sleep(2 * second)
		s.sink.mu.Lock()
		defer s.sink.mu.Unlock()
		edges := s.sink.edges
		s.Flush()
		if s.sink.edges != edges {
			t.Error("edges after the end")
		}
	})
}

// TestSlowBus: readings that take long are not taken, and that is said.
func TestSlowBus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(2 * second)
		s.wire.set(func() { s.wire.delay = 20 * ms })
		time.Sleep(1500 * ms)
		s.state(device.Failed, "too slow")
		s.expect(0, 0, "stopped answering")
		s.wire.set(func() { s.wire.delay = 300 * time.Microsecond })
		time.Sleep(4 * second)
		s.state(device.Loaded, "")
		s.wire.squeeze(0, 150*ms, 50*ms, 1)
		time.Sleep(second)
		s.expect(1, 0)
	})
}

// TestStuckAndSilent: a break in the readings does not make a sensor well.
func TestStuckAndSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(2 * second)
		s.wire.set(func() { s.wire.fixed = []byte{0x20, 0x10} })
		time.Sleep(4 * second)
		s.wire.set(func() { s.wire.cut = true })
		time.Sleep(300 * ms)
		s.wire.set(func() { s.wire.cut = false })
		time.Sleep(500 * ms)
		if p := s.Report()[0]; p.State != device.Failed {
			t.Errorf("%+v", p)
		}
		s.expect(0, 0, "stand still", "stopped answering")
		s.wire.set(func() { s.wire.fixed = nil })
		time.Sleep(4 * second)
		s.state(device.Loaded, "")
	})
}

func TestFaults(t *testing.T) {
	for _, c := range []struct {
		answer []byte
		after  time.Duration
		word   string
	}{
		{[]byte{0x20, 0x00}, 3 * second, "stand still"},
		{[]byte{0x3f, 0xff}, 700 * ms, "out of its range"},
		{[]byte{0x00, 0x00}, 700 * ms, "out of its range"},
		{[]byte{0x80, 0x00}, 3 * second, "stand still"}, // stale for ever
		{[]byte{0xc0, 0x00}, 150 * ms, "stopped answering"},
	} {
		synctest.Test(t, func(t *testing.T) {
			s := watch(t, learned(t))
			defer s.stop()
			time.Sleep(2 * second)
			s.wire.set(func() { s.wire.fixed = c.answer })
			time.Sleep(c.after)
			s.state(device.Failed, c.word)
			_, _, lost := s.sink.saw()
			if len(lost) != 1 || !strings.Contains(lost[0], c.word) {
				t.Errorf("lost %q", lost)
			}
			s.wire.set(func() { s.wire.fixed = nil })
			time.Sleep(4 * second)
			s.state(device.Loaded, "")
			s.wire.squeeze(0, 150*ms, 50*ms, 1)
			time.Sleep(second)
			s.expect(1, 0)
		})
	}
}

// TestClogged: in doubt until the jet is clear, and says so.
func TestClogged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := watch(t, learned(t))
		defer s.stop()
		time.Sleep(2 * second)
		s.wire.set(func() { s.wire.bulb.SetJet(bulbsim.Usual().Jet * 0.7) })
		for range 6 {
			s.wire.squeeze(0, 150*ms, 50*ms, 1)
			time.Sleep(second)
		}
		s.state(device.Failed, "clogged")
		s.expect(0, 6)
	})
}

func TestCalibration(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "bulb.json")
		s := watch(t, file)
		time.Sleep(10 * ms)
		s.state(device.Failed, "not calibrated")
		s.wire.squeeze(0, 150*ms, 50*ms, 1)
		time.Sleep(second)
		s.expect(0, 0) // nothing is known of it, and the report says so

		if _, err := s.calibrate(1, 1, 0.6); err == nil || !strings.Contains(err.Error(), "squeeze 3") {
			t.Errorf("uneven squeezes: %v", err)
		}
		s.state(device.Failed, "not calibrated")
		if _, err := Load(file); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("kept after a refusal: %v", err)
		}
		ctx, cancel := context.WithTimeout(context.Background(), 5*second)
		defer cancel()
		var twice error
		time.AfterFunc(2500*ms, func() {
			_, twice = s.Calibrate(context.Background(), "", nil)
			if l := s.Live(); !l.Calibrating || l.Stage != curve.Squeezing {
				t.Errorf("%+v", l)
			}
		})
		if _, err := s.Calibrate(ctx, "", nil); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("broken off: %v", err)
		}
		if twice == nil || !strings.Contains(twice.Error(), "already") {
			t.Errorf("second calibration: %v", twice)
		}
		p, err := s.calibrate()
		if err != nil {
			t.Fatal(err)
		}
		if kept, err := Load(file); err != nil || kept != p {
			t.Errorf("kept %+v, %v", kept, err)
		}
		if got, ok := s.Parameters(); !ok || got != p {
			t.Errorf("in use %+v", got)
		}
		time.Sleep(2 * second)
		s.state(device.Loaded, "")
		s.expect(0, 0)

		// Another one says Lost at its begin; a refusal leaves the former.
		if _, err := s.calibrate(0.5, 1, 1, 0.5); err == nil {
			t.Error("uneven squeezes accepted")
		}
		time.Sleep(2 * second)
		s.state(device.Loaded, "")
		s.wire.squeeze(0, 150*ms, 50*ms, 1)
		time.Sleep(second)
		s.expect(1, 0, "being calibrated")

		time.AfterFunc(5*second, func() { s.wire.set(func() { s.wire.cut = true }) })
		if _, err := s.calibrate(); err == nil || !strings.Contains(err.Error(), "does not answer") {
			t.Errorf("sensor gone: %v", err)
		}
		s.stop()
		if _, err := s.Calibrate(context.Background(), "", nil); err == nil || !strings.Contains(err.Error(), "not being watched") {
			t.Errorf("not watching: %v", err)
		}
	})
}

func TestNew(t *testing.T) {
	c := clock.New(1)
	if _, err := New(Options{Sensor: "nothing:5", Clock: c}); err == nil || !strings.Contains(err.Error(), "there are hsc") {
		t.Errorf("%v", err)
	}
	if _, err := New(Options{Sensor: "hsc:005PD"}); err == nil {
		t.Error("no clock")
	}
	file := filepath.Join(t.TempDir(), "bulb.json")
	if err := os.WriteFile(file, []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ bus, sensor, file, word string }{
		{"7", "hsc:005PD-A", "", "no bus"},
		{"1", "hsc:005PG-A", "", "suction"},
		{"1", "hsc:005PD-A", "", "not calibrated"},
		{"1", "hsc:005PD-A", file, "cannot be read"},
	} {
		synctest.Test(t, func(t *testing.T) {
			c := clock.New(1)
			w := newWire(c)
			s, err := New(Options{Bus: x.bus, Sensor: x.sensor, File: x.file, Clock: c, Log: slog.New(slog.DiscardHandler), OpenBus: w.open})
			if err != nil {
				t.Fatal(err)
			}
			s.Flush() // before Watch it does nothing
			ctx, cancel := context.WithTimeout(context.Background(), 3*second)
			defer cancel()
			k := &sink{t: t, clock: c, y: newTally()}
			s.Watch(ctx, k)
			if p := s.Report()[0]; p.State != device.Failed || !strings.Contains(p.Reason, x.word) {
				t.Errorf("%+v, want a word of %q", p, x.word)
			}
			if k.edges == 0 || len(k.lost) > 0 {
				t.Errorf("%d edges, lost %q", k.edges, k.lost)
			}
		})
	}
}

// TestOtherRange: the sensor was exchanged for one of another range.
func TestOtherRange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		file := learned(t)
		p, err := Load(file)
		if err != nil {
			t.Fatal(err)
		}
		p.High, p.Low = 2*p.High, 2*p.Low
		if err := Save(file, p); err != nil {
			t.Fatal(err)
		}
		s := watch(t, file)
		defer s.stop()
		time.Sleep(2 * second)
		s.state(device.Failed, "another range")
	})
}

func TestKeep(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "bulb.json")
	if err := Save(file, curve.Parameters{}); err == nil {
		t.Error("nonsense was kept")
	}
	p := curve.Parameters{
		Schema: curve.Schema, Low: -10, High: 10, Dead: 0.1, Start: 0.2, Peak: 5, Suction: 1, Out: 3, In: 2, Push: 1, Fill: 1,
	}
	for range 2 {
		if err := Save(file, p); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := Load(file); err != nil || got != p {
		t.Errorf("%+v, %v", got, err)
	}
	if left, _ := filepath.Glob(filepath.Join(folder, "*")); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	if err := Save(filepath.Join(folder, "none", "x"), p); err == nil {
		t.Error("a folder that is not there")
	}
}
