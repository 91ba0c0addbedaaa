// SPDX-License-Identifier: Apache-2.0

// Package hub keeps the websocket clients: each has one place for the newest
// message of each of its topics and a short queue for what is meant for it
// alone, so that a slow one loses old snapshots and nobody waits for it. Line
// is the other end of such a connection. It must not know what a message says.
package hub

import (
	"crypto/rand"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// Limits of one client.
const (
	readLimit    = 16 << 10
	writeTimeout = 5 * time.Second
	pongTimeout  = 30 * time.Second
	pingEvery    = 10 * time.Second
	ownQueue     = 32
	mostClients  = 5000
)

// A Hub keeps clients. Its methods may be called from any goroutine.
type Hub struct {
	// Message is called for each message of a client, one at a time for each.
	Message func(c *Client, data []byte)
	// Left is called once when a client is gone; may be nil.
	Left func(c *Client)
	Log  *slog.Logger
	// Tick returns a channel that receives once after a stretch of real time.
	Tick func(d time.Duration) (<-chan struct{}, func())
	// Wall is the wall time that deadlines of the network are set by.
	Wall func() time.Time

	mu      sync.Mutex
	clients map[*Client]bool
	newest  map[string]*websocket.PreparedMessage
	closed  bool
	done    sync.WaitGroup
}

// A Client is one browser.
type Client struct {
	hub   *Hub
	id    string
	conn  *websocket.Conn
	own   chan []byte
	fresh chan struct{}
	gone  chan struct{}
	once  sync.Once

	topics []string // guarded by hub.mu

	mu   sync.Mutex
	next map[string]*websocket.PreparedMessage // what waits, by topic
}

// ID names the client; it cannot be guessed.
func (c *Client) ID() string { return c.id }

// ServeHTTP upgrades a request whose origin the caller has checked.
func (h *Hub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	up := websocket.Upgrader{CheckOrigin: func(*http.Request) bool { return true }, HandshakeTimeout: writeTimeout}
	h.mu.Lock()
	full := h.closed || len(h.clients) >= mostClients
	h.mu.Unlock()
	if full {
		http.Error(w, "no place for another client", http.StatusServiceUnavailable)
		return
	}
	conn, err := up.Upgrade(w, r, nil)
	if err != nil {
		h.Log.Debug("websocket", "err", err)
		return
	}
	c := &Client{hub: h, id: rand.Text(), conn: conn, own: make(chan []byte, ownQueue), fresh: make(chan struct{}, 1), gone: make(chan struct{})}
	h.mu.Lock()
	if h.closed {
		h.mu.Unlock()
		conn.Close()
		return
	}
	if h.clients == nil {
		h.clients = map[*Client]bool{}
	}
	h.clients[c] = true
	h.done.Add(1)
	h.mu.Unlock()
	go c.write()
	c.read()
	c.drop()
	h.mu.Lock()
	delete(h.clients, c)
	h.mu.Unlock()
	if h.Left != nil {
		h.Left(c)
	}
	h.done.Done()
}

// Publish makes data the newest message of a topic. It never waits for a
// client.
func (h *Hub) Publish(topic string, data []byte) error {
	m, err := websocket.NewPreparedMessage(websocket.TextMessage, data)
	if err != nil {
		return fmt.Errorf("prepare message: %w", err)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.newest == nil {
		h.newest = map[string]*websocket.PreparedMessage{}
	}
	h.newest[topic] = m
	for c := range h.clients {
		if slices.Contains(c.topics, topic) {
			c.put(topic, m)
		}
	}
	return nil
}

// Topics says how many clients each topic has.
func (h *Hub) Topics() map[string]int {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := map[string]int{}
	for c := range h.clients {
		for _, t := range c.topics {
			out[t]++
		}
	}
	return out
}

// Close sends every client away and waits for them.
func (h *Hub) Close() {
	h.mu.Lock()
	h.closed = true
	for c := range h.clients {
		c.drop()
	}
	h.mu.Unlock()
	h.done.Wait()
}

// Join puts a client into topics, and out of those it was in. What waits for it
// of a topic that it leaves is dropped. It takes the newest messages and its
// places under one lock, so that nothing is missed between.
func (c *Client) Join(topics ...string) {
	c.hub.mu.Lock()
	defer c.hub.mu.Unlock()
	was := c.topics
	c.topics = topics
	c.mu.Lock()
	for t := range c.next {
		if !slices.Contains(topics, t) {
			delete(c.next, t)
		}
	}
	c.mu.Unlock()
	for _, t := range topics {
		if m := c.hub.newest[t]; m != nil && !slices.Contains(was, t) {
			c.put(t, m)
		}
	}
}

// Topics are those that the client is in.
func (c *Client) Topics() []string {
	c.hub.mu.Lock()
	defer c.hub.mu.Unlock()
	return c.topics
}

// Move puts every client of one topic into another.
func (h *Hub) Move(from, to string) {
	h.mu.Lock()
	var all []*Client
	for c := range h.clients {
		if slices.Contains(c.topics, from) {
			all = append(all, c)
		}
	}
	delete(h.newest, from)
	h.mu.Unlock()
	for _, c := range all {
		c.Join(to)
	}
}

// Forget drops the newest message of a topic that is not coming back.
func (h *Hub) Forget(topic string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.newest, topic)
}

// put replaces the message of a topic that waits; the hub's lock is held.
func (c *Client) put(topic string, m *websocket.PreparedMessage) {
	c.mu.Lock()
	if c.next == nil {
		c.next = map[string]*websocket.PreparedMessage{}
	}
	c.next[topic] = m
	c.mu.Unlock()
	select {
	case c.fresh <- struct{}{}:
	default:
	}
}

// Send queues a message for this client alone. A client whose queue is full
// does not read and is sent away.
func (c *Client) Send(data []byte) {
	select {
	case c.own <- data:
	default:
		c.drop()
	}
}

func (c *Client) drop() {
	c.once.Do(func() {
		close(c.gone)
		c.conn.Close()
	})
}

func (c *Client) read() {
	c.conn.SetReadLimit(readLimit)
	later := func() { _ = c.conn.SetReadDeadline(c.hub.Wall().Add(pongTimeout)) }
	later()
	c.conn.SetPongHandler(func(string) error { later(); return nil })
	for {
		kind, data, err := c.conn.ReadMessage()
		if err != nil {
			return
		}
		later()
		if kind == websocket.TextMessage {
			c.hub.Message(c, data)
		}
	}
}

// write is the only writer of the connection. What is meant for this client
// goes before the snapshot.
func (c *Client) write() {
	defer c.drop()
	ping, stop := c.hub.Tick(pingEvery)
	defer func() { stop() }()
	for {
		var err error
		_ = c.conn.SetWriteDeadline(c.hub.Wall().Add(writeTimeout))
		select {
		case data := <-c.own:
			err = c.conn.WriteMessage(websocket.TextMessage, data)
		case <-c.fresh:
			c.mu.Lock()
			all := c.next
			c.next = nil
			c.mu.Unlock()
			for _, m := range all {
				_ = c.conn.SetWriteDeadline(c.hub.Wall().Add(writeTimeout))
				if err = c.conn.WritePreparedMessage(m); err != nil {
					break
				}
			}
		case <-ping:
			_ = c.conn.SetWriteDeadline(c.hub.Wall().Add(writeTimeout))
			err = c.conn.WriteMessage(websocket.PingMessage, nil)
			ping, stop = c.hub.Tick(pingEvery)
		case <-c.gone:
			return
		}
		if err != nil {
			return
		}
	}
}
