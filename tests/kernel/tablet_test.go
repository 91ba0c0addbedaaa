// SPDX-License-Identifier: Apache-2.0

package kernel_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/tests/kernel/rpc"
	"tallyhood/tests/kernel/vm"
)

// patience is how long a test waits for what should follow at once; a loaded
// machine emulates slowly.
const patience = 30 * time.Second

// A daemon runs in the guest.
type daemon struct {
	t     *testing.T
	m     *vm.Machine
	task  *rpc.Conn
	ready chan error
	ended chan int // its exit code
}

// serve starts the daemon and waits until it says that it is ready.
func serve(t *testing.T, m *vm.Machine, args ...string) *daemon {
	t.Helper()
	d := &daemon{t: t, m: m, ready: make(chan error, 1), ended: make(chan int, 1)}
	var err error
	d.task, err = m.Call("run", map[string]any{"args": append([]string{"/usr/bin/tallyhood", "serve"}, args...)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.task.Close() })
	go d.follow()
	select {
	case err := <-d.ready:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(patience):
		t.Fatal("the daemon does not say that it is ready")
	}
	return d
}

func (d *daemon) follow() {
	for {
		var v struct {
			Out  string
			Exit *int
		}
		if err := d.task.Next(&v); err != nil {
			d.ready <- fmt.Errorf("the daemon: %w", err)
			return
		}
		if strings.Contains(v.Out, "tallyhood is ready on") {
			d.ready <- nil
		}
		if v.Exit != nil {
			d.ended <- *v.Exit
			d.ready <- fmt.Errorf("the daemon ended with code %d", *v.Exit)
			return
		}
	}
}

// signal sends a signal by number.
func (d *daemon) signal(n int) {
	d.t.Helper()
	if err := d.task.Tell(map[string]int{"signal": n}); err != nil {
		d.t.Fatal(err)
	}
}

// stop ends the daemon in order.
func (d *daemon) stop() {
	d.t.Helper()
	d.signal(15)
	select {
	case code := <-d.ended:
		if code != 0 {
			d.t.Errorf("the daemon ended with code %d", code)
		}
	case <-time.After(patience):
		d.t.Fatal("the daemon does not end")
	}
}

// get asks the pages for JSON.
func (d *daemon) get(path string, v any) {
	d.t.Helper()
	c := http.Client{Timeout: patience}
	r, err := c.Get("http://" + d.m.Port(rpc.PagePort) + path)
	if err != nil {
		d.t.Fatal(err)
	}
	defer r.Body.Close()
	if r.StatusCode != http.StatusOK {
		d.t.Fatalf("%s: %s", path, r.Status)
	}
	if err := json.NewDecoder(r.Body).Decode(v); err != nil {
		d.t.Fatalf("%s: %v", path, err)
	}
}

// A tablet is a tester's page on the live socket, as seen from outside.
type tablet struct {
	t     *testing.T
	c     *websocket.Conn
	in    chan arrived
	last  wire.Snapshot
	at    time.Time // when the last came
	me    string
	fence uint64
	n     int
	usual *wire.Open // what a run is opened with
}

type arrived struct {
	at   time.Time
	data []byte
}

func (d *daemon) tablet() *tablet {
	d.t.Helper()
	addr := d.m.Port(rpc.PagePort)
	dialer := websocket.Dialer{HandshakeTimeout: patience}
	c, _, err := dialer.Dial("ws://"+addr+"/live", http.Header{"Origin": {"http://" + addr}})
	if err != nil {
		d.t.Fatal(err)
	}
	p := &tablet{t: d.t, c: c, in: make(chan arrived, 8192), usual: d.usual()}
	d.t.Cleanup(func() { c.Close() })
	go func() {
		defer close(p.in)
		for {
			_, data, err := c.ReadMessage()
			if err != nil {
				return
			}
			p.in <- arrived{time.Now(), data}
		}
	}()
	p.send(wire.Hello{Type: "hello", Role: wire.Tester, Contract: wire.Contract})
	for p.me == "" || p.last.Type == "" {
		if _, err := p.read(time.After(patience)); err != nil {
			d.t.Fatal(err)
		}
	}
	return p
}

func (p *tablet) send(v any) {
	p.t.Helper()
	if err := p.c.WriteJSON(v); err != nil {
		p.t.Fatal(err)
	}
}

var errLate = errors.New("nothing came in time")

// read takes one message; a reply is returned.
func (p *tablet) read(deadline <-chan time.Time) (*wire.Reply, error) {
	var m arrived
	var ok bool
	select {
	case m, ok = <-p.in:
		if !ok {
			return nil, errors.New("the page's connection has ended")
		}
	case <-deadline:
		return nil, errLate
	}
	var kind struct{ Type, Client string }
	if err := json.Unmarshal(m.data, &kind); err != nil {
		return nil, err
	}
	switch kind.Type {
	case "welcome":
		p.me = kind.Client
	case "snapshot":
		p.last, p.at = wire.Snapshot{}, m.at
		return nil, json.Unmarshal(m.data, &p.last)
	case "reply":
		r := new(wire.Reply)
		return r, json.Unmarshal(m.data, r)
	}
	return nil, nil
}

// until reads on until a snapshot has what is wanted.
func (p *tablet) until(what string, want func(wire.Snapshot) bool) {
	p.t.Helper()
	for deadline := time.After(patience); !want(p.last); {
		if _, err := p.read(deadline); err != nil {
			b, _ := json.Marshal(p.last)
			p.t.Fatalf("no snapshot with %s: %v; the last is %s", what, err, b)
		}
	}
}

// ask sends a command and gives the reason of a refusal.
func (p *tablet) ask(c wire.Command) string {
	p.t.Helper()
	p.n++
	c.Type, c.ID, c.Fence = "command", fmt.Sprint(p.n), p.fence
	if p.last.Run != nil {
		c.Run = p.last.Run.Run
	}
	p.send(c)
	for deadline := time.After(patience); ; {
		r, err := p.read(deadline)
		if err != nil {
			p.t.Fatalf("%s: %v", c.Do, err)
		}
		if r != nil && r.ID == c.ID {
			if r.OK {
				return ""
			}
			return r.Why
		}
	}
}

func (p *tablet) must(c wire.Command) {
	p.t.Helper()
	if why := p.ask(c); why != "" {
		p.t.Fatalf("%s was refused: %s", c.Do, why)
	}
}

func (p *tablet) lead() {
	p.t.Helper()
	p.must(wire.Command{Do: "take_lease"})
	p.until("the lease", func(s wire.Snapshot) bool { return s.Driver == p.me })
	p.fence = p.last.Fence
}

// shut puts a run away that is over.
func (p *tablet) shut() {
	p.t.Helper()
	if p.last.Run != nil {
		p.must(wire.Command{Do: "close"})
		p.until("no run", func(s wire.Snapshot) bool { return s.Run == nil })
	}
}

// usual finds what runs are opened with among what the box offers. A box of
// one's own knows nobody at first, so a person and a facepiece are entered, as
// an administrator would.
func (d *daemon) usual() *wire.Open {
	d.t.Helper()
	const rules, tester = "us-osha", "Agnes Thorley"
	var c wire.Choices
	d.get("/api/choices", &c)
	if len(c.Facepieces) == 0 {
		d.send("PUT", "/api/v1/facepieces/corrie-m", map[string]any{"by": tester, "form": map[string]any{
			"make": "Fellside", "model": "Corrie", "style": "half mask, rubber", "size": "medium", "type": procedure.HalfMask, "fit_factor": 10, "pieces": []string{}, "stock": 1, "gone": false,
		}})
	}
	if len(c.People) == 0 {
		d.send("POST", "/api/v1/people", map[string]any{"by": tester, "form": map[string]any{
			"name": "Ilse Brandvold", "number": "", "job": "", "languages": []string{"en"}, "facepieces": []string{"corrie-m"}, "rules": "", "agent": "", "note": "",
		}})
	}
	d.get("/api/choices", &c)
	i := slices.IndexFunc(c.Facepieces, func(f wire.Choice) bool { return f.Refused[rules] == "" })
	if len(c.People) == 0 || i < 0 {
		d.t.Fatalf("the box offers nobody to test: %+v", c)
	}
	return &wire.Open{Wearer: c.People[0].ID, Facepiece: c.Facepieces[i].ID, Rules: rules, Agent: "bitter", Tester: tester}
}

// Marks of the nebulisers that runs are made with.
const weakMark, strongMark = "W1", "S1"

// stock enters both nebulisers, filled and seen to give mist.
func (d *daemon) stock(wall string) {
	d.t.Helper()
	const tester = "Agnes Thorley"
	at, err := time.Parse(time.RFC3339, wall)
	if err != nil {
		d.t.Fatal(err)
	}
	for mark, role := range map[string]string{weakMark: procedure.Weak, strongMark: procedure.Strong} {
		d.send("PUT", "/api/v1/solutions/"+role, map[string]any{"by": tester, "shown": []string{}, "form": map[string]any{
			"agent": "bitter", "strength": role, "lot": "L-" + mark, "made": at.Format(time.DateOnly), "expires": at.AddDate(1, 0, 0).Format(time.DateOnly),
			"recipe": "as published", "source": "the rule", "who": tester, "gone": false,
		}})
		d.send("PUT", "/api/v1/nebulisers/"+role, map[string]any{"by": tester, "form": map[string]any{"mark": mark, "role": role, "agent": "bitter", "gone": false}})
		d.send("POST", "/api/v1/nebulisers/"+role+"/filled", map[string]any{"by": tester, "solution": role})
		d.send("POST", "/api/v1/nebulisers/"+role+"/mist", map[string]any{"by": tester, "good": true, "shown": []string{}})
	}
}

// send changes something through the box's HTTP interface.
func (d *daemon) send(method, path string, body any) {
	d.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		d.t.Fatal(err)
	}
	base := "http://" + d.m.Port(rpc.PagePort)
	r, err := http.NewRequestWithContext(d.t.Context(), method, base+path, bytes.NewReader(b))
	if err != nil {
		d.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", base)
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		d.t.Fatal(err)
	}
	defer resp.Body.Close()
	if answer, _ := io.ReadAll(resp.Body); resp.StatusCode/100 != 2 {
		d.t.Fatalf("%s %s: %d %s", method, path, resp.StatusCode, answer)
	}
}

// open opens a run and answers what is asked before it. A run that is over is
// put away first.
func (p *tablet) open() string {
	p.t.Helper()
	p.shut()
	p.must(wire.Command{Do: "open", Open: p.usual})
	p.until("a run", func(s wire.Snapshot) bool { return s.Run != nil })
	for _, q := range p.last.Run.Questions {
		p.must(wire.Command{Do: string(procedure.DoAnswer), Input: procedure.Input{Question: q.ID, Yes: true}})
	}
	p.must(wire.Command{Do: string(procedure.DoAbstained), Input: procedure.Input{For: time.Hour}})
	p.must(wire.Command{Do: string(procedure.DoTake), Input: procedure.Input{Mark: weakMark}})
	return p.last.Run.Run
}

func (p *tablet) stage(want procedure.Stage) {
	p.t.Helper()
	p.until("stage "+string(want), func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Stage == want })
}

// verdict waits for the end of the run, which is shown once it is on disk.
func (p *tablet) verdict(want procedure.Outcome, why procedure.Reason) {
	p.t.Helper()
	p.until("a verdict", func(s wire.Snapshot) bool { return s.Run != nil && s.Run.Verdict != nil })
	if v := p.last.Run.Verdict; v.Outcome != want || v.Reason != why {
		p.t.Errorf("the run ended as %s %s, want %s %s", v.Outcome, v.Reason, want, why)
	}
}
