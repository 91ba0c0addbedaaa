// SPDX-License-Identifier: Apache-2.0

package level

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A reading is what amixer says of one control.
type reading struct {
	volume   bool  // it has a level for what is played
	onOff    bool  // it can be muted
	playback bool  // its level is for what is played alone
	levels   []int // per cent of each channel
	muted    bool  // a channel at least is off
	steps    int   // of its range; 0 when not told
}

var (
	limits  = regexp.MustCompile(`^Limits:\s*(?:Playback\s+)?(-?[0-9]+)\s*-\s*(-?[0-9]+)`)
	channel = regexp.MustCompile(`^[A-Z][A-Za-z0-9 ]*:\s*(.*)$`)
	percent = regexp.MustCompile(`\[([0-9]+)%\]`)
	quoted  = regexp.MustCompile(`^Simple mixer control '(.*)',([0-9]+)`)
)

// parse reads what "sget" says. The lines of channels come in several shapes:
//
//	Mono: Playback 64 [100%] [0.00dB] [on]
//	Mono:
//	Front Left: Playback 20 [69%] [-3.00dB] [on] Capture 3 [75%] [on]
//	Front Left: 38 [79%] [7.00dB] Playback [off]
//	Mono: Playback [on]
//
// What is said of recording does not count.
func parse(said string) reading {
	var r reading
	for line := range strings.Lines(said) {
		line = strings.TrimSpace(line)
		name, rest, found := strings.Cut(line, ":")
		switch {
		case !found || strings.HasPrefix(line, "Simple mixer control"):
		case name == "Capabilities":
			for _, can := range strings.Fields(rest) {
				switch can {
				case "volume", "pvolume":
					r.volume = true
					r.playback = can == "pvolume"
				case "switch", "pswitch":
					r.onOff = true
				}
			}
		case name == "Limits":
			if m := limits.FindStringSubmatch(line); m != nil {
				least, _ := strconv.Atoi(m[1])
				most, _ := strconv.Atoi(m[2])
				r.steps = most - least
			}
		case name == "Playback channels", name == "Capture channels", name == "Capture exclusive group":
		default:
			r.channel(line)
		}
	}
	return r
}

// channel reads the line of one channel.
func (r *reading) channel(line string) {
	m := channel.FindStringSubmatch(line)
	if m == nil {
		return
	}
	played, _, _ := strings.Cut(m[1], "Capture")
	if p := percent.FindStringSubmatch(played); p != nil {
		if n, err := strconv.Atoi(p[1]); err == nil {
			r.levels = append(r.levels, n)
		}
	}
	r.muted = r.muted || strings.Contains(played, "[off]")
}

// percents gives the lowest and the highest level of the channels.
func (r reading) percents() (least, most int) {
	if len(r.levels) == 0 {
		return 0, 0
	}
	return slices.Min(r.levels), slices.Max(r.levels)
}

// step is by how much a level may be off and still be the one that was set: a
// step of its range, and 5 points in any case, since steps are uneven to the
// ear.
func (r reading) step() int {
	if r.steps <= 0 {
		return 5
	}
	return max(5, (100+r.steps-1)/r.steps)
}

// controls lists the names in what "scontrols" says.
func controls(said string) []string {
	var names []string
	for line := range strings.Lines(said) {
		if m := quoted.FindStringSubmatch(line); m != nil && !slices.Contains(names, m[1]) {
			names = append(names, m[1])
		}
	}
	return names
}
