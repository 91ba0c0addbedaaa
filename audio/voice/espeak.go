// SPDX-License-Identifier: Apache-2.0

package voice

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"tallyhood/audio/wav"
)

// mostBytes bounds what a child may say: 40 s of sound at 22,050 samples a
// second. A cue takes a tenth of it at most.
const mostBytes = 2 << 20

var (
	errMissing = errors.New("the program espeak-ng is not installed")
	errTooMuch = errors.New("it said more than any cue is long")
)

// version asks the program what it is. Two versions may speak alike or not, so
// the cache keeps them apart.
func (v *Voice) version(ctx context.Context) (string, error) {
	said, err := v.child(ctx, "--version")
	if err != nil {
		return "", err
	}
	line, _, _ := strings.Cut(string(said), "\n")
	line, _, _ = strings.Cut(line, "Data at")
	if line = strings.TrimSpace(line); line == "" {
		return "", fmt.Errorf("%s does not say which version it is", filepath.Base(v.o.Command))
	}
	return line, nil
}

// speak lets the program speak a text into memory. It must never open the sound
// card: two programs at one card would fight for it.
func (v *Voice) speak(ctx context.Context, voice, text string) (wav.Sound, error) {
	said, err := v.child(ctx, "-b", "1", "-z", "-v", voice, "-s", strconv.Itoa(v.o.Speed), "--stdout", text)
	if err != nil {
		return wav.Sound{}, err
	}
	s, err := wav.Decode(said)
	if err != nil {
		return wav.Sound{}, fmt.Errorf("%s gave something else than sound: %w", filepath.Base(v.o.Command), err)
	}
	return s, nil
}

// child runs the program, for a limited time, and gives what it wrote.
func (v *Voice) child(ctx context.Context, args ...string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, v.o.Limit)
	defer cancel()
	name := filepath.Base(v.o.Command)
	cmd := exec.CommandContext(ctx, v.o.Command, args...)
	out := &bounded{most: mostBytes}
	said := &bounded{most: 4096}
	cmd.Stdout, cmd.Stderr = out, said
	// Even when it writes into a pipe, espeak-ng 1.51 asks a PulseAudio server
	// for a stream before it speaks, and may start that server, which takes the
	// card (seen with strace). Here it finds neither a server nor a card.
	cmd.Env = append(cmd.Environ(), "PULSE_SERVER=unix:/dev/null", "ALSA_CONFIG_PATH=/dev/null")
	// An interrupt from the terminal is for the daemon.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = time.Second
	err := cmd.Run()
	switch {
	case out.over:
		return nil, fmt.Errorf("%s: %w", name, errTooMuch)
	case err == nil:
		return out.b.Bytes(), nil
	case errors.Is(err, exec.ErrNotFound) || errors.Is(err, os.ErrNotExist):
		return nil, errMissing
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		return nil, fmt.Errorf("%s took longer than %v", name, v.o.Limit)
	case ctx.Err() != nil:
		return nil, ctx.Err()
	}
	line, _, _ := strings.Cut(strings.TrimSpace(strings.ToValidUTF8(said.b.String(), "?")), "\n")
	line = strings.TrimPrefix(line, "Error: ")
	if r := []rune(line); len(r) > 120 {
		line = string(r[:120]) + "..."
	}
	if line == "" {
		line = err.Error()
	}
	return nil, fmt.Errorf("%s: %s", name, line)
}

// A bounded buffer refuses what is more than most.
type bounded struct {
	b    bytes.Buffer
	most int
	over bool
}

func (b *bounded) Write(p []byte) (int, error) {
	if b.b.Len()+len(p) > b.most {
		b.over = true
		return 0, errTooMuch
	}
	return b.b.Write(p)
}
