// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"
	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// The routes that pages and other programs rely on.
const promised = `
GET /people
POST /people
GET /people/{id}
PUT /people/{id}
POST /people/{id}/clearance
POST /people/{id}/trigger
POST /people/{id}/left
POST /people/{id}/back
POST /people/{id}/listed
POST /people/{id}/erase
GET /people/{id}/export
POST /people/import/preview
POST /people/import
GET /people.csv
GET /people.xlsx
GET /due.ics
GET /due
GET /facepieces
PUT /facepieces/{id}
POST /facepieces/{id}/cleaned
GET /kit
PUT /hoods/{id}
PUT /nebulisers/{id}
PUT /solutions/{id}
POST /nebulisers/{id}/filled
GET /nebulisers/{id}/sweep
POST /nebulisers/{id}/mist
GET /recipes
GET /recipes/{agent}/{strength}/sheet.pdf
GET /solutions/{id}/label.pdf
GET /solutions/{id}/sweep
GET /runs
GET /runs/{run}
GET /runs/{run}/record.pdf
GET /runs/{run}/record.json
GET /runs/{run}/card.pdf
GET /runs/{run}/card.png
GET /runs/{run}/review
GET /runs/{run}/review.html
GET /cues/{cue}
POST /runs/{run}/sign
POST /runs/{run}/amend
GET /runs.csv
GET /runs.xlsx
GET /day
GET /plan
GET /day/reminders.pdf
GET /day/summary.pdf
GET /insight
GET /insight/testers
GET /drills
GET /drills/offer
GET /drills/agreement
GET /drills/{run}
POST /drills/{run}/judge
GET /policy
PUT /policy
GET /retention
POST /retention
GET /evidence/head
GET /evidence/{run}
GET /evidence/{run}/code.png
GET /evidence/{run}/code.svg
POST /evidence/check
GET /backup
POST /backup
POST /backup/folder
POST /restore
GET /openapi.json
GET /asyncapi.json
GET /jobs/{job}
`

func TestEveryRoute(t *testing.T) {
	h, err := New(Config{})
	must(t, err)
	var have []string
	for path, item := range h.(*api).huma.OpenAPI().Paths {
		for method, op := range operations(item) {
			if op != nil {
				have = append(have, method+" "+path)
			}
		}
	}
	want := strings.Split(strings.TrimSpace(promised), "\n")
	slices.Sort(have)
	slices.Sort(want)
	if !slices.Equal(have, want) {
		t.Errorf("routes\n%s\nwant\n%s", strings.Join(have, "\n"), strings.Join(want, "\n"))
	}
}

func operations(item *huma.PathItem) map[string]*huma.Operation {
	return map[string]*huma.Operation{
		"GET": item.Get, "POST": item.Post, "PUT": item.Put, "DELETE": item.Delete, "PATCH": item.Patch, "HEAD": item.Head, "OPTIONS": item.Options, "TRACE": item.Trace,
	}
}

// The document holds to the schema of OpenAPI 3.1, as a validator that has
// nothing to do with its making sees it.
func TestOpenAPI(t *testing.T) {
	text, err := documentOf()
	must(t, err)
	d, err := libopenapi.NewDocument(text)
	must(t, err)
	if v := d.GetVersion(); !strings.HasPrefix(v, "3.1") {
		t.Errorf("version %s", v)
	}
	v, errs := validator.NewValidator(d)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	if ok, errs := v.ValidateDocument(); !ok {
		for _, e := range errs {
			t.Errorf("%s: %s", e.Message, e.Reason)
			for _, s := range e.SchemaValidationErrors {
				t.Errorf("   %s %s", s.FieldPath, s.Reason)
			}
		}
	}
	// A document that is wrong is found, so the check is one.
	broken := bytes.Replace(text, []byte(`"summary":"Enter a person"`), []byte(`"summary":7`), 1)
	if d, err := libopenapi.NewDocument(broken); err == nil {
		if v, errs := validator.NewValidator(d); len(errs) == 0 {
			if ok, _ := v.ValidateDocument(); ok {
				t.Error("a summary that is a number was not found")
			}
		}
	}
}

// Each operation says what it is for, its parameters and bodies, how it fails,
// and shows an example where it answers with JSON.
func TestOpenAPIIsComplete(t *testing.T) {
	h, err := New(Config{})
	must(t, err)
	doc := h.(*api).huma.OpenAPI()
	large := map[string]bool{ // their examples would be longer than what they show
		"exportPerson": true, "getRun": true, "getInsight": true, "getClaim": true,
	}
	ids := map[string]bool{}
	for path, item := range doc.Paths {
		for method, op := range operations(item) {
			if op == nil {
				continue
			}
			what := method + " " + path
			if op.Summary == "" || op.OperationID == "" || len(op.Tags) != 1 || ids[op.OperationID] {
				t.Errorf("%s: summary %q, id %q, tags %v", what, op.Summary, op.OperationID, op.Tags)
			}
			ids[op.OperationID] = true
			for _, p := range op.Parameters {
				if p.Description == "" && p.Name != "limit" && p.Name != "agent" && p.Name != "strength" && p.Name != "job" || p.Schema == nil {
					t.Errorf("%s: parameter %s is not described", what, p.Name)
				}
			}
			for _, in := range regexp.MustCompile(`{(\w+)}`).FindAllStringSubmatch(path, -1) {
				if !slices.ContainsFunc(op.Parameters, func(p *huma.Param) bool { return p.In == "path" && p.Name == in[1] && p.Required }) {
					t.Errorf("%s: parameter %s is missing", what, in[1])
				}
			}
			if method != "GET" && op.RequestBody == nil {
				t.Errorf("%s: no body", what)
			}
			if op.RequestBody != nil {
				if m := op.RequestBody.Content[typeJSON]; m != nil && m.Example == nil {
					t.Errorf("%s: the body has no example", what)
				}
			}
			ok := op.Responses["200"]
			if ok == nil || len(ok.Content) != 1 {
				t.Errorf("%s: what it answers is not described", what)
				continue
			}
			if m := ok.Content[typeJSON]; m != nil && op.Responses["200"].Headers["Content-Disposition"] == nil && m.Example == nil && !large[op.OperationID] {
				t.Errorf("%s: the answer has no example", what)
			}
			for _, status := range []string{"403", "422", "500", "503"} {
				if r := op.Responses[status]; r == nil || r.Description == "" || r.Content["application/problem+json"].Example == nil {
					t.Errorf("%s: %s is not described", what, status)
				}
			}
			if _, conflict := op.Responses["409"]; method != "GET" && !conflict {
				t.Errorf("%s: 409 is not described", what)
			}
		}
	}
	text, err := documentOf()
	must(t, err)
	if bytes.Contains(text, []byte("$schema")) || bytes.Contains(text, []byte("https://")) {
		t.Error("the document points elsewhere")
	}
}

// Every example of the document holds to its own schema.
func TestExamplesHold(t *testing.T) {
	text, err := documentOf()
	must(t, err)
	var doc map[string]any
	must(t, json.Unmarshal(text, &doc))
	c := jsonschema.NewCompiler()
	must(t, c.AddResource("document.json", doc))
	n := 0
	for path, item := range doc["paths"].(map[string]any) {
		for method, op := range item.(map[string]any) {
			op := op.(map[string]any)
			check := func(at string, content any) {
				for media, m := range content.(map[string]any) {
					example, ok := m.(map[string]any)["example"]
					if !ok {
						continue
					}
					n++
					pointer := "document.json#/paths/" + escape(path) + "/" + method + "/" + at + "/content/" + escape(media) + "/schema"
					s, err := c.Compile(pointer)
					if err != nil {
						t.Errorf("%s: %v", pointer, err)
						continue
					}
					if err := s.Validate(example); err != nil {
						t.Errorf("%s %s %s: the example does not hold: %v", method, path, at, err)
					}
				}
			}
			if b, ok := op["requestBody"].(map[string]any); ok {
				check("requestBody", b["content"])
			}
			for status, r := range op["responses"].(map[string]any) {
				if content := r.(map[string]any)["content"]; content != nil {
					check("responses/"+status, content)
				}
			}
		}
	}
	if n < 100 {
		t.Errorf("%d examples were looked at", n)
	}
}

func escape(s string) string {
	return strings.NewReplacer("{", "%7B", "}", "%7D").Replace(strings.NewReplacer("~", "~0", "/", "~1").Replace(s))
}

// The schema is AsyncAPI's own, version 3.0.0, as its project publishes it.
func TestAsyncAPI(t *testing.T) {
	f, err := os.Open("testdata/asyncapi-3.0.0.json.gz")
	must(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	must(t, err)
	meta, err := jsonschema.UnmarshalJSON(z)
	must(t, err)
	c := jsonschema.NewCompiler()
	must(t, c.AddResource("asyncapi.json", meta))
	schema, err := c.Compile("asyncapi.json")
	must(t, err)
	text, err := asyncAPI("1.0.0")
	must(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	must(t, err)
	if err := schema.Validate(doc); err != nil {
		t.Errorf("%#v", err)
	}
	broken, err := jsonschema.UnmarshalJSON(strings.NewReader(strings.Replace(string(text), `"action":"send"`, `"action":"shout"`, 1)))
	must(t, err)
	if schema.Validate(broken) == nil {
		t.Error("an action that is none was not found")
	}

	// The examples hold to the schemas of their messages, and each message says
	// what it is.
	c = jsonschema.NewCompiler()
	must(t, c.AddResource("doc.json", doc))
	for _, m := range messages {
		s, err := c.Compile("doc.json#/components/schemas/" + m.title)
		must(t, err)
		b, err := json.Marshal(m.example)
		must(t, err)
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
		must(t, err)
		if err := s.Validate(v); err != nil {
			t.Errorf("example of %s: %v", m.name, err)
		}
		v.(map[string]any)["type"] = "other"
		if s.Validate(v) == nil {
			t.Errorf("%s may say that it is something else", m.name)
		}
	}
}
