// SPDX-License-Identifier: Apache-2.0

package programme_test

import (
	"encoding/csv"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"tallyhood/console/procedure"
	"tallyhood/console/programme"
	"tallyhood/store/memory"
)

func TestGuessMapping(t *testing.T) {
	for header, want := range map[string]string{
		"Name;Company number;Job;Languages;Facepieces;Notes": "name:0 number:1 job:2 languages:3 facepieces:4 note:5",
		"Employee No.;First name;Surname;Job title;Mask":     "given_name:1 family_name:2 number:0 job:3 facepieces:4",
		"Legajo;Apellidos;Nombre;Puesto;Mascarilla":          "given_name:2 family_name:1 number:0 job:3 facepieces:4",
		"Nº;Nombre;Idioma":                                     "name:1 number:0 languages:2",
		"Matricule;NOM;Prénom;Métier;Masque":                   "given_name:2 family_name:1 number:0 job:3 facepieces:4",
		"Numer pracownika;Imię i nazwisko;Stanowisko;Półmaska": "name:1 number:0 job:2 facepieces:3",
		"Nr ewidencyjny;Nazwisko;Imię;Język;Uwagi":             "given_name:2 family_name:1 number:0 languages:3 note:4",
		"Marcă;Nume;Prenume;Funcție;Mască":                     "given_name:2 family_name:1 number:0 job:3 facepieces:4",
		"Nume și prenume;Limbă":                                "name:0 languages:1",
		"Número de funcionário;Nome;Apelido;Função;Máscara":    "given_name:1 family_name:2 number:0 job:3 facepieces:4",
		"Name,;First_Name;Ort":                                 "name:1",
		"colour;weight":                                        "",
		"Name;First name":                                      "given_name:1 family_name:0",
		"Name;Company number;Job;Languages;Facepieces;Rules;Agent;Notes;Cleared on;Cleared by;Left;Next due;Id": "name:0 number:1 job:2 languages:3 facepieces:4 rules:5 agent:6 note:7",
	} {
		m := programme.GuessMapping(strings.Split(header, ";"))
		var got []string
		for _, f := range programme.Fields() {
			if at, ok := m[f]; ok {
				got = append(got, fmt.Sprintf("%s:%d", f, at))
			}
		}
		if g := strings.Join(got, " "); g != want {
			t.Errorf("%s: %s, want %s", header, g, want)
		}
	}
}

func pieces() []programme.Facepiece {
	large, tarn, gone := corrie, corrie, corrie
	large.Size, tarn.Model, gone.Model, gone.Gone = "large", "Tarn", "Beck", true
	return []programme.Facepiece{{ID: "corrie-m", FacepieceForm: corrie}, {ID: "corrie-l", FacepieceForm: large}, {ID: "tarn-m", FacepieceForm: tarn}, {ID: "beck", FacepieceForm: gone}}
}

func TestReadPeople(t *testing.T) {
	rows := [][]string{
		{"No", "Name", "Mask", "Agent", "Rules", "Lang"},
		{" HS-1 ", "  Ana   Ríos ", "Fellside CORRIE medium; tarn", "Sweet", "uk-hse", "es, en"},
		{},
		{"", "", "corrie-l"},
		{"HS-2", "Bo", "Corrie"},
		{"HS-3", "Cem", "Moor"},
		{"hs-1", "Dora"},
		{"HS-4", "Eli", "", "salty"},
		{"HS-5", "Fay", "", "", "nasa"},
		{"HS-6", strings.Repeat("x", 121)},
		{"HS-7", "Gus", "Beck"},
		{"HS-8", "Hal"},
		{"", "Ida\x01"},
		{"HS-9", "Jon", "", "", "", "Klingon"},
		{"HS-10", "Kas", "", "", "", "Polish; español, pl-PL"},
	}
	m := programme.Mapping{programme.FieldNumber: 0, programme.FieldName: 1, programme.FieldFacepieces: 2, programme.FieldAgent: 3, programme.FieldRules: 4, programme.FieldLanguages: 5}
	forms, refused := programme.ReadPeople(rows, m, programme.ImportDefaults{
		Form: programme.PersonForm{Job: "mason", Rules: "us-osha"}, Facepieces: pieces(), Rules: []string{"us-osha", "uk-hse"}, Header: true,
	})
	want := []programme.PersonForm{
		{Name: "Ana Ríos", Number: "HS-1", Job: "mason", Facepieces: []string{"corrie-m", "tarn-m"}, Agent: "sweet", Rules: "uk-hse", Languages: []string{"es", "en"}},
		{Name: "Hal", Number: "HS-8", Job: "mason", Rules: "us-osha"},
		{Name: "Kas", Number: "HS-10", Job: "mason", Rules: "us-osha", Languages: []string{"pl", "es"}},
	}
	var got []programme.PersonForm
	for _, f := range forms {
		got = append(got, f.Form)
	}
	if !reflect.DeepEqual(got, want) || forms[0].Row != 2 || forms[1].Row != 12 {
		t.Errorf("forms %+v, want %+v", forms, want)
	}
	words := map[int]string{4: "neither a name", 5: "corrie-m, corrie-l", 6: `"Moor" is not known`, 7: "row 2 has the same", 8: "sweet or bitter", 9: `no rule set "nasa"`, 10: "longer than", 11: `"Beck" is not known`, 13: "cannot be printed", 14: `language "Klingon"`}
	if len(refused) != len(words) {
		t.Errorf("refused %+v", refused)
	}
	for _, r := range refused {
		if words[r.Row] == "" || !strings.Contains(r.Why, words[r.Row]) {
			t.Errorf("row %d: %s, want %q", r.Row, r.Why, words[r.Row])
		}
	}
}

func TestImport(t *testing.T) {
	s := memory.New()
	d := newDesk(t, s)
	ctx := t.Context()
	for _, f := range pieces()[:3] {
		must(t, d.Do(ctx, programme.FacepieceEntered{ID: f.ID, Form: f.FacepieceForm, By: who}))
	}
	enter := func(f programme.PersonForm) string {
		id, err := d.Enter(ctx, f, who)
		must(t, err)
		return id
	}
	ana := enter(programme.PersonForm{Name: "Ana Ríos", Number: "HS-1", Note: "early shift", Facepieces: []string{"corrie-m"}})
	bo := enter(programme.PersonForm{Name: "Bo Weiß"})
	enter(programme.PersonForm{Name: "Cem Grau"})
	enter(programme.PersonForm{Name: "Cem Grau"})
	enter(programme.PersonForm{Name: "Dora Nowak", Number: "HS-4"})
	play(t, s, d, played{run: "r000001", person: ana, facepiece: "corrie-m", form: corrie, at: today, outcome: procedure.Pass})
	read := func(text string) programme.ImportPlan {
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		must(t, err)
		forms, refused := programme.ReadPeople(rows, programme.GuessMapping(rows[0]), programme.ImportDefaults{Facepieces: pieces(), Rules: []string{"us-osha"}, Header: true})
		plan, err := d.PlanImport(ctx, forms, refused)
		must(t, err)
		return plan
	}
	const list = `Number,Name,Job,Mask
hs-1,Ana Ríos,,Tarn
HS-2,BO WEISS,mason,
,Cem Grau,,
HS-5,Dora Nowak,,
HS-4,,,
,Eli Anders,,
,eli anders,,
HS-9,Fay,,Moor
`
	plan := read(list)
	var refused []int
	for _, r := range plan.Refused {
		refused = append(refused, r.Row)
	}
	// Row 5 has another number than the Dora who is known: somebody new.
	if len(plan.New) != 2 || len(plan.Changed) != 1 || plan.Same != 1 || fmt.Sprint(refused) != "[3 4 8 9]" {
		t.Fatalf("plan %+v", plan)
	}
	if c := plan.Changed[0]; c.Person != ana || c.Form.Number != "hs-1" || c.Form.Note != "early shift" || fmt.Sprint(c.Form.Facepieces) != "[tarn-m]" {
		t.Errorf("Ana: %+v", c)
	}
	// Bo has no number, so nobody knows whether the row is about Bo: the tests of
	// one are not another's.
	if r := plan.Refused[0]; !strings.Contains(r.Why, "only the name") || !strings.Contains(r.Why, "HS-2") {
		t.Errorf("Bo: %+v", r)
	}
	must(t, d.Do(ctx, programme.PersonEntered{Person: bo, Form: programme.PersonForm{Name: "Bo Weiß", Number: "HS-2"}, By: who}))
	plan = read(list)
	if len(plan.Changed) != 2 || plan.Changed[1].Person != bo || plan.Changed[1].Form.Job != "mason" {
		t.Errorf("Bo, once decided: %+v", plan.Changed)
	}
	done, err := d.Import(ctx, plan, who)
	if err != nil || done.New != 2 || done.Changed != 2 || done.Same != 1 || len(done.Refused) != 3 {
		t.Fatalf("import %+v, %v", done, err)
	}
	p, err := d.Person(ctx, ana)
	if err != nil || len(p.Due) != 1 || p.Due[0].Why != "never_tested" || p.Due[0].Facepiece != "tarn-m" {
		t.Errorf("the new model of Ana is not due: %+v, %v", p.Due, err)
	}
	if again := read(list); len(again.New) != 0 || len(again.Changed) != 0 || again.Same != 5 {
		t.Errorf("the same list once more: %+v", again)
	}
	// What was taken between plan and import is refused by its row, the rest done.
	plan = read("Number,Name\nHS-20,Gus\nHS-21,Hal\n")
	enter(programme.PersonForm{Name: "Ida", Number: "HS-21"})
	done, err = d.Import(ctx, plan, who)
	if err != nil || done.New != 1 || len(done.Refused) != 1 || done.Refused[0].Row != 3 {
		t.Errorf("import of a number taken meanwhile: %+v, %v", done, err)
	}
	// What is exported is the same when it comes back.
	var out strings.Builder
	w := csv.NewWriter(&out)
	must(t, d.PeopleRows(ctx, w.Write))
	w.Flush()
	back := read(out.String())
	if len(back.New) != 0 || len(back.Changed) != 0 || back.Same+len(back.Refused) != 9 || len(back.Refused) != 2 { // the two of one name
		t.Errorf("exported and read back: %+v", back)
	}
	var lines []string
	must(t, d.RunRows(ctx, "", func(r []string) error { lines = append(lines, strings.Join(r[:4], "|")); return nil }))
	if len(lines) != 2 || lines[1] != "r000001|2026-09-14T09:00:00Z|confirmed|Ana Ríos" {
		t.Errorf("runs: %v", lines)
	}
	n := 0
	must(t, d.DueRows(ctx, "2026-09-14", func([]string) error { n++; return nil }))
	if n != 2 {
		t.Errorf("%d rows of what is due, want titles and Ana", n)
	}
}
