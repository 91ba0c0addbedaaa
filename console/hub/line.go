// SPDX-License-Identifier: Apache-2.0

package hub

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/gorilla/websocket"
)

// Limits of a line to another box.
const (
	lineLimit   = 1 << 20
	lineTimeout = 5 * time.Second
)

// ErrRefused is the error of a box that answers but takes no connection here.
var ErrRefused = errors.New("the box refuses the connection")

// A Line is a connection to the hub of another box, as a browser has one. One
// goroutine may read and one may write.
type Line struct {
	conn *websocket.Conn
	wall func() time.Time
}

// Dial connects to the live socket of a box at an address HOST:PORT, exactly
// there: no name is looked up beyond it, no proxy asked and no redirection
// followed. It fails with ErrRefused when a box is there and says no.
func Dial(ctx context.Context, address string, wall func() time.Time) (*Line, error) {
	d := websocket.Dialer{HandshakeTimeout: lineTimeout}
	conn, answer, err := d.DialContext(ctx, "ws://"+address+"/live", http.Header{"Origin": {"http://" + address}})
	if err != nil {
		if answer != nil {
			return nil, fmt.Errorf("%s: %w (%s)", address, ErrRefused, answer.Status)
		}
		return nil, fmt.Errorf("%s: %w", address, err)
	}
	conn.SetReadLimit(lineLimit)
	return &Line{conn: conn, wall: wall}, nil
}

// Say sends one text message.
func (l *Line) Say(data []byte) error {
	_ = l.conn.SetWriteDeadline(l.wall().Add(lineTimeout))
	return l.conn.WriteMessage(websocket.TextMessage, data)
}

// Hear waits for the next text message, at most so long.
func (l *Line) Hear(within time.Duration) ([]byte, error) {
	_ = l.conn.SetReadDeadline(l.wall().Add(within))
	for {
		kind, data, err := l.conn.ReadMessage()
		if err != nil || kind == websocket.TextMessage {
			return data, err
		}
	}
}

// Close ends the connection; a Hear that waits returns.
func (l *Line) Close() { l.conn.Close() }
