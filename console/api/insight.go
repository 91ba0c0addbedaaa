// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"net/http"
	"slices"
	"sync"
	"time"

	"tallyhood/console/insight"
	"tallyhood/console/insight/chart"
	"tallyhood/console/procedure"
	"tallyhood/console/programme"
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

// mostInsights is how many answers are kept until the journal grows.
const mostInsights = 4

// figures keeps answers: they cost a pass over all runs.
type figures struct {
	mu   sync.Mutex
	last uint64 // the journal's
	all  []Insight
}

func (a *api) insights() {
	add(a, route{method: http.MethodGet, path: "/insight", id: "getInsight", tag: "Insight", summary: "What the site's own results say", heavy: true, time: slow,
		about: "Figures, and charts as SVG with a table of the same figures. No names: testers are letters in the order of their first test."},
		func(ctx context.Context, in *struct {
			From string `query:"from" format:"date" doc:"First day; empty: all." example:"2026-01-01"`
			To   string `query:"to" format:"date" doc:"Last day; empty: all." example:"2026-12-31"`
		}) (*reply[Insight], error) {
			return answered(a.insight(ctx, in.From, in.To))
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
	names := map[insight.ID]string{}
	set, _, err := a.set(ctx, from, to, names)
	if err != nil {
		return out, err
	}
	for _, t := range set.Testers() {
		if name := names[t.ID]; name != "" {
			out.Testers = append(out.Testers, LetteredTester{t.Letter, name})
		}
	}
	return out, nil
}

func (a *api) insight(ctx context.Context, from, to string) (Insight, error) {
	a.figures.mu.Lock()
	defer a.figures.mu.Unlock()
	if last, _ := a.cfg.Journal.Last(); last != a.figures.last {
		a.figures.last, a.figures.all = last, nil
	}
	if i := slices.IndexFunc(a.figures.all, func(o Insight) bool { return o.From == from && o.To == to }); i >= 0 {
		return a.figures.all[i], nil
	}
	set, leftOut, err := a.set(ctx, from, to, nil)
	if err != nil {
		return Insight{}, err
	}
	c := set.Counts()
	out := Insight{From: from, To: to, Undated: set.Undated(), LeftOut: leftOut, Charts: charts(set), Counts: InsightCount{
		c.Tests(), c.Pass, c.Fail, c.NotValid, c.CannotTaste, share(c.Passing()), share(c.Invalid()), share(c.WithRemark()),
	}}
	if len(a.figures.all) == mostInsights {
		a.figures.all = a.figures.all[1:]
	}
	a.figures.all = append(a.figures.all, out)
	return out, nil
}

func share(e insight.Estimate) Share { return Share{e.K, e.N, e.Share, e.Lo, e.Hi, e.Known, e.Few()} }

// set counts the runs of some days; names, if not nil, takes those of testers.
func (a *api) set(ctx context.Context, from, to string, names map[insight.ID]string) (*insight.Set, int, error) {
	if a.cfg.Figures != nil {
		set, err := a.cfg.Figures.Set(ctx, from, to)
		return set, 0, err
	}
	set := insight.NewSet()
	leftOut := 0
	today, seen := "", map[string]int{} // fit tests of a person on a day
	begin := from
	if day, err := time.Parse(time.DateOnly, from); err == nil {
		begin = day.AddDate(0, 0, -1).Format(time.DateOnly) // runs stand under their instant in UTC
	}
	err := a.cfg.Desk.RunsFrom(ctx, begin, func(r programme.Run) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		if r.Practice {
			return nil
		}
		t, day := testOf(r)
		if day < from || to != "" && (day == "" || day > to) {
			return nil
		}
		if day != today {
			today = day
			clear(seen)
		}
		if r.Outcome == procedure.Pass || r.Outcome == procedure.Fail {
			seen[r.Person]++
			t.Attempt = seen[r.Person]
		}
		if set.Add(t) != nil {
			leftOut++
		}
		if names != nil {
			names[t.Tester] = r.Tester
		}
		return nil
	})
	return set, leftOut, err
}

// testOf is a run as statistics see it, and its day; empty when the clock was
// not to be trusted.
func testOf(r programme.Run) (insight.Test, string) {
	spent := map[procedure.Stage]time.Duration{}
	for s, n := range r.StagesS {
		spent[procedure.Stage(s)] = time.Duration(n) * time.Second
	}
	t := insight.Test{
		Person: insight.IDOf(r.Person), Tester: insight.IDOf(r.Tester),
		Facepiece: insight.Facepiece{Make: r.Make, Model: r.Model, Size: r.Size},
		Agent:     r.Agent, Rules: r.Rules, Outcome: r.Outcome, Reason: r.Reason, Bin: r.Bin, Squeezes: min(r.Screening, r.Bin),
		Late: r.Late, Hurried: r.Hurried, Extra: r.Extra, Stages: insight.StagesOf(r.Outcome, spent), Day: insight.NoDay,
	}
	at, err := time.Parse(time.RFC3339, r.At)
	if err != nil || r.Quality != "confirmed" && r.Quality != "network" {
		return t, ""
	}
	t.Day = insight.DayOf(at)
	t.Clock = time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute + time.Duration(at.Second())*time.Second
	return t, at.Format(time.DateOnly)
}

func charts(s *insight.Set) []Chart {
	var d chart.Drawer
	d.Words = chart.English
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
