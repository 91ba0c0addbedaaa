// SPDX-License-Identifier: Apache-2.0

// Package level sets the level of a sound card's mixer through amixer (of
// alsa-utils) and reads back whether it is so: a card that begins muted, or a
// person who turned it down, would make a run without cues. The work is done in
// the background, in limited time; what came of it is a sentence. The package
// must not play anything, and it must not keep turning a level that a person
// changes while sound comes out.
package level

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"

	"tallyhood/audio"
)

// Options of a level.
type Options struct {
	Device  string        // of the sound card as aplay calls it; its default when empty
	Control string        // of the mixer, such as "PCM"; empty: nothing is set
	Percent int           // 0 to 100, as the ear takes it, until To asks for another
	Command string        // the program; "amixer" when empty
	Limit   time.Duration // for each call of it; 5 s when 0
	Log     *slog.Logger  // slog.Default() when nil
}

// A Level keeps a control of a mixer where it should be. It is safe for use by
// several goroutines.
type Level struct {
	o      Options
	ctx    context.Context
	cancel context.CancelFunc
	ask    chan struct{} // holds one
	ended  chan struct{}

	mu      sync.Mutex
	percent int
	part    audio.Part
	sets    int
}

// New gives a level that nothing has been done about yet: call Set.
func New(o Options) *Level {
	o.Command = cmp.Or(o.Command, "amixer")
	o.Limit = cmp.Or(o.Limit, 5*time.Second)
	o.Log = cmp.Or(o.Log, slog.Default())
	l := &Level{o: o, percent: o.Percent, ask: make(chan struct{}, 1), ended: make(chan struct{})}
	l.ctx, l.cancel = context.WithCancel(context.Background())
	l.part = audio.Part{State: audio.PartAbsent, Reason: "the level has not been set yet"}
	if o.Control == "" {
		l.part.Reason = "no mixer control is named: the level is what the sound card makes of it"
	}
	go l.run()
	return l
}

// Set asks for the level to be set and checked, and returns at once. It is for
// the start and for each time that the sound card was opened anew.
func (l *Level) Set() {
	select {
	case l.ask <- struct{}{}:
	default: // it is asked for already
	}
}

// To asks for another level, in per cent, and returns at once.
func (l *Level) To(percent int) {
	l.mu.Lock()
	l.percent = percent
	l.mu.Unlock()
	l.Set()
}

// Part says what came of it last: loaded when the level was read back as it
// was set, absent when there is no such control, card or program, else failed.
func (l *Level) Part() audio.Part {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.part
}

// Sets counts how often the level was set and read back, or that was tried.
func (l *Level) Sets() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.sets
}

// Close ends what is under way and waits for it. It may be called more than
// once.
func (l *Level) Close() error {
	l.cancel()
	<-l.ended
	return nil
}

func (l *Level) run() {
	defer close(l.ended)
	for {
		select {
		case <-l.ctx.Done():
			return
		case <-l.ask:
		}
		if l.o.Control == "" {
			continue
		}
		part := l.set()
		if l.ctx.Err() != nil {
			return
		}
		l.mu.Lock()
		before := l.part
		l.part = part
		l.sets++
		l.mu.Unlock()
		if part != before {
			l.o.Log.Info("level of the sound card", "state", part.State, "reason", part.Reason)
		}
	}
}

func failed(format string, a ...any) audio.Part {
	return audio.Part{State: audio.PartFailed, Reason: fmt.Sprintf(format, a...)}
}

func absent(format string, a ...any) audio.Part {
	return audio.Part{State: audio.PartAbsent, Reason: fmt.Sprintf(format, a...)}
}

// set looks what the control can, sets it and reads it back. What can be set is
// asked first: amixer refuses a call that asks a control for what it has not.
func (l *Level) set() audio.Part {
	l.mu.Lock()
	name, want := l.o.Control, l.percent
	l.mu.Unlock()
	if want < 0 || want > 100 {
		return failed("a level of %d %% cannot be set", want)
	}
	said, err := l.call("sget", name)
	if err != nil {
		return l.unable(err)
	}
	is := parse(said)
	if !is.volume && !is.onOff {
		return absent("the control %s of the sound card sets no level of what is played", name)
	}
	args := []string{"sset", name}
	if is.playback {
		// Else a level for recording would be set as well.
		args = append(args, "playback")
	}
	if is.volume {
		args = append(args, fmt.Sprintf("%d%%", want))
	}
	if is.onOff {
		args = append(args, "unmute")
	}
	if _, err := l.call(args...); err != nil {
		return l.unable(err)
	}
	if said, err = l.call("sget", name); err != nil {
		return l.unable(err)
	}
	is = parse(said)
	switch least, most := is.percents(); {
	case is.muted:
		return failed("%s is still muted after being unmuted", name)
	case !is.volume:
		return audio.Part{State: audio.PartLoaded, Reason: fmt.Sprintf("%s is on; it has no level to set", name)}
	case len(is.levels) == 0:
		return failed("the level of %s cannot be read after being set to %d %%", name, want)
	case want-least > is.step() || most-want > is.step():
		off := least
		if most-want > want-least {
			off = most
		}
		return failed("the level of %s reads %d %% after being set to %d %%", name, off, want)
	default:
		return audio.Part{State: audio.PartLoaded, Reason: fmt.Sprintf("%s is at %d %%", name, least)}
	}
}

// unable makes a sentence of a call that failed.
func (l *Level) unable(err error) audio.Part {
	said := err.Error()
	switch {
	case errors.Is(err, errMissing):
		return absent("the program amixer (of alsa-utils) is not installed")
	case strings.Contains(said, "nable to find simple control"):
		has := ""
		if all, err := l.call("scontrols"); err == nil {
			if names := controls(all); len(names) > 0 {
				has = "; it has " + strings.Join(names, ", ")
			}
		}
		return absent("no such control: the sound card has no %s%s", l.o.Control, has)
	case strings.Contains(said, "Invalid card number"), strings.Contains(said, "No such file or directory"), strings.Contains(said, "No such device"):
		return absent("the sound card is not there: %s", said)
	}
	return failed("the level of %s cannot be set: %s", l.o.Control, said)
}

var errMissing = errors.New("not installed")

// call runs amixer once, in limited time, and gives what it wrote.
func (l *Level) call(args ...string) (string, error) {
	ctx, cancel := context.WithTimeout(l.ctx, l.o.Limit)
	defer cancel()
	name := filepath.Base(l.o.Command)
	// -M: per cents as the ear takes them, which mixers on screen show too.
	cmd := exec.CommandContext(ctx, l.o.Command, append(append([]string{"-M"}, card(l.o.Device)...), args...)...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = time.Second
	err := cmd.Run()
	switch {
	case err == nil:
		return out.String(), nil
	case errors.Is(err, exec.ErrNotFound) || errors.Is(err, os.ErrNotExist):
		return "", errMissing
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		return "", fmt.Errorf("%s took longer than %v", name, l.o.Limit)
	}
	// The last line names what is wrong; those before come from deeper down.
	lines := strings.Split(strings.TrimSpace(strings.ToValidUTF8(said.String()+out.String(), "?")), "\n")
	for i := len(lines) - 1; i >= 0; i-- {
		if line := strings.TrimSpace(lines[i]); strings.HasPrefix(line, "amixer:") || i == 0 && line != "" {
			line = strings.TrimSpace(strings.TrimPrefix(line, "amixer:"))
			if r := []rune(line); len(r) > 120 {
				line = string(r[:120]) + "..."
			}
			return "", errors.New(line)
		}
	}
	return "", err
}

var (
	cardNumber = regexp.MustCompile(`^(?:plug)?hw:([0-9]+|[A-Za-z][A-Za-z0-9_-]*)(?:,[0-9]+)*$`)
	cardName   = regexp.MustCompile(`\bCARD=([A-Za-z0-9_-]+)`)
)

// card gives the arguments that name the card of a device of aplay. Its mixer
// is that of the card, whatever lies between.
func card(device string) []string {
	if device == "" || device == "default" {
		return nil
	}
	for _, r := range []*regexp.Regexp{cardNumber, cardName} {
		if m := r.FindStringSubmatch(device); m != nil {
			return []string{"-c", m[1]}
		}
	}
	return []string{"-D", device}
}
