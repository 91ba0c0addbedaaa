// SPDX-License-Identifier: Apache-2.0

package api

import (
	"cmp"
	"context"
	"encoding/base64"
	"errors"
	"net/http"
	"strconv"

	"tallyhood/console/archive"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/console/record"
	"tallyhood/store"
)

// RunPath names a run.
type RunPath struct {
	Run string `path:"run" pattern:"^r[0-9]{6,18}$" doc:"Id of the run." example:"r000412"`
}

// A RunRow is a run with the wearer's name.
type RunRow struct {
	programme.Run
	Name string `json:"name" doc:"Of the wearer; empty when the person was erased or is on no list."`
}

// RunList is a part of the list of runs, newest first.
type RunList struct {
	Runs []RunRow `json:"runs"`
	Next string   `json:"next" doc:"For before; empty at the end."`
}

// RunPage is a run with everything that its record page shows.
type RunPage struct {
	Run    *RunRow      `json:"run" doc:"Null while the run is open."`
	View   archive.View `json:"view"`
	Number string       `json:"company_number" doc:"Of the wearer; empty when there is none, or nobody knows it any more."`
	Counts string       `json:"counts" doc:"Why a pass counts for nothing any more, such as failed, trigger or later_test; empty: it counts, or the run is no pass."`
}

// SignBody is a signature made on the screen.
type SignBody struct {
	Signer  string `json:"who" enum:"tester,wearer"`
	Strokes string `json:"strokes" minLength:"4" maxLength:"90000" doc:"The signature, base64 of JSON: a list of lines of points [x, y], each from 0 to 1, downwards, in a field three times as wide as tall." contentEncoding:"base64"`
	How     string `json:"how,omitempty" enum:"drawn,typed" doc:"Drawn by hand, or the letters of a name that was typed. Left out: not known."`
	Record  string `json:"record" pattern:"^[0-9a-f]{64}$" doc:"Hash of the record as it was shown."`
	Who
}

// AmendBody corrects a label of a record. The first value stays visible.
type AmendBody struct {
	Field  string `json:"field" minLength:"1" maxLength:"40" example:"tester"`
	To     string `json:"to" minLength:"1" maxLength:"120"`
	Reason string `json:"reason" minLength:"1" maxLength:"400"`
	Who
}

func (a *api) runs() {
	const tag = "Records"
	desk := a.cfg.Desk
	add(a, route{method: http.MethodGet, path: "/runs", id: "listRuns", tag: tag, summary: "List runs that have ended, newest first",
		about: "With a filter a part may hold fewer than asked for, or none, and still be followed by others: go on while next is not empty.", out: RunList{[]RunRow{{exampleRun(), "Tomasz Zieliński"}}, "4211"}},
		func(ctx context.Context, in *struct {
			From   string `query:"from" format:"date" doc:"First day; empty: all." example:"2026-09-01"`
			Before string `query:"before" pattern:"^[0-9]{0,19}$" doc:"Next of the part before, with the same filter." example:"4211"`
			Limit  int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
			RunFilter
		}) (*reply[RunList], error) {
			before, err := strconv.ParseUint("0"+in.Before, 10, 64)
			if err != nil {
				return nil, problem(http.StatusUnprocessableEntity, WhyMalformed, "Before is no number.")
			}
			return answered(a.listRuns(ctx, in.From, before, in.Limit, in.RunFilter))
		})
	add(a, route{method: http.MethodGet, path: "/runs/{run}", id: "getRun", tag: tag, summary: "Show a record"},
		func(ctx context.Context, in *RunPath) (*reply[RunPage], error) {
			v, err := archive.Run(ctx, a.cfg.Journal, a.cfg.Names, in.Run)
			if err != nil {
				return nil, err
			}
			r, err := desk.Run(ctx, in.Run)
			if errors.Is(err, store.ErrNotFound) {
				return &reply[RunPage]{RunPage{View: v}}, nil
			}
			if err != nil {
				return nil, err
			}
			known, err := desk.Those(ctx, []string{r.Person})
			if err != nil {
				return nil, err
			}
			p := known[r.Person]
			out := RunPage{Run: &RunRow{r, cmp.Or(p.Name, p.Number)}, View: v, Number: p.Number}
			if r.Outcome == procedure.Pass && !r.Practice {
				d, err := desk.Stands(ctx, in.Run)
				if err != nil {
					return nil, err
				}
				if !d.Counts() {
					out.Counts = d.Why
				}
			}
			return answered(out, nil)
		})
	for _, f := range []struct{ id, summary, kind, media string }{
		{"cardPDF", "A wallet card to print", string(CardPDF), typePDF},
		{"cardPNG", "A wallet card as a picture", string(CardPNG), typePNG},
	} {
		add(a, route{method: http.MethodGet, path: "/runs/{run}/" + f.kind, id: f.id, tag: tag, summary: f.summary, gives: f.media, time: slow, part: true},
			func(_ context.Context, in *struct {
				RunPath
				PaperLang
			}) (*file, error) {
				return a.paper(in.Run+" "+f.kind, f.media, Paper{Kind: PaperKind(f.kind), Run: in.Run, Lang: in.Lang})
			})
	}
	add(a, route{method: http.MethodGet, path: "/runs/{run}/record.pdf", id: "recordPDF", tag: tag, summary: "A record to print", about: "In English, whatever the page speaks.", gives: typePDF, time: slow, part: true},
		func(_ context.Context, in *RunPath) (*file, error) {
			return a.paper(in.Run+" record.pdf", typePDF, Paper{Kind: RecordPDF, Run: in.Run})
		})
	add(a, route{method: http.MethodGet, path: "/runs/{run}/record.json", id: "recordJSON", tag: tag, summary: "A record as JSON, as its schema says", gives: typeJSON, schema: record.Record{}, conflict: true, time: slow},
		func(_ context.Context, in *RunPath) (*file, error) {
			return a.paper(in.Run+" record.json", typeJSON, Paper{Kind: RecordJSON, Run: in.Run})
		})
	add(a, route{method: http.MethodPost, path: "/runs/{run}/sign", id: "signRun", tag: tag, summary: "Sign a record on the screen",
		in: SignBody{"tester", base64.StdEncoding.EncodeToString([]byte("[[[0.1,0.5],[0.8,0.4]]]")), programme.Drawn, exampleRun().Hash, Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			RunPath
			Body SignBody
		}) (*reply[Nothing], error) {
			strokes, err := base64.StdEncoding.DecodeString(in.Body.Strokes)
			if err != nil {
				return nil, problem(http.StatusUnprocessableEntity, WhyMalformed, "The strokes are not base64.")
			}
			if _, err := strokesOf(strokes); err != nil {
				return nil, problem(http.StatusUnprocessableEntity, WhyMalformed, err.Error())
			}
			return did(desk.Sign(ctx, in.Run, in.Body.Signer, in.Body.Record, strokes, in.Body.How, in.Body.By))
		})
	add(a, route{method: http.MethodPost, path: "/runs/{run}/amend", id: "amendRun", tag: tag, summary: "Correct a label of a record",
		about: "No label changes an outcome.", in: AmendBody{"tester", "Bram Okafor", "wrong name picked", Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			RunPath
			Body AmendBody
		}) (*reply[Nothing], error) {
			return did(desk.Amend(ctx, in.Run, in.Body.Field, in.Body.To, in.Body.Reason, in.Body.By))
		})
	for _, f := range []struct{ id, summary, kind, media string }{
		{"runsCSV", "Every record as CSV", string(RunsCSV), typeCSV},
		{"runsXLSX", "Every record as a workbook", string(RunsXLSX), typeXLSX},
	} {
		add(a, route{method: http.MethodGet, path: "/" + f.kind, id: f.id, tag: tag, summary: f.summary, gives: f.media, time: slow, part: true},
			func(context.Context, *struct{}) (*file, error) {
				return a.paper(f.kind, f.media, Paper{Kind: PaperKind(f.kind)})
			})
	}
}

// A RunFilter says which runs a list holds; what is empty holds all.
type RunFilter struct {
	To        string            `query:"to" format:"date" doc:"Last day; empty: all." example:"2026-09-30"`
	Person    string            `query:"person" pattern:"^(p-[0-9a-z]{8})?$" doc:"Id of the wearer." example:"p-7kq2m9xd"`
	Facepiece string            `query:"facepiece" maxLength:"60" doc:"Id of the facepiece."`
	Tester    string            `query:"tester" maxLength:"120" doc:"Name, as corrected last; capitals and accents do not count."`
	Outcome   procedure.Outcome `query:"outcome" enum:"pass,fail,not_valid,cannot_taste" doc:"As of now."`
	Only      string            `query:"only" enum:"tests,practice,recalled" doc:"Those of this kind alone: tests is all but practice."`
}

// Bounds of what is looked at for one part of the list.
const (
	mostLooked = 2000 // streams
	lookedStep = 100  // at a time
)

// listRuns lists runs in the order in which they were opened, newest first,
// whatever the box's clock said. With a filter before is the number in a run's
// id, else that of its first entry.
func (a *api) listRuns(ctx context.Context, from string, before uint64, limit int, f RunFilter) (out RunList, err error) {
	out = RunList{Runs: []RunRow{}}
	var people []string
	defer func() {
		if err == nil {
			var names map[string]string
			names, err = a.names(ctx, people)
			for i := range out.Runs {
				out.Runs[i].Name = names[out.Runs[i].Person]
			}
		}
	}()
	if from != "" || f != (RunFilter{}) {
		runs, next, err := a.cfg.Desk.RunsLike(ctx, programme.RunQuery{From: from, To: f.To, Person: f.Person, Facepiece: f.Facepiece, Tester: f.Tester, Outcome: f.Outcome, Only: f.Only}, before, limit)
		if err != nil {
			return out, err
		}
		for _, r := range runs {
			people = append(people, r.Person)
			out.Runs = append(out.Runs, RunRow{Run: r})
		}
		if next > 0 {
			out.Next = strconv.FormatUint(next, 10)
		}
		return out, nil
	}
	for looked := 0; looked < mostLooked; {
		step := min(lookedStep, max(limit, 20))
		infos, err := a.cfg.Journal.Streams(ctx, before, step)
		if err != nil {
			return out, err
		}
		var names []string
		for _, info := range infos {
			if archive.IsRun(info.Stream) {
				names = append(names, info.Stream)
			}
		}
		runs, err := a.cfg.Desk.Runs(ctx, names) // without those that are open
		if err != nil {
			return out, err
		}
		for _, info := range infos {
			before = info.First
			looked++
			r, ended := runs[info.Stream]
			if !ended {
				continue
			}
			people = append(people, r.Person)
			if out.Runs = append(out.Runs, RunRow{Run: r}); len(out.Runs) == limit {
				out.Next = strconv.FormatUint(before, 10)
				return out, nil
			}
		}
		if len(infos) < step {
			return out, nil
		}
	}
	out.Next = strconv.FormatUint(before, 10)
	return out, nil
}
