// SPDX-License-Identifier: Apache-2.0

package web

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"sync"

	"tallyhood/console/hub"
	"tallyhood/console/procedure"
	"tallyhood/console/wire"
)

// roles remembers what each client said it is.
type roles struct {
	mu sync.Mutex
	of map[*hub.Client]*member
}

// A member is a client that has said what it is. Messages of one client come
// one at a time; the run is guarded by the server's order, since a pairing ends
// from outside.
type member struct {
	role    wire.Role
	guesses guesses
	once    hub.Once // by a command's id
}

func (r *roles) set(c *hub.Client, m *member) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.of == nil {
		r.of = map[*hub.Client]*member{}
	}
	r.of[c] = m
}

func (r *roles) get(c *hub.Client) *member {
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
// anything else is told so. A wearer's page says Hello again to try a code. A
// command whose id the client has used before is not done again: it gets the
// reply that the first one got.
func (s *Server) message(c *hub.Client, data []byte) {
	var m wire.Command
	if err := json.Unmarshal(data, &m); err != nil {
		s.reply(c, wire.Reply{Type: "reply", Why: "unknown"})
		return
	}
	me := s.roles.get(c)
	switch {
	case m.Type == "hello":
		var h wire.Hello
		if json.Unmarshal(data, &h) != nil || (h.Role != wire.Tester && h.Role != wire.Trainer && h.Role != wire.Wearer) {
			s.reply(c, wire.Reply{Type: "reply", Why: "unknown"})
			return
		}
		s.hello(c, me, h)
	case me == nil:
		s.reply(c, wire.Reply{Type: "reply", ID: m.ID, Why: "unknown"})
	case m.Type == "watch" && me.role == wire.Trainer:
		s.watch(c)
	case m.Type != "command":
		s.reply(c, wire.Reply{Type: "reply", ID: m.ID, Why: "unknown"})
	default:
		// An id that comes with something else is not the same command again: a
		// stop is never taken for one that was answered.
		same := ""
		if m.ID != "" {
			sum := sha256.Sum256(data)
			same = string(sum[:])
		}
		s.reply(c, me.once.Do(same, func() any {
			if me.role == wire.Wearer {
				return s.ofWearer(c, m)
			}
			return s.cfg.Session.Command(context.Background(), c.ID(), me.role, m)
		}))
	}
}

func (s *Server) hello(c *hub.Client, me *member, h wire.Hello) {
	if me != nil && (me.role != wire.Wearer || h.Role != wire.Wearer) {
		s.reply(c, wire.Reply{Type: "reply", Why: "not_allowed"}) // a role is for the life of a socket
		return
	}
	if me == nil {
		me = &member{role: h.Role}
		s.roles.set(c, me)
	}
	welcome := wire.Welcome{Type: "welcome", Client: c.ID(), Contract: wire.Contract, Version: s.cfg.Version, Sim: s.cfg.Sim}
	// A topic without clients was not kept up: bring it up first.
	s.order.Lock()
	defer s.order.Unlock()
	topic := string(h.Role)
	if h.Role == wire.Wearer && h.Code != "" {
		var run string
		run, welcome.Paired = s.pairs.try(&me.guesses, h.Code, s.cfg.Now())
		if run != "" {
			topic = pairTopic + run
		} else if at := c.Topics(); len(at) > 0 {
			topic = at[0] // a wrong code ends no pairing
		}
	}
	topics := s.hub.Topics()
	if !slices.Contains(c.Topics(), topic) {
		topics[topic]++
		if s.seen.Number > 0 {
			s.send(s.seen, topic, topics)
		}
		// What waits of the topic that it leaves is dropped before it is welcomed,
		// so that after a welcome no page hears that it has to be paired.
		c.Join(topic)
	}
	s.reply(c, welcome)
}

// watch puts a trainer's page into the topics of the other boxes as well.
func (s *Server) watch(c *hub.Client) {
	s.order.Lock()
	defer s.order.Unlock()
	topics := []string{string(wire.Trainer)}
	for _, name := range s.cfg.Boards {
		topics = append(topics, boardTopic+name)
		if b, ok := s.boards[name]; ok {
			s.publish(boardTopic+name, b)
		}
	}
	c.Join(topics...)
}

// ofWearer is a command of a wearer's page: for the run it is paired with, to
// stop for the person or to answer to a name, and nothing else.
func (s *Server) ofWearer(c *hub.Client, m wire.Command) wire.Reply {
	run := ""
	s.order.Lock()
	if at := c.Topics(); len(at) > 0 {
		run, _ = strings.CutPrefix(at[0], pairTopic)
		if run == at[0] {
			run = ""
		}
	}
	s.order.Unlock()
	allowed := m.Do == string(procedure.DoWelfare) || m.Do == string(procedure.DoNameSaid)
	if run == "" || !allowed || (m.Run != "" && m.Run != run) {
		return wire.Reply{Type: "reply", ID: m.ID, Why: "not_allowed"}
	}
	// Nothing but the answer goes on: the page has no other say.
	clean := wire.Command{Type: m.Type, ID: m.ID, Run: run, Do: m.Do, Input: procedure.Input{Do: procedure.Verb(m.Do)}}
	if m.Do == string(procedure.DoNameSaid) {
		clean.Input.Yes = m.Input.Yes
	}
	return s.cfg.Session.Command(context.Background(), c.ID(), wire.Wearer, clean)
}

func (s *Server) reply(c *hub.Client, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		s.cfg.Log.Error("reply", "err", err)
		return
	}
	c.Send(data)
}
