// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"io"
	"net/http"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/record"
)

// described is what the OpenAPI document says of all of it. There is no page
// of documents: huma's would load scripts from elsewhere.
func described(version string) huma.Config {
	if version == "" {
		version = "unknown"
	}
	c := huma.DefaultConfig("tallyhood: the job around the run", version)
	c.Info.Description = "People, facepieces, kit, records, follow-up and figures of one box. Everything is answered by the box alone. " +
		"A change names who does it (by), comes from a page of the same origin (Origin), and is refused in words: see Problem. " +
		"Nothing is changed by a GET. All examples are of Harrowgate Stoneworks, a yard that does not exist."
	c.Info.License = &huma.License{Name: "Apache-2.0", Identifier: "Apache-2.0"}
	c.OpenAPIPath, c.DocsPath, c.SchemasPath = "", "", ""
	c.CreateHooks = nil // no links to schemas in answers
	c.Components.Schemas = newRegistry()
	c.Servers = []*huma.Server{{URL: Base, Description: "This box."}}
	for _, t := range [][2]string{
		{"People", "Who wears what, who is cleared, who is due."}, {"Import", "Tables of people."}, {"Facepieces", "Models, stock and cleaning."},
		{"Kit", "Hoods, nebulisers, solutions and mist checks."}, {"Records", "Runs that have ended, their papers, signatures and corrections."},
		{"Day", "Today, and how many fit in a day."}, {"Insight", "Statistics without names."}, {"Drill", "Practice with a simulated wearer, its scores, and agreement with trainers."}, {"House", "The employer's rules, and what is thrown away."},
		{"Evidence", "Signed heads and claims."}, {"Backup", "Encrypted copies."}, {"Box", "Jobs, and these documents."},
	} {
		c.Tags = append(c.Tags, &huma.Tag{Name: t[0], Description: t[1]})
	}
	return c
}

func newRegistry() huma.Registry {
	r := huma.NewMapRegistry("#/components/schemas/", schemaName)
	r.RegisterTypeAlias(reflect.TypeFor[record.Seconds](), reflect.TypeFor[float64]()) // written in seconds
	return r
}

// schemaName tells types of the same name apart.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Name() == "" {
		return name
	}
	switch path := t.PkgPath(); {
	case strings.HasSuffix(path, "console/record") && name != "Record":
		return "Record" + name
	case strings.HasSuffix(path, "console/wire") && (name == "Run" || name == "Kit"):
		return "Shown" + name // the programme has runs, and the interface a kit
	case strings.HasSuffix(path, "console/review"):
		return "Review" + name
	case strings.HasSuffix(path, "console/archive"):
		return "Archive" + name
	case strings.HasSuffix(path, "console/drill"):
		return "Drill" + name
	case strings.HasSuffix(path, "console/procedure"):
		return "Procedure" + name
	}
	return name
}

// describe serves the documents and finishes them.
func (a *api) describe() {
	for _, d := range []struct {
		path, id, summary string
		text              *[]byte
	}{
		{"/openapi.json", "openAPI", "This document, OpenAPI 3.1", &a.openAPI},
		{"/asyncapi.json", "asyncAPI", "The live socket's messages, AsyncAPI 3.0", &a.async},
	} {
		add(a, route{method: http.MethodGet, path: d.path, id: d.id, tag: "Box", summary: d.summary, gives: typeJSON},
			func(context.Context, *struct{}) (*file, error) {
				return a.file("tallyhood"+strings.ReplaceAll(d.path, "/", " "), typeJSON, func(_ context.Context, w io.Writer) error {
					_, err := w.Write(*d.text)
					return err
				}), nil
			})
	}
	finish(a.huma.OpenAPI().Components.Schemas)
}

// exemplify puts a route's examples into the document, and the parts that huma
// does not see.
func (a *api) exemplify(r route) {
	item := a.huma.OpenAPI().Paths[r.path]
	op := map[string]*huma.Operation{http.MethodGet: item.Get, http.MethodPost: item.Post, http.MethodPut: item.Put}[r.method]
	if r.takes == "multipart/form-data" {
		op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			r.takes: {Schema: a.huma.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[RestoreBody](), true, "RestoreBody")},
		}}
	}
	if op.RequestBody != nil {
		op.RequestBody.Required = true
		if m := op.RequestBody.Content[typeJSON]; m != nil && r.in != nil {
			m.Example = r.in
		}
	}
	if r.out != nil {
		op.Responses["200"].Content[typeJSON].Example = r.out
	}
	for status, response := range op.Responses {
		if m := response.Content["application/problem+json"]; m != nil {
			m.Example = exampleProblem(status)
			response.Description = failures[status]
			if r.gives != "" && r.method == http.MethodGet {
				response.Description += " A page in words where the request asks for text/html."
				response.Content["text/html"] = &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString}, Example: examplePage}
			}
		}
	}
	if ok := op.Responses["200"]; ok != nil && ok.Description == "OK" {
		ok.Description = "Done as asked."
	}
}

var failures = map[string]string{
	"403": "The request comes from another page.", "404": "There is no such thing.", "408": "The body took too long to come.",
	"409": "Refused; why says what stands in the way.", "413": "The body is too large.", "415": "The body is of another type.",
	"422": "The request is not in the form that is described.", "500": "The fault is the box's.", "501": "This box does not do that.",
	"503": "The box is busy, or nothing can be saved now.",
}

func exampleProblem(status string) *Problem {
	switch status {
	case "403":
		return problem(http.StatusForbidden, WhyOrigin, "Only a page of this box may ask for this.")
	case "404":
		return problem(http.StatusNotFound, WhyNotKnown, "There is no such thing here.")
	case "408":
		return problem(http.StatusRequestTimeout, WhyTooSlow, "request body read timeout")
	case "409":
		return problem(http.StatusConflict, WhyRunOpen, "A run is open. This waits for its end.")
	case "413":
		return tooLarge()
	case "415":
		return problem(http.StatusUnsupportedMediaType, WhyContentType, "The body has to be application/json.")
	case "422":
		p := problem(http.StatusUnprocessableEntity, WhyMalformed, "validation failed")
		p.Errors = []Fault{{"expected required property by to be present", "body"}}
		return p
	case "501":
		return problemOf(ErrNotThere)
	case "503":
		return problem(http.StatusServiceUnavailable, WhyBusy, "The box is busy with other work. Try again in a moment.")
	}
	return problem(http.StatusInternalServerError, WhyFailed, "This did not work. The log says more.")
}

// words of types that are strings in Go and may only be these in JSON. The
// outcome is empty while a run is open.
var words = map[reflect.Type][]any{
	reflect.TypeFor[procedure.FacepieceKind](): {string(procedure.Disposable), string(procedure.HalfMask), string(procedure.FullFace)},
	reflect.TypeFor[procedure.Outcome]():       {"", string(procedure.Pass), string(procedure.Fail), string(procedure.NotValid), string(procedure.CannotTaste)},
	reflect.TypeFor[programme.Trigger]():       triggers(),
}

func triggers() (out []any) {
	for _, t := range programme.Triggers() {
		out = append(out, string(t))
	}
	return out
}

// finish makes the schemas say what Go writes and huma does not know of: null
// for a pointer to a struct and for a map that was not made, and the words that
// a type allows.
func finish(registry huma.Registry) {
	for name, s := range registry.Map() {
		t := registry.TypeFromRef("#/components/schemas/" + name)
		if t == nil {
			continue
		}
		for _, f := range reflect.VisibleFields(t) {
			tag, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			prop := s.Properties[tag]
			if prop == nil || f.Anonymous {
				continue
			}
			optional := strings.Contains(f.Tag.Get("json"), ",omit")
			kind := f.Type
			if kind.Kind() == reflect.Pointer {
				kind = kind.Elem()
			}
			switch {
			case f.Type.Kind() == reflect.Pointer && prop.Ref != "" && !optional:
				s.Properties[tag] = &huma.Schema{Description: prop.Description, AnyOf: []*huma.Schema{{Ref: prop.Ref}, {Type: "null"}}}
			case f.Type.Kind() == reflect.Map && !optional, f.Type == reflect.TypeFor[*record.Seconds]():
				prop.Nullable = true
			case words[kind] != nil:
				prop.Enum = words[kind]
				prop.PrecomputeMessages()
			}
		}
		s.PrecomputeMessages()
	}
}
