// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/tone"
)

// The test binary takes the place of aplay when fakeSocket is set: it tells its
// arguments to that socket and passes on what it is given to play.
const (
	fakeSocket = "TALLYHOOD_FAKE_APLAY_SOCKET"
	fakeDies   = "TALLYHOOD_FAKE_APLAY_DIES_AFTER" // bytes
)

func TestMain(m *testing.M) {
	if path := os.Getenv(fakeSocket); path != "" {
		os.Exit(fakeAplay(path))
	}
	os.Exit(m.Run())
}

func fakeAplay(path string) int {
	conn, err := net.Dial("unix", path)
	if err != nil {
		fmt.Fprintln(os.Stderr, "fake:", err)
		return 3
	}
	fmt.Fprintln(conn, strings.Join(os.Args[1:], " "))
	var in io.Reader = os.Stdin
	if n, err := strconv.ParseInt(os.Getenv(fakeDies), 10, 64); err == nil {
		in = io.LimitReader(in, n)
	}
	n, err := io.Copy(conn, in)
	if err != nil {
		fmt.Fprintln(os.Stderr, "fake:", err)
		return 3
	}
	if os.Getenv(fakeDies) != "" {
		fmt.Fprintf(os.Stderr, "something harmless\nfake: the card was unplugged after %d bytes\n", n)
		return 1
	}
	return 0
}

// A rig is a player on a clock moved by hand, whose aplay is the fake.
type rig struct {
	*Player
	clock  *handClock
	listen net.Listener
	script string
}

func newRig(t *testing.T, env ...string) *rig {
	t.Helper()
	// A socket's path has little room; a test's own folder may be too deep.
	dir, err := os.MkdirTemp("", "cue")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	r := &rig{clock: newHandClock(boot), script: filepath.Join(dir, "aplay")}
	r.set(t, env...)
	if r.listen, err = net.Listen("unix", filepath.Join(dir, "s")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.listen.Close() })
	r.Player = New(Options{Clock: r.clock, Command: r.script, Log: slog.New(slog.DiscardHandler)})
	t.Cleanup(func() { r.Close() })
	return r
}

// set writes the script that stands for aplay from now on.
func (r *rig) set(t *testing.T, env ...string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	env = append(env, fakeSocket+"="+filepath.Join(filepath.Dir(r.script), "s"))
	script := fmt.Sprintf("#!/bin/sh\nexec env %s '%s' \"$@\"\n", strings.Join(env, " "), self)
	// Not written in place: the old one may be running.
	if err := os.WriteFile(r.script+"~", []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(r.script+"~", r.script); err != nil {
		t.Fatal(err)
	}
}

// A heard stream is what one aplay was given.
type heard struct {
	*bufio.Reader
	args string
}

func (r *rig) accept(t *testing.T) *heard {
	t.Helper()
	conn, err := r.listen.Accept()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	h := &heard{Reader: bufio.NewReader(conn)}
	args, err := h.ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	h.args = strings.TrimSpace(args)
	return h
}

func (h *heard) read(t *testing.T, n int) []int16 {
	t.Helper()
	b := make([]byte, 2*n)
	if _, err := io.ReadFull(h, b); err != nil {
		t.Fatal(err)
	}
	samples := make([]int16, n)
	for i := range samples {
		samples[i] = int16(binary.LittleEndian.Uint16(b[2*i:]))
	}
	return samples
}

// What the program is given is, sample for sample, what the instants of the
// cues say: zero samples of error over 20 s, overlaps and a drop included. The
// fake takes sound at once, so the clock alone paces the stream.
func TestOnsetsOnTheExactSample(t *testing.T) {
	r := newRig(t)
	h := r.accept(t)
	if want := "-q -t raw -f S16_LE -r 44100 -c 1 --buffer-time=40000 --period-time=10000"; h.args != want {
		t.Errorf("arguments %q, want %q", h.args, want)
	}
	var got []int16
	step := func(until time.Duration) {
		for r.clock.Now() < until {
			r.clock.add(10 * time.Millisecond)
			got = append(got, h.read(t, block)...)
		}
	}
	// The stream is ahead by 250 ms; a block less is certain.
	got = append(got, h.read(t, 25*block)...)

	base := audio.Sample(boot)
	var want []audio.Placed
	play := func(p audio.Placed) {
		r.Play(p)
		want = append(want, p)
	}
	for i, c := range audio.Cues() {
		at := boot + 500*time.Millisecond + time.Duration(i)*(917*time.Millisecond+1234567*time.Nanosecond)
		play(audio.Placed{Cue: c, At: at})
		play(audio.Placed{Cue: audio.SqueezeCounted, At: at + 13*time.Microsecond})
	}
	step(boot + 8*time.Second)
	r.Drop(boot + 12*time.Second)
	want = slices.DeleteFunc(want, func(p audio.Placed) bool { return p.At >= boot+12*time.Second })
	step(boot + 10*time.Second)
	play(audio.Placed{Cue: audio.Pass, At: boot + 16*time.Second + 987654321*time.Nanosecond})
	step(boot + 20*time.Second)

	plain := make([]int16, len(got))
	for _, p := range want {
		for i, v := range tone.Make(p.Cue) {
			plain[audio.Sample(p.At)-base+int64(i)] += v
		}
	}
	for i := range plain {
		if got[i] != plain[i] {
			t.Fatalf("sample %d (%.4f s) is %d, want %d", i, float64(i)/audio.Rate, got[i], plain[i])
		}
	}
	t.Logf("%d cues in %d samples, all on their sample", len(want), len(got))
	if h := r.Health(); h != "" {
		t.Errorf("health %q", h)
	}
	if s := r.Stats(); s.Dropped+s.Restarts+s.Realigned != 0 {
		t.Errorf("%+v", s)
	}

	// One whose instant is past begins with the next block.
	r.Play(audio.Placed{Cue: audio.Stop, At: r.clock.Now() - 400*time.Millisecond})
	from := len(got)
	step(boot + 21*time.Second)
	onset := slices.IndexFunc(got[from:], func(v int16) bool { return v != 0 })
	first := slices.IndexFunc(tone.Of(audio.Stop), func(v int16) bool { return v != 0 })
	if onset < 0 || onset > 2*block || (onset-first)%block != 0 || !slices.Equal(got[from+onset:from+onset+1000], tone.Of(audio.Stop)[first:first+1000]) {
		t.Errorf("the late cue begins after %d samples", onset)
	}
}

// aplay dies: Health says what it said, another is started, the warning that
// came meanwhile is sounded, all without the caller of Play noticing.
func TestProgramDies(t *testing.T) {
	r := newRig(t, fakeDies+"="+strconv.Itoa(2*40*block))
	h := r.accept(t)
	h.read(t, 25*block)
	r.clock.add(200 * time.Millisecond)
	rest, err := io.ReadAll(h)
	if err != nil || len(rest) != 2*15*block {
		t.Fatalf("%d bytes more, %v", len(rest), err)
	}
	r.clock.await(r.clock.Now()+firstWait, r.clock.Now()+firstWait)
	want := "sound lost: aplay ended: fake: the card was unplugged after 35280 bytes, exit status 1; it is tried again"
	if h := r.Health(); h != want {
		t.Errorf("health %q, want %q", h, want)
	}
	r.set(t) // the next one lives
	r.Play(audio.Placed{Cue: audio.Stop, At: r.clock.Now()})
	r.clock.add(firstWait)
	h = r.accept(t)
	samples := h.read(t, 25*block)
	if health := r.Health(); health != "" {
		t.Errorf("health after the restart %q", health)
	}
	if n := r.Stats().Restarts; n != 1 {
		t.Errorf("%d restarts", n)
	}
	silence, sound := samples[:r.preroll*block], samples[r.preroll*block:]
	if slices.ContainsFunc(silence, func(v int16) bool { return v != 0 }) || !slices.Equal(sound, tone.Of(audio.Stop)[:len(sound)]) {
		t.Error("the warning does not follow the silence at the beginning of the stream")
	}
	r.Close()
	if _, err := io.ReadAll(h); err != nil {
		t.Errorf("the program did not end in order: %v", err)
	}
}

func TestProgramIsMissing(t *testing.T) {
	clock := newHandClock(boot)
	p := New(Options{Clock: clock, Command: filepath.Join(t.TempDir(), "aplay"), Log: slog.New(slog.DiscardHandler)})
	for _, wait := range []time.Duration{250, 500, 1000, 2000, 4000, 8000, 15000, 15000} {
		at := clock.Now() + wait*time.Millisecond
		clock.await(at, at)
		if h := p.Health(); h != "no sound: the program aplay is not installed; it is tried again" {
			t.Errorf("health %q", h)
		}
		clock.set(at)
	}
	if err := p.Close(); err != nil {
		t.Error(err)
	}
}

// A program that does not end when its input does is killed by Close.
func TestCloseKills(t *testing.T) {
	script := filepath.Join(t.TempDir(), "deaf")
	if err := os.WriteFile(script, []byte("#!/bin/sh\nexec sleep 600\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	clock := newHandClock(boot)
	p := New(Options{Clock: clock, Command: script, Log: slog.New(slog.DiscardHandler)})
	clock.await(boot+stall, boot+stall) // a write waits: the pipe is full
	done := make(chan struct{})
	go func() {
		p.Close()
		close(done)
	}()
	clock.await(boot+drain, boot+drain)
	clock.add(drain)
	<-done
	if h := p.Health(); h != "sound is closed" {
		t.Errorf("health %q", h)
	}
}

// Where the kernel gives no small pipe, no more is put into it than into one.
func TestWidePipe(t *testing.T) {
	s, err := launch("sleep", []string{"600"}, 1<<16, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Skip("missing part: the program sleep: ", err)
	}
	defer func() {
		s.Kill()
		<-s.Ended()
		s.Shut()
	}()
	written := 0
	for s.Room(2*block) && written < 1<<16 {
		n, err := s.Write(make([]byte, 2*block))
		if err != nil {
			t.Fatal(err)
		}
		written += n
	}
	if want := pipeSize / (2 * block) * (2 * block); written != want {
		t.Errorf("%d bytes lie in the pipe, want %d", written, want)
	}
}

// The pipe is as small as asked for where the kernel's pages allow it.
func TestSmallPipe(t *testing.T) {
	s, err := launch("sleep", []string{"600"}, pipeSize, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Skip("missing part: the program sleep: ", err)
	}
	defer func() {
		s.Kill()
		<-s.Ended()
		s.Shut()
	}()
	if page := os.Getpagesize(); page > pipeSize {
		t.Skipf("not on this machine: pages are of %d bytes and a pipe of %d cannot be had", page, pipeSize)
	}
	if s.(*child).wide {
		t.Errorf("the pipe is larger than %d bytes", pipeSize)
	}
}

// The real aplay takes the arguments, with a device that swallows all sound.
func TestRealAplay(t *testing.T) {
	if _, err := exec.LookPath("aplay"); err != nil {
		t.Skip("missing part: aplay (of alsa-utils)")
	}
	if said, err := exec.Command("aplay", append(arguments(Options{Device: "null"}), os.DevNull)...).CombinedOutput(); err != nil {
		t.Skipf("missing part: ALSA's null device: %s", said)
	}
	clock := newHandClock(boot)
	p := New(Options{Clock: clock, Device: "null", Log: slog.New(slog.DiscardHandler)})
	for range 100 {
		// The stream is as far ahead as it may be and waits for the clock.
		now := clock.Now()
		clock.await(now+1, now+15*time.Millisecond)
		if h := p.Health(); h != "" {
			t.Fatalf("health %q", h)
		}
		p.Play(audio.Placed{Cue: audio.SqueezeCounted, At: now})
		clock.add(10 * time.Millisecond)
	}
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	if s := p.Stats(); s.Restarts != 0 || s.Dropped != 0 {
		t.Errorf("%+v", s)
	}
	// Without a sound card of that name it says so.
	p = New(Options{Clock: clock, Device: "no_such_card", Log: slog.New(slog.DiscardHandler)})
	clock.await(clock.Now()+firstWait, clock.Now()+firstWait)
	if h := p.Health(); !strings.Contains(h, "aplay ended") || !strings.Contains(h, "exit status 1") {
		t.Errorf("health %q", h)
	} else {
		t.Log(h)
	}
	p.Close()
}

// The real aplay, killed from outside: sound is lost in words, another aplay is
// started, and sound is back.
func TestRealAplayIsKilled(t *testing.T) {
	if _, err := exec.LookPath("aplay"); err != nil {
		t.Skip("missing part: aplay (of alsa-utils)")
	}
	if said, err := exec.Command("aplay", append(arguments(Options{Device: "null"}), os.DevNull)...).CombinedOutput(); err != nil {
		t.Skipf("missing part: ALSA's null device: %s", said)
	}
	clock := newHandClock(boot)
	o := Options{
		Clock: clock, Device: "null", Sound: tone.Of, Buffer: 40 * time.Millisecond, Period: 10 * time.Millisecond,
		Log: slog.New(slog.DiscardHandler),
	}
	started := make(chan *child, 16)
	p := start(o, func() (sink, error) {
		s, err := launch("aplay", arguments(o), pipeSize, o.Log)
		if err == nil {
			started <- s.(*child)
		}
		return s, err
	})
	defer p.Close()
	// flows waits until the stream is as far ahead as it may be.
	flows := func() {
		now := clock.Now()
		clock.await(now+1, now+15*time.Millisecond)
		if h := p.Health(); h != "" {
			t.Fatalf("health %q", h)
		}
	}
	for n := range 3 {
		aplay := <-started
		flows()
		if err := aplay.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		at := clock.Now() + firstWait<<n // it held for less than 10 s each time
		clock.await(at, at)
		if h := p.Health(); h != "sound lost: aplay ended: signal: killed; it is tried again" {
			t.Errorf("health %q", h)
		}
		clock.set(at)
	}
	<-started
	flows()
	if s := p.Stats(); s.Restarts != 3 || s.Lost != 3 {
		t.Errorf("%+v", s)
	}
}

func TestTail(t *testing.T) {
	var said tail
	if got := said.last(); got != "" {
		t.Errorf("%q", got)
	}
	for range 1000 {
		fmt.Fprintln(&said, "underrun!!! (at least 12.345 ms long)")
	}
	if len(said.b) > tailSize {
		t.Errorf("%d bytes kept", len(said.b))
	}
	fmt.Fprint(&said, strings.Repeat("x", 500), "\n\n")
	if got := said.last(); got != strings.Repeat("x", 120)+"..." {
		t.Errorf("%q", got)
	}
}

// A pipe whose reader is gone gives an error and not a signal.
func TestBrokenPipe(t *testing.T) {
	s, err := launch("true", nil, pipeSize, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Skip("missing part: the program true: ", err)
	}
	<-s.Ended()
	if _, err := s.Write(make([]byte, 2*block)); err == nil {
		t.Error("a write to a program that has ended succeeds")
	}
	s.Shut()
	if _, err := s.Write(nil); !errors.Is(err, os.ErrClosed) {
		t.Errorf("a write after Shut: %v", err)
	}
	if why := s.Why(); why != "without an error" {
		t.Errorf("why %q", why)
	}
}
