// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"

	"golang.org/x/sys/unix"

	"tallyhood/tests/kernel/rpc"
)

func init() {
	tasks["run"] = run
	tasks["read"] = readFile
	tasks["write"] = writeFile
	tasks["mount"] = mount
	tasks["off"] = func(*rpc.Conn, json.RawMessage) error { off(); return nil }
	tasks["clock"] = func(c *rpc.Conn, _ json.RawMessage) error { return c.Emit(mono()) }
}

// run starts a program and emits what it prints, line by line, and at its end
// {"exit": CODE}. The host may send {"signal": N}. When the host goes away the
// program is killed.
func run(c *rpc.Conn, args json.RawMessage) error {
	var a struct {
		Args []string `json:"args"`
		Env  []string `json:"env"`
	}
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	p := exec.Command(a.Args[0], a.Args[1:]...)
	p.Env = append(os.Environ(), a.Env...)
	p.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	r, w, err := os.Pipe()
	if err != nil {
		return err
	}
	p.Stdout, p.Stderr = w, w
	err = p.Start()
	w.Close()
	if err != nil {
		return err
	}
	go func() {
		for {
			var m struct{ Signal int }
			if c.Told(&m) != nil {
				m.Signal = int(unix.SIGKILL)
			}
			if unix.Kill(-p.Process.Pid, unix.Signal(m.Signal)) != nil || m.Signal == int(unix.SIGKILL) {
				return
			}
		}
	}()
	_ = c.Emit(map[string]int{"pid": p.Process.Pid})
	var reading sync.WaitGroup
	reading.Go(func() {
		in := bufio.NewReader(r)
		for {
			line, err := in.ReadString('\n')
			if line != "" {
				fmt.Print(line) // on the console too: the last words before a power cut
				_ = c.Emit(map[string]string{"out": strings.TrimRight(line, "\n")})
			}
			if err != nil {
				return
			}
		}
	})
	err = p.Wait()
	reading.Wait()
	r.Close()
	if ended := (*exec.ExitError)(nil); err != nil && !errors.As(err, &ended) {
		return err
	}
	return c.Emit(map[string]int{"exit": p.ProcessState.ExitCode()})
}

func readFile(c *rpc.Conn, args json.RawMessage) error {
	var a struct{ Path string }
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	b, err := os.ReadFile(a.Path)
	if err != nil {
		return err
	}
	return c.Emit(string(b))
}

// writeFile also drives what sysfs offers.
func writeFile(_ *rpc.Conn, args json.RawMessage) error {
	var a struct{ Path, Text string }
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	f, err := os.OpenFile(a.Path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	_, err = io.WriteString(f, a.Text)
	return errors.Join(err, f.Close())
}

func mount(_ *rpc.Conn, args json.RawMessage) error {
	var a struct{ Device, Path, Kind, Options string }
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	if err := os.MkdirAll(a.Path, 0o755); err != nil {
		return err
	}
	return unix.Mount(a.Device, a.Path, a.Kind, 0, a.Options)
}
