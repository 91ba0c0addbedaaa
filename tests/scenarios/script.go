// SPDX-License-Identifier: Apache-2.0

package scenarios

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Case is one reading of a script: what it does and what it has to come to.
//
// A script is lines of words; # begins a comment. Settings come first:
//
//	case NAME=VALUE ...          one reading, {NAME} stands for VALUE below; ~ in it for a blank
//	rules us-osha                rule set
//	agent sweet                  agent
//	button single                one contact instead of the pair
//	timescale 1 us               of the capture
//	chatter 25ms on LINE ...     after every change; all for all lines
//	invert LINE ...              written 0 when closed
//	bare                         no values before the first change
//	expect OUTCOME [REASON]      what the record must say, by hand
//	check PATH VALUE             a part of the record, by hand
//
// Then what happens, each with its instant: M:SS.s on the capture's clock, +S
// seconds after the beginning of the last press, or @S on the run clock.
//
//	T start N                    step, N squeezes, report, step, worn 300.5 s, step
//	T dose N                     N squeezes, one a second; the last is @0
//	T squeeze N [every D] [for D]
//	T step [for D]
//	T report [D]
//	T both D                     taste_no closes for D while taste_nc stays closed
//	T cable out|in|short
//	T spike LINE D               closed, or open when it was closed, for D
//	T level LINE V               0, 1, x or z
//	T say VERB                   a person at a page
//	T cut                        the capture ends here
//	T end                        the capture ends here, a minute after the last change otherwise
//	T wait                       nothing
//	top-ups A-B N [but K M ...]  N squeezes at 30k + 0.8 s, M at top-up K
type Case struct {
	Name   string
	Rules  string
	Agent  string
	Scale  Scale
	Tape   Tape
	Expect string
	Checks [][2]string
	cursor time.Duration
	clock  time.Duration
	length time.Duration // of a press where nothing else is said
}

// Parse reads a script into its cases.
func Parse(text string) ([]Case, error) {
	var settings []map[string]string
	for line := range strings.Lines(text) {
		f := strings.Fields(line)
		if len(f) < 2 || f[0] != "case" {
			continue
		}
		m := map[string]string{"": strings.Join(f[1:], " ")}
		for _, kv := range f[1:] {
			k, v, ok := strings.Cut(kv, "=")
			if !ok {
				return nil, fmt.Errorf("case: %q is not NAME=VALUE", kv)
			}
			m[k] = v
		}
		settings = append(settings, m)
	}
	if len(settings) == 0 {
		settings = []map[string]string{{"": ""}}
	}
	var out []Case
	for _, m := range settings {
		c := Case{Name: m[""], Rules: "us-osha", Agent: "sweet", Scale: Scales["1 us"], length: 100 * ms}
		c.Tape.Chatter = map[string]time.Duration{}
		c.Tape.Invert = map[string]bool{}
		n := 0
		for line := range strings.Lines(text) {
			n++
			line, _, _ = strings.Cut(line, "#")
			for k, v := range m {
				if k != "" {
					line = strings.ReplaceAll(line, "{"+k+"}", strings.ReplaceAll(v, "~", " "))
				}
			}
			f := strings.Fields(line)
			if len(f) == 0 || f[0] == "case" {
				continue
			}
			if err := c.line(f); err != nil {
				return nil, fmt.Errorf("line %d %q: %w", n, strings.TrimSpace(line), err)
			}
		}
		if c.Expect == "" {
			return nil, fmt.Errorf("case %q expects nothing", c.Name)
		}
		out = append(out, c)
	}
	return out, nil
}

func (c *Case) line(f []string) error {
	arg := strings.Join(f[1:], " ")
	switch f[0] {
	case "rules":
		c.Rules = arg
	case "agent":
		c.Agent = arg
	case "button":
		c.Tape.Single = arg == "single"
	case "bare":
		c.Tape.Bare = true
	case "length":
		d, err := time.ParseDuration(arg)
		c.length = d
		return err
	case "timescale":
		s, ok := Scales[arg]
		if !ok {
			return fmt.Errorf("no such scale")
		}
		c.Scale = s
	case "chatter":
		if len(f) < 4 || f[2] != "on" {
			return fmt.Errorf("chatter D on LINE")
		}
		d, err := time.ParseDuration(f[1])
		lines := f[3:]
		if lines[0] == "all" {
			lines = c.Tape.Lines()
		}
		for _, l := range lines {
			c.Tape.Chatter[l] = d
		}
		return err
	case "invert":
		for _, l := range f[1:] {
			c.Tape.Invert[l] = true
		}
	case "expect":
		c.Expect = arg
	case "check":
		if len(f) < 3 {
			return fmt.Errorf("check PATH VALUE")
		}
		c.Checks = append(c.Checks, [2]string{f[1], strings.Join(f[2:], " ")})
	case "top-ups":
		return c.topUps(f[1:])
	default:
		at, err := c.instant(f[0])
		if err != nil {
			return err
		}
		if len(f) < 2 {
			return fmt.Errorf("nothing happens")
		}
		return c.act(at, f[1], f[2:])
	}
	return nil
}

func (c *Case) instant(s string) (time.Duration, error) {
	secs := func(s string, base time.Duration) (time.Duration, error) {
		d, err := time.ParseDuration(s + "s")
		return base + d, err
	}
	switch {
	case s[0] == '+':
		return secs(s[1:], c.cursor)
	case s[0] == '@':
		return secs(s[1:], c.clock)
	}
	m, rest, ok := strings.Cut(s, ":")
	n, err := strconv.Atoi(m)
	if !ok || err != nil {
		return 0, fmt.Errorf("%q is neither a setting nor an instant", s)
	}
	return secs(rest, time.Duration(n)*time.Minute)
}

// options reads "every D" and "for D" from the end of a line.
func (c *Case) options(f []string) (every, long time.Duration, err error) {
	every, long = time.Second, c.length
	for ; len(f) >= 2 && err == nil; f = f[2:] {
		switch f[0] {
		case "every":
			every, err = time.ParseDuration(f[1])
		case "for":
			long, err = time.ParseDuration(f[1])
		default:
			err = fmt.Errorf("%q is neither every nor for", f[0])
		}
	}
	if err == nil && len(f) > 0 {
		err = fmt.Errorf("%q is too much", f[0])
	}
	return every, long, err
}

func (c *Case) squeezes(at time.Duration, n int, every, long time.Duration) {
	for i := range n {
		c.cursor = at + time.Duration(i)*every
		c.Tape.Press(c.cursor, "squeeze", long)
	}
}

func (c *Case) act(at time.Duration, verb string, f []string) error {
	t := &c.Tape
	number := func() (n int, err error) {
		if len(f) == 0 {
			return 0, fmt.Errorf("a number is missing")
		}
		n, err = strconv.Atoi(f[0])
		f = f[1:]
		return n, err
	}
	long := func(otherwise time.Duration) (time.Duration, error) {
		if len(f) == 0 {
			return otherwise, nil
		}
		return time.ParseDuration(f[len(f)-1])
	}
	switch verb {
	case "start":
		n, err := number()
		if err != nil {
			return err
		}
		t.Press(at, "step", c.length)
		c.squeezes(at+2*time.Second, n, time.Second, c.length)
		t.Report(c.cursor+500*ms, 300*ms)
		t.Press(c.cursor+30500*ms, "step", c.length)
		c.cursor += 331 * time.Second
		t.Press(c.cursor, "step", c.length)
		return nil
	case "squeeze", "dose":
		n, err := number()
		if err != nil {
			return err
		}
		every, long, err := c.options(f)
		c.squeezes(at, n, every, long)
		if verb == "dose" {
			c.clock = c.cursor
		}
		return err
	case "step":
		_, long, err := c.options(f)
		c.cursor = at
		t.Press(at, "step", long)
		return err
	case "report":
		d, err := long(300 * ms)
		c.cursor = at
		t.Report(at, d)
		return err
	case "both":
		d, err := long(0)
		c.cursor = at
		t.Press(at, "taste_no", d)
		return err
	case "cable":
		c.cursor = at
		return t.Cable(at, strings.Join(f, " "))
	case "spike":
		d, err := long(0)
		if err != nil || len(f) != 2 {
			return fmt.Errorf("spike LINE D")
		}
		c.cursor = at
		v := t.levelAt(f[0], at)
		t.changes = append(t.changes, Change{At: at, Line: f[0], Value: v ^ 1}, Change{At: at + d, Line: f[0], Value: v})
		return nil
	case "level":
		if len(f) != 2 || len(f[1]) != 1 {
			return fmt.Errorf("level LINE V")
		}
		c.cursor = at
		t.changes = append(t.changes, Change{At: at, Line: f[0], Value: f[1][0]})
		return nil
	case "say":
		t.Say(at, strings.Join(f, "_"))
		return nil
	case "cut":
		t.Cut = at
		return nil
	case "wait":
		return nil
	case "end":
		t.End = at
		return nil
	}
	return fmt.Errorf("%q is not known", verb)
}

// levelAt is the level of a line at an instant as the script stands so far.
func (t *Tape) levelAt(line string, at time.Duration) byte {
	v := byte('0')
	if line == "taste_nc" {
		v = '1'
	}
	last := time.Duration(-1)
	for _, c := range t.changes {
		if c.Line == line && c.At <= at && c.At >= last {
			v, last = c.Value, c.At
		}
	}
	return v
}

func (c *Case) topUps(f []string) error {
	if len(f) < 2 {
		return fmt.Errorf("top-ups A-B N")
	}
	var from, to, n int
	if _, err := fmt.Sscanf(f[0]+" "+f[1], "%d-%d %d", &from, &to, &n); err != nil {
		return err
	}
	but := map[int]int{}
	if rest := f[2:]; len(rest) > 0 {
		if rest[0] != "but" || len(rest)%2 == 0 {
			return fmt.Errorf("but K M")
		}
		for pair := range slices.Chunk(rest[1:], 2) {
			k, err1 := strconv.Atoi(pair[0])
			m, err2 := strconv.Atoi(pair[1])
			if err1 != nil || err2 != nil {
				return fmt.Errorf("but K M: %v", pair)
			}
			but[k] = m
		}
	}
	for k := from; k <= to; k++ {
		m, ok := but[k]
		if !ok {
			m = n
		}
		c.squeezes(c.clock+time.Duration(k)*30*time.Second+800*ms, m, 900*ms, c.length)
	}
	return nil
}
