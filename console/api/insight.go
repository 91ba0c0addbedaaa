// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"net/http"
	"slices"
	"sync"

	"tallyhood/console/insight"
	"tallyhood/console/insight/chart"
)

// The answer about figures. It holds no name: testers are letters.
type (
	// Insight is what the site's own results say.
	Insight struct {
		From    string       `json:"from" doc:"First day; empty: all."`
		To      string       `json:"to" doc:"Last day; empty: all."`
		Counts  InsightCount `json:"counts"`
		Undated int          `json:"undated" doc:"Tests whose day is not known for sure."`
		LeftOut int          `json:"left_out" doc:"Runs that could not be counted."`
		Charts  []Chart      `json:"charts"`
	}
	// An InsightCount is tests by how they ended.
	InsightCount struct {
		Tests       int   `json:"tests"`
		Pass        int   `json:"pass"`
		Fail        int   `json:"fail"`
		NotValid    int   `json:"not_valid"`
		CannotTaste int   `json:"cannot_taste"`
		Passing     Share `json:"passing" doc:"Of valid tests."`
		Invalid     Share `json:"invalid" doc:"Of all tests."`
		Remarked    Share `json:"remarked" doc:"Of tests whose initial dose was begun."`
	}
	// A Share is a share with its 95 % Wilson interval.
	Share struct {
		K     int     `json:"k"`
		N     int     `json:"n"`
		Share float64 `json:"share"`
		Lo    float64 `json:"lo"`
		Hi    float64 `json:"hi"`
		Known bool    `json:"known" doc:"False without tests: then the interval is all from 0 to 1."`
		Few   bool    `json:"few" doc:"Too few tests to say."`
	}
	// A Chart is a drawing with the same figures as a table.
	Chart struct {
		ID    string     `json:"id"`
		Title string     `json:"title"`
		Say   string     `json:"say"`
		SVG   string     `json:"svg" doc:"Empty when there is nothing to draw."`
		Notes []string   `json:"notes"`
		Table ChartTable `json:"table"`
	}
	// A ChartTable is a chart's figures.
	ChartTable struct {
		Columns []ChartColumn `json:"columns"`
		Rows    [][]ChartCell `json:"rows"`
	}
	// A ChartColumn is a column.
	ChartColumn struct {
		Name string `json:"name"`
		Unit string `json:"unit"`
	}
	// A ChartCell is a cell: a text, and the figure when number is true.
	ChartCell struct {
		Text   string  `json:"text"`
		Value  float64 `json:"value"`
		Number bool    `json:"number"`
	}
)

// mostInsights is how many answers are kept until a run changes the figures.
const mostInsights = 4

// insightCache keeps answers: the drawings cost more than the figures.
type insightCache struct {
	mu  sync.Mutex
	all []keptInsight
}

type keptInsight struct {
	version, width int
	lang           string
	answer         Insight
}

func (a *api) insights() {
	add(a, route{method: http.MethodGet, path: "/insight", id: "getInsight", tag: "Insight", summary: "What the site's own results say", heavy: true, time: slow,
		about: "Figures, and charts as SVG with a table of the same figures. No names: testers are letters in the order of their first test."},
		func(ctx context.Context, in *struct {
			From  string `query:"from" format:"date" doc:"First day; empty: all." example:"2026-01-01"`
			To    string `query:"to" format:"date" doc:"Last day; empty: all." example:"2026-12-31"`
			Width int    `query:"width" minimum:"280" maximum:"1600" default:"720" doc:"Of the drawings, in pixels; under 560 labels stand above their rows." example:"360"`
			Lang  string `query:"lang" enum:"en,es,fr,pl,ro,pt" default:"en" doc:"Language of titles, sentences, drawings and tables." example:"pl"`
		}) (*reply[Insight], error) {
			return answered(a.insight(ctx, in.From, in.To, in.Width, in.Lang))
		})
	add(a, route{method: http.MethodGet, path: "/insight/testers", id: "getTesters", tag: "Insight", summary: "Which tester is which letter", heavy: true, time: slow,
		about: "For who administers the programme: the letters of the charts of the same days, with the names.",
		out:   Lettered{[]LetteredTester{{"A", "Agnes Thorley"}, {"B", "Bram Okafor"}}}},
		func(ctx context.Context, in *struct {
			From string `query:"from" format:"date" doc:"First day; empty: all." example:"2026-01-01"`
			To   string `query:"to" format:"date" doc:"Last day; empty: all." example:"2026-12-31"`
		}) (*reply[Lettered], error) {
			return answered(a.letters(ctx, in.From, in.To))
		})
}

// Lettered says which tester is which letter, for who administers the programme.
type (
	Lettered struct {
		Testers []LetteredTester `json:"testers"`
	}
	// LetteredTester is one of them.
	LetteredTester struct {
		Letter string `json:"letter" example:"A"`
		Name   string `json:"name" example:"Agnes Thorley"`
	}
)

func (a *api) letters(ctx context.Context, from, to string) (Lettered, error) {
	out := Lettered{Testers: []LetteredTester{}}
	err := a.figures.Read(ctx, from, to, func(set *insight.Set, _ int, names map[insight.ID]string, _ int) {
		for _, t := range set.Testers() {
			if name := names[t.ID]; name != "" {
				out.Testers = append(out.Testers, LetteredTester{t.Letter, name})
			}
		}
	})
	return out, err
}

func (a *api) insight(ctx context.Context, from, to string, width int, lang string) (out Insight, err error) {
	kept := &a.insightCache
	kept.mu.Lock()
	defer kept.mu.Unlock()
	err = a.figures.Read(ctx, from, to, func(set *insight.Set, leftOut int, _ map[insight.ID]string, version int) {
		kept.all = slices.DeleteFunc(kept.all, func(k keptInsight) bool { return k.version != version })
		if i := slices.IndexFunc(kept.all, func(k keptInsight) bool {
			return k.width == width && k.lang == lang && k.answer.From == from && k.answer.To == to
		}); i >= 0 {
			out = kept.all[i].answer
			return
		}
		c := set.Counts()
		out = Insight{From: from, To: to, Undated: set.Undated(), LeftOut: leftOut, Charts: charts(set, width, chart.In(a.said(lang, "charts"))), Counts: InsightCount{
			c.Tests(), c.Pass, c.Fail, c.NotValid, c.CannotTaste, share(c.Passing()), share(c.Invalid()), share(c.WithRemark()),
		}}
		if len(kept.all) == mostInsights {
			kept.all = kept.all[1:]
		}
		kept.all = append(kept.all, keptInsight{version, width, lang, out})
	})
	return out, err
}

func share(e insight.Estimate) Share { return Share{e.K, e.N, e.Share, e.Lo, e.Hi, e.Known, e.Few()} }

func charts(s *insight.Set, width int, words chart.Words) []Chart {
	d := chart.Drawer{Words: words, Width: float64(width)}
	funnel, groups := s.FacepieceFunnel(insight.ByModelSize)
	all := s.Counts()
	var out []Chart
	for _, c := range []struct {
		id string
		chart.Chart
	}{
		{"models", d.Models(s.Groups(insight.ByModelSize), all)},
		{"advice", d.Advice(s.Advise(insight.ByModelSize, func(insight.Facepiece) bool { return true }))},
		{"facepieces", d.FacepieceFunnel(funnel, groups)},
		{"testers", d.TesterFunnel(s.TesterFunnel())},
		{"invalid", d.Weeks(chart.Invalid, s.TesterWeeks())},
		{"remarks", d.Weeks(chart.Remark, s.TesterWeeks())},
		{"bins", d.Bins(s.Agents())},
		{"stages", d.Stages(s.Stages())},
		{"months", d.Months(s.Months())},
		{"repeats", d.Repeats(s.Repeats())},
		{"agreement", d.Agreement(s.Agreement())},
		{"reasons", d.Reasons(s.Reasons(), all)},
	} {
		to := Chart{ID: c.id, Title: c.Title, Say: c.Say, SVG: c.SVG, Notes: c.Notes, Table: ChartTable{[]ChartColumn{}, [][]ChartCell{}}}
		if to.Notes == nil {
			to.Notes = []string{}
		}
		for _, col := range c.Table.Columns {
			to.Table.Columns = append(to.Table.Columns, ChartColumn{col.Name, col.Unit})
		}
		for _, row := range c.Table.Rows {
			cells := []ChartCell{}
			for _, cell := range row {
				cells = append(cells, ChartCell{cell.Text, cell.Value, cell.Number})
			}
			to.Table.Rows = append(to.Table.Rows, cells)
		}
		out = append(out, to)
	}
	return out
}

// count reads the words of names and counts what all runs come to, ahead of the
// first request. What goes wrong shows when somebody asks.
func (a *api) count() {
	err := a.cfg.Desk.ReadWords(a.cfg.Life)
	if err == nil {
		err = a.figures.Ready(a.cfg.Life)
	}
	if err != nil {
		a.cfg.Log.Info("count ahead", "err", err)
	}
}
