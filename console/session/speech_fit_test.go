// SPDX-License-Identifier: Apache-2.0

package session

import (
	"fmt"
	"log/slog"
	"os/exec"
	"slices"
	"testing"
	"time"

	"tallyhood/audio"
	"tallyhood/audio/voice"
	"tallyhood/console/procedure"
	"tallyhood/device"
)

// A page's tape keeps what a run sounds, without the cues that were dropped.
type tape struct{ placed []audio.Placed }

func (p *tape) Play(c audio.Placed) { p.placed = append(p.placed, c) }
func (p *tape) Drop(from time.Duration) {
	p.placed = slices.DeleteFunc(p.placed, func(c audio.Placed) bool { return c.At >= from })
}
func (p *tape) Health() string { return "" }
func (p *tape) Close() error   { return nil }

// stillClock is where the engine is.
type stillClock struct {
	Clock
	e *Engine
}

func (c stillClock) Now() time.Duration { return c.e.Now() }
func (c stillClock) Speed() float64     { return 1 }

// sounded is a whole run of a bin as it sounds: the doses begin so long after
// they are due, with so long between two squeezes.
func sounded(t *testing.T, bin int, after, between time.Duration, phrase func(audio.Cue) time.Duration) (cues []audio.Placed, t0 time.Duration, r procedure.RuleSet) {
	t.Helper()
	b := newBench(t)
	out := &tape{}
	s := &Session{openRun: &openRun{engine: b.Engine}, cfg: Config{Player: out, Phrase: phrase, Clock: stillClock{e: b.Engine}, Log: slog.New(slog.DiscardHandler)}}
	to := func(at time.Duration) {
		for b.Now() < at {
			b.Advance(min(at, b.Now()+250*ms))
			_, orders := b.Take()
			for _, o := range orders {
				s.sound(o)
			}
			s.speak()
		}
	}
	press := func(at time.Duration, l device.Line) {
		to(at)
		b.set(at, l, true)
		to(at + 100*ms)
		b.set(at+100*ms, l, false)
	}
	press(time.Second, device.Step)
	at := 3 * time.Second
	for range bin - 5 {
		press(at, device.Squeeze)
		at += time.Second
	}
	to(at)
	b.report(at)
	for _, next := range []time.Duration{30, 301} { // rinsing, then wearing
		at += next * time.Second
		press(at, device.Step)
	}
	at += 2 * time.Second
	for range bin {
		press(at, device.Squeeze)
		at += time.Second
	}
	to(at + time.Second)
	st := b.State()
	if st.Clock == nil || st.Bin != bin {
		t.Fatalf("bin %d at %s, want %d", st.Bin, st.Stage, bin)
	}
	t0, r = *st.Clock, st.Opened.Rules
	for n := 1; n <= r.TopUps(); n++ {
		for i := range bin / 2 {
			press(t0+r.Due(n)+after+time.Duration(i)*between, device.Squeeze)
		}
	}
	to(t0 + r.Length() + 10*time.Second)
	if v := b.State().Verdict; v == nil || v.Outcome != procedure.Pass {
		t.Fatalf("bin %d: verdict %+v", bin, v)
	}
	return out.placed, t0, r
}

// fits looks over a run: no phrase runs into what the run clock brings, nor into
// another phrase. It says how many phrases of the run there are.
func fits(t *testing.T, what string, cues []audio.Placed, t0 time.Duration, r procedure.RuleSet, phrase func(audio.Cue) time.Duration) map[audio.Cue]int {
	t.Helper()
	var due []audio.Placed
	for n := 1; n <= r.TopUps(); n++ {
		_, shut := r.Window(n)
		due = append(due, audio.Placed{Cue: "the due moment", At: t0 + r.Due(n)}, audio.Placed{Cue: "the end of a window", At: t0 + shut})
	}
	said := map[audio.Cue]int{}
	byClock := []audio.Cue{audio.TopUpDue, audio.ExerciseChange, audio.FiveSeconds, audio.Tick}
	for i, w := range cues {
		if !w.Cue.Spoken() || w.At < t0 || w.At >= t0+r.Length() {
			continue
		}
		said[w.Cue]++
		end := w.At + phrase(w.Cue)
		for j, c := range append(slices.Clone(cues), due...) {
			planned := j >= len(cues) || slices.Contains(byClock, c.Cue)
			if i != j && c.At >= w.At && c.At < end && (planned || c.Cue.Spoken()) {
				t.Errorf("%s: %s at %v takes until %v and runs into %s at %v", what, w.Cue, w.At-t0, end-t0, c.Cue, c.At-t0)
			}
		}
	}
	return said
}

// In every pair of languages, for every bin, with doses given at once and late,
// spoken at the usual rate and slowly, no word runs into the next due moment. At
// the usual rate nothing is left out.
func TestSpeechNeverRunsIntoWhatIsDue(t *testing.T) {
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		t.Skip("missing part: espeak-ng")
	}
	folder := t.TempDir()
	speeds, languages := []int{voice.Usual, voice.Slow}, voice.Languages()
	if testing.Short() {
		// The whole test has every pair at both speeds; here its loops alone are
		// watched, and most of the time goes into the speaking.
		speeds, languages = speeds[:1], languages[:2]
	}
	lengths := map[int]map[string]map[audio.Cue]time.Duration{}
	for _, speed := range speeds {
		lengths[speed] = map[string]map[audio.Cue]time.Duration{}
		for _, l := range languages {
			v := voice.New(voice.Options{Languages: []string{l}, Folder: folder, Speed: speed, Log: slog.New(slog.DiscardHandler)})
			<-v.Ready()
			if h := v.Health(); h != "" {
				t.Fatal(h)
			}
			lengths[speed][l] = map[audio.Cue]time.Duration{}
			for _, c := range audio.SpokenCues() {
				lengths[speed][l][c] = audio.Instant(int64(len(v.Of(c))))
			}
			if err := v.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	longest := map[int]time.Duration{}
	for speed, of := range lengths {
		for _, tester := range languages {
			for _, wearer := range languages {
				phrase := func(c audio.Cue) time.Duration {
					if slices.Contains(voice.ForWearer(), c) {
						return of[wearer][c]
					}
					return of[tester][c]
				}
				for _, bin := range []int{10, 20, 30} {
					for _, late := range []bool{false, true} {
						after, between := time.Second, time.Second
						if late {
							after, between = 13*time.Second, 600*ms
						}
						what := fmt.Sprintf("%s and %s, bin %d, late %v, %d words a minute", tester, wearer, bin, late, speed)
						cues, t0, r := sounded(t, bin, after, between, phrase)
						said := fits(t, what, cues, t0, r, phrase)
						squeezes, _ := audio.SaySqueezes(bin / 2)
						names := 0
						for _, c := range audio.SpokenExercises() {
							names += said[c]
							longest[speed] = max(longest[speed], phrase(c))
						}
						if names != 7 || said[squeezes] != r.TopUps() || late && said[audio.SayTopUpLate] != r.TopUps() || !late && said[audio.SayTopUpLate] != 0 {
							t.Errorf("%s: said %v", what, said)
						}
					}
				}
			}
		}
		t.Logf("%d words a minute: the longest name takes %v", speed, longest[speed])
	}
}

// What would run into the next moment is left out, and nothing is cut: with ever
// longer phrases fewer are said, and none too long.
func TestLongSpeechIsLeftOut(t *testing.T) {
	for _, long := range []time.Duration{2 * time.Second, 20 * time.Second, 40 * time.Second} {
		phrase := func(audio.Cue) time.Duration { return long }
		cues, t0, r := sounded(t, 10, time.Second, time.Second, phrase)
		said := fits(t, long.String(), cues, t0, r, phrase)
		total := 0
		for _, n := range said {
			total += n
		}
		switch {
		case long == 2*time.Second && total != 20, long == 20*time.Second && (total == 0 || total >= 20), long == 40*time.Second && total != 0:
			t.Errorf("phrases of %v: %v", long, said)
		}
	}
}

// The last seconds are knocked: four before each change and three before each
// dose within an exercise, on their seconds, and none once the dose is given.
func TestTicks(t *testing.T) {
	phrase := func(audio.Cue) time.Duration { return time.Second }
	cues, t0, r := sounded(t, 10, time.Second, time.Second, phrase)
	var got, want []time.Duration
	for _, c := range cues {
		if c.Cue == audio.Tick {
			got = append(got, c.At-t0)
		}
	}
	for at := 30 * time.Second; at <= 420*time.Second; at += 30 * time.Second {
		for left := 4; left >= 1; left-- {
			if left < 4 || at%(60*time.Second) == 0 {
				want = append(want, at-time.Duration(left)*time.Second)
			}
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("ticks at %v, want %v", got, want)
	}
	// A dose that is given ahead of its time is not counted down to.
	cues, t0, _ = sounded(t, 10, -4900*ms, 300*ms, phrase)
	for _, c := range cues {
		if c.Cue == audio.Tick && c.At-t0 > 27*time.Second && c.At-t0 < 30*time.Second {
			t.Errorf("a tick at %v to a dose that was given", c.At-t0)
		}
	}
	if r.TopUps() != 13 {
		t.Errorf("%d top-ups", r.TopUps())
	}
}
