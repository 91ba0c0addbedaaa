// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// The first words of a skip's text say whose business it is.
const (
	// missingPart: a program that .ci/install installs is not there. Where
	// everything must run this is a failure.
	missingPart = "missing part:"
	// notHere: a kernel, a device or a right that no package brings.
	notHere = "not on this machine:"
	// onlyAsked: a long test that somebody switches on.
	onlyAsked = "only when asked:"
)

// An event is one line of "go test -json" (go doc test2json).
type event struct {
	Action     string
	Package    string
	ImportPath string // of a build event
	Test       string
	Output     string
	Elapsed    float64 // seconds, of what has ended
}

// A skip is a test that did not run, with all it printed.
type skip struct{ name, text string }

// allowed tells whether a skip may stand where everything must run. Text
// without a known reason is not allowed, so that no new wording hides one.
func (s skip) allowed() bool {
	return !strings.Contains(s.text, missingPart) &&
		(strings.Contains(s.text, notHere) || strings.Contains(s.text, onlyAsked))
}

// A log is what one stream of events amounts to. Only top-level tests are
// counted; skips of subtests are kept too.
type log struct {
	passed, failed, skipped int
	broken                  int // packages that failed, by a test or without one
	skips                   []skip
	slow                    []string // top-level tests that took long
}

// slowFrom is how many seconds a test takes that is named at the end: the gate
// has to stay short, and one has to see where its time goes.
const slowFrom = 10

// read prints the stream as it comes and sums it up. A line that is not JSON
// is passed on as it is: the go command writes such lines when it fails early.
func read(r io.Reader, w io.Writer) (*log, error) {
	l := &log{}
	output := map[string]*strings.Builder{} // by package and test, until the test ends
	lines := bufio.NewReader(r)
	events := 0
	for {
		line, err := lines.ReadString('\n')
		if line != "" {
			var e event
			if json.Unmarshal([]byte(line), &e) != nil || e.Action == "" {
				io.WriteString(w, line)
			} else {
				events++
				l.take(e, output, w)
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("read the test events: %w", err)
		}
	}
	if events == 0 {
		return nil, errors.New("no test event came in")
	}
	return l, nil
}

func (l *log) take(e event, output map[string]*strings.Builder, w io.Writer) {
	key := e.Package + " " + e.Test
	switch e.Action {
	case "output":
		switch {
		case e.Test != "":
			if output[key] == nil {
				output[key] = &strings.Builder{}
			}
			output[key].WriteString(e.Output)
		case !strings.HasPrefix(e.Output, "PASS"):
			io.WriteString(w, e.Output)
		}
		return
	case "build-output":
		io.WriteString(w, e.Output)
		return
	case "pass", "fail", "skip":
	default:
		return
	}
	var text string
	if b := output[key]; b != nil {
		text = b.String()
		delete(output, key)
	}
	top := e.Test != "" && !strings.Contains(e.Test, "/")
	if top && e.Elapsed >= slowFrom {
		l.slow = append(l.slow, fmt.Sprintf("%s %s %.0f s", e.Package, e.Test, e.Elapsed))
	}
	switch e.Action {
	case "pass":
		if top {
			l.passed++
		}
	case "fail":
		if e.Test == "" {
			l.broken++
			return
		}
		if top {
			l.failed++
		}
		io.WriteString(w, text)
	case "skip":
		if e.Test == "" {
			return // a package without tests
		}
		if top {
			l.skipped++
		}
		l.skips = append(l.skips, skip{e.Package + " " + e.Test, said(text)})
	}
}

// said returns what the test itself printed, without the runner's own lines.
func said(text string) string {
	var kept []string
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "=== ") || strings.HasPrefix(line, "--- ") {
			continue
		}
		kept = append(kept, line)
	}
	return strings.Join(kept, " / ")
}

// close prints the skips and the closing line and returns the exit code.
func (l *log) close(w io.Writer, strict bool) int {
	bad := 0
	for _, s := range l.skips {
		mark := "skipped"
		if strict && !s.allowed() {
			mark = "SKIPPED, but everything must run here"
			bad++
		}
		fmt.Fprintf(w, "%s: %s: %s\n", mark, s.name, s.text)
	}
	if bad > 0 {
		fmt.Fprintf(w, "%d skips fail: install what is missing (.ci/install), or begin the text with %q or %q where no package helps; %q never passes here\n",
			bad, notHere, onlyAsked, missingPart)
	}
	for _, s := range l.slow {
		fmt.Fprintln(w, "took long:", s)
	}
	fmt.Fprintf(w, "tests: %d passed, %d failed, %d skipped\n", l.passed, l.failed, l.skipped)
	if l.passed == 0 {
		fmt.Fprintln(w, "testlog: no test passed, so nothing was shown")
		return 1
	}
	if bad > 0 || l.failed > 0 || l.broken > 0 {
		return 1
	}
	return 0
}
