// SPDX-License-Identifier: Apache-2.0

package api

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"time"

	"tallyhood/console/programme"
)

func (a *api) days() {
	const tag = "Day"
	add(a, route{method: http.MethodGet, path: "/day", id: "getDay", tag: tag, summary: "Who is expected, in order, the next free moment, and what is left for the evening", heavy: true, time: slow, out: exampleDay()},
		func(ctx context.Context, in *struct {
			On string `query:"on" format:"date" doc:"The day; empty: today." example:"2026-09-14"`
		}) (*reply[programme.Day], error) {
			return answered(a.day(ctx, in.On))
		})
	add(a, route{method: http.MethodGet, path: "/plan", id: "getPlan", tag: tag, summary: "How many people fit in a day", heavy: true, time: slow,
		about: "Simulated from the times of the rules and of past runs, with the spread.", out: examplePlan()},
		func(ctx context.Context, in *struct {
			People int `query:"people" minimum:"0" maximum:"500" default:"0" doc:"Whose end is asked for; 0: only how many a day holds." example:"12"`
			Hoods  int `query:"hoods" minimum:"0" maximum:"10" default:"0" doc:"Used at once; 0: as the policy says." example:"2"`
		}) (*reply[programme.PlanResult], error) {
			now, _ := a.cfg.Now()
			past, err := a.cfg.Desk.Recent(ctx, now)
			if err != nil {
				return nil, err
			}
			policy, err := a.cfg.Desk.Policy(ctx)
			if err != nil {
				return nil, err
			}
			if in.Hoods == 0 {
				in.Hoods = max(1, policy.Hoods)
			}
			rules, ok := a.cfg.Rules[policy.Rules]
			for _, id := range slices.Sorted(maps.Keys(a.cfg.Rules)) {
				if !ok {
					rules, ok = a.cfg.Rules[id], true
				}
			}
			return &reply[programme.PlanResult]{programme.Plan(programme.PlanInput{People: in.People, Hoods: in.Hoods, Rules: rules, Past: past, Seed: planSeed})}, nil
		})
	add(a, route{method: http.MethodGet, path: "/day/reminders.pdf", id: "remindersPDF", tag: tag, summary: "Slips that remind people to have nothing but water before the test", gives: typePDF, time: slow, part: true},
		func(_ context.Context, in *PaperLang) (*file, error) {
			return a.paper(string(RemindersPDF), typePDF, Paper{Kind: RemindersPDF, Lang: in.Lang})
		})
	add(a, route{method: http.MethodGet, path: "/day/summary.pdf", id: "summaryPDF", tag: tag, summary: "What the day came to, for the employer", gives: typePDF, time: slow, part: true},
		func(context.Context, *struct{}) (*file, error) {
			return a.paper(string(SummaryPDF), typePDF, Paper{Kind: SummaryPDF})
		})
}

// planSeed makes the same question give the same plan.
const planSeed = 1

// day is the list of a day; empty: today.
func (a *api) day(ctx context.Context, on string) (programme.Day, error) {
	now, _ := a.cfg.Now()
	if on == "" {
		on = now.Format(time.DateOnly)
	}
	o := programme.DayOptions{Now: now}
	if a.cfg.OpenRuns != nil {
		o.Open = a.cfg.OpenRuns()
	}
	if a.cfg.LastBackup != nil {
		o.LastBackup = a.cfg.LastBackup()
	}
	return a.cfg.Desk.Day(ctx, on, o)
}
