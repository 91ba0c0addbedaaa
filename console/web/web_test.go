// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"tallyhood/console/web"
	"tallyhood/console/wire"
	"tallyhood/device/clock"
	"tallyhood/store/memory"
)

// asks remembers what pages asked for.
type asks struct {
	mu    sync.Mutex
	roles []wire.Role
	all   []wire.Command
	left  int
}

func (a *asks) commands() []wire.Command {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.all)
}

func (a *asks) as() []wire.Role {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.roles)
}

// fakeTime goes on only when a test says so.
type fakeTime struct{ at atomic.Int64 }

func (f *fakeTime) now() time.Duration   { return time.Duration(f.at.Load()) }
func (f *fakeTime) pass(d time.Duration) { f.at.Add(int64(d)) }

func (a *asks) Command(_ context.Context, _ string, role wire.Role, c wire.Command) wire.Reply {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.roles, a.all = append(a.roles, role), append(a.all, c)
	return wire.Reply{Type: "reply", ID: c.ID, OK: true}
}

func (a *asks) Leave(string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.left++
}

func newServer(t *testing.T) (*web.Server, *httptest.Server, *asks) {
	t.Helper()
	return newServerAt(t, new(fakeTime).now, nil)
}

// newServerAt has a time of its own for those who guess codes, and knows other boxes.
func newServerAt(t *testing.T, now func() time.Duration, boards []string) (*web.Server, *httptest.Server, *asks) {
	t.Helper()
	clk, a := clock.New(1), &asks{}
	s, err := web.New(web.Config{
		Session: a, Journal: memory.New(), Sim: true, Version: "test", Log: slog.New(slog.DiscardHandler),
		Tick: func(d time.Duration) (<-chan struct{}, func()) { return clk.Wake(clk.Now() + d) },
		Wall: func() time.Time { return clock.Moment().Add(time.Hour) }, // no deadline is met by chance
		Now:  now, Boards: boards, Choices: func(context.Context) wire.Choices { return wire.Choices{} }, Box: func() wire.Box { return wire.Box{Parts: []wire.Part{}, Version: "test"} },
	})
	if err != nil {
		t.Fatal(err)
	}
	h := httptest.NewServer(s.Handler())
	t.Cleanup(func() { s.Close(); h.Close() })
	return s, h, a
}

const none = "(none)"

// ask sends a request whose Host and Origin are given, not derived.
func ask(t *testing.T, s *httptest.Server, method, path, host, origin string, more ...string) *http.Response {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, s.URL+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Host = host
	if origin != none {
		r.Header.Set("Origin", origin)
	}
	for i := 0; i+1 < len(more); i += 2 {
		r.Header.Set(more[i], more[i+1])
	}
	resp, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	csp := resp.Header.Get("Content-Security-Policy")
	if resp.StatusCode != http.StatusSwitchingProtocols && (!strings.Contains(csp, "default-src 'self'") || strings.Contains(csp, "unsafe") ||
		resp.Header.Get("X-Content-Type-Options") != "nosniff") {
		t.Errorf("%s %s, host %q: status %d with policy %q", method, path, host, resp.StatusCode, csp)
	}
	return resp
}

var socket = []string{"Connection", "Upgrade", "Upgrade", "websocket", "Sec-WebSocket-Version", "13", "Sec-WebSocket-Key", "dGhlIHNhbXBsZSBub25jZQ=="}

// Only a page of this box, reached by a name of the loopback, is answered; a
// name that somebody points at the box (rebinding) is not, nor a page from
// elsewhere (cross-site), nor a socket that names no origin.
func TestHostAndOrigin(t *testing.T) {
	_, s, _ := newServer(t)
	_, port, err := net.SplitHostPort(strings.TrimPrefix(s.URL, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	hosts := map[string]bool{}
	for _, name := range []string{"127.0.0.1", "127.9.9.9", "localhost", "[::1]"} {
		hosts[name+":"+port], hosts[name] = true, true
	}
	for _, name := range []string{"hood.example", "127.0.0.1.example", "localhost.example", "example.localhost.example", "192.168.1.20", "10.0.0.1", "0.0.0.0", "[::]", "[fe80::1]", "169.254.169.254", "127.1", "2130706433", "localhost@hood.example"} {
		hosts[name+":"+port], hosts[name] = false, false
	}
	cells := 0
	for host, good := range hosts {
		origins := map[string]bool{none: true, "http://" + host: true}
		for _, o := range []string{"null", "https://" + host, "http://hood.example", "http://" + host + ".example", "http://localhost:1", "http://127.0.0.1", "http://[::1]:1", "file://", "ws://" + host, "chrome-extension://abc", "http://x:y@hood.example:" + port, "//" + host, host} {
			if !origins[o] {
				origins[o] = false
			}
		}
		for origin, same := range origins {
			for path, live := range map[string]bool{"/healthz": false, "/api/records": false, "/live": true} {
				want := http.StatusOK
				var more []string
				if live {
					want, more = http.StatusSwitchingProtocols, socket
				}
				switch {
				case !good:
					want = http.StatusMisdirectedRequest
				case !same, live && origin == none:
					want = http.StatusForbidden
				}
				cells++
				if got := ask(t, s, "GET", path, host, origin, more...).StatusCode; got != want {
					t.Errorf("%s, host %q, origin %q: %d, want %d", path, host, origin, got, want)
				}
			}
		}
	}
	if cells < 400 {
		t.Errorf("only %d cells", cells)
	}
	t.Logf("%d cells of host, origin and path", cells)
}

func TestGetAlone(t *testing.T) {
	_, s, a := newServer(t)
	host := strings.TrimPrefix(s.URL, "http://")
	paths := []string{"/", "/bench", "/wearer", "/gallery", "/records", "/records/r000001", "/page/state.js", "/live", "/healthz", "/api/choices", "/api/box", "/api/records", "/api/records/r000001", "/nothing", "/page/../web.go", "/page/"}
	for _, p := range paths {
		for _, m := range []string{"POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND"} {
			if got := ask(t, s, m, p, host, none).StatusCode; got < 300 {
				t.Errorf("%s %s: %d", m, p, got)
			}
		}
	}
	for p, want := range map[string]int{"/healthz": 200, "/api/choices": 200, "/api/box": 200, "/api/records": 200, "/api/records/r000001": 404, "/nothing": 404, "/page/state.js": 200, "/page/none.js": 404, "/live": 403} {
		if got := ask(t, s, "GET", p, host, none).StatusCode; got != want {
			t.Errorf("GET %s: %d, want %d", p, got, want)
		}
	}
	if len(a.roles) > 0 {
		t.Errorf("requests became commands: %v", a.roles)
	}
}

type page struct {
	t *testing.T
	c *websocket.Conn
}

func open(t *testing.T, s *httptest.Server) page {
	t.Helper()
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(s.URL, "http")+"/live", http.Header{"Origin": {s.URL}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return page{t, c}
}

func (p page) say(text string) {
	p.t.Helper()
	if err := p.c.WriteMessage(websocket.TextMessage, []byte(text)); err != nil {
		p.t.Fatal(err)
	}
}

func (p page) hear() map[string]any {
	p.t.Helper()
	_, data, err := p.c.ReadMessage()
	if err != nil {
		p.t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(data, &m); err != nil {
		p.t.Fatalf("%v: %s", err, data)
	}
	return m
}

// A page says first what it is, once; then it may ask, as that and nothing else.
func TestARoleIsForTheLifeOfASocket(t *testing.T) {
	srv, s, a := newServer(t)
	srv.Publish(wire.Snapshot{Type: "snapshot", Number: 7})
	p := open(t, s)
	for _, text := range []string{`{`, `{"type":"command","id":"1","do":"go_on"}`, `{"type":"hello","role":"owner"}`, `{"type":"hello"}`, `[]`} {
		p.say(text)
		if m := p.hear(); m["ok"] != false || m["why"] != "unknown" {
			t.Errorf("%s was answered %v", text, m)
		}
	}
	p.say(`{"type":"hello","role":"trainer","contract":1}`)
	seen := map[string]bool{}
	for range 2 {
		m := p.hear()
		seen[fmt.Sprint(m["type"])] = true
		if m["type"] == "snapshot" && m["number"] != 7.0 {
			t.Errorf("the first snapshot is %v", m)
		}
	}
	if !seen["welcome"] || !seen["snapshot"] {
		t.Errorf("a hello was answered with %v", seen)
	}
	p.say(`{"type":"hello","role":"tester","contract":1}`)
	if m := p.hear(); m["why"] != "not_allowed" {
		t.Errorf("a second hello was answered %v", m)
	}
	p.say(`{"type":"command","id":"2","do":"go_on","role":"tester"}`)
	if m := p.hear(); m["id"] != "2" {
		t.Errorf("the command was answered %v", m)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.roles) != 1 || a.roles[0] != wire.Trainer {
		t.Errorf("the session was asked as %v, want once, as a trainer", a.roles)
	}
}

// A command that a client says twice, as after a double tap or a message that was
// sent anew, is done once and gets its reply twice; another client's command may
// have the same id.
func TestACommandSaidTwiceIsDoneOnce(t *testing.T) {
	_, s, a := newServer(t)
	for n, role := range []string{"tester", "trainer"} {
		p := open(t, s)
		p.say(`{"type":"hello","role":"` + role + `","contract":1}`)
		if m := p.hear(); m["type"] != "welcome" {
			t.Fatalf("a hello was answered %v", m)
		}
		for _, id := range []string{"7", "7", "8", "7"} {
			p.say(`{"type":"command","id":"` + id + `","do":"go_on"}`)
			if m := p.hear(); m["id"] != id || m["ok"] != true {
				t.Errorf("command %s was answered %v", id, m)
			}
		}
		if got := len(a.commands()); got != 3*n+2 {
			t.Errorf("after the %s the session was asked %d times, want two for each client", role, got-3*n)
		}
		// Another command under an id that was answered is another command.
		p.say(`{"type":"command","id":"7","do":"welfare"}`)
		if m := p.hear(); m["id"] != "7" || m["ok"] != true || len(a.commands()) != 3*n+3 {
			t.Errorf("a stop under the id of another command was answered %v, and the session asked %d times", m, len(a.commands()))
		}
	}
}

// However a hello falls between two snapshots, the numbers a page sees rise and
// end with the last.
func TestNumbersRise(t *testing.T) {
	srv, s, _ := newServer(t)
	const last = 4000
	var all sync.WaitGroup
	for range 12 {
		p := open(t, s)
		all.Go(func() {
			if p.c.WriteMessage(websocket.TextMessage, []byte(`{"type":"hello","role":"trainer","contract":1}`)) != nil {
				t.Error("a page was sent away")
				return
			}
			for n := 0.0; n < last; {
				var m struct {
					Type   string
					Number float64
				}
				if err := p.c.ReadJSON(&m); err != nil {
					t.Errorf("after snapshot %v: %v", n, err)
					return
				}
				if m.Type != "snapshot" {
					continue
				}
				if m.Number < n {
					t.Errorf("snapshot %v after %v", m.Number, n)
					return
				}
				n = m.Number
			}
		})
	}
	for i := range last {
		srv.Publish(wire.Snapshot{Type: "snapshot", Number: uint64(i + 1)})
	}
	all.Wait()
}
