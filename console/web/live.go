// SPDX-License-Identifier: Apache-2.0

package web

import (
	"context"
	"encoding/json"
	"net/http"
	"sync"

	"tallyhood/console/hub"
	"tallyhood/console/wire"
)

// roles remembers what each client said it is.
type roles struct {
	mu sync.Mutex
	of map[*hub.Client]wire.Role
}

func (r *roles) set(c *hub.Client, role wire.Role) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.of == nil {
		r.of = map[*hub.Client]wire.Role{}
	}
	r.of[c] = role
}

func (r *roles) get(c *hub.Client) wire.Role {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.of[c]
}

func (r *roles) forget(c *hub.Client) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.of, c)
}

func (s *Server) live(w http.ResponseWriter, r *http.Request) {
	// A browser always names the origin of a socket; what does not is no page.
	if r.Header.Get("Origin") == "" {
		http.Error(w, "The live socket wants an Origin.", http.StatusForbidden)
		return
	}
	s.hub.ServeHTTP(w, r)
}

func (s *Server) left(c *hub.Client) {
	s.roles.forget(c)
	s.cfg.Session.Leave(c.ID())
}

// message takes a Hello first and Commands after it; a client that says
// anything else is told so.
func (s *Server) message(c *hub.Client, data []byte) {
	var m wire.Command
	if err := json.Unmarshal(data, &m); err != nil {
		s.reply(c, wire.Reply{Type: "reply", Why: "unknown"})
		return
	}
	role := s.roles.get(c)
	switch {
	case m.Type == "hello":
		var h wire.Hello
		if json.Unmarshal(data, &h) != nil || (h.Role != wire.Tester && h.Role != wire.Trainer && h.Role != wire.Wearer) {
			s.reply(c, wire.Reply{Type: "reply", Why: "unknown"})
			return
		}
		if role != "" {
			s.reply(c, wire.Reply{Type: "reply", Why: "not_allowed"}) // a role is for the life of a socket
			return
		}
		s.roles.set(c, h.Role)
		s.reply(c, wire.Welcome{Type: "welcome", Client: c.ID(), Contract: wire.Contract, Version: s.cfg.Version, Sim: s.cfg.Sim})
		// A topic without clients was not kept up: bring it up first.
		s.order.Lock()
		defer s.order.Unlock()
		if s.seen.Number > 0 {
			s.send(s.seen, h.Role)
		}
		c.Join(string(h.Role))
	case role == "" || m.Type != "command":
		s.reply(c, wire.Reply{Type: "reply", ID: m.ID, Why: "unknown"})
	default:
		s.reply(c, s.cfg.Session.Command(context.Background(), c.ID(), role, m))
	}
}

func (s *Server) reply(c *hub.Client, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		s.cfg.Log.Error("reply", "err", err)
		return
	}
	c.Send(data)
}
