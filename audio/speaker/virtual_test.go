// SPDX-License-Identifier: Apache-2.0

package speaker

import (
	"errors"
	"fmt"
	"log/slog"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"tallyhood/audio"
)

// knock is a sound of 5 ms, of 300 ms for a warning, whose first sample is not
// zero.
func knock(c audio.Cue) []int16 {
	sound := make([]int16, block/2)
	if c.Urgent() {
		sound = make([]int16, 30*block)
	}
	for i := range sound {
		sound[i] = 1000
	}
	return sound
}

// A stage is a player on a virtual clock with cards to play on. It runs inside
// a synctest bubble: the clock goes on when all goroutines wait for it.
type stage struct {
	*Player
	clock *handClock
	cards []*card
	fail  error // of the next attempts to open
	told  int   // times that the card was said to be open; touched by the player alone
}

const boot = 77*time.Hour + 123456789*time.Nanosecond

func newStage(make func(*handClock) *card) *stage {
	s := &stage{clock: newHandClock(boot)}
	s.Player = start(Options{
		Clock: s.clock, Buffer: 40 * time.Millisecond, Period: 10 * time.Millisecond,
		Sound: knock, Opened: func() { s.told++ }, Log: slog.New(slog.DiscardHandler),
	}, func() (sink, error) {
		if s.fail != nil {
			return nil, s.fail
		}
		c := make(s.clock)
		s.cards = append(s.cards, c)
		return c, nil
	})
	return s
}

// run lets the clock go on to an instant, from waiter to waiter.
func (s *stage) run(until time.Duration) {
	for {
		synctest.Wait()
		at := s.clock.next()
		if at > until {
			s.clock.set(until)
			synctest.Wait()
			return
		}
		s.clock.set(at)
	}
}

func (s *stage) close(t *testing.T) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		s.Close()
		close(done)
	}()
	for {
		synctest.Wait()
		select {
		case <-done:
			return
		default:
			s.clock.set(s.clock.next())
		}
	}
}

// Cues sound when they should by a card whose own clock is off by more than any
// crystal is, for half an hour, and with a card that takes its time to open.
func TestCueSoundsOnTime(t *testing.T) {
	for _, c := range []struct {
		ppm     float64
		opens   time.Duration
		holds   int
		minutes int
		page    bool
	}{
		{ppm: 0, minutes: 4},
		{ppm: 0, minutes: 4, opens: 700 * time.Millisecond},
		{ppm: 0, minutes: 4, holds: 15 * block},
		{ppm: 0, minutes: 4, page: true},
		{ppm: 0, minutes: 4, opens: 700 * time.Millisecond, page: true},
		{ppm: 200, minutes: 10, page: true},
		{ppm: 100, minutes: 12}, {ppm: -100, minutes: 30},
		{ppm: 300, minutes: 6}, {ppm: -300, minutes: 6},
	} {
		t.Run(fmt.Sprintf("%v ppm, opens after %v, holds %d, page %v", c.ppm, c.opens, c.holds, c.page), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newStage(func(clock *handClock) *card {
					card := newCard(clock, c.ppm)
					card.opens += c.opens
					card.page = c.page
					if c.holds > 0 {
						card.holds = c.holds
					}
					return card
				})
				length := time.Duration(c.minutes) * time.Minute
				var want []float64
				for at := boot + 3*time.Second; at < boot+length; at += 7*time.Second + 12345*time.Microsecond {
					s.Play(audio.Placed{Cue: audio.FiveSeconds, At: at})
					want = append(want, at.Seconds())
					s.run(at + time.Second)
				}
				got := s.cards[0].onsets()
				if len(s.cards) != 1 || len(got) != len(want) {
					t.Fatalf("%d cards, %d cues heard, want 1 and %d", len(s.cards), len(got), len(want))
				}
				least, most := math.Inf(1), math.Inf(-1)
				for i := range got {
					least, most = min(least, got[i]-want[i]), max(most, got[i]-want[i])
				}
				t.Logf("heard %.2f to %.2f ms late, realigned %d times", 1000*least, 1000*most, s.Stats().Realigned)
				// The card's place may be a period more or less than thought.
				limit := 0.012
				if c.ppm != 0 {
					limit += tolerance.Seconds()
				}
				if least < -limit || most > limit {
					t.Errorf("heard %.2f to %.2f ms late", 1000*least, 1000*most)
				}
				if c.ppm != 0 && s.Stats().Realigned == 0 {
					t.Error("the clocks parted and nothing was done about it")
				}
				if c.ppm == 0 && (most-least > 2.0/audio.Rate || s.Stats().Realigned != 0) {
					t.Errorf("lateness varies by %.3f ms, realigned %d times, with a perfect card", 1000*(most-least), s.Stats().Realigned)
				}
				if h := s.Health(); h != "" {
					t.Errorf("health %q", h)
				}
				s.close(t)
			})
		})
	}
}

// While anything sounds the stream is left as it is; the silence after it makes
// up for all the drift.
func TestNothingIsRealignedInSound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card { return newCard(clock, -300) })
		now := boot + 5*time.Second
		s.run(now)
		for range 600 { // two minutes of sound, 36 ms of drift
			s.Play(audio.Placed{Cue: audio.Fault, At: now})
			now += 200 * time.Millisecond
			s.run(now)
		}
		if n := s.Stats().Realigned; n != 0 {
			t.Errorf("realigned %d times under a sound", n)
		}
		s.run(now + 3*time.Second)
		now += 5 * time.Second
		s.Play(audio.Placed{Cue: audio.ExerciseChange, At: now})
		s.run(now + time.Second)
		heard := s.cards[0].onsets()
		if late := heard[len(heard)-1] - now.Seconds(); math.Abs(late) > 0.012 || s.Stats().Realigned != 1 {
			t.Errorf("in the silence realigned %d times, then a cue %.1f ms late", s.Stats().Realigned, 1000*late)
		}
		s.close(t)
	})
}

// A cue due at once is heard after what lies in the pipe and the card, no more.
func TestCueDueAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card { return newCard(clock, 0) })
		s.run(boot + 10*time.Second)
		for i := range 20 {
			at := boot + 10*time.Second + time.Duration(i)*203*time.Millisecond
			s.run(at)
			s.Play(audio.Placed{Cue: audio.SqueezeCounted, At: at})
		}
		s.run(boot + 15*time.Second)
		got := s.cards[0].onsets()
		if len(got) != 20 {
			t.Fatalf("%d cues heard, want 20", len(got))
		}
		lead := s.Stats().Lead
		for i, heard := range got {
			late := heard - (boot + 10*time.Second + time.Duration(i)*203*time.Millisecond).Seconds()
			if late < 0.05 || late > lead.Seconds()+0.011 {
				t.Errorf("cue %d is heard %.1f ms late; the lead is %v", i, 1000*late, lead)
			}
		}
		s.close(t)
	})
}

// The program is held up, then the whole machine; afterwards cues are on time
// again, and one that became meaningless meanwhile is not sounded.
func TestHeldUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card { return newCard(clock, 0) })
		now := boot + 5*time.Second
		s.run(now)

		// For 0.8 s nothing is taken, as when aplay is not scheduled.
		s.cards[0].setStuck(true)
		now += 800 * time.Millisecond
		s.run(now)
		s.cards[0].setStuck(false)
		s.run(now + time.Second)
		now += 3 * time.Second
		s.Play(audio.Placed{Cue: audio.ExerciseChange, At: now})
		s.run(now + time.Second)

		// The machine sleeps for a minute: the clock jumps for everyone.
		now += 2 * time.Second
		s.Play(audio.Placed{Cue: audio.FiveSeconds, At: now + 10*time.Second})
		s.Play(audio.Placed{Cue: audio.Stop, At: now + 55*time.Second})
		s.run(now)
		now += time.Minute
		s.clock.set(now)
		s.run(now + 2*time.Second)
		now += 5 * time.Second
		s.Play(audio.Placed{Cue: audio.ExerciseChange, At: now})
		s.run(now + time.Second)

		got := s.cards[0].onsets()
		if len(s.cards) != 1 {
			t.Fatalf("aplay was started again: %q", s.Health())
		}
		want := []float64{(boot + 8800*time.Millisecond).Seconds(), (now - 5*time.Second).Seconds(), now.Seconds()}
		if len(got) != len(want) {
			t.Fatalf("cues heard at %v, want %v", got, want)
		}
		for i := range want {
			late, limit := got[i]-want[i], 0.012
			if i == 1 {
				limit = 0.3 // the stop that was due in the meantime: as soon as can be
			}
			if late < -0.012 || late > limit {
				t.Errorf("cue %d is heard %.1f ms late", i, 1000*late)
			}
		}
		st := s.Stats()
		if st.Dropped != 1 || st.Realigned < 2 {
			t.Errorf("%+v, want one dropped and both stops noticed", st)
		}
		s.close(t)
	})
}

// A card that takes nothing any more is given up within 3 s and opened anew.
func TestStuck(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card { return newCard(clock, 0) })
		s.run(boot + 5*time.Second)
		s.cards[0].setStuck(true)
		s.run(boot + 7100*time.Millisecond)
		if h := s.Health(); !strings.Contains(h, "card took no sound") {
			t.Errorf("health %q", h)
		}
		s.run(boot + 8*time.Second)
		if h := s.Health(); h != "" || len(s.cards) != 2 {
			t.Errorf("a second later %d cards, health %q", len(s.cards), h)
		}
		s.close(t)
	})
}

// A card pulled out: said in words, opened again after waits that grow to 15 s,
// and a warning that was sounding is heard from its beginning.
func TestUnplugged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		hold := make(chan struct{})
		s := newStage(func(clock *handClock) *card {
			<-hold
			return newCard(clock, 0)
		})
		if h := s.Health(); !strings.Contains(h, "being opened") {
			t.Errorf("health at the start %q", h)
		}
		close(hold)
		now := boot + 20*time.Second
		s.run(now)
		s.Play(audio.Placed{Cue: audio.SqueezeCounted, At: now})
		s.Play(audio.Placed{Cue: audio.Stop, At: now + 500*time.Millisecond})
		s.fail = errors.New("no such card")
		s.cards[0].end()
		s.run(now + 100*time.Millisecond)
		if h := s.Health(); !strings.Contains(h, "card ended: unplugged") {
			t.Errorf("health %q", h)
		}
		s.run(now + 5*time.Second)
		if h := s.Health(); !strings.Contains(h, "no such card") {
			t.Errorf("health %q", h)
		}
		// 0.25 + 0.5 + 1 + 2 + 4 + 8 s, then 15 s each.
		before := s.Stats().Restarts
		s.run(now + 10*time.Minute)
		if n := s.Stats().Restarts - before; n < 38 || n > 42 {
			t.Errorf("%d attempts in ten minutes", n)
		}
		if d := s.Stats().Dropped; d != 0 {
			t.Errorf("%d dropped before anybody looked", d)
		}
		now += 10 * time.Minute
		s.Play(audio.Placed{Cue: audio.Fault, At: now}) // fresh enough when the card is back
		s.fail = nil
		s.run(now + 20*time.Second)
		if h := s.Health(); h != "" || len(s.cards) != 2 {
			t.Fatalf("%d cards, health %q", len(s.cards), h)
		}
		// The tick and the stop of ten minutes ago are not sounded any more.
		if n, d := len(s.cards[1].onsets()), s.Stats().Dropped; n != 1 || d != 2 {
			t.Errorf("%d cues heard and %d dropped, want 1 and 2", n, d)
		}

		// Unplugged in the middle of a warning.
		now += 30 * time.Second
		s.run(now)
		s.Play(audio.Placed{Cue: audio.Stop, At: now})
		s.run(now + 50*time.Millisecond)
		if !s.mixing() {
			t.Fatal("the warning is not sounding")
		}
		s.cards[1].end()
		s.run(now + 3*time.Second)
		if n := len(s.cards[2].onsets()); n != 1 {
			t.Errorf("the broken warning is heard %d times from the new card", n)
		}
		s.close(t)
		if h := s.Health(); h != "sound is closed" {
			t.Errorf("health after Close %q", h)
		}
	})
}

// mixing says whether a cue is part-way through the mixer.
func (s *stage) mixing() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.mix.Quiet() == 0 && s.mix.Waiting() == 0
}

// Drop takes back what has not begun.
func TestDrop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card { return newCard(clock, 0) })
		now := boot + 5*time.Second
		s.run(now)
		for i := range 5 {
			s.Play(audio.Placed{Cue: audio.ExerciseChange, At: now + time.Duration(i+1)*time.Second})
		}
		s.run(now + 2500*time.Millisecond)
		s.Drop(now + 4*time.Second)
		s.run(now + 10*time.Second)
		got := s.cards[0].onsets()
		if len(got) != 3 || math.Abs(got[2]-(now+3*time.Second).Seconds()) > 0.012 {
			t.Errorf("heard at %v", got)
		}
		if s.Stats().Dropped != 0 {
			t.Error("what was taken back counts as dropped")
		}
		s.close(t)
	})
}

// Play returns whatever the card does; what finds no place is counted, and a
// warning still finds one.
func TestPlayNeverWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card {
			c := newCard(clock, 0)
			c.stuck = true
			return c
		})
		synctest.Wait()
		for range 10_000 {
			s.Play(audio.Placed{Cue: audio.SqueezeCounted, At: boot})
		}
		if d := s.Stats().Dropped; d != 10_000-mostWaiting {
			t.Errorf("%d dropped, want %d", d, 10_000-mostWaiting)
		}
		s.Play(audio.Placed{Cue: audio.Stop, At: boot})
		if d := s.Stats().Dropped; d != 10_000-mostWaiting {
			t.Errorf("a warning is dropped among ticks: %d", d)
		}
		// Old ones make room for new ones.
		s.run(boot + 1500*time.Millisecond)
		s.Play(audio.Placed{Cue: audio.SqueezeCounted, At: boot + 1500*time.Millisecond})
		s.mu.Lock()
		waiting := s.mix.Waiting()
		s.mu.Unlock()
		if waiting != 2 {
			t.Errorf("%d wait, want the warning and the new tick", waiting)
		}
		s.close(t)
		before := s.Stats().Dropped
		s.Play(audio.Placed{Cue: audio.Stop, At: boot})
		if d := s.Stats().Dropped; d != before+1 {
			t.Errorf("%d dropped after Close, want %d", d, before+1)
		}
	})
}

// Sound that was there and went is "sound lost" (sound that never was is "no
// sound": see TestProgramIsMissing), however it failed since, and each loss counts once. Whoever sets the
// level is told each time that the card is open.
func TestLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card { return newCard(clock, 0) })
		now := boot + 5*time.Second
		s.run(now)
		if s.told != 1 || s.Stats().Lost != 0 || s.Health() != "" {
			t.Errorf("at first told %d times, %+v, %q", s.told, s.Stats(), s.Health())
		}
		for n := range uint64(3) {
			s.fail = errors.New("no such card")
			s.cards[len(s.cards)-1].end()
			for range 3 {
				now += 5 * time.Second
				s.run(now)
				if h := s.Health(); !strings.HasPrefix(h, audio.Lost+": ") || s.Stats().Lost != n+1 {
					t.Errorf("health %q, %+v", h, s.Stats())
				}
			}
			s.fail = nil
			now += 20 * time.Second
			s.run(now)
			if s.told != int(n)+2 || s.Health() != "" {
				t.Errorf("after loss %d told %d times, health %q", n+1, s.told, s.Health())
			}
		}
		s.close(t)
	})
}

// Words that nobody can say are left out and count as nothing; words that come
// too late are not said into what follows.
func TestSpokenCues(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStage(func(clock *handClock) *card { return newCard(clock, 0) })
		now := boot + 5*time.Second
		s.run(now)
		s.Play(audio.Placed{Cue: audio.SayStop, At: now + time.Second})
		s.run(now + 2*time.Second)
		if n := len(s.cards[0].onsets()); n != 1 {
			t.Errorf("said %d times", n)
		}
		now += 10 * time.Second
		s.run(now)
		s.cards[0].end()
		s.run(now + 50*time.Millisecond)
		s.Play(audio.Placed{Cue: audio.SayDeepBreathing, At: now + 50*time.Millisecond})
		s.fail = errors.New("busy")
		s.run(now + 300*time.Millisecond) // tried once in vain, again 0.5 s later
		s.fail = nil
		s.run(now + 3*time.Second)
		if len(s.cards) != 2 || len(s.cards[1].onsets()) != 0 || s.Stats().Dropped != 1 {
			t.Errorf("%d cards, %+v: words that are a second late are said", len(s.cards), s.Stats())
		}
		s.close(t)
	})
	clock := newHandClock(boot)
	p := New(Options{Clock: clock, Command: "/nonexistent/aplay", Log: slog.New(slog.DiscardHandler)})
	p.Play(audio.Placed{Cue: audio.SayStop, At: boot})
	if d := p.Stats().Dropped; d != 0 {
		t.Errorf("%d dropped: words without a voice count", d)
	}
	p.Play(audio.Placed{Cue: "hoot", At: boot})
	if d := p.Stats().Dropped; d != 1 {
		t.Errorf("%d dropped: a tone that nobody knows does not count", d)
	}
	p.Close()
}
