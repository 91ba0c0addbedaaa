// SPDX-License-Identifier: Apache-2.0

package programme

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
)

// A Field is what a column of a list of people may hold.
type Field string

// The fields. A name is given whole, or as given and family name.
const (
	FieldName       Field = "name"
	FieldGiven      Field = "given_name"
	FieldFamily     Field = "family_name"
	FieldNumber     Field = "number"
	FieldJob        Field = "job"
	FieldLanguages  Field = "languages"
	FieldFacepieces Field = "facepieces"
	FieldRules      Field = "rules"
	FieldAgent      Field = "agent"
	FieldNote       Field = "note"
)

// Fields lists them in a fixed order.
func Fields() []Field {
	return []Field{
		FieldName, FieldGiven, FieldFamily, FieldNumber, FieldJob, FieldLanguages, FieldFacepieces, FieldRules, FieldAgent, FieldNote,
	}
}

// A Mapping says in which column, from 0, a field stands.
type Mapping map[Field]int

// ImportDefaults is what a list of people is read with.
type ImportDefaults struct {
	Form       PersonForm  // for fields that have no column or an empty cell
	Facepieces []Facepiece // that a cell may name, by id or as "make model size"
	Rules      []string    // ids of the rule sets
	Header     bool        // the first row holds titles
}

// An ImportRow is a row that can be entered. Number is its place in the table,
// from 1, as a spreadsheet counts.
type ImportRow struct {
	Row  int        `json:"row"`
	Form PersonForm `json:"form"`
	// Given are the fields that the row itself has, so that an empty cell never
	// wipes what is known of somebody.
	Given []Field `json:"-"`
}

// An ImportRefused is a row that cannot be entered, and why, in words.
type ImportRefused struct {
	Row int    `json:"row"`
	Why string `json:"why"`
}

// mostImport bounds the rows of one import.
const mostImport = 200_000

// ReadPeople turns the rows of a table into forms and refusals. It looks at
// nothing else than its arguments. Rows without any text are passed over.
func ReadPeople(rows [][]string, m Mapping, def ImportDefaults) (forms []ImportRow, refused []ImportRefused) {
	forms, refused = []ImportRow{}, []ImportRefused{}
	pieces := map[string][]string{}
	for _, f := range def.Facepieces {
		if f.Gone {
			continue
		}
		for _, label := range []string{f.ID, f.Make + " " + f.Model + " " + f.Size, f.Model + " " + f.Size, f.Model} {
			label = squeeze(label)
			if !slices.Contains(pieces[label], f.ID) {
				pieces[label] = append(pieces[label], f.ID)
			}
		}
	}
	numbers := map[string]int{}
	for i, row := range rows {
		if def.Header && i == 0 || !slices.ContainsFunc(row, func(s string) bool { return strings.TrimSpace(s) != "" }) {
			continue
		}
		no := func(format string, args ...any) {
			refused = append(refused, ImportRefused{i + 1, fmt.Sprintf(format, args...)})
		}
		if i >= mostImport {
			no("a table has at most %d rows; bring the rest in by itself", mostImport)
			break
		}
		r, why := readRow(row, m, def, pieces)
		if why != "" {
			no("%s", why)
			continue
		}
		r.Row = i + 1
		if number := Fold(r.Form.Number); number != "" && slices.Contains(r.Given, FieldNumber) {
			if other, ok := numbers[number]; ok {
				no("row %d has the same company number %s", other, r.Form.Number)
				continue
			}
			numbers[number] = i + 1
		}
		forms = append(forms, r)
	}
	return forms, refused
}

// squeeze folds text and makes every run of spaces one.
func squeeze(s string) string { return strings.Join(strings.Fields(Fold(s)), " ") }

// readRow reads one row; why is the refusal.
func readRow(row []string, m Mapping, def ImportDefaults, pieces map[string][]string) (r ImportRow, why string) {
	r.Form = def.Form
	r.Form.Languages, r.Form.Facepieces = slices.Clone(def.Form.Languages), slices.Clone(def.Form.Facepieces)
	cell := func(f Field) string {
		at, ok := m[f]
		if !ok || at < 0 || at >= len(row) {
			return ""
		}
		return strings.Join(strings.Fields(row[at]), " ")
	}
	take := func(f Field, into *string) {
		if s := cell(f); s != "" {
			*into = s
			r.Given = append(r.Given, f)
		}
	}
	take(FieldName, &r.Form.Name)
	if given, family := cell(FieldGiven), cell(FieldFamily); given != "" || family != "" {
		r.Form.Name = strings.TrimSpace(given + " " + family)
		r.Given = append(r.Given, FieldName)
	}
	take(FieldNumber, &r.Form.Number)
	take(FieldJob, &r.Form.Job)
	take(FieldNote, &r.Form.Note)
	take(FieldRules, &r.Form.Rules)
	if s := Fold(cell(FieldAgent)); s != "" {
		if s != "sweet" && s != "bitter" {
			return r, fmt.Sprintf("the agent is sweet or bitter, not %q", cell(FieldAgent))
		}
		r.Form.Agent = s
		r.Given = append(r.Given, FieldAgent)
	}
	if s := cell(FieldLanguages); s != "" {
		r.Form.Languages = nil
		for _, name := range parts(s) {
			code := LanguageOf(name)
			if code == "" {
				return r, fmt.Sprintf("cues and pages have no words in the language %q; leave it out, or give one of en, es, fr, pl, pt, ro, ar", name)
			}
			if !slices.Contains(r.Form.Languages, code) {
				r.Form.Languages = append(r.Form.Languages, code)
			}
		}
		r.Given = append(r.Given, FieldLanguages)
	}
	if s := cell(FieldFacepieces); s != "" {
		r.Form.Facepieces = nil
		for _, label := range parts(s) {
			ids := pieces[squeeze(label)]
			switch {
			case len(ids) == 0:
				return r, fmt.Sprintf("the facepiece %q is not known; enter it first", label)
			case len(ids) > 1:
				return r, fmt.Sprintf("the facepiece %q may be any of %s; name the size as well", label, strings.Join(ids, ", "))
			}
			if !slices.Contains(r.Form.Facepieces, ids[0]) {
				r.Form.Facepieces = append(r.Form.Facepieces, ids[0])
			}
		}
		r.Given = append(r.Given, FieldFacepieces)
	}
	if !slices.Contains(r.Given, FieldName) && !slices.Contains(r.Given, FieldNumber) {
		return r, "there is neither a name nor a company number"
	}
	if r.Form.Rules != "" && !slices.Contains(def.Rules, r.Form.Rules) {
		return r, fmt.Sprintf("there is no rule set %q", r.Form.Rules)
	}
	if err := formTexts(r.Form); err != nil {
		return r, err.Error()
	}
	return r, ""
}

// parts splits what stands in one cell.
func parts(s string) []string {
	var out []string
	for _, p := range strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(";,|/\n", r) }) {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return out
}

// An ImportPlan is what an import would do.
type ImportPlan struct {
	New     []ImportRow     `json:"new"`
	Changed []ImportChange  `json:"changed"`
	Same    int             `json:"same"`
	Refused []ImportRefused `json:"refused"`
}

// An ImportChange is a row about somebody known, with the form as it would be.
type ImportChange struct {
	Row    int        `json:"row"`
	Person string     `json:"person"`
	Was    PersonForm `json:"was"`
	Form   PersonForm `json:"form"`
}

// PlanImport matches rows with the people there are: by company number; one
// without by the whole folded name. One with a number that nobody has, and with
// the name of somebody without any, is for a person to decide. Whoever left is
// matched as well, and stays away.
func (d *Desk) PlanImport(ctx context.Context, rows []ImportRow, refused []ImportRefused) (ImportPlan, error) {
	plan := ImportPlan{New: []ImportRow{}, Changed: []ImportChange{}, Refused: slices.Clone(refused)}
	byNumber, byName := map[string]string{}, map[string][]string{}
	forms := map[string]PersonForm{}
	err := d.EachPerson(ctx, func(p Person) error {
		forms[p.ID] = p.PersonForm
		if n := Fold(p.Number); n != "" && (byNumber[n] == "" || p.Left == "") {
			byNumber[n] = p.ID
		}
		if n := squeeze(p.Name); n != "" {
			byName[n] = append(byName[n], p.ID)
		}
		return nil
	})
	if err != nil {
		return plan, err
	}
	matched := map[string]int{}
	fresh := map[string]int{} // names of new people without a number
	for _, r := range rows {
		no := func(format string, args ...any) {
			plan.Refused = append(plan.Refused, ImportRefused{r.Row, fmt.Sprintf(format, args...)})
		}
		number, name := Fold(r.Form.Number), squeeze(r.Form.Name)
		id := ""
		if number != "" {
			id = byNumber[number]
		}
		if id == "" && name != "" {
			var ids []string
			for _, other := range byName[name] {
				if number == "" || Fold(forms[other].Number) == "" {
					ids = append(ids, other)
				}
			}
			if len(ids) > 1 {
				no("%d people have the name %s; add the company number", len(ids), r.Form.Name)
				continue
			}
			if len(ids) == 1 {
				id = ids[0]
			}
			if id != "" && number != "" {
				// Two people may have one name, and the tests of one are not the other's.
				no("%s is known without a company number, and only the name says that it is the same person: if so, enter the number %s there first; if not, enter this person by hand", r.Form.Name, r.Form.Number)
				continue
			}
		}
		if id == "" {
			if other, ok := fresh[name]; number == "" && ok {
				no("row %d has the same name and no company number either", other)
				continue
			}
			if number == "" {
				fresh[name] = r.Row
			}
			plan.New = append(plan.New, r)
			continue
		}
		if other, ok := matched[id]; ok {
			no("row %d is about the same person", other)
			continue
		}
		matched[id] = r.Row
		was := forms[id]
		form := merge(was, r)
		if reflect.DeepEqual(form, was) {
			plan.Same++
			continue
		}
		plan.Changed = append(plan.Changed, ImportChange{r.Row, id, was, form})
	}
	slices.SortStableFunc(plan.Refused, func(a, b ImportRefused) int { return a.Row - b.Row })
	return plan, nil
}

// merge puts what a row gives over what is known.
func merge(was PersonForm, r ImportRow) PersonForm {
	out := was
	for _, f := range r.Given {
		switch f {
		case FieldName:
			out.Name = r.Form.Name
		case FieldNumber:
			out.Number = r.Form.Number
		case FieldJob:
			out.Job = r.Form.Job
		case FieldLanguages:
			out.Languages = r.Form.Languages
		case FieldFacepieces:
			out.Facepieces = r.Form.Facepieces
		case FieldRules:
			out.Rules = r.Form.Rules
		case FieldAgent:
			out.Agent = r.Form.Agent
		case FieldNote:
			out.Note = r.Form.Note
		}
	}
	return out
}

// An Imported is what an import came to.
type Imported struct {
	New     int             `json:"new"`
	Changed int             `json:"changed"`
	Same    int             `json:"same"`
	Refused []ImportRefused `json:"refused"`
}

// importStep is how many people are entered in one transaction.
const importStep = 4000

// Import does what a plan says, in batches; others get their turn in between. A
// batch that is refused as a whole is entered one by one, so that each row that
// cannot be is named. What is done when it is cut short stays done, and a plan
// made anew finds it.
func (d *Desk) Import(ctx context.Context, plan ImportPlan, by string) (Imported, error) {
	out := Imported{Same: plan.Same, Refused: slices.Clone(plan.Refused)}
	type line struct {
		row    int
		person string // empty: new
		form   PersonForm
	}
	var lines []line
	for _, r := range plan.New {
		lines = append(lines, line{r.Row, "", r.Form})
	}
	for _, c := range plan.Changed {
		lines = append(lines, line{c.Row, c.Person, c.Form})
	}
	enter := func(batch []line) error {
		var forms []PersonForm
		var facts []Fact
		for _, l := range batch {
			if l.person == "" {
				forms = append(forms, l.form)
			} else {
				facts = append(facts, PersonEntered{Person: l.person, Form: l.form, By: by})
			}
		}
		d.mu.Lock()
		defer d.mu.Unlock()
		if _, err := d.enter(ctx, forms, facts, by); err != nil {
			return err
		}
		out.New += len(forms)
		out.Changed += len(facts)
		return nil
	}
	for batch := range slices.Chunk(lines, importStep) {
		err := enter(batch)
		if _, refused := err.(Refused); refused {
			for _, l := range batch {
				err = enter([]line{l})
				if r, refused := err.(Refused); refused {
					out.Refused = append(out.Refused, ImportRefused{l.row, r.Text})
				} else if err != nil {
					return out, err
				}
			}
			continue
		}
		if err != nil {
			return out, err
		}
	}
	slices.SortStableFunc(out.Refused, func(a, b ImportRefused) int { return a.Row - b.Row })
	return out, nil
}
