// SPDX-License-Identifier: Apache-2.0

package hub_test

import (
	"fmt"
	"log/slog"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"tallyhood/console/hub"
	"tallyhood/device/clock"
)

func newHub(t *testing.T) (*hub.Hub, *clock.Clock, *atomic.Int32) {
	t.Helper()
	clk := clock.New(1)
	left := new(atomic.Int32)
	h := &hub.Hub{
		Message: func(c *hub.Client, data []byte) { c.Join(string(data)) },
		Left:    func(*hub.Client) { left.Add(1) },
		Log:     slog.New(slog.DiscardHandler),
		Tick:    func(d time.Duration) (<-chan struct{}, func()) { return clk.Wake(clk.Now() + d) },
		Wall:    func() time.Time { return clock.Moment().Add(time.Hour) }, // no deadline is met by chance
	}
	return h, clk, left
}

func dial(t *testing.T, s *httptest.Server, topic string) *websocket.Conn {
	t.Helper()
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(s.URL, "http"), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.WriteMessage(websocket.TextMessage, []byte(topic)); err != nil {
		t.Fatal(err)
	}
	return c
}

func wait(t *testing.T, clk *clock.Clock, what string, done func() bool) {
	t.Helper()
	for end := clk.Now() + time.Minute; !done(); {
		if clk.Now() > end {
			t.Fatal("it never came to this: " + what)
		}
		if err := clk.Sleep(t.Context(), clk.Now()+2*time.Millisecond); err != nil {
			t.Fatal(err)
		}
	}
}

// A client that reads nothing holds nobody up, loses messages in between, and
// gets the last one when it reads again.
func TestSlowClientLosesAllButTheLast(t *testing.T) {
	h, clk, _ := newHub(t)
	s := httptest.NewServer(h)
	defer s.Close()
	defer h.Close()
	slow, quick := dial(t, s, "a"), dial(t, s, "a")
	defer slow.Close()
	defer quick.Close()
	wait(t, clk, "two clients", func() bool { return h.Topics()["a"] == 2 })

	const n = 3000
	pad := strings.Repeat(".", 16<<10) // 48 MB in all: more than the kernel takes in
	last := fmt.Sprintf("%06d", n-1)
	got := make(chan int, 1)
	go func() {
		read := 0
		for {
			_, data, err := quick.ReadMessage()
			if err != nil {
				break
			}
			read++
			if strings.HasPrefix(string(data), last) {
				break
			}
		}
		got <- read
	}()
	published := make(chan error, 1)
	go func() {
		var err error
		for i := 0; i < n && err == nil; i++ {
			err = h.Publish("a", []byte(fmt.Sprintf("%06d", i)+pad))
		}
		published <- err
	}()
	// One that waited for the slow one would wait for its deadline of an hour.
	late, stop := clk.Wake(clk.Now() + 2*time.Minute)
	defer stop()
	select {
	case err := <-published:
		if err != nil {
			t.Fatal(err)
		}
	case <-late:
		t.Fatal("Publish waits for a client that does not read")
	}
	t.Logf("of %d messages the quick client read %d", n, <-got)

	read, before := 0, -1
	for {
		_, data, err := slow.ReadMessage()
		if err != nil {
			t.Fatalf("after %d messages, without the last: %v", read, err)
		}
		read++
		var k int
		if _, err := fmt.Sscanf(string(data[:6]), "%d", &k); err != nil || k <= before {
			t.Fatalf("message %q after %d", data[:6], before)
		}
		before = k
		if k == n-1 {
			break
		}
	}
	if read == n {
		t.Errorf("the slow client got all %d messages: it was not slow", n)
	}
}

// Whoever joins gets the newest message of the topic, and of no other.
func TestJoinGetsTheNewest(t *testing.T) {
	h, _, _ := newHub(t)
	s := httptest.NewServer(h)
	defer s.Close()
	defer h.Close()
	for _, p := range [][2]string{{"a", "old"}, {"a", "new"}, {"b", "other"}} {
		if err := h.Publish(p[0], []byte(p[1])); err != nil {
			t.Fatal(err)
		}
	}
	c := dial(t, s, "a")
	defer c.Close()
	if _, data, err := c.ReadMessage(); err != nil || string(data) != "new" {
		t.Errorf("got %q, %v; want new", data, err)
	}
}

// Clients that go, kindly or not, leave nothing behind.
func TestLeavesAreCleaned(t *testing.T) {
	h, clk, left := newHub(t)
	s := httptest.NewServer(h)
	before := runtime.NumGoroutine()
	const n = 40
	for i := range n {
		c := dial(t, s, "a")
		switch i % 3 {
		case 0:
			_ = c.WriteMessage(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseNormalClosure, ""))
		case 1: // more than a client may say
			_ = c.WriteMessage(websocket.TextMessage, make([]byte, 64<<10))
		}
		c.Close()
	}
	wait(t, clk, "all have left", func() bool { return left.Load() == n })
	if got := h.Topics(); len(got) != 0 {
		t.Errorf("topics %v after all have left", got)
	}
	stay := dial(t, s, "a")
	defer stay.Close()
	wait(t, clk, "one client", func() bool { return h.Topics()["a"] == 1 })
	h.Close()
	if left.Load() != n+1 {
		t.Errorf("Close returned when %d of %d had left", left.Load(), n+1)
	}
	if _, _, err := stay.ReadMessage(); err == nil {
		t.Error("after Close a client still reads")
	}
	if _, r, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(s.URL, "http"), nil); err == nil || r == nil || r.StatusCode != 503 {
		t.Errorf("a client after Close: %v", err)
	}
	s.Close()
	wait(t, clk, fmt.Sprintf("at most %d goroutines", before), func() bool { return runtime.NumGoroutine() <= before })
}

// What is said twice is done once and gets the same answer; only so many answers
// are kept.
func TestOnce(t *testing.T) {
	var o hub.Once
	done := 0
	act := func() any { done++; return done }
	for i, c := range []struct {
		key  string
		want int
	}{{"a-1", 1}, {"a-2", 2}, {"a-1", 1}, {"a-2", 2}, {"", 3}, {"", 4}} {
		if got := o.Do(c.key, act); got != c.want {
			t.Errorf("%d: %q answered %v, want %d", i, c.key, got, c.want)
		}
	}
	done = 0
	for i := range 5000 {
		o.Do(fmt.Sprint("k", i), act)
	}
	if got := o.Do("k4999", act); got != 5000 {
		t.Errorf("the newest is forgotten: %v", got)
	}
	if got := o.Do("k0", act); got != 5001 {
		t.Errorf("the oldest of 5000 is still kept: nothing bounds them")
	}
}
