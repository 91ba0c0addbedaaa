// SPDX-License-Identifier: Apache-2.0

// Package api is the HTTP interface of the job around the runs: people,
// facepieces, kit, records, follow-up and figures, under /api/v1. It describes
// itself in OpenAPI 3.1, and the live socket beside it in AsyncAPI 3.0. What a
// request asks for is done by the parts behind it. It must not decide what they
// decide, change anything on a GET, keep a run waiting, or log what requests
// hold.
//
// What a GET under /evidence may leave is no change of what the box holds: where
// the newest entry, or that of the claim, stands under no head of this box's key
// yet, one is signed and kept, as after each verdict. Given out and not kept it
// would be a signature that the box does not know of.
package api

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"tallyhood/console/archive"
	"tallyhood/console/figures"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// Base is the path under which the handler has to be mounted.
const Base = "/api/v1"

// Config is what the routes stand on. Desk, Journal, Ring, Rules, Now, RunOpen
// and Log are needed; for the other parts see parts.go.
type Config struct {
	Desk    *programme.Desk
	Journal store.Journal
	Ring    *sealing.Ring
	Rules   map[string]procedure.RuleSet
	Names   archive.Names // opens sealed names; nil: they stay sealed
	// Now is wall time, and whether it is good enough for due dates.
	Now func() (t time.Time, trusted bool)
	// RunOpen says whether a run is open: what writes the store's file anew is
	// refused then.
	RunOpen func() bool
	Log     *slog.Logger

	Tables   TableReader // nil: package report/table
	Printer  Printer     // nil: package report
	Evidence Evidence
	Backup   Backup
	Pages    fs.FS // modules, styles and words of the pages, for a review in one file

	OpenRuns func() []programme.OpenRun // the runs that are under way, those that wait among them, for the day's list; nil: none is known
	// Hold keeps runs from being opened until release is called, which is never nil.
	// Why says why not: WhyRunShown when one of the people is on the Bench still with
	// a run that has ended. Nil: runs may be opened at any time.
	Hold       func(ctx context.Context, people ...string) (release func(), why string)
	LastBackup func() time.Time // zero: there was none; nil: nobody knows

	Version string
	Moment  func() time.Time // now, for deadlines of connections; nil: the server's hold
	Random  io.Reader        // for ids of jobs and uploads; nil: crypto/rand.Reader
	Life    context.Context  // ends what runs in the background; nil: nothing does
	// Patience is how long a request waits for work before it is answered with a
	// job; a second when 0.
	Patience time.Duration
}

type api struct {
	cfg     Config
	mux     *http.ServeMux
	huma    huma.API
	bounds  map[string]bound // by pattern of the mux
	slots   chan struct{}
	jobs    jobs
	uploads uploads

	figures      *figures.Figures
	insightCache insightCache
	drills       drills

	openAPI []byte
	async   []byte
}

// New makes the handler for everything under Base.
func New(cfg Config) (http.Handler, error) {
	if cfg.Random == nil {
		cfg.Random = rand.Reader
	}
	if cfg.Life == nil {
		cfg.Life = context.Background()
	}
	if cfg.Tables == nil {
		cfg.Tables = tables{}
	}
	cfg.Patience = cmp.Or(cfg.Patience, time.Second)
	if cfg.Journal != nil {
		cfg.Journal = archive.Follow(cfg.Journal)
	}
	a := &api{cfg: cfg, mux: http.NewServeMux(), bounds: map[string]bound{}, slots: make(chan struct{}, mostHeavy)}
	if cfg.Desk != nil {
		a.figures = figures.New(cfg.Desk)
		go a.count()
	}
	if cfg.Printer == nil {
		a.cfg.Printer = papers{a}
	}
	a.huma = humago.NewWithPrefix(a.mux, Base, described(cfg.Version))
	a.people()
	a.imports()
	a.facepieces()
	a.kit()
	a.runs()
	a.days()
	a.insights()
	a.house()
	a.evidence()
	a.reviews()
	a.drillRoutes()
	a.backups()
	a.jobRoutes()
	a.describe()

	var err error
	if a.openAPI, err = json.Marshal(a.huma.OpenAPI()); err != nil {
		return nil, fmt.Errorf("OpenAPI document: %w", err)
	}
	if a.async, err = asyncAPI(cfg.Version); err != nil {
		return nil, fmt.Errorf("AsyncAPI document: %w", err)
	}
	return a, nil
}

// A route is an operation as it is described.
type route struct {
	method, path string
	id           string // of the operation
	tag          string
	summary      string
	about        string // more of it
	body         int64  // most bytes of the body; 0: mostJSON where there is one
	takes        string // content type of the body; empty: JSON
	time         time.Duration
	gives        string // content type of a file; empty: JSON
	schema       any    // of a file that is JSON
	result       any    // of a job: the type of what it comes to in the end
	conflict     bool   // may be refused
	part         bool   // needs a part that may not be there
	heavy        bool   // few at once
	in, out      any    // examples
}

// add registers an operation. Errors of the handler become problems.
func add[I, O any](a *api, r route, handle func(context.Context, *I) (*O, error)) {
	changes := r.method != http.MethodGet
	_, rawBody := reflect.TypeFor[I]().FieldByName("RawBody")
	_, jsonBody := reflect.TypeFor[I]().FieldByName("Body")
	b := bound{time: r.time, file: r.gives != "" && !changes}
	if b.time == 0 {
		b.time = quick
	}
	if rawBody || jsonBody || r.takes != "" {
		b.body, b.types = r.body, []string{r.takes}
		if b.body == 0 {
			b.body = mostJSON
		}
		if r.takes == "" {
			b.types = []string{typeJSON}
		}
	}
	op := huma.Operation{
		Method: r.method, Path: r.path, OperationID: r.id, Tags: []string{r.tag}, Summary: r.summary, Description: r.about,
		MaxBodyBytes: b.body + 1, BodyReadTimeout: -1, RejectUnknownQueryParameters: true,
		Responses: map[string]*huma.Response{}, Errors: []int{http.StatusForbidden, http.StatusUnprocessableEntity, http.StatusServiceUnavailable, http.StatusInternalServerError},
	}
	if strings.Contains(r.path, "{") || changes || r.part {
		op.Errors = append(op.Errors, http.StatusNotFound)
	}
	if b.body > 0 {
		op.Errors = append(op.Errors, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusRequestTimeout)
	}
	if changes || r.conflict || r.gives != "" && r.part {
		op.Errors = append(op.Errors, http.StatusConflict)
	}
	if r.part {
		op.Errors = append(op.Errors, http.StatusNotImplemented)
	}
	registry := a.huma.OpenAPI().Components.Schemas
	switch {
	case r.gives != "":
		media, _, _ := strings.Cut(r.gives, ";")
		schema := &huma.Schema{Type: huma.TypeString}
		switch {
		case r.schema != nil:
			schema = registry.Schema(reflect.TypeOf(r.schema), true, "")
		case media == typeJSON:
			schema = &huma.Schema{Type: huma.TypeObject}
		case !strings.HasPrefix(media, "text/"):
			schema.Format = "binary"
		}
		op.Responses["200"] = &huma.Response{Description: "The file.", Content: map[string]*huma.MediaType{media: {Schema: schema}}, Headers: map[string]*huma.Param{
			"Content-Disposition": {Description: "The file's name.", Schema: &huma.Schema{Type: huma.TypeString}},
		}}
	case r.result != nil:
		t := reflect.TypeOf(r.result)
		op.Responses["200"] = &huma.Response{Description: "It is done.", Content: map[string]*huma.MediaType{typeJSON: {Schema: registry.Schema(t, true, t.Name())}}}
		op.Responses["202"] = &huma.Response{Description: "It takes longer: ask for the job until it ends.", Content: map[string]*huma.MediaType{typeJSON: {Schema: registry.Schema(reflect.TypeFor[Job](), true, "Job")}}}
	}
	huma.Register(a.huma, op, func(ctx context.Context, in *I) (*O, error) {
		if r.heavy {
			done, err := a.heavy(ctx)
			if err != nil {
				return nil, err
			}
			defer done()
		}
		out, err := handle(ctx, in)
		if err != nil {
			return nil, a.told(r.id, err)
		}
		return out, nil
	})
	a.bounds[r.method+" "+Base+r.path] = b
	a.exemplify(r)
}

// part says that a part is not there.
func part(there bool) error {
	if there {
		return nil
	}
	return ErrNotThere
}

// still refuses what has to wait for the end of a run. One that waits between
// two steps is open as well: its wearer's name is about to be needed, and is in
// the file.
func (a *api) still() error {
	if a.cfg.OpenRuns != nil {
		all := a.cfg.OpenRuns()
		if len(all) > 0 && !slices.ContainsFunc(all, func(r programme.OpenRun) bool { return !r.Parked }) {
			return problem(http.StatusConflict, WhyRunOpen, "A run waits between two steps: "+all[0].Run+". Take it up again and bring it to its end, or stop it; this waits for that.")
		}
	}
	if a.cfg.RunOpen() {
		return problem(http.StatusConflict, WhyRunOpen, "A run is open. This waits for its end.")
	}
	return nil
}

// alone is still, and keeps it so until done is called: for what is about people
// and writes the store's file anew, while no fact of a run can be saved.
func (a *api) alone(ctx context.Context, people ...string) (done func(), err error) {
	if err := a.still(); err != nil {
		return nil, err
	}
	if a.cfg.Hold == nil {
		return func() {}, nil
	}
	done, why := a.cfg.Hold(ctx, people...)
	switch why {
	case "":
		return done, nil
	case WhyBusy:
		return nil, problem(http.StatusConflict, WhyBusy, "A backup or a restore is under way. This waits for its end.")
	case WhyRunShown:
		return nil, problem(http.StatusConflict, WhyRunShown, "A run of this person has ended and still stands on the Bench. Close it there first.")
	}
	return nil, problem(http.StatusConflict, WhyRunOpen, "A run is open. This waits for its end.")
}

// A reply is a JSON answer.
type reply[T any] struct{ Body T }

func answered[T any](v T, err error) (*reply[T], error) {
	if err != nil {
		return nil, err
	}
	return &reply[T]{v}, nil
}

// Nothing is the answer of a change that has nothing more to say.
type Nothing struct {
	OK bool `json:"ok"`
}

func did(err error) (*reply[Nothing], error) { return answered(Nothing{true}, err) }
