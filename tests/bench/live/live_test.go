// SPDX-License-Identifier: Apache-2.0

// Package live_test measures the built program on the loopback: how long an
// edge takes to a browser, beside a bare loop in the same run, what starting
// costs, and how much memory it takes. It must not judge: figures are goals,
// and a busy machine fails nothing.
//
//	go test ./tests/bench/live -bench . -benchtime 1x
package live_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"tallyhood/console/demo"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
)

const floorSocket = "TALLYHOOD_BENCH_FLOOR"

func TestMain(m *testing.M) {
	if path := os.Getenv(floorSocket); path != "" {
		floor(path)
		return
	}
	os.Exit(m.Run())
}

// floor is the bare loop: a line comes in, is counted, and goes out as JSON in
// one prepared frame. No engine, no journal, no check of anything.
func floor(path string) {
	l, err := net.Listen("unix", path)
	if err != nil {
		return
	}
	var mu sync.Mutex
	clients := map[*websocket.Conn]bool{}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			in, count := bufio.NewScanner(c), 0
			for in.Scan() {
				count++
				data, _ := json.Marshal(map[string]any{"count": count, "squeeze": strings.HasSuffix(in.Text(), "1")})
				m, _ := websocket.NewPreparedMessage(websocket.TextMessage, data)
				mu.Lock()
				for c := range clients {
					_ = c.WritePreparedMessage(m)
				}
				mu.Unlock()
			}
		}
	}()
	web, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return
	}
	fmt.Printf("ready on http://%s/\n", web.Addr())
	up := websocket.Upgrader{}
	_ = http.Serve(web, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c, err := up.Upgrade(w, r, nil)
		if err != nil {
			return
		}
		mu.Lock()
		clients[c] = true
		mu.Unlock()
		_ = c.WriteMessage(websocket.TextMessage, []byte("{}"))
	}))
}

// A program under measurement.
type program struct {
	b    *testing.B
	cmd  *exec.Cmd
	base string
	line net.Conn
}

var readyOn = regexp.MustCompile(`ready on (http://\S+)/`)

func start(b *testing.B, c *exec.Cmd, socket string) *program {
	b.Helper()
	out, err := c.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	p := &program{b: b, cmd: c}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if m := readyOn.FindStringSubmatch(lines.Text()); m != nil {
			p.base = m[1]
			break
		}
	}
	if p.base == "" {
		b.Fatal("the program did not say where it is")
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	if p.line, err = net.Dial("unix", socket); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { p.line.Close() })
	return p
}

// rss is the resident memory in MB.
func (p *program) rss() float64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		p.b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	kb, err := strconv.Atoi(strings.Fields(rest)[0])
	if err != nil {
		p.b.Fatal(err)
	}
	return float64(kb) / 1024
}

// A viewer is a browser's socket; each frame is dated as it comes.
type viewer struct {
	c      *websocket.Conn
	frames chan frame
	why    error
}

type frame struct {
	at   time.Duration
	data []byte
}

var clk = clock.New(1)

func (p *program) view(role wire.Role) *viewer {
	p.b.Helper()
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(p.base, "http")+"/live", http.Header{"Origin": {p.base}})
	if err != nil {
		p.b.Fatal(err)
	}
	p.b.Cleanup(func() { c.Close() })
	if role != "" {
		if err := c.WriteJSON(wire.Hello{Type: "hello", Role: role, Contract: wire.Contract}); err != nil {
			p.b.Fatal(err)
		}
	}
	v := &viewer{c: c, frames: make(chan frame, 4096)}
	go func() {
		defer close(v.frames)
		for {
			_, data, err := c.ReadMessage()
			if err != nil {
				v.why = err // read after the channel is closed
				return
			}
			v.frames <- frame{clk.Now(), data}
		}
	}()
	return v
}

func (v *viewer) until(b *testing.B, want func(frame) bool) frame {
	b.Helper()
	for f := range v.frames {
		if want(f) {
			return f
		}
	}
	b.Fatalf("the socket ended: %v", v.why)
	return frame{}
}

func pause(b *testing.B, d time.Duration) {
	if err := clk.Sleep(b.Context(), clk.Now()+d); err != nil {
		b.Fatal(err)
	}
}

// edge sets the pedal and gives the time to the first frame that shows it.
func (p *program) edge(v *viewer, closed bool) time.Duration {
	p.b.Helper()
	level, word := "0", []byte(`"squeeze":false`)
	if closed {
		level, word = "1", []byte(`"squeeze":true`)
	}
	before := clk.Now()
	if _, err := p.line.Write([]byte("squeeze " + level + "\n")); err != nil {
		p.b.Fatal(err)
	}
	return v.until(p.b, func(f frame) bool { return bytes.Contains(f.data, word) }).at - before
}

// squeezes is the count of the sensitivity test that a snapshot shows.
func squeezes(data []byte) int {
	_, rest, _ := bytes.Cut(data, []byte(`"screening":{"squeezes":`))
	n, _, _ := bytes.Cut(rest, []byte(","))
	count, _ := strconv.Atoi(string(n)) // no run: none
	return count
}

func report(b *testing.B, name string, ds []time.Duration) (p50, p99 float64) {
	slices.Sort(ds)
	p50 = float64(ds[len(ds)/2]) / 1e6
	p99 = float64(ds[len(ds)*99/100]) / 1e6
	b.ReportMetric(p50, name+"_p50_ms")
	b.ReportMetric(p99, name+"_p99_ms")
	return p50, p99
}

func build(b *testing.B) string {
	b.Helper()
	bin := filepath.Join(b.TempDir(), "tallyhood")
	c := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", bin, "tallyhood/cmd/tallyhood")
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if text, err := c.CombinedOutput(); err != nil {
		b.Fatalf("build: %v\n%s", err, text)
	}
	return bin
}

func serve(b *testing.B, bin string) *program {
	b.Helper()
	dir := b.TempDir()
	sock := filepath.Join(dir, "board")
	return start(b, exec.Command(bin, "serve", "--addr", "127.0.0.1:0", "--sim-socket", sock, "--store", filepath.Join(dir, "store"), "--sound", "off"), sock)
}

// toScreening drives a run to its sensitivity test, so that the engine and the
// journal work for each squeeze.
func toScreening(b *testing.B, v *viewer) {
	b.Helper()
	var me string
	var last wire.Snapshot
	v.until(b, func(f frame) bool {
		var w wire.Welcome
		if json.Unmarshal(f.data, &w) == nil && w.Type == "welcome" {
			me = w.Client
		}
		return me != ""
	})
	see := func(want func() bool) {
		v.until(b, func(f frame) bool {
			if bytes.Contains(f.data, []byte(`"type":"snapshot"`)) {
				last = wire.Snapshot{}
				if err := json.Unmarshal(f.data, &last); err != nil {
					b.Fatal(err)
				}
			}
			return want()
		})
	}
	do := func(c wire.Command) {
		c.Type, c.ID, c.Fence = "command", c.Do, last.Fence
		if last.Run != nil {
			c.Run = last.Run.Run
		}
		if err := v.c.WriteJSON(c); err != nil {
			b.Fatal(err)
		}
	}
	do(wire.Command{Do: "take_lease"})
	see(func() bool { return last.Driver == me })
	do(wire.Command{Do: "open", Open: &wire.Open{Wearer: "hs-014", Facepiece: "corrie-m", Rules: "us-osha", Agent: "bitter", Tester: demo.Testers()[0]}})
	see(func() bool { return last.Run != nil })
	for _, q := range last.Run.Questions {
		do(wire.Command{Do: string(procedure.DoAnswer), Input: procedure.Input{Question: q.ID, Yes: true}})
	}
	do(wire.Command{Do: string(procedure.DoAbstained), Input: procedure.Input{For: time.Hour}})
	do(wire.Command{Do: string(procedure.DoGoOn)})
	see(func() bool { return last.Run.Stage == procedure.Screening })
}

// BenchmarkEdgeToBrowser: edge on the board's socket to the first websocket
// frame that shows the contact, and to the one that counts the squeeze, which
// by the rule of the contacts is 40 ms after the first edge. The bare loop is
// measured in turns with it.
func BenchmarkEdgeToBrowser(b *testing.B) {
	box := serve(b, build(b))
	v := box.view(wire.Tester)
	toScreening(b, v)
	sock := filepath.Join(b.TempDir(), "floor")
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), floorSocket+"="+sock)
	bare := start(b, c, sock)
	w := bare.view("")
	w.until(b, func(frame) bool { return true })

	for b.Loop() { // once: a sensitivity test takes thirty squeezes
		var shown, counted, low []time.Duration
		had := 0 // this comes first: later the sensitivity test may be full
		for range 25 {
			before := clk.Now()
			box.edge(v, true)
			count := 0
			counted = append(counted, v.until(b, func(f frame) bool { count = squeezes(f.data); return count > had }).at-before)
			had = count
			pause(b, 60*time.Millisecond)
			box.edge(v, false)
			pause(b, 150*time.Millisecond) // some four a second, as people squeeze
		}
		for i := range 400 {
			closed := i%2 == 0
			low = append(low, bare.edge(w, closed))
			pause(b, 3*time.Millisecond)
			shown = append(shown, box.edge(v, closed))
			pause(b, 3*time.Millisecond) // some 6 ms closed are noise: nothing is counted
		}
		l50, l99 := report(b, "floor", low)
		s50, s99 := report(b, "shown", shown)
		report(b, "counted", counted)
		b.ReportMetric(s50/l50, "ratio_p50")
		b.ReportMetric(s99/l99, "ratio_p99")
		b.ReportMetric(box.rss(), "rss_MB")
	}
}

// BenchmarkWatchers: ten snapshots a second to many pages that watch, and to
// the tester's page among them.
func BenchmarkWatchers(b *testing.B) {
	bin := build(b)
	for _, n := range []int{100, 1000} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			box := serve(b, bin)
			own := box.view(wire.Tester)
			var watch []*viewer
			for range n {
				watch = append(watch, box.view(wire.Trainer))
			}
			pause(b, 500*time.Millisecond)
			for b.Loop() {
				var mine, theirs []time.Duration
				for i := range 50 {
					before := clk.Now()
					mine = append(mine, box.edge(own, i%2 == 0))
					word := []byte(fmt.Sprintf(`"squeeze":%t`, i%2 == 0))
					for _, v := range watch {
						theirs = append(theirs, v.until(b, func(f frame) bool { return bytes.Contains(f.data, word) }).at-before)
					}
					pause(b, 100*time.Millisecond-(clk.Now()-before))
				}
				report(b, "tester", mine)
				report(b, "watcher", theirs)
				b.ReportMetric(box.rss(), "rss_MB")
			}
		})
	}
}

// BenchmarkStart: start of the program to its first answer, memory at rest,
// size of the program without symbols.
func BenchmarkStart(b *testing.B) {
	bin := build(b)
	st, err := os.Stat(bin)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var took []time.Duration
		var rss float64
		for range 10 {
			before := clk.Now()
			box := serve(b, bin)
			r, err := http.Get(box.base + "/healthz")
			if err != nil {
				b.Fatal(err)
			}
			r.Body.Close()
			took = append(took, clk.Now()-before)
			rss = box.rss()
			_ = box.cmd.Process.Kill()
		}
		report(b, "start", took)
		b.ReportMetric(rss, "idle_rss_MB")
		b.ReportMetric(float64(st.Size())/1e6, "binary_MB")
	}
}
