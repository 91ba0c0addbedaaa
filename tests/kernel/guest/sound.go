// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"slices"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"tallyhood/audio"
	"tallyhood/audio/speaker"
	"tallyhood/device/clock"
	"tallyhood/tests/kernel/rpc"
)

func init() { tasks["cues"] = cues }

// Both ends of the loopback card: what is played on the first is heard on the
// second, sample by sample.
const (
	playAt = "hw:Loopback,0,0"
	hearAt = "hw:Loopback,1,0"
)

// An onset is a cue, when it was to sound and when it was heard.
type onset struct {
	Asked time.Duration `json:"asked"`
	Heard time.Duration `json:"heard"`
}

// cues plays knocks through the daemon's own player, records them back, and
// emits an onset for each that was heard. Each is ordered Lead before its
// instant, as a run orders what it knows ahead; without a lead, for at once.
func cues(c *rpc.Conn, args json.RawMessage) error {
	var a struct {
		Count int
		Lead  time.Duration
		Apart time.Duration
	}
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	clk := clock.New(1)
	ear, err := listen(clk)
	if err != nil {
		return err
	}
	defer ear.stop()
	p := speaker.New(speaker.Options{Clock: clk, Device: playAt, Sound: knock, Log: slog.New(slog.NewTextHandler(os.Stdout, nil))})
	defer p.Close()
	for since := clk.Now(); p.Health() != ""; time.Sleep(20 * time.Millisecond) {
		if clk.Now()-since > 30*time.Second {
			return fmt.Errorf("no sound: %s", p.Health())
		}
	}
	time.Sleep(time.Second)
	var asked []time.Duration
	for i := range a.Count {
		// Off the grid of blocks and periods, so that no phase is preferred.
		time.Sleep(a.Apart + time.Duration(i%17)*1300*time.Microsecond)
		at := clk.Now() + a.Lead
		asked = append(asked, at)
		p.Play(audio.Placed{Cue: audio.SqueezeCounted, At: at})
	}
	time.Sleep(a.Lead + time.Second)
	heard := ear.onsets()
	stats := p.Stats()
	fmt.Printf("guest: %d cues asked, %d onsets heard, %d dropped, %d restarts, %d times realigned\n",
		len(asked), len(heard), stats.Dropped, stats.Restarts, stats.Realigned)
	// A cue is the first onset that begins less than half the distance before
	// its instant and less than the whole after it.
	for _, at := range asked {
		for len(heard) > 0 && heard[0] < at-a.Apart/2 {
			heard = heard[1:]
		}
		if len(heard) > 0 && heard[0] < at+a.Apart {
			if err := c.Emit(onset{at, heard[0]}); err != nil {
				return err
			}
			heard = heard[1:]
		}
	}
	return nil
}

// knock is 50 ms of a loud square wave: its first sample shows where it begins.
func knock(audio.Cue) []int16 {
	b := make([]int16, audio.Rate/20)
	for i := range b {
		b[i] = 20000
		if i/22%2 == 1 {
			b[i] = -20000
		}
	}
	return b
}

// An ear records. A sample is dated by the piece within a second of it that
// came earliest for its place: the others were only late in coming. (Not by all
// pieces: the loopback leaves a hole when its other end opens.)
type ear struct {
	cmd *exec.Cmd

	mu   sync.Mutex
	pcm  []int16
	zero []time.Duration // of sample 0, as each piece has it
}

const piece = audio.Rate / 100

func listen(clk *clock.Clock) (*ear, error) {
	e := &ear{cmd: exec.Command("arecord", "-q", "-t", "raw", "-f", "S16_LE", "-r", fmt.Sprint(audio.Rate), "-c", "1",
		"-D", hearAt, "--buffer-time=500000", "--period-time=10000")}
	e.cmd.Stderr = os.Stderr
	out, err := e.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := e.cmd.Start(); err != nil {
		return nil, err
	}
	go func() {
		b := make([]byte, 2*piece)
		for {
			n, err := io.ReadFull(out, b)
			now := clk.Now()
			e.mu.Lock()
			for i := 0; i+1 < n; i += 2 {
				e.pcm = append(e.pcm, int16(binary.LittleEndian.Uint16(b[i:])))
			}
			e.zero = append(e.zero, now-audio.Instant(int64(len(e.pcm))))
			e.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	return e, nil
}

// onsets gives the instants at which sound begins after 100 ms of silence.
func (e *ear) onsets() (all []time.Duration) {
	e.mu.Lock()
	defer e.mu.Unlock()
	last := -audio.Rate
	for i, s := range e.pcm {
		if s > 8000 || s < -8000 {
			if i-last > audio.Rate/10 {
				near := e.zero[max(0, i/piece-100):min(len(e.zero), i/piece+100)]
				all = append(all, slices.Min(near)+audio.Instant(int64(i)))
			}
			last = i
		}
	}
	return all
}

func (e *ear) stop() {
	_ = e.cmd.Process.Signal(unix.SIGINT)
	_ = e.cmd.Wait()
}
