// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"context"
)

// Bounds of requests.
const (
	mostJSON     = 1 << 20  // bytes of a JSON body
	mostUpload   = 16 << 20 // bytes of a table to import
	mostBackup   = 8 << 30  // bytes of a backup to restore
	quick        = 10 * time.Second
	slow         = 2 * time.Minute
	longest      = 30 * time.Minute
	mostHeavy    = 2 // answers at once that take memory or a whole processor
	heavyPatient = 15 * time.Second
)

// A bound is what one route takes of a request.
type bound struct {
	body  int64         // bytes; 0: none is read
	types []string      // content types of the body
	time  time.Duration // until the answer has to be written
	file  bool          // a browser may be sent here by a link
}

// An answer notes what was written, and keeps deadlines of the connection to
// itself: huma's own would end the context of whatever works longer than the
// body took to come.
type answer struct {
	http.ResponseWriter
	status int
	inPage bool         // a problem is told as a page
	held   bytes.Buffer // the problem until then
}

// holds says whether the answer is a problem that becomes a page.
func (a *answer) holds() bool {
	return a.inPage && a.status >= http.StatusBadRequest && a.Header().Get("Content-Type") == typeProblem
}

func (a *answer) WriteHeader(status int) {
	if a.status == 0 {
		a.status = status
	}
	if !a.holds() {
		a.ResponseWriter.WriteHeader(status)
	}
}

func (a *answer) Write(b []byte) (int, error) {
	if a.status == 0 {
		a.status = http.StatusOK
	}
	if a.holds() {
		return a.held.Write(b)
	}
	return a.ResponseWriter.Write(b)
}

// SetReadDeadline does nothing: see answer.
func (a *answer) SetReadDeadline(time.Time) error { return nil }

// ServeHTTP guards the routes: what is wrong in the same way for all of them is
// refused here.
func (a *api) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	out := &answer{ResponseWriter: w}
	_, pattern := a.mux.Handler(r)
	b, known := a.bounds[pattern]
	out.inPage = b.file && wantsPage(r.Header.Get("Accept"))
	languages := r.Header.Get("Accept-Language")
	defer func() {
		if out.held.Len() > 0 {
			a.page(out, r.URL.Path, languages)
		}
	}()
	defer a.ended(out, r, pattern)

	if p := foreign(r); p != nil {
		writeProblem(out, p)
		return
	}
	if !known {
		a.unknown(out, r)
		return
	}
	if p := b.check(r); p != nil {
		writeProblem(out, p)
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), b.time)
	defer cancel()
	r = r.WithContext(ctx)
	r.Header.Del("Accept") // there is one form of each answer
	connection := http.NewResponseController(w)
	if a.cfg.Moment != nil {
		// Not every writer has deadlines; without them the server's own hold.
		_ = connection.SetWriteDeadline(a.cfg.Moment().Add(b.time + quick))
		_ = connection.SetReadDeadline(a.cfg.Moment().Add(b.time))
	}
	r.Body = &body{Reader: http.MaxBytesReader(out, r.Body, b.body+1), close: r.Body, read: func() {
		if a.cfg.Moment != nil {
			_ = connection.SetReadDeadline(time.Time{})
		}
	}}
	a.mux.ServeHTTP(out, r)
}

// A body calls read once when all of it was read or nobody wants more.
type body struct {
	io.Reader
	close io.Closer
	read  func()
}

func (b *body) Read(p []byte) (int, error) {
	n, err := b.Reader.Read(p)
	if err != nil {
		b.done()
	}
	return n, err
}

func (b *body) Close() error {
	b.done()
	return b.close.Close()
}

func (b *body) done() {
	if b.read != nil {
		b.read()
		b.read = nil
	}
}

// ended logs how a request went, without anything that the request held: names
// stand in queries and bodies.
func (a *api) ended(out *answer, r *http.Request, pattern string) {
	v := recover()
	if v != nil && v != any(http.ErrAbortHandler) {
		// The value may hold what was being written; the stack does not.
		a.cfg.Log.Error("api: panic", "route", pattern, "stack", string(debug.Stack()))
		if out.status == 0 {
			writeProblem(out, problemOf(errors.New("panic")))
			return
		}
		v = http.ErrAbortHandler
	}
	if v != nil {
		panic(v)
	}
	a.cfg.Log.Debug("api", "method", r.Method, "route", pattern, "status", out.status)
}

// foreign refuses what comes from another page. A change has to say that it
// comes from ours; a browser always does.
func foreign(r *http.Request) *Problem {
	refused := problem(http.StatusForbidden, WhyOrigin, "Only a page of this box may ask for this.")
	origin := r.Header.Get("Origin")
	reads := r.Method == http.MethodGet || r.Method == http.MethodHead
	switch {
	case origin == "" && !reads, len(r.Header.Values("Origin")) > 1:
		return refused
	case origin != "":
		u, err := url.Parse(origin)
		if err != nil || (u.Scheme != "http" && u.Scheme != "https") || !strings.EqualFold(u.Host, r.Host) || u.Path != "" || u.User != nil || u.RawQuery != "" {
			return refused
		}
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return nil
	}
	return refused
}

func (b bound) check(r *http.Request) *Problem {
	if b.body == 0 {
		if r.ContentLength > 0 {
			return problem(http.StatusUnprocessableEntity, WhyMalformed, "This takes no body.")
		}
		return nil
	}
	media, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	charset := strings.ToLower(params["charset"])
	if err != nil || len(r.Header.Values("Content-Type")) > 1 || !slices.Contains(b.types, media) ||
		media == "application/json" && charset != "" && charset != "utf-8" || r.Header.Get("Content-Encoding") != "" {
		return problem(http.StatusUnsupportedMediaType, WhyContentType, "The body has to be "+strings.Join(b.types, " or ")+".")
	}
	if r.ContentLength > b.body {
		return tooLarge()
	}
	return nil
}

func tooLarge() *Problem {
	return problem(http.StatusRequestEntityTooLarge, WhyTooLarge, "The body is larger than is taken here.")
}

// unknown answers for a path or method that is not there.
func (a *api) unknown(out *answer, r *http.Request) {
	var others []string
	for _, m := range []string{http.MethodGet, http.MethodPost, http.MethodPut} {
		other := r.Clone(r.Context())
		other.Method = m
		if _, pattern := a.mux.Handler(other); a.bounds[pattern].time > 0 {
			others = append(others, m)
		}
	}
	if len(others) > 0 {
		out.Header().Set("Allow", strings.Join(others, ", "))
		writeProblem(out, problem(http.StatusMethodNotAllowed, WhyMethod, "This path knows other methods."))
		return
	}
	writeProblem(out, problem(http.StatusNotFound, WhyNotKnown, "There is no such path."))
}

func writeProblem(w http.ResponseWriter, p *Problem) {
	w.Header().Set("Content-Type", p.ContentType(""))
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	_ = json.NewEncoder(w).Encode(p) // who asked may be gone
}
