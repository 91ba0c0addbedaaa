// SPDX-License-Identifier: Apache-2.0

package scenarios

import (
	"cmp"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"tallyhood/console/procedure"
)

var runs = flag.Int("runs", 3000, "made-up runs with faults; a sixth as many without")

// A story is a made-up run.
type story struct {
	r      *rand.Rand
	single bool
	deeds  []deed
	t0     time.Duration
	bin    int
	end    time.Duration
}

func (s *story) between(a, b time.Duration) time.Duration {
	return a + time.Duration(s.r.Int64N(int64((b-a)/time.Microsecond)))*time.Microsecond
}

func (s *story) do(at time.Duration, what string) {
	d := deed{at: at, until: at, what: what}
	switch what {
	case "squeeze", "step":
		d.until += s.between(100*ms, 180*ms)
	case "report":
		d.until += s.between(100*ms, 400*ms)
	case "half_squeeze":
		d.until += s.between(25*ms, 36*ms)
	case "half_report":
		d.until += s.between(7*ms, 18*ms)
	case "cable_open", "cable_short":
		d.until += s.between(150*ms, 5*time.Second)
	}
	s.deeds = append(s.deeds, d)
}

// newStory makes a run in which nothing is wrong.
func newStory(seed uint64) *story {
	s := &story{r: rand.New(rand.NewPCG(seed, 7))}
	s.single = s.r.IntN(3) == 0
	t := s.between(500*ms, 3*time.Second)
	s.do(t, "step")
	n := 1 + s.r.IntN(30)
	s.bin = (n + 9) / 10 * 10
	for range n {
		t += s.between(400*ms, 1500*ms)
		s.do(t, "squeeze")
	}
	t += s.between(50*ms, 3*time.Second)
	s.do(t, "report")
	t = s.wait(t, s.between(10*time.Second, 100*time.Second))
	s.do(t, "step")
	t = s.wait(t, s.between(30*time.Second, 400*time.Second))
	s.do(t, "step")
	t += time.Second
	for range s.bin {
		t += s.between(400*ms, 1500*ms)
		s.do(t, "squeeze")
	}
	s.t0 = t
	for k := time.Duration(1); k <= 13; k++ {
		// At most 15 squeezes in the 30 s of a window.
		every := s.between(400*ms, 1200*ms)
		room := 29*time.Second - time.Duration(s.bin/2)*every
		t := s.t0 + k*30*time.Second - 5*time.Second + s.between(200*ms, room)
		for i := range s.bin / 2 {
			s.do(t+time.Duration(i)*every, "squeeze")
		}
	}
	if s.single {
		s.do(s.t0+s.between(420100*ms, 439800*ms), "report")
	}
	s.end = s.t0 + 450*time.Second
	return s
}

// wait lets time go by where nobody is under the hood. In some stories the run
// is parked meanwhile, and the contacts are another person's.
func (s *story) wait(from, long time.Duration) time.Duration {
	to := from + long
	if s.r.IntN(3) > 0 {
		return to
	}
	t := from + 2*time.Second
	s.do(t, "park")
	for t += time.Second; t < to-4*time.Second; t += s.between(700*ms, 20*time.Second) {
		s.do(t, []string{"squeeze", "squeeze", "report", "step"}[s.r.IntN(4)])
	}
	s.do(to-2*time.Second, "take_up")
	return to
}

// free tells whether nothing else of the same contact is near.
func (s *story) free(what string, from, to time.Duration) bool {
	contact := func(w string) string {
		switch {
		case strings.HasSuffix(w, "squeeze"):
			return "pedal"
		case strings.HasSuffix(w, "report"), strings.HasPrefix(w, "cable"):
			return "button"
		}
		return w
	}
	for _, d := range s.deeds {
		if contact(d.what) == contact(what) && from < d.until+300*ms && d.at-300*ms < to {
			return false
		}
	}
	return true
}

// spoil puts in one fault; false when there was no room for it.
func (s *story) spoil() (string, bool) {
	drop := func(what string, last bool) bool {
		var at []int
		for i, d := range s.deeds {
			if d.what == what {
				at = append(at, i)
			}
		}
		if len(at) == 0 {
			return false
		}
		i := at[s.r.IntN(len(at))]
		if last {
			i = at[len(at)-1]
		}
		s.deeds = slices.Delete(s.deeds, i, i+1)
		return true
	}
	add := func(what string) bool {
		at := s.between(0, max(time.Second, s.end-6*time.Second))
		if s.r.IntN(2) == 0 { // near the two ends of the timed run, where it matters
			at = s.t0 + s.between(-5*time.Second, 5*time.Second) + time.Duration(s.r.IntN(2))*420*time.Second
		}
		if (what == "park" || what == "take_up") && s.r.IntN(3) > 0 { // in the midst of something
			at = max(0, s.deeds[s.r.IntN(len(s.deeds))].at+s.between(-40*ms, 80*ms))
		}
		if !s.free(what, at, at+5*time.Second) && !s.free(what, at, at+500*ms) {
			return false
		}
		if strings.HasPrefix(what, "cable") && (s.single || !s.free(what, at, at+6*time.Second)) {
			return false
		}
		s.do(at, what)
		return true
	}
	all := []string{
		"drop squeeze", "drop squeeze", "drop step", "drop report", "no proof", "half a squeeze", "drop a top-up", "late top-up", "cut",
		"squeeze", "report", "report", "half_report", "half_squeeze", "step", "cable_open", "cable_short",
		"hood_off", "touched", "mist_failed", "welfare", "abandon", "said_aloud", "park", "park", "take_up",
	}
	what := all[s.r.IntN(len(all))]
	switch what {
	case "drop squeeze":
		return what, drop("squeeze", false)
	case "drop step":
		return what, drop("step", false)
	case "drop report":
		return what, drop("report", false)
	case "no proof":
		return what, s.single && drop("report", true)
	case "half a squeeze":
		i := s.r.IntN(len(s.deeds))
		if s.deeds[i].what != "squeeze" {
			return what, false
		}
		s.deeds[i].what = "half_squeeze"
		s.deeds[i].until = s.deeds[i].at + 30*ms
	case "drop a top-up", "late top-up":
		k := time.Duration(1 + s.r.IntN(13))
		lo, hi := s.t0+(30*k-5)*time.Second, s.t0+(30*k+25)*time.Second
		by := s.between(time.Second, 20*time.Second)
		for i := len(s.deeds) - 1; i >= 0; i-- {
			d := s.deeds[i]
			if d.what != "squeeze" || d.at < lo || d.at >= hi {
				continue
			}
			s.deeds = slices.Delete(s.deeds, i, i+1)
			if what == "late top-up" && s.free("squeeze", d.at+by, d.at+by+200*ms) {
				s.do(d.at+by, "squeeze")
			}
		}
	case "cut":
		s.end = s.between(time.Second, s.end)
	default:
		return what, add(what)
	}
	return what, true
}

// tape is the story as contacts make it.
func (s *story) tape(chatter bool) *Tape {
	t := &Tape{Single: s.single, Cut: s.end, Chatter: map[string]time.Duration{}, rand: s.r}
	if chatter {
		for _, l := range t.Lines() {
			t.Chatter[l] = 25 * ms
		}
	}
	for _, d := range s.deeds {
		long := d.until - d.at
		switch d.what {
		case "squeeze", "half_squeeze":
			t.Press(d.at, "squeeze", long)
		case "step":
			t.Press(d.at, "step", long)
		case "report", "half_report":
			t.Report(d.at, long)
		case "cable_open", "cable_short":
			_ = t.Cable(d.at, map[string]string{"cable_open": "out", "cable_short": "short"}[d.what])
			_ = t.Cable(d.until, "in")
		default:
			t.Say(d.at, d.what)
		}
	}
	return t
}

func (s *story) settle() {
	s.deeds = slices.DeleteFunc(s.deeds, func(d deed) bool { return d.at > s.end || d.at < 0 })
	slices.SortStableFunc(s.deeds, func(a, b deed) int { return cmp.Compare(a.at, b.at) })
}

// outcome is what the engine makes of a story.
func (s *story) outcome(t *testing.T, set procedure.RuleSet, chatter bool) string {
	t.Helper()
	vcd, err := s.tape(chatter).VCD(Scales["1 us"])
	if err != nil {
		t.Fatal(err)
	}
	_, rec, err := replay(vcd, procedure.RunOpened{Run: "replay", Rules: set, Agent: "sweet"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(rec.Outcome) + " " + string(rec.Reason))
}

func sets(t *testing.T) []procedure.RuleSet {
	all := rules(t)
	return []procedure.RuleSet{all["us-osha"], all["uk-hse"]}
}

// A run in which all is done right passes, with contacts that chatter as far as
// the contract allows and lone spikes on top.
func TestMadeUpRunsPass(t *testing.T) {
	both := sets(t)
	for seed := range uint64(max(1, *runs/6)) {
		s := newStory(seed)
		s.settle()
		if want, unclear := judge(s.deeds, s.single, s.end); want != "pass" || unclear {
			t.Fatalf("seed %d: the second judge says %q, unclear %v: the story is wrong", seed, want, unclear)
		}
		if got := s.outcome(t, both[seed%2], seed%4 < 2); got != "pass" {
			t.Errorf("seed %d, chatter %v: %s", seed, seed%4 < 2, got)
		}
	}
}

// A run with one to three faults comes to what the second judge says; never to
// a pass that the second judge does not give.
func TestMadeUpRunsWithFaults(t *testing.T) {
	both := sets(t)
	seen, unclears, falsePasses := map[string]int{}, 0, 0
	for seed := range uint64(*runs) {
		s := newStory(seed + 1<<32)
		var faults []string
		for range 1 + s.r.IntN(3) {
			if f, ok := s.spoil(); ok {
				faults = append(faults, f)
			}
		}
		s.settle()
		want, unclear := judge(s.deeds, s.single, s.end)
		if unclear {
			unclears++
			continue
		}
		seen[want]++
		got := s.outcome(t, both[seed%2], false)
		if got == want {
			continue
		}
		if got == "pass" {
			falsePasses++
		}
		t.Errorf("seed %d, faults %v: the engine says %q, the second judge %q%s", seed, faults, got, want, s.about())
	}
	t.Logf("%d runs, %d unclear, %d false passes, verdicts %v", *runs, unclears, falsePasses, seen)
	if falsePasses > 0 {
		t.Errorf("%d false passes", falsePasses)
	}
	if 10*unclears > *runs {
		t.Errorf("%d of %d runs were unclear: too many go untested", unclears, *runs)
	}
	for _, v := range []string{
		"pass", "fail tasted", "fail tasted_before_clock", "not_valid top_up_short", "not_valid interrupted", "not_valid cable_open",
		"not_valid cable_short", "not_valid hood_off", "not_valid facepiece_touched", "not_valid mist_check_failed",
		"not_valid stopped_for_welfare", "not_valid doubtful_report", "not_valid button_unproven", "cannot_taste no_taste_by_30",
	} {
		if seen[v] == 0 && *runs >= 3000 {
			t.Errorf("no run came to %q: the faults are too tame", v)
		}
	}
}

// about tells where the deeds other than squeezes lie.
func (s *story) about() string {
	var b strings.Builder
	fmt.Fprintf(&b, "; t0 %v, bin %d, single %v, end %v:", s.t0, s.bin, s.single, s.end)
	for _, d := range s.deeds {
		if d.what != "squeeze" {
			fmt.Fprintf(&b, " %s %v", d.what, d.at)
		}
	}
	return b.String()
}
