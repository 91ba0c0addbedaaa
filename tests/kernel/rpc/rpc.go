// SPDX-License-Identifier: Apache-2.0

// Package rpc is the talk between a kernel test and the guest inside its
// virtual machine: one connection for one task, JSON values a line each. The
// host names a task with its arguments; then both sides send what the task
// asks for, and the guest closes with an End. It must not know any task.
package rpc

import (
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"sync"
)

// Port is where the guest listens for tasks, PagePort where it passes on what
// comes in to the daemon, which itself listens on the loopback alone.
const (
	Port     = 7000
	PagePort = 8080
	GuestIP  = "10.0.2.15" // given by the user network of the virtual machine
)

// A Request is the first line of the host.
type Request struct {
	Task string          `json:"task"`
	Args json.RawMessage `json:"args,omitempty"`
}

// A line from the guest holds a value or the end of the task.
type line struct {
	Value json.RawMessage `json:"value,omitempty"`
	End   bool            `json:"end,omitempty"`
	Err   string          `json:"err,omitempty"`
}

// ErrEnd is what Next gives when the task ended without an error.
var ErrEnd = errors.New("the task has ended")

// A Conn is one task, seen from either side. One goroutine may receive while
// any number send.
type Conn struct {
	c   net.Conn
	dec *json.Decoder
	mu  sync.Mutex
}

// New takes a connection over.
func New(c net.Conn) *Conn { return &Conn{c: c, dec: json.NewDecoder(c)} }

// Close ends the task from either side.
func (c *Conn) Close() error { return c.c.Close() }

func (c *Conn) write(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	_, err = c.c.Write(append(b, '\n'))
	return err
}

// Ask names the task; the host's first word.
func (c *Conn) Ask(task string, args any) error {
	b, err := json.Marshal(args)
	if err != nil {
		return err
	}
	return c.write(Request{Task: task, Args: b})
}

// Asked reads the task; the guest's first step.
func (c *Conn) Asked() (Request, error) {
	var r Request
	err := c.dec.Decode(&r)
	return r, err
}

// Tell sends a value from the host to the task.
func (c *Conn) Tell(v any) error { return c.write(v) }

// Told receives such a value in the guest.
func (c *Conn) Told(v any) error { return c.dec.Decode(v) }

// Emit sends a value from the task to the host.
func (c *Conn) Emit(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return c.write(line{Value: b})
}

// End closes the task from the guest's side.
func (c *Conn) End(err error) {
	l := line{End: true}
	if err != nil {
		l.Err = err.Error()
	}
	_ = c.write(l)
	_ = c.c.Close()
}

// Next receives the next value of the task in the host. It gives ErrEnd when
// the task ended well, and the guest's own words when it did not.
func (c *Conn) Next(v any) error {
	var l line
	if err := c.dec.Decode(&l); err != nil {
		return fmt.Errorf("the guest: %w", err)
	}
	switch {
	case l.Err != "":
		return errors.New(l.Err)
	case l.End:
		return ErrEnd
	}
	if v == nil {
		return nil
	}
	return json.Unmarshal(l.Value, v)
}
