// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"errors"
	"strconv"
	"strings"

	"tallyhood/store"
)

// PeopleRows gives a list of everybody as rows of text, titles first. The
// titles are such that GuessMapping reads the list back.
func (d *Desk) PeopleRows(ctx context.Context, row func([]string) error) error {
	err := row([]string{"Name", "Company number", "Job", "Languages", "Facepieces", "Rules", "Agent", "Notes", "Cleared on", "Cleared by", "Left", "Next due", "Id"})
	if err != nil {
		return err
	}
	return d.EachPerson(ctx, func(p Person) error {
		cleared := Clearance{}
		if p.Cleared != nil {
			cleared = *p.Cleared
		}
		next := ""
		for _, due := range p.Due {
			if next == "" || due.On < next {
				next = due.On
			}
		}
		return row([]string{
			p.Name, p.Number, p.Job, strings.Join(p.Languages, "; "), strings.Join(p.Facepieces, "; "), p.Rules, p.Agent, p.Note,
			cleared.On, cleared.Who, p.Left, dueWord(next), p.ID,
		})
	})
}

// dueWord is a due day as a list shows it.
func dueWord(on string) string {
	if on == DueNow {
		return "now"
	}
	return on
}

// DueRows gives what is due on a day or before it as rows of text, titles first.
func (d *Desk) DueRows(ctx context.Context, day string, row func([]string) error) error {
	if err := row([]string{"Due", "Why", "Name", "Company number", "Facepiece", "Id"}); err != nil {
		return err
	}
	after := ""
	for {
		due, next, err := d.DuePage(ctx, day, after, redoStep)
		if err != nil {
			return err
		}
		for _, x := range due {
			p, err := d.Person(ctx, x.Person)
			if errors.Is(err, store.ErrNotFound) {
				continue // erased meanwhile
			}
			if err != nil {
				return err
			}
			if err := row([]string{dueWord(x.On), x.Why, p.Name, p.Number, x.Facepiece, x.Person}); err != nil {
				return err
			}
		}
		if next == "" {
			return nil
		}
		after = next
	}
}

// RunRows gives the runs from an instant on as rows of text, titles first. A
// run of somebody erased, or of nobody of the list, has no name.
func (d *Desk) RunRows(ctx context.Context, from string, row func([]string) error) error {
	err := row([]string{
		"Run", "At", "Clock", "Name", "Company number", "Person", "Make", "Model", "Style", "Size", "Rules", "Agent", "Outcome", "Reason", "First outcome",
		"Recalled", "Practice", "Bin", "Squeezes", "Late", "Hurried", "Extra", "Tester", "Hash",
	})
	if err != nil {
		return err
	}
	return d.RunsFrom(ctx, from, func(r Run) error {
		p, err := d.Person(ctx, r.Person)
		if r.Person == "" || errors.Is(err, store.ErrNotFound) {
			p, err = Person{}, nil
		}
		if err != nil {
			return err
		}
		practice := ""
		if r.Practice {
			practice = "practice"
		}
		tester := r.Tester
		for _, a := range r.Amended {
			if a.Field == "tester" {
				tester = a.To
			}
		}
		return row([]string{
			r.Run, r.At, r.Quality, p.Name, p.Number, r.Person, r.Make, r.Model, r.Style, r.Size, r.Rules, r.Agent, string(r.Outcome), string(r.Reason), string(r.First),
			r.Recalled, practice, strconv.Itoa(r.Bin), strconv.Itoa(r.Squeezes), strconv.Itoa(r.Late), strconv.Itoa(r.Hurried), strconv.Itoa(r.Extra), tester, r.Hash,
		})
	})
}
