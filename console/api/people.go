// SPDX-License-Identifier: Apache-2.0

package api

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"time"

	"tallyhood/console/archive"
	"tallyhood/console/programme"
	"tallyhood/console/sealing"
	"tallyhood/store"
)

// Who names who does something. There is no sign-in yet.
type Who struct {
	By string `json:"by" minLength:"1" maxLength:"120" doc:"Name of who does it." example:"Agnes Thorley"`
}

// PersonPath names a person.
type PersonPath struct {
	ID string `path:"id" pattern:"^p-[0-9a-z]{8}$" doc:"Id of the person." example:"p-7kq2m9xd"`
}

// PersonBody enters a person.
type PersonBody struct {
	Form programme.PersonForm `json:"form"`
	Who
}

// People is a part of the list of people.
type People struct {
	People []programme.Person `json:"people"`
	Next   string             `json:"next" doc:"For after; empty at the end."`
}

// PersonPage is a person with the runs.
type PersonPage struct {
	Person programme.Person `json:"person"`
	Runs   []programme.Run  `json:"runs" doc:"Oldest first."`
}

// Entered is the id of something that was entered.
type Entered struct {
	ID string `json:"id"`
}

// DueRow is a test that is due, with what a list shows.
type DueRow struct {
	programme.Due
	Name  string `json:"name"`
	Label string `json:"label" doc:"Make, model and size of the facepiece."`
}

// DueList is a part of what is due, the longest due first.
type DueList struct {
	Due  []DueRow `json:"due"`
	Next string   `json:"next" doc:"For after; empty at the end."`
}

// Everything is all that is kept about one person.
type Everything struct {
	Person programme.Person `json:"person"`
	Runs   []EverythingRun  `json:"runs"`
	Facts  []EverythingFact `json:"facts" doc:"What was entered, oldest first."`
}

// An EverythingRun is a run of the person.
type EverythingRun struct {
	Run  programme.Run `json:"run"`
	View archive.View  `json:"view"`
}

// An EverythingFact is a fact about the person.
type EverythingFact struct {
	Number uint64         `json:"number" doc:"Of the journal's entry."`
	Kind   string         `json:"kind"`
	Fact   programme.Fact `json:"fact"`
}

func (a *api) people() {
	const tag = "People"
	desk := a.cfg.Desk
	add(a, route{method: http.MethodGet, path: "/people", id: "listPeople", tag: tag, summary: "List people, or find them as one types",
		about: "Find holds the beginnings of words of a name or number, in any order. Without it people come in the order of their ids.",
		out:   People{People: []programme.Person{examplePerson()}}},
		func(ctx context.Context, in *struct {
			Find    string `query:"find" maxLength:"120" doc:"Beginnings of words." example:"zielin"`
			After   string `query:"after" maxLength:"1400" pattern:"^[A-Za-z0-9_-]*$" doc:"Next of the part before, with the same find."`
			Limit   int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
			Without string `query:"without" enum:"facepiece" doc:"Without find: those alone who have not left and need no facepiece yet. A part may then hold fewer than asked for, and still be followed by others."`
		}) (*reply[People], error) {
			var out People
			var err error
			if strings.TrimSpace(in.Find) != "" {
				after, err := base64.RawURLEncoding.DecodeString(in.After)
				if err != nil {
					return nil, problem(http.StatusUnprocessableEntity, WhyMalformed, "After is nothing that was given as next.")
				}
				var next string
				out.People, next, err = desk.FindPage(ctx, in.Find, string(after), in.Limit)
				out.Next = base64.RawURLEncoding.EncodeToString([]byte(next))
				return answered(out, err)
			}
			if in.Without != "" {
				return answered(a.bare(ctx, in.After, in.Limit))
			}
			out.People, err = desk.People(ctx, in.After, in.Limit)
			if len(out.People) == in.Limit {
				out.Next = out.People[in.Limit-1].ID
			}
			return answered(out, err)
		})
	add(a, route{method: http.MethodPost, path: "/people", id: "enterPerson", tag: tag, summary: "Enter a person",
		in: PersonBody{exampleForm(), Who{"Agnes Thorley"}}, out: Entered{"p-7kq2m9xd"}},
		func(ctx context.Context, in *struct{ Body PersonBody }) (*reply[Entered], error) {
			id, err := desk.Enter(ctx, in.Body.Form, in.Body.By)
			return answered(Entered{id}, err)
		})
	add(a, route{method: http.MethodGet, path: "/people/{id}", id: "getPerson", tag: tag, summary: "Show a person with the runs",
		out: PersonPage{examplePerson(), []programme.Run{exampleRun()}}},
		func(ctx context.Context, in *PersonPath) (*reply[PersonPage], error) {
			p, err := desk.Person(ctx, in.ID)
			if err != nil {
				return nil, err
			}
			runs, err := desk.RunsOf(ctx, in.ID)
			if runs == nil {
				runs = []programme.Run{}
			}
			return answered(PersonPage{p, runs}, err)
		})
	add(a, route{method: http.MethodPut, path: "/people/{id}", id: "changePerson", tag: tag, summary: "Change a person",
		about: "The form is the whole person as entered; what it leaves empty is empty from then on.",
		in:    PersonBody{exampleForm(), Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			PersonPath
			Body PersonBody
		}) (*reply[Nothing], error) {
			if _, err := desk.Person(ctx, in.ID); err != nil {
				return nil, err
			}
			return did(desk.Do(ctx, programme.PersonEntered{Person: in.ID, Form: in.Body.Form, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPost, path: "/people/{id}/clearance", id: "clearPerson", tag: tag, summary: "Note a clinician's clearance",
		about: "By whom and on which day; never an answer to a medical question.",
		in:    ClearanceBody{"2026-09-01", "Dr Hale, works clinic", Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			PersonPath
			Body ClearanceBody
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.PersonCleared{Person: in.ID, On: in.Body.On, Who: in.Body.Clinician, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPost, path: "/people/{id}/trigger", id: "triggerPerson", tag: tag, summary: "Note why a test is due again",
		in: TriggerBody{programme.TriggerDental, "2026-09-10", Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			PersonPath
			Body TriggerBody
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.Triggered{Person: in.ID, Trigger: in.Body.Trigger, On: in.Body.On, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPost, path: "/people/{id}/left", id: "leavePerson", tag: tag, summary: "Note that a person left",
		in: LeftBody{"2026-09-30", Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			PersonPath
			Body LeftBody
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.PersonLeft{Person: in.ID, On: in.Body.On, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPost, path: "/people/{id}/back", id: "bringBackPerson", tag: tag, summary: "Note that a person who left is back",
		about: "What was due is due again, by the runs as they stand.",
		in:    Who{"Agnes Thorley"}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			PersonPath
			Body Who
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.PersonLeft{Person: in.ID, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPost, path: "/people/{id}/listed", id: "listPerson", tag: "Day", summary: "Put a person on the list of a day, or take the person off it",
		about: "Who is due stays on the day's list by that, listed or not.",
		in:    ListedBody{"2026-09-14", 1, false, Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			PersonPath
			Body ListedBody
		}) (*reply[Nothing], error) {
			return did(desk.Do(ctx, programme.DayListed{Person: in.ID, Day: in.Body.Day, Place: in.Body.Place, Off: in.Body.Off, By: in.Body.By}))
		})
	add(a, route{method: http.MethodPost, path: "/people/{id}/erase", id: "erasePerson", tag: tag, summary: "Erase a person for real",
		about:  "The person's key is destroyed and the file written anew. Runs stay without a name. It cannot be undone, and waits for the end of an open run. Where there is no room for the new file the answer is 409, uncleaned: the person is in no list any more, but still in the old file, and the request may be made again.",
		result: Nothing{}, in: EraseBody{"asked for", Who{"Agnes Thorley"}}, out: Nothing{true}},
		func(ctx context.Context, in *struct {
			PersonPath
			Body EraseBody
		}) (*outcome, error) {
			return a.start(ctx, "erase", func(ctx context.Context, _ Progress) (any, error) {
				done, err := a.alone(ctx, in.ID)
				if err != nil {
					return nil, err
				}
				defer done()
				return Nothing{true}, desk.Erase(ctx, in.ID, in.Body.Reason, in.Body.By)
			})
		})
	add(a, route{method: http.MethodGet, path: "/people/{id}/export", id: "exportPerson", tag: tag, summary: "All that is kept about one person", heavy: true, time: slow,
		about: "The views, the runs and every fact that was entered, the changed ones among them."},
		func(ctx context.Context, in *PersonPath) (*reply[Everything], error) {
			return answered(a.everything(ctx, in.ID))
		})
	add(a, route{method: http.MethodGet, path: "/due", id: "listDue", tag: tag, summary: "Tests that are due", out: DueList{[]DueRow{exampleDue()}, ""}},
		func(ctx context.Context, in *struct {
			By    string `query:"by" format:"date" doc:"Last day; empty: today." example:"2026-09-30"`
			After string `query:"after" maxLength:"400" pattern:"^[A-Za-z0-9_-]*$" doc:"Next of the part before."`
			Limit int    `query:"limit" minimum:"1" maximum:"1000" default:"200"`
		}) (*reply[DueList], error) {
			by := in.By
			if by == "" {
				now, _ := a.cfg.Now()
				by = now.Format(time.DateOnly)
			}
			after, err := base64.RawURLEncoding.DecodeString(in.After) // a key of the store, with zeros in it
			if err != nil {
				return nil, problem(http.StatusUnprocessableEntity, WhyMalformed, "After is nothing that was given as next.")
			}
			due, next, err := desk.DuePage(ctx, by, string(after), in.Limit)
			if err != nil {
				return nil, err
			}
			rows, err := a.dueRows(ctx, due)
			return answered(DueList{rows, base64.RawURLEncoding.EncodeToString([]byte(next))}, err)
		})
	for _, f := range []struct{ path, id, summary, kind string }{
		{"/people.csv", "peopleCSV", "Everybody as CSV", typeCSV},
		{"/people.xlsx", "peopleXLSX", "Everybody as a workbook", typeXLSX},
	} {
		add(a, route{method: http.MethodGet, path: f.path, id: f.id, tag: tag, summary: f.summary, gives: f.kind, time: slow, part: true},
			func(context.Context, *struct{}) (*file, error) {
				return a.paper(f.path[1:], f.kind, Paper{Kind: PaperKind(f.path[1:])})
			})
	}
	add(a, route{method: http.MethodGet, path: "/due.ics", id: "dueICS", tag: tag, summary: "Due days as a calendar", gives: typeICS, time: slow, part: true},
		func(_ context.Context, in *struct {
			By string `query:"by" format:"date" doc:"Last day; empty: all." example:"2026-12-31"`
		}) (*file, error) {
			return a.paper("due.ics", typeICS, Paper{Kind: DueICS, By: in.By})
		})
}

// The bodies about a person.
type (
	// ClearanceBody notes a clearance.
	ClearanceBody struct {
		On        string `json:"on" format:"date"`
		Clinician string `json:"who" minLength:"1" maxLength:"120" doc:"Clinician or practice."`
		Who
	}
	// TriggerBody notes a trigger.
	TriggerBody struct {
		Trigger programme.Trigger `json:"trigger"`
		On      string            `json:"on" format:"date"`
		Who
	}
	// LeftBody notes that a person left.
	LeftBody struct {
		On string `json:"on" format:"date"`
		Who
	}
	// ListedBody puts a person on a day's list.
	ListedBody struct {
		Day   string `json:"day" format:"date"`
		Place int    `json:"place,omitempty" minimum:"0" maximum:"1000" doc:"Among those of the day, from 1; 0: behind them."`
		Off   bool   `json:"off,omitempty" doc:"Take the person off the list."`
		Who
	}
	// EraseBody erases a person.
	EraseBody struct {
		Reason string `json:"reason" minLength:"1" maxLength:"400"`
		Who
	}
)

// paper answers with a file of the printer. Few are made at once.
func (a *api) paper(name, kind string, p Paper) (*file, error) {
	if err := part(a.cfg.Printer != nil); err != nil {
		return nil, err
	}
	return a.file(name, kind, func(ctx context.Context, w io.Writer) error {
		done, err := a.heavy(ctx)
		if err != nil {
			return err
		}
		defer done()
		return a.cfg.Printer.Print(ctx, w, p)
	}), nil
}

func (a *api) dueRows(ctx context.Context, due []programme.Due) ([]DueRow, error) {
	labels, err := a.labels(ctx)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, d := range due {
		ids = append(ids, d.Person)
	}
	names, err := a.names(ctx, ids)
	rows := []DueRow{}
	for _, d := range due {
		rows = append(rows, DueRow{d, names[d.Person], labels[d.Facepiece]})
	}
	return rows, err
}

// bare lists people who have not left and need no facepiece yet.
func (a *api) bare(ctx context.Context, after string, limit int) (People, error) {
	out := People{People: []programme.Person{}}
	for looked := 0; looked < mostLooked; {
		some, err := a.cfg.Desk.People(ctx, after, lookedStep)
		if err != nil {
			return out, err
		}
		for _, p := range some {
			after = p.ID
			looked++
			if len(p.Facepieces) > 0 || p.Left != "" {
				continue
			}
			if out.People = append(out.People, p); len(out.People) == limit {
				out.Next = after
				return out, nil
			}
		}
		if len(some) < lookedStep {
			return out, nil
		}
	}
	out.Next = after
	return out, nil
}

// names are the names or numbers of people, without those who were erased or
// never known.
func (a *api) names(ctx context.Context, people []string) (map[string]string, error) {
	known, err := a.cfg.Desk.Those(ctx, people)
	out := map[string]string{}
	for id, p := range known {
		if out[id] = p.Name; p.Name == "" {
			out[id] = p.Number
		}
	}
	return out, err
}

// name is a person's name or number; empty for who was erased or never known.
func (a *api) name(ctx context.Context, person string) (string, error) {
	names, err := a.names(ctx, []string{person})
	return names[person], err
}

// labels are the facepieces as lists name them.
func (a *api) labels(ctx context.Context) (map[string]string, error) {
	all, err := a.cfg.Desk.Facepieces(ctx)
	out := map[string]string{}
	for _, f := range all {
		out[f.ID] = f.Make + " " + f.Model + ", " + f.Size
	}
	return out, err
}

// everything collects what is kept about one person. The journal is read
// whole: a fact that was changed later stands in no view.
func (a *api) everything(ctx context.Context, id string) (Everything, error) {
	out := Everything{Runs: []EverythingRun{}, Facts: []EverythingFact{}}
	var err error
	if out.Person, err = a.cfg.Desk.Person(ctx, id); err != nil {
		return out, err
	}
	runs, err := a.cfg.Desk.RunsOf(ctx, id)
	if err != nil {
		return out, err
	}
	for _, r := range runs {
		v, err := archive.Run(ctx, a.cfg.Journal, a.cfg.Names, r.Run)
		if err != nil {
			return out, err
		}
		out.Runs = append(out.Runs, EverythingRun{r, v})
	}
	keys := func(person string) (*sealing.Key, error) { return a.cfg.Ring.Key(ctx, person) }
	err = a.cfg.Journal.ReadStream(ctx, programme.Stream, func(e store.Entry) error {
		var of struct {
			Person string `json:"person"`
		}
		if !bytes.Contains(e.Body, []byte(id)) || json.Unmarshal(e.Body, &of) != nil || of.Person != id {
			return nil
		}
		f, err := programme.Decode(e, keys)
		if err != nil {
			return err
		}
		out.Facts = append(out.Facts, EverythingFact{e.Number, e.Kind, f})
		return nil
	})
	return out, err
}
