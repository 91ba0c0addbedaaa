// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
	"tallyhood/store/memory"
)

const (
	host  = "localhost:8427"
	agnes = "Agnes Thorley"
)

// today is the day on which tests play.
var today = time.Date(2026, 9, 14, 9, 0, 0, 0, time.UTC)

// A site is a box of Harrowgate Stoneworks with its API.
type site struct {
	t       testing.TB
	store   store.Store
	desk    *programme.Desk
	rules   map[string]procedure.RuleSet
	handler http.Handler
	cfg     Config
	check   validator.Validator // of requests and answers against the document
	log     *bytes.Buffer

	runOpen, untrusted bool
	seen               map[string]map[int]bool // statuses by operation
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// The document is the same for every site, and reading it is most of a test's
// time, so the validator is made once.
var theValidator = sync.OnceValues(func() (validator.Validator, error) {
	document, err := documentOf()
	if err != nil {
		return nil, err
	}
	d, err := libopenapi.NewDocument(document)
	if err != nil {
		return nil, err
	}
	v, errs := validator.NewValidator(d)
	return v, errors.Join(errs...)
})

func documentOf() ([]byte, error) {
	h, err := New(Config{Version: "1.0.0", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return nil, err
	}
	return h.(*api).openAPI, nil
}

func newSite(t testing.TB, change func(*Config)) *site {
	t.Helper()
	s := &site{t: t, store: memory.New(), log: &bytes.Buffer{}, seen: map[string]map[int]bool{}}
	var err error
	s.rules, err = procedure.Rules()
	must(t, err)
	log := slog.New(slog.NewTextHandler(s.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	now := func() (time.Time, bool) { return today, !s.untrusted }
	ring := sealing.NewRing(s.store.Table(sealing.Table), rand.Reader)
	s.desk, err = programme.New(t.Context(), programme.Config{Store: s.store, Ring: ring, Rules: s.rules, Now: now, Log: log, Random: rand.Reader})
	must(t, err)
	s.cfg = Config{
		Desk: s.desk, Journal: s.store, Ring: ring, Rules: s.rules, Now: now, RunOpen: func() bool { return s.runOpen }, Log: log, Version: "1.0.0", Patience: time.Minute,
		Names: func(ctx context.Context, w procedure.Wearer) string {
			w, err := s.desk.OpenWearer(ctx, w)
			if err != nil {
				return "(erased)"
			}
			return w.Name
		},
	}
	if change != nil {
		change(&s.cfg)
	}
	s.handler, err = New(s.cfg)
	must(t, err)
	s.check, err = theValidator()
	must(t, err)
	return s
}

// A got is an answer.
type got struct {
	t      testing.TB
	status int
	header http.Header
	body   []byte
}

// ask sends a request as a page of the box does, and holds the answer against
// the document. A body that is no string or bytes is sent as JSON.
func (s *site) ask(method, path string, body any, change ...func(*http.Request)) *got {
	s.t.Helper()
	var r *http.Request
	switch b := body.(type) {
	case nil:
		r = httptest.NewRequest(method, "http://"+host+Base+path, nil)
	case string:
		r = httptest.NewRequest(method, "http://"+host+Base+path, strings.NewReader(b))
	case []byte:
		r = httptest.NewRequest(method, "http://"+host+Base+path, bytes.NewReader(b))
	default:
		text, err := json.Marshal(b)
		must(s.t, err)
		r = httptest.NewRequest(method, "http://"+host+Base+path, bytes.NewReader(text))
	}
	if body != nil {
		r.Header.Set("Content-Type", typeJSON)
	}
	if method != http.MethodGet {
		r.Header.Set("Origin", "http://"+host)
	}
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, r)
	g := &got{s.t, w.Code, w.Header(), w.Body.Bytes()}
	s.holds(method, path, g)
	return g
}

// holds checks an answer against the document, and what all answers have.
func (s *site) holds(method, path string, g *got) {
	s.t.Helper()
	for name, want := range map[string]string{"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"} {
		if have := g.header.Get(name); have != want {
			s.t.Errorf("%s %s: %s is %q, want %q", method, path, name, have, want)
		}
	}
	if g.status >= 400 {
		var p Problem
		if err := json.Unmarshal(g.body, &p); err != nil || p.Why == "" || p.Detail == "" || p.Status != g.status || g.header.Get("Content-Type") != "application/problem+json" {
			s.t.Errorf("%s %s: %d with %s %s is no problem that says why", method, path, g.status, g.header.Get("Content-Type"), g.body)
		}
	}
	if method == http.MethodHead {
		return
	}
	id := s.operation(method, path)
	if id == "" {
		if g.status != http.StatusNotFound && g.status != http.StatusMethodNotAllowed {
			s.t.Errorf("%s %s: %d for what the document does not know", method, path, g.status)
		}
		return
	}
	if s.seen[id] == nil {
		s.seen[id] = map[int]bool{}
	}
	s.seen[id][g.status] = true
	request := httptest.NewRequest(method, "http://"+host+Base+path, nil)
	response := &http.Response{StatusCode: g.status, Header: g.header.Clone(), Body: io.NopCloser(bytes.NewReader(g.body)), Request: request}
	if ok, errs := s.check.ValidateHttpResponse(request, response); !ok {
		for _, e := range errs {
			s.t.Errorf("%s %s: %d does not hold to the document: %s: %s", method, path, g.status, e.Message, e.Reason)
			for _, v := range e.SchemaValidationErrors {
				s.t.Errorf("   %s %s", v.FieldPath, v.Reason)
			}
		}
	}
}

// operation is the operation's id of a request.
func (s *site) operation(method, path string) string {
	r := httptest.NewRequest(method, "http://"+host+Base+path, nil)
	a := s.handler.(*api)
	_, pattern := a.mux.Handler(r)
	_, route, _ := strings.Cut(pattern, " "+Base)
	item := a.huma.OpenAPI().Paths[route]
	if item == nil {
		return ""
	}
	op := map[string]*huma.Operation{http.MethodGet: item.Get, http.MethodPost: item.Post, http.MethodPut: item.Put}[method]
	if op == nil {
		return ""
	}
	return op.OperationID
}

// is fails unless the answer has this status, and reads it into v.
func (g *got) is(status int, v any) *got {
	g.t.Helper()
	if g.status != status {
		g.t.Fatalf("status %d, want %d: %s", g.status, status, g.body)
	}
	if v != nil {
		if err := json.Unmarshal(g.body, v); err != nil {
			g.t.Fatalf("answer %s: %v", g.body, err)
		}
	}
	return g
}

// why fails unless the answer is refused with this status and key.
func (g *got) why(status int, why string) {
	g.t.Helper()
	var p Problem
	g.is(status, &p)
	if p.Why != why {
		g.t.Fatalf("why %q, want %q: %s", p.Why, why, g.body)
	}
}

// enter fills the site through the API: a facepiece, kit, and a person.
func (s *site) enter() (person string) {
	s.t.Helper()
	put := func(path string, form any) {
		s.t.Helper()
		s.ask(http.MethodPut, path, object{"form": form, "by": agnes}).is(200, nil)
	}
	put("/facepieces/corrie-m", exampleFacepieceForm())
	put("/facepieces/beacon-m", exampleFacepieces().Facepieces[1].FacepieceForm)
	put("/hoods/hood-1", programme.HoodForm{Mark: "H1", AcrossMM: 305, TallMM: 356})
	put("/hoods/hood-2", programme.HoodForm{Mark: "H2", AcrossMM: 400, TallMM: 356})
	put("/nebulisers/bitter-strong-1", exampleNebuliser().NebuliserForm)
	put("/solutions/bitter-strong-260901", exampleSolution().SolutionForm)
	var e Entered
	s.ask(http.MethodPost, "/people", object{"form": exampleForm(), "by": agnes}).is(200, &e)
	return e.ID
}

// play writes a run into the journal and lets the desk take it in; without an
// outcome it stays open.
func (s *site) play(run, person string, outcome procedure.Outcome) {
	s.t.Helper()
	w, err := s.desk.SealWearer(s.t.Context(), person, "Tomasz Zieliński")
	must(s.t, err)
	facts := []procedure.Fact{
		procedure.RunOpened{
			Run: run, Rules: s.rules["us-osha"], Agent: "bitter", Wearer: w, Tester: agnes, Wall: today.Format(time.RFC3339), WallQuality: "confirmed",
			Facepiece: programme.Facepiece{ID: "corrie-m", FacepieceForm: exampleFacepieceForm()}.ForRun(), Kit: true, Hood: s.desk.Hood("hood-2"),
		},
		procedure.Entered{Stage: procedure.Screening},
	}
	for range 7 {
		facts = append(facts, procedure.Squeezed{Part: procedure.PartScreening})
	}
	if outcome == procedure.Pass || outcome == procedure.Fail {
		facts = append(facts, procedure.BinSet{Squeezes: 7, Bin: 10},
			procedure.Took{Kit: procedure.Kit{ID: "bitter-strong-1", Role: procedure.Strong, Agent: "bitter", Solution: "bitter-strong-260901"}}, procedure.Entered{Stage: procedure.Dosing})
	}
	if outcome != "" {
		facts = append(facts, procedure.Ended{Outcome: outcome, At: time.Minute})
	}
	var drafts []store.Draft
	for i, f := range facts {
		body, err := procedure.Encode(procedure.Dated{At: time.Duration(i) * time.Second, Fact: f})
		must(s.t, err)
		drafts = append(drafts, store.Draft{Stream: run, Kind: f.Kind(), Version: procedure.FactVersion, Body: body})
	}
	_, err = s.store.Append(s.t.Context(), drafts...)
	must(s.t, err)
	if outcome != "" {
		must(s.t, s.desk.Ended(s.t.Context(), run))
	}
}

// The parts of a test say what they were asked.
type parts struct {
	mu       sync.Mutex
	asked    []string
	fail     error
	wait     chan struct{} // the importer waits for it, if not nil
	long     bool          // the printer writes more than is held back
	breaks   bool          // and fails after it
	notFirst bool
	restored []byte
}

func (p *parts) note(format string, args ...any) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.asked = append(p.asked, fmt.Sprintf(format, args...))
	return p.fail
}

func (p *parts) all(c *Config) {
	c.Tables, c.Printer, c.Evidence, c.Backup = p, p, proofs{p}, copies{p}
}

// Read takes lines and semicolons for a table.
func (p *parts) Read(ctx context.Context, name string, file []byte, _ Reading) (Table, error) {
	if p.wait != nil {
		select {
		case <-p.wait:
		case <-ctx.Done():
			return Table{}, ctx.Err()
		}
	}
	t := Table{Encoding: "utf-8", Delimiter: ";"}
	for line := range strings.Lines(string(file)) {
		t.Rows = append(t.Rows, strings.Split(strings.TrimSpace(line), ";"))
	}
	return t, p.note("read %s", name)
}

func (p *parts) Print(_ context.Context, w io.Writer, paper Paper) error {
	if err := p.note("print %+v", paper); err != nil {
		return err
	}
	if paper.Kind == RecordJSON {
		_, err := io.WriteString(w, recordText)
		return err
	}
	size := 10
	if p.long {
		size = heldBack + 1
	}
	if _, err := w.Write(bytes.Repeat([]byte("x"), size)); err != nil {
		return err
	}
	if p.breaks {
		return errors.New("the paper tore")
	}
	return nil
}

// recordText is the least that is a record.
const recordText = `{"schema":"tallyhood.record/1","outcome":"pass","reason":"","rules":"uk-hse","agent":"bitter","screening":{"squeezes":7,"doubtful":0,"added":0,"taken":0,"bin":10},
	"fit":null,"corrections":[],"inputs":{"squeeze":7,"taste":1,"step":3,"noise_edges":0,"supervised":true,"faults":[]}}`

type proofs struct{ *parts }

func (e proofs) Head(context.Context) (SignedHead, error) { return exampleHead(), e.note("head") }

func (e proofs) Claim(_ context.Context, run string) (Claim, error) {
	return Claim{Run: run, Text: "T", Head: "h", Proof: []string{}}, e.note("claim %s", run)
}

func (e proofs) Check(_ context.Context, claim string) (Checked, error) {
	return exampleChecked(), e.note("check %s", claim)
}

type copies struct{ *parts }

func (b copies) Write(_ context.Context, w io.Writer, passphrase string) error {
	if err := b.note("backup %d", len(passphrase)); err != nil {
		return err
	}
	_, err := io.WriteString(w, "age")
	return err
}

func (b copies) Folder(_ context.Context, folder, _ string, _ Progress) (BackedUp, error) {
	return BackedUp{folder + "/x", 3, true}, b.note("folder %s", folder)
}

func (b copies) Made(context.Context) ([]Generation, error) {
	return exampleBackups().Generations, b.note("backups")
}

func (b copies) First(context.Context) (bool, error) { return !b.notFirst, nil }

func (b copies) Restore(_ context.Context, r io.Reader, passphrase, by string) (Restored, error) {
	var err error
	if b.restored, err = io.ReadAll(r); err != nil {
		return Restored{}, err
	}
	return Restored{Entries: uint64(len(b.restored)), Later: programme.LaterUnknown, Restart: true}, b.note("restore %s%s", passphrase, by)
}
