// SPDX-License-Identifier: Apache-2.0

// Package web serves the pages, the lists beside them and the live socket to
// browsers of this box. It must not touch a board or decide anything about a
// run: it asks the session.
package web

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/hub"
	"tallyhood/console/wire"
	"tallyhood/store"
)

//go:embed page
var embedded embed.FS

// A Session is what commands of a page go to.
type Session interface {
	Command(ctx context.Context, client string, role wire.Role, c wire.Command) wire.Reply
	Leave(client string)
}

// Config is what the pages are made of.
type Config struct {
	Session Session
	Journal store.Journal
	Choices func(context.Context) wire.Choices
	Sim     bool
	Version string
	Names   archive.Names // of wearers whose names are sealed; may be nil
	Box     func() wire.Box
	Folder  fs.FS // pages from here instead of the built-in ones, while developing
	Log     *slog.Logger
	Tick    func(time.Duration) (<-chan struct{}, func())
	Wall    func() time.Time
	API     http.Handler         // of /api/v1; may be nil
	Boards  []string             // names of the other boxes that Board brings news of
	Now     func() time.Duration // by which a page that guessed wrong waits
}

// A Server is the HTTP side of the console.
type Server struct {
	cfg   Config
	hub   *hub.Hub
	pages fs.FS
	roles roles

	order  sync.Mutex    // a topic gets its snapshots in the order of their numbers
	seen   wire.Snapshot // newest, for topics that nobody was in when it came
	boards map[string]wire.Board
	pairs  pairs
}

// New makes a server.
func New(cfg Config) (*Server, error) {
	if cfg.Journal != nil {
		cfg.Journal = archive.Follow(cfg.Journal)
	}
	s := &Server{cfg: cfg, pages: cfg.Folder, boards: map[string]wire.Board{}}
	if s.pages == nil {
		sub, err := fs.Sub(embedded, "page")
		if err != nil {
			return nil, err
		}
		s.pages = sub
	}
	s.hub = &hub.Hub{Message: s.message, Left: s.left, Log: cfg.Log, Tick: cfg.Tick, Wall: cfg.Wall}
	return s, nil
}

// Publish sends a snapshot to every page, each as its role may see it, and to a
// wearer's page only what concerns the run it is paired with.
func (s *Server) Publish(snap wire.Snapshot) {
	s.order.Lock()
	defer s.order.Unlock()
	topics := s.hub.Topics()
	for t, n := range topics {
		if _, board := strings.CutPrefix(t, boardTopic); !board {
			snap.Watchers += n
		}
	}
	for _, run := range runsOf(s.seen) {
		// Its pages may have left before it was closed.
		if t := pairTopic + run; runOf(snap, run) == nil && topics[t] == 0 {
			s.hub.Forget(t)
		}
	}
	s.seen = snap
	s.pairs.keep(snap)
	for t := range topics {
		run, paired := strings.CutPrefix(t, pairTopic)
		if !paired || runOf(snap, run) != nil {
			s.send(snap, t, topics)
			continue
		}
		// The run was closed: its pages go back to where they are paired.
		s.send(snap, string(wire.Wearer), topics)
		s.hub.Move(t, string(wire.Wearer))
	}
}

// send publishes what belongs to one topic; topics are those that have clients.
func (s *Server) send(snap wire.Snapshot, topic string, topics map[string]int) {
	var m wire.Snapshot
	run, paired := strings.CutPrefix(topic, pairTopic)
	switch {
	case strings.HasPrefix(topic, boardTopic):
		return
	case paired || topic == string(wire.Wearer):
		m = ofPage(snap, run, paired)
	case topic == string(wire.Tester):
		m = withPages(snap, topics)
	default:
		m = wire.ForRole(snap, wire.Role(topic))
	}
	s.publish(topic, m)
}

func (s *Server) publish(topic string, m any) {
	data, err := json.Marshal(m)
	if err == nil {
		err = s.hub.Publish(topic, data)
	}
	if err != nil {
		s.cfg.Log.Error("publish", "topic", topic, "err", err)
	}
}

// Board sends what is known of another box to the trainers' pages that watch.
func (s *Server) Board(b wire.Board) {
	s.order.Lock()
	defer s.order.Unlock()
	s.boards[b.Name] = b
	if s.hub.Topics()[boardTopic+b.Name] > 0 {
		s.publish(boardTopic+b.Name, b)
	}
}

// Close sends the browsers away.
func (s *Server) Close() { s.hub.Close() }

var pageOf = map[string]string{
	"/": "bench.html", "/bench": "bench.html", "/wearer": "wearer.html", "/gallery": "gallery.html", "/records": "records.html",
	"/inputs": "inputs.html", "/people": "people.html", "/facepieces": "facepieces.html", "/kit": "kit.html", "/day": "day.html",
	"/insight": "insight.html", "/drill": "drill.html", "/settings": "settings.html", "/start": "start.html", "/help": "help.html",
}

// Handler answers the requests. A request for a host that is not this machine
// is refused, so that no page from elsewhere can reach the box by a name that it
// points here.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	for path, file := range pageOf {
		if path == "/" {
			path = "/{$}"
		}
		mux.HandleFunc("GET "+path, func(w http.ResponseWriter, r *http.Request) { s.page(w, r, file) })
	}
	mux.HandleFunc("GET /people/{rest...}", func(w http.ResponseWriter, r *http.Request) { s.page(w, r, "people.html") })
	mux.HandleFunc("GET /records/{run}", func(w http.ResponseWriter, r *http.Request) { s.page(w, r, "record.html") })
	mux.HandleFunc("GET /review/{rest...}", func(w http.ResponseWriter, r *http.Request) { s.page(w, r, "review.html") })
	mux.Handle("GET /page/", http.StripPrefix("/page/", http.FileServerFS(s.pages)))
	mux.HandleFunc("GET /live", s.live)
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("ok\n")) })
	mux.HandleFunc("GET /api/choices", func(w http.ResponseWriter, r *http.Request) { s.json(w, s.cfg.Choices(r.Context())) })
	mux.HandleFunc("GET /api/box", func(w http.ResponseWriter, _ *http.Request) { s.json(w, s.cfg.Box()) })
	mux.HandleFunc("GET /api/records", func(w http.ResponseWriter, r *http.Request) {
		lines, err := archive.List(r.Context(), s.cfg.Journal, s.cfg.Names, 200)
		s.answer(w, lines, err)
	})
	mux.HandleFunc("GET /api/records/{run}", func(w http.ResponseWriter, r *http.Request) {
		v, err := archive.Run(r.Context(), s.cfg.Journal, s.cfg.Names, r.PathValue("run"))
		s.answer(w, v, err)
	})
	if s.cfg.API != nil {
		mux.Handle("/api/v1/", s.cfg.API)
	}
	return guard(mux)
}

func (s *Server) page(w http.ResponseWriter, r *http.Request, file string) {
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeFileFS(w, r, s.pages, file)
}

func (s *Server) json(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if err := json.NewEncoder(w).Encode(v); err != nil {
		s.cfg.Log.Debug("answer", "err", err)
	}
}

func (s *Server) answer(w http.ResponseWriter, v any, err error) {
	switch {
	case err == nil:
		s.json(w, v)
	case errors.Is(err, store.ErrNotFound):
		http.Error(w, "There is no such run.", http.StatusNotFound)
	default:
		s.cfg.Log.Error("records", "err", err)
		http.Error(w, "The records cannot be read. The log says more.", http.StatusInternalServerError)
	}
}

// guard checks host and origin and sets the headers that every answer has.
func guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		if !here(r.Host) {
			http.Error(w, "This box answers on its loopback address alone.", http.StatusMisdirectedRequest)
			return
		}
		if o := r.Header.Get("Origin"); o != "" && !sameOrigin(o, r.Host) {
			http.Error(w, "A page from elsewhere may not ask here.", http.StatusForbidden)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// here says whether a Host header names the loopback of this machine.
func here(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.Trim(name, "[]")
	if name == "localhost" {
		return true
	}
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}

func sameOrigin(origin, host string) bool {
	u, err := url.Parse(origin)
	return err == nil && u.Scheme == "http" && u.Host == host
}
