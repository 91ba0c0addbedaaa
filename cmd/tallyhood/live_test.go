// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"tallyhood/console/archive"
	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
	"tallyhood/store/bolt"
)

var readyLine = regexp.MustCompile(`tallyhood is ready on (http://\S+/)`)

// address reads the output of serve until it says where it is.
func address(t *testing.T, out io.Reader) string {
	t.Helper()
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if m := readyLine.FindStringSubmatch(lines.Text()); m != nil {
			go func() { _, _ = io.Copy(io.Discard, out) }()
			return m[1]
		}
	}
	t.Fatalf("serve ended without saying where it is: %v", lines.Err())
	return ""
}

// A tablet is a tester's page on the live socket.
type tablet struct {
	t     *testing.T
	c     *websocket.Conn
	last  wire.Snapshot
	me    string
	fence uint64
	n     int
}

func openTablet(t *testing.T, base string) *tablet {
	t.Helper()
	origin := strings.TrimSuffix(base, "/")
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(origin, "http")+"/live", http.Header{"Origin": {origin}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	p := &tablet{t: t, c: c}
	p.send(wire.Hello{Type: "hello", Role: wire.Tester, Contract: wire.Contract})
	for p.me == "" || p.last.Type == "" {
		p.read()
	}
	return p
}

func (p *tablet) send(v any) {
	p.t.Helper()
	if err := p.c.WriteJSON(v); err != nil {
		p.t.Fatal(err)
	}
}

// read takes one message; a reply is returned.
func (p *tablet) read() *wire.Reply {
	p.t.Helper()
	wall := clock.Moment()
	_ = p.c.SetReadDeadline(wall.Add(time.Minute))
	_, data, err := p.c.ReadMessage()
	if err != nil {
		p.t.Fatal(err)
	}
	var kind struct{ Type, Client string }
	if err := json.Unmarshal(data, &kind); err != nil {
		p.t.Fatal(err)
	}
	switch kind.Type {
	case "welcome":
		p.me = kind.Client
	case "snapshot":
		p.last = wire.Snapshot{}
		if err := json.Unmarshal(data, &p.last); err != nil {
			p.t.Fatal(err)
		}
	case "reply":
		r := new(wire.Reply)
		if err := json.Unmarshal(data, r); err != nil {
			p.t.Fatal(err)
		}
		return r
	}
	return nil
}

func (p *tablet) until(what string, want func(wire.Snapshot) bool) {
	p.t.Helper()
	for clk := clock.New(1); clk.Now() < 2*time.Minute; {
		if want(p.last) {
			return
		}
		p.read()
	}
	p.t.Fatalf("no snapshot with %s; the last is %+v", what, p.last)
}

func (p *tablet) must(c wire.Command) {
	p.t.Helper()
	if why := p.ask(c); why != "" {
		p.t.Fatalf("%s was refused: %s", c.Do, why)
	}
}

// ask sends a command and gives the refusal, empty for none.
func (p *tablet) ask(c wire.Command) string {
	p.t.Helper()
	p.n++
	c.Type, c.ID, c.Fence = "command", fmt.Sprint(p.n), p.fence
	if p.last.Run != nil {
		c.Run = p.last.Run.Run
	}
	p.send(c)
	for {
		r := p.read()
		if r == nil || r.ID != c.ID {
			continue
		}
		return r.Why
	}
}

// toScreening opens a run and takes it to the sensitivity test.
func (p *tablet) toScreening() {
	p.t.Helper()
	p.must(wire.Command{Do: "take_lease"})
	p.until("the lease", func(s wire.Snapshot) bool { return s.Driver == p.me })
	p.fence = p.last.Fence
	p.must(wire.Command{Do: "open", Open: &wire.Open{Wearer: "hs-014", Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: demo.Testers()[0]}})
	p.until("a run", func(s wire.Snapshot) bool { return s.Run != nil })
	for _, q := range p.last.Run.Questions {
		p.must(wire.Command{Do: string(procedure.DoAnswer), Input: procedure.Input{Question: q.ID, Yes: true}})
	}
	p.must(wire.Command{Do: string(procedure.DoAbstained), Input: procedure.Input{For: time.Hour}})
	p.must(wire.Command{Do: string(procedure.DoGoOn)})
	p.until("the sensitivity test", func(s wire.Snapshot) bool { return s.Run.Stage == procedure.Screening })
}

// squeezes presses the pedal by the socket until n squeezes are counted. On a
// busy machine a press may come out too short to be sure; it is pressed again.
func (p *tablet) squeezes(socket string, n int) {
	p.t.Helper()
	c, err := net.Dial("unix", socket)
	if err != nil {
		p.t.Fatal(err)
	}
	defer c.Close()
	clk := clock.New(1)
	for range 5 * n {
		have := p.last.Run.Screening.Squeezes
		if have >= n || p.last.Run.Verdict != nil {
			return
		}
		for _, level := range []int{1, 0} {
			if _, err := fmt.Fprintf(c, "squeeze %d\n", level); err != nil {
				p.t.Fatal(err)
			}
			if err := clk.Sleep(p.t.Context(), clk.Now()+200*time.Millisecond); err != nil {
				p.t.Fatal(err)
			}
		}
		for range 12 {
			if p.last.Run.Screening.Squeezes > have {
				break
			}
			p.read()
		}
	}
}

// screened takes a run to n squeezes of the sensitivity test, and gives how many
// runs that took: a machine that stood still for a second makes a run not valid.
func (p *tablet) screened(socket string, n int) (runs int) {
	p.t.Helper()
	for runs = 1; ; runs++ {
		p.toScreening()
		p.squeezes(socket, n)
		p.until("the squeezes", func(s wire.Snapshot) bool { return s.Run.Verdict != nil || s.Run.Screening.Squeezes >= n })
		if p.last.Run.Verdict == nil {
			break
		}
		if p.last.Run.Verdict.Reason != procedure.Stalled || runs == 5 {
			p.t.Fatalf("the run ended as %+v", p.last.Run.Verdict)
		}
		p.must(wire.Command{Do: "close"})
		p.until("no run", func(s wire.Snapshot) bool { return s.Run == nil })
	}
	if got := p.last.Run.Screening.Squeezes; got != n {
		p.t.Errorf("%d squeezes are counted, want %d", got, n)
	}
	return runs
}

func TestServeInProcess(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	r, w := io.Pipe()
	code := make(chan int, 1)
	sock, file := filepath.Join(dir, "board"), filepath.Join(dir, "store")
	go func() {
		code <- run(ctx, []string{"serve", "--addr", "127.0.0.1:0", "--sim-socket", sock, "--store", file, "--sound", "off"}, w, io.Discard)
		w.Close()
	}()
	p := openTablet(t, address(t, r))
	runs := p.screened(sock, 3)
	id := p.last.Run.Run
	if p.last.Practice == "" {
		t.Error("a simulated board is not marked as practice")
	}
	cancel()
	if got := <-code; got != 0 {
		t.Errorf("serve ended with code %d", got)
	}
	checkRun(t, file, id, procedure.Interrupted, 3, runs)
	if _, err := os.Stat(sock); !os.IsNotExist(err) {
		t.Errorf("the board's socket was left behind: %v", err)
	}
}

func checkRun(t *testing.T, file, id string, want procedure.Reason, squeezes, runs int) {
	t.Helper()
	if err := bolt.Check(t.Context(), file); err != nil {
		t.Errorf("the store does not hold together: %v", err)
	}
	j, err := bolt.Open(file, bolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	st, err := archive.State(t.Context(), j, id)
	if err != nil {
		t.Fatal(err)
	}
	if st.Verdict == nil || st.Verdict.Outcome != procedure.NotValid || st.Verdict.Reason != want {
		t.Errorf("run %s ended as %+v, want not valid %s", id, st.Verdict, want)
	}
	if len(st.Screening) != squeezes {
		t.Errorf("%d squeezes are in the journal, %d were shown as saved", len(st.Screening), squeezes)
	}
	lines, err := archive.List(t.Context(), j, nil, 10)
	if err != nil || len(lines) != runs || lines[0].Run != id || lines[0].Practice == "" {
		t.Errorf("the list of runs is %+v, %v", lines, err)
	}
}

// The built program is killed with a run open, and again while it closes
// nothing; what was shown as saved is there, and the run is not valid.
func TestKilledInARun(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	bin := filepath.Join(dir, "tallyhood")
	build := exec.Command("go", "build", "-o", bin, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if text, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, text)
	}
	file, sock := filepath.Join(dir, "store"), filepath.Join(dir, "board")
	start := func() (*exec.Cmd, string) {
		c := exec.Command(bin, "serve", "--addr", "127.0.0.1:0", "--sim-socket", sock, "--store", file, "--sound", "off")
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
		return c, address(t, out)
	}
	c, base := start()
	p := openTablet(t, base)
	runs := p.screened(sock, 4)
	p.read() // the disk's word comes with a snapshot of its own
	p.read()
	p.until("the facts on disk", func(s wire.Snapshot) bool { return s.LagMS == 0 })
	id := p.last.Run.Run
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = c.Wait()

	// The socket's file of the dead process is in the way of nobody.
	c, base = start()
	p = openTablet(t, base)
	if p.last.Run != nil {
		t.Errorf("the run was gone on with: %+v", p.last.Run)
	}
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = c.Wait()
	checkRun(t, file, id, procedure.PowerLost, 4, runs)
}

func TestServeRefuses(t *testing.T) {
	for _, args := range [][]string{
		{"--addr", "0.0.0.0:0"}, {"--addr", "192.168.1.20:0"}, {"--addr", "nowhere"}, {"--board", "none"},
		{"--speed", "0"}, {"--speed", "-1"}, {"--speed", "NaN"}, {"--speed", "1001"}, {"--sound", "loud"}, {"--rules-dir", "/nonexistent"}, {"extra"},
	} {
		var out, errOut strings.Builder
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		code := run(ctx, append([]string{"serve", "--addr", "127.0.0.1:0", "--store", filepath.Join(t.TempDir(), "store")}, args...), &out, &errOut)
		cancel()
		if code == 0 || ctx.Err() == context.DeadlineExceeded || !strings.HasPrefix(lastLine(errOut.String()), "tallyhood: ") || strings.Contains(out.String(), "ready") {
			t.Errorf("%v: code %d, %q, %q", args, code, out.String(), errOut.String())
		}
	}
}

func lastLine(s string) string {
	lines := strings.Split(strings.TrimSpace(s), "\n")
	return lines[len(lines)-1]
}

// What the box tells about itself.
func TestBox(t *testing.T) {
	t.Parallel()
	r, w := io.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	dir := t.TempDir()
	go func() {
		ended <- run(ctx, []string{"serve", "--addr", "127.0.0.1:0", "--sound", "off", "--store", filepath.Join(dir, "store")}, w, io.Discard)
	}()
	base := address(t, r)
	var box wire.Box
	late, giveUp := clock.New(1).Wake(2 * time.Minute)
	defer giveUp()
	for box.WriteMS == nil {
		select {
		case <-late:
			t.Fatalf("no write speed: %+v", box)
		default:
		}
		resp, err := http.Get(base + "api/box")
		if err != nil {
			t.Fatal(err)
		}
		box = wire.Box{}
		err = json.NewDecoder(resp.Body).Decode(&box)
		resp.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
	}
	states := map[string]string{}
	for _, p := range box.Parts {
		states[p.Name] = p.State
	}
	if states["simulated board"] != "loaded" || states["sound"] != "absent" || states["store"] != "loaded" || states["storage"] == "" {
		t.Errorf("parts %+v", box.Parts)
	}
	if box.StoreFree <= 0 || box.StoreOf < box.StoreFree || *box.WriteMS <= 0 || box.TimeSource != "arrival time" || box.Version == "" {
		t.Errorf("box %+v", box)
	}
	cancel()
	if code := <-ended; code != 0 {
		t.Errorf("exit code %d", code)
	}
}
