// SPDX-License-Identifier: Apache-2.0

// Package speaker sounds cues through one long-lived aplay (of alsa-utils),
// which is fed without a pause, silence included: a stream that is opened for
// each cue pops and lags. When aplay ends it is started again.
//
// Where a cue lies in the stream is a matter of counting samples, not of
// timers. When a stream begins, the instant of the board's clock at which the
// sound card starts is tied to its first sample; from then on the instant of a
// cue gives its sample, whatever the machine is busy with. A sound card's own
// clock is a little fast or slow against the board's: once they are 20 ms
// apart, the next silence is made shorter or longer by as much. A stream that
// ran dry, because the machine or the program was held up, is tied anew.
//
// The clock must go at the speed of the world: a simulated one that goes faster
// has no use for a loudspeaker. The package must not know why a cue sounds, and
// nothing in it may make the caller of Play wait.
package speaker

import (
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/mix"
	"tallyhood/audio/tone"
)

// A Clock is what the player needs of the board's clock.
type Clock interface {
	// Now is the instant on the board's monotonic clock.
	Now() time.Duration
	// Wake gives a channel that is closed, or sent to, at an instant or at once
	// when that is past, and a function that gives up waiting.
	Wake(at time.Duration) (wake <-chan struct{}, stop func())
}

// Options of a player; only Clock is needed.
type Options struct {
	Clock   Clock
	Command string        // the program; "aplay" when empty
	Device  string        // what aplay calls the sound card; its default when empty
	Buffer  time.Duration // in the sound card; 40 ms when zero
	Period  time.Duration // of the sound card; 10 ms when zero
	Log     *slog.Logger  // slog.Default() when nil
	// Sound gives the samples of a cue; tone.Of when nil. It must return at once.
	Sound func(audio.Cue) []int16
	// Opened is called whenever the sound card has been opened, for example to
	// set its level; it must return at once. Nil is not called.
	Opened func()
}

const (
	// block is what is mixed and written at a time, 10 ms.
	block = audio.Rate / 100
	// ahead is the most that the stream may be ahead of the clock. A sound card
	// keeps it at about 90 ms by itself; a device that swallows sound at once,
	// as ALSA's null does, is held by this.
	ahead = 250 * time.Millisecond
	// tolerance is how far the sound card's clock and the board's may part: well
	// over what a block and a period make the measured distance vary.
	tolerance = 20 * time.Millisecond
	// window is the number of blocks over which the two are compared.
	window = 100
	// stall is how long aplay may take nothing before it is asked once more; a
	// second time ends it. Once is not enough: after the whole machine was held
	// up the clock has gone on and aplay has had no chance.
	stall = time.Second
	// drain is how long aplay may take to end when the player is closed.
	drain = 500 * time.Millisecond

	// A cue that could not be sounded for so long is not sounded any more: it
	// would say something that is no longer so.
	stale       = time.Second
	staleUrgent = 15 * time.Second
	// Words are long: late ones would run into what comes next.
	staleSpoken = 300 * time.Millisecond

	// mostWaiting cues may wait, and some more urgent ones.
	mostWaiting = 256
	moreUrgent  = 32

	// The wait before aplay is started again doubles from first to last, and
	// begins anew once a stream has held for steady.
	firstWait = 250 * time.Millisecond
	lastWait  = 15 * time.Second
	steady    = 10 * time.Second
)

// Stats counts what a page about the health of the box shows.
type Stats struct {
	Dropped   uint64 // cues never sounded: too late, too many, or without a sound
	Restarts  uint64 // times that aplay was started again
	Lost      uint64 // times that sound was there and went
	Realigned uint64 // times that a silence was changed, or a dry stream tied anew
	// Lead is how long after Play a cue that is due at once is heard, at most
	// and as far as can be told from this side of the sound card.
	Lead time.Duration
}

// A Player feeds one aplay. It is safe for use by several goroutines.
type Player struct {
	clock  Clock
	open   func() (sink, error)
	sound  func(audio.Cue) []int16
	opened func()
	log    *slog.Logger
	// preroll is the number of blocks that fill everything between the mixer
	// and the loudspeaker.
	preroll int
	// fills is the number of blocks that fill the sound card's own buffer.
	fills int

	quit    chan struct{}
	closing sync.Once
	ended   chan struct{}

	mu     sync.Mutex // never held while anything is waited for
	mix    *mix.Mixer
	stats  Stats
	health string
	heard  bool // sound has come out since the start
}

var _ audio.Player = (*Player)(nil)

// New starts a player. It never fails: what is wrong is in Health, and is tried
// again until Close.
func New(o Options) *Player {
	if o.Command == "" {
		o.Command = "aplay"
	}
	if o.Buffer == 0 {
		o.Buffer = 40 * time.Millisecond
	}
	if o.Period == 0 {
		o.Period = 10 * time.Millisecond
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Sound == nil {
		o.Sound = tone.Of
	}
	return start(o, func() (sink, error) { return launch(o.Command, arguments(o), pipeSize, o.Log) })
}

func start(o Options, open func() (sink, error)) *Player {
	// The sound card's buffer, the period that aplay holds in its hands, and
	// what the pipe takes in whole blocks.
	pipe := audio.Instant(pipeSize / 2 / block * block)
	p := &Player{
		clock: o.Clock, open: open, sound: o.Sound, opened: o.Opened, log: o.Log,
		preroll: int((audio.Sample(o.Buffer+o.Period+pipe) + block - 1) / block),
		fills:   int((audio.Sample(o.Buffer) + block - 1) / block),
		quit:    make(chan struct{}),
		ended:   make(chan struct{}),
		mix:     mix.New(audio.Sample(o.Clock.Now()), o.Sound),
		health:  "the sound card is being opened",
	}
	go p.run()
	return p
}

// Play takes a cue and returns at once. When too many wait, or the cue has no
// sound, it is dropped and counted; but for words that nobody can say, which
// are left out and count as nothing.
func (p *Player) Play(c audio.Placed) {
	p.mu.Lock()
	defer p.mu.Unlock()
	most := mostWaiting
	if c.Cue.Urgent() {
		most += moreUrgent
	}
	if p.mix.Waiting() >= most {
		p.dropStale()
	}
	if p.closed() || p.mix.Waiting() >= most || !p.mix.Place(c) && !c.Cue.Spoken() {
		p.stats.Dropped++
	}
}

// Drop forgets the cues from an instant on that have not begun. Those are not
// counted as dropped: they were taken back.
func (p *Player) Drop(from time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.mix.Drop(func(c audio.Placed) bool { return c.At >= from })
}

// Health is empty while sound comes out, else it says why not: audio.Lost when
// it came out before, audio.NoSound when it never did since the start.
func (p *Player) Health() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.health
}

// Stats gives the counts so far.
func (p *Player) Stats() Stats {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.stats
}

// Close ends aplay and waits for it, at most about a second. It may be called
// more than once.
func (p *Player) Close() error {
	p.closing.Do(func() { close(p.quit) })
	<-p.ended
	return nil
}

func (p *Player) closed() bool {
	select {
	case <-p.quit:
		return true
	default:
		return false
	}
}

// dropStale drops the waiting cues that are too old to be sounded. The caller
// holds mu.
func (p *Player) dropStale() {
	now := p.clock.Now()
	p.stats.Dropped += uint64(p.mix.Drop(func(c audio.Placed) bool {
		switch {
		case c.Cue.Urgent():
			return now-c.At > staleUrgent
		case c.Cue.Spoken():
			return now-c.At > staleSpoken
		}
		return now-c.At > stale
	}))
}

var (
	errClosed = errors.New("closed")
	errStuck  = errors.New("took no sound")
	errEnded  = errors.New("ended")
	errDry    = errors.New("the stream ran dry")
)

// run starts aplay and feeds it, again and again until Close.
func (p *Player) run() {
	defer close(p.ended)
	for _, c := range audio.Cues() {
		p.sound(c) // made now, so that no cue is kept waiting for it
	}
	wait, said := firstWait, ""
	for {
		began := p.clock.Now()
		why := p.stream()
		if p.closed() {
			p.setHealth("sound is closed")
			return
		}
		if p.clock.Now()-began >= steady {
			wait, said = firstWait, ""
		}
		if why := why.Error(); why != said {
			p.log.Warn("no sound", "reason", why) // once: a missing card would fill the log
			said = why
		}
		p.down(why)
		if p.pause(p.clock.Now()+wait, nil) != nil {
			p.setHealth("sound is closed")
			return
		}
		wait = min(2*wait, lastWait)
	}
}

// down notes that no sound comes out. A warning that was cut short is sounded
// again when it does.
func (p *Player) down(why error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	key := audio.NoSound
	if p.heard {
		key = audio.Lost
		if p.health == "" {
			p.stats.Lost++
		}
	}
	p.health = fmt.Sprintf("%s: %v; it is tried again", key, why)
	p.stats.Dropped += uint64(p.mix.Break(func(c audio.Placed) bool { return c.Cue.Urgent() }))
	p.stats.Restarts++
}

func (p *Player) setHealth(health string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.health = health
}

// stream starts aplay, feeds it until something ends that, and says what.
func (p *Player) stream() error {
	out, err := p.open()
	if err != nil {
		return err
	}
	f := newFeeder(out)
	err = p.feed(f)
	f.end()
	if err != errClosed {
		out.Kill()
	}
	out.Shut()
	// A program that hangs in the kernel cannot even be killed; then the next
	// one has to do without the wait for it.
	ended := p.await(out.Ended(), drain)
	if !ended {
		out.Kill()
		ended = p.await(out.Ended(), drain)
	}
	switch {
	case !ended:
		return fmt.Errorf("%s %w and cannot be stopped", out.Name(), err)
	case err == errEnded:
		return fmt.Errorf("%s %w: %s", out.Name(), err, out.Why())
	default:
		return fmt.Errorf("%s %w", out.Name(), err)
	}
}

// await waits for done, and reports whether it came within the time.
func (p *Player) await(done <-chan struct{}, within time.Duration) bool {
	wake, stop := p.clock.Wake(p.clock.Now() + within)
	defer stop()
	select {
	case <-done:
		return true
	case <-wake:
		return false
	}
}

// pause waits until an instant; it is cut short, with an error, by Close and by
// the end of aplay.
func (p *Player) pause(until time.Duration, ended <-chan struct{}) error {
	wake, stop := p.clock.Wake(until)
	defer stop()
	select {
	case <-wake:
		return nil
	case <-p.quit:
		return errClosed
	case <-ended:
		return errEnded
	}
}
