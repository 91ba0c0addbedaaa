// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"sync"

	"tallyhood/console/programme"
)

// mostUploads is how many files wait for their import; the oldest goes first.
const mostUploads = 2

// uploads keeps files between preview and import, in memory alone: they are
// about people.
type uploads struct {
	mu  sync.Mutex
	all []upload
}

type upload struct {
	token, name string
	data        []byte
}

func (u *uploads) keep(random io.Reader, name string, data []byte) (string, error) {
	var b [16]byte
	if _, err := io.ReadFull(random, b[:]); err != nil {
		return "", fmt.Errorf("token of an upload: %w", err)
	}
	token := "u-" + hex.EncodeToString(b[:])
	u.mu.Lock()
	defer u.mu.Unlock()
	u.all = append(u.all, upload{token, name, data})
	if len(u.all) > mostUploads {
		u.all = slices.Delete(u.all, 0, len(u.all)-mostUploads)
	}
	return token, nil
}

func (u *uploads) find(token string) (upload, bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	i := slices.IndexFunc(u.all, func(o upload) bool { return o.token == token })
	if i < 0 {
		return upload{}, false
	}
	return u.all[i], true
}

func (u *uploads) drop(token string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.all = slices.DeleteFunc(u.all, func(o upload) bool { return o.token == token })
}

// Preview is what a file holds, and the token to import it by.
type Preview struct {
	Token     string         `json:"token"`
	Columns   []string       `json:"columns"`
	Rows      [][]string     `json:"rows" doc:"The first 20 after the titles."`
	Count     int            `json:"count" doc:"Rows in all, without the titles."`
	Encoding  string         `json:"encoding"`
	Delimiter string         `json:"delimiter" doc:"Empty for a workbook."`
	Sheets    []string       `json:"sheets" doc:"Of a workbook."`
	Guess     map[string]int `json:"guess" doc:"Column, from 0, by field of a person."`
}

// ImportBody imports a file that was previewed.
type ImportBody struct {
	Token string `json:"token" pattern:"^u-[0-9a-f]{32}$"`
	Reading
	Mapping map[string]int `json:"mapping" doc:"Column, from 0, by field of a person."`
	DryRun  bool           `json:"dry_run"`
	Who
}

// mostPreview is how many rows a preview shows.
const mostPreview = 20

func (a *api) imports() {
	const tag = "Import"
	add(a, route{method: http.MethodPost, path: "/people/import/preview", id: "previewImport", tag: tag, summary: "Look into a table of people before it is imported",
		about: "The body is the file, CSV or XLSX, up to 16 MB; its first row holds titles. Nothing is entered. The box keeps the last two files until they are imported or it stops.",
		takes: typeBytes, body: mostUpload, time: slow, part: true, heavy: true, out: examplePreview()},
		func(ctx context.Context, in *struct {
			Name      string `query:"name" required:"true" minLength:"1" maxLength:"200" doc:"Name of the file." example:"people.csv"`
			Encoding  string `query:"encoding" maxLength:"40" doc:"Empty: found out." example:"windows-1250"`
			Delimiter string `query:"delimiter" maxLength:"4" doc:"Empty: found out." example:";"`
			Sheet     string `query:"sheet" maxLength:"100" doc:"Of a workbook; empty: the first." example:"Staff"`
			RawBody   []byte `contentType:"application/octet-stream"`
		}) (*reply[Preview], error) {
			if err := part(a.cfg.Tables != nil); err != nil {
				return nil, err
			}
			data := bytes.Clone(in.RawBody) // huma uses the bytes again
			table, err := a.cfg.Tables.Read(ctx, in.Name, data, Reading{in.Encoding, in.Delimiter, in.Sheet})
			if err != nil {
				return nil, err
			}
			out := Preview{Columns: []string{}, Rows: [][]string{}, Encoding: table.Encoding, Delimiter: table.Delimiter, Sheets: table.Sheets, Guess: map[string]int{}}
			if out.Sheets == nil {
				out.Sheets = []string{}
			}
			if len(table.Rows) > 0 {
				out.Columns, out.Rows, out.Count = table.Rows[0], table.Rows[1:min(len(table.Rows), mostPreview+1)], len(table.Rows)-1
				for f, at := range programme.GuessMapping(out.Columns) {
					out.Guess[string(f)] = at
				}
			}
			out.Token, err = a.uploads.keep(a.cfg.Random, in.Name, data)
			return answered(out, err)
		})
	add(a, route{method: http.MethodPost, path: "/people/import", id: "importPeople", tag: tag, summary: "Import people from a file that was looked into",
		about:  "With dry_run nothing is entered, and the answer is what would be. A long import answers with a job.",
		result: programme.Imported{}, time: slow, part: true, in: exampleImport(), out: programme.Imported{New: 41, Changed: 3, Same: 12, Refused: []programme.ImportRefused{{Row: 17, Why: "there is neither a name nor a company number"}}}},
		func(ctx context.Context, in *struct{ Body ImportBody }) (*outcome, error) {
			if err := part(a.cfg.Tables != nil); err != nil {
				return nil, err
			}
			mapping := programme.Mapping{}
			for f, at := range in.Body.Mapping {
				if !slices.Contains(programme.Fields(), programme.Field(f)) {
					return nil, problem(http.StatusUnprocessableEntity, WhyMalformed, "The mapping names a field that a person does not have.")
				}
				mapping[programme.Field(f)] = at
			}
			file, ok := a.uploads.find(in.Body.Token)
			if !ok {
				return nil, problem(http.StatusNotFound, WhyNotKnown, "The file is not here any more. Choose it again.")
			}
			return a.start(ctx, "import", func(ctx context.Context, progress Progress) (any, error) {
				out, err := a.bring(ctx, file, in.Body, mapping, progress)
				if err == nil && !in.Body.DryRun {
					a.uploads.drop(file.token)
				}
				return out, err
			})
		})
}

// bring reads a file and enters who stands in it.
func (a *api) bring(ctx context.Context, file upload, how ImportBody, mapping programme.Mapping, progress Progress) (programme.Imported, error) {
	table, err := a.cfg.Tables.Read(ctx, file.name, file.data, how.Reading)
	if err != nil {
		return programme.Imported{}, err
	}
	pieces, err := a.cfg.Desk.Facepieces(ctx)
	if err != nil {
		return programme.Imported{}, err
	}
	rows, refused := programme.ReadPeople(table.Rows, mapping, programme.ImportDefaults{
		Form: programme.PersonForm{Languages: []string{}, Facepieces: []string{}}, Facepieces: pieces, Rules: slices.Sorted(maps.Keys(a.cfg.Rules)), Header: true,
	})
	progress(0, len(rows))
	plan, err := a.cfg.Desk.PlanImport(ctx, rows, refused)
	if err != nil || how.DryRun {
		return programme.Imported{New: len(plan.New), Changed: len(plan.Changed), Same: plan.Same, Refused: plan.Refused}, err
	}
	out, err := a.cfg.Desk.Import(ctx, plan, how.By)
	progress(len(rows), len(rows))
	return out, err
}

func (a *api) jobRoutes() {
	add(a, route{method: http.MethodGet, path: "/jobs/{job}", id: "getJob", tag: "Box", summary: "How far longer work is",
		about: "The box remembers the last 32 jobs until it stops.", out: Job{Job: "j-5f0c2a9e11d04b7a", Kind: "import", State: "running", Done: 400, Of: 1200}},
		func(_ context.Context, in *struct {
			Job string `path:"job" pattern:"^j-[0-9a-f]{16}$" example:"j-5f0c2a9e11d04b7a"`
		}) (*reply[Job], error) {
			j, ok := a.jobs.find(in.Job)
			if !ok {
				return nil, problem(http.StatusNotFound, WhyNotKnown, "There is no such job.")
			}
			return &reply[Job]{j}, nil
		})
}
