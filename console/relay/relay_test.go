// SPDX-License-Identifier: Apache-2.0

package relay_test

import (
	"context"
	"encoding/json"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"tallyhood/console/relay"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
)

// A box stands for another box: it answers each hello with what a test wants.
type box struct {
	t       *testing.T
	address string
	answer  func(c *websocket.Conn, hello map[string]any)
	refuse  bool

	mu      sync.Mutex
	server  *http.Server
	origins []string
	said    []string
}

func (b *box) start() {
	b.t.Helper()
	l, err := net.Listen("tcp", b.address)
	if err != nil {
		b.t.Fatal(err)
	}
	b.address = l.Addr().String()
	b.server = &http.Server{ReadHeaderTimeout: time.Minute, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b.mu.Lock()
		b.origins = append(b.origins, r.Header.Get("Origin"))
		b.mu.Unlock()
		if b.refuse || r.URL.Path != "/live" {
			http.Error(w, "no", http.StatusForbidden)
			return
		}
		c, err := (&websocket.Upgrader{}).Upgrade(w, r, nil)
		if err != nil {
			return
		}
		defer c.Close()
		var hello map[string]any
		if c.ReadJSON(&hello) == nil {
			b.answer(c, hello)
		}
		for {
			_, data, err := c.ReadMessage()
			if err != nil {
				return
			}
			b.mu.Lock()
			b.said = append(b.said, string(data))
			b.mu.Unlock()
		}
	})}
	go func() { _ = b.server.Serve(l) }()
	b.t.Cleanup(func() { b.server.Close() })
}

func send(c *websocket.Conn, v any) {
	if data, err := json.Marshal(v); err == nil {
		_ = c.WriteMessage(websocket.TextMessage, data)
	}
}

func snapshot(number uint64) wire.Snapshot {
	run := wire.Run{Run: "r000007", Wearer: "Ilse Brandvold", Tester: "Oda Fennimore", Code: "4711", Facepiece: "Corrie half mask"}
	return wire.Snapshot{Type: "snapshot", Number: number, Run: &run, Parked: []wire.Run{run}, Inputs: wire.Inputs{Lines: []wire.Line{}}}
}

// watch runs a relay over boxes and gives what it publishes.
func watch(t *testing.T, boxes map[string]*box) <-chan wire.Board {
	t.Helper()
	clk := clock.New(1)
	return watchBy(t, boxes, clk.Now, func(d time.Duration) (<-chan struct{}, func()) { return clk.Wake(clk.Now() + d) })
}

// watchBy does so by a clock of its own.
func watchBy(t *testing.T, boxes map[string]*box, now func() time.Duration, tick func(time.Duration) (<-chan struct{}, func())) <-chan wire.Board {
	t.Helper()
	out := make(chan wire.Board, 1000)
	r := &relay.Relay{
		Publish: func(b wire.Board) { out <- b }, Now: now, Chance: func() float64 { return 0 }, Log: slog.New(slog.DiscardHandler), Tick: tick,
		Wall: func() time.Time { return clock.Moment().Add(time.Hour) }, // no deadline is met by chance
	}
	for name, b := range boxes {
		r.Places = append(r.Places, relay.Place{Name: name, Address: b.address})
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { r.Run(ctx); close(ended) }()
	t.Cleanup(func() { stop(); <-ended })
	return out
}

func until(t *testing.T, from <-chan wire.Board, what string, fits func(wire.Board) bool) wire.Board {
	t.Helper()
	for range 1000 {
		select {
		case b := <-from:
			if fits(b) {
				return b
			}
		case <-t.Context().Done():
			t.Fatal(what + " never came")
		}
	}
	t.Fatal(what + " never came")
	return wire.Board{}
}

// A box is joined as a trainer, its snapshots come masked whatever it sends, and
// nothing else is said to it.
func TestBoxIsWatchedAndMasked(t *testing.T) {
	b := &box{t: t, address: "127.0.0.1:0", answer: func(c *websocket.Conn, hello map[string]any) {
		send(c, wire.Welcome{Type: "welcome", Contract: wire.Contract})
		send(c, wire.Board{Type: "board", Name: "third", State: wire.BoardLive})
		if hello["role"] == "trainer" {
			send(c, snapshot(5))
		}
	}}
	b.start()
	got := until(t, watch(t, map[string]*box{"Bench B": b}), "a snapshot", func(m wire.Board) bool { return m.Snapshot != nil })
	text, err := json.Marshal(got)
	if err != nil {
		t.Fatal(err)
	}
	if got.Name != "Bench B" || got.State != wire.BoardLive || got.Snapshot.Number != 5 || got.Snapshot.Run.Facepiece == "" || got.AgeMS < 0 {
		t.Errorf("got %s", text)
	}
	for _, secret := range []string{"Brandvold", "Fennimore", "4711", "third"} {
		if strings.Contains(string(text), secret) {
			t.Errorf("%q was handed on: %s", secret, text)
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.said) > 0 || b.origins[0] != "http://"+b.address {
		t.Errorf("after the hello it said %q, from %q", b.said, b.origins)
	}
}

// A waitedClock goes on to a tick once that is waited for, so that whoever waits
// is never late. One waits at a time.
type waitedClock struct {
	mu sync.Mutex
	at time.Duration
}

func (c *waitedClock) now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *waitedClock) tick(d time.Duration) (<-chan struct{}, func()) {
	ch := make(chan struct{}, 1)
	soon := time.AfterFunc(10*time.Millisecond, func() {
		c.mu.Lock()
		c.at += d
		c.mu.Unlock()
		ch <- struct{}{}
	})
	return ch, func() { soon.Stop() }
}

// A box that falls silent is told of with a growing age, within two seconds.
func TestAgeOfASilentBox(t *testing.T) {
	b := &box{t: t, address: "127.0.0.1:0", answer: func(c *websocket.Conn, _ map[string]any) {
		send(c, wire.Welcome{Type: "welcome", Contract: wire.Contract})
		send(c, snapshot(1))
	}}
	b.start()
	var clk waitedClock
	news := watchBy(t, map[string]*box{"Bench B": b}, clk.now, clk.tick)
	mine := func(state wire.BoardState) func(wire.Board) bool {
		return func(m wire.Board) bool { return m.Name == "Bench B" && m.State == state }
	}
	until(t, news, "the box", mine(wire.BoardLive))
	age := until(t, news, "its age", func(m wire.Board) bool { return m.Name == "Bench B" && m.AgeMS > 500 })
	if age.Snapshot == nil || age.State != wire.BoardLive {
		t.Errorf("a silent box is told as %+v", age)
	}
	again := until(t, news, "its age again", func(m wire.Board) bool { return m.Name == "Bench B" && m.AgeMS > age.AgeMS })
	if again.AgeMS-age.AgeMS > 2000 {
		t.Errorf("the age was told after %d ms only", again.AgeMS-age.AgeMS)
	}
}

func TestOtherVersionAndRefusal(t *testing.T) {
	older := &box{t: t, address: "127.0.0.1:0", answer: func(c *websocket.Conn, _ map[string]any) {
		send(c, wire.Welcome{Type: "welcome", Contract: wire.Contract + 1})
		send(c, snapshot(1))
	}}
	strange := &box{t: t, address: "127.0.0.1:0", answer: func(c *websocket.Conn, _ map[string]any) {
		_ = c.WriteMessage(websocket.TextMessage, []byte(`{"type":"snapshot","number":1,"wearer_of_all":"Ilse"}`))
	}}
	shut := &box{t: t, address: "127.0.0.1:0", refuse: true}
	boxes := map[string]*box{"older": older, "strange": strange, "shut": shut}
	for _, b := range boxes {
		b.start()
	}
	gone := &box{t: t, address: "127.0.0.1:1"}
	boxes["gone"] = gone
	news := watch(t, boxes)
	want := map[string]wire.BoardState{"older": wire.BoardOther, "strange": wire.BoardOther, "shut": wire.BoardRefused, "gone": wire.BoardLost}
	for len(want) > 0 {
		m := until(t, news, "all four", func(m wire.Board) bool { return want[m.Name] != "" })
		if m.State != want[m.Name] || m.Snapshot != nil || m.AgeMS != -1 {
			t.Errorf("%s is told as %+v, want %s", m.Name, m, want[m.Name])
		}
		delete(want, m.Name)
	}
}

func TestALineThatBreaksIsTakenUpAgain(t *testing.T) {
	var calls int
	var mu sync.Mutex
	b := &box{t: t, address: "127.0.0.1:0", answer: func(c *websocket.Conn, _ map[string]any) {
		mu.Lock()
		calls++
		n := calls
		mu.Unlock()
		send(c, wire.Welcome{Type: "welcome", Contract: wire.Contract})
		send(c, snapshot(uint64(n)))
		if n < 3 {
			c.Close()
		}
	}}
	b.start()
	news := watch(t, map[string]*box{"Bench B": b})
	until(t, news, "the loss", func(m wire.Board) bool { return m.State == wire.BoardLost && m.Snapshot != nil })
	until(t, news, "the third connection", func(m wire.Board) bool { return m.State == wire.BoardLive && m.Snapshot.Number == 3 })
}

func TestCheck(t *testing.T) {
	for address, good := range map[string]bool{
		"127.0.0.1:8081": true, "127.9.9.9:1": true, "localhost:8081": true, "[::1]:8081": true, "192.168.1.20:8080": true, "10.0.0.1:80": true, "172.16.0.9:80": true,
		"169.254.3.4:80": true, "[fe80::1]:80": true, "[fd00::5]:8080": true, "[::ffff:192.168.1.5]:80": true,
		"8.8.8.8:80": false, "[2001:db8::1]:80": false, "hood.example:80": false, "127.0.0.1": false, "127.0.0.1:": false, "127.0.0.1:0": false, "127.0.0.1:99999": false,
		"0.0.0.0:80": false, "127.1:80": false, "2130706433:80": false, "http://127.0.0.1:80": false, "127.0.0.1:80/x": false, "localhost.example:80": false, "localhost:x": false, "": false,
		"[::ffff:8.8.8.8]:80": false, "user@127.0.0.1:80": false, "224.0.0.1:80": false,
	} {
		if err := relay.Check([]relay.Place{{Name: "B", Address: address}}); (err == nil) != good {
			t.Errorf("%q: %v", address, err)
		}
	}
	ok := relay.Place{Name: "B", Address: "127.0.0.1:1"}
	for what, places := range map[string][]relay.Place{
		"no name": {{Address: "127.0.0.1:1"}}, "twice": {ok, ok}, "too long": {{Name: strings.Repeat("x", 61), Address: "127.0.0.1:1"}},
		"too many": make([]relay.Place, relay.Most+1),
	} {
		if relay.Check(places) == nil {
			t.Errorf("%s: taken", what)
		}
	}
	if err := relay.Check(nil); err != nil {
		t.Errorf("no boards: %v", err)
	}
}
