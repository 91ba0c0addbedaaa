// SPDX-License-Identifier: Apache-2.0

package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/gorilla/websocket"

	"tallyhood/console/wire"
	"tallyhood/tests/kernel/rpc"
)

func init() { tasks["reach"] = reach }

// reach measures how long a move of a pedal takes from the kernel to a page:
// the pedal of the contact step is plugged in here, and a page on the guest's
// own loopback waits for the level. It emits each time; the instant of the
// kernel is not before the one taken here.
func reach(c *rpc.Conn, args json.RawMessage) error {
	var a struct {
		Vendor, Product uint16
		Name            string
		Key, Moves      int
		Apart           time.Duration
	}
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	v, err := plugIn(a.Vendor, a.Product, a.Name, a.Key)
	if err != nil {
		return err
	}
	defer v.unplug()
	addr := fmt.Sprintf("127.0.0.1:%d", rpc.PagePort)
	ws, _, err := websocket.DefaultDialer.Dial("ws://"+addr+"/live", http.Header{"Origin": {"http://" + addr}})
	if err != nil {
		return err
	}
	defer ws.Close()
	if err := ws.WriteJSON(wire.Hello{Type: "hello", Role: wire.Tester, Contract: wire.Contract}); err != nil {
		return err
	}
	type seen struct {
		at      time.Duration
		closed  bool
		missing string
	}
	levels := make(chan seen, 4096)
	go func() {
		defer close(levels)
		for {
			_, data, err := ws.ReadMessage()
			at := mono()
			if err != nil {
				return
			}
			var s wire.Snapshot
			if json.Unmarshal(data, &s) == nil && s.Type == "snapshot" {
				levels <- seen{at, s.Inputs.Step, s.Inputs.Missing}
			}
		}
	}()
	wait := func(want func(seen) bool, what string) (time.Duration, error) {
		deadline := time.After(20 * time.Second)
		for {
			select {
			case s, ok := <-levels:
				if !ok {
					return 0, fmt.Errorf("the page's connection has ended before %s", what)
				}
				if want(s) {
					return s.at, nil
				}
			case <-deadline:
				return 0, fmt.Errorf("the page did not see %s", what)
			}
		}
	}
	if _, err := wait(func(s seen) bool { return s.missing == "" && !s.closed }, "a pedal at rest"); err != nil {
		return err
	}
	for i := range a.Moves {
		down := i%2 == 0
		time.Sleep(a.Apart + time.Duration(i%13)*700*time.Microsecond)
		moved, err := v.key(uint16(a.Key), down)
		if err != nil {
			return err
		}
		at, err := wait(func(s seen) bool { return s.closed == down }, "the move")
		if err != nil {
			return err
		}
		if err := c.Emit(at - moved); err != nil {
			return err
		}
	}
	return nil
}
